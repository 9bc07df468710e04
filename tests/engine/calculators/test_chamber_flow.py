import csv
import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.calculators.chamber_flow import CHAMBER_FLOW
from weirbook.engine.shape import answer, as_json
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"


def rows_of(file: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / file).open()))


BASINS = {row["case_id"]: row for row in rows_of("settling_basin_removal.csv")}
ORIFICES = rows_of("orifice_submerged.csv")
BEDS = rows_of("planted_bed_darcy.csv")


def section(**said: Any) -> dict[str, Any]:
    """A section of 80 cm x 60 cm x 34 cm that water goes along, with what is said otherwise."""
    return {
        "name": "bed",
        "use": "planted-floating",
        "direction": "along",
        "length": "80 cm",
        "width": "60 cm",
        "depth": "34 cm",
        **said,
    }


def asked(*sections: dict[str, Any], flow: str = "2000 L/h", **said: Any) -> list[dict[str, Any]]:
    """The rows of an answer, in SI."""
    told = {"flow": flow, "sections": list(sections), **said}
    rows: list[dict[str, Any]] = list(answer(CHAMBER_FLOW, told).values["sections"])
    return rows


def refused(*sections: dict[str, Any], flow: str = "2000 L/h", **said: Any) -> dict[str, str]:
    with pytest.raises(Invalid) as trouble:
        answer(CHAMBER_FLOW, {"flow": flow, "sections": list(sections), **said})
    return {fault.pointer: fault.message for fault in trouble.value.faults}


@pytest.mark.parametrize("row", BASINS.values(), ids=lambda row: row["case_id"])
def test_mean_velocity_loading_and_stay_are_those_of_an_ideal_basin(row: dict[str, str]) -> None:
    sizes = {name: f"{row[f'{name}_m']} m" for name in ("length", "width", "depth")}
    [found] = asked(section(**sizes), flow=f"{row['flow_l_per_h']} L/h")
    assert found["mean_velocity"] == pytest.approx(float(row["forward_velocity_m_per_s"]), rel=5e-6)
    assert found["surface_loading"] == pytest.approx(float(row["overflow_velocity_m_per_s"]), rel=5e-6)
    assert found["surface_loading"] * 86400 == pytest.approx(
        float(row["overflow_rate_m3_per_m2_day"]), rel=5e-6
    )
    assert found["residence_time"] / 60 == pytest.approx(float(row["residence_time_min"]), rel=5e-6)


def opening(row: dict[str, str]) -> dict[str, str]:
    """An orifice of the table as an inlet."""
    if row["opening_kind"] == "slot_under_baffle":
        return {
            "inlet_kind": "slot",
            "inlet_width": f"{row['width_or_diameter_m']} m",
            "inlet_height": f"{row['height_m']} m",
        }
    if row["opening_kind"] == "round_hole":
        return {"inlet_kind": "pipe", "inlet_diameter": f"{row['width_or_diameter_m']} m"}
    return {"inlet_kind": "spreader", "inlet_open_area": f"{row['area_m2']} m2"}


@pytest.mark.parametrize("row", ORIFICES, ids=lambda row: row["case_id"])
def test_an_inlet_brings_the_mean_velocity_over_its_opening(row: dict[str, str]) -> None:
    [found] = asked(section(**opening(row)), flow=f"{row['flow_m3_per_s']} m3/s")
    assert found["inlet_velocity"] == pytest.approx(float(row["mean_velocity_m_per_s"]), rel=1e-5)


@pytest.mark.parametrize("row", ORIFICES, ids=lambda row: row["case_id"])
def test_a_fall_strikes_as_its_drop_makes_it_whatever_its_width_and_flow(row: dict[str, str]) -> None:
    head = f"{row['head_difference_m']} m"
    fall = section(inlet_kind="fall", inlet_height=head)
    free = float(row["mean_velocity_m_per_s"]) / float(row["discharge_coefficient"])
    for told, flow in ((fall, "900 L/h"), ({**fall, "inlet_width": "9 cm"}, "3000 L/h")):
        [found] = asked(told, flow=flow)
        assert found["inlet_velocity"] == pytest.approx(free, rel=1e-5)


