"""Sensors that report and never move: stuck, frozen or cut off behind their display."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy.orm import Session

from weirbook.engine.relations.rollups import HOUR_MS
from weirbook.engine.units import step_of
from weirbook.record import gauging
from weirbook.record.equipment import Gauge

STUCK_HOURS = 24
"""A day and night leave no water, air or meter unmoved. Common practice, no source."""
LEAST_HOURS, LEAST_READINGS = 20, 12
"""Fewer than these can't tell."""
SLACK = 1e-9


def find_stuck(session: Session, gauges: Sequence[Gauge], now: int) -> dict[int, bool]:
    """Of the sensors that had readings enough in the last day, whether they moved no farther than their resolution.

    Without a recorded resolution only readings that are all the same count as stuck.
    """
    able = {gauge.id: gauge for gauge in gauges if gauge.join == "line" and not gauge.by_hand}
    end = now // HOUR_MS + 1
    found = {}
    for gauge_id, hours in gauging.hours(session, list(able), end - STUCK_HOURS, end).items():
        told = [hour for hour in hours if hour.n]
        if len(told) < LEAST_HOURS or sum(hour.n for hour in told) < LEAST_READINGS:
            continue
        moved = max(hour.high for hour in told) - min(hour.low for hour in told)
        found[gauge_id] = moved <= _step(able[gauge_id]) * (1 + SLACK) + SLACK
    return found


def _step(gauge: Gauge) -> float:
    """The gauge's resolution in its own unit."""
    return 0.0 if gauge.resolution is None else gauge.resolution.to(gauge.unit, step_of(gauge.kind)).value
