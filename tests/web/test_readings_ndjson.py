"""Readings as lines, any number of them: stored part by part, and what is stored stays."""

from __future__ import annotations

import io
import json
import shutil
import socket
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from faults.served import Line, serving, whole
from harness import Caller, MakeCaller, on_both_engines
from waitress.adjustments import Adjustments
from werkzeug.test import TestResponse

from weirbook.app import Service
from weirbook.config import sqlite_url
from weirbook.engine.times import instant_text
from weirbook.errors import Busy
from weirbook.record.database import Database
from weirbook.web.reading_lines import LINE_CAP, REFUSALS_TOLD
from weirbook.web.spool import Pot, channel_with

NDJSON = "application/x-ndjson"
START = 1_763_632_800_000
GAUGE = "nursery-temperature"


@pytest.fixture
def part_lines(app: Service) -> int:
    """Parts of ten lines, so that tests of their borders stay small."""
    app.settings = replace(app.settings, part_lines=10)
    return 10


def line(number: int, **changed: Any) -> bytes:
    """The line of that number, from 1: a reading each second."""
    said = {
        "gauge": GAUGE,
        "value": 20 + number % 97 / 10,
        "at": instant_text(START + number * 1000),
        **changed,
    }
    return json.dumps({name: value for name, value in said.items() if value is not None}).encode() + b"\n"


def lines(count: int, first: int = 1) -> bytes:
    return b"".join(line(number) for number in range(first, first + count))


def with_bad(count: int, *bad: int) -> bytes:
    """So many lines, of which some are of a gauge that isn't there."""
    return b"".join(line(n, gauge="nowhere" if n in bad else GAUGE) for n in range(1, count + 1))


def post(caller: Caller, body: bytes, query: str = "", **headers: str) -> TestResponse:
    return caller("POST", f"/v1/readings{query}", body, **{"Content_Type": NDJSON, **headers})


def stored(caller: Caller) -> int:
    span = "from=2025-11-01T00:00:00Z&to=2025-12-30T00:00:00Z"
    return len(caller.get(f"/v1/readings?gauge={GAUGE}&{span}&limit=10000").get_json()["items"])


def counts(answer: TestResponse, *names: str) -> list[Any]:
    return [answer.get_json().get(name) for name in names]


@on_both_engines
def test_lines_are_stored_part_by_part_and_counted_over_all(furnished: Caller, part_lines: int) -> None:
    furnished.post("/v1/readings", {"readings": [json.loads(line(n)) for n in (3, 17)]})
    test = {"place": "tanks/nursery", "parameter": "nitrate", "value": "<5", "gauge": None}
    body = b"".join(
        (
            lines(10),
            line(11, value=60),
            b"\n  \r\n",
            line(12).replace(b"\n", b"\r\n"),
            lines(11, 13),
            line(24, **test),
            line(25).rstrip(),
        )
    )
    answer = post(furnished, body)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    assert counts(answer, "sent", "stored", "repeated", "refused", "flagged", "corrected") == [
        25,
        23,
        2,
        0,
        1,
        0,
    ]
    assert counts(answer, "lines", "stored_to_line") == [27, 27]
    assert counts(answer, "made_gauges", "refusals") == [["nursery-nitrate-by-hand"], []]
    again = post(furnished, body)
    assert counts(again, "sent", "stored", "repeated", "made_gauges") == [25, 0, 25, []]
    assert stored(furnished) == 24


@pytest.mark.parametrize("count", [1, 9, 10, 11, 20, 21])
def test_every_line_is_stored_wherever_a_part_ends(furnished: Caller, part_lines: int, count: int) -> None:
    assert counts(post(furnished, lines(count)), "stored", "lines", "stored_to_line") == [count] * 3
    assert stored(furnished) == count


