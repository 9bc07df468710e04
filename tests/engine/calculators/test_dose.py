import csv
import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from weirbook.engine.calculators.dose import DOSE
from weirbook.engine.relations.chemistry import COMPOUNDS, DOSED, IONS, carried
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.engine.units import KINDS, from_si, to_si
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
WORDS = {one.formula: word for word, one in COMPOUNDS.items()}
TARGETS = {
    "dkh": ("alkalinity", "dKH"),
    "dgh": ("hardness", "dGH"),
    "mg_no3_per_l": ("nitrate", "mg/L NO3"),
    "mg_po4_per_l": ("phosphate", "mg/L PO4"),
    "mg_k_per_l": ("potassium", "mg/L K"),
    "mg_ca_per_l": ("calcium", "mg/L"),
    "mg_mg_per_l": ("magnesium", "mg/L"),
    "mg_cl_per_l": ("chloride", "mg/L"),
    "mg_nh3_n_per_l": ("total_ammonia", "mg/L NH3-N"),
}
IONS_OF = {
    "k": "potassium",
    "na": "sodium",
    "ca": "calcium",
    "cl": "chloride",
    "mg": "magnesium",
    "so4": "sulfate",
}
ASKED = {**DOSE.example, "stock_strength": None}
LIQUID = {
    "parameter": "potassium",
    "volume": "400 L",
    "present": "5 mg/L K",
    "wanted": "10 mg/L K",
    "compound": "product",
    "product_effect": "2 mg/L K",
    "product_volume": "5 mL",
    "product_treats": "100 L",
}


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


def asked(row: dict[str, str], target: str, rise: str, volume: str, **more: str) -> Answer:
    parameter, unit = TARGETS[target]
    told = {
        "parameter": parameter,
        "present": f"0 {unit}",
        "wanted": f"{rise} {unit}",
        "volume": volume,
        "compound": WORDS[row["salt"]],
        **more,
    }
    return answer(DOSE, told)


def refusal(told: dict[str, Any]) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        answer(DOSE, told)
    return {fault.pointer: fault.message for fault in refused.value.faults}


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


@pytest.mark.parametrize("row", rows("salt_dose_cases"), ids=lambda row: row["salt"])
def test_every_compound_is_weighed_out_as_published(row: dict[str, str]) -> None:
    given = asked(
        row, row["target"], row["rise"], f"{row['volume_l']} L", purity=f"{row['purity_fraction']} 1"
    )
    assert given.quantity("amount", "g").value == pytest.approx(float(row["dose_g"]), abs=5e-5)


@pytest.mark.parametrize("row", rows("salt_dose_factors"), ids=lambda row: row["salt"])
def test_a_thousand_litres_take_the_published_factor_in_grams(row: dict[str, str]) -> None:
    given = asked(row, row["target_unit_rise_of_1"], "1", "1000 L")
    assert given.quantity("amount", "g").value == pytest.approx(float(row["mg_salt_per_l"]), abs=5e-5)


@pytest.mark.parametrize("row", rows("salt_side_ions"), ids=lambda row: f"{row['salt']}-{row['also_adds']}")
def test_what_a_compound_brings_besides_is_as_published(row: dict[str, str]) -> None:
    given = asked(row, row["per_unit_rise_of"], "1", "100 L")
    ion = IONS_OF[row["also_adds"].split("_")[1]]
    added = {one["ion"]: one["rise"]["value"] for one in as_json(given)["results"]["ions_added"]}
    assert added[ion] == pytest.approx(float(row["amount"]), abs=5e-6 if added[ion] < 10 else 5e-5)


@pytest.mark.parametrize("row", rows("stock_solution_dosing"), ids=lambda row: row["salt"])
def test_a_rise_takes_the_published_volume_of_stock(row: dict[str, str]) -> None:
    given = asked(
        row,
        row["target"],
        row["resulting_rise"],
        f"{row['tank_volume_l']} L",
        stock_strength=f"{row['stock_g_per_l']} g/L",
    )
    assert given.quantity("liquid_volume", "mL").value == pytest.approx(float(row["dose_ml"]), rel=1.5e-5)


