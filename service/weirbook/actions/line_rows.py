"""A pump's return line as rows of calculators' inputs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from weirbook.engine.units import Quantity
from weirbook.record.equipment import Pump
from weirbook.record.places import Tank

OWN = "outlet"
"""The name of the one end of a line without branches."""


def piece_rows(pump: Pump) -> Sequence[Mapping[str, Any]]:
    """Its pieces of pipe, in flow order."""
    line = pump.line or {}
    single = None if line.get("branches") else OWN
    return [
        {"branch": single, **{name: value for name, value in piece.items() if value is not None}}
        for piece in line.get("pieces") or []
    ]


def branch_rows(
    pump: Pump, heights: Mapping[str, float], recorded: Mapping[str, float], opening: float | None = None
) -> Sequence[Mapping[str, Any]]:
    """Its ends, with heights above the floor as far as they are known.

    `heights` are those of the water by place, as it stands in flow; outlets are told against the `recorded` ones.
    `opening` stands for what is recorded of the valve of a line with one end.
    """
    line = pump.line or {}
    if branches := line.get("branches"):
        return [_row(one["name"], f"{Tank.PLURAL}/{one['tank']}", one, heights, recorded) for one in branches]
    end = pump.to_tank or pump.to_sump
    assert end is not None, "held by the pump's own rules"
    valve = line.get("valve_opening") if opening is None else Quantity(opening, "1")
    return [_row(OWN, end.path, {**line, "valve_opening": valve}, heights, recorded)]


def _row(
    name: str, path: str, said: Mapping[str, Any], heights: Mapping[str, float], recorded: Mapping[str, float]
) -> Mapping[str, Any]:
    water = recorded.get(path)
    outlet, hole = said.get("outlet_level"), said.get("air_hole_level")
    row = {
        "name": name,
        "tank": path,
        "water_height": _m(heights.get(path)),
        "outlet_height": None
        if water is None
        else _m(water + (0.0 if outlet is None else outlet.si("length"))),
        "air_hole_height": None if water is None or hole is None else _m(water + hole.si("length")),
        "valve_opening": said.get("valve_opening"),
    }
    return {name: value for name, value in row.items() if value is not None}


def _m(height: float | None) -> Quantity | None:
    return None if height is None else Quantity(height, "m")
