"""A whole system solved as one: against EPANET where there is one line, by balance and order where there are many."""

from __future__ import annotations

import csv
import dataclasses
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.relations.levels import Cell, Gate
from weirbook.engine.relations.pipes import Piece
from weirbook.engine.relations.plumbing import (
    Compartment,
    Filled,
    Lift,
    Outlet,
    Plumbing,
    Pool,
    Solved,
    Trough,
)
from weirbook.engine.relations.pump_curves import PumpCurve
from weirbook.engine.relations.steady_flow import heights_of, solve
from weirbook.engine.relations.weirs import Edge

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
PLASTIC = 1.5e-6
WARM = 298.15
CURVE = PumpCurve(((0.0, 3.0), (0.0006, 2.4), (0.0012, 1.2), (0.0015, 0.0)))


def rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(newline="") as file:
        return list(csv.DictReader(file))


def densely(curve: str) -> PumpCurve:
    """EPANET runs straight between the points of these curves."""
    told = [
        (float(one["flow_m3_per_s"]), float(one["head_m"]))
        for one in rows("epanet_pump_curves.csv")
        if one["curve_id"] == curve
    ]
    points = [
        (q1 + (q2 - q1) * i / 20, h1 + (h2 - h1) * i / 20)
        for (q1, h1), (q2, h2) in pairwise(told)
        for i in range(20)
    ]
    return PumpCurve((*points, told[-1]))


def pool(name: str = "tanks/upper", **said: object) -> Pool:
    edge = Edge(0.4, 0.45, None, None, 1.0)
    return dataclasses.replace(Pool(name, 1.0, 0.46, 0.55, 0.45, edge, "sections/first"), **said)


def section(
    name: str, flow_share: float = 1.0, gate: Gate | None = None, depth: float | None = None
) -> Compartment:
    return Compartment(
        Cell(f"sections/{name}", "along", 0.4, 0.45, 0.0, 0.4, None, gate, 0.0), flow_share, depth
    )


OVER = Gate("over", 0.45, 0.30)


def sump(*compartments: Compartment, last: float | None = 0.22, **said: object) -> Trough:
    return dataclasses.replace(Trough("sumps/low", 0.1, 0.45, compartments, last, False, None), **said)


def lift(name: str = "main", drawn: str = "sections/last", to: str = "tanks/upper", **said: object) -> Lift:
    pipe = (Piece(0.0266, 2.0, PLASTIC, 4.0),)
    made = Lift(name, drawn, CURVE, (), (Outlet("end", to, pipe, -0.02),), True, False, None, None)
    return dataclasses.replace(made, **said)


THREE = (
    section("first", gate=OVER),
    section("middle", gate=Gate("under", 0.45, None, 0.04)),
    section("last", depth=0.22),
)


def system(**said: object) -> Plumbing:
    return dataclasses.replace(Plumbing((pool(),), (sump(*THREE),), (lift(),), WARM), **said)


def filled(solved: Solved) -> Filled:
    return solved.filled[0]


def test_one_line_gives_what_epanet_gives() -> None:
    """S01 of epanet_links.csv: 0.000697066 m3/s within 0.5 %; levels 0.25 and 1.35 m, all losses in one pipe."""
    case = next(
        one for one in rows("epanet_links.csv") if one["case_id"] == "S01" and one["link_id"] == "RET"
    )
    pipe = Piece(
        float(case["inside_diameter_m"]), float(case["length_m"]), PLASTIC, float(case["minor_loss_k"])
    )
    solved = solve(
        Plumbing(
            (pool(base=0.9, depth=0.45, crest=None, edge=None),),
            (sump(section("last", depth=0.15), last=0.15),),
            (lift(curve=densely("PA"), outlets=(Outlet("end", "tanks/upper", (pipe,), -0.1),)),),
            WARM,
        )
    )
    assert solved.lifted[0].flow == pytest.approx(float(case["solved_flow_m3_per_s"]), rel=0.005)
    assert solved.lifted[0].basis == "worked out"


def test_a_measured_flow_stands_and_the_clean_one_beside_it() -> None:
    clean = solve(system()).lifted[0]
    faded = solve(system(lifts=(lift(measured=0.0002),))).lifted[0]
    assert (faded.flow, faded.basis) == (0.0002, "measured")
    assert faded.duty is not None and clean.duty is not None
    assert faded.duty.flow == pytest.approx(
        clean.duty.flow, rel=0.02
    )  # a little less head stands over the edge


