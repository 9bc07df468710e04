"""Which place lies in which, at an instant: section in sump, sump and tank in system, system in room."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.record.base import Span
from weirbook.record.database import room_of
from weirbook.record.places import ROOM_PLACE_ID, Section, Sump, System, TankSystem


@dataclass(frozen=True)
class Whereabouts:
    """The room's places at one instant. Ids are place ids."""

    sump_of_section: dict[int, int]
    system_of_vessel: dict[int, int]
    systems: dict[int, str]

    def chain(self, place_id: int) -> list[int]:
        """The place and all it lies in, nearest first, the room last."""
        found = [place_id]
        for inward in (self.sump_of_section, self.system_of_vessel):
            if found[-1] in inward:
                found.append(inward[found[-1]])
        return found if place_id == ROOM_PLACE_ID else [*found, ROOM_PLACE_ID]

    def system_of(self, place_id: int) -> int | None:
        """The system that a place belongs to; None for the room."""
        return next((one for one in self.chain(place_id) if one in self.systems), None)

    def inside(self, system_id: int, places: Iterable[int]) -> list[int]:
        """Those of `places` that belong to a system."""
        return [place for place in places if self.system_of(place) == system_id]


def whereabouts(session: Session, at_ms: int) -> Whereabouts:
    """Where everything was at an instant."""
    room = room_of(session)
    sections = session.execute(sa.select(Section.id, Section.sump_id).where(Section.room_id == room))
    sumps = session.execute(sa.select(Sump.id, Sump.system_id).where(Sump.room_id == room))
    tanks = session.execute(
        sa.select(TankSystem.subject_id, TankSystem.value).where(
            TankSystem.room_id == room, *held_at(TankSystem, at_ms)
        )
    )
    systems = session.execute(sa.select(System.id, System.handle).where(System.room_id == room))
    return Whereabouts(
        {section: sump for section, sump in sections},
        {vessel: system for vessel, system in [*sumps, *tanks]},
        {system: handle for system, handle in systems},
    )


def held_at(span: type[Span], at_ms: int) -> Sequence[sa.ColumnElement[bool]]:
    """The condition that a span covers an instant."""
    return (span.from_ms <= at_ms, sa.or_(span.to_ms.is_(None), span.to_ms > at_ms))


def states_at(session: Session, span: Any, at_ms: int) -> dict[int, Any]:
    """What held for each thing at an instant, by its id."""
    asked = sa.select(span.subject_id, span.value).where(
        span.room_id == room_of(session), *held_at(span, at_ms)
    )
    return {subject: value for subject, value in session.execute(asked)}
