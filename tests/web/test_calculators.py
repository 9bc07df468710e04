"""Calculators over HTTP: from what is sent, from the record, and one bare number for one cell.

Turnover of the furnished room by hand: tank 1.2 m x 0.5 m x 0.5 m = 300 L, section 0.30 m x 0.45 m x 0.25 m
= 33.75 L, together 333.75 L; 600 US gallons an hour (3.785411784 L, exact) are 2271.2470704 L/h.
"""

from __future__ import annotations

import math
from typing import Any
from urllib.parse import urlencode

import pytest
import sqlalchemy as sa
from harness import FURNITURE, Caller, on_both_engines

from weirbook.app import Service

DOOR = "/v1/calculators/turnover/answer"
RECORD = "/v1/systems/rill/answers/turnover"
FLOW, VOLUME = 2271.2470704, 333.75


def get(keeper: Caller, path: str, **query: str) -> Any:
    return keeper.get(f"{path}?{urlencode(query)}")


def text(keeper: Caller, path: str, **query: str) -> str:
    answered = get(keeper, path, format="text", **query)
    assert answered.status_code == 200, answered.get_data(as_text=True)
    assert answered.headers["Content-Type"] == "text/plain; charset=utf-8"
    return str(answered.get_data(as_text=True))


def test_both_doors_and_both_verbs_give_the_same_results(furnished: Caller) -> None:
    said = {"volume": "333.75 L", "flow": "600 gal/h"}
    answers = [
        get(furnished, DOOR, **said),
        furnished.post(DOOR, said),
        get(furnished, RECORD),
        furnished.post(RECORD, {}),
    ]
    assert [one.status_code for one in answers] == [200] * 4
    results = [one.get_json()["results"] for one in answers]
    for name, value in results[0].items():
        for other in results[1:]:
            assert other[name] == pytest.approx(value) if not isinstance(value, dict) else other[name]["unit"]
    rates = [one["turnovers_per_hour"]["value"] for one in results]
    assert rates == [pytest.approx(FLOW / VOLUME, rel=1e-11)] * 4


def test_one_cell_gets_one_bare_number(furnished: Caller) -> None:
    shown = text(furnished, RECORD, result="turnovers_per_hour")
    assert float(shown) == pytest.approx(FLOW / VOLUME, rel=1e-11)
    assert shown.endswith("\n") and len(shown.split()) == 1
    minutes = float(text(furnished, RECORD, result="time_to_95", unit="min"))
    assert minutes == pytest.approx(math.log(20) * VOLUME / FLOW * 60, rel=1e-9)
    hours = float(text(furnished, RECORD, result="time_to_95", unit="h"))
    assert hours == pytest.approx(minutes / 60, rel=1e-9)


def test_accept_asks_for_text_as_well(furnished: Caller) -> None:
    answered = furnished.get(f"{RECORD}?result=turnovers_per_hour", Accept="text/plain")
    assert answered.mimetype == "text/plain"
    assert furnished.get(RECORD, Accept="application/xml").mimetype == "application/json"


def test_each_input_tells_where_it_came_from(furnished: Caller) -> None:
    inputs = get(furnished, RECORD).get_json()["inputs"]
    assert (inputs["volume"]["value"], inputs["volume"]["unit"], inputs["volume"]["origin"]) == (
        333.75,
        "L",
        "record",
    )
    assert "nursery" in inputs["volume"]["note"] and "rack-return-1" in inputs["volume"]["note"]
    assert (inputs["flow"]["value"], inputs["flow"]["unit"], inputs["flow"]["origin"]) == (
        600,
        "gal/h",
        "record",
    )
    assert "rated" in inputs["flow"]["note"]
    assert inputs["removal_per_pass"]["origin"] == "default"


def test_a_measured_flow_beats_the_rated_one_and_is_said(furnished: Caller) -> None:
    furnished.patch("/v1/pumps/rack-pump", {"measured_flow": "1500 L/h", "measured_on": "2026-11-01"})
    flow = get(furnished, RECORD).get_json()["inputs"]["flow"]
    assert (flow["value"], flow["unit"]) == (1500, "L/h")
    assert "measured 2026-11-01" in flow["note"]


