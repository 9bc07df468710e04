"""The demo: it runs, it is the same each time, and its trouble can be found in the week's table."""

from __future__ import annotations

import json
import os
import re
import shlex
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from harness import Caller

from weirbook import demo as demo_room
from weirbook.app import Service
from weirbook.cli import main
from weirbook.config import sqlite_url
from weirbook.demo import FILE, furnish
from weirbook.record.database import Database, now_ms
from weirbook.record.migrations import migrate


@pytest.fixture(scope="module")
def once(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """What `weirbook demo --once` prints, run for real, and the database it named."""
    temporary = tmp_path_factory.mktemp("temporary")
    done = subprocess.run(
        [sys.executable, "-m", "weirbook", "demo", "--once"],
        env={**os.environ, "TMPDIR": str(temporary)},
        capture_output=True,
        text=True,
        timeout=200,
    )
    assert done.returncode == 0, done.stderr
    (file,) = temporary.glob(f"weirbook-demo-*/{FILE}")
    return done.stdout, file


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
    assert "  sections/long-trough-planted-floating-1: The jet at its inlet" in text
    assert len(re.findall("^curl ", text, re.MULTILINE)) == 22


def sent(line: str) -> urllib.request.Request:
    """The request that a printed curl line makes."""
    words = shlex.split(line)
    headers = dict(words[i + 1].split(": ", 1) for i, word in enumerate(words) if word == "-H")
    body = words[words.index("-d") + 1].encode() if "-d" in words else None
    return urllib.request.Request(words[-1], data=body, headers=headers)


@pytest.fixture
def served(once: tuple[str, Path]) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The demo that is kept, served at a free port: its process and what it printed until it served."""
    folder = str(once[1].parent)
    process = subprocess.Popen(
        [sys.executable, "-m", "weirbook", "demo", "--keep", "--folder", folder, "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert process.stdout is not None
    printed = ""
    for line in process.stdout:
        printed += line
        if line.startswith("Weirbook serves"):
            break
    try:
        yield process, printed
    finally:
        process.kill()
        process.communicate()


def test_the_printed_lines_work_as_they_stand(served: tuple[subprocess.Popen[str], str]) -> None:
    """On a demo that was kept and is served for real, with the keys made for this run; Ctrl-C then ends it."""
    process, printed = served
    lines = re.findall("^curl .*", printed, re.MULTILINE)
    answers = []
    for line in lines:
        try:
            answered = urllib.request.urlopen(sent(line), timeout=20)
        except urllib.error.HTTPError as refused:
            answered = refused
        with answered:
            answers.append(
                (
                    answered.status,
                    answered.headers.get_content_type(),
                    answered.read().decode(errors="replace"),
                )
            )
    assert [status for status, _, _ in answers] == [*[200] * 20, 201, 409], answers
    assert '"stored":1' in answers[0][2].replace(" ", "")
    assert answers[1][1] == "text/plain"
    assert 0.1 < float(answers[1][2]) < 100
    assert answers[2][1] == "text/csv"
    assert "stream-temperature" in answers[2][2]
    assert "long-trough-planted-floating-1" in json.loads(answers[3][2])["results"]["worst_section"]
    assert json.loads(answers[4][2])["results"]["days"] == 3
    assert json.loads(answers[5][2])["results"]["verdict"] == "over"
    assert json.loads(answers[6][2])["stopped"][0]["verdict"] == "over"
    assert json.loads(answers[7][2])["results"]["standby_verdict"] == "over"
    assert [answers[8][1], answers[9][1]] == ["image/jpeg", "image/svg+xml"]
    assert "food from" in json.loads(answers[10][2])["nitrate"]["what_changed"]
    assert "To hold 20 mg/L NO3" in json.loads(answers[11][2])["results"]["why"]
    assert json.loads(answers[12][2])["results"]["verdict"] == "ok"
    assert json.loads(answers[13][2])["verdict"] == "none found"
    assert "lid open at tanks/killi-left" in json.loads(answers[14][2])["says"][0]
    meals = {one["gauge"]: one["comparisons"][0] for one in json.loads(answers[15][2])["outcomes"]}
    assert (meals["pool-algae"]["verdict"], meals["pool-algae"]["shape"]) == ("lower", "step")
    assert meals["pool-behaviour"]["verdict"] == "flat"
    moss = {one["method"]: one for one in json.loads(answers[16][2])["items"] if one["kind"] == "java-moss"}
    assert (moss["on_stone"]["lost"], moss["on_wood"]["lost"], moss["on_wood"]["stands"]) == (3, 0, 4)
    short = {one["called"]: one["short"] for one in json.loads(answers[17][2])["items"]}
    assert short["Stream loaches"] == 2
    assert json.loads(answers[18][2])["items"][0]["story"][0]["what"] == "opened"
    assert "Tomas did it already" in json.loads(answers[21][2])["detail"]
    process.send_signal(signal.SIGINT)
    assert process.wait(timeout=20) == 0


def test_thirteen_weeks_of_six_systems_and_more_are_there(once: tuple[str, Path], demo: Caller) -> None:
    keeper = Caller(demo.client, secret(once, "keeper"))
    assert len(keeper.get("/v1/systems").get_json()["items"]) >= 6
    for ago in range(13):
        week = week_ago(keeper, ago)
        counts = {row["gauge"]: row["count"] for row in week["rows"]}
        length = datetime.fromisoformat(week["to"]) - datetime.fromisoformat(week["from"])
        assert counts["stream-temperature"] == length / timedelta(minutes=10), week["week"]
        assert counts["nursery-nitrate-by-hand"] == 1, week["week"]
    assert "stream-temperature" not in {row["gauge"] for row in week_ago(keeper, 13)["rows"] if row["count"]}
    shapes = {tank["footprint"]["shape"] for tank in keeper.get("/v1/tanks").get_json()["items"]}
    assert len(shapes) >= 5


def week_ago(keeper: Caller, weeks: int) -> dict[str, Any]:
    """The weekly summary so many weeks before the last full one."""
    last = keeper.get("/v1/summaries/weekly").get_json()["week"]
    monday = date.fromisocalendar(int(last[:4]), int(last[6:]), 1) - timedelta(days=7 * weeks)
    year, number, _ = monday.isocalendar()
    found: dict[str, Any] = keeper.get(f"/v1/summaries/weekly?week={year}-W{number:02}").get_json()
    return found


def test_the_fading_heater_is_found_in_the_weeks_table(once: tuple[str, Path], demo: Caller) -> None:
    """Its mean is inside the target, its nights are not, and no other system is outside its own."""
    keeper = Caller(demo.client, secret(once, "keeper"))
    rows = keeper.get("/v1/summaries/weekly").get_json()["rows"]
    outside = {row["gauge"]: row for row in rows if row["minutes_outside"]}
    assert list(outside) == ["stream-temperature"]
    stream = outside["stream-temperature"]
    assert stream["min"] < stream["target_low"] < stream["mean"] < stream["target_high"]
    assert stream["minutes_outside"] > 60 * 7


def found(demo: Caller, once: tuple[str, Path], about: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """The room's one finding of that kind to act on, and the answer it came from."""
    keeper = Caller(demo.client, secret(once, "keeper"))
    (row,) = keeper.get(f"/v1/findings?about={about}&verdict=act").get_json()["items"]
    return row, keeper.get(row["origin"]).get_json()


def test_every_finding_names_where_it_came_from(once: tuple[str, Path], demo: Caller) -> None:
    """And that path answers, whatever the verdict: unknown ones too."""
    keeper = Caller(demo.client, secret(once, "keeper"))
    items = keeper.get("/v1/findings").get_json()["items"]
    origins = {one["origin"]: one for one in items}
    assert {one["verdict"] for one in origins.values()} == {"act", "watch", "unknown", "ok"}
    refused = [(origin, keeper.get(origin).status_code) for origin in origins]
    assert [one for one in refused if one[1] != 200] == []


def test_the_flow_that_faded_since_its_spray_bar_clogged_is_found(
    once: tuple[str, Path], demo: Caller
) -> None:
    """1230 of 1900 gal/h, 64.7 %, where 80 % is allowed: 1900 x 3.785411784 L x 0.8."""
    row, answer = found(demo, once, "flow")
    assert (row["system"], row["subject"]) == ("stream", "stream-pump")
    assert answer["results"]["share"]["value"] == pytest.approx(100 * 1230 / 1900)
    assert row["limit"]["value"] == pytest.approx(1900 * 3.785411784 * 0.8, rel=1e-5)


def test_the_sump_that_would_spill_when_its_air_hole_clogs_is_found(
    once: tuple[str, Path], demo: Caller
) -> None:
    """By hand in cubic inches (16.387064 mL): the trough's (60 + 52) / 2 x 22 of surface down from its edge at 12.6 to
    its outlet at 13 - 4.5, its box 10 x 4 by 3, a third of 20 of a 1.6 drain, 38 of pipe (0.824 bore); 243 x 16 stand
    in the sump while it runs, and 29 x 16 x 15 fill it.
    """
    row, answer = found(demo, once, "spill")
    assert (row["system"], row["subject"]) == ("sunny-trough", "trough-end")
    (trough,) = (one for one in answer["inputs"]["tanks"]["value"] if one["name"] == "livebearer-trough")
    head = trough["head"]["value"] / 0.0254
    falls = 1232 * (head + 12.6 - 8.5) + 10 * 4 * 3 + 0.7853982 * (1.6**2 * 20 / 3 + 0.824**2 * 38)
    spilled = (243 * 16 + falls - 29 * 16 * 15) * 0.016387064
    assert row["value"]["value"] == pytest.approx(spilled, abs=0.02)
    assert spilled > 30


def test_the_standby_that_can_not_carry_the_pump_is_found(once: tuple[str, Path], demo: Caller) -> None:
    """A 45 mm lip 25 mm under the edge: EN 12056-3, 45^2 x sqrt(25) / 15000 L/s = 2430 L/h, and 5100 come."""
    row, answer = found(demo, once, "drain")
    assert (row["system"], row["subject"]) == ("fern-pool", "fern-pool-display")
    assert row["value"]["value"] == pytest.approx(45**2 * 5 / 15000 * 3600, rel=1e-6)
    assert row["limit"] == {"value": 5100, "unit": "L/h"}
    assert answer["results"]["standby_verdict"] == "over"


def test_the_stream_sinks_week_by_week_after_what_the_journal_says(
    once: tuple[str, Path], demo: Caller
) -> None:
    keeper = Caller(demo.client, secret(once, "keeper"))
    rows = [
        next(row for row in week_ago(keeper, ago)["rows"] if row["gauge"] == "stream-temperature")
        for ago in (8, 4, 3, 2, 1, 0)
    ]
    outside = [row["minutes_outside"] for row in rows]
    assert outside[0] == 0
    assert outside == sorted(set(outside))
    lows = [row["min"] for row in rows]
    assert lows == sorted(lows, reverse=True)
    notes = keeper.get("/v1/journal?q=socket%20strip").get_json()["items"]
    assert len(notes) == 2
    week_end = datetime.fromisoformat(keeper.get("/v1/summaries/weekly").get_json()["to"])
    ages = [week_end - datetime.fromisoformat(note["happened_at"]) for note in notes]
    assert min(ages) > timedelta(days=35)


def test_a_gauge_fell_silent_in_the_last_week(once: tuple[str, Path], demo: Caller) -> None:
    keeper = Caller(demo.client, secret(once, "keeper"))
    silent = keeper.get("/v1/summaries/weekly").get_json()["silent"]
    assert [one["gauge"] for one in silent] == ["teen-temperature"]


def test_a_probe_lifted_out_is_told_from_water(once: tuple[str, Path], demo: Caller) -> None:
    """The span in which the nursery's probe hung in air is excluded: stored, but out of the week's figures."""
    keeper = Caller(demo.client, secret(once, "keeper"))
    span = keeper.get("/v1/exclusions/01936c5e-8f00-7000-8000-000000000003").get_json()
    assert span["reason"]
    items = keeper.get(
        f"/v1/readings?gauge=nursery-temperature&from={span['from']}&to={span['to']}"
    ).get_json()["items"]
    assert min(item["value"] for item in items) < 20
    row = next(row for row in week_ago(keeper, 0)["rows"] if row["gauge"] == "nursery-temperature")
    assert row["min"] > 23


@pytest.mark.parametrize(
    "place",
    ["systems/rill", "tanks/nursery", "sumps/rack", "systems/killi-shelf", "systems/sunny-trough"],
)
def test_turnover_is_answered_from_the_record(once: tuple[str, Path], demo: Caller, place: str) -> None:
    keeper = Caller(demo.client, secret(once, "keeper"))
    answered = keeper.get(f"/v1/{place}/answers/turnover")
    assert answered.status_code == 200, answered.get_json()
    assert answered.get_json()["inputs"]["flow"]["origin"] == "record"


def test_a_fresh_demo_leaves_what_else_stands_in_its_folder(
    once: tuple[str, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(demo_room, "WEEKS", 1)
    (tmp_path / "mine.txt").write_text("mine")
    (tmp_path / FILE).write_bytes(once[1].read_bytes())
    done = CliRunner().invoke(main, ["demo", "--once", "--folder", str(tmp_path)])
    assert done.exit_code == 0, done.output
    assert (tmp_path / "mine.txt").read_text() == "mine"
    database = Database(sqlite_url(tmp_path / FILE))
    with database.engine.connect() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM room").scalar() == 1
        assert connection.exec_driver_sql("SELECT count(*) FROM reading").scalar() < 40_000
    database.dispose()


def test_a_demo_half_filled_is_not_left_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object, **__: object) -> dict[str, str]:
        raise KeyboardInterrupt

    monkeypatch.setattr(demo_room, "furnish", stop)
    done = CliRunner().invoke(main, ["demo", "--once", "--folder", str(tmp_path)])
    assert done.exit_code == 1
    assert list(tmp_path.iterdir()) == []


def test_a_taken_port_is_told_before_the_room_is_filled(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        done = CliRunner().invoke(main, ["demo", "--folder", str(tmp_path), "--port", str(port)])
    assert done.exit_code == 1
    assert "Choose another --port" in done.output
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_a_file_is_refused_in_words(tmp_path: Path) -> None:
    file = tmp_path / "notes"
    file.write_text("mine")
    done = CliRunner().invoke(main, ["demo", "--once", "--folder", str(file)])
    assert done.exit_code == 1
    assert "can't be used" in done.output
    assert file.read_text() == "mine"


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


def test_the_printed_addresses_are_quoted(once: tuple[str, Path]) -> None:
    lines = re.findall("^curl .*", once[0], re.MULTILINE)
    assert "flow=900%20gal%2Fh" in lines[1]
    assert all(" " not in shlex.split(line)[-1] for line in lines)
