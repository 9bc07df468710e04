"""Questions to the record that name another record: a product by its label, a source water by its report. By hand.

The furnished room's system holds 333.75 L. A label of 10 mL for 100 L that raises nitrate by 5 mg/L: from 3 to 8 mg/L
take 10 x 333.75 / 100 = 33.375 mL.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

import pytest
from harness import Caller, made, on_both_engines
from water_scenes import report, water

DOSE = "/v1/systems/rill/answers/dose"
RAISED = {"parameter": "nitrate", "present": "3 mg/L NO3", "wanted": "8 mg/L NO3"}
DROPS: dict[str, Any] = {
    "name": "Nitrate drops",
    "kind": "fertiliser",
    "effects": [{"parameter": "nitrate", "effect": "5 mg/L NO3"}],
    "volume": "10 mL",
    "treats": "100 L",
}


def get(keeper: Caller, path: str, **query: str) -> Any:
    return keeper.get(f"{path}?{urlencode(query)}")


def refused(answered: Any) -> dict[str, str]:
    assert answered.status_code == 422, answered.get_data(as_text=True)
    return {error["pointer"]: error["message"] for error in answered.get_json()["errors"]}


@on_both_engines
def test_a_dose_of_a_recorded_product_goes_by_its_label(furnished: Caller) -> None:
    made(furnished, "products", DROPS)
    asked = {**RAISED, "product": "nitrate-drops"}
    for answered in (get(furnished, DOSE, **asked), furnished.post(DOSE, asked)):
        told = answered.get_json()
        assert told["results"]["liquid_volume"] == {"value": pytest.approx(33.375), "unit": "mL"}
        assert told["results"]["amount"] is None
        assert told["inputs"]["compound"]["value"] == "product"
        assert told["inputs"]["product_effect"] == {
            "value": 5,
            "unit": "mg/L NO3",
            "origin": "record",
            "note": "product nitrate-drops, by its label: 10 mL for 100 L",
        }
        assert told["inputs"]["product_volume"]["value"] == 10
        assert "product_mass" not in told["inputs"]
        assert told["inputs"]["product_treats"]["value"] == 100
    whole = {**RAISED, "compound": "product", "volume": "333.75 L", "product_effect": "5 mg/L NO3"}
    by_hand = {**whole, "product_volume": "10 mL", "product_treats": "100 L"}
    same = furnished.post("/v1/calculators/dose/answer", by_hand).get_json()
    assert same["results"] == get(furnished, DOSE, **asked).get_json()["results"]


def test_what_is_said_goes_before_the_label(furnished: Caller) -> None:
    made(furnished, "products", DROPS)
    told = get(
        furnished, DOSE, **RAISED, product="nitrate-drops", compound="product", product_effect="10 mg/L NO3"
    ).get_json()
    assert told["inputs"]["product_effect"]["origin"] == "given"
    assert told["results"]["liquid_volume"]["value"] == pytest.approx(33.375 / 2)


def test_a_dry_product_is_weighed_and_makes_a_stock(furnished: Caller) -> None:
    made(furnished, "products", {**DROPS, "name": "Powder", "volume": None, "mass": "2 g"})
    told = get(furnished, DOSE, **RAISED, product="powder", stock_strength="20 g/L").get_json()
    assert told["results"]["amount"]["value"] == pytest.approx(2 * 3.3375)
    assert told["results"]["liquid_volume"]["value"] == pytest.approx(2 * 3.3375 / 20 * 1000)


def test_a_product_that_can_not_answer_is_refused_at_the_word_that_names_it(furnished: Caller) -> None:
    made(furnished, "products", DROPS)
    made(furnished, "products", {"name": "Old bottle"})
    unknown = refused(get(furnished, DOSE, **RAISED, product="plant-food"))
    assert unknown == {"/product": "There is no product 'plant-food'. There are: nitrate-drops, old-bottle."}
    silent = {"parameter": "phosphate", "present": "0 mg/L PO4", "wanted": "1 mg/L PO4"}
    words = refused(get(furnished, DOSE, **silent, product="nitrate-drops"))
    assert list(words) == ["/product"] and "says nothing of phosphate, but of nitrate" in words["/product"]
    words = refused(get(furnished, DOSE, **RAISED, product="old-bottle"))
    assert list(words) == ["/product"] and "tells no dose" in words["/product"]
    both = get(furnished, DOSE, **RAISED, product="nitrate-drops", compound="potassium_nitrate")
    assert list(refused(both)) == ["/product"]
    assert "choose the compound 'product'" in refused(both)["/product"]
    assert list(refused(furnished.post(DOSE, {**RAISED, "product": 7}))) == ["/product"]
    without = refused(furnished.post(DOSE, {**RAISED, "product": None}))
    assert list(without) == ["/compound"] and "or name a recorded product" in without["/compound"]


def test_doors_that_keep_no_record_say_to_describe_the_label(furnished: Caller) -> None:
    made(furnished, "products", DROPS)
    asked = {**RAISED, "volume": "100 L", "compound": "product", "product": "nitrate-drops"}
    path = "/v1/calculators/dose/answer"
    for answered in (get(furnished, path, **asked), furnished.post(path, asked)):
        words = refused(answered)["/product"]
        assert "Only a question to the record" in words
        assert "product_effect, product_mass, product_volume, product_treats" in words


def test_the_catalogue_tells_which_records_a_question_can_name(furnished: Caller) -> None:
    for name, words in (("dose", ["product"]), ("dose-recipe", ["water"]), ("turnover", [])):
        page = furnished.get(f"/v1/calculators/{name}").get_json()
        assert [one["name"] for one in page["names"]] == words


def test_dechlorinating_takes_a_recorded_product(furnished: Caller) -> None:
    # 5 mL for 50 L, and 60 L of new water: 6 mL.
    made(furnished, "products", {"name": "Chlorine off", "volume": "5 mL", "treats": "50 L"})
    path = "/v1/systems/rill/answers/dechlorinate"
    told = get(furnished, path, new_water="60 L", chlorine="0.5 mg/L", product="chlorine-off").get_json()
    assert told["results"]["liquid_volume"]["value"] == pytest.approx(6)
    assert told["inputs"]["agent"]["value"] == "product"


def test_a_treatment_takes_a_recorded_product(furnished: Caller) -> None:
    # 4 mL for 40 L in 333.75 L.
    made(furnished, "products", {"name": "Remedy", "volume": "4 mL", "treats": "40 L"})
    path = "/v1/systems/rill/answers/dose-treatment"
    told = get(furnished, path, substance="other", product="remedy").get_json()
    assert told["results"]["liquid_volume"]["value"] == pytest.approx(33.375)
    assert told["inputs"]["product_treats"]["origin"] == "record"
    twice = refused(get(furnished, path, substance="other", product="remedy", label_concentration="2 mg/L"))
    assert twice.keys() == {"/product", "/label_concentration"}


def test_a_schedule_takes_a_recorded_product(furnished: Caller) -> None:
    # 1 mg/L a day: 10 mL x 333.75 / 100 x 1 / 5.
    made(furnished, "products", DROPS)
    asked = {"parameter": "nitrate", "wanted": "10 mg/L NO3", "daily_uptake": "1 mg/L NO3"}
    path = "/v1/systems/rill/answers/dose-schedule"
    told = get(furnished, path, **asked, product="nitrate-drops").get_json()
    assert told["results"]["dose_liquid_volume"]["value"] == pytest.approx(6.675)


RECIPE = "/v1/systems/rill/answers/dose-recipe"


def test_a_recipe_for_a_barrel_starts_from_the_water_that_is_named_and_not_from_the_tanks_tests(
    furnished: Caller,
) -> None:
    for parameter, value, unit in (("nitrate", 35, "mg/L NO3"), ("alkalinity", 5, "dKH")):
        row = {"place": "tanks/nursery", "parameter": parameter, "value": value, "unit": unit}
        assert furnished.post("/v1/readings", row).status_code == 200
    water(furnished, "ro", "reverse_osmosis", nitrate="1 mg/L NO3", alkalinity="0 dKH")
    report(furnished, "ro", "2026-06-01", nitrate="2 mg/L NO3")
    asked = {"volume": "60 L", "wanted_alkalinity": "4 dKH", "wanted_potassium": "10 mg/L K"}
    tank = get(furnished, RECIPE, volume="60 L", wanted_alkalinity="6 dKH").get_json()
    assert tank["results"]["nitrate_after"]["value"] == 35
    for answered in (
        get(furnished, RECIPE, **asked, water="ro"),
        furnished.post(RECIPE, {**asked, "water": "ro"}),
    ):
        told = answered.get_json()
        assert told["results"]["nitrate_after"] == {"value": 2, "unit": "mg/L NO3"}
        assert told["results"]["alkalinity_after"]["value"] == pytest.approx(4)
        assert told["inputs"]["nitrate"]["note"] == "water ro, report of 2026-06-01"
        assert told["inputs"]["animals"]["value"] is False
        assert told["results"]["days"] == 1
        codes = {one["code"]: one["text"] for one in told["cautions"]}
        assert "potassium" in codes["present-not-told"]
        assert not codes.keys() & {"ammonia", "spread-over-days"}
    then = get(furnished, RECIPE, **asked, water="ro", at="2026-05-01T12:00:00Z").get_json()
    assert then["results"]["nitrate_after"]["value"] == 1


def test_a_recipe_for_a_named_water_must_be_told_how_much_and_which(furnished: Caller) -> None:
    water(furnished, "ro", "reverse_osmosis", alkalinity="3 dKH")
    words = refused(get(furnished, RECIPE, wanted_alkalinity="4 dKH", water="ro"))
    assert list(words) == ["/volume"] and "volume=100 L" in words["/volume"]
    words = refused(get(furnished, RECIPE, volume="60 L", wanted_alkalinity="4 dKH", water="rain"))
    assert words == {"/water": "There is no source water 'rain'. There are: ro."}
    low = refused(get(furnished, RECIPE, volume="60 L", wanted_alkalinity="2 dKH", water="ro"))
    assert low.keys() == {"/wanted_alkalinity"}
    over = get(furnished, RECIPE, volume="60 L", wanted_alkalinity="2 dKH", water="ro", alkalinity="1 dKH")
    assert over.get_json()["inputs"]["alkalinity"]["origin"] == "given"