@pytest.mark.parametrize("row", rows("sodium_bicarbonate_addition"), ids=lambda row: row["end_dkh"])
def test_bicarbonate_is_dosed_as_a_chemical_equilibrium_model_takes_it_up(row: dict[str, str]) -> None:
    told = {
        **ASKED,
        "volume": "1000 L",
        "present": f"{row['start_dkh']} dKH",
        "wanted": f"{row['end_dkh']} dKH",
    }
    rise = float(row["end_dkh"]) - float(row["start_dkh"])
    added = float(row["nahco3_added_mg_per_l"])
    # The file's own tolerance, 0.1 % of the alkalinity reached.
    slack = added * 1e-3 * float(row["end_dkh"]) / rise
    assert answer(DOSE, told).quantity("amount", "g").value == pytest.approx(added, abs=slack)


@pytest.mark.parametrize("row", rows("mgl_to_g_per_us_gallon"), ids=lambda row: row["dose_g"])
def test_us_gallons_and_milligrams_a_litre_give_the_published_grams(row: dict[str, str]) -> None:
    told = {
        "parameter": "salt",
        "compound": "sodium_chloride",
        "volume": f"{row['volume_us_gal']} gal",
        "present": "0 mg/L",
        "wanted": f"{row['dose_mg_per_l']} mg/L",
    }
    assert answer(DOSE, told).quantity("amount", "g").value == pytest.approx(float(row["dose_g"]), abs=5.1e-6)


VOLUMES = {
    "us_gal": "1 gal",
    "imp_gal": "1 gal_imp",
    "ft3": "1 ft3",
    "m3": "1 m3",
    "acre_ft": "43560 ft3",  # by definition
    "million_us_gal": "1000000 gal",
    "10_us_gal": "10 gal",
    "100_us_gal": "100 gal",
}
MASSES = {"g": "g", "lb": "lb", "grain": "gr", "oz": "oz"}
STRENGTHS = {"1 mg/L": "1 mg/L", "1 percent solution": "10 g/L", "1 g/L (1 ppt)": "1 g/L"}
CONVERSIONS = [row for row in rows("dose_unit_conversions") if "_per_" in row["unit"]]


@pytest.mark.parametrize("row", CONVERSIONS, ids=lambda row: row["quantity"])
def test_a_strength_in_a_volume_weighs_what_conversion_tables_say(row: dict[str, str]) -> None:
    mass, _, volume = row["unit"].partition("_per_")
    strength = next(ours for theirs, ours in STRENGTHS.items() if row["quantity"].startswith(theirs))
    told = {
        "parameter": "salt",
        "compound": "sodium_chloride",
        "present": "0 g/L",
        "wanted": strength,
        "volume": VOLUMES[volume],
    }
    weighed = answer(DOSE, told).quantity("amount", MASSES[mass]).value
    assert weighed == pytest.approx(float(row["exact_value"]), rel=1e-5)
    if row["published_value"]:
        assert weighed == pytest.approx(float(row["published_value"]), rel=0.01)


def test_gallons_and_cubic_feet_are_those_of_the_conversion_tables() -> None:
    exact = {row["quantity"]: float(row["exact_value"]) for row in rows("dose_unit_conversions")}
    assert to_si(1, "gal", "volume") == pytest.approx(exact["1 US gallon"] / 1000, rel=1e-12)
    assert to_si(1, "ft3", "volume") == pytest.approx(exact["1 cubic foot in litres"] / 1000, rel=1e-12)
    in_gallons = from_si(to_si(1, "ft3", "volume"), "gal", "volume")
    assert in_gallons == pytest.approx(exact["1 cubic foot in US gallons"], abs=5e-7)


def test_bicarbonate_over_three_days_follows_from_its_steps_one_after_another(assert_followed) -> None:
    given = answer(DOSE, DOSE.example)
    for one in given.steps:
        assert_followed(one)
    shown = [(step["words"].split(" = ")[0], step["gives"]["value"]) for step in as_json(given)["steps"]]
    # By hand: 3 dKH x 20 / 56.077 = 1.06996 meq/L; x 84.0058 g/mol x 450 L / 1000 = 40.447 g; / 3; / 60 g/L.
    assert dict(shown)["rise of alkalinity"] == 3
    assert dict(shown)["rise in meq/L"] == pytest.approx(3 * 20 / 56.077, rel=1e-5)
    assert dict(shown)["sodium bicarbonate in all, in g"] == pytest.approx(40.447, abs=5e-4)
    assert dict(shown)["each day, in g"] == pytest.approx(13.482, abs=5e-4)
    assert dict(shown)["stock each day, in mL"] == pytest.approx(224.71, abs=5e-3)


