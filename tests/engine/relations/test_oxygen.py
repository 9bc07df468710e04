"""Oxygen: solubility, respiration and how it runs out. Sources: fixtures/published/SOURCES.md."""

import csv
import math
from pathlib import Path

import gsw
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from weirbook.engine.relations.air import ATMOSPHERE, standard_pressure
from weirbook.engine.relations.oxygen import (
    CARBON_DIOXIDE_TO_OXYGEN,
    Depletion,
    departure,
    pressure_factor,
    respiration,
    resting_rate,
    saturation,
    schmidt_number,
    transfer_velocity,
    vapour_pressure,
)
from weirbook.engine.units import from_si, to_si

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
NEVER = ("od01", "od09")
"""Rows of oxygen_depletion.csv whose threshold is never reached with exchange."""


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


def milligrams(degrees: float, pressure: float = ATMOSPHERE, salinity: float = 0.0) -> float:
    return 1000 * saturation(degrees + 273.15, pressure, salinity)


@pytest.mark.parametrize("row", rows("do_saturation_fresh_1atm"), ids=lambda row: row["temp_c"])
def test_fresh_water_under_one_atmosphere_holds_what_the_standard_prints(row: dict[str, str]) -> None:
    assert milligrams(float(row["temp_c"])) == pytest.approx(float(row["do_sat_mg_per_l"]), abs=0.006)


@pytest.mark.parametrize(
    "row",
    rows("do_saturation_pressure_salinity"),
    ids=lambda row: f"{row['temp_c']} {row['salinity_psu']} {row['pressure_mmhg']}",
)
def test_pressure_and_salt_take_off_what_was_computed_from_the_same_equation(row: dict[str, str]) -> None:
    held = float(row["do_sat_mg_per_l"])
    pressure, salt = float(row["pressure_kpa"]) * 1000, float(row["salinity_psu"]) / 1000
    assert milligrams(float(row["temp_c"]), pressure, salt) == pytest.approx(held, abs=6e-4)
    if row["altitude_m"]:
        usual = standard_pressure(float(row["altitude_m"]))
        assert milligrams(float(row["temp_c"]), usual, salt) == pytest.approx(held, rel=1e-3)


@pytest.mark.parametrize(
    "row", rows("oxygen_solubility"), ids=lambda row: f"{row['temp_c']} {row['pressure_atm']}"
)
def test_other_tables_and_equations_agree(row: dict[str, str]) -> None:
    held = milligrams(float(row["temp_c"]), float(row["pressure_atm"]) * ATMOSPHERE)
    assert held == pytest.approx(float(row["benson_krause_mg_l"]), abs=1e-4)
    if row["garcia_gordon_mg_l"]:
        assert held == pytest.approx(float(row["garcia_gordon_mg_l"]), rel=1e-3)
    if row["apha_usgs_table_mg_l"]:
        assert held == pytest.approx(float(row["apha_usgs_table_mg_l"]), abs=0.006)


@given(st.floats(0, 40), st.floats(0, 35))
def test_in_fresh_and_salt_water_it_agrees_with_garcia_and_gordon(degrees: float, salt: float) -> None:
    """As gsw computes them, in umol/kg; density by TEOS-10. They meet within 0.03 %."""
    density = gsw.rho_t_exact(gsw.SR_from_SP(salt), degrees, 0)
    expected = gsw.O2sol_SP_pt(salt, degrees) * 31.998e-6 * density
    assert milligrams(degrees, salinity=salt / 1000) == pytest.approx(expected, rel=5e-4)


@pytest.mark.parametrize(("degrees", "kilopascals"), [(0, 0.6112), (20, 2.339), (40, 7.385)])
def test_the_vapour_pressure_is_that_of_steam_tables(degrees: float, kilopascals: float) -> None:
    # Steam tables (IAPWS-IF97), from memory; the pressure columns above hold it besides.
    assert vapour_pressure(degrees + 273.15) == pytest.approx(kilopascals * 1000, rel=2e-3)


