import csv
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.dose_schedule import DOSE_SCHEDULE
from weirbook.engine.relations.chemistry import COMPOUNDS, DOSED, carried
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.engine.units import KINDS
from weirbook.errors import Invalid

FEW = settings(max_examples=50)
"""Whole answers take a while; the relations below them are tried more often."""
PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
EXAMPLE = DOSE_SCHEDULE.example
LIQUID = {
    "compound": "product",
    "stock_strength": None,
    "product_effect": "2 mg/L NO3",
    "product_volume": "10 mL",
    "product_treats": "90 L",
}


def asked(**more: Any) -> Answer:
    return answer(DOSE_SCHEDULE, {**EXAMPLE, **more})


def codes(found: Answer) -> set[str]:
    return {one.code for one in found.cautions}


def shown(found: Answer, name: str) -> float:
    return found.quantity(name, "mg/L NO3").value


def refusal(**more: Any) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        asked(**more)
    return {fault.pointer: fault.message for fault in refused.value.faults}


STEADY = [
    row
    for row in csv.DictReader((PUBLISHED / "nitrate_steady_state.csv").open())
    if row["exchange_type"] == "periodic_fraction"
]


@pytest.mark.parametrize("row", STEADY, ids=lambda row: row["case"])
def test_a_usual_dose_that_nothing_uses_settles_at_the_published_levels(row: dict[str, str]) -> None:
    volume, load = float(row["volume_l"]), float(row["load_mg_basis_g_per_day"])
    found = answer(
        DOSE_SCHEDULE,
        {
            "parameter": "nitrate",
            "volume": f"{volume} L",
            "wanted": "20 mg/L NO3",
            "daily_uptake": "0 mg/L NO3",
            "usual_dose": f"{load * 1000 / volume} mg/L NO3",
            "change_volume": f"{volume * float(row['exchange_l_per_day_or_fraction'])} L",
            "change_interval": f"{row['interval_days']} d",
            "source": f"{row['source_water_mg_per_l']} mg/L NO3",
            "compound": "potassium_nitrate",
        },
    )
    peak = float(row["steady_peak_mg_per_l"])
    assert shown(found, "steady_peak") == pytest.approx(peak, rel=1e-4)
    assert shown(found, "steady_trough") == pytest.approx(float(row["steady_trough_mg_per_l"]), rel=1e-4)
    assert shown(found, "most_it_can_reach") == pytest.approx(peak, rel=1e-4)
    assert found.values["verdict"] == ("over" if peak > 50 else "ok")


def test_the_example_is_what_a_keeper_works_out_by_hand() -> None:
    # A third changed: 1/3 x (10 - 4) = 2 mg/L after it. Salt for 1 mg/L in 180 L: 180 mg x 101.1023 / 62.004 = 0.293504 g.
    found = asked()
    assert shown(found, "dose_rise") == pytest.approx(1.2)
    assert shown(found, "change_rise") == pytest.approx(2)
    assert shown(found, "first_rise") == pytest.approx(4)
    assert shown(found, "weekly_rise") == pytest.approx(7 * 1.2 + 2)
    assert shown(found, "even_rise") == pytest.approx(1.2 + 2 / 7)
    grams = {
        name: found.quantity(f"{name}_amount", "g").value for name in ("dose", "change", "first", "even")
    }
    salt = 0.180 * 101.1023 / 62.004
    assert grams == pytest.approx(
        {"dose": 1.2 * salt, "change": 2 * salt, "first": 4 * salt, "even": (1.2 + 2 / 7) * salt}, rel=1e-5
    )
    assert found.quantity("dose_liquid_volume", "mL").value == pytest.approx(1.2 * salt / 80 * 1000, rel=1e-5)
    # Even: before a change 4 + (7 x 1.485714 - 7 x 1.2) / (1/3) = 10, after it 8, at last 8 + 7 x 1.485714 - 6 x 1.2.
    assert shown(found, "steady_trough") == pytest.approx(8)
    assert shown(found, "steady_peak") == pytest.approx(11.2)
    assert shown(found, "most_it_can_reach") == pytest.approx(4 + 7 * (1.2 + 2 / 7) * 3)


def test_regular_doses_hold_the_wanted_level_day_by_day() -> None:
    rows = as_json(asked())["results"]["schedule"]
    assert len(rows) == 14
    assert rows[0]["value_before"] == {"value": 6, "unit": "mg/L NO3"}
    assert [row["value_before"]["value"] for row in rows[1:]] == pytest.approx([10] * 13)
    assert [row["value_after"]["value"] for row in rows] == pytest.approx([11.2] * 14)
    assert [row["changed"]["value"] for row in rows] == [0] * 7 + [60] + [0] * 6
    assert rows[7]["rise"]["value"] == pytest.approx(3.2)


