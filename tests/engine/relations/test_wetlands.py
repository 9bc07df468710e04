"""The P-k-C* model of planted beds, beside computed cases and its own limits."""

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.wetlands import CONSTANTS, USUAL_LOADING, YEAR, left_share, outlet, rate_at
from weirbook.engine.units import from_si, to_si

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
CASES = list(csv.DictReader((PUBLISHED / "wetland_kcstar_cases.csv").open()))
TABLE = {row["parameter"]: row for row in csv.DictReader((PUBLISHED / "wetland_rate_constants.csv").open())}
GUIDES = {
    row["quantity"]: float(row["value"])
    for row in csv.DictReader((PUBLISHED / "wetland_guidelines_published.csv").open())
}
NAMES = {
    "nitrate": "nitrate_n_median",
    "ammonium": "ammonium_n_median",
    "total_nitrogen": "total_nitrogen_median",
    "phosphate": "total_phosphorus_median",
}


@pytest.mark.parametrize("row", CASES, ids=lambda row: row["case"])
def test_a_bed_lets_through_what_was_computed(row: dict[str, str]) -> None:
    rate = rate_at(
        float(row["k20_m_per_year"]) / YEAR,
        float(row["theta"]),
        to_si(float(row["temp_c"]), "degC", "temperature"),
    )
    assert rate * YEAR == pytest.approx(float(row["k_t_m_per_year"]), abs=5e-4)
    flow = to_si(float(row["flow_m3_per_day"]), "m3/d", "flow")
    loading = flow / float(row["area_m2"])
    # The cases take a year of 365 days for the loading; ours has 365.25, as k does.
    assert loading * YEAR == pytest.approx(float(row["hydraulic_load_m_per_year"]), rel=7e-4)
    of_365 = loading * 365 / 365.25
    tanks = float(row["tanks_p_blank_is_plug_flow"]) if row["tanks_p_blank_is_plug_flow"] else None
    inlet, background = float(row["c_in_mg_per_l"]), float(row["c_star_mg_per_l"])
    out = outlet(inlet, background, left_share(rate, of_365, tanks))
    assert out == pytest.approx(float(row["c_out_mg_per_l"]), abs=1e-5 * inlet)
    removed = (inlet - out) * float(row["flow_m3_per_day"]) / float(row["area_m2"])
    assert removed == pytest.approx(float(row["areal_removal_g_per_m2_day"]), rel=1e-3)


@pytest.mark.parametrize("name", CONSTANTS)
def test_constants_are_copied_from_the_table_that_says_where_they_are_from(name: str) -> None:
    mine, row = CONSTANTS[name], TABLE[NAMES[name]]
    assert mine.k20 * YEAR == pytest.approx(float(row["k20_m_per_year"]))
    assert mine.theta == float(row["theta"])
    assert mine.background == float(row["c_star_mg_per_l"])
    assert mine.tanks == float(row["tanks_p"])


@pytest.mark.parametrize(
    ("name", "older"),
    [
        ("nitrate", "oxidised_n_nitrate"),
        ("ammonium", "ammonium_n"),
        ("total_nitrogen", "total_nitrogen"),
        ("phosphate", "total_phosphorus"),
    ],
)
def test_the_older_constants_are_of_the_same_size(name: str, older: str) -> None:
    assert 1 < float(TABLE[older]["k20_m_per_year"]) / (CONSTANTS[name].k20 * YEAR) < 2


def test_the_usual_loading_is_that_of_the_guides() -> None:
    assert from_si(USUAL_LOADING, "m/d", "velocity") == pytest.approx(
        1 / GUIDES["subsurface_flow_area_per_daily_flow"]
    )
    assert from_si(USUAL_LOADING, "m/d", "velocity") == pytest.approx(
        GUIDES["subsurface_flow_equivalent_areal_loading"], abs=5e-8
    )


@given(st.floats(1e-9, 1e-4), st.floats(1e-8, 1e-3), st.floats(1, 20))
def test_more_tanks_let_through_less_and_plug_flow_the_least(
    rate: float, loading: float, tanks: float
) -> None:
    plug, few, more = (left_share(rate, loading, count) for count in (None, tanks, tanks + 1))
    assert 0 <= plug <= more + 1e-12 and more <= few + 1e-12 and few <= 1


def test_many_tanks_are_plug_flow() -> None:
    assert left_share(2e-6, 1e-6, 1e7) == pytest.approx(math.exp(-2), rel=1e-5)


def test_a_fast_bed_hardly_changes_the_water_and_removes_by_the_area_alone() -> None:
    rate, loading = 1e-6, 1e-1
    removed = (1 - left_share(rate, loading, 3)) * loading
    assert removed == pytest.approx(rate, rel=1e-4)


def test_water_below_the_background_rises_towards_it() -> None:
    assert 1.0 < outlet(1.0, 1.5, 0.5) < 1.5
    assert outlet(5.0, 1.5, 0.0) == 1.5
