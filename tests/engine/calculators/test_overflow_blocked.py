"""Blocked overflow: the return section's water against the tank's freeboard. By hand, and by what must hold."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.overflow_blocked import OVERFLOW_BLOCKED
from weirbook.engine.shape import Answer, answer
from weirbook.errors import Invalid

CASES = Path(__file__).parents[3] / "fixtures" / "published" / "drain_down_worked.csv"
RETURN = {"name": "return", "use": "return", "direction": "along", "length": "30 cm"}
SETTLING = {"name": "settling", "use": "settling", "direction": "along", "length": "40 cm", "depth": "34 cm"}


def asked(**said: Any) -> Answer:
    """A tank of 60 dm2 with 5 cm of freeboard over a return section of 30 x 45 cm, 25 cm deep, intake at 5 cm."""
    inputs = {
        "plan_area": "0.6 m2",
        "rim_height": "55 cm",
        "water_depth": "50 cm",
        "sections": [RETURN],
        "sump_width": "45 cm",
        "sump_height": "45 cm",
        "return_depth": "25 cm",
        "intake_height": "5 cm",
        "flow": "1200 L/h",
        **said,
    }
    return answer(OVERFLOW_BLOCKED, {name: value for name, value in inputs.items() if value is not None})


def test_what_fits_by_hand() -> None:
    """13.5 dm2 x 2 dm = 27 L go up, 60 dm2 x 0.5 dm = 30 L fit: the water rises 45 mm, 5 are left; 27 L at 20 L/min."""
    values = asked().values
    assert values["verdict"] == "ok"
    assert values["lifted"] == pytest.approx(0.027)
    assert values["rise"] == pytest.approx(0.045)
    assert values["margin"] == pytest.approx(0.005)
    assert values["spilled"] == 0
    assert values["time_to_air"] / 60 == pytest.approx(1.35)


def test_what_spills_by_hand() -> None:
    """33 cm deep 37.8 L go up: 7.8 L over the rim. Safe is what 30 L stand for: 5 + 30 / 1.35 = 27.2 cm."""
    values = asked(return_depth="33 cm").values
    assert values["verdict"] == "over"
    assert values["spilled"] == pytest.approx(0.0078)
    assert values["margin"] == pytest.approx(-0.013)
    assert values["highest_safe_level"] == pytest.approx(0.05 + 0.030 / 0.135)
    assert values["time_to_rim"] / 60 == pytest.approx(1.5)
    assert "Lower the running level" in values["mend"]


def test_sections_before_a_crest_keep_what_stands_below_it() -> None:
    """40 x 45 cm stand 34 cm deep before a crest at 30: 4 cm, 7.2 L, come too."""
    before = {**SETTLING, "baffle_passes": "over", "baffle_crest_height": "30 cm"}
    values = asked(sections=[before, RETURN]).values
    assert values["lifted"] == pytest.approx(0.027 + 0.0072)


def test_sections_that_are_freely_joined_give_all_above_the_intake() -> None:
    """40 x 45 cm from 34 down to 5 cm: 52.2 L besides."""
    values = asked(sections=[{**SETTLING, "baffle_passes": "open"}, RETURN]).values
    assert values["lifted"] == pytest.approx(0.027 + 0.0522)


def test_a_box_that_runs_empty_comes_on_top() -> None:
    """30 x 12 x 10 cm are 3.6 L."""
    values = asked(box_length="30 cm", box_width="12 cm", box_depth="10 cm").values
    assert values["lifted"] == pytest.approx(0.027 + 0.0036)


def test_the_water_of_a_worked_sump_drawn_to_its_floor() -> None:
    """Each row's sump_running_volume_l, less what its baffles hold back: the chambers before them below their tops."""
    with CASES.open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows
    for row in rows:
        chambers = [n for n in (1, 2, 3) if row[f"chamber{n}_area_m2"]]
        areas = [float(row[f"chamber{n}_area_m2"]) for n in chambers]
        levels = [float(row[f"chamber{n}_running_level_m"]) for n in chambers]
        tops = [float(row[f"baffle{n}_top_m"]) for n in chambers[:-1]]
        sections = [
            {
                "name": f"chamber {index + 1}",
                "use": "other",
                "direction": "along",
                "length": f"{area} m",
                "width": "1 m",
                "depth": f"{level} m",
                **(
                    {"baffle_passes": "over", "baffle_crest_height": f"{tops[index]} m"}
                    if index < len(tops)
                    else {}
                ),
            }
            for index, (area, level) in enumerate(zip(areas, levels, strict=True))
        ]
        said = {"sections": sections, "sump_width": "1 m", "sump_height": "1 m", "return_depth": None}
        values = asked(**said, intake_height="0 m", flow=None).values
        stays = sum(area * min(level, top) for area, level, top in zip(areas, levels, tops, strict=False))
        whole = float(row["sump_running_volume_l"]) / 1000
        assert values["lifted"] == pytest.approx(whole - stays, abs=1e-4), row["case_id"]


