"""Trend: published rows through the calculator, what is refused, and what is said."""

import csv
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.trend import TREND
from weirbook.engine.shape import Answer, answer
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
ROWS = list(csv.DictReader((PUBLISHED / "stats_mann_kendall.csv").open()))


def asked(values: list[float], **said: Any) -> Answer:
    return answer(TREND, {"values": [{"value": value} for value in values], **said})


def refused(values: list[dict[str, Any]], **said: Any) -> dict[str, str]:
    with pytest.raises(Invalid) as trouble:
        answer(TREND, {"values": values, **said})
    return {fault.pointer: fault.message for fault in trouble.value.faults}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["case_id"])
def test_the_published_rows_as_independent_values(row: dict[str, str], assert_followed: Any) -> None:
    """Each value a day after the one before; the chance is the file's but where it is counted (see test_trends)."""
    found = asked([float(one) for one in row["series"].split(";")], independent=True)
    for name, column in (
        ("s_statistic", "s_statistic"),
        ("s_variance", "variance_s"),
        ("z", "z"),
        ("tau", "kendall_tau"),
        ("slope_per_day", "sen_slope_per_step"),
        ("intercept", "sen_intercept"),
    ):
        assert found.values[name] == pytest.approx(float(row[column]), rel=1e-6, abs=1e-5), column
    if row["case_id"] != "mk04":
        assert found.values["chance"] == pytest.approx(float(row["p_two_sided"]), rel=1e-5, abs=1e-7)
    assert found.values["widening"] == 1
    for step in found.steps:
        assert_followed(step)


def test_the_nile_fell_and_values_that_resemble_their_neighbours_make_that_less_sure() -> None:
    (row,) = (row for row in ROWS if row["case_id"] == "mk02")
    values = [float(one) for one in row["series"].split(";")]
    plain, wary = asked(values, independent=True), asked(values)
    assert plain.values["verdict"] == wary.values["verdict"] == "falling"
    assert wary.values["widening"] > 1.2
    assert wary.values["slope_low"] < plain.values["slope_low"]
    assert wary.values["slope_high"] > plain.values["slope_high"]
    assert abs(wary.values["z"]) < abs(plain.values["z"])


@given(st.lists(st.integers(-400, 400).map(lambda n: n / 4), min_size=4, max_size=20))
@settings(max_examples=40, deadline=None)
def test_every_step_can_be_followed(assert_followed: Any, values: list[float]) -> None:
    for step in asked(values, interval="7 d").steps:
        assert_followed(step)


def test_dates_with_gaps_count_as_the_days_between() -> None:
    days = ("2026-02-26", "2026-02-28", "2026-03-03", "2026-03-13")
    found = answer(TREND, {
        "values": [{"on": day, "value": value} for day, value in zip(days, (10, 12, 15, 25), strict=True)]
    })  # fmt: skip
    assert found.values["slope_per_day"] == pytest.approx(1)
    assert found.values["intercept"] == pytest.approx(10)


def test_the_interval_between_values_stretches_the_slope() -> None:
    daily, weekly = asked([1, 2, 4, 5, 7]), asked([1, 2, 4, 5, 7], interval="1 week")
    assert weekly.values["slope_per_day"] == pytest.approx(daily.values["slope_per_day"] / 7)


def test_a_reading_says_the_unit_as_it_was_told() -> None:
    found = asked([30, 28, 27, 25, 24, 22, 21, 19], interval="1 week", unit="mg/L NO3")
    assert found.values["reading"].startswith("Falling by 1")
    assert " mg/L NO3 a week (90 % interval)." in found.values["reading"]
    level = asked([3.0, 5.0, 4.0, 3.0, 5.0, 4.0])
    assert level.values["reading"].startswith("No trend found, but falling by up to ")
    assert level.values["verdict"] == "none found"
    assert asked([4.0] * 6).values["reading"].startswith("All values are the same")


def test_what_is_taken_for_granted_is_said() -> None:
    short = asked([1, 3, 2, 4, 6])
    assert any("fewer than 8" in one.text for one in short.assumptions)
    assert [one.code for one in short.cautions] == ["few-values"]
    long = asked([1, 3, 2, 4, 6, 5, 7, 8, 9])
    assert any("of the one before" in one.text for one in long.assumptions) and not any(
        one.code == "few-values" for one in long.cautions
    )
    wave = asked([0, 2, 4, 5, 5, 4, 2, 0, -2, -4, -5, -5, -4, -2, 0, 2, 4, 5, 5, 4, 2, 0])
    assert "values-resemble-neighbours" in [one.code for one in wave.cautions]
    assert any(
        one.text == "No value resembles the one before."
        for one in asked([1, 2, 3, 5], independent=True).assumptions
    )


def test_what_values_keep_and_the_widening_do_not_contradict_each_other() -> None:
    """See-sawing values show no likeness, yet some weight stays with one: no "0.0" beside a widening."""
    found = asked([5, 1, 4, 2, 5, 3, 4, 1, 5, 2])
    assert found.values["widening"] > 1.005
    (kept,) = [one.text for one in found.assumptions if "the one before" in one.text]
    assert "0.0" not in kept and f"multiplied by {found.values['widening']:.2f}" in kept
    tied = asked([1, 2, 3, 4, 4, 3, 2, 1, 1, 2, 3, 4, 4, 3, 2, 1])
    (kept,) = [one.text for one in tied.assumptions if "the one before" in one.text]
    assert kept.startswith("Values keep about 0.") and "0.0" not in kept


def test_lists_that_can_not_be_used_are_refused_by_their_place() -> None:
    four = [{"value": one} for one in (1, 2, 3, 4)]
    assert refused(four[:3]) == {"/values": "A trend needs 4 values at least; there are 3."}
    dated = [{"value": one, "on": f"2026-01-0{one}"} for one in (1, 2, 3, 4)]
    assert refused([*dated[:3], {"value": 9}]) == {"/values/3/on": "Say the day of each value, or of none."}
    assert "not after the one before" in refused([*dated, dated[3]])["/values/4/on"]
    for wrong in ("2026-02-30", "05/01/2026", "20260105"):
        assert "write it like 2026-11-25" in refused([*dated, {"value": 5, "on": wrong}])["/values/4/on"]
    assert list(refused(four, interval="0 d")) == ["/interval"]
    assert list(refused([*four, {"value": "nan"}])) == ["/values/4/value"]
