import csv
import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.dose_stock import DOSE_STOCK
from weirbook.engine.relations.chemistry import COMPOUNDS, DOSED, IONS, carried, molar_mass
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.engine.units import KINDS
from weirbook.errors import Invalid

FEW = settings(max_examples=50)
"""Whole answers take a while; the relations below them are tried more often."""
PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
WORDS = {one.formula: word for word, one in COMPOUNDS.items()}
TARGETS = {
    "dkh": ("alkalinity", "dKH"),
    "dgh": ("hardness", "dGH"),
    "mg_no3_per_l": ("nitrate", "mg/L NO3"),
    "mg_po4_per_l": ("phosphate", "mg/L PO4"),
    "mg_k_per_l": ("potassium", "mg/L K"),
    "mg_mg_per_l": ("magnesium", "mg/L"),
}
POTASH = {
    "parameter": "nitrate",
    "volume": "100 L",
    "rise": "1 mg/L NO3",
    "compound": "potassium_nitrate",
    "strength": "100 g/L",
}


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


def of_row(row: dict[str, str], **more: Any) -> Answer:
    parameter, unit = TARGETS[row["target"]]
    told = {
        "parameter": parameter,
        "volume": f"{row['tank_volume_l']} L",
        "rise": f"{row['resulting_rise']} {unit}",
        "compound": WORDS[row["salt"]],
        "bottle": "2 L",
    }
    return answer(DOSE_STOCK, {**told, **more})


def asked(**more: Any) -> Answer:
    return answer(DOSE_STOCK, {**POTASH, **more})


def codes(found: Answer) -> set[str]:
    return {one.code for one in found.cautions}


def refusal(**more: Any) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        asked(**more)
    return {fault.pointer: fault.message for fault in refused.value.faults}


@pytest.mark.parametrize("row", rows("stock_solution_dosing"), ids=lambda row: row["salt"])
def test_a_rise_takes_the_published_millilitres(row: dict[str, str]) -> None:
    found = of_row(row, strength=f"{row['stock_g_per_l']} g/L")
    assert found.quantity("dose_volume").value == pytest.approx(float(row["dose_ml"]), rel=1.5e-5)
    by_one = float(row["resulting_rise"]) / float(row["dose_ml"])
    assert found.quantity("rise_by_1_ml", TARGETS[row["target"]][1]).value == pytest.approx(
        by_one, rel=1.5e-5
    )
    assert found.values["doses"] == pytest.approx(2000 / float(row["dose_ml"]), abs=1)


@pytest.mark.parametrize("row", rows("stock_solution_dosing"), ids=lambda row: row["salt"])
def test_a_dose_takes_the_published_strength(row: dict[str, str]) -> None:
    found = of_row(row, dose_volume=f"{row['dose_ml']} mL")
    assert found.quantity("strength").value == pytest.approx(float(row["stock_g_per_l"]), rel=1.5e-5)
    assert found.quantity("amount", "g").value == pytest.approx(2 * float(row["stock_g_per_l"]), rel=1.5e-5)


SOLUTIONS = [
    (row, compound)
    for row in rows("stock_solution_density")
    for compound in COMPOUNDS.values()
    if compound.solubility and compound.solubility.anhydrous == row["salt_anhydrous"]
]


@pytest.mark.parametrize(
    ("row", "compound"),
    SOLUTIONS,
    ids=[f"{one.formula}-{row['mass_percent']}-{row['temp_c']}" for row, one in SOLUTIONS],
)
def test_solutions_whose_density_is_published_dissolve(row: dict[str, str], compound: Any) -> None:
    """A general library computes their density: so they exist, and none is refused."""
    weighed = float(row["g_salt_per_l_solution"]) * compound.molar_mass / molar_mass(row["salt_anhydrous"])
    parameter = next(name for name in DOSED if carried(compound, name))
    unit = KINDS[DOSED[parameter]].default
    told = {"parameter": parameter, "rise": f"0.1 {unit}", "compound": WORDS[compound.formula]}
    found = asked(**told, strength=f"{weighed} g/L", stock_temperature=f"{row['temp_c']} degC")
    assert found.values["fullness"] < 1
    assert "stock-may-not-dissolve" not in codes(found)


