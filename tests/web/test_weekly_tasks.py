"""The weekly summary's tasks: what was done and skipped in the week, and what stood overdue at its end."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from harness import Caller, on_both_engines

TODAY = datetime.now(UTC).date()
MONDAY = TODAY - timedelta(days=TODAY.weekday() + 7)
"""Of the last full week."""


def on(days: int, clock: str = "10:00") -> str:
    return f"{MONDAY + timedelta(days=days)}T{clock}"


def week_text(monday: date) -> str:
    year, week, _ = monday.isocalendar()
    return f"{year}-W{week:02}"


@pytest.fixture
def room(furnished: Caller) -> Caller:
    assert furnished.patch("/v1/room", {"time_zone": "UTC"}).status_code == 200
    furnished.post("/v1/systems", {"name": "Pond"})
    return furnished


def make(room: Caller, about: str | None = "tanks/nursery", **said: Any) -> str:
    schedule = {"kind": "calendar", "rule": "FREQ=DAILY", "start": on(0)}
    body = {
        "title": "Look round",
        "about": about,
        "schedule": schedule,
        "effective_at": f"{on(0, '00:00')}:00Z",
    }
    made = room.post("/v1/tasks", {**body, **said})
    assert made.status_code == 201, made.get_data(as_text=True)
    return str(made.get_json()["id"])


def tick(room: Caller, task: str, days: int, **said: Any) -> None:
    body = {"occurrence": on(days), "done_at": f"{on(days, '10:30')}:00Z", **said}
    told = room.post(f"/v1/tasks/{task}/completions", body)
    assert told.status_code == 201, told.get_data(as_text=True)


def tasks_of_the_week(room: Caller, query: str = "") -> dict[str, Any]:
    found: dict[str, Any] = room.get(f"/v1/summaries/weekly?week={week_text(MONDAY)}{query}").get_json()[
        "tasks"
    ]
    return found


@on_both_engines
def test_done_skipped_and_overdue_are_counted(room: Caller) -> None:
    task = make(room)
    for days in (0, 1, 2):
        tick(room, task, days)
    tick(room, task, 3, outcome="skipped")
    found = tasks_of_the_week(room)
    assert (found["done"], found["skipped"], found["overdue"]) == (3, 1, 3)
    (only,) = found["overdue_tasks"]
    assert (only["task"], only["times"], only["due"]) == (task, 3, f"{on(4)}:00Z")


@on_both_engines
def test_what_was_done_only_later_was_overdue_then(room: Caller) -> None:
    task = make(room, schedule={"kind": "once", "due": on(2)})
    assert tasks_of_the_week(room)["overdue"] == 1
    late = {"occurrence": on(2), "done_at": f"{on(7, '00:00')}:01Z"}
    assert room.post(f"/v1/tasks/{task}/completions", late).status_code == 201
    found = tasks_of_the_week(room)
    assert (found["done"], found["overdue"], found["overdue_tasks"]) == (0, 1, [])
    next_week = room.get(f"/v1/summaries/weekly?week={week_text(MONDAY + timedelta(days=7))}").get_json()[
        "tasks"
    ]
    assert (next_week["done"], next_week["overdue"]) == (1, 0)


@on_both_engines
def test_what_may_still_be_done_late_is_not_overdue_at_the_weeks_end(room: Caller) -> None:
    make(room, schedule={"kind": "once", "due": on(6)}, window={"late": "20 h"})
    assert tasks_of_the_week(room)["overdue"] == 0


def test_what_is_overdue_counts_behind_ten_that_are_not_yet(room: Caller) -> None:
    """The daily list shows ten of a task; from Monday seven weeks before, those due 12 days ago and more are late."""
    start = MONDAY - timedelta(weeks=7)
    schedule = {"kind": "calendar", "rule": "FREQ=DAILY", "start": f"{start}T10:00"}
    task = make(room, schedule=schedule, effective_at=f"{start}T00:00:00Z", window={"late": "12 d"})
    found = tasks_of_the_week(room)
    assert found["overdue"] == 8 * 7 - 12
    assert [(one["task"], one["times"]) for one in found["overdue_tasks"]] == [(task, 8 * 7 - 12)]
    told = [one for one in room.get("/v1/findings").get_json()["items"] if one["about"] == "task"]
    assert [(one["subject"], one["verdict"]) for one in told] == [(task, "act")]


def test_what_was_undone_does_not_count(room: Caller) -> None:
    task = make(room, schedule={"kind": "once", "due": on(2)})
    tick(room, task, 2)
    made = room.get(f"/v1/tasks/{task}/completions").get_json()["items"][0]["id"]
    assert room.delete(f"/v1/tasks/{task}/completions/{made}").status_code == 204
    found = tasks_of_the_week(room)
    assert (found["done"], found["overdue"]) == (0, 1)


def test_of_one_system_its_own_tasks_are_counted(room: Caller) -> None:
    for about in ("tanks/nursery", "sumps/rack", "systems/pond", "room", None):
        tick(room, make(room, about, schedule={"kind": "once", "due": on(1)}), 1)
    assert tasks_of_the_week(room)["done"] == 5
    assert tasks_of_the_week(room, "&system=rill")["done"] == 2
    assert tasks_of_the_week(room, "&system=pond")["done"] == 1
