import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.chemistry import (
    COMPOUNDS,
    DOSED,
    IONS,
    Compound,
    atoms,
    carried,
    dose_mass,
    molar_mass,
    rise_by,
    stock_bounds,
)
from weirbook.engine.relations.structure import WATER_DENSITY
from weirbook.engine.units import to_si

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"

SALTS = {one.formula: one for one in COMPOUNDS.values()}

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
"""The targets of the published tables as a parameter and its unit."""

HALF_A_DIGIT = 5e-5
"""Of four decimals, as the tables print; trailing zeros are trimmed there."""


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


@pytest.mark.parametrize("row", rows("molar_masses"), ids=lambda row: row["formula"])
def test_a_formula_weighs_what_its_atoms_weigh(row: dict[str, str]) -> None:
    weighed = 1000 * molar_mass(row["formula"])
    assert weighed == pytest.approx(float(row["molar_mass_g_per_mol"]), abs=HALF_A_DIGIT)
    assert weighed == pytest.approx(float(row["molmass_library_g_per_mol"]), rel=2e-4)


@pytest.mark.parametrize("formula", ["", "nacl", "Na-Cl", "Ca(NO3", "NaCl.", "2", "Na Cl"])
def test_what_is_no_formula_is_not_read_as_one(formula: str) -> None:
    with pytest.raises(ValueError, match="not a formula"):
        atoms(formula)


@pytest.mark.parametrize(
    "row",
    rows("salt_dose_factors"),
    ids=lambda row: f"{row['salt']}-{row['target_unit_rise_of_1']}",
)
def test_a_litre_takes_the_published_mass_for_a_rise_of_one(row: dict[str, str]) -> None:
    parameter, unit = TARGETS[row["target_unit_rise_of_1"]]
    needed = dose_mass(SALTS[row["salt"]], parameter, to_si(1, unit, DOSED[parameter]), 0.001)
    assert needed * 1e6 == pytest.approx(float(row["mg_salt_per_l"]), abs=HALF_A_DIGIT)


@pytest.mark.parametrize("row", rows("salt_dose_cases"), ids=lambda row: row["salt"])
def test_published_doses_count_volume_rise_and_purity(row: dict[str, str]) -> None:
    parameter, unit = TARGETS[row["target"]]
    rise = to_si(float(row["rise"]), unit, DOSED[parameter])
    volume, purity = float(row["volume_l"]) / 1000, float(row["purity_fraction"])
    needed = dose_mass(SALTS[row["salt"]], parameter, rise, volume, purity)
    assert needed * 1000 == pytest.approx(float(row["dose_g"]), abs=HALF_A_DIGIT)


@pytest.mark.parametrize("row", rows("stock_solution_dosing"), ids=lambda row: row["salt"])
def test_a_stock_solution_raises_by_the_published_value(row: dict[str, str]) -> None:
    parameter, unit = TARGETS[row["target"]]
    mass = float(row["stock_g_per_l"]) * float(row["dose_ml"]) * 1e-6
    raised = rise_by(SALTS[row["salt"]], parameter, mass, float(row["tank_volume_l"]) / 1000)
    printed = float(row["resulting_rise"])
    assert raised == pytest.approx(to_si(printed, unit, DOSED[parameter]), rel=1.5e-5)


@pytest.mark.parametrize("row", rows("sodium_bicarbonate_addition"), ids=lambda row: row["start_dkh"])
def test_bicarbonate_raises_alkalinity_as_a_chemical_equilibrium_model_finds(row: dict[str, str]) -> None:
    added = float(row["nahco3_added_mg_per_l"]) / 1000
    start, end = (to_si(float(row[name]), "dKH", "alkalinity") for name in ("start_dkh", "end_dkh"))
    raised = rise_by(SALTS["NaHCO3"], "alkalinity", added, 1.0)
    assert start + raised == pytest.approx(end, rel=1e-3)


def grams_to_100_g_of_water(row: dict[str, str]) -> float:
    value = float(row["value"])
    if row["unit"] == "mol_per_kg_water":
        return value * molar_mass(row["salt_anhydrous_basis"]) * 100
    return 100 * value / (100 - value) if row["unit"] == "mass_percent" else value


KNOWN = [one for one in COMPOUNDS.values() if one.solubility is not None]


def test_every_salt_of_the_table_of_solubilities_has_one() -> None:
    told = {row["salt_anhydrous_basis"] for row in rows("solubility_of_salts")}
    bare = {one.formula.partition(".")[0] for one in COMPOUNDS.values()}
    assert {one.solubility.anhydrous for one in KNOWN if one.solubility} == told
    assert all(one.solubility for one in COMPOUNDS.values() if one.formula.partition(".")[0] in told & bare)


