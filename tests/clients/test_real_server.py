"""The clients against a real server process: nothing lost, nothing doubled, tables as the recipes say."""

from __future__ import annotations

import csv
import io
import os
import re
import shutil
import signal
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from harness import Caller

from weirbook.actions.make_key import make_key
from weirbook.app import Service
from weirbook.config import sqlite_url
from weirbook.record.access import Role
from weirbook.record.database import Database, enter_room, now_ms


class Server:
    """A server process on one database file, at one port through all its restarts."""

    def __init__(self, file: Path) -> None:
        self.file, self.port = file, 0
        self.process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "weirbook", "serve", "--port", str(self.port)],
            env={**os.environ, "WEIRBOOK_DATABASE_URL": sqlite_url(self.file)},
            stderr=subprocess.PIPE,
            text=True,
        )
        assert self.process.stderr is not None
        line = next(line for line in self.process.stderr if "serves" in line)
        self.port = int(re.findall(r":(\d+)", line)[0])

    def kill(self, how: signal.Signals = signal.SIGKILL) -> None:
        if self.process is not None:
            self.process.send_signal(how)
            self.process.communicate()
            self.process = None

    def get(self, path: str, key: str | None = None) -> str:
        headers = {"Authorization": f"Bearer {key}"} if key else {}
        asked = urllib.request.Request(f"http://127.0.0.1:{self.port}{path}", headers=headers)
        with urllib.request.urlopen(asked, timeout=10) as answered:
            return str(answered.read().decode())


@pytest.fixture
def keys(furnished: Caller, app: Service, room_id: int) -> dict[str, str]:
    """The furnished room with a gauge pond-a, a sensor key for it and a link key."""
    pond = {
        "name": "Pond a",
        "parameter": "temperature",
        "place": "tanks/nursery",
        "expected_interval": "10 min",
    }
    assert furnished.post("/v1/gauges", pond).status_code == 201
    with app.database.write() as session:
        enter_room(session, room_id)
        _, sensor = make_key(session, name="Probe", role=Role.SENSOR, now=now_ms(), gauges=["pond-a"])
        _, link = make_key(session, name="Sheet", role=Role.VIEWER, now=now_ms(), for_links=True)
    app.database.dispose()
    return {"sensor": sensor, "link": link, "keeper": furnished.secret or ""}


@pytest.fixture
def server(keys: dict[str, str], app: Service) -> Iterator[Server]:
    assert app.database.file is not None
    running = Server(app.database.file)
    running.start()
    yield running
    running.kill()


def values(file: Path) -> list[float]:
    database = Database(sqlite_url(file))
    with database.engine.connect() as connection:
        found = [row[0] for row in connection.exec_driver_sql("SELECT value FROM reading ORDER BY value")]
    database.dispose()
    return found


def test_every_line_arrives_once(server: Server, keys: dict[str, str], probe: Any) -> None:
    status, said = probe.once(server.port, "24.1\n24.2\n24.3\n", key=keys["sensor"])
    assert status == 0, said
    assert values(server.file) == [24.1, 24.2, 24.3]


def test_a_server_killed_between_lines_loses_and_doubles_nothing(
    server: Server, keys: dict[str, str], probe: Any
) -> None:
    process = probe.start(server.port, key=keys["sensor"])
    sent = []
    for turn in range(3):
        for number in range(20):
            sent.append(20 + turn + number / 100)
            probe.print(process, sent[-1])
        server.kill()
        probe.print(process, 30 + turn)
        sent.append(30 + turn)
        server.start()
    probe.until(lambda: len(values(server.file)) == len(sent))
    assert probe.finish(process)[0] == 0
    assert values(server.file) == sorted(sent)


def test_a_client_killed_at_any_moment_loses_and_doubles_nothing(
    server: Server, keys: dict[str, str], probe: Any
) -> None:
    for turn in range(4):
        process = probe.start(server.port, key=keys["sensor"])
        probe.print(process, *(20 + turn + number / 100 for number in range(10)))
        probe.until(lambda turn=turn: len(values(server.file)) + len(probe.waiting()) >= turn * 10 + 5)
        process.kill()
        process.communicate()
    stamped = len(values(server.file)) + len(probe.waiting())
    assert probe.once(server.port, "", key=keys["sensor"])[0] == 0
    kept = values(server.file)
    assert len(kept) == len(set(kept))
    assert 20 <= len(kept) <= stamped


