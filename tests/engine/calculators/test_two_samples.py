"""Two lists compared: published rows through the door, disagreeing tests, single and equal measurements, refusals."""

import csv
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from weirbook.engine.calculators.two_samples import TWO_SAMPLES
from weirbook.engine.shape import PARTS_CAP, Answer, answer
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
WELCH_ROWS = list(csv.DictReader((PUBLISHED / "stats_welch_t.csv").open()))
RANK_ROWS = list(csv.DictReader((PUBLISHED / "stats_mann_whitney.csv").open()))


def compared(first: Sequence[float], second: Sequence[float], **said: Any) -> Answer:
    lists = {"first": [{"value": one} for one in first], "second": [{"value": one} for one in second]}
    return answer(TWO_SAMPLES, {**lists, **said})


def listed(text: str) -> list[float]:
    return [float(one) for one in text.split(";")]


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


@pytest.mark.parametrize("row", WELCH_ROWS, ids=lambda row: row["case_id"])
def test_the_published_means(row: dict[str, str]) -> None:
    values = compared(listed(row["sample_a"]), listed(row["sample_b"])).values
    for name, column in (
        ("first_count", "n_a"),
        ("second_mean", "mean_b"),
        ("mean_difference", "mean_difference_a_minus_b"),
        ("mean_difference_low", "ci95_low"),
        ("mean_difference_high", "ci95_high"),
        ("welch_t", "welch_t"),
        ("welch_freedom", "welch_df"),
    ):
        assert values[name] == pytest.approx(float(row[column]), rel=1e-5), name
    p = float(row["p_two_sided"])
    assert values["mean_test"].endswith(f"p {p:.2g}" if p >= 0.0001 else "p below 0.0001")


@pytest.mark.parametrize("row", RANK_ROWS, ids=lambda row: row["case_id"])
def test_the_published_ranks(row: dict[str, str]) -> None:
    first, second = listed(row["sample_a"]), listed(row["sample_b"])
    values = compared(first, second).values
    assert values["shift"] == pytest.approx(float(row["hodges_lehmann_a_minus_b"]))
    assert values["higher_share"] == pytest.approx(float(row["u_a"]) / (len(first) * len(second)))
    p = float(row["p_two_sided_exact"] or row["p_two_sided_normal_continuity"])
    assert values["rank_test"].endswith(f"p {p:.2g}")


def test_the_effect_and_its_interval_come_before_the_test_and_its_p() -> None:
    told = compared([3.4, 3.9, 3.1, 3.6, 4.2], [3.0, 2.7, 3.2, 2.9], first_name="the pond").values["reading"]
    places = [
        told.index(one)
        for one in ("lies 0.69 above", "95 % interval", "Welch", ", p ", "By ranks the shift", "Mann")
    ]
    assert places == sorted(places)
    assert "the pond" in told and told.endswith("provided that the measurements are independent.")


@pytest.mark.parametrize(("away", "verdict"), [(5, "higher"), (-5, "lower"), (0.2, "unclear")])
def test_a_shift_of_all_measurements(away: float, verdict: str) -> None:
    base = [1.0, 2.1, 3.2, 4.3, 5.4]
    assert compared([one + away for one in base], base).values["verdict"] == verdict


def test_where_means_and_ranks_disagree_nothing_is_claimed() -> None:
    """All of the first are higher but one far off the others spreads the mean: ranks see it, means don't."""
    found = compared([11, 12, 13, 14, 15, 500], [1, 2, 3, 4, 5, 6])
    assert found.values["verdict"] == "unclear"
    assert found.values["mean_difference_low"] < 0 and found.values["shift_low"] > 0
    assert "tests-disagree" in codes(found)
    assert "don't agree" in found.values["reading"]


def test_a_rank_interval_that_touches_nought_claims_nothing() -> None:
    """Ties: p by ranks is below 0.05 (SciPy's too) though the median of all differences may be nought."""
    first, second = [1, 2, 2, 2, 2, 3, 3, 3], [2, 3, 3, 3, 3, 4, 4, 5]
    assert stats.mannwhitneyu(first, second, method="asymptotic").pvalue < 0.05
    assert stats.ttest_ind(first, second, equal_var=False).pvalue < 0.05
    found = compared(first, second)
    assert found.values["shift_low"] < 0 and found.values["shift_high"] == 0
    assert found.values["mean_difference_high"] < 0
    assert found.values["verdict"] == "unclear" and "tests-disagree" in codes(found)
    assert "many that are alike" in found.values["reading"]


def test_where_only_ranks_can_speak_they_are_heard() -> None:
    found = compared([5.0] * 5, [3.0] * 5)
    assert found.values["verdict"] == "higher"
    assert found.values["mean_difference_low"] is None and found.values["welch_t"] is None
    assert "no interval" in found.values["reading"] and "tests-disagree" not in codes(found)


def test_equal_measurements_leave_it_unknown() -> None:
    found = compared([1.0] * 3, [1.0] * 2)
    assert found.values["verdict"] == "unknown"
    assert "are the same" in found.values["reading"] and " p " not in found.values["rank_test"]


def test_single_measurements_are_answered() -> None:
    values = compared([5], [4]).values
    assert (values["verdict"], values["first_spread"], values["shift_low"]) == ("unclear", None, None)


def test_readings_of_one_tank_are_warned_of() -> None:
    text = next(one.text for one in compared([1, 2], [3, 4]).cautions if one.code == "readings-of-one-tank")
    assert "not independent" in text and "trial" in text


def test_few_measurements_are_said_to_be_few() -> None:
    assert "few-measurements" in codes(compared([1, 2, 3, 4], range(9)))
    assert "few-measurements" not in codes(compared([1, 2, 3, 4, 5], range(9)))


@pytest.mark.parametrize(
    ("said", "pointer", "words"),
    [
        ({"first": []}, "/first", "at least one measurement"),
        ({"second": [{"value": "much"}]}, "/second/0/value", ""),
        ({"second": [{"value": 1}, {}]}, "/second/1/value", "missing"),
        ({"first": [{"value": 1}] * (PARTS_CAP + 1)}, "/first", "at most 100"),
        ({"first": [3.4]}, "/first/0", "object"),
    ],
)
def test_what_is_refused(said: dict[str, Any], pointer: str, words: str) -> None:
    with pytest.raises(Invalid) as trouble:
        answer(TWO_SAMPLES, {"first": [{"value": 1}], "second": [{"value": 2}], **said})
    (fault,) = trouble.value.faults
    assert fault.pointer == pointer
    assert words in fault.message


VALUES = st.integers(-9000, 9000).map(lambda n: n / 100)


@settings(max_examples=60)
@given(st.lists(VALUES, min_size=1, max_size=8), st.lists(VALUES, min_size=1, max_size=8))
def test_every_step_can_be_followed(assert_followed, first, second) -> None:
    for step in compared(first, second).steps:
        assert_followed(step)


def test_steps_keep_their_digits_far_from_nought(assert_followed, pocket_calculator) -> None:
    """Lengths of 1000 and some: the spread of hundredths must not be lost in the working."""
    found = compared([1000.01, 1000.02, 1000.04], [1000.03, 1000.05])
    spread = next(one for one in found.steps if one.words.startswith("spread of the first"))
    assert pocket_calculator(spread.working) == pytest.approx(spread.value, rel=1e-4)
