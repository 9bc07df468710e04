"""The demo: it runs, it is the same each time, and its trouble can be found in the week's table."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from datetime import date
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from harness import Caller

from weirbook.app import Service
from weirbook.config import sqlite_url
from weirbook.demo import FILE, curl_lines, furnish
from weirbook.record.database import Database, now_ms
from weirbook.record.migrations import migrate


@pytest.fixture(scope="module")
def once(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """What `weirbook demo --once` prints, run for real."""
    home = tmp_path_factory.mktemp("home")
    done = subprocess.run(
        [sys.executable, "-m", "weirbook", "demo", "--once"],
        env={**os.environ, "XDG_DATA_HOME": str(home)},
        capture_output=True,
        text=True,
        timeout=200,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout, home / "weirbook" / "demo" / FILE


@pytest.fixture
def demo(once: tuple[str, Path], application: Service) -> Caller:
    """A caller without a key on the demo's database."""
    application.database = Database(sqlite_url(once[1]))
    return Caller(application.test_client(), None)


def secret(once: tuple[str, Path], role: str) -> str:
    found = re.search(rf"^  {role} +(wb_\S+)$", once[0], re.MULTILINE)
    assert found is not None
    return found[1]


def test_the_demo_prints_what_it_promises(once: tuple[str, Path]) -> None:
    text, file = once
    assert str(file) in text
    assert "minutes_outside" in text
    assert "turnovers per hour" in text
    assert "net volume" in text
    for role in ("keeper", "helper", "sensor", "viewer", "link"):
        assert secret(once, role)
    assert len(re.findall("^curl ", text, re.MULTILINE)) == 3


def test_the_printed_lines_work_as_they_stand(once: tuple[str, Path], demo: Caller) -> None:
    for line in re.findall("^curl .*", once[0], re.MULTILINE):
        words = shlex.split(line)
        headers = dict(words[i + 1].split(": ", 1) for i, word in enumerate(words) if word == "-H")
        address = urlsplit(words[-1])
        body = words[words.index("-d") + 1] if "-d" in words else None
        sent = {name.replace("-", "_"): value for name, value in headers.items()}
        answered = demo("POST" if body else "GET", f"{address.path}?{address.query}", body, **sent)
        assert answered.status_code == 200, (line, answered.get_data(as_text=True))
    assert answered.mimetype == "text/csv"


def test_thirteen_weeks_of_six_systems_and_more_are_there(once: tuple[str, Path], demo: Caller) -> None:
    keeper = Caller(demo.client, secret(once, "keeper"))
    assert len(keeper.get("/v1/systems").get_json()["items"]) >= 6
    for weeks in (1, 13):
        week = keeper.get("/v1/summaries/weekly").get_json()
        monday = week["from"][:10]
        path = f"/v1/readings?gauge=stream-temperature&from={monday}T00:00:00Z&to={monday}T01:00:00Z&limit=10"
        assert len(keeper.get(path).get_json()["items"]) == 6, weeks
    shapes = {tank["footprint"]["shape"] for tank in keeper.get("/v1/tanks").get_json()["items"]}
    assert len(shapes) >= 5


def test_the_fading_heater_is_found_in_the_weeks_table(once: tuple[str, Path], demo: Caller) -> None:
    """Its mean is inside the target, its nights are not, and no other system is outside its own."""
    keeper = Caller(demo.client, secret(once, "keeper"))
    rows = keeper.get("/v1/summaries/weekly").get_json()["rows"]
    outside = {row["gauge"]: row for row in rows if row["minutes_outside"]}
    assert list(outside) == ["stream-temperature"]
    stream = outside["stream-temperature"]
    assert stream["min"] < stream["target_low"] < stream["mean"] < stream["target_high"]
    assert stream["minutes_outside"] > 60 * 7


def test_a_gauge_fell_silent_in_the_last_week(once: tuple[str, Path], demo: Caller) -> None:
    keeper = Caller(demo.client, secret(once, "keeper"))
    silent = keeper.get("/v1/summaries/weekly").get_json()["silent"]
    assert [one["gauge"] for one in silent] == ["teen-temperature"]


def test_the_demo_is_the_same_each_time(tmp_path: Path) -> None:
    now = now_ms()
    found = []
    for number in range(2):
        database = Database(sqlite_url(tmp_path / f"{number}.db"))
        migrate(database)
        furnish(database, now_ms=now, weeks=1)
        with database.engine.connect() as connection:
            found.append(
                connection.exec_driver_sql(
                    "SELECT gauge_id, at_ms, value, mark FROM reading ORDER BY 1, 2"
                ).fetchall()
            )
        database.dispose()
    assert len(found[0]) > 10_000
    assert found[0] == found[1]


def test_the_printed_addresses_are_quoted() -> None:

    lines = curl_lines(
        {"sensor": "a", "viewer": "b", "link": "c"}, "http://127.0.0.1:1/v1", date(2026, 11, 16)
    )
    assert "flow=900%20gal%2Fh" in lines[1]
    assert all(" " not in shlex.split(line)[-1] for line in lines)
