"""A water report, told as its sheet has it. Sources: fixtures/published/SOURCES.md."""

import csv
import random
from pathlib import Path
from typing import Any

import phreeqpython
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.hardness import HARDNESS
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
REPORT = HARDNESS.example

# The unit of a row or column of the tables: of hardness and of alkalinity, if it is one of them.
DEGREES: dict[str, tuple[str | None, str | None]] = {
    "mmol_per_l_caco3": ("mmol/L", "mmol/L CaCO3"),
    "meq_per_l": ("meq/L", "meq/L"),
    "mg_per_l_caco3": ("mg/L CaCO3", "mg/L CaCO3"),
    "german_degree_dgh_dkh": ("dGH", "dKH"),
    "french_degree": ("fH", "fH"),
    "english_clark_degree": ("Clark", "Clark"),
    "grain_per_us_gallon": ("gr/gal CaCO3", "gr/gal CaCO3"),
    "mg_per_l_ca": ("mg/L Ca", None),
    "mg_per_l_cao": ("mg/L CaO", None),
    "mg_per_l_mg": ("mg/L Mg", None),
    "mg_per_l_hco3_alkalinity_only": (None, "mg/L HCO3"),
    "american_degree_ppm_caco3": ("mg/L CaCO3", "mg/L CaCO3"),
}
COLUMNS = {
    "mmol_per_l": "mmol_per_l_caco3",
    "meq_per_l": "meq_per_l",
    "mg_caco3_per_l": "mg_per_l_caco3",
    "dgh_or_dkh": "german_degree_dgh_dkh",
    "french_degree": "french_degree",
    "english_clark_degree": "english_clark_degree",
    "grain_per_us_gallon": "grain_per_us_gallon",
}
# Forms of a nutrient as this calculator takes and lists them.
FORMS = {
    "NO3_N": ("nitrate", "mg/L NO3-N"),
    "NO3": ("nitrate", "mg/L NO3"),
    "NO2_N": ("nitrite", "mg/L NO2-N"),
    "NO2": ("nitrite", "mg/L NO2"),
    "NH3_N": ("ammonia", "mg/L NH3-N"),
    "NH4_N": ("ammonia", "mg/L NH3-N"),
    "NH3": ("ammonia", "mg/L NH3"),
    "NH4": ("ammonia", "mg/L NH4"),
    "PO4_P": ("phosphate", "mg/L PO4-P"),
    "P": ("phosphate", "mg/L PO4-P"),
    "PO4": ("phosphate", "mg/L PO4"),
    "P2O5": ("phosphate", "mg/L P2O5"),
    "K2O": ("potassium", "mg/L K2O"),
    "K": ("potassium", "mg/L K"),
    "CaO": ("hardness", "mg/L CaO"),
    "MgO": ("hardness", "mg/L MgO"),
    "Ca": ("hardness", "mg/L Ca"),
    "Mg": ("hardness", "mg/L Mg"),
    "HCO3": ("alkalinity", "mg/L HCO3"),
}
# What no water report tells: a reaction between nutrients, an element of an ion, chlorine's nitrogen.
NOT_A_FORM = {("NH3_N", "NO3"), ("NO2", "NO3"), ("SO4", "S"), ("Cl2", "NH3_N_from_monochloramine")}
LISTS = {"hardness": "hardness_forms", "alkalinity": "alkalinity_forms"}


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open(encoding="utf-8")))


def half_last_digit(table: list[dict[str, str]], column: str) -> float:
    return 0.5001 * 10.0 ** -max(len(row[column].partition(".")[2]) for row in table)


def asked(**told: Any) -> Answer:
    return answer(HARDNESS, told)


def forms(given: Answer, kind: str) -> dict[str, float]:
    listed = given.values[LISTS.get(kind, "nutrient_forms")]
    return {row["stated_as"]: row["value"] for row in listed if row.get("nutrient", kind) == kind}


def value(given: Answer, name: str, unit: str | None = None) -> float:
    return float(given.quantity(name, unit).value)  # type: ignore[union-attr]


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


@pytest.mark.parametrize("table", ["hardness_alkalinity_units", "hardness_alkalinity_conversions"])
def test_hardness_and_alkalinity_are_told_in_every_published_unit(table: str) -> None:
    found = rows(table)
    for row in found:
        for kind, name in zip(("hardness", "alkalinity"), DEGREES[row["unit"]], strict=True):
            if name is None:
                continue
            told = forms(asked(**{kind: f"{row.get('value', '1')} {name}"}), kind)
            for column in COLUMNS.keys() & row.keys():
                stated_as = DEGREES[COLUMNS[column]][0 if kind == "hardness" else 1]
                assert stated_as is not None
                expected = pytest.approx(float(row[column]), abs=half_last_digit(found, column), rel=0)
                assert told[stated_as] == expected, (row["unit"], kind, column)


