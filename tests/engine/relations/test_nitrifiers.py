"""Rates of nitrifying biofilm: ranges from memory, held to their rows and to each other."""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.nitrifiers import (
    DESIGN,
    FAO_GRAVEL,
    HIGH,
    LOW,
    THETA,
    THETA_DESIGN,
    areal_rates,
    cooled,
)
from weirbook.engine.relations.nitrogen import NH3_PER_N_FAO
from weirbook.engine.units import ATOMIC_WEIGHTS, from_si, to_si

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
ROWS = {row["context"]: row for row in csv.DictReader((PUBLISHED / "nitrification_areal_rates.csv").open())}
MEDIA = list(csv.DictReader((PUBLISHED / "media_specific_surface.csv").open()))
NAMED = {
    "trickling tower design 15-20 C",
    "trickling tower design 25-30 C",
    "moving bed, low TAN (about 1 mg/L)",
}


def ends(context: str) -> tuple[float, float]:
    row = ROWS[context]
    return float(row["rate_g_tan_per_m2_day_low"]), float(row["rate_g_tan_per_m2_day_high"])


def celsius(degrees: float) -> float:
    return to_si(degrees, "degC", "temperature")


def grams(rate: float) -> float:
    return from_si(rate, "g/m2/d", "areal_rate")


def test_the_range_is_that_of_biofilters_in_general() -> None:
    assert (grams(LOW), grams(HIGH)) == pytest.approx(ends("general aquaculture biofilters"))


def test_the_usual_rate_is_the_design_value_as_nitrogen() -> None:
    as_nh3 = ends("fao small-scale aquaponics design value (as NH3)")[0]
    assert grams(DESIGN) * NH3_PER_N_FAO == pytest.approx(as_nh3)
    # Its factor is rounded: 17.031 / 14.007 is 1.3 % more.
    exact = (ATOMIC_WEIGHTS["N"] + 3 * ATOMIC_WEIGHTS["H"]) / ATOMIC_WEIGHTS["N"]
    assert NH3_PER_N_FAO == pytest.approx(exact, rel=0.014)
    assert LOW < DESIGN < HIGH


@pytest.mark.parametrize("context", sorted(NAMED))
def test_narrower_published_ranges_lie_within_at_their_temperatures(context: str) -> None:
    low, high = ends(context)
    # At the warm end each range is published for: 20, 25 or 30 degC.
    rates = areal_rates(celsius(float(ROWS[context]["temp_c_high"])))
    assert grams(rates.low) <= low and high <= grams(rates.high)


def test_the_cold_takes_off_by_the_published_thetas() -> None:
    assert ends("arrhenius theta for biofilm overall rate") == THETA
    assert THETA[0] < THETA_DESIGN < THETA[1]
    # By hand: 1.09 ^ -10 is 0.4224, 1.03 ^ -10 is 0.7441.
    rates = areal_rates(celsius(10))
    assert grams(rates.low) == pytest.approx(0.2 * 0.4224, rel=1e-4)
    assert grams(rates.high) == pytest.approx(2 * 0.7441, rel=1e-4)
    # Single bacteria fall faster than a biofilm, into which ammonia has to seep.
    assert ends("arrhenius theta for nitrifier growth")[1] > THETA[1]


@given(st.floats(0, 45), st.floats(0, 45))
def test_colder_is_never_faster_and_the_range_keeps_its_order(one: float, other: float) -> None:
    colder, warmer = (areal_rates(celsius(degrees)) for degrees in sorted((one, other)))
    for rates in (colder, warmer):
        assert rates.low < rates.design < rates.high
    assert colder.low <= warmer.low and colder.design <= warmer.design and colder.high <= warmer.high


def test_in_the_warm_the_published_range_holds_as_it_is() -> None:
    assert areal_rates(celsius(20)) == areal_rates(celsius(28))
    assert cooled(1.0, 1.05, celsius(30)) == 1.0


def test_the_gravel_of_the_example_lies_between_gravels_of_known_grain() -> None:
    surfaces = [
        float(row["specific_surface_m2_per_m3_bulk"]) for row in MEDIA if row["generic_medium"] == "gravel"
    ]
    assert min(surfaces) < FAO_GRAVEL < max(surfaces)
