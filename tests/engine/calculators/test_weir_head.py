import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.weir_head import WEIR_HEAD
from weirbook.engine.shape import Answer, Step, answer
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
Row = dict[str, str]


def of(file: str, **only: str) -> pytest.MarkDecorator:
    """The rows of a published file, or those whose columns say `only`."""
    rows = [
        row
        for row in csv.DictReader((PUBLISHED / file).open())
        if all(row[name] == value for name, value in only.items())
    ]
    return pytest.mark.parametrize("row", rows, ids=lambda row: row["case_id"])


def answered(**said: Any) -> Answer:
    """The answer for a plain edge of 60 cm at 52 cm, with what is said otherwise."""
    told = {"flow": "3000 L/h", "edge_length": "60 cm", "crest_height": "52 cm", **said}
    return answer(WEIR_HEAD, told)


def asked(**said: Any) -> dict[str, Any]:
    return dict(answered(**said).values)


def comb(**said: Any) -> dict[str, Any]:
    return {"toothed": True, "open_fraction": "60 %", "slot_width": "8 mm", **said}


def refused(**said: Any) -> dict[str, str]:
    with pytest.raises(Invalid) as trouble:
        answered(**said)
    return {fault.pointer: fault.message for fault in trouble.value.faults}


def codes(given_answer: Answer) -> set[str]:
    return {caution.code for caution in given_answer.cautions}


@of("weir_suppressed_rectangular.csv", method="kindsvater_carter_full_fluids")
def test_a_plain_edge_between_walls_has_the_head_that_its_formula_gives(row: Row) -> None:
    found = asked(
        flow=f"{row['flow_m3_per_s']} m3/s",
        edge_length=f"{row['crest_length_m']} m",
        crest_height=f"{row['crest_height_m']} m",
    )
    head = float(row["head_m"])
    assert found["head"] == pytest.approx(head, rel=1e-3)
    assert found["water_depth"] == pytest.approx(head + float(row["crest_height_m"]), rel=1e-4)


@of("weir_contracted_rectangular.csv", method="kindsvater_carter_usbr_coefficients")
def test_an_edge_narrower_than_its_channel_has_the_head_that_its_formula_gives(row: Row) -> None:
    found = asked(
        flow=f"{row['flow_m3_per_s']} m3/s",
        edge_length=f"{row['crest_length_m']} m",
        crest_height=f"{row['crest_height_m']} m",
        channel_width=f"{row['channel_width_m']} m",
    )
    assert found["head"] == pytest.approx(float(row["head_m"]), rel=1e-3)
    assert "narrower" in found["formula"]


@of("weir_low_head_spread.csv")
def test_the_span_of_a_low_head_holds_every_formula_in_print(row: Row) -> None:
    head = float(row["head_m"])
    for column in ("lowest", "highest", "francis", "rehbock", "kindsvater_carter", "ackers", "cd_0_62"):
        found = answered(
            flow=f"{row[f'flow_{column}_m3_per_s']} m3/s",
            edge_length=f"{row['crest_length_m']} m",
            crest_height=f"{row['crest_height_m']} m",
        )
        assert found.values["head_low"] * (1 - 1e-4) <= head <= found.values["head_high"] * (1 + 1e-4)
        if head < 0.028:
            assert "below-every-formula" in codes(found)
        assert ("surface-tension" in codes(found)) == (found.values["head"] < 0.02)


@of("weir_toothed_overflow.csv")
def test_a_comb_has_the_head_of_a_row_of_narrow_weirs(row: Row) -> None:
    found = asked(
        flow=f"{row['flow_francis_two_contractions_per_slot_m3_per_s']} m3/s",
        edge_length=f"{row['gross_length_m']} m",
        open_fraction=f"{row['net_over_gross']} 1",
        slot_width=f"{row['slot_width_m']} m",
        toothed=True,
    )
    assert found["head"] == pytest.approx(float(row["head_m"]), rel=5e-3)


def test_a_thousand_litres_an_hour_over_30_cm_stand_at_about_6_mm_give_or_take_2() -> None:
    found = asked(flow="1000 L/h", edge_length="30 cm", crest_height="30 cm")
    # Worked by hand: Francis 6.33 mm, Kindsvater and Carter about 5.5, Rehbock 5.2.
    assert found["head"] * 1e3 == pytest.approx(5.5, abs=0.05)
    assert found["head_low"] * 1e3 <= 5.2 and found["head_high"] * 1e3 >= 6.33
    assert found["flow_per_metre"] * 3.6e6 == pytest.approx(1000 / 0.3)


