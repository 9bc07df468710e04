"""Carbonates against published tables and a general model of chemical equilibrium: fixtures/published/SOURCES.md."""

import csv
import math
import random
from pathlib import Path

import phreeqpython
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.air import ATMOSPHERE
from weirbook.engine.relations.carbonate import (
    CO2_MASS,
    calcite_index,
    carbonate_alkalinity,
    co2_under_gas,
    davies,
    debye_hueckel,
    dielectric,
    equilibria,
    from_alkalinity,
    from_co2,
    ph_at,
    pk1,
    pk2,
    pk_calcite,
    pkh,
    pkw,
)
from weirbook.engine.units import to_si

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
LAST_OF_FOUR = 5.1e-5
"""Half the last of four decimals, and the rounding of the computation."""

phs = st.floats(5.5, 9.5)
alkalinities = st.floats(0.3, 20)
kelvins = st.floats(273.15, 313.15)
strengths = st.floats(0, 100)


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open(encoding="utf-8")))


def kelvin(row: dict[str, str]) -> float:
    return float(row["temp_c"]) + 273.15


@pytest.fixture(scope="module")
def phreeqc() -> phreeqpython.PhreeqPython:
    return phreeqpython.PhreeqPython(database="phreeqc.dat")


@pytest.mark.parametrize("row", rows("carbonate_constants"), ids=lambda row: row["temp_c"])
def test_constants_are_the_published_ones(row: dict[str, str]) -> None:
    for column, constant in (
        ("pk1_plummer_busenberg", pk1),
        ("pk2_plummer_busenberg", pk2),
        ("pkh_mol_per_l_atm", pkh),
        ("pk_calcite", pk_calcite),
        ("pkw_pyco2sys", pkw),
    ):
        assert constant(kelvin(row)) == pytest.approx(float(row[column]), abs=LAST_OF_FOUR), column


@pytest.mark.parametrize("row", rows("carbonate_constants"), ids=lambda row: row["temp_c"])
def test_another_set_of_constants_is_close(row: dict[str, str]) -> None:
    assert pk1(kelvin(row)) == pytest.approx(float(row["pk1_millero1979_pyco2sys"]), abs=0.002)
    assert pk2(kelvin(row)) == pytest.approx(float(row["pk2_millero1979_pyco2sys"]), abs=0.002)


# Textbook values, from memory: permittivity 78.3 and A = 0.509 at 25 degC. The model below holds them too.
def test_water_at_25_degrees_has_the_textbooks_permittivity() -> None:
    assert dielectric(298.15) == pytest.approx(78.3, abs=0.1)
    assert debye_hueckel(298.15) == pytest.approx(0.509, abs=0.003)


@pytest.mark.parametrize(
    "row", rows("co2_factor_from_ph_alkalinity"), ids=lambda row: f"{row['ph']}-{row['temp_c']}"
)
def test_uncorrected_co2_is_that_of_the_extension_table(row: dict[str, str]) -> None:
    alkalinity = to_si(100, "mg/L CaCO3", "alkalinity")
    found = from_alkalinity(equilibria(kelvin(row)), float(row["ph"]), alkalinity).co2 * CO2_MASS * 1000 / 100
    assert found == pytest.approx(float(row["mg_co2_per_mg_alkalinity_as_caco3"]), rel=0.012)
    assert found == pytest.approx(float(row["ideal_dilute_formula"]), rel=5e-4)


@pytest.mark.parametrize(
    "row", rows("co2_speciation"), ids=lambda row: f"{row['alkalinity_dkh']}-{row['ph']}"
)
def test_species_are_those_of_the_equilibrium_model(row: dict[str, str]) -> None:
    alkalinity, ph = float(row["alkalinity_meq_per_l"]), float(row["ph"])
    found = from_alkalinity(equilibria(kelvin(row), alkalinity), ph, alkalinity)
    assert found.co2 * CO2_MASS * 1000 == pytest.approx(float(row["co2_mg_per_l_phreeqc"]), rel=3e-3)
    assert found.bicarbonate == pytest.approx(float(row["hco3_mmol_per_l_phreeqc"]), rel=3e-3)
    assert found.carbonate == pytest.approx(float(row["co3_mmol_per_l_phreeqc"]), rel=1e-2)
    assert found.inorganic_carbon == pytest.approx(float(row["dic_mmol_per_l_phreeqc"]), rel=3e-3)
    ideal = from_alkalinity(equilibria(kelvin(row)), ph, alkalinity).co2 * CO2_MASS * 1000
    assert ideal == pytest.approx(float(row["co2_mg_per_l_ideal_dilute"]), rel=1e-3)


