import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.settling import (
    hazen_removal,
    ideal_removal,
    particle_that_settles_at,
    scour_velocity,
    settling_velocity,
    stokes_velocity,
    turbulent_removal,
)
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def published(name: str) -> list[dict[str, float]]:
    with (PUBLISHED / f"{name}.csv").open() as file:
        return [{key: number(text) for key, text in row.items()} for row in csv.DictReader(file)]


def number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return float("nan")


SPHERES = published("settling_velocity_spheres")
BASINS = published("settling_basin_removal")
SCOUR = published("settling_scour_velocity")
MEASURED = {
    row["quantity"]: row for row in csv.DictReader((PUBLISHED / "settling_published_values.csv").open())
}


def sphere(row: dict[str, float]) -> tuple[float, float, float, float]:
    return (
        row["particle_diameter_um"] * 1e-6,
        row["particle_density_kg_per_m3"],
        row["water_density_kg_per_m3"],
        row["dynamic_viscosity_pa_s"],
    )


@pytest.mark.parametrize("row", SPHERES, ids=lambda row: f"{row['particle_diameter_um']:g} um")
def test_a_sphere_settles_as_fast_as_another_library_has_it(row: dict[str, float]) -> None:
    assert settling_velocity(*sphere(row)) == pytest.approx(row["drag_corrected_velocity_m_per_s"], rel=0.05)


@pytest.mark.parametrize("row", SPHERES, ids=lambda row: f"{row['particle_diameter_um']:g} um")
def test_stokes_holds_for_small_spheres_and_is_too_fast_for_large_ones(row: dict[str, float]) -> None:
    assert stokes_velocity(*sphere(row)) == pytest.approx(row["stokes_velocity_m_per_s"], rel=1e-4)
    assert settling_velocity(*sphere(row)) <= stokes_velocity(*sphere(row))
    if row["particle_reynolds"] < 0.05:
        assert settling_velocity(*sphere(row)) == pytest.approx(row["stokes_velocity_m_per_s"], rel=0.01)


@pytest.mark.parametrize("row", SPHERES, ids=lambda row: f"{row['particle_diameter_um']:g} um")
def test_the_sphere_of_a_published_speed_has_the_published_size(row: dict[str, float]) -> None:
    diameter, *rest = sphere(row)
    found = particle_that_settles_at(row["drag_corrected_velocity_m_per_s"], *rest)
    # Diameter goes with the velocity to the power of 1/2 (Stokes) to nearly 1 in this range.
    assert found == pytest.approx(diameter, rel=0.05)


@pytest.mark.parametrize(
    ("solid", "diameter", "density"),
    [
        ("suspended solids, rainbow trout farm, mean", 1e-3, 1050),
        ("salmon feed pellet", 6e-3, 1150),
        ("extruded bream and bass feed", 3e-3, 1100),
    ],
)
def test_a_sphere_like_a_measured_solid_settles_about_as_fast(
    solid: str, diameter: float, density: float
) -> None:
    speed = settling_velocity(diameter, density, 998.0, 1e-3) * 100
    low, high = (float(MEASURED[solid][bound]) for bound in ("low", "high"))
    # Sizes and densities are ours, of the usual order: only the order of the speed is held.
    assert low / 2 <= speed <= high * 2


@pytest.mark.parametrize("row", BASINS, ids=lambda row: f"{row['flow_l_per_h']:g} L/h")
def test_a_basin_keeps_the_published_share(row: dict[str, float]) -> None:
    speeds = row["settling_velocity_m_per_s"], row["overflow_velocity_m_per_s"]
    assert ideal_removal(*speeds) == pytest.approx(row["ideal_removal"], rel=1e-3)
    assert turbulent_removal(*speeds) == pytest.approx(row["fully_turbulent_removal"], rel=1e-3)
    for n in (1, 2, 3, 5):
        assert hazen_removal(*speeds, n) == pytest.approx(row[f"hazen_n{n}_removal"], rel=1e-3)


@pytest.mark.parametrize("row", SCOUR, ids=lambda row: f"{row['particle_diameter_um']:g} um")
def test_solids_are_stirred_up_at_the_published_speed(row: dict[str, float]) -> None:
    speed = scour_velocity(
        row["particle_diameter_um"] * 1e-6,
        row["particle_specific_gravity"],
        row["shields_constant_k"],
        row["darcy_friction_factor"],
    )
    assert speed == pytest.approx(row["scour_velocity_m_per_s"], rel=1e-3)


DENSITIES, WARMTHS = st.floats(1000.5, 3000), st.floats(0.0006, 0.0018)


@given(st.floats(1e-6, 0.05), st.floats(1.0001, 3), DENSITIES, WARMTHS)
def test_a_larger_particle_settles_faster(
    diameter: float, times: float, density: float, viscosity: float
) -> None:
    slow = settling_velocity(diameter, density, 998.0, viscosity)
    assert 0 < slow < settling_velocity(diameter * times, density, 998.0, viscosity)


@given(st.floats(1e-6, 0.05), DENSITIES, WARMTHS)
def test_the_particle_of_a_settling_velocity_is_the_one_that_has_it(
    diameter: float, density: float, viscosity: float
) -> None:
    speed = settling_velocity(diameter, density, 998.0, viscosity)
    assert particle_that_settles_at(speed, density, 998.0, viscosity) == pytest.approx(diameter, rel=1e-9)


@given(st.floats(1e-7, 1), st.floats(1e-7, 1), st.floats(1, 20))
def test_no_real_basin_keeps_more_than_the_ideal_or_less_than_the_most_mixed(
    settling: float, overflow: float, n: float
) -> None:
    ideal, mixed = ideal_removal(settling, overflow), hazen_removal(settling, overflow, n)
    assert (
        hazen_removal(settling, overflow, 1) - 1e-12 <= mixed <= turbulent_removal(settling, overflow) + 1e-12
    )
    assert turbulent_removal(settling, overflow) <= ideal


def test_what_floats_or_has_no_size_is_refused() -> None:
    for density in (998.0, 900.0):
        with pytest.raises(Invalid) as refused:
            settling_velocity(1e-3, density, 998.0, 1e-3)
        assert [fault.pointer for fault in refused.value.faults] == ["/particle_density"]
        with pytest.raises(Invalid):
            particle_that_settles_at(1e-3, density, 998.0, 1e-3)
    with pytest.raises(Invalid):
        settling_velocity(0.0, 1100.0, 998.0, 1e-3)
    with pytest.raises(Invalid):
        particle_that_settles_at(0.0, 1100.0, 998.0, 1e-3)
