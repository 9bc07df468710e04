"""Make a room: its settings, itself as a place."""

from __future__ import annotations

import uuid

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.engine.times import zone
from weirbook.record.database import enter_room
from weirbook.record.places import ROOM_PLACE_ID, RoomPlace
from weirbook.record.rooms import Room


def open_room(session: Session, *, name: str, time_zone: str, now: int) -> Room:
    """A new room, entered by the session. Raises Invalid for a time zone that is not."""
    zone(time_zone)
    room = Room(
        public_id=uuid.uuid4(),
        name=name,
        time_zone=time_zone,
        version=1,
        created_at_ms=now,
        updated_at_ms=now,
    )
    session.add(room)
    session.flush()
    enter_room(session, room.room_id)
    session.add(
        RoomPlace(
            room_id=room.room_id,
            id=ROOM_PLACE_ID,
            handle="room",
            name=name,
            version=1,
            created_at_ms=now,
            updated_at_ms=now,
        )
    )
    session.flush()
    return room


def only_room(session: Session) -> Room | None:
    """The room of a database that holds one; None if it holds none yet or several."""
    rooms = session.scalars(sa.select(Room).limit(2)).all()
    return rooms[0] if len(rooms) == 1 else None
