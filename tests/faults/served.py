"""The real command in a process of its own, callers over HTTP, and what must hold of a file whatever befell it."""

from __future__ import annotations

import http.client
import json
import os
import re
import sqlite3
import subprocess
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from weirbook.engine.relations.rollups import HOUR_MS, Hour, Join, Point, roll
from weirbook.engine.times import instant_text
from weirbook.record.backups import check

START = 1_763_632_800_000
GAP_MS = 1_800_000
"""Three of the furnished gauge's expected intervals of 10 minutes."""


@dataclass(frozen=True)
class Server:
    """A server that listens, and the file that its words go to."""

    process: subprocess.Popen[str]
    port: int
    log: Path

    def kill(self) -> None:
        """End it as a pulled plug would."""
        self.process.kill()
        self.process.wait()

    def end(self) -> None:
        """Tell it to end, and wait until what is under way is answered."""
        self.process.terminate()
        self.process.wait(timeout=30)


def launch(
    url: str,
    log: Path,
    *,
    run: Sequence[str] = ("-m", "weirbook"),
    environment: Mapping[str, str] | None = None,
) -> subprocess.Popen[str]:
    """Start `python -m weirbook serve` without waiting for it."""
    with log.open("a") as words:
        return subprocess.Popen(
            [sys.executable, *run, "serve", "--port", "0"],
            env={"WEIRBOOK_DATABASE_URL": url, "PYTHONPATH": ":".join(sys.path), **(environment or {})},
            stdout=words,
            stderr=words,
            text=True,
        )


def start(
    url: str,
    log: Path,
    *,
    run: Sequence[str] = ("-m", "weirbook"),
    environment: Mapping[str, str] | None = None,
) -> Server:
    """Start a server; back once it listens. Raises AssertionError with its words if it ends instead."""
    seen = log.stat().st_size if log.exists() else 0
    process = launch(url, log, run=run, environment=environment)
    while True:
        ended = process.poll() is not None
        said = log.read_text()[seen:]
        if found := re.search(r"http://127\.0\.0\.1:(\d+)  ", said):
            return Server(process, int(found[1]), log)
        assert not ended, f"the server ended without serving: {said}"
        time.sleep(0.01)


@contextmanager
def serving(
    url: str,
    log: Path,
    *,
    run: Sequence[str] = ("-m", "weirbook"),
    environment: Mapping[str, str] | None = None,
) -> Iterator[Server]:
    """A server for the length of a block; told to end at its end, unless it is dead already."""
    server = start(url, log, run=run, environment=environment)
    try:
        yield server
        if server.process.poll() is None:
            server.end()
    finally:
        if server.process.poll() is None:
            server.kill()


@dataclass(frozen=True)
class Answer:
    """What a request came to."""

    status: int
    headers: Mapping[str, str]
    body: Any
    seconds: float


class Line:
    """One connection of a caller with a key. Breaks as connections do: OSError, http.client.HTTPException."""

    def __init__(self, port: int, secret: str, timeout: float = 30) -> None:
        self.link = http.client.HTTPConnection("127.0.0.1", port, timeout=timeout)
        self.secret = secret

    def __call__(self, method: str, path: str, body: Any = None, **headers: str) -> Answer:
        """`body` is sent as JSON; headers are named with underscores: If_Match='*'."""
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        sent |= {"Authorization": f"Bearer {self.secret}", "Content-Type": "application/json"}
        begun = time.monotonic()
        self.link.request(method, path, None if body is None else json.dumps(body), sent)
        answered = self.link.getresponse()
        said = answered.read()
        return Answer(
            answered.status,
            dict(answered.headers),
            json.loads(said) if said else None,
            time.monotonic() - begun,
        )

    def text(self, path: str) -> str:
        """What a path gives that is no JSON."""
        self.link.request("GET", path, headers={"Authorization": f"Bearer {self.secret}"})
        answered = self.link.getresponse()
        said = answered.read().decode()
        assert answered.status == 200, said
        return said

    def close(self) -> None:
        self.link.close()

    def __enter__(self) -> Line:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def value_at(at_ms: int) -> float:
    """The value that tests post at an instant, so that what is found can be told from what was sent."""
    return 20 + at_ms % 97 / 10


