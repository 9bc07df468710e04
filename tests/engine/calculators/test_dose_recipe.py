import csv
import math
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings
from phreeqpython import PhreeqPython

from weirbook.engine.calculators.dose_recipe import DOSE_RECIPE
from weirbook.engine.calculators.recipe_inputs import SALTS, USUAL
from weirbook.engine.relations.chemistry import IONS
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

FEW = settings(max_examples=50)
"""Whole answers take a while; the relations below them are tried more often."""
PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
WORDS = {one.formula: word for word, one in SALTS.items()}
WANTED = {
    "dkh": ("alkalinity", "dKH"),
    "dgh": ("hardness", "dGH"),
    "mg_no3_per_l": ("nitrate", "mg/L NO3"),
    "mg_po4_per_l": ("phosphate", "mg/L PO4"),
    "mg_k_per_l": ("potassium", "mg/L K"),
    "mg_ca_per_l": ("calcium", "mg/L"),
    "mg_mg_per_l": ("magnesium", "mg/L"),
}
BY_NAME = {
    "na": "sodium",
    "k": "potassium",
    "ca": "calcium",
    "mg": "magnesium",
    "cl": "chloride",
    "so4": "sulfate",
}
EXAMPLE = DOSE_RECIPE.example
BARE = {"volume": "200 L"}


def rows(name: str, target: str) -> list[dict[str, str]]:
    """Rows of salts that a recipe mixes and of targets that it takes."""
    found = csv.DictReader((PUBLISHED / f"{name}.csv").open())
    return [row for row in found if row["salt"] in WORDS and row[target] in WANTED]


def alone(row: dict[str, str], target: str, wanted: str, **more: Any) -> Answer:
    """A recipe of one salt toward one value."""
    parameter, unit = WANTED[target]
    salt = {"compound": WORDS[row["salt"]], "purity": f"{row.get('purity_fraction', '1')} 1"}
    return answer(
        DOSE_RECIPE, {"volume": "100 L", f"wanted_{parameter}": f"{wanted} {unit}", "salts": [salt], **more}
    )


def asked(**more: Any) -> Answer:
    return answer(DOSE_RECIPE, {**BARE, **more})


def salts(*words: str) -> list[dict[str, str]]:
    return [{"compound": word} for word in words]


def grams(found: Answer) -> dict[str, float]:
    names = {SALTS[word].called: word for word in SALTS}
    return {names[row["compound"]]: row["amount"]["value"] for row in as_json(found)["results"]["salts"]}


def outcomes(found: Answer) -> dict[str, dict[str, Any]]:
    return {row["target"]: row for row in found.values["targets"]}


def ions(found: Answer) -> dict[str, dict[str, Any]]:
    return {row["ion"]: row for row in found.values["ions"]}


def codes(found: Answer) -> set[str]:
    return {one.code for one in found.cautions}


def refusal(**told: Any) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        asked(**told)
    return {fault.pointer: fault.message for fault in refused.value.faults}


@pytest.mark.parametrize(
    "row",
    rows("salt_dose_factors", "target_unit_rise_of_1"),
    ids=lambda row: f"{row['salt']}-{row['target_unit_rise_of_1']}",
)
def test_one_salt_toward_one_value_takes_the_published_factor(row: dict[str, str]) -> None:
    found = alone(row, row["target_unit_rise_of_1"], "1")
    a_litre = as_json(found)["results"]["salts"][0]["per_litre"]
    assert a_litre["unit"] == "mg/L"
    assert a_litre["value"] == pytest.approx(float(row["mg_salt_per_l"]), abs=5e-5)


@pytest.mark.parametrize(
    "row", rows("salt_dose_cases", "target"), ids=lambda row: f"{row['salt']}-{row['volume_l']}"
)
def test_volume_and_purity_count_as_published(row: dict[str, str]) -> None:
    found = alone(row, row["target"], row["rise"], volume=f"{row['volume_l']} L")
    assert found.quantity("amount", "g").value == pytest.approx(float(row["dose_g"]), abs=5e-5)