@pytest.mark.parametrize(
    "row", rows("nutrient_conversions"), ids=lambda row: f"{row['from_species']}-{row['to_species']}"
)
def test_a_nutrient_is_told_in_every_published_form(row: dict[str, str]) -> None:
    pair = row["from_species"], row["to_species"]
    if pair in NOT_A_FORM:
        assert FORMS.get(pair[0], ("none", ""))[0] != FORMS.get(pair[1], ("other", ""))[0]
        return
    kind, name = FORMS[pair[0]]
    to = "mg/L CaCO3" if pair[1] == "CaCO3" else FORMS[pair[1]][1]
    found = forms(asked(**{kind: f"1 {name}"}), kind)[to]
    assert found == pytest.approx(float(row["factor_mass"]), abs=half_last_digit([row], "factor_mass"))


@pytest.mark.parametrize("row", rows("molar_masses"), ids=lambda row: row["formula"])
def test_a_millimole_is_told_by_its_published_mass(row: dict[str, str]) -> None:
    if row["formula"] not in FORMS.keys() | {"CaCO3"}:
        return  # compounds that no report tells: the relation on salts is held to them
    kind, name = ("hardness", "mg/L CaCO3") if row["formula"] == "CaCO3" else FORMS[row["formula"]]
    base = {"alkalinity": "mmol/L HCO3"}.get(kind, "mmol/L")
    found = forms(asked(**{kind: f"1 {base}"}), kind)[name]
    assert found == pytest.approx(float(row["molar_mass_g_per_mol"]), abs=5.1e-5)
    assert found == pytest.approx(float(row["molmass_library_g_per_mol"]), rel=2e-4)


@settings(max_examples=30)
@given(st.floats(0.01, 500), st.sampled_from(["hardness", "alkalinity", "nitrate", "ammonia", "phosphate"]))
def test_every_form_told_back_is_the_same_water(amount: float, kind: str) -> None:
    base = "mg/L CaCO3" if kind in LISTS else "mmol/L"
    first = forms(asked(**{kind: f"{amount} {base}"}), kind)
    for name, figure in first.items():
        assert forms(asked(**{kind: f"{figure} {name}"}), kind) == pytest.approx(first, rel=1e-9)


def test_hardness_is_calcium_and_magnesium_and_never_bicarbonate() -> None:
    # 100 mg/L CaCO3 each by the published factors 2.49728 and 4.117918.
    given = asked(calcium=f"{100 / 2.49728} mg/L", magnesium=f"{100 / 4.117918} mg/L")
    assert value(given, "gh", "mg/L CaCO3") == pytest.approx(200, rel=1e-5)
    assert value(given, "calcium_share", "1") == pytest.approx(0.5, rel=1e-5)
    assert value(given, "magnesium_share", "1") == pytest.approx(0.5, rel=1e-5)
    assert value(given, "calcium_to_magnesium_moles") == pytest.approx(1, rel=1e-5)
    assert value(given, "calcium_to_magnesium_mass") == pytest.approx(40.078 / 24.305, rel=1e-4)
    assert given.quantity("kh") is None
    assert given.values["alkalinity_forms"] == []


def test_alkalinity_is_bicarbonate_and_never_hardness() -> None:
    given = asked(bicarbonate="100 mg/L")
    # 0.820162: HCO3 to CaCO3, published.
    assert value(given, "kh", "mg/L CaCO3") == pytest.approx(82.0162, rel=1e-5)
    assert given.quantity("gh") is None
    assert given.values["hardness_forms"] == []


@pytest.mark.parametrize(("told", "left"), [("calcium", "magnesium"), ("magnesium", "calcium")])
def test_what_total_hardness_leaves_is_the_other_ion(told: str, left: str) -> None:
    whole = asked(calcium="60 mg/L", magnesium="12 mg/L")
    gh = value(whole, "gh", "mmol/L")
    mass = {"calcium": "60 mg/L", "magnesium": "12 mg/L"}
    given = asked(hardness=f"{gh} mmol/L", **{told: mass[told]})
    assert value(given, f"{left}_mass") == pytest.approx(float(mass[left].split()[0]), rel=1e-9)
    assert any(left in one.text for one in given.assumptions)


def test_calcium_alone_is_no_hardness_but_the_least_of_it() -> None:
    given = asked(calcium="40 mg/L")
    assert given.quantity("gh") is None
    assert "hardness-at-least" in codes(given)
    assert given.values["hardness_gap"] is None


