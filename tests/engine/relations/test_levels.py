import csv
import dataclasses
import math
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.relations.beds import ergun_gradient
from weirbook.engine.relations.hydraulics import GRAVITY
from weirbook.engine.relations.levels import (
    PASSING,
    SLOT_LOSSES,
    Cell,
    Gate,
    Stand,
    level_before,
    over_flow,
    running_levels,
    under_flow,
)
from weirbook.engine.relations.weirs import broad_crest_flow, sharp_crest_head

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
RHO, MU = 997.0, 8.9e-4


def rows_of(file: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / file).open()))


GAPS = rows_of("baffle_slot_head_loss.csv")
SLOTS = [row for row in rows_of("orifice_submerged.csv") if row["opening_kind"] == "slot_under_baffle"]
DROWNED = [row for row in rows_of("weir_submerged_villemonte.csv") if row["weir_shape"] == "rectangular"]


def cell(gate: Gate | None = None, flow: float = 1e-3, **said) -> Cell:
    """40 cm long and 50 cm wide, without media, with what is said otherwise."""
    told = {"name": "cell", "direction": "along", "length": 0.4, "width": 0.5, "media_volume": 0.0}
    return Cell(**{**told, "media_porosity": 0.4, "grain": None, "gate": gate, "flow": flow, **said})


def levels(*cells: Cell, last: float = 0.2) -> tuple[Stand, ...]:
    return running_levels(cells, last, RHO, MU)


@pytest.mark.parametrize("row", GAPS, ids=lambda row: row["case_id"])
def test_a_gap_under_water_loses_head_as_a_sharp_opening_does(row: dict[str, str]) -> None:
    flow, width, height = (float(row[name]) for name in ("flow_m3_per_s", "slot_width_m", "slot_height_m"))
    gate = Gate("under", width, gap_height=height)
    stand, _ = levels(cell(gate, flow), cell(flow=flow))
    assert stand.gate_loss == pytest.approx(float(row["head_loss_cd_0_61_m"]), rel=1e-3)
    assert (stand.passing, stand.under_flow) == ("under", flow)
    least = SLOT_LOSSES * (flow / (width * height)) ** 2 / (2 * GRAVITY)
    assert least == pytest.approx(float(row["head_loss_entry_0_5_plus_exit_1_0_m"]), rel=1e-3)


@pytest.mark.parametrize("row", SLOTS, ids=lambda row: row["case_id"])
def test_a_gap_passes_what_an_orifice_passes_at_that_head(row: dict[str, str]) -> None:
    gate = Gate("under", float(row["width_or_diameter_m"]), gap_height=float(row["height_m"]))
    found = under_flow(gate, 0.3 + float(row["head_difference_m"]), 0.3)
    assert found / 0.61 == pytest.approx(
        float(row["flow_m3_per_s"]) / float(row["discharge_coefficient"]), rel=1e-3
    )
    assert float(row["flow_at_cd_0_59_m3_per_s"]) < found < float(row["flow_at_cd_0_67_m3_per_s"])


@pytest.mark.parametrize("row", DROWNED, ids=lambda row: row["case_id"])
@pytest.mark.parametrize("breadth", [None, 0.01])
def test_a_drowned_crest_passes_the_share_that_villemonte_found(
    row: dict[str, str], breadth: float | None
) -> None:
    gate, head = Gate("over", 0.5, crest_height=0.3, breadth=breadth), 0.05
    down = 0.3 + head * float(row["downstream_over_upstream_head"])
    drowned, free = over_flow(gate, 0.3 + head, down), over_flow(gate, 0.3 + head, 0.0)
    assert drowned / free == pytest.approx(float(row["flow_reduction_factor"]), rel=1e-3)
    if drowned:
        assert level_before(gate, drowned, down) == pytest.approx(0.3 + head, abs=1e-9)


def test_before_a_free_crest_water_stands_a_head_above_it() -> None:
    sharp, _ = levels(cell(Gate("over", 0.5, crest_height=0.3)), cell())
    assert sharp.surface == pytest.approx(0.3 + sharp_crest_head(1e-3, 0.5, 0.3), abs=1e-12)
    assert sharp.passing == "over, free"
    broad, _ = levels(cell(Gate("over", 0.5, crest_height=0.3, breadth=0.2)), cell())
    assert broad_crest_flow(broad.surface - 0.3, 0.5, 0.2) == pytest.approx(1e-3)
    assert broad.surface > sharp.surface


def test_a_gap_that_water_does_not_fill_passes_nearly_critical_flow() -> None:
    """Critical flow over a floor: (2/3)^1.5 sqrt(g) w h^1.5, any handbook of hydraulics."""
    gate = Gate("under", 0.5, gap_height=0.2)
    stand, _ = levels(cell(gate), cell(), last=0.001)
    assert stand.passing == "under, free"
    assert stand.surface < 0.2
    critical = (2 / 3) ** 1.5 * math.sqrt(GRAVITY) * 0.5 * stand.surface**1.5
    assert critical == pytest.approx(1e-3, rel=0.02)