@pytest.mark.parametrize(
    "row", rows("salt_side_ions", "per_unit_rise_of"), ids=lambda row: f"{row['salt']}-{row['also_adds']}"
)
def test_ions_come_along_as_published(row: dict[str, str]) -> None:
    found = as_json(alone(row, row["per_unit_rise_of"], "1"))["results"]
    ion = BY_NAME[row["also_adds"].split("_")[1]]
    rise = {one["ion"]: one["rise"]["value"] for one in found["ions"]}[ion]
    assert rise == pytest.approx(float(row["amount"]), abs=5e-6 if rise < 10 else 5e-5)
    if ion in ("sodium", "chloride", "sulfate"):
        assert found[f"{ion}_rise"]["value"] == rise


def test_the_example_is_what_a_keeper_works_out_by_hand() -> None:
    # 6 dGH = 6 x 10 / 56.077 = 1.06996 mmol/L; 3 : 1 by mass is 3 x 24.305 / 40.078 = 1.81933 : 1 by number, so that
    # magnesium is 1.06996 / 2.81933 = 0.379508 and calcium 0.690449 mmol/L. Potassium 10 / 39.0983 = 0.255766.
    # Magnesium sulfate 0.379508 x 246.466 x 0.1 = 9.3536 g; calcium chloride 0.690449 x 147.008 x 0.1 / 0.77 = 13.182 g;
    # bicarbonate 4 x 20 / 56.077 = 1.426610 meq/L, of which potassium's 0.255766 (x 100.1143 x 0.1 = 2.5606 g) and
    # sodium's 1.170844 (x 84.0058 x 0.1 = 9.8358 g).
    found = answer(DOSE_RECIPE, EXAMPLE)
    assert grams(found) == pytest.approx(
        {
            "magnesium_sulfate_heptahydrate": 9.3536,
            "sodium_bicarbonate": 9.8358,
            "potassium_bicarbonate": 2.5606,
            "calcium_chloride_dihydrate": 13.182,
        },
        abs=6e-4,
    )
    assert found.values["verdict"] == "ok"
    assert found.quantity("calcium_to_magnesium").value == pytest.approx(3, rel=1e-9)
    assert found.quantity("sodium_rise").value == pytest.approx(1.170844 * 22.98977, rel=1e-5)
    assert found.quantity("sulfate_rise").value == pytest.approx(0.379508 * 96.056, rel=1e-5)
    assert found.values["days"] == 3  # 4 / 1.5 and 6 / 2


def test_salts_stand_in_the_order_to_dissolve_them() -> None:
    found = asked(
        wanted_alkalinity="4 dKH",
        wanted_calcium="40 mg/L",
        wanted_potassium="10 mg/L K",
        wanted_magnesium="5 mg/L",
        salts=salts(
            "calcium_sulfate_dihydrate",
            "sodium_bicarbonate",
            "potassium_chloride",
            "magnesium_sulfate_heptahydrate",
            "sodium_chloride",
        ),
    )
    first, *middle, last = [row["compound"] for row in found.values["salts"]]
    assert first == "calcium sulfate dihydrate (gypsum)"
    assert set(middle) == {"potassium chloride", "magnesium sulfate heptahydrate (Epsom salt)"}
    assert last == "sodium bicarbonate (baking soda)"
    assert found.values["why"].endswith("Not needed: sodium chloride.")
    chloride = asked(wanted_hardness="6 dGH", wanted_alkalinity="3 dKH")
    assert "Not needed" not in chloride.values["why"]
    used = [row["compound"] for row in chloride.values["salts"]]
    assert used[-1] == "calcium chloride dihydrate"


WATER = PhreeqPython()
EQUIVALENTS = (("HCO3", 1), ("CO3", 2), ("OH", 1))


def equivalents(species: str) -> int:
    """Alkalinity of one particle of a dissolved species, by its name."""
    if species == "H+":
        return -1
    found = re.search(r"HCO3|CO3|OH", species)
    return dict(EQUIVALENTS)[found[0]] if found else 0


