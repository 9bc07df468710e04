"""Chamber flow of a sump over HTTP: from the record, with what-ifs, and in the past.

By hand: 2000 L/h are 555.56 cm3/s; 40 % of it through 60 cm2 run at 3.70 cm/s, all of it at 9.26 cm/s.
"""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

import pytest
import sqlalchemy as sa
from harness import Caller, on_both_engines

from weirbook.app import Service
from weirbook.engine.calculators.chamber_sections import BAFFLES, DIRECTIONS, INLETS, SECTION_USES
from weirbook.record import places
from weirbook.web.sections import BaffleSchema, SectionSchema

DOOR = "/v1/sumps/rack/answers/chamber-flow"
BED = "rack-planted-floating-1"
FLOW = 2000 / 3.6e6
"""m3/s"""


@pytest.fixture
def planted(furnished: Caller) -> Caller:
    """The furnished room, its pump measured at 2000 L/h, with a planted section before the return section."""
    told = {"measured_flow": "2000 L/h", "measured_on": "2026-11-01"}
    assert furnished.patch("/v1/pumps/rack-pump", told).status_code == 200
    assert furnished.patch("/v1/sections/rack-return-1", {"position": 5}).status_code == 200
    bed = {
        "sump": "rack",
        "position": 2,
        "use": "planted-floating",
        "direction": "along",
        "length": "50 cm",
        "running_depth": "20 cm",
        "inlet": {"kind": "spreader", "open_area": "60 cm2"},
        "baffle": {"passes": "under", "gap_height": "4 cm"},
        "limits": {"inlet_velocity": "6 cm/s"},
        "effective_at": "2026-03-01T00:00:00Z",
    }
    made = furnished.post("/v1/sections", bed)
    assert made.status_code == 201, made.get_data(as_text=True)
    return furnished


