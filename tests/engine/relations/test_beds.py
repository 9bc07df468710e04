import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.beds import (
    bed_reynolds,
    darcy_gradient,
    ergun_gradient,
    kozeny_conductivity,
    pore_velocity,
    sphere_surface,
)
from weirbook.engine.relations.water import density, dynamic_viscosity

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def rows_of(file: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / file).open()))


PACKED = rows_of("packed_bed_pressure_drop.csv")
PLANTED = rows_of("planted_bed_darcy.csv")
MEDIA = rows_of("media_specific_surface.csv")
POROUS = {row["medium"]: row for row in rows_of("porous_media_published.csv")}


def of_bed(row: dict[str, str]) -> tuple[float, float, float, float, float]:
    """Velocity, grain, porosity, density and viscosity of a row."""
    kelvin = float(row["temperature_c"]) + 273.15
    return (
        float(row["superficial_velocity_m_per_s"]),
        float(row["particle_diameter_mm"]) / 1000,
        float(row["void_fraction"]),
        density(kelvin),
        dynamic_viscosity(kelvin),
    )


@pytest.mark.parametrize("row", PACKED, ids=lambda row: row["case_id"])
def test_a_bed_of_grains_loses_head_as_ergun_says(row: dict[str, str]) -> None:
    assert ergun_gradient(*of_bed(row)) == pytest.approx(float(row["head_gradient_m_per_m"]), rel=5e-3)
    assert bed_reynolds(*of_bed(row)) == pytest.approx(float(row["modified_reynolds"]), rel=5e-3)


@pytest.mark.parametrize("row", PACKED, ids=lambda row: row["case_id"])
def test_grains_have_the_surface_of_spheres_beside_their_pressure_drop(row: dict[str, str]) -> None:
    found = sphere_surface(float(row["particle_diameter_mm"]) / 1000, float(row["void_fraction"]))
    assert found == pytest.approx(float(row["sphere_specific_surface_m2_per_m3"]), rel=1e-3)


@pytest.mark.parametrize(
    "row", MEDIA, ids=lambda row: f"{row['generic_medium']} {row['particle_diameter_mm']}"
)
def test_a_medium_has_at_least_the_surface_of_smooth_spheres(row: dict[str, str]) -> None:
    found = sphere_surface(float(row["particle_diameter_mm"]) / 1000, float(row["void_fraction"]))
    assert found == pytest.approx(float(row["specific_surface_m2_per_m3_bulk"]), rel=1e-3)


@pytest.mark.parametrize("row", PLANTED, ids=lambda row: row["case_id"])
def test_a_planted_bed_of_known_conductivity_loses_head_as_darcy_says(row: dict[str, str]) -> None:
    velocity = float(row["flow_l_per_h"]) / 3.6e6 / (float(row["width_m"]) * float(row["depth_m"]))
    gradient = darcy_gradient(velocity, float(row["hydraulic_conductivity_m_per_day"]) / 86400)
    assert gradient == pytest.approx(float(row["hydraulic_gradient"]), rel=2e-3)
    assert gradient * float(row["length_m"]) == pytest.approx(float(row["head_loss_m"]), rel=2e-3)
    assert pore_velocity(velocity, float(row["porosity"])) == pytest.approx(
        float(row["pore_velocity_m_per_s"]), rel=2e-3
    )


@pytest.mark.parametrize("row", PLANTED, ids=lambda row: row["case_id"])
def test_clean_spheres_of_16_mm_lose_less_than_gravel_of_that_size_was_measured_to(
    row: dict[str, str],
) -> None:
    """So the loss that is worked out is a lower bound; the answers caution so."""
    measured = POROUS["fine_gravel_16_mm_effective_size"]
    velocity = float(row["darcy_velocity_m_per_s"])
    clean = ergun_gradient(velocity, float(measured["size_low_mm"]) / 1000, 0.4, 997.0, 8.9e-4)
    assert clean < darcy_gradient(velocity, float(measured["hydraulic_conductivity_m_per_day"]) / 86400)


def test_coarse_gravel_passes_more_than_fine_as_measured_and_as_reckoned() -> None:
    fine, coarse = (
        float(POROUS[f"{name}_gravel_measured_column"]["hydraulic_conductivity_m_per_day"])
        for name in ("fine", "coarse")
    )
    assert fine < coarse
    assert kozeny_conductivity(0.016, 0.4, 997, 8.9e-4) < kozeny_conductivity(0.05, 0.4, 997, 8.9e-4)


BEDS = st.tuples(
    st.floats(1e-5, 0.05), st.floats(5e-4, 0.05), st.floats(0.2, 0.9), st.just(997.0), st.floats(6e-4, 1.8e-3)
)


@given(BEDS)
def test_slow_water_loses_as_kozeny_says_and_fast_water_more(bed) -> None:
    velocity, grain, porosity, rho, mu = bed
    calm = darcy_gradient(velocity, kozeny_conductivity(grain, porosity, rho, mu))
    assert ergun_gradient(*bed) > calm
    slow = 1e-9
    assert ergun_gradient(slow, grain, porosity, rho, mu) == pytest.approx(
        darcy_gradient(slow, kozeny_conductivity(grain, porosity, rho, mu)), rel=1e-3
    )


@given(BEDS)
def test_more_flow_finer_grains_and_fewer_gaps_lose_more_head(bed) -> None:
    velocity, grain, porosity, rho, mu = bed
    lost = ergun_gradient(*bed)
    assert math.isfinite(lost) and lost > 0
    assert ergun_gradient(2 * velocity, grain, porosity, rho, mu) > 2 * lost * (1 - 1e-12)
    assert ergun_gradient(velocity, grain / 2, porosity, rho, mu) > lost
    assert ergun_gradient(velocity, grain, porosity / 2, rho, mu) > lost