def test_the_finished_water_holds_what_a_chemical_equilibrium_model_finds_in_it() -> None:
    """PHREEQC dissolves the salts of the example: totals of elements, and alkalinity summed over its species."""
    found = answer(DOSE_RECIPE, EXAMPLE)
    plain = {
        "sodium_bicarbonate": "NaHCO3",
        "potassium_bicarbonate": "KHCO3",
        "calcium_chloride_dihydrate": "CaCl2",
        "magnesium_sulfate_heptahydrate": "MgSO4",
    }
    water = WATER.add_solution({})
    for word, mass in grams(found).items():
        purity = 0.77 if word == "calcium_chloride_dihydrate" else 1.0
        water.add(plain[word], mass * purity / SALTS[word].molar_mass / 1000 / 100 * 1000)
    for name, element in (("calcium", "Ca"), ("magnesium", "Mg")):
        in_mmol = found.quantity(f"{name}_after", "mg/L").value / (1000 * IONS[element].molar_mass)
        assert water.total_element(element) == pytest.approx(in_mmol, rel=1e-4)
    assert water.total_element("K") == pytest.approx(
        found.quantity("potassium_after", "mmol/L").value, rel=1e-4
    )
    alkalinity = 1000 * math.fsum(amount * equivalents(name) for name, amount in water.species.items())
    # The model's kilogram of water and our litre differ by less than 1 part in 1000.
    assert alkalinity == pytest.approx(found.quantity("alkalinity_after", "meq/L").value, rel=1e-3)


def test_what_no_salt_brings_is_said_outright_with_what_would_help() -> None:
    found = asked(wanted_alkalinity="4 dKH", wanted_potassium="10 mg/L K", salts=salts("sodium_bicarbonate"))
    told = outcomes(found)
    assert found.values["verdict"] == "over"
    assert told["alkalinity"]["state"] == "reached"
    assert told["potassium"]["state"] == "short"
    assert "none of the salts brings potassium" in told["potassium"]["why"]
    assert "potassium_sulfate" in told["potassium"]["why"] or "potassium_chloride" in told["potassium"]["why"]
    assert "potassium (short)" in found.values["why"]
    assert "not-reached" in codes(found)


def test_salts_that_tie_two_values_together_are_named() -> None:
    found = asked(
        wanted_nitrate="10 mg/L NO3",
        wanted_calcium="40 mg/L",
        salts=salts("calcium_nitrate_tetrahydrate"),
    )
    told = outcomes(found)
    assert (told["calcium"]["state"], told["nitrate"]["state"]) == ("short", "over")
    assert "calcium nitrate tetrahydrate can't bring calcium without nitrate" in told["calcium"]["why"]
    assert "comes along with calcium, out of calcium nitrate tetrahydrate" in told["nitrate"]["why"]
    assert "calcium_chloride" in told["calcium"]["why"]
    # By hand, x mmol/L of salt: minimise (2 x 62.004 x / 10 - 1)^2 + (40.078 x / 40 - 1)^2.
    a, b = 2 * 62.004 / 10, 40.078 / 40
    x = (a + b) / (a * a + b * b)
    assert found.quantity("nitrate_after").value == pytest.approx(10 * a * x, rel=1e-6)
    helped = asked(
        wanted_nitrate="10 mg/L NO3",
        wanted_calcium="40 mg/L",
        salts=salts("calcium_nitrate_tetrahydrate", "calcium_chloride"),
    )
    assert helped.values["verdict"] == "ok"


def test_half_a_gram_is_what_a_scale_still_weighs() -> None:
    # 1 mg/L of phosphate takes 1.4329 mg of salt to a litre: 0.5 g in 348.9 L.
    for volume, told in (("345 L", True), ("353 L", False)):
        found = asked(volume=volume, wanted_phosphate="1 mg/L PO4")
        assert ("too-little-to-weigh" in codes(found)) is told


