"""Persistence, what values are worth, and blocks drawn again: statsmodels and numpy beside ours."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.tsa.stattools import acf

from weirbook.engine.relations.resampling import (
    RESAMPLES,
    between_shares,
    block_length,
    effective_size,
    lag_one,
    resampled,
)

VALUES = st.lists(st.integers(-500, 500).map(lambda n: n / 10), min_size=5, max_size=40)


@given(VALUES.filter(lambda values: max(values) > min(values)))
@settings(deadline=None)
def test_the_correlation_of_neighbours_is_that_of_statsmodels(values: list[float]) -> None:
    theirs = acf(values, nlags=1, adjusted=True, fft=False)[1]
    assert lag_one(range(len(values)), values) == pytest.approx(max(-1, min(1, theirs)), abs=1e-9)


def test_days_on_either_side_of_a_gap_are_no_neighbours() -> None:
    days, values = [1, 2, 5, 6], [1.0, 1.0, -1.0, -1.0]
    assert lag_one(days, values) == 1
    assert lag_one([1, 3, 5, 7], values) is None
    assert lag_one([1, 2, 3], [4.0, 4.0, 4.0]) is None


@given(st.sets(st.integers(0, 90), min_size=1, max_size=60).map(sorted), st.floats(-0.9, 0.95))
@settings(deadline=None)
def test_persistent_values_are_worth_what_their_correlations_say(days: list[int], rho: float) -> None:
    correlations = rho ** np.abs(np.subtract.outer(days, days)).astype(float)
    assert effective_size(days, rho) == pytest.approx(len(days) ** 2 / correlations.sum(), rel=1e-9)


@pytest.mark.parametrize("rho", [-0.3, 0.0, 0.5, 0.9])
def test_daily_values_are_worth_what_bayley_and_hammersley_say(rho: float) -> None:
    lags = np.arange(1, 30)
    assert effective_size(range(30), rho) == pytest.approx(30 / (1 + 2 * ((1 - lags / 30) * rho**lags).sum()))


def test_the_length_of_a_block_worked_by_hand() -> None:
    assert block_length(100, 0.5) == 7  # (sqrt 6 x 0.5 / 0.75)^(2/3) x 4.642 = 6.44
    assert block_length(64, 0.0) == 4  # 64^(1/3)
    assert block_length(30, 0.9) == 10  # a third of the days at most
    assert block_length(2, 0.9) == 1


@given(VALUES, st.integers(1, 6))
@settings(max_examples=15, deadline=None)
def test_the_same_values_always_give_the_same_answer(values: list[float], length: int) -> None:
    days = range(len(values))
    once = resampled(days, values, length)
    assert once == resampled(days, values, length)
    assert (
        once != resampled(days, values, length, turn=1) or max(values) == min(values) or length >= len(values)
    )
    assert len(once) == RESAMPLES
    assert min(values) - 1e-9 <= min(once) and max(once) <= max(values) + 1e-9


@pytest.mark.parametrize("length", [1, 5, 9])
def test_resampled_means_scatter_as_drawing_blocks_makes_them(length: int) -> None:
    """Exactly: the variance of a block's mean over the number of blocks, blocks beginning on every day."""
    values = np.cumsum(np.random.default_rng(4).standard_normal(45))
    blocks = np.lib.stride_tricks.sliding_window_view(values, length).mean(axis=1)
    drawn = resampled(range(45), values.tolist(), length)
    exact = blocks.std() / np.sqrt(45 / length)
    assert np.std(drawn) == pytest.approx(exact, rel=0.06)  # of 2,000 draws: 1.6 % is a standard error
    assert np.mean(drawn) == pytest.approx(blocks.mean(), abs=4 * exact / np.sqrt(RESAMPLES))


def test_resampled_medians_come_as_often_as_their_blocks_do() -> None:
    """Exactly: of all ways to draw three blocks of three days."""
    values = [1.0, 2, 3, 50, 60, 70, 1, 2, 3]
    windows = [values[at : at + 3] for at in range(7)]
    exact = [float(np.median(np.concatenate(chosen))) for chosen in itertools.product(windows, repeat=3)]
    drawn = resampled(range(9), values, 3, "median")
    assert set(drawn) <= set(exact)
    for median in set(exact):
        share = exact.count(median) / len(exact)
        assert drawn.count(median) / RESAMPLES == pytest.approx(share, abs=0.04)


def test_gaps_bring_no_values_and_no_zeros() -> None:
    days = [0, 1, 2, 20, 21, 22]
    for of in ("mean", "median"):
        drawn = resampled(days, [9.0, 10, 11, 9, 10, 11], 4, of)  # type: ignore[arg-type]
        assert min(drawn) >= 9 and max(drawn) <= 11


def test_blocks_begin_on_every_day_as_often() -> None:
    """Single values, drawn one at a time: each a seventh of the time."""
    drawn = resampled(range(7), [1.0, 10, 100, 1e3, 1e4, 1e5, 1e6], 1)
    counts = np.zeros(7)
    for mean in drawn:
        left = round(mean * 7)
        for place in range(7):
            counts[place] += left // 10**place % 10
    assert counts.sum() == 7 * RESAMPLES
    assert stats.chisquare(counts).pvalue > 0.001


@given(VALUES, st.sampled_from([0.5, 0.8, 0.9, 0.95]))
@settings(deadline=None)
def test_the_middle_share_is_that_of_numpy(values: list[float], confidence: float) -> None:
    ends = np.quantile(values, [(1 - confidence) / 2, (1 + confidence) / 2])
    assert between_shares(values, confidence) == pytest.approx(tuple(ends), abs=1e-9)
