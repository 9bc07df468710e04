"""API10:2023 Unsafe consumption of APIs: whose answers are believed.

The service itself calls nobody (test_api7_ssrf.py); what it is given as files is checked (restore, import: their own
tests), and a proxy's headers count from the configured address alone (tests/web/test_proxy.py). So this is about the
clients in openapi/clients, which hold a key and believe what answers at the address they were given: none follows that
answer to another address, where the key would go along.
"""

from __future__ import annotations

import ast
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

CLIENTS = Path(__file__).parents[2] / "openapi" / "clients"
KEY = "wb_" + "k" * 43


class Hearing(BaseHTTPRequestHandler):
    """Notes who calls; sends them elsewhere, if there is an elsewhere."""

    heard: list[str]
    elsewhere: str | None
    status: int

    def answer(self) -> None:
        type(self).heard.append(self.headers.get("Authorization", ""))
        self.rfile.read(int(self.headers.get("Content-Length", 0)))
        self.send_response(self.status)
        if self.elsewhere is not None:
            self.send_header("Location", self.elsewhere)
        self.send_header("Content-Length", "0")
        self.end_headers()

    do_GET = do_POST = do_PUT = do_PATCH = answer

    def log_message(self, *_: object) -> None:
        """Quiet."""


def listening(elsewhere: str | None = None, status: int = 200) -> tuple[ThreadingHTTPServer, type[Hearing]]:
    handler = type("Heard", (Hearing,), {"heard": [], "elsewhere": elsewhere, "status": status})
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
    return server, handler


@pytest.fixture(params=[301, 302, 303, 307, 308])
def lure(request: pytest.FixtureRequest) -> Iterator[tuple[int, type[Hearing], type[Hearing]]]:
    """The port of a server that sends callers elsewhere; who called it; who called elsewhere."""
    trap, trapped = listening()
    server, called = listening(f"http://127.0.0.1:{trap.server_port}/v1/readings", request.param)
    yield server.server_port, called, trapped
    for one in (server, trap):
        one.shutdown()
        one.server_close()


def test_a_sensor_does_not_take_its_key_to_where_it_is_sent(
    lure: tuple[int, type[Hearing], type[Hearing]], tmp_path: Path
) -> None:
    port, called, trapped = lure
    subprocess.run(
        [
            *(sys.executable, str(CLIENTS / "post_temperature.py"), "--once", "--linger", "0.2"),
            *("--server", f"http://127.0.0.1:{port}", "--gauge", "pond-a", "--spool", str(tmp_path)),
        ],
        input="24.5\n",
        env={**os.environ, "WEIRBOOK_KEY": KEY},
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert called.heard and set(called.heard) == {f"Bearer {KEY}"}
    assert trapped.heard == []
    kept = [file.read_text() for file in tmp_path.iterdir() if file.suffix == ".jsonl"]
    assert any("24.5" in text for text in kept), "the reading is lost"


@pytest.mark.parametrize("file", sorted(CLIENTS.glob("*.py")), ids=lambda file: file.name)
def test_no_client_speaks_through_anything_that_follows_by_itself(file: Path) -> None:
    """http.client follows no Location and reads no proxy setting; urllib.request does both, with the key."""
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            assert "urllib.request" not in {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.module != "urllib.request"
            assert not (node.module == "urllib" and "request" in {alias.name for alias in node.names})
    text = file.read_text(encoding="utf-8")
    for word in ("CERT_NONE", "check_hostname = False", "_create_unverified_context"):
        assert word not in text
