"""Two shares compared: published rows through the door, where interval and test disagree, what is refused."""

import csv
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.proportion import confint_proportions_2indep

from weirbook.engine.calculators.two_shares import TWO_SHARES
from weirbook.engine.shape import Answer, answer
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
FISHER_ROWS = list(csv.DictReader((PUBLISHED / "stats_fisher_exact.csv").open()))
SHARE_ROWS = list(csv.DictReader((PUBLISHED / "stats_proportion_ci.csv").open()))


def compared(a: int, n1: int, c: int, n2: int, **said: Any) -> Answer:
    told = {"first_cases": a, "first_of": n1, "second_cases": c, "second_of": n2, **said}
    return answer(TWO_SHARES, told)


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


@pytest.mark.parametrize("row", FISHER_ROWS, ids=lambda row: row["case_id"])
def test_the_published_tables(row: dict[str, str]) -> None:
    a, b, c, d = (int(row[name]) for name in "abcd")
    values = compared(a, a + b, c, c + d).values
    p = float(row["p_two_sided"])
    assert values["test"].endswith(f"p {p:.2g}")
    odds = values["odds_ratio"]
    assert row["conditional_odds_ratio"] == "inf" if odds is None else True
    if odds is not None:
        assert odds == pytest.approx(float(row["conditional_odds_ratio"]), rel=1e-6)
    assert values["verdict"] == (
        "unclear" if p > 0.05 else "higher" if a / (a + b) > c / (c + d) else "lower"
    )


@pytest.mark.parametrize("row", SHARE_ROWS, ids=lambda row: row["case_id"])
def test_the_published_intervals(row: dict[str, str]) -> None:
    values = compared(int(row["events"]), int(row["n"]), 1, 2).values
    assert values["first_share"] == pytest.approx(float(row["proportion"]), abs=5e-7)
    assert values["first_low"] == pytest.approx(float(row["wilson_low"]), abs=5e-7)
    assert values["first_high"] == pytest.approx(float(row["wilson_high"]), abs=5e-7)


def test_the_difference_of_newcombes_own_example() -> None:
    """Newcombe (1998), Statistics in Medicine 17, 873, table II, method 10: 56/70 against 48/80, 0.0524 to 0.3339.

    From memory; statsmodels agrees at random points in the tests of the relation.
    """
    values = compared(56, 70, 48, 80).values
    assert values["difference"] == pytest.approx(0.2)
    assert values["difference_low"] == pytest.approx(0.0524, abs=5e-5)
    assert values["difference_high"] == pytest.approx(0.3339, abs=5e-5)


def test_the_effect_and_its_interval_come_before_the_test_and_its_p() -> None:
    told = compared(2, 40, 9, 38, first_name="the new batch", second_name="the old one").values["reading"]
    places = [
        told.index(one)
        for one in ("18.7 points lower", "95 % interval", "2 of 40 (5 %)", "Fisher", "p 0.023")
    ]
    assert places == sorted(places)
    assert "the new batch" in told and "the old one" in told


def test_where_interval_and_test_disagree_nothing_is_claimed() -> None:
    """4 of 10 against none of 8: Newcombe's interval leaves out 0 (statsmodels), Fisher's test does not (SciPy)."""
    low, _ = confint_proportions_2indep(4, 10, 0, 8, method="newcomb")
    assert low > 0 and stats.fisher_exact([[4, 6], [0, 8]]).pvalue > 0.05
    values = compared(4, 10, 0, 8).values
    assert values["difference_low"] == pytest.approx(float(low))
    assert values["verdict"] == "unclear" and "take it as open" in values["reading"]


@pytest.mark.parametrize(("a", "n1", "c", "n2"), [(0, 5, 0, 9), (5, 5, 9, 9)])
def test_where_nothing_can_differ_it_is_unknown(a: int, n1: int, c: int, n2: int) -> None:
    values = compared(a, n1, c, n2).values
    assert values["verdict"] == "unknown"
    assert values["odds_ratio"] is None and values["odds_ratio_low"] is None
    assert values["reading"].startswith("Nothing tells the two apart")
    assert " p " not in values["reading"] + values["test"]


def test_few_cases_are_said_to_be_few() -> None:
    """Of 11 cases among 78, 5.4 are expected in the smaller group; of 9 only 4.4."""
    assert "few-cases" not in codes(compared(2, 40, 9, 38))
    assert "few-cases" in codes(compared(2, 40, 7, 38))
    assert "few-cases" in codes(compared(38, 40, 31, 38))


@pytest.mark.parametrize(
    ("said", "pointer", "words"),
    [
        ({"first_cases": 6}, "/first_cases", "more than all"),
        ({"second_cases": 9}, "/second_cases", "more than all"),
        ({"first_of": 0}, "/first_of", "at least 1"),
        ({"first_cases": -1}, "/first_cases", "at least 0"),
        ({"confidence": "100 %"}, "/confidence", "at most"),
        ({"second_of": 7.5}, "/second_of", "whole number"),
    ],
)
def test_what_is_refused(said: dict[str, Any], pointer: str, words: str) -> None:
    with pytest.raises(Invalid) as trouble:
        compared(**{"a": 1, "n1": 5, "c": 2, "n2": 8, **said})
    (fault,) = trouble.value.faults
    assert fault.pointer == pointer
    assert words in fault.message


@settings(max_examples=60)
@given(st.integers(1, 40), st.integers(1, 40), st.data())
def test_every_step_can_be_followed(assert_followed, n1, n2, data) -> None:
    found = compared(data.draw(st.integers(0, n1)), n1, data.draw(st.integers(0, n2)), n2)
    for step in found.steps:
        assert_followed(step)


def test_sums_that_nobody_would_follow_are_left_out() -> None:
    assert len(compared(2, 140, 9, 38).steps) == len(compared(2, 40, 9, 38).steps) - 1
