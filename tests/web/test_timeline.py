"""Everything of a system in the order of time, where each thing was at its time."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from harness import Caller, made, on_both_engines, pointers
from timeline_scenes import another_system, contact, empty_the_log, group, says, stock, timeline
from water_scenes import NOW, stop_the_clock

from weirbook.actions.timeline import KINDS
from weirbook.app import Service
from weirbook.engine.times import instant_ms


@pytest.fixture(autouse=True)
def _on_a_wednesday(app: Service, furnished: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    """25 November 2026, 18:00; the log of changes is written by the same clock, and knows nothing of the furniture."""
    stop_the_clock(monkeypatch)
    empty_the_log(app)
    monkeypatch.setattr("weirbook.record.changes.now_ms", lambda: instant_ms(NOW) - 1000)


def kinds(lines: list[dict[str, Any]]) -> list[str]:
    return [one["kind"] for one in lines]


def only(lines: list[dict[str, Any]], kind: str) -> dict[str, Any]:
    (one,) = [line for line in lines if line["kind"] == kind]
    return one


def one_of_each(keeper: Caller) -> None:
    """A record of every family, on days of their own."""
    made(keeper, "feeds", {"name": "Flakes"})
    made(keeper, "source-waters", {"name": "Tap", "kind": "tap"})
    made(keeper, "products", {"name": "Bottle"})
    made(keeper, "plant-kinds", {"name": "Moss", "growth_form": "attached"})
    for kind in ("note", "observation", "cleaning", "visit", "idea"):
        entry = {
            "place": "tanks/nursery",
            "kind": kind,
            "words": "Seen",
            "happened_at": "2026-11-01T10:00:00Z",
        }
        made(keeper, "journal", entry)
    lamp = {"what": "Lamp", "from": "8 h", "to": "10 h"}
    made(
        keeper,
        "journal",
        {
            "place": "systems/rill",
            "kind": "change",
            "words": "More",
            "changed": lamp,
            "happened_at": "2026-11-02T10:00:00Z",
        },
    )
    made(
        keeper,
        "trials",
        {
            "question": "Does it?",
            "varied": "Lamp",
            "place": "tanks/nursery",
            "phases": [{"setting": "8 h", "from": "2026-11-03T00:00:00Z"}],
            "outcomes": [{"gauge": "nursery-temperature"}],
        },
    )
    made(
        keeper,
        "doses",
        {"place": "systems/rill", "product": "bottle", "volume": "5 mL", "dosed_at": "2026-11-03T10:00:00Z"},
    )
    made(
        keeper,
        "water-changes",
        {"place": "tanks/nursery", "volume": "30 L", "source": "tap", "changed_at": "2026-11-04T10:00:00Z"},
    )
    made(
        keeper,
        "standing-exchanges",
        {
            "system": "rill",
            "kind": "drip",
            "flow": "3 L/d",
            "source": "tap",
            "valid_from": "2026-11-04T11:00:00Z",
        },
    )
    found = [{"parameter": "nitrate", "value": "5 mg/L NO3"}]
    made(keeper, "water-reports", {"source": "tap", "sampled_at": "2026-11-04T12:00:00Z", "values": found})
    fed = [{"feed": "flakes", "amount": "1 g"}]
    made(keeper, "rations", {"tank": "nursery", "valid_from": "2026-11-05T08:00:00Z", "feeds": fed})
    made(
        keeper,
        "feedings",
        {"tank": "nursery", "feed": "flakes", "amount": "2 g", "fed_at": "2026-11-06T08:00:00Z"},
    )
    fish = group(keeper)
    made(keeper, "quarantines", {"tank": "nursery", "planned_days": 30, "started_at": "2026-11-06T09:00:00Z"})
    stock(keeper, "arrival", fish, 9, "2026-11-07T10:00:00Z", source="A breeder")
    stock(keeper, "birth", fish, 4, "2026-11-08T10:00:00Z")
    stock(keeper, "loss", fish, 2, "2026-11-09T10:00:00Z", cause="jumped", evidence="On the floor")
    stock(keeper, "missing", fish, 1, "2026-11-10T10:00:00Z")
    stock(keeper, "departure", fish, 1, "2026-11-10T11:00:00Z")
    stock(keeper, "count", fish, 9, "2026-11-10T12:00:00Z")
    made(
        keeper,
        "samples",
        {"group": fish, "measured": 3, "length": "3 cm", "sampled_at": "2026-11-10T13:00:00Z"},
    )
    made(
        keeper,
        "feeding-responses",
        {"group": fish, "feed": "flakes", "response": 7, "seen_at": "2026-11-10T14:00:00Z"},
    )
    made(
        keeper,
        "transfers",
        {"what": "media", "to_place": "sections/rack-return-1", "moved_at": "2026-11-11T10:00:00Z"},
    )
    planting = {
        "kind": "moss",
        "place": "tanks/nursery",
        "method": "on_wood",
        "planted_at": "2026-11-12T10:00:00Z",
    }
    moss = made(keeper, "plantings", planting)["id"]
    made(keeper, "planting-events", {"planting": moss, "kind": "lost", "happened_at": "2026-11-13T10:00:00Z"})
    made(
        keeper,
        "targets",
        {
            "place": "tanks/nursery",
            "parameter": "temperature",
            "high": "26 degC",
            "valid_from": "2026-11-01T00:00:00Z",
        },
    )
    says(
        keeper,
        "nursery-temperature",
        ("2026-11-14T10:00:00Z", 25),
        ("2026-11-14T10:10:00Z", 27),
        ("2026-11-14T10:20:00Z", 25),
        ("2026-11-14T12:00:00Z", 25),
    )
    contact(keeper, "Lid", "lid_open")
    says(keeper, "lid", ("2026-11-15T21:00:00Z", "on"), ("2026-11-16T07:00:00Z", "off"))


@on_both_engines
def test_every_family_of_the_record_tells_its_lines_in_order(furnished: Caller) -> None:
    one_of_each(furnished)
    lines = timeline(furnished)
    told = set(kinds(lines))
    # Alerts and routine work have tests of their own; a move needs another tank, plumbing another instant.
    assert told >= set(KINDS) - {
        "alert",
        "task_skipped",
        "task_late",
        "task_open",
        "move",
        "plumbing",
        "edit",
    }
    assert [one["at"] for one in lines] == sorted(one["at"] for one in lines)
    assert all(one["words"].endswith((".", "?", "…")) for one in lines)
    by_kind = {one["kind"]: one for one in lines}
    assert by_kind["change"]["words"] == "Lamp: from 8 h to 10 h. More."
    assert by_kind["dose"]["words"] == "Dosed 5 mL of bottle."
    assert by_kind["water_change"]["words"] == "Changed 30 L with tap."
    assert by_kind["loss"]["words"] == "2 × Killifish died. Cause: jumped. On the floor."
    assert by_kind["arrival"]["words"].startswith("9 × Killifish arrived; heads of the system from 0 to 9.")
    assert by_kind["birth"]["words"] == "4 × Killifish were born; heads of the system from 9 to 13."
    assert by_kind["count"]["words"] == "Counted 9 × Killifish, as the ledger has it."
    assert by_kind["sample"]["words"].startswith("3 × Killifish measured: ")
    assert by_kind["transfer"]["words"] == "Media went from outside to sections/rack-return-1."
    assert by_kind["contact"]["words"] == "The lid was open for 10 h."
    assert by_kind["excursion"]["place"] == "tanks/nursery"
    assert (by_kind["excursion"]["at"], by_kind["excursion"]["to"]) == (
        "2026-11-14T10:05:00Z",
        "2026-11-14T10:15:00Z",
    )
    assert (by_kind["trial"]["to"], by_kind["trial"]["goes_on"]) == (None, True)


def test_every_line_leads_to_a_record_that_can_be_read(furnished: Caller) -> None:
    one_of_each(furnished)
    for one in timeline(furnished):
        assert furnished.get(one["path"]).status_code == 200, one


def test_who_told_it_comes_from_the_record_or_from_the_log(furnished: Caller) -> None:
    one_of_each(furnished)
    lines = timeline(furnished)
    for kind in ("note", "loss", "dose", "ration", "transfer", "planting_event", "quarantine", "target"):
        assert only(lines, kind)["who"] == "keeper", kind
    assert only(lines, "contact")["who"] is None


def test_a_tank_brings_what_happened_in_it_from_its_coming_on(furnished: Caller) -> None:
    another_system(furnished)
    for day in ("08", "12"):
        entry = {
            "place": "tanks/far-tank",
            "words": f"On the {day}th",
            "happened_at": f"2026-11-{day}T10:00:00Z",
        }
        made(furnished, "journal", entry)
    moved = {"system": "rill", "effective_at": "2026-11-10T12:00:00Z"}
    assert furnished.patch("/v1/tanks/far-tank", moved).status_code == 200
    here, there = (
        [one["words"] for one in timeline(furnished, name) if one["kind"] in ("note", "plumbing")]
        for name in ("rill", "beck")
    )
    assert here == [
        "tanks/far-tank came over from systems/beck, water and all that lives in it.",
        "On the 12th.",
    ]
    assert there == ["On the 08th.", "tanks/far-tank went over to systems/rill."]


def test_what_the_room_is_told_concerns_every_system(furnished: Caller) -> None:
    another_system(furnished)
    contact(furnished, "Mains", "mains_present", "room")
    says(furnished, "mains", ("2026-11-10T02:00:00Z", "off"), ("2026-11-10T02:40:00Z", "on"))
    made(furnished, "journal", {"words": "The roof leaks", "happened_at": "2026-11-11T10:00:00Z"})
    for system in ("rill", "beck"):
        told = [(one["kind"], one["place"]) for one in timeline(furnished, system, to="2026-11-20T00:00:00Z")]
        assert told == [("contact", "room"), ("note", "room")]


def test_fish_that_moved_are_told_on_both_sides_and_other_systems_arrivals_are_not(furnished: Caller) -> None:
    another_system(furnished)
    there = group(furnished, "far-tank")
    stock(furnished, "arrival", there, 6, "2026-11-01T10:00:00Z")
    stock(furnished, "move", there, 2, "2026-11-05T10:00:00Z", to_tank="nursery")
    words = "2 × Killifish moved from tanks/far-tank to tanks/nursery."
    here = timeline(furnished, kind="move")
    assert here[0]["words"].startswith(words)
    assert (len(here), here[0]["place"]) == (1, "tanks/nursery")
    assert timeline(furnished, kind="arrival") == []
    away = timeline(furnished, "beck", to="2026-11-20T00:00:00Z")
    assert [(one["kind"], one["place"]) for one in away] == [
        ("arrival", "tanks/far-tank"),
        ("move", "tanks/far-tank"),
    ]


def test_what_was_withdrawn_or_only_planned_did_not_happen(furnished: Caller) -> None:
    fish = group(furnished)
    wrong = stock(furnished, "arrival", fish, 9, "2026-11-07T10:00:00Z")
    made(furnished, "stock-entries", {"kind": "withdrawal", "withdraws": wrong, "words": "Eight tanks on"})
    planned = {"place": "tanks/nursery", "volume": "30 L", "state": "planned"}
    made(furnished, "water-changes", {**planned, "changed_at": "2026-11-20T10:00:00Z"})
    assert timeline(furnished, to="2026-11-25T00:00:00Z") == []


def test_a_move_that_was_taken_back_is_gone_on_both_sides(furnished: Caller) -> None:
    another_system(furnished)
    there = group(furnished, "far-tank")
    stock(furnished, "arrival", there, 6, "2026-11-01T10:00:00Z")
    wrong = stock(furnished, "move", there, 2, "2026-11-05T10:00:00Z", to_tank="nursery")
    made(furnished, "stock-entries", {"kind": "withdrawal", "withdraws": wrong, "words": "They stayed"})
    assert timeline(furnished, kind="move") == timeline(furnished, "beck", kind="move") == []


def test_a_contact_is_told_from_its_tripping_to_its_coming_back(furnished: Caller) -> None:
    contact(furnished, "Lid", "lid_open")
    contact(furnished, "Pump", "pump_running", "sections/rack-return-1")
    contact(furnished, "Bulb", "float", "sections/rack-return-1")
    says(
        furnished,
        "lid",
        ("2026-11-08T06:00:00Z", "off"),
        ("2026-11-08T20:00:00Z", "on"),
        ("2026-11-08T23:00:00Z", "on"),
        ("2026-11-09T05:00:00Z", "off"),
        ("2026-11-10T20:00:00Z", "on"),
    )
    says(
        furnished,
        "pump",
        ("2026-11-01T00:00:00Z", "on"),
        ("2026-11-09T01:00:00Z", "off"),
        ("2026-11-09T01:30:00Z", "on"),
    )
    says(furnished, "bulb", ("2026-11-09T01:00:00Z", "off"), ("2026-11-09T01:30:00Z", "on"))
    told = timeline(furnished, kind="contact")
    assert [(one["at"], one["to"], one["goes_on"]) for one in told] == [
        ("2026-11-08T20:00:00Z", "2026-11-09T05:00:00Z", False),
        ("2026-11-09T01:00:00Z", "2026-11-09T01:30:00Z", False),
        ("2026-11-10T20:00:00Z", None, True),
    ]
    assert told[0]["words"] == "The lid was open for 9 h."
    assert told[1]["words"] == "The pump stood still for 30 min."
    # A span that begins within a stretch tells it whole; one that ends before it leaves it out.
    inside = timeline(
        furnished, kind="contact", **{"from": "2026-11-09T03:00:00Z", "to": "2026-11-09T04:00:00Z"}
    )
    assert [one["at"] for one in inside] == ["2026-11-08T20:00:00Z"]
    assert timeline(furnished, kind="contact", to="2026-11-08T20:00:00Z") == []


def test_excluded_readings_trip_nothing(furnished: Caller) -> None:
    contact(furnished, "Lid", "lid_open")
    says(furnished, "lid", ("2026-11-08T20:00:00Z", "on"), ("2026-11-09T05:00:00Z", "off"))
    span = {
        "gauge": "lid",
        "from": "2026-11-08T19:00:00Z",
        "to": "2026-11-08T21:00:00Z",
        "reason": "Bench test",
    }
    made(furnished, "exclusions", span)
    assert timeline(furnished, kind="contact") == []


def test_a_contact_with_a_target_is_told_once(furnished: Caller) -> None:
    contact(furnished, "Leak", "leak", "sumps/rack")
    made(
        furnished,
        "targets",
        {"place": "room", "parameter": "leak", "high": 0, "valid_from": "2026-01-01T00:00:00Z"},
    )
    says(furnished, "leak", ("2026-11-08T20:00:00Z", "on"), ("2026-11-08T20:30:00Z", "off"))
    assert kinds(timeline(furnished, to="2026-11-20T00:00:00Z")) == ["contact"]


def test_a_reading_that_stayed_inside_its_target_is_no_news_and_one_that_left_it_is(
    furnished: Caller,
) -> None:
    """Three hours a day inside, one reading outside: the hours' extremes alone may not decide what is left out."""
    target = {"place": "tanks/nursery", "parameter": "temperature", "low": "23 degC", "high": "26 degC"}
    made(furnished, "targets", {**target, "valid_from": "2026-01-01T00:00:00Z"})
    rows = [
        (f"2026-11-{day:02}T{hour:02}:{minute}0:00Z", 24)
        for day in range(1, 9)
        for hour in (10, 11)
        for minute in range(6)
    ]
    says(furnished, "nursery-temperature", *rows)
    assert timeline(furnished, kind="excursion", **{"from": "2026-11-04T00:00:00Z"}) == []
    says(furnished, "nursery-temperature", ("2026-11-08T12:00:00Z", 20), ("2026-11-08T12:10:00Z", 24))
    (one,) = timeline(furnished, kind="excursion", **{"from": "2026-11-04T00:00:00Z"})
    # The line from 24 at 11:50 to 20 at 12:00 falls under 23 after a quarter of it, and comes back after three.
    assert (one["at"], one["to"]) == ("2026-11-08T11:52:30Z", "2026-11-08T12:07:30Z")


