"""How long the daily list takes over 500 tasks and five years of history, and what the history costs.

    python tests/benchmarks/due_list.py [--tasks 500] [--years 5]

Measured through WSGI, in one process: the list over a room with the history, the same over a room with one week
of it, and a bare request as the yardstick. Exit status 1 if the list takes longer than the bar.
"""

from __future__ import annotations

import argparse
import random
import statistics
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator, Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from flask.testing import FlaskClient

from weirbook.actions.find_due import keep_open
from weirbook.actions.make_key import make_key
from weirbook.actions.open_room import open_room
from weirbook.app import create_app
from weirbook.config import Config, sqlite_url
from weirbook.engine.schedules import Version, occurrences, schedule_of
from weirbook.engine.times import clock_at, local_text
from weirbook.record.access import Role
from weirbook.record.database import Database, now_ms
from weirbook.record.migrations import migrate
from weirbook.record.tasks import Completion, Task, TaskSchedule

BAR_MS = 50
ROUNDS = 40
ZONE = "Europe/Lisbon"
DAY_MS = 86_400_000
RULES = (
    "FREQ=DAILY",
    "FREQ=WEEKLY;BYDAY=SU",
    "FREQ=WEEKLY;BYDAY=MO,WE,FR",
    "FREQ=MONTHLY;BYMONTHDAY=1",
    "FREQ=DAILY;INTERVAL=3",
)
"""What the tasks recur by, in turn. Two in three are open today, one in five of them since some days."""


def main() -> int:
    said = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    said.add_argument("--tasks", type=int, default=500)
    said.add_argument("--years", type=float, default=5.0)
    chosen = said.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        long = _client(Path(folder) / "long.db", chosen.tasks, round(chosen.years * 365))
        short = _client(Path(folder) / "short.db", chosen.tasks, 7)
        listed = len(_get(*long, "/v1/tasks/due")["items"])
        bare, due, week = (
            _median(*one)
            for one in ((*long, "/v1/room"), (*long, "/v1/tasks/due"), (*short, "/v1/tasks/due"))
        )
    print(f"{chosen.tasks} tasks, {chosen.years:g} years: {listed} occurrences listed in {due:.1f} ms")
    print(
        f"  {due / week:.2f} times the list over one week of history, {due / bare:.1f} times a bare request"
    )
    print(f"  bar {BAR_MS} ms: {'held' if due < BAR_MS else 'NOT held'}")
    return 0 if due < BAR_MS else 1


def _client(file: Path, tasks: int, days: int) -> tuple[FlaskClient, str]:
    """A room with that many tasks, kept for so many days, but for some days at the end."""
    database, now = Database(sqlite_url(file)), now_ms()
    migrate(database)
    with database.write() as session:
        room = open_room(session, name="Benchmark", time_zone=ZONE, now=now)
        key, secret = make_key(session, name="keeper", role=Role.KEEPER, now=now)
        rows = [list(one) for one in _rows(room.room_id, key.id, tasks, days, now)]
        for model in (Task, TaskSchedule, Completion):
            values = [row for each in rows for kind, row in each if kind is model]
            if values:
                session.execute(sa.insert(model), values)
        session.flush()
        for task in session.scalars(sa.select(Task)).unique():
            keep_open(session, task, now - days * DAY_MS)
    return create_app(Config(sqlite_url(file)), database).test_client(), secret


def _rows(
    room_id: int, key_id: int, tasks: int, days: int, now: int
) -> Iterator[Sequence[tuple[type, dict]]]:
    luck, since = random.Random(1), now - days * DAY_MS
    zone = ZoneInfo(ZONE)
    for number in range(tasks):
        task_id, row = uuid.UUID(int=number + 1), {"room_id": room_id}
        edited = {**row, "version": 1, "created_at_ms": since, "updated_at_ms": since}
        start = clock_at(since, zone).replace(hour=luck.randrange(6, 22), minute=0, second=0)
        told = {"kind": "calendar", "rule": RULES[number % len(RULES)], "start": local_text(start)}
        kept_to = now - luck.choice((0, 0, 0, 0, 4)) * DAY_MS - luck.randrange(DAY_MS)
        due = occurrences([Version(schedule_of(told), zone, since)], since, kept_to, None)
        yield [
            (Task, {**edited, "id": task_id, "title": f"Task {number}", "schedule": told}),
            (TaskSchedule, {**row, "subject_id": task_id, "from_ms": since, "value": told, "zone": ZONE}),
            *(
                (
                    Completion,
                    {
                        **edited,
                        "id": uuid.UUID(int=(number + 1) << 32 | index),
                        "task_id": task_id,
                        "occurrence": one.name,
                        "outcome": "done",
                        "due_ms": one.due_ms,
                        "done_at_ms": one.due_ms + 600_000,
                        "readings": [],
                        "key_id": key_id,
                        "recorded_by": "keeper",
                    },
                )
                for index, one in enumerate(due)
            ),
        ]


def _get(client: FlaskClient, secret: str, path: str) -> dict:
    answered = client.get(path, headers={"Authorization": f"Bearer {secret}"})
    assert answered.status_code == 200, answered.get_data(as_text=True)
    return answered.get_json()


def _median(client: FlaskClient, secret: str, path: str) -> float:
    """Milliseconds of the middle one of some requests, the body unread."""
    headers, taken = {"Authorization": f"Bearer {secret}"}, []
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        client.get(path, headers=headers)
        taken.append((time.perf_counter() - begun) * 1000)
    return statistics.median(taken)


if __name__ == "__main__":
    sys.exit(main())
