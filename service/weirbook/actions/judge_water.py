"""Whether a system's water is safe just now, by its latest tests: ammonia, nitrite, oxygen."""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.fill_water import water_of
from weirbook.actions.filling import Absent
from weirbook.actions.finding import About, Finding, Verdict
from weirbook.actions.finding_of_water import of_water
from weirbook.actions.judge_change import judge_change
from weirbook.actions.judge_exchange import judge_exchange
from weirbook.actions.measured_days import Measured
from weirbook.actions.recent import (
    TELLS_FOR_DAYS,
    bound_of,
    food_of,
    last_of,
    readings_of,
    recent,
    recent_value,
)
from weirbook.actions.system_facts import SystemFacts, facts_of
from weirbook.engine.relations.ammonia import pka, un_ionized_share
from weirbook.engine.relations.chemistry import molar_mass
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.saying import near
from weirbook.engine.times import day_of
from weirbook.engine.units import Quantity, to_si
from weirbook.record.places import System

OXYGEN_TELLS_FOR_DAYS = 2
"""Oxygen changes within hours: an old reading says nothing."""
NITRITE_KG_A_MOLE = molar_mass("NO2")
"""The ratio of chloride is reckoned to nitrite weighed as NO2, the safer reading of its source."""
FINE_NITRITE = to_si(0.1, "mg/L NO2", "nitrite")
"""Below that a test has found none worth a word. Common practice, no source."""
NH3 = "mg/L NH3-N"


def judge_water(session: Session, now_ms: int, only: System | None = None) -> Iterator[Finding]:
    """Findings on the water of every system in use, or of one alone. What was never tested is left out: a system
    without fish needs no test, and whether there are fish isn't recorded."""
    asked = sa.select(System).where(System.retired_at_ms.is_(None)).order_by(System.id)
    if only is not None:
        asked = asked.where(System.id == only.id)
    for system in session.scalars(asked).unique():
        facts = facts_of(session, system, now_ms)
        if not facts.tanks:
            continue
        yield from _ammonia(facts)
        yield from _nitrite(facts)
        yield from _oxygen(facts)
        yield from judge_exchange(facts)
        yield from judge_change(facts)


def _told(facts: SystemFacts, about: About, parameter: str, days: int) -> Measured | Finding | None:
    """The newest test, or that it is too old to tell; nothing where none was ever made, nor an old one of a system
    whose rations say that nothing is fed."""
    found, last = recent(facts, parameter, days), last_of(facts, parameter)
    if last is None or isinstance(found, Measured):
        return None if isinstance(found, Absent) else found
    if food_of(facts) == 0:
        return None
    return of_water(facts, Verdict.UNKNOWN, about, parameter, f"Unknown. {found.why}", readings_of(last))


def _ammonia(facts: SystemFacts) -> Iterator[Finding]:
    """The un-ionized part of the latest total ammonia, at the latest pH and temperature."""
    total = _told(facts, About.AMMONIA, "total_ammonia", TELLS_FOR_DAYS)
    if isinstance(total, Finding):
        yield total
    elif total is not None:
        yield _total_ammonia(facts, total)