def test_a_level_that_stands_too_high_is_left_to_fall_first() -> None:
    found = asked(present="15 mg/L NO3")
    # Up to 11.2 is dosed: 15, 13.8, 12.6, 11.4 take nothing, 10.2 takes 1, then each day its 1.2.
    rises = [row["rise"]["value"] for row in as_json(found)["results"]["schedule"]]
    assert rises[:6] == pytest.approx([0, 0, 0, 0, 1, 1.2])
    assert "stands-higher" in codes(found)
    assert shown(found, "first_rise") == 0


def test_richer_new_water_takes_the_place_of_doses() -> None:
    # A third of 180 L with 19 mg/L instead of 10 brings 3 mg/L a week: 1.2 - 3 / 7 mg/L a day are left to dose.
    found = asked(source="19 mg/L NO3")
    assert shown(found, "change_rise") == 0
    assert shown(found, "dose_rise") == pytest.approx(1.2 - 3 / 7)
    assert "source-holds-more" in codes(found)
    assert shown(asked(source="100 mg/L NO3"), "dose_rise") == 0


def test_one_dose_a_week_swings_as_reckoned_by_hand() -> None:
    # 8.4 mg/L once a week; then the water is changed and 2 mg/L more given: 10 to 18.4, and back.
    found = asked(days_between_doses=7)
    assert shown(found, "dose_rise") == pytest.approx(8.4)
    assert (shown(found, "lowest_kept"), shown(found, "highest_kept")) == pytest.approx((10, 18.4))
    rows = found.values["schedule"]
    assert [bool(row["rise"]) for row in rows] == [True] + [False] * 6 + [True] + [False] * 6
    # Even: 10.4 once a week, after the change: 8 to 18.4.
    assert (shown(found, "steady_trough"), shown(found, "steady_peak")) == pytest.approx((8, 18.4))


def test_doses_and_changes_out_of_step_are_followed_all_the_same(assert_followed) -> None:
    found = asked(days_between_doses=2, change_interval="7 d")
    assert shown(found, "steady_trough") < 10 < shown(found, "steady_peak")
    assert any("keep step" in one.text for one in found.assumptions)
    for one in found.steps:
        assert_followed(one)


def test_without_water_changes_only_uptake_balances_the_dose() -> None:
    told: dict[str, Any] = {"change_volume": None, "change_interval": None}
    even = asked(**told)
    assert (shown(even, "steady_trough"), shown(even, "steady_peak")) == pytest.approx((10, 11.2))
    assert even.quantity("most_it_can_reach") is None
    assert even.values["verdict"] == "watch"
    more = asked(**told, usual_dose="1.5 mg/L NO3")
    assert more.values["verdict"] == "over" and "without end" in more.values["why"]
    assert more.quantity("steady_peak") is None
    less = asked(**told, usual_dose="1 mg/L NO3")
    assert less.values["verdict"] == "over" and "too small" in less.values["why"]
    assert "runs-out" in codes(less)


def test_verdicts_speak_of_the_keepers_own_bounds() -> None:
    assert asked().values["verdict"] == "ok"
    even = f"{1.2 + 2 / 7} mg/L NO3"
    assert asked(lowest="9 mg/L NO3", usual_dose=even).values["verdict"] == "watch"
    assert asked(highest="11 mg/L NO3").values["verdict"] == "over"
    may_build_up = asked(highest="30 mg/L NO3")
    assert may_build_up.values["verdict"] == "watch" and "35.2 mg/L NO3" in may_build_up.values["why"]
    # By 0.5 mg/L a day: before a change 4 + 7 x (0.5 - 1.2) x 3 is below nothing.
    assert asked(usual_dose="0.5 mg/L NO3").values["verdict"] == "over"


def test_without_a_usual_dose_the_plan_is_judged_and_not_the_even_dose() -> None:
    """By hand: the plan swings from 10 before a dose to 11.2 after it; the even dose goes down to 8 after a change."""
    plan = asked(lowest="9 mg/L NO3")
    assert plan.values["verdict"] == "ok"
    assert plan.values["why"].startswith("The plan settles between 10 mg/L NO3 and 11.2 mg/L NO3")
    # One dose of 8.4 a week and 2 after the change: up to 18.4.
    weekly = asked(days_between_doses=7, highest="18 mg/L NO3")
    assert weekly.values["verdict"] == "over" and "18.4 mg/L NO3" in weekly.values["why"]


