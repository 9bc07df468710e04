"""Keep hourly rollups equal to the readings behind them."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy.orm import Session

from weirbook.engine.relations.rollups import HOUR_MS, Hour, Join, Point, extend, roll
from weirbook.record import gauging
from weirbook.record.equipment import Gauge

NO_LIMIT_MS = 1 << 60


def join_of(gauge: Gauge) -> Join:
    """How a gauge's readings join in time: tests by hand have no time weight."""
    return Join.PLAIN if gauge.by_hand else Join(gauge.join)


def add_to_hours(
    session: Session, gauge: Gauge, points: Sequence[Point], excluded: Sequence[tuple[int, int]]
) -> None:
    """Bring the rollups up to date with readings just stored, ascending; late ones recompute their hour."""
    by_hour: dict[int, list[Point]] = {}
    for point in points:
        by_hour.setdefault(point.at_ms // HOUR_MS, []).append(point)
    held = gauging.hours_of(session, gauge.id, by_hour)
    join, gap = join_of(gauge), gauge.gap_ms
    fresh: list[Hour] = []
    for number, inside in by_hour.items():
        hour = held.get(number)
        if excluded or (hour is not None and not _all_later(hour, inside)):
            recompute_hours(session, gauge, number, number + 1, excluded)
        else:
            fresh.append(extend(hour, inside, join, gap))
    gauging.keep_hours(session, gauge.id, fresh)


def _all_later(hour: Hour, points: Sequence[Point]) -> bool:
    return hour.n == 0 or points[0].at_ms > hour.last_ms


def recompute_hours(
    session: Session, gauge: Gauge, first: int, end: int, excluded: Sequence[tuple[int, int]]
) -> None:
    """Make the rollups of the epoch hours from `first` up to `end` anew from the readings."""
    rows = gauging.between(session, gauge.id, first * HOUR_MS, end * HOUR_MS)
    gauging.drop_hours(session, gauge.id, first, end)
    gauging.keep_hours(
        session, gauge.id, roll(gauging.as_points(rows, excluded), join_of(gauge), gauge.gap_ms).values()
    )


def recompute_since(session: Session, gauge: Gauge, since_ms: int, until_ms: int = NO_LIMIT_MS) -> None:
    """Make every rollup of a span anew: after its interval changed, or readings were excluded or taken back."""
    excluded = gauging.exclusions(session, [gauge.id]).get(gauge.id, [])
    first, end = gauging.hour_range(since_ms, until_ms)
    recompute_hours(session, gauge, first, min(end, NO_LIMIT_MS // HOUR_MS), excluded)