def test_over_and_under_at_once_come_to_each_alone_at_the_ends() -> None:
    both = Gate("both", 0.5, crest_height=0.3, gap_height=0.03)
    over, under = Gate("over", 0.5, crest_height=0.3), Gate("under", 0.5, gap_height=0.03)
    for down in (0.1, 0.25):
        assert level_before(both, 1e-3, down) == pytest.approx(level_before(under, 1e-3, down), abs=1e-12)
    slit = dataclasses.replace(both, gap_height=1e-9)
    for down in (0.1, 0.25, 0.305):
        assert level_before(slit, 1e-3, down) == pytest.approx(level_before(over, 1e-3, down), abs=1e-7)
    stand, _ = levels(cell(dataclasses.replace(both, gap_height=0.003)), cell(), last=0.25)
    assert stand.passing == "over, free, and under"
    assert 0 < stand.under_flow < 1e-3


def test_where_nothing_parts_two_cells_their_level_is_one() -> None:
    for gate in (None, Gate("open", 0.5)):
        stand, last = levels(cell(gate), cell())
        assert (stand.surface, stand.one_with_next, stand.passing) == (last.surface, True, "open")
    assert not last.one_with_next


def test_two_surfaces_within_a_millimetre_count_as_one_level() -> None:
    wide, narrow = Gate("under", 0.5, gap_height=0.05), Gate("under", 0.5, gap_height=0.01)
    first, second, _ = levels(cell(narrow), cell(wide), cell())
    assert second.one_with_next and not first.one_with_next


@pytest.mark.parametrize(
    "gate", [Gate("unknown", 0.5), Gate("over", 0.5), Gate("under", 0.5), Gate("both", 0.5, crest_height=0.3)]
)
def test_from_a_gate_of_which_too_little_is_known_the_levels_are_unknown(gate: Gate) -> None:
    first, second, third, last = levels(cell(Gate("open", 0.5)), cell(gate), cell(Gate("open", 0.5)), cell())
    assert (first.surface, second.surface) == (None, None)
    assert (first.passing, second.passing) == ("unknown", "unknown")
    assert (third.surface, last.surface) == (0.2, 0.2)


def test_a_bed_that_water_rises_through_raises_the_cell_before_and_one_it_sinks_through_itself() -> None:
    bed = {"media_volume": 0.04, "grain": 0.006, "media_porosity": 0.38}
    # 40 L over 0.2 m2 are 20 cm of bed; 1 L/s over 0.2 m2 are 5 mm/s.
    lost = 0.2 * ergun_gradient(0.005, 0.006, 0.38, RHO, MU)
    before, up, _ = levels(cell(Gate("open", 0.5)), cell(Gate("open", 0.5), direction="up", **bed), cell())
    assert up.surface == 0.2 and up.bed_loss == pytest.approx(lost)
    assert before.surface == pytest.approx(0.2 + lost)
    before, down, _ = levels(
        cell(Gate("open", 0.5)), cell(Gate("open", 0.5), direction="down", **bed), cell()
    )
    assert down.surface == before.surface == pytest.approx(0.2 + lost)


def test_along_a_section_water_that_its_bed_holds_back_runs_over_it() -> None:
    coarse = cell(media_volume=0.04, grain=0.02)
    fine = dataclasses.replace(coarse, grain=0.001)
    # 40 L over 40 cm are 0.1 m2 across: 1 cm/s.
    [through] = levels(coarse, last=0.19)
    assert through.bed_loss == pytest.approx(0.4 * ergun_gradient(0.01, 0.02, 0.4, RHO, MU))
    [over] = levels(fine, last=0.19)
    assert over.bed_loss < 0.4 * ergun_gradient(0.01, 0.001, 0.4, RHO, MU)
    assert broad_crest_flow(over.surface - 0.2, 0.5, 0.4) == pytest.approx(1e-3)
    [deep] = levels(fine, last=0.4)
    assert deep.bed_loss < 1e-3


def test_what_goes_round_a_section_or_in_a_side_loop_passes_no_gate() -> None:
    """The lesser of two flows passes between them."""
    gate = Gate("under", 0.5, gap_height=0.02)
    whole, part = cell(gate, 1e-3), cell(gate, 4e-4)
    round_it = levels(whole, part, whole, cell())
    alone = levels(part, cell(flow=4e-4))
    assert round_it[0].gate_loss == round_it[1].gate_loss == pytest.approx(alone[0].gate_loss)
    assert round_it[2].gate_loss == pytest.approx(levels(whole, cell())[0].gate_loss)


def test_without_flow_water_rests_at_the_crest_or_at_the_level_after_it() -> None:
    for gate, rest in (
        (Gate("over", 0.5, crest_height=0.3), 0.3),
        (Gate("over", 0.5, crest_height=0.1), 0.2),
        (Gate("under", 0.5, gap_height=0.02), 0.2),
        (Gate("both", 0.5, crest_height=0.3, gap_height=0.02), 0.2),
    ):
        stand, _ = levels(cell(gate, 0.0), cell(flow=0.0))
        assert stand.surface == pytest.approx(rest)


