"""Where a system's water is heading: alkalinity that is used up, hardness that creeps, a planned change that is too large,
a filter with too little surface."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta

from weirbook.actions.answer_for import answer_for
from weirbook.actions.fill_water import ROLES, water_of
from weirbook.actions.filling import Absent
from weirbook.actions.finding import About, Finding, Verdict
from weirbook.actions.finding_of_water import of_water
from weirbook.actions.latest_of import MEASURED, latest_of
from weirbook.actions.measured_days import measured_days
from weirbook.actions.system_facts import SystemFacts
from weirbook.actions.system_water import SystemWater
from weirbook.engine.catalogue import calculator
from weirbook.engine.inputs import bare
from weirbook.engine.relations.limits import LIMITS, Limit
from weirbook.engine.relations.nitrogen import LEAST_ALKALINITY, WITHOUT_GROWTH, ammonia_made
from weirbook.engine.relations.nutrients import Routine, swing
from weirbook.engine.saying import near
from weirbook.engine.times import clock_at, day_of, midnight_ms
from weirbook.engine.units import Quantity, to_si
from weirbook.errors import Invalid
from weirbook.record.waters import TOP_OFF, WaterChange

WEEK_S, DAY_MS = 7 * 86_400.0, 86_400_000
FALL_WEEKS = 8
"""Tests of how many weeks tell a trend, and how soon a limit that would be reached is worth a word."""
LEAST_TESTS = 4
FALLS = to_si(0.1, "dKH", "alkalinity")
"""A fall a week below that is within the steps of a drop test."""
CREEPS = to_si(2, "dGH", "hardness")
"""A rise in the long run above the source by that is worth a word. Common practice, no source."""
VERDICTS = {"ok": Verdict.OK, "watch": Verdict.WATCH, "over": Verdict.ACT, "unknown": Verdict.UNKNOWN}


def judge_exchange(facts: SystemFacts) -> Iterator[Finding]:
    """Findings on what is recorded of a system's food, water and filter; nothing where nothing of it is."""
    yield from _alkalinity(facts)
    yield from _creep(facts)
    yield from _planned(facts)
    yield from _nitrifiers(facts)


@dataclass(frozen=True)
class Trend:
    """How a parameter moves, SI a week, and its last value."""

    a_week: float
    last: float
    tests: int


def trend_of(water: SystemWater, parameter: str) -> Trend | None:
    """The line of least squares through a parameter's tests of the last weeks; None for too few of them."""
    first = water.today - timedelta(weeks=FALL_WEEKS)
    tests = [
        one
        for one in measured_days(water, parameter, midnight_ms(first, water.zone)).values()
        if one.qualifier is None
    ]
    if len(tests) < LEAST_TESTS or tests[-1].at_ms == tests[0].at_ms:
        return None
    weeks = [(one.at_ms - tests[0].at_ms) / (WEEK_S * 1000) for one in tests]
    mean_week, mean = sum(weeks) / len(weeks), sum(one.value for one in tests) / len(tests)
    spread = sum((week - mean_week) ** 2 for week in weeks)
    slope = sum((week - mean_week) * (one.value - mean) for week, one in zip(weeks, tests, strict=True))
    return Trend(slope / spread, tests[-1].value, len(tests))


def _alkalinity(facts: SystemFacts) -> Iterator[Finding]:
    """Alkalinity that sinks, beside what nitrification of the food uses up."""
    water = water_of(facts)
    trend = trend_of(water, "alkalinity")
    if trend is None:
        return
    unit, limit = "dKH", LEAST_ALKALINITY
    used = _alkalinity_used(facts)
    beside = (
        f" {used}"
        if isinstance(used, str)
        else f" The ammonia of the food uses up {near(used, 'alkalinity', unit)} a week"
        " on its way to nitrate."
    )
    said = f"Alkalinity is {near(trend.last, 'alkalinity', unit)}"
    origin = f"/v1/systems/{facts.system.handle}/answers/nutrients"
    value = Quantity(trend.last, "eq/m3").to(unit, "alkalinity")
    bound = Quantity(limit, "eq/m3").to(unit, "alkalinity")
    if trend.last < limit:
        words = (
            f"{said}, below the {near(limit, 'alkalinity', unit)} (40 mg/L CaCO3) that bacteria need for ammonia, and pH may"
            f" fall at once.{beside} Test ammonia, then raise it a little a day: ask dose how."
        )
        verdict = Verdict.ACT
    elif trend.a_week > -FALLS:
        verdict = Verdict.OK
        words = f"{said} and keeps its level by {trend.tests} tests of {FALL_WEEKS} weeks.{beside}"
    else:
        left = (trend.last - limit) / -trend.a_week
        soon = left < FALL_WEEKS
        words = (
            f"{said} and falls by {near(-trend.a_week, 'alkalinity', unit)} a week ({trend.tests} tests of {FALL_WEEKS}"
            f" weeks); at this pace {near(limit, 'alkalinity', unit)}, below which the filter falters and pH may crash, is"
            f" reached in {left:.0f} weeks.{beside} Larger or more frequent changes, or a dose, hold it."
        )
        verdict = Verdict.WATCH if soon else Verdict.OK
    yield of_water(facts, verdict, About.ALKALINITY, "alkalinity", words, origin, value, bound)


