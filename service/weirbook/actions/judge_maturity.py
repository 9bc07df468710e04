"""How settled a system is: its age, its ammonia and nitrite, how its readings scatter, its losses, its algae."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import takewhile
from statistics import median

from weirbook.actions.fish_days import fish_days
from weirbook.actions.maturity_age import DRY_SPELL, NAMES, NEW_SUBSTRATE, Age, age_of
from weirbook.actions.read_excursions import seen
from weirbook.actions.timeline_of_gauges import gauges_of
from weirbook.actions.told import DAY_MS, Look, capital, parameter_name, times
from weirbook.engine.inputs import bare, six
from weirbook.engine.relations.event_rates import compare_rates
from weirbook.engine.relations.excursions import Seen
from weirbook.engine.relations.trends import trend
from weirbook.engine.relations.usual import least_step, usual
from weirbook.engine.times import day_of
from weirbook.engine.units import Quantity, from_si, number, to_si
from weirbook.record import gauge_spans, gauging
from weirbook.record.equipment import Gauge
from weirbook.record.readings import BETWEEN, IMPLAUSIBLE

MET, NOT_MET, UNKNOWN = "met", "not met", "unknown"
YOUNG, HALF_WAY, STEADY, UNSETTLED = "young", "half-way", "steady", "unsettled again"
TRACES: Mapping[str, tuple[float, str, str]] = {
    "total_ammonia": (0.25, "mg/L NH3-N", "ammonia"),
    "nitrite": (0.25, "mg/L NO2", "nitrite"),
}
"""What a settled filter leaves at most: about what usual tests can just show. Common practice, no source."""
LAST_TESTS = 3
FRESH_DAYS = 30
"""So many last tests, the newest no older, must lie below. Common practice, no source."""
BLOCK_DAYS, BLOCKS = 28, 6
LEAST_DAYS, LEAST_TESTS = 14, 4
"""Values in four weeks below which their scatter is not told, of sensors and tests. Our own choice."""
MORE_SCATTER = 2.0
"""Times the earlier scatter that is called restless. Our own choice."""
LATELY_DAYS = 56
ALGAE_CONFIDENCE, LOSS_CONFIDENCE = 0.9, 0.95
"""Of losses the stricter one: a verdict may turn on them."""
ALGAE_WEEKS, ALGAE_LEAST = 13, 5
SCATTERING = ("temperature", "ph", "conductivity", "alkalinity", "hardness", "nitrate", "phosphate", "redox")
"""Parameters of water whose scatter is looked at."""


@dataclass(frozen=True)
class Criterion:
    """One thing that a steady system would show: its state, its value in words, and how that is known."""

    name: str
    state: str
    value: str
    words: str
    path: str


@dataclass(frozen=True)
class Maturity:
    """The verdict with its reasons; never more certain than the record."""

    age: Age
    verdict: str
    reasons: Sequence[str]
    criteria: Sequence[Criterion]
    missing: Sequence[str]


def judge_maturity(look: Look) -> Maturity:
    """How settled a system is at the end of the look."""
    age = age_of(look)
    series = {gauge: _series(look, gauge) for gauge in gauges_of(look) if _counts(look, gauge)}
    criteria = [
        _of_age(look, age),
        *(_of_trace(look, name, series) for name in TRACES),
        *_of_scatter(look, series),
        _of_losses(look),
        _of_algae(look, series),
    ]
    verdict, reasons = _verdict(age, criteria)
    missing = [f"{one.words}" for one in criteria if one.state == UNKNOWN]
    return Maturity(age, verdict, reasons, criteria, missing)


def _counts(look: Look, gauge: Gauge) -> bool:
    """Whether a gauge stands in the system itself: the room's air is not its water."""
    retired = gauge.retired_at_ms is not None and gauge.retired_at_ms <= look.start_ms
    held = look.belongs.held(gauge.place_id, look.end_ms - 1)
    return bool(gauge.place_id) and held and not retired and gauge.kind != "contact"