HEIGHTS, SIZES = st.floats(0.02, 0.5), st.floats(0.005, 0.1)
GATES = st.one_of(
    st.builds(Gate, st.just("over"), st.floats(0.1, 1), HEIGHTS, st.none(), st.none() | SIZES),
    st.builds(Gate, st.just("under"), st.floats(0.1, 1), st.none(), SIZES),
    st.builds(Gate, st.just("both"), st.floats(0.1, 1), st.floats(0.11, 0.5), SIZES, st.none() | SIZES),
    st.just(Gate("open", 0.5)),
)
FLOWS = st.floats(1e-6, 5e-3)
CELLS = st.lists(
    st.builds(
        Cell,
        st.just("cell"),
        st.sampled_from(["along", "up", "down"]),
        st.floats(0.1, 1),
        st.floats(0.1, 1),
        st.just(0.0) | st.floats(1e-3, 0.05),
        st.floats(0.3, 0.9),
        st.none() | st.floats(0.002, 0.03),
        GATES,
        FLOWS,
    ),
    min_size=1,
    max_size=5,
)
LEVELS = st.floats(0.01, 0.5)
HAIR = 1e-9
"""m. A root is found to less."""


def with_flow(cells: Sequence[Cell], flow: float) -> list[Cell]:
    return [dataclasses.replace(one, flow=flow) for one in cells]


@given(CELLS, LEVELS)
def test_levels_never_rise_along_the_flow(cells: list[Cell], last: float) -> None:
    surfaces = [stand.surface for stand in running_levels(cells, last, RHO, MU)]
    assert all(before >= after - HAIR for before, after in pairwise(surfaces)) and surfaces[-1] >= last


@given(CELLS, LEVELS, FLOWS, st.floats(1, 3))
def test_more_flow_never_lowers_a_level(cells: list[Cell], last: float, flow: float, times: float) -> None:
    less = running_levels(with_flow(cells, flow), last, RHO, MU)
    more = running_levels(with_flow(cells, flow * times), last, RHO, MU)
    assert all(a.surface <= b.surface + HAIR for a, b in zip(less, more, strict=True))


@given(CELLS, LEVELS, st.floats(0, 0.2))
def test_a_higher_return_level_never_lowers_any_level(cells: list[Cell], last: float, rise: float) -> None:
    low, high = (running_levels(cells, level, RHO, MU) for level in (last, last + rise))
    assert all(a.surface <= b.surface + HAIR for a, b in zip(low, high, strict=True))


@given(GATES, FLOWS, LEVELS)
def test_at_the_level_before_it_a_gate_passes_its_flow(gate: Gate, flow: float, down: float) -> None:
    if gate.passes != "open":
        up = level_before(gate, flow, down)
        passed = over_flow(gate, up, down) + under_flow(gate, up, down)
        # Nearly drowned, a level in 1e-15 m moves a flow by far more than 1e-9 of it.
        nearby = over_flow(gate, up + 1e-12, down) + under_flow(gate, up + 1e-12, down)
        assert passed <= flow * (1 + 1e-9) + (nearby - passed)
        assert nearby >= flow * (1 - 1e-9)


@given(CELLS, LEVELS, FLOWS)
def test_splitting_the_flow_and_joining_it_again_changes_nothing(
    cells: list[Cell], last: float, flow: float
) -> None:
    """A cell of full flow cut in two by nothing, and a gap or bed of half the width at half the flow."""
    whole = with_flow(cells, flow)
    cut = [one for cell in whole for one in (dataclasses.replace(cell, gate=None, media_volume=0.0), cell)]
    for a, b in zip(
        running_levels(whole, last, RHO, MU), running_levels(cut, last, RHO, MU)[1::2], strict=True
    ):
        assert a.surface == pytest.approx(b.surface, abs=HAIR)
    plain = [
        dataclasses.replace(one, gate=Gate("under", 0.4, gap_height=0.03), media_volume=0.01) for one in whole
    ]
    halves = [
        dataclasses.replace(
            one,
            gate=Gate("under", 0.2, gap_height=0.03),
            width=one.width / 2,
            media_volume=one.media_volume / 2,
            flow=one.flow / 2,
        )
        for one in plain
    ]
    for a, b in zip(running_levels(plain, last, RHO, MU), running_levels(halves, last, RHO, MU), strict=True):
        assert a.surface == pytest.approx(b.surface, rel=1e-6)


@given(CELLS, LEVELS)
@settings(max_examples=50)
def test_how_water_leaves_a_cell_is_said_in_known_words(cells: list[Cell], last: float) -> None:
    assert {stand.passing for stand in running_levels(cells, last, RHO, MU)} <= PASSING.keys()