@pytest.mark.parametrize("method", ["GET", "POST"])
def test_a_what_if_is_marked_as_given_and_stores_nothing(furnished: Caller, method: str) -> None:
    said = {"flow": "1200 gal/h"}
    answered = get(furnished, RECORD, **said) if method == "GET" else furnished.post(RECORD, said)
    assert answered.get_json()["inputs"]["flow"] == {"value": 1200, "unit": "gal/h", "origin": "given"}
    assert answered.get_json()["inputs"]["volume"]["origin"] == "record"
    assert answered.get_json()["results"]["turnovers_per_hour"]["value"] == pytest.approx(2 * FLOW / VOLUME)
    assert furnished.get("/v1/pumps/rack-pump").get_json()["version"] == 1


def test_what_the_record_lacks_is_listed_with_the_query_key_that_supplies_it(furnished: Caller) -> None:
    furnished.patch("/v1/sections/rack-return-1", {"running_depth": None})
    furnished.patch("/v1/pumps/rack-pump", {"rated_flow": None})
    refused = get(furnished, RECORD)
    assert refused.status_code == 422
    assert refused.get_json()["type"] == "urn:weirbook:problem:not-recorded"
    said = {error["pointer"]: error["message"] for error in refused.get_json()["errors"]}
    assert "rack-return-1" in said["/volume"] and "volume=" in said["/volume"]
    assert "rack-pump" in said["/flow"] and "flow=" in said["/flow"]
    assert get(furnished, RECORD, volume="300 L", flow="900 L/h").get_json()["results"][
        "turnovers_per_hour"
    ] == {
        "value": 3,
        "unit": "1/h",
    }


def told(answered: Any) -> dict[str, str]:
    assert answered.status_code == 422, answered.get_data(as_text=True)
    return {error["pointer"]: error["message"] for error in answered.get_json()["errors"]}


def test_what_no_record_holds_is_asked_for_with_what_it_is_and_an_example(furnished: Caller) -> None:
    door = "/v1/systems/rill/answers/dose"
    said = {"parameter": "alkalinity", "compound": "sodium_bicarbonate", "present": "4 dKH"}
    words = "The record does not hold it: The value wanted. "
    assert told(get(furnished, door, **said)) == {
        "/wanted": words + "Add it to the query, like wanted=7 dKH."
    }
    assert told(furnished.post(door, said)) == {
        "/wanted": words + 'Send it in the body: wanted, like "7 dKH".'
    }
    other = {**said, "parameter": "nitrate", "compound": "potassium_nitrate", "present": "4 mg/L NO3"}
    asked = told(get(furnished, door, **other))["/wanted"]
    assert "wanted=…, a number and its unit: mol/m3, mmol/L, umol/L, mg/L NO3, mg/L NO3-N." in asked
    asked = told(furnished.post(door, {**said, "parameter": None, "compound": None, "wanted": "7 dKH"}))[
        "/compound"
    ]
    assert "is missing" in asked
    listed = told(get(furnished, door, wanted="7 dKH"))["/parameter"]
    assert "Add it to the query: parameter=…, one of " in listed and "alkalinity" in listed


def test_both_verbs_of_the_stateless_door_say_what_is_missing_in_the_same_words(furnished: Caller) -> None:
    words = (
        "'flow' is missing: Flow through the filter: measured if it can be, else the rated flow of the pumps."
    )
    asked = told(get(furnished, DOOR, volume="300 L"))
    assert asked == told(furnished.post(DOOR, {"volume": "300 L"})) == {"/flow": words}


def two_tanks(keeper: Caller) -> None:
    """A second tank of 100 L with 700 L/h of its own beside the first."""
    tank = {
        **FURNITURE[1][1],
        "name": "Annex",
        "footprint": {"shape": "rectangle", "length": "50 cm", "width": "40 cm"},
    }
    assert keeper.post("/v1/tanks", tank).status_code == 201
    pump = {
        "name": "Annex pump",
        "from_section": "rack-return-1",
        "to_tank": "annex",
        "rated_flow": "700 L/h",
    }
    assert keeper.post("/v1/pumps", pump).status_code == 201


