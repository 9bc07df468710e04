"""What the clients talk to, a small stand-in and the service itself as a process, and a probe that runs them."""

import http.client
import importlib.util
import json
import os
import re
import shutil
import socket
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from weirbook.config import sqlite_url

CLIENT = Path(__file__).parents[2] / "openapi" / "clients" / "post_temperature.py"
KEY = "weirbook-test-key"


class Door(BaseHTTPRequestHandler):
    """POST /v1/readings?partial=true with its replies; `server.verdict` may answer in its place."""

    def do_POST(self):
        fake = self.server
        body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        rows = body["readings"]
        fake.requests.append((time.monotonic(), self.path, dict(self.headers), rows))
        verdict = fake.verdict(rows, self.headers) if fake.verdict else None
        if verdict:
            return self.answer(*verdict)
        refusals, stored, repeated = [], 0, 0
        with fake.guard:
            for index, row in enumerate(rows):
                place = (row["gauge"], row["at"])
                known = place in fake.stored
                if row["gauge"] not in fake.gauges:
                    kind, message = "unknown-gauge", f"No gauge {row['gauge']} in this room."
                elif fake.stored.setdefault(place, row["value"]) != row["value"]:
                    kind, message = "reading-conflict", "Another value is stored at this instant."
                else:
                    repeated += known
                    stored += not known
                    continue
                pointer = f"/readings/{index}/gauge"
                refusals.append({"index": index, "type": kind, "message": message, "pointer": pointer})
        fake.repeated += repeated
        fake.before_answer()
        counts = {"stored": stored, "repeated": repeated, "refused": len(refusals), "flagged": 0}
        return self.answer(200, {"sent": len(rows), **counts, "refusals": refusals})

    def answer(self, status, body, headers=()):
        text = body if isinstance(body, bytes) else json.dumps(body).encode()
        kind = "application/json" if status == 200 else "application/problem+json"
        self.send_response(status)
        self.send_header("Content-Type", "text/html" if isinstance(body, bytes) else kind)
        self.send_header("Content-Length", str(len(text)))
        for name, value in dict(headers).items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(text)

    def log_message(self, *_):
        pass


class FakeService(ThreadingHTTPServer):
    daemon_threads = True

    def __init__(self, port=0):
        super().__init__(("127.0.0.1", port), Door)
        self.guard = threading.Lock()
        self.requests, self.stored, self.repeated = [], {}, 0
        self.gauges = {"pond-a", "pond-b"}
        self.verdict = None
        self.before_answer = lambda: None

    def handle_error(self, request, client_address):
        """A client that was killed has closed its end: expected here."""

    @property
    def values(self):
        with self.guard:
            return sorted(self.stored.values())