def test_an_excursion_that_no_reading_ended_reaches_into_later_spans(furnished: Caller) -> None:
    made(
        furnished,
        "targets",
        {
            "place": "tanks/nursery",
            "parameter": "temperature",
            "high": "26 degC",
            "valid_from": "2026-01-01T00:00:00Z",
        },
    )
    says(furnished, "nursery-temperature", ("2026-10-01T10:00:00Z", 25), ("2026-10-01T10:10:00Z", 27))
    (one,) = timeline(furnished, kind="excursion", **{"from": "2026-11-20T00:00:00Z"})
    assert (one["at"], one["to"], one["goes_on"]) == ("2026-10-01T10:05:00Z", None, True)


@on_both_engines
def test_a_gauge_that_fell_silent_is_told(furnished: Caller) -> None:
    """It reports every ten minutes: half an hour and more without is silence."""
    for day, hour in (("10", "08"), ("10", "09"), ("12", "07")):
        rows = [(f"2026-11-{day}T{hour}:{minute}0:00Z", 24) for minute in range(6)]
        says(furnished, "nursery-temperature", *rows)
    told = [(one["at"], one["to"]) for one in timeline(furnished, kind="silence")]
    assert told == [
        ("2026-11-10T09:50:00Z", "2026-11-12T07:00:00Z"),
        ("2026-11-12T07:50:00Z", None),
    ]
    within = {"from": "2026-11-11T00:00:00Z", "to": "2026-11-11T12:00:00Z"}
    (one,) = timeline(furnished, kind="silence", **within)
    assert (one["at"], one["to"]) == told[0]


