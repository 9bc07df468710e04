"""How a school under its wanted number can be made whole: how many, in what batches, and by when at the earliest."""

from __future__ import annotations

import math
import uuid
from collections.abc import Sequence
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.plan_task import by_clock
from weirbook.actions.quarantine_clock import DEFAULT_DAYS
from weirbook.engine.units import number
from weirbook.record.fish import Group
from weirbook.record.ledger import heads_of, lines_of
from weirbook.record.places import Tank
from weirbook.record.quarantines import DAY_MS, Quarantine

CM_PER_LITRE = 1.0
"""Common practice, no source: adult length of all fish in a quarantine, cm, to its net volume, L. A bound for a few weeks
in a filtered tank, not a home."""


MOST_BATCHES = 40
"""Over four years of quarantines: nobody plans further."""


@dataclass(frozen=True)
class Batch:
    """Newcomers that a quarantine can hold at once."""

    tank: str
    number: int
    from_ms: int
    released_ms: int


@dataclass(frozen=True)
class Restock:
    """What it takes to make a school whole. `complete_ms` is None where `why` says what is unknown."""

    short: int
    batches: Sequence[Batch]
    complete_ms: int | None
    why: str
    assumptions: Sequence[str]


@dataclass
class _Room:
    """A quarantine tank, how many it holds, and from when it is free."""

    tank: Tank
    holds: int
    free_ms: int


def plan_restock(session: Session, group: Group, heads: int, now: int) -> Restock | None:
    """The plan for one group as if it alone were restocked; None where it has what is wanted, or wants nothing."""
    if group.wanted is None or heads >= group.wanted:
        return None
    short = group.wanted - heads
    assumptions = [
        f"{DEFAULT_DAYS} days of quarantine for every batch (common practice, no source): never shorter for a healthy source.",
        f"A quarantine holds {number(CM_PER_LITRE)} cm of adult fish a litre of its net volume (common practice, no source).",
        "Only this group is restocked, and newcomers can be had at once.",
    ]
    length = group.species.adult_length
    if length is None:
        why = f"Unknown in what batches, because adult_length of {group.species.handle} is not recorded."
        return Restock(short, (), None, why, assumptions)
    rooms = _rooms(session, length.si("length") * 100, now)
    if not rooms:
        why = "Unknown by when, because no tank with the use quarantine that could hold one of them is recorded."
        return Restock(short, (), None, why, assumptions)
    batches = _batches(rooms, short)
    if batches is None:
        why = f"{short} more make it {group.wanted}: with the quarantines there are that takes over {MOST_BATCHES} batches."
        return Restock(short, (), None, why, assumptions)
    whole = max(batch.released_ms for batch in batches)
    why = _why(session, short, group, batches, now)
    return Restock(short, batches, whole, why, assumptions)


def _rooms(session: Session, adult_cm: float, now: int) -> list[_Room]:
    asked = (
        sa.select(Tank).where(Tank.use == "quarantine", Tank.retired_at_ms.is_(None)).order_by(Tank.handle)
    )
    heads = heads_of(lines_of(session))
    living = {tank_id: count for tank_id, count in _heads_by_tank(session, heads).items() if count > 0}
    found = []
    for tank in session.scalars(asked).unique():
        holds = math.floor(tank.net_volume_si * 1000 * CM_PER_LITRE / adult_cm)
        current = session.scalars(
            sa.select(Quarantine).where(Quarantine.tank_id == tank.id, Quarantine.released_at_ms.is_(None))
        ).first()
        if holds < 1 or (current is None and tank.id in living):
            continue  # fish that are in no quarantine live there: nobody knows until when
        free = now if current is None else max(now, current.ready_ms)
        found.append(_Room(tank, holds, free))
    return found


def _heads_by_tank(session: Session, heads: dict[uuid.UUID, int]) -> dict[int, int]:
    found: dict[int, int] = {}
    for group_id, tank_id in session.execute(sa.select(Group.id, Group.tank_id)):
        found[tank_id] = found.get(tank_id, 0) + heads.get(group_id, 0)
    return found


def _batches(rooms: Sequence[_Room], short: int) -> list[Batch] | None:
    """Always into the quarantine that is free first; of two the larger. None where they never come to an end."""
    batches: list[Batch] = []
    while short > 0:
        if len(batches) == MOST_BATCHES:
            return None
        room = min(rooms, key=lambda one: (one.free_ms, -one.holds, one.tank.handle))
        taken = min(short, room.holds)
        released = room.free_ms + DEFAULT_DAYS * DAY_MS
        batches.append(Batch(room.tank.handle, taken, room.free_ms, released))
        room.free_ms = released
        short -= taken
    return batches


def _why(session: Session, short: int, group: Group, batches: Sequence[Batch], now: int) -> str:
    """The plan in words: what it waits for first."""
    first = batches[0]
    begins, whole = (
        by_clock(session, first.from_ms)[:10],
        by_clock(session, max(one.released_ms for one in batches))[:10],
    )
    waits = (
        f"The quarantine in {first.tank} is taken until {begins}: brought in then"
        if first.from_ms > now
        else "Brought in now"
    )
    parts = "" if len(batches) == 1 else f", in {len(batches)} batches"
    return f"{short} more make it {group.wanted}. {waits}{parts}, it can be whole on {whole}, if nothing else is quarantined."
