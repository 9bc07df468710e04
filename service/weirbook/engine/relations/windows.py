"""Statistics of a gauge, and its minutes outside target, over any window, read from hourly rollups.

Over a window, with v(t) as rollups.py defines it,

    mean = (integral of v(t) dt over what is covered) / (time covered)
    outside = time covered with v(t) < low or v(t) > high

The hours give both between their own first and last readings; here the bridges between hours are added, and
at a window's edges the stretch that crosses the edge is cut there. Windows are half-open, [start, end).

Shapes and units: as in rollups.py; minutes outside are minutes.
Valid for: readings of one gauge with strictly ascending instants and finite values.
Uncertainty: counts, extremes, instants and milliseconds covered equal those of the raw readings exactly.
Totals and areas are sums of floats: added hour by hour they differ from one long sum by rounding, about
1e-16 of the sum of magnitudes for each term; a crossing of a bound is off by about 1e-16 of its stretch,
times the ratio of the values to their difference. A standard deviation below some 1e-7 of the values
themselves is rounding.
Source: the definitions above; the mean is checked in fixtures/published/time_weighted_average.csv.
Not covered: the error of a reading, and what the value did between two readings.
"""

from __future__ import annotations

import functools
import itertools
import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple
from uuid import UUID

from weirbook.engine.relations.rollups import HOUR_MS, Hour, Join, Point, bridge_limit, extend

MINUTE_MS = 60_000


@dataclass(frozen=True, slots=True)
class Stats:
    """What the readings of a window come to.

    `n`, `low`, `high`, `first`, `last` and `stdev` (of a sample, n - 1; None below two readings) are of the
    readings inside the window alone: a value interpolated at an edge adds to none of them. `mean` is
    weighted by time when `weighted`, over the `covered_ms` milliseconds that readings or their neighbours
    outside account for (a reading with no neighbour near enough has no weight in it); where nothing is
    covered it is the plain mean of the readings, and None without any.
    """

    n: int
    qualified: int
    implausible: int
    low: float | None
    mean: float | None
    high: float | None
    first: float | None
    first_ms: int | None
    last: float | None
    last_ms: int | None
    stdev: float | None
    area: float
    covered_ms: int
    weighted: bool


@dataclass(frozen=True, slots=True)
class Band:
    """The target in force from an instant until the next band; None leaves a side open, both None end it.

    `hysteresis` (how far within the band a value must come back) and `least_ms` (how long it must have been out)
    decide what an excursion is (excursions.py); minutes outside know neither. `target` names where it came from.
    """

    from_ms: int
    low: float | None
    high: float | None
    hysteresis: float = 0.0
    least_ms: int = 0
    target: UUID | None = None


Raw = Callable[[int], Sequence[Point]]
"""Gives the readings of one epoch hour, ascending."""


class _Piece(NamedTuple):
    """A stretch of a window under one target, open sides at infinity."""

    from_ms: int
    to_ms: int
    low: float
    high: float


def window(
    hours: Sequence[Hour],
    start_ms: int,
    end_ms: int,
    join: Join,
    gap_ms: int | None,
    before: Point | None = None,
    after: Point | None = None,
    raw: Raw | None = None,
) -> Stats:
    """Read one window [start_ms, end_ms); see `windows`."""
    return windows(hours, (start_ms, end_ms), join, gap_ms, before, after, raw)[0]


