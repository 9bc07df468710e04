"""How long a whole system takes to solve, and a sweep of 100 what-ifs.

    python tests/benchmarks/flow.py

A system of four tanks, eight sections and three pumps, one of whose lines parts in two. Solved in the process, as
the service does for every question about flow; then asked and swept through WSGI. A bare request is the yardstick.
Exit status 1 if a bar is missed.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient

from weirbook.actions.make_key import make_key
from weirbook.actions.open_room import open_room
from weirbook.actions.solve_flow import solve_flow
from weirbook.actions.system_facts import SystemFacts
from weirbook.app import create_app
from weirbook.config import Config, sqlite_url
from weirbook.engine.relations.steady_flow import solve
from weirbook.record.access import Role
from weirbook.record.database import Database, enter_room, now_ms
from weirbook.record.migrations import migrate
from weirbook.record.names import find
from weirbook.record.places import System

SOLVE_BAR_MS, SWEEP_BAR_MS = 20, 1000
ROUNDS = 30
VARIANTS = 100
CURVE = [
    {"head": "3.4 m", "flow": "0 L/h"},
    {"head": "3.0 m", "flow": "1500 L/h"},
    {"head": "2.0 m", "flow": "3200 L/h"},
    {"head": "0.5 m", "flow": "4600 L/h"},
]
PIECE = {"size": "1 in schedule 40", "length": "2.2 m", "elbows": 4, "ball_valves": 1}
BRANCH = {"size": "3/4 in schedule 40", "length": "1.1 m", "elbows": 2, "tees_branch": 1}
DRAINS = [
    {"kind": "siphon", "diameter": "40 mm", "length": "1.2 m", "drop": "70 cm", "lip_depth": "12 cm"},
    {"kind": "standby", "diameter": "40 mm", "length": "1.2 m", "drop": "70 cm", "lip_depth": "2 cm"},
]


def main() -> int:
    with tempfile.TemporaryDirectory() as folder:
        database, room_id, client, key = _room(Path(folder) / "flow.db")
        with database.read() as session:
            enter_room(session, room_id)
            system = find(session, System, "terrace")
            laid = solve_flow(SystemFacts(session, system, now_ms()))
            assert (len(laid.tanks), len(laid.sections), len(laid.pumps)) == (4, 8, 3)
            assert all(one.basis == "worked out" for one in laid.solved.lifted), laid.missing
            pure = _median(lambda: solve(laid.plumbing))
            whole = _median(lambda: solve_flow(SystemFacts(session, system, now_ms())))
        bare = _median(lambda: _ask(client, key, "GET", "/v1/room"))
        asked = _median(lambda: _ask(client, key, "GET", "/v1/systems/terrace/flow"))
        body = {"vary": "level", "values": [f"{15 + i / 10:g} cm" for i in range(VARIANTS)]}
        swept = _median(lambda: _ask(client, key, "POST", "/v1/systems/terrace/flow/sweep", body), rounds=3)
    print(f"solved: {pure:.1f} ms, with its record read {whole:.1f} ms; bar {SOLVE_BAR_MS} ms")
    print(f"asked: {asked:.1f} ms, {asked / bare:.1f} times a bare request ({bare:.1f} ms)")
    print(f"{VARIANTS} what-ifs: {swept:.0f} ms, {swept / asked:.1f} times one; bar {SWEEP_BAR_MS} ms")
    held = whole < SOLVE_BAR_MS and swept < SWEEP_BAR_MS
    print("held" if held else "NOT held")
    return 0 if held else 1


def _median(do: Callable[[], Any], rounds: int = ROUNDS) -> float:
    taken = []
    for _ in range(rounds + 1):
        begun = time.perf_counter()
        do()
        taken.append((time.perf_counter() - begun) * 1000)
    return statistics.median(taken[1:])


def _room(file: Path) -> tuple[Database, int, FlaskClient, str]:
    database, now = Database(sqlite_url(file)), now_ms()
    migrate(database)
    with database.write() as session:
        room = open_room(session, name="Benchmark", time_zone="Europe/Lisbon", now=now)
        room_id = room.room_id
        enter_room(session, room_id)
        _, key = make_key(session, name="keeper", role=Role.KEEPER, now=now)
    client = create_app(Config(sqlite_url(file)), database).test_client()
    for path, body in _records():
        _ask(client, key, "POST", f"/v1/{path}", body)
    return database, room_id, client, key


def _records() -> list[tuple[str, dict[str, Any]]]:
    records: list[tuple[str, dict[str, Any]]] = [("systems", {"name": "Terrace"})]
    for number in range(1, 5):
        overflow = {"edge_length": "40 cm", "crest_height": "45 cm", "drains": DRAINS}
        tank = {
            "name": f"Tank {number}",
            "system": "terrace",
            "use": "grow-out",
            "footprint": {"shape": "rectangle", "length": "120 cm", "width": "50 cm"},
            "base_height": "95 cm",
            "rim_height": "52 cm",
            "water_depth": "46 cm",
            "overflow": overflow,
        }
        records.append(("tanks", tank))
    sump = {"name": "Trough", "system": "terrace", "length": "240 cm", "width": "50 cm", "height": "45 cm"}
    records.append(("sumps", {**sump, "base_height": "10 cm"}))
    for position in range(1, 9):
        section: dict[str, Any] = {
            "sump": "trough",
            "position": position,
            "use": "return" if position == 8 else "media",
            "direction": "up" if position % 2 else "along",
            "length": "28 cm",
            "running_depth": "22 cm" if position == 8 else None,
            "media": {"volume": "10 L", "porosity": "40 %", "grain_size": "12 mm"} if position < 8 else None,
        }
        if position < 8:
            section["baffle"] = (
                {"passes": "over", "crest_height": f"{40 - 2 * position} cm"}
                if position % 2
                else {"passes": "under", "gap_height": "4 cm"}
            )
        records.append(("sections", {name: value for name, value in section.items() if value is not None}))
    one_end = {"pieces": [PIECE], "outlet_level": "-3 cm", "air_hole_level": "-1 cm"}
    parted = {
        "pieces": [PIECE, {**BRANCH, "branch": "left"}, {**BRANCH, "branch": "right"}],
        "branches": [{"name": "left", "tank": "tank-3"}, {"name": "right", "tank": "tank-4"}],
    }
    for number, line in ((1, one_end), (2, one_end), (3, parted)):
        pump = {
            "name": f"Pump {number}",
            "from_section": "trough-return-1",
            "to_tank": f"tank-{number}",
            "intake_height": "5 cm",
        }
        records.append(("pumps", {**pump, "curve": CURVE, "line": line}))
    return records


def _ask(client: FlaskClient, key: str, method: str, path: str, body: Any = None) -> Any:
    answered = client.open(path, method=method, json=body, headers={"Authorization": f"Bearer {key}"})
    assert answered.status_code in (200, 201), answered.get_data(as_text=True)
    return answered.get_json()


if __name__ == "__main__":
    sys.exit(main())
