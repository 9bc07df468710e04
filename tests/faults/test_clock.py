"""The machine's clock steps back, as it does when a time service corrects it: order and identity don't rest on it."""

from __future__ import annotations

import http.client
import shutil
import time
import uuid
from pathlib import Path

from faults.served import Line, keeps_a_log, rows_of, serving, whole

from weirbook.config import sqlite_url
from weirbook.engine.times import instant_text

HOUR_MS = 3_600_000
LAUNCHER = """
import sys, time
from pathlib import Path

real = time.time_ns
shift = Path(sys.argv.pop(1))
time.time_ns = lambda: real() + int(shift.read_text()) * 1_000_000
time.time = lambda: time.time_ns() / 1e9

from weirbook.cli import main

main()
"""


def set_clock(shift: Path, milliseconds: int) -> None:
    """Set the server's clock off from the true one, in one step."""
    fresh = shift.with_suffix(".new")
    fresh.write_text(str(milliseconds))
    fresh.replace(shift)


def test_a_clock_that_steps_back_breaks_nothing(furnished_template: tuple[Path, str], tmp_path: Path) -> None:
    template, secret = furnished_template
    file, shift, launcher = tmp_path / "room.db", tmp_path / "shift", tmp_path / "launcher.py"
    shutil.copy(template, file)
    launcher.write_text(LAUNCHER)
    set_clock(shift, 0)
    in_half_an_hour = instant_text(time.time_ns() // 1_000_000 + HOUR_MS // 2)
    made: list[str] = []

    def note(words: str) -> str:
        """A server that takes the hour that was skipped for idleness may drop the connection once: a retry is safe."""
        try:
            answer = line("POST", "/v1/journal", {"words": words}, Idempotency_Key=words)
        except (ConnectionError, http.client.HTTPException):
            line.link.close()
            answer = line("POST", "/v1/journal", {"words": words}, Idempotency_Key=words)
        assert answer.status == 201
        return str(answer.body["id"])

    with (
        serving(sqlite_url(file), tmp_path / "log", run=(str(launcher), str(shift))) as server,
        Line(server.port, secret) as line,
    ):
        key = line("POST", "/v1/keys", {"role": "viewer", "name": "Guest", "expires_at": in_half_an_hour})
        assert key.status == 201
        made.append(note("first"))
        for hours in (1, -1, -48, 0):
            set_clock(shift, hours * HOUR_MS)
            made += [note(f"{hours} {number}") for number in range(50)]
            assert note("first") == made[0], "a retry is known again whatever the clock says"
            with Line(server.port, key.body["key"]) as guest:
                assert guest("GET", "/v1/tanks/nursery").status == (401 if hours > 0 else 200)
            body = {"gauge": "nursery-temperature", "value": 24 + hours / 100}
            assert line("POST", "/v1/readings", body).body["stored"] == 1
            assert line("PATCH", "/v1/tanks/nursery", {"notes": str(hours)}, If_Match="*").status == 200
            assert line("GET", "/v1/findings").status == 200
    assert len(set(made)) == len(made)
    assert {uuid.UUID(name).version for name in made} == {7}
    assert len(whole(file)) == 4
    if keeps_a_log(file):
        told = [subject for (subject,) in rows_of(file, "SELECT subject FROM change ORDER BY number")]
        assert [subject for subject in told if subject in made] == made
