"""What comes down to a sump when its pumps stop: rows of calculators' inputs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from weirbook.actions.solve_flow import SystemFlow
from weirbook.engine.relations.pipes import SIZES
from weirbook.engine.relations.plumbing import Brimmed
from weirbook.engine.units import Quantity
from weirbook.record.equipment import Pump
from weirbook.record.places import Sump, Tank

Row = Mapping[str, Any]


def falling_rows(flow: SystemFlow, sump: Sump) -> Sequence[Row]:
    """Each tank whose water comes down to the sump, over its edge or back through a return line."""
    inside = {one.path for one in flow.sections.values() if one.sump_id == sump.id}
    rows = []
    for brimmed in flow.solved.brimmed:
        tank = flow.tanks[brimmed.name]
        lines = [
            pump
            for pump in flow.pumps.values()
            if pump.from_section is not None and pump.from_section.sump_id == sump.id and _ends(pump, tank)
        ]
        drains_here = _drains_into(flow, brimmed, inside)
        if drains_here or lines:
            rows.append(_row(tank, brimmed, lines, drains_here))
        if drains_here:
            rows += _pipe_rows(tank)
    return rows


def _drains_into(flow: SystemFlow, brimmed: Brimmed, inside: set[str]) -> bool:
    """Whether its overflow leads here, straight or over other tanks; a circle ends nowhere."""
    by_name = {one.name: one for one in flow.solved.brimmed}
    end, seen = brimmed.drains_to, {brimmed.name}
    while end in by_name and end not in seen:
        seen.add(end)
        end = by_name[end].drains_to
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
    """The water in an overflow box and how far it sinks: to its deepest drain, else to its floor."""
    length, width, depth = (overflow.get(f"box_{name}") for name in ("length", "width", "depth"))
    if length is None and width is None and depth is None:
        return {}
    row: dict[str, Any] = {}
    if length is not None and width is not None:
        row["box_area"] = Quantity(length.si("length") * width.si("length"), "m2")
    lips = [one["lip_depth"].si("length") for one in overflow.get("drains") or [] if one.get("lip_depth")]
    if lips:
        row["box_fall"] = Quantity(max(lips), "m")
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
    start = 0.0 if crest is None else crest.si("length") - tank.water_depth.si("length")
    open_hole, blocked = 0.0, 0.0
    for end in ends:
        outlet = end["outlet_level"].si("length")
        hole = end.get("air_hole_level")
        stops = outlet if hole is None else max(outlet, hole.si("length"))
        open_hole = max(open_hole, start - stops)
        blocked = max(blocked, start - outlet)
    return {"siphon_drop": Quantity(open_hole, "m"), "siphon_drop_blocked": Quantity(blocked, "m")}


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