def test_two_hardnesses_that_differ_are_told_apart() -> None:
    given = asked(**{**REPORT, "hardness": "16 dGH"})
    gap = 16 - value(asked(calcium=REPORT["calcium"], magnesium=REPORT["magnesium"]), "gh")
    assert value(given, "hardness_gap") == pytest.approx(gap)
    assert given.values["verdict"] == "watch"
    assert "hardness-disagrees" in codes(given)
    assert "more than calcium and magnesium make" in given.values["why"]
    # The ions are believed.
    assert value(given, "gh") == pytest.approx(16 - gap)


def test_a_hardness_less_than_its_calcium_is_told() -> None:
    given = asked(hardness="50 mg/L CaCO3", calcium="40 mg/L")
    # 40 mg/L of calcium is 99.891 mg/L CaCO3, published.
    assert value(given, "hardness_gap", "mg/L CaCO3") == pytest.approx(50 - 99.891, abs=1e-3)
    assert given.quantity("magnesium_mass") is None
    assert "hardness-disagrees" in codes(given)


def test_two_alkalinities_that_differ_are_told_apart() -> None:
    given = asked(alkalinity="100 mg/L CaCO3", bicarbonate="100 mg/L")
    assert value(given, "alkalinity_gap", "mg/L CaCO3") == pytest.approx(100 - 82.0162, abs=1e-3)
    assert given.values["verdict"] == "watch"
    assert "alkalinity-disagrees" in codes(given)
    assert value(given, "kh", "mg/L CaCO3") == pytest.approx(100)


def test_figures_within_the_tolerance_agree() -> None:
    given = asked(alkalinity="100 mg/L CaCO3", bicarbonate="120 mg/L")
    assert "alkalinity-disagrees" not in codes(given)
    assert "alkalinity-disagrees" in codes(
        asked(alkalinity="100 mg/L CaCO3", bicarbonate="120 mg/L", tolerance="1 %")
    )


def test_a_good_report_is_ok_and_a_spoilt_one_is_not() -> None:
    assert asked(**REPORT).values["verdict"] == "ok"
    spoilt = asked(**{**REPORT, "sulfate": "148 mg/L"})
    assert spoilt.values["verdict"] == "watch"
    assert "charges-off" in codes(spoilt)
    assert "anions pass the cations" in spoilt.values["why"]
    # 100 mg/L more of sulfate is 2 x 100 / 96.06 meq/L.
    more = value(spoilt, "anions") - value(asked(**REPORT), "anions")
    assert more == pytest.approx(200 / 96.06, rel=1e-3)


def test_without_the_main_ions_charges_are_not_judged() -> None:
    given = asked(**{**REPORT, "sodium": None})
    assert given.values["verdict"] == "unknown"
    assert given.quantity("balance_error") is None
    assert "sodium" in given.values["why"]


def test_total_hardness_alone_serves_the_balance() -> None:
    whole = asked(**REPORT)
    given = asked(**{**REPORT, "hardness": f"{value(whole, 'gh')} dGH", "calcium": None, "magnesium": None})
    assert value(given, "cations") == pytest.approx(value(whole, "cations"))
    assert given.values["verdict"] == "ok"
    assert "hardness" in {row["ion"] for row in given.values["ions"]}


def test_thin_water_may_miss_few_charges() -> None:
    thin = {
        "calcium": "2 mg/L",
        "magnesium": "0 mg/L",
        "sodium": "1 mg/L",
        "bicarbonate": "3 mg/L",
        "chloride": "1 mg/L",
        "sulfate": "1 mg/L",
    }
    given = asked(**thin)
    assert abs(value(given, "balance_error")) > 5
    assert given.values["verdict"] == "ok"
    # The bound is 0.2 meq/L, by the laboratories' standard methods (from memory).
    off = value(given, "cations") - value(given, "anions")
    for charges, verdict in ((0.195, "ok"), (0.205, "watch")):
        more = f"{1 + (charges - off) * 22.98977} mg/L"
        assert asked(**{**thin, "sodium": more}).values["verdict"] == verdict


@pytest.mark.parametrize(
    ("told", "side"),
    [
        ({"ammonia": "18.039 mg/L NH4"}, "cations"),
        ({"potassium": "39.0983 mg/L K"}, "cations"),
        ({"nitrite": "46.005 mg/L NO2"}, "anions"),
        ({"nitrate": "62.004 mg/L NO3"}, "anions"),
        ({"bicarbonate": "61.016 mg/L"}, "anions"),
    ],
)
def test_a_mole_of_single_charges_is_an_equivalent(told: dict[str, str], side: str) -> None:
    assert value(asked(**told), side) == pytest.approx(1, rel=1e-4)


