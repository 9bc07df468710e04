"""Where a system's water is heading: alkalinity that is used up, hardness that creeps, a filter with too little surface."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta

from weirbook.actions.answer_for import answer_for
from weirbook.actions.fill_system import ROLES
from weirbook.actions.fill_water import water_of
from weirbook.actions.filling import Absent
from weirbook.actions.finding import About, Finding, Verdict
from weirbook.actions.finding_of_water import of_water
from weirbook.actions.measured_days import Measured, measured_days
from weirbook.actions.recent import bound_of, food_of, last_of, readings_of, recent
from weirbook.actions.system_facts import SystemFacts
from weirbook.actions.system_water import SystemWater
from weirbook.engine.catalogue import calculator
from weirbook.engine.relations.nitrogen import LEAST_ALKALINITY, WITHOUT_GROWTH, ammonia_made
from weirbook.engine.relations.nutrients import Routine, swing
from weirbook.engine.saying import near
from weirbook.engine.times import midnight_ms
from weirbook.engine.units import Quantity, to_si
from weirbook.errors import Invalid
from weirbook.record.waters import DRIP, TOP_OFF, StandingExchange

WEEK_S = 7 * 86_400.0
FALL_WEEKS = 8
"""Tests of how many weeks tell a trend, and how soon a limit that would be reached is worth a word."""
LEAST_TESTS, LEAST_WEEKS = 4, 2
"""How many tests, over how long, tell a trend: fewer or closer ones tell the steps of the test itself."""
FALLS = to_si(0.1, "dKH", "alkalinity")
"""A fall a week below that is within the steps of a drop test."""
CREEPS = to_si(2, "dGH", "hardness")
"""A rise in the long run above the source, or in a year, by that is worth a word. Common practice, no source."""
VERDICTS = {"ok": Verdict.OK, "watch": Verdict.WATCH, "over": Verdict.ACT, "unknown": Verdict.UNKNOWN}


def judge_exchange(facts: SystemFacts) -> Iterator[Finding]:
    """Findings on what is recorded of a system's food, water and filter; nothing where nothing of it is."""
    yield from _alkalinity(facts)
    yield from _creep(facts)
    yield from _nitrifiers(facts)


@dataclass(frozen=True)
class Trend:
    """How a parameter moves, SI a week, by so many tests; unknown by too few or too close ones."""

    a_week: float | None
    tests: int

    @property
    def holds(self) -> bool:
        return self.a_week is not None and self.a_week > -FALLS


def trend_of(water: SystemWater, parameter: str) -> Trend:
    """The line of least squares through a parameter's tests of the last weeks, the last one of each day."""
    first = water.today - timedelta(weeks=FALL_WEEKS)
    tests = [
        one
        for one in measured_days(water, parameter, midnight_ms(first, water.zone)).values()
        if one.qualifier in (None, "between")
    ]
    if len(tests) < LEAST_TESTS or tests[-1].at_ms - tests[0].at_ms < LEAST_WEEKS * WEEK_S * 1000:
        return Trend(None, len(tests))
    weeks = [(one.at_ms - tests[0].at_ms) / (WEEK_S * 1000) for one in tests]
    mean_week, mean = sum(weeks) / len(weeks), sum(one.value for one in tests) / len(tests)
    spread = sum((week - mean_week) ** 2 for week in weeks)
    slope = sum((week - mean_week) * (one.value - mean) for week, one in zip(weeks, tests, strict=True))
    return Trend(slope / spread, len(tests))


def _alkalinity(facts: SystemFacts) -> Iterator[Finding]:
    """Alkalinity that is low or sinks, beside what nitrification of the food uses up."""
    last, told = last_of(facts, "alkalinity"), recent(facts, "alkalinity")
    food = food_of(facts)
    if last is None:
        return
    origin = readings_of(last)
    if isinstance(told, Absent):
        if food != 0:
            words = f"Unknown. {told.why}"
            yield of_water(facts, Verdict.UNKNOWN, About.ALKALINITY, "alkalinity", words, origin)
        return
    unit = last.shown.unit
    verdict, words = _held(facts, last, trend_of(water_of(facts), "alkalinity"), food)
    yield of_water(
        facts,
        verdict,
        About.ALKALINITY,
        "alkalinity",
        f"Alkalinity was {bound_of(last)}{near(last.value, 'alkalinity', unit)}{words}",
        origin,
        last.shown,
        Quantity(LEAST_ALKALINITY, "eq/m3").to(unit, "alkalinity"),
        last.at_ms,
    )


