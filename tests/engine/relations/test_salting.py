"""Salt up and down, balanced in mass; conductivity beside a chemical equilibrium model."""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from phreeqpython import PhreeqPython

from weirbook.engine.relations.salting import (
    CONDUCTIVITY_BY_SALT,
    SALTEST,
    chloride_against,
    daily_rises,
    falling,
)
from weirbook.engine.units import to_si

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
MOST = 366
MODEL = PhreeqPython()


def test_days_are_those_in_which_no_step_passes_the_largest() -> None:
    assert [daily_rises(rise, 1.0, MOST) for rise in (0.2, 1.0, 1.0000000001, 1.8, 3.0, 3.1)] == [
        1,
        1,
        1,
        2,
        3,
        4,
    ]
    assert daily_rises(1000.0, 0.001, MOST) == MOST + 1


# By hand: 4 g/L, source 0, a quarter each day, at most 0.6 g/L a day: 4, 3.4, 2.8, 2.2, 1.65, 1.5.
def test_a_fall_keeps_to_both_bounds_and_ends_where_it_should() -> None:
    changes = falling(4.0, 1.5, 0.0, 0.25, 0.6, MOST)
    assert [change.level for change in changes] == pytest.approx([3.4, 2.8, 2.2, 1.65, 1.5])
    shares = [0.6 / 4, 0.6 / 3.4, 0.6 / 2.8, 0.25, 0.15 / 1.65]
    assert [change.share for change in changes] == pytest.approx(shares)


@given(st.floats(0.1, 40), st.floats(0, 1), st.floats(0, 0.95), st.floats(0.02, 1), st.floats(0.05, 3))
def test_every_fall_balances_in_mass_within_its_bounds(
    present: float, part: float, source_part: float, share: float, largest: float
) -> None:
    wanted = present * (0.1 + 0.9 * part)
    source = wanted * source_part
    level = present
    changes = falling(present, wanted, source, share, largest, 10_000)
    for change in changes:
        assert 0 < change.share <= share * (1 + 1e-9)
        assert level - change.level <= largest * (1 + 1e-9)
        # Of a litre, `share` goes out at the level and comes in at the source's.
        assert change.level == pytest.approx(level - change.share * level + change.share * source, rel=1e-9)
        level = change.level
    assert level == (wanted if changes else present)


def test_a_fall_that_never_ends_is_cut_short() -> None:
    assert len(falling(1.0, 1e-9, 0.0, 0.001, 1.0, MOST)) == MOST + 1


# Rule of SRAC 462: ten parts of chloride to one of nitrite, by mass; 3 mg/L as NO2, and as nitrogen.
def test_ten_parts_of_chloride_stand_against_one_of_nitrite() -> None:
    as_no2, _ = chloride_against(to_si(3, "mg/L NO2", "nitrite"), 10)
    _, as_n = chloride_against(to_si(3, "mg/L NO2-N", "nitrite"), 10)
    assert as_no2 * 1000 == pytest.approx(30, rel=1e-9)
    assert as_n * 1000 == pytest.approx(30, rel=1e-9)


def test_the_two_readings_of_nitrite_differ_as_published() -> None:
    # nutrient_conversions.csv: 1 mg/L NO2-N is so many mg/L NO2.
    rows = list(csv.DictReader((PUBLISHED / "nutrient_conversions.csv").open(encoding="utf-8")))
    row = next(row for row in rows if (row["from_species"], row["to_species"]) == ("NO2_N", "NO2"))
    as_no2, as_n = chloride_against(1.0, 10)
    assert as_no2 / as_n == pytest.approx(float(row["factor_mass"]), abs=5.1e-7)


def conductivity(salt: float) -> float:
    """uS/cm of so many g/L of sodium chloride at 25 degC, by PHREEQC."""
    solution = MODEL.add_solution_simple({"NaCl": salt / 58.44 * 1000}, temperature=25)
    return float(solution.sc)


LEVELS = (0.01, 0.1, 0.5, 1, 2, 3, 5, 7.5, 10)


@pytest.mark.parametrize("pair", [(low, high) for low in LEVELS for high in LEVELS if low < high], ids=str)
def test_conductivity_rises_within_the_range_by_a_chemical_model(pair: tuple[float, float]) -> None:
    low, high = pair
    assert high <= SALTEST
    slope = (conductivity(high) - conductivity(low)) / (high - low)  # uS/cm for a g/L, 1e-4 S/m
    assert CONDUCTIVITY_BY_SALT[0] <= slope * 1e-4 <= CONDUCTIVITY_BY_SALT[1]


def test_the_range_of_conductivity_is_no_wider_than_it_must_be() -> None:
    # Within 7 % of what the model gives at both ends.
    least = (conductivity(10) - conductivity(9)) * 1e-4
    most = conductivity(0.01) / 0.01 * 1e-4
    assert CONDUCTIVITY_BY_SALT[0] == pytest.approx(least, rel=0.07)
    assert CONDUCTIVITY_BY_SALT[1] == pytest.approx(most, rel=0.07)
