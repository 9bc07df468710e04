import csv
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.exchange import EXCHANGED
from weirbook.engine.calculators.water_change import WATER_CHANGE
from weirbook.engine.parameters import PARAMETERS
from weirbook.engine.relations.chemistry import DOSED
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.engine.units import KINDS, from_si
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
HALF_A_DIGIT = 5.1e-6
"""A value that ends in a five may be printed either way."""
ASKED = dict(WATER_CHANGE.example)
PLAIN = {"parameter": "other", "volume": "200 L", "present": "80 mg/L", "source": "5 mg/L"}


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / f"{name}.csv").open()))


def told(row: dict[str, str], source: str, **more: str) -> dict[str, str]:
    return {
        "parameter": "other",
        "volume": "100 L",
        "present": f"{row['c0_mg_per_l']} mg/L",
        "source": f"{row[source]} mg/L",
        **more,
    }


def value(given: Answer, name: str, unit: str | None = None) -> float:
    found = given.quantity(name, unit)
    assert found is not None and not isinstance(found, str)
    return float(found.value)


def refusal(asked: dict[str, Any]) -> dict[str, str]:
    with pytest.raises(Invalid) as refused:
        answer(WATER_CHANGE, asked)
    return {fault.pointer: fault.message for fault in refused.value.faults}


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


@pytest.mark.parametrize("row", rows("water_change_serial"))
def test_the_usual_changes_lead_to_the_published_values(row: dict[str, str]) -> None:
    asked = told(row, "source_water_mg_per_l", change_share=f"{row['fraction_per_change']} 1")
    series = as_json(answer(WATER_CHANGE, asked))["results"]["series"]
    number = int(row["number_of_changes"])
    assert series[number - 1]["number"] == number
    assert series[number - 1]["value_after"]["value"] == pytest.approx(
        float(row["c_final_mg_per_l"]), abs=HALF_A_DIGIT
    )
    replaced = number * float(row["fraction_per_change"]) * 100
    assert series[number - 1]["water_in_all"]["value"] == pytest.approx(replaced)


@pytest.mark.parametrize("row", rows("water_change_count_needed"))
def test_a_wanted_value_takes_the_published_changes_single_change_and_drip(row: dict[str, str]) -> None:
    asked = told(
        row,
        "source_water_mg_per_l",
        wanted=f"{row['target_mg_per_l']} mg/L",
        change_share=f"{row['fraction_per_change']} 1",
    )
    found = answer(WATER_CHANGE, asked)
    single = float(row["single_change_fraction"])
    assert found.values["changes"] == len(found.values["series"]) == int(row["changes_needed_integer"])
    assert value(found, "share", "1") == pytest.approx(single, abs=HALF_A_DIGIT)
    assert value(found, "water", "L") == pytest.approx(single * 100, abs=HALF_A_DIGIT * 100)
    drip = float(row["drip_volumes_needed"]) * 100
    assert value(found, "drip_water", "L") == pytest.approx(drip, abs=HALF_A_DIGIT * 100)


@pytest.mark.parametrize("row", rows("water_change_continuous"))
def test_a_drip_takes_the_published_time_to_its_value(row: dict[str, str]) -> None:
    reached, source = float(row["c_mg_per_l"]), float(row["inflow_mg_per_l"])
    asked = told(
        row,
        "inflow_mg_per_l",
        volume=f"{row['volume_l']} L",
        wanted=f"{row['c_mg_per_l']} mg/L",
        drip_flow=f"{row['flow_l_per_day']} L/d",
    )
    found = answer(WATER_CHANGE, asked)
    # Half a digit of the value, carried through the logarithm.
    slack = HALF_A_DIGIT / abs(reached - source) * float(row["volume_l"]) / float(row["flow_l_per_day"])
    assert value(found, "drip_time", "d") == pytest.approx(float(row["days"]), abs=1.01 * slack)


@pytest.mark.parametrize(
    "row",
    [row for row in rows("nitrate_steady_state") if row["exchange_type"] == "continuous_l_per_day"],
    ids=lambda row: row["case"],
)
def test_a_standing_drip_holds_the_published_level(row: dict[str, str]) -> None:
    volume = float(row["volume_l"])
    found = answer(
        WATER_CHANGE,
        {
            **PLAIN,
            "volume": f"{volume} L",
            "source": f"{row['source_water_mg_per_l']} mg/L",
            "change_share": "0.1 1",
            "drift": f"{float(row['load_mg_basis_g_per_day']) / volume * 7} g/L",
            "drift_time": "7 d",
            "drip_flow": f"{row['exchange_l_per_day_or_fraction']} L/d",
        },
    )
    assert value(found, "drip_holds") == pytest.approx(float(row["steady_peak_mg_per_l"]), abs=5e-5)


