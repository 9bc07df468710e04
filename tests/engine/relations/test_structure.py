import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.structure import (
    DIMENSIONS,
    SHAPES,
    UPRIGHT,
    WATER_DENSITY,
    grains_under_water,
    plan_area,
    segment_area,
    surface_area,
    top_of,
    volume_below,
    water_volume,
    wet_half_angle,
)
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
PRISMS = list(csv.DictReader((PUBLISHED / "tank_volumes_prismatic.csv").open()))
CYLINDERS = list(csv.DictReader((PUBLISHED / "tank_volumes_horizontal_cylinder.csv").open()))
DISPLACED = list(csv.DictReader((PUBLISHED / "displacement_worked.csv").open()))
DENSITIES = list(csv.DictReader((PUBLISHED / "water_density.csv").open()))

OURS = {
    "rectangle": ("rectangle", {}),
    "cylinder": ("circle", {}),
    "regular_hexagon": ("regular_polygon", {}),
    "trapezoid": ("trapezoid", {}),
    "bow_front": ("arced_front", {"side_width": "width", "bow": "front_rise"}),
    "corner_quarter_cylinder": ("quarter_circle", {}),
    "corner_pentagon": ("cut_corner", {"front_cut": "corner_cut"}),
    "l_shape": ("l_shape", {}),
}
"""The file's shapes under our names, with those dimensions that are called differently."""

GOOD = {
    "rectangle": {"length": 1.2, "width": 0.5},
    "arced_front": {"length": 1.2, "width": 0.35, "front_rise": 0.12},
    "circle": {"diameter": 0.6},
    "quarter_circle": {"radius": 0.7},
    "regular_polygon": {"sides": 6, "side": 0.3},
    "trapezoid": {"front": 1.2, "back": 0.8, "width": 0.5},
    "cut_corner": {"side": 0.8, "corner_cut": 0.45},
    "l_shape": {"leg_a": 1.5, "leg_b": 1.2, "width": 0.5},
    "lying_cylinder": {"length": 1.2, "diameter": 0.6},
}


def measures(row: dict[str, str]) -> tuple[str, dict[str, float]]:
    shape, called = OURS[row["shape"]]
    dims = {"sides": 6.0} if row["shape"] == "regular_hexagon" else {}
    for number in "123":
        if name := row[f"dimension{number}_name"]:
            dims[called.get(name, name)] = float(row[f"dimension{number}_m"])
    return shape, dims


@pytest.mark.parametrize("row", PRISMS, ids=lambda row: f"{row['case_id']}-{row['shape']}")
def test_a_plan_area_is_that_of_the_polygon_sums(row: dict[str, str]) -> None:
    area = plan_area(*measures(row))
    assert area == pytest.approx(float(row["plan_area_m2"]), rel=1e-4)


def test_every_footprint_has_a_published_area() -> None:
    assert {measures(row)[0] for row in PRISMS} == set(UPRIGHT)


@pytest.mark.parametrize("row", PRISMS, ids=lambda row: f"{row['case_id']}-{row['shape']}")
def test_a_vessel_with_upright_walls_holds_its_published_volume(row: dict[str, str]) -> None:
    held = volume_below(*measures(row), float(row["water_depth_m"]))
    assert held * 1000 == pytest.approx(float(row["volume_l"]), rel=1e-4)


@pytest.mark.parametrize("row", CYLINDERS, ids=lambda row: row["case_id"])
def test_a_lying_cylinder_holds_what_another_library_says(row: dict[str, str]) -> None:
    dims = {"length": float(row["length_m"]), "diameter": float(row["diameter_m"])}
    held = volume_below("lying_cylinder", dims, float(row["water_depth_m"]))
    assert held * 1000 == pytest.approx(float(row["volume_library_l"]), rel=5e-4)
    assert water_volume("lying_cylinder", dims, float(row["water_depth_m"])) == held


@given(st.floats(0.2, 3), st.floats(0.1, 2), st.floats(1e-4, 1 - 1e-4))
def test_the_surface_of_a_lying_cylinder_is_how_fast_its_volume_grows(
    length: float, diameter: float, share: float
) -> None:
    dims, depth = {"length": length, "diameter": diameter}, share * diameter
    step = 1e-4 * min(depth, diameter - depth)
    grown = volume_below("lying_cylinder", dims, depth + step) - volume_below(
        "lying_cylinder", dims, depth - step
    )
    assert grown / (2 * step) == pytest.approx(surface_area("lying_cylinder", dims, depth), rel=1e-4)


@given(st.floats(0.1, 2), st.floats(0, 1))
def test_what_a_lying_cylinder_holds_and_what_it_lacks_make_up_the_whole(
    diameter: float, share: float
) -> None:
    dims, depth = {"length": 1.0, "diameter": diameter}, share * diameter
    below = volume_below("lying_cylinder", dims, depth)
    above = volume_below("lying_cylinder", dims, diameter - depth)
    assert below + above == pytest.approx(math.pi * diameter**2 / 4, rel=1e-7)