def test_a_miss_of_up_to_a_twentieth_is_watched() -> None:
    # One mmol of KNO3 brings one of each: 62.004 mg of nitrate to 39.0983 mg of potassium.
    found = asked(
        wanted_nitrate="10 mg/L NO3",
        wanted_potassium=f"{10 * 39.0983 / 62.004 * 1.06} mg/L K",
        salts=salts("potassium_nitrate"),
    )
    assert found.values["verdict"] == "watch"
    assert {row["state"] for row in found.values["targets"]} == {"short", "over"}


def test_calcium_and_magnesium_of_the_present_water_follow_from_two_of_three() -> None:
    # 6 dGH are 1.06996 mmol/L; 30 mg/L of calcium 0.748540: the rest, 0.321416, is 7.8120 mg/L of magnesium.
    told = {"hardness": "6 dGH", "wanted_alkalinity": "2 dKH"}
    assert asked(**told, calcium="30 mg/L").quantity("magnesium_after").value == pytest.approx(
        7.812, abs=5e-4
    )
    assert asked(**told, magnesium="7.812 mg/L").quantity("calcium_after").value == pytest.approx(
        30, abs=2e-3
    )
    both = asked(calcium="30 mg/L", magnesium="7.812 mg/L", wanted_alkalinity="2 dKH")
    assert both.quantity("hardness_after").value == pytest.approx(6, abs=1e-4)
    assert asked(**told).quantity("calcium_after") is None
    assert asked(wanted_alkalinity="2 dKH").quantity("calcium_after").value == 0
    off = asked(**told, calcium="40 mg/L", magnesium="10 mg/L")
    assert "tests-disagree" in codes(off)
    assert "tests-disagree" not in codes(asked(**told, calcium="30 mg/L", magnesium="8 mg/L"))


def test_tests_may_differ_by_a_tenth_and_wanted_values_by_a_hundredth() -> None:
    # 6 dGH are 1.06996 mmol/L; 30 mg/L of calcium 0.74854, 10.6 and 10.9 of magnesium 0.43612 and 0.44847: sums of 1.1847
    # and 1.1970, of which a tenth is 0.118 and 0.120, against 0.115 and 0.127.
    told = {"hardness": "6 dGH", "calcium": "30 mg/L", "wanted_alkalinity": "2 dKH"}
    assert "tests-disagree" not in codes(asked(**told, magnesium="10.6 mg/L"))
    assert "tests-disagree" in codes(asked(**told, magnesium="10.9 mg/L"))
    # A tenth more than 1.06996 is 1.17696 mmol/L, 47.17 mg/L of calcium; a hundredth more 1.08066, 43.31 mg/L.
    assert asked(**{**told, "calcium": "46.5 mg/L"}).quantity("magnesium_after").value == 0
    assert refusal(**{**told, "calcium": "47.8 mg/L"}).keys() == {"/calcium"}
    assert asked(wanted_hardness="6 dGH", wanted_calcium="43.2 mg/L").values["verdict"] != "over"
    assert refusal(wanted_hardness="6 dGH", wanted_calcium="43.5 mg/L").keys() == {"/wanted_hardness"}


def test_the_present_water_counts_toward_what_is_wanted() -> None:
    found = asked(
        alkalinity="3 dKH", wanted_alkalinity="5 dKH", potassium="4 mg/L K", wanted_potassium="10 mg/L K"
    )
    # 6 mg/L of potassium is 0.153459 mmol/L; 2 dKH 0.713305 meq/L.
    assert ions(found)["potassium"]["after"] * 1000 == pytest.approx(10, rel=1e-9)
    assert ions(found)["potassium"]["rise"] * 1000 == pytest.approx(6, rel=1e-9)
    assert found.quantity("alkalinity_after").value == pytest.approx(5, rel=1e-9)
    assert ions(found)["sodium"]["after"] is None
    pure = asked(wanted_alkalinity="2 dKH")
    assert ions(pure)["sodium"]["after"] == ions(pure)["sodium"]["rise"]


