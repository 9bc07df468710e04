"""Salt as published, and what can't fail to hold. Sources: fixtures/published/SOURCES.md."""

import csv
import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.calculators.salt_change import SALT_CHANGE
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
PLAIN = {"wanted": "2 g/L", "volume": "400 L"}
BATH = {"wanted": "10 g/L", "bath_volume": "15 L", "bath_time": "10 min"}


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open(encoding="utf-8")))


def row(name: str, column: str, word: str) -> dict[str, str]:
    return next(one for one in rows(name) if one[column] == word)


NACL = row("salt_dose_factors", "salt", "NaCl")
EXAMPLE = row("treatment_worked_examples", "case", "chloride_for_nitrite")
LIMIT = {one["item"]: one for one in rows("thresholds_and_rates_of_change")}


def asked(**changed: Any) -> Answer:
    return answer(SALT_CHANGE, {**PLAIN, **changed})


def value(given: Answer, name: str, unit: str | None = None) -> float:
    return given.quantity(name, unit).value  # type: ignore[union-attr,return-value]


def refusal(told: dict[str, Any]) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        answer(SALT_CHANGE, told)
    return {fault.pointer: fault.message for fault in refused.value.faults}


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


def test_chloride_against_nitrite_takes_the_published_salt() -> None:
    given = asked(wanted=None, nitrite="3 mg/L NO2", chloride="12 mg/L", volume="1 L")
    published, slack = float(EXAMPLE["exact_value"]), float(EXAMPLE["tolerance_relative"])
    assert value(given, "salt_for_nitrite", "mg") == pytest.approx(published, rel=slack)
    # Nothing else was asked for: it is what the plan adds.
    assert value(given, "salt", "mg") == pytest.approx(published, rel=slack)
    assert given.values["verdict"] == "ok"
    assert value(given, "chloride_after") == pytest.approx(30, rel=1e-9)


def test_the_same_figure_as_nitrogen_takes_it_by_the_other_reading() -> None:
    given = asked(nitrite="3 mg/L NO2-N", chloride="12 mg/L", volume="1 L")
    assert value(given, "salt_for_nitrite_as_n", "mg") == pytest.approx(
        float(EXAMPLE["exact_value"]), rel=0.002
    )
    assert given.values["chloride_wanted"] > given.values["chloride_wanted_as_n"]


def test_a_milligram_of_chloride_takes_the_published_salt() -> None:
    # 1 mg/L of chloride in 1000 L, by way of nitrite 0.1 mg/L at the ratio 10.
    given = asked(wanted=None, nitrite="0.1 mg/L NO2", volume="1000 L")
    assert value(given, "salt", "g") == pytest.approx(float(NACL["mg_salt_per_l"]), abs=5.1e-5)
    chloride = value(asked(wanted=f"{NACL['mg_salt_per_l']} mg/L"), "chloride_difference")
    assert chloride == pytest.approx(1, rel=5e-5)


def test_sodium_and_chloride_make_up_the_salt() -> None:
    given = asked()
    together = value(given, "sodium_difference") + value(given, "chloride_difference")
    assert together == pytest.approx(2000, rel=1e-9)
    ratio = value(given, "sodium_difference") / value(given, "chloride_difference")
    assert ratio == pytest.approx(float(row("salt_side_ions", "salt", "NaCl")["amount"]), abs=5.1e-6)


def test_the_usual_limits_are_the_published_ones() -> None:
    defaults = {name: one.default for name, one in SALT_CHANGE.params.items()}
    assert defaults["chloride_ratio"] == float(LIMIT["chloride_to_nitrite_mass_ratio"]["low"])
    assert defaults["largest_daily_change"] == float(LIMIT["salt_rise_per_day_common"]["high"])
    # From 40 mg/L to the published insurance.
    given = asked(chloride="40 mg/L", volume="1 L")
    missing = float(LIMIT["insurance_chloride_catfish"]["low"]) - 40
    insured = value(given, "salt_for_insurance", "mg")
    assert insured == pytest.approx(missing * float(NACL["mg_salt_per_l"]), rel=5e-5)


def test_a_rise_is_split_into_days() -> None:
    # By hand: 1.8 g/L x 400 L / 0.96 = 750 g, in two days.
    given = asked(present="0.2 g/L", purity="96 %")
    assert value(given, "salt") == pytest.approx(750)
    assert given.values["days"] == 2
    assert value(given, "salt_a_day") == pytest.approx(375)
    levels = [one["level_after"]["value"] for one in as_json(given)["results"]["schedule"]]
    assert levels == pytest.approx([1.1, 2.0])


