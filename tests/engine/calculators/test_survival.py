import csv
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from weirbook.engine.calculators.survival import SURVIVAL
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def rows_of(file: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / file).open()))


TABLE = rows_of("stats_kaplan_meier_6mp.csv")
DATA = rows_of("stats_kaplan_meier_6mp_data.csv")
SUMMARY = {row["quantity"]: row["value"] for row in rows_of("stats_kaplan_meier_6mp_summary.csv")}
MEDIANS = {"6-MP": SUMMARY["median_6mp_weeks"], "placebo": SUMMARY["median_placebo_weeks"]}


def by_fish(group: str) -> dict[str, Any]:
    return {
        "fish": [
            {"number": 1, "time": f"{row['time_weeks']} week", "lost": row["event"] == "1"}
            for row in DATA
            if row["group"] == group
        ]
    }


def by_day(group: str) -> dict[str, Any]:
    rows = [row for row in TABLE if row["group"] == group]
    days = [
        {"day": f"{row['time_weeks']} week", "lost": int(row["events"]), "left": int(row["censored"])}
        for row in rows
    ]
    return {"number": int(rows[0]["at_risk"]), "days": days}


def asked(**said: Any) -> Answer:
    return answer(SURVIVAL, said)


@pytest.mark.parametrize("told", [by_fish, by_day])
@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row['group']} {row['time_weeks']}")
def test_the_published_curve_is_answered_told_either_way(told: Any, row: dict[str, str]) -> None:
    given = asked(**told(row["group"]), day=f"{row['time_weeks']} week")
    assert given.values["survival"] == pytest.approx(float(row["survival"]), abs=1e-6)
    assert given.values["standard_error"] == pytest.approx(float(row["greenwood_se"]), abs=1e-6)
    if row["ci95_low_log_log"]:
        limits = float(row["ci95_low_log_log"]), float(row["ci95_high_log_log"])
        assert (given.values["low"], given.values["high"]) == pytest.approx(limits, abs=1e-6)
    assert given.quantity("median", "week").value == pytest.approx(float(MEDIANS[row["group"]]))
    found = next(
        one
        for one in given.values["curve"]
        if one["day"] == pytest.approx(float(row["time_weeks"]) * 604_800)
    )
    assert (found["at_risk"], found["lost"], found["left"]) == tuple(
        int(row[name]) for name in ("at_risk", "events", "censored")
    )


def test_a_table_of_days_follows_by_hand() -> None:
    given = asked(
        number=10,
        days=[{"day": "2 d", "lost": 1}, {"day": "5 d", "lost": 2, "left": 3}],
        watched="40 d",
        day="9 d",
    )
    assert given.values["survival"] == pytest.approx(9 / 10 * 7 / 9)
    assert given.values["standard_error"] == pytest.approx(0.7 * (1 / 90 + 2 / 63) ** 0.5)
    assert (given.values["heads"], given.values["lost"], given.values["fewest_watched"]) == (10, 3, 4)
    assert given.values["median"] is None and "median is not known" in given.values["reading"]


@pytest.mark.parametrize(
    ("lost", "method", "living"),
    [(0, "exact binomial, none lost", 12), (12, "exact binomial, all lost", 0)],
)
def test_none_or_all_lost_are_answered_with_the_exact_interval(lost: int, method: str, living: int) -> None:
    given = asked(number=12, days=[{"day": "3 d", "lost": lost}], watched="30 d", confidence="90 %")
    limits = proportion_confint(living, 12, alpha=0.1, method="beta")
    assert (given.values["low"], given.values["high"]) == pytest.approx(limits, abs=1e-9)
    assert given.values["method"] == method


def test_a_day_beyond_the_watch_is_unknown_and_says_why() -> None:
    given = asked(number=10, days=[{"day": "2 d", "lost": 1}], watched="20 d", day="21 d")
    assert given.values["survival"] is None and given.values["low"] is None
    assert given.values["reading"] == "Unknown on day 21, because none was watched beyond day 20."
    assert "beyond-the-watch" in {one.code for one in given.cautions}
    late = asked(fish=[{"number": 4, "time": "40 d", "lost": False, "since": "10 d"}])
    assert late.values["reading"].startswith("Unknown") and "from the beginning" in late.values["reading"]