@pytest.mark.parametrize(
    "row",
    [row for row in rows("nitrate_steady_state") if row["exchange_type"] == "periodic_fraction"],
    ids=lambda row: row["case"],
)
def test_a_steady_change_leads_from_the_published_peak_to_its_trough_and_the_drift_back(
    row: dict[str, str],
) -> None:
    load, volume = float(row["load_mg_basis_g_per_day"]) * 1000, float(row["volume_l"])
    found = answer(
        WATER_CHANGE,
        {
            "parameter": "other",
            "volume": f"{volume} L",
            "present": f"{row['steady_peak_mg_per_l']} mg/L",
            "source": f"{row['source_water_mg_per_l']} mg/L",
            "change_share": f"{row['exchange_l_per_day_or_fraction']} 1",
            "drift": f"{load / volume} mg/L",
            "drift_time": "1 d",
        },
    )
    assert value(found, "value_after") == pytest.approx(float(row["steady_trough_mg_per_l"]), abs=5e-5)
    assert value(found, "time_back", "d") == pytest.approx(float(row["interval_days"]), rel=1e-4)


LIMIT_ROWS = {
    "hardness_a_day": ("dgh_rise_per_day_common", "hardness", "dGH"),
    "alkalinity_a_day": ("dkh_rise_per_day_common", "alkalinity", "dKH"),
    "ph_a_day": ("ph_change_per_day_common", "ph", "pH"),
    "temperature_step": ("temperature_change_per_hour_common", "temperature_difference", "K"),
    "size_limit": ("single_water_change_common", "fraction", "1"),
}


@pytest.mark.parametrize("name", LIMIT_ROWS)
def test_the_limits_are_the_published_ones_unless_told(name: str) -> None:
    item, kind, unit = LIMIT_ROWS[name]
    published = next(row for row in rows("thresholds_and_rates_of_change") if row["item"] == item)
    assert from_si(WATER_CHANGE.params[name].default, unit, kind) == pytest.approx(float(published["high"]))


# By hand: a step of the limit is this share of the difference told here.
BOUND = {
    "hardness": ({"hardness": "6 dGH", "source_hardness": "14 dGH"}, 2 / 8),
    "alkalinity": ({"alkalinity": "9 dKH", "source_alkalinity": "3 dKH"}, 1.5 / 6),
    "temperature": ({"temperature": "25 degC", "source_temperature": "20 degC"}, 1 / 5),
    "the largest single change": ({}, 0.5),
}


@pytest.mark.parametrize("name", BOUND)
def test_the_largest_change_today_is_held_by_what_differs_most(name: str) -> None:
    waters, share = BOUND[name]
    found = answer(WATER_CHANGE, {**PLAIN, "wanted": "20 mg/L", **waters})
    assert found.values["held_by"] == name
    assert value(found, "largest_share", "1") == pytest.approx(share)
    assert value(found, "largest_water", "L") == pytest.approx(share * 200)
    assert found.values["verdict"] == "watch"


def test_ph_holds_a_change_by_alkalinity_not_by_its_difference() -> None:
    soft = {**PLAIN, "wanted": "20 mg/L", "size_limit": "0.9 1", "ph": "6.5 pH", "source_ph": "7.5 pH"}
    weak = answer(WATER_CHANGE, {**soft, "alkalinity": "1.2 meq/L", "source_alkalinity": "1 meq/L"})
    strong = answer(WATER_CHANGE, {**soft, "alkalinity": "0.2 meq/L", "source_alkalinity": "0.6 meq/L"})
    assert weak.values["held_by"] == strong.values["held_by"] == "pH"
    # 0.3 of 1 pH would be 30 % in proportion.
    assert value(strong, "largest_share", "1") < 0.3 < value(weak, "largest_share", "1")
    assert as_json(strong)["results"]["schedule"][0]["ph_after"]["value"] == pytest.approx(6.8)


