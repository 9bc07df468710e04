"""Helpers and tasks: made, edited without rewriting what was due, retired and taken up again."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from harness import Caller, MakeCaller, on_both_engines

ID = "01936c5e-8f00-7000-8000-00000000a001"


def day(days: int, clock: str = "10:00") -> str:
    """A time by the clock so many days from today (the room's zone is UTC in November)."""
    return f"{datetime.now(UTC).date() + timedelta(days=days)}T{clock}"


def daily(days: int = -5, clock: str = "00:10") -> dict[str, Any]:
    return {"kind": "calendar", "rule": "FREQ=DAILY", "start": day(days, clock)}


def make(keeper: Caller, **said: Any) -> dict[str, Any]:
    body = {"title": "Look round", "schedule": daily(), "effective_at": f"{day(-5, '00:00')}:00Z", **said}
    made = keeper.post("/v1/tasks", body)
    assert made.status_code == 201, made.get_data(as_text=True)
    found: dict[str, Any] = made.get_json()
    return found


@pytest.fixture
def utc_room(furnished: Caller) -> Caller:
    assert furnished.patch("/v1/room", {"time_zone": "UTC"}).status_code == 200
    return furnished


def occurrences(keeper: Caller, task: str, query: str = "") -> list[tuple[str, str]]:
    items = keeper.get(f"/v1/tasks/{task}/occurrences{query}").get_json()["items"]
    return [(one["occurrence"], one["state"]) for one in items]


@on_both_engines
def test_a_task_is_made_read_edited_and_deleted(utc_room: Caller) -> None:
    assert utc_room.post("/v1/helpers", {"name": "Ana"}).get_json()["handle"] == "ana"
    task = make(
        utc_room,
        about="sumps/rack",
        helper="ana",
        expected_minutes=20,
        instructions="Pumps off first.",
        window={"early": "2 h", "late": "1 d"},
    )
    path = f"/v1/tasks/{task['id']}"
    assert utc_room.get(path).get_json() == task
    assert task["window"] == {"early": {"value": 2, "unit": "h"}, "late": {"value": 1, "unit": "d"}}
    edited = utc_room.patch(path, {"title": "Rinse", "window": {"early": None}}, if_match='"1"')
    assert (edited.status_code, edited.get_json()["version"]) == (200, 2)
    assert edited.get_json()["window"] == {"late": {"value": 1, "unit": "d"}}
    assert utc_room.patch(path, {"title": "x"}, if_match='"1"').status_code == 412
    assert [one["id"] for one in utc_room.get("/v1/tasks?helper=ana").get_json()["items"]] == [task["id"]]
    assert utc_room.get("/v1/tasks?about=tanks/nursery").get_json()["items"] == []
    assert utc_room.delete("/v1/helpers/ana").status_code == 409
    assert utc_room.delete(path).status_code == 204
    assert utc_room.delete("/v1/helpers/ana").status_code == 204


@on_both_engines
def test_a_task_put_under_an_id_of_ones_own_is_made_once(utc_room: Caller) -> None:
    body = {"title": "Look round", "schedule": daily(), "effective_at": f"{day(-5, '00:00')}:00Z"}
    path = f"/v1/tasks/{ID}"
    assert [utc_room("PUT", path, body).status_code for _ in range(2)] == [201, 200]
    assert utc_room("PUT", path, {**body, "title": "Other"}).status_code == 409
    assert len(utc_room.get("/v1/tasks").get_json()["items"]) == 1


@on_both_engines
def test_another_schedule_leaves_what_was_due(utc_room: Caller) -> None:
    task = make(utc_room)["id"]
    past = [one for one in occurrences(utc_room, task) if one[1] != "upcoming"]
    assert len(past) == 6
    evening = {"kind": "calendar", "rule": "FREQ=WEEKLY", "start": day(1, "20:00")}
    assert utc_room.patch(f"/v1/tasks/{task}", {"schedule": evening}).status_code == 200
    now = occurrences(utc_room, task)
    assert [one for one in now if one[1] != "upcoming"] == past
    assert [one[0] for one in now if one[1] == "upcoming"][:2] == [day(1, "20:00"), day(8, "20:00")]
    held = utc_room.get(f"/v1/tasks/{task}/schedules").get_json()["items"]
    assert [one["schedule"]["rule"] for one in held] == ["FREQ=DAILY", "FREQ=WEEKLY"]
    assert held[0]["to"] == held[1]["from"]
    assert held[1]["to"] is None


def test_the_past_of_a_schedule_can_not_be_asked_to_change(utc_room: Caller) -> None:
    task = make(utc_room)["id"]
    refused = utc_room.patch(f"/v1/tasks/{task}", {"title": "x", "effective_at": f"{day(-3)}:00Z"})
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/effective_at"


@on_both_engines
def test_a_retired_task_is_due_no_more_and_goes_on_from_when_it_is_taken_up(utc_room: Caller) -> None:
    task = make(utc_room)["id"]
    path = f"/v1/tasks/{task}"
    assert utc_room.patch(path, {"retired_at": f"{day(-1)}:00Z"}).status_code == 200
    assert utc_room.get(f"/v1/tasks/due?on={day(9)[:10]}").get_json()["items"] == []
    assert [one["id"] for one in utc_room.get("/v1/tasks?retired=true").get_json()["items"]] == [task]
    assert utc_room.get("/v1/tasks").get_json()["items"] == []
    assert "upcoming" not in [state for _, state in occurrences(utc_room, task)]
    assert utc_room.patch(path, {"schedule": daily(1, "07:00")}).status_code == 200
    assert utc_room.patch(path, {"retired_at": None}).status_code == 200
    upcoming = [name for name, state in occurrences(utc_room, task) if state == "upcoming"]
    assert upcoming[:2] == [day(1, "07:00"), day(2, "07:00")]


def test_a_task_can_not_be_retired_ahead_of_now(utc_room: Caller) -> None:
    task = make(utc_room)["id"]
    refused = utc_room.patch(f"/v1/tasks/{task}", {"retired_at": f"{day(3)}:00Z"})
    assert refused.get_json()["errors"][0]["pointer"] == "/retired_at"


@on_both_engines
def test_a_task_with_completions_is_not_deleted(utc_room: Caller) -> None:
    task = make(utc_room)["id"]
    name = occurrences(utc_room, task)[0][0]
    assert utc_room.post(f"/v1/tasks/{task}/completions", {"occurrence": name}).status_code == 201
    refused = utc_room.delete(f"/v1/tasks/{task}")
    assert refused.status_code == 409
    assert "1 completion" in refused.get_json()["detail"]
    assert "Retire it instead" in refused.get_json()["detail"]


@on_both_engines
def test_a_room_that_moves_keeps_what_was_due_and_reads_the_new_clock_from_then_on(utc_room: Caller) -> None:
    task = make(utc_room)["id"]
    before = utc_room.get(f"/v1/tasks/{task}/occurrences?to={day(0)[:10]}").get_json()["items"]
    assert utc_room.patch("/v1/room", {"time_zone": "Asia/Kolkata"}).status_code == 200
    after = utc_room.get(f"/v1/tasks/{task}/occurrences").get_json()["items"]
    assert [(one["occurrence"], one["due"]) for one in after][: len(before)] == [
        (one["occurrence"], one["due"]) for one in before
    ]
    upcoming = next(one for one in after if one["state"] == "upcoming")
    assert upcoming["due"].endswith("T18:40:00Z")  # 00:10 in India, 5 h 30 min ahead of UTC
    assert len({one["occurrence"] for one in after}) == len(after)


@pytest.mark.parametrize(
    ("schedule", "pointer", "words"),
    [
        (
            {"kind": "calendar", "rule": "FREQ=SECONDLY", "start": "2026-11-01T10:00"},
            "/schedule/rule",
            "FREQ must",
        ),
        (
            {"kind": "calendar", "rule": "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30", "start": "2026-11-01T10:00"},
            "/schedule/rule",
            "never fires",
        ),
        (
            {"kind": "calendar", "rule": "FREQ=DAILY;COUNT=10000", "start": "2026-11-01T10:00"},
            "/schedule/rule",
            "1 to 1000",
        ),
        ({"kind": "calendar", "rule": "FREQ=DAILY"}, "/schedule/start", "missing"),
        (
            {"kind": "calendar", "rule": "FREQ=DAILY", "start": "2026-11-01"},
            "/schedule/start",
            "room's clock",
        ),
        (
            {"kind": "calendar", "rule": "FREQ=DAILY", "start": "2026-11-01T10:00Z"},
            "/schedule/start",
            "without an offset",
        ),
        ({"kind": "once", "due": "2020-01-01T10:00"}, "/schedule/due", "all its times lie before"),
        ({"kind": "once", "due": "2027-02-30T10:00"}, "/schedule/due", "room's clock"),
        (
            {"kind": "interval", "every": "P0D", "start": "2026-11-01T10:00"},
            "/schedule/every",
            "length of time",
        ),
        ({"kind": "weekly"}, "/schedule/kind", "once, calendar, interval"),
        ({"kind": "once", "due": "2030-01-01T10:00", "rule": "FREQ=DAILY"}, "/schedule/rule", "no field"),
        (None, "/schedule", "null"),
    ],
)
def test_a_schedule_that_can_not_be_kept_is_refused_and_nothing_stored(
    utc_room: Caller, schedule: Any, pointer: str, words: str
) -> None:
    refused = utc_room.post("/v1/tasks", {"title": "x", "schedule": schedule})
    assert refused.status_code == 422, refused.get_data(as_text=True)
    faults = {one["pointer"]: one["message"] for one in refused.get_json()["errors"]}
    assert words in faults[pointer]
    assert utc_room.get("/v1/tasks").get_json()["items"] == []


@pytest.mark.parametrize("role", ["helper", "viewer", "sensor"])
def test_only_a_keeper_makes_tasks_and_helpers(caller: MakeCaller, utc_room: Caller, role: str) -> None:
    other = caller(role, gauges=["nursery-temperature"] if role == "sensor" else ())
    assert other.post("/v1/tasks", {"title": "x", "schedule": daily()}).status_code == 403
    assert other.post("/v1/helpers", {"name": "x"}).status_code == 403


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        (f"?to={day(500)[:10]}", "/to"),
        (f"?from={day(-500)[:10]}", "/from"),
        (f"?from={day(5)[:10]}&to={day(1)[:10]}", "/from"),
        ("?from=yesterday", "/from"),
        ("?on=2026-01-01", "/on"),
    ],
)
def test_more_days_than_can_be_listed_are_refused(utc_room: Caller, query: str, pointer: str) -> None:
    task = make(utc_room)["id"]
    refused = utc_room.get(f"/v1/tasks/{task}/occurrences{query}")
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == pointer


def test_a_task_with_more_open_than_anybody_catches_up_with_is_refused(utc_room: Caller) -> None:
    body = {
        "title": "x",
        "schedule": {"kind": "calendar", "rule": "FREQ=HOURLY", "start": "2020-01-01T10:00"},
    }
    refused = utc_room.post("/v1/tasks", {**body, "effective_at": "2020-01-01T00:00:00Z"})
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/effective_at"
    assert utc_room.get("/v1/tasks").get_json()["items"] == []


def test_ten_thousand_occurrences_are_not_listed(utc_room: Caller) -> None:
    task = make(utc_room, schedule={"kind": "calendar", "rule": "FREQ=HOURLY", "start": day(-5)})["id"]
    refused = utc_room.get(f"/v1/tasks/{task}/occurrences?from={day(-5)[:10]}&to={day(300)[:10]}")
    assert refused.status_code == 422
    assert "More than 1000 occurrences" in refused.get_json()["detail"]
