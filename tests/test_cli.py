"""The command, as a keeper uses it, in processes of its own."""

from __future__ import annotations

import http.client
import json
import os
import pty
import re
import select
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from weirbook.config import sqlite_url

SECRET = re.compile(r"wb_[A-Za-z0-9_-]{43}")
WEIRBOOK = (sys.executable, "-m", "weirbook")


@pytest.fixture
def environment(tmp_path: Path) -> dict[str, str]:
    return {
        **os.environ,
        "WEIRBOOK_DATABASE_URL": sqlite_url(tmp_path / "room.db"),
        "XDG_DATA_HOME": str(tmp_path),
    }


@pytest.fixture
def weirbook(environment: dict[str, str]) -> Callable[..., subprocess.CompletedProcess[str]]:
    def run(*words: str, **said: Any) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [*WEIRBOOK, *words], env=environment, capture_output=True, text=True, timeout=120, **said
        )

    return run


@pytest.fixture
def serving(environment: dict[str, str]) -> Iterator[Callable[..., tuple[subprocess.Popen[str], str]]]:
    """Starts a server on a free port; its process and address."""
    running: list[subprocess.Popen[str]] = []

    def start(*words: str) -> tuple[subprocess.Popen[str], str]:
        process = subprocess.Popen(
            [*WEIRBOOK, "serve", "--port", "0", *words], env=environment, stderr=subprocess.PIPE, text=True
        )
        running.append(process)
        assert process.stderr is not None
        for line in process.stderr:
            if found := re.search(r"http://\S+", line):
                return process, found[0]
        raise AssertionError("the server ended without serving")

    yield start
    for process in running:
        process.kill()
        process.communicate()


def get(address: str, secret: str) -> Any:
    asked = urllib.request.Request(address, headers={"Authorization": f"Bearer {secret}"})
    with urllib.request.urlopen(asked, timeout=10) as answered:
        return json.load(answered)


def test_a_server_under_a_manager_prints_no_secret_and_a_key_is_made_on_the_host(
    serving: Any, weirbook: Any
) -> None:
    process, address = serving()
    made = weirbook("key", "add", "--role", "keeper", "--name", "Mine")
    assert SECRET.fullmatch(made.stdout.strip())
    assert get(f"{address}/v1/room", made.stdout.strip())["name"] == "My room"
    process.send_signal(signal.SIGTERM)
    _, rest = process.communicate(timeout=10)
    assert not SECRET.search(rest)


def test_a_first_start_on_a_terminal_prints_one_key_that_works(environment: dict[str, str]) -> None:
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [*WEIRBOOK, "serve", "--port", "0"], env=environment, stderr=theirs, stdout=theirs, stdin=theirs
    )
    os.close(theirs)
    said, end = "", time.monotonic() + 30
    try:
        while "serves http" not in said and time.monotonic() < end:
            if select.select([ours], [], [], 1)[0]:
                said += os.read(ours, 4096).decode()
        secrets = SECRET.findall(said)
        assert len(secrets) == 1, said
        address = re.search(r"http://[\d.:]+", said)
        assert address is not None
        assert get(f"{address[0]}/v1/keys", secrets[0])["items"][0]["role"] == "keeper"
    finally:
        process.kill()
        process.wait()
        os.close(ours)


@pytest.mark.parametrize("end", [signal.SIGINT, signal.SIGTERM])
def test_a_server_ends_when_told_and_says_it_ended_well(serving: Any, end: signal.Signals) -> None:
    process, address = serving()
    link = http.client.HTTPConnection(address.removeprefix("http://"), timeout=10)
    link.request("GET", "/openapi.json")
    link.getresponse().read()
    process.send_signal(end)
    _, said = process.communicate(timeout=10)
    assert process.returncode == 0
    assert "Traceback" not in said
    link.close()