def test_days_of_the_table_that_pass_the_highest_allowed_are_judged() -> None:
    found = asked(present="60 mg/L NO3")
    assert found.values["verdict"] == "over"
    assert "At first the level stands at 60 mg/L NO3, above the highest allowed, 50" in found.values["why"]
    assert asked(present="49 mg/L NO3").values["verdict"] == "ok"
    assert asked(present="60 mg/L NO3", highest="70 mg/L NO3").values["verdict"] == "ok"


def test_the_highest_allowed_is_what_the_record_calls_too_much() -> None:
    highest = DOSE_SCHEDULE.params["highest"].settled({"parameter": "nitrate"})
    assert highest.role == "most_wanted.nitrate"


def test_both_forms_of_nitrate_are_told() -> None:
    as_nitrogen = asked(wanted=f"{10 * 14.007 / 62.004} mg/L NO3-N")
    assert as_nitrogen.values["dose_amount"] == pytest.approx(asked().values["dose_amount"])
    text = next(one.text for one in as_nitrogen.cautions if one.code == "two-forms")
    assert "10 mg/L NO3" in text and "2.26 mg/L NO3-N" in text
    assert "Say as what" in refusal(wanted="10 mg/L")["/wanted"]


def test_a_product_is_measured_by_its_label() -> None:
    # 10 mL to 90 L raise 2 mg/L: 1.2 mg/L in 180 L takes 12 mL.
    found = asked(**LIQUID)
    assert found.quantity("dose_liquid_volume", "mL").value == pytest.approx(12)
    assert found.quantity("dose_amount") is None
    assert "label-first" in codes(found)


def test_every_dose_comes_with_its_care() -> None:
    assert {"test-weekly", "oxidiser", "grade", "may-build-up", "first-dose"} <= codes(asked())
    phosphate = answer(
        DOSE_SCHEDULE,
        {
            "parameter": "phosphate",
            "volume": "100 L",
            "wanted": "0.5 mg/L PO4",
            "daily_uptake": "0.05 mg/L PO4",
            "compound": "monopotassium_phosphate",
        },
    )
    assert {"feeds-algae", "two-forms", "keep-stocks-apart", "too-little-to-weigh"} <= codes(phosphate)
    chloride = {"compound": "potassium_chloride", "stock_strength": None}
    potassium = answer(
        DOSE_SCHEDULE,
        {
            **chloride,
            "parameter": "potassium",
            "volume": "100 L",
            "wanted": "9 mg/L K",
            "daily_uptake": "1 mg/L K",
        },
    )
    # 7 mg/L of potassium a week bring 7 x 35.45 / 39.0983 of chloride.
    text = next(one.text for one in potassium.cautions if one.code == "brings-chloride")
    assert f"{7 * 35.45 / 39.0983:.3g} mg/L" in text and text.startswith("Each week")
    hard = {"parameter": "alkalinity", "volume": "100 L", "wanted": "6 dKH", "compound": "sodium_bicarbonate"}
    jump = answer(DOSE_SCHEDULE, {**hard, "present": "3 dKH", "daily_uptake": "0.1 dKH"})
    assert "large-dose" in codes(jump)
    assert "large-dose" not in codes(answer(DOSE_SCHEDULE, {**hard, "daily_uptake": "0.1 dKH"}))


@pytest.mark.parametrize(
    ("told", "pointers"),
    [
        ({"wanted": "0 mg/L NO3"}, {"/wanted"}),
        ({"wanted": "10 dKH"}, {"/wanted"}),
        ({"daily_uptake": "-1 mg/L NO3"}, {"/daily_uptake"}),
        ({"daily_uptake": None}, {"/daily_uptake"}),
        ({"lowest": "11 mg/L NO3"}, {"/lowest"}),
        ({"highest": "9 mg/L NO3"}, {"/highest"}),
        ({"change_volume": None}, {"/change_volume"}),
        ({"change_interval": None}, {"/change_interval"}),
        ({"change_interval": "10 min"}, {"/change_interval"}),
        ({"change_volume": "181 L"}, {"/change_volume"}),
        ({"days_between_doses": 0}, {"/days_between_doses"}),
        ({"days_between_doses": 1.5}, {"/days_between_doses"}),
        ({"compound": "sodium_chloride"}, {"/compound"}),
        ({"stock_strength": "400 g/L"}, {"/stock_strength"}),
        ({"stock_strength": "1 mg/L"}, {"/stock_strength"}),
        ({**LIQUID, "product_treats": None}, {"/product_treats"}),
        ({"product_effect": "1 mg/L NO3"}, {"/product_effect"}),
        ({"parameter": "phosphate"}, {"/present", "/wanted", "/lowest", "/daily_uptake", "/source"}),
    ],
)
def test_what_can_not_be_is_refused_at_its_place(told: dict[str, Any], pointers: set[str]) -> None:
    assert refusal(**told).keys() == pointers


