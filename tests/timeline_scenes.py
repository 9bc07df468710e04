"""Records of a small system, written shortly, for tests of what happened in it."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from harness import Caller, made

from weirbook.app import Service
from weirbook.record.changes import Change


def path(keeper: Caller, address: str) -> Any:
    """The JSON behind an address under /v1."""
    answered = keeper.get(f"/v1/{address}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    return answered.get_json()


def timeline(keeper: Caller, system: str = "rill", **query: str) -> list[dict[str, Any]]:
    asked = {"from": "2026-09-01T00:00:00Z", **query}
    lines: list[dict[str, Any]] = path(
        keeper, f"systems/{system}/timeline?" + "&".join(f"{name}={value}" for name, value in asked.items())
    )["items"]
    return lines


def group(keeper: Caller, tank: str = "nursery", species: str = "Killifish") -> str:
    """A group of a species in a tank; the species is made at its first use."""
    handle = species.lower().replace(" ", "-")
    if keeper.get(f"/v1/species/{handle}").status_code == 404:
        made(keeper, "species", {"name": species})
    return str(made(keeper, "groups", {"species": handle, "tank": tank})["id"])


def stock(keeper: Caller, kind: str, of: str, number: int, at: str, **said: Any) -> str:
    body = {"kind": kind, "group": of, "number": number, "happened_at": at, **said}
    return str(made(keeper, "stock-entries", body)["id"])


def contact(keeper: Caller, name: str, parameter: str, place: str = "tanks/nursery", **said: Any) -> None:
    made(keeper, "gauges", {"name": name, "parameter": parameter, "place": place, **said})


def says(keeper: Caller, gauge: str, *rows: tuple[str, Any]) -> None:
    """Readings of a gauge: instant and value."""
    body = [{"gauge": gauge, "value": value, "at": at} for at, value in rows]
    answered = keeper.post("/v1/readings", {"readings": body})
    assert answered.status_code == 200, answered.get_data(as_text=True)
    assert answered.get_json()["refused"] == 0, answered.get_data(as_text=True)


def by_hand(keeper: Caller, parameter: str, *rows: tuple[str, Any], place: str = "tanks/nursery") -> None:
    for day, value in rows:
        body = {"place": place, "parameter": parameter, "value": value, "at": f"{day}T12:00:00Z"}
        answered = keeper.post("/v1/readings", body)
        assert answered.status_code == 200, answered.get_data(as_text=True)


def another_system(keeper: Caller) -> None:
    """Beck, with a tank of its own: what happens there is not Rill's."""
    made(keeper, "systems", {"name": "Beck"})
    shape = {"shape": "rectangle", "length": "80 cm", "width": "40 cm"}
    tank = {
        "name": "Far tank",
        "system": "beck",
        "use": "display",
        "footprint": shape,
        "water_depth": "40 cm",
    }
    made(keeper, "tanks", tank)


def empty_the_log(app: Service) -> None:
    """Forget when the furniture was entered: by the real clock, which no test can rely on."""
    with app.database.write() as session:
        session.execute(sa.delete(Change))
