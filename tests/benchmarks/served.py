"""A service in a process of its own on loopback, and clients that keep their connection to it."""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import re
import signal
import statistics
import subprocess
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

MB = 1_000_000


@dataclass
class Served:
    """A running service: where it answers, and how long it took from its start to its first answer."""

    process: subprocess.Popen[bytes]
    port: int
    started_s: float

    def resident_mb(self) -> float:
        """Resident memory of the process and its children, in MB."""
        pages = sum(
            int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1])
            for pid in _family(self.process.pid)
        )
        return pages * os.sysconf("SC_PAGE_SIZE") / MB

    def spooled_mb(self) -> float:
        """What stands in temporary files of the process and its children that have no name any more, in MB."""
        size = 0
        for pid in _family(self.process.pid):
            for one in Path(f"/proc/{pid}/fd").iterdir():
                with contextlib.suppress(OSError):
                    if str(one.readlink()).endswith("(deleted)"):
                        size += one.stat().st_size
        return size / MB

    def cpu_s(self) -> float:
        """Processor time that the process and its children have used, in seconds."""
        ticks = 0
        for pid in _family(self.process.pid):
            told = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
            ticks += int(told[11]) + int(told[12])
        return ticks / os.sysconf("SC_CLK_TCK")


def _family(pid: int) -> list[int]:
    children = Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="ascii").split()
    return [pid, *(one for child in children for one in _family(int(child)))]


@contextmanager
def serving(command: Sequence[str], environment: Mapping[str, str], log: Path) -> Iterator[Served]:
    """Run a service that says its http://127.0.0.1:PORT, until the block ends; what it says goes to `log`."""
    begun = time.perf_counter()
    with log.open("wb") as said:
        process = subprocess.Popen(
            command, env={**os.environ, **environment}, stdout=said, stderr=subprocess.STDOUT
        )
    try:
        port = _port_said(process, log)
        while True:
            try:
                Client(port).get("/nothing-here", expected=None)
                break
            except OSError:
                time.sleep(0.005)
        yield Served(process, port, time.perf_counter() - begun)
    finally:
        process.send_signal(signal.SIGTERM)
        try:
            process.wait(15)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _port_said(process: subprocess.Popen[bytes], log: Path) -> int:
    for _ in range(12_000):
        said = log.read_text(encoding="utf-8", errors="replace")
        if found := re.search(r"http://127\.0\.0\.1:(\d+)", said):
            return int(found[1])
        if process.poll() is not None:
            break
        time.sleep(0.005)
    raise RuntimeError(f"The service did not start:\n{log.read_text(encoding='utf-8')[-3000:]}")


@dataclass
class Client:
    """One keep-alive connection."""

    port: int
    headers: Mapping[str, str] = field(default_factory=dict)
    timeout_s: float = 120
    _connection: http.client.HTTPConnection | None = None

    def ask(
        self, method: str, path: str, body: bytes | None = None, media: str = "application/json"
    ) -> tuple[int, bytes]:
        """Status and body of an answer."""
        if self._connection is None:
            self._connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=self.timeout_s)
        headers = dict(self.headers) | ({"Content-Type": media} if body is not None else {})
        self._connection.request(method, path, body, headers)
        answer = self._connection.getresponse()
        return answer.status, answer.read()

    def get(self, path: str, expected: int | None = 200) -> bytes:
        status, told = self.ask("GET", path)
        _expect(expected, status, told)
        return told

    def post(self, path: str, body: bytes, expected: int | None = 200) -> bytes:
        status, told = self.ask("POST", path, body)
        _expect(expected, status, told)
        return told

    def make(self, path: str, values: Any) -> Any:
        """Make a record: the one that was made."""
        return json.loads(self.post(path, json.dumps(values).encode(), 201))


def _expect(wanted: int | None, status: int, told: bytes) -> None:
    if wanted is not None and status != wanted:
        raise RuntimeError(f"{status} instead of {wanted}: {told[:500]!r}")


@dataclass(frozen=True)
class Pace:
    """How fast posts went: seconds for all, and the median and 99th percentile of one, in ms."""

    seconds: float
    median_ms: float
    slow_ms: float


def post_all(clients: Sequence[Client], path: str, bodies: Sequence[bytes]) -> Pace:
    """Post each body once, each client its share, at the same time."""
    taken: list[list[float]] = [[] for _ in clients]
    failed: list[BaseException] = []

    def share(number: int) -> None:
        try:
            for body in bodies[number :: len(clients)]:
                begun = time.perf_counter()
                clients[number].post(path, body)
                taken[number].append((time.perf_counter() - begun) * 1000)
        except BaseException as trouble:
            failed.append(trouble)

    begun = time.perf_counter()
    if len(clients) == 1:
        share(0)
    else:
        threads = [threading.Thread(target=share, args=(number,)) for number in range(len(clients))]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    seconds = time.perf_counter() - begun
    if failed:
        raise failed[0]
    each = sorted(one for some in taken for one in some)
    return Pace(seconds, statistics.median(each), each[int(len(each) * 0.99)])


def medians_ms(calls: Sequence[Callable[[], Any]], rounds: int) -> list[float]:
    """Milliseconds of the middle one of some rounds of each call, taken in turns after one that warms up."""
    taken: list[list[float]] = [[] for _ in calls]
    for do in calls:
        do()
    for _ in range(rounds):
        for some, do in zip(taken, calls, strict=True):
            begun = time.perf_counter()
            do()
            some.append((time.perf_counter() - begun) * 1000)
    return [statistics.median(some) for some in taken]
