"""The watch that runs while the service does: a thread that goes round the rooms."""

from __future__ import annotations

import logging
import threading
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from time import monotonic

import sqlalchemy as sa
from sqlalchemy.exc import SQLAlchemyError

from weirbook.actions.keep_watch import find_moves, keep_watch
from weirbook.errors import Trouble
from weirbook.record.changes import RULES, speak_for
from weirbook.record.database import Database, enter_room, now_ms
from weirbook.record.rooms import Room

SETTLE_S = 2.0
"""After something was written the next round, over the rooms it was written to, waits so long, and so takes in what
comes at once."""
ROUND_S = 15.0
"""A round over all rooms is due so often though nothing came: silence and unanswered alerts are told by the clock."""

log = logging.getLogger("weirbook")


def watch_once(
    database: Database, now: int, *, heard_since: int = 0, rooms: Collection[int] | None = None
) -> int:
    """One round over these rooms, all if not said; how many moves it made. Writes only where there is something to do."""
    if rooms is None:
        with database.read() as session:
            rooms = session.scalars(sa.select(Room.room_id).order_by(Room.room_id)).all()
    made = 0
    for room_id in rooms:
        with database.read() as session:
            enter_room(session, room_id)
            due = find_moves(session, now, heard_since=heard_since)
        if due:
            with database.write() as session:
                enter_room(session, room_id)
                speak_for(session, RULES)
                made += keep_watch(session, now, heard_since=heard_since)
    return made


class Watcher:
    """Goes round until it is stopped. A round that fails is logged, and the next one makes up for it."""

    def __init__(self, database: Database) -> None:
        self.database = database
        self.heard_since = now_ms()
        self._stopped = threading.Event()
        self._thread = threading.Thread(target=self._run, name="weirbook-watch", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._stopped.set()
        self.database.stirred.set()
        self._thread.join(timeout=10)

    def _run(self) -> None:
        due = monotonic()
        while not self._stopped.is_set():
            self.database.stirred.clear()
            stirred = {self.database.stirred_rooms.pop() for _ in range(len(self.database.stirred_rooms))}
            whole = monotonic() >= due
            try:
                watch_once(
                    self.database, now_ms(), heard_since=self.heard_since, rooms=None if whole else stirred
                )
            except (Trouble, SQLAlchemyError) as trouble:
                log.warning("a round of the watch failed and will be made up for: %s", trouble)
            except Exception:
                log.exception("a round of the watch failed")
            if whole:
                due = monotonic() + ROUND_S
            if self.database.stirred.wait(max(0.0, due - monotonic())):
                self._stopped.wait(SETTLE_S)


@contextmanager
def watching(database: Database) -> Iterator[Watcher]:
    """Keep the watch while the block runs."""
    watcher = Watcher(database)
    watcher.start()
    try:
        yield watcher
    finally:
        watcher.stop()
