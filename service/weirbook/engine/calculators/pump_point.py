"""What a pump really delivers: its curve against the lift and losses of its line, one way or several."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from typing import Any

from weirbook.engine.calculators.pump_care import LIMITS, SOURCES, assumptions, cautions
from weirbook.engine.calculators.pump_inputs import Inputs, ends_of
from weirbook.engine.calculators.pump_pieces import COUNTED, FITTING_OF, LineBranch, Run, parted, runs_of
from weirbook.engine.calculators.pump_steps import Outcome, regime_of, steps_of
from weirbook.engine.relations.hydraulics import GRAVITY
from weirbook.engine.relations.pipes import CRANE_LENGTHS, crane_k, loss
from weirbook.engine.relations.pump_curves import PumpCurve
from weirbook.engine.relations.pump_lines import Branch, Duty, duty_of
from weirbook.engine.relations.water import density, dynamic_viscosity
from weirbook.engine.shape import TEXT, Calculator, Result, Working


def solve(given: Inputs) -> Working:
    """The point at which a pump and its line agree, and what each part of the line gets and costs.

    Equations: head of the pump at the flow = lift + sum (f L / D + K) v2 / (2 g); f by `friction_factor`; branches
    share the head at their start; hydraulic power = rho g Q h. Speed: flow in proportion, head to its square.
    Shapes and units: SI, see `Inputs`.
    Valid for: full pipes of clean water, steady flow, curve points measured as the pump stands.
    Uncertainty: a pump's curve 5 to 10 % (common practice); K of fittings by a factor of up to three between sources,
    of a throttled valve by two: the spread of the flow is given.
    Raises: Invalid for a curve that crosses itself, no lift or levels told or both, a piece without one bore or of no
    branch, a piece that is nothing, a roughness that is none.
    Source: see SOURCES.
    Not covered: air in the water, sudden changes of bore (say their K), losses at the intake, wear of the pump.
    """
    branches, source = ends_of(given)
    curve = _curve(given)
    viscosity = dynamic_viscosity(given.temperature) / density(given.temperature)
    valve = None if given.valve_opening is None else (given.valve_opening, given.valve_kind)
    runs = runs_of(given.pipe_pieces, branches, given.outlet_k, valve)
    ways = {one.name: _way(one, runs, given.static_head) for one in branches}
    duty = _duty(curve, source, runs, branches, ways, viscosity)
    out = Outcome(given, curve, source, branches, runs, ways, duty, viscosity, density(given.temperature))
    low, high = _spread(out)
    return Working(
        {**_values(out), "flow_low": low, "flow_high": high},
        steps_of(out),
        assumptions(out, low, high),
        cautions(out),
    )


def _curve(given: Inputs) -> PumpCurve:
    """Of all pumps together, at their speed."""
    points = tuple((one.flow, one.head) for one in given.pump_curve)
    return PumpCurve(points).at_speed(given.speed_ratio).in_parallel(given.pumps)


def _way(branch: LineBranch, runs: Sequence[Run], static_head: float | None) -> Branch:
    pieces = parted(runs, (branch,))[1][branch.name]
    if static_head is not None:
        return Branch(branch.name, pieces, static_head, False)
    heights = [one for one in (branch.outlet_height, branch.water_height) if one is not None]
    return Branch(branch.name, pieces, max(heights), _runs_back(branch, runs))


def _runs_back(branch: LineBranch, runs: Sequence[Run]) -> bool:
    """Whether water can come back: its outlet is under water, no air hole is above it, and no check valve shuts."""
    water, outlet, hole = branch.water_height, branch.outlet_height, branch.air_hole_height
    if water is None or outlet is None or outlet > water or (hole is not None and hole > water):
        return False
    return not any(run.told and run.told.check_valves for run in runs if run.branch == branch.name)


def _duty(
    curve: PumpCurve,
    source: float,
    runs: Sequence[Run],
    branches: Sequence[LineBranch],
    ways: Mapping[str, Branch],
    viscosity: float,
) -> Duty:
    trunk, own = parted(runs, branches)
    ends = tuple(dataclasses.replace(ways[one.name], pieces=own[one.name]) for one in branches)
    return duty_of(curve, source, trunk, ends, viscosity)


def _spread(out: Outcome) -> tuple[float, float]:
    """The flow with K of other sources: Crane's fittings, and throttled valves of half and of twice their K."""
    by_crane = [_by_crane(run) for run in out.runs]
    lines = [out.runs, by_crane]
    if any(run.throttled for run in out.runs):
        lines += [[_valves_by(run, by) for run in line] for by in (0.5, 2.0) for line in (out.runs, by_crane)]
    flows = [_duty(out.curve, out.source, line, out.branches, out.ways, out.viscosity).flow for line in lines]
    return min(flows), max(flows)


