import csv
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.relations import water
from weirbook.engine.relations.notches import notch_cone, notch_iso, notch_white
from weirbook.engine.relations.weir_laws import (
    FEET_ROOT,
    POLENI,
    Law,
    ackers,
    francis,
    kindsvater_carter,
    plain_cd,
    rehbock,
)
from weirbook.engine.relations.weirs import (
    Edge,
    broad_crest_flow,
    broad_crest_head,
    flow_over,
    head_over,
    orifice_flow,
    orifice_head,
    sharp_crest_flow,
    sharp_crest_head,
    submerged_share,
)

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
Row = dict[str, str]


def rows_of(file: str) -> list[Row]:
    return list(csv.DictReader((PUBLISHED / file).open()))


def sizes(row: Row, *names: str) -> list[float]:
    return [float(row[f"{name}_m"]) for name in names]


def of(file: str, key: str = "case_id") -> pytest.MarkDecorator:
    return pytest.mark.parametrize("row", rows_of(file), ids=lambda row: row[key])


@of("weir_suppressed_rectangular.csv")
def test_an_edge_as_wide_as_its_channel_passes_what_its_formula_gives(row: Row) -> None:
    head, crest, length = sizes(row, "head", "crest_height", "crest_length")
    laws = {
        "rehbock_fluids": rehbock(length, crest),
        "kindsvater_carter_full_fluids": kindsvater_carter(length, crest),
        "francis_suppressed": francis(length),
    }
    assert laws[row["method"]].flow(head) == pytest.approx(float(row["flow_m3_per_s"]), rel=1e-3)


@of("weir_suppressed_rectangular.csv")
def test_the_value_lies_within_five_per_cent_of_every_formula_above_30_mm(row: Row) -> None:
    head, crest, length = sizes(row, "head", "crest_height", "crest_length")
    published = float(row["flow_m3_per_s"])
    if head / crest <= 0.5:  # above, Francis, who knows no speed of approach, lies further from the others
        assert sharp_crest_flow(head, length, crest) == pytest.approx(published, rel=0.05)
    spread = head_over(published, Edge(length, crest))
    assert spread.low * (1 - 1e-5) <= head <= spread.high * (1 + 1e-5)


@of("weir_contracted_rectangular.csv")
def test_an_edge_narrower_than_its_channel_passes_what_its_formula_gives(row: Row) -> None:
    head, crest, length, channel = sizes(row, "head", "crest_height", "crest_length", "channel_width")
    published = float(row["flow_m3_per_s"])
    laws = {
        "kindsvater_carter_usbr_coefficients": kindsvater_carter(length, crest, channel),
        "francis_two_contractions": francis(length, 2),
    }
    assert laws[row["method"]].flow(head) == pytest.approx(published, rel=1e-3)
    spread = head_over(published, Edge(length, crest, channel))
    assert spread.low * (1 - 1e-5) <= head <= spread.high * (1 + 1e-5)


@of("weir_kindsvater_carter_coefficients.csv", "length_over_channel_width")
def test_the_coefficients_of_a_narrower_edge_are_those_of_the_table(row: Row) -> None:
    share = float(row["length_over_channel_width"])
    if share == 1:
        law = kindsvater_carter(0.3, 0.3)  # the ends are walls, and the ISO coefficients stand
        assert law.constant == pytest.approx(float(row["equivalent_ce_constant"]) * POLENI, rel=2e-3)
        assert law.slope == pytest.approx(float(row["equivalent_ce_slope"]) * POLENI, rel=3e-3)
        return
    law = kindsvater_carter(0.3 * share, 0.3, 0.3)
    assert law.constant == pytest.approx(float(row["c2_ft05_per_s"]) * FEET_ROOT, rel=1e-9)
    assert law.slope == pytest.approx(float(row["c1_ft05_per_s"]) * FEET_ROOT, rel=1e-9)
    assert law.constant / POLENI == pytest.approx(float(row["equivalent_ce_constant"]), rel=1e-5)


@of("weir_low_head_spread.csv")
def test_at_low_heads_each_formula_gives_what_is_printed_and_the_value_lies_among_them(row: Row) -> None:
    head, crest, length = sizes(row, "head", "crest_height", "crest_length")
    laws: dict[str, Law] = {
        "francis": francis(length),
        "rehbock": rehbock(length, crest),
        "kindsvater_carter": kindsvater_carter(length, crest),
        "ackers": ackers(length, crest),
        "cd_0_62": plain_cd(length),
    }
    for name, law in laws.items():
        assert law.flow(head) == pytest.approx(float(row[f"flow_{name}_m3_per_s"]), rel=1e-3), name
    flow = flow_over(head, Edge(length, crest))
    assert float(row["flow_lowest_m3_per_s"]) < flow < float(row["flow_highest_m3_per_s"])


