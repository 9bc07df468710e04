"""Whether a system's water is safe just now, by its latest tests: ammonia, nitrite, oxygen."""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.fill_water import water_of
from weirbook.actions.filling import Absent
from weirbook.actions.finding import About, Finding, Verdict
from weirbook.actions.finding_of_water import of_water
from weirbook.actions.judge_exchange import judge_exchange
from weirbook.actions.latest_of import latest_of
from weirbook.actions.measured_days import Measured, last_measured
from weirbook.actions.system_facts import SystemFacts, facts_of
from weirbook.engine.relations.ammonia import pka, un_ionized_share
from weirbook.engine.relations.chemistry import molar_mass
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.saying import near
from weirbook.engine.times import day_of
from weirbook.engine.units import Quantity
from weirbook.record.places import System

DAY_MS = 86_400_000
TELLS_FOR_DAYS = 30
"""How long a test of ammonia or nitrite tells of now. Common practice, as for targets."""
OXYGEN_TELLS_FOR_DAYS = 2
"""Oxygen changes within hours: an old reading says nothing."""
NITRITE_KG_A_MOLE = molar_mass("NO2")
"""The ratio of chloride is reckoned to nitrite weighed as NO2, the safer reading of its source."""


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


def _last(facts: SystemFacts, parameter: str, days: int) -> Measured | str | None:
    """The newest test within so many days; a word where there are only older ones, nothing where there are none."""
    water = water_of(facts)
    last = last_measured(water, parameter)
    if last is None:
        return None
    if last.at_ms >= facts.at_ms - days * DAY_MS:
        return last
    words = parameter.replace("_", " ")
    return f"Unknown, because {words} was last tested on {day_of(last.at_ms, water.zone)}: test it again."


def _readings(gauge: str) -> str:
    return f"/v1/readings?gauge={gauge}"


def _si(facts: SystemFacts, parameter: str) -> float | str:
    """The latest value of a parameter, SI, or why it isn't known."""
    found = latest_of(facts, parameter)
    return found.why if isinstance(found, Absent) else float(found.value.si(KIND_OF[parameter]))


KIND_OF = {"ph": "ph", "temperature": "temperature", "chloride": "concentration"}


def _ammonia(facts: SystemFacts) -> Iterator[Finding]:
    """The un-ionized part of the latest total ammonia, at the latest pH and temperature."""
    total = _last(facts, "total_ammonia", TELLS_FOR_DAYS)
    origin = f"/v1/systems/{facts.system.handle}/answers/ammonia"
    if total is None:
        return
    if isinstance(total, str):
        yield of_water(facts, Verdict.UNKNOWN, About.AMMONIA, "total_ammonia", total, origin)
        return
    stress, harm = LIMITS["ammonia_stress"], LIMITS["ammonia_harm"]
    shown = near(total.value, "ammonia", "mg/L NH3-N")
    if not total.value or (total.qualifier == "below" and total.value <= stress.value):
        words = (
            f"Total ammonia was {'below ' if total.qualifier else ''}{shown}: nothing of it can strain fish."
        )
        yield of_water(facts, Verdict.OK, About.AMMONIA, "total_ammonia", words, origin, since_ms=total.at_ms)
        return
    ph, temperature = _si(facts, "ph"), _si(facts, "temperature")
    if isinstance(ph, str) or isinstance(temperature, str):
        lacking = ph if isinstance(ph, str) else temperature
        bound = "below " if total.qualifier == "below" else ""
        words = f"Total ammonia was {bound}{shown}; unknown how much of it is un-ionized. {lacking}"
        yield of_water(
            facts, Verdict.UNKNOWN, About.AMMONIA, "total_ammonia", words, origin, since_ms=total.at_ms
        )
        return
    share = un_ionized_share(ph, pka(temperature))
    poison = total.value * share
    value = Quantity(poison, "mol/m3").to("mg/L NH3-N", "ammonia")
    told = (
        f"Of {'below ' if total.qualifier == 'below' else ''}{shown} total ammonia {near(share, 'fraction', '%')} is"
        f" un-ionized at pH {near(ph, 'ph', 'pH').removesuffix(' pH')} and {near(temperature, 'temperature', 'degC')}:"
        f" {near(poison, 'ammonia', 'mg/L NH3-N')}"
    )
    limit = stress if poison < harm.value else harm
    if poison < stress.value:
        verdict, words = Verdict.OK, f"{told}, less than what strains fish."
    elif total.qualifier == "below":
        verdict, words = Verdict.UNKNOWN, f"{told} at most, which could strain fish: test finer."
    elif poison < harm.value:
        verdict = Verdict.WATCH
        words = f"{told}, which strains fish. Feed less, change water, don't let the pH rise, and test again tomorrow."
    else:
        verdict = Verdict.ACT
        words = f"{told}, at which harm begins. Change water now, stop feeding, keep air and filter running, don't raise the pH."
    yield of_water(
        facts,
        verdict,
        About.AMMONIA,
        "total_ammonia",
        words,
        origin,
        value,
        Quantity(limit.value, "mol/m3").to("mg/L NH3-N", "ammonia"),
        total.at_ms,
    )


