"""Values of parameters inside a record: kinds and units that the parameter's name decides."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.latest_of import MEASURED
from weirbook.actions.set_up_gauge import loose
from weirbook.engine.units import KINDS
from weirbook.errors import Fault, Invalid, Unknown
from weirbook.record.parameters import parameter

SIGNED = frozenset({"temperature", "potential", "length", "power", "photon_flux_density"})
"""Kinds whose values may lie below nothing."""


def kind_of(session: Session, name: str, pointer: str) -> str:
    """The kind of a parameter, measured or dosed. Raises Invalid at `pointer` for an unknown one."""
    if name in MEASURED:
        return MEASURED[name]
    try:
        return parameter(session, name).kind
    except Unknown as trouble:
        raise Invalid(trouble.message, pointer) from None


def moles_raised(effects: Iterable[Mapping[str, Any]]) -> dict[str, float]:
    """By parameter what a label says is raised, in the SI unit of its kind: mol/m3 for what is counted in moles."""
    return {
        one["parameter"]: one["effect"].si(MEASURED[one["parameter"]])
        for one in effects
        if one["parameter"] in MEASURED
    }


def valued(session: Session, rows: Sequence[Mapping[str, Any]], at: str, key: str) -> list[dict[str, Any]]:
    """Rows of a parameter and its value, each in the kind of its parameter. Raises Invalid with every fault."""
    found: list[dict[str, Any]] = []
    faults: list[Fault] = []
    named: set[str] = set()
    for index, row in enumerate(rows):
        try:
            name = row["parameter"]
            if name in named:
                raise Invalid("This parameter stands here already.", f"{at}/{index}/parameter")
            named.add(name)
            kind = kind_of(session, name, f"{at}/{index}/parameter")
            value = loose(row[key], kind, KINDS[kind].default, f"{at}/{index}/{key}")
            if value is not None and value.si(kind) < 0 and kind not in SIGNED:
                raise Invalid("This can't be less than nothing.", f"{at}/{index}/{key}")
            found.append({**row, key: value})
        except Invalid as trouble:
            faults += trouble.faults
    if faults:
        raise Invalid("Some of these values can't be used.", faults=faults)
    return found
