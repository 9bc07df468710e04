"""Too many waiting, or too much under way: refused at once and clearly; what was acknowledged is there."""

from __future__ import annotations

import gc
import shutil
import sqlite3
import threading
import time
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from faults.served import START, Line, reading, serving, whole
from harness import Caller
from waitress.adjustments import Adjustments

from weirbook.app import Service
from weirbook.config import sqlite_url
from weirbook.web.spool import SMALL_BODY, Pot, channel_with

CALLERS = 60
BODY_CAP = 16 * 1024 * 1024


@pytest.fixture
def waiting(app: Service, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many wait, as the server would say."""
    told = [0]
    monkeypatch.setattr(app.gate, "waiting", lambda: told[0])
    return told


def test_beyond_its_cap_the_queue_is_full_and_nothing_is_looked_at(
    app: Service, furnished: Caller, waiting: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    waiting[0] = app.gate.cap + 1
    before = app.database
    monkeypatch.setattr(app, "database", None)
    for method, path in (
        ("GET", "/v1/tanks"),
        ("POST", "/v1/readings"),
        ("GET", "/docs"),
        ("GET", "/nothing"),
    ):
        answered = furnished(method, path, {})
        assert answered.status_code == 503
        assert int(answered.headers["Retry-After"]) >= 1
        assert answered.get_json()["type"] == "urn:weirbook:problem:queue-full"
        assert answered.get_json()["request_id"] == answered.headers["X-Request-Id"]
    monkeypatch.setattr(app, "database", before)
    assert furnished.get("/healthz").status_code == 200
    assert furnished.get("/readyz").status_code == 200


def test_up_to_its_cap_the_queue_is_let_in(app: Service, furnished: Caller, waiting: list[int]) -> None:
    waiting[0] = app.gate.cap
    assert furnished.get("/v1/tanks").status_code == 200


def test_a_full_queue_refuses_and_never_loses_what_it_acknowledged(
    furnished_template: tuple[Path, str], tmp_path: Path
) -> None:
    """Another program holds the database, so that all threads are taken; then it lets go."""
    template, secret = furnished_template
    file = tmp_path / "room.db"
    shutil.copy(template, file)
    answers: dict[int, tuple[int, str, str | None]] = {}

    def post(number: int, port: int) -> None:
        with Line(port, secret) as line:
            answer = line("POST", "/v1/readings", reading(START + number * 1000))
            kind = answer.body.get("type", "")
            answers[number] = (answer.status, kind, answer.headers.get("Retry-After"))

    with (
        serving(sqlite_url(file), tmp_path / "log", environment={"WEIRBOOK_QUEUE_CAP": "4"}) as server,
        closing(sqlite3.connect(file, isolation_level=None)) as other,
    ):
        other.execute("BEGIN IMMEDIATE")
        threads = [threading.Thread(target=post, args=(number, server.port)) for number in range(CALLERS)]
        for one in threads:
            one.start()
        time.sleep(2)
        at_once = dict(answers)
        other.execute("ROLLBACK")
        for one in threads:
            one.join()
        told = dict(answers)
        acknowledged = {number for number, (status, *_) in told.items() if status == 200}
        refused = {number: said for number, said in told.items() if said[0] == 503}
        assert len(told) == len(acknowledged) + len(refused) == CALLERS
        assert any("queue-full" in kind for _, kind, _ in at_once.values())
        for _, _, retry_after in refused.values():
            assert retry_after is not None and int(retry_after) >= 1
        stored = {(at - START) // 1000 for at in whole(file)}
        assert stored == acknowledged
        for number in refused:
            post(number, server.port)
    assert len(whole(file)) == CALLERS


HEAD = b"POST /v1/readings HTTP/1.1\r\nHost: room\r\nContent-Length: %d\r\n\r\n"


def arriving(pot: Pot, length: int) -> Any:
    """A request whose head has arrived, and none of its body."""
    parser = channel_with(pot, BODY_CAP).parser_class(Adjustments())
    parser.received(HEAD % length)
    return parser


def test_large_bodies_share_one_bound_and_small_ones_always_pass() -> None:
    pot = Pot(100_000)
    first, second, small = (
        arriving(pot, SMALL_BODY + 80_000),
        arriving(pot, SMALL_BODY + 80_000),
        arriving(pot, SMALL_BODY),
    )
    first.received(b"x" * (SMALL_BODY + 80_000))
    assert first.completed and not first.error
    second.received(b"x" * (SMALL_BODY + 10_000))
    assert not second.completed
    second.received(b"x" * 20_000)
    assert second.completed and second.error.code == 503
    small.received(b"x" * SMALL_BODY)
    assert small.completed and not small.error


def test_a_chunked_body_counts_as_it_comes() -> None:
    parser = channel_with(Pot(1000), BODY_CAP).parser_class(Adjustments())
    parser.received(b"POST / HTTP/1.1\r\nHost: room\r\nTransfer-Encoding: chunked\r\n\r\n")
    for _ in range(70):
        parser.received(b"400\r\n" + b"x" * 1024 + b"\r\n")
    assert parser.completed and parser.error.code == 503


@pytest.mark.parametrize("way", ["answered", "broken off"])
def test_what_a_body_held_is_given_back(way: str) -> None:
    pot = Pot(1000)
    for _ in range(3):
        one = arriving(pot, SMALL_BODY + 900)
        one.received(b"x" * (SMALL_BODY + 800))
        assert not one.error
        if way == "answered":
            one.close()
        else:
            del one
            gc.collect()
    assert pot.take(1000)


def test_a_declared_length_alone_holds_nothing() -> None:
    pot = Pot(1000)
    kept = [arriving(pot, 10_000_000) for _ in range(100)]
    assert pot.take(1000) and len(kept) == 100


@pytest.mark.parametrize(
    ("media", "length", "taken"),
    [
        ("image/jpeg", 2000, True),
        ("image/jpeg; name=fern", 2000, True),
        ("image/jpeg", 2001, False),
        ("image/gif", 1001, False),
        ("application/json", 1001, False),
        ("application/json", 1000, True),
    ],
)
def test_files_have_a_bound_of_their_own(media: str, length: int, taken: bool) -> None:
    parser = channel_with(Pot(100_000), 1000, {"image/jpeg": 2000}).parser_class(Adjustments())
    head = f"POST /v1/attachments HTTP/1.1\r\nHost: room\r\nContent-Type: {media}\r\nContent-Length: {length}\r\n\r\n"
    parser.received(head.encode())
    parser.received(b"x" * length)
    assert parser.completed
    assert (parser.error is None) if taken else (parser.error.code == 413)
