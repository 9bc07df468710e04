"""Shares and two of them: published rows, SciPy and statsmodels at random points, and what must hold."""

import csv
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.stats import contingency
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

from weirbook.engine.relations.shares import (
    clopper_pearson_interval,
    compare_shares,
    share_of,
    wilson_interval,
)

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
FISHER_ROWS = list(csv.DictReader((PUBLISHED / "stats_fisher_exact.csv").open()))
SHARE_ROWS = list(csv.DictReader((PUBLISHED / "stats_proportion_ci.csv").open()))

CONFIDENCES = st.sampled_from([0.8, 0.9, 0.95, 0.99])


@st.composite
def shares(draw, most: int = 60) -> tuple[int, int]:
    of = draw(st.integers(1, most))
    return draw(st.integers(0, of)), of


@pytest.mark.parametrize("row", SHARE_ROWS, ids=lambda row: row["case_id"])
def test_the_published_intervals(row: dict[str, str]) -> None:
    cases, of = int(row["events"]), int(row["n"])
    assert share_of(cases, of).share == pytest.approx(float(row["proportion"]), abs=5e-7)
    wilson, exact = wilson_interval(cases, of), clopper_pearson_interval(cases, of)
    assert wilson == pytest.approx((float(row["wilson_low"]), float(row["wilson_high"])), abs=5e-7)
    printed = float(row["clopper_pearson_low"]), float(row["clopper_pearson_high"])
    assert exact == pytest.approx(printed, abs=5e-7)
    # Wald's, which nobody should use for few fish, lies beside them where there are many.
    if of > 200:
        assert wilson == pytest.approx((float(row["wald_low"]), float(row["wald_high"])), abs=5e-3)


@settings(max_examples=50)
@given(shares(5000), CONFIDENCES)
def test_intervals_at_random(pair, confidence) -> None:
    cases, of = pair
    for mine, method in ((wilson_interval, "wilson"), (clopper_pearson_interval, "beta")):
        theirs = proportion_confint(cases, of, 1 - confidence, method)
        assert mine(cases, of, confidence) == pytest.approx([float(x) for x in theirs], rel=1e-8, abs=1e-12)


@settings(max_examples=50)
@given(shares(5000), CONFIDENCES)
def test_an_interval_holds_its_share_and_mirrors(pair, confidence) -> None:
    cases, of = pair
    for interval in (wilson_interval, clopper_pearson_interval):
        low, high = interval(cases, of, confidence)
        assert 0 <= low <= cases / of <= high <= 1
        assert (low == 0) == (cases == 0) and (high == 1) == (cases == of)
        assert interval(of - cases, of, confidence) == pytest.approx((1 - high, 1 - low), abs=1e-12)


@pytest.mark.parametrize("row", FISHER_ROWS, ids=lambda row: row["case_id"])
def test_the_published_tables(row: dict[str, str]) -> None:
    a, b, c, d = (int(row[name]) for name in "abcd")
    found = compare_shares(a, a + b, c, c + d)
    assert found.p == pytest.approx(float(row["p_two_sided"]), rel=1e-6)
    assert found.p_higher == pytest.approx(float(row["p_greater"]), rel=1e-6)
    assert found.p_lower == pytest.approx(float(row["p_less"]), rel=1e-6)
    odds = math.inf if found.odds_ratio is None else found.odds_ratio
    assert odds == pytest.approx(float(row["conditional_odds_ratio"]), rel=1e-6)
    if row["sample_odds_ratio"] and 0 < odds < math.inf:
        # The conditional one lies nearer to 1 than that of the table itself.
        assert abs(math.log(odds)) <= abs(math.log(float(row["sample_odds_ratio"]))) + 1e-9


@settings(max_examples=40)
@given(shares(), shares(), CONFIDENCES)
def test_tables_at_random(one, two, confidence) -> None:
    (a, n1), (c, n2) = one, two
    table = [[a, n1 - a], [c, n2 - c]]
    found = compare_shares(a, n1, c, n2, confidence)
    for p, side in ((found.p, "two-sided"), (found.p_higher, "greater"), (found.p_lower, "less")):
        assert p == pytest.approx(float(stats.fisher_exact(table, side).pvalue), rel=1e-7)
    newcombe = confint_proportions_2indep(a, n1, c, n2, method="newcomb", alpha=1 - confidence)
    assert (found.low, found.high) == pytest.approx(tuple(map(float, newcombe)), abs=1e-9)
    assert found.difference == a / n1 - c / n2
    if found.unknown is not None:
        assert a + c in (0, n1 + n2)
        assert (found.p, found.odds_ratio) == (1.0, None)
        return
    theirs = contingency.odds_ratio(table, kind="conditional")
    odds = math.inf if found.odds_ratio is None else found.odds_ratio
    assert odds == pytest.approx(float(theirs.statistic), rel=1e-6)
    interval = theirs.confidence_interval(confidence)
    assert found.odds_low == pytest.approx(float(interval.low), rel=1e-6)
    high = math.inf if found.odds_high is None else found.odds_high
    assert high == pytest.approx(float(interval.high), rel=1e-6)


@pytest.mark.parametrize(
    ("a", "n1", "c", "n2"),
    [(60, 40_000, 30, 41_000), (5_100, 10_000, 4_900, 10_000), (3, 100_000, 0, 90_000)],
)
def test_large_tables(a: int, n1: int, c: int, n2: int) -> None:
    """SciPy gives the p; the odds ratio of rare cases is that of the rates, of many near the table's own."""
    found = compare_shares(a, n1, c, n2)
    assert found.p == pytest.approx(float(stats.fisher_exact([[a, n1 - a], [c, n2 - c]]).pvalue), rel=1e-6)
    if c:
        assert found.odds_ratio == pytest.approx(a * (n2 - c) / (c * (n1 - a)), rel=0.01)


@settings(max_examples=50)
@given(shares(), shares())
def test_seen_from_the_other_side_all_is_mirrored(one, two) -> None:
    here, there = compare_shares(*one, *two), compare_shares(*two, *one)
    assert here.p == pytest.approx(there.p, rel=1e-9)
    assert here.low == pytest.approx(-there.high, abs=1e-12)
    if here.odds_ratio and there.odds_ratio:
        assert here.odds_ratio == pytest.approx(1 / there.odds_ratio, rel=1e-8)
        assert here.odds_low == pytest.approx(1 / there.odds_high, rel=1e-6)


@pytest.mark.parametrize(("cases", "why"), [(0, "no cases in either"), (10, "all were cases in both")])
def test_where_nothing_can_differ_nothing_is_told(cases: int, why: str) -> None:
    found = compare_shares(cases, 10, cases, 10)
    assert why in str(found.unknown)
    assert (found.difference, found.p, found.odds_ratio, found.odds_high) == (0, 1.0, None, None)


@pytest.mark.parametrize(
    ("cases", "of", "confidence"), [(-1, 5, 0.95), (6, 5, 0.95), (0, 0, 0.95), (1, 5, 1.0), (1, 5, 0.0)]
)
def test_what_is_no_share_is_refused(cases: int, of: int, confidence: float) -> None:
    for asked in (wilson_interval, clopper_pearson_interval, share_of):
        with pytest.raises(ValueError, match="a share needs"):
            asked(cases, of, confidence)
    with pytest.raises(ValueError, match="a share needs"):
        compare_shares(1, 5, cases, of, confidence)