def test_without_pipes_the_label_serves_and_why_is_said() -> None:
    one = solve(system(lifts=(lift(piped=False, rated=0.0005),))).lifted[0]
    assert (one.flow, one.basis, one.duty) == (0.0005, "rated", None)
    assert one.why == "no pipes of main are recorded"


def test_a_height_that_is_not_recorded_is_named() -> None:
    one = solve(system(pools=(pool(base=None),))).lifted[0]
    assert (one.flow, one.basis) == (None, None)
    assert one.why == "the height of the water in tanks/upper is not recorded"


def test_a_pump_that_is_off_sends_nothing_and_levels_fall_to_the_crest() -> None:
    solved = solve(system(lifts=(lift(off=True),)))
    assert solved.lifted[0].flow == 0.0
    assert solved.brimmed[0].depth == pytest.approx(0.45)
    assert [one.depth for one in filled(solved).sections] == pytest.approx([0.30, 0.22, 0.22])


def test_more_water_below_lifts_more() -> None:
    """A fuller return section leaves less to lift."""
    flows = [
        solve(system(troughs=(sump(*THREE[:2], section("last", depth=depth), last=depth),))).lifted[0].flow
        for depth in (0.1, 0.2, 0.28)
    ]
    assert flows == sorted(flows) and flows[0] < flows[-1]


def test_water_goes_down_from_tank_to_tank() -> None:
    lower = pool("tanks/lower", base=0.5)
    solved = solve(system(pools=(lower, pool(drains_to="tanks/lower"))))
    low, high = solved.brimmed
    assert high.over_edge == pytest.approx(solved.lifted[0].flow)
    assert low.inflow == pytest.approx(high.over_edge)
    assert filled(solved).inflow == pytest.approx(low.over_edge)


def test_tanks_that_drain_in_a_circle_end_the_round() -> None:
    one, other = pool("tanks/upper", drains_to="tanks/other"), pool("tanks/other", drains_to="tanks/upper")
    assert len(solve(system(pools=(one, other))).brimmed) == 2


def test_a_side_loop_adds_to_the_flow_between_where_it_ends_and_where_it_draws() -> None:
    """The box takes from the last section and gives to the first: all three see both flows."""
    box = Trough(
        "sumps/box",
        0.6,
        0.3,
        (section("box", gate=Gate("over", 0.3, 0.2), depth=0.2),),
        0.2,
        False,
        "sections/first",
    )
    loop = lift(
        "loop",
        to="sumps/box",
        outlets=(Outlet("end", "sumps/box", (), 0.05),),
        curve=None,
        piped=False,
        measured=0.0001,
    )
    solved = solve(system(troughs=(sump(*THREE), box), lifts=(lift(measured=0.0003), loop)))
    low, beside = solved.filled
    assert [one.arrives for one in low.sections] == pytest.approx([0.0004] * 3)
    assert low.left == pytest.approx(0.0, abs=1e-12)
    assert beside.inflow == pytest.approx(0.0001)
    assert (
        beside.sections[0].depth is not None and beside.sections[0].depth > 0.2
    )  # a head stands over its last crest


def test_a_tank_may_drain_over_a_box_that_stands_before_the_sump() -> None:
    """Tank, box, tank, sump: each sees all that the pump sends, whatever order they are listed in."""
    box = Trough("sumps/box", 0.6, 0.3, (section("box", depth=0.2),), 0.2, False, "tanks/lower")
    upper, lower = pool(drains_to="sections/box"), pool("tanks/lower", base=0.4)
    for pools in ((upper, lower), (lower, upper)):
        solved = solve(system(pools=pools, troughs=(box, sump(*THREE)), lifts=(lift(measured=0.0003),)))
        assert [one.inflow for one in (*solved.brimmed, *solved.filled)] == pytest.approx([0.0003] * 4)