def test_a_lying_cylinder_has_no_one_area_and_no_level_above_its_top() -> None:
    dims = GOOD["lying_cylinder"]
    assert top_of("lying_cylinder", dims) == 0.6
    assert top_of("rectangle", GOOD["rectangle"]) is None
    assert wet_half_angle(0.6, 0.3) == pytest.approx(math.pi / 2)
    assert surface_area("lying_cylinder", dims, 0.6) == 0
    with pytest.raises(Invalid) as refused:
        plan_area("lying_cylinder", dims)
    assert [fault.pointer for fault in refused.value.faults] == ["/shape"]
    for ask in (volume_below, surface_area):
        with pytest.raises(Invalid) as refused:
            ask("lying_cylinder", dims, 0.61)
        assert [fault.pointer for fault in refused.value.faults] == ["/water_depth"]


@pytest.mark.parametrize("row", DISPLACED, ids=lambda row: row["case_id"])
def test_bed_and_rock_displace_as_worked_by_hand(row: dict[str, str]) -> None:
    area, depth, water = (float(row[name]) for name in ("plan_area_m2", "bed_depth_m", "water_level_m"))
    porosity = float(row["bed_porosity"])
    rock = float(row["rock_mass_kg"]) / float(row["rock_density_kg_per_m3"])
    box = {"length": area, "width": 1.0}
    assert grains_under_water("rectangle", box, depth, water, porosity) * 1000 == pytest.approx(
        float(row["bed_solid_volume_l"]), rel=1e-3
    )
    assert water_volume("rectangle", box, water, depth, porosity, rock) * 1000 == pytest.approx(
        float(row["net_water_l"]), rel=1e-3
    )


def test_water_weighs_what_iapws_95_gives_at_20_degrees() -> None:
    row = next(row for row in DENSITIES if row["temperature_c"] == "20")
    assert pytest.approx(float(row["density_iapws95_kg_per_m3"]), abs=0.05) == WATER_DENSITY


@pytest.mark.parametrize("shape", SHAPES)
def test_a_volume_grows_with_the_cube_of_its_measures(shape: str) -> None:
    doubled = {name: value if name == "sides" else 2 * value for name, value in GOOD[shape].items()}
    assert volume_below(shape, doubled, 0.4) == pytest.approx(8 * volume_below(shape, GOOD[shape], 0.2))
    assert surface_area(shape, doubled, 0.4) == pytest.approx(4 * surface_area(shape, GOOD[shape], 0.2))


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("name", DIMENSIONS)
def test_a_missing_or_foreign_dimension_is_named_and_the_right_ones_listed(shape: str, name: str) -> None:
    dims = {**GOOD[shape]}
    if name in SHAPES[shape]:
        del dims[name]
    else:
        dims[name] = 0.5
    with pytest.raises(Invalid) as refused:
        volume_below(shape, dims, 0.1)
    assert [fault.pointer for fault in refused.value.faults] == [f"/{name}"]
    assert all(taken in refused.value.faults[0].message for taken in SHAPES[shape])


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_a_measure_that_is_no_length_is_refused(shape: str, bad: float) -> None:
    for name in SHAPES[shape]:
        with pytest.raises(Invalid):
            volume_below(shape, {**GOOD[shape], name: bad}, 0.1)


@pytest.mark.parametrize(
    ("shape", "name", "most"),
    [
        ("arced_front", "front_rise", 0.6),
        ("cut_corner", "corner_cut", 0.7999),
        ("l_shape", "width", 1.1999),
        ("regular_polygon", "sides", 24),
    ],
)
def test_a_measure_out_of_proportion_is_refused_at_its_place(shape: str, name: str, most: float) -> None:
    assert plan_area(shape, {**GOOD[shape], name: most}) > 0
    with pytest.raises(Invalid) as refused:
        plan_area(shape, {**GOOD[shape], name: most * 1.05})
    assert [fault.pointer for fault in refused.value.faults] == [f"/{name}"]


def test_an_unknown_footprint_is_refused_with_those_there_are() -> None:
    with pytest.raises(Invalid, match="rectangle"):
        plan_area("star", {})


def test_limits_of_the_footprints_meet() -> None:
    assert segment_area(2.0, 1.0) == pytest.approx(math.pi / 2)
    assert segment_area(1.0, 1e-4 * 0.999999) == pytest.approx(segment_area(1.0, 1e-4), rel=2e-6)
    square = plan_area("rectangle", {"length": 0.8, "width": 0.8})
    assert plan_area("regular_polygon", {"sides": 4, "side": 0.8}) == pytest.approx(square)
    assert plan_area("trapezoid", {"front": 0.8, "back": 0.8, "width": 0.8}) == pytest.approx(square)
    assert 4 * plan_area("quarter_circle", {"radius": 0.5}) == pytest.approx(
        plan_area("circle", {"diameter": 1.0})
    )


@given(st.floats(0.1, 3), st.floats(0.05, 1), st.floats(0, 2), st.floats(0, 0.99))
def test_a_bed_never_displaces_more_than_the_water_it_stands_in(
    area: float, water: float, bed: float, porosity: float
) -> None:
    box = {"length": area, "width": 1.0}
    assert 0 <= grains_under_water("rectangle", box, bed, water, porosity) <= area * water


@pytest.mark.parametrize("hardscape", [0.3, 0.31])
def test_contents_that_leave_no_water_are_refused(hardscape: float) -> None:
    with pytest.raises(Invalid, match="no room"):
        water_volume("rectangle", {"length": 1.2, "width": 0.5}, 0.5, hardscape=hardscape)
