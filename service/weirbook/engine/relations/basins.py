"""Water that comes to rest in the sections of a sump: where it settles, what spills, what it still gives. SI floats.

Heights are above the sump's inside base. Whether two sections are joined at rest depends on what parts them alone:
a gap at the floor joins them freely, a crest from its height up.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from weirbook.engine.relations.levels import OVER, UNKNOWN, Cell, Gate

JOINED, WALLED = 0.0, math.inf
"""What a gate that nobody recorded may be at most: a free way through, or a wall."""

LEVEL_FOUND = 1e-8
"""m. A level that holds is found to this, on the low side."""


@dataclass(frozen=True)
class Rest:
    """Water at rest: the level in each cell, the water in each, and what went over the rim."""

    levels: tuple[float, ...]
    volumes: tuple[float, ...]
    spilled: float

    @property
    def highest(self) -> float:
        return max(self.levels)


@dataclass(frozen=True)
class Drawn:
    """What is left after water was drawn from the last cell: the levels, and what was asked for and not there."""

    levels: tuple[float, ...]
    missing: float


def volume_below(cell: Cell, level: float) -> float:
    """Water in a cell that stands at a level: V = A h - (1 - porosity) A min(h, bed), with bed = media / A.

    Shapes and units: m in, m3 out. Valid for: level >= 0, upright walls, media in one bed from the floor up.
    Uncertainty: that of the measures. Source: geometry. Not covered: what heaters and pumps push aside.
    """
    solids = (1 - cell.media_porosity) * cell.plan_area * min(level, cell.bed_height)
    return cell.plan_area * level - solids


def level_of(cells: Sequence[Cell], volume: float) -> float:
    """The one level at which cells hold so much water together, m; the inverse of `volume_below`, exactly."""
    low = held = 0.0
    for bed in sorted({cell.bed_height for cell in cells if cell.media_volume}):
        up_to_bed = math.fsum(volume_below(cell, bed) for cell in cells)
        if volume <= up_to_bed:
            break
        low, held = bed, up_to_bed
    slope = math.fsum(
        cell.plan_area * (cell.media_porosity if low < cell.bed_height else 1.0) for cell in cells
    )
    return low + (volume - held) / slope


def barrier(gate: Gate | None, untold: float) -> float:
    """The height from which water at rest passes a gate either way: 0 if freely, `untold` if nobody knows."""
    if gate is None:
        return JOINED
    if gate.passes == UNKNOWN or (gate.passes == OVER and gate.crest_height is None):
        return untold
    return gate.crest_height or JOINED if gate.passes == OVER else JOINED


def is_told(gate: Gate | None) -> bool:
    """Whether it is known how water at rest passes a gate."""
    return barrier(gate, JOINED) == barrier(gate, WALLED)


@dataclass
class _Body:
    """Neighbouring cells at one level."""

    cells: tuple[Cell, ...]
    volume: float

    def below(self, level: float) -> float:
        return math.fsum(volume_below(cell, level) for cell in self.cells)


def at_rest(cells: Sequence[Cell], volumes: Sequence[float], rim: float, untold: float = JOINED) -> Rest:
    """Where the water in the cells of a sump comes to rest.

    Equations: none but volume kept. Whatever stands above the lowest way out of a body of water (a crest to either
    side, or the rim) goes over it; two bodies that both reach the crest between them become one. Each step fills
    a body to a crest, empties it down to one, or makes one of two, so the end is exact and soon reached.
    Shapes and units: `volumes` the water in each cell in m3, `rim` the height of the sump's walls in m (infinite:
    walls without end), `untold` the barrier where a gate isn't recorded, `JOINED` or `WALLED`.
    Valid for: volumes >= 0; sections that reach down to one base.
    Uncertainty: that of the measures.
    Raises: nothing.
    Source: volume is conserved; no formula.
    Not covered: waves, the time it takes, foam. Over two crests of one height water goes down the flow first; over a
    crest as high as the rim it goes on the floor, the worse of the two.
    """
    barriers = [barrier(cell.gate, untold) for cell in cells[:-1]]
    bodies, crests = _bodies(cells, volumes, barriers)
    spilled = 0.0
    while (found := _first_to_go(bodies, crests, rim)) is not None:
        index, outlet = found
        body = bodies[index]
        excess = body.volume - body.below(outlet)
        if outlet == rim:
            spilled += excess
            body.volume = body.below(rim)
            continue
        beside = [n for n in (index + 1, index - 1) if _crest_between(crests, index, n) == outlet]
        lower = next((n for n in beside if bodies[n].volume < bodies[n].below(outlet)), None)
        if lower is None:
            first = min(index, beside[0])
            one, other = bodies[first], bodies[first + 1]
            bodies[first : first + 2] = [_Body(one.cells + other.cells, one.volume + other.volume)]
            del crests[first]
            continue
        full = bodies[lower].below(outlet)
        room = full - bodies[lower].volume
        if excess < room or _lowest_way(crests, lower, rim) < outlet:
            # Over a lower way it runs on at once: filled up to this crest again and again it would take a round
            # for each thousandth of a litre where two crests are nearly alike.
            body.volume = body.below(outlet)
            bodies[lower].volume += excess
        else:
            body.volume -= room
            bodies[lower].volume = full
    levels = tuple(
        level for body in bodies for level in [level_of(body.cells, body.volume)] * len(body.cells)
    )
    return Rest(levels, tuple(map(volume_below, cells, levels)), spilled)


def _bodies(
    cells: Sequence[Cell], volumes: Sequence[float], barriers: Sequence[float]
) -> tuple[list[_Body], list[float]]:
    """Cells that are freely joined as one body each, and the crests between the bodies."""
    bodies, crests = [_Body((cells[0],), volumes[0])], []
    for cell, volume, crest in zip(cells[1:], volumes[1:], barriers, strict=True):
        if crest > JOINED:
            bodies.append(_Body((cell,), volume))
            crests.append(crest)
        else:
            bodies[-1] = _Body((*bodies[-1].cells, cell), bodies[-1].volume + volume)
    return bodies, crests


def _crest_between(crests: Sequence[float], index: int, other: int) -> float | None:
    at = min(index, other)
    return crests[at] if 0 <= at < len(crests) else None


def _lowest_way(crests: Sequence[float], index: int, rim: float) -> float:
    """The lowest height over which a body's water can leave it."""
    return min([rim, *crests[max(index - 1, 0) : index + 1]])


