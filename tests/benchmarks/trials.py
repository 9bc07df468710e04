"""How long the result of a trial takes: two sensors every ten minutes for 90 days, two phases, a journal beside.

    python tests/benchmarks/trials.py

Through WSGI, in one process, with a bare request as the yardstick. Exit status 1 if the bar is missed.
"""

from __future__ import annotations

import math
import random
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient

from weirbook.actions.make_key import make_key
from weirbook.actions.open_room import open_room
from weirbook.app import create_app
from weirbook.config import Config, sqlite_url
from weirbook.engine.times import instant_text
from weirbook.record.access import Role
from weirbook.record.database import Database, now_ms
from weirbook.record.migrations import migrate

BAR_MS = 300
DAYS, STEP_MS, BATCH, ROUNDS = 90, 600_000, 3000, 9
DAY_MS = 86_400_000
GAUGES = {"vat-temperature": "temperature", "vat-ph": "ph"}


def main() -> int:
    return 0 if over_trials() else 1


def over_trials() -> bool:
    """The result of one trial, both gauges its outcomes."""
    with tempfile.TemporaryDirectory() as folder:
        client, secret = _room(Path(folder) / "trial.db")
        caller = _Caller(client, secret)
        trial = _fill(caller)
        bare = caller.median_ms("/v1/room")
        taken = caller.median_ms(f"/v1/trials/{trial}/result")
    held = taken < BAR_MS
    print(
        f"result of a trial over {DAYS} days of two gauges every 10 min: {taken:.0f} ms,"
        f" {taken / bare:.0f} times a bare request ({bare:.1f} ms); bar {BAR_MS} ms: {'held' if held else 'NOT held'}"
    )
    return held


class _Caller:
    def __init__(self, client: FlaskClient, secret: str) -> None:
        self.client, self.headers = client, {"Authorization": f"Bearer {secret}"}

    def make(self, path: str, body: dict[str, Any]) -> Any:
        answered = self.client.post(f"/v1/{path}", json=body, headers=self.headers)
        assert answered.status_code in (200, 201), answered.get_data(as_text=True)
        return answered.get_json()

    def median_ms(self, path: str) -> float:
        taken = []
        for _ in range(ROUNDS):
            begun = time.perf_counter()
            answered = self.client.get(path, headers=self.headers)
            taken.append((time.perf_counter() - begun) * 1000)
            assert answered.status_code == 200, answered.get_data(as_text=True)
        return statistics.median(taken)


def _room(file: Path) -> tuple[FlaskClient, str]:
    database, now = Database(sqlite_url(file)), now_ms()
    migrate(database)
    with database.write() as session:
        open_room(session, name="Room", time_zone="Europe/Lisbon", now=now)
        _, secret = make_key(session, name="keeper", role=Role.KEEPER, now=now)
    return create_app(Config(sqlite_url(file)), database).test_client(), secret


def _fill(caller: _Caller) -> str:
    luck = random.Random(1)
    start = now_ms() // DAY_MS * DAY_MS - DAYS * DAY_MS
    change = start + DAYS // 2 * DAY_MS
    caller.make("systems", {"name": "Pond"})
    shape = {"shape": "rectangle", "length": "100 cm", "width": "50 cm"}
    vat = {"name": "Vat", "system": "pond", "use": "display", "footprint": shape, "water_depth": "40 cm"}
    caller.make("tanks", vat)
    for name, parameter in GAUGES.items():
        gauge = {"name": name, "handle": name, "parameter": parameter, "place": "tanks/vat"}
        caller.make("gauges", {**gauge, "expected_interval": "10 min"})
    rows = []
    drift = 0.0
    for at_ms in range(start, start + DAYS * DAY_MS, STEP_MS):
        drift = 0.998 * drift + luck.gauss(0, 0.03)
        daily = math.sin(at_ms / DAY_MS * 2 * math.pi)
        at = instant_text(at_ms)
        rows.append(
            {
                "gauge": "vat-temperature",
                "value": round(24 + 0.3 * daily + drift - (at_ms >= change), 2),
                "at": at,
            }
        )
        rows.append({"gauge": "vat-ph", "value": round(7 + 0.1 * daily + drift / 5, 2), "at": at})
    for begin in range(0, len(rows), BATCH):
        caller.make("readings", {"readings": rows[begin : begin + BATCH]})
    for week in range(DAYS // 7):
        at = instant_text(start + (7 * week + 2) * DAY_MS)
        caller.make("water-changes", {"place": "tanks/vat", "volume": "40 L", "changed_at": at})
        caller.make(
            "journal", {"place": "tanks/vat", "kind": "cleaning", "words": "Glass wiped.", "happened_at": at}
        )
    phases = [
        {"setting": "Warm", "from": instant_text(start), "to": instant_text(change)},
        {"setting": "Cool", "from": instant_text(change), "settle": "2 d"},
    ]
    trial = {
        "question": "Do they feed as well?",
        "varied": "Setpoint",
        "place": "tanks/vat",
        "phases": phases,
        "outcomes": [{"gauge": name} for name in GAUGES],
    }
    return str(caller.make("trials", trial)["id"])


if __name__ == "__main__":
    sys.exit(main())
