"""The calendar that phones subscribe to: RFC 5545 as a general library reads it, with UIDs that stay."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from harness import Caller, MakeCaller, on_both_engines
from icalendar import Calendar

NOW = datetime.now(UTC).replace(second=0, microsecond=0)
DAY = timedelta(days=1)
PATH = "/v1/tasks/calendar.ics"
AWKWARD = "Wipe; rinse, look\\ \nEND:VEVENT\r\nBEGIN:VEVENT ünü 🐟 " + "long " * 30


@pytest.fixture
def daily(furnished: Caller) -> str:
    """A daily task, first due two days ago."""
    assert furnished.patch("/v1/room", {"time_zone": "UTC"}).status_code == 200
    furnished.post("/v1/helpers", {"name": "Ana"})
    return make(furnished, title="Look round", about="tanks/nursery", helper="ana", expected_minutes=25)


def make(keeper: Caller, **said: Any) -> str:
    start = NOW - 2 * DAY
    schedule = {"kind": "calendar", "rule": "FREQ=DAILY", "start": f"{start:%Y-%m-%dT%H:%M}"}
    body = {"schedule": schedule, "effective_at": f"{start - DAY:%Y-%m-%dT%H:%M:00Z}", **said}
    made = keeper.post("/v1/tasks", body)
    assert made.status_code == 201, made.get_data(as_text=True)
    return str(made.get_json()["id"])


def events(caller: Caller, query: str = "") -> list[Any]:
    answered = caller.get(f"{PATH}{query}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    assert answered.content_type == "text/calendar; charset=utf-8"
    return list(Calendar.from_ical(answered.get_data()).walk("VEVENT"))


def uids(found: list[Any]) -> dict[datetime, str]:
    return {one.decoded("dtstart"): str(one["uid"]) for one in found}


@on_both_engines
def test_each_occurrence_is_an_event_at_its_instant(furnished: Caller, daily: str) -> None:
    found = events(furnished)
    assert len(found) == 2 + 60 + 1
    first = found[0]
    assert first.decoded("dtstart") == NOW - 2 * DAY
    assert first.decoded("dtend") - first.decoded("dtstart") == timedelta(minutes=25)
    assert (str(first["summary"]), str(first["location"])) == ("Overdue: Look round", "Nursery")
    assert str(found[-1]["summary"]) == "Look round"
    assert first["categories"].cats == ["Ana"]
    assert len({str(one["uid"]) for one in found}) == len(found)


@on_both_engines
def test_a_uid_stays_whatever_becomes_of_its_occurrence(furnished: Caller, daily: str) -> None:
    before = uids(events(furnished))
    name = f"{NOW - DAY:%Y-%m-%dT%H:%M}"
    assert furnished.post(f"/v1/tasks/{daily}/completions", {"occurrence": name}).status_code == 201
    skip = {"occurrence": f"{NOW + DAY:%Y-%m-%dT%H:%M}", "outcome": "skipped"}
    assert furnished.post(f"/v1/tasks/{daily}/completions", skip).status_code == 201
    assert furnished.patch(f"/v1/tasks/{daily}", {"title": "Look well"}).status_code == 200
    found = events(furnished)
    assert uids(found) == before
    told = {one.decoded("dtstart"): (str(one["summary"]), str(one["status"])) for one in found}
    assert told[NOW - DAY] == ("Done: Look well", "CONFIRMED")
    assert told[NOW + DAY] == ("Skipped: Look well", "CANCELLED")


def test_the_same_is_written_the_same(furnished: Caller, daily: str) -> None:
    assert furnished.get(PATH).get_data() == furnished.get(PATH).get_data()


def test_no_words_break_out_of_their_line(furnished: Caller, daily: str) -> None:
    make(furnished, title=f"Awkward {AWKWARD[:60]}", instructions=AWKWARD)
    raw = furnished.get(PATH).get_data()
    assert all(len(line) <= 75 for line in raw.split(b"\r\n"))
    assert b"\n" not in raw.replace(b"\r\n", b"")
    found = [one for one in events(furnished) if "Awkward" in str(one["summary"])]
    assert len(found) == len(events(furnished)) / 2
    assert str(found[0]["description"]).split() == AWKWARD.split()


def test_a_link_key_in_the_address_opens_it_and_no_other(
    furnished: Caller, daily: str, caller: MakeCaller
) -> None:
    nobody = caller(None)
    link, plain = caller("viewer", for_links=True).secret, caller("viewer").secret
    assert len(events(nobody, f"?key={link}")) > 60
    assert nobody.get(f"{PATH}?key={plain}").status_code == 401
    assert nobody.get(PATH).status_code == 401
    assert caller("sensor", gauges=["nursery-temperature"]).get(PATH).status_code == 403


def test_a_helper_sees_the_helpers_own(furnished: Caller, daily: str) -> None:
    make(furnished, title="Of nobody")
    assert {str(one["summary"]).split(": ")[-1] for one in events(furnished, "?helper=ana")} == {"Look round"}
    assert furnished.get(f"{PATH}?helper=nobody").get_json()["errors"][0]["pointer"] == "/helper"


def test_it_is_bounded_and_holds_the_soonest(furnished: Caller, daily: str) -> None:
    for number in range(3):
        start = f"{NOW:%Y-%m-%dT%H:%M}"
        hourly = {"kind": "calendar", "rule": "FREQ=HOURLY", "start": start}
        make(furnished, title=f"Hourly {number}", schedule=hourly)
    found = events(furnished)
    assert len(found) == 2000
    assert max(one.decoded("dtstart") for one in found) < NOW + 30 * DAY


def test_a_retired_task_leaves_it(furnished: Caller, daily: str) -> None:
    assert (
        furnished.patch(f"/v1/tasks/{daily}", {"retired_at": f"{NOW - DAY:%Y-%m-%dT%H:%M:00Z}"}).status_code
        == 200
    )
    assert events(furnished) == []


def test_it_says_how_often_to_look_again(furnished: Caller, daily: str) -> None:
    """RFC 7986 sections 5.1 and 5.7: a name, and an interval that says that it is a duration."""
    text = furnished.get(PATH).get_data(as_text=True)
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT1H\r\n" in text
    assert "NAME:Test greenhouse: tasks\r\n" in text
