import csv
import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.settling_box import SETTLING_BOX
from weirbook.engine.shape import answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def published(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


BASINS = published("settling_basin_removal")
SPHERES = published("settling_velocity_spheres")
SCOUR = [row for row in published("settling_scour_velocity") if row["shields_constant_k"] == "0.05"]
MEASURED = {row["quantity"]: row for row in published("settling_published_values")}

FAECES = {"flow": "2000 L/h", "particle_size": "0.5 mm", "width": "40 cm"}


def refusal(**told: object) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        answer(SETTLING_BOX, told)
    return {fault.pointer: fault.message for fault in refused.value.faults}


def codes(**told: object) -> list[str]:
    return [caution.code for caution in answer(SETTLING_BOX, told).cautions]


@pytest.mark.parametrize("row", BASINS, ids=lambda row: row["case_id"])
def test_a_box_catches_the_published_share(assert_followed, row: dict[str, str]) -> None:
    told: dict[str, object] = {
        "flow": f"{row['flow_l_per_h']} L/h",
        "settling_velocity": f"{row['settling_velocity_m_per_s']} m/s",
        **{name: f"{row[f'{name}_m']} m" for name in ("length", "width", "depth")},
    }
    for grade in (1, 2, 3, 5):
        given = answer(SETTLING_BOX, {**told, "hazen_grade": grade})
        assert given.values["hazen_removal"] == pytest.approx(float(row[f"hazen_n{grade}_removal"]), rel=1e-3)
    for name, column in {
        "overflow_velocity": "overflow_velocity_m_per_s",
        "forward_velocity": "forward_velocity_m_per_s",
        "ideal_removal": "ideal_removal",
        "turbulent_removal": "fully_turbulent_removal",
    }.items():
        assert given.values[name] == pytest.approx(float(row[column]), rel=1e-3), name
    assert given.quantity("mean_stay").value == pytest.approx(float(row["residence_time_min"]), rel=1e-3)
    for step in given.steps:
        assert_followed(step)


@pytest.mark.parametrize("row", SPHERES, ids=lambda row: row["case_id"])
def test_a_particle_sinks_as_another_library_has_it_and_the_floor_follows(row: dict[str, str]) -> None:
    told = {
        "flow": "1 m3/h",
        "particle_size": f"{float(row['particle_diameter_um']) / 1000} mm",
        "particle_density": f"{row['particle_density_kg_per_m3']} kg/m3",
        "temperature": f"{row['temperature_c']} degC",
        "safety_factor": 1,
        "width": "50 cm",
    }
    given = answer(SETTLING_BOX, told)
    published_speed = float(row["drag_corrected_velocity_m_per_s"])
    assert given.values["settling_velocity"] == pytest.approx(published_speed, rel=0.05)
    assert given.values["plan_area_needed"] == pytest.approx(1 / 3600 / published_speed, rel=0.05)
    assert given.values["length_needed"] == pytest.approx(2 / 3600 / published_speed, rel=0.05)


@pytest.mark.parametrize("row", SCOUR, ids=lambda row: row["case_id"])
def test_settled_particles_are_stirred_up_at_the_published_speed(row: dict[str, str]) -> None:
    # The file's specific gravity is over water of 1000 kg/m3, reached near 4 degC.
    told = {
        "flow": "1 m3/h",
        "particle_size": f"{float(row['particle_diameter_um']) / 1000} mm",
        "particle_density": f"{float(row['particle_specific_gravity']) * 1000} kg/m3",
        "temperature": "4 degC",
    }
    given = answer(SETTLING_BOX, told)
    assert given.values["scour_velocity"] == pytest.approx(float(row["scour_velocity_m_per_s"]), rel=1e-3)


def test_the_lightest_measured_density_stands_in_for_one_that_is_not_told() -> None:
    told = answer(
        SETTLING_BOX, {**FAECES, "particle_density": f"{MEASURED['fish waste solids density']['low']} kg/m3"}
    )
    assert answer(SETTLING_BOX, FAECES).values == told.values


@pytest.mark.parametrize(
    "solid",
    ["trout faeces, hand stripped, mean", "suspended solids, rainbow trout farm, mean", "salmon faeces"],
)
def test_what_sinks_as_measured_faeces_do_is_like_a_sphere_of_a_few_millimetres(solid: str) -> None:
    row = MEASURED[solid]
    given = answer(SETTLING_BOX, {"flow": "1000 L/h", "settling_velocity": f"{row['low']} cm/s"})
    assert 0.1 < given.quantity("particle_size", "mm").value < 10


def test_the_box_that_is_needed_surely_catches_the_particle() -> None:
    given = answer(SETTLING_BOX, FAECES)
    assert given.values["plan_area"] == given.values["plan_area_needed"]
    assert given.values["surely_caught"] == pytest.approx(given.values["particle_size"])
    assert given.values["ideal_removal"] == 1


def test_a_box_alone_tells_the_smallest_particle_it_catches() -> None:
    given = answer(SETTLING_BOX, {"flow": "2000 L/h", "width": "40 cm", "length": "60 cm"})
    assert given.values["settling_velocity"] is None and given.values["hazen_removal"] is None
    again = answer(
        SETTLING_BOX,
        {
            "flow": "2000 L/h",
            "particle_size": f"{given.values['smallest_caught'] * 1000} mm",
            "safety_factor": 1,
        },
    )
    assert again.values["plan_area_needed"] == pytest.approx(0.24, rel=1e-6)


def test_cautions_are_told_where_they_belong() -> None:
    assert "fines-pass" in codes(**FAECES)
    assert "floor-too-small" not in codes(**FAECES)
    assert "floor-too-small" in codes(**FAECES, length="10 cm")
    assert "stirred-up" in codes(**FAECES, depth="1 cm")
    assert "stirred-up" not in codes(**FAECES, depth="30 cm")
    assert "short-stay" in codes(**FAECES, depth="5 cm")
    assert "beyond-the-drag-law" in codes(flow="1 m3/h", particle_size="9 cm", particle_density="8000 kg/m3")


def test_what_does_not_sink_or_fit_is_refused_at_its_place() -> None:
    assert list(refusal(**FAECES, particle_density="990 kg/m3")) == ["/particle_density"]
    assert list(refusal(flow="1 m3/h")) == ["/particle_size"]
    assert list(refusal(flow="1 m3/h", length="1 m")) == ["/width"]
    assert list(refusal(**FAECES, settling_velocity="1 cm/s")) == ["/particle_size", "/settling_velocity"]


def sized(low: float, high: float, unit: str) -> st.SearchStrategy[str]:
    return st.floats(low, high).map(lambda x: f"{x:.4g} {unit}")


BOXES = st.fixed_dictionaries(
    {"flow": sized(10, 20000, "L/h"), "particle_size": sized(0.02, 20, "mm")},
    optional={
        "particle_density": sized(1010, 3000, "kg/m3"),
        "temperature": sized(2, 40, "degC"),
        "width": sized(5, 200, "cm"),
        "depth": sized(5, 200, "cm"),
        "safety_factor": st.floats(1, 5),
        "hazen_grade": st.integers(1, 10),
    },
)


@settings(max_examples=60)
@given(BOXES)
def test_every_step_follows_from_its_own_numbers(assert_followed, told: dict[str, object]) -> None:
    for step in answer(SETTLING_BOX, told).steps:
        assert_followed(step)


@given(BOXES, st.floats(1.01, 5))
def test_a_coarser_particle_needs_less_floor(told: dict[str, object], times: float) -> None:
    fine = answer(SETTLING_BOX, told).values
    if fine["particle_size"] * times > 0.1:
        return
    coarse = answer(SETTLING_BOX, {**told, "particle_size": f"{fine['particle_size'] * times} m"}).values
    assert coarse["plan_area_needed"] < fine["plan_area_needed"]


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
ODD = st.floats(0, 1e300) | st.floats(0, 1)
BODIES = st.one_of(
    ANYTHING,
    st.fixed_dictionaries(
        {"flow": ODD.map("{} L/h".format)},
        optional={
            "particle_size": ODD.map("{} mm".format),
            "settling_velocity": ODD.map("{} m/s".format) | ANYTHING,
            "particle_density": st.floats(0, 1e5).map("{} kg/m3".format) | ANYTHING,
            "width": ODD.map("{} m".format),
            "length": ODD.map("{} m".format),
            "depth": ODD.map("{} m".format) | ANYTHING,
            "temperature": st.floats(-10, 60).map("{} degC".format) | ANYTHING,
            "safety_factor": st.floats(0, 30) | ANYTHING,
            "hazen_grade": st.integers(-1, 20) | ANYTHING,
        },
    ),
)


@given(BODIES)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body) -> None:
    try:
        given = answer(SETTLING_BOX, body)
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(given), allow_nan=False)
