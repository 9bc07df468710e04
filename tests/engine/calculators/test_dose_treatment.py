"""Published doses, worked out from their labels. Sources: fixtures/published/SOURCES.md."""

import csv
import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.calculators.dose_treatment import DOSE_TREATMENT
from weirbook.engine.calculators.tank_volume import TANK_VOLUME
from weirbook.engine.calculators.treatment_inputs import FORMS
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open(encoding="utf-8")))


EXAMPLES = {(row["case"], row["quantity"]): row for row in rows("treatment_worked_examples")}
PLAIN = {"substance": "other", "dose_means": "product", "label_concentration": "10 mg/L", "volume": "400 L"}


def asked(**changed: Any) -> Answer:
    return answer(DOSE_TREATMENT, {**PLAIN, **changed})


def formalin(**changed: Any) -> Answer:
    return asked(substance="formalin", **changed)


def value(given: Answer, name: str, unit: str | None = None) -> float:
    return given.quantity(name, unit).value  # type: ignore[union-attr,return-value]


def refusal(**changed: Any) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        asked(**changed)
    return {fault.pointer: fault.message for fault in refused.value.faults}


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


def assert_published(found: float, case: str, quantity: str) -> None:
    row = EXAMPLES[case, quantity]
    for column in ("published_value", "exact_value"):
        if row[column]:
            assert found == pytest.approx(float(row[column]), rel=float(row["tolerance_relative"])), column


def test_every_published_example_is_worked_out_here_or_with_the_salt() -> None:
    here = set(EXAMPLES) - {("chloride_for_nitrite", "NaCl needed")}
    assert here == {
        ("formalin_200ppm_round_tank", "volume"),
        ("formalin_200ppm_round_tank", "formalin"),
        ("formalin_167ppm_by_weight", "formalin per 10 cubic feet"),
        ("formalin_167ppm_by_volume", "formalin per 10 cubic feet"),
        ("trichlorfon_type_80pct_powder", "per acre-foot"),
        ("permanganate_stock", "concentration"),
        ("permanganate_stock_ml", "concentration"),
        ("copper_sulfate_pond", "copper sulfate"),
        ("rectangular_tank", "volume"),
        ("round_tank", "volume"),
        ("formalin_oxygen_demand", "oxygen removed"),
    }


@pytest.mark.parametrize(
    ("case", "unit", "told"),
    [
        ("formalin_200ppm_round_tank", "m3", {"shape": "circle", "diameter": "7.5 m", "water_depth": "2 m"}),
        (
            "rectangular_tank",
            "ft3",
            {"shape": "rectangle", "length": "12 ft", "width": "3 ft", "water_depth": "3 ft"},
        ),
        ("round_tank", "ft3", {"shape": "circle", "diameter": "12 ft", "water_depth": "4.5 ft"}),
    ],
)
def test_the_water_of_the_published_tanks_is_theirs(case: str, unit: str, told: dict[str, str]) -> None:
    given = answer(TANK_VOLUME, {**told, "rim_height": "3 m"})
    assert_published(given.quantity("net_volume", unit).value, case, "volume")


def test_formalin_by_volume_fills_the_round_tank() -> None:
    volume = math.pi * 7.5**2 / 4 * 2
    given = formalin(label_concentration=None, label_dilution="200 uL/L", volume=f"{volume} m3")
    assert_published(value(given, "liquid_volume", "mL"), "formalin_200ppm_round_tank", "formalin")


def test_formalin_by_weight_and_by_volume_differ_as_published() -> None:
    by_weight = formalin(label_concentration=None, label_by_weight="167 mg/kg", volume="10 ft3")
    by_volume = formalin(label_concentration=None, label_dilution="167 uL/L", volume="10 ft3")
    quantity = "formalin per 10 cubic feet"
    assert_published(value(by_weight, "liquid_volume", "mL"), "formalin_167ppm_by_weight", quantity)
    assert_published(value(by_volume, "liquid_volume", "mL"), "formalin_167ppm_by_volume", quantity)
    # Each tells the other's reading besides, and that they lie 8 % apart.
    assert_published(value(by_weight, "other_reading", "mL"), "formalin_167ppm_by_volume", quantity)
    assert_published(value(by_volume, "other_reading", "mL"), "formalin_167ppm_by_weight", quantity)
    assert value(by_weight, "readings_differ") == pytest.approx(8)
    assert "weight-or-volume" in codes(by_weight)


