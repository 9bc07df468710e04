"""The pressure of the air by altitude. Sources: fixtures/published/SOURCES.md."""

import csv
from pathlib import Path

import fluids
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.air import standard_pressure
from weirbook.engine.units import from_si

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
ROWS = list(csv.DictReader((PUBLISHED / "altitude_pressure.csv").open()))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["altitude_m"])
def test_pressure_falls_with_altitude_as_in_the_standard_atmosphere(row: dict[str, str]) -> None:
    usual = standard_pressure(float(row["altitude_m"]))
    assert usual == pytest.approx(float(row["pressure_kpa"]) * 1000, rel=2e-4)
    held = float(row["pressure_mmhg"])
    assert from_si(usual, "mmHg", "pressure") == pytest.approx(held, rel=min(3e-4, 0.15 / held))


@given(st.floats(-400, 9000))
def test_the_pressure_is_that_of_a_general_library(altitude: float) -> None:
    slack = 2e-4 if altitude < 3000 else 2e-3
    assert standard_pressure(altitude) == pytest.approx(fluids.ATMOSPHERE_1976(altitude).P, rel=slack)