@pytest.mark.parametrize("direction", ["along", "up", "down"])
@pytest.mark.parametrize("row", BEDS, ids=lambda row: row["case_id"])
def test_in_media_that_fill_a_section_water_runs_at_the_pore_velocity(
    row: dict[str, str], direction: str
) -> None:
    size = {name: float(row[f"{name}_m"]) for name in ("length", "width", "depth")}
    # Turned so that the bed's length is the way of the water: up and down go through the depth.
    turned = size if direction == "along" else {**size, "length": size["depth"], "depth": size["length"]}
    bulk = size["length"] * size["width"] * size["depth"]
    [found] = asked(
        section(
            direction=direction,
            media_volume=f"{bulk * 1000} L",
            media_porosity=f"{row['porosity']} 1",
            **{name: f"{value} m" for name, value in turned.items()},
        ),
        flow=f"{row['flow_l_per_h']} L/h",
    )
    assert found["mean_velocity"] == pytest.approx(float(row["pore_velocity_m_per_s"]), rel=1e-5)
    assert found["water_volume"] * 1000 == pytest.approx(float(row["pore_water_volume_l"]), rel=1e-5)
    assert found["residence_time"] / 60 == pytest.approx(float(row["residence_time_min"]), rel=1e-5)


def test_water_that_goes_up_passes_length_times_width_whatever_the_depth() -> None:
    [known] = asked(section(direction="up", length="50 cm"))
    [unknown] = asked(section(direction="down", length="50 cm", depth=None))
    by_hand = 2000 / 3.6e6 / (0.5 * 0.6)
    assert known["mean_velocity"] == pytest.approx(by_hand)
    assert unknown["mean_velocity"] == pytest.approx(by_hand)
    assert unknown["residence_time"] is None


def test_the_gap_under_a_baffle_is_the_inlet_of_the_next_section() -> None:
    before = section(name="first", width="50 cm", baffle_passes="under", baffle_gap_height="4 cm")
    for said in ({}, {"inlet_kind": "baffle"}):
        _, found = asked(before, section(**said), flow="3600 L/h")
        assert found["inlet_velocity"] == pytest.approx(0.001 / (0.5 * 0.04))


def test_water_over_a_crest_strikes_the_water_after_it() -> None:
    before = section(name="first", baffle_passes="over", baffle_crest_height="36 cm")
    fall = section(inlet_kind="fall", inlet_height="2 cm")
    assert asked(before, section())[1]["inlet_velocity"] == pytest.approx(asked(fall)[0]["inlet_velocity"])


def test_water_over_a_crest_that_it_reaches_passes_as_thick_as_it_stands_above() -> None:
    """3600 L/h over 60 cm: 5 cm thick 1000 / 300 cm/s; at least critical depth, the cube root of q2 / g."""
    before = section(name="first", baffle_passes="over")
    _, thick = asked({**before, "baffle_crest_height": "29 cm"}, section(), flow="3600 L/h")
    assert thick["inlet_velocity"] == pytest.approx(0.001 / (0.6 * 0.05))
    critical = ((0.001 / 0.6) ** 2 / 9.80665) ** (1 / 3)
    _, brim = asked({**before, "baffle_crest_height": "34 cm"}, section(), flow="3600 L/h")
    assert brim["inlet_velocity"] == pytest.approx(0.001 / (0.6 * critical))
    narrow = {**before, "baffle_crest_height": "29 cm", "baffle_width": "30 cm"}
    assert asked(narrow, section(), flow="3600 L/h")[1]["inlet_velocity"] == pytest.approx(0.001 / 0.015)


def test_a_drowned_crest_lowered_by_what_is_wanted_keeps_the_limit() -> None:
    over = {"name": "first", "baffle_passes": "over"}
    bed = section(limit_inlet_velocity="2 cm/s")
    _, found = asked(section(**over, baffle_crest_height="29 cm"), bed, flow="3600 L/h")
    wanted = found["wanted_inlet_height"]
    assert found["verdict"] == "over" and wanted == pytest.approx(0.001 / 0.6 / 0.02)
    assert "lower the crest before it until 8.34 cm of water pass over it (now 5 cm)" in found["mend"]
    _, after = asked(section(**over, baffle_crest_height=f"{0.34 - wanted} m"), bed, flow="3600 L/h")
    assert after["inlet_velocity"] == pytest.approx(0.02)


