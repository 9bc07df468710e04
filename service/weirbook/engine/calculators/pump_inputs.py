"""What a pump point must be told, and what contradicts itself in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from weirbook.engine.calculators.pump_pieces import LineBranch, PipePiece, faults_of
from weirbook.engine.calculators.told import water_temperature
from weirbook.engine.relations.pipes import FITTINGS
from weirbook.engine.relations.pump_curves import crossing
from weirbook.engine.shape import CHOICE, COUNT, param, parts
from weirbook.errors import Fault, Invalid

OUTLET = "outlet"
"""The name of the one end of a line for which no branches are told."""


@dataclass(frozen=True)
class CurvePoint:
    head: float = param("length", doc="That the pump lifts.", unit="m", ge=0)
    flow: float = param("flow", doc="That it gives at that head.", ge=0)


@dataclass(frozen=True)
class Inputs:
    pump_curve: tuple[CurvePoint, ...] = parts(
        CurvePoint,
        doc="Two points or more of its curve, from the shut-off head (no flow) to the free flow.",
        role="pump_curve",
        required=True,
    )
    static_head: float | None = param(
        "length",
        doc="Lift from the water the pump draws from to the outlet, or to the water it is under. Or say levels.",
        unit="m",
        default=None,
    )
    source_level: float | None = param(
        "length", doc="Of the water the pump draws from, above the floor.", default=None, role="source_level"
    )
    pipe_pieces: tuple[PipePiece, ...] = parts(
        PipePiece, doc="Pieces of its line with their fittings, in flow order.", role="pipe_pieces"
    )
    line_branches: tuple[LineBranch, ...] = parts(
        LineBranch, doc="The ends of a line that parts. Left out: one end.", role="line_branches", key="name"
    )
    outlet_k: float = param(
        "number",
        doc="Loss coefficient of each open end, in velocity heads; more for a nozzle or a spray bar.",
        ge=0,
        le=1e6,
        default=FITTINGS["exit"],
    )
    valve_opening: float | None = param(
        "fraction",
        doc="Of a throttle valve in the part that all share: 0 shut, 1 open. Left out: there is none.",
        unit="%",
        ge=0,
        le=1,
        default=None,
        role="line_opening",
    )
    valve_kind: str = param(CHOICE, doc="Of that valve.", choices=("ball", "gate"), default="ball")
    temperature: float = water_temperature("Of the water: warm water flows a little more easily.")
    pumps: int = param(
        COUNT, doc="Pumps of this curve side by side on the line, all running.", ge=1, le=50, default=1
    )
    speed_ratio: float = param(
        "number", doc="Speed over the speed that the curve holds for.", gt=0, le=2, default=1.0
    )
    power: float | None = param(
        "power", doc="That one pump draws from the mains, as it runs now.", gt=0, default=None, role="power"
    )


def ends_of(given: Inputs) -> tuple[tuple[LineBranch, ...], float]:
    """The ends of the line, and the level it draws from. Raises Invalid for what contradicts itself."""
    faults = [
        *curve_faults(given.pump_curve),
        *faults_of(given.pipe_pieces, given.line_branches),
        *_level_faults(given),
    ]
    if faults:
        raise Invalid("The pump and its line can't be used as they are.", faults=faults)
    branches = given.line_branches or (LineBranch(OUTLET),)
    if given.static_head is not None:
        return branches, 0.0
    assert given.source_level is not None
    return branches, given.source_level


def curve_faults(curve: Sequence[CurvePoint]) -> list[Fault]:
    """What is wrong with points that shall be a pump's curve."""
    points = [(one.flow, one.head) for one in curve]
    if len(points) < 2:
        return [Fault("/pump_curve", "A curve needs two points or more, as shut-off head and free flow.")]
    if (at := crossing(points)) is None:
        return []
    words = "The curve crosses itself here: each point needs more flow and less head than the one before."
    return [Fault(f"/pump_curve/{at}", words)]


def _level_faults(given: Inputs) -> list[Fault]:
    if given.static_head is not None:
        if len(given.line_branches) > 1:
            words = (
                "One lift does not fit several branches: say source_level and each branch's outlet_height."
            )
            return [Fault("/static_head", words)]
        return []
    if not given.line_branches:
        words = "Say the lift, or source_level and line_branches with their outlet_height."
        return [Fault("/static_head", words)]
    faults = [
        Fault(f"/line_branches/{at}/outlet_height", "Say how high its outlet is, or the water it is under.")
        for at, one in enumerate(given.line_branches)
        if one.outlet_height is None and one.water_height is None
    ]
    if given.source_level is None:
        faults.insert(0, Fault("/source_level", "Say how high the water stands that the pump draws from."))
    return faults