def _held(facts: SystemFacts, last: Measured, trend: Trend, food: float | Absent) -> tuple[Verdict, str]:
    """The verdict on alkalinity, and what follows its last value in words."""
    unit = last.shown.unit
    least = f"{near(LEAST_ALKALINITY, 'alkalinity', unit)} that the filter's bacteria need"
    used = _used(facts, food, unit)
    if last.qualifier == "above" and last.value < LEAST_ALKALINITY:
        return Verdict.UNKNOWN, f". Unknown whether that is the {least}: test it more exactly.{used}"
    if last.qualifier == "below" and last.value > LEAST_ALKALINITY:
        return Verdict.UNKNOWN, f". Unknown whether that is the {least}: test it finer.{used}"
    if last.value < LEAST_ALKALINITY or last.qualifier == "below":
        if trend.holds or food == 0:
            words = (
                f", below the {least}, {'and holds' if food else 'and nothing is fed'}. Soft-water fish may be kept so: watch"
                f" pH and ammonia, and change water little and often.{used}"
            )
            return Verdict.WATCH, words
        words = (
            f", below the {least}: ammonia may rise, and pH may fall suddenly.{used} Test pH and ammonia first, for ammonia"
            " turns poisonous as pH rises; then raise alkalinity a little a day: ask dose how."
        )
        return Verdict.ACT, words
    if trend.a_week is None:
        words = (
            f". Unknown whether it falls: on {_days(trend.tests)} within {FALL_WEEKS} weeks it was tested, and it takes"
            f" {LEAST_TESTS} that span {LEAST_WEEKS} weeks.{used}"
        )
        fed = not isinstance(food, Absent) and food > 0
        return (Verdict.UNKNOWN if fed else Verdict.OK), words
    if trend.holds:
        return Verdict.OK, f" and holds, by {trend.tests} tests within {FALL_WEEKS} weeks.{used}"
    left = (last.value - LEAST_ALKALINITY) / -trend.a_week
    words = (
        f" and falls by {near(-trend.a_week, 'alkalinity', unit)} a week, by {trend.tests} tests within"
        f" {FALL_WEEKS} weeks: at this pace it is at"
        f" the {least} in {_weeks(left)}.{used} Larger or more frequent changes, or a dose, hold it."
    )
    return (Verdict.WATCH if left < FALL_WEEKS else Verdict.OK), words


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"


def _weeks(left: float) -> str:
    return "less than a week" if left < 1 else "about a week" if left < 1.5 else f"about {left:.0f} weeks"


def _used(facts: SystemFacts, food: float | Absent, unit: str) -> str:
    """What nitrification of the food uses up a week, as a sentence, or why that is unknown."""
    protein, volume = ROLES["feed_protein"](facts), ROLES["water_volume"](facts)
    if food == 0:
        return ""
    for one in (food, protein, volume):
        if isinstance(one, Absent):
            return f" Unknown how much of it the food uses up. {one.why}"
    assert not isinstance(food, Absent) and not isinstance(protein, Absent) and not isinstance(volume, Absent)
    made = ammonia_made(food, protein.value.si("fraction")) * WEEK_S
    used = made * WITHOUT_GROWTH.alkalinity / volume.value.si("volume")
    return f" The ammonia of the food uses up about {near(used, 'alkalinity', unit)} a week on its way to nitrate."


def _creep(facts: SystemFacts) -> Iterator[Finding]:
    """Hardness that a top-off brings and evaporation leaves behind."""
    running = water_of(facts).running(TOP_OFF)
    if running is None or running.source is None:
        return
    verdict, words, ends, most = _crept(facts, running, running.source.handle)
    value, limit = (
        None if one is None else Quantity(one, "mol/m3").to("dGH", "hardness") for one in (ends, most)
    )
    origin = f"/v1/standing-exchanges/{running.id}"
    yield of_water(facts, verdict, About.HARDNESS, "hardness", words, origin, value, limit)