def test_the_same_salt_is_told_in_grams_milligrams_and_percent() -> None:
    given = asked(wanted="9 g/L", largest_daily_change="9 g/L")
    assert value(given, "level") == pytest.approx(9)
    assert value(given, "level_in_mg") == pytest.approx(9000)
    assert value(given, "level_in_percent") == pytest.approx(0.9)


def test_a_bath_is_weighed_for_its_own_water() -> None:
    given = answer(SALT_CHANGE, {**BATH, "volume": "400 L", "nitrite": "1 mg/L NO2", "bath_present": "1 g/L"})
    assert value(given, "salt") == pytest.approx(9 * 15)
    assert given.values["days"] == 1
    assert given.values["verdict"] == "unknown"
    assert given.values["salt_for_nitrite"] is None
    assert {"watch-the-bath", "bath-is-a-jump"} <= codes(given)
    assert "bath-time" not in codes(given)
    assert "bath-time" in codes(answer(SALT_CHANGE, {**BATH, "bath_time": None}))
    assert next(one.limit for one in given.cautions if one.code == "watch-the-bath") == "10 min"


def test_salt_falls_by_changes_that_balance() -> None:
    # By hand: 2, 1.5, 1.125 and the rest to 1: shares 0.25, 0.25, 0.125 / 1.125.
    given = asked(present="2 g/L", wanted="1 g/L")
    shown = as_json(given)["results"]
    assert [one["level_after"]["value"] for one in shown["schedule"]] == pytest.approx([1.5, 1.125, 1])
    assert value(given, "changed_water") == pytest.approx(400 * (0.5 + 0.125 / 1.125))
    assert value(given, "salt") == 0
    assert value(given, "difference") == pytest.approx(-1)
    assert given.values["conductivity_difference_low"] < given.values["conductivity_difference_high"] < 0
    assert {"new-water"} <= codes(given)
    assert "kind-of-salt" not in codes(given)


def test_saltier_new_water_takes_more_changes() -> None:
    fresh = asked(present="2 g/L", wanted="1 g/L").values["days"]
    salted = asked(present="2 g/L", wanted="1 g/L", source_salt="0.8 g/L").values["days"]
    assert salted > fresh


@pytest.mark.parametrize(
    ("chloride", "verdict"),
    [("30 mg/L", "ok"), ("29 mg/L", "watch"), ("9.2 mg/L", "watch"), ("9.1 mg/L", "over")],
)
def test_the_verdict_weighs_both_readings_of_the_ratio(chloride: str, verdict: str) -> None:
    # 3 mg/L of NO2 want 30 mg/L, or 3 x 14.007 / 46.005 x 10 = 9.134.
    given = asked(wanted="0 g/L", nitrite="3 mg/L NO2", chloride=chloride)
    assert given.values["verdict"] == verdict
    assert given.values["days"] == 0
    assert "nothing-to-change" in codes(given)


def test_chloride_that_was_not_told_is_that_of_the_salt() -> None:
    given = asked(present="1 g/L", nitrite="1 mg/L NO2")
    # 35.45 / 58.44 of the salt afterwards.
    assert value(given, "chloride_after") == pytest.approx(2000 * 35.45 / 58.44, rel=1e-4)
    assert any("No chloride was told" in one.text for one in given.assumptions)
    assert asked(nitrite=None).values["verdict"] == "unknown"


def test_salt_and_chloride_that_disagree_are_told() -> None:
    assert "salt-and-chloride-disagree" in codes(asked(present="1 g/L", chloride="50 mg/L"))
    assert "salt-and-chloride-disagree" not in codes(asked(present="1 g/L", chloride="600 mg/L"))


def test_the_usual_cautions_come_with_salt() -> None:
    told = codes(asked(nitrite="1 mg/L NO2"))
    assert {
        "label-and-veterinarian",
        "salt-and-life",
        "kind-of-salt",
        "dissolve-first",
        "salt-stays",
        "nitrite-stays",
    } <= told
    assert "fast-change" in codes(asked(largest_daily_change="2 g/L"))
    assert "large-change" in codes(
        asked(present="3 g/L", wanted="0.5 g/L", change_share="80 %", largest_daily_change="3 g/L")
    )
    assert asked(wanted="10 g/L").values["conductivity_difference_low"] is not None
    salty = asked(wanted="10.5 g/L")
    assert salty.values["conductivity_difference_low"] is None
    assert "conductivity-not-told" in codes(salty)


