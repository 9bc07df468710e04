import csv
import math
from pathlib import Path

import pytest

from weirbook.engine.relations.hydraulics import (
    drop_for_speed,
    falling_speed,
    hydraulic_diameter,
    reynolds_number,
    water_viscosity,
)
from weirbook.engine.relations.structure import WATER_DENSITY

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
VISCOSITY = list(csv.DictReader((PUBLISHED / "water_viscosity.csv").open()))
ORIFICES = list(csv.DictReader((PUBLISHED / "orifice_submerged.csv").open()))


@pytest.mark.parametrize("row", VISCOSITY, ids=lambda row: row["temperature_c"])
def test_the_viscosity_of_water_is_that_of_the_international_formulation(row: dict[str, str]) -> None:
    kelvin = float(row["temperature_c"]) + 273.15
    dynamic = water_viscosity(kelvin, 1.0)
    assert dynamic == pytest.approx(float(row["dynamic_viscosity_pa_s"]), rel=1e-4)
    kinematic = water_viscosity(kelvin, WATER_DENSITY)
    assert kinematic == pytest.approx(float(row["kinematic_viscosity_m2_per_s"]), rel=0.01)


@pytest.mark.parametrize("row", ORIFICES, ids=lambda row: row["case_id"])
def test_water_strikes_at_the_speed_that_its_head_gives(row: dict[str, str]) -> None:
    head = float(row["head_difference_m"])
    free = float(row["mean_velocity_m_per_s"]) / float(row["discharge_coefficient"])
    assert falling_speed(head) == pytest.approx(free, rel=1e-5)
    assert drop_for_speed(falling_speed(head)) == pytest.approx(head)


def test_the_hydraulic_diameter_of_a_full_pipe_is_its_own() -> None:
    radius = 0.02
    assert hydraulic_diameter(math.pi * radius**2, 2 * math.pi * radius) == pytest.approx(0.04)


def test_the_reynolds_number_has_no_unit() -> None:
    """Water at 10 cm/s through 3 cm at 1 mm2/s: 3000 by hand, in metres as in centimetres."""
    assert reynolds_number(0.1, 0.03, 1e-6) == pytest.approx(3000)
    assert reynolds_number(0.1, 0.03, 1e-6) == pytest.approx(reynolds_number(10, 3, 1e-2))