def test_work_that_was_skipped_done_late_or_left_is_told_and_what_was_done_is_not(furnished: Caller) -> None:
    """Due at 10:00; overdue when its day is over."""
    task = {
        "title": "Wipe the lid",
        "about": "tanks/nursery",
        "schedule": {"kind": "calendar", "rule": "FREQ=DAILY", "start": "2026-11-20T10:00"},
        "effective_at": "2026-11-19T00:00:00Z",
    }
    wipe = made(furnished, "tasks", task)["id"]
    for day, outcome, done in (
        ("20", "done", "2026-11-20T11:00:00Z"),
        ("21", "skipped", "2026-11-21T12:00:00Z"),
        ("22", "done", "2026-11-23T09:00:00Z"),
    ):
        tick = {"occurrence": f"2026-11-{day}T10:00", "outcome": outcome, "done_at": done}
        made(furnished, f"tasks/{wipe}/completions", tick)
    told = [(one["kind"], one["at"]) for one in timeline(furnished) if one["kind"].startswith("task")]
    assert told == [
        ("task_skipped", "2026-11-21T12:00:00Z"),
        ("task_late", "2026-11-22T10:00:00Z"),
        ("task_open", "2026-11-23T10:00:00Z"),
        ("task_open", "2026-11-24T10:00:00Z"),
    ]
    # At midnight of the 22nd it was overdue, though it was done later.
    then = timeline(furnished, to="2026-11-23T00:00:00Z")
    assert [one["kind"] for one in then if one["kind"].startswith("task")] == ["task_skipped", "task_late"]


