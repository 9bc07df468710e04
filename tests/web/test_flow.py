"""A system's water solved as one, with what-ifs and sweeps, over HTTP."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from typing import Any

import pytest
from harness import Caller, on_both_engines

CURVE = [
    {"head": "2.6 m", "flow": "0 L/h"},
    {"head": "2.1 m", "flow": "800 L/h"},
    {"head": "1.3 m", "flow": "1500 L/h"},
    {"head": "0 m", "flow": "1900 L/h"},
]
LINE = {
    "pieces": [{"size": "3/4 in schedule 40", "length": "1.9 m", "elbows": 3}],
    "outlet_level": "-5 cm",
    "air_hole_level": "-1 cm",
}
DRAINS = [
    {"kind": "siphon", "diameter": "26 mm", "length": "1.1 m", "drop": "70 cm", "lip_depth": "14 cm"},
    {"kind": "standby", "diameter": "41 mm", "length": "1.1 m", "drop": "70 cm", "lip_depth": "4 cm"},
]


@pytest.fixture
def laid(furnished: Caller) -> Caller:
    """The furnished system with heights, an overflow with drains, and a line; its label's flow taken away."""
    for path, body in (
        (
            "tanks/nursery",
            {
                "base_height": "110 cm",
                "overflow": {"edge_length": "30 cm", "crest_height": "49 cm", "drains": DRAINS},
            },
        ),
        ("sumps/rack", {"base_height": "20 cm", "height": "80 cm"}),
        ("pumps/rack-pump", {"curve": CURVE, "line": LINE, "rated_flow": None, "intake_height": "5 cm"}),
    ):
        answered = furnished.patch(f"/v1/{path}", body)
        assert answered.status_code == 200, answered.get_json()
    return furnished


def flow(keeper: Caller, query: str = "") -> dict[str, Any]:
    answered = keeper.get(f"/v1/systems/rill/flow{query}")
    assert answered.status_code == 200, answered.get_json()
    shown: dict[str, Any] = answered.get_json()
    return shown


def refused(keeper: Caller, query: str) -> dict[str, Any]:
    answered = keeper.get(f"/v1/systems/rill/flow{query}")
    assert answered.status_code == 422, answered.get_json()
    shown: dict[str, Any] = answered.get_json()["errors"][0]
    return shown


@on_both_engines
def test_the_parts_agree_with_each_other(laid: Caller) -> None:
    """What the pump sends comes in, passes the edge and arrives below; its duty lies on curve and line."""
    shown = flow(laid)
    pump, tank, sump = shown["pumps"][0], shown["tanks"][0], shown["sumps"][0]
    sent = pump["flow"]["value"]
    assert pump["basis"] == "worked out" and 800 < sent < 1900
    assert tank["inflow"]["value"] == pytest.approx(sent)
    assert tank["over_edge"]["value"] == pytest.approx(sent)
    assert sump["inflow"]["value"] == pytest.approx(sent)
    assert sump["surplus"]["value"] == pytest.approx(0, abs=1e-6)
    assert pump["head"]["value"] == pytest.approx(
        pump["static_head"]["value"] + pump["outlets"][0]["loss"]["value"], abs=1e-3
    )
    assert tank["water_depth"]["value"] == pytest.approx(49 + tank["head"]["value"])
    assert shown["missing"] == []


def test_every_named_answer_is_there(laid: Caller) -> None:
    shown = flow(laid)
    paths = [one["answer"] for one in shown["pumps"]]
    paths += [path for one in (*shown["tanks"], *shown["sumps"]) for path in one["answers"]]
    assert len(paths) == 6
    for path in paths:
        assert laid.get(path).status_code == 200, path


def test_a_measured_flow_stands_and_the_clean_one_is_shown_beside_it(laid: Caller) -> None:
    clean = flow(laid)["pumps"][0]["flow"]["value"]
    laid.patch("/v1/pumps/rack-pump", {"measured_flow": "700 L/h", "measured_on": "2026-11-20"})
    pump = flow(laid)["pumps"][0]
    assert (pump["flow"]["value"], pump["basis"]) == (pytest.approx(700), "measured")
    assert pump["clean_flow"]["value"] == pytest.approx(clean, rel=0.02)
    assert flow(laid, "?clean=true")["pumps"][0]["flow"]["value"] == pytest.approx(clean)


def test_turnover_reckons_with_the_same_flow(laid: Caller) -> None:
    sent = flow(laid)["pumps"][0]["flow"]["value"]
    asked = laid.get("/v1/systems/rill/answers/turnover").get_json()["inputs"]["flow"]
    assert asked["value"] == pytest.approx(sent) and "worked out" in asked["note"]