@pytest.mark.parametrize("seed", range(3))
def test_a_water_of_the_equilibrium_model_balances(seed: int) -> None:
    drawn = random.Random(seed)
    mmol = {"Ca": drawn.uniform(0.5, 2), "Mg": drawn.uniform(0.1, 1), "S(6)": drawn.uniform(0.1, 0.6)}
    alkalinity = drawn.uniform(1, 3)
    told = {"Na": alkalinity + 1, **mmol, "Cl": "1 charge"}
    model = phreeqpython.PhreeqPython(database="phreeqc.dat")
    water = model.add_solution({"temp": 25, "pH": 7.3, "units": "mmol/kgw", "Alkalinity": alkalinity, **told})
    given = asked(
        calcium=f"{mmol['Ca'] * 40.078} mg/L",
        magnesium=f"{mmol['Mg'] * 24.305} mg/L",
        sodium=f"{(alkalinity + 1) * 22.98977} mg/L",
        alkalinity=f"{alkalinity} meq/L",
        chloride=f"{water.elements['Cl'] * 1000 * 35.45} mg/L",
        sulfate=f"{mmol['S(6)'] * 96.056} mg/L",
    )
    assert value(given, "balance_error") == pytest.approx(0, abs=0.1)
    assert given.values["verdict"] == "ok"


def test_alkalinity_above_hardness_is_sodium_bicarbonate_water() -> None:
    given = asked(calcium="8 mg/L", magnesium="2 mg/L", bicarbonate="300 mg/L")
    expected = 300 / 61.016 - 2 * (8 / 40.078 + 2 / 24.305)
    assert value(given, "alkalinity_beyond_hardness", "meq/L") == pytest.approx(expected, rel=1e-4)
    assert "sodium-bicarbonate-water" in codes(given)
    assert "sodium" in given.values["why"]
    hard = asked(calcium="80 mg/L", magnesium="2 mg/L", bicarbonate="100 mg/L")
    assert value(hard, "alkalinity_beyond_hardness") == 0
    assert "sodium-bicarbonate-water" not in codes(hard)


def test_nutrients_in_the_tap_are_warned_of() -> None:
    assert "nitrate-high" in codes(asked(nitrate="60 mg/L NO3"))
    assert "nitrate-high" in codes(asked(nitrate="12 mg/L NO3-N"))
    assert "nitrate-high" not in codes(asked(nitrate="12 mg/L NO3"))
    assert "brings-ammonia-or-nitrite" in codes(asked(ammonia="0.5 mg/L NH4"))
    assert "brings-ammonia-or-nitrite" in codes(asked(nitrite="0.5 mg/L NO2"))
    assert "brings-ammonia-or-nitrite" not in codes(asked(**REPORT))


def test_hardness_and_alkalinity_are_always_told_apart() -> None:
    assert "gh-is-not-kh" in codes(asked(hardness="8 dGH"))
    told = " ".join(one.text for one in asked(hardness="8 dGH").assumptions)
    assert "17.848" in told and "50.04" in told


@pytest.mark.parametrize(
    ("told", "pointer"),
    [
        ({}, "/hardness"),
        ({"tolerance": "5 %"}, "/hardness"),
        ({"calcium": "-3 mg/L"}, "/calcium"),
        ({"hardness": "8 dKH"}, "/hardness"),
        ({"alkalinity": "8 dGH"}, "/alkalinity"),
        ({"alkalinity": "2 mmol/L"}, "/alkalinity"),
        ({"nitrate": "10 mg/L"}, "/nitrate"),
        ({"calcium": "40 mg/L", "tolerance": "0 %"}, "/tolerance"),
    ],
)
def test_bad_inputs_are_named(told: dict[str, Any], pointer: str) -> None:
    with pytest.raises(Invalid) as refused:
        answer(HARDNESS, told)
    assert [fault.pointer for fault in refused.value.faults] == [pointer]


@pytest.mark.parametrize(
    "told",
    [
        REPORT,
        {"calcium": "40 mg/L"},
        {"hardness": "12 dGH", "magnesium": "9.3 mg/L"},
        {"hardness": "12 dGH", "sodium": "9 mg/L", "alkalinity": "8 dKH"},
        {"hardness": "3 dGH", "calcium": "40 mg/L"},
        {"hardness": "2 dGH", "alkalinity": "11 dKH", "bicarbonate": "200 mg/L"},
        {"calcium": "0 mg/L", "magnesium": "0 mg/L", "sodium": "0 mg/L", "alkalinity": "0 dKH"},
        {"calcium": "31.7 mg/L", "magnesium": "0 mg/L"},
    ],
)
def test_every_step_follows_from_its_own_numbers(told: dict[str, str], assert_followed: Any) -> None:
    given = answer(HARDNESS, told)
    for step in given.steps:
        assert_followed(step)
    assert as_json(given)["cautions"]
