"""Doses: a product by its label's measure, or a compound dry or as a stock of known strength."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, MakeCaller, made, on_both_engines, pointers

DOSE: dict[str, Any] = {
    "place": "tanks/nursery",
    "compound": "potassium_nitrate",
    "mass": "2 g",
    "dosed_at": "2026-06-01T09:00:00Z",
}
STOCK = {**DOSE, "mass": None, "volume": "20 mL", "strength": "100 g/L"}


@pytest.fixture
def shelf(furnished: Caller) -> Caller:
    made(furnished, "products", {"name": "Drops", "volume": "10 mL", "treats": "100 L"})
    made(furnished, "products", {"name": "Powder", "mass": "10 g", "treats": "100 L"})
    made(furnished, "products", {"name": "Old bottle"})
    return furnished


@on_both_engines
def test_a_dose_is_shown_as_it_was_entered(shelf: Caller) -> None:
    dry = made(shelf, "doses", DOSE)
    assert (dry["compound"], dry["mass"], dry["product"]) == (
        "potassium_nitrate",
        {"value": 2, "unit": "g"},
        None,
    )
    stock = made(shelf, "doses", STOCK)
    assert (stock["volume"], stock["strength"]) == (
        {"value": 20, "unit": "mL"},
        {"value": 100, "unit": "g/L"},
    )
    assert shelf.get(f"/v1/doses/{stock['id']}").get_json() == stock
    for product, amount in (
        ("drops", {"volume": "5 mL"}),
        ("powder", {"mass": "3 g"}),
        ("old-bottle", {"mass": "1 g"}),
    ):
        made(shelf, "doses", {"place": "sumps/rack", "product": product, **amount})


def test_a_dose_that_can_not_be_is_refused_at_the_fault(shelf: Caller) -> None:
    for change, at in (
        ({"compound": None}, ["/product"]),
        ({"product": "powder"}, ["/product"]),
        ({"mass": None}, ["/mass"]),
        ({"volume": "1 mL"}, ["/mass"]),
        ({"mass": None, "volume": "20 mL"}, ["/strength"]),
        ({"strength": "100 g/L"}, ["/strength"]),
        ({"compound": "unobtainium"}, ["/compound"]),
        ({"compound": None, "product": "drops"}, ["/volume"]),
        ({"compound": None, "product": "powder", "mass": None, "volume": "1 mL"}, ["/mass"]),
        ({"compound": None, "product": "none"}, ["/product"]),
        ({"mass": "0 g"}, ["/mass"]),
        ({"mass": "2 mL"}, ["/mass"]),
        ({"place": "room"}, ["/place"]),
        ({"place": "tanks/none"}, ["/place"]),
        ({"dosed_at": "2199-01-01T00:00:00Z"}, ["/dosed_at"]),
    ):
        assert pointers(shelf.post("/v1/doses", {**DOSE, **change})) == at, change
    assert shelf.get("/v1/doses").get_json()["items"] == []


@on_both_engines
def test_doses_are_listed_newest_first_by_place_product_and_time(shelf: Caller) -> None:
    for day in (1, 3, 2):
        made(shelf, "doses", {**DOSE, "dosed_at": f"2026-06-0{day}T09:00:00Z"})
    made(shelf, "doses", {"place": "systems/rill", "product": "drops", "volume": "5 mL"})

    def listed(query: str) -> list[str]:
        return [one["dosed_at"][8:10] for one in shelf.get(f"/v1/doses?{query}").get_json()["items"]]

    assert listed("place=tanks/nursery") == ["03", "02", "01"]
    assert listed("from=2026-06-02T09:00:00Z&to=2026-06-03T09:00:00Z") == ["02"]
    assert len(listed("product=drops")) == 1
    assert pointers(shelf.get("/v1/doses?product=none")) == ["/product"]


def test_a_helper_doses_and_mends_its_dose(shelf: Caller, caller: MakeCaller) -> None:
    helper = caller("helper")
    dose = made(helper, "doses", DOSE)
    assert helper.patch(f"/v1/doses/{dose['id']}", {"mass": "3 g"}).status_code == 200
    assert pointers(helper.patch(f"/v1/doses/{dose['id']}", {"mass": None})) == ["/mass"]
    assert helper.delete(f"/v1/doses/{dose['id']}").status_code == 204


def test_a_place_that_was_dosed_is_not_deleted(shelf: Caller) -> None:
    made(shelf, "systems", {"name": "Pond"})
    made(shelf, "doses", {**DOSE, "place": "systems/pond"})
    refused = shelf.delete("/v1/systems/pond")
    assert refused.status_code == 409 and "1 dose" in refused.get_json()["detail"]