@contextmanager
def running_fake(port=0):
    fake = FakeService(port)
    thread = threading.Thread(target=fake.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield fake
    finally:
        fake.shutdown()
        fake.server_close()


@pytest.fixture
def fake():
    with running_fake() as fake:
        yield fake


@pytest.fixture
def fake_at():
    """Starts the fake service at a given port, for as long as a `with` lasts."""
    return running_fake


@pytest.fixture
def closed_port():
    """A port of this machine at which nobody listens."""
    with socket.socket() as place:
        place.bind(("127.0.0.1", 0))
        return place.getsockname()[1]


@dataclass
class Answer:
    status: int
    kind: str
    text: str

    @property
    def json(self):
        return json.loads(self.text)


class RealService:
    """`weirbook serve` as a process of its own over one database, at one port also after a restart."""

    def __init__(self, folder, template, keeper_key):
        self.database = folder / "weirbook.db"
        shutil.copy(template, self.database)
        self.environment = os.environ | {"WEIRBOOK_DATABASE_URL": sqlite_url(self.database)}
        self.log = folder / "serve.log"
        self.keeper_key = keeper_key
        self.port = 0
        self.process = None

    @property
    def said(self):
        return self.log.read_text() if self.log.exists() else ""

    @property
    def running(self):
        return self.process is not None and self.process.poll() is None

    def start(self):
        """Serve where it served before, at first at a free port; returns when it listens."""
        before = len(self.said)
        command = [sys.executable, "-m", "weirbook", "serve", "--port", str(self.port)]
        with open(self.log, "ab") as log:
            self.process = subprocess.Popen(
                command, stdin=subprocess.DEVNULL, stderr=log, env=self.environment
            )
        deadline = time.monotonic() + 30
        while not (listening := re.search(r"http://127\.0\.0\.1:(\d+)", self.said[before:])):
            assert self.process.poll() is None and time.monotonic() < deadline, self.said
            time.sleep(0.01)
        self.port = int(listening[1])
        return self

    def kill(self):
        """End it without a word of warning, as a cut cable would."""
        self.process.kill()
        self.process.wait(10)

    def stop(self):
        if self.running:
            self.process.terminate()
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.kill()

    def ask(self, path, key=None, body=None, method=None, **headers):
        """One request; `body` goes as JSON, `key` in the header. The path is sent just as it is written."""
        if key:
            headers["Authorization"] = f"Bearer {key}"
        if body is not None:
            headers["Content-Type"] = "application/json"
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            text = None if body is None else json.dumps(body)
            connection.request(method or ("GET" if body is None else "POST"), path, text, headers)
            response = connection.getresponse()
            return Answer(response.status, response.headers["Content-Type"], response.read().decode("utf-8"))
        finally:
            connection.close()

    def make(self, path, body):
        """What the keeper adds to the room."""
        made = self.ask(path, self.keeper_key, body)
        assert made.status in (200, 201), made.text
        return made.json

    def command(self, *words):
        """What a `weirbook` command prints on the service's host."""
        done = subprocess.run(
            [sys.executable, "-m", "weirbook", *words],
            capture_output=True,
            text=True,
            env=self.environment,
            timeout=30,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()


@pytest.fixture(scope="module")
def serve(furnished_template, tmp_path_factory):
    """Makes the service over a fresh copy of the furnished room, not yet started; ends it with the module."""
    made = []

    def make():
        made.append(RealService(tmp_path_factory.mktemp("real"), *furnished_template))
        return made[-1]

    yield make
    for service in made:
        service.stop()


class Probe:
    """Starts the client on one spool, and ends what it started."""

    def __init__(self, directory):
        self.spool = directory / "spool"
        self.started = []

    @staticmethod
    def until(condition, seconds=15.0):
        deadline = time.monotonic() + seconds
        while not condition():
            assert time.monotonic() < deadline, "waited too long"
            time.sleep(0.01)

    @staticmethod
    def print(process, *lines):
        process.stdin.write("".join(f"{line}\n" for line in lines))
        process.stdin.flush()

    def start(self, port, *more, key=KEY, small_files=False):
        """The client's process; with `small_files` its files may grow to a few hundred bytes and no more."""
        command = [
            sys.executable,
            str(CLIENT),
            "--server",
            f"http://127.0.0.1:{port}",
            "--spool",
            str(self.spool),
        ]
        if small_files:
            command = ["sh", "-c", 'ulimit -f 1; exec "$@"', "sh", *command]
        process = subprocess.Popen(
            [*command, "--gauge", "pond-a", "--longest-wait", "0.2", *more],
            stdin=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=os.environ | ({"WEIRBOOK_KEY": key} if key else {}),
        )
        self.started.append(process)
        return process

    def once(self, port, lines, *more, **how):
        """Exit status and what was said."""
        process = self.start(port, "--once", *more, **how)
        _, said = process.communicate(lines, timeout=30)
        return process.returncode, said

    def finish(self, process):
        """End the client's input; exit status and what was said."""
        _, said = process.communicate(timeout=30)
        return process.returncode, said

    def waiting(self):
        return self._lines("readings.jsonl")

    def refused(self):
        return self._lines("refused.jsonl")

    def _lines(self, name):
        path = self.spool / name
        text = path.read_text() if path.exists() else ""
        return [json.loads(line) for line in text.splitlines(keepends=True) if line.endswith("\n")]


@pytest.fixture
def probe(tmp_path):
    probe = Probe(tmp_path)
    yield probe
    for process in probe.started:
        process.kill()
        process.communicate()


@pytest.fixture
def client():
    """The client as a module, for what can't be seen from outside."""
    spec = importlib.util.spec_from_file_location("post_temperature", CLIENT)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module
