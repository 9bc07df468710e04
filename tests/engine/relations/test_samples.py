"""Two lists of measurements: published rows, SciPy at random points, and what must hold."""

import csv
import math
import statistics
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from weirbook.engine.relations.samples import MOST_EXACT, compare_means, compare_ranks, sample_of

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
WELCH_ROWS = list(csv.DictReader((PUBLISHED / "stats_welch_t.csv").open()))
RANK_ROWS = list(csv.DictReader((PUBLISHED / "stats_mann_whitney.csv").open()))

CONFIDENCES = st.sampled_from([0.8, 0.9, 0.95, 0.99])
VALUES = st.integers(-5000, 5000).map(lambda n: n / 100)
LISTS = st.lists(VALUES, min_size=2, max_size=15)
TIED = st.lists(st.integers(0, 6).map(float), min_size=1, max_size=15)


def listed(text: str) -> list[float]:
    return [float(one) for one in text.split(";")]


@pytest.mark.parametrize("row", WELCH_ROWS, ids=lambda row: row["case_id"])
def test_the_published_means(row: dict[str, str]) -> None:
    found = compare_means(listed(row["sample_a"]), listed(row["sample_b"]))
    assert (found.first.n, found.second.n) == (int(row["n_a"]), int(row["n_b"]))
    for mine, column in (
        (found.first.mean, "mean_a"),
        (found.second.mean, "mean_b"),
        (found.difference, "mean_difference_a_minus_b"),
        (found.t, "welch_t"),
        (found.freedom, "welch_df"),
        (found.p, "p_two_sided"),
        (found.low, "ci95_low"),
        (found.high, "ci95_high"),
    ):
        assert mine == pytest.approx(float(row[column]), rel=1e-5), column


@pytest.mark.parametrize("row", RANK_ROWS, ids=lambda row: row["case_id"])
def test_the_published_ranks(row: dict[str, str]) -> None:
    first, second = listed(row["sample_a"]), listed(row["sample_b"])
    found, normal = compare_ranks(first, second), compare_ranks(first, second, exact=False)
    assert (found.u, found.second_u) == (float(row["u_a"]), float(row["u_b"]))
    assert found.shift == pytest.approx(float(row["hodges_lehmann_a_minus_b"]))
    assert normal.p == pytest.approx(float(row["p_two_sided_normal_continuity"]), rel=1e-6)
    assert found.exact == bool(row["p_two_sided_exact"])
    if found.exact:
        assert found.p == pytest.approx(float(row["p_two_sided_exact"]), rel=1e-6)
        assert found.p_higher == pytest.approx(float(row["p_greater_exact"]), rel=1e-6)


@pytest.mark.filterwarnings("ignore:Precision loss")  # SciPy's, of a list without spread
@settings(max_examples=50)
@given(LISTS, LISTS, CONFIDENCES)
def test_means_at_random(first, second, confidence) -> None:
    assume(len(set(first)) > 1 or len(set(second)) > 1)
    theirs = stats.ttest_ind(first, second, equal_var=False)
    found = compare_means(first, second, confidence)
    assert found.t == pytest.approx(float(theirs.statistic), rel=1e-7, abs=1e-9)
    assert found.freedom == pytest.approx(float(theirs.df), rel=1e-7)
    assert found.p == pytest.approx(float(theirs.pvalue), rel=1e-6)
    interval = theirs.confidence_interval(confidence)
    assert found.low == pytest.approx(float(interval.low), rel=1e-6, abs=1e-6)
    assert found.high == pytest.approx(float(interval.high), rel=1e-6, abs=1e-6)


@settings(max_examples=50)
@given(LISTS)
def test_a_sample_is_told_as_numpy_does(values) -> None:
    found = sample_of(values)
    assert found.n == len(values)
    assert found.mean == pytest.approx(float(np.mean(values)), abs=1e-9)
    assert found.median == pytest.approx(float(np.median(values)), abs=1e-9)
    assert found.spread == pytest.approx(float(np.std(values, ddof=1)), abs=1e-9)


@settings(max_examples=50)
@given(TIED, TIED)
def test_ranks_with_ties_at_random(first, second) -> None:
    assume(len({*first, *second}) > 1)
    found = compare_ranks(first, second, exact=False)
    asked = {"method": "asymptotic", "use_continuity": True}
    theirs = stats.mannwhitneyu(first, second, **asked)
    assert found.u == theirs.statistic
    assert found.p == pytest.approx(float(theirs.pvalue), rel=1e-9)
    higher = stats.mannwhitneyu(first, second, alternative="greater", **asked)
    assert found.p_higher == pytest.approx(float(higher.pvalue), rel=1e-9)


