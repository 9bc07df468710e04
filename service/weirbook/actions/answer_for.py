"""A calculator answered from the record of a place, with what-ifs over it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions import fill_sump, fill_system, fill_tank
from weirbook.actions.filling import Absent, Facts
from weirbook.engine.shape import Answer, Calculator, Filled, answer
from weirbook.errors import Fault, Invalid
from weirbook.record.places import Place, Sump, System, Tank

FILLERS: Mapping[type[Place], Callable[[Session, Any, int], Facts]] = {
    System: fill_system.fill,
    Tank: fill_tank.fill,
    Sump: fill_sump.fill,
}


def answer_for(
    session: Session, calculator: Calculator, place: Place, said: Mapping[str, Any], *, at_ms: int
) -> Answer:
    """Fill the calculator's inputs from the record as it stood at an instant, what was `said` over them.

    Raises Invalid where a needed input is neither said nor recorded, naming what would supply it.
    """
    facts = FILLERS[type(place)](session, place, at_ms)
    fills: dict[str, Filled] = {}
    faults = []
    for name, declared in calculator.params.items():
        if name in said or declared.role is None:
            if declared.required and name not in said:
                faults.append(
                    Fault(f"/{name}", f"The record does not hold it. Add it to the query: {name}=…")
                )
            continue
        found = (
            facts[declared.role]() if declared.role in facts else Absent("The record does not hold it here.")
        )
        if isinstance(found, Filled):
            fills[name] = found
        elif declared.required:
            faults.append(
                Fault(f"/{name}", f"Unknown: {found.why} Record it, or add it to the query: {name}=…")
            )
    if faults:
        raise Invalid(
            f"{calculator.title} can't be answered: the record lacks {', '.join(f.pointer[1:] for f in faults)}.",
            faults=faults,
            slug="not-recorded",
        )
    return answer(calculator, said, _without_what_said_replaces(calculator, fills, said))


def _without_what_said_replaces(
    calculator: Calculator, fills: Mapping[str, Filled], said: Mapping[str, Any]
) -> dict[str, Filled]:
    """A what-if on the whole makes the recorded parts of it no longer fit: they are left out."""
    whole_said = any(name in said for name, one in calculator.params.items() if one.single and one.role)
    return {
        name: one for name, one in fills.items() if not (whole_said and not calculator.params[name].single)
    }
