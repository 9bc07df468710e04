"""How fast water passes each section of a solved sump, at the depths it was solved to."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

from weirbook.actions.section_rows import section_row
from weirbook.actions.solve_flow import SystemFlow
from weirbook.engine.calculators.chamber_sections import ChamberSection, inlet_of
from weirbook.engine.inputs import read
from weirbook.engine.relations.chambers import Chamber, inlet_velocity
from weirbook.engine.relations.plumbing import Filled, Passed


@dataclass(frozen=True)
class Pace:
    """Velocities (m/s) and stay (s) of one section, None where unknown, and which limits they pass."""

    mean_velocity: float | None
    inlet_velocity: float | None
    residence_time: float | None
    over_limits: tuple[str, ...]


def section_paces(flow: SystemFlow, sump: Filled) -> Mapping[str, Pace]:
    """The pace in each section of a sump, by the section's path."""
    width = flow.sumps[sump.name].width.si("length")
    rows = [_row(flow, one, width) for one in sump.sections]
    return {
        one.name: _pace(one, row, before, width)
        for one, row, before in zip(sump.sections, rows, (None, *rows), strict=False)
    }


def _row(flow: SystemFlow, one: Passed, width: float) -> ChamberSection:
    """The section as it stands in flow; of its media what then lies under water."""
    told = read(ChamberSection, section_row(flow.sections[one.name], flow.uses[one.name]))
    assert isinstance(told, ChamberSection)
    if one.depth is None or told.media_volume is None:
        return dataclasses.replace(told, depth=one.depth)
    room = told.length * told.width_in(width) * one.depth
    return dataclasses.replace(told, depth=one.depth, media_volume=min(told.media_volume, room))


def _pace(one: Passed, row: ChamberSection, before: ChamberSection | None, width: float) -> Pace:
    if one.flow < 0:
        return Pace(None, None, None, ())  # more is drawn here than comes: there is no steady pace
    chamber = Chamber(
        row.direction, row.length, row.width_in(width), row.depth, row.solids, one.flow, row.plants
    )
    inlet = inlet_of(row, before, width, one.flow)
    jet = None if isinstance(inlet, str) else inlet_velocity(inlet, one.flow)
    mean, stay = chamber.mean_velocity, chamber.residence_time
    over = (
        ("mean_velocity", mean is not None and mean > (row.limit_mean_velocity or float("inf"))),
        ("inlet_velocity", jet is not None and jet > (row.limit_inlet_velocity or float("inf"))),
        ("shortest_residence", stay is not None and stay < (row.limit_shortest_residence or 0.0)),
    )
    return Pace(mean, jet, stay, tuple(name for name, passed in over if passed))