@pytest.mark.parametrize("compound", KNOWN, ids=lambda one: one.formula)
def test_every_solubility_is_that_of_the_table_and_says_whether_it_was_read(compound: Compound) -> None:
    known = compound.solubility
    assert known is not None
    same = [
        row
        for row in rows("solubility_of_salts")
        if row["salt_anhydrous_basis"] == known.anhydrous
        and float(row["temp_c"]) + 273.15 == pytest.approx(known.temperature)
    ]
    assert same
    for row in same:
        assert known.per_100_g == pytest.approx(grams_to_100_g_of_water(row), rel=0.03)
    assert any(known.per_100_g == pytest.approx(grams_to_100_g_of_water(row), rel=1e-9) for row in same)
    assert known.read == any(row["provenance"] == "read" for row in same)


def test_solubility_never_falls_from_20_to_25_degrees_by_more_than_a_table_differs_from_another() -> None:
    at = {(row["salt_anhydrous_basis"], row["temp_c"]): row for row in rows("solubility_of_salts")}
    for compound in COMPOUNDS.values():
        known = compound.solubility
        if known is not None and known.read:
            warmer = grams_to_100_g_of_water(at[known.anhydrous, "25"])
            assert warmer > known.per_100_g * 0.99


@pytest.mark.parametrize(
    "row",
    rows("stock_solution_density"),
    ids=lambda row: f"{row['salt_anhydrous']}-{row['mass_percent']}-{row['temp_c']}",
)
def test_the_bounds_of_a_stock_hold_at_published_densities(row: dict[str, str]) -> None:
    """A solution that is full at this share: what a litre really holds lies between the bounds."""
    share = float(row["mass_percent"]) / 100
    held = float(row["g_salt_per_l_solution"])
    tolerance = 0.003 * held
    assert share * WATER_DENSITY - tolerance <= held <= share / (1 - share) * WATER_DENSITY + tolerance


def test_crystal_water_is_counted_as_water_of_the_solution() -> None:
    # 74.5 g CaCl2 (110.978 g/mol) to 100 g of water, weighed as dihydrate (147.008 g/mol).
    gypsum, chloride = COMPOUNDS["calcium_sulfate_dihydrate"], COMPOUNDS["calcium_chloride_dihydrate"]
    surely, at_most = stock_bounds(chloride) or (0, 0)
    assert at_most == pytest.approx(74.5 / 100 * 998.2 * 147.008 / 110.978, rel=1e-4)
    wettest = stock_bounds(COMPOUNDS["calcium_chloride_hexahydrate"]) or (0, 0)
    assert wettest[1] / at_most == pytest.approx(219.068 / 147.008, rel=1e-4)
    assert surely == pytest.approx(at_most * 100 / 174.5, rel=1e-9)
    # 0.205 % of gypsum's saturated solution is CaSO4: 2.05 g/L, as gypsum 2.6 g/L.
    assert stock_bounds(gypsum) == pytest.approx((2.59, 2.59), abs=0.01)
    assert stock_bounds(COMPOUNDS["sodium_carbonate"]) is None


@pytest.mark.parametrize("compound", SALTS.values(), ids=lambda one: one.formula)
def test_a_salt_gives_as_much_positive_charge_as_negative(compound: Compound) -> None:
    assert sum(IONS[ion].charge * count for ion, count in compound.ions.items()) == 0


@pytest.mark.parametrize("compound", SALTS.values(), ids=lambda one: one.formula)
def test_a_salt_is_its_ions_and_its_crystal_water(compound: Compound) -> None:
    whole = dict(atoms(compound.formula))
    water = compound.formula.partition(".")[2]
    for part, times in [*compound.ions.items(), *([(water, 1)] if water else [])]:
        for element, count in atoms(part).items():
            whole[element] -= count * times
    assert set(whole.values()) == {0}


@given(
    st.sampled_from(sorted(SALTS)),
    st.sampled_from(sorted(DOSED)),
    st.floats(1e-4, 10),
    st.floats(1e-3, 100),
    st.floats(0.1, 1),
)
def test_what_a_dose_raises_is_what_it_was_worked_out_for(
    formula: str, parameter: str, rise: float, volume: float, purity: float
) -> None:
    compound = SALTS[formula]
    if not carried(compound, parameter):
        with pytest.raises(ZeroDivisionError):
            dose_mass(compound, parameter, rise, volume, purity)
        return
    mass = dose_mass(compound, parameter, rise, volume, purity)
    assert rise_by(compound, parameter, mass, volume, purity) == pytest.approx(rise, rel=1e-12)
    assert mass * purity >= dose_mass(compound, parameter, rise, volume) * (1 - 1e-12)
