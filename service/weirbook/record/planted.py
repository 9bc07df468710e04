"""What became of plantings by their events: where each stood, from when to when, how it ended, what was taken off."""

from __future__ import annotations

import uuid
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.engine.units import Quantity
from weirbook.record.database import room_of
from weirbook.record.places import Place, path_of
from weirbook.record.plants import (
    CUTS,
    ENDS,
    HARVESTED,
    LOST,
    MOVED,
    REMOVED,
    REPLANTED,
    SEEN,
    STANDS,
    TRIMMED,
    UPROOTED,
    Planting,
    PlantingEvent,
    PlantKind,
)

CHUNK = 400

FOLLOWS: Mapping[str, tuple[str, ...]] = {
    MOVED: (STANDS,),
    UPROOTED: (STANDS,),
    REPLANTED: (STANDS, UPROOTED),
    TRIMMED: (STANDS,),
    HARVESTED: (STANDS,),
    SEEN: (STANDS, UPROOTED),
    REMOVED: (STANDS, UPROOTED),
    LOST: (STANDS, UPROOTED),
}
"""How a planting must stand for an event to be possible. What is replanted as it stands was found uprooted then."""


@dataclass(frozen=True)
class Planted:
    """A planting as its life needs it."""

    id: uuid.UUID
    kind_id: int
    place_id: int
    spot: str | None
    method: str
    planted_at_ms: int
    cover: Quantity | None


@dataclass(frozen=True)
class Told:
    """An event as the life of a planting needs it."""

    happened_at_ms: int
    created_at_ms: int
    id: uuid.UUID
    planting_id: uuid.UUID
    kind: str
    by: str | None
    to_place_id: int | None
    spot: str | None
    method: str | None
    wet_mass: Quantity | None
    cover: Quantity | None

    @property
    def order(self) -> tuple[int, int, uuid.UUID]:
        """Events of one instant follow each other as they were recorded."""
        return self.happened_at_ms, self.created_at_ms, self.id


@dataclass(frozen=True)
class Stay:
    """One stretch of a planting at one spot by one method; `ended` is None while it stands there.

    What was uprooted and then lost without being replanted ended as lost, when it was uprooted.
    """

    place_id: int
    spot: str | None
    method: str
    from_ms: int
    to_ms: int | None = None
    ended: str | None = None
    by: str | None = None


@dataclass(frozen=True)
class Cut:
    """Wet mass that was taken off, kg, in the place where it then stood; `since_ms` is when it began to grow."""

    place_id: int
    at_ms: int
    since_ms: int
    after_cut: bool
    """Whether a cut that was weighed came before, rather than the planting or a move."""
    mass: float


@dataclass(frozen=True)
class Life:
    """A planting and what followed of its events, up to an instant or all."""

    planting_id: uuid.UUID
    kind_id: int
    state: str
    ended_ms: int | None
    stays: tuple[Stay, ...]
    cuts: tuple[Cut, ...]
    covers: tuple[tuple[int, Quantity], ...]
    """What it covered, and from when on, as told."""
    looked_ms: int
    """When it was last looked at, by its newest event; else when it was put in."""

    @property
    def last(self) -> Stay:
        return self.stays[-1]

    @property
    def standing(self) -> bool:
        return self.state == STANDS

    @property
    def taken_off(self) -> float:
        """kg of wet mass."""
        return sum(one.mass for one in self.cuts)

    @property
    def cover(self) -> Quantity | None:
        """As last told, while it stands."""
        return self.covers[-1][1] if self.covers and self.standing else None

    def stay_at(self, at_ms: int) -> Stay | None:
        """Where it stood at an instant; None before and after, and while it lay uprooted."""
        held = (
            one for one in self.stays if one.from_ms <= at_ms and (one.to_ms is None or at_ms < one.to_ms)
        )
        return next(held, None)

    def cover_at(self, at_ms: int) -> tuple[int, Quantity] | None:
        """What it covered by an instant, and since when that was told."""
        index = bisect_right(self.covers, at_ms, key=lambda one: one[0])
        return self.covers[index - 1] if index else None


@dataclass
class _Walk:
    """A life under way."""

    stays: list[Stay]
    growing_since: int
    state: str = STANDS
    ended_ms: int | None = None
    after_cut: bool = False
    cuts: list[Cut] = field(default_factory=list)
    covers: list[tuple[int, Quantity]] = field(default_factory=list)

    @property
    def here(self) -> Stay:
        return self.stays[-1]

    def end(self, event: Told) -> None:
        self.state, self.ended_ms = event.kind, event.happened_at_ms
        here = self.here
        if here.ended is None:
            self.stays[-1] = replace(here, to_ms=event.happened_at_ms, ended=event.kind, by=event.by)
        elif event.kind == LOST:
            # It lay uprooted, which is when it ceased to hold; this tells how that ended.
            self.stays[-1] = replace(here, ended=LOST, by=here.by or event.by)

    def begin(self, event: Told) -> None:
        self.state, self.ended_ms = STANDS, None
        left = self.here
        if left.ended is None:
            found_so = event.kind == REPLANTED
            ended, by = (UPROOTED, event.by) if found_so else (MOVED, None)
            self.stays[-1] = replace(left, to_ms=event.happened_at_ms, ended=ended, by=by)
        elsewhere = event.to_place_id is not None and event.to_place_id != left.place_id
        self.stays.append(
            Stay(
                place_id=left.place_id if event.to_place_id is None else event.to_place_id,
                # A spot is of its place: in another one it is not known until told.
                spot=event.spot or (None if elsewhere else left.spot),
                method=event.method or left.method,
                from_ms=event.happened_at_ms,
            )
        )
        if elsewhere or event.kind == REPLANTED:
            self.growing_since, self.after_cut = event.happened_at_ms, False

    def cut(self, event: Told) -> None:
        if event.wet_mass is None:
            return
        mass = event.wet_mass.si("mass")
        place, at = self.here.place_id, event.happened_at_ms
        self.cuts.append(Cut(place, at, self.growing_since, self.after_cut, mass))
        self.growing_since, self.after_cut = at, True


