"""Conductivity against printed tables and general libraries: fixtures/published/SOURCES.md."""

import csv
import random
from pathlib import Path

import gsw
import phreeqpython
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.chemistry import molar_mass
from weirbook.engine.relations.conductivity import (
    AT_20,
    REFERENCE_SALT,
    SCALES,
    STRENGTH_BY_SALT,
    STRENGTH_USUAL,
    TDS_BY_SALT,
    TDS_USUAL,
    DilutedSeawater,
    ionic_strength,
    linear_share,
    natural_factor,
)
from weirbook.engine.relations.water import dynamic_viscosity

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"

STRAYS = {0.0: 0.065, 5.0: 0.05, 10.0: 0.035, 15.0: 0.025, 20.0: 0.012, 25.0: 1e-12, 30.0: 0.012}
"""By how much potassium chloride, one salt, strays from natural water's function, by degC."""


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open(encoding="utf-8")))


def kelvin(row: dict[str, str]) -> float:
    return float(row["temp_c"]) + 273.15


@pytest.fixture(scope="module")
def phreeqc() -> phreeqpython.PhreeqPython:
    return phreeqpython.PhreeqPython(database="phreeqc.dat")


@pytest.mark.parametrize("row", rows("conductivity_natural_water_f25"), ids=lambda row: row["temp_c"])
def test_natural_water_has_the_printed_factor(row: dict[str, str]) -> None:
    assert natural_factor(kelvin(row)) == pytest.approx(float(row["f25"]), abs=5e-4)


# Ions move as the water thins: an equation with the viscosity's ratio, 0.962144 and its power 0.965078, stands beside
# the table in the standard, from memory. It is no proof, but would show a figure of the table that was misread.
@pytest.mark.parametrize("celsius", [0, 3.5, 7, 12.25, 18, 22.5, 29, 34.5, 40, 48])
def test_the_factor_follows_the_viscosity_of_water(celsius: float) -> None:
    ratio = dynamic_viscosity(celsius + 273.15) / dynamic_viscosity(293.15)
    by_viscosity = AT_20 * (1 - 0.962144 + 0.962144 * ratio**0.965078)
    assert natural_factor(celsius + 273.15) == pytest.approx(
        by_viscosity, rel=0.006 if celsius < 35 else 0.02
    )


@pytest.mark.parametrize(
    "row",
    rows("conductivity_buffer_vs_temperature"),
    ids=lambda row: f"{row['nominal_25c_us_per_cm']}-{row['temp_c']}",
)
def test_potassium_chloride_buffers_come_near_their_nominal(row: dict[str, str]) -> None:
    # The rows printed at 0 degC have what the handbook's potassium chloride has at 5: they are taken for that.
    celsius = float(row["temp_c"]) or 5.0
    found = float(row["conductivity_us_per_cm"]) * natural_factor(celsius + 273.15)
    assert found == pytest.approx(float(row["nominal_25c_us_per_cm"]), rel=STRAYS[celsius])


def test_the_buffers_at_0_degrees_are_those_of_5_in_the_handbook() -> None:
    at = {
        float(row["temp_c"]): float(row["conductivity_us_per_cm"])
        for row in rows("kcl_conductivity_standards")
        if row["kcl_molality_mol_per_kg"] == "0.01"
    }
    printed = next(
        float(row["conductivity_us_per_cm"])
        for row in rows("conductivity_buffer_vs_temperature")
        if (row["temp_c"], row["nominal_25c_us_per_cm"]) == ("0", "1413")
    )
    assert printed / 1413 == pytest.approx((at[0] + at[10]) / 2 / at[25], rel=0.005)
    assert printed / 1413 != pytest.approx(at[0] / at[25], rel=0.1)


@pytest.mark.parametrize(
    "row",
    rows("kcl_conductivity_standards"),
    ids=lambda row: f"{row['kcl_molality_mol_per_kg']}-{row['temp_c']}",
)
def test_standard_potassium_chloride_comes_near_its_value_at_25_degrees(row: dict[str, str]) -> None:
    at_25 = next(
        float(one["conductivity_us_per_cm"])
        for one in rows("kcl_conductivity_standards")
        if one["temp_c"] == "25" and one["kcl_molality_mol_per_kg"] == row["kcl_molality_mol_per_kg"]
    )
    found, celsius = float(row["conductivity_us_per_cm"]), float(row["temp_c"])
    assert found * natural_factor(kelvin(row)) == pytest.approx(at_25, rel=STRAYS[celsius])
    along_a_line = found / linear_share(kelvin(row), 0.0191)
    assert along_a_line == pytest.approx(at_25, rel=0.016 if celsius else 0.065)


@pytest.mark.parametrize("row", rows("practical_salinity"), ids=lambda row: row["practical_salinity"])
def test_practical_salinity_is_the_published_one(row: dict[str, str]) -> None:
    printed = float(row["practical_salinity"])
    sea = DilutedSeawater(float(row["conductivity_ms_per_cm"]) / 10, float(row["temp_c_its90"]) + 273.15)
    # A row gives salinity and the conductivity rounded to four decimals: that rounding, too.
    assert sea.salinity == pytest.approx(printed, abs=1.2e-4 if printed >= 2 else 2e-4)