def _first_to_go(bodies: Sequence[_Body], crests: Sequence[float], rim: float) -> tuple[int, float] | None:
    """Of the bodies that stand above their lowest way out the one whose way is lowest; None where all are at rest.

    Lowest first, or two that stand above the crest between them would become one although one of them still runs down
    over a lower crest, and draw the other down with it.
    """
    outlets = [_lowest_way(crests, index, rim) for index in range(len(bodies))]
    above = [
        (outlet, index)
        for index, (body, outlet) in enumerate(zip(bodies, outlets, strict=True))
        if body.volume > body.below(outlet)
    ]
    if not above:
        return None
    outlet, index = min(above)
    return index, outlet


def drained(
    cells: Sequence[Cell], levels: Sequence[float], last_level: float, untold: float = WALLED
) -> tuple[float, ...]:
    """The levels once the last cell is drawn down to `last_level` and the others have given what they can.

    Equation: up the flow, h_i = min(level_i, max(barrier_i, h_{i+1})): water stays below a crest.
    Shapes and units: `levels` before in m. Valid for: nothing comes in. Source: geometry.
    Not covered: the time a bed or a narrow gap needs to give its water.
    """
    found = [min(levels[-1], last_level)]
    for cell, level in zip(reversed(cells[:-1]), reversed(levels[:-1]), strict=True):
        found.append(min(level, max(barrier(cell.gate, untold), found[-1])))
    return tuple(reversed(found))


def held(cells: Sequence[Cell], levels: Sequence[float]) -> float:
    """Water in all cells at their levels, m3."""
    return math.fsum(map(volume_below, cells, levels))


def drawn(cells: Sequence[Cell], rest: Rest, volume: float, untold: float = WALLED) -> Drawn:
    """What is left of water at rest when a pump takes `volume` m3 from the last cell and nothing comes back.

    Exact: between the heights of crests, beds and levels the water left is a straight line of the last level.
    """
    wanted = math.fsum(rest.volumes) - volume
    heights = {0.0, *rest.levels, *(cell.bed_height for cell in cells)}
    heights |= {height for cell in cells[:-1] if math.isfinite(height := barrier(cell.gate, untold))}
    high = rest.levels[-1]
    left = math.fsum(rest.volumes)
    for low in sorted((height for height in heights if height < high), reverse=True):
        less = held(cells, drained(cells, rest.levels, low, untold))
        if less <= wanted:
            part = (wanted - less) / (left - less) if left > less else 0.0
            level = low + (high - low) * min(part, 1.0)
            return Drawn(drained(cells, rest.levels, level, untold), 0.0)
        high, left = low, less
    return Drawn(drained(cells, rest.levels, 0.0, untold), max(0.0, left - wanted))


def highest_that_holds(holds: Callable[[float], bool], top: float) -> float | None:
    """The highest level up to `top` at which something holds that holds at every lower one; None if it never does."""
    if holds(top):
        return top
    low, high = 0.0, top
    if not holds(low):
        return None
    while high - low > LEVEL_FOUND:
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
