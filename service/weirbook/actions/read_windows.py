"""What gauges read over stretches of time, from their rollups: the week, the chart, the minutes outside."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from weirbook.actions.roll_up import join_of
from weirbook.engine.relations.rollups import HOUR_MS, Hour, Point
from weirbook.engine.relations.windows import Band, Stats, minutes_outside, windows
from weirbook.record import gauging
from weirbook.record.equipment import Gauge


@dataclass(frozen=True)
class Stretch:
    """One gauge over consecutive windows, how long it stood outside its bands in all of them, and its last
    reading before the first."""

    stats: Sequence[Stats]
    minutes_outside: float | None
    before: Point | None


def read_windows(
    session: Session,
    gauges: Sequence[Gauge],
    edges: Sequence[int],
    bands: Mapping[int, Sequence[Band]] | None = None,
) -> dict[int, Stretch]:
    """Statistics of each gauge over the windows between ascending `edges`, by gauge id.

    A window that is still running ends at the last edge, so give now as that edge. Where a gauge has `bands`
    the minutes it spent outside them are told too. Gaps are judged by the interval now expected of the gauge
    between hours, and by the one of its time within them.
    """
    ids = [gauge.id for gauge in gauges]
    first, end = gauging.hour_range(edges[0], edges[-1])
    hours = gauging.hours(session, ids, first - 1, end + 1)
    excluded, offsets = gauging.exclusions(session, ids), gauging.offsets(session, ids)
    found = {}
    for gauge in gauges:
        wide, join, gap = hours.get(gauge.id, []), join_of(gauge), gauge.gap_ms
        begin = 1 if wide and wide[0].hour < first else 0
        rows = wide[begin : len(wide) - (1 if wide and wide[-1].hour >= end else 0)]
        before, after = _neighbours(session, gauge, wide, edges, offsets.get(gauge.id, ()))
        raw = raw_hours(session, gauge, excluded.get(gauge.id, []), offsets.get(gauge.id, ()))
        stats = windows(rows, edges, join, gap, before, after, raw)
        outside = None
        if bands is not None and bands.get(gauge.id):
            outside = minutes_outside(
                rows, bands[gauge.id], edges[0], edges[-1], join, gap, raw, before, after
            )
        found[gauge.id] = Stretch(stats, outside, before)
    return found


def _neighbours(
    session: Session, gauge: Gauge, wide: Sequence[Hour], edges: Sequence[int], offsets: gauging.Offsets
) -> tuple[Point | None, Point | None]:
    """The last reading before the first edge and the first from the last edge on that enter statistics.

    `wide` reaches an hour beyond the edges either way: where those hours have any they tell, else the record is asked.
    """
    start_ms, end_ms = edges[0], edges[-1]
    before = after = None
    if wide and not start_ms % HOUR_MS and wide[0].n and (wide[0].hour + 1) * HOUR_MS == start_ms:
        before = Point(wide[0].last_ms, wide[0].last)
    if wide and not end_ms % HOUR_MS and wide[-1].n and wide[-1].hour * HOUR_MS == end_ms:
        after = Point(wide[-1].first_ms, wide[-1].first)
    return (
        before or gauging.last_before(session, gauge.id, start_ms, offsets),
        after or gauging.first_from(session, gauge.id, end_ms, offsets),
    )


def raw_hours(
    session: Session, gauge: Gauge, excluded: Sequence[tuple[int, int]], offsets: gauging.Offsets
) -> Callable[[int], Sequence[Point]]:
    """Gives the readings of one epoch hour that enter statistics."""

    def raw(hour: int) -> Sequence[Point]:
        start_ms = hour * HOUR_MS
        return gauging.points_between(session, gauge.id, start_ms, start_ms + HOUR_MS, excluded, offsets)

    return raw