def test_a_value_of_which_nothing_is_told_is_cautioned_about() -> None:
    assert "present-not-told" in codes(asked(wanted_alkalinity="2 dKH"))
    assert "present-not-told" not in codes(asked(wanted_alkalinity="2 dKH", alkalinity="0 dKH"))
    ratio = {"wanted_hardness": "6 dGH", "wanted_ratio": 3}
    assert "present-not-told" in codes(asked(**ratio, calcium="0 mg/L"))
    assert "present-not-told" not in codes(asked(**ratio, hardness="0 dGH"))
    assert "present-not-told" not in codes(asked(**ratio, calcium="0 mg/L", magnesium="0 mg/L"))


def test_without_salts_told_the_usual_ones_are_taken() -> None:
    found = asked(wanted_alkalinity="4 dKH", wanted_phosphate="0.5 mg/L PO4")
    assert {*grams(found)} <= {*USUAL}
    assert any("usually at hand" in one.text for one in found.assumptions)
    assert grams(found)["monopotassium_phosphate"] == pytest.approx(0.5 * 1.4329 * 0.2, rel=1e-4)
    assert {"two-forms", "feeds-algae", "too-little-to-weigh", "ammonia"} <= codes(found)


def test_water_in_which_nothing_lives_is_made_up_at_once_and_without_words_for_a_tank() -> None:
    told = {"wanted_alkalinity": "4 dKH", "wanted_hardness": "6 dGH", "wanted_phosphate": "1 mg/L PO4"}
    tank, barrel = asked(**told), asked(**told, animals=False)
    assert grams(barrel) == grams(tank)
    assert (tank.values["days"], barrel.values["days"]) == (3, 1)
    assert codes(tank) - codes(barrel) == {"ammonia", "feeds-algae", "spread-over-days"}
    assert any("builds up with every dose" in one.text for one in tank.cautions)
    assert not any("dose" in one.text for one in barrel.cautions if one.code.startswith("brings-"))
    assert asked(alkalinity="4 dKH", wanted_alkalinity="4 dKH", animals=False).values["days"] == 0


def test_a_value_beyond_what_is_usual_is_doubted() -> None:
    assert "more-than-usual" in codes(asked(wanted_alkalinity="60 dKH"))
    assert "more-than-usual" not in codes(asked(wanted_alkalinity="20 dKH"))


def test_steps_derive_each_amount_that_the_wanted_values_decide() -> None:
    # 5 mg/L of potassium are 5 / 39.0983 = 0.127883 mmol/L of its bicarbonate; 4 dKH are 4 x 20 / 56.077 = 1.426610 meq/L,
    # of which 1.298727 are left to baking soda.
    found = asked(
        wanted_potassium="5 mg/L K",
        wanted_alkalinity="4 dKH",
        salts=salts("sodium_bicarbonate", "potassium_bicarbonate"),
    )
    first, then = [one for one in found.steps if one.words.startswith("mmol/L of")]
    assert first.working == "5 mg/L K ÷ 39.0983"
    assert (first.value, then.value) == (pytest.approx(0.127883, abs=5e-7), pytest.approx(1.298727, abs=5e-6))
    assert then.words.startswith("mmol/L of sodium bicarbonate (baking soda), which alkalinity decides = ")
    assert then.words.endswith("− potassium bicarbonate")


def test_what_no_single_value_decides_is_told_as_the_fit_has_it() -> None:
    found = asked(
        wanted_nitrate="10 mg/L NO3",
        wanted_potassium="20 mg/L K",
        salts=salts("potassium_nitrate"),
    )
    (only,) = [one for one in found.steps if one.words.startswith("mmol/L of")]
    assert "as the fit to all wanted values has it" in only.words


def test_days_follow_from_the_keepers_own_limits() -> None:
    told = {"wanted_alkalinity": "4 dKH", "wanted_hardness": "6 dGH"}
    assert asked(**told).values["days"] == 3
    assert asked(**told, hardness_a_day="1 dGH").values["days"] == 6
    assert asked(**told, alkalinity_a_day="0.5 dKH").values["days"] == 8
    assert asked(**told, alkalinity_a_day="9 dKH", hardness_a_day="6 dGH").values["days"] == 1
    found = asked(**told)
    for row in found.values["salts"]:
        assert row["daily_amount"] * 3 == pytest.approx(row["amount"])