@of("weir_low_head_spread.csv")
def test_the_span_of_the_head_holds_every_published_formula(row: Row) -> None:
    head, crest, length = sizes(row, "head", "crest_height", "crest_length")
    for published in ("flow_lowest_m3_per_s", "flow_highest_m3_per_s"):
        spread = head_over(float(row[published]), Edge(length, crest))
        assert spread.low * (1 - 1e-4) <= head <= spread.high * (1 + 1e-4)


def test_a_thousand_litres_an_hour_over_30_cm_stand_about_6_mm_give_or_take_2() -> None:
    spread = head_over(1 / 3600, Edge(0.3, 0.3))
    # Worked example of the reference set: Francis 6.33 mm, Kindsvater and Carter about 5.5, Rehbock 5.2.
    assert francis(0.3).head(1 / 3600) == pytest.approx(0.00633, abs=5e-6)
    assert rehbock(0.3, 0.3).head(1 / 3600) == pytest.approx(0.0052, abs=5e-5)
    assert spread.value == pytest.approx(0.0055, abs=5e-5)
    assert spread.low < 0.0052 and spread.high > 0.00633
    assert spread.high - spread.low == pytest.approx(0.004, abs=0.0005)


@of("weir_toothed_overflow.csv")
def test_a_comb_is_a_row_of_narrow_weirs(row: Row) -> None:
    gross, net, slot, head = sizes(row, "gross_length", "net_slot_length", "slot_width", "head")
    edge = Edge(gross, 0.3, slot_width=slot, open_fraction=net / gross)
    assert edge.slot_count == pytest.approx(float(row["slot_count"]))
    assert edge.central.width(head) == pytest.approx(float(row["francis_effective_length_m"]), rel=1e-5)
    narrow = float(row["flow_francis_two_contractions_per_slot_m3_per_s"])
    wide = float(row["flow_net_length_cd_0_62_m3_per_s"])
    assert flow_over(head, edge) == pytest.approx(narrow, rel=1e-2)
    for flow in (narrow, wide):
        spread = head_over(flow, edge)
        assert spread.low * (1 - 1e-5) <= head <= spread.high * (1 + 1e-5)


@of("weir_toothed_overflow.csv")
def test_a_comb_whose_slots_have_no_told_width_is_its_open_length(row: Row) -> None:
    gross, net, head = sizes(row, "gross_length", "net_slot_length", "head")
    edge = Edge(gross, 0.3, open_fraction=net / gross)
    assert flow_over(head, edge) == pytest.approx(float(row["flow_net_length_cd_0_62_m3_per_s"]), rel=1e-2)
    narrow = float(row["flow_francis_two_contractions_per_slot_m3_per_s"])
    spread = head_over(narrow, edge)
    assert spread.low <= head <= spread.high * (1 + 1e-5)


@pytest.mark.parametrize(
    "row", rows_of("weir_broad_crested.csv"), ids=lambda row: f"{row['head_ft']}-{row['crest_breadth_ft']}"
)
def test_a_broad_crest_passes_what_the_table_gives_within_5_per_cent(row: Row) -> None:
    head, breadth = sizes(row, "head", "crest_breadth")
    published = float(row["flow_m3_per_s_per_m_crest"])
    assert broad_crest_flow(head, 1.0, breadth) == pytest.approx(published, rel=0.05)
    assert broad_crest_flow(head, 1.0, breadth) == pytest.approx(
        float(row["coefficient_m05_per_s"]) * head**1.5, rel=0.05
    )


def test_a_sheet_twice_as_high_as_its_crest_is_broad_springs_clear_as_from_an_edge() -> None:
    assert broad_crest_flow(0.02, 1.0, 0.01) == pytest.approx(francis(1.0).flow(0.02), rel=0.005)
    assert broad_crest_flow(0.08, 1.0, 0.01) == pytest.approx(francis(1.0).flow(0.08), rel=0.005)


@of("weir_submerged_villemonte.csv")
def test_water_behind_an_edge_holds_its_flow_back(row: Row) -> None:
    share = submerged_share(float(row["downstream_over_upstream_head"]), float(row["head_exponent"]))
    assert share == pytest.approx(float(row["flow_reduction_factor"]), rel=1e-3)


@of("weir_v_notch_90.csv")
def test_a_right_angled_notch_passes_what_its_formula_gives(row: Row) -> None:
    [head] = sizes(row, "head")
    published = float(row["flow_m3_per_s"])
    warm = 298.15
    viscosity = water.kinematic_viscosity(warm)
    tension = water.surface_tension(warm) / water.density(warm)
    found = {
        "kindsvater_shen_iso1438": notch_iso(head),
        "cone_usbr": notch_cone(head),
        "white_low_head": notch_white(head, viscosity, tension),
        "white_cd_0_44": notch_white(head, viscosity, tension),
    }
    assert found[row["method"]] == pytest.approx(published, rel=1e-3)
    assert notch_iso(head) == pytest.approx(published, rel=0.15)