def test_what_lacks_is_said_by_name_and_stays_unknown(furnished: Caller) -> None:
    shown = flow(furnished)
    assert shown["pumps"][0]["clean_flow"] is None
    assert {one["of"] for one in shown["missing"]} >= {"pumps/rack-pump"}
    assert shown["tanks"][0]["head"] is None


@on_both_engines
def test_with_the_pumps_off_it_says_where_the_water_goes(laid: Caller) -> None:
    """120 x 50 cm fall by the head and from the crest (49 cm) to the air hole (50 - 1 cm): the same height."""
    shown = flow(laid, "?pump=off")
    assert shown["pumps"][0]["flow"]["value"] == 0
    stopped = shown["stopped"][0]
    cases = {one["case"]: one for one in stopped["cases"]}
    head = flow(laid)["tanks"][0]["head_high"]["value"]
    pipes = 1.9 * 0.344042 + 1.1 * 0.530929  # L/m of the line (ASTM D1785) and of the full 26 mm drain
    assert cases["as recorded"]["falls"]["value"] == pytest.approx(60 * head / 10 + pipes, abs=0.01)
    blocked = cases["air hole blocked"]["falls"]["value"]
    assert blocked - cases["as recorded"]["falls"]["value"] == pytest.approx(60 * 0.4 * 10 / 10, abs=0.01)
    assert stopped["levels"][0]["level"]["value"] > 25


def test_a_higher_running_level_leaves_less_margin(laid: Caller) -> None:
    margins = [
        flow(laid, f"?pump=off&level={depth}%20cm")["stopped"][0]["cases"][0]["margin"]["value"]
        for depth in (20, 25, 30)
    ]
    assert margins == sorted(margins, reverse=True) and margins[0] > margins[-1]


def test_a_blocked_drain_leaves_the_standby_to_carry(laid: Caller) -> None:
    drains = flow(laid, "?drain=1&blocked=true")["tanks"][0]["drains"]
    assert drains["blocked"] == 1
    assert drains["all_capacity"] == drains["standby_capacity"]
    assert flow(laid)["tanks"][0]["drains"]["all_capacity"]["value"] > drains["all_capacity"]["value"]


def test_with_too_little_left_it_says_how_far_the_tank_rises(laid: Caller) -> None:
    laid.patch(
        "/v1/tanks/nursery",
        {"overflow": {"edge_length": "30 cm", "crest_height": "49 cm", "drains": [DRAINS[0]]}},
    )
    drains = flow(laid, "?drain=1&blocked=true")["tanks"][0]["drains"]
    assert drains["all_capacity"]["value"] == 0
    assert drains["overflow"]["rise"]["value"] > 0


@pytest.mark.parametrize(
    ("query", "pointer"),
    [
        ("?pump=nobody", "/pump"),
        ("?drain=1", "/drain"),
        ("?drain=9&blocked=true", "/drain"),
        ("?drain=1&blocked=true&tank=no-such-tank", "/tank"),
        ("?level=20%20cm&section=nowhere", "/section"),
        ("?level=-2%20cm", "/level"),
        ("?level=20%20kg", "/level"),
        ("?flow=900%20gal/h&line=nobody", "/line"),
        ("?valve_opening=140%20%25", "/valve_opening"),
        ("?temperature=90%20degC", "/temperature"),
        ("?clean=yes", "/clean"),
        ("?unheard=of", "/unheard"),
    ],
)
def test_a_what_if_that_fits_nothing_is_refused_at_its_field(laid: Caller, query: str, pointer: str) -> None:
    assert refused(laid, query)["pointer"] == pointer


def test_a_throttled_valve_lets_less_through(laid: Caller) -> None:
    flows = [
        flow(laid, f"?valve_opening={share}%20%25")["pumps"][0]["flow"]["value"] for share in (20, 50, 100)
    ]
    assert flows == sorted(flows) and flows[0] < 0.9 * flows[-1]
    assert flow(laid, "?valve_opening=0%20%25")["pumps"][0]["flow"]["value"] == 0


@on_both_engines
def test_a_sweep_is_the_single_answers_in_a_row(laid: Caller) -> None:
    values = ["18 cm", "22 cm", "10 in"]
    swept = laid.post("/v1/systems/rill/flow/sweep", {"vary": "level", "values": values}).get_json()
    assert [one["value"] for one in swept["items"]] == values
    for value, one in zip(values, swept["items"], strict=True):
        assert one["flow"] == {**flow(laid, f"?level={value}"), "at": one["flow"]["at"]}