@pytest.mark.parametrize(
    "row", rows("ph_in_equilibrium_with_air"), ids=lambda row: f"{row['alkalinity_dkh']}-{row['temp_c']}"
)
def test_water_in_balance_with_air_has_the_models_ph(row: dict[str, str]) -> None:
    alkalinity = to_si(float(row["alkalinity_dkh"]), "dKH", "alkalinity")
    co2 = co2_under_gas(kelvin(row), float(row["pco2_ppm_atm"]) * 1e-6 * ATMOSPHERE)
    assert co2 * CO2_MASS * 1000 == pytest.approx(float(row["co2_mg_per_l"]), abs=1.5e-3)
    corrected, ideal = equilibria(kelvin(row), alkalinity), equilibria(kelvin(row))
    assert ph_at(corrected, alkalinity, co2) == pytest.approx(float(row["equilibrium_ph"]), abs=0.005)
    assert ph_at(ideal, alkalinity, co2) == pytest.approx(float(row["equilibrium_ph"]), abs=0.04)


@pytest.mark.parametrize("row", rows("sodium_bicarbonate_addition"), ids=lambda row: row["end_dkh"])
def test_bicarbonate_raises_ph_as_in_the_model(row: dict[str, str]) -> None:
    start, end = (
        to_si(float(row[f"{when}_alkalinity_mg_caco3_per_l"]), "mg/L CaCO3", "alkalinity")
        for when in ("start", "end")
    )
    co2 = from_alkalinity(equilibria(kelvin(row), start), float(row["start_ph"]), start).co2
    found = ph_at(equilibria(kelvin(row), end), end, co2)
    assert found == pytest.approx(float(row["end_ph_closed_system"]), abs=0.03)


def random_waters(count: int) -> list[dict[str, float | str]]:
    drawn = random.Random(20261126)
    return [
        {
            "temp": drawn.uniform(5, 35),
            "pH": drawn.uniform(6, 8.8),
            "units": "mmol/kgw",
            "Alkalinity": alkalinity,
            "Na": alkalinity + drawn.uniform(0.1, 10),
            "Cl": "1 charge",
        }
        for alkalinity in (drawn.uniform(0.3, 6) for _ in range(count))
    ]


@pytest.mark.parametrize("water", random_waters(12), ids=lambda water: f"{water['pH']:.2f}")
def test_any_sodium_water_has_the_models_species(
    water: dict[str, float | str], phreeqc: phreeqpython.PhreeqPython
) -> None:
    # Tolerance 1 %: the model has another activity equation for each ion, and pairs of ions.
    solution = phreeqc.add_solution(water)
    at = equilibria(float(water["temp"]) + 273.15, solution.I * 1000)
    found = from_alkalinity(at, float(water["pH"]), float(water["Alkalinity"]))
    assert found.co2 == pytest.approx(solution.species_molalities["CO2"] * 1000, rel=0.01)
    assert found.bicarbonate == pytest.approx(solution.species_molalities["HCO3-"] * 1000, rel=0.01)
    assert found.inorganic_carbon == pytest.approx(solution.elements["C(4)"] * 1000, rel=0.01)
    assert found.hydroxide == pytest.approx(solution.species_molalities["OH-"] * 1000, rel=0.02)
    assert found.hydrogen == pytest.approx(solution.species_molalities["H+"] * 1000, rel=0.02)


