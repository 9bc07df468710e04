"""The log of changes: everything told once, in commit order, and followed without a hole."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, MakeCaller, on_both_engines

from weirbook.actions.open_room import open_room
from weirbook.app import Service
from weirbook.record.changes import Change
from weirbook.record.database import Database, enter_room


def log(caller: Caller, since: str | None = None, **query: Any) -> dict[str, Any]:
    said = "&".join(
        f"{name}={value}" for name, value in {**({"since": since} if since else {}), **query}.items()
    )
    answer = caller.get(f"/v1/changes?{said}")
    assert answer.status_code == 200, answer.get_data(as_text=True)
    found: dict[str, Any] = answer.get_json()
    return found


def after(caller: Caller, cursor: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = log(caller, cursor)["items"]
    return found


@on_both_engines
def test_what_is_made_changed_and_deleted_is_told_with_what_it_was_and_became(furnished: Caller) -> None:
    here = log(furnished, "now")["cursor"]
    assert furnished.post("/v1/systems", {"name": "Beck"}).status_code == 201
    assert furnished.patch("/v1/tanks/nursery", {"water_depth": "48 cm", "system": "beck"}).status_code == 200
    assert furnished.delete("/v1/pumps/rack-pump").status_code == 204
    made, changed, deleted = after(furnished, here)
    assert (made["what"], made["noun"], made["subject"], made["words"]) == ("made", "system", "beck", "Beck")
    assert (changed["what"], changed["origin"], changed["place"]) == (
        "changed",
        "/v1/tanks/nursery",
        "tanks/nursery",
    )
    assert sorted(changed["fields"], key=lambda one: one["field"]) == [
        {"field": "system", "before": "rill", "after": "beck"},
        {"field": "water_depth", "before": "50 cm", "after": "48 cm"},
    ]
    assert (deleted["what"], deleted["subject"], deleted["words"]) == ("deleted", "rack-pump", "Rack pump")
    assert {one["key"] for one in (made, changed, deleted)} == {"keeper"}
    assert [one["number"] for one in (made, changed, deleted)] == list(
        range(made["number"], made["number"] + 3)
    )


def test_an_edit_that_changes_nothing_and_one_that_is_refused_are_not_told(furnished: Caller) -> None:
    here = log(furnished, "now")["cursor"]
    assert furnished.patch("/v1/tanks/nursery", {"water_depth": "50 cm"}).status_code == 200
    assert furnished.patch("/v1/tanks/nursery", {"water_depth": "500 cm"}).status_code == 422
    assert furnished.post("/v1/systems", {"name": "Rill", "handle": "rill"}).status_code == 409
    assert after(furnished, here) == []


def test_tests_by_hand_and_corrections_are_told_and_readings_of_sensors_are_not(furnished: Caller) -> None:
    furnished.post(
        "/v1/readings",
        {"place": "tanks/nursery", "parameter": "nitrate", "value": 5, "at": "2026-11-20T10:00:00Z"},
    )
    here = log(furnished, "now")["cursor"]
    sensor = {"gauge": "nursery-temperature", "value": 24.6, "at": "2026-11-20T10:00:00Z"}
    by_hand = {"place": "tanks/nursery", "parameter": "nitrate", "value": 10, "at": "2026-11-20T11:00:00Z"}
    for body in (sensor, by_hand, by_hand):
        assert furnished.post("/v1/readings", body).status_code == 200
    again = {**by_hand, "value": 12}
    assert furnished.post("/v1/readings?on_conflict=correct", again).status_code == 200
    told = after(furnished, here)
    assert [(one["what"], one["noun"], one["words"]) for one in told] == [
        ("taken", "reading", "10 mg/L NO3"),
        ("made", "correction", None),
    ]


def test_a_tick_is_told_as_what_it_was(furnished: Caller) -> None:
    task = furnished.post(
        "/v1/tasks",
        {
            "title": "Rinse the sponge",
            "about": "sumps/rack",
            "schedule": {"kind": "interval", "every": "P7D", "start": "2026-11-20T10:00"},
        },
    )
    assert task.status_code == 201, task.get_data(as_text=True)
    here = log(furnished, "now")["cursor"]
    path = f"/v1/tasks/{task.get_json()['id']}/completions"
    done = furnished.post(path, {"occurrence": "first"})
    assert done.status_code == 201, done.get_data(as_text=True)
    assert furnished.delete(f"{path}/{done.get_json()['id']}").status_code in (200, 204)
    told = after(furnished, here)
    assert [(one["what"], one["words"], one["place"]) for one in told] == [
        ("done", "Rinse the sponge", "sumps/rack"),
        ("undone", "Rinse the sponge", "sumps/rack"),
    ]


def test_it_is_followed_page_by_page_without_a_hole(furnished: Caller) -> None:
    whole = log(furnished, limit=1000)
    assert [one["number"] for one in whole["items"]] == list(range(1, len(whole["items"]) + 1))
    pages, cursor, more = [], None, True
    while more:
        page = log(furnished, cursor, limit=3)
        pages += page["items"]
        cursor, more = page["cursor"], page["more"]
    assert pages == whole["items"]
    assert cursor == whole["cursor"] == log(furnished, "now")["cursor"]


def test_keys_are_the_keepers_business_and_no_secret_is_told(furnished: Caller) -> None:
    made = furnished.post("/v1/keys", {"name": "Ana", "role": "helper"}).get_json()
    helper = Caller(furnished.client, made["key"])
    mine = [one for one in log(furnished, limit=1000)["items"] if one["noun"] == "key"]
    assert {"ana"} <= {one["subject"] for one in mine}
    text = furnished.get("/v1/changes?limit=1000").get_data(as_text=True)
    assert made["key"] not in text and "key_hash" not in text
    assert [one for one in log(helper, limit=1000)["items"] if one["noun"] == "key"] == []
    assert log(helper, "now")["cursor"] == log(furnished, "now")["cursor"]
    assert helper.get("/v1/audit").status_code == 403


def test_a_cursor_from_after_a_restored_copy_is_lost_and_not_misread(furnished: Caller, app: Service) -> None:
    furnished.post("/v1/systems", {"name": "Beck"})
    lost = log(furnished, "now")["cursor"]
    with app.database.engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM change WHERE number = (SELECT max(number) FROM change)")
        connection.exec_driver_sql("UPDATE counter SET next = next - 1 WHERE noun = 'change'")
        connection.exec_driver_sql(
            "DELETE FROM system WHERE id = (SELECT id FROM place WHERE handle = 'beck')"
        )
        connection.exec_driver_sql("DELETE FROM place WHERE handle = 'beck'")
    answer = furnished.get(f"/v1/changes?since={lost}")
    assert (answer.status_code, answer.get_json()["type"]) == (410, "urn:weirbook:problem:cursor-lost")
    furnished.post("/v1/systems", {"name": "Burn"})
    assert furnished.get(f"/v1/changes?since={lost}").status_code == 410


@pytest.mark.parametrize("cursor", ["x", "WyJhIl0", "bm93", "W10"])
def test_a_cursor_that_was_not_made_here_is_refused(furnished: Caller, cursor: str) -> None:
    answer = furnished.get(f"/v1/changes?since={cursor}")
    assert (answer.status_code, answer.get_json()["errors"][0]["pointer"]) == (422, "/since")


@on_both_engines
def test_the_audit_is_searched_by_who_what_and_about(furnished: Caller, caller: MakeCaller) -> None:
    caller("helper", name="Tomas").post("/v1/journal", {"place": "tanks/nursery", "words": "All well."})
    furnished.patch("/v1/tanks/nursery", {"notes": "Lid cracked."})
    items = furnished.get("/v1/audit?who=Tomas").get_json()["items"]
    assert [(one["noun"], one["words"]) for one in items] == [("journal entry", "All well.")]
    about = furnished.get("/v1/audit?noun=tank&subject=nursery").get_json()["items"]
    assert [one["what"] for one in about] == ["changed", "made"]
    assert furnished.get("/v1/audit?to=2020-01-01T00:00:00Z").get_json()["items"] == []
    table = furnished.get("/v1/audit?noun=tank&format=csv").get_data(as_text=True)
    assert "notes: None -> Lid cracked." in table


@on_both_engines
def test_the_audit_goes_on_by_pages(furnished: Caller) -> None:
    first = furnished.get("/v1/audit?limit=2").get_json()
    second = furnished.get(f"/v1/audit?limit=2&cursor={first['next']}").get_json()
    numbers = [one["number"] for one in first["items"] + second["items"]]
    assert numbers == sorted(numbers, reverse=True) and len(set(numbers)) == 4


@on_both_engines
def test_a_follower_says_how_far_it_is(furnished: Caller, caller: MakeCaller) -> None:
    cursor = log(furnished, "now")["cursor"]
    helper = caller("helper")
    assert helper("PUT", "/v1/followers/house-mail", {"cursor": cursor}).status_code == 200
    again = helper("PUT", "/v1/followers/house-mail", {"cursor": cursor})
    assert again.get_json()["name"] == "house-mail"
    assert [one["name"] for one in furnished.get("/v1/followers").get_json()["items"]] == ["house-mail"]
    assert helper("PUT", "/v1/followers/House%20Mail", {"cursor": cursor}).status_code == 422
    assert helper("PUT", "/v1/followers/house-mail", {"cursor": "x"}).status_code == 422
    assert caller("viewer")("PUT", "/v1/followers/house-mail", {"cursor": cursor}).status_code == 403


def test_two_rooms_number_their_logs_apart(database: Database, furnished: Caller) -> None:
    with database.write() as session:
        other = open_room(session, name="Other", time_zone="UTC", now=1).room_id
    with database.read() as session:
        enter_room(session, other)
        assert [one.number for one in session.query(Change)] == [1]
