"""A trial's values: its outcomes' smallest differences in a unit of their gauge, and no phase ahead of now."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.set_up_gauge import loose
from weirbook.engine.units import step_of
from weirbook.errors import Fault, Invalid, Unknown
from weirbook.record.equipment import Gauge
from weirbook.record.names import find

PLANNED_AHEAD_MS = 400 * 86_400_000


def trial_values(session: Session, values: Mapping[str, Any], *, now: int) -> dict[str, Any]:
    """The values with each difference held to its gauge's kind. Raises Invalid at each pointer."""
    outcomes = []
    for index, one in enumerate(values["outcomes"]):
        at = f"/outcomes/{index}"
        try:
            gauge = find(session, Gauge, one["gauge"])
        except Unknown as trouble:
            raise Invalid(trouble.message, f"{at}/gauge") from None
        step = step_of(gauge.kind)
        matters = loose(one.get("matters"), step, gauge.unit, f"{at}/matters")
        if matters is not None and matters.si(step) <= 0:
            raise Invalid("A difference that matters is more than nothing.", f"{at}/matters")
        outcomes.append({"gauge": gauge.handle, "matters": matters})
    faults = [
        Fault(f"/phases/{index}/from", "That lies more than 400 days ahead.")
        for index, one in enumerate(values["phases"])
        if one["from_ms"] > now + PLANNED_AHEAD_MS
    ]
    if faults:
        raise Invalid("Some phases can't be.", faults=faults)
    return {**values, "outcomes": outcomes}
