"""Excursions: stretches of time outside a target, told from a gauge's readings.

With v(t) as rollups.py defines it between readings near enough to be joined, an excursion below a target
begins where v(t) falls under `low`, and ends where it has come back to `low + hysteresis`; above it the same
is turned round. Where readings are not joined (a gap, tests by hand) it begins and ends with the reading that
shows it: silence never ends an excursion, since silence is not safety. A target that changes judges the value
of that instant anew. Its minutes are the time spent beyond the bound itself, as far as readings cover it:

    minutes = time covered with v(t) < low (or > high) between its start and its end

Shapes and units: instants in milliseconds since the epoch, values and hysteresis in the gauge's own unit.
Valid for: readings of one gauge, ascending, those left out that enter no statistics.
Uncertainty: instants of crossing are those of the straight line between two readings, rounded to the millisecond.
Source: the definitions above; hysteresis is that of any two-point switch (common practice, no source).
Not covered: what the value did between two readings, and the error of a reading.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from weirbook.engine.relations.rollups import Hour, Join, bridge_limit
from weirbook.engine.relations.windows import Band, share_below

BELOW, ABOVE = "below", "above"


class Seen(NamedTuple):
    """A reading and the ends between which its true value lies: both the value itself, but for tests like "<5"."""

    at_ms: int
    value: float
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Excursion:
    """One stretch outside. `end_ms` None: it goes on. `last_ms` is the last reading that told of it.

    `outside_ms` is None where readings do not join in time, so that nothing can be said of minutes.
    """

    side: str
    band: Band
    start_ms: int
    end_ms: int | None
    worst: float
    worst_ms: int
    last_ms: int
    outside_ms: float | None

    def lasted_ms(self, now_ms: int) -> int:
        """From its start to its end, or to now while it goes on."""
        return (now_ms if self.end_ms is None else self.end_ms) - self.start_ms


@dataclass(slots=True)
class Course:
    """Follows one gauge's readings through its targets. Feed `see` with readings in order, then ask `finish`."""

    bands: Sequence[Band]
    join: Join
    gap_ms: int | None
    ended: list[Excursion]
    open: Excursion | None = None
    before: Seen | None = None
    band_index: int = -1

    def see(self, seen: Seen) -> None:
        """The next reading."""
        self._change_bands(seen.at_ms, seen)
        if self.before is not None:
            self._add_outside(self.before, seen)
        self._judge(seen, on_line=self._on_line_to(seen))
        self.before = seen

    def finish(self, until_ms: int) -> None:
        """Go on to an instant without a reading: targets that change by then still judge the last value."""
        self._change_bands(until_ms, None)
        if self.before is not None and self.holds_on and until_ms > self.before.at_ms:
            self._add_outside(self.before, self.before._replace(at_ms=until_ms))

    @property
    def holds_on(self) -> bool:
        """Whether the last value holds until the gauge says otherwise: what reports only on change."""
        return self.join is Join.HOLD and self.gap_ms is None

    @property
    def band(self) -> Band | None:
        """The target in force; None before the first or where it is open on both sides."""
        if self.band_index < 0:
            return None
        band = self.bands[self.band_index]
        return None if band.low is None and band.high is None else band

    def _change_bands(self, until_ms: int, following: Seen | None) -> None:
        """Put the targets in force that begin up to an instant, each judging the value of its own."""
        while self.band_index + 1 < len(self.bands) and self.bands[self.band_index + 1].from_ms <= until_ms:
            instant = self.bands[self.band_index + 1].from_ms
            if self.before is None or instant <= self.before.at_ms:
                self.band_index += 1
                continue
            here = self._value_at(instant, following)
            if self.holds_on or (following is not None and self._joined(self.before.at_ms, following.at_ms)):
                self._add_outside(self.before, here)
                self._judge(here, on_line=self._on_line_to(here))
                self.before = here
            self.band_index += 1
            self._judge_anew(here)

    def _judge_anew(self, here: Seen) -> None:
        """Hold a value to the target that begins with it: outside on the same side, the excursion goes on under it."""
        band = self.band
        if self.open is not None and band is not None and self._side_of(here) == self.open.side:
            self.open = replace(self.open, band=band)
        else:
            self._end(here.at_ms)
            self._judge(here, on_line=False)

    def _value_at(self, instant: int, following: Seen | None) -> Seen:
        """What is known of the value at an instant after the last reading: on the line where there is one."""
        before = self.before
        assert before is not None
        if self.join is Join.LINE and following is not None and self._joined(before.at_ms, following.at_ms):
            part = (instant - before.at_ms) / (following.at_ms - before.at_ms)
            value = before.value + (following.value - before.value) * part
            return Seen(instant, value, value, value)
        return before._replace(at_ms=instant)

    def _joined(self, from_ms: int, to_ms: int) -> bool:
        return self.join is not Join.PLAIN and to_ms - from_ms <= bridge_limit(self.gap_ms)

    def _on_line_to(self, seen: Seen) -> bool:
        return (
            self.join is Join.LINE and self.before is not None and self._joined(self.before.at_ms, seen.at_ms)
        )

    def _judge(self, seen: Seen, *, on_line: bool) -> None:
        if self.open is not None and self._is_back(self.open, seen):
            self._end(self._crossing(seen, self._way_back(self.open), on_line))
        side = self._side_of(seen)
        if self.open is None and side is not None:
            self._begin(side, seen, on_line)
        elif self.open is not None:
            self._go_on(seen)

    def _side_of(self, seen: Seen) -> str | None:
        """On which side of the target a reading lies for certain."""
        band = self.band
        if band is None:
            return None
        if band.low is not None and seen.most < band.low:
            return BELOW
        if band.high is not None and seen.least > band.high:
            return ABOVE
        return None

    def _is_back(self, one: Excursion, seen: Seen) -> bool:
        back = self._way_back(one)
        return seen.least >= back if one.side == BELOW else seen.most <= back

    @staticmethod
    def _way_back(one: Excursion) -> float:
        band = one.band
        bound = _bound(band, one.side)
        return bound + band.hysteresis if one.side == BELOW else bound - band.hysteresis

    def _begin(self, side: str, seen: Seen, on_line: bool) -> None:
        band = self.band
        assert band is not None
        start = self._crossing(seen, _bound(band, side), on_line)
        outside = None
        if self.join is not Join.PLAIN:
            outside = float(seen.at_ms - start) if self.join is Join.LINE else 0.0
        self.open = Excursion(side, band, start, None, seen.value, seen.at_ms, seen.at_ms, outside)

    def _go_on(self, seen: Seen) -> None:
        assert self.open is not None
        worse = seen.value < self.open.worst if self.open.side == BELOW else seen.value > self.open.worst
        if worse:
            self.open = replace(self.open, worst=seen.value, worst_ms=seen.at_ms, last_ms=seen.at_ms)
        else:
            self.open = replace(self.open, last_ms=seen.at_ms)

    def _end(self, end_ms: int) -> None:
        if self.open is not None:
            self.ended.append(replace(self.open, end_ms=end_ms))
            self.open = None

    def _crossing(self, seen: Seen, level: float, on_line: bool) -> int:
        """When the line from the reading before to this one crosses a level; this reading's instant without a line."""
        before = self.before
        if (
            not on_line
            or before is None
            or not min(before.value, seen.value) <= level <= max(before.value, seen.value)
        ):
            return seen.at_ms
        if before.value == seen.value:
            return seen.at_ms
        part = (level - before.value) / (seen.value - before.value)
        return round(before.at_ms + part * (seen.at_ms - before.at_ms))

    def _add_outside(self, before: Seen, seen: Seen) -> None:
        """Add the time beyond the bound between two neighbours, while an excursion is open."""
        one = self.open
        if one is None or one.outside_ms is None or not self._joined(before.at_ms, seen.at_ms):
            return
        bound, sign = _bound(one.band, one.side), 1.0 if one.side == BELOW else -1.0
        later = before.value if self.join is Join.HOLD else seen.value
        share = share_below(sign * before.value, sign * later, sign * bound)
        self.open = replace(one, outside_ms=one.outside_ms + share * (seen.at_ms - before.at_ms))