def test_the_schedule_says_each_days_dose_and_the_value_after_it() -> None:
    results = as_json(answer(DOSE, DOSE.example))["results"]
    assert results["days"] == 3
    assert [row["day"] for row in results["schedule"]] == [1, 2, 3]
    assert [row["value_after"] for row in results["schedule"]] == [
        {"value": value, "unit": "dKH"} for value in (5, 6, 7)
    ]
    assert {row["amount"]["value"] for row in results["schedule"]} == {results["daily_amount"]["value"]}


@pytest.mark.parametrize(
    ("present", "wanted", "largest", "days"),
    [
        ("4 dKH", "7 dKH", "1 dKH", 3),
        ("4 dKH", "7 dKH", "17.848 mg/L CaCO3", 3),
        ("4 dKH", "4.3 dKH", "0.1 dKH", 3),
        ("4 dKH", "7 dKH", "0.9 dKH", 4),
        ("4 dKH", "7 dKH", "5 dKH", 1),
        ("4 dKH", "7 dKH", "3 dKH", 1),
        ("1.1 meq/L", "2.2 meq/L", "0.55 meq/L", 2),
        ("1 meq/L", "1.3 meq/L", "0.1 meq/L", 3),  # 3.0000000000000004 in floats, as in the next
        ("1 dKH", "2.2 dKH", "0.3 dKH", 4),
    ],
)
def test_days_are_rounded_up_but_not_for_the_last_digit_of_a_float(
    present: str, wanted: str, largest: str, days: int
) -> None:
    told = {**ASKED, "present": present, "wanted": wanted, "largest_daily_change": largest}
    assert answer(DOSE, told).values["days"] == days


def test_without_a_largest_change_all_goes_in_at_once_with_a_word_of_care() -> None:
    told = {**ASKED, "largest_daily_change": None}
    given = answer(DOSE, told)
    assert given.values["days"] == 1
    assert given.values["daily_amount"] == given.values["amount"]
    assert "all-at-once" in codes(given)
    assert "all-at-once" not in codes(answer(DOSE, ASKED))


# 7 dKH are 7 x 10 mg/L CaO, x 100.086 / 56.077 as CaCO3.
@pytest.mark.parametrize("present", ["7 dKH", {"value": 70 * 100.086 / 56.077, "unit": "mg/L CaCO3"}])
def test_a_value_already_reached_takes_nothing(present: object) -> None:
    given = answer(DOSE, {**DOSE.example, "present": present})
    assert (given.values["amount"], given.values["days"], given.values["schedule"]) == (0, 0, [])
    assert (given.values["daily_amount"], given.values["daily_liquid_volume"]) == (0, 0)
    assert "nothing-to-dose" in codes(given)


def test_a_wanted_value_below_the_present_is_left_to_a_water_change() -> None:
    told = refusal({**ASKED, "present": "8 dKH"})
    assert list(told) == ["/wanted"]
    assert "7 dKH is below the present 8 dKH" in told["/wanted"]
    assert "only a water change" in told["/wanted"]


def test_a_compound_that_does_not_raise_it_is_told_with_those_that_do() -> None:
    told = refusal({**ASKED, "compound": "potassium_nitrate"})
    assert list(told) == ["/compound"]
    assert told["/compound"].endswith(
        "These do: sodium_bicarbonate, potassium_bicarbonate, sodium_carbonate."
    )


@pytest.mark.parametrize(
    ("changed", "pointers"),
    [
        ({"volume": "0 L"}, {"/volume"}),
        ({"volume": "450 kg"}, {"/volume"}),
        ({"purity": "110 %"}, {"/purity"}),
        ({"purity": "0 %"}, {"/purity"}),
        ({"present": "-1 dKH"}, {"/present"}),
        ({"present": "4 dGH"}, {"/present"}),
        ({"present": 4}, {"/present"}),
        ({"largest_daily_change": "0 dKH"}, {"/largest_daily_change"}),
        ({"largest_daily_change": "0.001 dKH"}, {"/largest_daily_change"}),
        ({"parameter": "kh"}, {"/parameter"}),
        ({"parameter": ["alkalinity"]}, {"/parameter"}),
        ({"parameter": None}, {"/parameter"}),
        ({"parameter": "nitrate"}, {"/present", "/wanted", "/largest_daily_change"}),
        ({"compound": "baking powder"}, {"/compound"}),
        ({"product_effect": "1 dKH"}, {"/product_effect"}),
        ({"product_mass": "1 g", "product_treats": "10 L"}, {"/product_mass", "/product_treats"}),
        ({"compound": "product"}, {"/product_effect", "/product_treats", "/product_mass"}),
        ({"stock_temperature": "95 degC"}, {"/stock_temperature"}),
        ({"stock_strength": "0 g/L"}, {"/stock_strength"}),
        ({"dose": "1 g"}, {"/dose"}),
    ],
)
def test_what_can_not_be_is_refused_at_its_place(changed: dict[str, Any], pointers: set[str]) -> None:
    assert refusal({**ASKED, **changed}).keys() == pointers


