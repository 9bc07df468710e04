import csv
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.stop_flow import STOP_FLOW
from weirbook.engine.shape import Answer, answer
from weirbook.errors import Invalid

PUBLISHED = Path(__file__).parents[3] / "fixtures" / "published"
DRAIN_DOWN = list(csv.DictReader((PUBLISHED / "drain_down_worked.csv").open()))
LITRE = 1e-3
MILLILITRE = 1e-6
LAST_DIGIT = 1e-5
"""The file prints six significant digits."""
WIDTH = 0.5
"""m. The file gives areas; sections of half a metre across have them."""

by_case = pytest.mark.parametrize("row", DRAIN_DOWN, ids=lambda row: row["case_id"])


def metres(value: str) -> str:
    return f"{float(value):.12g} m"


def told(row: dict[str, str], **said: Any) -> dict[str, Any]:
    """A row of the file as inputs. Its levels are given, so no flow is."""
    chambers = [n for n in (1, 2, 3) if row[f"chamber{n}_area_m2"]]
    sections = []
    for n in chambers:
        section = {
            "name": f"chamber {n}",
            "use": "return" if n == chambers[-1] else "other",
            "direction": "along",
            "length": metres(str(float(row[f"chamber{n}_area_m2"]) / WIDTH)),
            "depth": metres(row[f"chamber{n}_running_level_m"]),
        }
        if n != chambers[-1]:
            section |= {
                "baffle_passes": "over",
                "baffle_crest_height": metres(row[f"baffle{n}_top_m"]),
            }
        sections.append(section)
    tank = {
        "name": "display",
        "plan_area": f"{row['display_area_m2']} m2",
        "head": metres(row["running_head_over_overflow_crest_m"]),
        "siphon_drop": metres(row["extra_siphon_drop_m"]),
        "siphon_drop_blocked": metres(row["extra_siphon_drop_m"]),
        "drain_diameter": metres(row["drain_pipe_diameter_m"]),
        "drain_length": metres(row["drain_pipe_length_m"]),
        "drain_fill": f"{row['drain_pipe_fill_fraction']} 1",
    }
    if float(row["overflow_box_area_m2"]):
        tank |= {
            "box_area": f"{row['overflow_box_area_m2']} m2",
            "box_fall": metres(row["overflow_box_level_drop_m"]),
        }
    pipe = {
        "name": "return",
        "diameter": metres(row["return_pipe_diameter_m"]),
        "length": metres(row["return_pipe_length_m"]),
        "check_valve": row["check_valve_holds"] == "1",
    }
    return {
        "sump_width": f"{WIDTH} m",
        "sump_height": metres(row["sump_rim_m"]),
        "sections": sections,
        "tanks": [tank],
        "pipes": [pipe],
        **said,
    }


def as_recorded(found: Answer) -> dict[str, Any]:
    case: dict[str, Any] = found.values["cases"][0]
    return case


@by_case
def test_what_comes_down_part_by_part_is_the_published_one(row: dict[str, str]) -> None:
    found = answer(STOP_FLOW, told(row))
    [tank] = found.values["tanks"]
    display = tank["from_head"] + tank["from_siphon"]
    for value, column in (
        (display, "volume_from_display_l"),
        (tank["from_box"], "volume_from_overflow_box_l"),
        (tank["from_drain"], "volume_from_drain_pipe_l"),
        (found.values["falls"], "total_returned_l"),
    ):
        assert value / LITRE == pytest.approx(float(row[column]), rel=LAST_DIGIT)


@by_case
def test_the_sump_after_the_stop_is_the_published_one(row: dict[str, str]) -> None:
    found = answer(STOP_FLOW, told(row))
    case = as_recorded(found)
    for value, column in (
        (found.values["running_water"], "sump_running_volume_l"),
        (case["water_after"], "sump_volume_after_stop_l"),
        (found.values["room"], "freeboard_volume_l"),
        (case["spilled"], "spilled_l"),
    ):
        assert value / LITRE == pytest.approx(float(row[column]), rel=LAST_DIGIT)
    assert case["verdict"] == ("ok" if row["stays_in_sump"] == "1" else "over")


@by_case
def test_margin_and_levels_are_the_published_ones(row: dict[str, str]) -> None:
    """Of a sump that spills the file's levels are those between walls extended upward, and ours at the rim."""
    found = answer(STOP_FLOW, told(row))
    case = as_recorded(found)
    assert case["margin"] * 1000 == pytest.approx(float(row["margin_to_rim_mm"]), rel=LAST_DIGIT)
    rim = float(row["sump_rim_m"])
    assert rim - case["margin"] == pytest.approx(float(row["highest_level_after_stop_m"]), rel=LAST_DIGIT)
    last = [one for one in found.values["levels"] if one["case"] == "as recorded"][-1]
    stays = row["stays_in_sump"] == "1"
    expected = float(row["return_chamber_level_after_stop_m"]) if stays else rim
    assert last["level"] == pytest.approx(expected, rel=LAST_DIGIT)