def test_without_the_intakes_height_it_judges_as_far_as_it_can() -> None:
    """All 33.75 L would be too much, none would fit: unknown. In a higher tank all fits whatever it is."""
    values = asked(intake_height=None).values
    assert (values["verdict"], values["lifted"]) == ("unknown", None)
    assert values["most_lifted"] == pytest.approx(0.03375)
    assert "the height of the pump's intake" in values["why"]
    assert asked(intake_height=None, rim_height="60 cm").values["verdict"] == "ok"


def test_water_above_the_tanks_rim_is_refused() -> None:
    with pytest.raises(Invalid) as trouble:
        asked(water_depth="56 cm")
    assert [fault.pointer for fault in trouble.value.faults] == ["/water_depth"]


def test_it_asks_for_a_second_way_out() -> None:
    codes = {one.code for one in asked().cautions}
    assert {
        "second-overflow",
        "top-off-adds-water",
        "pump-runs-dry",
        "flooding-and-electricity",
        "test-it",
    } <= codes


levels = st.floats(0.06, 0.44)


@settings(max_examples=50, deadline=None)
@given(one=levels, other=levels, rim=st.floats(0.5, 0.7), area=st.floats(0.1, 2.0))
def test_a_lower_running_level_never_leaves_less_margin(
    one: float, other: float, rim: float, area: float
) -> None:
    def margin(depth: float) -> float:
        said = {"return_depth": f"{depth} m", "rim_height": f"{rim} m", "plan_area": f"{area} m2"}
        return float(asked(**said).values["margin"])

    low, high = sorted((one, other))
    assert margin(low) >= margin(high) - 1e-12


@settings(max_examples=50, deadline=None)
@given(depth=levels, rim=st.floats(0.5, 0.7), area=st.floats(0.1, 2.0))
def test_no_water_is_made_or_lost(depth: float, rim: float, area: float) -> None:
    """What is lifted stands in the tank up to its rim, or went over it: to a millilitre."""
    said = {"return_depth": f"{depth} m", "rim_height": f"{rim} m", "plan_area": f"{area} m2"}
    values = asked(**said).values
    kept = min(values["lifted"], values["room"])
    assert kept + values["spilled"] == pytest.approx(values["lifted"], abs=1e-6)
    safe = values["highest_safe_level"]
    assert (values["verdict"] == "over") == (depth > safe + 1e-9)


def test_a_margin_of_millimetres_is_said_to_be_narrow() -> None:
    """27 L over 60 dm2 rise 45 mm: 5 mm below a rim of 55 cm, 55 mm below one of 60 cm."""
    for rim, narrow in (("55 cm", True), ("60 cm", False)):
        found = asked(rim_height=rim)
        assert found.values["verdict"] == "ok"
        assert ("narrow-margin" in {one.code for one in found.cautions}) is narrow
