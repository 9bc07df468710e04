"""Top-off: days until air, the float's level, what may stand behind it. By hand, and by what must hold."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weirbook.engine.calculators.top_off import TOP_OFF
from weirbook.engine.shape import Answer, answer
from weirbook.errors import Invalid

RETURN = {"name": "return", "use": "return", "direction": "along", "length": "45 cm"}
SETTLING = {"name": "settling", "use": "settling", "direction": "along", "length": "40 cm"}
OVER = {"baffle_passes": "over", "baffle_crest_height": "30 cm"}
UNDER = {"baffle_passes": "under", "baffle_gap_height": "5 cm"}


def asked(**said: Any) -> Answer:
    """A return section of 36 x 45 cm, 16.2 dm2, running 24 cm deep over an intake at 8 cm."""
    inputs = {
        "sections": [{**SETTLING, **OVER}, RETURN],
        "sump_width": "36 cm",
        "sump_height": "42 cm",
        "flow": "1500 L/h",
        "return_depth": "24 cm",
        "intake_height": "8 cm",
        "evaporation": "6 L/d",
        **said,
    }
    return answer(TOP_OFF, {name: value for name, value in inputs.items() if value is not None})


def refused(pointer: str, **said: Any) -> str:
    with pytest.raises(Invalid) as trouble:
        asked(**said)
    (fault,) = trouble.value.faults or [trouble.value]
    assert fault.pointer == pointer
    return fault.message


def test_the_days_by_hand() -> None:
    """16.2 dm2 x 1.6 dm = 25.92 L above the intake; 6 L a day: 4.32 days."""
    values = asked().values
    assert values["water_to_intake"] == pytest.approx(0.02592)
    assert values["time_to_air"] / 86400 == pytest.approx(4.32)


def test_a_height_a_day_over_the_open_water_is_the_same() -> None:
    """3 mm a day over 2 m2 are 6 L."""
    by_height = asked(evaporation=None, evaporation_height="3 mm/d", open_area="2 m2").values
    assert by_height["evaporation_a_day"] == pytest.approx(asked().values["evaporation_a_day"])
    assert by_height["time_to_air"] == pytest.approx(asked().values["time_to_air"])


def test_sections_that_are_freely_joined_give_their_water_too() -> None:
    """Under a baffle both sink together while the water runs slowly: 36 x 85 cm x 1.6 dm = 48.96 L."""
    values = asked(sections=[{**SETTLING, **UNDER}, RETURN], flow="1 L/h").values
    assert values["water_to_intake"] == pytest.approx(0.04896, rel=1e-3)


def test_the_largest_reservoir_fills_the_return_section_to_the_safe_level() -> None:
    """From 24 to 29 cm, below the crest at 30: 16.2 dm2 x 0.5 dm = 8.1 L; at 6 L a day it lasts 1.35 days."""
    values = asked(highest_safe_level="29 cm").values
    assert values["largest_reservoir"] == pytest.approx(0.0081)
    assert values["reservoir_lasts"] / 86400 == pytest.approx(1.35)
    assert values["reservoir_height"] == pytest.approx(0.24 + 0.30)
    assert values["verdict"] == "unknown"  # how much stands there was not said


@pytest.mark.parametrize(("volume", "verdict"), [("8 L", "ok"), ("8.2 L", "over")])
def test_a_reservoir_is_held_to_what_a_stuck_valve_may_let_in(volume: str, verdict: str) -> None:
    assert asked(highest_safe_level="29 cm", reservoir_volume=volume).values["verdict"] == verdict


def test_a_float_stands_no_higher_than_is_safe() -> None:
    values = asked(highest_safe_level="20 cm").values
    assert values["float_level"] == pytest.approx(0.20)
    assert values["largest_reservoir"] == pytest.approx(0.0)


def test_where_no_level_covers_the_intake_nothing_serves() -> None:
    values = asked(highest_safe_level="12 cm").values
    assert (values["verdict"], values["float_level"], values["reservoir_height"]) == ("over", None, None)
    assert "No level serves" in values["why"]


def test_a_pump_that_draws_air_already_has_no_days_left() -> None:
    given_ = asked(return_depth="7 cm")
    assert given_.values["time_to_air"] == 0
    assert "intake-uncovered" in [one.code for one in given_.cautions]


def test_without_a_running_depth_it_is_unknown() -> None:
    values = asked(return_depth=None).values
    assert (values["verdict"], values["time_to_air"]) == ("unknown", None)


def test_it_warns_of_the_mains_and_of_a_valve_that_sticks() -> None:
    codes = {one.code for one in asked().cautions}
    assert {"stuck-valve", "no-mains-behind-it", "air-gap", "pump-runs-dry", "safe-level-not-told"} <= codes


def test_the_evaporation_is_said_once() -> None:
    assert "once" in refused("/evaporation", evaporation=None)
    assert "once" in refused("/evaporation", evaporation_height="3 mm/d", open_area="2 m2")
    assert "open_area" in refused("/open_area", evaporation=None, evaporation_height="3 mm/d")


def test_an_intake_above_the_rim_is_refused() -> None:
    refused("/intake_height", intake_height="50 cm")


@settings(max_examples=40, deadline=None)
@given(
    depth=st.floats(0.09, 0.40),
    intake=st.floats(0.0, 0.08),
    evaporation=st.floats(0.1, 60.0),
    flow=st.floats(1.0, 6000.0),
)
def test_more_water_lasts_longer_and_more_loss_shorter(
    depth: float, intake: float, evaporation: float, flow: float
) -> None:
    def days(deeper: float = 0.0, times: float = 1.0) -> float:
        said = {
            "return_depth": f"{depth + deeper} m",
            "intake_height": f"{intake} m",
            "evaporation": f"{evaporation * times} L/d",
            "flow": f"{flow} L/h",
        }
        return float(asked(**said).values["time_to_air"])

    assert days(deeper=0.01) > days()
    assert days(times=2) == pytest.approx(days() / 2)


def test_an_intake_above_the_water_has_none_left_and_is_not_called_hardly_covered() -> None:
    dry = asked(return_depth="24 cm", intake_height="30 cm")
    assert dry.values["verdict"] == "over" and dry.values["water_to_intake"] == 0
    assert {"intake-uncovered", "intake-hardly-covered"} & {one.code for one in dry.cautions} == {
        "intake-uncovered"
    }
    low = asked(return_depth="24 cm", intake_height="22 cm")
    assert "intake-hardly-covered" in {one.code for one in low.cautions}
