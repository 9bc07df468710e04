"""What belongs to one system over time: its tanks for as long as each was in it, its sumps and sections, and the room."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from weirbook.record.database import fetch, room_of
from weirbook.record.places import ROOM_PLACE_ID, path_of

Stretch = tuple[int, int | None]
"""From and to of a half-open stretch; no to: it goes on."""
ALWAYS: Sequence[Stretch] = ((-(1 << 60), None),)


@dataclass(frozen=True)
class Belonging:
    """When each place was part of a system. What holds of the whole room holds of every system."""

    system_id: int
    spans: Mapping[int, Sequence[Stretch]]

    @property
    def places(self) -> list[int]:
        """Every place that ever was part of it, itself and the room among them."""
        return sorted(self.spans)

    def held(self, place_id: int | None, at_ms: int) -> bool:
        """Whether a place was part of it at an instant."""
        spans = () if place_id is None else self.spans.get(place_id, ())
        return any(start <= at_ms and (end is None or at_ms < end) for start, end in spans)

    def touched(self, place_id: int, start_ms: int, end_ms: int | None) -> bool:
        """Whether a place was part of it at any time of a stretch."""
        return any(
            (end_ms is None or start <= end_ms) and (end is None or start_ms < end)
            for start, end in self.spans.get(place_id, ())
        )


def belonging(session: Session, system_id: int) -> Belonging:
    """When each place was part of a system, in three queries."""
    room = room_of(session)
    spans: dict[int, list[Stretch]] = defaultdict(list)
    tanks = fetch(
        session,
        "SELECT subject_id, from_ms, to_ms FROM tank_system WHERE room_id = ? AND system_id = ? ORDER BY from_ms",
        (room, system_id),
    )
    for tank, from_ms, to_ms in tanks:
        spans[tank].append((from_ms or ALWAYS[0][0], to_ms))
    sumps = fetch(session, "SELECT id FROM sump WHERE room_id = ? AND system_id = ?", (room, system_id))
    sections = fetch(
        session,
        "SELECT s.id FROM section s JOIN sump u ON u.room_id = s.room_id AND u.id = s.sump_id "
        "WHERE s.room_id = ? AND u.system_id = ?",
        (room, system_id),
    )
    always = {place: ALWAYS for (place,) in (*sumps, *sections, (system_id,), (ROOM_PLACE_ID,))}
    return Belonging(system_id, {**spans, **always})


def paths(session: Session) -> dict[int, str]:
    """How each place of the room is written, by its number."""
    rows = fetch(session, "SELECT id, noun, handle FROM place WHERE room_id = ?", (room_of(session),))
    return {number: path_of(noun, handle) for number, noun, handle in rows}