@settings(max_examples=40)
@given(st.lists(VALUES, min_size=2, max_size=24, unique=True), st.data())
def test_ranks_without_ties_are_counted_out(values, data) -> None:
    cut = data.draw(st.integers(1, len(values) - 1))
    first, second = values[:cut], values[cut:]
    found = compare_ranks(first, second)
    theirs = stats.mannwhitneyu(first, second, method="exact")
    assert found.exact and found.z is None
    assert found.p == pytest.approx(float(theirs.pvalue), rel=1e-9)
    higher = stats.mannwhitneyu(first, second, method="exact", alternative="greater")
    assert found.p_higher == pytest.approx(float(higher.pvalue), rel=1e-9)


@settings(max_examples=40)
@given(st.lists(VALUES, min_size=8, max_size=20, unique=True), st.data(), CONFIDENCES)
def test_the_interval_of_the_shift_holds_what_scipys_test_does_not_reject(values, data, confidence) -> None:
    cut = data.draw(st.integers(3, len(values) - 3))
    first, second = values[:cut], values[cut:]
    found = compare_ranks(first, second, confidence)

    def rejected(shift: float) -> bool:
        moved = [value - shift for value in first]
        return bool(stats.mannwhitneyu(moved, second, method="exact").pvalue <= 1 - confidence)

    # The finest difference between values is 0.01, so a shift of 0.004 off makes and breaks no tie.
    if found.low is None:
        assert not rejected(max(first) - min(second) + 1)
        return
    assert rejected(found.low - 0.004) and not rejected(found.low + 0.004)
    assert rejected(found.high + 0.004) and not rejected(found.high - 0.004)
    assert found.low <= found.shift <= found.high


@settings(max_examples=50)
@given(LISTS, LISTS)
def test_the_shift_is_the_median_of_all_differences(first, second) -> None:
    found = compare_ranks(first, second)
    differences = np.subtract.outer(first, second)
    assert found.shift == pytest.approx(float(np.median(differences)), abs=1e-9)
    assert found.u + found.second_u == differences.size
    assert found.higher_share == found.u / differences.size


@settings(max_examples=50)
@given(LISTS, LISTS)
def test_seen_from_the_other_side_all_is_mirrored(first, second) -> None:
    here, there = compare_ranks(first, second), compare_ranks(second, first)
    assert (here.u, here.p) == (there.second_u, pytest.approx(there.p, rel=1e-9))
    assert here.shift == pytest.approx(-there.shift, abs=1e-9)
    if here.low is not None:
        assert here.low == pytest.approx(-there.high, abs=1e-9)


def test_the_interval_is_as_wide_by_the_normal_curve_where_there_are_many() -> None:
    """Beyond MOST_EXACT the curve serves: with the same measurements both ends lie within a step of the exact ones."""
    first = [math.sin(17 * n) * 5 + n / 50 for n in range(MOST_EXACT)]
    second = [math.cos(23 * n) * 5 for n in range(MOST_EXACT)]
    exact, normal = compare_ranks(first, second), compare_ranks(first, second, exact=False)
    assert exact.exact and not compare_ranks([*first, 9.9], second).exact
    assert normal.p == pytest.approx(exact.p, rel=0.02)
    spread = statistics.stdev(first)
    assert normal.low == pytest.approx(exact.low, abs=0.02 * spread)
    assert normal.high == pytest.approx(exact.high, abs=0.02 * spread)


def test_a_single_measurement_has_no_spread() -> None:
    found = compare_means([5.0], [1.0, 2.0])
    assert found.first.spread is None
    assert found.difference == 3.5
    assert (found.low, found.high, found.p, found.t) == (None, None, None, None)
    assert "one measurement" in str(found.unknown)
    ranks = compare_ranks([5.0], [1.0, 2.0])
    assert (ranks.p, ranks.low, ranks.shift) == (pytest.approx(2 / 3), None, 3.5)


def test_equal_measurements_have_no_spread() -> None:
    found = compare_means([0.1] * 3, [0.3] * 7)
    assert found.difference == pytest.approx(-0.2)
    assert found.p is None and "no spread" in str(found.unknown)
    ranks = compare_ranks([0.1] * 3, [0.1] * 7)
    assert (ranks.p, ranks.low, ranks.shift, ranks.higher_share) == (1.0, None, 0, 0.5)
    assert ranks.unknown == "all measurements are the same"


def test_spread_in_one_list_alone_is_enough() -> None:
    """By hand: v = 1/3 of the second alone; its df, 2."""
    found = compare_means([5.0, 5.0], [1.0, 2.0, 3.0])
    assert found.freedom == pytest.approx(2)
    assert found.error == pytest.approx(math.sqrt(1 / 3))


def test_what_is_no_sample_is_refused() -> None:
    for asked in (compare_means, compare_ranks):
        for first, confidence in (([], 0.95), ([math.nan], 0.95), ([1.0, math.inf], 0.95), ([1.0, 2.0], 1.0)):
            with pytest.raises(ValueError, match=r"measurements|confidence"):
                asked(first, [1.0, 2.0], confidence)
    with pytest.raises(ValueError, match="ties"):
        compare_ranks([1.0, 2.0], [2.0, 3.0], exact=True)