@pytest.mark.parametrize(("celsius", "ph", "calcium"), [(25, 7.2, 0.9), (10, 8.1, 1.5), (30, 7.8, 0.4)])
def test_the_calcite_index_is_the_models(
    celsius: float, ph: float, calcium: float, phreeqc: phreeqpython.PhreeqPython
) -> None:
    # Tolerance 0.05: the model binds a few percent of calcium and carbonate in pairs.
    water = {
        "temp": celsius,
        "pH": ph,
        "units": "mmol/kgw",
        "Alkalinity": 1.8,
        "Ca": calcium,
        "Cl": "1 charge",
    }
    solution = phreeqc.add_solution({**water, "Na": 1.5})
    at = equilibria(celsius + 273.15, solution.I * 1000)
    carbonate = from_alkalinity(at, ph, 1.8).carbonate
    found = calcite_index(at, celsius + 273.15, calcium, carbonate)
    assert found == pytest.approx(solution.si("Calcite"), abs=0.05)


@given(phs, alkalinities, kelvins, strengths)
def test_ph_by_alkalinity_and_co2_is_the_ph_they_came_from(
    ph: float, alkalinity: float, temperature: float, strength: float
) -> None:
    at = equilibria(temperature, strength)
    found = from_alkalinity(at, ph, alkalinity)
    assert found.alkalinity == pytest.approx(alkalinity, rel=1e-9)
    assert ph_at(at, alkalinity, found.co2) == pytest.approx(ph, abs=1e-9)
    assert from_co2(at, ph, found.co2).bicarbonate == pytest.approx(found.bicarbonate, rel=1e-9)


@given(phs, alkalinities, kelvins, st.floats(1.01, 3))
def test_more_co2_lowers_ph_and_more_alkalinity_raises_it(
    ph: float, alkalinity: float, temperature: float, more: float
) -> None:
    at = equilibria(temperature)
    co2 = from_alkalinity(at, ph, alkalinity).co2
    assert ph_at(at, alkalinity, co2 * more) < ph < ph_at(at, alkalinity * more, co2)


def test_pure_water_is_neutral_and_water_under_air_is_the_textbooks_5_6() -> None:
    at = equilibria(298.15)
    assert ph_at(at, 0.0, 1e-12) == pytest.approx(pkw(298.15) / 2, abs=1e-3)
    # Rain in balance with 350 to 420 ppm has pH 5.6, in any textbook of rain; from memory.
    assert ph_at(at, 0.0, co2_under_gas(298.15, 380e-6 * 101325)) == pytest.approx(5.6, abs=0.05)


# Davies's equation at 0.1 mol/L: sqrt(0.1) / (1 + sqrt(0.1)) - 0.03 = 0.2102, worked by hand.
def test_ions_hold_each_other_back_by_the_equation_of_davies() -> None:
    assert davies(298.15, 100) / debye_hueckel(298.15) == pytest.approx(0.2102, abs=1e-4)


def test_without_ions_nothing_is_corrected() -> None:
    assert davies(298.15, 0.0) == 0
    assert (equilibria(298.15).single, equilibria(298.15).double) == (1, 1)
    assert equilibria(298.15, 10).double == pytest.approx(equilibria(298.15, 10).single ** 4)


def test_too_little_alkalinity_for_a_ph_leaves_none_for_carbonates() -> None:
    at = equilibria(298.15)
    hydroxide = 10 ** (3 + 10.5 - pkw(298.15))
    assert carbonate_alkalinity(at, 10.5, hydroxide / 2) < 0
    assert carbonate_alkalinity(at, 5.0, 0.0) == pytest.approx(0.01, rel=1e-3)


@given(st.floats(1e-4, 1), kelvins)
def test_calcite_index_rises_by_one_for_ten_times_the_calcium(calcium: float, temperature: float) -> None:
    at = equilibria(temperature, 5)
    index = calcite_index(at, temperature, calcium, 0.01)
    assert calcite_index(at, temperature, calcium * 10, 0.01) == pytest.approx(index + 1)
    saturated = calcium / 10**index
    product = saturated * 0.01 * at.double**2 / 1e6
    assert math.log10(product) == pytest.approx(-pk_calcite(temperature))