@pytest.mark.parametrize(
    ("changed", "pointers"),
    [
        ({"product_effect": None}, {"/product_effect"}),
        ({"product_treats": None}, {"/product_treats"}),
        ({"product_volume": None}, {"/product_mass"}),
        ({"product_mass": "5 g"}, {"/product_mass", "/product_volume"}),
        ({"purity": "90 %"}, {"/purity"}),
        ({"stock_strength": "50 g/L"}, {"/stock_strength"}),
        ({"product_effect": "2 mg/L NO3"}, {"/product_effect"}),
        ({"wanted": "4 mg/L K", "product_treats": None}, {"/wanted", "/product_treats"}),
    ],
)
def test_a_product_half_described_names_what_is_missing(changed: dict[str, Any], pointers: set[str]) -> None:
    assert refusal({**LIQUID, **changed}).keys() == pointers


def test_nitrogen_and_nitrate_are_never_taken_for_each_other() -> None:
    told = {
        "parameter": "nitrate",
        "compound": "potassium_nitrate",
        "volume": "100 L",
        "present": "0 mg/L NO3",
        "wanted": "10 mg/L",
    }
    assert "Say as what: mg/L NO3 or mg/L NO3-N" in refusal(told)["/wanted"]
    as_nitrate = answer(DOSE, {**told, "wanted": "10 mg/L NO3"}).values["amount"]
    as_nitrogen = answer(DOSE, {**told, "wanted": "10 mg/L NO3-N"}).values["amount"]
    # 62.004 g of nitrate hold 14.007 g of nitrogen.
    assert as_nitrogen / as_nitrate == pytest.approx(62.004 / 14.007, rel=1e-6)


def test_a_liquid_product_is_measured_by_its_label() -> None:
    # 5 mL to 100 L raise 2 mg/L: to 400 L for 5 mg/L that is 5 x 4 x 2.5 = 50 mL.
    given = answer(DOSE, {**LIQUID, "largest_daily_change": "1 mg/L K"})
    assert given.quantity("liquid_volume").value == pytest.approx(50)
    assert given.quantity("daily_liquid_volume").value == pytest.approx(10)
    assert (given.quantity("amount"), given.quantity("stock_limit")) == (None, None)
    assert given.values["ions_added"] == []
    assert "label-first" in codes(given)


def test_a_dry_product_is_weighed_by_its_label_and_may_be_dissolved() -> None:
    told = {**LIQUID, "product_volume": None, "product_mass": "4 g", "stock_strength": "100 g/L"}
    given = answer(DOSE, told)
    assert given.quantity("amount").value == pytest.approx(40)
    assert given.quantity("liquid_volume").value == pytest.approx(400)
    assert "label-first" in codes(given)


@pytest.mark.parametrize(
    ("strength", "code"),
    [("60 g/L", None), ("75 g/L", "stock-nearly-full"), ("90 g/L", "stock-may-not-dissolve")],
)
def test_a_stock_near_what_dissolves_is_told(strength: str, code: str | None) -> None:
    # 9.6 g to 100 g of water: between 9.6 / 109.6 and 9.6 / 100 of 998.2 g/L, 87.4 and 95.8.
    told = codes(answer(DOSE, {**DOSE.example, "stock_strength": strength}))
    assert told & {"stock-nearly-full", "stock-may-not-dissolve"} == ({code} if code else set())


def test_a_stock_that_can_not_dissolve_is_refused_with_what_can() -> None:
    told = refusal({**DOSE.example, "stock_strength": "97 g/L"})
    assert list(told) == ["/stock_strength"]
    assert "87.4 g/L" in told["/stock_strength"] and "95.8 g/L" in told["/stock_strength"]


