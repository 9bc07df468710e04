"""The watch that runs beside the service: it hears of trouble in seconds, and agrees with the readings."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import pytest
from harness import Caller
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from weirbook import watcher
from weirbook.app import Service
from weirbook.engine.times import instant_text
from weirbook.errors import Busy
from weirbook.record.database import now_ms
from weirbook.watcher import watch_once, watching

MINUTE = 60_000


def leak(keeper: Caller) -> None:
    made = keeper.post("/v1/gauges", {"name": "Leak", "parameter": "leak", "place": "room"})
    assert made.status_code == 201, made.get_data(as_text=True)
    assert keeper.post("/v1/readings", {"gauge": "leak", "value": "off"}).status_code == 200


def trip(keeper: Caller, value: str) -> None:
    assert keeper.post("/v1/readings", {"gauge": "leak", "value": value}).status_code == 200


def until(holds: Callable[[], bool], seconds: float = 20) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if holds():
            return True
        time.sleep(0.05)
    return False


def open_alerts(keeper: Caller) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = keeper.get("/v1/alerts?open=true").get_json()["items"]
    return found


def test_a_leak_is_told_while_the_watch_runs_and_closes_when_it_is_dry(
    furnished: Caller, app: Service
) -> None:
    leak(furnished)
    with watching(app.database):
        trip(furnished, "on")
        assert until(lambda: len(open_alerts(furnished)) == 1)
        time.sleep(0.005)  # the next reading is of another millisecond
        trip(furnished, "off")
        assert until(lambda: open_alerts(furnished) == [])


def test_what_came_while_no_watch_ran_is_told_by_the_next(furnished: Caller, app: Service) -> None:
    leak(furnished)
    watch_once(app.database, now_ms())
    time.sleep(0.005)
    trip(furnished, "on")
    with watching(app.database):
        assert until(lambda: len(open_alerts(furnished)) == 1)


@pytest.mark.parametrize("trouble", [Busy("locked"), RuntimeError("unforeseen")])
def test_a_round_that_fails_is_made_up_for_by_the_next(
    furnished: Caller, app: Service, monkeypatch: pytest.MonkeyPatch, trouble: Exception
) -> None:
    leak(furnished)
    failed = []

    def fails_first(*said: Any, **also: Any) -> int:
        if not failed:
            failed.append(True)
            raise trouble
        return watch_once(*said, **also)

    monkeypatch.setattr(watcher, "watch_once", fails_first)
    monkeypatch.setattr(watcher, "ROUND_S", 0.1)
    with watching(app.database):
        trip(furnished, "on")
        assert until(lambda: len(open_alerts(furnished)) == 1)
    assert failed


def test_two_watches_on_one_database_tell_everything_once(furnished: Caller, app: Service) -> None:
    """As two servers on one PostgreSQL would."""
    leak(furnished)

    def told(noun: str) -> list[str]:
        entries = furnished.get("/v1/changes?limit=1000").get_json()["items"]
        return [one["what"] for one in entries if one["noun"] == noun]

    with watching(app.database), watching(app.database):
        for value in ("on", "off", "on", "off"):
            time.sleep(0.005)
            trip(furnished, value)
        assert until(lambda: len(told("contact")) == 5), told("contact")
        assert until(lambda: open_alerts(furnished) == [])
    assert told("contact") == ["off", "on", "off", "on", "off"]
    assert told("alert") == ["opened", "closed"] * 2


STEPS = st.lists(
    st.tuples(
        st.integers(1, 40),
        st.sampled_from([20.0, 22.5, 23.5, 25.0, 25.9, 26.5, 28.0]),
        st.booleans(),
    ),
    min_size=1,
    max_size=25,
)


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=STEPS, hysteresis=st.sampled_from([0, 0.5]))
def test_rounds_at_any_moment_tell_just_the_excursions_there_are(
    furnished: Caller, app: Service, steps: list[tuple[int, float, bool]], hysteresis: float
) -> None:
    """Alerts opened and closed by rounds between readings are the stretches that all readings together tell of."""
    number = next(_numbers)
    gauge, place = f"probe-{number}", f"tanks/tank-{number}"
    footprint = {"shape": "rectangle", "length": "60 cm", "width": "30 cm"}
    tank = {"name": f"Tank {number}", "system": "rill", "use": "holding", "footprint": footprint}
    assert (
        furnished.post("/v1/tanks", {**tank, "rim_height": "40 cm", "water_depth": "30 cm"}).status_code
        == 201
    )
    body = {"name": gauge, "parameter": "temperature", "place": place, "expected_interval": "10 min"}
    assert furnished.post("/v1/gauges", body).status_code == 201
    target = {
        "place": place,
        "parameter": "temperature",
        "low": 23,
        "high": 26,
        "hysteresis": f"{hysteresis} degC",
    }
    assert furnished.post("/v1/targets", {**target, "valid_from": "2026-01-01T00:00:00Z"}).status_code == 201
    at = now_ms() // MINUTE * MINUTE - 20 * 60 * MINUTE
    watch_once(app.database, at, heard_since=at * 2)
    for minutes, value, watched in steps:
        at += minutes * MINUTE
        sent = furnished.post("/v1/readings", {"gauge": gauge, "value": value, "at": instant_text(at)})
        assert sent.status_code == 200
        if watched:
            watch_once(app.database, at, heard_since=at * 2)
    watch_once(app.database, at, heard_since=at * 2)
    alerts = furnished.get(f"/v1/alerts?gauge={gauge}").get_json()["items"]
    span = f"from={instant_text(at - 21 * 60 * MINUTE)}"
    stretches = furnished.get(f"/v1/excursions?gauge={gauge}&{span}").get_json()["items"]
    told = [(one["side"], one["began_at"], one["ended_at"], one["worst"]["value"]) for one in alerts]
    wanted = [(one["side"], one["start"], one["end"], one["worst"]) for one in stretches]
    assert sorted(told, key=str) == sorted(wanted, key=str)


_numbers = iter(range(1, 10_000))
