"""The bodies of water of a system and what flows between them, as rows of calculators' inputs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from weirbook.actions.filling import Absent
from weirbook.actions.solve_flow import SystemFlow
from weirbook.engine.shape import Filled
from weirbook.engine.units import Quantity

Row = Mapping[str, Any]


def mixing_bodies(flow: SystemFlow) -> Filled | Absent:
    """Each tank and each sump as one stirred body, by its path: those that water passes."""
    passed = {row[end] for row in _rows(flow) for end in ("from_body", "to_body")}
    rows, unknown = [], []
    for path, tank in flow.tanks.items():
        if path in passed:
            rows.append({"name": path, "volume": Quantity(tank.net_volume_si, "m3").to("L", "volume")})
    for path, sump in flow.sumps.items():
        own = [one for one in flow.sections.values() if one.sump_id == sump.id]
        unknown += [one.handle for one in own if path in passed and one.water_volume_si is None]
        if path in passed:
            water = sum(one.water_volume_si or 0.0 for one in own)
            rows.append({"name": path, "volume": Quantity(water, "m3").to("L", "volume")})
    if unknown:
        return Absent(f"No running depth is recorded for: {', '.join(unknown)}.")
    if len(rows) < 2:
        return Absent("Water does not pass between two bodies here.")
    return Filled(rows, "record", "tanks net, sumps at running depth; each as one stirred body")


def mixing_flows(flow: SystemFlow) -> Filled | Absent:
    """What flows from body to body, as the system is solved."""
    if unknown := [one.name for one in flow.solved.lifted if one.flow is None or not one.deliveries]:
        return Absent(f"Unknown is the flow of {', '.join(unknown)}.")
    rows = _rows(flow)
    return Filled(rows, "record", "as the system is solved") if rows else Absent("No pump moves water here.")


def _rows(flow: SystemFlow) -> Sequence[Row]:
    rows: list[Row] = []
    for lifted in flow.solved.lifted:
        rows += [_row(flow, lifted.drawn, end.to, end.flow) for end in lifted.deliveries if end.flow > 0]
    rows += [
        _row(flow, one.name, one.drains_to, one.over_edge)
        for one in flow.solved.brimmed
        if one.drains_to is not None and one.over_edge
    ]
    for filled in flow.solved.filled:
        back = flow.sumps[filled.name].drains_to
        if back is not None and filled.inflow:
            rows.append(_row(flow, filled.name, back.path, filled.inflow))
    return [row for row in rows if row["from_body"] != row["to_body"]]


def _row(flow: SystemFlow, start: str, end: str, passes: float) -> Row:
    return {
        "from_body": _body(flow, start),
        "to_body": _body(flow, end),
        "flow": Quantity(passes, "m3/s").to("L/h", "flow"),
    }


def _body(flow: SystemFlow, path: str) -> str:
    """The tank or sump that a place is, or lies in."""
    return flow.sections[path].sump.path if path in flow.sections else path