def _alkalinity_used(facts: SystemFacts) -> float | str:
    """eq/m3 a week that nitrification of the food uses up, or why that is unknown."""
    found = {}
    for role, kind in (("daily_feed", "mass_flow"), ("feed_protein", "fraction")):
        one = ROLES[role](facts)
        if isinstance(one, Absent):
            return f"Unknown how much nitrification uses up. {one.why}"
        found[role] = one.value.si(kind)
    volume = _volume(facts)
    if volume is None:
        return "Unknown how much nitrification uses up: the volume of the water is not known."
    made = ammonia_made(found["daily_feed"], found["feed_protein"]) * WEEK_S
    return made * WITHOUT_GROWTH.alkalinity / volume


def _volume(facts: SystemFacts) -> float | None:
    """m3 of all water that mixes; None where a depth is not recorded."""
    total = sum(tank.net_volume_si for tank in facts.tanks)
    for section in facts.sections:
        if section.water_volume_si is None:
            return None
        total += section.water_volume_si
    return total


def _creep(facts: SystemFacts) -> Iterator[Finding]:
    """Hardness that a top-off brings and evaporation leaves behind."""
    water = water_of(facts)
    running = water.running(TOP_OFF)
    if running is None or running.source is None:
        return
    origin = f"/v1/standing-exchanges/{running.id}"
    source = water.waters.value_of(running.source.handle, "hardness", facts.at_ms)
    volume = _volume(facts)
    if isinstance(source, Absent) or volume is None:
        why = source.why if isinstance(source, Absent) else "The volume of the water is not known."
        words = f"Unknown whether hardness creeps up by the top-off. {why}"
        yield of_water(facts, Verdict.UNKNOWN, About.HARDNESS, "hardness", words, origin)
        return
    brought = running.flow.si("flow") * source.value.si("hardness")
    a_week = brought * WEEK_S / volume
    told = (
        f"The top-off brings {near(a_week, 'hardness', 'dGH')} of hardness a week with {running.source.handle}, and evaporation"
        " leaves it behind."
    )
    usual, with_change = water.usual_change, _hardness_of_changes(water, facts)
    if usual is None or with_change is None:
        ends = None
        told += " No usual water change is recorded that carries it off: it rises without end."
    else:
        share = min(usual[0] / volume, 1.0)
        settled = swing(Routine(volume, share, usual[1], 0.0, with_change), brought)
        ends = None if settled is None else settled[0]
        told += (
            f" With {near(usual[0], 'volume', 'L')} changed every {near(usual[1], 'time', 'd')} it ends at"
            f" {near(ends or 0, 'hardness', 'dGH')}."
        )
    too_hard = ends is None or ends - (with_change or 0) > CREEPS
    slow = a_week < CREEPS / 52
    verdict = Verdict.OK if slow or not too_hard else Verdict.WATCH
    if verdict is Verdict.WATCH:
        told += " Top up with rain or osmosis water, or change more."
    value = None if ends is None else Quantity(ends, "mol/m3").to("dGH", "hardness")
    yield of_water(facts, verdict, About.HARDNESS, "hardness", told, origin, value)


def _hardness_of_changes(water: SystemWater, facts: SystemFacts) -> float | None:
    source = water.usual_source
    if source is None:
        return None
    found = water.waters.value_of(source.handle, "hardness", facts.at_ms)
    return None if isinstance(found, Absent) else found.value.si("hardness")


STEPS: Sequence[tuple[str, str, str, Limit, Limit]] = (
    ("hardness", "hardness", "dGH", LIMITS["hardness_a_day"], LIMITS["hardness_a_day"]),
    ("alkalinity", "alkalinity", "dKH", LIMITS["alkalinity_a_day"], LIMITS["alkalinity_a_day"]),
    ("temperature", "temperature_difference", "K", LIMITS["warming_a_day"], LIMITS["cooling_a_day"]),
)
"""What a change moves, the kind and unit of its step, and the most that it may rise and fall in a day."""


