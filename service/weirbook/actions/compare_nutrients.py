"""Predicted against measured nitrate and phosphate of a system, week by week, and what the difference suggests."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from weirbook.actions.fill_water import water_of
from weirbook.actions.measured_days import Measured, measured_days
from weirbook.actions.nutrient_days import Case, DayFacts, NutrientDays
from weirbook.actions.system_facts import SystemFacts
from weirbook.actions.system_water import SystemWater
from weirbook.engine.relations.nutrients import KG_N_A_MOLE, KG_P_A_MOLE, Pair, State, simulate
from weirbook.engine.saying import near
from weirbook.engine.times import day_of, midnight_ms, week_text
from weirbook.engine.units import KINDS
from weirbook.errors import Invalid

TEST_ERROR = 0.2
"""How far a keeper's test of nitrate or phosphate may lie off, as a share. Common practice, no source."""
LEAST_ERROR: Mapping[str, float] = {"nitrate": 2 / 62.004, "phosphate": 0.1 / 94.9698}
"""mol/m3: no drop test is finer (2 mg/L NO3, 0.1 mg/L PO4). Common practice, no source."""
STEADY_TESTS = 4
MOVED = 0.1
"""A term that changed by less than this share of all that comes in is no explanation. Our own choice."""

SPECIES = ("nitrate", "phosphate")
KG_A_MOLE: Mapping[str, float] = {"nitrate": KG_N_A_MOLE, "phosphate": KG_P_A_MOLE}
ELEMENTS = {"nitrate": "nitrogen", "phosphate": "phosphorus"}
FLOWS = (
    "made",
    "dosed",
    "source_of_changes",
    "source_of_drip",
    "source_of_top_off",
    "out_by_changes",
    "out_by_drip",
    "out_in_solids",
    "plants",
    "harvested",
    "denitrified",
)
"""Terms of the balance that come in or leave; what leaves counts against what comes."""
CAUSES = (*FLOWS[:5], "out_in_solids", "plants", "harvested", "denitrified")
"""Terms that don't follow from how much is in the water: what changes carry off does."""
NAMES = {
    "made": "food",
    "dosed": "doses",
    "source_of_changes": "the water of changes",
    "source_of_drip": "the water of the drip",
    "source_of_top_off": "the water of the top-off",
    "out_by_changes": "water changes",
    "out_by_drip": "the drip",
    "out_in_solids": "solids taken out",
    "plants": "plants",
    "harvested": "plants by their harvests",
    "denitrified": "denitrification",
}


@dataclass(frozen=True)
class Week:
    """A week of one element: kg by term in the likely case, and mol/m3 predicted and measured."""

    week: str
    first: date
    last: date
    fed: float
    exchanged: float
    terms: Mapping[str, float]
    predicted: tuple[float, float, float]
    measured: Measured | None
    unexplained: float | None
    in_band: bool | None


@dataclass(frozen=True)
class Balance:
    """One species over all weeks: its start, its weeks, what moved most, and the verdict on the difference."""

    parameter: str
    start: Measured
    weeks: Sequence[Week]
    whole: Mapping[str, float]
    change: float
    moved: str
    fits: bool | None
    """Whether the last test fits what the record leads to; None where nothing can be told."""
    suggests: str


@dataclass(frozen=True)
class Comparison:
    """Both species of one system; a species that nobody tested says why it can't be compared."""

    system: str
    first: date
    last: date
    volume: float
    balances: Mapping[str, Balance]
    unknown: Mapping[str, str]
    missing: Sequence[str]
    assumed: Sequence[str]


@dataclass(frozen=True)
class Asked:
    """What is asked: how many weeks back, and what the record does not hold."""

    weeks: int = 13
    solids: float = 0.0
    denitrified: float = 0.0
    """kg of nitrogen a day."""


def compare_nutrients(facts: SystemFacts, volume: float, asked: Asked) -> Comparison:
    """Follow a system's nitrogen and phosphorus through the record and set them against its tests.

    It begins with the first test of each within the time asked for, or since the same tanks have belonged together.
    Raises Invalid where no ration tells what is fed.
    """
    water = water_of(facts)
    first = water.today - timedelta(days=7 * asked.weeks + water.today.weekday())
    settled = day_of(water.settled_ms, water.zone)
    if settled > first:
        first = settled
    _refuse_without_food(water, first)
    days = NutrientDays(water, volume)
    if settled == first:
        days.told.assumes(f"It begins on {first}: since then the same tanks have belonged to the system.")
    tests = {one: measured_days(water, one, midnight_ms(first, water.zone)) for one in SPECIES}
    starts = {one: start for one in SPECIES if (start := _start(tests[one], water.today)) is not None}
    # Days before the first balance are not looked at, so that nothing is called missing that no balance rests on.
    known = days.facts(min(starts.values()) + timedelta(days=1), water.today) if starts else []
    balances = {
        one: _balance(days, known, one, tests[one], start, volume, asked) for one, start in starts.items()
    }
    unknown = {
        one: f"Unknown, because no test of {one} from {first} to yesterday is recorded that tells a value to begin with."
        for one in SPECIES
        if one not in starts
    }
    return Comparison(
        facts.system.handle,
        first,
        water.today,
        volume,
        balances,
        unknown,
        list(days.told.missing),
        list(days.told.assumed),
    )


