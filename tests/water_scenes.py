"""A vat of 200 L and the records of its water, for tests of feed, source waters and nutrients."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from harness import Caller, made
from sqlalchemy.orm import Session

from weirbook.actions.filling import Absent
from weirbook.actions.system_facts import SystemFacts
from weirbook.actions.water_of import Waters
from weirbook.app import Service
from weirbook.engine.times import instant_ms
from weirbook.record.database import enter_room
from weirbook.record.names import find
from weirbook.record.places import System

NOW = "2026-11-25T18:00:00Z"
"""A Wednesday. The room's clocks show UTC in winter, an hour more in summer."""


def stop_the_clock(monkeypatch: pytest.MonkeyPatch, at: str = NOW) -> None:
    monkeypatch.setattr("weirbook.web.perform.now_ms", lambda: instant_ms(at))


def set_up_vat(keeper: Caller) -> None:
    """A system of one vat, 100 x 50 cm with 40 cm of water: 200 L, 0.5 m2."""
    made(keeper, "systems", {"name": "Pond"})
    shape = {"shape": "rectangle", "length": "100 cm", "width": "50 cm"}
    vat = {"name": "Vat", "system": "pond", "use": "display", "footprint": shape, "water_depth": "40 cm"}
    made(keeper, "tanks", vat)


def stock_larder(keeper: Caller) -> None:
    """Granules of 46 % protein and 1.2 % phosphorus."""
    granules = {"name": "Granules", "kind": "granule", "protein": "46 %", "phosphorus": "1.2 %"}
    made(keeper, "feeds", granules)


def feed(
    keeper: Caller, *feeds: tuple[str, str], since: str = "2026-01-01", tank: str = "vat", **said: Any
) -> str:
    """A ration from the midday of a day on."""
    rows = [{"feed": name, "amount": amount} for name, amount in feeds]
    body = {"tank": tank, "valid_from": f"{since}T12:00:00Z", "feeds": rows, **said}
    return str(made(keeper, "rations", body)["id"])


def water(keeper: Caller, name: str, kind: str = "tap", day: str = "2026-01-01", **values: str) -> None:
    """A source water and, where values are told, its report."""
    made(keeper, "source-waters", {"name": name.title(), "handle": name, "kind": kind})
    if values:
        report(keeper, name, day, **values)


def report(keeper: Caller, name: str, day: str, **values: str) -> None:
    told = [{"parameter": parameter, "value": value} for parameter, value in values.items()]
    made(keeper, "water-reports", {"source": name, "sampled_at": f"{day}T09:00:00Z", "values": told})


def change(
    keeper: Caller, day: str, volume: str, at: str = "10:00", place: str = "tanks/vat", **said: Any
) -> None:
    made(keeper, "water-changes", {"place": place, "changed_at": f"{day}T{at}:00Z", "volume": volume, **said})


def read(
    keeper: Caller,
    day: str,
    value: Any,
    parameter: str = "nitrate",
    at: str = "12:00",
    place: str = "tanks/vat",
) -> None:
    """A test by hand, at the midday of a day."""
    body = {"place": place, "parameter": parameter, "value": value, "at": f"{day}T{at}:00Z"}
    answered = keeper.post("/v1/readings", body)
    assert answered.status_code in (200, 201), answered.get_data(as_text=True)


def value_at(app: Service, room_id: int, day: str, parameter: str, name: str = "tap") -> str:
    """What the record says a water holds on a day, as text; else why it says nothing."""
    with app.database.read() as session:
        enter_room(session, room_id)
        found = Waters(session).value_of(name, parameter, instant_ms(f"{day}T12:00:00Z"))
        return found.why if isinstance(found, Absent) else f"{found.value.text()}: {found.note}"


@contextmanager
def facts_at(app: Service, room_id: int, at: str = NOW, system: str = "pond") -> Iterator[SystemFacts]:
    """The facts of a system at an instant, while their session is open."""
    with app.database.read() as session:
        enter_room(session, room_id)
        yield facts_in(session, at, system)


def facts_in(session: Session, at: str = NOW, system: str = "pond") -> SystemFacts:
    return SystemFacts(session, find(session, System, system), instant_ms(at))