def test_a_sweep_says_which_value_can_not_be(laid: Caller) -> None:
    swept = laid.post(
        "/v1/systems/rill/flow/sweep", {"vary": "pump", "values": ["off", "rack-pump", "nobody"]}
    )
    items = swept.get_json()["items"]
    assert [one["refused"] is None for one in items] == [True, True, False]
    assert "nobody" in items[2]["refused"]


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"vary": "level", "values": []}, "/values"),
        ({"vary": "level", "values": ["20 cm"] * 101}, "/values"),
        ({"vary": "level", "values": ["20 cm", "20 kg"]}, "/values/1"),
        ({"vary": "mood", "values": ["good"]}, "/vary"),
        ({"vary": "level", "values": ["20 cm"], "level": "10 cm"}, "/level"),
        ({"vary": "level", "values": ["20 cm"], "unheard": 1}, "/unheard"),
    ],
)
def test_a_sweep_that_can_not_be_is_refused_at_its_field(
    laid: Caller, body: dict[str, Any], pointer: str
) -> None:
    answered = laid.post("/v1/systems/rill/flow/sweep", body)
    assert answered.status_code == 422, answered.get_json()
    assert answered.get_json()["errors"][0]["pointer"] == pointer


def test_the_drawing_is_an_svg_that_names_its_parts(laid: Caller) -> None:
    drawn = laid.get("/v1/systems/rill/flow.svg")
    assert drawn.status_code == 200 and drawn.mimetype == "image/svg+xml"
    root = ElementTree.fromstring(drawn.get_data(as_text=True))
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert "Nursery" in drawn.get_data(as_text=True)


def test_past_flow_is_asked_with_the_plumbing_of_its_time(laid: Caller) -> None:
    laid.patch("/v1/pumps/rack-pump", {"running": False})
    now, then = flow(laid), flow(laid, "?at=2026-11-20T10:00:00Z")
    assert now["pumps"][0]["basis"] == "off"
    assert then["pumps"][0]["basis"] == "worked out"


def test_a_branch_whose_tank_was_retired_is_a_finding_not_a_failure(laid: Caller) -> None:
    tank = laid.get("/v1/tanks/nursery").get_json()
    body = {name: tank[name] for name in ("system", "use", "footprint", "water_depth", "rim_height")}
    laid.post("/v1/tanks", {**body, "name": "Sibling", "base_height": "110 cm"})
    pieces = [{**LINE["pieces"][0], "branch": "a"}, {**LINE["pieces"][0], "branch": "b"}]  # type: ignore[index]
    branches = [{"name": "a", "tank": "nursery"}, {"name": "b", "tank": "sibling"}]
    laid.patch("/v1/pumps/rack-pump", {"line": None})
    made = laid.patch("/v1/pumps/rack-pump", {"line": {"pieces": pieces, "branches": branches}})
    assert made.status_code == 200, made.get_json()
    laid.patch("/v1/tanks/sibling", {"retired_at": "2026-11-20T10:00:00Z"})
    assert "tanks/sibling" in str(flow(laid)["missing"])
    told = [
        one
        for one in laid.get("/v1/systems/rill/findings").get_json()["items"]
        if "tanks/sibling" in one["reason"]
    ]
    assert told and told[0]["verdict"] == "unknown"


def test_what_rests_on_a_pump_of_unknown_flow_is_unknown_not_nothing(laid: Caller) -> None:
    laid.patch("/v1/pumps/rack-pump", {"curve": None})
    shown = flow(laid)
    tank, sump = shown["tanks"][0], shown["sumps"][0]
    assert shown["pumps"][0]["flow"] is None
    assert (tank["inflow"], tank["head"], tank["water_depth"]) == (None, None, None)
    assert (sump["inflow"], sump["surplus"], sump["sections"][0]["flow"]) == (None, None, None)
    told = laid.get("/v1/systems/rill/findings?about=level").get_json()["items"]
    assert [one["verdict"] for one in told] == ["unknown"]


def test_a_blocked_drain_is_judged_by_what_the_others_carry(laid: Caller) -> None:
    """With drain 1 blocked its standby carries all; with the standby blocked drain 1 does: neither is over."""
    for number in (1, 2):
        drains = flow(laid, f"?drain={number}&blocked=true")["tanks"][0]["drains"]
        assert drains["verdict"] == "ok", drains
        assert f"With drain {number} blocked the others carry" in drains["why"]


