"""What follows of a group from the ledger and its samples: heads, when its fish came, what they weigh."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.filling import Absent
from weirbook.engine.times import day_of, zone
from weirbook.record.database import room_of
from weirbook.record.fish import ARRIVAL, MOVE, Group, GroupSample
from weirbook.record.ledger import Line, heads_of, lines_of
from weirbook.record.rooms import Room


@dataclass(frozen=True)
class Stock:
    """The room's ledger, read once."""

    lines: Sequence[Line]
    heads: Mapping[uuid.UUID, int]

    def first_came_ms(self, group_id: uuid.UUID) -> int | None:
        """When the first fish of a group came."""
        return next(
            (line.happened_at_ms for line in self.lines if (line.to_group_id or line.group_id) == group_id),
            None,
        )

    def last_came(self, group_id: uuid.UUID) -> Line | None:
        """The last line by which fish came into a group from elsewhere."""
        came = (
            line
            for line in reversed(self.lines)
            if line.kind in (ARRIVAL, MOVE) and (line.to_group_id or line.group_id) == group_id
        )
        return next(came, None)


def stock_of(session: Session, at_ms: int | None = None) -> Stock:
    """The ledger up to an instant, or all of it."""
    lines = [line for line in lines_of(session) if at_ms is None or line.happened_at_ms <= at_ms]
    return Stock(lines, heads_of(lines))


@dataclass(frozen=True)
class Weight:
    """What one fish of a group weighs on average (kg), and how that is known."""

    each: float
    words: str
    sampled_ms: int


def weight_of(session: Session, group: Group, at_ms: int) -> Weight | Absent:
    """By the newest sample before an instant; what was never weighed or measured is unknown."""
    asked = (
        sa.select(GroupSample)
        .where(GroupSample.group_id == group.id, GroupSample.sampled_at_ms <= at_ms)
        .order_by(GroupSample.sampled_at_ms.desc(), GroupSample.id.desc())
    )
    newest = session.scalars(asked).first()
    if newest is None:
        return Absent(
            f"{group.called} was never measured: POST /v1/groups/{group.id}/samples with length or mass."
        )
    each = newest.mass_si
    if each is None:
        return Absent(
            f"{group.called} was measured by length only: record mass, or length_mass (a and b) of "
            f"{group.species.handle}."
        )
    day = day_of(newest.sampled_at_ms, zone(session.get_one(Room, room_of(session)).time_zone))
    of = f"{day}, {newest.measured} fish"
    if newest.mass is not None:
        return Weight(each, f"weighed {of}", newest.sampled_at_ms)
    # Large fish weigh more than small ones lack: the mean of L^b is above the mean length to the power b.
    words = f"measured {of}; from its length by W = a × L^b: low where sizes differ much"
    return Weight(each, words, newest.sampled_at_ms)
