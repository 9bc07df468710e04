"""Loss rates compared: published rows through the door, what is told apart, what is refused, steps at random."""

import csv
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.loss_rates import LOSS_RATES
from weirbook.engine.shape import Answer, answer
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
ROWS = list(csv.DictReader((PUBLISHED / "stats_poisson_rates.csv").open()))


def asked(**said: Any) -> Answer:
    return answer(LOSS_RATES, said)


def compared(a: int, ea: float, b: int, eb: float, **said: Any) -> Answer:
    return asked(first_losses=a, first_fish_days=ea, second_losses=b, second_fish_days=eb, **said)


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["case_id"])
def test_the_published_rows(row: dict[str, str]) -> None:
    a, b = int(row["events_a"]), int(row["events_b"])
    values = compared(a, float(row["exposure_a"]), b, float(row["exposure_b"])).values
    assert values["first_rate"] == pytest.approx(1000 * float(row["rate_a"]), rel=1e-6)
    assert values["second_rate"] == pytest.approx(1000 * float(row["rate_b"]), rel=1e-6)
    assert values["ratio"] == pytest.approx(float(row["rate_ratio"]), rel=1e-6)
    assert values["ratio_low"] == pytest.approx(float(row["ci95_low_exact"]), rel=1e-5)
    assert values["ratio_high"] == pytest.approx(float(row["ci95_high_exact"]), rel=1e-5)
    above = float(row["ci95_low_exact"]) > 1
    assert values["verdict"] == ("higher" if above else "unclear")
    p = float(row["conditional_central_p_twice_smaller_tail"])
    assert values["test"].endswith(f"p {p:.2g}")


def test_losses_expected_of_one_rate_are_shared_by_fish_days() -> None:
    """By hand: 12 losses, 100 of 400 fish-days: 3."""
    assert compared(4, 100, 8, 300).values["expected_losses"] == pytest.approx(3)


def test_fish_and_time_are_fish_days() -> None:
    """By hand: 32 fish for 60 days are 1920 fish-days, in hours as well."""
    by_days = compared(9, 840, 4, 1920).values
    for time in ("60 d", "1440 h"):
        by_fish = asked(
            first_losses=9, first_fish_days=840, second_losses=4, second_fish=32, second_time=time
        ).values
        for name, value in by_days.items():
            assert by_fish[name] == (pytest.approx(value) if isinstance(value, float) else value), name


def test_the_effect_and_its_interval_come_before_the_test_and_its_p() -> None:
    told = compared(9, 840, 4, 1920, first_name="the new batch", second_name="the rest").values["reading"]
    places = [told.index(words) for words in ("5.14 times", "95 % interval", "exact Poisson test", "p 0.009")]
    assert places == sorted(places)
    assert "the new batch" in told and "the rest" in told and "caused" not in told


def test_fewer_losses_are_lower() -> None:
    found = compared(4, 1920, 9, 840)
    assert found.values["verdict"] == "lower"
    assert "look-at-the-fish" not in codes(found) | codes(compared(5, 1000, 4, 900))
    assert "look-at-the-fish" in codes(compared(9, 840, 4, 1920))


def test_a_wider_interval_tells_less() -> None:
    assert compared(9, 840, 4, 1920, confidence="99.9 %").values["verdict"] == "unclear"


def test_no_losses_at_all_leave_it_unknown() -> None:
    """Rates that none in n fish-days still fit: -ln 0.025 / n, 3.69 for each."""
    values = compared(0, 100, 0, 300).values
    assert (values["verdict"], values["ratio"], values["ratio_low"], values["ratio_high"]) == (
        "unknown",
        None,
        None,
        None,
    )
    assert "36.9 and 12.3 per 1000 fish-days" in values["reading"]
    assert "no events in either" in values["test"] and " p " not in values["reading"] + values["test"]


def test_no_losses_in_the_second_leave_the_ratio_without_end() -> None:
    values = compared(20, 100, 0, 100).values
    assert (values["verdict"], values["ratio"], values["ratio_high"]) == ("higher", None, None)
    assert "at least" in values["reading"] and "without an upper end" in values["reading"]
    assert "p below 0.0001" in values["reading"]


def test_few_losses_are_said_to_be_few() -> None:
    assert "few-losses" in codes(compared(3, 100, 1, 300))
    assert "few-losses" not in codes(compared(3, 100, 2, 300))


def test_more_losses_than_fish_days_are_wondered_at() -> None:
    assert "more-losses-than-fish-days" in codes(compared(100, 9, 3, 300))
    assert "more-losses-than-fish-days" not in codes(compared(9, 9, 3, 300))


@pytest.mark.parametrize(
    ("said", "pointer", "words"),
    [
        ({"first_fish_days": 100, "second_fish_days": 50, "second_fish": 10}, "/second_fish_days", "not both"),
        ({"first_fish_days": 100, "second_fish": 10}, "/second_fish_days", "both fish and days"),
        ({"first_fish_days": 100, "second_time": "7 d"}, "/second_fish_days", "both fish and days"),
        ({"second_fish_days": 100}, "/first_fish_days", "both fish and days"),
        ({"first_fish_days": 0, "second_fish_days": 100}, "/first_fish_days", "more than 0"),
        ({"first_fish_days": 9, "second_fish_days": 9, "second_losses": -1}, "/second_losses", "at least 0"),
    ],
)  # fmt: skip
def test_what_is_refused(said: dict[str, Any], pointer: str, words: str) -> None:
    with pytest.raises(Invalid) as trouble:
        asked(**{"first_losses": 2, "second_losses": 3, **said})
    (fault,) = trouble.value.faults
    assert fault.pointer == pointer
    assert words in fault.message


@settings(max_examples=60)
@given(st.integers(0, 15), st.floats(1, 1e5), st.integers(0, 15), st.floats(1, 1e5))
def test_every_step_can_be_followed(assert_followed, a, ea, b, eb) -> None:
    for step in compared(a, ea, b, eb).steps:
        assert_followed(step)


def test_sums_that_nobody_would_follow_are_left_out() -> None:
    assert len(compared(40, 900, 50, 1000).steps) < len(compared(4, 900, 5, 1000).steps)