UNKNOWN_JETS = [
    ({}, {}, "how water comes in is not recorded"),
    ({}, {"inlet_kind": "baffle"}, "how water comes in is not recorded"),
    ({}, {"inlet_kind": "slot", "inlet_width": "4 cm"}, "the size of its slot is not recorded"),
    ({}, {"inlet_kind": "pipe"}, "the size of its pipe is not recorded"),
    ({}, {"inlet_kind": "fall", "inlet_width": "4 cm"}, "the size of its fall is not recorded"),
    ({}, {"inlet_kind": "spreader"}, "the open area of its spreader is not recorded"),
    (
        {"baffle_passes": "both", "baffle_crest_height": "40 cm", "baffle_gap_height": "2 cm"},
        {},
        "how the flow splits",
    ),
    ({"baffle_passes": "over"}, {}, "the crest before it is not recorded"),
    ({"baffle_passes": "under"}, {}, "the gap under the baffle before it is not recorded"),
    ({"baffle_passes": "over", "baffle_crest_height": "40 cm"}, {"depth": None}, "its running depth"),
]


@pytest.mark.parametrize(("before", "said", "reason"), UNKNOWN_JETS)
def test_a_jet_that_can_not_be_worked_out_is_unknown_for_a_reason(
    before: dict[str, str], said: dict[str, Any], reason: str
) -> None:
    _, found = asked(
        section(name="first", **before), section(use="media", limit_inlet_velocity="5 cm/s", **said)
    )
    assert found["inlet_velocity"] is None
    assert found["inlet_verdict"] == found["verdict"] == "unknown"
    assert reason in found["why"]


def test_without_any_limit_a_section_is_unknown_not_ok() -> None:
    [found] = asked(section(use="settling"))
    assert (found["verdict"], found["mend"]) == ("unknown", None)
    assert found["why"] == "Unknown, because no limit is recorded for it."


@pytest.mark.parametrize(
    ("use", "usual"), [("planted-floating", "Floating plants"), ("planted-rooted", "Rooted emergent plants")]
)
def test_a_planted_section_without_a_limit_of_its_jet_stays_unknown_and_hears_what_is_usual(
    use: str, usual: str
) -> None:
    """A jet of 2 m/s is far beyond any habit; a common practice still judges nobody."""
    bed = section(use=use, inlet_kind="spreader", inlet_open_area="3 cm2", limit_mean_velocity="1 cm/s")
    given = answer(CHAMBER_FLOW, {"flow": "2000 L/h", "sections": [bed]})
    [found] = given.values["sections"]
    assert (found["mean_verdict"], found["inlet_verdict"], found["verdict"]) == ("ok", "unknown", "unknown")
    assert "no limit of the jet at its inlet is recorded" in found["why"]
    told = [one for one in given.assumptions if one.text.startswith(usual)]
    assert [one.origin for one in told] == ["common practice"]
    assert "no source" in told[0].text
    judged = {**bed, "limit_inlet_velocity": "3 m/s"}
    assert not any(
        one.text.startswith(usual)
        for one in answer(CHAMBER_FLOW, {"flow": "2000 L/h", "sections": [judged]}).assumptions
    )


def test_floating_and_rooted_plants_have_verdicts_of_their_own() -> None:
    beds = [
        section(name="a", inlet_kind="pipe", inlet_diameter="3 cm", limit_inlet_velocity="5 cm/s"),
        section(name="b", inlet_kind="pipe", inlet_diameter="20 cm", limit_inlet_velocity="5 cm/s"),
        section(
            name="c",
            use="planted-rooted",
            inlet_kind="pipe",
            inlet_diameter="20 cm",
            limit_inlet_velocity="5 cm/s",
        ),
    ]
    values = answer(CHAMBER_FLOW, {"flow": "2000 L/h", "sections": beds}).values
    assert [one["verdict"] for one in values["sections"]] == ["over", "ok", "ok"]
    assert (values["floating_verdict"], values["rooted_verdict"]) == ("over", "ok")
    assert (values["worst_verdict"], values["worst_section"]) == ("over", "a")
    assert (values["sections_over"], values["sections_unknown"]) == (1, 0)
    without = answer(CHAMBER_FLOW, {"flow": "2000 L/h", "sections": beds[2:]}).values
    assert (without["floating_verdict"], without["worst_section"]) == (None, None)


