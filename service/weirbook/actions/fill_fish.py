"""What the record says of a system's fish for a calculator's inputs: groups, heads and what one weighs."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from weirbook.actions.fill_water import ROLES as ROLES_OF_WATER
from weirbook.actions.filling import Absent
from weirbook.actions.group_facts import stock_of, weight_of
from weirbook.actions.system_facts import SystemFacts
from weirbook.engine.inputs import six
from weirbook.engine.shape import Filled
from weirbook.engine.units import Quantity
from weirbook.record.fish import Group
from weirbook.record.quarantines import DAY_MS

OLD_DAYS = 60
"""A sample that is older is told to be. Our own choice."""

FEED = ROLES_OF_WATER["daily_feed"]


def _fish_groups(facts: SystemFacts) -> Filled | Absent:
    """Every group with fish in the system's tanks; one whose mass nobody knows leaves all unknown, for the safe side."""
    heads = stock_of(facts.session, facts.at_ms).heads
    tanks = [tank.id for tank in facts.tanks]
    asked = sa.select(Group).where(Group.tank_id.in_(tanks)).order_by(Group.id)
    rows: list[Mapping[str, Any]] = []
    grown, unknown, weighed = [], [], []
    oldest = facts.at_ms
    for group in facts.session.scalars(asked).unique():
        count = heads.get(group.id, 0)
        if count < 1:
            continue
        weight = weight_of(facts.session, group, facts.at_ms)
        if isinstance(weight, Absent):
            if group.species.adult_mass is None:
                unknown.append(weight.why)
                continue
            grown.append(group.called)
            each = group.species.adult_mass
        else:
            each = Quantity(six(weight.each * 1000), "g")
            weighed.append(f"{_name(group, rows)}: {weight.words}")
            oldest = min(oldest, weight.sampled_ms)
        rows.append({"name": _name(group, rows), "count": count, "mass_of_one": each})
    if unknown:
        return Absent(" ".join(unknown))
    if not rows:
        return Absent(f"No fish are recorded in {facts.system.handle}: tell groups and stock entries.")
    told = "groups' heads by the ledger"
    if weighed:
        told += f", mass by the newest sample ({'; '.join(weighed)})"
    if (days := (facts.at_ms - oldest) // DAY_MS) > OLD_DAYS:
        told += (
            f"; the oldest of these samples is {days} days old: fish may have grown since, weigh some again"
        )
    if grown:
        told += f"; never measured and taken as full-grown: {', '.join(grown)}"
    return Filled(rows, "record", told)


def _name(group: Group, rows: list[Mapping[str, Any]]) -> str:
    """What a group is called, told apart from others called alike."""
    taken = {row["name"] for row in rows}
    return group.called if group.called not in taken else f"{group.called} ({str(group.id)[-4:]})"


@dataclass(frozen=True)
class Fed:
    """What the fish of a system weigh (kg), what they are fed (kg a day), and how that is known; None where it isn't."""

    mass: float | None
    feed: float | None
    words: str

    @property
    def share(self) -> float | None:
        """Feed a day as a share of the mass of the fish."""
        return None if not self.mass or self.feed is None else self.feed / self.mass


def fed_of(facts: SystemFacts) -> Fed:
    """The fish's mass beside their ration: much more than a few per cent a day is food that nobody eats."""
    groups, feed = _fish_groups(facts), FEED(facts)
    mass = None
    if isinstance(groups, Filled):
        mass = sum(row["count"] * row["mass_of_one"].si("mass") for row in groups.value)
    words = groups.note if isinstance(groups, Filled) else f"Unknown what the fish weigh. {groups.why}"
    if isinstance(feed, Absent):
        return Fed(mass, None, f"{words}; unknown what they are fed. {feed.why}")
    return Fed(mass, feed.value.si("mass_flow") * 86_400, words)


ROLES: Mapping[str, Callable[[SystemFacts], Filled | Absent]] = {"fish_groups": _fish_groups}
"""What the record of a system's fish says for a calculator's inputs, by their role."""
