"""Gauges, targets and own parameters: values whose kind and unit the parameter decides."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.alarm import check_alarm
from weirbook.actions.edit import edit
from weirbook.actions.remove import remove
from weirbook.actions.roll_up import recompute_since
from weirbook.engine.parameters import PARAMETERS, Parameter
from weirbook.engine.units import KINDS, Quantity, quantity, step_of, unit
from weirbook.errors import Conflict, Fault, Invalid, Unknown
from weirbook.record.base import handle_from
from weirbook.record.database import fetch, room_of
from weirbook.record.dependents import mentions
from weirbook.record.doses import Product
from weirbook.record.equipment import Gauge, OwnParameter
from weirbook.record.parameters import parameter
from weirbook.record.targets import Target
from weirbook.record.waters import WaterReport

SETTLED = ("place_id", "parameter", "unit")
"""What a gauge's readings rest on: fixed once there are any."""


def gauge_values(session: Session, values: Mapping[str, Any]) -> dict[str, Any]:
    """A gauge's values with kind, join and units taken from its parameter. Raises Invalid at each pointer."""
    known = _parameter(session, values["parameter"])
    chosen = _unit(known, values.get("unit"))
    step = step_of(known.kind)
    check_alarm(session, values.get("alarm"))
    offset = loose(values.get("offset"), step, chosen, "/offset")
    if offset is not None and known.contact:
        raise Invalid("A contact reads on or off: nothing can be added to that.", "/offset")
    return {
        **values,
        "kind": known.kind,
        "join": known.join,
        "unit": chosen,
        "resolution": loose(values.get("resolution"), step, chosen, "/resolution"),
        "offset": None if offset is None or not offset.value else offset.to(chosen, step),
        "plausible_low": loose(values.get("plausible_low"), known.kind, chosen, "/plausible_low"),
        "plausible_high": loose(values.get("plausible_high"), known.kind, chosen, "/plausible_high"),
    }


def target_values(session: Session, values: Mapping[str, Any]) -> dict[str, Any]:
    """A target's values, its bounds held to the parameter's kind and order. Raises Invalid at each pointer."""
    known = _parameter(session, values["parameter"])
    low = loose(values.get("low"), known.kind, known.units[0], "/low")
    high = loose(values.get("high"), known.kind, known.units[0], "/high")
    if low is not None and high is not None and low.si(known.kind) > high.si(known.kind):
        raise Invalid("The low end of a target can't lie above its high end.", "/high")
    hysteresis = _hysteresis(values, known, low, high)
    check_alarm(session, values.get("alarm"))
    return {**values, "low": low, "high": high, "hysteresis": hysteresis}


def _hysteresis(
    values: Mapping[str, Any], known: Parameter, low: Quantity | None, high: Quantity | None
) -> Quantity | None:
    """How far back inside a value must come: it must fit into the band, or an excursion could never end."""
    step = step_of(known.kind)
    found = loose(values.get("hysteresis"), step, known.units[0], "/hysteresis")
    if found is None:
        return None
    size = found.si(step)
    if size < 0:
        raise Invalid("A hysteresis is 0 or more.", "/hysteresis")
    if low is not None and high is not None and size > high.si(known.kind) - low.si(known.kind):
        raise Invalid(
            "The hysteresis is wider than the target itself: no excursion could end.", "/hysteresis"
        )
    return found


def parameter_values(values: Mapping[str, Any]) -> dict[str, Any]:
    """An own parameter's values, held to its kind. Raises Invalid, and Conflict with a built-in name."""
    kind = values["kind"]
    if kind not in KINDS:
        raise Invalid(f"'{kind}' is not a kind of quantity. Kinds: {', '.join(KINDS)}.", "/kind")
    if values.get("handle") in PARAMETERS or (
        values.get("handle") is None and handle_from(values["name"]) in PARAMETERS
    ):
        raise Conflict("A parameter of that name is built in already.", "/handle", slug="handle-taken")
    units = values.get("units") or [KINDS[kind].default]
    names = [_unit_at(kind, name, f"/units/{index}") for index, name in enumerate(units)]
    low = loose(values.get("possible_low"), kind, names[0], "/possible_low")
    high = loose(values.get("possible_high"), kind, names[0], "/possible_high")
    if low is not None and high is not None and low.si(kind) >= high.si(kind):
        raise Invalid("The possible range must end above its start.", "/possible_high")
    return {**values, "units": names, "possible_low": low, "possible_high": high}