def rows(keeper: Caller, **query: str) -> dict[str, Any]:
    answered = keeper.get(f"{DOOR}?{urlencode(query)}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    return {row["name"]: row for row in answered.get_json()["results"]["sections"]}


def what_if(keeper: Caller, body: dict[str, Any]) -> dict[str, Any]:
    answered = keeper.post(DOOR, body)
    assert answered.status_code == 200, answered.get_data(as_text=True)
    return dict(answered.get_json())


def text(keeper: Caller, **query: str) -> str:
    answered = keeper.get(f"{DOOR}?{urlencode({'format': 'text', **query})}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    return str(answered.get_data(as_text=True)).removesuffix("\n")


def test_the_words_of_the_record_are_those_of_the_calculator() -> None:
    assert SECTION_USES == places.SECTION_USES
    assert DIRECTIONS == places.DIRECTIONS
    fields = SectionSchema().fields
    assert set(INLETS) == set(fields["inlet"].shapes)  # type: ignore[attr-defined]
    assert set(BAFFLES) == set(BaffleSchema().fields["passes"].choices)  # type: ignore[attr-defined]


@on_both_engines
def test_the_sections_of_a_sump_are_answered_in_flow_order(planted: Caller) -> None:
    answered = planted.get(DOOR).get_json()
    bed, back = answered["results"]["sections"]
    assert (bed["name"], back["name"]) == (BED, "rack-return-1")
    # The sump is 45 cm wide, and the sections take that over.
    assert bed["mean_velocity"]["value"] == pytest.approx(100 * FLOW / (0.45 * 0.20))
    assert bed["inlet_velocity"]["value"] == pytest.approx(100 * FLOW / 60e-4)
    assert bed["residence_time"]["value"] == pytest.approx(0.5 * 0.45 * 0.20 / FLOW / 60)
    assert bed["surface_loading"]["value"] == pytest.approx(1000 * FLOW / (0.5 * 0.45))
    assert back["inlet_velocity"]["value"] == pytest.approx(100 * FLOW / (0.45 * 0.04))
    assert (bed["verdict"], back["verdict"]) == ("over", "unknown")
    inputs = answered["inputs"]
    assert inputs["flow"]["note"] == "rack-pump: measured 2026-11-01"
    assert {inputs[name]["origin"] for name in ("flow", "sections", "sump_width", "sump_height")} == {
        "record"
    }
    assert "rack" in inputs["sections"]["note"]


def test_the_mend_it_names_brings_the_section_within_its_limit(planted: Caller) -> None:
    bed = rows(planted)[BED]
    assert bed["wanted_inlet_open_area"]["value"] == pytest.approx(FLOW / 0.06 * 1e4)
    for name in ("inlet_open_area", "flow_share"):
        answered = what_if(planted, {"sections": [{"name": BED, name: bed[f"wanted_{name}"]}]})
        assert answered["results"]["sections"][0]["verdict"] == "ok"
        assert f"{BED} ({name})" in answered["inputs"]["sections"]["note"]
        assert answered["results"]["sections"][1] == rows(planted)["rack-return-1"]


def test_a_what_if_on_the_flow_keeps_the_recorded_sections(planted: Caller) -> None:
    slower = rows(planted, flow="1000 L/h")
    assert slower.keys() == {BED, "rack-return-1"}
    assert slower[BED]["inlet_velocity"]["value"] == pytest.approx(100 * FLOW / 2 / 60e-4)
    assert slower[BED]["verdict"] == "ok"


def test_a_what_if_on_one_section_leaves_the_rest_and_the_record_as_they_are(planted: Caller) -> None:
    before = planted.get(f"/v1/sections/{BED}").get_json()
    row = {
        "name": BED,
        "inlet_kind": "slot",
        "inlet_open_area": None,
        "inlet_width": "40 cm",
        "inlet_height": "3 cm",
    }
    bed, back = what_if(planted, {"sections": [row]})["results"]["sections"]
    assert bed["inlet_velocity"]["value"] == pytest.approx(100 * FLOW / (0.4 * 0.03))
    assert back == rows(planted)["rack-return-1"]
    assert planted.get(f"/v1/sections/{BED}").get_json() == before


def test_null_takes_a_recorded_value_away(planted: Caller) -> None:
    [bed, _] = what_if(planted, {"sections": [{"name": BED, "limit_inlet_velocity": None}]})["results"][
        "sections"
    ]
    assert bed["verdict"] == "unknown"
    assert "no limit of the jet at its inlet is recorded" in bed["why"]


def test_one_cell_gets_a_verdict_a_name_a_count_or_a_speed(planted: Caller) -> None:
    assert text(planted, result="worst_verdict") == "over"
    assert text(planted, result="worst_section") == BED
    assert text(planted, result="sections_over") == "1"
    assert text(planted, result="rooted_verdict") == ""
    assert float(text(planted, result="fastest_inlet_velocity", unit="m/s")) == pytest.approx(FLOW / 60e-4)
    assert text(planted, result="sections_over", flow="1000 L/h") == "0"
    refused = planted.get(f"{DOOR}?format=text&result=sections")
    assert (refused.status_code, refused.get_json()["errors"][0]["pointer"]) == (422, "/result")


def test_the_past_is_answered_with_the_uses_and_sections_of_that_time(planted: Caller) -> None:
    planted.patch(f"/v1/sections/{BED}", {"use": "planted-rooted", "effective_at": "2026-08-01T00:00:00Z"})
    assert rows(planted)[BED]["use"] == "planted-rooted"
    assert rows(planted, at="2026-07-01T00:00:00Z")[BED]["use"] == "planted-floating"
    assert rows(planted, at="2026-01-01T00:00:00Z").keys() == {"rack-return-1"}


def test_a_retired_section_is_left_out_from_then_on(planted: Caller) -> None:
    assert planted.patch(f"/v1/sections/{BED}", {"retired_at": "2026-06-01T00:00:00Z"}).status_code == 200
    assert rows(planted).keys() == {"rack-return-1"}
    assert rows(planted, at="2026-05-01T00:00:00Z").keys() == {BED, "rack-return-1"}


INLETS_RECORDED = [
    ({"kind": "slot", "width": "40 cm", "height": "3 cm"}, FLOW / (0.4 * 0.03)),
    ({"kind": "pipe", "diameter": "50 mm"}, FLOW / 0.0019634954),
    ({"kind": "spreader"}, None),
    ({"kind": "fall", "height": "10 cm", "width": "30 cm"}, (2 * 9.80665 * 0.1) ** 0.5),
    ({"kind": "baffle"}, None),
    (None, None),
]


@pytest.mark.parametrize(
    ("inlet", "speed"),
    INLETS_RECORDED,
    ids=lambda value: (value or {}).get("kind", "none") if not isinstance(value, float) else "",
)
def test_every_kind_of_inlet_that_can_be_recorded_is_taken(
    planted: Caller, inlet: dict[str, str] | None, speed: float | None
) -> None:
    planted.patch(f"/v1/sections/{BED}", {"inlet": inlet})
    bed = rows(planted)[BED]
    if speed is None:
        assert (bed["inlet_velocity"], bed["verdict"]) == (None, "unknown")
        assert "not recorded" in bed["why"]
    else:
        assert bed["inlet_velocity"]["value"] == pytest.approx(100 * speed)


def test_media_baffles_and_limits_of_the_record_count(planted: Caller) -> None:
    told = {
        "media": {"volume": "20 L", "porosity": "80 %"},
        "limits": {"mean_velocity": "5 mm/s", "shortest_residence": "2 min", "inlet_velocity": "20 cm/s"},
    }
    planted.patch(f"/v1/sections/{BED}", told)
    bed = rows(planted)[BED]
    water = 0.5 * 0.45 * 0.20 - 0.020 * 0.2
    assert bed["water_volume"]["value"] == pytest.approx(1000 * water)
    assert bed["mean_velocity"]["value"] == pytest.approx(100 * FLOW * 0.5 / water)
    assert [bed[f"{name}_verdict"] for name in ("mean", "inlet", "residence")] == ["over", "ok", "over"]
    shown = planted.get(f"/v1/sections/{BED}").get_json()["water_volume"]["value"]
    assert bed["water_volume"]["value"] == pytest.approx(shown)


LIMITS = {"mean_velocity": "1 cm/s", "inlet_velocity": "20 cm/s"}


def test_without_a_running_depth_the_level_is_worked_out_from_the_sections_after(planted: Caller) -> None:
    told = rows(planted)[BED]
    planted.patch(f"/v1/sections/{BED}", {"running_depth": None, "limits": LIMITS})
    bed, back = rows(planted)[BED], rows(planted)["rack-return-1"]
    assert (told["depth_origin"], bed["depth_origin"]) == ("told", "worked out")
    assert bed["depth"] == bed["worked_out_level"] == told["worked_out_level"]
    assert bed["depth"]["value"] > back["depth"]["value"]
    assert bed["mean_verdict"] == "ok"


def test_without_a_running_depth_or_a_baffle_a_section_is_unknown_not_refused(planted: Caller) -> None:
    planted.patch(f"/v1/sections/{BED}", {"running_depth": None, "baffle": None, "limits": LIMITS})
    bed = rows(planted)[BED]
    assert (bed["mean_velocity"], bed["residence_time"], bed["verdict"]) == (None, None, "unknown")
    assert "no running depth is recorded" in bed["why"]


@pytest.mark.parametrize(
    ("baffle", "place"),
    [
        ({"passes": "under", "gap_height": "4 cm", "crest_breadth": "1 cm"}, "crest_breadth"),
        ({"passes": "open", "gap_height": None, "width": "20 cm"}, "width"),
        ({"passes": "both", "crest_height": "4 cm", "gap_height": "5 cm"}, "gap_height"),
    ],
)
def test_no_baffle_is_recorded_that_no_calculator_would_take(
    planted: Caller, baffle: dict[str, str | None], place: str
) -> None:
    refused = planted.patch(f"/v1/sections/{BED}", {"baffle": baffle})
    assert refused.status_code == 422
    assert [one["pointer"] for one in refused.get_json()["errors"]] == [f"/baffle/{place}"]


def test_the_cover_of_plants_that_is_recorded_narrows_the_way_through(planted: Caller) -> None:
    covered = planted.patch(f"/v1/sections/{BED}", {"plant_coverage": "100 %"})
    assert covered.status_code == 200
    bed = rows(planted)[BED]
    assert bed["mean_velocity"]["value"] == pytest.approx(100 * FLOW / (0.45 * 0.20) / 0.7)


def test_what_the_record_lacks_is_said_with_the_way_to_say_it(furnished: Caller) -> None:
    furnished.patch("/v1/pumps/rack-pump", {"running": False})
    furnished.patch("/v1/sections/rack-return-1", {"retired_at": "2026-06-01T00:00:00Z"})
    refused = furnished.get(DOOR)
    assert refused.status_code == 422
    assert refused.get_json()["type"] == "urn:weirbook:problem:not-recorded"
    said = {error["pointer"]: error["message"] for error in refused.get_json()["errors"]}
    assert said.keys() == {"/flow", "/sections"}
    assert "flow=" in said["/flow"]
    assert "rack has no section" in said["/sections"] and "body" in said["/sections"]


def test_sections_can_be_sent_whole_where_none_is_recorded(furnished: Caller) -> None:
    furnished.patch("/v1/sections/rack-return-1", {"retired_at": "2026-06-01T00:00:00Z"})
    row = {"name": "plan", "use": "media", "direction": "up", "length": "20 cm"}
    found = what_if(furnished, {"sections": [row], "flow": "900 L/h"})
    [plan] = found["results"]["sections"]
    assert plan["mean_velocity"]["value"] == pytest.approx(100 * 900 / 3.6e6 / (0.2 * 0.45))
    assert found["inputs"]["sections"]["origin"] == "given"


@pytest.mark.parametrize(
    ("body", "pointer", "word"),
    [
        ({"sections": [{"name": "rack-media-7"}]}, "/sections/0/name", BED),
        ({"sections": [{"use": "media"}]}, "/sections/0/name", BED),
        ({"sections": [{"name": BED}, {"name": BED}]}, "/sections/1/name", "already"),
        ({"sections": ["x"]}, "/sections/0", "object"),
        ({"sections": {}}, "/sections", "list"),
        ({"sections": [{"name": BED}] * 101}, "/sections", "100"),
        (
            {"sections": [{"name": "rack-return-1"}, {"name": BED, "flow_share": "120 %"}]},
            "/sections/1/flow_share",
            "at most 1",
        ),
        ({"sections": [{"name": "rack-return-1", "width": "46 cm"}]}, "/sections/0/width", "wider"),
        ({"sections": [{"name": BED, "inlet_kind": "pipe"}]}, "/sections/0/inlet_open_area", "null"),
        ({"sections": [{"name": BED, "speed": "1 cm/s"}]}, "/sections/0/speed", "no input"),
        ({"sections": [{"name": BED, "length": "20"}]}, "/sections/0/length", "unit"),
        ({"sump_height": "22 cm"}, "/sections", "rack-return-1: The section is deeper"),
        ({"flow": "0 L/h"}, "/flow", "more than 0"),
    ],
)
def test_a_what_if_that_can_not_be_names_its_fault_where_it_was_sent(
    planted: Caller, body: dict[str, Any], pointer: str, word: str
) -> None:
    refused = planted.post(DOOR, body)
    assert refused.status_code == 422, refused.get_data(as_text=True)
    errors = refused.get_json()["errors"]
    assert [error["pointer"] for error in errors] == [pointer]
    assert word in errors[0]["message"]


def test_a_row_of_the_record_may_be_said_in_part_and_one_of_the_stateless_door_may_not(
    keeper: Caller,
) -> None:
    paths = keeper.get("/openapi.json").get_json()["paths"]

    def row(path: str) -> tuple[list[str], str]:
        post = paths[path]["post"]
        shape = post["requestBody"]["content"]["application/json"]["schema"]
        return shape["properties"]["sections"]["items"]["required"], post["description"]

    recorded, words = row("/v1/sumps/{handle}/answers/chamber-flow")
    assert recorded == ["name"]
    assert "found by its name" in words
    assert row("/v1/calculators/chamber-flow/answer")[0] == ["name", "use", "direction", "length"]
    part = {"sections": [{"name": "a"}], "flow": "1 L/h"}
    refused = keeper.post("/v1/calculators/chamber-flow/answer", part)
    assert "/sections/0/length" in [error["pointer"] for error in refused.get_json()["errors"]]


def test_a_longer_sump_costs_no_more_queries(app: Service, planted: Caller) -> None:
    def statements() -> int:
        assert planted.get("/v1/room").status_code == 200  # the key is looked up anew after a change
        seen: list[str] = []

        def note(_conn: Any, _cursor: Any, statement: str, *_: Any) -> None:
            seen.append(statement)

        sa.event.listen(app.database.engine, "before_cursor_execute", note)
        try:
            assert planted.get(DOOR).status_code == 200
        finally:
            sa.event.remove(app.database.engine, "before_cursor_execute", note)
        return len(seen)

    statements()
    before = statements()
    for position in (3, 4):
        body = {"sump": "rack", "position": position, "use": "media", "direction": "up", "length": "10 cm"}
        assert planted.post("/v1/sections", body).status_code == 201
    assert statements() == before


def test_saying_the_flow_of_a_system_still_leaves_out_the_shares_of_its_tanks(furnished: Caller) -> None:
    tank = {
        "name": "Annex",
        "system": "rill",
        "use": "holding",
        "footprint": {"shape": "rectangle", "length": "50 cm", "width": "40 cm"},
        "water_depth": "50 cm",
    }
    assert furnished.post("/v1/tanks", tank).status_code == 201
    pump = {"name": "Two", "from_section": "rack-return-1", "to_tank": "annex", "rated_flow": "700 L/h"}
    assert furnished.post("/v1/pumps", pump).status_code == 201
    path = "/v1/systems/rill/answers/turnover"
    assert len(furnished.get(path).get_json()["results"]["tanks"]) == 2
    for query in ({"flow": "900 L/h"}, {"volume": "700 L"}):
        assert furnished.get(f"{path}?{urlencode(query)}").get_json()["results"]["tanks"] == []
    kept = furnished.get(f"{path}?{urlencode({'removal_per_pass': '50 %'})}").get_json()
    assert len(kept["results"]["tanks"]) == 2