def test_a_server_over_a_migrated_database_answers_soon_and_stays_small(
    serving: Any, sqlite_template: Path, tmp_path: Path, environment: dict[str, str]
) -> None:
    """Usually well under 2 s; the bounds here leave room for a loaded machine. Memory as the system counts it, of what is
    installed to serve: the oracles of the tests bring numpy along (12 MB), which pint takes up where it is there.
    Of 408 operations the document and the schemas that check them alone take about 30 MB."""
    absent = tmp_path / "absent" / "numpy"
    absent.mkdir(parents=True)
    (absent / "__init__.py").write_text("raise ImportError")
    environment["PYTHONPATH"] = os.pathsep.join(filter(None, [str(absent.parent), os.getenv("PYTHONPATH")]))
    shutil.copy(sqlite_template, tmp_path / "room.db")
    begun = time.monotonic()
    process, address = serving()
    with urllib.request.urlopen(f"{address}/openapi.json", timeout=10) as answered:
        assert json.load(answered)["openapi"] == "3.1.0"
    assert time.monotonic() - begun < 10
    status = Path(f"/proc/{process.pid}/status")
    if status.exists():
        resident = re.search(r"VmRSS:\s+(\d+) kB", status.read_text())
        assert resident is not None
        assert int(resident[1]) < 145_000


def test_a_door_to_the_world_stays_shut_while_there_is_no_key(weirbook: Any) -> None:
    refused = weirbook("serve", "--host", "0.0.0.0", "--port", "0")
    assert refused.returncode == 1
    assert "there is no key yet" in refused.stderr


def test_a_port_that_is_taken_is_named(weirbook: Any) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        refused = weirbook("serve", "--port", port)
    assert refused.returncode == 1
    assert f"127.0.0.1:{port} can't be listened on" in refused.stderr
    assert "Traceback" not in refused.stderr


def test_keys_are_listed_and_revoked_on_the_host(serving: Any, weirbook: Any) -> None:
    _, address = serving()
    secret = weirbook(
        "key", "add", "--role", "viewer", "--name", "Kitchen screen", "--for-links"
    ).stdout.strip()
    assert get(f"{address}/v1/room", secret)
    listed = weirbook("key", "list").stdout
    assert "kitchen-screen" in listed
    assert secret not in listed
    assert weirbook("key", "revoke", "kitchen-screen").returncode == 0
    with pytest.raises(urllib.error.HTTPError, match="401"):
        get(f"{address}/v1/room", secret)
    assert "There is no key 'nothing'" in weirbook("key", "revoke", "nothing").stderr


def test_before_there_is_a_room_commands_say_how_to_make_one(weirbook: Any) -> None:
    refused = weirbook("summary")
    assert refused.returncode == 1
    assert "weirbook serve" in refused.stderr


def test_the_week_is_printed(serving: Any, weirbook: Any) -> None:
    serving()
    assert "My room, week 2026-W40" in weirbook("summary", "--week", "2026-W40").stdout
    assert "is not a week" in weirbook("summary", "--week", "soon").stderr


def test_a_backup_is_made_and_brought_back(serving: Any, weirbook: Any, tmp_path: Path) -> None:
    serving()
    copy = str(tmp_path / "copy.db")
    assert "whole and checked" in weirbook("backup", copy).stdout
    assert weirbook("backup", copy).returncode == 1
    assert weirbook("restore", copy, input="n\n").returncode == 1
    brought = weirbook("restore", copy, "--yes")
    assert brought.returncode == 0, brought.stderr
    assert "What was there stands at" in brought.stdout


def test_a_copy_from_a_newer_program_is_not_brought_back(serving: Any, weirbook: Any, tmp_path: Path) -> None:
    serving()
    copy = tmp_path / "copy.db"
    weirbook("backup", str(copy))
    with closing(sqlite3.connect(copy)) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.execute("UPDATE room SET name = 'From ahead'")
    refused = weirbook("restore", str(copy), "--yes")
    assert refused.returncode == 1
    assert "newer than this program" in refused.stderr
    assert "My room" in weirbook("summary", "--week", "2026-W40").stdout
    assert "There is no file" in weirbook("restore", str(tmp_path / "nothing.db"), "--yes").stderr


def test_the_document_is_printed(weirbook: Any) -> None:
    assert json.loads(weirbook("openapi").stdout)["openapi"] == "3.1.0"


def test_an_address_of_no_database_is_refused_in_words(environment: dict[str, str]) -> None:
    environment["WEIRBOOK_DATABASE_URL"] = "nothing://here"
    done = subprocess.run([*WEIRBOOK, "summary"], env=environment, capture_output=True, text=True, timeout=60)
    assert done.returncode == 1
    assert "database address can't be used" in done.stderr
    assert "Traceback" not in done.stderr
