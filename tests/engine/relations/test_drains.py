import csv
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations import water
from weirbook.engine.relations.drains import (
    EN_TURN,
    STACK_FULL,
    SWMM_TURN,
    drain_pieces,
    lip_capacity,
    lip_depth_for,
    lip_flow_en,
    lip_flow_swmm,
    part_full,
    siphon_capacity,
    stack_capacity,
    stack_diameter,
    stack_flow_nbs,
)

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
Row = dict[str, str]


def of(file: str, key: str = "case_id") -> pytest.MarkDecorator:
    rows = list(csv.DictReader((PUBLISHED / file).open()))
    return pytest.mark.parametrize("row", rows, ids=lambda row: row[key])


@of("drain_vertical_lip.csv")
def test_a_mouth_takes_what_both_published_forms_give(row: Row) -> None:
    bore, head = float(row["pipe_inside_diameter_m"]), float(row["head_over_lip_m"])
    en, swmm = float(row["en12056_3_flow_m3_per_s"]), float(row["swmm_flow_m3_per_s"])
    assert lip_flow_en(bore, head) == pytest.approx(en, rel=5e-3)
    assert lip_flow_swmm(bore, head) == pytest.approx(swmm, rel=5e-3)
    assert EN_TURN * bore == pytest.approx(float(row["en12056_3_transition_head_m"]), rel=1e-3)
    assert SWMM_TURN * bore == pytest.approx(float(row["swmm_transition_head_m"]), rel=1e-3)
    spread = lip_capacity(bore, head)
    assert (spread.low, spread.value, spread.high) == pytest.approx(
        (min(en, swmm), en, max(en, swmm)), rel=1e-5
    )


@of("drain_vertical_lip.csv")
def test_the_depth_of_a_mouth_is_found_from_what_it_takes(row: Row) -> None:
    bore, head = float(row["pipe_inside_diameter_m"]), float(row["head_over_lip_m"])
    assert lip_depth_for(float(row["en12056_3_flow_m3_per_s"]), bore) == pytest.approx(head, rel=1e-5)


@of("drain_full_siphon.csv")
def test_a_drain_that_runs_full_carries_what_its_drop_drives(row: Row) -> None:
    [pipe] = drain_pieces(
        float(row["inside_diameter_m"]),
        float(row["pipe_length_m"]),
        int(row["elbow_count"]),
        float(row["valve_k"]),
        float(row["roughness_mm"]) / 1e3,
    )
    assert pipe.k == pytest.approx(float(row["total_k"]))
    viscosity = water.kinematic_viscosity(float(row["temperature_c"]) + 273.15)
    drop = float(row["level_difference_m"])
    flow = siphon_capacity(pipe.diameter, drop, pipe.length, pipe.k, pipe.roughness, viscosity)
    assert flow == pytest.approx(float(row["flow_m3_per_s"]), rel=5e-3)
    assert flow / pipe.area == pytest.approx(float(row["velocity_m_per_s"]), rel=5e-3)


@of("drain_stack_wyly_eaton.csv")
def test_an_upright_pipe_carries_its_film(row: Row) -> None:
    bore, fill = float(row["inside_diameter_mm"]) / 1e3, float(row["filling_degree"])
    published = float(row["en12056_3_capacity_l_per_s"]) / 1e3
    assert stack_capacity(bore, fill) == pytest.approx(published, rel=5e-3)
    assert stack_flow_nbs(bore, fill) == pytest.approx(float(row["nbs_27_8_formula_l_per_s"]) / 1e3, rel=5e-3)
    assert stack_capacity(bore, fill) == pytest.approx(stack_flow_nbs(bore, fill), rel=2e-3)
    assert stack_diameter(published, fill) == pytest.approx(bore, rel=1e-5)


@of("manning_circular_ratios.csv", "depth_over_diameter")
def test_a_lying_pipe_has_the_shape_of_its_water(row: Row) -> None:
    part, full = part_full(0.04, float(row["depth_over_diameter"]), 0.02), part_full(0.04, 1.0, 0.02)
    assert part.wetted_angle == pytest.approx(float(row["wetted_angle_rad"]), rel=1e-3)
    assert part.area / full.area == pytest.approx(float(row["area_ratio"]), rel=1e-3)
    radius = part.hydraulic_radius / full.hydraulic_radius
    assert radius == pytest.approx(float(row["hydraulic_radius_ratio"]), rel=1e-3)
    assert part.velocity / full.velocity == pytest.approx(float(row["velocity_ratio"]), rel=1e-3)
    assert part.flow / full.flow == pytest.approx(float(row["flow_ratio"]), rel=1e-3)


@of("manning_part_full_flow.csv")
def test_a_part_full_pipe_on_a_slope_runs_as_manning_says(row: Row) -> None:
    bore, depth, slope, n = (
        float(row[name]) for name in ("inside_diameter_m", "depth_over_diameter", "slope", "manning_n")
    )
    found = part_full(bore, depth, slope, n)
    assert found.velocity == pytest.approx(float(row["velocity_m_per_s"]), rel=2e-3)
    assert found.flow == pytest.approx(float(row["flow_m3_per_s"]), rel=2e-3)


bores = st.floats(0.005, 0.2)
heads = st.floats(1e-5, 0.5)
more_than_one = st.floats(1.0001, 3)


@given(bores, heads, more_than_one)
def test_more_head_or_a_wider_mouth_never_takes_less(bore: float, head: float, more: float) -> None:
    less, deeper, wider = (
        lip_capacity(bore, head),
        lip_capacity(bore, head * more),
        lip_capacity(bore * more, head),
    )
    assert 0 < less.low <= less.value <= less.high
    for greater in (deeper, wider):
        assert greater.low > less.low and greater.value > less.value and greater.high > less.high


@given(bores, heads)
def test_a_mouths_depth_and_what_it_takes_turn_back_into_each_other(bore: float, head: float) -> None:
    assert lip_depth_for(lip_flow_en(bore, head), bore) == pytest.approx(head, rel=1e-9)


@given(bores, st.floats(0.05, STACK_FULL), st.floats(1.0001, 1.5))
def test_an_upright_pipe_fuller_or_wider_carries_more(bore: float, fill: float, more: float) -> None:
    assert stack_capacity(bore * more, fill) > stack_capacity(bore, fill)
    assert stack_capacity(bore, fill * more) > stack_capacity(bore, fill)
    assert stack_diameter(stack_capacity(bore, fill), fill) == pytest.approx(bore, rel=1e-9)


@given(bores, st.floats(0.05, 2), st.floats(0.1, 5), st.floats(1.5, 50), more_than_one)
def test_a_siphon_carries_more_with_a_deeper_drop_and_less_through_a_tighter_valve(
    bore: float, drop: float, length: float, k: float, more: float
) -> None:
    plain = siphon_capacity(bore, drop, length, k, 1.5e-6, 9e-7)
    assert siphon_capacity(bore, drop * more, length, k, 1.5e-6, 9e-7) > plain
    assert siphon_capacity(bore, drop, length, k * more, 1.5e-6, 9e-7) < plain
    assert siphon_capacity(bore, drop, length, math.inf, 1.5e-6, 9e-7) == 0


@given(bores, st.floats(0.01, 0.93), st.floats(1e-4, 0.2), st.floats(1.0001, 1.07))
def test_a_lying_pipe_fuller_or_steeper_carries_more(
    bore: float, depth: float, slope: float, more: float
) -> None:
    flow = part_full(bore, depth, slope).flow
    assert part_full(bore, min(depth * more, 0.938), slope).flow > flow
    assert part_full(bore, depth, slope * more).flow > flow