def _series(look: Look, gauge: Gauge) -> Sequence[Seen]:
    """A gauge's tests, or the means of its days of 24 hours that end with the look."""
    if not gauge.by_hand:
        days = gauge_spans.days(look.session, [gauge.id], look.start_ms, look.end_ms).get(gauge.id, [])
        return [Seen(one.start_ms, one.mean, one.mean, one.mean) for one in days]
    rows = gauging.between(look.session, gauge.id, look.start_ms, look.end_ms)
    offsets = gauging.offsets(look.session, [gauge.id]).get(gauge.id, ())
    excluded = gauging.exclusions(look.session, [gauge.id]).get(gauge.id, [])
    bounds = gauging.bounds(look.session, gauge.id, [row.at_ms for row in rows if row.mark & BETWEEN])
    return [
        seen(row, bounds.get(row.at_ms), gauging.offset_at(offsets, row.at_ms))
        for row in rows
        if not row.mark & IMPLAUSIBLE and not any(one <= row.at_ms < two for one, two in excluded)
    ]


def _of_age(look: Look, age: Age) -> Criterion:
    path = "" if age.set_up is None else age.set_up.path
    if age.counted is None:
        words = "How old it is: set set_up_on of its tanks, or write a journal entry tagged set-up."
        return Criterion(
            "age", UNKNOWN, "", f"Unknown, because no day of setting up is recorded. {words}", path
        )
    stage = age.stage
    told = f"{six(float(f'{age.counted:.3g}'))} weeks counted; {six(age.steady)} are wanted, half-way at {six(age.half_way)}"
    return Criterion("age", MET if stage == STEADY else NOT_MET, str(stage), capital(told) + ".", path)


def _of_trace(look: Look, parameter: str, series: Mapping[Gauge, Sequence[Seen]]) -> Criterion:
    """Whether the last tests found no more than a trace, and since when."""
    limit, unit, kind = TRACES[parameter]
    name = parameter_name(parameter)
    told = _traces(series, parameter, to_si(limit, unit, kind), kind)
    if not told:
        words = f"Unknown, because {name} was not tested in the last {_span(look)} days: test it."
        return Criterion(parameter, UNKNOWN, "", words, "")
    newest = told[-1]
    path = f"/v1/readings?gauge={newest.gauge}"
    last = told[-LAST_TESTS:]
    value = f"{newest.shown}, {day_of(newest.at_ms, look.zone)}"
    allowed = f"{six(limit)} {unit}"
    if newest.at_ms < look.end_ms - FRESH_DAYS * DAY_MS:
        words = (
            f"Unknown, because {name} was last tested on {day_of(newest.at_ms, look.zone)}: test it again."
        )
        return Criterion(parameter, UNKNOWN, value, words, path)
    if any(one.above is True for one in last):
        words = f"{sum(one.above is True for one in last)} of the last {len(last)} tests found more than {allowed}."
        return Criterion(parameter, NOT_MET, value, words, path)
    if len(last) < LAST_TESTS or any(one.above is None for one in last):
        sure = sum(one.above is False for one in last)
        words = f"Unknown, because only {sure} of the last tests show less than {allowed}; {LAST_TESTS} are wanted."
        return Criterion(parameter, UNKNOWN, value, words, path)
    run = len(list(takewhile(lambda one: one.above is False, reversed(told))))
    since = told[-run]
    words = f"No more than {allowed} since {day_of(since.at_ms, look.zone)}, {run} tests."
    return Criterion(parameter, MET, value, words, path)


@dataclass(frozen=True)
class _Trace:
    """A test beside the limit: above it or not, None where its bound leaves that open."""

    at_ms: int
    above: bool | None
    shown: str
    gauge: str


def _traces(
    series: Mapping[Gauge, Sequence[Seen]], parameter: str, limit_si: float, kind: str
) -> list[_Trace]:
    found = [
        _trace(gauge, one, limit_si, kind)
        for gauge, some in series.items()
        if gauge.parameter == parameter and gauge.kind == kind
        for one in some
    ]
    return sorted(found, key=lambda one: one.at_ms)


def _trace(gauge: Gauge, one: Seen, limit_si: float, kind: str) -> _Trace:
    """Judged by both ends between which the truth lies."""
    limit = from_si(limit_si, gauge.unit, kind)
    bounded_above, bounded_below = one.most < math.inf, one.least > -math.inf
    above: bool | None = None
    if one.least > limit * (1 + 1e-9) or (not bounded_above and one.least >= limit * (1 - 1e-9)):
        above = True
    elif one.most <= limit * (1 + 1e-9):
        above = False
    mark = "" if bounded_above and bounded_below else "below " if bounded_above else "above "
    return _Trace(one.at_ms, above, mark + _figure(gauge, one.value), gauge.handle)


