"""What the record tells of the room's fish over time: groups, heads, batches, tanks, waters, what was carried over."""

from __future__ import annotations

import uuid
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.plan_task import room_zone
from weirbook.engine.relations import cohorts as batches
from weirbook.engine.relations.contacts import Carried, Id, Moved, Plumbed, Room, Stay, Water, Waters
from weirbook.engine.times import day_of
from weirbook.record.database import room_of
from weirbook.record.fish import ARRIVAL, COUNT, MOVE, Group, Species
from weirbook.record.ledger import Entered, Line, lines_of, walk
from weirbook.record.places import Place, TankSystem
from weirbook.record.quarantines import Transfer
from weirbook.record.whereabouts import whereabouts

DAY_MS = 86_400_000
EVER = 1 << 62


@dataclass(frozen=True)
class Fish:
    """A group as answers name it. `number` is its place among the groups: exposure is followed by numbers."""

    number: int
    id: uuid.UUID
    called: str
    species: str
    species_name: str
    tank_id: int
    tank: str
    origin: str | None


@dataclass(frozen=True)
class Crossing:
    """A transfer from one water to another, or from outside."""

    id: uuid.UUID
    what: str
    at_ms: int
    from_water: Water | None
    to_water: Water
    disinfected: bool


@dataclass(frozen=True)
class History:
    """All of it up to an instant, read once."""

    groups: Mapping[uuid.UUID, Fish]
    lines: Sequence[Line]
    plumbed: Sequence[Plumbed]
    crossings: Sequence[Crossing]
    systems: Mapping[int, str]
    tanks: Mapping[int, str]
    now_ms: int
    zone: ZoneInfo

    def day(self, ms: int) -> str:
        """The day of an instant by the room's clock."""
        return day_of(ms, self.zone).isoformat()

    @cached_property
    def followed(self) -> batches.Cohorts:
        """Head counts and stays of batches. An arrival without a source is taken to come from its group's origin."""
        return batches.follow(
            batches.Line(
                line.id,
                line.happened_at_ms,
                line.kind,
                line.group_id,
                line.number,
                line.to_group_id,
                line.batch_id,
                None,
                line.cause,
                line.source or self.groups[line.group_id].origin,
            )
            for line in self.lines
        )

    @cached_property
    def stays_of(self) -> Mapping[uuid.UUID, Sequence[batches.Stay]]:
        """Stays of batches by their group."""
        found: dict[uuid.UUID, list[batches.Stay]] = {group: [] for group in self.groups}
        for stay in self.followed.stays:
            found[stay.group].append(stay)  # type: ignore[index]
        return found

    @cached_property
    def counts(self) -> Mapping[uuid.UUID, Sequence[tuple[int, int]]]:
        """Steps of each group's head count, one an instant."""
        found: dict[uuid.UUID, list[tuple[int, int]]] = {}
        for one in self._entered:
            steps, at_ms = found.setdefault(one.group_id, []), one.line.happened_at_ms
            if steps and steps[-1][0] == at_ms:
                steps[-1] = at_ms, one.after
            else:
                steps.append((at_ms, one.after))
        return found

    @cached_property
    def fewer(self) -> Mapping[uuid.UUID, int]:
        """By how many a count fell short of the ledger, by its id."""
        return {
            one.line.id: one.before - one.after
            for one in self._entered
            if one.line.kind == COUNT and one.after < one.before
        }

    @cached_property
    def _entered(self) -> Sequence[Entered]:
        return list(walk(self.lines))

    def heads_at(self, group: uuid.UUID, ms: int) -> int:
        """Heads of a group at an instant, what happened at it counted."""
        steps = self.counts.get(group, ())
        index = bisect_right(steps, ms, key=lambda step: step[0])
        return steps[index - 1][1] if index else 0

    @cached_property
    def room(self) -> Room:
        """What exposure follows from; groups stand as their numbers."""
        return Room(
            list(self._tank_stays()),
            self.plumbed,
            [
                Moved(
                    line.happened_at_ms,
                    self.groups[line.group_id].number,
                    self.groups[line.to_group_id].number,
                    line.id,
                )
                for line in self.lines
                if line.kind == MOVE and line.to_group_id is not None
            ],
            [
                Carried(one.at_ms, one.from_water, one.to_water, one.id, one.disinfected)
                for one in self.crossings
                if one.from_water is not None
            ],
        )

    def fish_of(self, number: Id) -> Fish:
        """The group of a number, by which exposure follows it."""
        assert isinstance(number, int), "groups stand as their numbers"
        return self._fish[number]

    @cached_property
    def _fish(self) -> Sequence[Fish]:
        return list(self.groups.values())

    @cached_property
    def waters(self) -> Waters:
        return self.room.waters

    def _tank_stays(self) -> Iterator[Stay]:
        """When each group had fish in its tank."""
        for group, steps in self.counts.items():
            number, tank = self.groups[group].number, self.groups[group].tank_id
            since: int | None = None
            for at_ms, heads in steps:
                if heads and since is None:
                    since = at_ms
                elif not heads and since is not None:
                    yield Stay(number, tank, since, at_ms)
                    since = None
            if since is not None:
                yield Stay(number, tank, since, None)

    def water_of(self, group: uuid.UUID, at_ms: int) -> Water:
        """The water that a group's tank was part of at an instant."""
        return self.waters.at(("tank", self.groups[group].tank_id), at_ms)

    def water_name(self, water: Water | None) -> str | None:
        """A water as places are written: systems/rill, tanks/nursery."""
        if water is None:
            return None
        noun, place = water
        return f"{noun}s/{(self.systems if noun == 'system' else self.tanks)[place]}"

    @cached_property
    def lines_from(self) -> Mapping[uuid.UUID, Sequence[Line]]:
        """Lines by the group that they are entered for: of moves the one that fish left."""
        found: dict[uuid.UUID, list[Line]] = {group: [] for group in self.groups}
        for line in self.lines:
            found[line.group_id].append(line)
        return found

    def arrivals_into(self, group: uuid.UUID) -> list[Line]:
        """The lines by which fish came into a group from outside the room."""
        return [line for line in self.lines_from[group] if line.kind == ARRIVAL]

    @cached_property
    def crossing_of(self) -> Mapping[uuid.UUID, Crossing]:
        return {one.id: one for one in self.crossings}


