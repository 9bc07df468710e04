import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from weirbook.engine.relations.pump_curves import PumpCurve, crossing


@st.composite
def falling_points(draw, most: int = 7) -> tuple[tuple[float, float], ...]:
    """Points of a curve: from no flow on, each with more flow and less head than the one before."""
    steps = draw(st.lists(st.tuples(st.floats(1e-5, 1e-3), st.floats(0.01, 3)), min_size=1, max_size=most))
    points = [(0.0, draw(st.floats(0, 2)) + sum(drop for _, drop in steps))]
    for more, drop in steps:
        points.append((points[-1][0] + more, points[-1][1] - drop))
    return tuple(points)


CURVES = falling_points().filter(lambda points: crossing(points) is None).map(PumpCurve)


@given(CURVES)
def test_the_curve_passes_through_its_points_and_is_that_of_a_reference_library(curve: PumpCurve) -> None:
    reference = PchipInterpolator(curve.flows, curve.heads) if len(curve.points) > 2 else None
    for (flow, head), (next_flow, _) in zip(curve.points, curve.points[1:], strict=False):
        assert curve.head(flow) == pytest.approx(head, abs=1e-12)
        for share in (0.2, 0.5, 0.9) if reference is not None else ():
            between = flow + share * (next_flow - flow)
            value, slope = curve.head_and_slope(between)
            assert value == pytest.approx(float(reference(between)), abs=1e-9)
            assert slope == pytest.approx(float(reference(between, 1)), rel=1e-6, abs=1e-6)


@given(CURVES, st.floats(0, 1.5), st.floats(0, 1.5))
def test_the_curve_never_rises_and_never_leaves_the_heads_of_its_points(curve, one, other) -> None:
    less, more = sorted((one * curve.last_flow, other * curve.last_flow))
    assert curve.head(more) <= curve.head(less) + 1e-12
    for (flow, head), (next_flow, next_head) in zip(curve.points, curve.points[1:], strict=False):
        assert next_head - 1e-12 <= curve.head((flow + next_flow) / 2) <= head + 1e-12


@given(CURVES, st.floats(0, 1.4))
def test_the_flow_at_the_head_of_a_flow_has_that_head(curve, share) -> None:
    head = curve.head(share * curve.last_flow)
    assert curve.head(curve.flow(head)) == pytest.approx(head, abs=1e-9)


def test_beyond_the_last_point_the_curve_goes_straight_on() -> None:
    curve = PumpCurve(((0.0, 3.0), (1.0, 2.0), (2.0, 0.5)))
    assert curve.head(3.0) == pytest.approx(0.5 - 1.5)
    assert curve.free_flow == pytest.approx(2 + 0.5 / 1.5)
    assert curve.flow(-1.0) == pytest.approx(3.0)


def test_a_curve_that_starts_beyond_no_flow_goes_straight_back_to_it() -> None:
    assert PumpCurve(((1.0, 2.0), (2.0, 1.0))).shut_off == pytest.approx(3.0)


def test_no_flow_comes_where_the_head_does_not_reach() -> None:
    curve = PumpCurve(((0.0, 3.0), (1.0, 2.0)))
    assert curve.flow(3.0) == curve.flow(50.0) == 0


@given(CURVES, st.floats(0.5, 1.3), st.integers(1, 4), st.floats(0, 1))
def test_speed_and_number_of_pumps_scale_the_whole_curve(curve, ratio, count, share) -> None:
    flow = share * curve.last_flow
    assert curve.at_speed(ratio).head(flow * ratio) == pytest.approx(curve.head(flow) * ratio**2, abs=1e-9)
    assert curve.in_parallel(count).head(flow * count) == pytest.approx(curve.head(flow), abs=1e-9)


@pytest.mark.parametrize(
    "points", [(), ((0.0, 3.0),), ((-1.0, 3.0), (1.0, 2.0)), ((0, 3), (1, 3)), ((0, 3), (1, 2), (1, 1))]
)
def test_points_that_are_no_curve_are_refused(points) -> None:
    with pytest.raises(ValueError, match="pump curve"):
        PumpCurve(points)