def windows(
    hours: Sequence[Hour],
    edges: Sequence[int],
    join: Join,
    gap_ms: int | None,
    before: Point | None = None,
    after: Point | None = None,
    raw: Raw | None = None,
) -> list[Stats]:
    """Read consecutive windows between ascending edges, in one pass over the hours.

    `hours` are the rows, ascending, of every hour that touches [edges[0], edges[-1]), the hours cut by an
    edge included; `raw` gives the readings of a cut hour and is asked for no other (it may be left out
    where all edges fall on the hour). `before` is the last reading before the first edge and `after` the
    first one at or after the last edge, implausible ones passed over; both in the gauge's whole record,
    however far away.

    Where the two readings around an edge are near enough, the window is covered up to that edge, also when
    it holds no reading at all. With HOLD, no gap limit and no later reading the last value holds to the
    last edge: a window that is still running must be clipped to now.

    Raises: ValueError when an edge cuts an hour that has a row and `raw` was not given.
    """
    read = None if raw is None else functools.cache(raw)
    shares = _shares(hours, edges, join, gap_ms, read)
    following = _held_on(after, edges[-1], join, gap_ms)
    afters = []
    for share in reversed(shares):
        afters.append(following)
        following = next((Point(row.first_ms, row.first) for row in share if row.n), following)
    found = []
    spans = itertools.pairwise(edges)
    for (start_ms, end_ms), share, behind in zip(spans, shares, reversed(afters), strict=True):
        found.append(_stats(share, start_ms, end_ms, join, gap_ms, before, behind))
        before = next((Point(row.last_ms, row.last) for row in reversed(share) if row.n), before)
    return found


def minutes_outside(
    hours: Sequence[Hour],
    bands: Sequence[Band],
    start_ms: int,
    end_ms: int,
    join: Join,
    gap_ms: int | None,
    raw: Raw,
    before: Point | None = None,
    after: Point | None = None,
) -> float | None:
    """Minutes of [start_ms, end_ms) that the value spent below or above its target; on the bound is inside.

    `bands` ascend by instant; `hours`, `before` and `after` are as for `windows`. An hour whose extremes
    lie inside the target adds nothing, one wholly on one side of it all it covers. Only where they straddle
    a bound, or the target changes or the window ends between the hour's first and last reading, is `raw`
    asked (once an hour) and each stretch between two readings cut where it crosses.

    Uncovered time is never outside: 0 says "well" only as far as `Stats.covered_ms` reaches. None where the
    question has no meaning: no target in force in the window, or values that do not join (PLAIN).
    """
    pieces = _in_force(bands, start_ms, end_ms)
    if join is Join.PLAIN or not pieces:
        return None
    rows = [row for row in hours if row.n]
    after = _held_on(after, end_ms, join, gap_ms)
    read, limit = functools.cache(raw), bridge_limit(gap_ms)
    outside_ms = 0.0
    for piece in pieces:
        outside_ms += _outside(rows, piece, join, limit, read, before, after)
    return outside_ms / MINUTE_MS


def _held_on(after: Point | None, end_ms: int, join: Join, gap_ms: int | None) -> Point | None:
    """The reading that ends the last stretch: what reports only on change holds until it says otherwise."""
    if after is None and join is Join.HOLD and gap_ms is None:
        return Point(end_ms, 0.0)  # a held stretch never looks at the value of its later end
    return after


def _shares(
    hours: Sequence[Hour], edges: Sequence[int], join: Join, gap_ms: int | None, raw: Raw | None
) -> list[Sequence[Hour]]:
    """The hours of each window; of an hour that an edge cuts, what the readings on this side come to."""
    shares = []
    begin, count = 0, len(hours)
    for start_ms, end_ms in itertools.pairwise(edges):
        while begin < count and (hours[begin].hour + 1) * HOUR_MS <= start_ms:
            begin += 1
        end = begin
        while end < count and hours[end].hour * HOUR_MS < end_ms:
            end += 1
        share = hours[begin:end]
        if start_ms % HOUR_MS or end_ms % HOUR_MS:
            share = _clipped(share, start_ms, end_ms, join, gap_ms, raw)
        shares.append(share)
        begin = max(begin, end - 1)  # the last hour may reach into the next window
    return shares