@on_both_engines
def test_a_refused_line_of_the_second_part_leaves_the_first_stored_and_ends_it(
    furnished: Caller, part_lines: int
) -> None:
    refused = post(furnished, with_bad(30, 14, 25))
    assert refused.status_code == 422
    told = refused.get_json()
    assert told["type"] == "urn:weirbook:problem:unknown-gauge"
    assert told["stored_to_line"] == 10
    assert [one["index"] for one in told["refusals"]] == [13]
    assert "Line 14" in told["detail"] and "from line 11" in told["detail"]
    assert stored(furnished) == 10
    rest = post(furnished, lines(20, 11))
    assert counts(rest, "stored", "repeated") == [20, 0]


def test_a_conflict_is_told_as_one(furnished: Caller, part_lines: int) -> None:
    post(furnished, lines(30))
    other = lines(15) + line(16, value=30)
    conflict = post(furnished, other)
    assert conflict.status_code == 409
    assert conflict.get_json()["type"] == "urn:weirbook:problem:reading-conflict"
    assert conflict.get_json()["stored_to_line"] == 10
    assert counts(post(furnished, other, "?on_conflict=correct"), "stored", "corrected", "repeated") == [
        1,
        1,
        15,
    ]


def test_with_partial_the_good_lines_of_all_parts_are_stored_and_the_others_told_by_their_place(
    furnished: Caller, part_lines: int
) -> None:
    body = b"".join(
        (
            with_bad(12, 4),
            b"\n",
            b"not json\n",
            b'{"gauge": "nursery-temperature"}\n',
            b"[" * 5000 + b"\n",
            b'{"gauge": "\xff"}\n',
            line(18, at=None),
            line(19, value="x" * LINE_CAP),
            line(20, value="a lot"),
            line(21),
        )
    )
    answer = post(furnished, body, "?partial=true")
    assert counts(answer, "sent", "stored", "refused", "lines") == [20, 12, 8, 21]
    assert [(one["index"] + 1, one["type"]) for one in answer.get_json()["refusals"]] == [
        (4, "unknown-gauge"),
        (14, "bad-row"),
        (15, "bad-row"),
        (16, "bad-row"),
        (17, "bad-row"),
        (18, "time-missing"),
        (19, "bad-row"),
        (20, "bad-value"),
    ]
    assert stored(furnished) == 12


def test_no_more_than_a_thousand_refused_lines_are_listed(furnished: Caller) -> None:
    count = REFUSALS_TOLD + 50
    answer = post(furnished, b"{}\n" * count, "?partial=true").get_json()
    assert (answer["refused"], len(answer["refusals"])) == (count, REFUSALS_TOLD)


def test_a_line_is_as_long_as_the_cap_and_no_longer(furnished: Caller) -> None:
    def padded(number: int, length: int) -> bytes:
        return line(number).rstrip().ljust(length - 1) + b"\n"

    fits, long = padded(1, LINE_CAP), padded(2, LINE_CAP + 1)
    assert counts(post(furnished, fits), "stored") == [1]
    answer = post(furnished, long + line(3) + long * 3 + line(7), "?partial=true")
    assert [one["index"] for one in answer.get_json()["refusals"]] == [0, 2, 3, 4]
    assert counts(answer, "stored", "lines") == [2, 6]


def test_a_byte_order_mark_is_no_part_of_the_first_line(furnished: Caller) -> None:
    assert counts(post(furnished, b"\xef\xbb\xbf" + lines(2)), "stored") == [2]


@pytest.mark.parametrize("body", [b"", b"\n\n  \n"])
def test_a_body_without_a_reading_is_refused(furnished: Caller, body: bytes) -> None:
    assert post(furnished, body).status_code == 422


class Broken(io.RawIOBase):
    """A body that ends before its length, as a connection does that is cut."""

    def __init__(self, body: bytes, *, raises: bool) -> None:
        self.body, self.raises = io.BytesIO(body), raises

    def readable(self) -> bool:
        return True

    def readinto(self, room: Any) -> int:
        count = self.body.readinto(room)
        if not count and self.raises:
            raise ConnectionResetError
        return count


