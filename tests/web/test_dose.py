"""Doses over HTTP: from what is sent, and with the present value from the latest test that counts.

The furnished room's system holds 300 L in its tank and 33.75 L in its sump. By hand: from 4 to 7 dKH take
3 x 20 / 56.077 meq/L x 84.0058 g/mol x 333.75 L = 29.998 g of sodium bicarbonate.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

import pytest
import sqlalchemy as sa
from harness import FURNITURE, Caller, on_both_engines

from weirbook.app import Service
from weirbook.engine.times import day_of, instant_text, zone
from weirbook.record.database import now_ms

DOOR = "/v1/calculators/dose/answer"
RECORD = "/v1/systems/rill/answers/dose"
RAISED = {"parameter": "alkalinity", "wanted": "7 dKH", "compound": "sodium_bicarbonate"}
GRAMS = 3 * 20 / 56.077 * 84.0058 * 333.75 / 1000
DAY = 86_400_000
GAUGE = "nursery-alkalinity-by-hand"


def get(keeper: Caller, path: str, **query: str) -> Any:
    return keeper.get(f"{path}?{urlencode(query)}")


def days_ago(days: float) -> int:
    return round(now_ms() - days * DAY)


def took(keeper: Caller, value: Any, days: float, place: str = "tanks/nursery", **said: Any) -> None:
    """Post a test of alkalinity taken so many days ago."""
    row = {"place": place, "parameter": "alkalinity", "value": value, "unit": "dKH", **said}
    taken = keeper.post("/v1/readings", {**row, "at": instant_text(days_ago(days))})
    assert taken.status_code == 200 and taken.get_json()["stored"] == 1, taken.get_data(as_text=True)


def refused(answered: Any) -> dict[str, str]:
    assert answered.status_code == 422, answered.get_data(as_text=True)
    assert answered.mimetype == "application/problem+json"
    return {error["pointer"]: error["message"] for error in answered.get_json()["errors"]}


def present(keeper: Caller, **query: str) -> dict[str, Any]:
    answered = get(keeper, RECORD, **RAISED, **query)
    assert answered.status_code == 200, answered.get_data(as_text=True)
    return dict(answered.get_json()["inputs"]["present"])


@on_both_engines
def test_the_present_value_is_that_of_the_latest_test_with_its_gauge_day_and_age(furnished: Caller) -> None:
    took(furnished, 5, 10.1)
    took(furnished, 4, 3.1)
    told = get(furnished, RECORD, **RAISED).get_json()
    found = told["inputs"]["present"]
    assert (found["value"], found["unit"], found["origin"]) == (4, "dKH", "record")
    where = zone(furnished.get("/v1/room").get_json()["time_zone"])
    assert found["note"] == f"{GAUGE}: read {day_of(days_ago(3.1), where)}, 3 days old"
    assert (
        "nursery" in told["inputs"]["volume"]["note"] and "rack-return-1" in told["inputs"]["volume"]["note"]
    )
    assert told["results"]["amount"] == {"value": pytest.approx(GRAMS, rel=1e-6), "unit": "g"}


def test_both_doors_and_both_verbs_give_the_same_dose(furnished: Caller) -> None:
    took(furnished, 4, 1)
    whole = {**RAISED, "volume": "333.75 L", "present": "4 dKH"}
    answers = [
        get(furnished, DOOR, **whole),
        furnished.post(DOOR, whole),
        get(furnished, RECORD, **RAISED),
        furnished.post(RECORD, RAISED),
    ]
    assert [one.status_code for one in answers] == [200] * 4
    amounts = [one.get_json()["results"]["amount"]["value"] for one in answers]
    assert amounts == [pytest.approx(GRAMS, rel=1e-6)] * 4


def test_one_cell_gets_the_grams_of_a_day_and_a_rise_in_any_unit_of_its_kind(furnished: Caller) -> None:
    took(furnished, 4, 1)
    split = {**RAISED, "largest_daily_change": "1 dKH", "format": "text"}
    grams = get(furnished, RECORD, **split, result="daily_amount")
    assert grams.headers["Content-Type"] == "text/plain; charset=utf-8"
    assert float(grams.get_data(as_text=True)) == pytest.approx(GRAMS / 3, rel=1e-6)
    assert get(furnished, RECORD, **split, result="days").get_data(as_text=True) == "3\n"
    rise = get(furnished, RECORD, **split, result="rise", unit="mg/L CaCO3").get_data(as_text=True)
    assert float(rise) == pytest.approx(3 * 10 * 100.086 / 56.077, rel=1e-6)
    assert list(refused(get(furnished, RECORD, **split, result="rise", unit="dGH"))) == ["/unit"]
    assert get(furnished, RECORD, **split, result="liquid_volume").get_data(as_text=True) == "\n"


def test_the_rooms_units_are_used_for_what_follows_the_parameter(furnished: Caller) -> None:
    took(furnished, 4, 1)
    furnished.patch("/v1/room", {"preferred_units": {"alkalinity": "meq/L", "mass": "oz"}})
    results = get(furnished, RECORD, **RAISED).get_json()["results"]
    assert results["rise"] == {"value": pytest.approx(3 * 20 / 56.077), "unit": "meq/L"}
    assert results["schedule"][0]["value_after"]["unit"] == "meq/L"
    assert results["amount"] == {"value": pytest.approx(GRAMS / 28.349523125, rel=1e-6), "unit": "oz"}
    cell = get(furnished, RECORD, **RAISED, result="rise", format="text").get_data(as_text=True)
    assert float(cell) == pytest.approx(3 * 20 / 56.077)


def test_a_parameter_never_tested_is_unknown_because_it_is_not_recorded(furnished: Caller) -> None:
    answered = get(furnished, RECORD, **RAISED)
    told = refused(answered)
    assert answered.get_json()["type"] == "urn:weirbook:problem:not-recorded"
    assert list(told) == ["/present"]
    assert told["/present"].startswith("Unknown: No reading of alkalinity that counts is recorded in rill.")
    assert "present=" in told["/present"]
    said = get(furnished, RECORD, **RAISED, present="4 dKH").get_json()
    assert said["inputs"]["present"] == {"value": 4, "unit": "dKH", "origin": "given"}


def other_system(keeper: Caller) -> None:
    keeper.post("/v1/systems", {"name": "Brook"})
    assert keeper.post("/v1/tanks", {**FURNITURE[1][1], "name": "Far", "system": "brook"}).status_code == 201
    took(keeper, 9, 0.1, "tanks/far")


def in_the_sump(keeper: Caller) -> None:
    took(keeper, 4.5, 2, "sections/rack-return-1")


def of_the_system(keeper: Caller) -> None:
    took(keeper, 4.5, 2, "systems/rill")


def retired(keeper: Caller) -> None:
    took(keeper, 9, 1, "sumps/rack")
    gauges = keeper.get("/v1/gauges").get_json()["items"]
    handle = next(one["handle"] for one in gauges if one["place"] == "sumps/rack")
    assert (
        keeper.patch(f"/v1/gauges/{handle}", {"retired_at": instant_text(days_ago(0.5))}).status_code == 200
    )


def excluded(keeper: Caller) -> None:
    took(keeper, 9, 1)
    span = {"from": instant_text(days_ago(1.5)), "to": instant_text(days_ago(0.5)), "reason": "Wrong drops."}
    assert keeper.post("/v1/exclusions", {"gauge": GAUGE, **span}).status_code == 201


def implausible(keeper: Caller) -> None:
    bound = {"plausible_high": "20 dKH"}
    assert keeper.patch(f"/v1/gauges/{GAUGE}", bound).status_code == 200
    took(keeper, 60, 1)


def sensor_of_another_kind(keeper: Caller) -> None:
    made = keeper.post("/v1/parameters", {"name": "Calcium", "kind": "score", "join": "plain"})
    assert made.status_code == 201
    row = {"place": "tanks/nursery", "parameter": "calcium", "value": 3, "at": instant_text(days_ago(1))}
    assert keeper.post("/v1/readings", row).status_code == 200
    asked = {"parameter": "calcium", "wanted": "30 mg/L", "compound": "calcium_chloride_dihydrate"}
    assert list(refused(get(keeper, RECORD, **asked))) == ["/present"]


@on_both_engines
@pytest.mark.parametrize(
    ("also", "value"),
    [
        (other_system, 4),
        (in_the_sump, 4.5),
        (of_the_system, 4.5),
        (retired, 4),
        (excluded, 4),
        (implausible, 4),
        (sensor_of_another_kind, 4),
    ],
    ids=lambda one: one.__name__ if callable(one) else "",
)
def test_only_readings_that_count_of_the_systems_own_gauges_are_taken(
    furnished: Caller, also: Callable[[Caller], None], value: float
) -> None:
    took(furnished, 4, 6)
    also(furnished)
    assert present(furnished)["value"] == value


def test_a_test_that_only_says_below_is_no_value_to_dose_from(furnished: Caller) -> None:
    took(furnished, 4, 6)
    took(furnished, "<0.5", 1)
    told = refused(get(furnished, RECORD, **RAISED))
    assert "says only below 0.5 dKH" in told["/present"]
    assert get(furnished, RECORD, **RAISED, present="0 dKH").status_code == 200


def test_of_a_range_the_middle_is_taken_and_said_to_be(furnished: Caller) -> None:
    took(furnished, "3..5", 1)
    found = present(furnished)
    assert found["value"] == 4
    assert found["note"].endswith("the middle of a range")


def test_the_past_is_asked_with_the_test_of_its_time(furnished: Caller) -> None:
    took(furnished, 6, 20)
    took(furnished, 4, 1)
    then = present(furnished, at=instant_text(days_ago(10)))
    assert then["value"] == 6 and "10 days old" in then["note"]
    assert list(refused(get(furnished, RECORD, **RAISED, at=instant_text(days_ago(30))))) == ["/present"]


def test_an_ion_that_the_keeper_added_as_a_parameter_is_found_too(furnished: Caller) -> None:
    own = {"name": "Calcium", "kind": "concentration", "units": ["mg/L"], "join": "plain"}
    assert furnished.post("/v1/parameters", own).status_code == 201
    row = {"place": "tanks/nursery", "parameter": "calcium", "value": 20, "at": instant_text(days_ago(2))}
    assert furnished.post("/v1/readings", row).status_code == 200
    asked = {"parameter": "calcium", "wanted": "30 mg/L", "compound": "calcium_chloride_dihydrate"}
    told = get(furnished, RECORD, **asked).get_json()
    assert told["inputs"]["present"]["value"] == 20
    # 10 mg/L of 40.078 mg/mmol, 147.008 mg/mmol as dihydrate, in 333.75 L.
    assert told["results"]["amount"]["value"] == pytest.approx(10 / 40.078 * 147.008 * 0.33375, rel=1e-6)


def test_a_wanted_value_below_the_latest_test_is_refused_with_the_water_change_in_words(
    furnished: Caller,
) -> None:
    took(furnished, 8, 1)
    for answered in (get(furnished, RECORD, **RAISED), furnished.post(RECORD, RAISED)):
        told = refused(answered)
        assert list(told) == ["/wanted"] and "only a water change" in told["/wanted"]


@pytest.mark.parametrize(
    ("changed", "pointers"),
    [
        ({"parameter": "kh"}, {"/parameter", "/present"}),
        ({"parameter": ""}, {"/parameter"}),
        ({"wanted": "7"}, {"/wanted"}),
        ({"wanted": "7 dGH"}, {"/wanted"}),
        ({"wanted": "7,5 dKH"}, {"/wanted"}),
        ({"compound": "potassium_nitrate"}, {"/compound"}),
        ({"compound": "product"}, {"/product_effect", "/product_mass", "/product_treats"}),
        ({"purity": "1.2 1"}, {"/purity"}),
        ({"volume": "0 L"}, {"/volume"}),
        ({"stock_strength": "200 g/L"}, {"/stock_strength"}),
        ({"dose": "7 g"}, {"/dose"}),
        ({"result": "rise"}, {"/result"}),
    ],
)
def test_a_question_to_the_record_that_can_not_be_answered_names_its_fault(
    furnished: Caller, changed: dict[str, str], pointers: set[str]
) -> None:
    took(furnished, 4, 1)
    assert refused(get(furnished, RECORD, **{**RAISED, **changed})).keys() == pointers


@pytest.mark.parametrize("missing", ["parameter", "wanted", "compound"])
def test_what_no_record_holds_must_be_said(furnished: Caller, missing: str) -> None:
    took(furnished, 4, 1)
    asked = {name: value for name, value in RAISED.items() if name != missing}
    assert list(refused(get(furnished, RECORD, **asked))) == [f"/{missing}"]


def test_nitrate_must_say_whether_it_is_weighed_as_nitrogen(furnished: Caller) -> None:
    asked = {
        "parameter": "nitrate",
        "compound": "potassium_nitrate",
        "present": "1 mg/L NO3",
        "wanted": "5 mg/L",
    }
    assert "mg/L NO3 or mg/L NO3-N" in refused(get(furnished, RECORD, **asked))["/wanted"]
    amounts = []
    for wanted in ("5 mg/L NO3", {"value": 5 * 14.007 / 62.004, "unit": "mg/L NO3-N"}):
        told = furnished.post(RECORD, {**asked, "wanted": wanted}).get_json()
        amounts.append(told["results"]["amount"]["value"])
    assert amounts[0] == pytest.approx(amounts[1], rel=1e-9)


def test_the_catalogue_tells_the_units_for_each_word_of_the_parameter(furnished: Caller) -> None:
    page = furnished.get("/v1/calculators/dose").get_json()
    wanted = next(one for one in page["inputs"] if one["name"] == "wanted")
    assert wanted["follows"] == "parameter"
    assert wanted["as"].keys() == set(
        next(one for one in page["inputs"] if one["name"] == "parameter")["choices"]
    )
    assert "dKH" in wanted["as"]["alkalinity"]["units"] and "mg/L NO3-N" in wanted["as"]["nitrate"]["units"]
    assert wanted["as"]["hardness"]["bounds"] == {"ge": {"value": 0, "unit": "dGH"}}
    rise = next(one for one in page["results"] if one["name"] == "rise")
    assert rise["as"]["phosphate"] == {"kind": "phosphate", "unit": "mg/L PO4"}


def statements(app: Service, keeper: Caller, path: str) -> int:
    """How many statements one GET sends to the database, its key being known from another a moment ago."""
    assert keeper.get("/v1/room").status_code == 200
    seen: list[str] = []

    def note(_conn: Any, _cursor: Any, statement: str, *_: Any) -> None:
        seen.append(statement)

    sa.event.listen(app.database.engine, "before_cursor_execute", note)
    try:
        assert keeper.get(path).status_code == 200, path
    finally:
        sa.event.remove(app.database.engine, "before_cursor_execute", note)
    return len(seen)


def test_more_gauges_and_tests_cost_no_more_queries(app: Service, furnished: Caller) -> None:
    took(furnished, 4, 3)
    path = f"{RECORD}?{urlencode(RAISED)}"
    furnished.get(path)
    before = statements(app, furnished, path)
    for days, place in enumerate(("sections/rack-return-1", "systems/rill", "sumps/rack"), start=4):
        took(furnished, 5, days, place)
    assert statements(app, furnished, path) == before