def _clipped(
    share: Sequence[Hour], start_ms: int, end_ms: int, join: Join, gap_ms: int | None, raw: Raw | None
) -> list[Hour]:
    clipped = []
    for row in share:
        if start_ms <= row.hour * HOUR_MS and (row.hour + 1) * HOUR_MS <= end_ms:
            clipped.append(row)
            continue
        if raw is None:
            raise ValueError("an edge off the whole hour needs the raw readings of the hour it cuts")
        inside = [point for point in raw(row.hour) if start_ms <= point.at_ms < end_ms]
        if inside:
            clipped.append(extend(None, inside, join, gap_ms))
    return clipped


def _stats(
    share: Sequence[Hour],
    start_ms: int,
    end_ms: int,
    join: Join,
    gap_ms: int | None,
    before: Point | None,
    after: Point | None,
) -> Stats:
    weigh, line, limit = join is not Join.PLAIN, join is Join.LINE, bridge_limit(gap_ms)
    n = qualified = implausible = covered_ms = first_ms = last_ms = 0
    total = squares = area = first = last = 0.0
    low, high = math.inf, -math.inf
    for _, count, marked, wild, added, squared, least, most, t0, v0, t1, v1, inner, inner_ms in share:
        implausible += wild
        if not count:
            continue
        if n == 0:
            first_ms, first = t0, v0
        elif weigh and (gap := t0 - last_ms) <= limit:
            area += (last + v0) / 2 * gap if line else last * gap
            covered_ms += gap
        n += count
        qualified += marked
        total += added
        squares += squared
        area += inner
        covered_ms += inner_ms
        if least < low:
            low = least
        if most > high:
            high = most
        last_ms, last = t1, v1
    if weigh:
        inside = [Point(first_ms, first), Point(last_ms, last)] if n else []
        ends = [before, *inside, after]
        for earlier, later in zip(ends[::2], ends[1::2], strict=True):
            edge_area, edge_ms = _stretch(earlier, later, start_ms, end_ms, join, limit)
            area += edge_area
            covered_ms += edge_ms
    mean = None
    if covered_ms:
        mean = area / covered_ms
    elif n:
        mean = total / n
    return Stats(
        n=n,
        qualified=qualified,
        implausible=implausible,
        low=low if n else None,
        mean=mean,
        high=high if n else None,
        first=first if n else None,
        first_ms=first_ms if n else None,
        last=last if n else None,
        last_ms=last_ms if n else None,
        stdev=_stdev(n, total, squares, low, high),
        area=area,
        covered_ms=covered_ms,
        weighted=covered_ms > 0,
    )


def _stretch(
    earlier: Point | None, later: Point | None, start_ms: int, end_ms: int, join: Join, limit: float
) -> tuple[float, int]:
    """Area and milliseconds between two neighbouring readings, as far as they lie in [start_ms, end_ms)."""
    if earlier is None or later is None or later.at_ms - earlier.at_ms > limit:
        return 0.0, 0
    begin, end = max(earlier.at_ms, start_ms), min(later.at_ms, end_ms)
    if end <= begin:
        return 0.0, 0
    value = earlier.value if join is Join.HOLD else _on_line(earlier, later, (begin + end) / 2)
    return value * (end - begin), end - begin


def _on_line(earlier: Point, later: Point, at_ms: float) -> float:
    part = (at_ms - earlier.at_ms) / (later.at_ms - earlier.at_ms)
    return earlier.value + (later.value - earlier.value) * part


def _stdev(n: int, total: float, squares: float, low: float, high: float) -> float | None:
    """Standard deviation from sums, held to what the range allows.

    The squared deviations of n readings sum to at least half and at most n/4 times the squared range; the
    difference of two large sums can round to less, even below zero.
    """
    if n < 2:
        return None
    spread = (high - low) * (high - low)
    deviations = min(max(spread / 2, squares - total * total / n), spread * n / 4)
    return math.sqrt(deviations / (n - 1))


def _in_force(bands: Sequence[Band], start_ms: int, end_ms: int) -> list[_Piece]:
    pieces = []
    ends = [band.from_ms for band in bands[1:]] + [end_ms]
    for band, until_ms in zip(bands, ends, strict=False):
        begin, end = max(band.from_ms, start_ms), min(until_ms, end_ms)
        if begin < end and (band.low is not None or band.high is not None):
            low = -math.inf if band.low is None else band.low
            high = math.inf if band.high is None else band.high
            pieces.append(_Piece(begin, end, low, high))
    return pieces