def test_a_warmer_stock_is_refused_only_far_beyond_what_the_cooler_table_says() -> None:
    warm = {**DOSE.example, "stock_temperature": "28 degC"}
    beyond = answer(DOSE, {**warm, "stock_strength": "97 g/L"})
    assert ["can't dissolve at 20 degC" in one.text for one in beyond.cautions].count(True) == 1
    assert "stock-may-not-dissolve" in codes(beyond)
    assert "/stock_strength" in refusal({**warm, "stock_strength": "150 g/L"})
    cool = answer(DOSE, {**DOSE.example, "stock_temperature": "8 degC"})
    assert "colder-than-the-table" in codes(cool)


def test_a_solubility_known_from_memory_is_said_to_be() -> None:
    told = {
        "parameter": "hardness",
        "compound": "magnesium_sulfate_heptahydrate",
        "volume": "100 L",
        "present": "3 dGH",
        "wanted": "6 dGH",
        "stock_strength": "150 g/L",
    }
    assert "solubility-from-memory" in codes(answer(DOSE, told))
    assert "solubility-from-memory" not in codes(answer(DOSE, DOSE.example))
    assert "/stock_strength" in refusal({**told, "stock_strength": "2000 g/L"})


CARE = {
    "sodium_bicarbonate": {"ammonia", "brings-sodium", "keep-stocks-apart"},
    "potassium_bicarbonate": {"ammonia", "keep-stocks-apart"},
    "calcium_chloride_dihydrate": {"warms-water", "brings-chloride", "keep-stocks-apart"},
    "calcium_sulfate_dihydrate": {"dissolves-slowly", "brings-sulfate", "keep-stocks-apart"},
    "magnesium_sulfate_heptahydrate": {"brings-sulfate", "keep-stocks-apart"},
    "calcium_chloride": {"warms-water", "brings-chloride", "keep-stocks-apart"},
    "calcium_chloride_hexahydrate": {"brings-chloride", "keep-stocks-apart"},
    "calcium_nitrate_tetrahydrate": {"oxidiser", "brings-nitrate", "keep-stocks-apart"},
    "magnesium_sulfate": {"warms-water", "brings-sulfate", "keep-stocks-apart"},
    "magnesium_chloride_hexahydrate": {"brings-chloride", "keep-stocks-apart"},
    "magnesium_nitrate_hexahydrate": {"oxidiser", "brings-nitrate", "keep-stocks-apart"},
    "potassium_chloride": {"brings-chloride"},
    "sodium_carbonate": {"ammonia", "raises-ph-far", "brings-sodium", "keep-stocks-apart"},
    "ammonium_chloride": {"poisons-animals", "brings-chloride", "two-forms"},
    "potassium_nitrate": {"oxidiser", "two-forms"},
    "monopotassium_phosphate": {"feeds-algae", "keep-stocks-apart", "two-forms"},
    "potassium_sulfate": {"brings-sulfate", "keep-stocks-apart"},
    "sodium_chloride": {"salt-and-life", "brings-sodium"},
}
RAISES = {
    "sodium_bicarbonate": "alkalinity",
    "potassium_bicarbonate": "alkalinity",
    "calcium_chloride_dihydrate": "hardness",
    "calcium_sulfate_dihydrate": "hardness",
    "magnesium_sulfate_heptahydrate": "hardness",
    "calcium_chloride": "hardness",
    "calcium_chloride_hexahydrate": "hardness",
    "calcium_nitrate_tetrahydrate": "hardness",
    "magnesium_sulfate": "hardness",
    "magnesium_chloride_hexahydrate": "hardness",
    "magnesium_nitrate_hexahydrate": "hardness",
    "potassium_chloride": "potassium",
    "sodium_carbonate": "alkalinity",
    "ammonium_chloride": "total_ammonia",
    "potassium_nitrate": "nitrate",
    "monopotassium_phosphate": "phosphate",
    "potassium_sulfate": "potassium",
    "sodium_chloride": "chloride",
}


def asked_for(compound: str, parameter: str, rise: float, volume: float = 300, **more: Any) -> Answer:
    unit = KINDS[DOSED[parameter]].default
    told = {
        "parameter": parameter,
        "compound": compound,
        "volume": f"{volume} L",
        "present": f"1 {unit}",
        "wanted": f"{1 + rise} {unit}",
        **more,
    }
    return answer(DOSE, told)