def test_a_loop_from_a_tank_and_back_passes_no_edge() -> None:
    box = Trough("sumps/box", 1.6, 0.3, (section("box", depth=0.2),), 0.2, False, "tanks/upper")
    loop = lift("loop", drawn="tanks/upper", measured=0.0002, outlets=(Outlet("end", "sumps/box", (), 0.0),))
    solved = solve(system(pools=(pool(drains_to=None),), troughs=(box,), lifts=(loop,)))
    assert (solved.brimmed[0].inflow, solved.brimmed[0].over_edge) == (0.0002, 0.0)


def test_what_a_pump_draws_beyond_what_comes_is_told() -> None:
    """The upper tank drains elsewhere: the sump is pumped out at the pump's flow."""
    solved = solve(system(pools=(pool(drains_to=None),), lifts=(lift(measured=0.0003),)))
    assert filled(solved).left == pytest.approx(-0.0003)


def test_a_closed_unit_has_no_levels_of_its_own() -> None:
    solved = solve(system(troughs=(sump(*THREE, closed=True),)))
    assert filled(solved).why == "it is closed and stands full"
    assert filled(solved).sections[0].stand is None


depths = st.floats(0.05, 0.29)
flows = st.floats(0.0, 0.001)


@settings(max_examples=60, deadline=None)
@given(first=flows, second=flows, loop=flows, share=st.floats(0.0, 1.0), depth=depths)
def test_water_is_neither_made_nor_lost(
    first: float, second: float, loop: float, share: float, depth: float
) -> None:
    """Two pumps, a side loop, a section that takes a share: what comes down is what is drawn."""
    box = Trough("sumps/box", 0.6, 0.3, (section("box", depth=0.2),), 0.2, False, "sections/middle")
    parts = (
        section("first", gate=OVER),
        section("middle", share, Gate("over", 0.45, 0.28)),
        section("last", depth=depth),
    )
    solved = solve(
        Plumbing(
            (pool(), pool("tanks/second", edge=None, crest=None)),
            (sump(*parts, last=depth), box),
            (
                lift(measured=first),
                lift(
                    "two",
                    to="tanks/second",
                    measured=second,
                    outlets=(Outlet("end", "tanks/second", (), 0.0),),
                ),
                lift("loop", measured=loop, outlets=(Outlet("end", "sumps/box", (), 0.0),)),
            ),
            WARM,
        )
    )
    low = filled(solved)
    assert solved.settled
    assert low.left == pytest.approx(0.0, abs=1e-12)
    assert low.sections[-1].arrives == pytest.approx(first + second + loop)
    levels = [one.depth for one in low.sections]
    assert all(one is not None for one in levels)
    assert all(before >= after - 1e-9 for before, after in pairwise(levels))


@settings(max_examples=40, deadline=None)
@given(depth=depths, lift_m=st.floats(0.3, 2.6))
def test_the_solved_point_lies_on_curve_and_line(depth: float, lift_m: float) -> None:
    """Head of the pump at its flow = the lift between the solved levels + what the line loses."""
    plumbing = system(
        pools=(pool(base=lift_m),), troughs=(sump(*THREE[:2], section("last", depth=depth), last=depth),)
    )
    solved = solve(plumbing)
    one, heights = solved.lifted[0], heights_of(plumbing, solved)
    assert one.duty is not None and solved.settled
    lost = one.duty.branch_losses["end"] + one.duty.trunk_loss
    if one.duty.flow > 0:
        assert CURVE.head(one.duty.flow) == pytest.approx(
            heights["tanks/upper"] - heights["sections/last"] + lost, abs=1e-5
        )


def test_a_box_that_stands_alone_rises_over_a_broad_crest_as_over_a_broad_one() -> None:
    """20 mm over a crest 50 mm broad, ratio 0.4: C = 2.68 ft^0.5/s (Brater and King, table 6-3 of Rossman 2017)."""
    passes = 2.68 * 0.552087 * 0.3 * 0.02**1.5
    crest = Gate("over", 0.3, 0.2, breadth=0.05)
    box = Trough("sumps/box", 0.6, 0.3, (section("box", gate=crest),), None, False, "sections/first")
    ends = (Outlet("end", "sumps/box", (), 0.05),)
    loop = lift("loop", to="sumps/box", outlets=ends, curve=None, piped=False, measured=passes)
    solved = solve(system(troughs=(sump(*THREE), box), lifts=(loop,)))
    assert solved.filled[1].sections[0].depth == pytest.approx(0.22, rel=1e-4)
