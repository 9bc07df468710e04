"""What tests and sensors of a system found of a parameter, day by day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from weirbook.actions.latest_of import MEASURED
from weirbook.actions.system_water import SystemWater
from weirbook.engine.relations.rollups import HOUR_MS
from weirbook.engine.units import Quantity
from weirbook.record import gauging
from weirbook.record.equipment import Gauge
from weirbook.record.readings import ABOVE, BELOW, BETWEEN


@dataclass(frozen=True)
class Measured:
    """A reading that counts: SI, as its gauge tells it, and whether a test said only below or above it."""

    at_ms: int
    value: float
    shown: Quantity
    qualifier: str | None
    gauge: str


def measured_days(water: SystemWater, parameter: str, start_ms: int) -> Mapping[date, Measured]:
    """By day whose end it tells of the last reading that counts, from an instant up to that of the facts."""
    gauges = _gauges(water, parameter)
    offsets = gauging.offsets(water.session, gauges)
    found: dict[date, Measured] = {}
    for number, gauge in gauges.items():
        spans = _spans(water, number, start_ms)
        for row in gauging.last_in_each(water.session, number, spans):
            day = water.told_by(row.at_ms)
            if day not in found or found[day].at_ms <= row.at_ms:
                found[day] = _measured(gauge, row, offsets.get(number, ()))
    return dict(sorted(found.items()))


def _spans(water: SystemWater, gauge_id: int, start_ms: int) -> list[tuple[int, int]]:
    """The stretches of which tests tell one day's end, of those days on which a gauge was read.

    The hours' rollups name the days: a sensor's month of minutes is never read whole.
    """
    end_ms = water.facts.at_ms + 1
    days: set[date] = set()
    for hour in gauging.hours_read(water.session, gauge_id, *gauging.hour_range(start_ms, end_ms)):
        day, last = water.told_by(hour * HOUR_MS), water.told_by((hour + 1) * HOUR_MS - 1)
        while day <= last:
            days.add(day)
            day += timedelta(days=1)
    bounds = ((water.begins_ms(day), water.begins_ms(day + timedelta(days=1))) for day in sorted(days))
    return [(max(first, start_ms), min(end, end_ms)) for first, end in bounds]


def last_measured(water: SystemWater, parameter: str) -> Measured | None:
    """The newest reading that counts among the system's gauges, also one that says only below or above."""
    gauges = _gauges(water, parameter)
    instants = gauging.last_that_count(water.session, list(gauges), water.facts.at_ms)
    if not instants:
        return None
    newest = max(instants, key=lambda number: instants[number])
    row = gauging.present(water.session, newest, [instants[newest]])[instants[newest]]
    return _measured(gauges[newest], row, gauging.offsets(water.session, [newest]).get(newest, ()))


def _gauges(water: SystemWater, parameter: str) -> Mapping[int, Gauge]:
    """The system's gauges in use of a parameter, by number; none at a tank that has been retired."""
    return {
        gauge.id: gauge
        for gauge in water.gauges
        if gauge.parameter == parameter and gauge.kind == MEASURED[parameter]
    }


def _measured(gauge: Gauge, row: gauging.Row, offsets: gauging.Offsets) -> Measured:
    shown = Quantity(row.value + gauging.offset_at(offsets, row.at_ms), gauge.unit)
    value = shown.si(gauge.kind)
    if value < 0:  # by its offset: water can't hold less than nothing
        value, shown = 0.0, Quantity(0.0, gauge.unit)
    return Measured(row.at_ms, value, shown, _qualifier(row.mark), gauge.handle)


def _qualifier(mark: int) -> str | None:
    """How a test's word bounds its value."""
    for bit, word in ((BELOW, "below"), (ABOVE, "above"), (BETWEEN, "between")):
        if mark & bit:
            return word
    return None