@of("orifice_submerged.csv")
def test_an_opening_under_water_passes_what_its_head_drives(row: Row) -> None:
    area, head = float(row["area_m2"]), float(row["head_difference_m"])
    cd, flow = float(row["discharge_coefficient"]), float(row["flow_m3_per_s"])
    assert orifice_flow(area, head, cd) == pytest.approx(flow, rel=1e-3)
    assert orifice_head(flow, area, cd) == pytest.approx(head, rel=1e-4)
    assert orifice_flow(area, head, 0.59) == pytest.approx(float(row["flow_at_cd_0_59_m3_per_s"]), rel=1e-3)
    assert orifice_flow(area, head, 0.67) == pytest.approx(float(row["flow_at_cd_0_67_m3_per_s"]), rel=1e-3)


lengths = st.floats(0.01, 5)
heights = st.one_of(st.just(0.0), st.just(math.inf), st.floats(0.001, 2))
heads = st.floats(1e-6, 1)
flows = st.floats(1e-8, 0.1)
edges = st.builds(
    Edge,
    length=lengths,
    crest_height=heights,
    channel_width=st.one_of(st.none(), st.floats(0.01, 10)),
    slot_width=st.one_of(st.none(), st.floats(0.001, 0.2)),
    open_fraction=st.one_of(st.just(1.0), st.floats(0.05, 1)),
)


@settings(max_examples=150)
@given(heads, edges)
def test_the_head_of_a_flow_is_the_head_that_makes_it(head: float, edge: Edge) -> None:
    for law in (edge.central, *edge.others):
        assert law.head(law.flow(head)) == pytest.approx(head, rel=1e-9)
    assert head_over(flow_over(head, edge), edge).value == pytest.approx(head, rel=1e-9)


@settings(max_examples=150)
@given(heads, lengths, heights, st.floats(0.001, 1))
def test_heads_of_crests_sharp_and_broad_turn_back_into_their_flow(
    head: float, length: float, crest: float, breadth: float
) -> None:
    assert sharp_crest_head(sharp_crest_flow(head, length, crest), length, crest) == pytest.approx(
        head, rel=1e-9
    )
    assert broad_crest_head(broad_crest_flow(head, length, breadth), length, breadth) == pytest.approx(
        head, rel=1e-9
    )


@settings(max_examples=150)
@given(heads, st.floats(1.0001, 2), edges)
def test_more_head_never_gives_less_flow(head: float, more: float, edge: Edge) -> None:
    for law in (edge.central, *edge.others):
        assert law.flow(head * more) > law.flow(head) > 0
    assert broad_crest_flow(head * more, 1.0, 0.02) > broad_crest_flow(head, 1.0, 0.02)
    assert notch_iso(head * more) > notch_iso(head)


@settings(max_examples=150)
@given(flows, st.floats(1.0001, 2), edges)
def test_more_flow_never_lowers_the_head_nor_either_end_of_its_span(
    flow: float, more: float, edge: Edge
) -> None:
    less, greater = head_over(flow, edge), head_over(flow * more, edge)
    assert 0 < less.low <= less.value <= less.high
    assert greater.low >= less.low and greater.value > less.value and greater.high >= less.high


@settings(max_examples=150)
@given(flows, st.floats(1.0001, 2), edges)
def test_a_longer_edge_never_raises_the_head(flow: float, more: float, edge: Edge) -> None:
    longer = Edge(
        edge.length * more, edge.crest_height, edge.channel_width, edge.slot_width, edge.open_fraction
    )
    assert head_over(flow, longer).value <= head_over(flow, edge).value * (1 + 1e-12)


@given(edges)
def test_no_flow_stands_at_the_crest_and_no_head_passes_nothing(edge: Edge) -> None:
    still = head_over(0.0, edge)
    assert (still.low, still.value, still.high) == (0, 0, 0)
    assert flow_over(0.0, edge) == flow_over(-0.01, edge) == 0
    assert 0 < flow_over(1e-9, edge) < 1e-9  # smooth from the crest up, no step


@given(st.floats(0, 1.2), st.floats(0, 1.2))
def test_the_higher_the_water_behind_an_edge_the_less_it_passes(one: float, other: float) -> None:
    assert 0 <= submerged_share(max(one, other)) <= submerged_share(min(one, other)) <= 1


def test_no_water_behind_an_edge_takes_nothing_off_and_as_much_as_before_it_takes_all() -> None:
    assert submerged_share(-0.5) == submerged_share(0.0) == 1
    assert submerged_share(1.0) == submerged_share(1.5) == 0