def saturated(row: dict[str, str]) -> float:
    """g without crystal water to 100 g of water."""
    value = float(row["value"])
    if row["unit"] == "mol_per_kg_water":
        return value * molar_mass(row["salt_anhydrous_basis"]) * 100
    return 100 * value / (100 - value) if row["unit"] == "mass_percent" else value


@pytest.mark.parametrize(
    "row", rows("solubility_of_salts"), ids=lambda row: f"{row['salt_anhydrous_basis']}-{row['temp_c']}"
)
def test_half_of_what_a_table_says_dissolves_is_no_worry_and_twice_as_much_is_refused(
    row: dict[str, str],
) -> None:
    for compound in COMPOUNDS.values():
        if compound.solubility is None or compound.solubility.anhydrous != row["salt_anhydrous_basis"]:
            continue
        parameter = next(name for name in DOSED if carried(compound, name))
        told = {
            "parameter": parameter,
            "rise": f"0.1 {KINDS[DOSED[parameter]].default}",
            "compound": WORDS[compound.formula],
            "stock_temperature": "20 degC",
            "volume": "10 L",
        }
        # A litre of water at 20 degC weighs 998.2 g; the crystals' own water is weighed with them.
        crystals = compound.molar_mass / molar_mass(row["salt_anhydrous_basis"])
        most = saturated(row) / 100 * 998.2 * crystals
        surely = most / (1 + saturated(row) / 100)
        well = asked(**told, strength=f"{surely / 2} g/L")
        assert well.values["verdict"] == "ok"
        own = float(row["temp_c"]) + 273.15 == compound.solubility.temperature
        # A table at 25 degC tells up to a fifth more than that at 20, which is used for what was read.
        assert well.values["fullness"] == pytest.approx(0.5, rel=0.03 if own else 0.2)
        assert "/strength" in refusal(**told, strength=f"{most * 1.6} g/L")
        near = asked(**told, strength=f"{surely * 0.95} g/L")
        assert near.values["verdict"] == "watch"


def test_a_bottle_is_weighed_and_lasts_as_reckoned_by_hand() -> None:
    # 1 mg/L of nitrate in 100 L: 100 mg x 101.1023 / 62.004 = 163.06 mg of salt, 1.6306 mL of 100 g/L; 500 mL hold
    # 306.6 such doses, 306 whole ones; every second day that is 612 days.
    found = asked(dose_interval="2 d")
    assert found.quantity("dose_volume").value == pytest.approx(1.6306, abs=5e-5)
    assert found.quantity("amount", "g").value == pytest.approx(50)
    assert found.values["doses"] == 306
    assert found.quantity("lasts", "d").value == pytest.approx(612)
    assert found.values["verdict"] == "ok"


def test_whole_doses_are_not_lost_to_the_last_digit_of_a_float() -> None:
    told = {"strength": None, "dose_volume": "0.7 mL", "bottle": "2.1 mL"}
    assert asked(**told).values["doses"] == 3


def test_all_salts_of_the_bottle_count_toward_the_rise() -> None:
    # Potassium by both: 100 / 101.1023 + 2 x 50 / 174.2526 = 1.562976 mol to a litre, x 39.0983 = 61.110 g.
    others = [{"compound": "potassium_sulfate", "strength": "50 g/L"}]
    told = {"parameter": "potassium", "rise": "1 mg/L K", "others": others}
    found = asked(**told)
    assert found.quantity("dose_volume").value == pytest.approx(100 / 61.110, rel=1e-4)
    back = asked(**told, strength=None, dose_volume=f"{100 / 61.110} mL")
    assert back.quantity("strength").value == pytest.approx(100, rel=2e-4)
    potassium = next(row for row in found.values["ions_added"] if row["ion"] == "potassium")
    assert potassium["rise"] * 1000 == pytest.approx(1)
    assert refusal(**told, strength=None, dose_volume="10 mL").keys() == {"/dose_volume"}


