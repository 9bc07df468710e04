"""Callers that vanish, crawl or sit idle: nothing of theirs is half-stored, and nobody else waits for them."""

from __future__ import annotations

import json
import shutil
import socket
import statistics
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from faults.served import START, Answer, Line, Server, readings, serving, value_at, whole

from weirbook.config import sqlite_url

SLOW_BYTES_A_SECOND = 30
IDLE = 200


@pytest.fixture(scope="module")
def served(
    furnished_template: tuple[Path, str], tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Server, str, Path]]:
    """One server for all of these, its key and its file, whole to the end."""
    template, secret = furnished_template
    file = tmp_path_factory.mktemp("connections") / "room.db"
    shutil.copy(template, file)
    with serving(sqlite_url(file), file.with_name("log")) as server:
        yield server, secret, file
    whole(file)


def request(secret: str, instants: list[int]) -> tuple[bytes, bytes]:
    """Head and body of a POST of readings."""
    body = json.dumps(readings(instants)).encode()
    head = (
        f"POST /v1/readings HTTP/1.1\r\nHost: room\r\nAuthorization: Bearer {secret}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    return head.encode(), body


def post(line: Line, first: int, count: int) -> list[Answer]:
    """Single readings, one after another."""
    return [line("POST", "/v1/readings", readings([first + number * 1000])) for number in range(count)]


def median_s(answers: list[Answer]) -> float:
    assert {answer.status for answer in answers} == {200}
    return statistics.median(answer.seconds for answer in answers)


def test_a_connection_cut_in_the_middle_of_a_body_stores_nothing(served: tuple[Server, str, Path]) -> None:
    server, secret, file = served
    before = whole(file)
    instants = [START + number * 1000 for number in range(100)]
    head, body = request(secret, instants)
    for sent in (
        len(head) // 2,
        len(head),
        len(head) + 1,
        len(head) + len(body) // 2,
        len(head) + len(body) - 1,
    ):
        with socket.create_connection(("127.0.0.1", server.port)) as cut:
            cut.sendall((head + body)[:sent])
    with Line(server.port, secret) as line:
        assert line("GET", "/v1/tanks/nursery").status == 200
        assert whole(file) == before
        assert line("POST", "/v1/readings", readings(instants)).body["stored"] == len(instants)


def test_a_caller_that_leaves_before_its_answer_has_its_readings_stored_whole(
    served: tuple[Server, str, Path],
) -> None:
    server, secret, file = served
    instants = [START + 86_400_000 + number * 1000 for number in range(100)]
    head, body = request(secret, instants)
    with socket.create_connection(("127.0.0.1", server.port)) as gone:
        gone.sendall(head + body)
    with Line(server.port, secret) as line:
        answer = line("POST", "/v1/readings", readings(instants))
        assert answer.body["stored"] + answer.body["repeated"] == len(instants)
    there = whole(file)
    assert [there[at_ms] for at_ms in instants] == [value_at(at_ms) for at_ms in instants]


def test_nobody_waits_for_callers_that_send_thirty_bytes_a_second(served: tuple[Server, str, Path]) -> None:
    """More of them than the server has threads; their readings count once they are there."""
    server, secret, file = served
    first = START + 2 * 86_400_000
    answered: list[bytes] = []

    def crawl(number: int) -> None:
        head, body = request(secret, [first - 1 - number])
        with socket.create_connection(("127.0.0.1", server.port)) as slow:
            slow.sendall(head)
            for byte in body:
                slow.sendall(bytes([byte]))
                time.sleep(1 / SLOW_BYTES_A_SECOND)
            answered.append(slow.recv(100))

    with Line(server.port, secret) as line:
        alone = median_s(post(line, first, 30))
        crawlers = [threading.Thread(target=crawl, args=(number,)) for number in range(20)]
        for crawler in crawlers:
            crawler.start()
        beside = median_s(post(line, first + 100_000, 30))
        assert not answered, "all were still sending"
        for crawler in crawlers:
            crawler.join()
    assert beside < 5 * alone + 0.05
    assert len(answered) == len(crawlers) and all(said.startswith(b"HTTP/1.1 200") for said in answered)
    assert {first - 1 - number for number in range(20)} <= set(whole(file))


def test_nobody_waits_for_two_hundred_idle_connections(served: tuple[Server, str, Path]) -> None:
    server, secret, _ = served
    first = START + 3 * 86_400_000
    with Line(server.port, secret) as line, ExitStack() as held:
        alone = median_s(post(line, first, 30))
        for _ in range(IDLE):
            held.enter_context(socket.create_connection(("127.0.0.1", server.port)))
        one_more = held.enter_context(Line(server.port, secret, timeout=5))
        beside = median_s(post(one_more, first + 100_000, 30))
    assert beside < 5 * alone + 0.05