def test_a_powder_of_four_fifths_is_weighed_for_an_acre_foot() -> None:
    # 0.25 ppm: by weight in the manual.
    for form in ({"label_concentration": "0.25 mg/L"}, {"label_by_weight": "0.25 mg/kg"}):
        told = {"label_concentration": None, **form, "dose_means": "active", "active_share": "80 %"}
        given = asked(**told, volume="43560 ft3")
        assert_published(value(given, "amount", "lb"), "trichlorfon_type_80pct_powder", "per acre-foot")


def test_drops_and_millilitres_of_a_permanganate_stock_make_the_published_strengths() -> None:
    told = {"substance": "permanganate", "label_concentration": None, "strength": "285 g/gal"}
    drops = asked(**told, product_drops=1, product_treats="1 gal")
    assert_published(value(drops, "concentration", "mg/L"), "permanganate_stock", "concentration")
    millilitre = asked(**told, product_volume="1 mL", product_treats="10 gal")
    assert_published(value(millilitre, "concentration", "mg/L"), "permanganate_stock_ml", "concentration")


def test_copper_is_weighed_as_copper_sulfate_for_the_published_pond() -> None:
    told = {
        "substance": "copper_sulfate",
        "label_concentration": "0.5 mg/L",
        "dose_means": "active",
        "active_share": "25 %",
        "volume": "15000000 gal",
    }
    given = asked(**told)
    assert_published(value(given, "amount", "lb"), "copper_sulfate_pond", "copper sulfate")
    assert value(given, "active_concentration") == pytest.approx(0.5, rel=1e-9)


def test_formalin_takes_the_published_oxygen() -> None:
    given = formalin(label_concentration="25 mg/L", dissolved_oxygen="8 mg/L")
    assert_published(value(given, "oxygen_taken"), "formalin_oxygen_demand", "oxygen removed")
    assert value(given, "oxygen_left") == pytest.approx(3)


@pytest.mark.parametrize("row", rows("mgl_to_g_per_us_gallon"), ids=lambda row: row["dose_g"])
def test_us_gallons_and_milligrams_a_litre_give_the_published_grams(row: dict[str, str]) -> None:
    given = asked(label_concentration=f"{row['dose_mg_per_l']} mg/L", volume=f"{row['volume_us_gal']} gal")
    grams = float(row["dose_g"])
    assert value(given, "amount", "g") == pytest.approx(grams, abs=5.1e-6)
    assert value(given, "per_us_gallon") * float(row["volume_us_gal"]) == pytest.approx(grams, abs=5.1e-6)


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
def test_a_label_in_one_unit_weighs_what_conversion_tables_say(row: dict[str, str]) -> None:
    mass, _, volume = row["unit"].partition("_per_")
    label = next(ours for theirs, ours in STRENGTHS.items() if row["quantity"].startswith(theirs))
    weighed = value(asked(label_concentration=label, volume=VOLUMES[volume]), "amount", MASSES[mass])
    assert weighed == pytest.approx(float(row["exact_value"]), rel=1e-5)
    if row["published_value"]:
        assert weighed == pytest.approx(float(row["published_value"]), rel=0.01)


@pytest.mark.parametrize(
    "row", [row for row in CONVERSIONS if "gal" in row["unit"]], ids=lambda r: r["quantity"]
)
def test_a_label_that_measures_out_for_gallons_comes_to_the_same(row: dict[str, str]) -> None:
    mass, _, volume = row["unit"].partition("_per_")
    label = next(ours for theirs, ours in STRENGTHS.items() if row["quantity"].startswith(theirs))
    told = {
        "label_concentration": None,
        "product_mass": f"{row['exact_value']} {MASSES[mass]}",
        "product_treats": VOLUMES[volume],
        "volume": "1 L",
    }
    strength, unit = label.split()
    assert value(asked(**told), "concentration", unit) == pytest.approx(float(strength), rel=1e-5)