def _outside(
    rows: Sequence[Hour],
    piece: _Piece,
    join: Join,
    limit: float,
    raw: Raw,
    before: Point | None,
    after: Point | None,
) -> float:
    """Milliseconds outside within one piece, from hours that all hold readings."""
    from_ms, to_ms, low, high = piece
    begin = bisect_right(rows, from_ms, key=lambda row: row.last_ms)
    if begin:
        before = Point(rows[begin - 1].last_ms, rows[begin - 1].last)
    outside_ms = 0.0
    for row in rows[begin:]:
        if before is not None and not (low <= before.value <= high and low <= row.first <= high):
            outside_ms += _stretch_outside(before, Point(row.first_ms, row.first), piece, join, limit)
        if row.first_ms >= to_ms:
            return outside_ms
        if row.covered_ms and not (low <= row.low and row.high <= high):
            one_sided = row.low > high or row.high < low
            if one_sided and from_ms <= row.first_ms and row.last_ms <= to_ms:
                outside_ms += row.covered_ms
            else:
                outside_ms += _hour_outside(raw(row.hour), piece, join, limit)
        before = Point(row.last_ms, row.last)
    return outside_ms + _stretch_outside(before, after, piece, join, limit)


def _hour_outside(points: Sequence[Point], piece: _Piece, join: Join, limit: float) -> float:
    """As `_stretch_outside` of each two neighbours, of which most lie wholly in the piece and on one side."""
    from_ms, to_ms, low, high = piece
    outside_ms = 0.0
    earlier, earlier_side = None, 0
    for point in points:
        at_ms, value, _, implausible = point
        if implausible:
            continue
        side = -1 if value < low else 1 if value > high else 0
        if earlier is not None and (side or earlier_side):
            gap = at_ms - earlier[0]
            if earlier[0] < from_ms or at_ms > to_ms:
                outside_ms += _stretch_outside(earlier, point, piece, join, limit)
            elif gap <= limit:
                if side == earlier_side or join is Join.HOLD:
                    outside_ms += gap if earlier_side else 0
                else:
                    outside_ms += gap * _share_beyond(earlier[1], value, low, high)
        earlier, earlier_side = point, side
    return outside_ms


def _share_beyond(one: float, other: float, low: float, high: float) -> float:
    """How much of a straight line that crosses a bound lies outside."""
    least, most = (one, other) if one < other else (other, one)
    return (max(low - least, 0.0) + max(most - high, 0.0)) / (most - least)


def _stretch_outside(
    earlier: Point | None, later: Point | None, piece: _Piece, join: Join, limit: float
) -> float:
    """Milliseconds between two neighbouring readings that lie in the piece and outside its target."""
    if earlier is None or later is None or later.at_ms - earlier.at_ms > limit:
        return 0.0
    begin, end = max(earlier.at_ms, piece.from_ms), min(later.at_ms, piece.to_ms)
    if end <= begin:
        return 0.0
    at_begin = at_end = earlier.value
    if join is Join.LINE:
        if piece.low <= min(earlier.value, later.value) and max(earlier.value, later.value) <= piece.high:
            return 0.0  # an end on the bound must not round to a hair outside
        at_begin, at_end = _on_line(earlier, later, begin), _on_line(earlier, later, end)
    below = share_below(at_begin, at_end, piece.low)
    above = share_below(-at_begin, -at_end, -piece.high)
    return (end - begin) * (below + above)


def share_below(one: float, other: float, bound: float) -> float:
    """How much of a straight line from one value to another lies below a bound, 0 to 1."""
    least, most = min(one, other), max(one, other)
    if bound <= least:
        return 0.0
    if bound >= most:
        return 1.0
    return (bound - least) / (most - least)