PAIRS = st.sampled_from(
    [(word, name) for word, one in COMPOUNDS.items() for name in DOSED if carried(one, name)]
)


@st.composite
def questions(draw) -> dict[str, Any]:
    compound, parameter = draw(PAIRS)
    unit = KINDS[DOSED[parameter]].default

    def some(low: float, high: float) -> str:
        return f"{draw(st.floats(low, high))} {unit}"

    told = {
        "parameter": parameter,
        "compound": compound,
        "volume": "200 L",
        "wanted": some(5, 20),
        "daily_uptake": some(0, 2),
        "days_between_doses": draw(st.integers(1, 9)),
        "purity": f"{draw(st.floats(0.2, 1))} 1",
    }
    if draw(st.booleans()):
        told |= {
            "change_volume": f"{draw(st.floats(5, 200))} L",
            "change_interval": f"{draw(st.sampled_from([1, 3, 3.5, 7, 9, 14, 30]))} d",
            "source": some(0, 30),
        }
    if draw(st.booleans()):
        told["present"] = some(0, 30)
    if draw(st.booleans()):
        told["usual_dose"] = some(0.1, 5)
    return told


@FEW
@given(questions())
def test_every_step_follows_from_its_own_numbers(assert_followed, told: dict[str, Any]) -> None:
    for one in answer(DOSE_SCHEDULE, told).steps:
        assert_followed(one)


@FEW
@given(questions())
def test_mass_is_kept_and_levels_stand_in_order(told: dict[str, Any]) -> None:
    found = answer(DOSE_SCHEDULE, told)
    values = found.values
    salt, volume = COMPOUNDS[told["compound"]], 0.2
    purity = float(told["purity"].split()[0])
    for name in ("dose", "change", "first", "weekly", "even"):
        brought = (
            values[f"{name}_amount"] * purity / salt.molar_mass * carried(salt, told["parameter"]) / volume
        )
        assert brought == pytest.approx(values[f"{name}_rise"], rel=1e-9, abs=1e-15)
        assert values[f"{name}_rise"] >= 0
    assert values["lowest_kept"] <= values["highest_kept"]
    if values["steady_peak"] is not None:
        assert values["steady_trough"] <= values["steady_peak"]
        if values["most_it_can_reach"] is not None and values["steady_trough"] > 0:
            assert values["steady_peak"] <= values["most_it_can_reach"] * (1 + 1e-9)


@FEW
@given(questions())
def test_more_uptake_never_wants_less_and_never_leaves_more(told: dict[str, Any]) -> None:
    figure, unit = told["daily_uptake"].split(" ", 1)
    thirsty = {**told, "daily_uptake": f"{float(figure) + 0.5} {unit}"}
    one, other = answer(DOSE_SCHEDULE, told).values, answer(DOSE_SCHEDULE, thirsty).values
    assert other["dose_rise"] >= one["dose_rise"]
    assert other["even_rise"] >= one["even_rise"]
    if "usual_dose" in told and None not in (one["steady_peak"], other["steady_peak"]):
        assert other["steady_peak"] <= one["steady_peak"] * (1 + 1e-9)


ANYTHING = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.just([])
AMOUNTS = st.builds(
    "{} {}".format,
    st.floats(-1e15, 1e15),
    st.sampled_from(["dKH", "mg/L", "mg/L NO3", "g/L", "mL", "L", "d"]),
)


@FEW
@given(
    st.fixed_dictionaries(
        {
            "parameter": st.sampled_from(list(DOSED)) | ANYTHING,
            "compound": st.sampled_from([*COMPOUNDS, "product"]) | ANYTHING,
            "volume": st.builds("{} L".format, st.floats(1e-9, 1e15)) | AMOUNTS,
            "wanted": AMOUNTS | ANYTHING,
            "daily_uptake": AMOUNTS | ANYTHING,
        },
        optional={
            name: AMOUNTS | ANYTHING
            for name in DOSE_SCHEDULE.params
            if name not in ("parameter", "compound", "volume", "wanted", "daily_uptake")
        },
    )
)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body) -> None:
    try:
        found = answer(DOSE_SCHEDULE, body)
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(found), allow_nan=False)
