"""What it costs to push water through pipes and fittings. SI floats in and out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from weirbook.engine.relations.hydraulics import GRAVITY
from weirbook.engine.relations.roots import root_between

LAMINAR_END, TURBULENT_START = 2040.0, 4000.0
"""Reynolds numbers between which flow in a pipe is now calm, now turbulent. 2040: Avila et al. (2011), Science
333, 192, the onset of turbulence that lasts; 4000: usual in handbooks; both from memory."""
LEAST_FLOW, LEAST_HEAD = 1e-100, 1e-30
"""m3/s and m. Less counts as nothing: its powers would leave the range of floats."""
ROUGHEST = 0.05
"""Of the diameter: as far as Colebrook's formula is charted (Moody 1944). More makes a pipe narrower, not rougher,
and is counted as this."""
PLASTIC_ROUGHNESS = 1.5e-6
"""m, of PVC and other plastic pipe (EPANET 2.2 User Manual, table 3.2: 0.005e-3 ft)."""

FITTINGS: Mapping[str, float] = {
    "globe_valve": 10.0,
    "angle_valve": 5.0,
    "check_valve": 2.5,
    "gate_valve": 0.2,
    "elbow": 0.9,
    "medium_elbow": 0.8,
    "long_elbow": 0.6,
    "half_elbow": 0.4,
    "return_bend": 2.2,
    "tee_run": 0.6,
    "tee_branch": 1.8,
    "entrance": 0.5,
    "exit": 1.0,
}
"""K of a fitting, in velocity heads at its own bore; valves wide open; a half elbow turns by 45 degrees.
EPANET 2.2 User Manual (2020), table 3.3. For a 90 degree elbow in a small bore other sources give 0.26 to 0.9."""

CRANE_LENGTHS: Mapping[str, float] = {
    "elbow": 30.0,
    "half_elbow": 16.0,
    "tee_run": 20.0,
    "tee_branch": 60.0,
    "gate_valve": 8.0,
    "ball_valve": 3.0,
    "check_valve": 100.0,
}
"""K over the friction factor of fully turbulent flow, by Crane TP-410; multipliers from memory, held to K that a
reference library gives, in the tests."""
STEEL_ROUGHNESS = 4.572e-5
"""m, of the clean steel pipe that Crane's fittings were measured with: 0.0018 in (from memory)."""

SIZES: Mapping[str, float] = {
    "1/2 in schedule 40": 0.0157988,
    "1/2 in schedule 80": 0.0138684,
    "3/4 in schedule 40": 0.0209296,
    "3/4 in schedule 80": 0.0188468,
    "1 in schedule 40": 0.0266446,
    "1 in schedule 80": 0.0243078,
    "1-1/4 in schedule 40": 0.035052,
    "1-1/4 in schedule 80": 0.0324612,
    "1-1/2 in schedule 40": 0.040894,
    "1-1/2 in schedule 80": 0.0381,
    "2 in schedule 40": 0.0525018,
    "2 in schedule 80": 0.0492506,
    "2-1/2 in schedule 40": 0.0627126,
    "2-1/2 in schedule 80": 0.0590042,
    "3 in schedule 40": 0.0779272,
    "3 in schedule 80": 0.07366,
    "20 mm x 1.5 mm": 0.017,
    "25 mm x 1.9 mm": 0.0212,
    "32 mm x 1.6 mm": 0.0288,
    "32 mm x 2.4 mm": 0.0272,
    "40 mm x 1.9 mm": 0.0362,
    "40 mm x 3 mm": 0.034,
    "50 mm x 2.4 mm": 0.0452,
    "50 mm x 3.7 mm": 0.0426,
    "63 mm x 3 mm": 0.057,
    "63 mm x 4.7 mm": 0.0536,
}
"""Inside diameter in m by nominal size: ASTM D1785 by inch and schedule, EN ISO 1452-2 by outside diameter and wall.
Outside diameter less twice the least wall: the bore of a real inch pipe is up to 2 % smaller."""


@dataclass(frozen=True)
class Piece:
    """A run of pipe of one bore with its fittings: sizes in m, `k` the sum of their K at this diameter.

    A length of 0 is a fitting alone; an infinite k is a shut valve.
    """

    diameter: float
    length: float
    roughness: float
    k: float

    @property
    def area(self) -> float:
        """Of its bore, m2."""
        return math.pi * self.diameter**2 / 4

    def reynolds(self, flow: float, viscosity: float) -> float:
        """Reynolds number in its bore, for a flow in m3/s either way and a kinematic viscosity in m2/s."""
        return 4 * abs(flow) / (math.pi * self.diameter * viscosity)