def test_own_limits_stand_over_the_usual_ones() -> None:
    asked = {**PLAIN, "wanted": "20 mg/L", "hardness": "6 dGH", "source_hardness": "14 dGH"}
    found = answer(WATER_CHANGE, {**asked, "hardness_a_day": "1 dGH", "size_limit": "0.2 1"})
    assert value(found, "largest_share", "1") == pytest.approx(1 / 8)
    origins = [one.origin for one in found.assumptions if "hardness" in one.text or "single" in one.text]
    assert "common practice" not in origins


def test_the_days_add_up_to_the_wanted_value() -> None:
    found = as_json(answer(WATER_CHANGE, ASKED))["results"]
    left = 1.0
    for row in found["schedule"]:
        left *= 1 - row["share"]["value"] / 100
        assert row["water"]["value"] == pytest.approx(row["share"]["value"] / 100 * 400)
        # Of the difference from 4 to 36.
        assert row["value_after"]["value"] == pytest.approx(4 + 32 * left, rel=1e-9)
    assert found["schedule"][-1]["value_after"]["value"] == pytest.approx(12, rel=1e-9)
    assert [row["day"] for row in found["schedule"]] == list(range(1, found["days"] + 1))


@settings(max_examples=60)
@given(
    st.floats(0, 200),
    st.floats(0, 200),
    st.floats(0.02, 0.98),
    st.floats(0.02, 0.9),
    st.floats(0, 30),
    st.floats(0, 30),
)
def test_any_value_between_is_reached_in_either_direction_and_every_step_can_be_followed(
    assert_followed: Any,
    present: float,
    source: float,
    way: float,
    usual: float,
    hardness: float,
    other: float,
) -> None:
    if abs(present - source) < 0.5:
        return
    wanted = present + way * (source - present)
    asked = {
        **PLAIN,
        "present": f"{present} mg/L",
        "source": f"{source} mg/L",
        "wanted": f"{wanted} mg/L",
        "change_share": f"{usual} 1",
        "hardness": f"{hardness} dGH",
        "source_hardness": f"{other} dGH",
    }
    found = answer(WATER_CHANGE, asked)
    reached = [row["value_after"]["value"] for row in as_json(found)["results"]["series"]]
    assert value(found, "share", "1") == pytest.approx(way, rel=1e-6)
    passed = [(one - wanted) * (source - present) >= -1e-6 for one in reached]
    assert passed[-1] and not any(passed[:-1])
    for step in found.steps:
        assert_followed(step)


@pytest.mark.parametrize("parameter", EXCHANGED)
def test_every_parameter_is_answered_in_its_own_unit(parameter: str) -> None:
    unit = KINDS[EXCHANGED[parameter]].default
    found = answer(
        WATER_CHANGE,
        {
            "parameter": parameter,
            "volume": "100 L",
            "present": f"8 {unit}",
            "source": f"2 {unit}",
            "wanted": f"5 {unit}",
        },
    )
    assert value(found, "share", "1") == pytest.approx(0.5)
    assert found.quantity("value_after").unit == unit


def test_what_is_exchanged_has_the_kind_of_the_record() -> None:
    held = {**DOSED, **{name: one.kind for name, one in PARAMETERS.items()}}
    assert {name: kind for name, kind in EXCHANGED.items() if name in held} == {
        name: held[name] for name in EXCHANGED if name in held
    }
    assert set(EXCHANGED) - set(held) == {"other"}


def test_the_changes_water_is_that_of_all_of_them() -> None:
    found = answer(WATER_CHANGE, {**PLAIN, "wanted": "20 mg/L", "change_volume": "50 L"})
    # ln(1 / 5) / ln(3 / 4) is 5.6.
    assert found.values["changes"] == 6
    assert value(found, "changes_water", "L") == pytest.approx(300)


def test_a_tank_far_behind_the_source_in_alkalinity_is_cautioned_below_half_of_it() -> None:
    waters = {**PLAIN, "wanted": "70 mg/L", "source_alkalinity": "10 dKH"}
    assert "old-water" in codes(answer(WATER_CHANGE, {**waters, "alkalinity": "4.9 dKH"}))
    assert "old-water" not in codes(answer(WATER_CHANGE, {**waters, "alkalinity": "5.1 dKH"}))


def test_a_drips_day_is_compared_with_what_the_tank_bears() -> None:
    """By hand: of 200 L, ln 2 times as much drips in a day where half is replaced, 138.6 L."""
    asked = {**PLAIN, "wanted": "70 mg/L"}
    assert "drip-too-fast" in codes(answer(WATER_CHANGE, {**asked, "drip_flow": "139 L/d"}))
    assert "drip-too-fast" not in codes(answer(WATER_CHANGE, {**asked, "drip_flow": "138 L/d"}))