@by_case
def test_at_the_highest_safe_level_the_published_sump_is_just_full(row: dict[str, str]) -> None:
    """A pocket check of the file's own terms: what runs and what comes down fill it to the rim."""
    found = answer(STOP_FLOW, told(row))
    safe, rim = as_recorded(found)["highest_safe_level"], float(row["sump_rim_m"])
    chambers = [n for n in (1, 2, 3) if row[f"chamber{n}_area_m2"]]
    room = sum(float(row[f"chamber{n}_area_m2"]) for n in chambers) * rim
    if safe is None:
        lowest = room - float(row["chamber1_area_m2"]) * float(row["chamber1_running_level_m"])
        assert float(row["total_returned_l"]) * LITRE > lowest - MILLILITRE
        return
    again = answer(STOP_FLOW, told(row, return_depth=f"{safe} m"))
    assert as_recorded(again)["verdict"] == "ok"
    assert as_recorded(again)["margin"] == pytest.approx(0, abs=1e-6)
    assert as_recorded(again)["water_after"] == pytest.approx(room, abs=2 * MILLILITRE)


def test_a_check_valve_keeps_back_its_pipe_and_is_never_relied_on() -> None:
    [row] = [row for row in DRAIN_DOWN if row["case_id"] == "DDS05"]
    cases = {case["name"]: case for case in answer(STOP_FLOW, told(row)).values["cases"]}
    pipe = math.pi / 4 * float(row["return_pipe_diameter_m"]) ** 2 * float(row["return_pipe_length_m"])
    assert set(cases) == {
        "as recorded",
        "air hole blocked",
        "check valve stuck",
        "air hole blocked and check valve stuck",
    }
    assert cases["check valve stuck"]["falls"] - cases["as recorded"]["falls"] == pytest.approx(pipe)


SUMP = {
    "sump_width": "50 cm",
    "sump_height": "40 cm",
    "return_depth": "20 cm",
    "intake_height": "8 cm",
    "sections": [
        {
            "name": "settling",
            "use": "settling",
            "direction": "along",
            "length": "30 cm",
            "depth": "26 cm",
            "baffle_passes": "over",
            "baffle_crest_height": "25 cm",
        },
        {"name": "return", "use": "return", "direction": "along", "length": "40 cm", "depth": "20 cm"},
    ],
}
TANK = {
    "name": "long",
    "plan_area": "0.6 m2",
    "head": "8 mm",
    "siphon_drop": "20 mm",
    "siphon_drop_blocked": "60 mm",
}


def stopped(tank: dict[str, Any] | None = None, **said: Any) -> dict[str, Any]:
    """The values of an answer for a sump of 35 x 100 cm beside one tank, with what is said otherwise."""
    found = answer(STOP_FLOW, {**SUMP, "tanks": [{**TANK, **(tank or {})}], **said})
    return {**found.values, "by_case": {case["name"]: case for case in found.values["cases"]}}


def test_by_hand_a_blocked_air_hole_spills_what_the_sump_has_no_room_for() -> None:
    # Runs with 39 + 40 L of 140 L; 4.8 + 12 L come down, or 4.8 + 36 L with the hole blocked: 61 L are free.
    found = stopped()
    assert found["running_water"] == pytest.approx(79 * LITRE)
    assert found["room"] == pytest.approx(61 * LITRE)
    assert found["verdict"] == "ok"
    deep = stopped({"siphon_drop_blocked": "110 mm"})
    assert deep["by_case"]["air hole blocked"]["spilled"] == pytest.approx(9.8 * LITRE)
    assert (deep["verdict"], deep["recorded_verdict"]) == ("over", "ok")
    assert deep["worst_case"] == "air hole blocked"


def test_each_mend_holds_and_just_so() -> None:
    deep = stopped({"siphon_drop_blocked": "110 mm"})
    case = deep["by_case"]["air hole blocked"]
    assert case["siphon_shorter_by"] == pytest.approx(9.8 / 600)
    safe, shorter = case["highest_safe_level"], 0.110 - case["siphon_shorter_by"]
    assert safe == pytest.approx(0.2 - 9.8 / 200, abs=1e-6)
    for sign, verdict in ((-1, "ok"), (1, "over")):
        lower = stopped({"siphon_drop_blocked": "110 mm"}, return_depth=f"{safe + sign * 1e-4} m")
        shallow = stopped({"siphon_drop_blocked": f"{shorter + sign * 1e-4} m"})
        assert lower["verdict"] == shallow["verdict"] == verdict


