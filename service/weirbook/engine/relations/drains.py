"""What drains carry: at their mouth, running full, along the wall of an upright pipe, part full on a slope.

SI floats in and out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from weirbook.engine.relations.hydraulics import GRAVITY
from weirbook.engine.relations.pipes import FITTINGS, Piece, flow_at_loss
from weirbook.engine.relations.weir_laws import FRANCIS
from weirbook.engine.relations.weirs import ORIFICE_CD, Spread, orifice_flow

EN_WEIR = 1e3**2.5 / 7500 / 1e3
EN_ORIFICE = 1e3**2.5 / 15000 / 1e3
"""The figures of EN 12056-3 for a mouth (mm and L/s: 1/7500, 1/15000) in m and m3/s."""
EN_TURN = 0.5
"""Head over diameter at which EN 12056-3 takes a mouth to turn from weir to orifice."""
SWMM_TURN = ORIFICE_CD * math.sqrt(2 * GRAVITY) / (4 * FRANCIS)
"""The same by the storm water manual: where its two forms meet, at 0.36."""

STACK_FULL = 0.33
"""Share of an upright pipe that the film along its wall may fill: above, the core of air breaks up."""
STACK_ROUGHNESS = 0.25
"""mm, the roughness that EN 12056-3 gives every pipe."""

PLASTIC_N = 0.011
"""Manning's n of plastic pipe: the careful end of 0.009 (from memory) to 0.015 (EPANET 2.2, table 3.2: 0.011 up)."""


def lip_flow_en(diameter: float, head: float) -> float:
    """Flow into the mouth of an upright pipe, by EN 12056-3.

    Equation: Q = D h^1.5 / 7500 up to h = D / 2, D^2 h^0.5 / 15000 above, in mm and L/s.
    Shapes and units: inside diameter D, head h of water above the lip in m, result in m3/s.
    Valid for: a sharp, level lip with water coming from all around and no grating; the pipe takes what comes.
    Uncertainty: 30 %. Source: EN 12056-3:2000, outlet capacity; from memory.
    Not covered: whirls that draw air in, a strainer (take half, common practice), a wall within a diameter.
    """
    if head <= 0:
        return 0.0
    if head <= EN_TURN * diameter:
        return EN_WEIR * diameter * head * math.sqrt(head)
    return EN_ORIFICE * diameter**2 * math.sqrt(head)


def lip_flow_swmm(diameter: float, head: float) -> float:
    """The same by the storm water manual: the less of a weir around the rim and an orifice of the whole mouth.

    Equation: min(3.33 pi D h^1.5 in feet, 0.6 A sqrt(2 g h)).
    Source: Rossman (2017), SWMM reference manual II, eq. 6-10 to 6-12. Limits as `lip_flow_en`.
    """
    if head <= 0:
        return 0.0
    around = FRANCIS * math.pi * diameter * head * math.sqrt(head)
    return min(around, orifice_flow(math.pi * diameter**2 / 4, head))


def lip_capacity(diameter: float, head: float) -> Spread:
    """What the mouth of an upright pipe takes at a head above its lip.

    Equation: value by `lip_flow_en`, which is the careful one: 27 % less than `lip_flow_swmm` while the lip is a
    weir, within 1 % of it as an orifice. They disagree on the head at which it turns, D / 2 against 0.36 D.
    Shapes and units, Valid for, Uncertainty, Source: as theirs; low and high are the less and the more of the two.
    """
    careful, other = lip_flow_en(diameter, head), lip_flow_swmm(diameter, head)
    return Spread(min(careful, other), careful, max(careful, other))


def lip_depth_for(flow: float, diameter: float) -> float:
    """The head above its lip in m at which a mouth takes a flow: `lip_flow_en` turned round."""
    shallow = (flow / (EN_WEIR * diameter)) ** (2 / 3)
    return float(shallow if shallow <= EN_TURN * diameter else (flow / (EN_ORIFICE * diameter**2)) ** 2)


def drain_pieces(
    diameter: float, length: float, elbows: int, valve_k: float, roughness: float
) -> tuple[Piece, ...]:
    """A drain as pipe: a square entry, its elbows, a valve, and the exit under water."""
    k = FITTINGS["entrance"] + FITTINGS["exit"] + elbows * FITTINGS["elbow"] + valve_k
    return (Piece(diameter, length, roughness, k),)