@given(
    st.sampled_from(list(FORMS)),
    st.floats(1, 1e4),
    st.floats(0.8, 2),
    st.floats(0.05, 1),
)
def test_mass_liquid_and_strength_balance_whatever_the_form(
    assert_followed, form: str, volume: float, density: float, share: float
) -> None:
    amounts = {
        "label_concentration": "12 mg/L",
        "label_by_weight": "12 mg/kg",
        "label_dilution": "12 uL/L",
        "product_volume": "3 mL",
        "product_drops": 7,
        "product_mass": "0.7 oz",
    }
    means = "active" if form in ("label_concentration", "label_by_weight") else "product"
    treats = {"product_treats": "20 gal"} if form.startswith("product") else {}
    given = answer(
        DOSE_TREATMENT,
        {
            "substance": "formalin",
            "dose_means": means,
            form: amounts[form],
            **treats,
            "volume": f"{volume} L",
            "density": f"{density} kg/L",
            "active_share": f"{share} 1",
            "treatments": 4,
            "interval": "2 d",
            "change_between": "35 %",
            "contact_time": "5 h",
            "dissolved_oxygen": "9 mg/L",
        },
    )
    values = given.values
    assert values["amount"] == pytest.approx(values["liquid_volume"] * density * 1000, rel=1e-9)
    assert values["amount"] == pytest.approx(values["concentration"] * volume / 1000, rel=1e-9)
    assert values["active_concentration"] == pytest.approx(values["concentration"] * share, rel=1e-9)
    assert values["dilution"] == pytest.approx(values["liquid_volume"] / volume * 1000, rel=1e-9)
    if means == "active":
        assert values["active_concentration"] == pytest.approx(0.012, rel=1e-9)
    for one in given.steps:
        assert_followed(one)


def test_a_stock_solution_is_measured_by_what_was_weighed_into_it() -> None:
    # By hand: 10 mg/L x 400 L = 4 g; of 50 g/L 80 mL, 1600 drops of 0.05 mL.
    given = asked(strength="50 g/L")
    assert value(given, "amount") == pytest.approx(4)
    assert value(given, "liquid_volume") == pytest.approx(80)
    assert value(given, "drops") == pytest.approx(1600)
    assert given.values["other_reading"] is None


def test_a_dry_product_has_no_volume_and_a_liquid_of_unknown_density_no_mass() -> None:
    dry = asked()
    assert (dry.values["liquid_volume"], dry.values["drops"], dry.values["dilution"]) == (None, None, None)
    liquid = asked(label_concentration=None, product_volume="5 mL", product_treats="40 L")
    assert (liquid.values["amount"], liquid.values["concentration"]) == (None, None)
    assert value(liquid, "liquid_volume") == pytest.approx(50)


def test_only_formalin_has_a_usual_density() -> None:
    assert value(formalin(), "liquid_volume", "mL") == pytest.approx(4 / 1.08)
    assert any("1.08 kg" in one.text for one in formalin().assumptions)
    # Were the 10 mg/L meant as 10 uL/L, 400 L took 4 mL.
    assert value(formalin(), "other_reading", "mL") == pytest.approx(4)
    own = formalin(density="1.09 g/mL")
    assert value(own, "liquid_volume", "mL") == pytest.approx(4 / 1.09)
    assert not any("1.08 kg" in one.text for one in own.assumptions)


REPEATED = {"treatments": 3, "interval": "48 h", "change_between": "50 %"}


def test_full_doses_add_up_over_water_changes() -> None:
    # By hand: 1, 0.5, 1.5, 0.75, 1.75 doses of 10 mg/L.
    given = asked(**REPEATED)
    levels = [row["level"]["value"] for row in as_json(given)["results"]["course"]]
    assert levels == pytest.approx([1, 0.5, 1.5, 0.75, 1.75])
    assert value(given, "highest_level") == pytest.approx(1.75)
    assert value(given, "highest_concentration") == pytest.approx(17.5)
    assert value(given, "redose_amount") == pytest.approx(2)
    assert value(given, "left_after_change") == pytest.approx(50)
    assert given.values["verdict"] == "watch"
    assert "doses-add-up" in codes(given)


def test_without_a_change_between_all_of_it_stays_and_is_called_over() -> None:
    given = asked(treatments=3, interval="48 h")
    assert value(given, "highest_level") == pytest.approx(3)
    assert given.values["verdict"] == "over"
    assert any("none was told" in one.text for one in given.assumptions)
    assert asked(**{**REPEATED, "change_between": "100 %"}).values["verdict"] == "ok"