@pytest.mark.parametrize("compound", COMPOUNDS)
def test_each_compound_comes_with_its_own_care(compound: str) -> None:
    always = {"measure-again", "all-at-once", "grade"}
    assert codes(asked_for(compound, RAISES[compound], 2)) == CARE[compound] | always


def test_ammonium_is_only_for_water_without_animals() -> None:
    told = {one.code: one for one in asked_for("ammonium_chloride", "chloride", 2).cautions}
    assert "where no animal lives" in told["poisons-animals"].text
    # Harm begins at 0.05 mg/L of un-ionized ammonia: University of Florida, IFAS Extension FA16.
    assert "0.05 mg/L NH3-N" in (told["poisons-animals"].limit or "")


def test_a_value_that_is_weighed_in_two_ways_is_told_in_both() -> None:
    # 14.007 of 62.004 g, 30.974 of 94.970 g, 18.039 for 14.007 g.
    for compound, parameter, other in (
        ("potassium_nitrate", "nitrate", 11 * 14.007 / 62.004),
        ("monopotassium_phosphate", "phosphate", 11 * 30.97376 / 94.9698),
        ("ammonium_chloride", "total_ammonia", 11 * 18.039 / 14.007),
    ):
        told = {one.code: one.text for one in asked_for(compound, parameter, 10).cautions}
        assert f" {other:.3g} mg/L" in told["two-forms"]


def test_a_stock_of_which_no_solubility_is_known_says_so() -> None:
    given = asked_for("potassium_chloride", "potassium", 2, stock_strength="50 g/L")
    assert "solubility-unknown" in codes(given)
    assert given.values["stock_dissolves"] is None


def test_nitrate_that_comes_with_potassium_is_told() -> None:
    # 2 mg/L K x 62.004 / 39.098 = 3.17 mg/L NO3.
    told = {one.code: one.text for one in asked_for("potassium_nitrate", "potassium", 2).cautions}
    assert "3.17" in told["brings-nitrate"]


def test_ions_are_weighed_as_themselves_and_phosphate_as_po4() -> None:
    # g/mol by hand: KH2PO4 136.086, PO4 94.971, K 39.098; NaCl 58.443, Na 22.990; MgSO4.7H2O 246.47, SO4 96.06.
    brought = asked_for("monopotassium_phosphate", "potassium", 10)
    added = {one["ion"]: one["rise"]["value"] for one in as_json(brought)["results"]["ions_added"]}
    assert added["phosphate"] == pytest.approx(10 / 39.098 * 94.971, rel=1e-4)
    sodium = asked_for("sodium_chloride", "sodium", 10, 100).quantity("amount", "g").value
    assert sodium == pytest.approx(1 / 22.990 * 58.443, rel=1e-4)
    sulfate = asked_for("magnesium_sulfate_heptahydrate", "sulfate", 10, 100).quantity("amount", "g").value
    assert sulfate == pytest.approx(1 / 96.06 * 246.47, rel=1e-4)


@pytest.mark.parametrize("compound", [word for word, name in RAISES.items() if name == "hardness"])
def test_a_rise_of_hardness_is_told_again_beside_the_ion_that_makes_it(compound: str) -> None:
    results = as_json(asked_for(compound, "hardness", 2))["results"]
    assert [one["hardness"] for one in results["ions_added"]] == [{"value": 2, "unit": "dGH"}, None]


def test_more_liquid_than_there_is_water_is_refused() -> None:
    # 40.45 g of bicarbonate at 80 mg/L are 506 L, for 450 L of water.
    assert list(refusal({**DOSE.example, "stock_strength": "80 mg/L"})) == ["/stock_strength"]
    assert list(refusal({**LIQUID, "product_volume": "50 L"})) == ["/product_volume"]


def test_a_thin_stock_adds_water_and_says_so() -> None:
    # 2 dGH of gypsum in 250 L are 15.35 g: at 2 g/L more than 7 L, 3 % of the water.
    given = asked_for("calcium_sulfate_dihydrate", "hardness", 2, 250, stock_strength="2 g/L")
    assert "adds-water" in codes(given)
    assert "adds-water" not in codes(answer(DOSE, DOSE.example))


def test_the_volume_is_said_to_count_the_sump() -> None:
    assert any("its sump" in one.text for one in answer(DOSE, DOSE.example).assumptions)


COMPOUND_AND_PARAMETER = st.sampled_from(
    [(word, name) for word, one in COMPOUNDS.items() for name in DOSED if carried(one, name)]
)
RISES = st.floats(0.01, 50).map(lambda x: float(f"{x:.4g}"))


