"""A server killed at any moment: what it acknowledged is there, once, and the file is whole.

kill -9 is not a pulled plug: the system's cache outlives the process.
"""

from __future__ import annotations

import http.client
import json
import random
import re
import shutil
import sqlite3
import subprocess
import sys
import threading
import time
import uuid
from collections import defaultdict
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from weirbook.config import sqlite_url
from weirbook.engine.relations.rollups import HOUR_MS, Join, Point, roll
from weirbook.engine.times import instant_text
from weirbook.record.backups import check

START = 1_763_632_800_000
GAP_MS = 1_800_000
"""Three of the gauge's expected intervals of 10 minutes."""
WRITERS, BATCH = 3, 5


@dataclass
class Writer:
    """Posts batches one after another and notes each, and whether it was acknowledged."""

    number: int
    secret: str
    sent: list[list[int]] = field(default_factory=list)
    acknowledged: list[list[int]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    troubles: list[str] = field(default_factory=list)

    def run(self, port: int) -> None:
        """Until the connection breaks. What a dying server left unanswered is sent again first."""
        link = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        try:
            while True:
                unanswered = len(self.sent) > len(self.acknowledged)
                self.post(link, self.sent[-1] if unanswered else self.next_batch())
        except (OSError, http.client.HTTPException):
            return
        finally:
            link.close()

    def next_batch(self) -> list[int]:
        """Instants that no other writer uses, in hours that all writers share."""
        first = len(self.sent) * BATCH
        self.sent.append([START + (first + k) * 7_000 + self.number for k in range(BATCH)])
        return self.sent[-1]

    def post(self, link: http.client.HTTPConnection, batch: list[int]) -> None:
        rows = [
            {"gauge": "nursery-temperature", "value": value_at(at_ms), "at": instant_text(at_ms)}
            for at_ms in batch
        ]
        self.ask(link, "POST", "/v1/readings", {"readings": rows}, 200)
        self.acknowledged.append(batch)
        note = str(uuid.uuid4())
        self.ask(link, "PUT", f"/v1/journal/{note}", {"words": "Posted."}, 201)
        self.notes.append(note)

    def ask(self, link: http.client.HTTPConnection, method: str, path: str, body: Any, wanted: int) -> None:
        headers = {"Authorization": f"Bearer {self.secret}", "Content-Type": "application/json"}
        link.request(method, path, json.dumps(body), headers)
        answered = link.getresponse()
        said = answered.read()
        if answered.status != wanted:
            self.troubles.append(f"{answered.status} {said[:300]!r}")
            raise http.client.HTTPException


def value_at(at_ms: int) -> float:
    return 20 + at_ms % 97 / 10


def serve(file: Path) -> tuple[subprocess.Popen[str], int]:
    process = subprocess.Popen(
        [sys.executable, "-m", "weirbook", "serve", "--port", "0"],
        env={"WEIRBOOK_DATABASE_URL": sqlite_url(file), "PYTHONPATH": ":".join(sys.path)},
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    for line in process.stderr:
        if found := re.search(r"http://127\.0\.0\.1:(\d+)", line):
            return process, int(found[1])
    raise AssertionError("the server ended without serving")


def kill_at_random(file: Path, secret: str, moments: random.Random, rounds: int) -> None:
    writers = [Writer(number, secret) for number in range(WRITERS)]
    for _ in range(rounds):
        process, port = serve(file)
        threads = [threading.Thread(target=writer.run, args=(port,)) for writer in writers]
        try:
            for thread in threads:
                thread.start()
            time.sleep(moments.uniform(0.02, 0.6))
        finally:
            process.kill()
            process.communicate()
            for thread in threads:
                thread.join()
        assert [writer.troubles for writer in writers] == [[]] * WRITERS
        verify(file, writers)
    assert sum(len(writer.acknowledged) for writer in writers) > rounds


def verify(file: Path, writers: list[Writer]) -> None:
    check(file)
    with closing(sqlite3.connect(file)) as connection:
        rows = connection.execute("SELECT at_ms, value FROM reading ORDER BY at_ms").fetchall()
        hours = connection.execute(
            "SELECT hour, n, total, squares, low, high, first_ms, last_ms, area, covered_ms FROM reading_hour ORDER BY hour"
        ).fetchall()
        notes = {
            str(uuid.UUID(row[0])) for row in connection.execute("SELECT id FROM journal_entry").fetchall()
        }
    there = dict(rows)
    assert len(there) == len(rows)
    for writer in writers:
        for batch in writer.sent:
            found = [at_ms for at_ms in batch if at_ms in there]
            assert found in ([], batch), "a batch was stored by halves"
        for batch in writer.acknowledged:
            assert [there.get(at_ms) for at_ms in batch] == [value_at(at_ms) for at_ms in batch]
        assert notes >= set(writer.notes)
    assert set(there) <= {at_ms for writer in writers for batch in writer.sent for at_ms in batch}
    by_hour: dict[int, list[Point]] = defaultdict(list)
    for at_ms, value in rows:
        by_hour[at_ms // HOUR_MS].append(Point(at_ms, value))
    assert [row[0] for row in hours] == sorted(by_hour)
    for kept in hours:
        fresh = roll(by_hour[kept[0]], Join.LINE, GAP_MS)[kept[0]]._asdict()
        names = ("hour", "n", "total", "squares", "low", "high", "first_ms", "last_ms", "area", "covered_ms")
        assert kept == pytest.approx(tuple(fresh[name] for name in names))


@pytest.mark.parametrize("rounds", [5, pytest.param(200, marks=pytest.mark.slow)])
def test_a_killed_server_has_every_reading_it_acknowledged_once(
    furnished_template: tuple[Path, str], tmp_path: Path, rounds: int
) -> None:
    template, secret = furnished_template
    shutil.copy(template, tmp_path / "room.db")
    kill_at_random(tmp_path / "room.db", secret, random.Random(20261125), rounds)
