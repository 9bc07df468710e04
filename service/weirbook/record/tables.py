"""All tables, in one place for migrations and for the tests that hold them to the rules."""

from __future__ import annotations

from weirbook.record import (
    access,
    alerts,
    changes,
    equipment,
    journal,
    places,
    readings,
    rooms,
    targets,
    tasks,
)
from weirbook.record.base import Base

FAMILIES = (rooms, access, changes, places, equipment, targets, readings, journal, tasks, alerts)
METADATA = Base.metadata
REFERENCE_TABLES = frozenset({"room", "key_room"})
"""Looked up across rooms; every other table leads its keys with room_id."""
