import csv
import itertools
import math
from collections import defaultdict
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.relations.pipes import PLASTIC_ROUGHNESS, Piece, loss
from weirbook.engine.relations.pump_curves import PumpCurve
from weirbook.engine.relations.pump_lines import Branch, Duty, duty_of, share_among

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
Points = list[tuple[float, float]]


def rows_by(name: str, key: str) -> dict[str, list[dict[str, str]]]:
    found = defaultdict(list)
    with (PUBLISHED / name).open() as file:
        for row in csv.DictReader(file):
            found[row[key]].append(row)
    return found


CASES = {case: rows[0] for case, rows in rows_by("epanet_cases.csv", "case_id").items()}
NODES = rows_by("epanet_nodes.csv", "case_id")
LINKS = rows_by("epanet_links.csv", "case_id")
CURVES = rows_by("epanet_pump_curves.csv", "curve_id")
SMOOTH, WATER = PLASTIC_ROUGHNESS, 8.927e-7


def straight(points: Points) -> Points:
    """EPANET draws straight lines between points: many points on them bind our curve to them."""
    dense = [
        (flow + (next_flow - flow) * i / 12, head + (next_head - head) * i / 12)
        for (flow, head), (next_flow, next_head) in itertools.pairwise(points)
        for i in range(12)
    ]
    return [*dense, points[-1]]


def power_law(points: Points) -> Points:
    """The h = A - B q^C that EPANET lays through three points, as many points."""
    (_, top), (flow, head), (last_flow, last_head) = points
    power = math.log((top - last_head) / (top - head)) / math.log(last_flow / flow)
    factor = (top - head) / flow**power
    free = (top / factor) ** (1 / power)
    return [(free * i / 90, top - factor * (free * i / 90) ** power) for i in range(91)]


def curve_of(pumps: list[dict[str, str]]) -> PumpCurve:
    told = CURVES[pumps[0]["pump_curve"]]
    points = [(float(row["flow_m3_per_s"]), float(row["head_m"])) for row in told]
    dense = power_law(points) if told[0]["interpolation"] == "power3" else straight(points)
    return PumpCurve(tuple(dense)).at_speed(float(pumps[0]["pump_speed_ratio"])).in_parallel(len(pumps))


def piece_of(link: dict[str, str]) -> Piece:
    length = float(link["length_m"] or 0)
    return Piece(float(link["inside_diameter_m"]), length, SMOOTH, float(link["minor_loss_k"]))


def solved(case: str) -> tuple[Duty, list[dict[str, str]], dict[str, dict[str, str]]]:
    """Our duty of a published network, its pumps, and the first link of each branch by the branch's name."""
    links = [link for link in LINKS[case] if link["type"] != "pump"]
    pumps = [link for link in LINKS[case] if link["type"] == "pump"]
    heads = {node["node_id"]: float(node["solved_head_m"]) for node in NODES[case]}
    outlets = {node["node_id"] for node in NODES[case] if node["type"] == "reservoir"}
    trunk, at = [], "J1"
    while len(onward := [link for link in links if link["from_node"] == at]) == 1:
        if onward[0]["to_node"] in outlets:
            break
        trunk.append(piece_of(onward[0]))
        at = onward[0]["to_node"]
    branches = []
    for first in onward:
        path = [first]
        while path[-1]["to_node"] not in outlets:
            path += [link for link in links if link["from_node"] == path[-1]["to_node"]]
        pieces = tuple(piece_of(link) for link in path)
        branches.append(Branch(first["link_id"], pieces, heads[path[-1]["to_node"]], False))
    viscosity = float(CASES[case]["kinematic_viscosity_m2_per_s"])
    duty = duty_of(curve_of(pumps), heads["SUMP"], tuple(trunk), tuple(branches), viscosity)
    return duty, pumps, {first["link_id"]: first for first in onward}


