"""Products and their labels: what so much of it raises in so much water."""

from __future__ import annotations

from typing import Any

from harness import Caller, made, on_both_engines, pointers

DROPS: dict[str, Any] = {
    "name": "Nitrate drops",
    "kind": "fertiliser",
    "effects": [
        {"parameter": "nitrate", "effect": "5 mg/L NO3"},
        {"parameter": "potassium", "effect": "3.2 mg/L K"},
    ],
    "volume": "10 mL",
    "treats": "100 L",
}


@on_both_engines
def test_a_label_is_shown_as_it_was_entered(furnished: Caller) -> None:
    drops = made(furnished, "products", DROPS)
    assert drops["effects"][0] == {"parameter": "nitrate", "effect": {"value": 5, "unit": "mg/L NO3"}}
    assert (drops["volume"], drops["mass"]) == ({"value": 10, "unit": "mL"}, None)
    assert furnished.get("/v1/products/nitrate-drops").get_json() == drops
    edited = furnished.patch("/v1/products/nitrate-drops", {"notes": "Opened."}).get_json()
    assert (edited["version"], edited["effects"]) == (2, drops["effects"])


def test_a_product_without_a_label_is_taken(furnished: Caller) -> None:
    bottle = made(furnished, "products", {"name": "Old bottle"})
    assert (bottle["kind"], bottle["effects"], bottle["treats"]) == ("other", None, None)


def test_a_label_that_can_not_be_is_refused_at_the_fault(furnished: Caller) -> None:
    def raises(parameter: str, effect: Any) -> dict[str, Any]:
        return {"effects": [DROPS["effects"][1], {"parameter": parameter, "effect": effect}]}

    for change, at in (
        ({"mass": "1 g"}, ["/volume"]),
        ({"treats": None}, ["/treats", "/effects"]),
        ({"volume": None}, ["/treats", "/effects"]),
        ({"volume": None, "treats": None}, ["/effects"]),
        ({"volume": "0 mL"}, ["/volume"]),
        ({"volume": "10 g"}, ["/volume"]),
        ({"treats": 100}, ["/treats"]),
        ({"kind": "magic"}, ["/kind"]),
        (raises("nitrate", 5), ["/effects/1/effect"]),
        (raises("nitrate", "5 dGH"), ["/effects/1/effect"]),
        (raises("nitrate", "-5 mg/L NO3"), ["/effects/1/effect"]),
        (raises("mood", "5 mg/L"), ["/effects/1/parameter"]),
        (raises("potassium", "5 mg/L K"), ["/effects/1/parameter"]),
        ({"effects": [DROPS["effects"][0]] * 21}, ["/effects"]),
    ):
        assert pointers(furnished.post("/v1/products", {**DROPS, **change})) == at, change
    assert furnished.get("/v1/products").get_json()["items"] == []


def test_an_edit_can_turn_a_label_by_volume_into_one_by_mass(furnished: Caller) -> None:
    made(furnished, "products", DROPS)
    assert pointers(furnished.patch("/v1/products/nitrate-drops", {"mass": "2 g"})) == ["/volume"]
    edited = furnished.patch("/v1/products/nitrate-drops", {"mass": "2 g", "volume": None})
    assert edited.get_json()["mass"] == {"value": 2, "unit": "g"}


@on_both_engines
def test_a_product_that_was_dosed_is_retired_not_deleted(furnished: Caller) -> None:
    made(furnished, "products", DROPS)
    made(furnished, "doses", {"place": "systems/rill", "product": "nitrate-drops", "volume": "5 mL"})
    refused = furnished.delete("/v1/products/nitrate-drops")
    assert refused.status_code == 409 and "1 dose hang" in refused.get_json()["detail"]
    furnished.patch("/v1/products/nitrate-drops", {"retired_at": "2026-06-01T00:00:00Z"})
    again = {"place": "systems/rill", "product": "nitrate-drops", "volume": "5 mL"}
    assert pointers(furnished.post("/v1/doses", again)) == ["/product"]
