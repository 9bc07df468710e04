"""A disk that fails or turns read-only: refused in clear words, reads go on where they can, well again by itself."""

from __future__ import annotations

import resource
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from faults.served import (
    START,
    Answer,
    Line,
    Server,
    readings,
    refused_clearly,
    rows_of,
    serving,
    small_disk,
    value_at,
    whole,
)

from weirbook.config import sqlite_url


def remount(disk: Path, manner: str) -> None:
    """Make a disk read-only (ro) or not (rw): root is bound by that, as it is not by permissions."""
    subprocess.run(["mount", "-o", f"remount,{manner}", str(disk)], check=True)


@contextmanager
def no_writing(server: Server) -> Iterator[None]:
    """Every write of the server's process to any file fails, as on a disk that its system has given up."""
    allowed = resource.prlimit(server.process.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(server.process.pid, resource.RLIMIT_FSIZE, (0, allowed[1]))
    try:
        yield
    finally:
        resource.prlimit(server.process.pid, resource.RLIMIT_FSIZE, allowed)


def writes(line: Line, at_ms: int) -> list[Answer]:
    """One of each kind of write: readings, a record under its own id, an edit."""
    return [
        line("POST", "/v1/readings", readings([at_ms])),
        line("PUT", f"/v1/journal/01936c5e-8f00-7000-8000-{at_ms - START:012d}", {"words": "Seen."}),
        line("PATCH", "/v1/tanks/nursery", {"notes": str(at_ms)}, If_Match="*"),
    ]


@pytest.mark.skipif(not hasattr(resource, "prlimit"), reason="only Linux limits a process from outside")
def test_while_writes_fail_reads_go_on_and_all_is_well_afterwards(
    furnished_template: tuple[Path, str], tmp_path: Path
) -> None:
    template, secret = furnished_template
    file = tmp_path / "room.db"
    shutil.copy(template, file)
    with serving(sqlite_url(file), tmp_path / "log") as server, Line(server.port, secret) as line:
        assert [answer.status for answer in writes(line, START)] == [200, 201, 200]
        with no_writing(server):
            for _ in range(3):
                assert all(refused_clearly(answer) for answer in writes(line, START + 1000))
                assert line("GET", "/v1/tanks/nursery").body["notes"] == str(START)
        assert [answer.status for answer in writes(line, START + 1000)] == [200, 201, 200]
    assert whole(file) == {at_ms: value_at(at_ms) for at_ms in (START, START + 1000)}
    assert rows_of(file, "SELECT count(*) FROM journal_entry") == [(2,)]


def test_on_a_disk_that_is_read_only_from_the_start_reads_go_on_and_writes_once_it_is_not(
    furnished_template: tuple[Path, str], tmp_path: Path
) -> None:
    """As after a power cut, which leaves SQLite's log beside the file."""
    template, secret = furnished_template
    with small_disk(tmp_path / "disk", 8192) as disk:
        file = disk / "room.db"
        shutil.copy(template, file)
        with serving(sqlite_url(file), tmp_path / "log") as server, Line(server.port, secret) as line:
            assert line("POST", "/v1/readings", readings([START])).status == 200
            server.kill()
        remount(disk, "ro")
        with serving(sqlite_url(file), tmp_path / "log") as server, Line(server.port, secret) as line:
            for _ in range(3):
                assert all(refused_clearly(answer) for answer in writes(line, START + 1000))
                assert line("GET", "/v1/tanks/nursery").status == 200
            remount(disk, "rw")
            line("POST", "/v1/readings", readings([START + 1000]))  # finds that its connection is of before
            assert [answer.status for answer in writes(line, START + 1000)] == [200, 201, 200]
        assert whole(file) == {at_ms: value_at(at_ms) for at_ms in (START, START + 1000)}


def test_where_a_read_only_disk_lets_nothing_be_opened_the_start_says_so(
    furnished_template: tuple[Path, str], tmp_path: Path
) -> None:
    """SQLite makes a file beside the database to read it, unless one was left there."""
    template, _ = furnished_template
    with small_disk(tmp_path / "disk", 8192) as disk:
        file = disk / "room.db"
        shutil.copy(template, file)
        remount(disk, "ro")
        with (
            pytest.raises(AssertionError, match=r"(The|Is the|or) disk"),
            serving(sqlite_url(file), tmp_path / "log"),
        ):
            pass
        assert "Traceback" not in (tmp_path / "log").read_text()
        remount(disk, "rw")
