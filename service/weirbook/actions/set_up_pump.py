"""What a pump's line must hold to beyond its own row."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.create import named
from weirbook.errors import Fault, Invalid
from weirbook.record.places import Tank


def pump_values(session: Session, values: dict[str, Any]) -> dict[str, Any]:
    """The checked values of a pump. Raises Invalid where a branch leads to no tank in use of the same system, and where
    an end lies below the base of its tank."""
    line = values.get("line") or {}
    branches = line.get("branches") or []
    faults = [
        fault for index, one in enumerate(branches) for fault in _faults_of(session, values, index, one)
    ]
    if not branches and line.get("outlet_level") is not None and values.get("to_tank") is not None:
        tank: Tank = named(session, Tank.NOUN, values["to_tank"], "/to_tank")
        faults = _faults_of_end(tank, line, "/line/outlet_level")
    if faults:
        raise Invalid("The line can't be as it is.", faults=faults)
    return values


def _faults_of_end(tank: Tank, end: Mapping[str, Any], at: str) -> list[Fault]:
    level = end.get("outlet_level")
    if level is None or -level.si("length") <= tank.water_depth.si("length") * (1 + 1e-9):
        return []
    words = (
        f"The outlet would lie below the base of {tank.handle}: its water is {tank.water_depth.text()} deep."
    )
    return [Fault(at, words)]


def _faults_of(
    session: Session, values: Mapping[str, Any], index: int, branch: Mapping[str, Any]
) -> list[Fault]:
    at = f"/line/branches/{index}/tank"
    try:
        tank: Tank = named(session, Tank.NOUN, branch["tank"], at)
        home: Tank = named(session, Tank.NOUN, values.get("to_tank") or branch["tank"], "/to_tank")
    except Invalid as trouble:
        return list(trouble.faults)
    if tank.system_id != home.system_id:
        return [Fault(at, f"'{tank.handle}' is in another system; water that mixes is one system.")]
    return _faults_of_end(tank, branch, f"/line/branches/{index}/outlet_level")