@on_both_engines
def test_tanks_on_one_sump_each_have_their_share(furnished: Caller) -> None:
    two_tanks(furnished)
    found = get(furnished, RECORD).get_json()
    total = FLOW + 700
    rows = {row["name"]: row for row in found["results"]["tanks"]}
    assert rows.keys() == {"nursery", "annex"}
    assert rows["nursery"]["turnovers_per_hour"]["value"] == pytest.approx(FLOW / 300, rel=1e-9)
    assert rows["annex"]["turnovers_per_hour"]["value"] == pytest.approx(7, rel=1e-9)
    assert rows["annex"]["share_of_flow"]["value"] == pytest.approx(100 * 700 / total, rel=1e-9)
    assert found["results"]["turnovers_per_hour"]["value"] == pytest.approx(total / (VOLUME + 100), rel=1e-9)


def test_a_tank_and_a_sump_answer_for_their_own_water(furnished: Caller) -> None:
    two_tanks(furnished)
    tank = float(text(furnished, "/v1/tanks/annex/answers/turnover", result="turnovers_per_hour"))
    assert tank == pytest.approx(7, rel=1e-9)
    sump = float(text(furnished, "/v1/sumps/rack/answers/turnover", result="turnovers_per_hour"))
    assert sump == pytest.approx((FLOW + 700) / 33.75, rel=1e-9)


def test_the_volume_of_a_tank_is_answered_as_the_tank_shows_it(furnished: Caller) -> None:
    furnished.patch("/v1/tanks/nursery", {"substrate_depth": "5 cm", "hardscape_mass": "26.5 kg"})
    shown = furnished.get("/v1/tanks/nursery").get_json()["net_volume"]["value"]
    assert shown == pytest.approx(300 - 600 * 0.05 * 0.6 - 10, rel=1e-9)
    asked = get(furnished, "/v1/tanks/nursery/answers/tank-volume").get_json()
    net = next(value for name, value in asked["results"].items() if name.startswith("net"))
    assert net == {"value": pytest.approx(shown), "unit": "L"}


