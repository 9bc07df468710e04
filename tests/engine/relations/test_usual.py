"""What is usual of a series, held to SciPy's median absolute deviation and to what must hold of any series."""

from __future__ import annotations

import math
import random
from statistics import median

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import median_abs_deviation

from weirbook.engine.relations.usual import FAR, TO_DEVIATION, distance, far_from, least_step, usual

values = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=60)


@given(values)
def test_middle_and_spread_are_scipys(some: list[float]) -> None:
    """SciPy divides by 0.674490 (the normal distribution's upper quartile); 1.4826 is its inverse to five figures."""
    found = usual(some)
    assert found.middle == median(some)
    assert found.spread == pytest.approx(
        float(median_abs_deviation(some, scale="normal")), rel=1e-4, abs=1e-9
    )
    assert found.n == len(some)


def test_iglewicz_and_hoaglins_limit_is_met_in_their_own_form() -> None:
    """0.6745 (x - median) / MAD, by hand: median 10, MAD 1, so that 3.5 is reached at 10 + 3.5 / 0.6745 = 15.19."""
    of = usual([8.0, 9.0, 10.0, 11.0, 12.0])
    edge = 10 + FAR / 0.6745
    assert distance(edge + 0.01, of) == pytest.approx(0.6745 * (edge + 0.01 - 10), rel=1e-4)
    low, high = distance(edge - 0.01, of), distance(edge + 0.01, of)
    assert low is not None
    assert high is not None
    assert low < FAR < high


@given(values, st.floats(-1e3, 1e3), st.floats(0.01, 100))
def test_a_shift_and_a_scale_of_everything_change_no_distance(
    some: list[float], shift: float, scale: float
) -> None:
    of = usual(some)
    if of.spread > 1e-3:
        moved = usual([scale * one + shift for one in some])
        there = distance(scale * (of.middle + 2 * of.spread) + shift, moved)
        assert there == pytest.approx(2.0, rel=1e-3, abs=1e-3)


def test_one_step_of_a_coarse_scale_is_never_far_and_two_steps_are() -> None:
    of = usual([3.0] * 9)
    for steps, far in ((1, False), (2, True)):
        z = distance(3.0 + 0.5 * steps, of, 0.5)
        assert z == pytest.approx(steps * math.sqrt(12))
        assert (z is not None and z >= FAR) is far


def test_what_never_scattered_on_a_scale_nobody_knows_gives_no_distance() -> None:
    of = usual([3.0, 3.0, 3.0])
    assert distance(3.0, of) == 0
    assert distance(4.0, of) is None


def test_odd_values_of_the_past_hide_nothing() -> None:
    """A standard deviation would be 30 here, and 12 lie well within it."""
    some = [10.0, 10.1, 9.9, 10.2, 9.8, 10.0, 100.0]
    z = distance(12.0, usual(some))
    assert z is not None
    assert z > FAR


def test_the_least_step_is_that_of_the_scale() -> None:
    assert least_step([3.0, 2.5, 3.0, 4.0]) == 0.5
    assert least_step([3.0, 3.0]) is None
    assert TO_DEVIATION == pytest.approx(1 / 0.6744897501960817, rel=1e-4)


def test_nothing_has_no_usual() -> None:
    with pytest.raises(ValueError, match="one value"):
        usual([])


def daily(n: int, keeps: float, luck: random.Random) -> list[float]:
    """Daily values that keep a share of the day before, of standard deviation 1."""
    found = [luck.gauss(0, 1)]
    while len(found) < n:
        found.append(keeps * found[-1] + math.sqrt(1 - keeps**2) * luck.gauss(0, 1))
    return found


@pytest.mark.parametrize("keeps", [0.0, 0.5, 0.9])
def test_where_nothing_moved_hardly_anything_seems_to(keeps: float) -> None:
    """The share told in its documentation is 1 to 4 %: of 300 series, 4 % may be 12 ± 3.4; 24 is beyond chance."""
    luck = random.Random(7)
    seen = 0
    for _ in range(300):
        series = daily(112, keeps, luck)
        seen += far_from(series[91:], usual(series[:91]), None, 2) is not None
    assert seen <= 24


def test_a_level_that_moved_by_six_deviations_is_found_with_its_first_day() -> None:
    luck = random.Random(8)
    for side in (6.0, -6.0):
        series = [one + (side if place >= 106 else 0.0) for place, one in enumerate(daily(112, 0.5, luck))]
        found = far_from(series[91:], usual(series[:91]), None, 2)
        assert found is not None
        assert (found.first, found.count) == (15, 6)
        assert found.z is not None
        assert found.z * side > 0


def test_one_day_alone_is_not_enough_where_two_are_asked_for() -> None:
    of = usual([0.0, 1.0, 2.0, 1.0, 0.0])
    assert far_from([1.0, 40.0, 1.0], of, None, 2) is None
    assert far_from([1.0, 40.0, 1.0], of, None, 1) is not None
    assert far_from([40.0], of, None, 2) is not None
