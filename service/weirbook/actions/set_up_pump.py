"""What a pump's line must hold to beyond its own row."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.create import named
from weirbook.errors import Fault, Invalid
from weirbook.record.places import Tank


def pump_values(session: Session, values: dict[str, Any]) -> dict[str, Any]:
    """The checked values of a pump. Raises Invalid where a branch leads to no tank in use of the same system."""
    branches = (values.get("line") or {}).get("branches") or []
    faults = [
        fault for index, one in enumerate(branches) for fault in _faults_of(session, values, index, one)
    ]
    if faults:
        raise Invalid("The line's branches can't be as they are.", faults=faults)
    return values


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
    return []
