"""The rule for batches of test fish, case by case."""

import csv
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.arrival_losses import ACCEPT_BELOW, REJECT_ABOVE, judge_batch

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
CASES = list(csv.DictReader((PUBLISHED / "loss_rule_cases.csv").open()))
THRESHOLDS = list(csv.DictReader((PUBLISHED / "loss_thresholds_published.csv").open()))
ACTIONS = {"accept": "accept", "extend_7_days": "extend", "reject": "reject"}


@pytest.mark.parametrize("row", CASES, ids=lambda row: row["case_id"])
def test_the_cases(row: dict[str, str]) -> None:
    losses, fish = int(row["deaths_in_7_days"]), int(row["fish_at_start"])
    assert judge_batch(losses, fish) == ACTIONS[row["oecd_203_action"]]
    assert losses / fish == pytest.approx(float(row["loss_pct"]) / 100, abs=5e-7)


def test_the_thresholds_are_those_of_the_guideline() -> None:
    told = {row["action"]: float(row["threshold_pct"]) / 100 for row in THRESHOLDS}
    assert told["reject the batch"] == told["acclimatise 7 more days"] == REJECT_ABOVE
    assert told["accept the batch"] == ACCEPT_BELOW


@given(st.integers(1, 10_000), st.data())
def test_more_losses_never_make_a_batch_better(fish, data) -> None:
    losses = data.draw(st.integers(0, fish - 1))
    order = ("accept", "extend", "reject")
    assert order.index(judge_batch(losses, fish)) <= order.index(judge_batch(losses + 1, fish))
    assert judge_batch(0, fish) == "accept" and judge_batch(fish, fish) == "reject"


@pytest.mark.parametrize(("losses", "fish"), [(-1, 5), (6, 5), (0, 0)])
def test_what_can_not_be_lost_is_refused(losses: int, fish: int) -> None:
    with pytest.raises(ValueError, match="none to all"):
        judge_batch(losses, fish)
