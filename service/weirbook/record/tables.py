"""All tables, in one place for migrations and for the tests that hold them to the rules."""

from __future__ import annotations

from weirbook.record import (
    access,
    alerts,
    attachments,
    changes,
    doses,
    equipment,
    feeds,
    fish,
    full_text,
    journal,
    places,
    plants,
    quarantines,
    readings,
    rooms,
    targets,
    tasks,
    trials,
    waters,
)
from weirbook.record.base import Base

FAMILIES = (
    rooms,
    access,
    changes,
    places,
    equipment,
    targets,
    readings,
    journal,
    attachments,
    tasks,
    alerts,
    feeds,
    waters,
    doses,
    fish,
    quarantines,
    plants,
    trials,
    full_text,
)
METADATA = Base.metadata
REFERENCE_TABLES = frozenset({"room", "key_room"})
"""Looked up across rooms; every other table leads its keys with room_id."""
