"""Keep hourly rollups equal to the readings behind them."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.engine.relations.rollups import HOUR_MS, Hour, Join, Point, extend
from weirbook.record import gauging
from weirbook.record.database import room_of
from weirbook.record.equipment import Gauge, GaugeInterval, gap_of

NO_LIMIT_MS = 1 << 60


@dataclass(frozen=True)
class Rules:
    """How a gauge's readings roll up: how they join, the gap that is bridged since when, what is left out, and
    what is added to those taken since when."""

    join: Join
    gaps: Sequence[tuple[int, int | None]]
    excluded: Sequence[tuple[int, int]]
    offsets: gauging.Offsets = ()

    def gap_in(self, hour: int) -> int | None:
        """The longest gap bridged in an hour: an hour goes by the interval in force at its end."""
        begun = [gap for from_ms, gap in self.gaps if from_ms < (hour + 1) * HOUR_MS]
        return begun[-1] if begun else self.gaps[0][1]

    def leaves_out_of(self, hour: int) -> bool:
        """Whether an exclusion touches an hour."""
        return any(
            from_ms < (hour + 1) * HOUR_MS and to_ms > hour * HOUR_MS for from_ms, to_ms in self.excluded
        )


def join_of(gauge: Gauge) -> Join:
    """How a gauge's readings join in time: tests by hand have no time weight."""
    return _join(gauge.by_hand, gauge.join)


def _join(by_hand: bool, join: str) -> Join:
    return Join.PLAIN if by_hand else Join(join)


def rules_of(session: Session, gauge_ids: Iterable[int], start_ms: int, end_ms: int) -> dict[int, Rules]:
    """The rules of gauges that are locked already, with the exclusions that touch a span of time.

    Asked anew of the database: another writer may have changed them while this one waited for the lock.
    """
    ids = sorted(gauge_ids)
    excluded = gauging.exclusions(session, ids, start_ms, end_ms)
    offsets = gauging.offsets(session, ids)
    found: dict[int, Rules] = {}
    for start in range(0, len(ids), gauging.CHUNK):
        asked = (
            sa.select(Gauge.id, Gauge.by_hand, Gauge.join, GaugeInterval.from_ms, GaugeInterval.value)
            .join(
                GaugeInterval,
                sa.and_(GaugeInterval.room_id == Gauge.room_id, GaugeInterval.subject_id == Gauge.id),
            )
            .where(Gauge.room_id == room_of(session), Gauge.id.in_(ids[start : start + gauging.CHUNK]))
            .order_by(Gauge.id, GaugeInterval.from_ms)
        )
        for gauge_id, rows in itertools.groupby(session.execute(asked), key=lambda row: row[0]):
            spans = list(rows)
            gaps = [(from_ms, gap_of(interval)) for _, _, _, from_ms, interval in spans]
            join = _join(spans[0][1], spans[0][2])
            found[gauge_id] = Rules(join, gaps, excluded.get(gauge_id, []), offsets.get(gauge_id, ()))
    return found


def add_to_hours(session: Session, gauge_id: int, points: Sequence[Point], rules: Rules) -> None:
    """Bring the rollups up to date with readings just stored, ascending; late ones recompute their hour."""
    by_hour: dict[int, list[Point]] = {}
    for point in points:
        by_hour.setdefault(point.at_ms // HOUR_MS, []).append(point)
    held = gauging.hours_of(session, gauge_id, by_hour)
    fresh: list[Hour] = []
    for number, inside in by_hour.items():
        hour = held.get(number)
        if rules.leaves_out_of(number) or (hour is not None and not _all_later(hour, inside)):
            recompute_hours(session, gauge_id, number, number + 1, rules)
        else:
            fresh.append(extend(hour, inside, rules.join, rules.gap_in(number)))
    gauging.keep_hours(session, gauge_id, fresh)


def _all_later(hour: Hour, points: Sequence[Point]) -> bool:
    return hour.n == 0 or points[0].at_ms > hour.last_ms


def recompute_hours(session: Session, gauge_id: int, first: int, end: int, rules: Rules) -> None:
    """Make the rollups of the epoch hours from `first` up to `end` anew from the readings."""
    rows = gauging.between(session, gauge_id, first * HOUR_MS, end * HOUR_MS)
    points = gauging.as_points(rows, rules.excluded, rules.offsets)
    gauging.drop_hours(session, gauge_id, first, end)
    gauging.keep_hours(
        session,
        gauge_id,
        [
            extend(None, list(inside), rules.join, rules.gap_in(hour))
            for hour, inside in itertools.groupby(points, key=lambda point: point.at_ms // HOUR_MS)
        ],
    )


def recompute_since(session: Session, gauge: Gauge, since_ms: int, until_ms: int = NO_LIMIT_MS) -> None:
    """Make every rollup of a span anew: after its interval changed, or readings were excluded or taken back."""
    first, end = gauging.hour_range(since_ms, until_ms)
    end = min(end, NO_LIMIT_MS // HOUR_MS)
    gauging.lock_gauges(session, [gauge.id])
    rules = rules_of(session, [gauge.id], first * HOUR_MS, end * HOUR_MS)[gauge.id]
    recompute_hours(session, gauge.id, first, end, rules)