@pytest.mark.parametrize(("degrees", "second_virial"), [(0, -22.0), (25, -16.2)])
def test_oxygen_departs_from_an_ideal_gas_by_its_second_virial_coefficient(degrees, second_virial) -> None:
    # cm3/mol, handbook tables, from memory. For each atm it departs by -B / (R T).
    expected = -second_virial * 1e-6 * ATMOSPHERE / (8.314 * (degrees + 273.15))
    assert departure(degrees + 273.15) == pytest.approx(expected, rel=0.03)


@given(st.floats(0, 39), st.floats(30, 110), st.floats(0, 0.03))
def test_water_holds_more_when_colder_fresher_and_under_more_air(degrees, kilopascals, salinity) -> None:
    held = milligrams(degrees, kilopascals * 1000, salinity)
    assert milligrams(degrees + 1, kilopascals * 1000, salinity) < held
    assert milligrams(degrees, kilopascals * 1000 + 100, salinity) > held
    assert milligrams(degrees, kilopascals * 1000, salinity + 0.001) < held


@given(st.floats(0, 50))
def test_nothing_is_held_where_water_boils(degrees: float) -> None:
    temperature = degrees + 273.15
    assert pressure_factor(temperature, vapour_pressure(temperature)) == pytest.approx(0, abs=1e-12)
    assert pressure_factor(temperature, ATMOSPHERE) == pytest.approx(1, rel=1e-12)


def milligrams_an_hour(rate: float) -> float:
    return from_si(rate, "mg/h", "mass_flow")


@pytest.mark.parametrize(
    "row", rows("fish_respiration_clarke_johnston"), ids=lambda row: f"{row['temp_c']} {row['mass_g']}"
)
def test_a_resting_fish_takes_up_what_clarke_and_johnston_found(row: dict[str, str]) -> None:
    temperature, mass = float(row["temp_c"]) + 273.15, float(row["mass_g"]) / 1000
    rate = respiration(mass, temperature)
    assert milligrams_an_hour(rate) == pytest.approx(float(row["rate_mg_h"]), rel=2e-4)
    assert milligrams_an_hour(rate) / mass == pytest.approx(float(row["rate_mg_kg_h"]), rel=2e-4)
    assert milligrams_an_hour(rate) / 31.998 == pytest.approx(float(row["rate_mmol_h"]), rel=6e-4)
    resting = milligrams_an_hour(resting_rate(temperature)) / 31.998
    assert resting == pytest.approx(float(row["arrhenius_50g_mmol_h"]), rel=1e-4)


def test_respiration_rises_with_warmth_as_the_abstract_says() -> None:
    """Read: about six times from 0 to 30 degC, Q10 of 1.83; mass exponent 0.80."""
    ratio = resting_rate(303.15) / resting_rate(273.15)
    assert ratio == pytest.approx(6.16, abs=0.01)
    assert ratio ** (1 / 3) == pytest.approx(1.83, abs=0.005)
    assert respiration(0.1, 298.15) / respiration(0.01, 298.15) == pytest.approx(10**0.8)
    assert respiration(0.1, 298.15, activity=2) == 2 * respiration(0.1, 298.15)


def test_carbon_dioxide_is_counted_by_molar_masses() -> None:
    """One CO2 to an O2 (IUPAC weights, 44.009 / 31.998)."""
    row = next(row for row in rows("fish_oxygen_and_co2") if row["quantity"].startswith("co2"))
    assert CARBON_DIOXIDE_TO_OXYGEN == pytest.approx(float(row["value_low"]), abs=6e-4)


def depletion(row: dict[str, str], k600: str = "") -> Depletion:
    temperature = float(row["temp_c"]) + 273.15
    mass, activity = float(row["fish_mass_g"]) / 1000, float(row["activity_multiplier"])
    use = float(row["fish_count"]) * respiration(mass, temperature, activity)
    velocity = transfer_velocity(float(k600) / 100 / 3600, temperature) if k600 else 0.0
    return Depletion(
        to_si(float(row["start_mg_l"]), "mg/L", "concentration"),
        saturation(temperature),
        use,
        float(row["volume_l"]) / 1000,
        velocity * float(row["surface_area_m2"]),
    )