def test_more_than_366_changes_or_days_are_refused() -> None:
    """By hand: the last share that does it in 366 changes is 1 - 0.2 ^ (1 / 366), 0.4388 %."""
    asked = {**PLAIN, "wanted": "20 mg/L"}
    assert answer(WATER_CHANGE, {**asked, "change_share": "0.00439 1"}).values["changes"] == 366
    assert set(refusal({**asked, "change_share": "0.00438 1"})) == {"/change_share"}


def test_what_the_change_is_for_counts_as_the_tanks_own() -> None:
    asked = {
        "parameter": "hardness",
        "volume": "100 L",
        "present": "4 dGH",
        "source": "12 dGH",
        "wanted": "8 dGH",
    }
    found = answer(WATER_CHANGE, {**asked, "hardness": "11 dGH"})
    assert found.values["held_by"] == "hardness"
    assert value(found, "largest_share", "1") == pytest.approx(0.25)


def test_nothing_is_to_do_where_the_value_stands() -> None:
    found = answer(WATER_CHANGE, {**ASKED, "wanted": ASKED["present"]})
    assert (found.values["verdict"], found.values["days"], found.values["changes"]) == ("ok", 0, 0)
    assert found.values["share"] == found.values["drip_water"] == 0
    assert found.values["time_back"] is None


def test_the_verdict_says_what_is_known() -> None:
    small = {**PLAIN, "wanted": "75 mg/L"}
    assert answer(WATER_CHANGE, small).values["verdict"] == "unknown"
    waters = {
        "hardness": "6 dGH",
        "source_hardness": "8 dGH",
        "alkalinity": "4 dKH",
        "source_alkalinity": "5 dKH",
    }
    known = answer(WATER_CHANGE, {**small, **waters})
    assert known.values["verdict"] == "ok"
    assert "pH can't be judged" in known.values["why"]
    judged = answer(WATER_CHANGE, {**small, **waters, "ph": "7 pH", "source_ph": "7.4 pH"})
    assert "pH within" in judged.values["why"]


def test_the_share_of_the_usual_change_goes_before_its_volume() -> None:
    found = answer(WATER_CHANGE, {**PLAIN, "change_share": "0.3 1", "change_volume": "20 L"})
    assert value(found, "share", "1") == pytest.approx(0.3)
    assert len(found.values["series"]) == 10
    assert any("left aside" in one.text for one in found.assumptions)


@pytest.mark.parametrize(
    ("wanted", "side"),
    [("5 mg/L", "lowest"), ("4 mg/L", "lowest"), ("0 mg/L", "lowest"), ("90 mg/L", "lowest")],
)
def test_a_value_at_or_beyond_the_source_is_refused_with_what_can_be_had(wanted: str, side: str) -> None:
    refused = refusal({**PLAIN, "wanted": wanted})
    assert set(refused) == {"/wanted"}
    assert side in refused["/wanted"] and "5 mg/L" in refused["/wanted"]


def test_a_rise_beyond_the_source_is_refused_too() -> None:
    rising = {**PLAIN, "present": "5 mg/L", "source": "80 mg/L"}
    assert "highest" in refusal({**rising, "wanted": "80 mg/L"})["/wanted"]
    assert "own" in refusal({**PLAIN, "source": "80 mg/L", "wanted": "60 mg/L"})["/wanted"]