def test_the_worst_section_is_the_one_furthest_over_its_limit_not_the_fastest() -> None:
    fast = section(name="fast", limit_mean_velocity="0.25 cm/s")
    short = section(name="short", use="settling", limit_shortest_residence="1 h")
    assert answer(CHAMBER_FLOW, {"flow": "2000 L/h", "sections": [fast, short]}).values["worst_section"] == (
        "short"
    )


def test_a_section_that_lets_nothing_in_is_still_and_within_every_limit() -> None:
    limits = {
        "limit_mean_velocity": "1 cm/s",
        "limit_inlet_velocity": "1 cm/s",
        "limit_shortest_residence": "1 h",
    }
    [found] = asked(section(flow_share="0 %", **limits))
    assert (found["flow"], found["mean_velocity"], found["inlet_velocity"]) == (0, 0, 0)
    assert (found["residence_time"], found["verdict"]) == (None, "ok")


def test_a_fall_that_strikes_too_hard_is_not_mended_by_less_flow_or_width() -> None:
    [found] = asked(section(inlet_kind="fall", inlet_height="25 cm", limit_inlet_velocity="50 cm/s"))
    assert found["verdict"] == "over"
    assert found["wanted_flow_share"] is None
    assert found["wanted_inlet_height"] == pytest.approx(0.5**2 / (2 * 9.80665))
    assert "neither less flow nor a wider fall" in found["mend"]


def test_a_slot_is_never_to_be_higher_than_the_water_is_deep() -> None:
    narrow = section(
        inlet_kind="slot", inlet_width="2 cm", inlet_height="5 cm", limit_inlet_velocity="1 cm/s"
    )
    [found] = asked(narrow)
    assert found["wanted_inlet_height"] is None
    assert found["wanted_flow_share"] is not None
    assert "widen the opening" in found["mend"]


@pytest.mark.parametrize(
    ("inlet", "size", "room"),
    [
        # 2000 L/h at 0.25 cm/s want 2222 cm2: a mouth of 53.2 cm; the middle side of the box is 60 cm.
        ({"inlet_kind": "pipe", "inlet_diameter": "4 cm"}, "inlet_diameter", "0.25 cm/s"),
        # 80 x 60 cm, the largest face, are 4800 cm2: at 0.116 cm/s 4789 cm2 are wanted.
        ({"inlet_kind": "spreader", "inlet_open_area": "9 cm2"}, "inlet_open_area", "0.116 cm/s"),
    ],
)
def test_no_opening_larger_than_its_section_is_wanted(inlet: dict[str, str], size: str, room: str) -> None:
    [fits] = asked(section(**inlet, limit_inlet_velocity=room))
    assert fits[f"wanted_{size}"] is not None
    tight = section(**inlet, limit_inlet_velocity="0.115 cm/s", limit_mean_velocity="0.2 cm/s")
    [found] = asked(tight)
    assert found[f"wanted_{size}"] is None
    assert found["wanted_width"] is not None
    assert found["mend"].startswith("Let ") and "widen" not in found["mend"]
    assert found["mend"].endswith("No opening that the section has room for calms its jet.")


def test_a_gap_as_wide_as_its_section_is_not_to_be_widened() -> None:
    before = section(name="first", baffle_passes="under", baffle_gap_height="4 cm")
    _, found = asked(before, section(limit_inlet_velocity="0.1 cm/s"))
    assert found["wanted_inlet_height"] is None
    assert found["wanted_flow_share"] is not None
    assert "widen" not in found["mend"]


