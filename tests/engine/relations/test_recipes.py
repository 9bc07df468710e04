import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import linprog, nnls

from weirbook.engine.relations.recipes import blend, dot, least_squares, non_negative

FIGURES = st.integers(-300, 300).map(lambda hundredths: hundredths / 100)
"""Few digits, so that no column is a hair beside another one."""


@st.composite
def problems(draw, most_columns: int = 9) -> tuple[list[list[float]], list[float]]:
    rows, columns = draw(st.integers(1, 7)), draw(st.integers(1, most_columns))
    vector = st.lists(FIGURES | st.just(0.0), min_size=rows, max_size=rows)
    return draw(st.lists(vector, min_size=columns, max_size=columns)), draw(vector)


def miss(columns: list[list[float]], wanted: list[float], amounts: list[float]) -> float:
    return float(np.linalg.norm(np.array(columns).T @ np.array(amounts) - wanted))


@given(problems())
def test_no_sum_of_amounts_from_0_up_comes_nearer_than_a_general_library_finds(problem) -> None:
    columns, wanted = problem
    found = non_negative(columns, wanted)
    assert min(found) >= 0
    theirs, nearest = nnls(np.array(columns).T, np.array(wanted))
    assert miss(columns, wanted, found) == pytest.approx(nearest, abs=1e-9)
    matrix = np.array(columns).T
    if np.linalg.matrix_rank(matrix) == len(columns) and np.linalg.cond(matrix) < 1e4:
        assert found == pytest.approx(theirs.tolist(), abs=1e-8)


@given(problems())
def test_the_same_answer_comes_of_columns_told_twice(problem) -> None:
    columns, wanted = problem
    twice = non_negative([*columns, *columns], wanted)
    once = non_negative(columns, wanted)
    assert miss([*columns, *columns], wanted, twice) == pytest.approx(miss(columns, wanted, once), abs=1e-9)


@given(problems(4))
def test_least_squares_are_those_of_a_general_library(problem) -> None:
    columns, wanted = problem
    matrix = np.array(columns).T
    if np.linalg.matrix_rank(matrix) < len(columns):
        assert least_squares(columns, wanted) is None or np.linalg.cond(matrix) > 1e6
    elif np.linalg.cond(matrix) < 1e6:
        theirs = np.linalg.lstsq(matrix, np.array(wanted), rcond=None)[0]
        assert least_squares(columns, wanted) == pytest.approx(theirs.tolist(), rel=1e-7, abs=1e-7)


def test_a_column_of_nothing_and_one_that_leads_away_are_left_out() -> None:
    assert non_negative([[0.0, 0.0], [-1.0, 0.0], [2.0, 0.0]], [4.0, 1.0]) == [0, 0, pytest.approx(2)]
    assert non_negative([[-1.0]], [4.0]) == [0]
    assert non_negative([[1.0, 2.0]], [0.0, 0.0]) == [0]


SHARES = st.sampled_from([0.0, 0.0, 1.0, 2.0])


@st.composite
def reachable(draw) -> tuple[list[list[float]], list[float], list[float]]:
    """Salts, burdens, and rises that some amounts of them reach."""
    targets, salts = draw(st.integers(1, 5)), draw(st.integers(1, 9))
    brings = draw(
        st.lists(st.lists(SHARES, min_size=targets, max_size=targets), min_size=salts, max_size=salts)
    )
    amounts = draw(st.lists(st.sampled_from([0.0, 0.3, 1.0, 2.5]), min_size=salts, max_size=salts))
    burdens = draw(st.lists(st.floats(0.02, 0.2), min_size=salts, max_size=salts))
    return brings, burdens, (np.array(brings).T @ np.array(amounts)).tolist()


@given(reachable())
def test_what_can_be_reached_is_reached_with_the_least_burden_that_a_linear_programme_finds(problem) -> None:
    brings, burdens, rises = problem
    found = blend(brings, rises, [one or 1.0 for one in rises], burdens)
    assert min(found) >= 0
    assert (np.array(brings).T @ np.array(found)).tolist() == pytest.approx(rises, rel=1e-8, abs=1e-8)
    useful = [any(row) for row in brings]
    least = linprog(
        [burden if use else 0.0 for burden, use in zip(burdens, useful, strict=True)],
        A_eq=np.array(brings).T,
        b_eq=rises,
    )
    assert dot(found, burdens) == pytest.approx(least.fun, rel=1e-5, abs=1e-6)
    assert all(amount == 0 for amount, use in zip(found, useful, strict=True) if not use)


@given(reachable(), st.floats(0.01, 100))
def test_twice_the_water_or_another_unit_takes_amounts_in_proportion(problem, times: float) -> None:
    brings, burdens, rises = problem
    sizes = [one or 1.0 for one in rises]
    once = blend(brings, rises, sizes, burdens)
    more = blend(brings, [times * one for one in rises], [times * one for one in sizes], burdens)
    assert dot(more, burdens) == pytest.approx(times * dot(once, burdens), rel=1e-5, abs=1e-6 * times)


def test_a_miss_counts_as_a_share_of_its_own_size() -> None:
    # One salt brings one of both targets; 10 and 1 are wanted. By hand: (x - 10) / 100 + (x - 1) = 0.
    assert blend([[1.0, 1.0]], [10.0, 1.0], [10.0, 1.0], [1.0]) == [pytest.approx(1.1 / 1.01)]
    assert math.isclose(blend([[1.0, 1.0]], [10.0, 1.0], [1.0, 1.0], [1.0])[0], 5.5)