def test_impure_salt_takes_more() -> None:
    pure, half = (
        asked(strength=None, dose_volume="5 mL"),
        asked(strength=None, dose_volume="5 mL", purity="50 %"),
    )
    assert half.values["strength"] == pytest.approx(2 * pure.values["strength"])


@pytest.mark.parametrize(
    ("one", "parameter", "other", "words"),
    [
        ("calcium_chloride_dihydrate", "calcium", "monopotassium_phosphate", "calcium with phosphate"),
        ("calcium_chloride_dihydrate", "calcium", "magnesium_sulfate_heptahydrate", "calcium with sulfate"),
        ("calcium_nitrate_tetrahydrate", "calcium", "sodium_bicarbonate", "calcium with bicarbonate"),
        ("calcium_nitrate_tetrahydrate", "calcium", "sodium_carbonate", "calcium with carbonate"),
        (
            "magnesium_sulfate_heptahydrate",
            "magnesium",
            "monopotassium_phosphate",
            "magnesium with phosphate",
        ),
        (
            "magnesium_chloride_hexahydrate",
            "magnesium",
            "potassium_bicarbonate",
            "magnesium with bicarbonate",
        ),
        ("monopotassium_phosphate", "potassium", "magnesium_nitrate_hexahydrate", "magnesium with phosphate"),
    ],
)
def test_salts_that_make_sludge_are_kept_apart(one: str, parameter: str, other: str, words: str) -> None:
    unit = KINDS[DOSED[parameter]].default
    told = {"parameter": parameter, "rise": f"1 {unit}", "compound": one, "strength": "20 g/L"}
    found = asked(**told, others=[{"compound": other, "strength": "10 g/L"}])
    assert found.values["verdict"] == "over"
    assert words in found.values["why"]
    assert "falls-out" in codes(found)
    assert "falls-out" not in codes(asked(**told))


def test_salts_that_get_along_are_not_warned_of() -> None:
    others = [{"compound": "monopotassium_phosphate", "strength": "6 g/L"}]
    assert not {"falls-out", "sets-gas-free"} & codes(asked(others=others))
    epsom = {"parameter": "magnesium", "rise": "1 mg/L", "compound": "magnesium_sulfate_heptahydrate"}
    assert "falls-out" not in codes(
        asked(**epsom, others=[{"compound": "potassium_sulfate", "strength": "9 g/L"}])
    )


def test_an_acid_phosphate_with_bicarbonate_bursts_no_bottle_unsaid() -> None:
    found = asked(
        parameter="phosphate",
        rise="0.1 mg/L PO4",
        compound="monopotassium_phosphate",
        strength="10 g/L",
        others=[{"compound": "sodium_bicarbonate", "strength": "10 g/L"}],
    )
    assert found.values["verdict"] == "over"
    assert "sets-gas-free" in codes(found)


def test_salts_that_dissolve_alone_may_not_together() -> None:
    # 160 of 239.7 and 130 of 199.3 g/L, each two thirds.
    found = asked(strength="160 g/L", others=[{"compound": "monopotassium_phosphate", "strength": "130 g/L"}])
    assert found.values["verdict"] == "watch"
    assert "together" in found.values["why"]


def test_a_salt_of_unknown_solubility_is_said_to_be() -> None:
    found = asked(parameter="potassium", rise="1 mg/L K", compound="potassium_chloride")
    assert found.values["verdict"] == "unknown"
    assert found.values["fullness"] is None
    assert "solubility-unknown" in codes(found)