def _bound(band: Band, side: str) -> float:
    bound = band.low if side == BELOW else band.high
    assert bound is not None
    return bound


def excursions(
    hours: Iterable[Hour],
    bands: Sequence[Band],
    until_ms: int,
    join: Join,
    gap_ms: int | None,
    raw: Callable[[int], Sequence[Seen]],
) -> list[Excursion]:
    """Every excursion told by readings up to `until_ms`, oldest first, the one that goes on last.

    `hours` ascend; `raw` gives the readings of one epoch hour and is asked only where something may happen: an
    hour that stays within the target, hysteresis and all, says nothing new. Those shorter than their target's least
    duration are left out, while one that goes on is judged by how long it has been known to last; where readings do
    not join in time (tests by hand) nothing tells how long, so each counts.
    """
    course = Course(bands, join, gap_ms, [])
    for hour in hours:
        if hour.n and _is_quiet(course, hour):
            value = hour.last
            course.before = Seen(hour.last_ms, value, value, value)
        elif hour.n:
            for seen in raw(hour.hour):
                if seen.at_ms < until_ms:
                    course.see(seen)
    course.finish(until_ms)
    found = [one for one in course.ended if _long_enough(one, one.lasted_ms(until_ms), join)]
    if course.open is not None:
        known = until_ms if course.holds_on else course.open.last_ms
        if _long_enough(course.open, known - course.open.start_ms, join):
            found.append(course.open)
    return found


def _long_enough(one: Excursion, lasted_ms: int, join: Join) -> bool:
    return join is Join.PLAIN or lasted_ms >= one.band.least_ms


def _is_quiet(course: Course, hour: Hour) -> bool:
    """Whether an hour, and the way to it, lies within the one target in force, with nothing open to be ended.

    Tests with a bound lie inside only as far as they tell, so an hour with any is looked at.
    """
    if course.open is not None or hour.qualified:
        return False
    following = course.band_index + 1
    if following < len(course.bands) and course.bands[following].from_ms <= hour.last_ms:
        return False
    band = course.band
    if band is None:
        return True
    low = -math.inf if band.low is None else band.low
    high = math.inf if band.high is None else band.high
    return low <= hour.low and hour.high <= high
