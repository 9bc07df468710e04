"""All tables, in one place for migrations and for the tests that hold them to the rules."""

from __future__ import annotations

from weirbook.record import access, equipment, journal, places, readings, rooms, targets, tasks
from weirbook.record.base import Base

FAMILIES = (rooms, access, places, equipment, targets, readings, journal, tasks)
METADATA = Base.metadata
REFERENCE_TABLES = frozenset({"room", "key_room"})
"""Looked up across rooms; every other table leads its keys with room_id."""
