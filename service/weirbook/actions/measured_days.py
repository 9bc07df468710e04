"""What tests and sensors of a system found of a parameter, day by day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import sqlalchemy as sa

from weirbook.actions.latest_of import MEASURED
from weirbook.actions.system_water import SystemWater
from weirbook.engine.units import Quantity
from weirbook.record import gauging
from weirbook.record.equipment import Gauge
from weirbook.record.readings import ABOVE, BELOW, BETWEEN, IMPLAUSIBLE


@dataclass(frozen=True)
class Measured:
    """The last reading of a day that counts: SI, and whether a test said only below or above it."""

    at_ms: int
    value: float
    qualifier: str | None
    gauge: str


def measured_days(water: SystemWater, parameter: str, start_ms: int) -> Mapping[date, Measured]:
    """By day whose end it tells of the last reading that counts, from an instant up to that of the facts.

    An offset takes no value below nothing: water can't hold less.
    """
    facts, session, kind = water.facts, water.session, MEASURED[parameter]
    asked = sa.select(Gauge).where(Gauge.parameter == parameter, Gauge.kind == kind).order_by(Gauge.id)
    gauges = [
        gauge
        for gauge in session.scalars(asked).unique()
        if facts.where.system_of(gauge.place_id) == facts.system.id
    ]
    ids = [gauge.id for gauge in gauges]
    excluded, offsets = gauging.exclusions(session, ids), gauging.offsets(session, ids)
    found: dict[date, Measured] = {}
    for gauge in gauges:
        for row in gauging.between(session, gauge.id, start_ms, facts.at_ms + 1):
            if row.mark & IMPLAUSIBLE or any(a <= row.at_ms < b for a, b in excluded.get(gauge.id, ())):
                continue
            value = row.value + gauging.offset_at(offsets.get(gauge.id, ()), row.at_ms)
            held = max(Quantity(value, gauge.unit).si(kind), 0.0)
            one = Measured(row.at_ms, held, _qualifier(row.mark), gauge.handle)
            day = water.told_by(row.at_ms)
            if day not in found or found[day].at_ms <= one.at_ms:
                found[day] = one
    return dict(sorted(found.items()))


def _qualifier(mark: int) -> str | None:
    """How a test's word bounds its value."""
    for bit, word in ((BELOW, "below"), (ABOVE, "above"), (BETWEEN, "between")):
        if mark & bit:
            return word
    return None
