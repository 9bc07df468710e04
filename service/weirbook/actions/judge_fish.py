"""Whether fish stand as they should: schools, the ranges of their species, newcomers and quarantines."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.filling import Absent
from weirbook.actions.finding import About, Finding, Verdict
from weirbook.actions.group_facts import Stock, stock_of
from weirbook.actions.judge_gauges import Now
from weirbook.actions.plan_restock import plan_restock
from weirbook.actions.quarantine_clock import unmet
from weirbook.actions.recent import recent_value
from weirbook.actions.system_facts import facts_of
from weirbook.engine.saying import near
from weirbook.engine.units import Quantity
from weirbook.record.fish import ARRIVAL, MOVE, Group
from weirbook.record.places import System
from weirbook.record.quarantines import DAY_MS, Quarantine
from weirbook.record.whereabouts import Whereabouts

WINDOW_DAYS = 42
"""Common practice (no source): trouble after mixing begins in two to three weeks and runs for about two."""
RANGES = (("temperature", "temperature", "degC"), ("ph", "ph", "pH"))
"""Parameter, kind and unit of the ranges that a species has."""


@dataclass(frozen=True)
class _Room:
    """What every judgement here looks at."""

    session: Session
    where: Whereabouts
    now: Now
    stock: Stock
    groups: Mapping[uuid.UUID, Group]

    def finding(self, group: Group, verdict: Verdict, about: About, reason: str, origin: str = "") -> Finding:
        system = self.where.system_of(group.tank_id)
        return Finding(
            verdict,
            about,
            group.tank.path,
            None if system is None else self.where.systems[system],
            str(group.id),
            reason,
            origin or f"/v1/groups/{group.id}",
        )


def judge_fish(session: Session, where: Whereabouts, now: Now) -> Iterator[Finding]:
    """Findings on every group in use and on every open quarantine."""
    in_use = sa.select(Group).where(Group.retired_at_ms.is_(None)).order_by(Group.id)
    groups = {one.id: one for one in session.scalars(in_use).unique()}
    room = _Room(session, where, now, stock_of(session, now.ms), groups)
    for group in groups.values():
        yield from _school(room, group)
    yield from _ranges(room)
    yield from _straight_in(room)
    yield from _quarantines(room)
    yield from _released_early(room)


def _school(room: _Room, group: Group) -> Iterator[Finding]:
    heads = room.stock.heads.get(group.id, 0)
    plan = plan_restock(room.session, group, heads, room.now.ms)
    if plan is not None:
        reason = f"{group.called} has {heads} of the {group.wanted} wanted. {plan.why}"
        yield room.finding(group, Verdict.WATCH, About.SCHOOL, reason)
        return
    school = group.species.school_size
    if group.wanted is not None or school is None or not heads:
        return
    together = [
        one
        for one in room.groups.values()
        if (one.tank_id, one.species_id) == (group.tank_id, group.species_id)
    ]
    of_kind = sum(room.stock.heads.get(one.id, 0) for one in together)
    if of_kind < school:
        reason = f"{group.called} has {heads}, and {group.species.name} wants at least {school} of its kind."
        yield room.finding(group, Verdict.WATCH, About.SCHOOL, reason)


def _ranges(room: _Room) -> Iterator[Finding]:
    """Each group against the latest of its system's water."""
    for system in room.session.scalars(sa.select(System).order_by(System.id)).unique():
        living = [
            group
            for group in room.groups.values()
            if room.stock.heads.get(group.id, 0) > 0 and room.where.system_of(group.tank_id) == system.id
        ]
        if not living:
            continue
        facts = facts_of(room.session, system, room.now.ms)
        for parameter, kind, unit in RANGES:
            value = recent_value(facts, parameter)
            if isinstance(value, Absent):
                continue
            for group in living:
                if (reason := _outside(group, parameter, kind, unit, value)) is not None:
                    yield room.finding(
                        group, Verdict.WATCH, About.FISH, reason, f"/v1/species/{group.species.handle}"
                    )


def _outside(group: Group, parameter: str, kind: str, unit: str, value: float) -> str | None:
    wanted: Mapping[str, Quantity] = getattr(group.species, parameter) or {}
    low, high = wanted.get("low"), wanted.get("high")
    if low is not None and value < low.si(kind):
        bound, word = low, "below"
    elif high is not None and value > high.si(kind):
        bound, word = high, "above"
    else:
        return None
    said = "pH" if parameter == "ph" else parameter
    return (
        f"{group.called}: {said} is {near(value, kind, unit)}, {word} the {near(bound.si(kind), kind, unit)} that "
        f"{group.species.name} is kept at by your own list."
    )