def test_fish_that_came_under_watch_late_count_from_then_on() -> None:
    given = asked(
        fish=[
            {"number": 2, "time": "5 d", "lost": True},
            {"number": 8, "time": "60 d", "lost": False},
            {"number": 8, "time": "30 d", "lost": True, "since": "10 d"},
        ],
        day="30 d",
    )
    assert given.values["survival"] == pytest.approx(8 / 10 * 8 / 16)
    assert any("late" in one.text for one in given.assumptions)


def test_few_fish_and_fish_of_one_water_come_with_a_caution() -> None:
    few = asked(number=4, days=[{"day": "2 d", "lost": 1}], watched="40 d")
    assert {"few-watched", "not-independent", "ask-why"} <= {one.code for one in few.cautions}
    many = asked(number=40, watched="40 d")
    assert not many.cautions


@pytest.mark.parametrize(
    ("said", "pointers"),
    [
        ({}, ["/number"]),
        ({"number": 5}, ["/days"]),
        ({"days": [{"day": "2 d", "lost": 1}]}, ["/number"]),
        ({"number": 5, "days": [{"day": "2 d", "lost": 4, "left": 2}]}, ["/days/0"]),
        ({"number": 5, "days": [{"day": "1 d", "lost": 5}, {"day": "2 d", "left": 1}]}, ["/days/1"]),
        ({"number": 5, "days": [{"day": "9 d", "lost": 1}], "watched": "8 d"}, ["/watched"]),
        ({"fish": [{"number": 5, "time": "9 d", "lost": True}], "number": 5}, ["/number"]),
        ({"fish": [{"number": 5, "time": "9 d", "lost": True, "since": "9 d"}]}, ["/fish/0/since"]),
        ({"fish": [{"number": 0, "time": "9 d", "lost": True}]}, ["/fish/0/number"]),
        ({"number": 5, "watched": "9 d", "confidence": "100 %"}, ["/confidence"]),
        ({"number": 5, "watched": "9 d", "day": "-1 d"}, ["/day"]),
    ],
)
def test_what_contradicts_itself_is_refused_at_its_place(said: dict[str, Any], pointers: list[str]) -> None:
    with pytest.raises(Invalid) as refused:
        asked(**said)
    assert [fault.pointer for fault in refused.value.faults] == pointers


ROWS = st.lists(
    st.fixed_dictionaries(
        {
            "number": st.integers(1, 10**4),
            "time": st.integers(0, 300).map("{} d".format),
            "lost": st.booleans(),
        },
        optional={"since": st.sampled_from(["0 d", "1.5 d", "20 d"])},
    ),
    min_size=1,
    max_size=8,
)


@given(ROWS, st.integers(0, 320).map("{} d".format), st.sampled_from(["50 %", "95 %", "99.9 %"]))
def test_every_step_follows_from_its_own_numbers_and_leads_to_the_answer(
    assert_followed: Any, fish: list[dict[str, Any]], day: str, confidence: str
) -> None:
    try:
        given = asked(fish=fish, day=day, confidence=confidence)
    except Invalid:
        return
    for step in given.steps:
        assert_followed(step)
    values = given.values
    if values["survival"] is None:
        assert values["reading"].startswith("Unknown")
        return
    assert 0 <= values["low"] <= values["survival"] + 1e-12
    assert values["survival"] - 1e-12 <= values["high"] <= 1
    told = [step.value for step in given.steps]
    assert any(one == pytest.approx(values["high"]) for one in told) or values["high"] == 1
    assert any(one == pytest.approx(values["low"]) for one in told) or values["low"] == 0


ANYTHING = (
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20) | st.lists(st.none())
)
TIMES = st.builds("{} {}".format, st.floats(-1e15, 1e15), st.sampled_from(["d", "s", "year", "kg"]))
ONE_DAY = st.fixed_dictionaries(
    {"day": TIMES | ANYTHING}, optional={"lost": st.integers(-5, 50), "left": ANYTHING}
)


@given(
    st.fixed_dictionaries(
        {},
        optional={
            "number": st.integers(0, 100) | ANYTHING,
            "days": st.lists(ONE_DAY, max_size=3) | ANYTHING,
            "watched": TIMES | ANYTHING,
            "day": TIMES | ANYTHING,
            "fish": st.lists(
                st.fixed_dictionaries({"number": st.integers(-1, 9), "time": TIMES, "lost": ANYTHING})
            ),
            "confidence": ANYTHING,
        },
    )
    | ANYTHING
)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body: Any) -> None:
    try:
        found = answer(SURVIVAL, body)
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(found), allow_nan=False)