def _figure(gauge: Gauge, value: float) -> str:
    return bare(Quantity(number(float(f"{value:.3g}")), gauge.unit))


def _span(look: Look) -> int:
    return round((look.end_ms - look.start_ms) / DAY_MS)


def _of_scatter(look: Look, series: Mapping[Gauge, Sequence[Seen]]) -> Iterator[Criterion]:
    """Of each parameter: the scatter of the last four weeks beside that of the four-week blocks before."""
    for gauge, some in series.items():
        if gauge.parameter not in SCATTERING:
            continue
        path = f"/v1/gauges/{gauge.handle}"
        name = f"scatter of {parameter_name(gauge.parameter)}"
        blocks = _blocks(look, some)
        least = LEAST_TESTS if gauge.by_hand else LEAST_DAYS
        lately = blocks.get(0, [])
        earlier = [values for block, values in blocks.items() if block and len(values) >= least]
        what = "tests" if gauge.by_hand else "days"
        if len(lately) < least or not earlier:
            words = (
                f"Unknown, because {gauge.handle} has {len(lately)} {what} in the last four weeks and {len(earlier)} "
                f"four-week blocks before with {least} or more."
            )
            yield Criterion(name, UNKNOWN, "", words, path)
            continue
        now = usual(lately).spread
        before = median(usual(values).spread for values in earlier)
        step = least_step([one.value for one in some]) or 0.0
        if gauge.resolution is not None:
            step = gauge.resolution.value
        floor = max(before, step / 12**0.5)
        ratio = now / floor if floor else (0.0 if now == 0 else MORE_SCATTER + 1)
        words = (
            f"{gauge.handle}: {_scatter(gauge, now, step)} in the last four weeks ({len(lately)} {what}), "
            f"{_scatter(gauge, before, step)} in the {'block' if len(earlier) == 1 else f'{len(earlier)} blocks'} of four "
            "weeks before."
        )
        yield Criterion(
            name, MET if ratio <= MORE_SCATTER else NOT_MET, _scatter(gauge, now, step), words, path
        )


def _scatter(gauge: Gauge, spread: float, step: float) -> str:
    """A spread at two figures, but no finer than a tenth of the step by which the gauge reads."""
    finest = step / 10
    if 0 < spread < finest:
        return f"± less than {_figure(gauge, finest)}"
    shown = float(f"{spread:.2g}")
    return f"± {_figure(gauge, round(shown, -math.floor(math.log10(finest))) if finest else shown)}"


def _blocks(look: Look, some: Sequence[Seen]) -> Mapping[int, list[float]]:
    """Values by how many four weeks they lie before the end of the look."""
    found: dict[int, list[float]] = defaultdict(list)
    for one in some:
        block = (look.end_ms - 1 - one.at_ms) // (BLOCK_DAYS * DAY_MS)
        if 0 <= block <= BLOCKS:
            found[block].append(one.value)
    return found


def _of_losses(look: Look) -> Criterion:
    """Fish lost per 1000 fish-days lately, beside the time before."""
    split = look.end_ms - LATELY_DAYS * DAY_MS
    lost, lived = fish_days(look, split, look.end_ms)
    before, before_lived = fish_days(look, look.start_ms, split)
    path = "/v1/stock-entries?kind=loss"
    if lived <= 0:
        return Criterion(
            "losses", UNKNOWN, "", "Unknown, because no fish are in the ledger of these weeks.", path
        )
    rate = f"{six(float(f'{1000 * lost / lived:.3g}'))} per 1000 fish-days"
    lately = f"{lost} died of what may lie in the water in {six(float(f'{lived:.4g}'))} fish-days of the last {LATELY_DAYS} days"
    if before_lived <= 0:
        words = f"Unknown, because nothing before is in the ledger to compare with: {lately}."
        return Criterion("losses", UNKNOWN, rate, words, path)
    found = compare_rates(lost, lived, before, before_lived, LOSS_CONFIDENCE)
    earlier = f"{before} in {six(float(f'{before_lived:.4g}'))} before"
    if found.unknown is not None:
        return Criterion("losses", MET, rate, f"None died: {lately}; {earlier}.", path)
    if found.told_apart and found.p_higher < found.p_lower:
        least = (
            "" if found.low is None else f" ({six(float(f'{found.low:.3g}'))} times at least, 95 % interval)"
        )
        return Criterion("losses", NOT_MET, rate, f"More than before{least}: {lately}; {earlier}.", path)
    word = "fewer than before" if found.told_apart else "not told apart from before (95 % interval)"
    return Criterion("losses", MET, rate, f"{capital(word)}: {lately}; {earlier}.", path)