@given(COMPOUND_AND_PARAMETER, RISES, st.floats(1, 1e4), st.floats(0.05, 1), st.floats(0.02, 60))
def test_mass_and_charge_are_kept(
    pair: tuple[str, str], rise: float, volume: float, purity: float, largest: float
) -> None:
    compound, parameter = pair
    assume(rise / largest < 300)
    unit = KINDS[DOSED[parameter]].default
    more = {"purity": f"{purity} 1", "largest_daily_change": f"{largest} {unit}"}
    given = asked_for(compound, parameter, rise, volume, **more)
    values, salt = given.values, COMPOUNDS[compound]
    assert math.fsum(day["amount"] for day in values["schedule"]) == pytest.approx(values["amount"])
    assert len(values["schedule"]) == values["days"]
    assert values["rise"] / values["days"] <= to_si(largest, unit, DOSED[parameter]) * (1 + 1e-6)
    # What was weighed, less impurity, in the water: as ions, crystal water apart.
    pure = values["amount"] * purity / (volume / 1000)
    added = {one["ion"]: one for one in values["ions_added"]}
    charges = {IONS[ion].name: IONS[ion] for ion in salt.ions}
    equivalents = [
        one["rise"] / charges[name].molar_mass * charges[name].charge for name, one in added.items()
    ]
    assert math.fsum(equivalents) == pytest.approx(0, abs=1e-9 * max(map(abs, equivalents)))
    for anion in added.keys() & {"bicarbonate", "carbonate"}:
        cations = math.fsum(one for one in equivalents if one > 0)
        assert added[anion]["alkalinity"] == pytest.approx(cations)
    if "." not in salt.formula and "H2PO4" not in salt.ions:
        assert math.fsum(one["rise"] for one in added.values()) == pytest.approx(pure)
    assert carried(salt, parameter) * pure / salt.molar_mass == pytest.approx(values["rise"])


@given(COMPOUND_AND_PARAMETER, RISES, st.floats(1, 1e4), st.floats(0.05, 1), st.floats(0.001, 0.6))
def test_every_step_follows_from_its_own_numbers(
    assert_followed, pair: tuple[str, str], rise: float, volume: float, purity: float, strength: float
) -> None:
    compound, parameter = pair
    dry = asked_for(compound, parameter, rise, volume, purity=f"{purity} 1")
    surely = dry.quantity("stock_dissolves")
    salt_limit = 300 if surely is None else surely.value
    assume(dry.quantity("amount", "g").value < 0.999 * strength * salt_limit * volume)
    more = {
        "purity": f"{purity} 1",
        "largest_daily_change": f"{rise / 2.5} {KINDS[DOSED[parameter]].default}",
        "stock_strength": f"{strength * salt_limit} g/L",
    }
    for one in asked_for(compound, parameter, rise, volume, **more).steps:
        assert_followed(one)


@given(RISES, st.floats(1, 1e4), st.booleans())
def test_every_step_of_a_product_follows_too(assert_followed, rise: float, volume: float, dry: bool) -> None:
    told = {**LIQUID, "wanted": f"{5 + rise} mg/L K", "volume": f"{volume} gal"}
    if dry:
        told |= {"product_volume": None, "product_mass": "2 oz", "stock_strength": "80 g/L"}
    for one in answer(DOSE, told).steps:
        assert_followed(one)


ANYTHING = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.just([])
AMOUNTS = st.builds(
    "{} {}".format,
    st.floats(-1e15, 1e15),
    st.sampled_from(["dKH", "mg/L", "mg/L NO3", "dGH", "g", "mL", "L"]),
)
BODIES = st.fixed_dictionaries(
    {
        "parameter": st.sampled_from(list(DOSED)) | ANYTHING,
        "compound": st.sampled_from([*COMPOUNDS, "product"]) | ANYTHING,
        "volume": st.builds("{} L".format, st.floats(1e-9, 1e15)) | AMOUNTS,
        "present": st.just("0 dKH") | AMOUNTS | ANYTHING,
        "wanted": AMOUNTS | ANYTHING,
    },
    optional={
        name: AMOUNTS | ANYTHING
        for name in DOSE.params
        if name not in ("parameter", "compound", "volume", "present", "wanted")
    },
)


