"""A program says that it follows the log of changes."""

from __future__ import annotations

from sqlalchemy.orm import Session

from weirbook.errors import Invalid
from weirbook.record.base import HANDLE, HANDLE_CAP
from weirbook.record.changes import Follower
from weirbook.record.database import room_of


def beat(session: Session, name: str, number: int, *, key: str | None, now: int) -> Follower:
    """Write down that a follower was heard, and how far it is. Raises Invalid for a name that is no handle."""
    if len(name) > HANDLE_CAP or not HANDLE.fullmatch(name):
        raise Invalid(
            "A follower's name is made like a handle: lower-case letters, digits and single hyphens."
        )
    return session.merge(
        Follower(room_id=room_of(session), name=name, number=number, heard_at_ms=now, key=key)
    )
