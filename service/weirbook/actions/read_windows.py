"""What gauges read over stretches of time, from their rollups: the week, the chart, the minutes outside."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from weirbook.actions.roll_up import join_of
from weirbook.engine.relations.rollups import HOUR_MS, Point
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
    hours = gauging.hours(session, ids, *gauging.hour_range(edges[0], edges[-1]))
    excluded, offsets = gauging.exclusions(session, ids), gauging.offsets(session, ids)
    found = {}
    for gauge in gauges:
        rows, join, gap = hours.get(gauge.id, []), join_of(gauge), gauge.gap_ms
        before, after = gauging.neighbours(session, gauge.id, edges[0], edges[-1], offsets.get(gauge.id, ()))
        raw = raw_hours(session, gauge, excluded.get(gauge.id, []), offsets.get(gauge.id, ()))
        stats = windows(rows, edges, join, gap, before, after, raw)
        outside = None
        if bands is not None and bands.get(gauge.id):
            outside = minutes_outside(
                rows, bands[gauge.id], edges[0], edges[-1], join, gap, raw, before, after
            )
        found[gauge.id] = Stretch(stats, outside, before)
    return found


def raw_hours(
    session: Session, gauge: Gauge, excluded: Sequence[tuple[int, int]], offsets: gauging.Offsets
) -> Callable[[int], Sequence[Point]]:
    """Gives the readings of one epoch hour that enter statistics."""

    def raw(hour: int) -> Sequence[Point]:
        return gauging.as_points(
            gauging.between(session, gauge.id, hour * HOUR_MS, (hour + 1) * HOUR_MS), excluded, offsets
        )

    return raw