def _nitrite(facts: SystemFacts) -> Iterator[Finding]:
    """Nitrite, and whether there is chloride enough to keep it out of the fish."""
    nitrite = _last(facts, "nitrite", TELLS_FOR_DAYS)
    if nitrite is None:
        return
    origin = f"/v1/systems/{facts.system.handle}/answers/salt-change"
    if isinstance(nitrite, str):
        yield of_water(facts, Verdict.UNKNOWN, About.NITRITE, "nitrite", nitrite, origin)
        return
    shown = near(nitrite.value, "nitrite", "mg/L NO2")
    if nitrite.qualifier == "below" or not nitrite.value:
        words = f"Nitrite was {'below ' if nitrite.qualifier else ''}{shown}."
        yield of_water(
            facts,
            Verdict.OK,
            About.NITRITE,
            "nitrite",
            words,
            _readings(nitrite.gauge),
            nitrite.shown,
            since_ms=nitrite.at_ms,
        )
        return
    ratio = LIMITS["chloride_to_nitrite"].value
    wanted = nitrite.value * NITRITE_KG_A_MOLE * ratio
    chloride, where = _si(facts, "chloride"), "tested"
    if isinstance(chloride, str):
        source = water_of(facts).usual_source
        reported = (
            None
            if source is None
            else water_of(facts).waters.value_of(source.handle, "chloride", facts.at_ms)
        )
        if reported is not None and not isinstance(reported, Absent):
            chloride, where = reported.value.si("concentration"), f"as {reported.note}"
    limit = Quantity(wanted, "kg/m3").to("mg/L", "concentration")
    if isinstance(chloride, str):
        words = (
            f"Nitrite is {shown}. Unknown whether chloride protects the fish: {near(wanted, 'concentration', 'mg/L')}"
            f" would be ten times the nitrite. {chloride} Change water meanwhile, and feed less."
        )
        yield of_water(
            facts,
            Verdict.WATCH,
            About.NITRITE,
            "nitrite",
            words,
            origin,
            nitrite.shown,
            since_ms=nitrite.at_ms,
        )
        return
    value = Quantity(chloride, "kg/m3").to("mg/L", "concentration")
    there = f"chloride is {near(chloride, 'concentration', 'mg/L')} ({where})"
    if chloride >= wanted:
        words = (
            f"Nitrite is {shown}; {there}, more than ten times as much, which keeps most of it out of the fish. Find out why"
            " the filter does not keep up."
        )
        verdict = Verdict.WATCH
    else:
        words = (
            f"Nitrite is {shown}; {there}, less than the ten times as much that protects fish"
            f" ({near(wanted, 'concentration', 'mg/L')}). Change water, feed less; ask salt-change how much salt it would take,"
            " and whom salt harms."
        )
        verdict = Verdict.ACT
    yield of_water(facts, verdict, About.NITRITE, "nitrite", words, origin, value, limit, nitrite.at_ms)


def _oxygen(facts: SystemFacts) -> Iterator[Finding]:
    """The latest reading of oxygen against what fish need."""
    oxygen = _last(facts, "dissolved_oxygen", OXYGEN_TELLS_FOR_DAYS)
    if oxygen is None:
        return
    origin = f"/v1/systems/{facts.system.handle}/answers/oxygen-saturation"
    if isinstance(oxygen, str):
        yield of_water(facts, Verdict.UNKNOWN, About.OXYGEN, "dissolved_oxygen", oxygen, origin)
        return
    least, wanted = LIMITS["oxygen_warm"], LIMITS["oxygen_objective"]
    shown = near(oxygen.value, "concentration", "mg/L")
    limit = least if oxygen.value < least.value else wanted
    if oxygen.value < least.value:
        verdict = Verdict.ACT
        words = f"Oxygen is {shown}, less than fish need even for a while. Aerate now, stop feeding, find what uses it up."
    elif oxygen.value < wanted.value:
        verdict = Verdict.WATCH
        words = f"Oxygen is {shown}, less than is wanted for fish that stay healthy. More air or flow; look before dawn too."
    else:
        verdict, words = Verdict.OK, f"Oxygen is {shown}."
    yield of_water(
        facts,
        verdict,
        About.OXYGEN,
        "dissolved_oxygen",
        words,
        origin,
        oxygen.shown,
        Quantity(limit.value, "kg/m3").to("mg/L", "concentration"),
        oxygen.at_ms,
    )