def _total_ammonia(facts: SystemFacts, total: Measured) -> Finding:
    origin = readings_of(total)
    stress, harm = LIMITS["ammonia_stress"], LIMITS["ammonia_harm"]
    said = f"Total ammonia was {bound_of(total)}{near(total.value, 'ammonia', total.shown.unit)}"
    about = About.AMMONIA
    if total.value < stress.value and total.qualifier != "above":
        words = f"{said}: too little to strain fish at any pH."
        return of_water(facts, Verdict.OK, about, "total_ammonia", words, origin, since_ms=total.at_ms)
    ph, temperature = recent_value(facts, "ph"), recent_value(facts, "temperature")
    if isinstance(ph, Absent) or isinstance(temperature, Absent):
        lacking = " ".join(one.why for one in (ph, temperature) if isinstance(one, Absent))
        words = f"{said}. Unknown how much of it is un-ionized, which alone is poisonous. {lacking}"
        return of_water(facts, Verdict.UNKNOWN, about, "total_ammonia", words, origin, since_ms=total.at_ms)
    share = un_ionized_share(ph, pka(temperature))
    poison = total.value * share
    told = (
        f"{said}, of which {near(share, 'fraction', '%')} is un-ionized at pH {near(ph, 'ph', 'pH').removesuffix(' pH')} and"
        f" {near(temperature, 'temperature', 'degC')}: {bound_of(total)}{near(poison, 'ammonia', NH3)}"
    )
    verdict, words = _poison(total, poison)
    limit = stress if poison < harm.value else harm
    return of_water(
        facts,
        verdict,
        about,
        "un_ionized_ammonia",
        f"{told}. {words}",
        f"/v1/systems/{facts.system.handle}/answers/ammonia" if not bound_of(total) else origin,
        Quantity(poison, "mol/m3").to(NH3, "ammonia"),
        Quantity(limit.value, "mol/m3").to(NH3, "ammonia"),
        total.at_ms,
    )


def _poison(total: Measured, poison: float) -> tuple[Verdict, str]:
    """The verdict on un-ionized ammonia, and what to do."""
    stress, harm = LIMITS["ammonia_stress"].value, LIMITS["ammonia_harm"].value
    strains = f"From {near(stress, 'ammonia', NH3)} on it strains fish"
    if poison < stress and total.qualifier == "above":
        return Verdict.UNKNOWN, f"{strains}: dilute the sample and test again."
    if poison < stress:
        return Verdict.OK, f"{strains}: it is less."
    if total.qualifier == "below":
        return Verdict.UNKNOWN, f"{strains}, and the test can't tell: use a finer one."
    if poison < harm:
        return (
            Verdict.WATCH,
            f"{strains}. Feed less, change water, don't let the pH rise, and test again tomorrow.",
        )
    return (
        Verdict.ACT,
        f"Harm begins at {near(harm, 'ammonia', NH3)}. Change water now, stop feeding, keep air and filter running, don't"
        " raise the pH, and test again in a few hours.",
    )


def _nitrite(facts: SystemFacts) -> Iterator[Finding]:
    """Nitrite, and whether there is chloride enough to keep it out of the fish."""
    nitrite = _told(facts, About.NITRITE, "nitrite", TELLS_FOR_DAYS)
    if isinstance(nitrite, Finding):
        yield nitrite
    elif nitrite is not None:
        verdict, words, limit = _against_chloride(facts, nitrite)
        yield of_water(
            facts,
            verdict,
            About.NITRITE,
            "nitrite",
            f"Nitrite was {bound_of(nitrite)}{near(nitrite.value, 'nitrite', nitrite.shown.unit)}{words}",
            readings_of(nitrite),
            nitrite.shown,
            limit,
            nitrite.at_ms,
        )


