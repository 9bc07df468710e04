"""API8:2023 Security misconfiguration: what the service tells of itself, and how it stands as it is installed.

tests/web/test_headers.py, test_docs.py: caching, guessing of types, the page's policy. test_origins.py: pages of other
origins. test_proxy.py: forwarded headers. tests/test_cli.py: loopback unless told otherwise, and no other address
while there is no key. Here: the real server, spoken to badly.
"""

from __future__ import annotations

import json
import shutil
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
from faults.served import Server, serving
from harness import Caller, MakeCaller

from weirbook.app import Service
from weirbook.config import sqlite_url

BAD = {
    "no HTTP": (b"hello\r\n\r\n", 400),
    "a bad header": (b"GET /healthz HTTP/1.1\r\nHost room\r\n\r\n", 400),
    "a bad length": (b"POST /v1/readings HTTP/1.1\r\nHost: room\r\nContent-Length: -5\r\n\r\n", 400),
    "a long head": (b"GET /healthz HTTP/1.1\r\nHost: room\r\nX: " + b"x" * 300_000 + b"\r\n\r\n", 431),
    "a long body": (b"POST /v1/readings HTTP/1.1\r\nHost: room\r\nContent-Length: 99999999999\r\n\r\n", 413),
    "another coding": (b"POST / HTTP/1.1\r\nHost: room\r\nTransfer-Encoding: br\r\n\r\n", 501),
    "two lengths": (
        b"POST / HTTP/1.1\r\nHost: room\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\nab",
        400,
    ),
    "TRACE": (b"TRACE /healthz HTTP/1.1\r\nHost: room\r\nX-Own: s3cret\r\nConnection: close\r\n\r\n", 405),
    "CONNECT": (b"CONNECT other:443 HTTP/1.1\r\nHost: other\r\nConnection: close\r\n\r\n", 404),
    "no such path": (b"GET /.env HTTP/1.1\r\nHost: room\r\nConnection: close\r\n\r\n", 404),
}


@pytest.fixture(scope="module")
def server(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    file = tmp_path_factory.mktemp("plain") / "room.db"
    shutil.copy(sqlite_template, file)
    with serving(sqlite_url(file), file.with_name("log")) as found:
        yield found


def say(server: Server, said: bytes) -> tuple[int, dict[str, str], bytes]:
    """What a server answers to bytes that need not be HTTP."""
    with socket.create_connection(("127.0.0.1", server.port), timeout=10) as link:
        try:
            link.sendall(said)
        except OSError:
            pass  # it had heard enough
        answer = b""
        try:
            while part := link.recv(65536):
                answer += part
        except ConnectionResetError:
            pass
    head, _, body = answer.partition(b"\r\n\r\n")
    first, *rest = head.decode("latin-1").split("\r\n")
    return int(first.split()[1]), dict(line.split(": ", 1) for line in rest), body


@pytest.mark.parametrize("way", BAD)
def test_whatever_is_said_to_the_server_is_answered_in_the_one_shape_and_without_a_banner(
    server: Server, way: str
) -> None:
    said, wanted = BAD[way]
    status, headers, body = say(server, said)
    assert status == wanted
    assert headers["Content-Type"] == "application/problem+json"
    told = json.loads(body)
    assert told["status"] == status and told["request_id"] == headers["X-Request-Id"]
    shown = (str(headers) + body.decode()).lower()
    for word in ("server", "waitress", "werkzeug", "flask", "python", "traceback", "via", "s3cret"):
        assert word not in shown, word


@pytest.mark.parametrize("path", ["/healthz", "/docs", "/openapi.json", "/v1/room"])
def test_no_answer_names_the_program_behind_it(server: Server, path: str) -> None:
    request = f"GET {path} HTTP/1.1\r\nHost: room\r\nConnection: close\r\n\r\n"
    _, headers, _ = say(server, request.encode())
    assert not {"Server", "X-Powered-By", "Via"} & set(headers)
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
    assert headers["Referrer-Policy"] == "no-referrer"
    assert "Set-Cookie" not in headers


def test_forwarded_headers_of_strangers_do_not_reach_the_application(server: Server) -> None:
    request = (
        b"GET /docs/ HTTP/1.1\r\nHost: room\r\nX-Forwarded-Host: evil.example\r\nConnection: close\r\n\r\n"
    )
    status, headers, _ = say(server, request)
    assert status == 308
    assert "evil" not in headers["Location"]


def test_two_requests_in_one_are_not_smuggled(server: Server) -> None:
    """RFC 9112, section 6.1: a length beside a transfer coding is refused or ignored, never followed."""
    said = (
        b"POST /v1/readings HTTP/1.1\r\nHost: room\r\nContent-Length: 50\r\nTransfer-Encoding: chunked\r\n"
        b"Connection: close\r\n\r\n0\r\n\r\nGET /healthz HTTP/1.1\r\nHost: room\r\n\r\n"
    )
    with socket.create_connection(("127.0.0.1", server.port), timeout=10) as link:
        link.sendall(said)
        answer = b""
        while part := link.recv(65536):
            answer += part
    assert answer.count(b"HTTP/1.1 ") == 1
    assert b"alive" not in answer


def test_debugging_is_off(app: Service) -> None:
    assert not app.debug and not app.testing
    assert not app.config.get("PROPAGATE_EXCEPTIONS")
    assert app.secret_key is None


def test_a_fault_of_the_service_tells_its_callers_nothing(
    app: Service, furnished: Caller, caller: MakeCaller, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise RuntimeError("inner words /etc/room.db")

    monkeypatch.setattr("weirbook.web.perform.recognise", fail)
    answered = furnished.get("/v1/tanks")
    assert answered.status_code == 500
    text = answered.get_data(as_text=True)
    for word in ("inner words", "room.db", "Traceback", "RuntimeError", ".py", "line "):
        assert word not in text
