"""Tasks of a room that is given another time zone: nothing is lost, nothing done comes again."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import pytest
from harness import Caller, on_both_engines

from weirbook.engine.times import instant_ms

SetClock = Callable[[str], None]
NAME = "2026-11-25T10:00"


@pytest.fixture
def set_clock(monkeypatch: pytest.MonkeyPatch) -> SetClock:
    """Lets the service take an instant of 2026-11 (UTC) for now."""

    def set_to(day_and_time: str) -> None:
        now = instant_ms(f"2026-11-{day_and_time}:00Z")
        monkeypatch.setattr("weirbook.web.perform.now_ms", lambda: now)

    return set_to


def move(keeper: Caller, zone: str) -> None:
    assert keeper.patch("/v1/room", {"time_zone": zone}).status_code == 200


@pytest.fixture
def task(furnished: Caller, set_clock: SetClock) -> str:
    """Due once, on the 25th at 10 by the room's clock, which is UTC; it is the 24th, 15:00."""
    set_clock("24T15:00")
    move(furnished, "UTC")
    made = furnished.post("/v1/tasks", {"title": "Once", "schedule": {"kind": "once", "due": NAME}})
    assert made.status_code == 201
    return f"/v1/tasks/{made.get_json()['id']}"


def open_due(keeper: Caller) -> list[str]:
    return [one["due"] for one in keeper.get("/v1/tasks/due?on=2026-12-20").get_json()["items"]]


def tick(keeper: Caller, task: str) -> str:
    made = keeper.post(f"{task}/completions", {"occurrence": NAME})
    assert made.status_code == 201, made.get_data(as_text=True)
    return f"{task}/completions/{made.get_json()['id']}"


@on_both_engines
def test_what_was_done_does_not_come_again_by_a_zone_set_wrongly_and_right_again(
    furnished: Caller, task: str, set_clock: SetClock
) -> None:
    set_clock("25T10:05")
    tick(furnished, task)
    set_clock("25T11:00")
    move(furnished, "America/New_York")
    assert open_due(furnished) == []
    set_clock("25T12:00")
    move(furnished, "UTC")
    assert open_due(furnished) == []
    assert [one["state"] for one in furnished.get(f"{task}/occurrences").get_json()["items"]] == ["done"]


def test_what_was_done_early_stays_done_under_clocks_further_west(
    furnished: Caller, task: str, set_clock: SetClock
) -> None:
    """10:00 is 15:00 Z in New York and 16:00 Z in Chicago; the completion still says 10:00 Z."""
    tick(furnished, task)
    move(furnished, "America/New_York")
    set_clock("25T11:00")
    move(furnished, "America/Chicago")
    assert open_due(furnished) == []


@on_both_engines
def test_what_was_done_early_is_open_again_when_undone_under_clocks_further_east(
    furnished: Caller, task: str
) -> None:
    """10:00 is 04:30 Z in India, sooner than the completion says."""
    made = tick(furnished, task)
    move(furnished, "Asia/Kolkata")
    assert open_due(furnished) == []
    assert furnished.delete(made).status_code == 204
    assert open_due(furnished) == ["2026-11-25T04:30:00Z"]


def test_what_is_to_come_follows_the_new_clock_and_what_was_due_does_not(
    furnished: Caller, set_clock: SetClock
) -> None:
    set_clock("24T15:00")
    move(furnished, "UTC")
    rule = {"kind": "calendar", "rule": "FREQ=DAILY", "start": "2026-11-23T12:00"}
    body = {"title": "Noon", "schedule": rule, "effective_at": "2026-11-23T00:00:00Z"}
    path = f"/v1/tasks/{furnished.post('/v1/tasks', body).get_json()['id']}"
    move(furnished, "America/New_York")
    listed = furnished.get(f"{path}/occurrences?to=2026-11-25").get_json()["items"]
    assert [one["due"] for one in listed] == [
        "2026-11-23T12:00:00Z",
        "2026-11-24T12:00:00Z",
        "2026-11-25T17:00:00Z",
    ]
    held = furnished.get(f"{path}/schedules").get_json()["items"]
    assert [(one["time_zone"], one["to"]) for one in held] == [
        ("UTC", "2026-11-24T15:00:00Z"),
        ("America/New_York", None),
    ]
    assert datetime.fromisoformat(held[1]["from"]) == datetime.fromisoformat(str(held[0]["to"]))
