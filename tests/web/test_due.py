"""What is due: listed with its lateness, oldest first, within its window, and never too much of it."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from harness import Caller, MakeCaller, on_both_engines

NOW = datetime.now(UTC)


@pytest.fixture(autouse=True)
def _present() -> None:
    """Each test counts from its own now: the suite may have begun minutes before."""
    global NOW
    NOW = datetime.now(UTC)


def clock(ago: timedelta) -> str:
    """The room's clock (UTC) so long ago, to the minute."""
    return f"{NOW - ago:%Y-%m-%dT%H:%M}"


def instant(ago: timedelta) -> str:
    return f"{NOW - ago:%Y-%m-%dT%H:%M:00Z}"


HOUR, DAY = timedelta(hours=1), timedelta(days=1)


@pytest.fixture
def utc_room(furnished: Caller) -> Caller:
    assert furnished.patch("/v1/room", {"time_zone": "UTC"}).status_code == 200
    return furnished


def make(keeper: Caller, title: str, ago: timedelta, rule: str | None = None, **said: Any) -> str:
    """A task due once so long ago (ahead if negative), or by a rule since then."""
    schedule: dict[str, Any] = {"kind": "once", "due": clock(ago)}
    if rule is not None:
        schedule = {"kind": "calendar", "rule": rule, "start": clock(ago)}
    begun = {"effective_at": instant(ago + HOUR)} if ago > timedelta(0) else {}
    made = keeper.post("/v1/tasks", {"title": title, "schedule": schedule, **begun, **said})
    assert made.status_code == 201, made.get_data(as_text=True)
    return str(made.get_json()["id"])


def due(keeper: Caller, query: str = "") -> list[dict[str, Any]]:
    answered = keeper.get(f"/v1/tasks/due{query}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    items: list[dict[str, Any]] = answered.get_json()["items"]
    return items


@on_both_engines
def test_what_was_due_and_is_not_done_is_listed_oldest_first_with_its_lateness(utc_room: Caller) -> None:
    make(utc_room, "late", 3 * HOUR, window={"late": "2 h"}, about="tanks/nursery", instructions="Look.")
    make(utc_room, "in its window", 2 * HOUR, window={"late": "5 h"})
    make(utc_room, "to come", -3 * DAY)
    first, second = due(utc_room)
    assert (first["title"], first["state"], first["about"]) == ("late", "overdue", "tanks/nursery")
    assert first["late_minutes"] in (180, 181)
    assert first["occurrence"] == first["due_local"] == clock(3 * HOUR)
    assert first["due"] == instant(3 * HOUR)
    assert first["overdue_from"] == instant(HOUR)
    assert first["opens_at"] == instant(3 * HOUR + DAY)
    assert (first["instructions"], first["expected_minutes"], first["helper"]) == ("Look.", None, None)
    assert (second["title"], second["state"]) == ("in its window", "due")


@on_both_engines
def test_a_later_day_lists_what_is_due_by_then_and_what_is_overdue(utc_room: Caller) -> None:
    make(utc_room, "weekly", 10 * DAY, "FREQ=WEEKLY")
    later = f"{NOW + 5 * DAY:%Y-%m-%d}"
    found = [(one["occurrence"], one["late_minutes"] > 0) for one in due(utc_room, f"?on={later}")]
    assert found == [(clock(10 * DAY), True), (clock(3 * DAY), True), (clock(-4 * DAY), False)]
    assert len(due(utc_room)) == 2
    assert utc_room.get(f"/v1/tasks/due?on={later}").get_json()["on"] == later


def test_an_earlier_day_lists_what_was_due_by_then_and_is_open_still(utc_room: Caller) -> None:
    make(utc_room, "weekly", 10 * DAY, "FREQ=WEEKLY")
    found = due(utc_room, f"?on={NOW - 5 * DAY:%Y-%m-%d}")
    assert [one["occurrence"] for one in found] == [clock(10 * DAY)]


@on_both_engines
def test_of_a_task_long_left_the_newest_ten_are_listed_and_the_rest_counted(utc_room: Caller) -> None:
    make(utc_room, "daily", 30 * DAY, "FREQ=DAILY")
    found = due(utc_room)
    assert len(found) == 10
    assert [one["earlier_open"] for one in found] == list(range(21, 31))
    assert found[-1]["occurrence"] == clock(timedelta(0))


@on_both_engines
def test_a_helpers_list_is_the_helpers_own(utc_room: Caller, caller: MakeCaller) -> None:
    utc_room.post("/v1/helpers", {"name": "Ana"})
    make(utc_room, "mine", HOUR, helper="ana")
    make(utc_room, "anyones", HOUR)
    assert [one["title"] for one in due(caller("viewer"), "?helper=ana")] == ["mine"]
    assert len(due(utc_room)) == 2


def test_without_a_window_it_is_overdue_when_its_day_is_over(utc_room: Caller) -> None:
    make(utc_room, "yesterday", DAY)
    (only,) = due(utc_room)
    assert only["state"] == "overdue"
    assert only["overdue_from"] == f"{NOW:%Y-%m-%d}T00:00:00Z"


def test_the_list_as_csv_has_the_columns_of_the_json(utc_room: Caller) -> None:
    make(utc_room, "=late, very", HOUR)
    answered = utc_room.get("/v1/tasks/due?format=csv")
    (row,) = csv.DictReader(io.StringIO(answered.get_data(as_text=True)))
    assert list(row) == list(due(utc_room)[0])
    assert row["title"] == "'=late, very"


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        (f"?on={NOW + 402 * DAY:%Y-%m-%d}", "/on"),
        ("?on=tomorrow", "/on"),
        ("?on=2026-02-30", "/on"),
        ("?helper=nobody", "/helper"),
        ("?helper=No+body", "/helper"),
        ("?when=now", "/when"),
    ],
)
def test_what_can_not_be_asked_is_refused(utc_room: Caller, query: str, pointer: str) -> None:
    refused = utc_room.get(f"/v1/tasks/due{query}")
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == pointer
