"""Two servers on one SQLite file: the second is refused, whatever became of the first; commands go on beside it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from faults.served import START, Line, readings, serving, value_at, whole

from weirbook.config import sqlite_url


def test_a_second_server_is_refused_in_clear_words_and_a_next_one_is_not(
    furnished_template: tuple[Path, str], tmp_path: Path
) -> None:
    template, secret = furnished_template
    file = tmp_path / "room.db"
    shutil.copy(template, file)
    with serving(sqlite_url(file), tmp_path / "log") as first, Line(first.port, secret) as line:
        assert line("POST", "/v1/readings", readings([START])).status == 200
        with (
            pytest.raises(AssertionError, match=r"Another server serves .*room\.db already"),
            serving(sqlite_url(file), tmp_path / "second"),
        ):
            pass
        assert "Traceback" not in (tmp_path / "second").read_text()
        assert line("POST", "/v1/readings", readings([START + 1000])).status == 200
        first.kill()
    with serving(sqlite_url(file), tmp_path / "log"):
        pass
    assert whole(file) == {at_ms: value_at(at_ms) for at_ms in (START, START + 1000)}


def test_commands_work_beside_a_server_under_load(
    furnished_template: tuple[Path, str], tmp_path: Path
) -> None:
    template, secret = furnished_template
    file = tmp_path / "room.db"
    shutil.copy(template, file)
    acknowledged: dict[int, float] = {}
    done = threading.Event()

    def ingest(number: int) -> None:
        with Line(server.port, secret) as line:
            count = 0
            while not done.is_set():
                instants = [START + (count * 20 + k) * 7_000 + number for k in range(20)]
                answer = line("POST", "/v1/readings", readings(instants))
                assert answer.status == 200, answer
                acknowledged.update((at_ms, value_at(at_ms)) for at_ms in instants)
                count += 1

    with serving(sqlite_url(file), tmp_path / "log") as server:
        writers = [threading.Thread(target=ingest, args=(number,)) for number in range(2)]
        for writer in writers:
            writer.start()
        try:
            new = command(file, "key", "add", "--role", "viewer", "--name", "Spreadsheet").strip()
            command(file, "backup", str(tmp_path / "copy.db"))
        finally:
            done.set()
            for writer in writers:
                writer.join()
        with Line(server.port, new) as viewer:
            assert viewer("GET", "/v1/tanks/nursery").status == 200
    assert whole(file) == acknowledged
    assert whole(tmp_path / "copy.db").items() <= acknowledged.items()


def command(file: Path, *words: str) -> str:
    """What a command on the same machine prints."""
    return subprocess.run(
        [sys.executable, "-m", "weirbook", *words],
        env={**os.environ, "WEIRBOOK_DATABASE_URL": sqlite_url(file), "PYTHONPATH": ":".join(sys.path)},
        check=True,
        capture_output=True,
        text=True,
        timeout=60,
    ).stdout
