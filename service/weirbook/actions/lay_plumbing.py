"""A system's record laid out as plumbing that can be solved; what of it is not recorded."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from weirbook.actions.filling import Absent
from weirbook.actions.latest_of import latest_of
from weirbook.actions.line_rows import branch_rows, piece_rows
from weirbook.actions.section_rows import section_row
from weirbook.actions.system_facts import SystemFacts
from weirbook.engine.calculators.chamber_sections import ChamberSection, cells_of, gate_of
from weirbook.engine.calculators.pump_pieces import LineBranch, PipePiece, pieces_of
from weirbook.engine.calculators.told import USUAL_TEMPERATURE
from weirbook.engine.inputs import read
from weirbook.engine.relations.pipes import Piece, valve_k
from weirbook.engine.relations.plumbing import Compartment, Lift, Outlet, Plumbing, Pool, Trough
from weirbook.engine.relations.pump_curves import PumpCurve
from weirbook.engine.relations.steady_flow import circling
from weirbook.engine.relations.water import FREEZING, HOTTEST
from weirbook.engine.relations.weirs import Edge
from weirbook.engine.shape import Assumption
from weirbook.engine.units import Quantity
from weirbook.record.equipment import Pump
from weirbook.record.places import Sump, Tank

CIRCLE = "it runs in a circle of overflows"


@dataclass(frozen=True)
class Missing:
    """A fact that the record lacks: of what (a path), and what to record."""

    of: str
    what: str


@dataclass(frozen=True)
class Laid:
    """The plumbing as recorded, names of places their paths, of pumps their handles; whence the water's temperature, and what
    lacks."""

    plumbing: Plumbing
    temperature: Assumption
    missing: tuple[Missing, ...]


def lay_plumbing(facts: SystemFacts) -> Laid:
    """The plumbing of a system at the facts' instant; laid once for the same facts."""
    if (kept := facts.worked_out.get(Laid)) is None:
        kept = facts.worked_out[Laid] = _Laying(facts).laid()
    assert isinstance(kept, Laid)
    return kept


def line_of(pump: Pump, opening: float | None = None) -> tuple[tuple[Piece, ...], tuple[Outlet, ...]]:
    """The shared part of a pump's line and its ends; `opening` in place of what is recorded of its valve."""
    line = pump.line or {}
    pieces = [read(PipePiece, row) for row in piece_rows(pump)]
    branches = [read(LineBranch, row) for row in branch_rows(pump, {}, {}, opening)]
    trunk, own = pieces_of(pieces, branches)
    if line.get("branches") and trunk:
        shared = opening if opening is not None else _si(line.get("valve_opening"), "fraction")
        if shared is not None:
            trunk = (Piece(trunk[0].diameter, 0.0, trunk[0].roughness, valve_k(shared)), *trunk)
    outlets = tuple(
        Outlet(branch.name, to, own[branch.name], level)
        for branch, to, level in zip(branches, ends_of(pump), _levels(line), strict=True)
    )
    return trunk, outlets


def ends_of(pump: Pump) -> Sequence[str]:
    """The places that a pump's line leads to."""
    branches = (pump.line or {}).get("branches") or []
    if branches:
        return [f"{Tank.PLURAL}/{one['tank']}" for one in branches]
    end = pump.to_tank or pump.to_sump
    assert end is not None, "held by the pump's own rules"
    return [end.path]


