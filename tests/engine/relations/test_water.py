import csv
from pathlib import Path

import pytest

from weirbook.engine.relations.water import (
    density,
    dynamic_viscosity,
    kinematic_viscosity,
    surface_tension,
)

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
PROPERTIES = list(csv.DictReader((PUBLISHED / "water_properties.csv").open()))


@pytest.mark.parametrize("row", PROPERTIES, ids=lambda row: f"{row['temperature_c']} degC")
def test_water_has_the_properties_of_the_international_formulations(row: dict[str, str]) -> None:
    kelvin = float(row["temperature_c"]) + 273.15
    assert density(kelvin) == pytest.approx(float(row["density_kg_per_m3"]), rel=1e-3)
    assert dynamic_viscosity(kelvin) == pytest.approx(float(row["dynamic_viscosity_pa_s"]), rel=0.01)
    assert kinematic_viscosity(kelvin) == pytest.approx(float(row["kinematic_viscosity_m2_per_s"]), rel=0.01)
    assert surface_tension(kelvin) == pytest.approx(float(row["surface_tension_n_per_m"]), rel=0.01)


@pytest.mark.parametrize("row", PROPERTIES, ids=lambda row: f"{row['temperature_c']} degC")
def test_density_is_good_to_what_its_docstring_says(row: dict[str, str]) -> None:
    kelvin = float(row["temperature_c"]) + 273.15
    assert density(kelvin) == pytest.approx(float(row["density_kg_per_m3"]), rel=1e-5)
    assert dynamic_viscosity(kelvin) == pytest.approx(float(row["dynamic_viscosity_pa_s"]), rel=1e-3)
