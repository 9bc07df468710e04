"""What a pump delivers through a trunk that parts into branches. SI floats in and out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from weirbook.engine.relations.pipes import Piece, flow_at_loss, loss, loss_and_slope
from weirbook.engine.relations.pump_curves import PumpCurve
from weirbook.engine.relations.roots import root_between


@dataclass(frozen=True)
class Branch:
    """One way from the end of the trunk to an outlet.

    `outlet_head` is the height of the water where the outlet is under it, else of the outlet itself, in m over the
    same level as `source_level`. `runs_back`: water can come back through it (no check valve, outlet under water).
    """

    name: str
    pieces: tuple[Piece, ...]
    outlet_head: float
    runs_back: bool


@dataclass(frozen=True)
class Duty:
    """Where pump and line agree. Flows in m3/s, heads in m.

    `flow` goes through the pump and `head` is what it lifts; `node_head` is the head at the end of the trunk, over the
    same level as the outlets. `static_head` is the lift to the outlets, each weighted with its flow; where nothing
    flows, to the lowest. `branch_flows` add up to `flow`, negative where water runs back; losses go with the flows.
    """

    flow: float
    head: float
    static_head: float
    node_head: float
    trunk_loss: float
    branch_flows: Mapping[str, float]
    branch_losses: Mapping[str, float]


def duty_of(
    curve: PumpCurve,
    source_level: float,
    trunk: tuple[Piece, ...],
    branches: tuple[Branch, ...],
    viscosity: float,
) -> Duty:
    """What a pump delivers into each branch of its line.

    Equation: the flow at which head(flow) = node - source + trunk loss, and the branches' flows at loss = node -
    outlet add up to it; an outlet that the node's head does not reach gets nothing, or runs back where it can.
    Shapes and units: levels in m over one datum, kinematic viscosity in m2/s.
    Valid for: full pipes, steady flow, water level at the pump's intake as told; flow 0 where the head reaches no
    outlet or every way is shut. Backwards through the pump nothing flows.
    Uncertainty: that of curve and losses; the balance itself closes to 1e-9 m.
    Raises: ValueError for no branch, or two of one name.
    Source: energy balance; any handbook of hydraulics. Held to EPANET 2.2 in the tests.
    Not covered: air drawn in at the top of a pipe that runs downhill, momentum where the trunk parts (put a tee's
    K into the branch).
    """
    if not branches or len({branch.name for branch in branches}) < len(branches):
        raise ValueError("a line needs branches, each with a name of its own")
    if len(branches) == 1:
        return _one_way(curve, source_level, trunk, branches[0], viscosity)

    def node_at(flow: float) -> tuple[float, float]:
        lifted, slope = curve.head_and_slope(flow)
        lost, climb = loss_and_slope(flow, trunk, viscosity)
        return source_level + lifted - lost, slope - climb

    def surplus(flow: float) -> tuple[float, float]:
        node, fall = node_at(flow)
        taken, more = _taken(node, branches, viscosity)
        return flow - taken, 1 - more * fall

    lowest = min(branch.outlet_head for branch in branches)
    shut = any(math.isinf(piece.k) for piece in trunk)
    if shut or surplus(0.0)[0] >= 0:
        return _standstill(curve, source_level, branches, viscosity, shut)
    flow = root_between(surplus, 0.0, max(curve.flow(lowest - source_level), 0.0))
    node = node_at(flow)[0]
    flows = _flows(node, flow, branches, viscosity)
    lost = loss(flow, trunk, viscosity)
    lift = math.fsum(flows[b.name] / flow * (b.outlet_head - source_level) for b in branches)
    losses = _losses(node, branches, flows)
    return Duty(flow, node - source_level + lost, lift, node, lost, flows, losses)


def _one_way(
    curve: PumpCurve, source_level: float, trunk: tuple[Piece, ...], branch: Branch, viscosity: float
) -> Duty:
    line = (*trunk, *branch.pieces)
    static = branch.outlet_head - source_level
    if curve.shut_off <= static or any(math.isinf(piece.k) for piece in line):
        shut = any(math.isinf(piece.k) for piece in trunk)
        return _standstill(curve, source_level, (branch,), viscosity, shut)

    def missing(flow: float) -> tuple[float, float]:
        lifted, slope = curve.head_and_slope(flow)
        lost, climb = loss_and_slope(flow, line, viscosity)
        return static + lost - lifted, climb - slope

    flow = root_between(missing, 0.0, curve.flow(static))
    in_trunk, in_branch = loss(flow, trunk, viscosity), loss(flow, branch.pieces, viscosity)
    node = branch.outlet_head + in_branch
    head = static + in_trunk + in_branch
    return Duty(flow, head, static, node, in_trunk, {branch.name: flow}, {branch.name: in_branch})


def _standstill(
    curve: PumpCurve, source_level: float, branches: Sequence[Branch], viscosity: float, trunk_shut: bool
) -> Duty:
    """Nothing goes through the pump; where branches can run back, water still goes from one to another."""
    heights = [branch.outlet_head for branch in branches]
    lowest, highest = min(heights), max(heights)
    node = lowest if trunk_shut else source_level + curve.shut_off
    if _taken(node, branches, viscosity)[0] < 0:
        node = root_between(lambda at: _taken(at, branches, viscosity), node, highest)
    flows = _flows(node, 0.0, branches, viscosity)
    head = curve.shut_off if trunk_shut else node - source_level
    return Duty(0.0, head, lowest - source_level, node, 0.0, flows, _losses(node, branches, flows))


def _into(node: float, branch: Branch, viscosity: float) -> float:
    """The flow into a branch at a head at its start."""
    head = node - branch.outlet_head
    return flow_at_loss(head, branch.pieces, viscosity) if head > 0 or branch.runs_back else 0.0


def _taken(node: float, branches: Sequence[Branch], viscosity: float) -> tuple[float, float]:
    """What all branches take at a head at their start, and how it grows with the head."""
    taken = grows = 0.0
    for branch in branches:
        flow = _into(node, branch, viscosity)
        if flow != 0:
            taken += flow
            climb = loss_and_slope(abs(flow), branch.pieces, viscosity)[1]
            grows += 1 / climb if climb else math.inf
    return taken, grows


def _flows(node: float, total: float, branches: Sequence[Branch], viscosity: float) -> dict[str, float]:
    """Each branch's flow at a head that was found for their `total`: they add up to it."""
    flows = {branch.name: _into(node, branch, viscosity) for branch in branches}
    # What rounding leaves goes to the largest flow, of which it is least.
    largest = max(flows, key=lambda name: abs(flows[name]))
    flows[largest] += total - math.fsum(flows.values())
    return flows


def _losses(node: float, branches: Sequence[Branch], flows: Mapping[str, float]) -> dict[str, float]:
    return {b.name: node - b.outlet_head if flows[b.name] else 0.0 for b in branches}


def share_among(flow: float, branches: Sequence[Branch], viscosity: float) -> dict[str, float]:
    """What each branch gets of a flow that is known, as measured: the head at their start is what it must be.

    Shapes and units: flow in m3/s, not negative, viscosity in m2/s; result in m3/s by name.
    Valid for: as `duty_of`; the flows add up to the flow told.
    Raises: ValueError where every branch is shut.
    Source: as `duty_of`.
    """
    if all(any(math.isinf(piece.k) for piece in branch.pieces) for branch in branches):
        raise ValueError("every branch is shut, and yet water flows")

    def surplus(node: float) -> tuple[float, float]:
        taken, grows = _taken(node, branches, viscosity)
        return taken - flow, grows

    low = min(branch.outlet_head for branch in branches)
    high = max(branch.outlet_head for branch in branches) + 1.0
    while surplus(high)[0] < 0:
        high += high - low
    return _flows(root_between(surplus, low, high), flow, branches, viscosity)
