"""A system's flow against sums on paper, and the careful side where a fact lacks. Figures are worked by hand."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller

SIPHON = {"kind": "siphon", "diameter": "40 mm", "length": "1.1 m", "drop": "70 cm"}
STANDBY = {"kind": "standby", "diameter": "50 mm", "length": "1.1 m", "drop": "70 cm", "lip_depth": "2 cm"}


@pytest.fixture
def laid(furnished: Caller) -> Caller:
    """A tank of 0.6 m2 over a sump of one section of 0.135 m2, 1000 L/h measured."""
    edit(furnished, "tanks/nursery", {"base_height": "110 cm", "overflow": {"edge_length": "30 cm"}})
    pump = {
        "measured_flow": "1000 L/h",
        "measured_on": "2026-11-20",
        "intake_height": "8 cm",
        "line": {"pieces": [{"diameter": "20 mm", "length": "2 m"}], "outlet_level": "1 cm"},
    }
    edit(furnished, "pumps/rack-pump", pump)
    return furnished


def edit(keeper: Caller, path: str, body: dict[str, Any]) -> None:
    answered = keeper.patch(f"/v1/{path}", body)
    assert answered.status_code == 200, answered.get_json()


def answer(keeper: Caller, path: str, query: str = "") -> dict[str, Any]:
    answered = keeper.get(f"/v1/{path}{query}")
    assert answered.status_code == 200, answered.get_json()
    shown: dict[str, Any] = answered.get_json()
    return shown


def values(keeper: Caller, place: str, calculator: str) -> dict[str, Any]:
    shown: dict[str, Any] = answer(keeper, f"{place}/answers/{calculator}")["results"]
    return shown


def test_an_edge_of_untold_height_has_still_water_before_it(laid: Caller) -> None:
    """Kindsvater and Carter without h/P: Q = 0.602 x (2/3) sqrt(2 g) x (0.3 - 0.001) x (h + 0.001)^1.5.
    An edge at the floor itself would pass a quarter more, and its head would be said too low."""
    plain = 2 / 3 * (2 * 9.80665) ** 0.5
    head = (1 / 3600 / (0.602 * plain * 0.299)) ** (2 / 3) * 100 - 0.1
    shown = answer(laid, "systems/rill/flow")["tanks"][0]["head"]
    assert shown["unit"] == "cm" and shown["value"] == pytest.approx(head, rel=1e-4)


def test_a_box_sinks_to_its_floor_where_a_mouth_is_not_told(laid: Caller) -> None:
    """20 x 15 x 40 cm is 12 L; the mouth that is told lies 2 cm down, but the siphon's may lie at the floor."""
    box = {"box_length": "20 cm", "box_width": "15 cm", "box_depth": "40 cm"}
    edge = {"edge_length": "30 cm", "crest_height": "49 cm", **box}
    for drains, litres in (([SIPHON, STANDBY], 12), ([STANDBY], 0.6)):
        edit(laid, "tanks/nursery", {"overflow": {**edge, "drains": drains}})
        tank = values(laid, "sumps/rack", "stop-flow")["tanks"][0]
        assert tank["from_box"]["value"] == pytest.approx(litres)


def test_the_lowest_intake_of_those_that_feed_a_tank_decides_what_can_be_lifted(laid: Caller) -> None:
    """Of 25 cm in 0.135 m2 down to 3 cm 29.7 L are lifted, down to 8 cm only 22.95 L."""
    edge = {"edge_length": "30 cm", "crest_height": "49 cm"}
    edit(laid, "tanks/nursery", {"overflow": edge})
    assert values(laid, "tanks/nursery", "overflow-blocked")["lifted"]["value"] == pytest.approx(22.95)
    second = {
        "name": "Low pump",
        "from_section": "rack-return-1",
        "to_tank": "nursery",
        "rated_flow": "200 L/h",
    }
    assert laid.post("/v1/pumps", {**second, "intake_height": "3 cm"}).status_code == 201
    assert values(laid, "tanks/nursery", "overflow-blocked")["lifted"]["value"] == pytest.approx(29.7)
    edit(laid, "pumps/low-pump", {"intake_height": None})
    untold = values(laid, "tanks/nursery", "overflow-blocked")
    assert untold["lifted"] is None and untold["most_lifted"]["value"] == pytest.approx(33.75)