def test_an_unusual_dose_is_cautioned_about() -> None:
    big = {"parameter": "alkalinity", "rise": "2 dKH", "compound": "sodium_bicarbonate", "strength": "60 g/L"}
    assert "large-dose" in codes(asked(**big))
    assert "large-dose" not in codes(asked(**{**big, "rise": "1 dKH"}))
    assert "adds-water" in codes(asked(strength="0.1 g/L", bottle="5 L"))
    assert "small-dose" in codes(asked(rise="0.01 mg/L NO3"))
    ammonium = {"parameter": "total_ammonia", "rise": "1 mg/L NH3-N", "compound": "ammonium_chloride"}
    assert "poisons-animals" in codes(asked(**ammonium))
    # 14.007 of 62.004 g.
    assert any(
        f"{14.007 / 62.004:.3g} mg/L NO3-N" in one.text for one in asked().cautions if one.code == "two-forms"
    )


@pytest.mark.parametrize(
    ("told", "pointers"),
    [
        ({"dose_volume": "5 mL"}, {"/strength", "/dose_volume"}),
        ({"strength": None}, {"/strength", "/dose_volume"}),
        ({"compound": "potassium_sulfate"}, {"/compound"}),
        ({"strength": "320 g/L"}, {"/strength"}),
        ({"strength": None, "dose_volume": "0.5 mL"}, {"/dose_volume"}),
        ({"others": [{"compound": "potassium_nitrate", "strength": "1 g/L"}]}, {"/others/0/compound"}),
        ({"others": [{"compound": "sodium_chloride", "strength": "500 g/L"}]}, {"/others/0/strength"}),
        ({"others": [{"compound": "sodium_chloride"}]}, {"/others/0/strength"}),
        ({"bottle": "1 mL"}, {"/bottle"}),
        ({"strength": "1 mg/L"}, {"/strength"}),
        ({"rise": "0 mg/L NO3"}, {"/rise"}),
        ({"rise": "1 mg/L"}, {"/rise"}),
        ({"volume": "-4 L"}, {"/volume"}),
        ({"stock_temperature": "0 K"}, {"/stock_temperature"}),
        ({"dose_interval": "1 min"}, {"/dose_interval"}),
        ({"purity": "101 %"}, {"/purity"}),
        (
            {
                "parameter": "salt",
                "rise": "1 g/L",
                "compound": "sodium_chloride",
                "others": [{"compound": "potassium_chloride", "strength": "1 g/L"}],
            },
            {"/parameter"},
        ),
    ],
)
def test_what_can_not_be_is_refused_at_its_place(told: dict[str, Any], pointers: set[str]) -> None:
    assert refusal(**told).keys() == pointers


PAIRS = st.sampled_from(
    [(word, name) for word, one in COMPOUNDS.items() for name in DOSED if carried(one, name)]
)
OTHERS = st.lists(
    st.tuples(st.sampled_from(sorted(COMPOUNDS)), st.floats(0.01, 2), st.floats(0.1, 1)),
    max_size=3,
    unique_by=lambda one: one[0],
)


@st.composite
def bottles(draw) -> dict[str, Any]:
    compound, parameter = draw(PAIRS)
    others = [one for one in draw(OTHERS) if one[0] != compound]
    return {
        "parameter": parameter,
        "compound": compound,
        "rise": f"{draw(st.floats(0.01, 0.5))} {KINDS[DOSED[parameter]].default}",
        "volume": f"{draw(st.floats(5, 2000))} L",
        "purity": f"{draw(st.floats(0.1, 1))} 1",
        "strength": f"{draw(st.floats(0.3, 2.4))} g/L",
        "bottle": f"{draw(st.floats(0.1, 1000))} L",
        "others": [
            {"compound": word, "strength": f"{strength} g/L", "purity": f"{purity} 1"}
            for word, strength, purity in others
            if parameter != "salt"
        ],
    }