def test_several_tanks_are_mended_by_the_same_shortening_of_each_siphon() -> None:
    tanks = [
        {**TANK, "name": "one", "siphon_drop_blocked": "20 mm"},
        {**TANK, "name": "other", "siphon_drop_blocked": "90 mm"},
    ]
    found = stopped(tanks=tanks)
    case = found["by_case"]["air hole blocked"]
    # 9.6 L over the crests, 12 + 54 L by siphon, 61 L of room.
    assert case["spilled"] == pytest.approx(14.6 * LITRE)
    assert case["siphon_shorter_by"] == pytest.approx(14.6 / 1200)


def test_what_spilled_is_missing_when_the_pump_starts_again() -> None:
    case = stopped({"siphon_drop_blocked": "110 mm"})["by_case"]["air hole blocked"]
    # Nothing comes back until all is up again: the settling section keeps 25 cm of its 26, the rest goes on.
    filling = (79 - 9.8 - 0.15 * 250) / 200
    again = (40 - 9.8) / 200
    assert case["lowest_return_level"] == pytest.approx(min(filling, again), abs=1e-6)
    assert case["restart_verdict"] == "ok"


def test_a_restart_that_draws_air_says_how_much_water_is_missing() -> None:
    found = stopped({"siphon_drop_blocked": "160 mm"})
    case = found["by_case"]["air hole blocked"]
    assert case["spilled"] == pytest.approx(39.8 * LITRE)
    assert case["restart_verdict"] == found["restart_verdict"] == "over"
    assert case["lowest_return_level"] == pytest.approx(0.001, abs=1e-6)
    assert case["missing_at_restart"] == pytest.approx((0.08 * 200 - 0.2) * LITRE)


def test_without_a_spill_the_sump_runs_again_as_it_did() -> None:
    for case in stopped()["cases"]:
        assert case["lowest_return_level"] == pytest.approx(0.2)
        assert case["missing_at_restart"] == 0


@pytest.mark.parametrize(
    ("lacks", "words"),
    [
        ("plan_area", "long: its plan area"),
        ("head", "long: the head over its crest"),
        ("siphon_drop", "long: the level of its return's air hole"),
    ],
)
def test_an_unknown_fact_is_named_and_never_guessed(lacks: str, words: str) -> None:
    found = stopped({lacks: None})
    case = found["by_case"]["as recorded"]
    assert words in [row["what"] for row in found["lacking"]]
    assert (case["verdict"], case["margin"], case["spilled"]) == ("unknown", None, None)
    assert case["highest_safe_level"] is None
    assert words in case["why"]


def test_an_unknown_air_hole_leaves_the_blocked_case_known() -> None:
    found = stopped({"siphon_drop": None})
    assert found["by_case"]["air hole blocked"]["verdict"] == "ok"
    assert found["verdict"] == "unknown"


def test_what_is_known_to_come_down_may_be_too_much_already() -> None:
    found = stopped({"siphon_drop": "200 mm", "siphon_drop_blocked": "200 mm", "head": None})
    case = found["by_case"]["as recorded"]
    assert case["verdict"] == "over"
    assert case["spilled"] is None
    assert "at least" in case["why"].lower()
    assert "head over its crest" in case["mend"]


def test_a_gate_that_nobody_recorded_leaves_the_levels_open_but_not_a_verdict_both_ways_alike() -> None:
    sections = [{**SUMP["sections"][0]}, SUMP["sections"][1]]  # type: ignore[index]
    for name in ("baffle_passes", "baffle_crest_height"):
        sections[0] = {key: value for key, value in sections[0].items() if key != name}
    found = stopped(sections=sections)
    # The settling section alone holds 60 L and has 39: walled off it takes 4.8 L, and 12 or 36 L go to the return.
    case = found["by_case"]["as recorded"]
    assert (case["verdict"], case["margin"]) == ("ok", None)
    walled = stopped({"head": "40 mm", "siphon_drop": "0 mm"}, sections=sections)
    assert walled["by_case"]["as recorded"]["verdict"] == "unknown"
    assert "how water passes on from settling" in [row["what"] for row in found["lacking"]]


def test_no_running_depth_leaves_the_margin_unknown_and_the_safe_level_known() -> None:
    sections = [SUMP["sections"][0], {**SUMP["sections"][1], "depth": None}]  # type: ignore[index,dict-item]
    found = stopped(sections=sections, return_depth=None)
    assert found["verdict"] == "unknown"
    assert found["highest_safe_level"] is not None
    assert "the running depth of the return section" in [row["what"] for row in found["lacking"]]