def test_an_edit_tells_what_it_changed_and_what_held_from_an_instant_stands_there(
    furnished: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = instant_ms("2026-11-20T10:00:00Z")
    monkeypatch.setattr("weirbook.record.changes.now_ms", lambda: clock)
    stopped = {"running": False, "effective_at": "2026-11-18T10:00:00Z"}
    assert furnished.patch("/v1/pumps/rack-pump", stopped).status_code == 200
    assert furnished.patch("/v1/pumps/rack-pump", {"rated_flow": "700 gal/h"}).status_code == 200
    used = {"use": "media", "effective_at": "2026-11-19T10:00:00Z"}
    assert furnished.patch("/v1/sections/rack-return-1", used).status_code == 200
    lines = [one for one in timeline(furnished) if one["kind"] in ("edit", "plumbing")]
    assert [(one["at"], one["words"]) for one in lines] == [
        ("2026-11-18T10:00:00Z", "rack-pump was stopped."),
        ("2026-11-19T10:00:00Z", "sections/rack-return-1 is used for media from here on."),
        ("2026-11-20T10:00:00Z", "The pump rack-pump was edited: rated flow from 600 gal/h to 700 gal/h."),
    ]
    assert lines[2]["who"] == "keeper"


def test_a_quarantine_tells_its_opening_its_restart_and_its_release(furnished: Caller) -> None:
    opened = {"tank": "nursery", "planned_days": 30, "started_at": "2026-10-01T10:00:00Z"}
    stay = made(furnished, "quarantines", opened)["id"]
    restart = {"at": "2026-10-10T10:00:00Z", "reason": "White spots"}
    assert furnished.post(f"/v1/quarantines/{stay}/restart", restart).status_code in (200, 201)
    release = {"at": "2026-10-20T10:00:00Z", "reason": "The tank is needed"}
    assert furnished.post(f"/v1/quarantines/{stay}/release", release).status_code in (200, 201)
    assert [one["words"] for one in timeline(furnished, kind="quarantine")] == [
        "Quarantine opened for 30 days.",
        "The quarantine's 30 days begin anew. White spots.",
        "Quarantine released after 10 of its 30 days. Reason given: The tank is needed.",
    ]


def test_a_quarantine_left_within_the_hour_is_told_in_days_that_people_count(furnished: Caller) -> None:
    opened = {"tank": "nursery", "planned_days": 42, "started_at": "2026-10-01T10:00:00Z"}
    stay = made(furnished, "quarantines", opened)["id"]
    release = {"at": "2026-10-01T10:00:01Z", "reason": "The tank is needed"}
    assert furnished.post(f"/v1/quarantines/{stay}/release", release).status_code in (200, 201)
    words = timeline(furnished, kind="quarantine")[-1]["words"]
    assert words == "Quarantine released on its first day, of 42 planned. Reason given: The tank is needed."


def test_births_arrivals_and_counts_tell_heads_of_the_whole_system(furnished: Caller) -> None:
    """Two groups here and one next door; a count of one group finds two fewer than its ledger, one of another one more."""
    another_system(furnished)
    fish, others, away = group(furnished), group(furnished, species="Danio"), group(furnished, "far-tank")
    stock(furnished, "arrival", away, 50, "2026-10-01T10:00:00Z")
    stock(furnished, "arrival", fish, 9, "2026-11-01T10:00:00Z")
    stock(furnished, "arrival", others, 6, "2026-11-02T10:00:00Z")
    stock(furnished, "count", fish, 7, "2026-11-03T10:00:00Z", words="Two gone")
    stock(furnished, "count", others, 7, "2026-11-04T10:00:00Z", words="One more")
    stock(furnished, "move", away, 5, "2026-11-05T10:00:00Z", to_tank="nursery")
    stock(furnished, "birth", others, 1, "2026-11-06T10:00:00Z")
    told = [one["words"] for one in timeline(furnished) if one["kind"] in ("arrival", "birth", "count")]
    assert [one.split(". ")[0].rstrip(".") for one in told] == [
        "9 × Killifish arrived; heads of the system from 0 to 9",
        "6 × Danio arrived; heads of the system from 9 to 15",
        "Counted 7 × Killifish, 2 fewer than the ledger had",
        "Counted 7 × Danio, 1 more than the ledger had",
        "1 × Danio was born; heads of the system from 19 to 20",
    ]


def test_a_lost_plant_is_told_by_its_name_and_its_doer_as_it_was_entered(furnished: Caller) -> None:
    made(furnished, "plant-kinds", {"name": "Java moss", "growth_form": "attached"})
    planting = {"kind": "java-moss", "place": "tanks/nursery", "method": "on_wood"}
    moss = made(furnished, "plantings", {**planting, "planted_at": "2026-11-01T10:00:00Z"})["id"]
    lost = {"planting": moss, "kind": "lost", "by": "Loaches, most likely"}
    made(furnished, "planting-events", {**lost, "happened_at": "2026-11-05T10:00:00Z"})
    assert only(timeline(furnished), "planting")["words"] == "Planted Java moss (on wood)."
    words = only(timeline(furnished), "planting_event")["words"]
    assert words == "Java moss lost (by: Loaches, most likely)."


def test_an_instant_that_was_edited_is_told_by_the_clock_of_the_room(
    furnished: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Lisbon in July: an hour ahead of UTC."""
    monkeypatch.setattr("weirbook.record.changes.now_ms", lambda: instant_ms("2026-11-20T10:00:00Z"))
    retired = {"retired_at": "2026-07-10T10:00:30.250Z"}
    assert furnished.patch("/v1/gauges/nursery-temperature", retired).status_code == 200
    words = only(timeline(furnished), "edit")["words"]
    assert words == "The gauge nursery-temperature was edited: retired at from nothing to 2026-07-10 11:00."


def test_a_plant_that_was_moved_is_told_where_it_stands_since(furnished: Caller) -> None:
    another_system(furnished)
    made(furnished, "plant-kinds", {"name": "Moss", "growth_form": "attached"})
    planting = {
        "kind": "moss",
        "place": "tanks/far-tank",
        "method": "on_wood",
        "planted_at": "2026-11-01T10:00:00Z",
    }
    moss = made(furnished, "plantings", planting)["id"]
    moved = {"planting": moss, "kind": "moved", "to_place": "tanks/nursery"}
    made(furnished, "planting-events", {**moved, "happened_at": "2026-11-05T10:00:00Z"})
    made(
        furnished,
        "planting-events",
        {"planting": moss, "kind": "trimmed", "happened_at": "2026-11-09T10:00:00Z"},
    )
    assert [one["words"] for one in timeline(furnished, kind="planting_event")] == [
        "Moss moved to tanks/nursery.",
        "Moss trimmed.",
    ]
    assert kinds(timeline(furnished, "beck", kind="planting_event")) == ["planting_event"]


def test_food_is_told_by_the_day_beside_what_it_was_before(furnished: Caller) -> None:
    """2 g and 4 g in turn, nothing on Sundays: 3 g on six days of seven."""
    for name in ("Flakes", "Pellets"):
        made(furnished, "feeds", {"name": name})
    first = {
        "tank": "nursery",
        "valid_from": "2026-10-01T08:00:00Z",
        "feeds": [{"feed": "flakes", "amount": "1 g"}],
    }
    made(furnished, "rations", first)
    foods = [{"feed": "flakes", "amount": "2 g"}, {"feed": "pellets", "amount": "4 g"}]
    turns = {"tank": "nursery", "rotation": "in_turn", "fasting_days": ["sunday"], "feeds": foods}
    made(furnished, "rations", {**turns, "valid_from": "2026-11-01T08:00:00Z"})
    (one,) = timeline(furnished, kind="ration", **{"from": "2026-10-20T00:00:00Z"})
    assert one["words"] == "From here on fed 2.57 g a day of flakes, pellets; before, 1 g a day."


def test_spans_take_their_start_and_leave_their_end(furnished: Caller) -> None:
    for hour in ("10", "12"):
        made(
            furnished,
            "journal",
            {"words": hour, "place": "systems/rill", "happened_at": f"2026-11-10T{hour}:00:00Z"},
        )
    span = {"from": "2026-11-10T10:00:00Z", "to": "2026-11-10T12:00:00Z"}
    assert [one["words"] for one in timeline(furnished, **span)] == ["10."]


def test_without_a_span_it_is_the_last_ninety_days(furnished: Caller) -> None:
    found = furnished.get("/v1/systems/rill/timeline").get_json()
    assert (found["from"], found["to"]) == ("2026-08-27T18:00:00Z", NOW)
    ahead = furnished.get("/v1/systems/rill/timeline?to=2027-06-01T00:00:00Z").get_json()
    assert ahead["to"] == NOW


def test_it_comes_as_a_table(furnished: Caller) -> None:
    made(
        furnished,
        "journal",
        {"words": "=cmd", "place": "systems/rill", "happened_at": "2026-11-10T10:00:00Z"},
    )
    table = furnished.get("/v1/systems/rill/timeline?to=2026-11-25T00:00:00Z&format=csv").get_data(
        as_text=True
    )
    (row,) = csv.DictReader(io.StringIO(table))
    assert (row["at"], row["kind"], row["place"]) == ("2026-11-10T10:00:00Z", "note", "systems/rill")
    assert row["words"] == "'=cmd."


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ("from=2026-11-10T00:00:00Z&to=2026-11-09T00:00:00Z", "/from"),
        ("from=2027-01-01T00:00:00Z", "/from"),
        ("from=yesterday", "/from"),
        ("kind=earthquake", "/kind"),
        ("page=2", "/page"),
    ],
)
def test_a_span_that_can_not_be_is_refused_where_it_is_wrong(
    furnished: Caller, query: str, pointer: str
) -> None:
    assert pointers(furnished.get(f"/v1/systems/rill/timeline?{query}")) == [pointer]


def test_a_hundred_years_are_too_many_and_an_unknown_system_is_unknown(furnished: Caller) -> None:
    refused = furnished.get("/v1/systems/rill/timeline?from=1926-01-01T00:00:00Z")
    assert (refused.status_code, refused.get_json()["type"]) == (413, "urn:weirbook:problem:too-large")
    assert furnished.get("/v1/systems/nowhere/timeline").status_code == 404