@pytest.mark.parametrize("row", rows("oxygen_depletion"), ids=lambda row: row["case_id"])
def test_oxygen_runs_out_as_was_computed(row: dict[str, str]) -> None:
    level = float(row["threshold_mg_l"]) / 1000
    shut, still = depletion(row), depletion(row, row["k600_cm_h"])
    temperature = float(row["temp_c"]) + 273.15
    assert milligrams_an_hour(shut.demand) == pytest.approx(float(row["consumption_mg_h"]), rel=1e-3)
    assert shut.time_to(level) == pytest.approx(3600 * float(row["hours_no_transfer"]), rel=2e-3)
    assert schmidt_number(temperature) == pytest.approx(float(row["schmidt_o2"]), abs=6e-4)
    velocity = transfer_velocity(0.0207 / 3600, temperature) * 3600
    assert velocity == pytest.approx(float(row["transfer_velocity_m_h"]), abs=6e-7)
    assert still.settles * 1000 == pytest.approx(float(row["steady_state_mg_l"]), abs=0.02)
    if row["case_id"] in NEVER:
        assert not row["hours_with_transfer"]
        assert still.time_to(level) is None
    else:
        assert still.time_to(level) == pytest.approx(3600 * float(row["hours_with_transfer"]), rel=2e-3)


def test_above_thirty_degrees_the_schmidt_number_is_held() -> None:
    assert schmidt_number(310.15) == schmidt_number(303.15) == pytest.approx(315.8, abs=0.1)


BODIES = st.builds(
    Depletion,
    st.floats(0.004, 0.012),
    st.floats(0.006, 0.014),
    st.floats(1e-11, 1e-6),
    st.floats(0.02, 5),
    st.floats(1e-9, 1e-4),
)


@settings(max_examples=40, deadline=None)
@given(BODIES, st.floats(600, 2e5))
def test_the_level_is_that_of_an_integrator(body: Depletion, time: float) -> None:
    def change(_: float, level: list[float]) -> list[float]:
        inflow = body.exchange * (body.saturation - level[0]) - body.demand
        return [inflow / body.volume]

    found = solve_ivp(change, (0, time), [body.start], method="LSODA", rtol=1e-9, atol=1e-12)
    assert body.after(time) == pytest.approx(found.y[0, -1], rel=1e-6, abs=1e-9)


@given(BODIES)
def test_the_time_to_a_level_is_when_it_stands_there(body: Depletion) -> None:
    level = 0.003
    time = body.time_to(level)
    if time is None:
        assert body.settles >= level
        assert body.after(1e12) >= level
    else:
        assume(time < 1e7)
        assert body.after(time) == pytest.approx(level, rel=1e-6)


@given(BODIES)
def test_the_less_air_comes_in_the_sooner_and_none_is_the_limit(body: Depletion) -> None:
    shut = Depletion(body.start, body.saturation, body.demand, body.volume)
    assert shut.after(3600) == body.start - body.demand * 3600 / body.volume
    least = Depletion(body.start, body.saturation, body.demand, body.volume, 1e-18)
    assert least.time_to(0.003) == pytest.approx(shut.time_to(0.003), rel=1e-5)
    assert shut.settles is None
    if body.start <= body.saturation and (time := body.time_to(0.003)) is not None:
        assert time >= shut.time_to(0.003) * (1 - 1e-12)


def test_what_stands_at_the_level_already_takes_no_time_and_without_use_it_never_comes() -> None:
    assert Depletion(0.003, 0.008, 1e-8, 0.1, 1e-6).time_to(0.003) == 0
    assert Depletion(0.002, 0.008, 0.0, 0.1).time_to(0.003) == 0
    assert Depletion(0.008, 0.008, 0.0, 0.1).time_to(0.003) is None
    assert math.isclose(Depletion(0.004, 0.008, 0.0, 0.1, 1e-6).after(1e9), 0.008)