def test_whether_slots_run_as_weirs_follows_from_their_height() -> None:
    assert asked()["slots"] == "no teeth"
    assert asked(**comb())["slots"] == "height not told"
    assert asked(**comb(slot_height="40 mm"))["slots"] == "run as weirs"
    near = answered(**comb(slot_height="18 mm"))
    assert near.values["head"] < 0.018 < near.values["head_high"]
    assert near.values["slots"] == "may drown" and "teeth-drown" in codes(near)
    assert asked(**comb(slot_height="8 mm"))["slots"] == "drowned"


@pytest.mark.parametrize("teeth", [{}, comb(), comb(slot_width=None), {"channel_width": "4 m"}])
def test_an_edge_as_long_as_the_wanted_head_needs_keeps_it(teeth: dict[str, Any]) -> None:
    longer = asked(**teeth, wanted_head="5 mm")["edge_for_wanted_head"]
    assert longer > 0.6
    assert asked(**{**teeth, "edge_length": f"{longer} m"})["head"] == pytest.approx(0.005, rel=1e-6)


def test_a_wanted_head_that_no_edge_in_the_channel_keeps_is_refused() -> None:
    assert "/wanted_head" in refused(channel_width="61 cm", wanted_head="3 mm")
    assert "/wanted_head" in refused(wanted_head="0.0001 mm")


def test_water_that_may_come_over_the_rim_is_said() -> None:
    tight = answered(rim_height="52.9 cm")
    assert 0 < tight.values["freeboard"] < tight.values["head_high"] - tight.values["head"]
    assert "over-the-rim" in codes(tight)
    assert "over-the-rim" not in codes(answered(rim_height="60 cm"))
    assert asked(rim_height="52.1 cm")["freeboard"] < 0
    assert asked()["freeboard"] is None


def test_without_the_edges_height_the_head_is_that_of_still_water() -> None:
    unknown, deep = asked(crest_height=None), asked(crest_height="100 m")
    assert unknown["water_depth"] is None
    assert unknown["head"] == pytest.approx(deep["head"], rel=1e-4)
    assert asked(crest_height="1 cm")["head"] < unknown["head"]


def test_edges_that_can_not_be_are_refused() -> None:
    assert "open share" in refused(toothed=True)["/open_fraction"]
    assert set(refused(open_fraction="60 %", slot_width="8 mm", slot_height="2 cm")) == {
        "/open_fraction",
        "/slot_width",
        "/slot_height",
    }
    assert "/channel_width" in refused(channel_width="50 cm")
    assert "/channel_width" in refused(**comb(), channel_width="80 cm")
    assert "/slot_width" in refused(**comb(slot_width="50 cm"))
    assert "/crest_height" in refused(rim_height="50 cm")
    assert "/edge_length" in refused(edge_length="0 cm")


edges = st.one_of(
    st.just({}),
    st.just(comb()),
    st.just(comb(slot_width=None)),
    st.just(comb(slot_width="3 mm", open_fraction="20 %")),
    st.just({"channel_width": "1 m"}),
    st.just({"crest_height": None}),
    st.just({"crest_height": "1 mm"}),
)
flows = st.floats(5, 60000)


@settings(max_examples=60, deadline=None)
@given(edges, flows, st.floats(1.001, 3))
def test_more_flow_stands_higher_and_a_longer_edge_lower(
    said: dict[str, Any], flow: float, more: float
) -> None:
    before = asked(**said, flow=f"{flow} L/h", edge_length="30 cm")
    after = asked(**said, flow=f"{flow * more} L/h", edge_length="30 cm")
    longer = asked(**said, flow=f"{flow} L/h", edge_length=f"{30 * more} cm")
    assert before["head_low"] <= before["head"] <= before["head_high"]
    assert after["head"] > before["head"] >= longer["head"] * (1 - 1e-12)


@settings(max_examples=60, deadline=None)
@given(edges, flows, st.floats(2, 200))
def test_every_step_follows_from_its_own_numbers(
    assert_followed: Callable[[Step], None], said: dict[str, Any], flow: float, wanted: float
) -> None:
    try:
        found = answered(**said, flow=f"{flow} L/h", wanted_head=f"{wanted} mm", rim_height="2 m")
    except Invalid as trouble:
        assert [fault.pointer for fault in trouble.faults] == ["/wanted_head"]
        return
    for step in found.steps:
        assert_followed(step)