def life_of(planting: Planted, events: Iterable[Told]) -> Life:
    """Follow a planting through its events, which are in order and possible."""
    first = Stay(planting.place_id, planting.spot, planting.method, planting.planted_at_ms)
    walk = _Walk([first], planting.planted_at_ms)
    if planting.cover is not None:
        walk.covers.append((planting.planted_at_ms, planting.cover))
    looked_ms = planting.planted_at_ms
    for event in events:
        looked_ms = event.happened_at_ms
        if event.kind in CUTS:
            walk.cut(event)
        if event.kind in ENDS:
            walk.end(event)
        elif event.kind in (MOVED, REPLANTED):
            walk.begin(event)
        if event.cover is not None:
            walk.covers.append((event.happened_at_ms, event.cover))
    return Life(
        planting_id=planting.id,
        kind_id=planting.kind_id,
        state=walk.state,
        ended_ms=walk.ended_ms,
        stays=tuple(walk.stays),
        cuts=tuple(walk.cuts),
        covers=tuple(walk.covers),
        looked_ms=looked_ms,
    )


def impossible(events: Sequence[Told]) -> tuple[Told, str, Told | None] | None:
    """The first event that can't follow those before it, how the planting stood then, and what made it so."""
    state, since = STANDS, None
    for event in events:
        if state not in FOLLOWS[event.kind]:
            return event, state, since
        if event.kind in ENDS:
            state, since = event.kind, event
        elif event.kind == REPLANTED:
            state, since = STANDS, event
    return None


_EVENT, _PLANTED = tuple(Told.__dataclass_fields__), tuple(Planted.__dataclass_fields__)


def events_of(
    session: Session, plantings: Sequence[uuid.UUID] | None = None, until_ms: int | None = None
) -> Mapping[uuid.UUID, list[Told]]:
    """The events of plantings, in order, without ORM objects; of all plantings where none are named."""
    column = PlantingEvent.__table__.c
    asked = sa.select(*(column[name] for name in _EVENT)).where(column.room_id == room_of(session))
    if until_ms is not None:
        asked = asked.where(column.happened_at_ms <= until_ms)
    found: dict[uuid.UUID, list[Told]] = defaultdict(list)
    for some in _narrowed(asked, column.planting_id, plantings):
        for row in session.execute(some):
            event = Told(*row)
            found[event.planting_id].append(event)
    for events in found.values():
        events.sort(key=lambda one: one.order)
    return found


def lives_of(
    session: Session, plantings: Sequence[uuid.UUID] | None = None, until_ms: int | None = None
) -> list[Life]:
    """The lives of plantings, of all where none are named, as they were by an instant; oldest first."""
    column = Planting.__table__.c
    asked = sa.select(*(column[name] for name in _PLANTED)).where(column.room_id == room_of(session))
    if until_ms is not None:
        asked = asked.where(column.planted_at_ms <= until_ms)
    rows = [Planted(*row) for some in _narrowed(asked, column.id, plantings) for row in session.execute(some)]
    events = events_of(session, plantings, until_ms)
    ordered = sorted(rows, key=lambda one: (one.planted_at_ms, one.id))
    return [life_of(one, events.get(one.id, ())) for one in ordered]


def _narrowed(
    asked: sa.Select[Any], column: sa.ColumnElement[uuid.UUID], ids: Sequence[uuid.UUID] | None
) -> list[sa.Select[Any]]:
    """The query itself, or parts of it that name some ids each."""
    if ids is None:
        return [asked]
    return [asked.where(column.in_(ids[at : at + CHUNK])) for at in range(0, len(ids), CHUNK)]


@dataclass(frozen=True)
class Kind:
    """A kind of plant as answers name it, with its own shares where they were recorded."""

    handle: str
    name: str
    growth_form: str
    dry_matter: float | None
    nitrogen: float | None
    phosphorus: float | None


def kinds_of(session: Session) -> Mapping[int, Kind]:
    """The room's kinds of plants by number, retired ones too."""
    return {
        one.id: Kind(
            one.handle,
            one.name,
            one.growth_form,
            *(
                None if share is None else share.si("fraction")
                for share in (one.dry_matter, one.nitrogen, one.phosphorus)
            ),
        )
        for one in session.scalars(sa.select(PlantKind))
    }


def paths_of(session: Session) -> Mapping[int, str]:
    """The room's places by number, as their paths."""
    place = Place.__table__.c
    asked = sa.select(place.id, place.noun, place.handle).where(place.room_id == room_of(session))
    return {number: path_of(noun, handle) for number, noun, handle in session.execute(asked)}
