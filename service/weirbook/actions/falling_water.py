"""What comes down to a sump when its pumps stop: rows of calculators' inputs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from typing import Any

from weirbook.actions.solve_flow import SystemFlow
from weirbook.engine.relations.levels import OVER
from weirbook.engine.relations.pipes import SIZES
from weirbook.engine.relations.plumbing import Brimmed, Filled, Trough
from weirbook.engine.units import Quantity
from weirbook.record.equipment import Pump
from weirbook.record.places import Sump, Tank

Row = Mapping[str, Any]


def falling_rows(flow: SystemFlow, sump: Sump) -> Sequence[Row]:
    """Each tank and side loop's sump whose water comes down to the sump, over its edge or back through a line."""
    inside = {one.path for one in flow.sections.values() if one.sump_id == sump.id}
    rows = []
    for brimmed in flow.solved.brimmed:
        tank = flow.tanks[brimmed.name]
        lines = [
            pump
            for pump in flow.pumps.values()
            if pump.from_section is not None and pump.from_section.sump_id == sump.id and _ends(pump, tank)
        ]
        drains_here = _drains_into(flow, brimmed.name, inside)
        if drains_here or lines:
            rows.append(_row(tank, brimmed, lines, drains_here))
        if drains_here:
            rows += _pipe_rows(tank)
    return rows + _box_rows(flow, sump, inside)


def _box_rows(flow: SystemFlow, sump: Sump, inside: Set[str]) -> list[Row]:
    """Open sumps that stand alone and drain here, or that a line from here can empty again."""
    rows = []
    for trough, filled in zip(flow.plumbing.troughs, flow.solved.filled, strict=True):
        if trough.drains_to is None or trough.closed or not trough.compartments:
            continue
        box = flow.sumps[trough.name]
        lines = [
            pump
            for pump in flow.pumps.values()
            if pump.to_sump_id == box.id
            and pump.from_section is not None
            and pump.from_section.sump_id == sump.id
        ]
        drains_here = _drains_into(flow, trough.name, inside)
        if drains_here or lines:
            rows.append(_box_row(box, trough, filled, lines, drains_here))
    return rows


def _box_row(box: Sump, trough: Trough, filled: Filled, lines: Sequence[Pump], drains_here: bool) -> Row:
    """All of its floor counts, media and what its baffles keep too: the careful side."""
    row: dict[str, Any] = {"name": box.path}
    row["plan_area"] = Quantity(sum(one.cell.plan_area for one in trough.compartments), "m2")
    gate = trough.compartments[-1].cell.gate
    crest = None if gate is None or gate.passes != OVER else gate.crest_height
    depths = [one.depth for one in filled.sections if one.depth is not None]
    if not drains_here:
        row["head"] = Quantity(0.0, "m")
    elif crest is not None and len(depths) == len(filled.sections):
        row["head"] = Quantity(max(0.0, max(depths) - crest), "m")
    ends = [pump.line or {} for pump in lines]
    first = trough.compartments[0].depth
    if not ends:
        row |= {"siphon_drop": Quantity(0.0, "m"), "siphon_drop_blocked": Quantity(0.0, "m")}
    elif first is not None and crest is not None and all(end.get("outlet_level") is not None for end in ends):
        row |= _drops(ends, crest - first, crest)
    return row


def _drains_into(flow: SystemFlow, name: str, inside: Set[str]) -> bool:
    """Whether its overflow leads here, straight or over other tanks and sumps; a circle ends nowhere."""
    leads = {pool.name: pool.drains_to for pool in flow.plumbing.pools}
    for trough in flow.plumbing.troughs:
        names = (trough.name, *(one.cell.name for one in trough.compartments))
        leads |= dict.fromkeys(names, trough.drains_to)
    end, seen = leads[name], {name}
    while end is not None and end not in inside and end not in seen:
        seen.add(end)
        end = leads.get(end)
    return end in inside


def _row(tank: Tank, brimmed: Brimmed, lines: Sequence[Pump], drains_here: bool) -> Row:
    overflow = tank.overflow or {}
    row: dict[str, Any] = {"name": tank.handle, "plan_area": Quantity(tank.surface_area_si, "m2")}
    if not drains_here:
        row["head"] = Quantity(0.0, "m")
    elif brimmed.head is not None:
        row["head"] = Quantity(brimmed.head.high, "m")
    row |= _siphon(tank, lines)
    if drains_here:
        row |= _box(overflow)
    return row