def _start(tests: Mapping[date, Measured], today: date) -> date | None:
    """The day of the first test that tells a value; None where that leaves no day to follow."""
    sure = (day for day, one in tests.items() if one.qualifier in (None, "between"))
    start = next(sure, None)
    return None if start is None or start >= today else start


def _refuse_without_food(water: SystemWater, first: date) -> None:
    tanks = water.facts.tanks
    if not tanks:
        raise Invalid("The system has no tank.", slug="not-recorded")
    if not any(water.feeding.told(tank.id, day) for tank in tanks for day in (first, water.today)):
        raise Invalid(
            f"Unknown, because no ration of {', '.join(tank.handle for tank in tanks)} is recorded: tell what each is fed"
            " with POST /v1/rations; one without feeds says that nothing is fed.",
            slug="not-recorded",
        )


def _balance(
    days: NutrientDays,
    known: Sequence[DayFacts],
    parameter: str,
    tests: Mapping[date, Measured],
    start: date,
    volume: float,
    asked: Asked,
) -> Balance:
    """One species from its first test on: the days after that of the test are followed."""
    later = [one for one in known if one.day > start]
    states = {
        case: dict(
            zip(
                (one.day for one in later),
                _followed(days, later, parameter, tests[start].value, case, volume, asked),
                strict=True,
            )
        )
        for case in Case
    }
    surely = tests[start].value + error_of(parameter, tests[start].value)
    off = _followed(days, later, parameter, surely, Case.LIKELY, volume, asked)
    carried = {
        one.day: _end(state, parameter) - _end(states[Case.LIKELY][one.day], parameter)
        for one, state in zip(later, off, strict=True)
    }
    weeks = list(_weeks(days, later, parameter, tests, start, states, carried, volume, asked))
    likely = [getattr(state, ELEMENTS[parameter]) for state in states[Case.LIKELY].values()]
    whole = {name: sum(getattr(one, name) for one in likely) for name in FLOWS}
    fits, suggests = _judged(parameter, weeks)
    if days.told.missing:
        suggests += f" Not known, and counted as none: {'; '.join(days.told.missing)}."
    last = likely[-1].end if likely else tests[start].value * volume * KG_A_MOLE[parameter]
    change = last - tests[start].value * volume * KG_A_MOLE[parameter]
    return Balance(parameter, tests[start], weeks, whole, change, _moved(weeks, parameter), fits, suggests)


def _followed(
    days: NutrientDays,
    facts: Sequence[DayFacts],
    parameter: str,
    start: float,
    case: Case,
    volume: float,
    asked: Asked,
) -> list[State]:
    held = start * KG_A_MOLE[parameter]
    pair = Pair(nitrogen=held) if parameter == "nitrate" else Pair(phosphorus=held)
    return simulate(volume, pair, days.days(facts, case, solids=asked.solids, denitrified=asked.denitrified))


def _end(state: State, parameter: str) -> float:
    """mol/m3 at a day's end."""
    pair = state.end
    return (pair.nitrogen if parameter == "nitrate" else pair.phosphorus) / KG_A_MOLE[parameter]


def _weeks(
    days: NutrientDays,
    later: Sequence[DayFacts],
    parameter: str,
    tests: Mapping[date, Measured],
    start: date,
    states: Mapping[Case, Mapping[date, State]],
    carried: Mapping[date, float],
    volume: float,
    asked: Asked,
) -> Iterable[Week]:
    """The calendar's weeks; each is shown at its last test, or at its end where nothing was tested.

    `carried` is what is left on a day of the first test's own error.
    """
    before_day, before = start, tests[start]
    by_week: dict[str, list[DayFacts]] = {}
    for one in later:
        by_week.setdefault(week_text(one.day - timedelta(days=one.day.weekday())), []).append(one)
    for week, inside in by_week.items():
        tested = [one.day for one in inside if one.day in tests]
        at = tested[-1] if tested else inside[-1].day
        predicted = tuple(_end(states[case][at], parameter) for case in Case)
        measured = tests[at] if tested else None
        unexplained = None
        if measured is not None and measured.qualifier in (None, "between"):
            since = [one for one in later if before_day < one.day <= at]
            expected = _end(
                _followed(days, since, parameter, before.value, Case.LIKELY, volume, asked)[-1], parameter
            )
            unexplained = measured.value - expected
            before_day, before = at, measured
        terms = [getattr(states[Case.LIKELY][one.day], ELEMENTS[parameter]) for one in inside]
        yield Week(
            week,
            inside[0].day,
            inside[-1].day,
            sum(one.fed for one in inside),
            sum(one.exchanged for one in inside),
            {name: sum(getattr(term, name) for term in terms) for name in FLOWS},
            predicted,  # type: ignore[arg-type]
            measured,
            unexplained,
            None
            if measured is None
            else _fits(parameter, measured, predicted[0] - carried[at], predicted[2] + carried[at]),
        )


