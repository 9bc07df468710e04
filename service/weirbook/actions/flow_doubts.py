"""Where the flow is not known, because that of a pump is not."""

from __future__ import annotations

from collections.abc import Sequence, Set

from weirbook.actions.solve_flow import SystemFlow
from weirbook.engine.relations.plumbing import Filled, Pool, Trough
from weirbook.engine.relations.steady_flow import circling


def doubtful(flow: SystemFlow) -> frozenset[str]:
    """Places whose flow is not known, because a pump of unknown flow feeds or draws from what comes before, or because
    overflows are recorded that lead in a circle."""
    plumbing, found = flow.plumbing, set(circling(flow.plumbing))
    for lift, lifted in zip(plumbing.lifts, flow.solved.lifted, strict=True):
        if not lifted.deliveries:
            found |= {outlet.to for outlet in lift.outlets}
            if lifted.flow is None:
                found |= set(_after(flow, lift.drawn))
    vessels: tuple[Pool | Trough, ...] = (*plumbing.pools, *plumbing.troughs)
    while True:
        more = {one.drains_to for one in vessels if one.name in found and one.drains_to}
        for trough in plumbing.troughs:
            parts = [part.cell.name for part in trough.compartments]
            if trough.name in found:
                more |= set(parts)
            for part in parts:
                if part in found:
                    more |= set(_after(flow, part))
            if parts and parts[-1] in found and trough.drains_to:
                more.add(trough.drains_to)
        if more <= found:
            return frozenset(found)
        found |= more


def _after(flow: SystemFlow, section: str) -> Sequence[str]:
    """The sections that water from a section reaches within its sump."""
    for trough in flow.plumbing.troughs:
        parts = [part.cell.name for part in trough.compartments]
        if section in parts:
            return parts[parts.index(section) + 1 :]
    return []


def fed_by_unknown(flow: SystemFlow, one: Filled, doubted: Set[str]) -> bool:
    """Whether an unknown flow comes to a sump, from a vessel whose flow is doubted or by a pump."""
    places = {one.name, *(part.name for part in one.sections)}
    plumbing = flow.plumbing
    vessels: tuple[Pool | Trough, ...] = (*plumbing.pools, *plumbing.troughs)
    drains = {vessel.drains_to for vessel in vessels if vessel.name in doubted}
    unknown = {lifted.name for lifted in flow.solved.lifted if not lifted.deliveries}
    piped = {end.to for lift in plumbing.lifts if lift.name in unknown for end in lift.outlets}
    return not places.isdisjoint(drains | piped)