def test_the_highest_safe_depth_holds_in_every_case(laid: Caller) -> None:
    """A keeper who runs at it spills nothing, whatever part fails."""
    sump = flow(laid, "?pump=off")["stopped"][0]
    assert {case["case"] for case in sump["cases"]} >= {"as recorded", "air hole blocked"}
    depth = sump["highest_safe_depth"]
    safe = flow(laid, f"?pump=off&level={depth['value'] * 0.999:.4f}+{depth['unit']}")["stopped"][0]
    assert [case["spilled"]["value"] for case in safe["cases"]] == [0] * len(safe["cases"])
    full = flow(laid, f"?pump=off&level={depth['value'] * 1.01:.4f}+{depth['unit']}")["stopped"][0]
    assert full["verdict"] == "over"


def test_a_flow_that_was_said_is_named_so(laid: Caller) -> None:
    assert flow(laid, "?flow=900+L/h")["pumps"][0]["basis"] == "given"


def test_a_level_above_the_rim_is_refused(laid: Caller) -> None:
    assert "80 cm" in refused(laid, "?level=81+cm")["message"]


def test_without_a_curve_a_valve_is_refused_and_the_measured_flow_stands_as_clean(laid: Caller) -> None:
    laid.patch(
        "/v1/pumps/rack-pump", {"curve": None, "measured_flow": "700 L/h", "measured_on": "2026-11-20"}
    )
    assert refused(laid, "?valve_opening=50+%25")["pointer"] == "/valve_opening"
    assert flow(laid, "?clean=true")["pumps"][0]["basis"] == "measured"


def test_a_level_below_the_intake_is_cautioned(laid: Caller) -> None:
    assert "draws-air" not in [one["code"] for one in flow(laid)["cautions"]]
    assert "draws-air" in [one["code"] for one in flow(laid, "?level=4%20cm")["cautions"]]


def test_calculators_of_a_sump_with_a_side_loop_reckon_with_what_reaches_each_section(laid: Caller) -> None:
    """The loop draws from the second of three sections and gives to the first: these two see 300 L/h more."""
    for position, use in ((1, "settling"), (2, "media")):
        section = {"sump": "rack", "position": position, "use": use, "direction": "along", "length": "30 cm"}
        over = {"passes": "over", "crest_height": f"{40 - 5 * position} cm"}
        assert laid.post("/v1/sections", {**section, "baffle": over}).status_code == 201
    laid.patch("/v1/sections/rack-return-1", {"position": 3})
    box = {"name": "Box", "system": "rill", "length": "40 cm", "width": "30 cm", "height": "30 cm"}
    laid.post("/v1/sumps", {**box, "drains_to": "sections/rack-settling-1"})
    part = {"sump": "box", "position": 1, "use": "other", "direction": "along", "length": "40 cm"}
    laid.post("/v1/sections", {**part, "running_depth": "20 cm"})
    loop = {"name": "Loop", "from_section": "rack-media-1", "to_sump": "box", "rated_flow": "300 L/h"}
    assert laid.post("/v1/pumps", loop).status_code == 201
    shown = {one["sump"]: one for one in flow(laid)["sumps"]}["sumps/rack"]
    arrives = [one["arrives"]["value"] for one in shown["sections"]]
    assert arrives[0] == pytest.approx(arrives[2] + 300) and arrives[1] == pytest.approx(arrives[0])
    rows = laid.get("/v1/sumps/rack/answers/chamber-flow").get_json()["results"]["sections"]
    assert [one["flow"]["value"] for one in rows] == pytest.approx(arrives)
    levels = laid.get("/v1/sumps/rack/answers/baffle-levels").get_json()["results"]["sections"]
    assert [one["level"]["value"] for one in levels] == pytest.approx(
        [one["depth"]["value"] for one in shown["sections"]], abs=1e-3
    )


def test_where_levels_can_not_last_it_is_cautioned(laid: Caller) -> None:
    def codes(query: str) -> set[str]:
        return {one["code"] for one in flow(laid, query)["cautions"]}

    late = {"drains-carry-less", "over-the-rim"}
    assert not late & codes("")
    carried = flow(laid)["tanks"][0]["drains"]["all_capacity"]
    assert carried["unit"] == "L/h"
    assert "drains-carry-less" not in codes(f"?flow={carried['value'] * 0.99} L/h")
    assert "drains-carry-less" in codes(f"?flow={carried['value'] * 1.01} L/h")
    assert late <= codes("?flow=1e6 L/h")


def test_a_blocked_drain_where_none_is_recorded_is_refused(furnished: Caller) -> None:
    fault = refused(furnished, "?drain=1&blocked=true")
    assert fault["pointer"] == "/drain" and "No tank of rill has drains" in fault["message"]