def _by_crane(run: Run) -> Run:
    if run.told is None:
        return run
    change = math.fsum(
        count * (crane_k(FITTING_OF[name], run.piece.diameter) - COUNTED[name])
        for name, count in run.told.fittings.items()
        if FITTING_OF[name] in CRANE_LENGTHS
    )
    return dataclasses.replace(run, piece=dataclasses.replace(run.piece, k=run.piece.k + change))


def _valves_by(run: Run, factor: float) -> Run:
    if not run.throttled:
        return run
    return dataclasses.replace(run, piece=dataclasses.replace(run.piece, k=run.piece.k * factor))


def _values(out: Outcome) -> dict[str, Any]:
    duty, given, free = out.duty, out.given, out.curve.free_flow
    hydraulic = out.density * GRAVITY * duty.flow * duty.head
    rows = [_piece_row(out, run) for run in out.runs]
    return {
        "flow": duty.flow,
        "head": duty.head,
        "static_head": duty.static_head,
        "friction_loss": out.mean_friction,
        "fitting_loss": out.mean_fittings,
        "shut_off_head": out.curve.shut_off,
        "share_of_shut_off": duty.head / out.curve.shut_off if out.curve.shut_off else 0.0,
        "free_flow": free,
        "share_of_free_flow": duty.flow / free if free else 0.0,
        "fastest": max((row["velocity"] for row in rows), default=None),
        "hydraulic_power": hydraulic,
        "wire_to_water": None if given.power is None else hydraulic / (given.power * given.pumps),
        "branches": [_branch_row(out, one) for one in out.branches],
        "pieces": rows,
    }


def _branch_row(out: Outcome, branch: LineBranch) -> dict[str, Any]:
    flow = out.duty.branch_flows[branch.name]
    return {
        "name": branch.name,
        "tank": branch.tank,
        "flow": flow,
        "share": flow / out.duty.flow if out.duty.flow else 0.0,
        "lift": out.ways[branch.name].outlet_head - out.source,
        "loss": out.duty.branch_losses[branch.name],
    }


def _piece_row(out: Outcome, run: Run) -> dict[str, Any]:
    flow = out.flow_in(run)
    friction = loss(flow, (dataclasses.replace(run.piece, k=0.0),), out.viscosity)
    fittings = loss(flow, (dataclasses.replace(run.piece, length=0.0),), out.viscosity)
    reynolds = run.piece.reynolds(flow, out.viscosity)
    return {
        "name": run.name,
        "branch": run.branch,
        "diameter": run.piece.diameter,
        "flow": flow,
        "velocity": abs(flow) / run.piece.area,
        "reynolds": reynolds,
        "regime": regime_of(reynolds),
        "friction_loss": friction,
        "fitting_loss": fittings,
    }


