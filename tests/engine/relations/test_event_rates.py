"""Two rates of events: published rows, SciPy and statsmodels at random points, and what must hold."""

import csv
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.rates import confint_poisson

from weirbook.engine.relations.event_rates import compare_rates, event_rate

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
ROWS = list(csv.DictReader((PUBLISHED / "stats_poisson_rates.csv").open()))

COUNTS = st.integers(0, 400)
EXPOSURES = st.floats(0.5, 1e6)
CONFIDENCES = st.sampled_from([0.8, 0.9, 0.95, 0.99])


def row_compared(row: dict[str, str]):
    return compare_rates(
        int(row["events_a"]), float(row["exposure_a"]), int(row["events_b"]), float(row["exposure_b"])
    )


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["case_id"])
def test_the_published_rows(row: dict[str, str]) -> None:
    found = row_compared(row)
    assert found.first.rate == pytest.approx(float(row["rate_a"]), rel=1e-6)
    assert found.second.rate == pytest.approx(float(row["rate_b"]), rel=1e-6)
    assert found.ratio == pytest.approx(float(row["rate_ratio"]), rel=1e-6)
    assert found.p == pytest.approx(float(row["conditional_central_p_twice_smaller_tail"]), rel=1e-5)
    assert found.low == pytest.approx(float(row["ci95_low_exact"]), rel=1e-5)
    assert found.high == pytest.approx(float(row["ci95_high_exact"]), rel=1e-5)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["case_id"])
def test_other_tests_of_the_same_rows_do_not_speak_otherwise(row: dict[str, str]) -> None:
    """By smaller likelihoods (R), by the score, by the E-test: none more than three times off, but of single events."""
    if int(row["events_a"]) + int(row["events_b"]) > 3:
        for column in ("conditional_exact_p_minlike", "score_p", "e_test_p"):
            assert 1 / 3 < row_compared(row).p / float(row[column]) < 3


@settings(max_examples=50)
@given(COUNTS, EXPOSURES, COUNTS, EXPOSURES, CONFIDENCES)
def test_tails_and_interval_are_those_of_the_binomial_share(a, ea, b, eb, confidence) -> None:
    assume(a + b)
    found = compare_rates(a, ea, b, eb, confidence)
    share = ea / (ea + eb)
    higher = stats.binomtest(a, a + b, share, alternative="greater").pvalue
    lower = stats.binomtest(a, a + b, share, alternative="less").pvalue
    assert found.expected_share == share
    assert found.p_higher == pytest.approx(higher, rel=1e-8, abs=1e-280)
    assert found.p_lower == pytest.approx(lower, rel=1e-8, abs=1e-280)
    assert found.p == pytest.approx(min(1, 2 * higher, 2 * lower), rel=1e-8, abs=1e-280)
    exact = stats.binomtest(a, a + b, 0.5).proportion_ci(confidence, "exact")
    assert found.low == pytest.approx(exact.low / (1 - exact.low) * eb / ea, rel=1e-6)
    if b:
        assert found.high == pytest.approx(exact.high / (1 - exact.high) * eb / ea, rel=1e-6)
    else:
        assert found.high is None and found.ratio is None


@settings(max_examples=50)
@given(COUNTS, EXPOSURES, COUNTS, EXPOSURES, CONFIDENCES)
def test_the_test_never_contradicts_its_interval(a, ea, b, eb, confidence) -> None:
    found = compare_rates(a, ea, b, eb, confidence)
    assume(abs(found.p - (1 - confidence)) > 1e-9)
    assert found.told_apart == (found.p < 1 - confidence)


@settings(max_examples=50)
@given(COUNTS, EXPOSURES, COUNTS, EXPOSURES)
def test_seen_from_the_other_side_all_is_mirrored(a, ea, b, eb) -> None:
    one, other = compare_rates(a, ea, b, eb), compare_rates(b, eb, a, ea)
    assert one.p == pytest.approx(other.p, rel=1e-9)
    assert one.p_higher == pytest.approx(other.p_lower, rel=1e-9, abs=1e-280)
    if a and b:
        assert one.ratio == pytest.approx(1 / other.ratio)
        assert one.low == pytest.approx(1 / other.high, rel=1e-9)


@settings(max_examples=50)
@given(COUNTS, EXPOSURES, CONFIDENCES)
def test_one_rate_has_the_exact_interval(events, exposure, confidence) -> None:
    found = event_rate(events, exposure, confidence)
    low, high = confint_poisson(events, exposure, method="exact-c", alpha=1 - confidence)
    assert found.rate == events / exposure
    assert found.low == pytest.approx(float(low) if events else 0.0, rel=1e-8)
    assert found.high == pytest.approx(float(high), rel=1e-8)


def test_where_there_was_no_event_at_all_nothing_is_told() -> None:
    found = compare_rates(0, 10.0, 0, 20.0)
    assert found.unknown == "there were no events in either"
    assert (found.ratio, found.low, found.high, found.p, found.told_apart) == (None, None, None, 1.0, False)


def test_no_event_in_the_second_leaves_the_ratio_without_end() -> None:
    """20 events against none of equal exposure: 0.5^20 by chance; the low end s / (1 - s) with s^20 = 0.025."""
    found = compare_rates(20, 100.0, 0, 100.0)
    share = 0.025 ** (1 / 20)
    assert (found.ratio, found.high, found.unknown) == (None, None, None)
    assert found.low == pytest.approx(share / (1 - share))
    assert found.p == pytest.approx(2 * 0.5**20)
    assert found.told_apart


@pytest.mark.parametrize(
    ("events", "exposure", "confidence"),
    [(-1, 5.0, 0.95), (1, 0.0, 0.95), (1, -2.0, 0.95), (1, float("inf"), 0.95), (1, float("nan"), 0.95),
     (1, 5.0, 1.0), (1, 5.0, 0.0)],
)  # fmt: skip
def test_what_is_no_rate_is_refused(events: int, exposure: float, confidence: float) -> None:
    with pytest.raises(ValueError, match="a rate needs"):
        event_rate(events, exposure, confidence)


@pytest.mark.parametrize("total", [1, 6, 25])
@pytest.mark.parametrize("ratio", [0.2, 1.0, 3.0])
def test_the_interval_holds_the_true_ratio_as_often_as_it_says(total: int, ratio: float) -> None:
    """Counted out over all ways in which the events can fall, by SciPy's binomial: at least 90 % of them."""
    ea, eb = 300.0, 700.0
    share = ratio * ea / (ratio * ea + eb)
    held = 0.0
    for events in range(total + 1):
        found = compare_rates(events, ea, total - events, eb, 0.9)
        assert found.low is not None
        if found.low <= ratio <= (float("inf") if found.high is None else found.high):
            held += float(stats.binom.pmf(events, total, share))
    assert held >= 0.9


@pytest.mark.parametrize(("ea", "eb"), [(300.0, 700.0), (50.0, 50.0)])
def test_where_nothing_differs_the_alert_seldom_says_more(ea: float, eb: float) -> None:
    """One-sided at 5 %, of 12 events: p_higher falls to 0.05 in at most 5 % of all ways."""
    share = ea / (ea + eb)
    cried = sum(
        float(stats.binom.pmf(events, 12, share))
        for events in range(13)
        if compare_rates(events, ea, 12 - events, eb).p_higher <= 0.05
    )
    assert 0 < cried <= 0.05