def siphon_capacity(
    diameter: float, drop: float, length: float, k: float, roughness: float, viscosity: float
) -> float:
    """Flow of a drain that runs full.

    Equation: all of the drop is lost on the way: drop = (f L / D + K) v^2 / (2 g), f as in `pipes.friction_factor`.
    Shapes and units: inside diameter, drop between the two water levels and length of pipe in m, K of all fittings
    with entry and exit as a number, roughness in m, kinematic viscosity in m2/s, result in m3/s.
    Valid for: a pipe purged of air, its end under water.
    Uncertainty: that of K; 20 % is common. Source: energy balance, see `pipes.loss`.
    Not covered: air drawn in, growth in the pipe, a screen over the mouth.
    """
    return flow_at_loss(drop, (Piece(diameter, length, roughness, k),), viscosity)


def stack_capacity(diameter: float, fill: float = STACK_FULL) -> float:
    """Flow that an upright pipe with air in its middle carries as a film along its wall.

    Equation: Q = 2.5e-4 k^(-1/6) d^(8/3) f^(5/3) with k = 0.25 mm, in mm and L/s.
    Shapes and units: inside diameter in m, filled share f of the bore, result in m3/s.
    Valid for: f up to 0.33; vented at the top, upright for some metres.
    Uncertainty: the form Q = 27.8 f^(5/3) d^(8/3) (US gal/min, inches) is within 0.2 % of it; nature less so.
    Source: Wyly and Eaton (1961), NBS Monograph 31; EN 12056-3, read in a page that quotes it.
    Not covered: bends, flat runs (`part_full`), short drops.
    """
    return float(2.5e-7 * STACK_ROUGHNESS ** (-1 / 6) * (diameter * 1e3) ** (8 / 3) * fill ** (5 / 3))


def stack_flow_nbs(diameter: float, fill: float = STACK_FULL) -> float:
    """The same by the form of the National Bureau of Standards, from memory: 27.8 f^(5/3) d^(8/3)."""
    gallon_a_minute = 231 * 0.0254**3 / 60
    return float(27.8 * fill ** (5 / 3) * (diameter / 0.0254) ** (8 / 3) * gallon_a_minute)


def stack_diameter(flow: float, fill: float = STACK_FULL) -> float:
    """The inside diameter in m of an upright pipe that carries a flow: the inverse of `stack_capacity`."""
    return float((flow / stack_capacity(1.0, fill)) ** (3 / 8))


@dataclass(frozen=True)
class PartFull:
    """Water standing to a share of the diameter in a lying round pipe, all in m, m2, rad, m/s and m3/s."""

    wetted_angle: float
    area: float
    hydraulic_radius: float
    velocity: float
    flow: float


def part_full(diameter: float, depth_share: float, slope: float, n: float = PLASTIC_N) -> PartFull:
    """Flow of a round pipe on a slope, filled to a share of its diameter.

    Equation: v = R^(2/3) S^(1/2) / n (Manning), with the wetted angle 2 acos(1 - 2 y/D), A = D^2 (a - sin a) / 8 and
    R = D (1 - sin a / a) / 4.
    Shapes and units: inside diameter in m, depth as a share y/D, slope as fall over length.
    Valid for: 0 < y/D <= 1, slope >= 0, steady flow, vented, no sag. The most passes at y/D 0.938, 7.6 % over full.
    Uncertainty: that of n: 0.009 to 0.015 for plastic, 25 % either way.
    Source: Manning's formula, any handbook of hydraulics; exact geometry of a circle.
    Not covered: short pipes whose ends rule, n that changes with depth (up to a quarter less flow half full).
    """
    angle = 2 * math.acos(1 - 2 * depth_share)
    area = diameter**2 / 8 * (angle - math.sin(angle))
    radius = diameter / 4 * (1 - math.sin(angle) / angle)
    velocity = radius ** (2 / 3) * math.sqrt(slope) / n
    return PartFull(angle, area, radius, velocity, velocity * area)


def run_diameter(flow: float, depth_share: float, slope: float, n: float = PLASTIC_N) -> float:
    """The inside diameter in m of a lying pipe that carries a flow: the inverse of `part_full`; slope > 0."""
    return float((flow / part_full(1.0, depth_share, slope, n).flow) ** (3 / 8))