def test_nothing_is_weighed_where_all_is_reached_already() -> None:
    found = asked(wanted_alkalinity="2 dKH", alkalinity="2 dKH")
    assert (found.values["amount"], found.values["days"], found.values["verdict"]) == (0, 0, "ok")
    assert "nothing-to-dose" in codes(found)


def test_more_gypsum_than_water_dissolves_is_cautioned_about() -> None:
    # 3.07 g/L of gypsum for 100 dGH; 2.6 g/L dissolve.
    told = {"wanted_hardness": "100 dGH", "salts": salts("calcium_sulfate_dihydrate")}
    assert "may-not-dissolve" in codes(asked(**told))
    assert "may-not-dissolve" not in codes(asked(**{**told, "wanted_hardness": "80 dGH"}))


@pytest.mark.parametrize(
    ("told", "pointers"),
    [
        ({}, {"/wanted_alkalinity"}),
        ({"wanted_ratio": 3}, {"/wanted_ratio"}),
        ({"wanted_ratio": 0, "wanted_hardness": "6 dGH"}, {"/wanted_ratio"}),
        ({"wanted_ratio": 3, "wanted_hardness": "6 dGH", "wanted_calcium": "20 mg/L"}, {"/wanted_calcium"}),
        ({"wanted_hardness": "6 dGH", "wanted_calcium": "60 mg/L"}, {"/wanted_hardness"}),
        (
            {"wanted_hardness": "6 dGH", "wanted_calcium": "20 mg/L", "wanted_magnesium": "5 mg/L"},
            {"/wanted_hardness"},
        ),
        ({"hardness": "5 dGH", "wanted_calcium": "60 mg/L"}, {"/calcium"}),
        ({"hardness": "5 dGH", "calcium": "80 mg/L", "wanted_alkalinity": "2 dKH"}, {"/calcium"}),
        ({"hardness": "5 dGH", "magnesium": "80 mg/L", "wanted_alkalinity": "2 dKH"}, {"/magnesium"}),
        ({"wanted_alkalinity": "0 dKH"}, {"/wanted_alkalinity"}),
        ({"wanted_alkalinity": "4 dGH"}, {"/wanted_alkalinity"}),
        ({"wanted_nitrate": "4 mg/L"}, {"/wanted_nitrate"}),
        ({"wanted_alkalinity": "4 dKH", "alkalinity": "-1 dKH"}, {"/alkalinity"}),
        ({"wanted_alkalinity": "4 dKH", "volume": "0 L"}, {"/volume"}),
        ({"wanted_alkalinity": "4 dKH", "salts": [{"compound": "ammonium_chloride"}]}, {"/salts/0/compound"}),
        (
            {"wanted_alkalinity": "4 dKH", "salts": [{"compound": "potassium_nitrate", "purity": "0 %"}]},
            {"/salts/0/purity"},
        ),
        ({"wanted_alkalinity": "4 dKH", "salts": salts(*["sodium_bicarbonate"] * 2)}, {"/salts/1/compound"}),
        ({"wanted_alkalinity": "4 dKH", "alkalinity_a_day": "0.001 dKH"}, {"/alkalinity_a_day"}),
    ],
)
def test_what_can_not_be_is_refused_at_its_place(told: dict[str, Any], pointers: set[str]) -> None:
    assert refusal(**told).keys() == pointers


def test_values_below_the_present_are_left_to_a_water_change_all_at_once() -> None:
    told = refusal(
        alkalinity="5 dKH",
        wanted_alkalinity="2 dKH",
        calcium="30 mg/L",
        wanted_hardness="5 dGH",
        wanted_ratio=1,
    )
    assert told.keys() == {"/wanted_alkalinity", "/wanted_ratio"}
    assert all("only a water change lowers it" in words for words in told.values())