def with_a_side_loop(keeper: Caller, **line: Any) -> None:
    """A box of 0.2 m2 fed from the return section: it runs over at 30 cm, and is recorded with 31 cm of water."""
    edge = {"edge_length": "30 cm", "crest_height": "49 cm"}
    edit(keeper, "tanks/nursery", {"overflow": edge})
    box = {"name": "Box", "system": "rill", "length": "50 cm", "width": "40 cm", "height": "40 cm"}
    part = {"sump": "box", "position": 1, "use": "settling", "direction": "along", "length": "50 cm"}
    over = {"passes": "over", "crest_height": "30 cm"}
    pump = {"name": "Loop", "from_section": "rack-return-1", "to_sump": "box", "line": line}
    for path, body in (
        ("sumps", {**box, "base_height": "60 cm", "drains_to": "sections/rack-return-1"}),
        ("sections", {**part, "running_depth": "31 cm", "baffle": over}),
        ("pumps", {**pump, "measured_flow": "600 L/h", "measured_on": "2026-11-20"}),
    ):
        made = keeper.post(f"/v1/{path}", body)
        assert made.status_code == 201, made.get_json()


def test_a_side_loop_that_siphons_back_comes_down_with_the_rest(laid: Caller) -> None:
    """Its end lies 25 cm under the recorded 31 cm: from the crest 24 cm of 0.2 m2 run back, 48 L; and 600 L/h stand
    2.81 mm over a crest of 40 cm (Kindsvater and Carter, h/P 0.0094), 0.56 L."""
    with_a_side_loop(laid, outlet_level="-25 cm")
    rows = {row["name"]: row for row in values(laid, "sumps/rack", "stop-flow")["tanks"]}
    assert rows["sumps/box"]["from_siphon"]["value"] == pytest.approx(48)
    assert rows["sumps/box"]["from_head"]["value"] == pytest.approx(0.56, abs=0.005)


def test_a_side_loop_that_does_not_say_where_it_ends_leaves_a_stop_unknown(laid: Caller) -> None:
    with_a_side_loop(laid)
    shown = values(laid, "sumps/rack", "stop-flow")
    assert shown["verdict"] == "unknown"
    assert any("sumps/box" in row["what"] for row in shown["lacking"])


def test_a_stop_at_another_flow_drops_the_head_of_that_flow(laid: Caller) -> None:
    """At 4000 L/h for 1000 more stands over the edge; 0.6 m2 give it back."""
    edit(laid, "tanks/nursery", {"overflow": {"edge_length": "30 cm", "crest_height": "49 cm"}})
    falls = []
    for query in ("?flow=1000+L/h", "?flow=4000+L/h"):
        stands = answer(laid, "systems/rill/flow", query)["tanks"][0]["head_high"]["value"]
        case = answer(laid, "systems/rill/flow", f"{query}&pump=off")["stopped"][0]["cases"][0]
        falls.append((stands, case["falls"]["value"]))
    (low, least), (high, most) = falls
    assert high - low > 0.5 and most - least == pytest.approx((high - low) * 6, rel=1e-6)


def test_a_stop_that_holds_by_millimetres_is_to_be_watched(laid: Caller) -> None:
    """0.135 m2 hold 27 L between 25 and 45 cm. Down come 3.05 mm of head (Cd 0.62), 1.8 L, and 39 mm by siphon, 23.4 L:
    13 mm are left."""
    edge = {"edge_length": "90 cm", "crest_height": "49 cm"}
    edit(laid, "tanks/nursery", {"overflow": edge})

    def spill(depth: str) -> dict[str, Any]:
        line = {"pieces": [{"diameter": "20 mm", "length": "10 cm"}], "outlet_level": depth}
        edit(laid, "pumps/rack-pump", {"line": line})
        (row,) = answer(laid, "systems/rill/findings", "?about=spill")["items"]
        return row

    assert [spill(depth)["verdict"] for depth in ("1 cm", "-4.9 cm")] == ["ok", "watch"]
