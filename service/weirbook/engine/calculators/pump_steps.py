"""The working of a pump point, step by step: it is found by search, so the steps check that both sides agree."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.pump_inputs import Inputs
from weirbook.engine.calculators.pump_pieces import COUNTED, LineBranch, Run
from weirbook.engine.relations.hydraulics import GRAVITY
from weirbook.engine.relations.pipes import (
    LAMINAR_END,
    ROUGHEST,
    TURBULENT_START,
    friction_factor,
    loss,
    valve_stretch,
)
from weirbook.engine.relations.pump_curves import PumpCurve
from weirbook.engine.relations.pump_lines import Branch, Duty
from weirbook.engine.shape import Step, show, six, step

STILL, CALM, UNSURE, TURBULENT = "still", "calm", "unsure", "turbulent"
AN_HOUR = 3_600_000
"""L/h in 1 m3/s."""


def regime_of(reynolds: float) -> str:
    """How water moves in a pipe, in a word."""
    if reynolds == 0:
        return STILL
    if reynolds <= LAMINAR_END:
        return CALM
    return UNSURE if reynolds < TURBULENT_START else TURBULENT


@dataclass(frozen=True)
class Outcome:
    """A pump point found: what was told, the line in rows, its ends by name, and where pump and line agree."""

    given: Inputs
    curve: PumpCurve
    source: float
    branches: Sequence[LineBranch]
    runs: Sequence[Run]
    ways: Mapping[str, Branch]
    duty: Duty
    viscosity: float
    density: float

    def flow_in(self, run: Run) -> float:
        return self.duty.flow if run.branch is None else self.duty.branch_flows[run.branch]

    def losses_in(self, run: Run) -> tuple[float, float]:
        """Of friction and of fittings, m, signed with the flow."""
        flow = self.flow_in(run)
        return (
            loss(flow, (dataclasses.replace(run.piece, k=0.0),), self.viscosity),
            loss(flow, (dataclasses.replace(run.piece, length=0.0),), self.viscosity),
        )

    def weight(self, run: Run) -> float:
        return self.flow_in(run) / self.duty.flow if self.duty.flow else 0.0

    @cached_property
    def mean_friction(self) -> float:
        return math.fsum(self.weight(run) * self.losses_in(run)[0] for run in self.runs)

    @cached_property
    def mean_fittings(self) -> float:
        return math.fsum(self.weight(run) * self.losses_in(run)[1] for run in self.runs)


def steps_of(out: Outcome) -> list[Step]:
    steps = _lift_steps(out)
    for run in out.runs:
        if out.flow_in(run):
            steps += _run_steps(out, run)
    if out.duty.flow:
        steps += _balance_steps(out)
        steps += _curve_steps(out)
    else:
        top = _m(out.curve.shut_off)
        lacks = out.duty.static_head - out.curve.shut_off
        if lacks >= 0:
            numbers = {"lift": _m(out.duty.static_head), "shut_off_head": top}
            steps.append(
                step(
                    "head that lacks before any water comes",
                    "{lift} − {shut_off_head}",
                    numbers,
                    lacks,
                    "length",
                    "m",
                )
            )
    return [*steps, *_power_steps(out)]


def _m(height: float) -> str:
    return show(height, "length", "m")


def _lift_steps(out: Outcome) -> list[Step]:
    if out.given.static_head is not None:
        return []
    steps = []
    for branch in out.branches:
        end = out.ways[branch.name].outlet_head
        numbers = {"height_of_its_end": _m(end), "source_level": _m(out.source)}
        words = f"lift to {branch.name}"
        formula = "{height_of_its_end} − {source_level}"
        steps.append(step(words, formula, numbers, end - out.source, "length", "m"))
    return steps


def _run_steps(out: Outcome, run: Run) -> list[Step]:
    flow, piece = abs(out.flow_in(run)), run.piece
    speed = flow / piece.area
    friction, fittings = map(abs, out.losses_in(run))
    numbers = {
        "flow": show(flow, "flow"),
        "bore": _m(piece.diameter),
        "velocity": show(speed, "velocity", "m/s"),
        "length": _m(piece.length),
        "k": str(six(piece.k)),
    }
    velocity = f"{{flow}} ÷ {AN_HOUR} ÷ (π × {{bore}} × {{bore}} ÷ 4)"
    steps = [step(f"{run.name}: velocity", velocity, numbers, speed, "velocity", "m/s")]
    head = f"{{velocity}} × {{velocity}} ÷ (2 × {GRAVITY})"
    if piece.length:
        steps += _factor_steps(out, run, flow, numbers)
        formula = f"{{friction_factor}} × {{length}} ÷ {{bore}} × {head}"
        steps.append(step(f"{run.name}: friction", formula, numbers, friction, "length", "m"))
    if piece.k:
        steps += _k_steps(run)
        steps.append(
            step(f"{run.name}: loss of fittings", f"{{k}} × {head}", numbers, fittings, "length", "m")
        )
    return steps


def _k_steps(run: Run) -> list[Step]:
    if run.valve is not None:
        wider, less, power = valve_stretch(*run.valve)
        working = f"{power:.6g} × ln({wider:.6g} ÷ {run.valve[0]:.6g}) − ln(1 ÷ {less:g})"
        gives = (
            f"{run.name}: logarithm (ln) of its K {six(run.piece.k)} = power × ln(the table's opening ÷ its opening)"
            " − ln(1 ÷ the table's K)"
        )
        return [Step(gives, working, math.log(run.piece.k), "number")]
    if run.told is None or not run.told.fittings:
        return []
    terms = [f"{count} × {COUNTED[name]}" for name, count in run.told.fittings.items()]
    words = [f"{name.replace('_', ' ')} × their K" for name in run.told.fittings]
    if run.told.k:
        terms.append(str(six(run.told.k)))
        words.append("K of all else")
    return [Step(f"{run.name}: K = {' + '.join(words)}", " + ".join(terms), run.piece.k, "number")]


def _factor_steps(out: Outcome, run: Run, flow: float, numbers: dict[str, str]) -> list[Step]:
    """Reynolds number and friction factor, which is put among the `numbers`."""
    piece, name = run.piece, run.name
    reynolds = piece.reynolds(flow, out.viscosity)
    rough = min(piece.roughness / piece.diameter, ROUGHEST)
    factor = friction_factor(reynolds, rough)
    numbers |= {
        "viscosity": f"{out.viscosity:.6g}",
        "reynolds": str(six(reynolds)),
        "friction_factor": str(six(factor)),
        "relative_roughness": f"{rough:.6g}",
    }
    formula = "{velocity} × {bore} ÷ {viscosity}"
    steps = [step(f"{name}: Reynolds number, viscosity in m2/s", formula, numbers, reynolds, "number")]
    regime = regime_of(reynolds)
    if regime == CALM:
        return [*steps, step(f"{name}: friction factor", "64 ÷ {reynolds}", numbers, factor, "number")]
    if regime == UNSURE:
        wild = friction_factor(TURBULENT_START, rough)
        power = math.log(wild / (64 / LAMINAR_END)) / math.log(TURBULENT_START / LAMINAR_END)
        numbers["power"] = str(six(power))
        formula = f"ln(64 ÷ {LAMINAR_END:g}) + {{power}} × ln({{reynolds}} ÷ {LAMINAR_END:g})"
        words = f"{name}: logarithm (ln) of the friction factor {numbers['friction_factor']}"
        return [*steps, step(words, formula, numbers, math.log(factor), "number")]
    root = 1 / math.sqrt(factor)
    numbers["this_itself"] = str(six(root))
    formula = "2 × ln(1 ÷ ({relative_roughness} ÷ 3.7 + 2.51 × {this_itself} ÷ {reynolds})) ÷ ln(10)"
    words = f"{name}: 1 over the root of the friction factor, checked"
    return [
        *steps,
        step(words, formula, numbers, root, "number"),
        step(f"{name}: friction factor", "1 ÷ {this_itself} ÷ {this_itself}", numbers, factor, "number"),
    ]


def _balance_steps(out: Outcome) -> list[Step]:
    """That what the pump lifts is the lift and the losses of each way, and that the branches add up."""
    duty, steps = out.duty, []
    trunk = [run for run in out.runs if run.branch is None]
    if len(out.branches) == 1:
        terms = [duty.static_head, *_losses(out, out.runs)]
        return [_sum("head = lift + losses", terms, duty.head), *_mean_steps(out)]
    if trunk:
        steps.append(_sum("losses of the shared part", _losses(out, trunk), duty.trunk_loss))
    for branch in out.branches:
        if duty.branch_flows[branch.name]:
            lift = out.ways[branch.name].outlet_head - out.source
            own = [run for run in out.runs if run.branch == branch.name]
            terms = [lift, duty.trunk_loss, *_losses(out, own)]
            words = f"head on the way to {branch.name} = its lift + losses of the shared part + its own"
            steps.append(_sum(words, terms, duty.head))
    flows = [show(flow, "flow") for flow in duty.branch_flows.values()]
    steps.append(Step("flow = the branches' flows together", _joined(flows), duty.flow, "flow"))
    lifts = [
        (duty.branch_flows[name] / duty.flow, way.outlet_head - out.source) for name, way in out.ways.items()
    ]
    words = "lift, each branch's times its share of the flow"
    return [*steps, _weighted(words, lifts, duty.static_head), *_mean_steps(out)]


def _mean_steps(out: Outcome) -> list[Step]:
    steps = []
    for at, (words, whole) in enumerate((("friction", out.mean_friction), ("fittings", out.mean_fittings))):
        terms = [(out.weight(run), out.losses_in(run)[at]) for run in out.runs]
        if any(lost for _, lost in terms):
            words = f"{words} of the line, each piece's loss times its share of the flow"
            steps.append(_weighted(words, terms, whole))
    return steps


def _weighted(words: str, terms: Sequence[tuple[float, float]], total: float) -> Step:
    products = [f"{share:.6g} × {_m(one)}" for share, one in terms if share and one]
    return Step(words, _joined(products or ["0 m"]), total, "length", "m")


def _losses(out: Outcome, runs: Sequence[Run]) -> list[float]:
    return [one for run in runs for one in out.losses_in(run) if one]


def _sum(words: str, terms: Sequence[float], total: float) -> Step:
    return Step(words, _joined([_m(one) for one in terms] or ["0 m"]), total, "length", "m")


def _joined(terms: Sequence[str]) -> str:
    """As a sum, with a minus where a term is below nothing."""
    first, *others = terms
    start = f"0 − {first[1:]}" if first.startswith("-") else first
    return start + "".join(f" − {one[1:]}" if one.startswith("-") else f" + {one}" for one in others)


def _curve_steps(out: Outcome) -> list[Step]:
    """The pump's head at the flow, from the curve as it was told."""
    given, flow = out.given, out.duty.flow
    told = PumpCurve(tuple((one.flow, one.head) for one in given.pump_curve))
    one_flow = flow / given.pumps / given.speed_ratio
    one_head = out.duty.head / given.speed_ratio**2
    start, width, head, (a, b, c) = told.stretch(one_flow)
    t = (one_flow - start) / width
    numbers = {
        "flow": show(flow, "flow"),
        "pumps": str(given.pumps),
        "speed_ratio": str(six(given.speed_ratio)),
        "flow_of_one": show(one_flow, "flow"),
        "flow_at_start": show(start, "flow"),
        "width": show(width, "flow"),
        "part": str(six(abs(t))),
        "head_of_one": _m(one_head),
    }
    steps = []
    if given.pumps > 1 or given.speed_ratio != 1:
        formula = "{flow} ÷ {pumps} ÷ {speed_ratio}"
        steps.append(step("flow of one pump at the curve's speed", formula, numbers, one_flow, "flow"))
    formula = "({flow_of_one} − {flow_at_start}) ÷ {width}"
    steps.append(step("part of the way along this stretch of the curve", formula, numbers, t, "number"))
    fall = [-a, *(-one for one in (b, c) if one)]
    along = _joined([" × ".join([f"{one:.6g}", *[numbers["part"]] * at]) for at, one in enumerate(fall)])
    working = f"{_m(head)} {'−' if t >= 0 else '+'} {numbers['part']} × ({along})"
    words = "head of the pump at this flow = head at the start of the stretch less the fall along the curve"
    steps.append(Step(words, working, one_head, "length", "m"))
    if given.speed_ratio != 1:
        formula = "{head_of_one} × {speed_ratio} × {speed_ratio}"
        steps.append(step("head at its speed", formula, numbers, out.duty.head, "length", "m"))
    return steps


def _power_steps(out: Outcome) -> list[Step]:
    hydraulic = out.density * GRAVITY * out.duty.flow * out.duty.head
    numbers = {
        "density": show(out.density, "density"),
        "flow": show(out.duty.flow, "flow"),
        "head": _m(out.duty.head),
        "hydraulic_power": show(hydraulic, "power"),
        "pumps": str(out.given.pumps),
    }
    formula = f"{{density}} × {GRAVITY} × {{flow}} ÷ {AN_HOUR} × {{head}}"
    steps = [step("hydraulic power", formula, numbers, hydraulic, "power")]
    if out.given.power is not None:
        numbers["power_of_one"] = show(out.given.power, "power")
        share = hydraulic / (out.given.power * out.given.pumps)
        formula = "{hydraulic_power} ÷ ({power_of_one} × {pumps}) × 100"
        steps.append(step("wire to water in %", formula, numbers, share, "fraction"))
    return steps
