"""Lines through persistent values: generalised least squares of statsmodels with the covariance written out."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from weirbook.engine.relations.persistence import (
    RHOS,
    Mixture,
    Part,
    coefficient,
    evidence,
    grams,
    likelihood,
    line,
    mixed,
    weighed,
)

DAYS = [0, 1, 2, 3, 7, 8, 9, 12, 13, 14, 15, 20]


def series(seed: int) -> list[float]:
    return np.random.default_rng(seed).standard_normal(len(DAYS)).cumsum().tolist()


def theirs(rho: float, values: list[float], columns: list[list[float]]) -> tuple[object, np.ndarray]:
    covariance = rho ** np.abs(np.subtract.outer(DAYS, DAYS)).astype(float)
    return sm.GLS(values, np.array(columns).T, sigma=covariance).fit(), covariance


@pytest.mark.parametrize("which", [0, 8, 20, 34])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_line_is_that_of_generalised_least_squares(which: int, seed: int) -> None:
    values = series(seed)
    columns = [[1.0] * len(DAYS), [float(day >= 9) for day in DAYS], [float(day) for day in DAYS]]
    gram = grams(DAYS, (*columns, values))[which]
    for use in ((0,), (0, 1), (0, 2), (0, 1, 2)):
        mine = line(gram, use, 0.0)
        fit, covariance = theirs(RHOS[which], values, [columns[place] for place in use])
        assert mine.coefficients == pytest.approx(fit.params, rel=1e-8)
        freedom = len(DAYS) - len(use)
        errors = np.sqrt(np.array(mine.factors) * mine.left / freedom)
        assert errors == pytest.approx(fit.bse, rel=1e-8)
        # Their likelihood has the constant -n / 2 (1 + ln 2π), ours none.
        constant = -len(DAYS) / 2 * (1 + np.log(2 * np.pi))
        log = -gram.log_kept - len(DAYS) / 2 * np.log(mine.left / len(DAYS))
        assert log + constant == pytest.approx(fit.llf, rel=1e-9)
        x = np.array([columns[place] for place in use]).T
        inner = x.T @ np.linalg.inv(covariance) @ x
        restricted = (
            -np.linalg.slogdet(covariance)[1] / 2
            - np.linalg.slogdet(inner)[1] / 2
            - freedom / 2 * np.log(mine.left)
        )
        assert evidence(gram, mine, len(DAYS)) == pytest.approx(restricted, rel=1e-8)


def test_the_greatest_likelihood_is_the_best_of_all_that_are_tried() -> None:
    values = series(3)
    columns = [[1.0] * len(DAYS), [float(day) for day in DAYS]]
    table = grams(DAYS, (*columns, values))
    fits = [theirs(rho, values, columns)[0].llf for rho in RHOS]
    constant = -len(DAYS) / 2 * (1 + np.log(2 * np.pi))
    assert likelihood(table, (0, 1), len(DAYS), 0.0) + constant == pytest.approx(max(fits), rel=1e-9)


def test_a_coefficient_is_the_mixture_of_its_t_distributions() -> None:
    """By numpy: each ρ weighed by its restricted likelihood and 1 / sqrt(1 - ρ²)."""
    values = series(5)
    columns = [[1.0] * len(DAYS), [float(day) for day in DAYS]]
    table = grams(DAYS, (*columns, values))
    mine = coefficient(table, (0, 1), 1, len(DAYS), 0.0)
    logs, centres, spreads = [], [], []
    x = np.array(columns).T
    for rho in RHOS:
        fit, covariance = theirs(rho, values, columns)
        inner = x.T @ np.linalg.inv(covariance) @ x
        log = -np.linalg.slogdet(covariance)[1] / 2 - np.linalg.slogdet(inner)[1] / 2
        logs.append(log - (len(DAYS) - 2) / 2 * np.log(fit.scale) - np.log(1 - rho * rho) / 2)
        centres.append(fit.params[1])
        spreads.append(fit.bse[1])
    weights = np.exp(np.array(logs) - max(logs))
    weights /= weights.sum()
    for x_at in (-0.5, 0.0, 0.2):
        exact = (weights * stats.t.cdf((x_at - np.array(centres)) / spreads, len(DAYS) - 2)).sum()
        assert mine.below(x_at) == pytest.approx(exact, abs=3e-4)


def test_of_one_part_the_interval_is_that_of_student() -> None:
    one = Mixture((Part(1.0, 3.0, 2.0, 7.5),))
    assert one.interval(0.9) == pytest.approx(stats.t.interval(0.9, 7.5, 3.0, 2.0), rel=1e-9)
    assert one.centre == 3


PARTS = st.lists(
    st.builds(Part, st.floats(0.01, 1), st.floats(-5, 5), st.floats(0.1, 5), st.floats(2, 60)),
    min_size=1,
    max_size=5,
)


@given(PARTS, st.sampled_from([0.5, 0.8, 0.9, 0.99]))
@settings(max_examples=40, deadline=None)
def test_the_ends_of_an_interval_leave_as_much_on_either_side(parts: list[Part], confidence: float) -> None:
    found = mixed(parts)
    assert sum(part.weight for part in found.parts) == pytest.approx(1)
    low, high = found.interval(confidence)
    assert found.below(low) == pytest.approx((1 - confidence) / 2, abs=1e-8)
    assert 1 - found.below(high) == pytest.approx((1 - confidence) / 2, abs=1e-8)
    by_scipy = sum(
        part.weight * stats.t.cdf((low - part.centre) / part.spread, part.freedom) for part in found.parts
    )
    assert by_scipy == pytest.approx((1 - confidence) / 2, abs=1e-8)


def test_weights_follow_from_logarithms_however_small() -> None:
    assert weighed([-1000.0, -1000.0 + np.log(3)]) == pytest.approx([0.25, 0.75])


def test_what_weighs_next_to_nothing_is_left_out() -> None:
    parts = [Part(1.0, 0.0, 1.0, 9.0), Part(1e-5, 0.0, 1.0, 9.0), Part(0.01, 1.0, 1.0, 9.0)]
    assert [part.centre for part in mixed(parts).parts] == [0.0, 1.0]


def test_all_that_is_tried_lies_between_see_saw_and_wandering() -> None:
    assert RHOS[0] == -0.3 and RHOS[-1] == pytest.approx(0.975) and 0.0 in [round(rho, 12) for rho in RHOS]