def friction_factor(reynolds: float, relative_roughness: float) -> float:
    """Darcy's friction factor of a full round pipe.

    Equation: f = 64 / Re up to Re 2040; from 4000 on Colebrook's 1 / sqrt f = -2 log10(e / (3.7 D) + 2.51 / (Re sqrt f)),
    solved by Newton's steps; between them the power of Re that joins the two ends, so that the loss always rises
    with the flow.
    Shapes and units: numbers; relative roughness e / D.
    Valid for: Re > 0; e / D up to 0.05, and more is counted as 0.05.
    Uncertainty: in handbooks 10 to 15 % of Colebrook's f on rough and used pipe, a few per cent on new smooth pipe;
    between Re 2040 and 4000 no formula is reliable, and the value may be 40 % off.
    Source: Hagen and Poiseuille; Colebrook (1939), J. Inst. Civil Eng. 11, 133, and Moody (1944), Trans. ASME 66,
    671, both from memory; held to fluids 1.3.1 and to solved cases in the tests. The joint is our own choice.
    Not covered: pipes narrowed by growth, hoses with ribs, water that carries air.
    """
    return _factor(reynolds, relative_roughness)[0]


def _factor(reynolds: float, relative_roughness: float) -> tuple[float, float]:
    """The friction factor, and the power of Re by which it changes there."""
    if reynolds <= LAMINAR_END:
        return 64 / reynolds, -1.0
    rough = min(relative_roughness, ROUGHEST) / 3.7
    if reynolds >= TURBULENT_START:
        return _colebrook(reynolds, rough)
    calm, wild = 64 / LAMINAR_END, _colebrook(TURBULENT_START, rough)[0]
    power = math.log(wild / calm) / math.log(TURBULENT_START / LAMINAR_END)
    return calm * (reynolds / LAMINAR_END) ** power, power


def _colebrook(reynolds: float, rough: float) -> tuple[float, float]:
    """Colebrook's factor and its power of Re, for e / (3.7 D), by Newton's steps on x = 1 / sqrt f."""
    smooth = 2.51 / reynolds
    # Haaland's explicit formula is within 2 %; two steps leave less than 1 part in 10^9.
    x = -1.8 * math.log10(rough**1.11 + 6.9 / reynolds)
    for _ in range(2):
        inside = rough + smooth * x
        bend = 2 / math.log(10) * smooth / inside
        x -= (x + 2 * math.log10(inside)) / (1 + bend)
    bend = 2 / math.log(10) * smooth / (rough + smooth * x)
    return 1 / x**2, -2 * bend / (1 + bend)


def loss(flow: float, pieces: Sequence[Piece], viscosity: float) -> float:
    """Head that a flow loses in pieces of pipe one after another.

    Equation: h = sum (f L / D + K) v^2 / (2 g), v = Q / A (Darcy and Weisbach), f by `friction_factor`.
    Shapes and units: flow in m3/s (negative: the other way, and so is the loss), kinematic viscosity in m2/s,
    result in m of water.
    Valid for: full pipes, steady flow, K of fully turbulent flow; infinite where a flow meets a shut valve.
    Uncertainty: that of f, and of K, for which sources differ by up to a factor of three in small bores.
    Source: Darcy-Weisbach, any handbook of hydraulics; K by table, see FITTINGS.
    Not covered: K's rise at low Reynolds numbers, fittings so near each other that they disturb each other.
    """
    return math.copysign(loss_and_slope(abs(flow), pieces, viscosity)[0], flow)


def loss_and_slope(flow: float, pieces: Sequence[Piece], viscosity: float) -> tuple[float, float]:
    """`loss` of a flow that is not negative, and how it grows there, in m for 1 m3/s."""
    if flow < LEAST_FLOW:
        return 0.0, 0.0
    head = climb = 0.0
    for piece in pieces:
        once = flow**2 / (2 * GRAVITY * piece.area**2)
        factor, power = _factor(piece.reynolds(flow, viscosity), piece.roughness / piece.diameter)
        friction, fittings = factor * piece.length / piece.diameter * once, piece.k * once
        head += friction + fittings
        climb += (2 + power) * friction + 2 * fittings
    return head, climb / flow


FREE = 0.01
"""m of head for (1 m3/s)^2: what pieces without any resistance are taken to cost, 0.00002 mm at 5000 L/h."""
STEEPEST = 4.0
"""More than any power of the flow by which a loss rises: 2 for fittings, up to 3.3 between Re 2040 and 4000."""