def history_of(session: Session, now_ms: int) -> History:
    """Read it by plain columns: hundreds of groups and tens of thousands of lines."""
    room_id = room_of(session)
    place, group, species = Place.__table__.c, Group.__table__.c, Species.__table__.c
    handles = session.execute(
        sa.select(place.id, place.noun, place.handle).where(
            place.room_id == room_id, place.noun.in_(("tank", "system"))
        )
    ).all()
    tanks = {id: handle for id, noun, handle in handles if noun == "tank"}
    systems = {id: handle for id, noun, handle in handles if noun == "system"}
    asked = sa.select(group.id, group.name, species.handle, species.name, group.tank_id, group.origin).where(
        group.room_id == room_id, species.room_id == room_id, species.id == group.species_id
    )
    groups = {
        id: Fish(
            number,
            id,
            name or f"{species_name} in {tanks[tank]}",
            handle,
            species_name,
            tank,
            tanks[tank],
            origin,
        )
        for number, (id, name, handle, species_name, tank, origin) in enumerate(session.execute(asked))
    }
    return History(
        groups,
        [line for line in lines_of(session) if line.happened_at_ms <= now_ms],
        _plumbed(session, room_id),
        list(_crossings(session, room_id, now_ms, tanks, systems)),
        systems,
        tanks,
        now_ms,
        room_zone(session),
    )


def _plumbed(session: Session, room_id: int) -> list[Plumbed]:
    span = TankSystem.__table__.c
    asked = sa.select(span.subject_id, span.system_id, span.from_ms, span.to_ms).where(
        span.room_id == room_id
    )
    return [Plumbed(*row) for row in session.execute(asked)]


def _crossings(
    session: Session, room_id: int, now_ms: int, tanks: Mapping[int, str], systems: Mapping[int, str]
) -> Iterator[Crossing]:
    """Transfers by their waters: a sump or section stands for its system, the room's air for none."""
    told = Transfer.__table__.c
    asked = (
        sa.select(
            told.id, told.what, told.moved_at_ms, told.from_place_id, told.to_place_id, told.disinfected
        )
        .where(told.room_id == room_id, told.moved_at_ms <= now_ms)
        .order_by(told.moved_at_ms, told.id)
    )
    where = whereabouts(session, EVER)

    def water(place: int | None) -> Water | None:
        if place is None:
            return None
        if place in tanks:
            return "tank", place
        system = where.system_of(place)
        return None if system is None else ("system", system)

    for id, what, at_ms, from_place, to_place, disinfected in session.execute(asked):
        to_water = water(to_place)
        if to_water is not None:
            yield Crossing(id, what, at_ms, water(from_place), to_water, disinfected is not None)
