"""Which readings of a system moved before a trouble, beside what was usual of each in the weeks before."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from statistics import median

from weirbook.actions.timeline_of_gauges import gauges_of
from weirbook.actions.told import DAY_MS, HOUR_MS, Look
from weirbook.engine.inputs import bare
from weirbook.engine.relations.shifts import shift
from weirbook.engine.relations.usual import Usual, far_from, least_step, usual
from weirbook.engine.times import day_of
from weirbook.engine.units import Quantity, number
from weirbook.record import gauge_spans, gauging
from weirbook.record.equipment import Gauge
from weirbook.record.gauge_spans import Day

HISTORY_DAYS = 91
"""Days before the look that tell what is usual: thirteen weeks, near enough in season. Our own choice."""
LEAST_DAYS, LEAST_TESTS = 14, 5
"""Days of a sensor, tests by hand, below which nothing is called usual. Our own choice."""
RECENT_DAYS = 7
FEATURES = {
    "mean": "mean of the day",
    "low": "lowest of the day",
    "high": "highest of the day",
    "test": "test",
}


@dataclass(frozen=True)
class Level:
    """When a sensor's level moved, and by how much: a 90 % interval, as if the day had been known beforehand."""

    at_ms: int
    low: float
    high: float


@dataclass(frozen=True)
class Moved:
    """What a gauge read of late beside what is usual; `far` None where nothing ever scattered before."""

    gauge: Gauge
    feature: str
    usual: Usual
    recent: float
    far: float | None
    since_ms: int
    n: int
    level: Level | None = None

    @property
    def words(self) -> str:
        """The move in a sentence."""
        way = "higher" if self.recent > self.usual.middle else "lower"
        spread = f" ± {number(float(f'{self.usual.spread:.2g}'))}" if self.usual.spread else ""
        of = "tests" if self.feature == "test" else "days"
        return (
            f"{self.gauge.handle}: {way} than usual, {FEATURES[self.feature]} {self.figure(self.recent)}; usually "
            f"{self.figure(self.usual.middle)}{spread} ({self.usual.n} {of}).{self._level_words}"
        )

    @property
    def _level_words(self) -> str:
        if self.level is None:
            return ""
        low, high = self.figure(self.level.low), self.figure(self.level.high)
        return f" The level moved by {low} to {high} (90 % interval) within these days."

    def figure(self, value: float) -> str:
        """A value in words, four figures."""
        return bare(Quantity(number(float(f"{value:.4g}")), self.gauge.unit))


def readings_moved(look: Look) -> tuple[list[Moved], list[str], list[str]]:
    """The readings that moved, the farthest first; in words those that stayed; and those nobody can judge."""
    moved: list[Moved] = []
    steady: list[str] = []
    unknown: list[str] = []
    gauges = [one for one in gauges_of(look) if one.kind != "contact" and _here(look, one)]
    for gauge, found in _judged(look, gauges):
        if isinstance(found, Moved):
            moved.append(found)
        elif found is None:
            steady.append(gauge.handle)
        else:
            unknown.append(found)
    moved.sort(key=lambda one: -(float("inf") if one.far is None else abs(one.far)))
    said = [f"Readings stayed as they were: {', '.join(steady)}."] if steady else []
    return moved, said, unknown


def _here(look: Look, gauge: Gauge) -> bool:
    retired = gauge.retired_at_ms is not None and gauge.retired_at_ms <= look.start_ms
    return not retired and look.belongs.held(gauge.place_id, look.end_ms - 1)


def _judged(look: Look, gauges: Sequence[Gauge]) -> Iterator[tuple[Gauge, Moved | str | None]]:
    """Each gauge with its move, why none can be told, or None for none."""
    start = look.start_ms - HISTORY_DAYS * DAY_MS
    sensors = [one for one in gauges if not one.by_hand]
    days = gauge_spans.days(look.session, [one.id for one in sensors], start, look.end_ms)
    for gauge in sensors:
        yield gauge, _of_sensor(look, gauge, days.get(gauge.id, []))
    for gauge in gauges:
        if gauge.by_hand:
            yield gauge, _of_tests(look, gauge)


def _of_sensor(look: Look, gauge: Gauge, days: Sequence[Day]) -> Moved | str | None:
    first = (
        look.start_ms - HOUR_MS
    )  # days end with a full hour: the first of the look begins within the hour before
    whole = median(one.n for one in days) / 2 if days else 0
    before = [one for one in days if one.start_ms < first and one.n >= whole]
    lately = [one for one in days if one.start_ms >= first and one.n >= whole]
    if not lately:
        return f"{gauge.handle} has no reading in these days."
    if len(before) < LEAST_DAYS:
        return (
            f"{gauge.handle}: too little history, {len(before)} days before; {LEAST_DAYS} tell what is usual."
        )
    step = None if gauge.resolution is None else gauge.resolution.value
    found = []
    for feature in ("mean", "low", "high"):
        of = usual([float(getattr(one, feature)) for one in before])
        values = [(one.start_ms, float(getattr(one, feature))) for one in lately]
        found.append(_move(gauge, feature, of, values, step, least=2))
    told = [one for one in found if one is not None]
    if not told:
        return None
    farthest = max(told, key=lambda one: abs(one.far or 1e9))
    return _with_level(farthest, [*before, *lately], first)


def _of_tests(look: Look, gauge: Gauge) -> Moved | str | None:
    """Tests by hand, each for itself; one that says only below or above counts as its bound."""
    start = look.start_ms - 4 * HISTORY_DAYS * DAY_MS
    rows = gauging.between(look.session, gauge.id, start, look.end_ms)
    offsets = gauging.offsets(look.session, [gauge.id]).get(gauge.id, ())
    excluded = gauging.exclusions(look.session, [gauge.id]).get(gauge.id, [])
    points = [one for one in gauging.as_points(rows, excluded, offsets) if not one.implausible]
    before = [one.value for one in points if one.at_ms < look.start_ms]
    lately = [(one.at_ms, one.value) for one in points if one.at_ms >= look.start_ms]
    if not lately:
        last = max((one.at_ms for one in points), default=None)
        when = "never before" if last is None else f"the last on {day_of(last, look.zone)}"
        return f"{gauge.handle} was not read in these days; {when}."
    if len(before) < LEAST_TESTS:
        return f"{gauge.handle}: too little history, read {len(before)} times before; {LEAST_TESTS} tell what is usual."
    step = gauge.resolution.value if gauge.resolution is not None else least_step([*before])
    return _move(gauge, "test", usual(before), lately, step, least=1)


def _move(
    gauge: Gauge,
    feature: str,
    of: Usual,
    values: Sequence[tuple[int, float]],
    step: float | None,
    *,
    least: int,
) -> Moved | None:
    """The farthest of the values, where enough of them lie far on one side."""
    far = far_from([value for _, value in values], of, step, least)
    if far is None:
        return None
    return Moved(gauge, feature, of, values[far.farthest][1], far.z, values[far.first][0], far.count)


def _with_level(found: Moved, days: Sequence[Day], start_ms: int) -> Moved:
    """With the day on which its level moved, and by how much, where a move within the look fits far better than none."""
    numbers = [one.start_ms // DAY_MS for one in days]
    values = [float(getattr(one, found.feature)) for one in days]
    step = None if found.gauge.resolution is None else found.gauge.resolution.value
    moved = shift(numbers, values, step)
    if moved is None or not moved.telling:
        return found
    at_ms = days[numbers.index(moved.day)].start_ms
    if at_ms < start_ms:
        return found
    return replace(found, level=Level(at_ms, moved.difference.low, moved.difference.high))
