"""Ways round a section: how wide a pipe or an opening must be to carry a flow at a given drop. SI floats."""

from __future__ import annotations

import math

from weirbook.engine.relations.hydraulics import GRAVITY, JET_CONTRACTION
from weirbook.engine.relations.pipes import FITTINGS, SIZES, Piece, loss

ENDS = FITTINGS["entrance"] + FITTINGS["exit"]
"""Velocity heads that a pipe takes whose ends lie under water."""


def opening_for(flow: float, drop: float) -> float:
    """Area of a sharp opening under water that passes a flow at a drop: Q / (0.61 sqrt(2 g h)).

    Shapes and units: flow in m3/s, drop between the two levels in m, result in m2.
    Valid for: drop > 0, both sides under water, an opening small against the water's depth.
    Uncertainty: 10 %; one whose edges lead the water in may be a quarter smaller (1.5 velocity heads).
    Raises: ZeroDivisionError without a drop.
    Source: Rossman (2017), SWMM Reference Manual II, eq. 6-3; 0.61 from memory.
    Not covered: ragged edges (0.4 for 0.61).
    """
    return flow / (JET_CONTRACTION * math.sqrt(2 * GRAVITY * drop))


def bore_for(
    flow: float, drop: float, length: float, elbows: float, roughness: float, viscosity: float
) -> float:
    """Bore of a pipe, its ends under water, that carries a flow at a drop.

    Equation: (f L / d + 1.5 + 0.9 n) v2 / (2 g) = h for d, by halving; f as in `pipes.friction_factor`.
    Shapes and units: flow in m3/s, drop and length in m, elbows of 90 degrees as a count, kinematic viscosity in
    m2/s, result in m.
    Valid for: flow > 0, drop > 0, a full pipe without air.
    Uncertainty: 5 % of the bore; growth narrows it, so take the next size.
    Raises: nothing. Source: Darcy and Weisbach; see `pipes`. Not covered: air locks, part-full pipes.
    """
    k = ENDS + elbows * FITTINGS["elbow"]
    # Without friction all of the drop goes into the velocity heads: no bore can be less.
    low = math.sqrt(4 * flow / (math.pi * math.sqrt(2 * GRAVITY * drop / k)))
    high = low * 2
    while loss(flow, (Piece(high, length, roughness, k),), viscosity) > drop:
        low, high = high, high * 2
    while high - low > 1e-13 * high:
        middle = (low + high) / 2
        if not low < middle < high:
            break
        if loss(flow, (Piece(middle, length, roughness, k),), viscosity) > drop:
            low = middle
        else:
            high = middle
    return high


def next_size(bore: float) -> tuple[str, float] | None:
    """The narrowest standard pipe that is at least so wide, its name and bore in m; None past the widest."""
    return min(
        ((name, inside) for name, inside in SIZES.items() if inside >= bore * (1 - 1e-9)),
        key=lambda one: one[1],
        default=None,
    )