def test_refused_rows_are_set_aside_and_block_nothing(
    server: Server, keys: dict[str, str], probe: Any
) -> None:
    status, _ = probe.once(server.port, "24.1\n900\nnothing-such 24.2\n24.3\n", key=keys["sensor"])
    assert status == 0
    assert values(server.file) == [24.1, 24.3]
    assert [one["type"] for one in probe.refused()] == ["impossible-value", "unknown-gauge"]


def test_a_wrong_key_keeps_everything_until_it_is_mended(
    server: Server, keys: dict[str, str], probe: Any
) -> None:
    status, _ = probe.once(server.port, "24.1\n", key="wb_wrong")
    assert status == 75
    assert len(probe.waiting()) == 1
    assert probe.once(server.port, "24.2\n", key=keys["sensor"])[0] == 0
    assert values(server.file) == [24.1, 24.2]


def test_the_week_is_pulled_as_a_table_with_a_link_key(
    server: Server, keys: dict[str, str], probe: Any
) -> None:
    probe.once(server.port, "24.1\n24.2\n", key=keys["sensor"])
    week = server.get(f"/v1/summaries/weekly?week={_this_week()}&format=csv&key={keys['link']}")
    rows = {row["gauge"]: row for row in csv.DictReader(io.StringIO(week))}
    assert (rows["pond-a"]["count"], rows["pond-a"]["max"], rows["pond-a"]["unit"]) == ("2", "24.2", "degC")
    full = server.get(f"/v1/summaries/weekly?format=csv&key={keys['link']}")
    assert full.splitlines()[0] == week.splitlines()[0]


def test_one_cell_asks_for_one_number(server: Server, keys: dict[str, str]) -> None:
    path = "/v1/systems/rill/answers/turnover?flow=900%20gal/h&result=turnovers_per_hour&unit=1/h&format=text"
    number = float(server.get(f"{path}&key={keys['link']}"))
    assert number == pytest.approx(900 * 3.785411784 / 333.75)


def test_a_revoked_link_key_opens_nothing(server: Server, keys: dict[str, str]) -> None:
    asked = urllib.request.Request(
        f"http://127.0.0.1:{server.port}/v1/keys/sheet",
        method="DELETE",
        headers={"Authorization": f"Bearer {keys['keeper']}", "If-Match": "*"},
    )
    assert urllib.request.urlopen(asked, timeout=10).status == 204
    with pytest.raises(urllib.error.HTTPError, match="401"):
        server.get(f"/v1/tanks?format=csv&key={keys['link']}")


@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not on this machine")
def test_libreoffice_reads_the_week(server: Server, keys: dict[str, str], probe: Any, tmp_path: Path) -> None:
    probe.once(server.port, "24.1\n24.25\n", key=keys["sensor"])
    sheet = tmp_path / "week.csv"
    sheet.write_text(
        server.get(f"/v1/summaries/weekly?week={_this_week()}&format=csv&key={keys['link']}"),
        encoding="utf-8",
    )
    as_english = "--infilter=CSV:44,34,76,1,,1033,false,true"
    subprocess.run(
        [
            "soffice",
            "--headless",
            f"-env:UserInstallation=file://{tmp_path}/profile",
            as_english,
            "--convert-to",
            "ods",
            "--outdir",
            str(tmp_path),
            str(sheet),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    subprocess.run(
        [
            "soffice",
            "--headless",
            f"-env:UserInstallation=file://{tmp_path}/profile",
            "--convert-to",
            "csv:Text - txt - csv (StarCalc):44,34,76",
            "--outdir",
            str(tmp_path / "back"),
            str(tmp_path / "week.ods"),
        ],
        check=True,
        capture_output=True,
        timeout=120,
    )
    rows = list(csv.DictReader(io.StringIO((tmp_path / "back" / "week.csv").read_text(encoding="utf-8"))))
    pond = next(row for row in rows if row["gauge"] == "pond-a")
    assert float(pond["max"]) == 24.25


def _this_week() -> str:
    return datetime.now(UTC).strftime("%G-W%V")