def test_a_gap_raised_and_a_crest_lowered_by_what_is_wanted_keep_the_limit() -> None:
    bed = section(limit_inlet_velocity="20 cm/s")
    gap = {"baffle_passes": "under", "baffle_gap_height": "4 mm"}
    _, found = asked(section(name="first", **gap), bed)
    wanted = found["wanted_inlet_height"]
    _, after = asked(section(name="first", **{**gap, "baffle_gap_height": f"{wanted} m"}), bed)
    assert found["verdict"] == "over" and after["inlet_velocity"] == pytest.approx(0.2)
    over = {"baffle_passes": "over", "baffle_crest_height": "39 cm"}
    _, found = asked(section(name="first", **over), bed)
    crest = 0.34 + found["wanted_inlet_height"]
    _, after = asked(section(name="first", **{**over, "baffle_crest_height": f"{crest} m"}), bed)
    assert found["verdict"] == "over" and after["inlet_velocity"] == pytest.approx(0.2)


def test_a_mend_that_the_sump_has_no_room_for_is_left_out() -> None:
    [found] = asked(section(limit_mean_velocity="0.2 cm/s"))
    assert {name for name in ("width", "depth") if found[f"wanted_{name}"] is not None} == {"width", "depth"}
    [found] = asked(section(limit_mean_velocity="0.2 cm/s"), sump_width="65 cm", sump_height="60 cm")
    assert found["wanted_width"] is None
    assert found["wanted_depth"] is not None


def test_the_words_of_a_mend_round_to_the_side_that_still_does() -> None:
    """2000 L/h is 555.6 cm3/s: 40 % of it at 6 cm/s wants 37.04 cm2, or 24.1 % of it through 22.3 cm2."""
    told = section(
        flow_share="40 %", inlet_kind="spreader", inlet_open_area="22.3 cm2", limit_inlet_velocity="6 cm/s"
    )
    [found] = asked(told)
    assert found["mend"] == (
        "Let 24 % of the through-flow in (now 40 %), or open its spreader to 37.1 cm2 (now 22.3 cm2)."
    )


# 3600 L/h are 1000 cm3/s; in the bed of 80 x 60 x 34 cm, 163.2 L, they run at 0.4902 cm/s and stay 2.72 min.
@pytest.mark.parametrize(
    ("said", "why", "mend"),
    [
        (
            {"inlet_kind": "pipe", "inlet_diameter": "4 cm", "limit_inlet_velocity": "20 cm/s"},
            # Over 12.566 cm2: 79.58 cm/s, 3.979 times; 50 cm2 are a mouth of 7.979 cm.
            "The jet at its inlet runs at 79.6 cm/s, 3.98 times its limit of 20 cm/s.",
            "Let 25.1 % of the through-flow in (now 100 %), or end its pipe in a mouth of 7.98 cm (now 4 cm).",
        ),
        (
            {"limit_mean_velocity": "0.4 cm/s"},
            # 1000 / 0.4 = 2500 cm2: 73.53 cm of width or 41.67 cm of depth; 0.4 / 0.4902 is 81.6 %.
            "The water passes at 0.49 cm/s, 1.23 times its limit of 0.4 cm/s.",
            "Let 81.6 % of the through-flow in (now 100 %), or widen it to 73.6 cm (now 60 cm) or deepen it to"
            " 41.7 cm (now 34 cm).",
        ),
        (
            {"limit_shortest_residence": "4 min"},
            # 240 L: 88.24 cm of width, 50 cm of depth, 117.65 cm of length; 2.72 / 4 is 68 %.
            "The water stays 2.72 min, its limit wants 4 min.",
            "Let 68 % of the through-flow in (now 100 %), or widen it to 88.3 cm (now 60 cm) or deepen it to"
            " 50 cm (now 34 cm) or lengthen it to 118 cm (now 80 cm).",
        ),
    ],
)
def test_why_and_mend_say_what_a_pocket_calculator_finds(said: dict[str, str], why: str, mend: str) -> None:
    [found] = asked(section(use="settling", **said), flow="3600 L/h")
    assert (found["why"], found["mend"]) == (why, mend)


def test_media_of_unknown_porosity_are_four_tenths_gaps_and_said_to_be() -> None:
    told = {"flow": "2000 L/h", "sections": [section(media_volume="50 L")]}
    given = answer(CHAMBER_FLOW, told)
    [found] = given.values["sections"]
    assert found["water_volume"] * 1000 == pytest.approx(163.2 - 0.6 * 50)
    assert [one.origin for one in given.assumptions if "0.4 of the media" in one.text] == ["common practice"]