def _crept(
    facts: SystemFacts, running: StandingExchange, handle: str
) -> tuple[Verdict, str, float | None, float | None]:
    """The verdict in words, where hardness ends (SI), and the most that is let pass."""
    source = water_of(facts).waters.value_of(handle, "hardness", facts.at_ms)
    volume = ROLES["water_volume"](facts)
    for one in (source, volume):
        if isinstance(one, Absent):
            words = f"Unknown whether hardness creeps up by the top-off. {one.why}"
            return Verdict.UNKNOWN, words, None, None
    assert not isinstance(source, Absent) and not isinstance(volume, Absent)
    whole = volume.value.si("volume")
    brought = running.flow.si("flow") * source.value.si("hardness")
    if not brought:
        return Verdict.OK, f"The top-off is of {handle}, which has no hardness to leave behind.", None, None
    a_week = brought * WEEK_S / whole
    told = (
        f"The top-off of {handle} brings {near(a_week, 'hardness', 'dGH')} of hardness a week, and evaporation leaves it"
        " behind."
    )
    mend = " Top up with rain or osmosis water, or change more."
    carried = _carried_off(facts, whole)
    if isinstance(carried, Absent):
        return Verdict.UNKNOWN, f"{told} Unknown where it ends. {carried.why}", None, None
    routine, drip, how, exchanged = carried
    settled = swing(routine, brought + drip)
    if settled is None:
        slow = a_week * 52 < CREEPS
        words = (
            f"{told} No drip runs, and fewer than three water changes within 120 days tell how it is carried off: it rises"
            " on and on"
        )
        if slow:
            return (
                Verdict.OK,
                f"{words}, though by less than {near(CREEPS, 'hardness', 'dGH')} a year.",
                None,
                None,
            )
        return Verdict.WATCH, f"{words}.{mend}", None, None
    ends, most = settled[0], exchanged + CREEPS
    words = (
        f"{told} With {how} it ends at {near(ends, 'hardness', 'dGH')}, where the water put in has"
        f" {near(exchanged, 'hardness', 'dGH')}."
    )
    if ends > most:
        return Verdict.WATCH, f"{words}{mend}", ends, most
    return Verdict.OK, words, ends, most


def _carried_off(facts: SystemFacts, whole: float) -> tuple[Routine, float, str, float] | Absent:
    """How water is exchanged, what the drip brings of hardness (mol/s), both in words, and the hardness put in.

    Where nothing is exchanged the routine has a share of 0 and no drip.
    """
    water = water_of(facts)
    usual, drip = water.usual_change, water.running(DRIP)
    told, hardness = [], []
    share, interval, flow = 0.0, WEEK_S, 0.0
    of_changes = of_drip = 0.0
    if usual is not None and usual[0]:
        share, interval = min(usual[0] / whole, 1.0), usual[1]
        found = ROLES["source.hardness"](facts)
        if isinstance(found, Absent):
            return found
        of_changes = found.value.si("hardness")
        told.append(f"{near(usual[0], 'volume', 'L')} changed every {near(interval, 'time', 'd')}")
        hardness.append(of_changes)
    if drip is not None and drip.source is not None:
        flow = drip.flow.si("flow")
        of_it = water.waters.value_of(drip.source.handle, "hardness", facts.at_ms)
        if isinstance(of_it, Absent):
            return of_it
        of_drip = of_it.value.si("hardness")
        told.append(f"a drip of {near(flow, 'flow', 'L/d')}")
        hardness.append(of_drip)
    routine = Routine(whole, share, interval, flow, of_changes)
    return routine, flow * of_drip, " and ".join(told), max(hardness, default=0.0)


def _nitrifiers(facts: SystemFacts) -> Iterator[Finding]:
    """Whether the recorded media have surface enough for the ammonia of the food; nothing where nothing is fed."""
    water, food = water_of(facts), food_of(facts)
    rations = [tank for tank in facts.tanks if water.feeding.ration(tank.id, water.today) is not None]
    if not rations or food == 0:
        return
    told = (food, ROLES["feed_protein"](facts), ROLES["water_temperature"](facts))
    lacking = [one.why for one in told if isinstance(one, Absent)]
    if lacking:
        words = (
            f"Unknown whether the media have surface enough for the food. {' '.join(dict.fromkeys(lacking))}"
        )
        origin = f"/v1/rations?tank={rations[0].handle}"
        yield of_water(facts, Verdict.UNKNOWN, About.NITRIFIERS, "filter", words, origin)
        return
    try:
        answered = answer_for(
            facts.session, calculator("nitrifier-surface"), facts.system, {}, at_ms=facts.at_ms
        )
    except Invalid as trouble:
        why = trouble.faults[0].message if trouble.faults else trouble.message
        words = f"Unknown whether the media have surface enough for the food. {why}"
        origin = f"/v1/rations?tank={rations[0].handle}"
        yield of_water(facts, Verdict.UNKNOWN, About.NITRIFIERS, "filter", words, origin)
        return
    values, media = answered.values, ROLES["nitrifier_media"](facts)
    words = values["why"]
    if isinstance(media, Absent):
        words = (
            f"Unknown whether the filter has room for the bacteria: the food wants about"
            f" {near(values['surface_needed'], 'area', 'm2')} of media. {media.why} Record the media of a section with their"
            " specific surface."
        )
    yield of_water(
        facts,
        VERDICTS[values["verdict"]],
        About.NITRIFIERS,
        "filter",
        words,
        f"/v1/systems/{facts.system.handle}/answers/nitrifier-surface",
        None if isinstance(media, Absent) else Quantity(values["surface_present"], "m2"),
        Quantity(values["surface_needed"], "m2"),
    )