def test_levels_that_no_keeper_measured_are_worked_out_from_the_flow() -> None:
    bare = [{**SUMP["sections"][0], "depth": None}, SUMP["sections"][1]]  # type: ignore[dict-item,index]
    without = stopped(sections=bare)
    assert without["running_water"] is None
    assert "the flow, or the running depth, of settling" in [row["what"] for row in without["lacking"]]
    levels = [row["running_level"] for row in stopped(sections=bare, flow="2400 L/h")["levels"][:2]]
    # 2400 L/h over 50 cm: 8 mm by Francis, 1.8385 m0.5/s.
    assert levels[0] == pytest.approx(0.25 + (2.4 / 3600 / 1.8385 / 0.5) ** (2 / 3), abs=0.002)
    assert levels[1] == pytest.approx(0.2)


@pytest.mark.parametrize(
    ("said", "pointer"),
    [
        ({"sections": []}, "/sections"),
        ({"tanks": []}, "/tanks"),
        ({"return_depth": "41 cm"}, "/return_depth"),
        ({"intake_height": "40 cm"}, "/intake_height"),
        ({"sump_length": "60 cm"}, "/sections"),
        ({"tanks": [{**TANK, "siphon_drop_blocked": "10 mm"}]}, "/tanks/0/siphon_drop_blocked"),
    ],
)
def test_what_can_not_be_is_refused_by_name(said: dict[str, Any], pointer: str) -> None:
    with pytest.raises(Invalid) as trouble:
        stopped(**said)
    assert pointer in [fault.pointer for fault in trouble.value.faults]


def test_at_no_level_does_a_sump_hold_that_is_too_small_for_what_comes_down() -> None:
    found = answer(
        STOP_FLOW, {**SUMP, "tanks": [{**TANK, "siphon_drop": "250 mm", "siphon_drop_blocked": "250 mm"}]}
    )
    assert as_recorded(found)["highest_safe_level"] is None
    assert "no-level-is-safe" in {caution.code for caution in found.cautions}


def test_every_step_of_a_spill_can_be_followed(assert_followed: Any) -> None:
    for tank in ({"siphon_drop_blocked": "110 mm"}, {"siphon_drop_blocked": "250 mm"}, {"siphon_drop": None}):
        for made in answer(STOP_FLOW, {**SUMP, "tanks": [{**TANK, **tank}]}).steps:
            assert_followed(made)


depths = st.floats(0.02, 0.39)
drops = st.floats(0, 0.2)


@settings(max_examples=40, deadline=None)
@given(depths, drops, st.floats(0, 0.05), st.floats(0.1, 0.38), st.sampled_from(["over", "under", "open"]))
def test_water_is_conserved_to_a_millilitre(
    depth: float, drop: float, head: float, crest: float, passes: str
) -> None:
    baffle = {
        "over": {"baffle_crest_height": f"{crest} m"},
        "under": {"baffle_gap_height": "3 cm"},
        "open": {},
    }[passes]
    first = {**SUMP["sections"][0], "depth": None, "baffle_crest_height": None}  # type: ignore[dict-item]
    sections = [{**first, "baffle_passes": passes, **baffle}, {**SUMP["sections"][1], "depth": None}]  # type: ignore[dict-item,index]
    found = stopped(
        {"siphon_drop": f"{drop} m", "siphon_drop_blocked": "250 mm", "head": f"{head} m"},
        sections=sections,
        return_depth=f"{depth} m",
        flow="1800 L/h",
    )
    for case in found["cases"]:
        at_rest = sum(row["water"] for row in found["levels"] if row["case"] == case["name"])
        came = found["running_water"] + case["falls"]
        assert at_rest + case["spilled"] == pytest.approx(came, abs=MILLILITRE)


@settings(max_examples=30, deadline=None)
@given(depths, depths, drops)
def test_a_sump_that_holds_at_one_level_holds_at_every_lower_one(
    one: float, other: float, drop: float
) -> None:
    low, high = sorted((one, other))
    tank = {"siphon_drop": f"{drop} m", "siphon_drop_blocked": "200 mm"}
    lower, higher = (stopped(tank, return_depth=f"{depth} m") for depth in (low, high))
    for now, then in zip(lower["cases"], higher["cases"], strict=True):
        assert now["spilled"] <= then["spilled"] + 1e-12
        assert now["margin"] >= then["margin"] - 1e-9


@settings(max_examples=30, deadline=None)
@given(depths, drops, drops)
def test_a_lower_air_hole_never_lets_less_fall_nor_leaves_more_margin(
    depth: float, one: float, other: float
) -> None:
    shallow, deep = sorted((one, other))
    high, low = (
        stopped({"siphon_drop": f"{drop} m", "siphon_drop_blocked": "200 mm"}, return_depth=f"{depth} m")
        for drop in (shallow, deep)
    )
    assert low["falls"] >= high["falls"]
    assert low["margin"] <= high["margin"] + 1e-9
    blocked = low["by_case"]["air hole blocked"]
    assert blocked["falls"] >= low["falls"]
    assert blocked["margin"] <= low["margin"] + 1e-9
