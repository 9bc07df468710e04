"""What the record of a section says for a calculator's inputs, by their role."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cached_property
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.fill_sump import SumpFacts, facts_by_role
from weirbook.actions.filling import Absent, Facts
from weirbook.actions.section_rows import section_row
from weirbook.engine.calculators.chamber_sections import ChamberSection, inlet_of
from weirbook.engine.inputs import read
from weirbook.engine.relations.chambers import Fall, Slot
from weirbook.engine.relations.plumbing import Passed
from weirbook.engine.shape import Filled, params_of
from weirbook.engine.units import Quantity
from weirbook.record.places import Section


class SectionFacts:
    """One section at an instant, its neighbours, and the sump they are in."""

    def __init__(self, session: Session, section: Section, at_ms: int) -> None:
        self.section = section
        self.sump = SumpFacts(session, section.sump, at_ms)

    @cached_property
    def passed(self) -> tuple[Passed | None, Passed | None, Passed | None]:
        """The section in flow, with the one before it and the one after it."""
        filled = next(one for one in self.sump.flow.solved.filled if one.name == self.section.sump.path)
        row = [None, *filled.sections, None]
        for before, here, after in zip(row, row[1:], row[2:], strict=False):
            if here is not None and here.name == self.section.path:
                return before, here, after
        return None, None, None

    @cached_property
    def row(self) -> Mapping[str, Any]:
        """Its own fields, an inlet by the baffle before it as the slot or fall that this makes."""
        own = {"width": self.section.sump.width, **self._row_of(self.section)}
        before, here, _ = self.passed
        if here is None or before is None or own.get("inlet_kind") not in (None, "baffle"):
            return own
        rows = [
            read(ChamberSection, {**self._row_of(self.sump.flow.sections[one.name]), "depth": _m(one.depth)})
            for one in (before, here)
        ]
        inlet = inlet_of(rows[1], rows[0], self.section.sump.width.si("length"), here.flow)
        if isinstance(inlet, Slot):
            return own | {
                "inlet_kind": "slot",
                "inlet_width": _m(inlet.width),
                "inlet_height": _m(inlet.height),
            }
        if isinstance(inlet, Fall):
            return own | {"inlet_kind": "fall", "inlet_height": _m(inlet.drop)}
        return own

    def told(self, name: str) -> Filled | Absent:
        value = self.row.get(name)
        words = name.replace("_", " ")
        if value is None:
            return Absent(f"The {words} of {self.section.handle} is not recorded.")
        return Filled(value, "record", f"{words} of {self.section.handle}")

    def head_drop(self) -> Filled | Absent:
        """How much lower the water stands in the section after it than in the one before it."""
        before, _, after = self.passed
        if before is None or after is None or before.depth is None or after.depth is None:
            return Absent(
                f"{self.section.handle} has no sections before and after it whose levels are known."
            )
        drop = Quantity(before.depth - after.depth, "m").to("mm", "length")
        ends = f"{before.name.split('/')[1]} to {after.name.split('/')[1]}"
        return Filled(drop, "record", f"from {ends}, as the system is solved")

    def _row_of(self, section: Section) -> Mapping[str, Any]:
        return section_row(section, self.sump.system.uses.get(section.id, section.use))


def fill(session: Session, section: Section, at_ms: int) -> Facts:
    """The facts of a section: its own, as `section.NAME`, and those of its sump."""
    facts = SectionFacts(session, section, at_ms)

    def told(name: str) -> Callable[[], Filled | Absent]:
        return lambda: facts.told(name)

    sump = facts_by_role(facts.sump)
    return {
        **sump,
        "section_flow": sump["through_flow"],
        "section.head_drop": facts.head_drop,
        **{f"section.{name}": told(name) for name in params_of(ChamberSection)},
    }


def _m(length: float | None) -> Quantity | None:
    return None if length is None else Quantity(length, "m")
