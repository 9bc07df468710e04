"""Return lines, side loops and where water drains to: what is taken, what is refused and at which field."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, on_both_engines

PIECE = {"size": "1 in schedule 40", "length": "2 m", "elbows": 3}
BASE = {"name": "Riser", "from_section": "rack-return-1", "to_tank": "nursery", "rated_flow": "900 L/h"}


def fault(keeper: Caller, path: str, body: dict[str, Any]) -> dict[str, str]:
    """The first fault of a refusal."""
    refused = keeper.post(path, body)
    assert refused.status_code == 422, refused.get_json()
    found: dict[str, str] = refused.get_json()["errors"][0]
    return found


@pytest.fixture
def sibling(furnished: Caller) -> Caller:
    """A second tank in the system."""
    tank = furnished.get("/v1/tanks/nursery").get_json()
    body = {name: tank[name] for name in ("system", "use", "footprint", "water_depth", "rim_height")}
    assert furnished.post("/v1/tanks", {**body, "name": "Sibling"}).status_code == 201
    return furnished


@on_both_engines
def test_a_line_is_kept_as_it_was_entered(furnished: Caller) -> None:
    line = {
        "pieces": [PIECE, {"diameter": "0.75 in", "k": 2.5}],
        "outlet_level": "-3 in",
        "air_hole_level": "-1 cm",
        "valve_opening": "60 %",
        "check_valve": True,
    }
    made = furnished.post("/v1/pumps", {**BASE, "line": line, "intake_height": "4 cm"}).get_json()
    kept = furnished.get(f"/v1/pumps/{made['handle']}").get_json()["line"]
    assert kept["pieces"][0] == {
        "size": "1 in schedule 40",
        "length": {"value": 2, "unit": "m"},
        "elbows": 3,
    }
    assert kept["pieces"][1] == {
        "diameter": {"value": 0.75, "unit": "in"},
        "k": {"value": 2.5, "unit": "1"},
    }
    assert kept["outlet_level"] == {"value": -3, "unit": "in"}
    assert kept["check_valve"] is True


@on_both_engines
def test_a_line_parts_to_several_tanks_of_the_system(sibling: Caller) -> None:
    line = {
        "pieces": [PIECE, {**PIECE, "branch": "left"}, {**PIECE, "branch": "right"}],
        "branches": [
            {"name": "left", "tank": "nursery", "outlet_level": "2 cm"},
            {"name": "right", "tank": "sibling", "valve_opening": "50 %"},
        ],
    }
    assert sibling.post("/v1/pumps", {**BASE, "line": line}).status_code == 201


@pytest.mark.parametrize(
    ("line", "pointer"),
    [
        ({"pieces": [{"length": "1 m"}]}, "/line/pieces/0/diameter"),
        ({"pieces": [{"size": "1 in schedule 40", "diameter": "1 in"}]}, "/line/pieces/0/diameter"),
        ({"pieces": [{"size": "a hose", "length": "1 m"}]}, "/line/pieces/0/size"),
        ({"pieces": [{**PIECE, "length": "0 m"}]}, "/line/pieces/0/length"),
        ({"pieces": [{**PIECE, "branch": "nowhere"}]}, "/line/pieces/0/branch"),
        ({"outlet_level": "-2 cm", "air_hole_level": "-5 cm"}, "/line/air_hole_level"),
        ({"branches": [{"name": "a", "tank": "nursery"}]}, "/line/branches/0"),
        (
            {"pieces": [{**PIECE, "branch": "a"}], "branches": [{"name": "a", "tank": "no-such-tank"}]},
            "/line/branches/0/tank",
        ),
        (
            {
                "pieces": [{**PIECE, "branch": "a"}],
                "branches": [{"name": "a", "tank": "nursery"}, {"name": "a", "tank": "nursery"}],
            },
            "/line/branches/1/name",
        ),
        (
            {
                "pieces": [{**PIECE, "branch": "a"}],
                "branches": [{"name": "a", "tank": "nursery"}],
                "outlet_level": "1 cm",
            },
            "/line/outlet_level",
        ),
        ({"pieces": [{**PIECE, "elbows": -1}]}, "/line/pieces/0/elbows"),
        ({"valve_opening": "130 %"}, "/line/valve_opening"),
    ],
)
def test_a_line_that_contradicts_itself_is_refused_at_its_field(
    furnished: Caller, line: dict[str, Any], pointer: str
) -> None:
    assert fault(furnished, "/v1/pumps", {**BASE, "line": line})["pointer"] == pointer


def test_a_branch_to_a_retired_tank_is_refused_by_name(sibling: Caller) -> None:
    sibling.patch("/v1/tanks/sibling", {"retired_at": "2026-11-20T10:00:00Z"})
    line = {"pieces": [{**PIECE, "branch": "a"}], "branches": [{"name": "a", "tank": "sibling"}]}
    told = fault(sibling, "/v1/pumps", {**BASE, "line": line})
    assert told["pointer"] == "/line/branches/0/tank" and "retired" in told["message"]


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"from_section": "rack-return-1"}, "/to_tank"),
        ({"from_section": "rack-return-1", "from_tank": "nursery", "to_tank": "nursery"}, "/from_tank"),
        ({"from_tank": "nursery", "to_tank": "nursery"}, "/from_tank"),
        ({"from_section": "rack-return-1", "to_sump": "rack"}, "/to_sump"),
        ({**BASE, "curve": [{"head": "2 m", "flow": "0 L/h"}]}, "/curve"),
        (
            {**BASE, "curve": [{"head": "2 m", "flow": "0 L/h"}, {"head": "2.5 m", "flow": "900 L/h"}]},
            "/curve/1",
        ),
    ],
)
def test_a_pump_says_where_it_draws_and_where_it_delivers(
    furnished: Caller, body: dict[str, Any], pointer: str
) -> None:
    assert fault(furnished, "/v1/pumps", {"name": "Odd", **body})["pointer"] == pointer


@on_both_engines
def test_a_side_loop_leads_to_a_sump_that_drains_back(furnished: Caller) -> None:
    box = {"name": "Settling box", "system": "rill", "length": "40 cm", "width": "30 cm", "height": "30 cm"}
    made = furnished.post("/v1/sumps", {**box, "drains_to": "sections/rack-return-1", "closed": True})
    assert made.status_code == 201 and made.get_json()["drains_to"] == "sections/rack-return-1"
    loop = {
        "name": "Loop",
        "from_section": "rack-return-1",
        "to_sump": "settling-box",
        "rated_flow": "300 L/h",
    }
    assert furnished.post("/v1/pumps", loop).status_code == 201
    listed = furnished.get("/v1/pumps?system=rill").get_json()["items"]
    assert "loop" in [one["handle"] for one in listed]
    hanging = furnished.delete("/v1/sections/rack-return-1")
    assert hanging.status_code == 409 and "sump" in hanging.get_json()["detail"]


@pytest.mark.parametrize("end", ["systems/rill", "sumps/rack", "room", "tanks/nursery"])
def test_a_tank_drains_to_a_section_or_another_tank(furnished: Caller, end: str) -> None:
    refused = furnished.patch("/v1/tanks/nursery", {"drains_to": end})
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/drains_to"


@on_both_engines
def test_a_tank_that_another_drains_to_is_not_deleted(sibling: Caller) -> None:
    assert sibling.patch("/v1/tanks/nursery", {"drains_to": "tanks/sibling"}).status_code == 200
    assert sibling.get("/v1/tanks/nursery").get_json()["drains_to"] == "tanks/sibling"
    refused = sibling.delete("/v1/tanks/sibling")
    assert refused.status_code == 409 and "1 tank" in refused.get_json()["detail"]


def test_plants_cover_planted_sections_alone(furnished: Caller) -> None:
    refused = furnished.patch("/v1/sections/rack-return-1", {"plant_coverage": "40 %"})
    assert refused.get_json()["errors"][0]["pointer"] == "/plant_coverage"