def _of_algae(look: Look, series: Mapping[Gauge, Sequence[Seen]]) -> Criterion:
    """Whether algae cover rises: Mann–Kendall and Sen's slope over the last weeks."""
    since = look.end_ms - ALGAE_WEEKS * 7 * DAY_MS
    told = [
        (gauge, [one for one in some if one.at_ms >= since])
        for gauge, some in series.items()
        if gauge.parameter == "algae_cover"
    ]
    gauge, some = max(told, key=lambda one: len(one[1]), default=(None, []))
    if gauge is None or len(some) < ALGAE_LEAST:
        often = f"scored {times(len(some))}" if some else "never scored"
        words = f"Unknown, because algae cover was {often} in the last {ALGAE_WEEKS} weeks; {ALGAE_LEAST} tell a trend."
        return Criterion("algae", UNKNOWN, "", words, "" if gauge is None else f"/v1/gauges/{gauge.handle}")
    weeks = [one.at_ms / (7 * DAY_MS) for one in some]
    found = trend(weeks, [one.value for one in some], ALGAE_CONFIDENCE)
    low, high = (_figure(gauge, one) for one in (found.sen.low, found.sen.high))
    word = {1: "rising", -1: "falling", 0: "no trend that can be told"}[found.direction]
    words = f"{capital(word)}: {low} to {high} a week (90 % interval of Sen's slope, {len(some)} scores)."
    state = NOT_MET if found.direction > 0 else MET
    return Criterion(
        "algae", state, f"{_figure(gauge, found.sen.slope)} a week", words, f"/v1/gauges/{gauge.handle}"
    )


HARD = ("total_ammonia", "nitrite", "losses")
"""Any of these not met unsettles a system; of the others it takes two."""


def _what_bears_on(age: Age) -> Iterator[str]:
    """What set the count of weeks back, or shortens its way."""
    if age.reset is not None:
        yield f"Counted from its reset on {age.reset.day}."
    for one in age.events:
        begun = age.reset is None or one.day >= age.reset.day
        if begun and one.what in (NEW_SUBSTRATE, DRY_SPELL):
            yield f"Set back on {one.day} by {NAMES[one.what]}."
    if age.shortened:
        yield "Old media moved across at its start shorten the way."


def _verdict(age: Age, criteria: Sequence[Criterion]) -> tuple[str, list[str]]:
    """The verdict in a word and its reasons: nothing that is unknown speaks for a system."""
    state = {one.name: one.state for one in criteria}
    failed = [one for one in criteria if one.state == NOT_MET and one.name != "age"]
    hard = [one for one in failed if one.name in HARD]
    reasons = [
        criteria[0].words,
        *_what_bears_on(age),
        *(f"{capital(parameter_name(one.name))}: {one.words}" for one in failed),
    ]
    stage = age.stage
    if stage is None:
        return UNKNOWN, reasons
    if stage == YOUNG:
        return YOUNG, reasons
    if hard or len(failed) >= 2:
        return UNSETTLED, [*reasons, "By its age it should be farther."]
    if stage == HALF_WAY:
        return HALF_WAY, reasons
    open_ones = [name for name in TRACES if state[name] == UNKNOWN]
    if open_ones:
        names = " and ".join(parameter_name(name) for name in open_ones)
        return UNKNOWN, [
            *reasons,
            f"Old enough to be steady, but {names} can't be judged: test, and ask again.",
        ]
    return STEADY, [*reasons, *(one.words for one in criteria if one.name in TRACES)]
