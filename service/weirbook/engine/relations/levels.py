"""Water levels in a row of cells, from the last one up the flow: over, under and through what parts them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.relations.beds import ergun_gradient
from weirbook.engine.relations.chambers import ALONG
from weirbook.engine.relations.hydraulics import GRAVITY, JET_CONTRACTION
from weirbook.engine.relations.weir_laws import Law, kindsvater_carter
from weirbook.engine.relations.weirs import broad_crest_flow, broad_crest_head, submerged_share

ONE_LEVEL = 1e-3
"""m. Two sections whose surfaces differ by less stand, to the eye, at one level."""

SLOT_LOSSES = 1.5
"""Velocity heads that a slot under water takes if it loses what a pipe's ends do: entry 0.5, exit 1.0 (EPANET
2.2 User Manual, EPA/600/R-20/133, table 3.3). A sharp edge takes 1 / 0.61 squared, 2.7."""

OVER, UNDER, BOTH, OPEN, UNKNOWN = "over", "under", "both", "open", "unknown"


@dataclass(frozen=True)
class Gate:
    """How water leaves a cell for the next one; heights in m above the sump's base.

    `passes` is over, under, both, open (nothing parts the two) or unknown. A crest without breadth is sharp.
    """

    passes: str
    width: float
    crest_height: float | None = None
    gap_height: float | None = None
    breadth: float | None = None

    @property
    def known(self) -> bool:
        """Whether enough is told to work out a level before it."""
        if self.passes == UNKNOWN:
            return False
        crest, gap = self.crest_height is not None, self.gap_height is not None
        return (crest or self.passes not in (OVER, BOTH)) and (gap or self.passes not in (UNDER, BOTH))

    @cached_property
    def sharp(self) -> Law:
        """The formula of its crest where that has no breadth."""
        return kindsvater_carter(self.width, self.crest_height or 0.0)

    def crest_flow(self, head: float) -> float:
        """What its crest passes freely at a head over it, m3/s."""
        if head <= 0:
            return 0.0
        return (
            self.sharp.flow(head)
            if self.breadth is None
            else broad_crest_flow(head, self.width, self.breadth)
        )

    def crest_head(self, flow: float) -> float:
        """The head at which its crest passes a flow freely, m."""
        return (
            self.sharp.head(flow)
            if self.breadth is None
            else broad_crest_head(flow, self.width, self.breadth)
        )


@dataclass(frozen=True)
class Cell:
    """One section of a sump in m, m3 and m3/s. `flow` is what passes through it; `grain` None: no loss in its bed.

    Gate None: the last cell, or nothing parts it from the next. Where two cells carry unlike flows the lesser one
    passes the gate between them, the rest goes round.
    """

    name: str
    direction: str
    length: float
    width: float
    media_volume: float
    media_porosity: float
    grain: float | None
    gate: Gate | None
    flow: float

    @property
    def plan_area(self) -> float:
        return self.length * self.width

    @property
    def bed_height(self) -> float:
        """Of its media, spread evenly over its floor."""
        return self.media_volume / self.plan_area

    def bed_velocity(self) -> float:
        """Flow over the whole cross-section of its bed, m/s; 0 without media."""
        if not self.media_volume:
            return 0.0
        across = self.media_volume / self.length if self.direction == ALONG else self.plan_area
        return self.flow / across


@dataclass(frozen=True)
class Stand:
    """How the water stands in a cell while the flow runs.

    `surface` is the highest water surface in the cell above the sump's base, None where it can't be known. The
    losses are of its own gate and bed, in m. `passing` says how the water leaves it, see `PASSING`; `under_flow`
    is what of it goes under a baffle.
    """

    name: str
    surface: float | None
    gate_loss: float
    bed_loss: float
    passing: str
    one_with_next: bool
    under_flow: float = 0.0


PASSING = {
    "end": "the last section",
    "open": "nothing parts it from the next",
    "over, free": "over the crest, in a fall",
    "over, drowned": "over the crest, which the water after it reaches",
    "under": "through the gap, which lies under water",
    "under, free": "through the gap, which the water after it does not fill",
    "over, free, and under": "over the crest in a fall, and through the gap",
    "over, drowned, and under": "over the drowned crest, and through the gap",
    "unknown": "not known",
}


def running_levels(
    cells: Sequence[Cell], last_level: float, water_density: float, dynamic_viscosity: float
) -> tuple[Stand, ...]:
    """How the water stands in each cell, worked out from the last one up the flow.

    Equations: before a crest the level at which it passes the flow, freely or drowned (Villemonte); before a gap
    Q = 0.61 a w sqrt(2 g (h1 - max(h2, 0.61 a))), a the lesser of gap and h1; over and under at once one level at
    which both together pass the flow. A bed loses i L by Ergun: going up it lies between inlet and surface, so
    that the cell before stands higher; going down or along the surface is the inlet's.
    Shapes and units: cells in flow order, `last_level` above the sump's base in m, kg/m3, Pa s.
    Valid for: steady flow, level crests across their width, sharp edges, grains as in `ergun_gradient`.
    Uncertainty: heads over a crest below 30 mm a third or more, a gap's loss from 0.56 to 1 of what is said.
    Raises: nothing. From an unknown gate up the surfaces are None.
    Source: Villemonte (1947) as in Rossman (2017), SWMM Reference Manual II, eq. 6-26, and eq. 6-3 for the gap;
    Ergun (1952); sharp and broad crests: see `weirs`.
    Not covered: teeth, crests out of level, gaps that clog, waves, the speed with which water comes to a gate.
    """
    found: list[Stand] = []
    inlet: float | None = last_level
    after: Cell | None = None
    for cell in reversed(cells):
        below = found[-1].surface if found else None
        stand, inlet = _stand(cell, after, inlet, below, water_density, dynamic_viscosity)
        found.append(stand)
        after = cell
    return tuple(reversed(found))


def _stand(
    cell: Cell,
    after: Cell | None,
    down: float | None,
    below: float | None,
    water_density: float,
    dynamic_viscosity: float,
) -> tuple[Stand, float | None]:
    """A cell's stand and the head at its inlet, from `down`, the head at the inlet of the cell after it."""
    if down is None or (after is not None and cell.gate is not None and not cell.gate.known):
        return Stand(cell.name, None, 0.0, 0.0, UNKNOWN, False), None
    outlet, passing, under = down, "end" if after is None else OPEN, 0.0
    if after is not None and cell.gate is not None:
        flow = min(cell.flow, after.flow)
        outlet = level_before(cell.gate, flow, down)
        passing, under = _passing(cell.gate, flow, outlet, down)
    inlet = bed_inlet(cell, outlet, water_density, dynamic_viscosity)
    surface = outlet if cell.direction == "up" else inlet
    one = below is not None and surface - below <= ONE_LEVEL
    return Stand(cell.name, surface, outlet - down, inlet - outlet, passing, one, under), inlet


