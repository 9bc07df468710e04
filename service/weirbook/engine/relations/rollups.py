"""Hourly rollups of one gauge's readings, kept as readings arrive.

Between two neighbouring readings a and b at most the gap limit apart, the value is taken to be

    line:  v(t) = a + (b - a) * (t - t_a) / (t_b - t_a)      hold:  v(t) = a

and that stretch is covered; a longer gap is not bridged and stays uncovered. An `Hour` keeps the integral
of v(t) and the time covered between its own first and last reading, as sums over neighbours of

    line:  (a + b) / 2 * (t_b - t_a)                         hold:  a * (t_b - t_a)

The stretch from one hour's last reading to the next hour's first is a bridge, added when a window is read
(windows.py), so that nothing is lost by keeping hours in place of readings.

Shapes and units: instants and durations in integer milliseconds (instants since the epoch); values in the
gauge's own unit; areas in that unit times milliseconds.
Valid for: readings of one gauge with strictly ascending instants and finite values.
Uncertainty: counts, extremes, instants and milliseconds are exact; totals and areas are sums of floats.
Source: the definitions of the trapezoid and the step sum, both checked in
fixtures/published/time_weighted_average.csv.
Not covered: the error of a reading, and what the value did between two readings.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from enum import StrEnum
from typing import NamedTuple

HOUR_MS = 3_600_000


class Join(StrEnum):
    """How neighbouring values join: by a straight line, by holding the earlier one, or not at all."""

    LINE = "line"
    HOLD = "hold"
    PLAIN = "plain"


class Point(NamedTuple):
    """One reading. An implausible one is counted and enters nothing else, qualified or not."""

    at_ms: int
    value: float
    qualified: bool = False
    implausible: bool = False


Figures = tuple[int, float, bool, bool]
"""What a Point holds, in a bare tuple: where thousands are made at once that takes a fifth of the time."""


class Hour(NamedTuple):
    """What one hour of readings comes to, `hour` being the epoch hour (at_ms // HOUR_MS).

    A tuple, so that a week of many gauges loads fast and straight from database rows. `n` counts the
    readings that enter statistics and `qualified` those among them; `implausible` ones are counted apart.
    While `n` is 0 every number behind the counts is 0 and says nothing. `area` and `covered_ms` run from
    `first_ms` to `last_ms`, leaving out gaps beyond the limit; for PLAIN both stay 0.
    """

    hour: int
    n: int = 0
    qualified: int = 0
    implausible: int = 0
    total: float = 0.0
    squares: float = 0.0
    low: float = 0.0
    high: float = 0.0
    first_ms: int = 0
    first: float = 0.0
    last_ms: int = 0
    last: float = 0.0
    area: float = 0.0
    covered_ms: int = 0


def roll(points: Iterable[Point], join: Join, gap_ms: int | None) -> dict[int, Hour]:
    """Roll ascending readings up into hours, by epoch hour. `gap_ms` None bridges gaps of any length."""
    by_hour = itertools.groupby(points, key=lambda point: point.at_ms // HOUR_MS)
    return {hour: extend(None, list(inside), join, gap_ms) for hour, inside in by_hour}


def extend(hour: Hour | None, points: Sequence[Figures], join: Join, gap_ms: int | None) -> Hour:
    """Add ascending readings of one hour, all later than those it holds; None starts the hour.

    The additions are those of `roll` in the same order, so the hour comes out equal to the last bit however
    its readings were split into batches.

    Raises: ValueError for readings out of order, of another hour, or none at all to start an hour with.
    """
    if not points:
        if hour is None:
            raise ValueError("an hour starts with at least one reading")
        return hour
    row = hour if hour is not None else Hour(points[0][0] // HOUR_MS)
    if points[0][0] // HOUR_MS != row.hour or points[-1][0] // HOUR_MS != row.hour:
        raise ValueError("readings of another hour")
    number, n, qualified, implausible, total, squares, low, high, t0, first, t1, last, area, covered_ms = row
    weigh, line, limit = join is not Join.PLAIN, join is Join.LINE, bridge_limit(gap_ms)
    for at_ms, value, is_qualified, is_implausible in points:
        if is_implausible:
            implausible += 1
            continue
        if n == 0:
            t0, first, low, high = at_ms, value, value, value
        else:
            gap = at_ms - t1
            if gap <= 0:
                raise ValueError("readings must ascend and be later than those the hour holds")
            if weigh and gap <= limit:
                area += (last + value) / 2 * gap if line else last * gap
                covered_ms += gap
            if value < low:
                low = value
            elif value > high:
                high = value
        n += 1
        qualified += is_qualified
        total += value
        squares += value * value
        t1, last = at_ms, value
    return Hour(
        number, n, qualified, implausible, total, squares, low, high, t0, first, t1, last, area, covered_ms
    )


def bridge_limit(gap_ms: int | None) -> float:
    """The longest gap that is bridged, None having no limit."""
    return math.inf if gap_ms is None else gap_ms
