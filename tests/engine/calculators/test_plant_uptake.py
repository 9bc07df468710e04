import csv
from pathlib import Path
from typing import Any

import pytest

from weirbook.engine.calculators.plant_uptake import PLANT_UPTAKE
from weirbook.engine.relations.plants import UPTAKE
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
GRAM = {"growth_form": "floating", "share": "100 %", "nitrogen": "1 g/d"}


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


def asked(over: dict[str, Any] | None = None, base: Any = PLANT_UPTAKE.example) -> Answer:
    return answer(PLANT_UPTAKE, {**base, **(over or {})})


def value(given: Answer, name: str, unit: str) -> float:
    shown = given.quantity(name, unit)
    assert shown is not None and not isinstance(shown, str), name
    return shown.value


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


@pytest.mark.parametrize("row", rows("plant_nutrient_uptake"), ids=lambda row: row["plant"])
def test_the_area_for_a_gram_a_day_holds_that_of_each_published_plant(row: dict[str, str]) -> None:
    given = [asked({"growth_form": form}, GRAM) for form in row["growth_form"].split("/")]
    lows = [value(one, "area_low", "m2") for one in given]
    highs = [value(one, "area_high", "m2") for one in given]
    assert min(lows) <= 1 / float(row["n_uptake_high_g_per_m2_day"]) * (1 + 1e-9)
    assert max(highs) >= 1 / float(row["n_uptake_low_g_per_m2_day"]) * (1 - 1e-9)


@pytest.mark.parametrize("row", rows("feed_to_ammonia")[:5], ids=lambda row: row["case"])
def test_food_gives_the_published_nitrogen(row: dict[str, str]) -> None:
    given = asked({"feed": f"{row['feed_g_per_day']} g/d", "protein": f"{row['protein_fraction']} 1"})
    assert value(given, "nitrogen_made", "g/d") == pytest.approx(float(row["tan_g_n_per_day"]), rel=1e-3)
    assert value(given, "nitrogen_to_take_up", "g/d") == pytest.approx(
        float(row["tan_g_n_per_day"]) / 2, rel=1e-3
    )


def test_a_floating_mat_measured_lies_within_its_form() -> None:
    # Keizer-Vlek and others 2014, read: 277 mg N/m2/d went, 74 % of it into the iris.
    given = asked({"growth_form": "emergent"}, GRAM)
    for rate in (0.277, 0.277 * 0.74):
        assert value(given, "area_low", "m2") < 1 / rate < value(given, "area_high", "m2")


def test_an_area_worked_by_hand() -> None:
    # 6 g x 0.42 x 0.092 = 231.84 mg; half of it 115.92 mg; / 1602.7 / 0.7 = 0.1033 m2; / 95.9 / 0.7 = 1.727 m2.
    given = asked()
    assert value(given, "nitrogen_made", "mg/d") == pytest.approx(231.84)
    assert value(given, "area_low", "m2") == pytest.approx(0.10333, abs=5e-6)
    assert value(given, "area_high", "m2") == pytest.approx(1.7268, abs=5e-5)
    # 0.6 m2 x 0.7 x 95.9 = 40.28 mg, 17.4 % of what is made.
    assert value(given, "taken_up_low", "mg/d") == pytest.approx(40.278, abs=5e-4)
    assert value(given, "share_low", "%") == pytest.approx(17.373, abs=5e-4)
    # 20 g fresh x 5 % x 1.4 % = 14 mg, x 10 % x 4 % = 80 mg.
    assert value(given, "carried_out_low", "mg/d") == pytest.approx(14)
    assert value(given, "carried_out_high", "mg/d") == pytest.approx(80)


def test_each_form_is_told_beside_the_one_asked() -> None:
    given = asked()
    forms = {row["growth_form"]: row for row in as_json(given)["results"]["forms"]}
    assert set(forms) == set(UPTAKE)
    assert forms["floating"]["area_low"]["value"] == pytest.approx(value(given, "area_low", "m2"))
    assert forms["emergent"]["area_low"]["value"] > forms["floating"]["area_low"]["value"]


def test_the_area_for_a_share_takes_up_that_share() -> None:
    for end in ("low", "high"):
        area = value(asked(), f"area_{end}", "m2")
        again = asked({"area": f"{area} m2"})
        other = "high" if end == "low" else "low"
        assert value(again, f"share_{other}", "%") == pytest.approx(50)


def test_an_own_figure_is_no_range() -> None:
    given = asked({"nitrogen_uptake": "0.2 g/m2/d"}, GRAM)
    assert value(given, "area_low", "m2") == value(given, "area_high", "m2") == pytest.approx(5)
    assert "pond-figures" in codes(given)


@pytest.mark.parametrize(
    "over",
    [
        {"growth_form": "submersed", "feed": "1 oz/d"},
        {"nitrogen": "1 g/d", "cropped": "1 lb/d", "area": "3 ft2"},
        {"nitrogen_uptake": "0.2 g/m2/d", "area": None, "cropped": None},
        {"feed": "0 g/d"},
    ],
)
def test_every_step_can_be_followed(over: dict[str, Any], assert_followed: Any) -> None:
    for one in asked(over).steps:
        assert_followed(one)


@pytest.mark.parametrize(
    ("area", "verdict", "words"),
    [
        ("2 m2", "ok", "there are 2 m2"),
        ("0.6 m2", "watch", "too little for slow"),
        ("0.05 m2", "over", "more than"),
    ],
)
def test_the_verdict_says_whether_there_is_room(area: str, verdict: str, words: str) -> None:
    given = asked({"area": area})
    assert given.values["verdict"] == verdict
    assert words in given.values["why"]


def test_without_an_area_nobody_knows() -> None:
    given = asked({"area": None})
    assert given.values["verdict"] == "unknown"
    assert given.quantity("share_low") is None


def test_care_is_told() -> None:
    always = {"pond-figures", "plant-sap", "plants-bring-along", "invasive-plants", "crop-them"}
    assert codes(asked()) == always
    assert codes(asked({"cover": "90 %"})) == {*always, "full-cover"}
    assert codes(asked({"cover": "90 %", "growth_form": "emergent"})) == always
    assert codes(asked({"growth_form": "submersed"})) == {*always, "guess-submersed"}
    assert codes(asked({"cropped": "20 kg/d"})) == {*always, "crop-too-large"}


@pytest.mark.parametrize(
    ("over", "pointer"),
    [
        ({"growth_form": "moss"}, "/growth_form"),
        ({"share": "0 %"}, "/share"),
        ({"share": "120 %"}, "/share"),
        ({"feed": None}, "/feed"),
        ({"protein": None}, "/protein"),
        ({"nitrogen": "-1 mg/d"}, "/nitrogen"),
        ({"cover": "0 %"}, "/cover"),
        ({"area": "-1 m2"}, "/area"),
        ({"nitrogen_uptake": "0 g/m2/d"}, "/nitrogen_uptake"),
        ({"cropped": "-1 g/d"}, "/cropped"),
    ],
)
def test_what_cannot_be_is_refused(over: dict[str, Any], pointer: str) -> None:
    with pytest.raises(Invalid) as refused:
        asked(over)
    assert pointer in {fault.pointer for fault in refused.value.faults}
