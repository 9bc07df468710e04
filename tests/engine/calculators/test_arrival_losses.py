"""Losses after an arrival: every case of the rule through the door, unfinished weeks, refusals, steps at random."""

import csv
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.arrival_losses import ARRIVAL_LOSSES
from weirbook.engine.shape import Answer, answer
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
CASES = list(csv.DictReader((PUBLISHED / "loss_rule_cases.csv").open()))
SHARES = list(csv.DictReader((PUBLISHED / "stats_proportion_ci.csv").open()))
VERDICTS = {"accept": "accept", "extend_7_days": "extend", "reject": "reject"}


def asked(fish: int, losses: int, **said: Any) -> Answer:
    return answer(ARRIVAL_LOSSES, {"fish": fish, "losses": losses, **said})


@pytest.mark.parametrize("row", CASES, ids=lambda row: row["case_id"])
def test_the_cases(row: dict[str, str]) -> None:
    fish, losses = int(row["fish_at_start"]), int(row["deaths_in_7_days"])
    values = asked(fish, losses).values
    verdict = VERDICTS[row["oecd_203_action"]]
    assert values["verdict"] == verdict
    assert values["share"] == pytest.approx(float(row["loss_pct"]) / 100, abs=5e-7)
    assert (losses <= values["most_accepted"]) == (verdict == "accept")
    assert (losses >= values["rejected_from"]) == (verdict == "reject")
    assert "yardstick" in values["reading"]


@pytest.mark.parametrize("row", SHARES, ids=lambda row: row["case_id"])
def test_the_interval_is_wilsons(row: dict[str, str]) -> None:
    values = asked(int(row["n"]), int(row["events"])).values
    assert values["share_low"] == pytest.approx(float(row["wilson_low"]), abs=5e-7)
    assert values["share_high"] == pytest.approx(float(row["wilson_high"]), abs=5e-7)


@pytest.mark.parametrize(
    ("losses", "watched", "verdict"),
    [(3, "7 d", "extend"), (3, "6 d", "unknown"), (0, "6 d", "unknown"), (5, "2 d", "reject"), (0, "168 h", "accept")],
)  # fmt: skip
def test_before_the_week_is_over_only_a_rejection_is_certain(losses: int, watched: str, verdict: str) -> None:
    values = asked(40, losses, watched=watched).values
    assert values["verdict"] == verdict
    assert ("Unknown as yet, because" in values["reading"]) == (verdict == "unknown")
    if verdict == "unknown":
        assert "from 5 losses on" in values["reading"]


def test_of_few_fish_one_loss_is_said_to_be_much() -> None:
    assert "few-fish" in {one.code for one in asked(19, 0).cautions}
    assert "few-fish" not in {one.code for one in asked(20, 0).cautions}


@pytest.mark.parametrize(
    ("fish", "losses", "said", "pointer", "words"),
    [
        (5, 6, {}, "/losses", "More were lost than arrived"),
        (0, 0, {}, "/fish", "at least 1"),
        (5, -1, {}, "/losses", "at least 0"),
        (5, 1, {"watched": "8 d"}, "/watched", "at most 7 d"),
        (5, 1, {"watched": "0 d"}, "/watched", "more than 0"),
    ],
)
def test_what_is_refused(fish: int, losses: int, said: dict[str, Any], pointer: str, words: str) -> None:
    with pytest.raises(Invalid) as trouble:
        asked(fish, losses, **said)
    (fault,) = trouble.value.faults
    assert fault.pointer == pointer
    assert words in fault.message


@settings(max_examples=40)
@given(st.integers(1, 500), st.data())
def test_every_step_can_be_followed(assert_followed, fish, data) -> None:
    for step in asked(fish, data.draw(st.integers(0, fish))).steps:
        assert_followed(step)