def edit_gauge(
    session: Session, gauge: Gauge, values: Mapping[str, Any], *, now: int, effective_ms: int | None = None
) -> bool:
    """Change a gauge. Raises Conflict for what its readings rest on.

    Another interval, another offset or another way of joining makes the rollups anew from the instant it counts.
    """
    settled = {name: getattr(gauge, name) for name in SETTLED}
    interval, offset, by_hand = gauge.expected_interval_s, gauge.offset_in_unit, gauge.by_hand
    changed = edit(session, gauge, values, now=now, effective_ms=effective_ms)
    moved = [name for name in SETTLED if getattr(gauge, name) != settled[name]]
    if moved and has_readings(session, gauge):
        raise Conflict(
            "The gauge has readings, which rest on its place, parameter and unit. Retire it and make another.",
            faults=[
                Fault(f"/{name.removesuffix('_id')}", "Fixed once there are readings.") for name in moved
            ],
            slug="has-records",
        )
    if gauge.by_hand != by_hand:
        recompute_since(session, gauge, 0)
    elif (gauge.expected_interval_s, gauge.offset_in_unit) != (interval, offset):
        recompute_since(session, gauge, now if effective_ms is None else effective_ms)
    return changed


def remove_parameter(session: Session, row: OwnParameter) -> None:
    """Delete an own parameter. Raises Conflict while a record that names it by handle uses it."""
    hanging = []
    for model in (Gauge, Target):
        asked = sa.select(sa.func.count()).select_from(model)
        used = model.room_id == room_of(session), model.parameter == row.handle
        if count := session.scalar(asked.where(*used)):
            hanging.append(f"{count} {model.NOUN}{'s' if count > 1 else ''}")
    for told, field in ((WaterReport, "found"), (Product, "effects")):
        if count := mentions(session, told, field, "parameter", row.handle):
            hanging.append(f"{count} {told.NOUN}{'s' if count > 1 else ''}")
    if hanging:
        raise Conflict(
            f"This parameter can't be deleted: {', '.join(hanging)} hang on it. Retire it instead: PATCH its retired_at.",
            slug="has-records",
        )
    remove(session, row)


def has_readings(session: Session, gauge: Gauge) -> bool:
    """Whether a gauge was ever read."""
    asked = "SELECT 1 FROM reading WHERE room_id = ? AND gauge_id = ? LIMIT 1"
    return bool(fetch(session, asked, (room_of(session), gauge.id)))


def loose(raw: Any, kind: str, unit_name: str, pointer: str) -> Quantity | None:
    """A quantity, or a bare number in the record's own unit. Raises Invalid at `pointer`."""
    if raw is None:
        return None
    try:
        if isinstance(raw, (int, float)):
            return quantity({"value": raw, "unit": unit_name}, kind)
        return quantity(raw, kind)
    except Invalid as trouble:
        raise Invalid(trouble.message, pointer) from None


def _parameter(session: Session, name: str) -> Parameter:
    try:
        return parameter(session, name)
    except Unknown as trouble:
        raise Invalid(trouble.message, "/parameter") from None


def _unit(known: Parameter, name: str | None) -> str:
    if name is None:
        return known.units[0]
    chosen = _unit_at(known.kind, name, "/unit")
    if chosen not in known.units:
        raise Invalid(f"{known.name} takes: {', '.join(known.units)}.", "/unit")
    return chosen


def _unit_at(kind: str, name: str, pointer: str) -> str:
    try:
        return unit(kind, name).name
    except Invalid as trouble:
        raise Invalid(trouble.message, pointer) from None