@pytest.mark.parametrize(
    ("changed", "pointers"),
    [
        ({"volume": None}, {"/volume"}),
        ({"volume": "0 L"}, {"/volume"}),
        ({"wanted": None}, {"/wanted"}),
        ({"wanted": "-1 g/L"}, {"/wanted"}),
        ({"wanted": "2 g/kg"}, {"/wanted"}),
        ({"wanted": "2 ppt"}, {"/wanted"}),
        ({"wanted": "2000 g/L"}, {"/wanted"}),
        ({"present": "3 g/L", "wanted": "0 g/L"}, {"/wanted"}),
        ({"present": "3 g/L", "wanted": "0.5 g/L", "source_salt": "0.6 g/L"}, {"/wanted"}),
        ({"largest_daily_change": "0 g/L"}, {"/largest_daily_change"}),
        ({"largest_daily_change": "1 mg/L"}, {"/largest_daily_change"}),
        ({"present": "2 g/L", "wanted": "0.001 g/L", "change_share": "1 %"}, {"/largest_daily_change"}),
        ({"change_share": "0 %"}, {"/change_share"}),
        ({"change_share": "110 %"}, {"/change_share"}),
        ({"purity": "0 %"}, {"/purity"}),
        ({"nitrite": "1 mg/L"}, {"/nitrite"}),
        ({"nitrite": "-1 mg/L NO2"}, {"/nitrite"}),
        ({"chloride_ratio": "0 1"}, {"/chloride_ratio"}),
        ({"bath_time": "10 min"}, {"/bath_time"}),
        ({"bath_present": "1 g/L"}, {"/bath_present"}),
        ({"bath_volume": "10 L", "wanted": None}, {"/wanted"}),
        ({"bath_volume": "10 L", "bath_present": "3 g/L"}, {"/wanted"}),
    ],
)
def test_what_can_not_be_is_refused_at_its_place(changed: dict[str, Any], pointers: set[str]) -> None:
    assert refusal({**PLAIN, **changed}).keys() == pointers


LEVELS = st.floats(0, 8)


@given(LEVELS, LEVELS, st.floats(0.05, 2), st.floats(0.05, 1), st.floats(1, 1e4), st.floats(0.5, 1))
def test_every_plan_balances_keeps_its_limit_and_can_be_followed(
    assert_followed, present: float, wanted: float, largest: float, share: float, volume: float, purity: float
) -> None:
    wanted = max(wanted, 0.1)
    told = {
        "present": f"{present} g/L",
        "wanted": f"{wanted} g/L",
        "largest_daily_change": f"{largest} g/L",
        "change_share": f"{share} 1",
        "volume": f"{volume} L",
        "purity": f"{purity} 1",
        "nitrite": "0.7 mg/L NO2-N",
    }
    given = answer(SALT_CHANGE, told)
    level = present
    for day in given.values["schedule"]:
        assert abs(day["level_after"] - level) <= largest * (1 + 1e-8) + 1e-12
        # kg in a m3: what was there, what a change took out, what was added.
        added = day["salt"] * purity / volume * 1000
        assert day["level_after"] == pytest.approx(
            level * (1 - day["change_share"]) + added, rel=1e-9, abs=1e-9
        )
        level = day["level_after"]
    if given.values["days"]:
        assert level == pytest.approx(wanted, rel=1e-9)
    out = math.fsum(day["change_volume"] for day in given.values["schedule"])
    assert out == pytest.approx(given.values["changed_water"], rel=1e-9)
    for one in given.steps:
        assert_followed(one)


@given(st.floats(0, 5), st.floats(0.001, 50), st.floats(1, 1e4))
def test_the_salt_against_nitrite_brings_the_chloride_wanted(
    chloride: float, nitrite: float, volume: float
) -> None:
    told = {"nitrite": f"{nitrite} mg/L NO2", "chloride": f"{chloride} mg/L", "volume": f"{volume} gal"}
    given = answer(SALT_CHANGE, told)
    wanted = max(10 * nitrite, chloride)
    assert value(given, "chloride_after") == pytest.approx(wanted, rel=1e-9)
    assert given.values["verdict"] == "ok"


ANYTHING = st.none() | st.booleans() | st.floats() | st.text(max_size=8) | st.just([])
AMOUNTS = st.builds(
    "{} {}".format, st.floats(-1e15, 1e15), st.sampled_from(["g/L", "mg/L", "L", "mg/L NO2", "1", "%", "min"])
)


@given(
    st.fixed_dictionaries(
        {"volume": st.builds("{} L".format, st.floats(1e-9, 1e15)), "wanted": AMOUNTS | ANYTHING},
        optional={
            name: AMOUNTS | ANYTHING for name in SALT_CHANGE.params if name not in ("volume", "wanted")
        },
    )
)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body) -> None:
    try:
        given = answer(SALT_CHANGE, body)
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(given), allow_nan=False)


def test_a_fall_says_what_it_takes_the_new_waters_chloride_for() -> None:
    falls, rises = asked(present="2 g/L", wanted="1 g/L"), asked()
    assert any("the new water's own" in one.text for one in falls.assumptions)
    assert not any("the new water's own" in one.text for one in rises.assumptions)