# S02 was solved with Hazen-Williams, C 150. We know Darcy-Weisbach alone, and stay within the same 0.5 % of it.
@pytest.mark.parametrize("case", CASES)
def test_flows_and_heads_are_those_of_the_networks_solved_by_epanet(case: str) -> None:
    duty, pumps, firsts = solved(case)
    assert duty.flow == pytest.approx(sum(float(p["solved_flow_m3_per_s"]) for p in pumps), rel=0.005)
    assert duty.head == pytest.approx(-float(pumps[0]["head_from_minus_to_m"]), rel=0.01)
    for name, link in firsts.items():
        assert duty.branch_flows[name] == pytest.approx(float(link["solved_flow_m3_per_s"]), rel=0.005)
    if len(firsts) > 1:
        nodes = {node["node_id"]: float(node["solved_head_m"]) for node in NODES[case]}
        start = next(iter(firsts.values()))["from_node"]
        assert duty.node_head == pytest.approx(nodes[start], rel=0.01)


@pytest.mark.parametrize("case", ["S05", "S07"])
def test_a_measured_flow_is_shared_as_epanet_shares_it(case: str) -> None:
    _, _, firsts = solved(case)
    told = {name: float(link["solved_flow_m3_per_s"]) for name, link in firsts.items()}
    heads = {node["node_id"]: float(node["solved_head_m"]) for node in NODES[case]}
    branches = []
    for name in told:
        path = [firsts[name]]
        while nxt := [link for link in LINKS[case] if link["from_node"] == path[-1]["to_node"]]:
            path += nxt
        branches.append(Branch(name, tuple(map(piece_of, path)), heads[path[-1]["to_node"]], False))
    shared = share_among(sum(told.values()), branches, WATER)
    assert shared == {name: pytest.approx(flow, rel=0.005) for name, flow in told.items()}


SIZES = st.sampled_from([0.0158, 0.0209, 0.0266, 0.0351, 0.0525])
PIECES = st.lists(
    st.builds(Piece, SIZES, st.just(0.0) | st.floats(0.01, 20), st.just(SMOOTH), st.floats(0.1, 60)),
    min_size=1,
    max_size=3,
).map(tuple)
PUMPS = st.tuples(st.floats(0.5, 8), st.floats(2e-4, 4e-3)).map(
    lambda size: PumpCurve(tuple((size[1] * x, size[0] * (1 - x**2)) for x in (0, 0.25, 0.5, 0.75, 1)))
)
LEVELS = st.floats(-1.5, 3)


@st.composite
def branches_of(draw, least: int = 1, most: int = 4) -> tuple[Branch, ...]:
    count = draw(st.integers(least, most))
    return tuple(Branch(f"b{i}", draw(PIECES), draw(LEVELS), draw(st.booleans())) for i in range(count))


TRUNKS = st.just(()) | PIECES


@given(PUMPS, TRUNKS, branches_of())
def test_energy_balances_and_branches_add_up_to_what_the_pump_gives(curve, trunk, branches) -> None:
    duty = duty_of(curve, 0.0, trunk, branches, WATER)
    assert math.fsum(duty.branch_flows.values()) == pytest.approx(duty.flow, abs=1e-12)
    assert duty.head == pytest.approx(duty.node_head + duty.trunk_loss, abs=1e-9)
    if duty.flow > 0:
        assert duty.head == pytest.approx(curve.head(duty.flow), abs=1e-9)
        assert duty.trunk_loss == pytest.approx(loss(duty.flow, trunk, WATER), abs=1e-9)
        weighted = sum(duty.branch_flows[b.name] / duty.flow * duty.branch_losses[b.name] for b in branches)
        assert duty.head == pytest.approx(duty.static_head + duty.trunk_loss + weighted, abs=1e-9)
    for branch in branches:
        flow = duty.branch_flows[branch.name]
        assert loss(flow, branch.pieces, WATER) == pytest.approx(duty.branch_losses[branch.name], abs=1e-9)
        if flow:
            assert duty.branch_losses[branch.name] == pytest.approx(
                duty.node_head - branch.outlet_head, abs=1e-9
            )
        else:
            assert duty.node_head <= branch.outlet_head + 1e-9
        assert flow >= 0 or branch.runs_back