def random_seawaters(count: int) -> list[tuple[float, float]]:
    drawn = random.Random(7)
    return [(10 ** drawn.uniform(-0.9, 1.75), drawn.uniform(1, 34)) for _ in range(count)]


@pytest.mark.parametrize(("conductivity", "celsius"), random_seawaters(30))
def test_practical_salinity_is_that_of_the_seawater_library(conductivity: float, celsius: float) -> None:
    expected = float(gsw.SP_from_C(conductivity, celsius, 0))
    sea = DilutedSeawater(conductivity / 10, celsius + 273.15)
    # The library scales Hill's terms to meet the scale of 1978 at 2: 0.0002 below it.
    assert sea.salinity == pytest.approx(expected, abs=1e-9 if expected >= 2 else 2e-4)


def test_sea_salts_are_weighed_as_in_the_seawater_library() -> None:
    assert gsw.SR_from_SP(1.0) == pytest.approx(REFERENCE_SALT, rel=1e-9)


def test_no_conductivity_is_no_salt() -> None:
    assert DilutedSeawater(0.0, 293.15).salinity == 0
    assert DilutedSeawater(1e-6, 288.15).salinity >= 0
    assert ionic_strength(0.0) == 0


@pytest.mark.parametrize(
    "row",
    rows("tds_conductivity_single_salts"),
    ids=lambda row: f"{row['salt_anhydrous']}-{row['tds_mg_per_l']}",
)
def test_single_salts_lie_within_the_bounds(row: dict[str, str], phreeqc: phreeqpython.PhreeqPython) -> None:
    factor = float(row["tds_mg_per_l"]) / float(row["conductivity_25c_us_per_cm"])
    assert factor == pytest.approx(float(row["tds_to_ec_factor"]), rel=1e-3)
    assert TDS_BY_SALT[0] <= factor <= TDS_BY_SALT[1]
    mmol = float(row["tds_mg_per_l"]) / molar_mass(row["salt_anhydrous"]) / 1000
    solution = phreeqc.add_solution_simple({row["salt_anhydrous"]: mmol}, temperature=25)
    assert solution.sc == pytest.approx(float(row["conductivity_25c_us_per_cm"]), rel=1e-3)
    siemens = solution.sc / 1e4
    low, high = (siemens * bound for bound in STRENGTH_BY_SALT)
    assert low <= solution.I * 1000 <= high


def test_the_bounds_of_single_salts_are_no_wider_than_needed(phreeqc: phreeqpython.PhreeqPython) -> None:
    strengths = []
    for row in rows("tds_conductivity_single_salts"):
        mmol = float(row["tds_mg_per_l"]) / molar_mass(row["salt_anhydrous"]) / 1000
        solution = phreeqc.add_solution_simple({row["salt_anhydrous"]: mmol}, temperature=25)
        strengths.append(solution.I * 1000 / (solution.sc / 1e4))
    assert STRENGTH_BY_SALT == pytest.approx((min(strengths), max(strengths)), rel=0.06)
    factors = [float(row["tds_to_ec_factor"]) for row in rows("tds_conductivity_single_salts")]
    assert TDS_BY_SALT[0] == pytest.approx(min(factors), abs=0.01)
    assert TDS_BY_SALT[1] == pytest.approx(max(factors), abs=0.01)


def test_a_hard_bicarbonate_water_has_about_the_usual_ionic_strength(
    phreeqc: phreeqpython.PhreeqPython,
) -> None:
    ions = {"Alkalinity": 3, "Ca": 1.6, "Mg": 0.4, "Na": 0.7, "S(6)": 0.5, "Cl": "1 charge"}
    solution = phreeqc.add_solution({"pH": 7.5, "temp": 25, "units": "mmol/kgw", **ions})
    siemens = solution.sc / 1e4
    assert ionic_strength(siemens) == pytest.approx(solution.I * 1000, rel=0.12)
    assert STRENGTH_BY_SALT[0] < STRENGTH_USUAL < STRENGTH_BY_SALT[1]


@pytest.mark.parametrize("row", rows("tds_factor_ranges"), ids=lambda row: row["context"])
def test_the_usual_factors_overlap_every_published_range(row: dict[str, str]) -> None:
    meter = row["context"].startswith("meter")
    low, high = (SCALES[0][1], SCALES[-1][1]) if meter else TDS_USUAL
    if row["factor_low"]:
        assert float(row["factor_low"]) <= high and float(row["factor_high"]) >= low
    if row["typical"]:
        assert low - 0.011 <= float(row["typical"]) <= high
    factors = [factor for _, factor in SCALES]
    assert factors == sorted(factors)


@given(st.floats(273.15, 323.15), st.floats(0.01, 5))
def test_warmer_water_conducts_more_and_is_corrected_by_less(celsius: float, more: float) -> None:
    assert natural_factor(celsius + more) < natural_factor(celsius)


@pytest.mark.parametrize("edge", [273.15, 308.15])
def test_the_factor_has_no_jump_at_the_tables_ends(edge: float) -> None:
    assert natural_factor(edge + 1e-9) == pytest.approx(natural_factor(edge - 1e-9), abs=1e-9)


@given(st.floats(0.001, 6), st.floats(274, 307))
def test_more_conductivity_is_more_salt(siemens: float, temperature: float) -> None:
    assert (
        DilutedSeawater(siemens * 1.01, temperature).salinity > DilutedSeawater(siemens, temperature).salinity
    )
