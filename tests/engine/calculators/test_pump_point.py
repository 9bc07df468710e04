import csv
import json
import math
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.pump_point import PUMP_POINT
from weirbook.engine.relations.pipes import SIZES
from weirbook.engine.shape import Answer, answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def rows_of(name: str, **wanted: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open() as file:
        return [row for row in csv.DictReader(file) if wanted.items() <= row.items()]


def straight(points: list[tuple[float, float]]) -> list[dict[str, str]]:
    """Many points on the straight lines that EPANET draws, so that our curve can't leave them."""
    dense = [
        (flow + (next_flow - flow) * i / 14, head + (next_head - head) * i / 14)
        for (flow, head), (next_flow, next_head) in pairwise(points)
        for i in range(14)
    ]
    return [{"flow": f"{flow} m3/s", "head": f"{head} m"} for flow, head in [*dense, points[-1]]]


def power_law(points: list[tuple[float, float]]) -> list[dict[str, str]]:
    """EPANET's h = A - B q^C through three points, as many points."""
    (_, top), (flow, head), (last_flow, last_head) = points
    power = math.log((top - last_head) / (top - head)) / math.log(last_flow / flow)
    factor = (top - head) / flow**power
    free = (top / factor) ** (1 / power)
    dense = [(free * i / 80, top - factor * (free * i / 80) ** power) for i in range(81)]
    return [{"flow": f"{flow} m3/s", "head": f"{max(head, 0)} m"} for flow, head in dense]


def told(case: str) -> dict[str, Any]:
    """A published network as a keeper would tell it: levels, pieces, branches."""
    links = rows_of("epanet_links.csv", case_id=case)
    heads = {n["node_id"]: n["elevation_or_fixed_head_m"] for n in rows_of("epanet_nodes.csv", case_id=case)}
    ends = [name for name in heads if name in ("TANK", "BOG")]
    pumps = [link for link in links if link["type"] == "pump"]
    pipes = [link for link in links if link["type"] != "pump"]
    curve = rows_of("epanet_pump_curves.csv", curve_id=pumps[0]["pump_curve"])
    points = [(float(row["flow_m3_per_s"]), float(row["head_m"])) for row in curve]
    shared, parting = [], "J1"
    while (
        len(onward := [p for p in pipes if p["from_node"] == parting]) == 1
        and onward[0]["to_node"] not in ends
    ):
        shared.append(piece_of(onward[0]))
        parting = onward[0]["to_node"]
    pieces, branches = shared, []
    for first in onward:
        path = [first]
        while path[-1]["to_node"] not in ends:
            path += [p for p in pipes if p["from_node"] == path[-1]["to_node"]]
        name = first["link_id"]
        branches.append({"name": name, "outlet_height": f"{heads[path[-1]['to_node']]} m"})
        pieces += [{**piece_of(pipe), "branch": name} for pipe in path]
    return {
        "pump_curve": (power_law if curve[0]["interpolation"] == "power3" else straight)(points),
        "source_level": f"{heads['SUMP']} m",
        "pipe_pieces": pieces,
        "line_branches": branches,
        # The exit is inside K of the published pipes.
        "outlet_k": "0 1",
        "pumps": len(pumps),
        "speed_ratio": f"{pumps[0]['pump_speed_ratio']} 1",
    }


def piece_of(link: dict[str, str]) -> dict[str, str]:
    length = {"length": f"{link['length_m']} m"} if link["length_m"] else {}
    return {**length, "diameter": f"{link['inside_diameter_m']} m", "k": f"{link['minor_loss_k']} 1"}


# S02 is EPANET's Hazen-Williams; Darcy-Weisbach, which we use throughout, agrees with it within the same bounds.
@pytest.mark.parametrize("case", [row["case_id"] for row in rows_of("epanet_cases.csv")])
def test_the_published_networks_give_the_flows_and_losses_that_epanet_found(
    case: str, assert_followed
) -> None:
    given = answer(PUMP_POINT, told(case))
    links = rows_of("epanet_links.csv", case_id=case)
    pumps = [link for link in links if link["type"] == "pump"]
    flow = sum(float(pump["solved_flow_m3_per_s"]) for pump in pumps)
    assert given.values["flow"] == pytest.approx(flow, rel=0.005)
    assert given.values["head"] == pytest.approx(-float(pumps[0]["head_from_minus_to_m"]), rel=0.01)
    solved = {link["link_id"]: link for link in links}
    for row in given.values["branches"]:
        assert row["flow"] == pytest.approx(float(solved[row["name"]]["solved_flow_m3_per_s"]), rel=0.005)
    pieces = [row for row in given.values["pieces"] if row["name"].startswith("piece")]
    lost = sorted(row["friction_loss"] + row["fitting_loss"] for row in pieces)
    published = sorted(float(link["head_from_minus_to_m"]) for link in links if link["type"] != "pump")
    assert lost == pytest.approx(published, rel=0.01)
    for step in given.steps:
        assert_followed(step)


# Worked examples: sources' file, example 2 (case S05), by hand.
def test_the_worked_example_of_two_unequal_returns_follows_by_hand() -> None:
    given = answer(PUMP_POINT, told("S05"))
    assert given.values["static_head"] == pytest.approx(1.10)
    left, right = given.values["branches"]
    assert left["loss"] == right["loss"] == pytest.approx(0.4362, rel=0.01)
    assert given.values["head"] == pytest.approx(1.7052, rel=0.01)


CURVE = [
    {"head": "3 m", "flow": "0 L/h"},
    {"head": "2.5 m", "flow": "1500 L/h"},
    {"head": "0.5 m", "flow": "3000 L/h"},
]
PIPE = {"size": "3/4 in schedule 40", "length": "2 m", "elbows": 2}


def simple(**other: Any) -> Answer:
    return answer(PUMP_POINT, {"pump_curve": CURVE, "static_head": "1 m", "pipe_pieces": [PIPE], **other})


def test_a_simple_line_needs_a_curve_a_lift_and_its_pieces() -> None:
    given = simple()
    assert [row["name"] for row in given.values["branches"]] == ["outlet"]
    assert given.values["branches"][0]["flow"] == given.values["flow"] > 0
    parts = ("static_head", "friction_loss", "fitting_loss")
    assert given.values["head"] == pytest.approx(sum(given.values[part] for part in parts), abs=1e-9)


def test_levels_of_one_end_say_the_same_as_the_lift() -> None:
    levels = {
        "static_head": None,
        "source_level": "30 cm",
        "line_branches": [{"name": "tank", "outlet_height": "50 cm", "water_height": "130 cm"}],
    }
    assert simple(**levels).values["flow"] == pytest.approx(simple().values["flow"], rel=1e-9)


def test_without_any_pipe_the_pump_gives_what_its_curve_has_at_the_lift() -> None:
    given = simple(pipe_pieces=[], static_head="2.5 m")
    assert given.quantity("flow", "L/h").value == pytest.approx(1500)
    assert given.values["fastest"] is None


def test_a_sum_of_fittings_is_their_k_of_the_published_table() -> None:
    table = {row["fitting"]: float(row["k"]) for row in rows_of("minor_loss_k_epanet_table.csv")}
    k = 2 * table["elbow_short_radius"] + table["swing_check_valve_open"] + table["tee_branch"]
    counted = {**PIPE, "check_valves": 1, "tees_branch": 1}
    summed = {**PIPE, "elbows": 0, "k": f"{k} 1"}
    flows = [simple(pipe_pieces=[piece]).values["flow"] for piece in (counted, summed)]
    assert flows[0] == pytest.approx(flows[1], rel=1e-12)


def test_efficiency_is_hydraulic_power_over_what_all_pumps_draw() -> None:
    given = simple(power="40 W", pumps=2)
    # rho g Q h of water at 25 degC, 997.05 kg/m3 (IAPWS).
    expected = 997.05 * 9.80665 * given.values["flow"] * given.values["head"]
    assert given.values["hydraulic_power"] == pytest.approx(expected, rel=1e-4)
    assert given.values["wire_to_water"] == pytest.approx(expected / 80, rel=1e-4)
    assert simple().values["wire_to_water"] is None


def codes(given: Answer) -> set[str]:
    return {caution.code for caution in given.cautions}


@pytest.mark.parametrize(
    ("other", "code"),
    [
        ({"static_head": "3.2 m"}, "no-flow"),
        ({"valve_opening": "0 %"}, "no-flow"),
        ({"static_head": "2.97 m"}, "near-shut-off"),
        ({"static_head": "0 m", "pipe_pieces": [{"diameter": "60 mm", "length": "1 m"}]}, "beyond-the-curve"),
        ({"pump_curve": CURVE[1:]}, "shut-off-guessed"),
        ({"pumps": 2}, "side-by-side"),
        ({"speed_ratio": "0.5 1", "static_head": "20 cm"}, "far-from-its-speed"),
        ({"valve_opening": "60 %"}, "throttled"),
        ({"pipe_pieces": [{**PIPE, "size": "1/2 in schedule 40"}]}, "fast-water"),
        (
            {"pipe_pieces": [{**PIPE, "size": "3 in schedule 40", "k": "40000 1"}]},
            "between-calm-and-turbulent",
        ),
    ],
)
def test_a_point_that_asks_for_care_is_answered_with_its_caution(other: dict[str, Any], code: str) -> None:
    given = simple(**other)
    assert code in codes(given)
    assert code not in codes(simple(pipe_pieces=[{**PIPE, "size": "1 in schedule 40"}]))
    assert {"clean-line", "mains-and-water"} <= codes(given)


def test_a_pump_that_does_not_reach_says_by_how_much() -> None:
    given = simple(static_head="3.2 m")
    assert given.values["flow"] == given.values["flow_low"] == given.values["flow_high"] == 0
    assert any("lacks" in step.words and step.value == pytest.approx(0.2) for step in given.steps)


def manifold(**high: Any) -> Answer:
    branches = [
        {"name": "low", "tank": "nursery", "outlet_height": "40 cm"},
        {"name": "high", "outlet_height": "250 cm", "water_height": "280 cm", **high},
    ]
    pieces = [PIPE, {**PIPE, "branch": "low"}, {**PIPE, "branch": "high"}]
    told = {"static_head": None, "source_level": "0 m", "line_branches": branches, "pipe_pieces": pieces}
    return simple(**told)


def test_a_tank_under_whose_water_the_outlet_lies_runs_back_unless_something_stops_it() -> None:
    flows = {row["name"]: row["flow"] for row in manifold().values["branches"]}
    assert flows["high"] < 0 < flows["low"]
    assert codes(manifold()) >= {"runs-back", "siphons-back"}
    aired = manifold(air_hole_height="285 cm")
    assert {row["name"]: row["flow"] for row in aired.values["branches"]}["high"] == 0
    assert "branch-gets-nothing" in codes(aired) and "siphons-back" not in codes(aired)
    assert aired.values["branches"][0]["tank"] == "nursery"


def test_a_throttled_branch_leaves_more_to_the_other() -> None:
    open_, throttled = (
        {
            row["name"]: row["flow"]
            for row in manifold(outlet_height="60 cm", water_height=None, **valve).values["branches"]
        }
        for valve in ({"valve_opening": "100 %"}, {"valve_opening": "40 %"})
    )
    assert throttled["high"] < open_["high"] and throttled["low"] > open_["low"]


def test_the_spread_holds_the_flow_and_widens_with_a_throttled_valve() -> None:
    plain, throttled = simple(), simple(valve_opening="50 %")
    for one in (plain, throttled):
        assert one.values["flow_low"] <= one.values["flow"] <= one.values["flow_high"]

    def width(given: Answer) -> float:
        return (given.values["flow_high"] - given.values["flow_low"]) / given.values["flow"]

    assert width(throttled) > 3 * width(plain) > 0


@pytest.mark.parametrize(
    ("other", "pointer"),
    [
        ({"pump_curve": [CURVE[0], CURVE[2], CURVE[1]]}, "/pump_curve/2"),
        ({"pump_curve": [CURVE[0], {"head": "3 m", "flow": "900 L/h"}]}, "/pump_curve/1"),
        ({"pump_curve": [CURVE[0], {"head": "2 m", "flow": "0 L/h"}]}, "/pump_curve/1"),
        ({"pump_curve": CURVE[:1]}, "/pump_curve"),
        ({"static_head": None}, "/static_head"),
        ({"line_branches": [{"name": "a"}, {"name": "b"}]}, "/static_head"),
        ({"line_branches": [{"name": "a"}, {"name": "a"}]}, "/line_branches/1/name"),
        ({"static_head": None, "line_branches": [{"name": "a", "outlet_height": "1 m"}]}, "/source_level"),
        (
            {"static_head": None, "source_level": "0 m", "line_branches": [{"name": "a"}]},
            "/line_branches/0/outlet_height",
        ),
        ({"pipe_pieces": [{"length": "1 m"}]}, "/pipe_pieces/0/diameter"),
        ({"pipe_pieces": [PIPE, {**PIPE, "diameter": "20 mm"}]}, "/pipe_pieces/1/diameter"),
        ({"pipe_pieces": [{**PIPE, "size": "1 inch"}]}, "/pipe_pieces/0/size"),
        ({"pipe_pieces": [{**PIPE, "branch": "nowhere"}]}, "/pipe_pieces/0/branch"),
        ({"pipe_pieces": [{"diameter": "20 mm"}]}, "/pipe_pieces/0/length"),
        ({"pipe_pieces": [{**PIPE, "roughness": "5 mm"}]}, "/pipe_pieces/0/roughness"),
        ({"pipe_pieces": [{**PIPE, "elbows": -1}]}, "/pipe_pieces/0/elbows"),
        (
            {"static_head": None, "source_level": "0 m", "pipe_pieces": [{**PIPE, "branch": "a"}]}
            | {"line_branches": [{"name": n, "outlet_height": "1 m"} for n in "ab"]},
            "/line_branches/1",
        ),
        ({"speed_ratio": "0 1"}, "/speed_ratio"),
        ({"pumps": 0}, "/pumps"),
    ],
)
def test_what_contradicts_itself_is_refused_at_its_place(other: dict[str, Any], pointer: str) -> None:
    with pytest.raises(Invalid) as refused:
        simple(**other)
    assert [fault.pointer for fault in refused.value.faults] == [pointer]


LENGTHS = st.floats(0.001, 500).map("{} cm".format)
LINES = st.fixed_dictionaries(
    {"size": st.sampled_from(sorted(SIZES)), "length": LENGTHS},
    optional={
        "elbows": st.integers(0, 5),
        "check_valves": st.integers(0, 2),
        "k": st.floats(0, 1e4).map("{} 1".format),
        "roughness": st.floats(0, 0.6).map("{} mm".format),
    },
)
ENDS = st.fixed_dictionaries(
    {"outlet_height": st.floats(-300, 400).map("{} cm".format)},
    optional={
        "water_height": st.floats(-300, 400).map("{} cm".format),
        "valve_opening": st.floats(0, 1).map("{} 1".format),
        "valve_kind": st.sampled_from(["ball", "gate"]),
    },
)
ASKED = st.fixed_dictionaries(
    {
        "pump_curve": st.sampled_from([CURVE, CURVE[1:], CURVE[:2]]),
        "source_level": st.floats(-100, 100).map("{} cm".format),
        "pipe_pieces": st.tuples(LINES, LINES, st.lists(LINES, max_size=2)).map(
            lambda lines: [{**lines[0], "branch": "a"}, {**lines[1], "branch": "b"}, *lines[2]]
        ),
        "line_branches": st.tuples(ENDS, ENDS).map(
            lambda ends: [{"name": n, **e} for n, e in zip("ab", ends, strict=True)]
        ),
    },
    optional={
        "pumps": st.integers(1, 3),
        "speed_ratio": st.floats(0.3, 1.5).map("{} 1".format),
        "temperature": st.floats(1, 40).map("{} degC".format),
        "power": st.just("30 W"),
        "valve_opening": st.floats(0, 1).map("{} 1".format),
    },
)


@settings(max_examples=60)
@given(ASKED)
def test_every_line_is_answered_in_finite_numbers_whose_steps_follow_and_whose_heads_balance(
    assert_followed, asked
) -> None:
    given = answer(PUMP_POINT, asked)
    json.dumps(as_json(given), allow_nan=False)
    for step in given.steps:
        assert_followed(step)
    values = given.values
    assert sum(row["flow"] for row in values["branches"]) == pytest.approx(values["flow"], abs=1e-12)
    if values["flow"]:
        lost = values["static_head"] + values["friction_loss"] + values["fitting_loss"]
        assert lost == pytest.approx(values["head"], abs=1e-9)
    assert values["flow_low"] <= values["flow"] * (1 + 1e-9) and values["flow"] <= values["flow_high"] * (
        1 + 1e-9
    )


@given(st.floats(0, 350), st.floats(0, 100), st.integers(0, 4))
def test_more_lift_or_one_more_elbow_never_gives_more_flow(lift, more, elbows) -> None:
    def flow(lift: float, elbows: int) -> float:
        return simple(static_head=f"{lift} cm", pipe_pieces=[{**PIPE, "elbows": elbows}]).values["flow"]

    assert flow(lift + more, elbows) <= flow(lift, elbows) * (1 + 1e-9)
    assert flow(lift, elbows + 1) <= flow(lift, elbows)


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
SIZED = st.builds("{} {}".format, st.floats(-1e15, 1e15), st.sampled_from(["m", "mm", "L/h", "1", "m3/s"]))
BODIES = ANYTHING | st.fixed_dictionaries(
    {
        "pump_curve": st.lists(
            st.fixed_dictionaries({"head": SIZED | ANYTHING, "flow": SIZED | ANYTHING}), max_size=3
        )
        | st.just(CURVE),
        "static_head": SIZED | ANYTHING,
        "pipe_pieces": st.lists(
            st.fixed_dictionaries(
                {"diameter": SIZED | st.just("2 cm")},
                optional={"length": SIZED, "k": SIZED | ANYTHING, "elbows": ANYTHING},
            ),
            max_size=2,
        ),
    },
    optional={"speed_ratio": SIZED, "pumps": ANYTHING, "temperature": ANYTHING, "outlet_k": SIZED},
)


@given(BODIES)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body) -> None:
    try:
        given = answer(PUMP_POINT, body)
    except Invalid as refused:
        assert refused.message
    else:
        json.dumps(as_json(given), allow_nan=False)


def test_an_outlet_below_the_water_drawn_from_is_cautioned() -> None:
    assert "runs-by-itself" in codes(simple(static_head="-4 ft"))
    assert "runs-by-itself" not in codes(simple(static_head="1 ft"))