def test_the_rooms_units_are_used_in_answers_from_the_record(furnished: Caller) -> None:
    furnished.patch("/v1/room", {"preferred_units": {"time": "h"}})
    result = get(furnished, RECORD).get_json()["results"]["minutes_per_turnover"]
    assert result == {"value": pytest.approx(VOLUME / FLOW), "unit": "h"}
    assert (
        get(furnished, DOOR, volume="1 L", flow="1 L/h").get_json()["results"]["minutes_per_turnover"]["unit"]
        == "min"
    )


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ({"volume": "300 L"}, "/flow"),
        ({"volume": "0 L", "flow": "1 L/h"}, "/volume"),
        ({"volume": "300", "flow": "1 L/h"}, "/volume"),
        ({"volume": "300,5 L", "flow": "1 L/h"}, "/volume"),
        ({"volume": "300 L", "flow": "1 L"}, "/flow"),
        ({"volume": "300 L", "flow": "1 L/h", "removal_per_pass": "2"}, "/removal_per_pass"),
        ({"volume": "300 L", "flow": "1 L/h", "tanks": "x"}, "/tanks"),
        ({"volume": "300 L", "flow": "1 L/h", "pressure": "1 bar"}, "/pressure"),
        ({"volume": "300 L", "flow": "1 L/h", "at": "2026-01-01T00:00:00Z"}, "/at"),
        ({"volume": "300 L", "flow": "1 L/h", "format": "csv"}, "/format"),
        ({"volume": "300 L", "flow": "1 L/h", "format": "text"}, "/result"),
        ({"volume": "300 L", "flow": "1 L/h", "format": "text", "result": "depth"}, "/result"),
        ({"volume": "300 L", "flow": "1 L/h", "format": "text", "result": "tanks"}, "/result"),
        (
            {"volume": "300 L", "flow": "1 L/h", "format": "text", "result": "time_to_63", "unit": "L"},
            "/unit",
        ),
        ({"volume": "300 L", "flow": "1 L/h", "result": "time_to_63"}, "/result"),
        ({"volume": "300 L", "flow": "1 L/h", "unit": "h"}, "/unit"),
    ],
)
def test_a_question_that_can_not_be_answered_names_its_fault(
    furnished: Caller, query: dict[str, str], pointer: str
) -> None:
    refused = get(furnished, DOOR, **query)
    assert refused.status_code == 422, refused.get_data(as_text=True)
    assert refused.mimetype == "application/problem+json"
    assert [error["pointer"] for error in refused.get_json()["errors"]] == [pointer]


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        (
            {"volume": "300 L", "flow": "1 L/h", "tanks": [{"name": "a", "volume": "1 L", "flow": "x"}]},
            "/tanks/0/flow",
        ),
        ({"volume": "300 L", "flow": "1 L/h", "tanks": [{"name": "a", "volume": "1 L"}]}, "/tanks/0/flow"),
        ({"volume": "300 L", "flow": "1 L/h", "tanks": [1]}, "/tanks/0"),
        ({"volume": "300 L", "flow": "1 L/h", "tanks": {}}, "/tanks"),
        ({"volume": {"value": 300, "unit": "kg"}, "flow": "1 L/h"}, "/volume/unit"),
        ({"volume": {"value": "300", "unit": "L"}, "flow": "1 L/h"}, "/volume/value"),
        ({"volume": 300, "flow": "1 L/h"}, "/volume"),
        ({"volume": "300 L", "flow": "1 L/h", "name": "x"}, "/name"),
        (
            {
                "volume": "300 L",
                "flow": "10 L/h",
                "tanks": [{"name": "a", "volume": "1 L", "flow": "11 L/h"}],
            },
            "/tanks",
        ),
    ],
)
def test_a_body_that_can_not_be_answered_names_its_fault(
    furnished: Caller, body: dict[str, Any], pointer: str
) -> None:
    for door in (DOOR, RECORD):
        refused = furnished.post(door, body)
        assert refused.status_code == 422, refused.get_data(as_text=True)
        assert [error["pointer"] for error in refused.get_json()["errors"]] == [pointer]


def test_the_catalogue_tells_what_each_takes_gives_and_rests_on(furnished: Caller) -> None:
    listed = furnished.get("/v1/calculators").get_json()["items"]
    assert {one["name"] for one in listed} >= {"turnover", "tank-volume"}
    for one in listed:
        page = furnished.get(f"/v1/calculators/{one['name']}").get_json()
        assert page["sources"] and page["limits"] and page["results"]
        again = furnished.post(f"/v1/calculators/{one['name']}/answer", page["example"]["inputs"])
        assert again.get_json() == page["example"]["answer"]
        for door in one["doors"]:
            assert door in ("systems", "tanks", "sumps", "sections", "pumps")
    assert furnished.get("/v1/calculators/nothing").status_code == 404


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


@pytest.mark.parametrize(
    "path", [RECORD, "/v1/sumps/rack/answers/turnover", "/v1/tanks", "/v1/pumps", "/v1/sections"]
)
def test_a_larger_system_costs_no_more_queries(app: Service, furnished: Caller, path: str) -> None:
    furnished.get(path)
    before = statements(app, furnished, path)
    two_tanks(furnished)
    for position, use in ((2, "media"), (3, "settling"), (4, "heating")):
        section = {"sump": "rack", "position": position, "use": use, "direction": "up", "length": "10 cm"}
        furnished.post("/v1/sections", {**section, "running_depth": "20 cm"})
    assert statements(app, furnished, path) == before


def test_the_stateless_door_asks_nothing_of_the_record(app: Service, furnished: Caller) -> None:
    """The key alone is looked up: its room, and itself."""
    path = f"{DOOR}?{urlencode({'volume': '300 L', 'flow': '900 L/h'})}"
    furnished.get(path)
    assert statements(app, furnished, path) <= 4