@given(PUMPS, TRUNKS, branches_of(), st.floats(0.001, 2))
def test_more_lift_never_gives_more_flow(curve, trunk, branches, more) -> None:
    def flow(source: float) -> float:
        return duty_of(curve, source, trunk, branches, WATER).flow

    assert flow(-more) <= flow(0.0) * (1 + 1e-9) + 1e-15


@given(PUMPS, TRUNKS, branches_of(), st.floats(0.1, 50), st.booleans())
def test_one_more_fitting_never_raises_the_flow(curve, trunk, branches, k, in_trunk) -> None:
    fitting = Piece(0.0266, 0.0, SMOOTH, k)
    before = duty_of(curve, 0.0, trunk, branches, WATER).flow
    if in_trunk:
        after = duty_of(curve, 0.0, (*trunk, fitting), branches, WATER).flow
    else:
        first = Branch(branches[0].name, (*branches[0].pieces, fitting), branches[0].outlet_head, False)
        plain = Branch(branches[0].name, branches[0].pieces, branches[0].outlet_head, False)
        before = duty_of(curve, 0.0, trunk, (plain, *branches[1:]), WATER).flow
        after = duty_of(curve, 0.0, trunk, (first, *branches[1:]), WATER).flow
    assert after <= before * (1 + 1e-9) + 1e-15


@given(PUMPS, TRUNKS, PIECES, LEVELS, st.integers(2, 4))
def test_parting_a_flow_into_equal_branches_is_one_branch_with_as_many_pumps_less(
    curve, trunk, pieces, level, count
) -> None:
    # n equal branches on one pump without a trunk carry what one of them carries on an nth of the pump.
    branches = tuple(Branch(f"b{i}", pieces, level, False) for i in range(count))
    share = PumpCurve(tuple((flow / count, head) for flow, head in curve.points))
    alone = duty_of(share, 0.0, (), branches[:1], WATER)
    together = duty_of(curve, 0.0, (), branches, WATER)
    assert together.flow == pytest.approx(count * alone.flow, rel=1e-9, abs=1e-15)
    assert together.head == pytest.approx(alone.head, abs=1e-9)
    for flow in together.branch_flows.values():
        assert flow == pytest.approx(alone.flow, rel=1e-9, abs=1e-15)
    # And a piece is the same in the trunk as in the only branch.
    joined = duty_of(curve, 0.0, (*trunk, *pieces), (Branch("b", (), level, False),), WATER)
    parted = duty_of(curve, 0.0, trunk, (Branch("b", pieces, level, False),), WATER)
    assert joined.flow == pytest.approx(parted.flow, rel=1e-9, abs=1e-15)


@given(PUMPS, branches_of(2, 4), st.floats(1e-6, 3e-3))
def test_sharing_what_the_pump_gives_is_what_the_pump_shares(curve, branches, flow) -> None:
    duty = duty_of(curve, 0.0, (), branches, WATER)
    shared = share_among(duty.flow or flow, branches, WATER)
    assert math.fsum(shared.values()) == pytest.approx(duty.flow or flow, rel=1e-9)
    if duty.flow > 1e-9:
        assert shared == {name: pytest.approx(one, abs=1e-9) for name, one in duty.branch_flows.items()}


CURVE = PumpCurve(((0.0, 3.0), (0.0005, 2.5), (0.001, 1.0)))
PIPE = (Piece(0.0209, 2.0, SMOOTH, 3.0),)


