"""Plantings: a kind, a place with a spot in words, a method; the days to look again are tasks."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from harness import Caller, MakeCaller, made, on_both_engines, pointers
from plant_scenes import plant, set_up_kinds, shown, tell
from sqlalchemy import event

from weirbook.app import Service

ID = "01936c5e-8f00-7000-8000-0000000000aa"
WOOD: dict[str, Any] = {
    "kind": "java-moss",
    "place": "tanks/nursery",
    "spot": "On the root, left",
    "method": "on_wood",
    "pieces": 3,
    "wet_mass": "30 g",
    "cover": "5 %",
    "planted_at": "2026-06-01T10:00:00Z",
}


@pytest.fixture
def tank(furnished: Caller) -> Caller:
    assert furnished.patch("/v1/room", {"time_zone": "UTC"}).status_code == 200
    set_up_kinds(furnished)
    return furnished


def today() -> date:
    return datetime.now(UTC).date()


def now_planted(keeper: Caller, **said: Any) -> dict[str, Any]:
    return made(keeper, "plantings", {**{k: v for k, v in WOOD.items() if k != "planted_at"}, **said})


def listed(keeper: Caller, query: str = "") -> list[str]:
    answered = keeper.get(f"/v1/plantings?{query}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    return [one["id"] for one in answered.get_json()["items"]]


@on_both_engines
def test_a_planting_is_shown_as_it_was_entered_and_stands(tank: Caller) -> None:
    moss = made(tank, "plantings", WOOD)
    assert (moss["kind"], moss["spot"], moss["method"], moss["pieces"]) == (
        "java-moss", "On the root, left", "on_wood", 3,
    )  # fmt: skip
    assert (moss["state"], moss["ended_at"], moss["stands_in"]) == ("stands", None, "tanks/nursery")
    assert (moss["spot_now"], moss["method_now"]) == ("On the root, left", "on_wood")
    assert (moss["cover_now"], moss["harvested"]) == ({"value": 5, "unit": "%"}, None)
    assert tank.get(f"/v1/plantings/{moss['id']}").get_json() == moss


@on_both_engines
def test_reviews_are_tasks_a_day_and_a_week_on(tank: Caller) -> None:
    moss = now_planted(tank)
    assert [one["on"] for one in moss["reviews"]] == [
        (today() + timedelta(days=days)).isoformat() for days in (1, 7)
    ]
    task = tank.get(f"/v1/tasks/{moss['reviews'][0]['task']}").get_json()
    assert task["about"] == "tanks/nursery" and "Java moss" in task["title"] and "root" in task["title"]
    due = tank.get(f"/v1/tasks/due?on={today() + timedelta(days=7)}").get_json()["items"]
    assert [one["task"] for one in due] == [one["task"] for one in moss["reviews"]]


def test_reviews_are_as_many_as_asked_for_and_none_lies_behind(tank: Caller) -> None:
    three = now_planted(tank, review_days=[14, 3, 14])
    assert [one["on"] for one in three["reviews"]] == [
        (today() + timedelta(days=days)).isoformat() for days in (3, 14)
    ]
    assert now_planted(tank, review_days=[])["reviews"] == []
    assert made(tank, "plantings", WOOD)["reviews"] == []


def test_a_long_spot_still_makes_a_title(tank: Caller) -> None:
    moss = now_planted(tank, spot="x" * 200)
    assert len(tank.get(f"/v1/tasks/{moss['reviews'][0]['task']}").get_json()["title"]) == 200


@pytest.mark.parametrize(
    ("over", "pointer"),
    [
        ({"kind": "none"}, "/kind"),
        ({"kind": None}, "/kind"),
        ({"place": "room"}, "/place"),
        ({"place": "systems/rill"}, "/place"),
        ({"place": "tanks/none"}, "/place"),
        ({"method": "glued"}, "/method"),
        ({"method": None}, "/method"),
        ({"pieces": 0}, "/pieces"),
        ({"pieces": 1.5}, "/pieces"),
        ({"wet_mass": "0 g"}, "/wet_mass"),
        ({"wet_mass": "2 t"}, "/wet_mass"),
        ({"cover": "101 %"}, "/cover"),
        ({"cover": 0.1}, "/cover"),
        ({"planted_at": "2100-01-01T00:00:00Z"}, "/planted_at"),
        ({"review_days": [0]}, "/review_days/0"),
        ({"review_days": [1001]}, "/review_days/0"),
        ({"review_days": list(range(1, 14))}, "/review_days"),
        ({"reviews": []}, "/reviews"),
        ({"state": "lost"}, "/state"),
    ],
)
def test_a_planting_that_can_not_be_is_refused_at_the_fault(
    tank: Caller, over: dict[str, Any], pointer: str
) -> None:
    assert pointers(tank.post("/v1/plantings", {**WOOD, **over})) == [pointer]
    assert listed(tank) == []
    assert tank.get("/v1/tasks").get_json()["items"] == []


@on_both_engines
def test_a_repeat_under_ones_own_id_makes_no_second_reviews(tank: Caller, caller: MakeCaller) -> None:
    helper = caller("helper")
    body = {**WOOD, "planted_at": f"{datetime.now(UTC):%Y-%m-%dT00:00:00Z}", "review_days": [2]}
    first = helper("PUT", f"/v1/plantings/{ID}", body)
    again = helper("PUT", f"/v1/plantings/{ID}", body)
    assert (first.status_code, again.status_code) == (201, 200)
    assert first.get_json() == again.get_json()
    assert len(tank.get("/v1/tasks").get_json()["items"]) == 1
    assert helper("PUT", f"/v1/plantings/{ID}", {**body, "pieces": 4}).status_code == 409
    assert caller("viewer").post("/v1/plantings", WOOD).status_code == 403


def test_what_was_entered_is_corrected_but_neither_kind_nor_place_nor_day(tank: Caller) -> None:
    moss = made(tank, "plantings", WOOD)
    path = f"/v1/plantings/{moss['id']}"
    changed = tank.patch(path, {"spot": "On the root, right", "method": "ring", "words": None})
    assert (changed.get_json()["spot_now"], changed.get_json()["method_now"]) == (
        "On the root, right",
        "ring",
    )
    for patch, pointer in (
        ({"kind": "cress"}, "/kind"),
        ({"place": "sumps/rack"}, "/place"),
        ({"planted_at": "2026-06-02T10:00:00Z"}, "/planted_at"),
        ({"method": None}, "/method"),
    ):
        assert pointers(tank.patch(path, patch)) == [pointer]


@on_both_engines
def test_a_planting_deleted_takes_its_untouched_reviews_along(tank: Caller) -> None:
    yesterday = f"{today() - timedelta(days=1)}T10:00:00Z"
    moss = now_planted(tank, planted_at=yesterday)
    done, left = moss["reviews"]
    occurrences = tank.get(f"/v1/tasks/{done['task']}/occurrences").get_json()["items"]
    ticked = tank.post(f"/v1/tasks/{done['task']}/completions", {"occurrence": occurrences[0]["occurrence"]})
    assert ticked.status_code == 201, ticked.get_data(as_text=True)
    assert tank.delete(f"/v1/plantings/{moss['id']}").status_code == 204
    assert tank.get(f"/v1/tasks/{left['task']}").status_code == 404
    kept = tank.get(f"/v1/tasks/{done['task']}").get_json()
    assert kept["retired_at"] is not None
    assert tank.get(f"/v1/tasks/due?on={today() + timedelta(days=30)}").get_json()["items"] == []


def test_a_planting_with_events_is_not_deleted_nor_is_a_review_from_under_it(tank: Caller) -> None:
    moss = now_planted(tank)
    body = {"planting": moss["id"], "kind": "seen"}
    seen = made(tank, "planting-events", body)
    refused = tank.delete(f"/v1/plantings/{moss['id']}")
    assert refused.status_code == 409 and "1 planting event" in refused.get_json()["detail"]
    refused = tank.delete(f"/v1/tasks/{moss['reviews'][0]['task']}")
    assert refused.status_code == 409 and "1 planting" in refused.get_json()["detail"]
    assert tank.delete(f"/v1/planting-events/{seen['id']}").status_code == 204
    assert tank.delete(f"/v1/plantings/{moss['id']}").status_code == 204


@on_both_engines
def test_plantings_are_listed_by_where_and_how_they_stand_now(tank: Caller) -> None:
    for name in ("Pond", "Vat"):
        made(tank, "systems", {"name": name})
        shape = {"shape": "rectangle", "length": "100 cm", "width": "50 cm"}
        vessel = {"name": name, "system": name.lower(), "use": "display", "footprint": shape}
        made(tank, "tanks", {**vessel, "water_depth": "40 cm"})
    moved, stayed = plant(tank, "2026-06-01"), plant(tank, "2026-06-02")
    bed = plant(tank, "2026-06-03", kind="cress", place="sections/rack-return-1", method="basket")
    lost, back = plant(tank, "2026-06-04"), plant(tank, "2026-06-05")
    tell(tank, moved, "moved", "2026-06-10", to_place="tanks/pond")
    tell(tank, moved, "moved", "2026-06-09", to_place="tanks/vat")
    tell(tank, lost, "lost", "2026-06-10")
    tell(tank, back, "uprooted", "2026-06-10")
    tell(tank, back, "replanted", "2026-06-11")
    tell(tank, stayed, "uprooted", "2026-06-12")
    ids = {"moved": moved, "stayed": stayed, "bed": bed, "lost": lost, "back": back}

    def names(query: str) -> list[str]:
        by_id = {one["id"]: name for name, one in ids.items()}
        return [by_id[one] for one in listed(tank, query)]

    assert names("") == ["back", "lost", "bed", "stayed", "moved"]
    assert names("place=tanks/nursery") == ["back", "lost", "stayed"]
    assert names("place=tanks/pond") == names("place=systems/pond") == ["moved"]
    assert names("place=tanks/vat") == names("place=systems/vat") == []
    assert names("place=sumps/rack") == names("place=sections/rack-return-1") == ["bed"]
    assert names("place=systems/rill") == ["back", "lost", "bed", "stayed"]
    assert names("place=room") == names("")
    assert names("state=stands") == ["back", "bed", "moved"]
    assert names("state=lost") == ["lost"]
    assert names("state=uprooted") == ["stayed"]
    assert names("kind=cress") == names("method=basket") == ["bed"]
    assert names("from=2026-06-03T10:00:00Z&to=2026-06-05T10:00:00Z") == ["lost", "bed"]
    assert pointers(tank.get("/v1/plantings?place=tanks/none")) == ["/place"]
    assert pointers(tank.get("/v1/plantings?state=dead")) == ["/state"]
    first = tank.get("/v1/plantings?limit=2&place=tanks/nursery").get_json()
    second = tank.get(f"/v1/plantings?limit=2&place=tanks/nursery&cursor={first['next']}").get_json()
    assert [one["id"] for one in (*first["items"], *second["items"])] == listed(tank, "place=tanks/nursery")


def test_a_page_asks_no_more_the_longer_it_is(app: Service, tank: Caller) -> None:
    asked: list[str] = []
    event.listen(app.database.engine, "before_cursor_execute", lambda *said: asked.append(said[2]))

    def statements() -> int:
        asked.clear()
        assert tank.get("/v1/plantings").status_code == 200
        return len(asked)

    plant(tank, "2026-06-01")
    one = statements()
    for day in range(2, 12):
        tell(tank, plant(tank, f"2026-06-{day:02}"), "seen", "2026-07-01", cover="3 %")
    assert statements() == one


def test_who_holds_a_planting_hears_of_its_events_though_its_version_stays(tank: Caller) -> None:
    moss = plant(tank)
    path = f"/v1/plantings/{moss['id']}"
    held = tank.get(path).headers["ETag"]
    tell(tank, moss, "lost", "2026-06-10")
    again = tank.get(path, If_None_Match=held)
    assert (again.status_code, again.get_json()["state"], again.headers["ETag"]) == (200, "lost", held)


def test_a_sheet_of_plantings_tells_how_each_stands(tank: Caller) -> None:
    moss = made(tank, "plantings", WOOD)
    tell(tank, moss, "harvested", "2026-06-20", wet_mass="12 g", cover="8 %")
    (row,) = csv.DictReader(io.StringIO(tank.get("/v1/plantings?format=csv").get_data(as_text=True)))
    assert (row["state"], row["stands_in"], row["spot_now"]) == (
        "stands",
        "tanks/nursery",
        "On the root, left",
    )
    assert (row["cover_now"], row["cover_now_unit"]) == ("8", "%")
    assert (row["harvested"], row["harvested_unit"]) == ("12", "g")
    assert shown(tank, moss)["harvested"] == {"value": 12, "unit": "g"}