def test_twice_the_dose_is_called_over_and_less_is_watched() -> None:
    assert asked(treatments=2, interval="48 h").values["verdict"] == "over"
    assert asked(treatments=2, interval="48 h", change_between="1 %").values["verdict"] == "watch"


def test_the_contact_is_over_when_the_label_says() -> None:
    given = asked(**REPEATED, contact_time="1 h")
    assert value(given, "contact_over", "h") == pytest.approx(2 * 48 + 1)
    assert [row["event"] for row in given.values["course"]][:4] == [
        "dose 1",
        "contact over 1",
        "water change 1",
        "dose 2",
    ]
    assert "contact-time" in codes(asked())
    assert "contact-time" not in codes(given)


def test_a_bath_goes_by_its_own_water_and_is_made_anew() -> None:
    given = asked(bath_volume="20 L", treatments=3, interval="1 d", contact_time="1 h")
    assert value(given, "amount") == pytest.approx(0.2)
    assert value(given, "highest_level") == 1
    assert {"bath"} <= codes(given) and "whole-system" not in codes(given)
    assert asked(bath_volume="20 L", volume=None).values["water"] == pytest.approx(0.02)


def test_a_gross_volume_is_only_used_for_want_of_a_net_one() -> None:
    gross = asked(volume=None, gross_volume="500 L")
    assert value(gross, "amount") == pytest.approx(5)
    assert gross.values["verdict"] == "watch" and "gross-volume" in codes(gross)
    # 85 to 95 % of it is water: common practice, no source.
    assert any("425 L to 475 L" in one.text for one in gross.cautions)
    both = asked(gross_volume="500 L")
    assert value(both, "amount") == pytest.approx(4)
    told = next(one.text for one in both.cautions if one.code == "gross-would-overdose")
    assert "25 %" in told


@pytest.mark.parametrize(("oxygen", "verdict"), [("9 mg/L", "ok"), ("6 mg/L", "watch"), ("4 mg/L", "over")])
def test_oxygen_left_by_formalin_is_judged_by_published_limits(oxygen: str, verdict: str) -> None:
    given = formalin(dissolved_oxygen=oxygen)  # 10 mg/L take 2.
    assert given.values["verdict"] == verdict
    assert (given.values["oxygen_left"] < LIMITS["oxygen_cold"].value) == (verdict != "ok")
    assert (given.values["oxygen_left"] < LIMITS["oxygen_warm"].value) == (verdict == "over")


def test_oxygen_is_unknown_until_told_and_no_matter_in_a_short_bath() -> None:
    assert formalin().values["verdict"] == "unknown"
    assert formalin(bath_volume="20 L", contact_time="1 h").values["verdict"] == "ok"
    assert formalin(label_concentration="200 mg/L", dissolved_oxygen="8 mg/L").values["oxygen_left"] == 0


SOFT, HARD = "40 mg/L CaCO3", "120 mg/L CaCO3"


@pytest.mark.parametrize(
    ("hardness", "alkalinity", "verdict"),
    [
        (HARD, HARD, "ok"),
        ("50 mg/L CaCO3", "50 mg/L CaCO3", "ok"),
        (SOFT, HARD, "over"),
        (HARD, SOFT, "over"),
        (HARD, "49 mg/L CaCO3", "over"),
        (HARD, None, "unknown"),
        (None, None, "unknown"),
        (None, SOFT, "over"),
    ],
)
def test_copper_is_judged_by_hardness_and_alkalinity(
    hardness: str | None, alkalinity: str | None, verdict: str
) -> None:
    given = asked(substance="copper_sulfate", hardness=hardness, alkalinity=alkalinity)
    assert given.values["verdict"] == verdict
    assert ("copper-in-soft-water" in codes(given)) == (verdict != "ok")


def test_hardness_is_no_matter_to_other_substances() -> None:
    assert asked(hardness=SOFT, alkalinity=SOFT).values["verdict"] == "ok"