def test_a_pump_that_does_not_reach_stands_still_at_its_shut_off_head() -> None:
    for branches in (
        (Branch("a", PIPE, 3.5, False),),
        (Branch("a", PIPE, 3.5, False), Branch("b", PIPE, 4.0, False)),
    ):
        duty = duty_of(CURVE, 0.0, (), branches, WATER)
        assert (duty.flow, duty.head, duty.static_head) == (0, 3.0, 3.5)
        assert set(duty.branch_flows.values()) == {0}


def test_a_branch_too_high_gets_nothing_while_the_others_run() -> None:
    branches = (Branch("low", PIPE, 0.5, False), Branch("high", PIPE, 2.9, False))
    duty = duty_of(CURVE, 0.0, PIPE, branches, WATER)
    alone = duty_of(CURVE, 0.0, PIPE, branches[:1], WATER)
    assert duty.branch_flows["high"] == 0
    assert duty.flow == pytest.approx(alone.flow, rel=1e-9)


def test_a_branch_under_water_too_high_runs_back_into_the_others() -> None:
    branches = (Branch("low", PIPE, 0.5, False), Branch("high", PIPE, 2.9, True))
    duty = duty_of(CURVE, 0.0, PIPE, branches, WATER)
    assert duty.branch_flows["high"] < 0
    assert duty.branch_flows["low"] > duty.flow > 0


def test_with_the_pump_beaten_a_high_tank_still_runs_back_into_a_low_one() -> None:
    branches = (Branch("low", PIPE, 3.1, False), Branch("high", PIPE, 5.0, True))
    duty = duty_of(CURVE, 0.0, PIPE, branches, WATER)
    assert duty.flow == 0
    assert duty.branch_flows["low"] == pytest.approx(-duty.branch_flows["high"])
    assert duty.branch_flows["low"] > 0


def test_the_only_branch_never_runs_back_through_the_pump() -> None:
    duty = duty_of(CURVE, 0.0, PIPE, (Branch("high", PIPE, 5.0, True),), WATER)
    assert (duty.flow, duty.branch_flows["high"]) == (0, 0)
    assert duty.node_head == pytest.approx(5.0)


@pytest.mark.parametrize("runs_back", [False, True])
def test_a_shut_valve_stops_its_branch_and_one_in_the_trunk_the_pump(runs_back: bool) -> None:
    shut = (Piece(0.0209, 0.0, SMOOTH, math.inf),)
    branches = (Branch("a", PIPE, 1.0, runs_back), Branch("b", (*PIPE, *shut), 1.0, runs_back))
    alone = duty_of(CURVE, 0.0, (), branches[:1], WATER)
    one_shut = duty_of(CURVE, 0.0, (), branches, WATER)
    assert one_shut.branch_flows == {"a": pytest.approx(alone.flow), "b": 0}
    for lines in (branches, branches[:1]):
        assert duty_of(CURVE, 0.0, shut, lines, WATER).flow == 0
    assert duty_of(CURVE, 0.0, (), (branches[1],), WATER).flow == 0
    with pytest.raises(ValueError, match="shut"):
        share_among(1e-4, (branches[1],), WATER)


def test_a_branch_without_any_pipe_takes_what_the_pump_gives_at_its_height() -> None:
    duty = duty_of(CURVE, 0.0, (), (Branch("open", (), 1.5, False), Branch("pipe", PIPE, 1.4, False)), WATER)
    assert duty.flow == pytest.approx(CURVE.flow(1.5), rel=1e-4)
    assert duty_of(CURVE, 0.0, (), (Branch("open", (), 1.5, False),), WATER).flow == pytest.approx(
        CURVE.flow(1.5)
    )


def test_branches_without_names_of_their_own_are_refused() -> None:
    with pytest.raises(ValueError, match="name"):
        duty_of(CURVE, 0.0, (), (), WATER)
    with pytest.raises(ValueError, match="name"):
        duty_of(CURVE, 0.0, (), (Branch("a", PIPE, 1.0, False), Branch("a", PIPE, 1.0, False)), WATER)
