"""What is measured: Weirbook, and the script that a keeper would write, each over a file of its own."""

from __future__ import annotations

import itertools
import json
import math
import os
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from served import Client, Served, serving

from weirbook.config import sqlite_url
from weirbook.web.serving import THREADS

GAUGES = [f"probe-{number:02}" for number in range(50)]
MINUTE_MS = 60_000
WEIRBOOK = [sys.executable, "-m", "weirbook"]

Reading = tuple[int, int, float]
"""Gauge number, instant in ms, degrees Celsius."""


@dataclass(frozen=True)
class Contender:
    """A service under test, where readings are posted to, and the headers of who may post and who may read."""

    served: Served
    path: str
    posting: Mapping[str, str]
    reading: Mapping[str, str]

    def poster(self) -> Client:
        return Client(self.served.port, self.posting)

    def reader(self) -> Client:
        return Client(self.served.port, self.reading)


@contextmanager
def script_in(folder: Path, name: str) -> Iterator[Contender]:
    """The keeper's script ("script"), or as somebody who knows SQLite would tune it ("tuned")."""
    environment = {"READINGS_DB": str(folder / f"{name}.db"), "READINGS_THREADS": str(THREADS)}
    command = [sys.executable, str(Path(__file__).with_name(f"{name}.py"))]
    with serving(command, environment, folder / f"{name}.log") as served:
        yield Contender(served, "/readings", {}, {})


@contextmanager
def weirbook_in(folder: Path, name: str) -> Iterator[Contender]:
    """Weirbook with its gauges, a sensor key that lists them all, and a keeper key."""
    environment = {"WEIRBOOK_DATABASE_URL": sqlite_url(folder / f"{name}.db")}
    with serving([*WEIRBOOK, "serve", "--port", "0"], environment, folder / f"{name}.log") as served:
        reading = _bearer(_key(environment, "--role", "keeper"))
        keeper = Client(served.port, reading)
        for handle in GAUGES:
            keeper.make("/v1/gauges", gauge_named(handle))
        listed = itertools.chain.from_iterable(("--gauge", handle) for handle in GAUGES)
        posting = _bearer(_key(environment, "--role", "sensor", *listed))
        yield Contender(served, "/v1/readings", posting, reading)


def gauge_named(handle: str) -> dict[str, str]:
    """A gauge as a keeper sets it up, with a plausible range."""
    return {
        "name": handle,
        "handle": handle,
        "parameter": "temperature",
        "place": "room",
        "unit": "degC",
        "expected_interval": "1 min",
        "plausible_low": "5 degC",
        "plausible_high": "40 degC",
    }


def _key(environment: Mapping[str, str], *chosen: str) -> str:
    """A new key, made on the host."""
    command = [*WEIRBOOK, "key", "add", "--name", "Benchmark", *chosen]
    made = subprocess.run(
        command, env={**os.environ, **environment}, check=True, capture_output=True, text=True
    )
    return made.stdout.strip()


def _bearer(secret: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {secret}"}


_WAVE = [0.8 * math.sin(2 * math.pi * minute / 1440) for minute in range(1440)]
_NOISE = [0.05 * math.sin(step * step) for step in range(997)]


def value_at(number: int, minute: int) -> float:
    """Degrees Celsius at a minute since the epoch: a daily swing around 24.5 and some noise, to a hundredth."""
    return round(24.5 + _WAVE[(minute + 29 * number) % 1440] + _NOISE[(minute + 31 * number) % 997], 2)


def readings_of(minutes: Iterator[int], count: int) -> list[Reading]:
    """So many readings, every gauge each minute, taken off `minutes`."""
    return [
        (number, minute * MINUTE_MS, value_at(number, minute))
        for minute in itertools.islice(minutes, -(-count // len(GAUGES)))
        for number in range(len(GAUGES))
    ][:count]


def text_of(at_ms: int) -> str:
    """An instant as it is sent."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def body_of(readings: Sequence[Reading]) -> bytes:
    """JSON of one reading, or of several."""
    told = [{"gauge": GAUGES[number], "value": value, "at": text_of(at)} for number, at, value in readings]
    return json.dumps(told[0] if len(told) == 1 else {"readings": told}).encode()
