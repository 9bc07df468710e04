"""A step or a trend: likelihoods written out with numpy, and simulated rooms whose truth is known."""

from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from series_scenes import Effect, rooms, two_phases

from weirbook.engine.relations.differences import Stretch, Stretches
from weirbook.engine.relations.persistence import RHOS
from weirbook.engine.relations.steps import StepOrTrend, least_squares_step, step_or_trend


def judged(both: tuple[Stretch, Stretch]) -> StepOrTrend:
    about = Stretches(both).known({0: -1.0, 1: 1.0})
    assert about is not None
    low, high = about.interval(0.9)
    found = step_or_trend(*both, differs=not low <= 0 <= high)
    assert found is not None
    return found


def log_likelihood(both: tuple[Stretch, Stretch], column: str) -> float:
    """Of a Gaussian process with its covariance written out, greatest over ρ, up to a constant."""
    days = np.array([*both[0].days, *both[1].days], float)
    values = np.array([*both[0].values, *both[1].values])
    x = np.column_stack([np.ones_like(days), days if column == "trend" else days >= both[1].days[0]]).astype(
        float
    )
    best = -np.inf
    for rho in RHOS:
        correlation = rho ** np.abs(np.subtract.outer(days, days))
        inverse = np.linalg.inv(correlation)
        line = np.linalg.solve(x.T @ inverse @ x, x.T @ inverse @ values)
        left = (values - x @ line) @ inverse @ (values - x @ line)
        best = max(best, -np.linalg.slogdet(correlation)[1] / 2 - len(days) / 2 * np.log(left))
    return best


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_odds_are_the_ratio_of_both_likelihoods(seed: int) -> None:
    (room,) = rooms(seed, 1, 33, 0.4)
    both = two_phases(room, 14, lambda day: 1.5 * (day >= 14))
    ratio = np.exp(log_likelihood(both, "step") - log_likelihood(both, "trend"))
    assert judged(both).odds == pytest.approx(ratio, rel=1e-6)


@given(st.lists(st.integers(-30, 30).map(float), min_size=2, max_size=30))
@settings(deadline=None)
def test_the_best_step_leaves_the_least_squares(values: list[float]) -> None:
    def left(place: int) -> float:
        return float(np.var(values[:place]) * place + np.var(values[place:]) * (len(values) - place))

    found = least_squares_step(values)
    assert left(found) == pytest.approx(min(left(place) for place in range(1, len(values))), abs=1e-6)


def test_a_clear_step_is_a_step_and_a_clear_trend_a_trend() -> None:
    (room,) = rooms(6, 1, 63, 0.3)
    step = judged(two_phases(room, 30, lambda day: -4.0 * (day >= 30)))
    assert step.shape == "step" and step.odds > 8 and step.elsewhere is None
    assert step.step[0] <= -4 <= step.step[1] < 0 and step.slope[0] <= 0 <= step.slope[1]
    trend = judged(two_phases(room, 30, lambda day: -0.12 * day))
    assert trend.shape == "trend" and trend.odds < 1 / 8
    assert trend.slope[0] <= -0.12 <= trend.slope[1] < 0
    both = judged(two_phases(room, 30, lambda day: -0.15 * day + 6.0 * (day >= 30)))
    assert both.shape == "step and trend"  # as high on average before as after
    assert both.step[0] <= 6 <= both.step[1] and both.slope[0] <= -0.15 <= both.slope[1]
    none = judged(two_phases(room, 30))
    assert none.shape == "none"


def test_a_step_on_another_day_is_not_laid_to_the_change() -> None:
    (room,) = rooms(6, 1, 63, 0.3)
    found = judged(two_phases(room, 30, lambda day: -5.0 * (day >= 20)))
    assert found.shape == "step on another day" and found.elsewhere == 20


def test_a_small_difference_in_two_weeks_can_not_be_told() -> None:
    (room,) = rooms(2, 1, 31, 0.5)
    assert judged(two_phases(room, 14, lambda day: 1.6 * (day >= 14))).shape == "undecided"


def test_too_few_days_are_not_judged() -> None:
    (room,) = rooms(2, 1, 14, 0.0)
    assert step_or_trend(*two_phases(room, 5), differs=True) is None
    assert step_or_trend(*two_phases(room, 1), differs=True) is None


def shapes(seed: int, count: int, days: int, rho: float, effect: Effect) -> dict[str, float]:
    found = Counter(
        judged(two_phases(room, days, effect)).shape for room in rooms(seed, count, 2 * days + 3, rho)
    )
    return {shape: number / count for shape, number in found.items()}


def test_in_a_few_rooms_a_step_and_a_trend_are_seldom_taken_for_each_other() -> None:
    steps = shapes(41, 12, 30, 0.4, lambda day: 3.0 * (day >= 30))
    trends = shapes(41, 12, 30, 0.4, lambda day: 0.09 * day)
    assert steps.get("step", 0) >= 0.6 and steps.get("trend", 0) <= 0.1
    assert trends.get("trend", 0) >= 0.6 and trends.get("step", 0) <= 0.1


@pytest.mark.slow
@pytest.mark.parametrize("rho", [0.0, 0.3, 0.6, 0.8])
@pytest.mark.parametrize("days", [14, 30, 90])
def test_a_step_and_a_trend_are_seldom_taken_for_each_other(days: int, rho: float) -> None:
    """100 rooms each, an effect of 2.5 standard deviations, and none. Two weeks that keep 0.8 of each day are the hardest."""
    steps = shapes(42, 100, days, rho, lambda day: 2.5 * (day >= days))
    trends = shapes(43, 100, days, rho, lambda day: 2.5 * day / days)
    nothing = shapes(44, 200, days, rho, lambda day: 0.0)
    hard = (days, rho) == (14, 0.8)
    assert steps.get("trend", 0) <= 0.12
    assert trends.get("step", 0) <= 0.08
    claimed = sum(share for shape, share in nothing.items() if shape not in ("none", "undecided"))
    assert claimed <= (0.15 if hard else 0.08)
    assert nothing["none"] >= (0.72 if hard else 0.8)
