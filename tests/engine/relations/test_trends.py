"""Mann–Kendall and Sen: published rows, SciPy beside them, the exact variance of S, and simulated series."""

import csv
import itertools
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from series_scenes import rooms

from weirbook.engine.relations.trends import inflation_by, mann_kendall, p_of, sen, trend

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
ROWS = list(csv.DictReader((PUBLISHED / "stats_mann_kendall.csv").open()))
WHOLE = st.integers(-50, 50).map(float)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["case_id"])
def test_the_published_rows(row: dict[str, str]) -> None:
    values = [float(one) for one in row["series"].split(";")]
    test = mann_kendall(values)
    line = sen(range(len(values)), values, test.variance)
    assert test.n == int(row["n"])
    for mine, column in (
        (test.s, "s_statistic"),
        (test.variance, "variance_s"),
        (test.z, "z"),
        (p_of(test.z), "p_two_sided"),
        (test.tau, "kendall_tau"),
        (line.slope, "sen_slope_per_step"),
        (line.intercept, "sen_intercept"),
    ):
        expected = float(row[column])
        # Intercepts are printed with seven digits.
        assert mine == pytest.approx(expected, rel=1e-6, abs=1e-5), column


@given(st.integers(3, 10).flatmap(lambda n: st.permutations(range(n))))
@settings(max_examples=60, deadline=None)
def test_the_chance_of_few_values_is_counted_as_scipy_does(order: list[int]) -> None:
    test = mann_kendall([float(one) for one in order])
    exact = stats.kendalltau(range(len(order)), order, method="exact")
    assert test.exact
    assert test.p == pytest.approx(exact.pvalue, rel=1e-9)
    assert test.tau == pytest.approx(exact.statistic, abs=1e-12)


@given(st.lists(WHOLE, min_size=3, max_size=30))
@settings(max_examples=60, deadline=None)
def test_with_ties_the_variance_is_that_of_all_orders(values: list[float]) -> None:
    """SciPy's tau-b has the same S over another denominator."""
    test = mann_kendall(values)
    n = len(values)
    tied = sum(count * (count - 1) / 2 for count in np.unique(values, return_counts=True)[1])
    pairs = n * (n - 1) / 2
    if tied == pairs:
        assert test.s == test.variance == test.z == 0
        return
    theirs = stats.kendalltau(range(n), values).statistic * math.sqrt(pairs * (pairs - tied))
    assert test.s == pytest.approx(theirs, abs=1e-6)


def test_the_variance_with_ties_is_that_over_every_order() -> None:
    values = [1.0, 1.0, 2.0, 3.0, 3.0, 3.0]
    found = [mann_kendall(order).s for order in itertools.permutations(values)]
    assert mann_kendall(values).variance == pytest.approx(np.var(found))


@given(st.lists(st.tuples(st.integers(1, 9), WHOLE), min_size=3, max_size=25))
@settings(max_examples=80, deadline=None)
def test_the_slope_is_scipys_and_its_interval_at_most_a_rank_wider(steps: list[tuple[int, float]]) -> None:
    times = list(itertools.accumulate(step for step, _ in steps))
    values = [value for _, value in steps]
    mine = sen(times, values, mann_kendall(values).variance)
    theirs = stats.theilslopes(values, times, alpha=0.9)
    slopes = sorted(
        (values[j] - values[i]) / (times[j] - times[i])
        for i, j in itertools.combinations(range(len(values)), 2)
    )
    assert mine.slope == pytest.approx(theirs.slope)
    assert mine.intercept == pytest.approx(theirs.intercept)
    low, high = np.searchsorted(slopes, [theirs.low_slope, theirs.high_slope], "left")
    top = np.searchsorted(slopes, theirs.high_slope, "right")
    assert slopes[max(low - 1, 0)] <= mine.low <= theirs.low_slope
    assert theirs.high_slope <= mine.high <= slopes[min(top, len(slopes) - 1)]
    assert high <= top