def reading(at_ms: int) -> dict[str, Any]:
    """One row of a body of readings."""
    return {"gauge": "nursery-temperature", "value": value_at(at_ms), "at": instant_text(at_ms)}


def readings(instants: Sequence[int]) -> dict[str, Any]:
    """A body of readings."""
    return {"readings": [reading(at_ms) for at_ms in instants]}


def refused_clearly(answer: Answer) -> bool:
    """Whether an answer says, as a problem document, that the same may be asked again soon."""
    return (
        answer.status in (503, 507)
        and answer.headers["Content-Type"] == "application/problem+json"
        and answer.body["status"] == answer.status
        and int(answer.headers["Retry-After"]) > 0
    )


def rows_of(file: Path, query: str) -> list[tuple[Any, ...]]:
    """The rows of a query on a database file."""
    with closing(sqlite3.connect(file, timeout=30)) as connection:
        return connection.execute(query).fetchall()


def form_of(file: Path) -> str:
    """The form a file is in, as migrations number them."""
    return str(rows_of(file, "SELECT version_num FROM alembic_version")[0][0])


def whole(file: Path) -> dict[int, float]:
    """Hold a file to be sound and its record to be whole. Its readings."""
    check(file)
    return whole_record(lambda query: rows_of(file, query), logs=keeps_a_log(file))


def keeps_a_log(file: Path) -> bool:
    """Whether a file has a log of changes: the first forms had none."""
    return bool(rows_of(file, "SELECT 1 FROM sqlite_schema WHERE name = 'change'"))


def whole_record(ask: Callable[[str], Sequence[Sequence[Any]]], *, logs: bool = True) -> dict[int, float]:
    """Hold a record to have its rollups equal to raw and no hole in its log of changes. Its readings."""
    rows = [
        (int(at_ms), float(value)) for at_ms, value in ask("SELECT at_ms, value FROM reading ORDER BY at_ms")
    ]
    there = dict(rows)
    assert len(there) == len(rows)
    by_hour: dict[int, list[Point]] = defaultdict(list)
    for at_ms, value in rows:
        by_hour[at_ms // HOUR_MS].append(Point(at_ms, value))
    hours = ask(f"SELECT {', '.join(Hour._fields)} FROM reading_hour ORDER BY hour")
    assert [row[0] for row in hours] == sorted(by_hour)
    for kept in hours:
        assert tuple(kept) == pytest.approx(tuple(roll(by_hour[kept[0]], Join.LINE, GAP_MS)[kept[0]]))
    numbers = defaultdict(list)
    for room_id, number in ask("SELECT room_id, number FROM change ORDER BY room_id, number") if logs else ():
        numbers[room_id].append(number)
    for found in numbers.values():
        assert found == list(range(1, len(found) + 1)), "the log of changes has a hole"
    return there


@contextmanager
def small_disk(folder: Path, kilobytes: int) -> Iterator[Path]:
    """A disk of its own at a new folder, which only root may mount: skips the test where that isn't allowed."""
    folder.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "none", str(folder)],
        capture_output=True,
        text=True,
        check=False,
    )
    if mounted.returncode != 0:
        pytest.skip(f"a small disk can't be mounted here: {mounted.stderr.strip()}")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(disk: Path, leave_kilobytes: int = 0) -> Path:
    """Fill a disk but for so much; the file that does it."""
    ballast = disk / "ballast"
    with ballast.open("wb", buffering=0) as out:
        try:
            while out.write(b"\0" * 4096):
                pass
        except OSError:
            pass
    os.truncate(ballast, max(0, ballast.stat().st_size - leave_kilobytes * 1024))
    return ballast
