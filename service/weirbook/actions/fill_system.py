"""What the record of a system says for a calculator's inputs, by their role."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.fill_fish import ROLES as ROLES_OF_FISH
from weirbook.actions.fill_water import ROLES as ROLES_OF_WATER
from weirbook.actions.filling import Absent, Facts
from weirbook.actions.latest_of import MEASURED, latest_of
from weirbook.actions.mixing_rows import mixing_bodies, mixing_flows
from weirbook.actions.sent_flows import sent_flows, summed
from weirbook.actions.solve_flow import solve_flow
from weirbook.actions.system_facts import SystemFacts, facts_of
from weirbook.engine.shape import Filled
from weirbook.engine.units import Quantity
from weirbook.record.places import System


def water_volume(facts: SystemFacts) -> Filled | Absent:
    """All water that mixes: tanks net, sections at running depth."""
    if not facts.tanks:
        return Absent("The system has no tank.")
    total = facts.water_volume_si
    if total is None:
        unknown = [one.handle for one in facts.sections if one.water_volume_si is None]
        return Absent(f"No running depth is recorded for: {', '.join(unknown)}.")
    told = f"tanks net ({', '.join(t.handle for t in facts.tanks)})"
    if facts.sections:
        told += f" and sections at running depth ({', '.join(s.handle for s in facts.sections)})"
    return Filled(Quantity(total, "m3").to("L", "volume"), "record", told)


def _through_flow(facts: SystemFacts) -> Filled | Absent:
    sent = sent_flows(solve_flow(facts))
    return sent if isinstance(sent, Absent) else summed(sent)


def _tank_shares(facts: SystemFacts) -> Filled | Absent:
    """Each tank that a pump feeds, with its own volume and flow; nothing to share with one tank alone."""
    sent = sent_flows(solve_flow(facts))
    if isinstance(sent, Absent):
        return sent
    rows: list[Mapping[str, Any]] = []
    for tank in facts.tanks:
        own = [one for one in sent if one.tank == tank.path]
        if own:
            volume = Quantity(tank.net_volume_si, "m3").to("L", "volume")
            rows.append({"name": tank.handle, "volume": volume, "flow": summed(own).value})
    if len(rows) < 2:
        return Absent("Only one tank is fed.")
    return Filled(rows, "record", "each tank's net volume and its pumps' flow")


ROLES: Mapping[str, Callable[[SystemFacts], Filled | Absent]] = {
    "water_volume": water_volume,
    "through_flow": _through_flow,
    "tank_shares": _tank_shares,
    "mixing_bodies": lambda facts: mixing_bodies(solve_flow(facts)),
    "mixing_flows": lambda facts: mixing_flows(solve_flow(facts)),
    "water_temperature": partial(latest_of, parameter="temperature"),
    **ROLES_OF_WATER,
    **ROLES_OF_FISH,
    **{f"latest.{name}": partial(latest_of, parameter=name) for name in MEASURED},
}


def fill(session: Session, system: System, at_ms: int) -> Facts:
    """The facts of a system at an instant, each asked for only when an input wants it."""
    facts = facts_of(session, system, at_ms)
    return {role: (lambda ask=ask: ask(facts)) for role, ask in ROLES.items()}  # type: ignore[misc]