def bed_inlet(cell: Cell, outlet: float, water_density: float, dynamic_viscosity: float) -> float:
    """The head at which water comes to a cell's bed, m, from that at which it leaves.

    Along a section the water that its bed would hold back runs over it, as over a broad crest: the lesser of both
    levels. An upper bound, for some of it goes through.
    """
    if not cell.media_volume or cell.grain is None or not cell.flow:
        return outlet
    gradient = ergun_gradient(
        cell.bed_velocity(), cell.grain, cell.media_porosity, water_density, dynamic_viscosity
    )
    if cell.direction != ALONG:
        return outlet + gradient * cell.bed_height
    top = Gate(OVER, cell.width, crest_height=cell.bed_height, breadth=cell.length)
    return min(outlet + gradient * cell.length, level_before(top, cell.flow, outlet))


def over_flow(gate: Gate, up: float, down: float) -> float:
    """What goes over a gate's crest between two levels, m3/s, drowned where the lower one reaches it."""
    if gate.crest_height is None or up <= gate.crest_height:
        return 0.0
    head = up - gate.crest_height
    return gate.crest_flow(head) * submerged_share((down - gate.crest_height) / head)


def under_flow(gate: Gate, up: float, down: float) -> float:
    """What goes through a gate's gap between two levels, m3/s.

    A gap that the water does not fill is as high as the water before it; the jet falls freely to 0.61 of that.
    So it agrees within 1 % with critical flow over a floor, (2/3)^1.5 sqrt(g) w h^1.5.
    """
    if gate.gap_height is None or up <= 0:
        return 0.0
    opening = min(gate.gap_height, up)
    fall = up - max(down, JET_CONTRACTION * opening)
    return JET_CONTRACTION * gate.width * opening * math.sqrt(2 * GRAVITY * max(fall, 0.0))


def level_before(gate: Gate, flow: float, down: float) -> float:
    """The level before a gate at which it passes `flow` m3/s to the level `down`; never below that."""
    if gate.passes == OPEN:
        return down
    if gate.passes == UNDER and gate.gap_height is not None:
        area = JET_CONTRACTION * gate.width * gate.gap_height
        full = max(down, JET_CONTRACTION * gate.gap_height) + (flow / area) ** 2 / (2 * GRAVITY)
        if full >= gate.gap_height:
            return full
    lowest = down
    if gate.passes == OVER and gate.crest_height is not None:
        free = gate.crest_height + gate.crest_head(flow)
        if down <= gate.crest_height:
            return free
        lowest = max(down, free)
    if not flow:
        return lowest
    return _root(lambda up: over_flow(gate, up, down) + under_flow(gate, up, down) - flow, lowest)


def _passing(gate: Gate, flow: float, up: float, down: float) -> tuple[str, float]:
    if gate.passes == OPEN:
        return OPEN, 0.0
    over = over_flow(gate, up, down)
    under = min(flow, under_flow(gate, up, down)) if over else flow
    words = []
    if gate.crest_height is not None and (over or gate.passes == OVER):
        words.append("over, drowned" if down > gate.crest_height else "over, free")
    if gate.gap_height is not None:
        if words:
            words.append("and under")
        else:
            words.append("under" if down >= gate.gap_height else "under, free")
    return ", ".join(words), under if gate.gap_height is not None else 0.0


def _root(rises: Callable[[float], float], low: float) -> float:
    """Where a rising function of the level passes nothing, from `low` up (false position, Illinois)."""
    below, step = rises(low), 1e-3
    if below >= 0:
        return low
    high, nothing = low + step, -below * 1e-12
    while (above := rises(high)) < 0:
        low, below, step = high, above, step * 4
        high += step
    middle, last = high, 0
    for _ in range(200):
        middle = (low * above - high * below) / (above - below)
        if not low < middle < high:
            middle = (low + high) / 2
        value = rises(middle)
        if abs(value) <= nothing or high - low <= 1e-13 * high:
            break
        if value > 0:
            high, above = middle, value
            below /= 2 if last > 0 else 1
        else:
            low, below = middle, value
            above /= 2 if last < 0 else 1
        last = 1 if value > 0 else -1
    return middle
