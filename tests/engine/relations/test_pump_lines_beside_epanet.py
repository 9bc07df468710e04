"""Random lines solved by EPANET 2.2 (through WNTR 1.5.0, the test extra) beside ours."""

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from wntr.epanet.toolkit import ENepanet
from wntr.epanet.util import EN

from weirbook.engine.relations.pipes import PLASTIC_ROUGHNESS, SIZES, Piece, valve_k
from weirbook.engine.relations.pump_curves import PumpCurve
from weirbook.engine.relations.pump_lines import Branch, Duty, duty_of

SMOOTH_MM = PLASTIC_ROUGHNESS * 1000
# EPANET counts viscosity in multiples of 1.1e-5 ft2/s.
EPANET_VISCOSITY = 1.1e-5 * 0.3048**2
FULLY_TURBULENT = 5000
"""Below it EPANET joins calm and turbulent flow its own way."""

Network = tuple[PumpCurve, float, tuple[Piece, ...], tuple[Branch, ...], float]


def inp_of(network: Network) -> str:
    """The network as EPANET's own input: the pump from SUMP to N0, the trunk, then each branch to its reservoir.

    Our curve is handed over as 100 points, between which EPANET draws straight lines. Pieces without length are
    throttle control valves with their K.
    """
    curve, source, trunk, branches, viscosity = network
    reservoirs, junctions, pipes, valves = [f"SUMP {source:.9g}"], ["N0 0 0"], [], []

    def run(pieces: tuple[Piece, ...], start: str, name: str, end: str | None) -> str:
        at = start
        for index, piece in enumerate(pieces):
            to = end if end and index == len(pieces) - 1 else f"{name}{index}"
            if to != end:
                junctions.append(f"{to} 0 0")
            bore, link = f"{piece.diameter * 1000:.9g}", f"{name}L{index}"
            if piece.length:
                pipes.append(f"{link} {at} {to} {piece.length:.9g} {bore} {SMOOTH_MM} {piece.k:.9g} OPEN")
            else:
                valves.append(f"{link} {at} {to} {bore} TCV {piece.k:.9g} 0")
            at = to
        return at

    node = run(trunk, "N0", "T", None)
    for index, branch in enumerate(branches):
        reservoirs.append(f"R{index} {branch.outlet_head:.9g}")
        run(branch.pieces, node, f"B{index}", f"R{index}")
    top = curve.free_flow
    points = [f"C {top * i / 99 * 1000:.9g} {max(curve.head(top * i / 99), 0):.9g}" for i in range(100)]
    sections = {
        "JUNCTIONS": junctions,
        "RESERVOIRS": reservoirs,
        "PIPES": pipes,
        "VALVES": valves,
        "PUMPS": ["PUMP SUMP N0 HEAD C"],
        "CURVES": points,
        "OPTIONS": [
            "UNITS LPS",
            "HEADLOSS D-W",
            f"VISCOSITY {viscosity / EPANET_VISCOSITY:.9g}",
            "ACCURACY 1e-7",
            "TRIALS 500",
        ],
        "TIMES": ["DURATION 0"],
        "END": [],
    }
    return "\n".join(line for name, lines in sections.items() for line in (f"[{name}]", *lines)) + "\n"


def flows_by_epanet(network: Network, folder: Path) -> list[float]:
    """Of the pump and of each branch's last link, m3/s."""
    told, report, out = (str(folder / f"net.{end}") for end in ("inp", "rpt", "bin"))
    Path(told).write_text(inp_of(network))
    solver = ENepanet(told, report, out)
    solver.ENopen()
    try:
        solver.ENopenH()
        solver.ENinitH(0)
        solver.ENrunH()
        links = ["PUMP", *(f"B{i}L{len(branch.pieces) - 1}" for i, branch in enumerate(network[3]))]
        return [solver.ENgetlinkvalue(solver.ENgetlinkindex(link), EN.FLOW) / 1000 for link in links]
    finally:
        solver.ENcloseH()
        solver.ENclose()


PIPES = st.builds(
    Piece,
    st.sampled_from(sorted(SIZES.values())),
    st.floats(0.2, 8),
    st.just(PLASTIC_ROUGHNESS),
    st.floats(0.1, 12),
)
VALVES = st.builds(
    lambda bore, opening: Piece(bore, 0.0, PLASTIC_ROUGHNESS, valve_k(opening)),
    st.sampled_from(sorted(SIZES.values())),
    st.floats(0.35, 1),
)
CURVES = st.builds(
    lambda top, free, bend: PumpCurve(tuple((free * x / 4, top * (1 - (x / 4) ** bend)) for x in range(5))),
    st.floats(2, 9),
    st.floats(6e-4, 6e-3),
    st.floats(1.2, 2.5),
)


@st.composite
def networks(draw: Callable) -> Network:
    """A pump, a trunk of none to two pieces and one to three branches of one or two, most with a throttled valve."""
    trunk = draw(st.lists(PIPES | VALVES, max_size=2))
    count = draw(st.integers(1, 3))
    branches = []
    for index in range(count):
        pieces = (*draw(st.lists(VALVES, max_size=1)), *draw(st.lists(PIPES, min_size=1, max_size=2)))
        branches.append(Branch(f"branch {index}", pieces, draw(st.floats(0.5, 1.6)), runs_back=False))
    return draw(CURVES), draw(st.floats(0, 0.4)), tuple(trunk), tuple(branches), draw(st.floats(7e-7, 1.3e-6))


def is_fully_turbulent(duty: Duty, network: Network) -> bool:
    _, _, trunk, branches, viscosity = network
    runs = [(duty.flow, trunk), *((duty.branch_flows[one.name], one.pieces) for one in branches)]
    pieces = [(flow, piece) for flow, run in runs for piece in run if piece.length]
    return all(piece.reynolds(flow, viscosity) > FULLY_TURBULENT for flow, piece in pieces)


def solved_alike(network: Network, folder: Path) -> None:
    duty = duty_of(*network)
    assume(is_fully_turbulent(duty, network) and duty.flow < network[0].free_flow)
    pump, *flows = flows_by_epanet(network, folder)
    assert duty.flow == pytest.approx(pump, rel=0.005)
    # EPANET's friction is Swamee and Jain's, up to 1 % off Colebrook's. That moves the head where the line parts, and an
    # end which that head barely reaches magnifies it: such a branch is held to 0.2 % of the whole flow.
    assert list(duty.branch_flows.values()) == pytest.approx(flows, rel=0.005, abs=0.002 * pump)


# Calm networks and pumps that do not reach are drawn too and passed over.
drawn = settings(suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])


@given(networks())
@settings(drawn, max_examples=15)
def test_fresh_random_lines_flow_as_epanet_has_them(
    tmp_path_factory: pytest.TempPathFactory, network
) -> None:
    solved_alike(network, tmp_path_factory.getbasetemp())


@pytest.mark.slow
@given(networks())
@settings(drawn, max_examples=600)
def test_hundreds_of_fresh_random_lines_flow_as_epanet_has_them(tmp_path_factory, network) -> None:
    solved_alike(network, tmp_path_factory.getbasetemp())