def flow_at_loss(head: float, pieces: Sequence[Piece], viscosity: float) -> float:
    """The flow at which pieces of pipe lose `head`: the inverse of `loss`, with its limits and source.

    Shapes and units: head in m (negative: flow the other way), kinematic viscosity in m2/s, result in m3/s; 0 through
    a shut valve.
    Valid for: as `loss`. Pieces without any resistance are taken to cost FREE, next to nothing.
    Uncertainty: about half that of the loss, in proportion.
    """
    if abs(head) < LEAST_HEAD or any(math.isinf(piece.k) for piece in pieces):
        return 0.0
    wanted = abs(head)
    # As with the friction of fairly fast water; it only starts the search.
    per_square = sum(
        (0.03 * piece.length / piece.diameter + piece.k) / (2 * GRAVITY * piece.area**2) for piece in pieces
    )
    if per_square == 0:
        return math.copysign(math.sqrt(wanted / FREE), head)
    start = math.log(wanted / per_square) / 2

    def excess(log_flow: float) -> tuple[float, float]:
        flow = math.exp(log_flow)
        lost, slope = loss_and_slope(flow, pieces, viscosity)
        return math.log(lost / wanted), slope * flow / lost

    # A loss rises with a power of the flow between 1 and STEEPEST, which brackets the root from any start.
    off, _ = excess(start)
    ends = sorted((start - off * 1.01, start - off / STEEPEST))
    return math.copysign(math.exp(root_between(excess, ends[0], ends[1], start - off / 1.9)), head)


def hazen_williams_loss(flow: float, diameter: float, length: float, roughness_c: float = 150.0) -> float:
    """Friction of a pipe by the formula of Hazen and Williams, to set beside `loss`.

    Equation: h = 4.727 C^-1.852 d^-4.871 L q^1.852 in ft and ft3/s, the form of EPANET 2.2.
    Shapes and units: flow in m3/s (not negative), diameter and length in m, C a number, result in m.
    Valid for: turbulent water near 16 degC in pipes from about 50 mm; C 140 to 150 for plastic.
    Uncertainty: 5 % against Darcy-Weisbach in the bores and flows used here; it knows no viscosity.
    Source: Rossman et al. (2020), EPANET 2.2 User Manual, EPA/600/R-20/133, tables 3.1 and 3.2.
    Not covered: fittings, calm flow.
    """
    feet = 0.3048
    per_length = 4.727 * roughness_c**-1.852 * (diameter / feet) ** -4.871 * (flow / feet**3) ** 1.852
    return float(per_length * length)


def crane_k(fitting: str, diameter: float) -> float:
    """K of a fitting by Crane's equivalent lengths, to set beside FITTINGS: larger in smaller bores.

    Equation: K = n fT, fT = 0.25 / log10(e / (3.7 D))^2 with e = 0.0018 in of clean steel, n in CRANE_LENGTHS.
    Shapes and units: inside diameter in m, result a number.
    Valid for: clean threaded or full-bore fittings of 1/2 to 2 in, turbulent flow.
    Uncertainty: 3 % of the published form; real fittings differ by far more.
    Raises: KeyError for a fitting that is not in CRANE_LENGTHS.
    Source: Crane TP-410, Flow of fluids through valves, fittings and pipe; from memory, held to fluids 1.3.1.
    Not covered: reduced bores, solvent-welded sockets, hose barbs.
    """
    return CRANE_LENGTHS[fitting] * 0.25 / math.log10(STEEL_ROUGHNESS / (3.7 * diameter)) ** 2


VALVES: Mapping[str, tuple[tuple[float, float], ...]] = {
    "ball": ((1.0, 0.05), (8 / 9, 0.29), (7 / 9, 1.56), (2 / 3, 5.5), (5 / 9, 17.3), (1 / 3, 206.0)),
    "gate": ((1.0, 0.17), (0.75, 0.9), (0.5, 4.5), (0.25, 24.0)),
}
"""K of a valve by how far it is open: of a ball valve the share of its quarter turn, of a gate valve of its travel.
Handbook tables (a ball valve's open and third, the rest of it by angle from the plug valve's), read in stored web
tables that name no author. Another table read has 200 for the last of the ball valve, and for the gate valve 0.15,
0.26, 2.1 and 17: expect a factor of two either way, and test with a bucket."""
SHUT = 0.001
"""A valve less open than this is shut: no hand sets it finer."""


def valve_k(opening: float, kind: str = "ball") -> float:
    """K of a throttled valve by its opening.

    Equation: between the points of VALVES along a straight line of ln K over ln(opening), and below the last point on
    along the last such line, so that K rises without end as the valve shuts.
    Shapes and units: opening as a share, 0 shut to 1 open; kind "ball" or "gate"; K at the bore of the pipe.
    Valid for: full-bore valves; infinite below SHUT.
    Uncertainty: a factor of two in K between tables and makes, more below a quarter open; about a fifth to a third
    in the flow where the valve is most of the loss.
    Raises: KeyError for another kind.
    Source: see VALVES; the lines between are our own choice.
    Not covered: reduced bores, which cost more; cavitation.
    """
    if opening < SHUT:
        return math.inf
    wider, less, power = valve_stretch(opening, kind)
    return float(less * (wider / opening) ** power)


def valve_stretch(opening: float, kind: str = "ball") -> tuple[float, float, float]:
    """The row of VALVES from which `valve_k` goes on, as opening and K, and its power of that opening over another."""
    points = VALVES[kind]
    for (wider, less), (narrower, more) in pairwise(points):
        power = math.log(more / less) / math.log(wider / narrower)
        if opening >= narrower:
            break
    return wider, less, power
