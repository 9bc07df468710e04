"""How deep the water stands in each section: as its keeper measured it, or worked out from the last one up."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

from weirbook.engine.calculators.chamber_sections import ChamberSection, cells_of
from weirbook.engine.relations.levels import Cell, Stand, running_levels

TOLD, WORKED_OUT = "told", "worked out"
TELLING_DIFFERENCE = 0.02
"""m. A told depth that is further off than this from the level worked out is worth a look: common practice."""


@dataclass(frozen=True)
class Standing:
    """One section with its level. `section` is as it is reckoned with, its depth filled in where none was told.

    `stand` is None, and `why` says the reason, where its level can't be worked out.
    """

    section: ChamberSection
    told: float | None
    cell: Cell
    after: Cell | None
    stand: Stand | None
    why: str | None

    @property
    def level(self) -> float | None:
        """The surface as worked out, above the sump's base."""
        return None if self.stand is None else self.stand.surface

    @property
    def origin(self) -> str | None:
        """Where the depth that is reckoned with comes from."""
        if self.section.depth is None:
            return None
        return TOLD if self.told is not None else WORKED_OUT

    @property
    def level_is_worked_out(self) -> bool:
        """Whether its level comes from the sections after it, rather than being where they start from."""
        return self.level is not None and self.stand is not None and self.stand.passing != "end"

    @property
    def difference(self) -> float | None:
        """The told depth over the level worked out."""
        return None if self.told is None or self.level is None else self.told - self.level

    @property
    def bed_loss(self) -> float | None:
        """Head lost in its media; None where its level or its grain is unknown."""
        if self.stand is None or self.stand.surface is None or self.cell.grain is None:
            return None
        return self.stand.bed_loss

    @property
    def outlet(self) -> float | None:
        """The level at which the water comes to its gate."""
        if self.stand is None or self.stand.surface is None:
            return None
        return self.stand.surface - (0.0 if self.section.direction == "up" else self.stand.bed_loss)

    @property
    def down(self) -> float | None:
        """The level behind its gate."""
        return None if self.outlet is None or self.stand is None else self.outlet - self.stand.gate_loss


def standings(
    sections: Sequence[ChamberSection],
    sump_width: float | None,
    flow: float,
    return_depth: float | None,
    density: float,
    viscosity: float,
) -> tuple[Standing, ...]:
    """Each section's level, from `return_depth` (else the last section's own depth) up the flow.

    Past a gate that is not recorded the levels start anew from the next depth that is told. SI.
    Raises ValueError where neither a section's width nor the sump's is told.
    """
    cells = cells_of(sections, sump_width, flow)
    depths = [section.depth for section in sections]
    if return_depth is not None:
        depths[-1] = return_depth
    stands = _stands(cells, depths, density, viscosity)
    under_water = tuple(_under_water(cell, stand) for cell, stand in zip(cells, stands, strict=True))
    if under_water != cells:
        cells, stands = under_water, _stands(under_water, depths, density, viscosity)
    found = []
    for index, (section, cell, stand) in enumerate(zip(sections, cells, stands, strict=True)):
        last = index + 1 == len(cells)
        depth = depths[index] if depths[index] is not None or stand is None else stand.surface
        found.append(
            Standing(
                _deep(section, depth, cell),
                depths[index],
                cell,
                None if last else cells[index + 1],
                stand,
                None if stand is not None else _why(cell, last),
            )
        )
    return tuple(found)


def drop_over(found: Sequence[Standing], index: int) -> float | None:
    """How much lower the water stands in the section after one than in the section before it, m.

    None for the first and the last, and where either level is unknown.
    """
    if not 0 < index < len(found) - 1:
        return None
    before, after = found[index - 1].level, found[index + 1].level
    return None if before is None or after is None else before - after


def _stands(
    cells: Sequence[Cell], depths: Sequence[float | None], density: float, viscosity: float
) -> list[Stand | None]:
    stands: list[Stand | None] = [None] * len(cells)
    end = len(cells)
    while end:
        begin = _first_of_reach(cells, end)
        start = next((i for i in range(end - 1, begin - 1, -1) if depths[i] is not None), None)
        if start is not None:
            level = depths[start] or 0.0
            stands[begin : start + 1] = running_levels(cells[begin : start + 1], level, density, viscosity)
        end = begin
    return stands


def _under_water(cell: Cell, stand: Stand | None) -> Cell:
    """The cell with what of its media lies under water."""
    if stand is None or stand.surface is None or cell.bed_height <= stand.surface:
        return cell
    return dataclasses.replace(cell, media_volume=cell.plan_area * stand.surface)


def _first_of_reach(cells: Sequence[Cell], end: int) -> int:
    """The first of the cells before `end` between which every gate is known."""
    begin = end - 1
    while begin and ((gate := cells[begin - 1].gate) is None or gate.known):
        begin -= 1
    return begin


def _deep(section: ChamberSection, depth: float | None, cell: Cell) -> ChamberSection:
    """The section at a depth; of its media only what then lies under water."""
    if depth is None or depth == section.depth:
        return section
    media = None if section.media_volume is None else min(cell.media_volume, cell.plan_area * depth)
    return dataclasses.replace(section, depth=depth, media_volume=media)


def _why(cell: Cell, last: bool) -> str:
    if last:
        return "the level in the last section is not recorded"
    if cell.gate is None or cell.gate.known:
        return "a level after it is not known"
    missing = {
        "over": "the height of the crest after it is not recorded",
        "under": "the height of the gap after it is not recorded",
        "both": "the heights of the crest and the gap after it are not both recorded",
    }
    return missing.get(
        cell.gate.passes, "how water passes on from it is not recorded (say open where nothing parts the two)"
    )