def _straight_in(room: _Room) -> Iterator[Finding]:
    """Arrivals put straight into stocked water, for as long as trouble may still come of it."""
    for line in room.stock.lines:
        until = line.happened_at_ms + WINDOW_DAYS * DAY_MS
        group = room.groups.get(line.group_id)
        if line.kind != ARRIVAL or not line.straight_in or until <= room.now.ms or group is None:
            continue
        reason = (
            f"{line.number} × {group.species.name} came straight into {group.tank.handle} on "
            f"{room.now.clock(line.happened_at_ms)[:10]}, without a quarantine: look closely at every fish that shares its water "
            f"until {room.now.clock(until)[:10]} (common practice). Looking healthy is not being healthy."
        )
        yield room.finding(group, Verdict.WATCH, About.QUARANTINE, reason, f"/v1/stock-entries/{line.id}")


def _quarantines(room: _Room) -> Iterator[Finding]:
    asked = sa.select(Quarantine).where(Quarantine.released_at_ms.is_(None)).order_by(Quarantine.id)
    for one in room.session.scalars(asked).unique():
        inside = [group for group in room.groups.values() if group.tank_id == one.tank_id]
        heads = sum(room.stock.heads.get(group.id, 0) for group in inside)
        verdict, reason = _standing(room, one, heads)
        system = room.where.system_of(one.tank_id)
        yield Finding(
            verdict,
            About.QUARANTINE,
            one.tank.path,
            None if system is None else room.where.systems[system],
            str(one.id),
            reason,
            f"/v1/quarantines/{one.id}",
            since_ms=one.started_at_ms,
        )
        yield from _left_early(room, one, {group.id for group in inside})


def _standing(room: _Room, one: Quarantine, heads: int) -> tuple[Verdict, str]:
    ready = room.now.clock(one.ready_ms)[:10]
    if not heads:
        return Verdict.UNKNOWN, f"The quarantine in {one.tank.handle} is open and no fish are recorded in it."
    if one.ready_ms > room.now.ms:
        again = f", begun anew {len(one.restarts)} times" if len(one.restarts) > 1 else ""
        again = ", begun anew once" if len(one.restarts) == 1 else again
        return Verdict.OK, f"The quarantine in {one.tank.path} holds {heads} fish until {ready}{again}."
    lacking = unmet(room.session, one, room.now.ms)
    if lacking:
        return (
            Verdict.WATCH,
            f"The days of the quarantine in {one.tank.handle} are over since {ready}. {' '.join(lacking)}",
        )
    return (
        Verdict.WATCH,
        f"The quarantine in {one.tank.handle} is done since {ready}: release its {heads} fish, or say why not.",
    )


def _left_early(room: _Room, one: Quarantine, inside: set[uuid.UUID]) -> Iterator[Finding]:
    """Fish that were moved out of an open quarantine."""
    for line in room.stock.lines:
        if line.kind != MOVE or line.group_id not in inside or line.happened_at_ms < one.started_at_ms:
            continue
        group = room.groups.get(line.to_group_id) if line.to_group_id is not None else None
        if group is None or group.tank_id == one.tank_id:
            continue
        reason = (
            f"{line.number} × {group.species.name} were moved out of the open quarantine in {one.tank.handle} into "
            f"{group.tank.handle} on {room.now.clock(line.happened_at_ms)[:10]}: what they carry, they carried along."
        )
        yield room.finding(group, Verdict.WATCH, About.QUARANTINE, reason, f"/v1/stock-entries/{line.id}")


def _released_early(room: _Room) -> Iterator[Finding]:
    """Quarantines that were ended before their checks, for as long as trouble may still come of it."""
    since = room.now.ms - WINDOW_DAYS * DAY_MS
    asked = (
        sa.select(Quarantine)
        .where(Quarantine.released_at_ms >= since, Quarantine.release_reason.is_not(None))
        .order_by(Quarantine.id)
    )
    for one in room.session.scalars(asked).unique():
        released = one.released_at_ms or 0
        system = room.where.system_of(one.tank_id)
        reason = (
            f"The quarantine in {one.tank.path} was released before its checks on {room.now.clock(released)[:10]}: "
            f"{one.release_reason} Watch its fish, and the water that they went to, until "
            f"{room.now.clock(released + WINDOW_DAYS * DAY_MS)[:10]} (common practice)."
        )
        yield Finding(
            Verdict.WATCH,
            About.QUARANTINE,
            one.tank.path,
            None if system is None else room.where.systems[system],
            str(one.id),
            reason,
            f"/v1/quarantines/{one.id}",
            since_ms=released,
        )