def _planned(facts: SystemFacts) -> Iterator[Finding]:
    """Planned changes that would move the water too far at once, and plans that are past."""
    for change in water_of(facts).planned:
        origin = f"/v1/water-changes/{change.id}"
        if change.changed_at_ms < facts.at_ms - DAY_MS:
            day = day_of(change.changed_at_ms, water_of(facts).zone)
            words = (
                f"Unknown whether the change planned for {day} was done: set its state to done, or delete it."
            )
            yield of_water(facts, Verdict.UNKNOWN, About.CHANGE, str(change.id), words, origin)
            continue
        yield _step(facts, change, origin)


def _step(facts: SystemFacts, change: WaterChange, origin: str) -> Finding:
    water, volume = water_of(facts), _volume(facts)
    when = f"{clock_at(change.changed_at_ms, water.zone):%Y-%m-%d}"
    replaced, handle = change.volume_si, water.source_of(change)
    if volume is None or replaced is None or handle is None:
        words = f"Unknown how far the change planned for {when} moves the water: its volume or its source is not known."
        return of_water(facts, Verdict.UNKNOWN, About.CHANGE, str(change.id), words, origin)
    share = replaced / volume
    if share > 1 + 1e-9:
        words = f"The change planned for {when} replaces more water than the system holds, {near(volume, 'volume', 'L')}."
        return of_water(facts, Verdict.ACT, About.CHANGE, str(change.id), words, origin)
    over, unknown = [], []
    largest = LIMITS["single_change"]
    if share > largest.value + 1e-9:
        over.append(
            f"{near(share, 'fraction', '%')} at once, more than {near(largest.value, 'fraction', '%')} (common practice)"
        )
    for parameter, kind, unit, rise, fall in STEPS:
        moved = _moved(facts, change, handle, parameter, share)
        if isinstance(moved, str):
            unknown.append(moved)
            continue
        limit = rise if moved > 0 else fall
        if abs(moved) > limit.value * (1 + 1e-9):
            way = "up" if moved > 0 else "down"
            over.append(
                f"{parameter} {way} by {near(abs(moved), kind, unit)}, where {near(limit.value, kind, unit)} a day is the most"
                f" ({'common practice' if limit.origin == 'common practice' else limit.source.title})"
            )
    lacking = f" Not known: {' '.join(unknown)}" if unknown else ""
    if over:
        words = (
            f"The change planned for {when}, {near(replaced, 'volume', 'L')} of {handle}, is too large a step:"
            f" {'; '.join(over)}. Spread it over days (ask water-change), or blend the water nearer.{lacking}"
        )
        return of_water(facts, Verdict.WATCH, About.CHANGE, str(change.id), words, origin)
    verdict = Verdict.UNKNOWN if unknown else Verdict.OK
    told = f"The change planned for {when}, {near(replaced, 'volume', 'L')} of {handle}"
    words = f"{told}, moves nothing too far that is known.{lacking}"
    return of_water(facts, verdict, About.CHANGE, str(change.id), words, origin)


def _moved(facts: SystemFacts, change: WaterChange, handle: str, parameter: str, share: float) -> float | str:
    """By how much a change moves a parameter (SI, a step), or what of it is not known."""
    kind = MEASURED[parameter]
    present = latest_of(facts, parameter)
    if isinstance(present, Absent):
        return present.why
    if parameter == "temperature" and change.temperature is not None:
        coming = change.temperature.si(kind)
    else:
        found = water_of(facts).waters.value_of(handle, parameter, facts.at_ms)
        if isinstance(found, Absent):
            return found.why
        if parameter == "temperature":
            return f"How warm the new water will be: say the change's temperature (the report says {bare(found.value)})."
        coming = found.value.si(kind)
    return share * (coming - float(present.value.si(kind)))


def _nitrifiers(facts: SystemFacts) -> Iterator[Finding]:
    """Whether the recorded media have surface enough for the ammonia of the food."""
    if isinstance(ROLES["daily_feed"](facts), Absent):
        return
    origin = f"/v1/systems/{facts.system.handle}/answers/nitrifier-surface"
    try:
        answered = answer_for(
            facts.session, calculator("nitrifier-surface"), facts.system, {}, at_ms=facts.at_ms
        )
    except Invalid as trouble:
        why = trouble.faults[0].message if trouble.faults else trouble.message
        words = f"Unknown whether the media have surface enough for the food. {why}"
        yield of_water(facts, Verdict.UNKNOWN, About.NITRIFIERS, "filter", words, origin)
        return
    values = answered.values
    yield of_water(facts, VERDICTS[values["verdict"]], About.NITRIFIERS, "filter", values["why"], origin)