@pytest.mark.parametrize(
    ("said", "place"),
    [
        ({"flow_share": "101 %"}, "flow_share"),
        ({"flow_share": "-1 %"}, "flow_share"),
        ({"length": "0 cm"}, "length"),
        ({"width": "0 cm"}, "width"),
        ({"depth": "-3 cm"}, "depth"),
        ({"inlet_kind": "pipe", "inlet_diameter": "0 mm"}, "inlet_diameter"),
        ({"inlet_kind": "slot", "inlet_diameter": "4 cm"}, "inlet_diameter"),
        ({"inlet_width": "4 cm"}, "inlet_width"),
        ({"inlet_kind": "hose"}, "inlet_kind"),
        ({"baffle_gap_height": "4 cm"}, "baffle_gap_height"),
        ({"baffle_passes": "over", "baffle_gap_height": "4 cm"}, "baffle_gap_height"),
        ({"use": "plants"}, "use"),
        ({"direction": "sideways"}, "direction"),
        ({"limit_inlet_velocity": "0 cm/s"}, "limit_inlet_velocity"),
        ({"limit_shortest_residence": "5 cm/s"}, "limit_shortest_residence"),
        ({"media_porosity": "40 %"}, "media_porosity"),
        ({"media_volume": "900 L", "media_porosity": "50 %"}, "media_volume"),
        ({"media_volume": "164 L", "media_porosity": "95 %"}, "media_volume"),
        ({"inlet_kind": "slot", "inlet_width": "81 cm"}, "inlet_width"),
        ({"inlet_kind": "pipe", "inlet_diameter": "81 cm"}, "inlet_diameter"),
        ({"baffle_passes": "over", "baffle_crest_height": "56 cm"}, "baffle_crest_height"),
        ({"baffle_passes": "under", "baffle_gap_height": "56 cm"}, "baffle_gap_height"),
        ({"width": "70 cm"}, "width"),
        ({"length": "3.1 m"}, "length"),
        ({"depth": "56 cm"}, "depth"),
        ({"speed": "1 cm/s"}, "speed"),
    ],
)
def test_a_section_that_can_not_be_is_refused_at_its_place(said: dict[str, str], place: str) -> None:
    sump = {"sump_length": "3 m", "sump_width": "60 cm", "sump_height": "55 cm"}
    found = refused(section(name="first"), section(**said), **sump)
    assert list(found) == [f"/sections/1/{place}"]


def test_no_flow_no_section_and_no_width_are_refused() -> None:
    assert list(refused(section(), flow="0 L/h")) == ["/flow"]
    assert list(refused()) == ["/sections"]
    assert list(refused(section(width=None))) == ["/sections/0/width"]
    assert asked(section(width=None), sump_width="60 cm") == asked(section())
    with pytest.raises(Invalid) as trouble:
        answer(CHAMBER_FLOW, {"flow": "2000 L/h"})
    assert [fault.pointer for fault in trouble.value.faults] == ["/sections"]


def test_two_sections_of_one_name_are_refused() -> None:
    assert list(refused(section(), section())) == ["/sections/1/name"]


CENTIMETRES = st.floats(5, 200).map(lambda x: float(f"{x:.4g}"))
SPEEDS = st.floats(0.01, 50).map(lambda x: float(f"{x:.4g}"))


@st.composite
def chambers(draw: st.DrawFn) -> dict[str, Any]:
    """A section with all its facts, its limits anywhere about its values."""
    length, width, depth = draw(CENTIMETRES), draw(CENTIMETRES), draw(CENTIMETRES)
    told = {
        "name": "one",
        "use": draw(st.sampled_from(["planted-floating", "planted-rooted", "settling"])),
        "direction": draw(st.sampled_from(["along", "up", "down"])),
        "length": f"{length} cm",
        "width": f"{width} cm",
        "depth": f"{depth} cm",
        "flow_share": f"{draw(st.integers(1, 100))} %",
        "limit_mean_velocity": f"{draw(SPEEDS)} cm/s",
        "limit_inlet_velocity": f"{draw(SPEEDS)} cm/s",
        "limit_shortest_residence": f"{draw(SPEEDS)} min",
        **draw(
            st.sampled_from(
                [
                    {"inlet_kind": "slot", "inlet_width": "4 cm", "inlet_height": "3 cm"},
                    {"inlet_kind": "pipe", "inlet_diameter": "40 mm"},
                    {"inlet_kind": "spreader", "inlet_open_area": "60 cm2"},
                    {"inlet_kind": "fall", "inlet_height": "9 cm"},
                ]
            )
        ),
    }
    if draw(st.booleans()):
        litres = float(f"{length * width * depth / 1000 * draw(st.floats(0.1, 0.9)):.4g}")
        told |= {"media_volume": f"{litres} L", "media_porosity": f"{draw(st.integers(30, 90))} %"}
        if draw(st.booleans()):
            told["media_grain_size"] = f"{draw(st.integers(1, 30))} mm"
    if told["use"] != "settling" and draw(st.booleans()):
        told["plant_coverage"] = f"{draw(st.integers(0, 100))} %"
    return told