def _against_chloride(facts: SystemFacts, nitrite: Measured) -> tuple[Verdict, str, Quantity | None]:
    """The verdict, what follows the nitrite in words, and the nitrite that the chloride there protects against."""
    if nitrite.qualifier != "above" and (
        not nitrite.value or (nitrite.qualifier == "below" and nitrite.value <= FINE_NITRITE)
    ):
        return Verdict.OK, ".", None
    ratio = LIMITS["chloride_to_nitrite"].value
    wanted = nitrite.value * NITRITE_KG_A_MOLE * ratio
    enough = f"{near(wanted, 'concentration', 'mg/L')}, ten times the nitrite as NO2"
    found = _chloride(facts)
    if isinstance(found, Absent):
        words = f". Unknown whether chloride protects the fish: it takes {enough}. {found.why}"
        if nitrite.qualifier == "below":
            return Verdict.UNKNOWN, f"{words} Or test nitrite finer.", None
        return Verdict.WATCH, f"{words} Change water meanwhile, and feed less.", None
    chloride, where = found
    limit = Quantity(chloride / NITRITE_KG_A_MOLE / ratio, "mol/m3").to(nitrite.shown.unit, "nitrite")
    there = f"; chloride is {near(chloride, 'concentration', 'mg/L')} ({where})"
    if chloride < wanted and nitrite.qualifier == "below":
        return Verdict.UNKNOWN, f"{there}, and could be less than {enough}: test nitrite finer.", limit
    if chloride < wanted:
        words = (
            f"{there}, less than {enough}, which protects fish. Change water now, feed less, give more air; ask salt-change how"
            " much salt it would take, and whom salt harms."
        )
        return Verdict.ACT, words, limit
    if nitrite.qualifier == "below":
        return Verdict.OK, f"{there}, enough against that much.", limit
    if nitrite.qualifier == "above":
        return (
            Verdict.WATCH,
            f"{there}. Unknown whether that is ten times as much: dilute the sample and test again. Change water"
            " meanwhile, and feed less.",
            limit,
        )
    words = (
        f"{there}, at least ten times as much, which keeps most of it out of the fish. Feed less, and find out why the filter"
        " does not keep up."
    )
    return Verdict.WATCH, words, limit


def _chloride(facts: SystemFacts) -> tuple[float, str] | Absent:
    """kg/m3 of chloride and whence it is known: a test, else the water that the system is filled from."""
    tested = recent_value(facts, "chloride")
    if isinstance(tested, float):
        last = last_of(facts, "chloride")
        assert last is not None
        return tested, f"tested {day_of(last.at_ms, water_of(facts).zone)}"
    water = water_of(facts)
    source = water.usual_source
    reported = None if source is None else water.waters.value_of(source.handle, "chloride", facts.at_ms)
    if reported is None or isinstance(reported, Absent):
        return tested
    return reported.value.si("concentration"), f"not tested; by {reported.note}"


def _oxygen(facts: SystemFacts) -> Iterator[Finding]:
    """The latest reading of oxygen against what fish need."""
    oxygen = _told(facts, About.OXYGEN, "dissolved_oxygen", OXYGEN_TELLS_FOR_DAYS)
    if isinstance(oxygen, Finding):
        yield oxygen
    elif oxygen is not None:
        verdict, words = _breath(oxygen)
        unit = oxygen.shown.unit
        least, wanted = LIMITS["oxygen_warm"].value, LIMITS["oxygen_objective"].value
        yield of_water(
            facts,
            verdict,
            About.OXYGEN,
            "dissolved_oxygen",
            f"Oxygen was {bound_of(oxygen)}{near(oxygen.value, 'concentration', unit)}. {words}",
            readings_of(oxygen),
            oxygen.shown,
            Quantity(least if oxygen.value < least else wanted, "kg/m3").to(unit, "concentration"),
            oxygen.at_ms,
        )


def _breath(oxygen: Measured) -> tuple[Verdict, str]:
    """The verdict on oxygen, and what to do."""
    unit = oxygen.shown.unit
    least, wanted = LIMITS["oxygen_warm"].value, LIMITS["oxygen_objective"].value
    needed = (
        f"Warm-water fish need {near(least, 'concentration', unit)} at the least,"
        f" {near(wanted, 'concentration', unit)} to stay healthy"
    )
    below, above = oxygen.qualifier == "below", oxygen.qualifier == "above"
    if (above and oxygen.value < wanted) or (below and oxygen.value > wanted):
        return Verdict.UNKNOWN, f"{needed}: read it more exactly."
    if oxygen.value < least or (below and oxygen.value <= least):
        return Verdict.ACT, f"{needed}. Aerate now, stop feeding, find what uses it up."
    if oxygen.value < wanted or below:
        return (
            Verdict.WATCH,
            f"{needed}. Give more air or flow, and read it again before dawn, when it is lowest.",
        )
    return Verdict.OK, f"{needed}."