@given(st.lists(WHOLE, min_size=4, max_size=30), st.sampled_from([-3.0, 0.5, 2.0]), WHOLE)
@settings(max_examples=60, deadline=None)
def test_another_unit_changes_the_slope_as_it_changes_values(
    values: list[float], factor: float, offset: float
) -> None:
    one = trend(range(len(values)), values)
    other = trend(range(len(values)), [factor * value + offset for value in values])
    assert other.sen.slope == pytest.approx(factor * one.sen.slope, abs=1e-9)
    assert other.test.s == math.copysign(1, factor) * one.test.s
    assert other.direction == math.copysign(1, factor) * one.direction
    ends = sorted((factor * one.sen.low, factor * one.sen.high))
    assert [other.sen.low, other.sen.high] == pytest.approx(ends, abs=1e-6)


@pytest.mark.parametrize(("n", "rho"), [(10, 0.3), (14, 0.3), (14, 0.6), (14, 0.8), (20, 0.6)])
def test_the_variance_is_widened_as_a_gaussian_process_does(n: int, rho: float) -> None:
    """Exactly: the covariance of two signs is 2 / π asin of their correlation. The formula used is an approximation."""
    correlation = rho ** np.abs(np.subtract.outer(range(n), range(n)))
    pairs = np.array(list(itertools.combinations(range(n), 2)))
    early, late = pairs[:, 0], pairs[:, 1]

    def among(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        return correlation[np.ix_(a, b)]

    together = among(late, late) - among(late, early) - among(early, late) + among(early, early)
    own = np.sqrt(np.diag(together))
    cosines = np.clip(together / np.outer(own, own), -1, 1)
    exact = (2 / np.pi * np.arcsin(cosines)).sum()
    plain = n * (n - 1) * (2 * n + 5) / 18
    assert plain * inflation_by(rho, n) == pytest.approx(exact, rel=0.15)


def test_nothing_is_gained_from_values_that_see_saw() -> None:
    assert inflation_by(-0.5, 30) == inflation_by(0.0, 30) == 1.0
    assert trend(range(30), [(-1.0) ** day for day in range(30)]).test.inflation == pytest.approx(
        1.0, abs=0.02
    )


def test_values_on_a_line_rise_by_exactly_its_slope() -> None:
    found = trend([0, 1, 4, 5, 9, 11, 12, 20, 21], [3 + 0.5 * t for t in (0, 1, 4, 5, 9, 11, 12, 20, 21)])
    assert found.sen.low == found.sen.slope == found.sen.high == 0.5
    assert found.sen.intercept == pytest.approx(3)
    assert found.direction == 1 and found.test.exact


def test_values_that_never_change_have_no_trend() -> None:
    found = trend(range(20), [7.0] * 20)
    assert found.direction == 0 and found.test.p == 1 and found.test.z == 0


def test_too_few_values_are_refused() -> None:
    for too_few in (lambda: trend([0, 1], [1, 2]), lambda: mann_kendall([1]), lambda: sen([0], [1], 1.0)):
        with pytest.raises(ValueError, match="needs"):
            too_few()


def test_fewer_than_eight_values_are_taken_as_independent() -> None:
    assert trend(range(7), [0.0, 1, 0.5, 2, 2.2, 3, 2.9]).test.inflation == 1
    assert trend(range(8), [0.0, 1, 0.5, 2, 2.2, 3, 2.9, 3.1]).test.inflation > 1
    assert trend(range(8), [0.0, 1, 0.5, 2, 2.2, 3, 2.9, 3.1], persistent=False).test.inflation == 1


def held(seed: int, count: int, days: int, rho: float, slope: float) -> float:
    found = [
        trend(range(days), [value + slope * day for day, value in enumerate(room)]).sen
        for room in rooms(seed, count, days, rho)
    ]
    return sum(one.low <= slope <= one.high for one in found) / count


@pytest.mark.parametrize("rho", [0.0, 0.6])
def test_the_interval_of_the_slope_holds_it(rho: float) -> None:
    assert held(1, 60, 30, rho, 0.05) >= 0.8


@pytest.mark.slow
@pytest.mark.parametrize("rho", [0.0, 0.3, 0.6, 0.8])
@pytest.mark.parametrize("days", [14, 30, 90])
def test_a_90_percent_interval_of_the_slope_holds_it_as_often_as_it_says(days: int, rho: float) -> None:
    # Two weeks that keep 0.8 from day to day are the hardest case; 200 rooms leave 2 % of chance.
    assert held(2, 200, days, rho, 0.03) >= (0.83 if (days, rho) == (14, 0.8) else 0.85)
    assert held(3, 200, days, rho, 0.0) <= 0.99
