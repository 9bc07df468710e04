"""What follows from records that people edit, kept in memory while the room's log of changes stands still.

Every edit is told in the log by the transaction that makes it. So the log's newest entry, asked in the transaction
at hand, says exactly whether what was found earlier still holds, whichever process edited.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any, TypeVar

from sqlalchemy.orm import Session

from weirbook.record.changes import has_edits, newest
from weirbook.record.database import Database

T = TypeVar("T")

CAP = 400
"""Findings of all rooms kept at once, some kilobytes to a hundred each; beyond it they are asked for anew."""


def remembered(session: Session, key: Hashable, find: Callable[[Session], T]) -> T:
    """What `find` gives, which is asked only where the session's room was edited since.

    Until then the same object is given, so `is` tells whether anything was edited. Nobody may change it.
    """
    memory: dict[Hashable, tuple[tuple[int, int], Any]] = session.info["memory"]
    stamp = newest(session)
    kept = memory.get(key)
    if kept is not None and kept[0] == stamp:
        found: T = kept[1]
        return found
    memory.pop(key, None)
    found = find(session)
    if not has_edits(session):  # what this session alone sees may still be rolled back
        if len(memory) >= CAP:
            memory.clear()
        memory[key] = (stamp, found)
    return found


def last_remembered(database: Database, key: Hashable) -> Any:
    """What was found last, or None: it may be out of date, so a transaction that relies on it asks `remembered`."""
    kept = database.memory.get(key)
    return None if kept is None else kept[1]


def forget(database: Database, key: Hashable) -> None:
    """Have it found anew: something that the log doesn't tell was edited."""
    database.memory.pop(key, None)
