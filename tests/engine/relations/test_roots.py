import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.roots import root_between


@given(st.floats(-50, 50), st.floats(0.1, 5), st.floats(0.1, 5))
def test_the_root_of_a_kinked_line_is_its_kink_or_beyond(at, left, right) -> None:
    def rising(x: float) -> tuple[float, float]:
        slope = left if x < at else right
        return slope * (x - at), slope

    assert root_between(rising, -100, 100) == pytest.approx(at, abs=1e-9)


@pytest.mark.parametrize("start", [None, 0.0, 1e-9, 30.0, 99.0, 500.0])
def test_a_root_is_found_from_any_start_even_where_the_slope_misleads(start) -> None:
    # Newton's steps alone run away from the root of atan from anything beyond 1.39.
    assert root_between(
        lambda x: (math.atan(x - 3), 1 / (1 + (x - 3) ** 2)), -100, 100, start
    ) == pytest.approx(3)


@pytest.mark.parametrize("slope", [0.0, math.inf, math.nan])
def test_a_slope_that_says_nothing_is_passed_over_by_halving(slope: float) -> None:
    assert root_between(lambda x: (x**3 - 8, slope), 0, 100) == pytest.approx(2)