BAD: dict[str, tuple[dict[str, Any], set[str]]] = {
    "no water": ({"volume": "0 L"}, {"/volume"}),
    "less than no water": ({"volume": "-3 L"}, {"/volume"}),
    "negative value": ({"present": "-1 mg/L"}, {"/present"}),
    "another kind of unit": ({"present": "20 dGH"}, {"/present"}),
    "change larger than the system": ({"change_volume": "201 L"}, {"/change_volume"}),
    "change of everything": ({"change_volume": "200 L"}, {"/change_volume"}),
    "share of everything": ({"change_share": "100 %"}, {"/change_share"}),
    "nothing asked": ({"wanted": None}, {"/wanted"}),
    "ph beyond its scale": ({"ph": "14.1 pH"}, {"/ph"}),
    "ph below its scale": ({"source_ph": "-0.1 pH"}, {"/source_ph"}),
    "absolute cold": ({"temperature": "0 K"}, {"/temperature"}),
    "drift without time": ({"drift": "3 mg/L"}, {"/drift_time"}),
    "time without drift": ({"drift_time": "3 d"}, {"/drift"}),
    "unknown parameter": ({"parameter": "happiness"}, {"/parameter"}),
    "too small a change": ({"change_share": "0.001 1"}, {"/change_share"}),
    "too slow a pace": (
        {"hardness": "1 dGH", "source_hardness": "21 dGH", "hardness_a_day": "0.001 dGH"},
        {"/hardness_a_day"},
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_what_can_not_be_is_refused_where_it_stands(case: str) -> None:
    change, pointers = BAD[case]
    assert set(refusal({**PLAIN, "wanted": "20 mg/L", **change})) == pointers


def test_a_drift_that_leads_away_never_brings_the_value_back() -> None:
    found = answer(WATER_CHANGE, {**ASKED, "drift": "-7 mg/L NO3"})
    assert found.values["time_back"] is None
    # 4 - 1 a day x 400 L / 48 L a day lies below nothing.
    assert found.values["drip_holds"] is None
    assert "drip-never-settles" in codes(found)


DRIFTING = {**PLAIN, "present": "40 mg/L", "source": "0 mg/L", "size_limit": "0.5 1", "drift_time": "1 d"}


def test_a_drift_is_counted_from_day_to_day_of_the_schedule(assert_followed: Any) -> None:
    """By hand: 40 to 10 by halves is 20 and 10; with 4 a day between them 20, and (20 + 4) / 2 = 12."""
    found = answer(WATER_CHANGE, {**DRIFTING, "wanted": "10 mg/L", "drift": "4 mg/L"})
    schedule = as_json(found)["results"]["schedule"]
    assert [row["value_after"]["value"] for row in schedule] == pytest.approx([20, 10])
    assert [row["value_with_drift"]["value"] for row in schedule] == pytest.approx([20, 12])
    against = next(one for one in found.cautions if one.code == "drift-works-against")
    assert "12 mg/L, not 10 mg/L" in against.text
    for one in found.steps:
        assert_followed(one)


def test_a_drift_is_cautioned_only_where_it_works_against_several_changes() -> None:
    once = {**DRIFTING, "wanted": "30 mg/L", "drift": "4 mg/L"}
    assert "drift-works-against" not in codes(answer(WATER_CHANGE, once))
    assert "drift-works-against" in codes(answer(WATER_CHANGE, {**once, "change_share": "0.1 1"}))
    assert "drift-works-against" not in codes(
        answer(WATER_CHANGE, {**DRIFTING, "wanted": "10 mg/L", "drift": "-1 mg/L"})
    )
    none = answer(WATER_CHANGE, {**PLAIN, "wanted": "20 mg/L"})
    assert none.values["schedule"][0]["value_with_drift"] is None
    # A fall beyond nothing stops there.
    gone = answer(WATER_CHANGE, {**DRIFTING, "wanted": "10 mg/L", "drift": "-30 mg/L"})
    assert gone.values["schedule"][-1]["value_with_drift"] == 0


def test_the_cautions_belong_to_what_was_told() -> None:
    assert {"dechlorinate", "ammonia", "heater-and-pump", "old-water", "warm-it-first"} <= codes(
        answer(WATER_CHANGE, ASKED)
    )
    bare = answer(WATER_CHANGE, {**PLAIN, "wanted": "20 mg/L"})
    assert {"ph-unjudged", "match-temperature"} <= codes(bare)
    assert "old-water" not in codes(bare)
    nitrite = answer(
        WATER_CHANGE,
        {
            "parameter": "nitrite",
            "volume": "100 L",
            "present": "2 mg/L NO2",
            "source": "0 mg/L NO2",
            "change_share": "0.9 1",
        },
    )
    assert {"find-its-cause", "usual-change-too-large"} <= codes(nitrite)
    assert "outweighs" in nitrite.values["why"]
    assert "no-buffer" in codes(answer(WATER_CHANGE, {**ASKED, "alkalinity": "0 dKH"}))
    assert "drip-too-fast" in codes(answer(WATER_CHANGE, {**ASKED, "drip_flow": "40 L/h"}))
    assert "ph-is-rough" in codes(answer(WATER_CHANGE, {**ASKED, "source_ph": "8.9 pH"}))
    whole = answer(WATER_CHANGE, {**PLAIN, "wanted": "20 mg/L", "size_limit": "0.9 1"})
    assert "large-change" in codes(whole)