FLOWS = st.floats(50, 20000).map(lambda x: float(f"{x:.4g}"))

LIMIT_OF = {
    "mean": "limit_mean_velocity",
    "inlet": "limit_inlet_velocity",
    "residence": "limit_shortest_residence",
}


def _holds_its_media(told: dict[str, Any]) -> bool:
    sizes = [told[name] for name in ("length", "width", "depth")]
    cm = [size["value"] if isinstance(size, dict) else float(size.split()[0]) for size in sizes]
    return math.prod(cm) / 1000 >= float(told.get("media_volume", "0 L").split()[0])


@given(chambers(), FLOWS)
def test_each_mend_alone_brings_what_it_bears_on_to_its_limit(told: dict[str, Any], flow: float) -> None:
    """As a client would: the mend is read from the JSON answer and sent back as the input it names."""

    def verdicts(body: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
        given = answer(CHAMBER_FLOW, {"flow": f"{flow} L/h", "sections": [body]})
        return as_json(given)["results"]["sections"][0], given.values["sections"][0]

    shown, before = verdicts(told)
    through = {"mean_verdict", "residence_verdict"}
    for name in ("flow_share", "width", "depth", "length"):
        if shown[f"wanted_{name}"] is not None:
            _, after = verdicts({**told, name: shown[f"wanted_{name}"]})
            assert {after[one] for one in through} == {"ok"}, name
            wanted = {**shown[f"wanted_{name}"], "value": shown[f"wanted_{name}"]["value"] * 0.999}
            if name != "flow_share" and _holds_its_media({**told, name: wanted}):
                _, short = verdicts({**told, name: wanted})
                assert "over" in {short[one] for one in through}, name
            if name == "flow_share" and told["inlet_kind"] != "fall":
                assert after["verdict"] == "ok"
    for name in ("inlet_height", "inlet_diameter", "inlet_open_area"):
        if shown[f"wanted_{name}"] is not None:
            _, after = verdicts({**told, name: shown[f"wanted_{name}"]})
            assert after["inlet_verdict"] == "ok"
            limit = float(told["limit_inlet_velocity"].split()[0]) / 100
            assert after["inlet_velocity"] == pytest.approx(limit, rel=1e-9)
    if before["verdict"] == "over":
        assert before["mend"] and any(v is not None for k, v in before.items() if k.startswith("wanted_"))
    else:
        assert not any(v is not None for k, v in before.items() if k.startswith("wanted_"))


@given(chambers(), FLOWS)
def test_the_share_of_flow_that_would_do_is_the_largest_that_does(told: dict[str, Any], flow: float) -> None:
    [found] = asked(told, flow=f"{flow} L/h")
    if (share := found["wanted_flow_share"]) is not None:
        [after] = asked({**told, "flow_share": f"{share * 1.001} 1"}, flow=f"{flow} L/h")
        assert after["verdict"] == "over"


@given(chambers(), FLOWS)
def test_twice_the_flow_is_twice_as_fast_and_stays_half_as_long(told: dict[str, Any], flow: float) -> None:
    [once], [twice] = asked(told, flow=f"{flow} L/h"), asked(told, flow=f"{2 * flow} L/h")
    for name in ("flow", "mean_velocity", "surface_loading"):
        assert twice[name] == pytest.approx(2 * once[name])
    assert twice["residence_time"] == pytest.approx(once["residence_time"] / 2)
    times = 1 if told["inlet_kind"] == "fall" else 2
    assert twice["inlet_velocity"] == pytest.approx(times * once["inlet_velocity"])


@given(chambers(), FLOWS)
def test_speed_times_free_area_is_the_share_of_the_flow_and_way_over_speed_the_stay(
    told: dict[str, Any], flow: float
) -> None:
    [found] = asked(told, flow=f"{flow} L/h")
    share = float(told["flow_share"].split()[0]) / 100
    assert found["mean_velocity"] * found["free_area"] == pytest.approx(flow / 3.6e6 * share)
    way = told["length"] if told["direction"] == "along" else told["depth"]
    metres = float(way.split()[0]) / 100
    left = 1 - 0.3 * float(told.get("plant_coverage", "0 %").split()[0]) / 100
    assert found["residence_time"] * left == pytest.approx(metres / found["mean_velocity"])


@given(chambers(), FLOWS)
def test_every_step_follows_from_its_own_numbers(assert_followed, told, flow) -> None:
    before = section(name="before", baffle_passes="under", baffle_gap_height="2 cm")
    after = section(
        name="after", limit_inlet_velocity="1 mm/s", baffle_passes="over", baffle_crest_height="9 cm"
    )
    sections = [told, before, after, section(name="last", limit_inlet_velocity="1 mm/s")]
    for step in answer(CHAMBER_FLOW, {"flow": f"{flow} L/h", "sections": sections}).steps:
        assert_followed(step)


def test_the_cautions_fit_what_stands_in_the_sump() -> None:
    def codes(*sections: dict[str, Any]) -> set[str]:
        told = {"flow": "2000 L/h", "sections": list(sections)}
        return {one.code for one in answer(CHAMBER_FLOW, told).cautions}

    assert codes(section(use="settling")) == {"flow-not-sure"}
    assert {"full-cover", "loose-leaves"} <= codes(section())
    assert "full-cover" not in codes(section(use="planted-rooted"))
    assert "jet-core" in codes(section(inlet_kind="pipe", inlet_diameter="3 cm"))
    mended = {"levels-change", "way-round", "takes-from-neighbours"}
    assert mended <= codes(section(limit_mean_velocity="0.1 cm/s"))
    assert not mended & codes(section(limit_mean_velocity="1 cm/s"))


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
MAGNITUDES = st.floats(0, 1e15) | st.floats(0, 1e-290) | st.integers(0, 100)
LENGTHS = st.builds("{} {}".format, MAGNITUDES, st.sampled_from(["cm", "m", "in"]))
WILD = st.fixed_dictionaries(
    {
        "name": st.text(max_size=5) | st.just("a"),
        "use": st.sampled_from(["settling", "planted-floating", "x"]),
        "direction": st.sampled_from(["along", "up"]),
        "length": LENGTHS | ANYTHING,
    },
    optional={
        "width": LENGTHS,
        "depth": LENGTHS,
        "flow_share": st.floats(0, 1).map("{} 1".format) | ANYTHING,
        "inlet_kind": st.sampled_from(["pipe", "fall", "slot", "baffle"]),
        "inlet_diameter": LENGTHS,
        "inlet_height": LENGTHS,
        "inlet_width": LENGTHS,
        "media_volume": MAGNITUDES.map("{} L".format),
        "limit_mean_velocity": MAGNITUDES.map("{} cm/s".format),
        "limit_inlet_velocity": MAGNITUDES.map("{} cm/s".format),
        "limit_shortest_residence": MAGNITUDES.map("{} s".format),
    },
)
BODIES = ANYTHING | st.fixed_dictionaries(
    {
        "flow": st.builds("{} L/h".format, MAGNITUDES) | ANYTHING,
        "sections": st.lists(WILD | ANYTHING, max_size=3),
    },
    optional={"sump_width": LENGTHS, "temperature": ANYTHING, "x": ANYTHING},
)


@given(BODIES)
def test_whatever_is_sent_is_refused_in_words_or_answered_in_finite_numbers(body) -> None:
    try:
        given = answer(CHAMBER_FLOW, body)
    except Invalid as trouble:
        assert trouble.message
    else:
        json.dumps(as_json(given), allow_nan=False)
