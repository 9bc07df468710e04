"""The water of a running sump by the level of its return section. For what asks what a stop or a fault does to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

from weirbook.engine.calculators.chamber_faults import refuse_contradictions
from weirbook.engine.calculators.chamber_levels import Standing, standings
from weirbook.engine.calculators.chamber_sections import ChamberSection, cells_of
from weirbook.engine.relations.basins import held, is_told, volume_below
from weirbook.engine.relations.levels import Cell
from weirbook.engine.relations.water import density, dynamic_viscosity
from weirbook.engine.shape import TEXT, Result, Step, show, step
from weirbook.errors import Invalid

FITS_WITHIN = 0.01
"""Sections that cover more than the sump's floor by less are taken to fit. Common practice: so well one measures."""

LACKING = Result(
    "lacking", "list", "What isn't recorded.", fields=(Result("what", TEXT, "Of what, and what."),)
)


@dataclass(frozen=True)
class RunningSump:
    """Sections in flow order; the last holds the pump. SI, levels above the sump's inside base."""

    sections: Sequence[ChamberSection]
    width: float | None
    flow: float | None
    return_depth: float | None
    temperature: float

    @cached_property
    def cells(self) -> tuple[Cell, ...]:
        return cells_of(self.sections, self.width, self.flow or 0.0)

    @property
    def running_depth(self) -> float | None:
        """Of the return section: as said, else as its own row tells."""
        return self.sections[-1].depth if self.return_depth is None else self.return_depth

    @cached_property
    def _as_recorded(self) -> tuple[Standing, ...]:
        depth = self.sections[-1].depth
        return self._standings(self.return_depth if depth is None else depth)

    def _standings(self, last_level: float | None) -> tuple[Standing, ...]:
        return standings(
            self.sections,
            self.width,
            self.flow or 0.0,
            last_level,
            density(self.temperature),
            dynamic_viscosity(self.temperature),
        )

    def levels(self, last_level: float) -> tuple[float | None, ...]:
        """The levels while water runs, from that of the return section; None where one can't be known.

        Of a depth that was measured and the level that is worked out the higher one counts: the careful one when
        the pumps stop. What a measured depth stands above the level worked out, it stands above it at every level.
        """
        found: list[float | None] = [last_level]
        after: float | None = last_level
        rows = tuple(zip(self._standings(last_level), self._as_recorded, strict=True))
        for now, recorded in reversed(rows[:-1]):
            told, level = now.told, now.level
            if self.flow is None and told is None and self._parted(now):
                level = None
            elif level is None:
                level = told
            elif told is not None and recorded.level is not None:
                level += max(0.0, told - recorded.level)
            if level is not None and after is not None:
                level = max(level, after)
            elif after is None and told is None:
                level = None
            found.append(level)
            after = level
        return tuple(reversed(found))

    @staticmethod
    def _parted(one: Standing) -> bool:
        return one.cell.gate is not None and one.cell.gate.passes != "open"

    def known_levels(self, last_level: float | None) -> tuple[float, ...] | None:
        """The levels if every one is known."""
        if last_level is None:
            return None
        found = [level for level in self.levels(last_level) if level is not None]
        return tuple(found) if len(found) == len(self.sections) else None

    def water(self, last_level: float) -> float | None:
        """Water in all sections while it runs, m3."""
        levels = self.known_levels(last_level)
        return None if levels is None else held(self.cells, levels)

    @cached_property
    def lacking(self) -> tuple[str, ...]:
        """What must be recorded before every running level is known, in words."""
        if self.running_depth is None:
            return ("the running depth of the return section",)
        told = []
        unknown = [
            s.name
            for s, level in zip(self.sections, self.levels(self.running_depth), strict=True)
            if level is None
        ]
        if unknown:
            cause = (
                "the flow, or the running depth" if self.flow is None else "the baffle after it, or the depth"
            )
            told.append(f"{cause}, of {', '.join(unknown)}")
        return tuple(told)

    @cached_property
    def untold_gates(self) -> tuple[str, ...]:
        """Sections after which nobody recorded how water passes on."""
        return tuple(
            s.name for s, cell in zip(self.sections, self.cells[:-1], strict=False) if not is_told(cell.gate)
        )


class ToldSump(Protocol):
    """What is told of a sump and of the pump that draws from it. SI."""

    @property
    def sections(self) -> tuple[ChamberSection, ...]: ...
    @property
    def sump_length(self) -> float | None: ...
    @property
    def sump_width(self) -> float | None: ...
    @property
    def sump_height(self) -> float | None: ...
    @property
    def return_depth(self) -> float | None: ...
    @property
    def intake_height(self) -> float | None: ...


def refuse_what_does_not_fit(told: ToldSump) -> None:
    """Raises Invalid as `refuse_contradictions`, for sections larger than the sump together, for an intake above it."""
    sections, intake_height = told.sections, told.intake_height
    length, width, height = told.sump_length, told.sump_width, told.sump_height
    refuse_contradictions(sections, length, width, height, told.return_depth)
    if length is not None and width is not None:
        covered = sum(section.length * section.width_in(width) for section in sections)
        if covered > length * width * (1 + FITS_WITHIN):
            words = (
                f"Together the sections cover {show(covered, 'area')}, the sump only {show(length * width, 'area')}:"
                " it would seem to hold more than it does."
            )
            raise Invalid(words, "/sections")
    if intake_height is not None and height is not None and intake_height >= height:
        raise Invalid(
            f"The pump would draw above the sump's rim ({show(height, 'length')}).", "/intake_height"
        )


def water_steps(
    sections: Sequence[ChamberSection], cells: Sequence[Cell], levels: Sequence[float], when: str
) -> list[Step]:
    """The water in each section at its level, in L, and their sum."""
    steps, numbers = [], {}
    for index, (section, cell, level) in enumerate(zip(sections, cells, levels, strict=True)):
        told = {
            "length": show(cell.length, "length"),
            "width": show(cell.width, "length"),
            "level": show(level, "length"),
        }
        formula = "{length} × {width} × {level} ÷ 1000"
        if section.media_volume is not None:
            told["media_height_under_water"] = show(min(level, cell.bed_height), "length")
            told["media_porosity"] = show(cell.media_porosity, "fraction", "1")
            formula += " − {length} × {width} × {media_height_under_water} × (1 − {media_porosity}) ÷ 1000"
        water = volume_below(cell, level)
        steps.append(step(f"{section.name}: water {when} in L", formula, told, water, "volume", "L"))
        numbers[f"section_{index + 1}"] = show(water, "volume")
    whole = " + ".join(f"{{{name}}}" for name in numbers)
    total = held(cells, levels)
    return [*steps, step(f"sump: water {when} in L", whole, numbers, total, "volume", "L")]
