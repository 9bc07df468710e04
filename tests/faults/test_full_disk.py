"""A full disk: refused in clear words, nothing half-written, and well again by itself once there is room."""

from __future__ import annotations

import http.client
import shutil
from pathlib import Path

import pytest
from faults.served import (
    START,
    Answer,
    Line,
    fill,
    readings,
    refused_clearly,
    rows_of,
    serving,
    small_disk,
    value_at,
    whole,
)

from weirbook.config import sqlite_url

BATCH = 200
LOG_CAP = 1_100 * (4096 + 24)
"""SQLite writes its log back at 1000 pages of 4096 bytes (24 more for each page's header): 1000, and one transaction."""


def batch(number: int) -> list[int]:
    return [START + (number * BATCH + k) * 1000 for k in range(BATCH)]


def fill_up(line: Line) -> tuple[dict[int, float], int]:
    """Post batches and notes until five batches were refused: the readings and the number of notes acknowledged."""
    acknowledged: dict[int, float] = {}
    notes, refused, number = 0, 0, 0
    while refused < 5:
        number += 1
        answer = line("POST", "/v1/readings", readings(batch(number)))
        if answer.status == 200:
            acknowledged |= {at_ms: value_at(at_ms) for at_ms in batch(number)}
        else:
            assert refused_because_of_the_disk(answer)
            refused += 1
        written = line("POST", "/v1/journal", {"words": "Seen."})
        assert written.status == 201 or refused_because_of_the_disk(written)
        notes += written.status == 201
        assert line("GET", "/v1/tanks/nursery").status == 200
    return acknowledged, notes


def refused_because_of_the_disk(answer: Answer) -> bool:
    return refused_clearly(answer) and "disk" in answer.body["detail"]


def test_on_a_full_disk_nothing_is_half_written_and_all_goes_on_once_there_is_room(
    furnished_template: tuple[Path, str], tmp_path: Path
) -> None:
    template, secret = furnished_template
    with small_disk(tmp_path / "disk", 4096) as disk:
        file = disk / "room.db"
        shutil.copy(template, file)
        with serving(sqlite_url(file), tmp_path / "log") as server, Line(server.port, secret) as line:
            ballast = fill(disk, leave_kilobytes=600)
            acknowledged, notes = fill_up(line)
            assert acknowledged and notes
            assert line("GET", "/v1/summaries/weekly?week=2025-W47").status == 200
            ballast.unlink()
            assert line("POST", "/v1/readings", readings(batch(0))).body["stored"] == BATCH
            acknowledged |= {at_ms: value_at(at_ms) for at_ms in batch(0)}
        assert whole(file) == acknowledged
        assert rows_of(file, "SELECT count(*) FROM journal_entry") == [(notes,)]


def test_a_disk_that_is_full_at_the_start_is_named_and_the_next_start_is_well(
    furnished_template: tuple[Path, str], tmp_path: Path
) -> None:
    template, secret = furnished_template
    with small_disk(tmp_path / "disk", 4096) as disk:
        file = disk / "room.db"
        shutil.copy(template, file)
        ballast = fill(disk)
        with (
            pytest.raises(AssertionError, match=r"(The|Is the|or) disk"),
            serving(sqlite_url(file), tmp_path / "log"),
        ):
            pass
        assert "Traceback" not in (tmp_path / "log").read_text()
        ballast.unlink()
        with serving(sqlite_url(file), tmp_path / "log") as server, Line(server.port, secret) as line:
            assert line("POST", "/v1/readings", readings([START])).body["stored"] == 1
        assert whole(file) == {START: value_at(START)}


def test_the_log_of_transactions_does_not_grow_without_end(
    furnished_template: tuple[Path, str], tmp_path: Path
) -> None:
    template, secret = furnished_template
    with small_disk(tmp_path / "disk", 32_768) as disk:
        file, log = disk / "room.db", disk / "room.db-wal"
        shutil.copy(template, file)
        sizes = []
        with serving(sqlite_url(file), tmp_path / "log") as server, Line(server.port, secret) as line:
            while file.stat().st_size < 1.5 * LOG_CAP:
                assert line("POST", "/v1/journal", {"words": "Seen. " * 3_000}).status == 201
                sizes.append(log.stat().st_size)
        assert LOG_CAP / 2 < max(sizes) < LOG_CAP
        assert not log.exists(), "a server that ends well leaves one file"


def test_without_room_for_temporary_files_long_bodies_are_cut_and_everything_else_goes_on(
    furnished_template: tuple[Path, str], tmp_path: Path
) -> None:
    """A body over a megabyte waits in a temporary file; answers of any length need none."""
    template, secret = furnished_template
    file = tmp_path / "room.db"
    shutil.copy(template, file)
    some, many = ([START + k * 1000 for k in range(count)] for count in (12_000, 16_000))
    week = (
        "/v1/readings?gauge=nursery-temperature&format=csv&from=2025-11-20T00:00:00Z&to=2025-11-27T00:00:00Z"
    )
    with (
        small_disk(tmp_path / "disk", 4096) as disk,
        serving(sqlite_url(file), tmp_path / "log", environment={"TMPDIR": str(disk)}) as server,
        Line(server.port, secret) as line,
    ):
        assert line("POST", "/v1/readings", readings(many)).body["stored"] == len(many)
        ballast = fill(disk)
        later = readings([at_ms + 86_400_000 for at_ms in many])
        with pytest.raises((OSError, http.client.HTTPException)):
            line("POST", "/v1/readings", later)
        line.close()
        assert line("POST", "/v1/readings", readings(some)).body["repeated"] == len(some)
        assert len(line.text(week).splitlines()) == 1 + len(many)
        ballast.unlink()
        assert line("POST", "/v1/readings", later).body["stored"] == len(many)
    assert len(whole(file)) == 2 * len(many)
