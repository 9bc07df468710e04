"""A server killed at any moment: what it acknowledged is there, once, and the file is whole.

kill -9 is not a pulled plug: the system's cache outlives the process. That nothing is answered before it is on
the disk is shown by test_sync.py.
"""

from __future__ import annotations

import http.client
import random
import shutil
import threading
import time
import uuid
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from faults.served import (
    START,
    Line,
    form_of,
    keeps_a_log,
    launch,
    readings,
    rows_of,
    serving,
    value_at,
    whole,
)
from harness import Caller

from weirbook.app import Service
from weirbook.config import sqlite_url
from weirbook.record import migrations
from weirbook.record.database import Database

ROOMS = 2
"""Tried at once, as most machines have two processors."""
WRITERS, BATCH = 3, 5
FIRST_DUE = datetime(2010, 1, 1, 10)
MIGRATING_S = 0.15
"""From the first byte of the copy that is made before to the commit, about."""


@dataclass(frozen=True)
class Deed:
    """One request that stores something: readings at these instants, a record with this id, or both in one."""

    method: str
    path: str
    body: dict[str, Any]
    instants: tuple[int, ...] = ()
    id: str | None = None


@dataclass
class Writer:
    """Does one deed after another; the first `acknowledged` of them were answered as done."""

    number: int
    secret: str
    task: str
    deeds: list[Deed] = field(default_factory=list)
    acknowledged: int = 0
    troubles: list[str] = field(default_factory=list)

    def run(self, port: int) -> None:
        """Until the connection breaks. What a dying server left unanswered is sent again first."""
        with Line(port, self.secret, timeout=10) as line:
            try:
                while not self.troubles:
                    if self.acknowledged == len(self.deeds):
                        self.deeds.append(self.next_deed())
                    deed = self.deeds[self.acknowledged]
                    answer = line(deed.method, deed.path, deed.body)
                    if answer.status in (200, 201):
                        self.acknowledged += 1
                    else:
                        self.troubles.append(f"{deed} -> {answer}")
            except (OSError, http.client.HTTPException):
                return

    def next_deed(self) -> Deed:
        """By turns a batch of readings, a note, and the completion of a task that brings a reading along.

        The instants are used by no other writer, in hours that all writers share.
        """
        count = len(self.deeds)
        instants = tuple(START + (count * BATCH + k) * 7_000 + self.number for k in range(BATCH))
        name = str(uuid.uuid4())
        if count % 3 == 0:
            return Deed("POST", "/v1/readings", readings(instants), instants)
        if count % 3 == 1:
            return Deed("PUT", f"/v1/journal/{name}", {"words": "Posted."}, id=name)
        due = FIRST_DUE + timedelta(days=count // 3)
        body = {"id": name, "occurrence": f"{due:%Y-%m-%dT%H:%M}", **readings(instants[:1])}
        return Deed("POST", f"/v1/tasks/{self.task}/completions", body, instants[:1], name)


def new_tasks(line: Line) -> list[str]:
    """The ids of tasks that are due every day, one for each writer."""
    body = {
        "title": "Look round",
        "schedule": {"kind": "calendar", "rule": "FREQ=DAILY", "start": f"{FIRST_DUE:%Y-%m-%dT%H:%M}"},
        "effective_at": f"{FIRST_DUE:%Y-%m-%dT%H:%M}:00Z",
    }
    made = [line("POST", "/v1/tasks", body) for _ in range(WRITERS)]
    assert [answer.status for answer in made] == [201] * WRITERS, made[0].body
    return [answer.body["id"] for answer in made]


def kill_at_random(file: Path, log: Path, secret: str, moments: random.Random, rounds: int) -> None:
    with serving(sqlite_url(file), log) as server, Line(server.port, secret) as line:
        writers = [Writer(number, secret, task) for number, task in enumerate(new_tasks(line))]
    for number in range(rounds):
        threads = []
        with serving(sqlite_url(file), log) as server:
            threads = [threading.Thread(target=writer.run, args=(server.port,)) for writer in writers]
            for thread in threads:
                thread.start()
            if number % 2:
                wait_for_work(writers)
            time.sleep(moments.uniform(0.02, 0.6))
            server.kill()
        for thread in threads:
            thread.join()
        assert [writer.troubles for writer in writers] == [[]] * WRITERS
        verify(file, writers)
    assert sum(writer.acknowledged for writer in writers) >= rounds // 2


def wait_for_work(writers: list[Writer]) -> None:
    """Until something more is acknowledged, so that rounds come well under way however slow the machine."""
    before, deadline = sum(writer.acknowledged for writer in writers), time.monotonic() + 30
    while before == sum(writer.acknowledged for writer in writers) and time.monotonic() < deadline:
        time.sleep(0.001)


def verify(file: Path, writers: list[Writer]) -> None:
    there = whole(file)
    completed = rows_of(file, "SELECT id, task_id, occurrence FROM completion WHERE undone_at_ms IS NULL")
    assert len({row[1:] for row in completed}) == len(completed)
    notes = rows_of(file, "SELECT id FROM journal_entry")
    ids = [str(uuid.UUID(row[0])) for row in [*completed, *notes]]
    if keeps_a_log(file):
        told = Counter(subject for (subject,) in rows_of(file, "SELECT subject FROM change"))
        assert {name: told[name] for name in ids} == dict.fromkeys(ids, 1)
    for writer in writers:
        for number, deed in enumerate(writer.deeds):
            found = [at_ms for at_ms in deed.instants if at_ms in there]
            assert found in ([], list(deed.instants)), "readings were stored by halves"
            assert [there[at_ms] for at_ms in found] == [value_at(at_ms) for at_ms in found]
            kept = bool(found) if deed.id is None else deed.id in ids
            assert kept == bool(found) or not deed.instants, "a completion and its reading were parted"
            assert kept or number >= writer.acknowledged, "what was acknowledged is gone"
    deeds = [deed for writer in writers for deed in writer.deeds]
    assert set(there) <= {at_ms for deed in deeds for at_ms in deed.instants}
    assert set(ids) <= {deed.id for deed in deeds}


@pytest.mark.parametrize("rounds", [6, pytest.param(150, marks=pytest.mark.slow)])
def test_a_killed_server_has_everything_it_acknowledged_once(
    furnished_template: tuple[Path, str], tmp_path: Path, rounds: int
) -> None:
    template, secret = furnished_template

    def try_it(room: int) -> None:
        file = tmp_path / f"room-{room}.db"
        shutil.copy(template, file)
        kill_at_random(file, file.with_suffix(".log"), secret, random.Random(room), rounds)

    with ThreadPoolExecutor(ROOMS) as pool:
        list(pool.map(try_it, range(ROOMS)))


@pytest.mark.parametrize("rounds", [8, pytest.param(200, marks=pytest.mark.slow)])
def test_a_server_killed_while_it_migrates_loses_nothing_and_the_next_start_ends_the_work(
    app: Service, furnished: Caller, tmp_path: Path, rounds: int
) -> None:
    """The kill comes at a random moment from when the copy that is made before begins to be written."""
    forms = earlier_forms(app.database, furnished)

    def try_it(number: int) -> str:
        form = sorted(forms)[number % len(forms)]
        file = tmp_path / f"round-{number}" / "room.db"
        file.parent.mkdir()
        shutil.copy(forms[form], file)
        left = killed_while_migrating(file, random.Random(number))
        with serving(sqlite_url(file), file.with_name("log")):
            pass
        hold_migrated(file, forms[form], form)
        return left

    with ThreadPoolExecutor(ROOMS) as pool:
        found = set(pool.map(try_it, range(rounds)))
    assert rounds < 50 or found == set(migrations.revisions()), "the kills came all too soon or late"


def hold_migrated(file: Path, before: Path, form: str) -> None:
    """A file and the copy made before: every row there was is in both, each in its form."""
    counts = counts_of(before)
    assert form_of(file) == migrations.revisions()[-1]
    assert {table: count for table, count in counts_of(file).items() if table in counts} == counts
    assert len(whole(file)) == counts["reading"]
    copy = file.with_name(f"room.before-{form}-1.db")
    assert form_of(copy) == form
    assert counts_of(copy) == counts
    whole(copy)
    assert not list(file.parent.glob("*.part*"))


def earlier_forms(database: Database, keeper: Caller) -> dict[str, Path]:
    """A file in each earlier form, with readings, notes and a small room."""
    for day in range(5):
        instants = [START + (day * 1440 + minute) * 60_000 for minute in range(0, 1440, 2)]
        assert keeper.post("/v1/readings", readings(instants)).status_code == 200
        assert keeper.post("/v1/journal", {"words": f"Day {day}."}).status_code == 201
    assert database.file is not None
    found = {}
    for form in migrations.revisions()[-2::-1]:
        with migrations._locked(database) as connection:
            migrations.run(connection, "downgrade", form)
        database.dispose()
        rows_of(database.file, "PRAGMA wal_checkpoint(TRUNCATE)")
        found[form] = database.file.with_name(f"form-{form}.db")
        shutil.copy(database.file, found[form])
    return found


def killed_while_migrating(file: Path, moments: random.Random) -> str:
    """Start a server on a file in an earlier form and kill it; the form that is left."""
    process = launch(sqlite_url(file), file.with_name("log"))
    while not list(file.parent.glob("room.before-*")):
        assert process.poll() is None, file.with_name("log").read_text()
        time.sleep(0.001)
    time.sleep(moments.uniform(0, MIGRATING_S))
    process.kill()
    process.wait()
    return form_of(file)


def counts_of(file: Path) -> dict[str, int]:
    """Rows of each table but those that say how far things are numbered, and how far the server has watched."""
    names = rows_of(file, "SELECT name FROM sqlite_schema WHERE type = 'table'")
    return {
        name: rows_of(file, f"SELECT count(*) FROM {name}")[0][0]
        for (name,) in names
        if name not in ("alembic_version", "counter", "gauge_watch")
    }
