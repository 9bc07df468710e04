"""One system solved as one. SI floats.

The parts hang together by flows and levels: a pump lifts from the level of its section to the level of a tank,
which stands a head above its edge, which follows from the flow; sections stand above each other by what passes
their baffles. They are solved in turn until the flows no longer move.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping, Sequence

from weirbook.engine.relations.levels import Cell, Stand, running_levels
from weirbook.engine.relations.plumbing import (
    BARE,
    CLOSED,
    MEASURED,
    RATED,
    STOPPED,
    WORKED_OUT,
    Brimmed,
    Delivery,
    Filled,
    Lift,
    Lifted,
    Outlet,
    Passed,
    Plumbing,
    Pool,
    Solved,
    Trough,
)
from weirbook.engine.relations.pump_lines import Branch, Duty, duty_of, share_among
from weirbook.engine.relations.water import density, dynamic_viscosity
from weirbook.engine.relations.weirs import head_over

MOST_ROUNDS = 40
STILL_FLOW, STILL_LEVEL = 1e-9, 1e-7
"""m3/s and m: less than this between two rounds is no movement. 1e-9 m3/s is 0.004 L/h."""


def solve(plumbing: Plumbing) -> Solved:
    """Flows and levels of a whole system that are consistent with each other.

    Method: in rounds. From the levels each pump's duty (its measured flow, where there is one, stands instead),
    from the flows what passes each edge and section, from those the levels again, until neither moves.
    Shapes and units: see `Plumbing`, SI.
    Valid for: steady flow, all at rest in between; one running depth for the last section of each sump.
    Uncertainty: that of its parts; rated flows are more than is really pumped.
    Source: continuity; the parts name theirs (pump_lines, weirs, levels).
    Not covered: water that swings, air drawn in, pumps that lift each other's water in series.
    """
    levels, flows = recorded_heights(plumbing), dict[str, float]()
    solved = _round(plumbing, levels)
    for _ in range(MOST_ROUNDS):
        before = levels, flows
        levels, flows = heights_of(plumbing, solved), _flows_of(solved)
        if _still(before[0], levels, STILL_LEVEL) and _still(before[1], flows, STILL_FLOW):
            return solved
        solved = _round(plumbing, levels)
    return dataclasses.replace(solved, settled=False)


def _still(one: Mapping[str, float], other: Mapping[str, float], least: float) -> bool:
    return one.keys() == other.keys() and all(abs(one[name] - other[name]) < least for name in one)


def recorded_heights(plumbing: Plumbing) -> dict[str, float]:
    """Of the water above the floor of the room, m, as recorded, by place, where base and depth are known."""
    found = {pool.name: pool.base + pool.depth for pool in plumbing.pools if pool.base is not None}
    for trough in plumbing.troughs:
        if trough.base is None:
            continue
        for one in trough.compartments:
            if one.depth is not None:
                found[one.cell.name] = trough.base + one.depth
        _name_the_first(trough, found)
    return found


def heights_of(plumbing: Plumbing, solved: Solved) -> dict[str, float]:
    """The same as it stands in flow."""
    found = recorded_heights(plumbing)
    for pool, brimmed in zip(plumbing.pools, solved.brimmed, strict=True):
        if pool.base is not None:
            found[pool.name] = pool.base + brimmed.depth
    for trough, filled in zip(plumbing.troughs, solved.filled, strict=True):
        if trough.base is None:
            continue
        for passed in filled.sections:
            if passed.depth is not None:
                found[passed.name] = trough.base + passed.depth
        _name_the_first(trough, found)
    return found


def _name_the_first(trough: Trough, levels: dict[str, float]) -> None:
    """A line that leads to a sump ends in its first section."""
    if trough.compartments and (first := levels.get(trough.compartments[0].cell.name)) is not None:
        levels[trough.name] = first


def _flows_of(solved: Solved) -> dict[str, float]:
    return {
        f"{one.name} {delivery.name}": delivery.flow for one in solved.lifted for delivery in one.deliveries
    }


def _round(plumbing: Plumbing, levels: Mapping[str, float]) -> Solved:
    mu, rho = dynamic_viscosity(plumbing.temperature), density(plumbing.temperature)
    recorded = recorded_heights(plumbing)
    lifted = tuple(_lifted(lift, levels, recorded, mu / rho) for lift in plumbing.lifts)
    brought: dict[str, float] = {}
    drawn: dict[str, float] = {}
    for one in lifted:
        for delivery in one.deliveries:
            brought[delivery.to] = brought.get(delivery.to, 0.0) + delivery.flow
            drawn[one.drawn] = drawn.get(one.drawn, 0.0) + delivery.flow
    brimmed = _run_down(plumbing, brought, drawn)
    return Solved(lifted, brimmed, _filled(plumbing, brought, drawn, rho, mu), True)


def _lifted(
    lift: Lift, levels: Mapping[str, float], recorded: Mapping[str, float], viscosity: float
) -> Lifted:
    if lift.off:
        idle = tuple(Delivery(one.name, one.to, 0.0, 0.0, 0.0) for one in lift.outlets)
        return Lifted(lift.name, lift.drawn, 0.0, STOPPED, None, idle, None)
    branches, why = _branches(lift, levels, recorded)
    duty = None
    if branches is not None and lift.curve is not None:
        duty = duty_of(lift.curve, levels[lift.drawn], lift.trunk, branches, viscosity)
    if lift.measured is not None:
        flow, basis = lift.measured, MEASURED
    elif duty is not None:
        flow, basis = duty.flow, WORKED_OUT
    elif lift.rated is not None:
        flow, basis = lift.rated, RATED
    else:
        return Lifted(lift.name, lift.drawn, None, None, None, (), why)
    if basis == WORKED_OUT and duty is not None:
        shares = duty.branch_flows
    elif len(lift.outlets) == 1:
        shares = {lift.outlets[0].name: flow}
    elif branches is not None:
        shares = share_among(flow, branches, viscosity)
    else:
        return Lifted(lift.name, lift.drawn, flow, basis, duty, (), why)
    deliveries = tuple(_delivery(one, shares[one.name], duty) for one in lift.outlets)
    return Lifted(lift.name, lift.drawn, flow, basis, duty, deliveries, why)


def _delivery(outlet: Outlet, flow: float, duty: Duty | None) -> Delivery:
    bores = [piece.diameter for piece in outlet.pieces]
    return Delivery(
        outlet.name,
        outlet.to,
        flow,
        None if duty is None else duty.branch_losses[outlet.name],
        abs(flow) / (math.pi / 4 * min(bores) ** 2) if bores else None,
    )


def _branches(
    lift: Lift, levels: Mapping[str, float], recorded: Mapping[str, float]
) -> tuple[tuple[Branch, ...] | None, str | None]:
    """The ends of a line with the height each must reach; or None, and what is not recorded."""
    if lift.curve is None:
        return None, f"no curve of {lift.name} is recorded"
    if not lift.piped:
        return None, f"no pipes of {lift.name} are recorded"
    if lift.drawn not in levels:
        return None, f"the height of the water in {lift.drawn} is not recorded"
    found = []
    for outlet in lift.outlets:
        if outlet.to not in levels:
            return None, f"the height of the water in {outlet.to} is not recorded"
        water = levels[outlet.to]
        own = recorded.get(outlet.to, water) + outlet.level  # told against the recorded water
        under = own <= water
        found.append(Branch(outlet.name, outlet.pieces, water if under else own, under and not lift.holds))
    return tuple(found), None


def _run_down(
    plumbing: Plumbing, brought: dict[str, float], drawn: Mapping[str, float]
) -> tuple[Brimmed, ...]:
    """Each tank in flow. What passes its edge, or leaves a sump that stands alone, is added to `brought` where it leads."""
    brimmed = {}
    for one in _down_the_overflows(plumbing):
        if isinstance(one, Pool):
            brimmed[one.name] = _brimmed(one, brought.get(one.name, 0.0), drawn.get(one.name, 0.0))
            leaves = brimmed[one.name].over_edge
        else:
            cells = [each.cell.name for each in one.compartments]
            comes = math.fsum(brought.get(name, 0.0) for name in (one.name, *cells))
            leaves = max(comes - math.fsum(drawn.get(name, 0.0) for name in cells), 0.0)
        if one.drains_to is not None:
            brought[one.drains_to] = brought.get(one.drains_to, 0.0) + leaves
    return tuple(brimmed[pool.name] for pool in plumbing.pools)


def _brimmed(pool: Pool, inflow: float, drawn: float) -> Brimmed:
    over = max(inflow - drawn, 0.0)
    head = None if pool.edge is None else head_over(over, pool.edge)
    depth = pool.depth if head is None or pool.crest is None else pool.crest + head.value
    freeboard = None if pool.rim is None else pool.rim - depth
    return Brimmed(pool.name, inflow, over, head, depth, freeboard, pool.drains_to)


def _down_the_overflows(plumbing: Plumbing) -> Iterator[Pool | Trough]:
    """Tanks and sumps that stand alone, each after those that drain into it; a circle is cut at its first."""
    nodes, ends = _overflowing(plumbing)
    into: dict[str, list[Pool | Trough]] = {}
    for one in nodes:
        if one.drains_to in ends:
            into.setdefault(ends[one.drains_to].name, []).append(one)
    done = set[str]()
    for one in nodes:
        waiting = [(one, False)]
        while waiting:
            here, ready = waiting.pop()
            if ready:
                yield here
            elif here.name not in done:
                done.add(here.name)
                waiting.append((here, True))
                waiting += [(before, False) for before in reversed(into.get(here.name, []))]


def circling(plumbing: Plumbing) -> frozenset[str]:
    """Tanks and sumps whose overflow, followed down, comes back to them: no water runs so."""
    nodes, ends = _overflowing(plumbing)
    found, followed = set[str](), set[str]()
    for one in nodes:
        way = list[str]()
        here: Pool | Trough | None = one
        while here is not None and here.name not in followed:
            followed.add(here.name)
            way.append(here.name)
            here = ends.get(here.drains_to)
        if here is not None and here.name in way:
            found |= set(way[way.index(here.name) :])
    return frozenset(found)


def _overflowing(plumbing: Plumbing) -> tuple[Sequence[Pool | Trough], Mapping[str | None, Pool | Trough]]:
    """Tanks and sumps that stand alone; and the same by every place that water can be led to in them."""
    alone = [trough for trough in plumbing.troughs if trough.drains_to is not None]
    nodes: list[Pool | Trough] = [*plumbing.pools, *alone]
    ends: dict[str | None, Pool | Trough] = {one.name: one for one in nodes}
    for trough in alone:
        ends |= dict.fromkeys((one.cell.name for one in trough.compartments), trough)
    return nodes, ends


def _filled(
    plumbing: Plumbing, brought: dict[str, float], drawn: Mapping[str, float], rho: float, mu: float
) -> tuple[Filled, ...]:
    """Each sump in flow. What leaves one that stands alone runs on by itself and is no surplus; what lacks there is."""
    found = [_one_filled(trough, brought, drawn, rho, mu) for trough in plumbing.troughs]
    return tuple(
        filled if trough.drains_to is None else dataclasses.replace(filled, left=min(filled.left, 0.0))
        for trough, filled in zip(plumbing.troughs, found, strict=True)
    )


def _one_filled(
    trough: Trough, brought: Mapping[str, float], drawn: Mapping[str, float], rho: float, mu: float
) -> Filled:
    """A sump in flow; `left` is what leaves its last section onwards."""
    running = brought.get(trough.name, 0.0)
    inflow, arriving, cells = 0.0, [], []
    for index, one in enumerate(trough.compartments):
        own = brought.get(one.cell.name, 0.0) + (running if index == 0 else 0.0)
        inflow += own
        running = own if index == 0 else running + own
        arriving.append(running)
        cells.append(dataclasses.replace(one.cell, flow=running * one.share))
        running -= drawn.get(one.cell.name, 0.0)
    stands, why = _stands(trough, cells, rho, mu)
    sections = tuple(
        Passed(
            one.cell.name,
            arrives,
            arrives * one.share,
            one.depth if stand is None or stand.surface is None else stand.surface,
            stand,
        )
        for one, arrives, stand in zip(trough.compartments, arriving, stands, strict=True)
    )
    return Filled(trough.name, inflow, running, sections, why)


def _stands(
    trough: Trough, cells: Sequence[Cell], rho: float, mu: float
) -> tuple[Sequence[Stand | None], str | None]:
    unknown: list[Stand | None] = [None] * len(cells)
    if trough.closed or not cells:
        return unknown, CLOSED if trough.closed else BARE
    if any(cell.flow < 0 for cell in cells):
        return unknown, "a pump draws more from a section than reaches it"
    if (last := _last_level(trough, cells)) is None:
        return unknown, "no running depth of its last section is recorded"
    return running_levels((*cells[:-1], dataclasses.replace(cells[-1], gate=None)), last, rho, mu), None


def _last_level(trough: Trough, cells: Sequence[Cell]) -> float | None:
    """Of a sump that stands alone the head over its last crest, where it has one; else the running depth."""
    gate = cells[-1].gate if cells else None
    if trough.drains_to is None or gate is None or gate.crest_height is None:
        return trough.last_depth
    return gate.crest_height + gate.crest_head(cells[-1].flow)