def _box(overflow: Mapping[str, Any]) -> Row:
    """The water in an overflow box and how far it sinks: to its deepest drain, or to its floor where one isn't told."""
    length, width, depth = (overflow.get(f"box_{name}") for name in ("length", "width", "depth"))
    if length is None and width is None and depth is None:
        return {}
    row: dict[str, Any] = {}
    if length is not None and width is not None:
        row["box_area"] = Quantity(length.si("length") * width.si("length"), "m2")
    lips = [one.get("lip_depth") for one in overflow.get("drains") or []]
    known = [lip.si("length") for lip in lips if lip is not None]
    if known and len(known) == len(lips):
        row["box_fall"] = Quantity(max(known), "m")
    elif depth is not None:
        row["box_fall"] = depth
    return row


FILLED = {"siphon": 1.0, "gravity": 1 / 3, "standby": 0.0}
"""How full of water each kind of drain runs. Common practice, no source: a vented stack is taken as a third full."""


def _pipe_rows(tank: Tank) -> Sequence[Row]:
    """What runs out of its drains, one row each."""
    none = Quantity(0.0, "m")
    return [
        {
            "name": f"{tank.handle} drain {number}",
            "head": none,
            "siphon_drop": none,
            "siphon_drop_blocked": none,
            "drain_diameter": one["diameter"],
            "drain_length": one["length"],
            "drain_fill": Quantity(FILLED[one["kind"]], "1"),
        }
        for number, one in enumerate((tank.overflow or {}).get("drains") or [], 1)
        if one.get("length") is not None and FILLED[one["kind"]]
    ]


def _siphon(tank: Tank, lines: Sequence[Pump]) -> Row:
    """How far its water can be drawn back below the crest; left out where a line does not say where it ends."""
    if not lines:
        return {"siphon_drop": Quantity(0.0, "m"), "siphon_drop_blocked": Quantity(0.0, "m")}
    ends = [end for pump in lines for end in _ends(pump, tank)]
    if any(pump.line is None for pump in lines) or any(end.get("outlet_level") is None for end in ends):
        return {}
    crest = (tank.overflow or {}).get("crest_height")
    depth = tank.water_depth.si("length")
    start = 0.0 if crest is None else crest.si("length") - depth
    return _drops(ends, start, start + depth)


def _drops(ends: Sequence[Mapping[str, Any]], start: float, most: float) -> Row:
    """From `start` (m against the recorded water) down to the deepest end, and to the same with its air hole clogged.

    `most`: down to the floor; an end that is recorded below it draws no deeper.
    """
    open_hole, blocked = 0.0, 0.0
    for end in ends:
        outlet = end["outlet_level"].si("length")
        hole = end.get("air_hole_level")
        stops = outlet if hole is None else max(outlet, hole.si("length"))
        open_hole = max(open_hole, start - stops)
        blocked = max(blocked, start - outlet)
    return {
        "siphon_drop": Quantity(min(open_hole, most), "m"),
        "siphon_drop_blocked": Quantity(min(blocked, most), "m"),
    }


def _ends(pump: Pump, tank: Tank) -> Sequence[Mapping[str, Any]]:
    """The ends of a pump's line in a tank, as they say where they lie."""
    branches = (pump.line or {}).get("branches")
    if branches:
        return [one for one in branches if one["tank"] == tank.handle]
    return [pump.line or {}] if pump.to_tank_id == tank.id else []


def return_pipe_rows(pumps: Sequence[Pump]) -> Sequence[Row]:
    """The pipes of these pumps' lines, whose content falls back."""
    return [
        {
            "name": f"{pump.handle} {number}",
            "diameter": piece.get("diameter") or Quantity(SIZES[piece["size"]], "m"),
            "length": piece["length"],
            "check_valve": bool((pump.line or {}).get("check_valve")),
        }
        for pump in pumps
        for number, piece in enumerate((pump.line or {}).get("pieces") or [], 1)
        if piece.get("length") is not None
    ]
