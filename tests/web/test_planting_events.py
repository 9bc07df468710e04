"""What happens to plantings: told in any order, never what could not have been; reviews end with what they look at."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from harness import Caller, MakeCaller, made, on_both_engines, pointers
from plant_scenes import plant, set_up_kinds, shown, tell

ID = "01936c5e-8f00-7000-8000-0000000000ab"


@pytest.fixture
def tank(furnished: Caller) -> Caller:
    assert furnished.patch("/v1/room", {"time_zone": "UTC"}).status_code == 200
    set_up_kinds(furnished)
    return furnished


def try_to(keeper: Caller, planting: dict[str, Any], what: str, on: str, **said: Any) -> Any:
    body = {"planting": planting["id"], "kind": what, "happened_at": f"{on}T10:00:00Z", **said}
    return keeper.post("/v1/planting-events", body)


def stands(keeper: Caller, planting: dict[str, Any]) -> tuple[str, str | None, str, str | None, str]:
    now = shown(keeper, planting)
    return now["state"], now["ended_at"], now["stands_in"], now["spot_now"], now["method_now"]


@on_both_engines
def test_a_planting_follows_its_events(tank: Caller) -> None:
    moss = plant(tank, spot="On the slate", cover="4 %")
    nursery = "tanks/nursery"
    tell(tank, moss, "uprooted", "2026-06-03", by="The loaches")
    assert stands(tank, moss) == ("uprooted", "2026-06-03T10:00:00Z", nursery, "On the slate", "on_stone")
    assert shown(tank, moss)["cover_now"] is None
    tell(tank, moss, "replanted", "2026-06-04", spot="On the root", method="on_wood", cover="3 %")
    assert stands(tank, moss) == ("stands", None, nursery, "On the root", "on_wood")
    tell(tank, moss, "moved", "2026-06-10", to_place="sections/rack-return-1")
    assert stands(tank, moss) == ("stands", None, "sections/rack-return-1", None, "on_wood")
    tell(tank, moss, "trimmed", "2026-06-20", wet_mass="20 g")
    tell(tank, moss, "harvested", "2026-06-25", wet_mass="0.1 kg", cover="6 %")
    assert shown(tank, moss)["harvested"] == {"value": 120, "unit": "g"}
    assert shown(tank, moss)["cover_now"] == {"value": 6, "unit": "%"}
    tell(tank, moss, "lost", "2026-07-01", words="Went brown.")
    assert stands(tank, moss)[:2] == ("lost", "2026-07-01T10:00:00Z")


@on_both_engines
def test_events_may_be_entered_in_any_order(tank: Caller) -> None:
    """Told backwards it comes to the same, as long as every step could have been."""
    moss = plant(tank)
    tell(tank, moss, "moved", "2026-06-20", spot="Back")
    tell(tank, moss, "moved", "2026-06-10", spot="Front")
    assert shown(tank, moss)["spot_now"] == "Back"
    assert pointers(try_to(tank, moss, "uprooted", "2026-06-12")) == ["/happened_at"]
    tell(tank, moss, "replanted", "2026-06-14")
    tell(tank, moss, "uprooted", "2026-06-12")
    assert shown(tank, moss)["spot_now"] == "Back"
    assert pointers(try_to(tank, moss, "moved", "2026-06-13", spot="Middle")) == ["/kind"]


@pytest.mark.parametrize(
    ("events", "what", "on", "pointer", "words"),
    [
        ([("lost", "10")], "moved", "11", "/kind", "It was lost before"),
        ([("lost", "10")], "lost", "11", "/kind", "It was lost before"),
        ([("lost", "10")], "seen", "11", "/kind", "It was lost before"),
        ([("removed", "10")], "trimmed", "11", "/kind", "It was removed before"),
        ([("moved", "12")], "lost", "11", "/happened_at", "'moved' of 2026-06-12"),
        ([("uprooted", "10")], "lost", "09", "/happened_at", "'uprooted' of 2026-06-10"),
        ([("uprooted", "10")], "uprooted", "11", "/kind", "uprooted already"),
        ([("uprooted", "10")], "moved", "11", "/kind", "lay uprooted"),
        ([("uprooted", "10")], "trimmed", "11", "/kind", "lay uprooted"),
        ([("uprooted", "10")], "harvested", "11", "/kind", "lay uprooted"),
        ([], "seen", "00", "/happened_at", "before it was planted, at 2026-06-01 10:00."),
    ],
)
def test_what_could_not_have_been_is_refused_with_what_stands_against_it(
    tank: Caller, events: list[tuple[str, str]], what: str, on: str, pointer: str, words: str
) -> None:
    moss = plant(tank)
    for kind, day in events:
        tell(tank, moss, kind, f"2026-06-{day}", **({"spot": "Back"} if kind == "moved" else {}))
    before = shown(tank, moss)
    said = {"spot": "Middle"} if what == "moved" else {}
    refused = try_to(tank, moss, what, "2026-05-31" if on == "00" else f"2026-06-{on}", **said)
    assert pointers(refused) == [pointer]
    assert words in refused.get_data(as_text=True)
    assert shown(tank, moss) == before


def test_sentences_tell_instants_by_the_rooms_clock(tank: Caller) -> None:
    assert tank.patch("/v1/room", {"time_zone": "Asia/Kolkata"}).status_code == 200
    moss = plant(tank)
    early = try_to(tank, moss, "seen", "2026-05-31").get_json()["errors"][0]["message"]
    assert early == "That is before it was planted, at 2026-06-01 15:30."
    tell(tank, moss, "lost", "2026-06-10")
    late = try_to(tank, moss, "seen", "2026-06-11").get_json()["errors"][0]["message"]
    assert late.startswith("It was lost before: the event 'lost' of 2026-06-10 15:30 (")


def test_what_lay_uprooted_may_be_seen_removed_or_lost(tank: Caller) -> None:
    for what in ("lost", "removed"):
        moss = plant(tank)
        tell(tank, moss, "uprooted", "2026-06-10")
        tell(tank, moss, "seen", "2026-06-11")
        tell(tank, moss, what, "2026-06-12")
        assert stands(tank, moss)[:2] == (what, "2026-06-12T10:00:00Z")


@pytest.mark.parametrize(
    ("over", "pointer"),
    [
        ({"planting": "01936c5e-8f00-7000-8000-00000000ffff"}, "/planting"),
        ({"planting": "moss"}, "/planting"),
        ({"kind": "eaten"}, "/kind"),
        ({"happened_at": "2100-01-01T00:00:00Z"}, "/happened_at"),
        ({"kind": "lost", "wet_mass": "1 g"}, "/wet_mass"),
        ({"kind": "lost", "cover": "5 %"}, "/cover"),
        ({"kind": "seen", "to_place": "tanks/nursery"}, "/to_place"),
        ({"kind": "harvested", "method": "ring"}, "/method"),
        ({"kind": "harvested", "spot": "Back"}, "/spot"),
        ({"kind": "harvested", "wet_mass": "0 g"}, "/wet_mass"),
        ({"kind": "harvested", "wet_mass": "1001 kg"}, "/wet_mass"),
        ({"kind": "moved"}, "/to_place"),
        ({"kind": "moved", "to_place": "room"}, "/to_place"),
        ({"kind": "moved", "to_place": "systems/rill"}, "/to_place"),
        ({"kind": "moved", "to_place": "tanks/none"}, "/to_place"),
        ({"kind": "moved", "method": "glued"}, "/method"),
        ({"cover": "-1 %"}, "/cover"),
    ],
)
def test_an_event_that_can_not_be_is_refused_at_the_fault(
    tank: Caller, over: dict[str, Any], pointer: str
) -> None:
    body = {"planting": plant(tank)["id"], "kind": "seen", "happened_at": "2026-06-10T10:00:00Z", **over}
    assert pointers(tank.post("/v1/planting-events", body)) == [pointer]
    assert tank.get("/v1/planting-events").get_json()["items"] == []


@on_both_engines
def test_a_correction_is_held_to_the_same_rules(tank: Caller) -> None:
    moss = plant(tank)
    uprooted = tell(tank, moss, "uprooted", "2026-06-10")
    tell(tank, moss, "replanted", "2026-06-12")
    trimmed = tell(tank, moss, "trimmed", "2026-06-15")
    path = f"/v1/planting-events/{uprooted['id']}"
    refused = tank.patch(path, {"happened_at": "2026-06-13T10:00:00Z"})
    assert pointers(refused) == ["/happened_at"] and trimmed["id"] in refused.get_data(as_text=True)
    assert pointers(tank.patch(path, {"kind": "lost"})) == ["/kind"]
    assert pointers(tank.patch(path, {"happened_at": "2026-05-30T10:00:00Z"})) == ["/happened_at"]
    fixed = tank.patch(path, {"happened_at": "2026-06-11T10:00:00Z", "by": "The snails"})
    assert (fixed.status_code, fixed.get_json()["by"]) == (200, "The snails")


@on_both_engines
def test_an_event_that_others_rest_on_is_not_taken_back(tank: Caller) -> None:
    moss = plant(tank)
    uprooted = tell(tank, moss, "uprooted", "2026-06-10")
    back = tell(tank, moss, "replanted", "2026-06-12")
    trimmed = tell(tank, moss, "trimmed", "2026-06-15")
    refused = tank.delete(f"/v1/planting-events/{back['id']}")
    assert refused.status_code == 409 and trimmed["id"] in refused.get_json()["detail"]
    assert tank.delete(f"/v1/planting-events/{trimmed['id']}").status_code == 204
    assert tank.delete(f"/v1/planting-events/{back['id']}").status_code == 204
    assert tank.delete(f"/v1/planting-events/{uprooted['id']}").status_code == 204
    assert shown(tank, moss)["state"] == "stands"


@on_both_engines
@pytest.mark.parametrize("what", ["lost", "removed"])
def test_reviews_end_with_the_planting_and_come_back_with_it(tank: Caller, what: str) -> None:
    moss = made(tank, "plantings", {"kind": "java-moss", "place": "tanks/nursery", "method": "ring"})
    ahead = (datetime.now(UTC) + timedelta(days=30)).date()

    def due() -> list[str]:
        return [one["task"] for one in tank.get(f"/v1/tasks/due?on={ahead}").get_json()["items"]]

    reviews = [one["task"] for one in moss["reviews"]]
    assert due() == reviews
    ended = made(tank, "planting-events", {"planting": moss["id"], "kind": what})
    assert due() == []
    assert shown(tank, moss)["reviews"] == moss["reviews"]
    assert tank.delete(f"/v1/planting-events/{ended['id']}").status_code == 204
    assert due() == reviews


def test_a_review_that_the_keeper_ended_stays_ended_when_something_else_is_taken_back(tank: Caller) -> None:
    moss = made(tank, "plantings", {"kind": "java-moss", "place": "tanks/nursery", "method": "ring"})
    task = f"/v1/tasks/{moss['reviews'][1]['task']}"
    now = f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"
    assert tank.patch(task, {"retired_at": now}).status_code == 200
    seen = made(tank, "planting-events", {"planting": moss["id"], "kind": "seen"})
    assert tank.delete(f"/v1/planting-events/{seen['id']}").status_code == 204
    assert tank.get(task).get_json()["retired_at"] is not None


@on_both_engines
def test_an_event_may_be_repeated_under_ones_own_id(tank: Caller, caller: MakeCaller) -> None:
    helper, path = caller("helper"), f"/v1/planting-events/{ID}"
    body = {"planting": plant(tank)["id"], "kind": "lost", "happened_at": "2026-06-10T10:00:00Z"}
    assert helper("PUT", path, body).status_code == 201
    assert helper("PUT", path, body).status_code == 200
    assert helper("PUT", path, {**body, "by": "Snails"}).status_code == 409
    assert caller("viewer")("PUT", path, body).status_code == 403


def test_events_are_listed_by_planting_kind_and_time_newest_first(tank: Caller) -> None:
    moss, other = plant(tank), plant(tank)
    for planting, what, day in ((moss, "seen", 3), (moss, "trimmed", 5), (other, "seen", 4)):
        tell(tank, planting, what, f"2026-06-0{day}")

    def days(query: str) -> list[str]:
        items = tank.get(f"/v1/planting-events?{query}").get_json()["items"]
        return [one["happened_at"][8:10] for one in items]

    assert days("") == ["05", "04", "03"]
    assert days(f"planting={moss['id']}") == ["05", "03"]
    assert days("kind=seen") == ["04", "03"]
    assert days("from=2026-06-04T10:00:00Z&to=2026-06-05T10:00:00Z") == ["04"]
    assert pointers(tank.get(f"/v1/planting-events?planting={ID}")) == ["/planting"]


def test_a_place_where_plants_went_is_not_deleted(tank: Caller) -> None:
    made(
        tank,
        "sumps",
        {"name": "Tray", "system": "rill", "length": "80 cm", "width": "25 cm", "height": "20 cm"},
    )
    tell(tank, plant(tank), "moved", "2026-06-10", to_place="sumps/tray")
    refused = tank.delete("/v1/sumps/tray")
    assert refused.status_code == 409 and "1 planting event" in refused.get_json()["detail"]