def error_of(parameter: str, value: float) -> float:
    """How far a test may lie off, mol/m3."""
    return max(TEST_ERROR * value, LEAST_ERROR[parameter])


def _fits(parameter: str, measured: Measured, low: float, high: float) -> bool:
    error = error_of(parameter, measured.value)
    under = measured.qualifier != "above" and measured.value + error < low
    over = measured.qualifier != "below" and measured.value - error > high
    return not (under or over)


def _moved(weeks: Sequence[Week], parameter: str) -> str:
    """Which term changed most from the first whole weeks to the last, in words."""
    whole = [one for one in weeks if (one.last - one.first).days == 6]
    if len(whole) < 4:
        return "Too few whole weeks to tell what changed: four are needed."
    part = min(4, len(whole) // 2)
    early, late, span = whole[:part], whole[-part:], f"first {part} whole weeks against last {part}"
    came = sum(one.terms[name] for one in early for name in FLOWS[:5]) / part
    changed = [sum(one.exchanged for one in some) / part for some in (early, late)]
    moves = sorted(
        ((_mean(late, name) - _mean(early, name), name) for name in CAUSES), key=lambda one: -abs(one[0])
    )
    told = [
        _told_of(name, early, late, ELEMENTS[parameter])
        for change, name in moves
        if abs(change) > MOVED * came
    ]
    if abs(changed[1] - changed[0]) > MOVED * max(changed):
        first, last = (near(one, "volume", "L") for one in changed)
        told.append(f"water changed from {first} to {last} a week")
    if not told:
        return f"Nothing that comes in or leaves changed much as {ELEMENTS[parameter]}, {span}."
    return f"What changed most, {span}: {'; '.join(told[:4])}."


def _told_of(name: str, early: Sequence[Week], late: Sequence[Week], element: str) -> str:
    """How a term went from the first weeks to the last, food also by its weight as fed."""
    then, now = _grams(_mean(early, name)), _grams(_mean(late, name))
    if name != "made":
        return f"{NAMES[name]} from {then} to {now} of {element} a week"
    fed = [_grams(sum(one.fed for one in some) / len(some)) for some in (early, late)]
    return f"food from {fed[0]} to {fed[1]} a week, which leaves {then} and {now} of {element}"


def _mean(weeks: Sequence[Week], name: str) -> float:
    return sum(one.terms[name] for one in weeks) / len(weeks)


def _grams(kg: float) -> str:
    return near(kg, "mass", "g")


def steadily(parameter: str, weeks: Sequence[Week]) -> str:
    """What tests gain or lose week by week beyond the likely case, where they do so steadily."""
    odd = [one.unexplained for one in weeks if one.unexplained is not None]
    if len(odd) < STEADY_TESTS:
        return ""
    mean = sum(odd) / len(odd)
    error = (sum((one - mean) ** 2 for one in odd) / (len(odd) - 1) / len(odd)) ** 0.5
    if abs(mean) <= 2 * error or abs(mean) <= LEAST_ERROR[parameter] / 2:
        return ""
    shown = near(abs(mean), parameter, KINDS[parameter].default)
    if mean > 0:
        return f" Test by test it gains {shown} on the likely case: fish give off more or plants take less than that."
    return f" Test by test it loses {shown} to the likely case: plants take more or fish give off less than that."


def _judged(parameter: str, weeks: Sequence[Week]) -> tuple[bool | None, str]:
    """What the difference between the last tests and the prediction suggests."""
    tested = [one for one in weeks if one.measured is not None]
    if not tested:
        return None, f"Unknown, because {parameter} was not tested again since."
    last = tested[-1]
    assert last.measured is not None
    shown = KINDS[parameter].default
    band = f"{near(last.predicted[0], parameter, shown)} to {near(last.predicted[2], parameter, shown)}"
    word = last.measured.qualifier if last.measured.qualifier in ("below", "above") else ""
    read = f"{word} {near(last.measured.value, parameter, shown)}".lstrip()
    if last.in_band:
        scattered = [one for one in tested if one.in_band is False]
        odd = (
            f" Tests of {', '.join(one.week for one in scattered)} lie outside theirs: a slip of the test, most likely,"
            " since later ones came back."
            if scattered
            else ""
        )
        steady = steadily(parameter, tested)
        return True, f"The last test, {read}, lies within what the record leads to, {band}.{steady}{odd}"
    alone = len(tested) > 1 and tested[-2].in_band is True
    doubt = " The test before fitted: test again before you look further." if alone else ""
    if last.measured.value > last.predicted[2]:
        return False, (
            f"The last test, {read}, is more than the record leads to, {band}. It suggests food, doses or losses that are"
            " not recorded, more of it in the source water than reported, solids that rot somewhere, fewer water changes"
            f" than told, or a test that reads high.{doubt}"
        )
    return False, (
        f"The last test, {read}, is less than the record leads to, {band}. It suggests that plants, algae or"
        " denitrification take up more, that less is eaten than told, that water changes are not recorded, or that the"
        f" test reads low (shake the bottles, check the date).{doubt}"
    )
