"""Which place lies in which, at an instant: section in sump, sump and tank in system, system in room."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.record.base import Span
from weirbook.record.database import fetch, room_of
from weirbook.record.places import ROOM_PLACE_ID


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
    """Where everything was at an instant. By plain SQL: every week and every round of the watch asks it."""
    room = room_of(session)
    sections = fetch(session, "SELECT id, sump_id FROM section WHERE room_id = ?", (room,))
    sumps = fetch(session, "SELECT id, system_id FROM sump WHERE room_id = ?", (room,))
    tanks = fetch(
        session,
        "SELECT subject_id, system_id FROM tank_system "
        "WHERE room_id = ? AND from_ms <= ? AND (to_ms IS NULL OR to_ms > ?)",
        (room, at_ms, at_ms),
    )
    systems = fetch(
        session,
        "SELECT s.id, p.handle FROM system s JOIN place p ON p.room_id = s.room_id AND p.id = s.id WHERE s.room_id = ?",
        (room,),
    )
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
