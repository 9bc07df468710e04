"""Hours rolled up from readings: what they hold, and that they hold the same however the readings came."""

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.rollups import HOUR_MS, Hour, Join, Point, extend, roll

MINUTE = 60_000
JOINS = st.sampled_from(Join)
GAPS = st.sampled_from([None, 5 * MINUTE, 30 * MINUTE])


@st.composite
def readings(draw: st.DrawFn) -> list[Point]:
    """A few hours of one gauge, from several a minute to none for an hour or more."""
    steps = draw(st.lists(st.integers(1, 20 * MINUTE) | st.integers(1, 3 * HOUR_MS), min_size=1, max_size=40))
    at_ms = draw(st.integers(400_000 * HOUR_MS, 400_001 * HOUR_MS))
    points = []
    for step in steps:
        value = draw(st.floats(-5, 40, allow_subnormal=False))
        points.append(Point(at_ms, value, draw(st.booleans()), draw(st.integers(0, 5)) == 0))
        at_ms += step
    return points


@given(readings(), JOINS, GAPS, st.data())
def test_an_hour_extended_batch_by_batch_equals_the_hour_rolled_at_once_to_the_last_bit(
    points: list[Point], join: Join, gap_ms: int | None, data: st.DataObject
) -> None:
    hours: dict[int, Hour] = {}
    rest = points
    while rest:
        hour = rest[0].at_ms // HOUR_MS
        of_hour = [point for point in rest if point.at_ms // HOUR_MS == hour]
        batch = of_hour[: data.draw(st.integers(1, len(of_hour)))]
        hours[hour] = extend(hours.get(hour), batch, join, gap_ms)
        rest = rest[len(batch) :]
    assert hours == roll(points, join, gap_ms)


@given(readings(), JOINS, GAPS)
def test_an_hour_holds_the_counts_and_extremes_of_its_plausible_readings(
    points: list[Point], join: Join, gap_ms: int | None
) -> None:
    hours = roll(points, join, gap_ms)
    assert list(hours) == sorted({point.at_ms // HOUR_MS for point in points})
    for number, hour in hours.items():
        inside = [point for point in points if point.at_ms // HOUR_MS == number]
        plausible = [point for point in inside if not point.implausible]
        values = [point.value for point in plausible]
        assert hour.hour == number
        assert (hour.n, hour.implausible) == (len(plausible), len(inside) - len(plausible))
        assert hour.qualified == sum(point.qualified for point in plausible)
        assert hour.total == pytest.approx(math.fsum(values), rel=1e-12, abs=1e-9)
        assert hour.squares == pytest.approx(math.fsum(value**2 for value in values), rel=1e-12)
        if plausible:
            assert (hour.low, hour.high) == (min(values), max(values))
            assert (hour.first_ms, hour.first) == plausible[0][:2]
            assert (hour.last_ms, hour.last) == plausible[-1][:2]


@given(readings(), GAPS)
def test_lines_and_held_values_cover_the_same_time_and_plain_values_none(
    points: list[Point], gap_ms: int | None
) -> None:
    line, hold, plain = (roll(points, join, gap_ms).values() for join in (Join.LINE, Join.HOLD, Join.PLAIN))
    assert [hour.covered_ms for hour in line] == [hour.covered_ms for hour in hold]
    assert {(hour.area, hour.covered_ms) for hour in plain} == {(0.0, 0)}


def test_a_line_is_summed_by_trapezoids_and_a_held_value_by_steps() -> None:
    points = [Point(0, 24.0), Point(10 * MINUTE, 30.0), Point(40 * MINUTE, 24.0)]
    assert roll(points, Join.LINE, None)[0].area == 27.0 * 10 * MINUTE + 27.0 * 30 * MINUTE
    assert roll(points, Join.HOLD, None)[0].area == 24.0 * 10 * MINUTE + 30.0 * 30 * MINUTE


def test_only_a_gap_longer_than_the_limit_is_left_out() -> None:
    points = [Point(0, 24.0), Point(10 * MINUTE, 24.0), Point(20 * MINUTE + 1, 24.0)]
    hour = roll(points, Join.LINE, 10 * MINUTE)[0]
    assert (hour.covered_ms, hour.area) == (10 * MINUTE, 24.0 * 10 * MINUTE)


def test_an_implausible_reading_is_counted_and_bridged_over() -> None:
    points = [Point(0, 24.0), Point(MINUTE, 85.0, qualified=True, implausible=True), Point(2 * MINUTE, 26.0)]
    hour = roll(points, Join.LINE, 2 * MINUTE)[0]
    assert (hour.n, hour.qualified, hour.implausible, hour.high) == (2, 0, 1, 26.0)
    assert (hour.area, hour.covered_ms) == (25.0 * 2 * MINUTE, 2 * MINUTE)


def test_an_hour_of_implausible_readings_alone_has_no_other_numbers() -> None:
    assert roll([Point(HOUR_MS + 5, 85.0, implausible=True)], Join.LINE, None) == {1: Hour(1, implausible=1)}


def test_an_hour_of_implausible_readings_starts_properly_at_its_first_plausible_one() -> None:
    hour = extend(None, [Point(5, 85.0, implausible=True)], Join.LINE, None)
    assert extend(hour, [Point(9, -3.0)], Join.LINE, None) == Hour(
        0, 1, 0, 1, -3.0, 9.0, -3.0, -3.0, 9, -3.0, 9, -3.0
    )


def test_nothing_added_leaves_the_hour_as_it_was() -> None:
    hour = extend(None, [Point(5, 24.0)], Join.LINE, None)
    assert extend(hour, [], Join.LINE, None) is hour


@pytest.mark.parametrize(
    ("points", "why"),
    [
        ([], "at least one"),
        ([Point(5, 24.0), Point(5, 25.0)], "ascend"),
        ([Point(6, 24.0), Point(5, 25.0)], "ascend"),
        ([Point(5, 24.0), Point(HOUR_MS, 25.0)], "another hour"),
    ],
    ids=["none", "same instant", "descending", "two hours"],
)
def test_an_hour_refuses_readings_it_can_not_add_in_order(points: list[Point], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        extend(None, points, Join.LINE, None)


def test_an_hour_refuses_a_reading_that_is_not_later_than_those_it_holds() -> None:
    hour = extend(None, [Point(5, 24.0)], Join.LINE, None)
    with pytest.raises(ValueError, match="later"):
        extend(hour, [Point(5, 24.0)], Join.LINE, None)
    with pytest.raises(ValueError, match="another hour"):
        extend(hour, [Point(HOUR_MS, 24.0)], Join.LINE, None)


@given(readings())
def test_the_sums_of_an_hour_give_its_variance(points: list[Point]) -> None:
    """Against the variance of Python's statistics module, which adds exact fractions."""
    for number, hour in roll(points, Join.PLAIN, None).items():
        values = [p.value for p in points if p.at_ms // HOUR_MS == number and not p.implausible]
        if hour.n > 1:
            variance = (hour.squares - hour.total**2 / hour.n) / (hour.n - 1)
            assert variance == pytest.approx(statistics.variance(values), rel=1e-9, abs=1e-9)
