"""Values of parameters inside a record: kinds and units that the parameter's name decides."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.latest_of import MEASURED
from weirbook.engine.inputs import bare
from weirbook.engine.relations.chemistry import DOSED
from weirbook.engine.units import KINDS, Quantity, quantity
from weirbook.errors import Fault, Invalid
from weirbook.record.parameters import no_such_parameter, parameters

SIGNED = frozenset({"temperature", "potential", "length", "power", "photon_flux_density"})
"""Kinds whose values may lie below nothing."""


def kind_of(session: Session, name: str, pointer: str) -> str:
    """The kind of a parameter, measured or dosed. Raises Invalid at `pointer` for an unknown one."""
    if name in MEASURED:
        return MEASURED[name]
    known = parameters(session, [name]).get(name)
    if known is None:
        raise Invalid(no_such_parameter(session, name, DOSED), pointer)
    return known.kind


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
            value = _told(row[key], kind, f"{at}/{index}/{key}")
            _refuse_impossible(session, name, value.si(kind), kind, f"{at}/{index}/{key}")
            found.append({**row, key: value})
        except Invalid as trouble:
            faults += trouble.faults
    if faults:
        raise Invalid("Some of these values can't be used.", faults=faults)
    return found


def _told(raw: Any, kind: str, pointer: str) -> Quantity:
    """A quantity; a bare number only where the kind has one unit: a report's nitrate may be NO3 or N."""
    try:
        return quantity(raw, kind)
    except Invalid as trouble:
        raise Invalid(trouble.message, pointer) from None


def _refuse_impossible(session: Session, name: str, size: float, kind: str, pointer: str) -> None:
    """Raise Invalid for what water can't show: a slip of the hand or of the unit."""
    if size < 0 and kind not in SIGNED:
        raise Invalid("This can't be less than nothing.", pointer)
    known = parameters(session, [name]).get(name)
    if known is None:
        return
    for bound, holds, words in (
        (known.possible_low, float.__ge__, "at least"),
        (known.possible_high, float.__le__, "at most"),
    ):
        if bound is not None and not holds(size, bound):
            shown = Quantity(bound, KINDS[kind].si).to(known.units[0], kind)
            raise Invalid(f"{name} is {words} {bare(shown)}: check the figure and its unit.", pointer)
