"""The newest reading of a parameter in a system that counts."""

from __future__ import annotations

from collections.abc import Mapping

import sqlalchemy as sa

from weirbook.actions.filling import Absent
from weirbook.actions.system_facts import SystemFacts
from weirbook.engine.inputs import bare
from weirbook.engine.parameters import PARAMETERS
from weirbook.engine.relations.chemistry import DOSED
from weirbook.engine.shape import Filled
from weirbook.engine.times import day_of, zone
from weirbook.engine.units import Quantity
from weirbook.record import gauging
from weirbook.record.database import room_of
from weirbook.record.equipment import Gauge
from weirbook.record.readings import ABOVE, BELOW, BETWEEN
from weirbook.record.rooms import Room

DAY_MS = 86_400_000

MEASURED: Mapping[str, str] = {**DOSED, **{name: one.kind for name, one in PARAMETERS.items()}}
"""What a latest reading can be asked of, with its kind: built in, or an ion that the keeper may have added."""


def latest_of(facts: SystemFacts, parameter: str) -> Filled | Absent:
    """The newest reading that counts among the system's gauges of a parameter, asked once for the same facts."""
    key = ("latest", parameter)
    if (kept := facts.worked_out.get(key)) is None:
        kept = facts.worked_out[key] = _latest(facts, parameter)
    assert isinstance(kept, Filled | Absent)
    return kept


def _latest(facts: SystemFacts, parameter: str) -> Filled | Absent:
    """The newest reading that counts among the system's gauges of a parameter, with its gauge, day and age."""
    session, at_ms = facts.session, facts.at_ms
    asked = sa.select(Gauge).where(Gauge.parameter == parameter, Gauge.kind == MEASURED[parameter])
    gauges = {
        gauge.id: gauge
        for gauge in session.scalars(asked).unique()
        if facts.where.system_of(gauge.place_id) == facts.system.id
        and (gauge.retired_at_ms is None or gauge.retired_at_ms > at_ms)
    }
    words = parameter.replace("_", " ")
    instants = gauging.last_that_count(session, list(gauges), at_ms)
    if not instants:
        return Absent(f"No reading of {words} that counts is recorded in {facts.system.handle}.")
    newest = max(instants, key=lambda gauge_id: instants[gauge_id])
    gauge, read_ms = gauges[newest], instants[newest]
    row = gauging.present(session, newest, [read_ms])[read_ms]
    offset = gauging.offset_at(gauging.offsets(session, [newest]).get(newest, ()), read_ms)
    value = Quantity(row.value + offset, gauge.unit)
    day = day_of(read_ms, zone(session.get_one(Room, room_of(session)).time_zone))
    if row.mark & (BELOW | ABOVE):
        bound = "below" if row.mark & BELOW else "above"
        return Absent(
            f"The latest reading of {words} ({gauge.handle}, {day}) says only {bound} {bare(value)}."
        )
    age = (at_ms - read_ms) // DAY_MS
    old = "less than a day" if age < 1 else "1 day" if age == 1 else f"{age} days"
    middle = ", the middle of a range" if row.mark & BETWEEN else ""
    mended = f", {bare(Quantity(offset, gauge.unit))} added to what it showed" if offset else ""
    return Filled(value, "record", f"{gauge.handle}: read {day}, {old} old{middle}{mended}")
