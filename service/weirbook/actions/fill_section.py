"""What the record of a section says for a calculator's inputs, by their role."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions import fill_sump
from weirbook.actions.filling import Absent, Facts
from weirbook.actions.section_rows import section_row
from weirbook.engine.calculators.chamber_sections import ChamberSection
from weirbook.engine.shape import Filled, params_of
from weirbook.record.places import Section, SectionUse
from weirbook.record.whereabouts import states_at


def fill(session: Session, section: Section, at_ms: int) -> Facts:
    """The facts of a section: its own, as `section.NAME`, and those of its sump."""

    def row() -> Any:
        return section_row(section, states_at(session, SectionUse, at_ms).get(section.id, section.use))

    def told(name: str) -> Callable[[], Filled | Absent]:
        def ask() -> Filled | Absent:
            value = row().get(name)
            words = name.replace("_", " ")
            if value is None:
                return Absent(f"The {words} of {section.handle} is not recorded.")
            return Filled(value, "record", f"{words} of {section.handle}")

        return ask

    sump = fill_sump.fill(session, section.sump, at_ms)
    return {
        **sump,
        "section_flow": sump["through_flow"],
        **{f"section.{name}": told(name) for name in params_of(ChamberSection)},
    }