class _Laying:
    """One laying; gathers on the way what lacks."""

    def __init__(self, facts: SystemFacts) -> None:
        self.facts = facts
        self.missing: list[Missing] = []

    def laid(self) -> Laid:
        facts = self.facts
        temperature, whence = self._temperature()
        plumbing = Plumbing(
            tuple(self._pool(tank) for tank in facts.tanks),
            tuple(self._trough(sump) for sump in facts.sumps),
            tuple(self._lift(pump) for pump in facts.pumps if not pump.circulates),
            temperature,
        )
        for pump in facts.pumps_away:
            if facts.running.get(pump.id):
                gone = ", ".join(ends_of(pump))
                self._lacks(
                    f"pumps/{pump.handle}", f"where its water goes: its line leads to {gone}, not in use here"
                )
        for vessel in sorted(circling(plumbing)):
            self._lacks(vessel, f"where its water goes: {CIRCLE}")
        return Laid(plumbing, whence, tuple(self.missing))

    def _temperature(self) -> tuple[float, Assumption]:
        found = latest_of(self.facts, "temperature")
        if isinstance(found, Absent):
            words = "Water of 25 °C: no temperature is measured here. It hardly moves the flows."
            return USUAL_TEMPERATURE, Assumption(words, "default")
        value: Quantity = found.value
        kelvin = min(max(value.si("temperature"), FREEZING), HOTTEST)
        return kelvin, Assumption(f"Water of {value.text()} ({found.note}).", "record")

    def _pool(self, tank: Tank) -> Pool:
        overflow = tank.overflow or {}
        crest = _si(overflow.get("crest_height"))
        edge = None
        if overflow:
            open_fraction = _si(overflow.get("open_fraction"), "fraction")
            if overflow.get("toothed") and open_fraction is None:
                self._lacks(
                    tank.path, "the open share of its toothed edge (overflow.open_fraction); taken as plain"
                )
            edge = Edge(
                overflow["edge_length"].si("length"),
                math.inf if crest is None else crest,
                None,
                _si(overflow.get("slot_width")),
                1.0 if open_fraction is None else open_fraction,
            )
            if crest is None:
                self._lacks(tank.path, "how high the edge lies (overflow.crest_height)")
        return Pool(
            tank.path,
            _si(tank.base_height),
            tank.water_depth.si("length"),
            _si(tank.rim_height),
            crest,
            edge,
            self._drain_end(tank),
        )

    def _drain_end(self, tank: Tank) -> str | None:
        """Where a tank's overflow leads: as recorded, else the first section of the system's only sump."""
        facts = self.facts
        if tank.drains_to is not None:
            path = tank.drains_to.path
            known = {one.path for one in (*facts.tanks, *facts.sections)}
            if path not in known:
                self._lacks(tank.path, f"a place in use to drain to: {path} is not one of this system")
                return None
            return path
        pumped = [sump for sump in facts.sumps if sump.drains_to_id is None and facts.sections_of(sump)]
        if len(pumped) == 1:
            return facts.sections_of(pumped[0])[0].path
        if pumped:
            self._lacks(tank.path, "which sump its overflow leads to (drains_to): the system has several")
        return None

    def _trough(self, sump: Sump) -> Trough:
        sections = self.facts.sections_of(sump)
        rows = [
            read(ChamberSection, section_row(one, self.facts.uses.get(one.id, one.use))) for one in sections
        ]
        width = sump.width.si("length")
        cells = list(cells_of(rows, width, 0.0)) if rows else []
        if rows and rows[-1].baffle_passes is not None:
            cells[-1] = dataclasses.replace(cells[-1], gate=gate_of(rows[-1], rows[-1], width))
        compartments = tuple(
            Compartment(
                dataclasses.replace(cell, name=one.path),
                row.flow_share,
                row.depth,
            )
            for one, row, cell in zip(sections, rows, cells, strict=True)
        )
        for one, compartment in zip(sections[:-1], compartments[:-1], strict=True):
            if (gate := compartment.cell.gate) is not None and not gate.known:
                self._lacks(one.path, "how water passes on from it (baffle): levels before it are unknown")
        return Trough(
            sump.path,
            _si(sump.base_height),
            sump.height.si("length"),
            compartments,
            compartments[-1].depth if compartments else None,
            sump.closed,
            None if sump.drains_to is None else sump.drains_to.path,
        )

    def _lift(self, pump: Pump) -> Lift:
        trunk, outlets = line_of(pump)
        known = {one.path for one in (*self.facts.tanks, *self.facts.sumps, *self.facts.sections)}
        drawn = (pump.from_section or pump.from_tank).path  # type: ignore[union-attr]
        for at, place in (("it draws from", drawn), *(("its line leads to", end) for end in ends_of(pump))):
            if place not in known:
                self._lacks(f"pumps/{pump.handle}", f"where its water goes: {at} {place}, not in use here")
        return Lift(
            pump.handle,
            drawn,
            _curve(pump),
            trunk,
            outlets,
            bool((pump.line or {}).get("pieces")),
            bool((pump.line or {}).get("check_valve")),
            _si(pump.measured_flow, "flow"),
            _si(pump.rated_flow, "flow"),
            not self.facts.running.get(pump.id, False),
        )

    def _lacks(self, of: str, what: str) -> None:
        self.missing.append(Missing(of, what))


def _curve(pump: Pump) -> PumpCurve | None:
    """Its curve; None without one, or where an older record holds a single point."""
    points = [(one["flow"].si("flow"), one["head"].si("length")) for one in pump.curve or []]
    return PumpCurve(tuple(points)) if len(points) > 1 else None


def _levels(line: Mapping[str, Any]) -> Sequence[float]:
    """Of the outlets against the recorded water, m; at it where nothing is said."""
    return [_si(one.get("outlet_level")) or 0.0 for one in line.get("branches") or [line]]


def _si(value: Quantity | None, kind: str = "length") -> float | None:
    return None if value is None else value.si(kind)