@pytest.mark.parametrize("raises", [False, True])
@pytest.mark.parametrize("terminated", [False, True], ids=["bare", "terminated by the server"])
def test_what_came_before_a_body_broke_off_stays_and_the_whole_may_be_sent_again(
    furnished: Caller, part_lines: int, raises: bool, terminated: bool
) -> None:
    body = lines(35)
    sent = body[: len(lines(24)) + 20]
    broken = furnished.client.post(
        "/v1/readings",
        headers={"Authorization": f"Bearer {furnished.secret}", "Content-Type": NDJSON},
        environ_overrides={
            "wsgi.input": Broken(sent, raises=raises),
            "CONTENT_LENGTH": str(len(body)),
            **({"wsgi.input_terminated": True} if terminated else {}),
        },
    )
    assert broken.status_code == 400
    assert broken.get_json()["type"] == "urn:weirbook:problem:malformed"
    assert broken.get_json()["stored_to_line"] == 20
    assert stored(furnished) == 20
    assert counts(post(furnished, body), "stored", "repeated") == [15, 20]


def test_a_store_that_is_busy_on_the_way_says_how_far_it_came(
    furnished: Caller, part_lines: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, write = [0], Database.write

    def busy(database: Database, *said: Any, **named: Any) -> Any:
        begun[0] += 1
        if begun[0] == 3:
            raise Busy("Many writers are waiting just now. Try again shortly.")
        return write(database, *said, **named)

    monkeypatch.setattr(Database, "write", busy)
    refused = post(furnished, with_bad(30, 4), "?partial=true")
    monkeypatch.undo()
    assert (refused.status_code, refused.headers["Retry-After"]) == (503, "2")
    assert refused.get_json()["stored_to_line"] == 20
    assert [one["index"] for one in refused.get_json()["refusals"]] == [3]
    assert counts(post(furnished, lines(10, 21)), "stored") == [10]
    assert stored(furnished) == 29


def test_a_key_revoked_on_the_way_ends_it(
    app: Service, furnished: Caller, caller: MakeCaller, part_lines: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    second = furnished.post("/v1/keys", {"name": "second", "role": "keeper"}).get_json()
    begun, write = [0], Database.write

    def revoked_meanwhile(database: Database, *said: Any, **named: Any) -> Any:
        begun[0] += 1
        if begun[0] == 3:
            furnished.delete(f"/v1/keys/{second['handle']}")
        return write(database, *said, **named)

    monkeypatch.setattr(Database, "write", revoked_meanwhile)
    refused = post(Caller(app.test_client(), second["key"]), lines(40))
    assert refused.status_code == 401
    assert refused.get_json()["stored_to_line"] == 20


def test_roles_reach_as_far_as_with_json(furnished: Caller, caller: MakeCaller) -> None:
    assert post(caller("viewer"), lines(1)).status_code == 403
    sensor = caller("sensor", gauges=[GAUGE])
    assert post(sensor, lines(1)).status_code == 200
    assert post(sensor, lines(2), "?on_conflict=correct").status_code == 403
    assert post(caller("helper"), lines(1)).status_code == 403
    assert post(sensor, line(3, gauge="nursery-ph")).status_code == 422


def test_a_token_is_not_taken_with_lines(furnished: Caller) -> None:
    refused = post(furnished, lines(1), Idempotency_Key="a")
    assert refused.status_code == 422
    assert "Idempotency-Key" in refused.get_json()["detail"]
    assert stored(furnished) == 0


def test_the_usual_cap_is_none_of_lines(
    app: Service, furnished: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(app.config, "MAX_CONTENT_LENGTH", 1000)
    assert counts(post(furnished, lines(50)), "stored") == [50]
    as_json = {"readings": [json.loads(line(n)) for n in range(50)]}
    assert furnished.post("/v1/readings", as_json).status_code == 413


@pytest.fixture(scope="module")
def served(
    furnished_template: tuple[Path, str], tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[int, int, str, Path]]:
    """A server over a furnished room: its process, port and key, and the file, whole to the end."""
    template, secret = furnished_template
    file = tmp_path_factory.mktemp("lines") / "room.db"
    shutil.copy(template, file)
    with serving(sqlite_url(file), file.with_name("log")) as server:
        yield server.process.pid, server.port, secret, file
    whole(file)


def head(secret: str, *more: str) -> bytes:
    said = [
        "POST /v1/readings HTTP/1.1",
        "Host: room",
        f"Authorization: Bearer {secret}",
        f"Content-Type: {NDJSON}",
    ]
    return "\r\n".join([*said, "Connection: close", *more, "", ""]).encode()


def answer_of(link: socket.socket) -> dict[str, Any]:
    said = b""
    while piece := link.recv(65536):
        said += piece
    told: dict[str, Any] = json.loads(said.partition(b"\r\n\r\n")[2])
    return told


def in_chunks(pieces: Iterable[bytes]) -> Iterator[bytes]:
    """The chunked transfer coding (RFC 9112, 7.1): of a body whose length isn't known before."""
    for piece in pieces:
        yield b"%x\r\n%s\r\n" % (len(piece), piece)
    yield b"0\r\n\r\n"


def peak_kilobytes(pid: int) -> int:
    """The most memory that a process ever held."""
    status = Path(f"/proc/{pid}/status").read_text()
    return int(next(row for row in status.splitlines() if row.startswith("VmHWM")).split()[1])


def upload(port: int, secret: str, pieces: Sequence[bytes]) -> dict[str, Any]:
    with socket.create_connection(("127.0.0.1", port)) as link:
        link.sendall(head(secret, "Transfer-Encoding: chunked"))
        for piece in in_chunks(pieces):
            link.sendall(piece)
        return answer_of(link)


def test_after_a_connection_was_cut_the_whole_is_sent_again(served: tuple[int, int, str, Path]) -> None:
    _, port, secret, file = served
    body, before = lines(12_000, first=200_001), len(whole(file))
    with socket.create_connection(("127.0.0.1", port)) as cut:
        cut.sendall(head(secret, f"Content-Length: {len(body)}") + body[: len(body) // 2])
    with Line(port, secret) as line:
        assert line("GET", "/v1/tanks/nursery").status == 200
    there = len(whole(file)) - before
    again = upload(port, secret, [body])
    assert (again["stored"], again["repeated"]) == (12_000 - there, there)
    assert len(whole(file)) == before + 12_000


def test_a_hundred_thousand_lines_take_no_more_memory_than_ten_thousand(
    served: tuple[int, int, str, Path],
) -> None:
    pid, port, secret, _ = served
    few = upload(port, secret, [lines(1000, 1 + n) for n in range(0, 10_000, 1000)])
    assert few["stored"] == 10_000
    before = peak_kilobytes(pid)
    many = upload(port, secret, [lines(1000, 10_001 + n) for n in range(0, 100_000, 1000)])
    assert (many["stored"], many["lines"], many["stored_to_line"]) == (100_000, 100_000, 100_000)
    # The lines alone are 9 MB; what lies between is the allocator's and SQLite's cache (2 MB).
    assert peak_kilobytes(pid) - before < 6_000


@pytest.mark.parametrize(
    ("media", "taken"),
    [(NDJSON, True), (f"{NDJSON}; charset=utf-8", True), ("application/json", False), ("text/csv", False)],
)
@pytest.mark.parametrize("length", ["Content-Length: 5000", "Transfer-Encoding: chunked"])
def test_the_server_lets_lines_alone_be_longer_than_the_body_cap(
    media: str, taken: bool, length: str
) -> None:
    arriving = channel_with(Pot(100_000), 1000).parser_class(Adjustments())
    arriving.received(f"POST / HTTP/1.1\r\nHost: room\r\nContent-Type: {media}\r\n{length}\r\n\r\n".encode())
    for piece in [b"x" * 5000] if "Length" in length else in_chunks([b"x" * 1000] * 5):
        arriving.received(piece)
    assert arriving.completed
    assert (arriving.error is None) if taken else (arriving.error.code == 413)