@FEW
@given(bottles())
def test_a_dose_brings_its_rise_and_as_much_positive_charge_as_negative(told: dict[str, Any]) -> None:
    try:
        found = answer(DOSE_STOCK, told)
    except Invalid as refused:
        assert {fault.pointer for fault in refused.faults} <= {"/bottle", "/strength"}
        return
    values = found.values
    share = values["dose_volume"] / (float(told["volume"].split()[0]) / 1000)
    purities = [told["purity"], *(one["purity"] for one in told["others"])]
    moles = {
        word: row["strength"] * float(purity.split()[0]) / COMPOUNDS[word].molar_mass * share
        for word, row, purity in zip(
            [told["compound"], *(one["compound"] for one in told["others"])],
            values["salts"],
            purities,
            strict=True,
        )
    }
    brought = math.fsum(
        amount * carried(COMPOUNDS[word], told["parameter"]) for word, amount in moles.items()
    )
    shown = as_json(found)["inputs"]["rise"]
    rise = KINDS[DOSED[told["parameter"]]]
    factor = next(unit.factor for unit in rise.units if unit.name == shown["unit"])
    assert brought == pytest.approx(shown["value"] * factor, rel=1e-9)
    charges = [
        row["rise"] / ion.molar_mass * ion.charge
        for row in values["ions_added"]
        for ion in IONS.values()
        if ion.name == row["ion"]
    ]
    assert math.fsum(charges) == pytest.approx(0, abs=1e-9 * max(map(abs, charges)))
    assert values["doses"] * values["dose_volume"] <= float(told["bottle"].split()[0]) / 1000 * (1 + 1e-8)
    back = answer(DOSE_STOCK, {**told, "strength": None, "dose_volume": f"{values['dose_volume'] * 1e6} mL"})
    assert back.values["strength"] == pytest.approx(values["strength"], rel=1e-6)


@FEW
@given(bottles(), st.booleans())
def test_every_step_follows_from_its_own_numbers(
    assert_followed, told: dict[str, Any], by_dose: bool
) -> None:
    try:
        found = answer(DOSE_STOCK, told)
    except Invalid:
        assume(False)
    if by_dose:
        dose = f"{found.values['dose_volume'] * 1e6} mL"
        found = answer(DOSE_STOCK, {**told, "strength": None, "dose_volume": dose})
    for one in found.steps:
        assert_followed(one)


ANYTHING = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.just([])
AMOUNTS = st.builds(
    "{} {}".format,
    st.floats(-1e15, 1e15),
    st.sampled_from(["dKH", "mg/L", "mg/L NO3", "g/L", "mL", "L", "d"]),
)


@FEW
@given(
    st.fixed_dictionaries(
        {
            "parameter": st.sampled_from(list(DOSED)) | ANYTHING,
            "compound": st.sampled_from(list(COMPOUNDS)) | ANYTHING,
            "volume": st.builds("{} L".format, st.floats(1e-9, 1e15)) | AMOUNTS,
            "rise": AMOUNTS | ANYTHING,
        },
        optional={
            name: AMOUNTS | ANYTHING
            for name in DOSE_STOCK.params
            if name not in ("parameter", "compound", "volume", "rise")
        },
    )
)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body) -> None:
    try:
        found = answer(DOSE_STOCK, body)
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(found), allow_nan=False)


def test_no_stock_holds_more_than_the_dry_solid_and_no_dose_goes_beyond_what_is_usual() -> None:
    with pytest.raises(Invalid) as refused:
        asked(compound="calcium_nitrate_tetrahydrate", strength="3000 g/L")
    assert [fault.pointer for fault in refused.value.faults] == ["/strength"]
    assert "dry solid itself weighs" in refused.value.faults[0].message
    assert asked(compound="calcium_nitrate_tetrahydrate", strength="300 g/L").values["verdict"] == "unknown"
    far = asked(rise="60 mg/L NO3", bottle="5 L")
    assert far.values["verdict"] == "over" and "50 mg/L NO3" in far.values["why"]
