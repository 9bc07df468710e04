"""What records of water and doses must hold to beyond their own row: kinds of their parameters, what there is to change."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.fill_system import water_volume
from weirbook.actions.filling import Absent
from weirbook.actions.name_values import valued
from weirbook.actions.system_facts import SystemFacts
from weirbook.errors import Invalid, Unknown
from weirbook.record.names import find_place
from weirbook.record.places import System


def report_values(session: Session, values: Mapping[str, Any]) -> dict[str, Any]:
    """A water report, each value in the kind of its parameter. Raises Invalid at each bad one."""
    return {**values, "found": valued(session, values["found"], "/values", "value")}


def product_values(session: Session, values: Mapping[str, Any]) -> dict[str, Any]:
    """A product, each effect in the kind of its parameter. Raises Invalid at each bad one."""
    effects = values.get("effects")
    return {**values, "effects": None if not effects else valued(session, effects, "/effects", "effect")}


def refuse_more_than_there_is(session: Session, values: Mapping[str, Any]) -> None:
    """Raise Invalid for a change of more water than the system held then; its tanks and sumps judge their own.

    A system whose volume is unknown is not judged, nor a place that nothing carries, which is refused elsewhere.
    """
    told = values.get("volume")
    try:
        place = find_place(session, values["place"])
    except Unknown:
        return
    if told is None or not isinstance(place, System):
        return
    held = water_volume(SystemFacts(session, place, values["changed_at_ms"]))
    if isinstance(held, Absent) or told.si("volume") <= held.value.si("volume") * (1 + 1e-9):
        return
    words = f"{place.handle} holds {held.value.value:.4g} L ({held.note}): more than that can't be changed at once."
    raise Invalid(words, "/volume")