@pytest.mark.parametrize(
    ("substance", "told"),
    [
        ("formalin", {"formalin", "takes-oxygen", "never-mixed"}),
        ("permanganate", {"permanganate", "permanganate-in-water", "never-mixed"}),
        ("copper_sulfate", {"copper-kills", "copper-in-soft-water"}),
        ("other", set()),
    ],
)
def test_every_treatment_comes_with_its_cautions(substance: str, told: set[str]) -> None:
    found = codes(asked(substance=substance))
    assert told | {"label-and-veterinarian", "whole-system", "air-and-watch", "people"} <= found


@pytest.mark.parametrize(
    ("changed", "pointers"),
    [
        ({"label_concentration": None}, {"/label_concentration"}),
        ({"label_dilution": "5 uL/L"}, {"/label_concentration", "/label_dilution"}),
        ({"label_concentration": "10 uL/L"}, {"/label_concentration"}),
        ({"label_concentration": "10 ppm"}, {"/label_concentration"}),
        ({"label_concentration": "-1 mg/L"}, {"/label_concentration"}),
        ({"label_concentration": "2000 g/L"}, {"/label_concentration"}),
        ({"dose_means": None}, {"/dose_means"}),
        ({"dose_means": "active"}, {"/active_share"}),
        ({"dose_means": "active", "active_share": "0 %"}, {"/active_share"}),
        ({"dose_means": "active", "active_share": "120 %"}, {"/active_share"}),
        (
            {
                "label_concentration": None,
                "label_dilution": "5 uL/L",
                "dose_means": "active",
                "active_share": "37 %",
            },
            {"/dose_means"},
        ),
        ({"label_concentration": None, "product_mass": "1 g"}, {"/product_treats"}),
        ({"label_concentration": None, "product_drops": 0, "product_treats": "1 gal"}, {"/product_drops"}),
        ({"product_treats": "1 gal"}, {"/product_treats"}),
        ({"drop_volume": "0.03 mL"}, {"/drop_volume"}),
        ({"density": "1.08 kg/L", "strength": "10 g/L"}, {"/strength"}),
        ({"density": "1.08 kg/m3"}, {"/density"}),
        ({"volume": None}, {"/volume"}),
        ({"volume": "0 L"}, {"/volume"}),
        ({"gross_volume": "300 L"}, {"/gross_volume"}),
        ({"treatments": 2}, {"/interval"}),
        ({"treatments": 0}, {"/treatments"}),
        ({"interval": "1 d"}, {"/interval"}),
        ({"treatments": 2, "interval": "1 d", "contact_time": "25 h"}, {"/contact_time"}),
        ({"bath_volume": "20 L", "change_between": "50 %"}, {"/change_between"}),
        ({"change_between": "101 %"}, {"/change_between"}),
        ({"hardness": "3 dKH"}, {"/hardness"}),
        ({"strength": "0.001 mg/L"}, {"/label_concentration"}),
    ],
)
def test_what_can_not_be_is_refused_at_its_place(changed: dict[str, Any], pointers: set[str]) -> None:
    assert refusal(**changed).keys() == pointers


def test_pure_copper_sulfate_is_a_quarter_copper_in_the_hint() -> None:
    # By hand from CIAAW weights: 63.546 / 249.68.
    told = refusal(substance="copper_sulfate", dose_means="active")
    assert "25.45 % copper" in told["/active_share"]


ANYTHING = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.just([])
AMOUNTS = st.builds(
    "{} {}".format,
    st.floats(-1e15, 1e15),
    st.sampled_from(["mg/L", "mg/kg", "uL/L", "L", "g", "mL", "%", "h", "kg/L", "dGH"]),
)


@given(
    st.fixed_dictionaries(
        {
            "substance": st.sampled_from(["formalin", "copper_sulfate", "other"]),
            "dose_means": st.sampled_from(["product", "active"]),
            "volume": st.builds("{} L".format, st.floats(1e-9, 1e15)),
            "label_concentration": st.builds("{} mg/L".format, st.floats(1e-15, 1e9)) | ANYTHING,
        },
        optional={
            name: AMOUNTS | ANYTHING | st.integers(1, 70)
            for name in DOSE_TREATMENT.params
            if name not in ("substance", "dose_means", "volume", "label_concentration")
        },
    )
)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body) -> None:
    try:
        given = answer(DOSE_TREATMENT, body)
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(given), allow_nan=False)