PUMP_POINT = Calculator(
    name="pump-point",
    title="Pump point",
    doc=(
        "What a pump really delivers: the point at which its curve meets the lift and the losses of its line. For a"
        " simple line say the curve, the lift and the pieces of pipe with their fittings. A line that parts takes"
        " branches, each with its own pieces, height and throttle valve: the answer says what each gets. Also"
        " velocities, what friction and fittings cost, how much of the shut-off head and the free flow is left, and"
        " the spread of the flow between published losses of fittings."
    ),
    inputs=Inputs,
    results=(
        Result("flow", "flow", "Through the pump, or all pumps side by side."),
        Result("flow_low", "flow", "The least by other published losses of fittings and valves."),
        Result("flow_high", "flow", "The most by them."),
        Result("head", "length", "That the pump lifts at that flow.", "m"),
        Result(
            "static_head",
            "length",
            "Lift; of several branches weighted with their flows, and where nothing flows the lowest.",
            "m",
        ),
        Result("friction_loss", "length", "Lost along the pipes, branches weighted with their flows.", "m"),
        Result("fitting_loss", "length", "Lost in fittings, valves and outlets, weighted likewise.", "m"),
        Result("shut_off_head", "length", "The most it lifts, with no flow.", "m"),
        Result("share_of_shut_off", "fraction", "Head over the shut-off head."),
        Result("free_flow", "flow", "With nothing to lift and no line."),
        Result("share_of_free_flow", "fraction", "Flow over the free flow."),
        Result("fastest", "velocity", "The fastest mean velocity in the line; none without pipes.", "m/s"),
        Result("hydraulic_power", "power", "That reaches the water."),
        Result("wire_to_water", "fraction", "Hydraulic power over mains power; none where that is not told."),
        Result(
            "branches",
            "list",
            "Each end of the line.",
            fields=(
                Result("name", TEXT, "The branch; 'outlet' where none is told."),
                Result("tank", TEXT, "What it delivers to, if told."),
                Result("flow", "flow", "That it gets; negative where water runs back."),
                Result("share", "fraction", "Of the pump's flow."),
                Result("lift", "length", "From the source's level to it.", "m"),
                Result("loss", "length", "In its own pieces, valve and outlet.", "m"),
            ),
        ),
        Result(
            "pieces",
            "list",
            "Each piece of the line, throttle valve and outlet.",
            fields=(
                Result("name", TEXT, "Pieces are numbered as they were told."),
                Result("branch", TEXT, "Its branch; none in the part that all share."),
                Result("diameter", "length", "Inside.", "mm"),
                Result("flow", "flow", "Through it; negative where water runs back."),
                Result("velocity", "velocity", "Flow over its bore.", "m/s"),
                Result("reynolds", "number", "Reynolds number."),
                Result("regime", TEXT, "still, calm, unsure (between calm and turbulent) or turbulent."),
                Result("friction_loss", "length", "Along its wall.", "m"),
                Result("fitting_loss", "length", "In its fittings.", "m"),
            ),
        ),
    ),
    limits=LIMITS,
    sources=SOURCES,
    solve=solve,
    example={
        "pump_curve": [
            {"head": "3.6 m", "flow": "0 L/h"},
            {"head": "3.1 m", "flow": "1200 L/h"},
            {"head": "1.8 m", "flow": "2400 L/h"},
            {"head": "0 m", "flow": "3300 L/h"},
        ],
        "source_level": "25 cm",
        "pipe_pieces": [
            {"size": "1 in schedule 40", "length": "1.2 m", "elbows": 1, "ball_valves": 1},
            {"branch": "left", "size": "3/4 in schedule 40", "length": "1 m", "tees_branch": 1, "elbows": 1},
            {"branch": "right", "size": "1/2 in schedule 40", "length": "2.4 m", "tees_run": 1, "elbows": 2},
        ],
        "line_branches": [
            {"name": "left", "outlet_height": "135 cm"},
            {"name": "right", "outlet_height": "110 cm", "valve_opening": "70 %"},
        ],
        "power": "35 W",
    },
    doors=("pumps",),
)
