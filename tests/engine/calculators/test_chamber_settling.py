import csv
from pathlib import Path
from typing import Any

import pytest

from weirbook.engine.calculators.chamber_flow import CHAMBER_FLOW
from weirbook.engine.relations.settling import scour_velocity
from weirbook.engine.shape import Answer, answer
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def rows_of(file: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / file).open()))


BASINS = rows_of("settling_basin_removal.csv")
SPHERES = rows_of("settling_velocity_spheres.csv")


def told(flow: str = "2000 L/h", **said: Any) -> Answer:
    """A settling section of 60 cm x 40 cm x 30 cm, with what is said otherwise."""
    whole = {name: said.pop(name) for name in ("temperature", "particle_density") if name in said}
    section = {
        "name": "settling",
        "use": "settling",
        "direction": "along",
        "length": "60 cm",
        "width": "40 cm",
        "depth": "30 cm",
        **said,
    }
    return answer(CHAMBER_FLOW, {"flow": flow, "sections": [section], **whole})


def row(flow: str = "2000 L/h", **said: Any) -> dict[str, Any]:
    [found] = told(flow, **said).values["sections"]
    return dict(found)


@pytest.mark.parametrize("case", BASINS, ids=lambda case: case["case_id"])
def test_the_surface_overflow_rate_is_that_of_an_ideal_basin(case: dict[str, str]) -> None:
    sizes = {name: f"{case[f'{name}_m']} m" for name in ("length", "width", "depth")}
    found = row(f"{case['flow_l_per_h']} L/h", **sizes)
    assert found["overflow_rate"] * 86400 == pytest.approx(
        float(case["overflow_rate_m3_per_m2_day"]), rel=1e-3
    )


@pytest.mark.parametrize("case", SPHERES, ids=lambda case: case["case_id"])
def test_the_smallest_grain_kept_is_the_one_that_sinks_as_fast_as_the_water_would_rise(
    case: dict[str, str],
) -> None:
    """Drag-corrected velocities are good to 5 %, so diameters to 10 %."""
    velocity = float(case["drag_corrected_velocity_m_per_s"])
    found = row(
        f"{velocity * 0.24} m3/s",
        temperature=f"{case['temperature_c']} degC",
        particle_density=f"{case['particle_density_kg_per_m3']} kg/m3",
    )
    assert found["smallest_particle"] * 1e6 == pytest.approx(float(case["particle_diameter_um"]), rel=0.1)


def test_water_that_runs_faster_than_scour_is_said_to_stir_up_what_settled() -> None:
    calm, fast = row(), row("6000 L/h", depth="3 cm")
    assert (calm["stirs_up"], fast["stirs_up"]) == (False, True)
    density = 997.05
    assert calm["scour_velocity"] == pytest.approx(
        scour_velocity(calm["smallest_particle"], 1050 / density), rel=1e-3
    )
    given = told("6000 L/h", depth="3 cm")
    [one] = [one for one in given.cautions if one.code == "stirs-up"]
    assert one.text.startswith("In settling the water runs at")
    assert not any(one.code == "stirs-up" for one in told().cautions)


def test_scour_is_asked_only_of_water_that_goes_along_and_needs_a_depth() -> None:
    assert (row(direction="up")["scour_velocity"], row(direction="up")["stirs_up"]) == (None, None)
    assert row(depth=None)["stirs_up"] is None
    assert row(depth=None)["smallest_particle"] is not None


def test_only_a_settling_section_with_flow_is_judged_by_what_settles() -> None:
    names = ("overflow_rate", "smallest_particle", "scour_velocity", "stirs_up")
    for said in ({"use": "mechanical"}, {"flow_share": "0 %"}):
        found = row(**said)
        assert [found[name] for name in names] == [None] * 4


def test_grains_no_denser_than_water_are_refused() -> None:
    with pytest.raises(Invalid) as trouble:
        told(particle_density="990 kg/m3")
    assert [fault.pointer for fault in trouble.value.faults] == ["/particle_density"]


def test_warmer_water_and_less_flow_keep_smaller_grains() -> None:
    assert row(temperature="30 degC")["smallest_particle"] < row(temperature="10 degC")["smallest_particle"]
    assert row("1000 L/h")["smallest_particle"] < row()["smallest_particle"]


@pytest.mark.parametrize("direction", ["along", "up"])
def test_every_step_follows_from_its_own_numbers(assert_followed, direction: str) -> None:
    for step in told(direction=direction).steps:
        assert_followed(step)
