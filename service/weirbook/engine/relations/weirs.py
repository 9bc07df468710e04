"""Water over edges and through openings under water. SI floats in and out.

The central formula for a sharp edge is that of Kindsvater and Carter: it covers edges as wide as their channel and
narrower ones, and was fitted down to heads of 30 mm and edges of 15 cm, nearer to a tank than Francis (61 mm) and
Rehbock (edges and crests of 30 cm). The others give the spread. How they are carried on beyond what print covers: see
`weir_laws.Law`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.relations.hydraulics import GRAVITY
from weirbook.engine.relations.weir_laws import (
    CLINGING_HEAD,
    FEET_ROOT,
    LOWEST_HEAD,
    NARROWEST,
    Law,
    ackers,
    between,
    francis,
    kindsvater_carter,
    plain_cd,
    rehbock,
)

LOW_HEAD_DOUBT = 1 / 3
"""Of a head below 20 mm: common practice, from worked examples of 5 to 6 mm said as "about 6, give or take 2"."""
COMB_DOUBT = 1.25 ** (2 / 3) - 1
"""Of a head over teeth, at any height: there is no standard for combs, and their flow is good to 25 % at best."""

ORIFICE_CD = 0.6
"""Usual for a sharp-edged opening; 0.59 to 0.67 in print, 0.4 if ragged (Rossman 2017, with eq. 6-3)."""


@dataclass(frozen=True)
class Spread:
    """A value and the span that the published formulas leave open: low <= value <= high."""

    low: float
    value: float
    high: float


@dataclass(frozen=True)
class Edge:
    """An overflow edge. `length` is the whole of it, teeth included.

    `crest_height` is above the floor before it. `channel_width`: of the water that comes to an edge narrower
    than it; None where walls meet its ends, or water comes from all sides. It is toothed if `slot_width` or an
    `open_fraction` below 1 is told.
    """

    length: float
    crest_height: float
    channel_width: float | None = None
    slot_width: float | None = None
    open_fraction: float = 1.0

    @property
    def toothed(self) -> bool:
        return self.slot_width is not None or self.open_fraction < 1

    @property
    def narrower(self) -> bool:
        """Whether both ends of the edge narrow the sheet."""
        return not self.toothed and self.channel_width is not None and self.channel_width > self.length

    @property
    def net_length(self) -> float:
        """What the teeth leave open."""
        return self.length * self.open_fraction

    @property
    def slot_count(self) -> float | None:
        """How many slots its open length makes; one at least, None where their width is not told."""
        return None if self.slot_width is None else max(self.net_length / self.slot_width, 1.0)

    @cached_property
    def central(self) -> Law:
        """The formula whose value is given."""
        if not self.toothed:
            width = self.channel_width if self.narrower else None
            return kindsvater_carter(self.length, self.crest_height, width)
        if self.slot_count is None:
            return plain_cd(self.net_length)
        return francis(self.net_length, 2 * self.slot_count)

    @cached_property
    def others(self) -> tuple[Law, ...]:
        """The formulas that make the spread."""
        if self.narrower:
            return (francis(self.length, 2),)
        if not self.toothed:
            return (
                francis(self.length),
                rehbock(self.length, self.crest_height),
                ackers(self.length, self.crest_height),
                plain_cd(self.length),
            )
        if self.slot_count is None:
            return (francis(self.net_length), francis(NARROWEST * self.net_length))
        return (plain_cd(self.net_length),)


def sharp_crest_flow(head: float, length: float, crest_height: float) -> float:
    """Flow in m3/s over a sharp crest as wide as its channel: `kindsvater_carter`, with its limits.

    Shapes and units: head on the crest, its length and its height above the floor in m; the height may be
    math.inf where it is not known (then the water before it counts as still).
    """
    return kindsvater_carter(length, crest_height).flow(head)


def sharp_crest_head(flow: float, length: float, crest_height: float) -> float:
    """Head in m at which a flow passes a sharp crest: the inverse of `sharp_crest_flow`, good to 1e-12."""
    return kindsvater_carter(length, crest_height).head(flow)


def flow_over(head: float, edge: Edge) -> float:
    """Flow over an overflow edge by its central formula.

    Equation: see `kindsvater_carter`; a toothed edge is a row of `francis` weirs with two narrowing ends each,
    or, where the slots' width is not told, its open length as a plain weir with Cd 0.62.
    Shapes and units: head in m, result in m3/s; none at or below the crest.
    Valid for, Uncertainty, Source: as the formula.
    Not covered: teeth with water over their tops, a sheet held back by water behind it (`submerged_share`).
    """
    return edge.central.flow(head)


def head_over(flow: float, edge: Edge) -> Spread:
    """Head over an overflow edge at a flow, with the span that is open.

    Equation: value by the inverse of `flow_over`; low and high the least and greatest head by all formulas of the
    edge, and at least the value give or take a third below 20 mm, that share falling to nothing at 30 mm; a
    sixth at least over teeth.
    Shapes and units: flow in m3/s, heads in m.
    Valid for: any flow >= 0; the formulas for heads of 30 mm and more.
    Uncertainty: what the span says. In print the formulas lie 4.7 % of flow apart at 30 mm, 16 % at 10, 64 % at 3.
    Source: as the formulas. The widening is common practice.
    Not covered: as `flow_over`.
    """
    value = edge.central.head(flow)
    heads = [value, *(law.head(flow) for law in edge.others)]
    doubt = _low_head_doubt(value)
    if edge.toothed:
        doubt = max(doubt, COMB_DOUBT)
    return Spread(min(*heads, value * (1 - doubt)), value, max(*heads, value * (1 + doubt)))


def _low_head_doubt(head: float) -> float:
    fading = (LOWEST_HEAD - head) / (LOWEST_HEAD - CLINGING_HEAD)
    return LOW_HEAD_DOUBT * min(1.0, max(0.0, fading))


# Means of the rows of each head-to-breadth ratio, or of those next to each other.
_BREADTH_RATIOS = (
    0.04,
    0.05,
    0.0667,
    0.08,
    0.1,
    0.135,
    0.2,
    0.25,
    0.3,
    0.4,
    0.53,
    0.65,
    0.8,
    1.0,
    1.2,
    1.33,
    1.6,
    2.0,
)
_BREADTH_VALUES = (
    2.34,
    2.38,
    2.44,
    2.48,
    2.54,
    2.66,
    2.68,
    2.66,
    2.64,
    2.68,
    2.68,
    2.75,
    2.89,
    2.99,
    3.08,
    3.14,
    3.27,
    3.32,
)


def broad_crest_flow(head: float, length: float, breadth: float) -> float:
    """Flow over a crest that is broad along the flow, a plank or a wall rather than an edge.

    Equation: Q = C L h^1.5, C by h / breadth from the published table: 1.29 m^0.5/s where the crest is long,
    1.47 to 1.48 at ratios of 0.2 to 0.5, 1.83 from 2 on, where the sheet springs clear as from a sharp edge.
    Shapes and units: head, length across the flow and breadth along it in m, result in m3/s.
    Valid for: the table: heads from 61 mm, breadths from 15 cm. A baffle is far smaller and is read by the ratio.
    Uncertainty: 5 % against the table; below 30 mm as any weir, a third of the head.
    Source: Brater and King (1976), as table 6-3 of Rossman (2017), SWMM reference manual II. The table also
    depends a little on the head itself; its rows of like ratio are averaged here.
    Not covered: rounded crests (up to a tenth more), side contraction.
    """
    if head <= 0:
        return 0.0
    return _broad(head / breadth) * length * head * math.sqrt(head)


def broad_crest_head(flow: float, length: float, breadth: float) -> float:
    """Head in m at which a flow passes a broad crest: the inverse of `broad_crest_flow`, good to 1e-12."""
    if flow <= 0:
        return 0.0
    head = 0.0
    closer: float = (flow / (_BREADTH_VALUES[-1] * FEET_ROOT * length)) ** (2 / 3)
    while abs(closer - head) > 1e-14 * closer:
        head = closer
        closer = (flow / (_broad(head / breadth) * length)) ** (2 / 3)
    return closer


def _broad(ratio: float) -> float:
    return between(ratio, _BREADTH_RATIOS, _BREADTH_VALUES) * FEET_ROOT


def submerged_share(ratio: float, n: float = 1.5) -> float:
    """Share of its free flow that an edge still passes with water over its crest on both sides.

    Equation: (1 - r^n)^0.385, r the lower head over the higher, both above the crest.
    Shapes and units: plain numbers; n is 1.5 for a straight edge, 2.5 for a notch.
    Valid for: r up to about 0.95; 1 at or below 0, 0 at or above 1.
    Uncertainty: 5 %. Source: Villemonte (1947), as eq. 6-26 of Rossman (2017), SWMM reference manual II.
    Not covered: waves, crests so broad that the sheet rides over the water behind.
    """
    if ratio <= 0:
        return 1.0
    return 0.0 if ratio >= 1 else float((1 - ratio**n) ** 0.385)


def orifice_flow(area: float, head: float, cd: float = ORIFICE_CD) -> float:
    """Flow through an opening wholly under water: Q = Cd A sqrt(2 g h).

    Shapes and units: area in m2, head (between the two water levels, or from the opening's middle to the level
    where it jets into air) in m, result in m3/s; none without head.
    Valid for: sharp edges, an opening small against the depth, its Reynolds number above about 1e4.
    Uncertainty: 10 %; Cd 0.59 to 0.67 sharp, 0.4 ragged. Source: Rossman (2017), SWMM reference manual II, eq. 6-3.
    Not covered: long or rounded openings, two openings so near that they share one jet.
    """
    return 0.0 if head <= 0 else cd * area * math.sqrt(2 * GRAVITY * head)


def orifice_head(flow: float, area: float, cd: float = ORIFICE_CD) -> float:
    """Head in m that drives a flow through an opening under water: the inverse of `orifice_flow`."""
    return (flow / (cd * area)) ** 2 / (2 * GRAVITY)