@given(BODIES)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body) -> None:
    try:
        given = answer(DOSE, body)
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(given), allow_nan=False)


def judged(**told: Any) -> tuple[str, str]:
    dose = {
        "parameter": "alkalinity",
        "volume": "308 L",
        "present": "4 dKH",
        "compound": "sodium_bicarbonate",
    }
    found = answer(DOSE, {**dose, **told})
    return found.values["verdict"], found.values["why"]


def test_a_dose_within_what_is_usual_is_called_ok_and_one_beyond_it_is_not() -> None:
    assert judged(wanted="5 dKH")[0] == "ok"
    assert judged(wanted="4 dKH") == (
        "ok",
        "The wanted value is the present one: there is nothing to dose.",
    )
    verdict, why = judged(wanted="60 dKH")
    assert verdict == "over"
    assert "60 dKH is more than 20 dKH" in why and "common practice" in why
    assert judged(wanted="20 dKH", largest_daily_change="1 dKH")[0] == "ok"
    assert judged(wanted="20.1 dKH", largest_daily_change="1 dKH")[0] == "over"
    nitrate = {"parameter": "nitrate", "compound": "potassium_nitrate", "present": "0 mg/L NO3"}
    assert judged(**nitrate, wanted="10 mg/L NO3")[0] == "ok"
    assert judged(**nitrate, wanted="100000 mg/L NO3")[0] == "over"


def test_a_fast_rise_a_doubtful_stock_and_ammonia_are_watched() -> None:
    # 3 dKH at once, against the customary 1.5 a day.
    assert judged(wanted="7 dKH")[0] == "watch"
    assert "3 dKH in a day" in judged(wanted="7 dKH")[1]
    assert judged(wanted="7 dKH", largest_daily_change="1.5 dKH")[0] == "ok"
    # 9.6 g to 100 g of water: 87.4 g/L surely dissolve, 95.8 at most.
    split = {"wanted": "7 dKH", "largest_daily_change": "1 dKH"}
    assert judged(**split, stock_strength="85 g/L")[0] == "ok"
    assert judged(**split, stock_strength="90 g/L")[0] == "watch"
    ammonia = {"parameter": "total_ammonia", "compound": "ammonium_chloride", "present": "0 mg/L NH3-N"}
    assert judged(**ammonia, wanted="2 mg/L NH3-N")[0] == "watch"
    assert judged(**ammonia, wanted="6 mg/L NH3-N")[0] == "over"
    nitrate = {"parameter": "nitrate", "compound": "calcium_nitrate_tetrahydrate", "present": "0 mg/L NO3"}
    assert judged(**nitrate, wanted="5 mg/L NO3", stock_strength="100 g/L")[0] == "unknown"


@pytest.mark.parametrize(
    ("told", "pointer", "words"),
    [
        # 131 g/L of sodium bicarbonate would be 4367 dKH; 96 g/L dissolve at most, half again as much is refused.
        ({"wanted": "6000 dKH"}, "/wanted", "no water dissolves more"),
        # Of calcium nitrate no solubility is known: 1e6 mg/L of nitrate are 1904 g/L of it, 1.1e6 are 2095.
        (
            {
                "parameter": "nitrate",
                "present": "0 mg/L NO3",
                "wanted": "1100000 mg/L NO3",
                "compound": "calcium_nitrate_tetrahydrate",
            },
            "/wanted",
            "2000 g/L",
        ),
        ({"wanted": "5 dKH", "volume": "1e14 L"}, "/volume", "at most 100000000 L"),
        ({"wanted": "5 dKH", "stock_strength": "2100 g/L"}, "/stock_strength", "dry solid itself weighs"),
    ],
)
def test_what_no_water_holds_is_refused(told: dict[str, Any], pointer: str, words: str) -> None:
    with pytest.raises(Invalid) as refused:
        judged(**told)
    assert [fault.pointer for fault in refused.value.faults] == [pointer]
    assert words in refused.value.faults[0].message


def test_cautions_say_three_figures() -> None:
    # 2 dKH are 0.713305 meq/L: 16.3987 mg/L of sodium.
    found = answer(
        DOSE,
        {
            "parameter": "alkalinity",
            "volume": "308 L",
            "present": "4 dKH",
            "wanted": "6 dKH",
            "compound": "sodium_bicarbonate",
        },
    )
    told = {one.code: one.text for one in found.cautions}
    assert "brings 16.4 mg/L of sodium" in told["brings-sodium"]
