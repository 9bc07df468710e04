"""Feedings that differ from the ration: on top of it, in its place, or nothing at all."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, made, on_both_engines, pointers

FEEDING: dict[str, Any] = {
    "tank": "nursery",
    "fed_at": "2026-06-01T18:00:00Z",
    "feed": "granules",
    "amount": "1 g",
}


@pytest.fixture
def larder(furnished: Caller) -> Caller:
    made(furnished, "feeds", {"name": "Granules", "protein": "40 %"})
    return furnished


@on_both_engines
def test_a_feeding_is_on_top_of_the_ration_unless_said(larder: Caller) -> None:
    fed = made(larder, "feedings", FEEDING)
    assert (fed["instead"], fed["amount"]) == (False, {"value": 1, "unit": "g"})
    assert made(larder, "feedings", {**FEEDING, "instead": True})["instead"] is True
    assert larder.get(f"/v1/feedings/{fed['id']}").get_json() == fed


def test_a_day_without_food_is_told_by_instead_alone(larder: Caller) -> None:
    fast = made(larder, "feedings", {"tank": "nursery", "instead": True, "words": "Forgot."})
    assert (fast["feed"], fast["amount"], fast["instead"]) == (None, None, True)


def test_a_feeding_without_an_instant_was_now(larder: Caller) -> None:
    now = made(larder, "feedings", {name: one for name, one in FEEDING.items() if name != "fed_at"})
    assert now["fed_at"] == now["created_at"]


def test_a_feeding_that_can_not_be_is_refused_at_the_fault(larder: Caller) -> None:
    for change, pointer in (
        ({"amount": None}, "/amount"),
        ({"feed": None}, "/amount"),
        ({"feed": None, "amount": None}, "/feed"),
        ({"feed": "porridge"}, "/feed"),
        ({"amount": "0 g"}, "/amount"),
        ({"amount": 1}, "/amount"),
        ({"instead": "yes"}, "/instead"),
        ({"tank": "none"}, "/tank"),
        ({"tank": None}, "/tank"),
        ({"fed_at": "2199-01-01T00:00:00Z"}, "/fed_at"),
        ({"fed_at": "yesterday"}, "/fed_at"),
    ):
        assert pointers(larder.post("/v1/feedings", {**FEEDING, **change})) == [pointer], change
    assert larder.get("/v1/feedings").get_json()["items"] == []


def test_a_retired_feed_is_not_fed_but_an_old_feeding_of_it_can_be_mended(larder: Caller) -> None:
    fed = made(larder, "feedings", FEEDING)
    larder.patch("/v1/feeds/granules", {"retired_at": "2026-07-01T00:00:00Z"})
    assert pointers(larder.post("/v1/feedings", FEEDING)) == ["/feed"]
    assert larder.patch(f"/v1/feedings/{fed['id']}", {"amount": "2 g"}).status_code == 200


def test_an_edit_can_not_leave_a_feeding_that_says_nothing(larder: Caller) -> None:
    fed = made(larder, "feedings", FEEDING)
    path = f"/v1/feedings/{fed['id']}"
    assert pointers(larder.patch(path, {"feed": None})) == ["/amount"]
    assert pointers(larder.patch(path, {"feed": None, "amount": None})) == ["/feed"]
    assert larder.patch(path, {"feed": None, "amount": None, "instead": True}).status_code == 200
    assert pointers(larder.patch(path, {"fed_at": "2199-01-01T00:00:00Z"})) == ["/fed_at"]


@on_both_engines
def test_feedings_are_listed_newest_first_by_tank_and_time(larder: Caller) -> None:
    for day in (1, 3, 2):
        made(larder, "feedings", {**FEEDING, "fed_at": f"2026-06-0{day}T18:00:00Z"})
    listed = larder.get("/v1/feedings?tank=nursery").get_json()["items"]
    assert [one["fed_at"][8:10] for one in listed] == ["03", "02", "01"]
    some = larder.get("/v1/feedings?from=2026-06-02T18:00:00Z&to=2026-06-03T18:00:00Z").get_json()["items"]
    assert [one["fed_at"][8:10] for one in some] == ["02"]
    page = larder.get("/v1/feedings?limit=2").get_json()
    rest = larder.get(f"/v1/feedings?limit=2&cursor={page['next']}").get_json()
    assert [one["fed_at"][8:10] for one in rest["items"]] == ["01"] and rest["next"] is None


@on_both_engines
def test_an_offline_app_may_repeat_its_feeding_by_its_own_id(larder: Caller) -> None:
    path = "/v1/feedings/01936c5e-8f00-7000-8000-00000000feed"
    now = {name: one for name, one in FEEDING.items() if name != "fed_at"}
    assert larder("PUT", path, now).status_code == 201
    assert larder("PUT", path, now).status_code == 200
    assert larder("PUT", path, {**now, "amount": "3 g"}).status_code == 409
    assert len(larder.get("/v1/feedings").get_json()["items"]) == 1
