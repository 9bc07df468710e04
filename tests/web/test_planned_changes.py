"""Findings on planned water changes: what moves the water too far at once, and plans that are past. By hand.

The vat holds 200 L at 4 dGH, 4 dKH and 24 degC.
"""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, made
from water_scenes import change, read, set_up_vat, stop_the_clock, water

DAY, THEN = "2026-11-25", "2026-12-02T10:00:00Z"
TANK = {
    "name": "Side",
    "system": "pond",
    "use": "grow-out",
    "footprint": {"shape": "rectangle", "length": "50 cm", "width": "40 cm"},
    "water_depth": "40 cm",
}
"""Another 80 L."""


@pytest.fixture
def vat(furnished: Caller, monkeypatch: pytest.MonkeyPatch) -> Caller:
    stop_the_clock(monkeypatch)
    set_up_vat(furnished)
    for parameter, value in (("hardness", 4), ("alkalinity", 4), ("temperature", 24)):
        read(furnished, DAY, value, parameter)
    water(furnished, "tap", hardness="8.4 dGH", alkalinity="4 dKH", temperature="14 degC")
    water(furnished, "hard", hardness="4 dGH", alkalinity="10 dKH")
    water(furnished, "soft", kind="rain", hardness="0 dGH", alkalinity="4 dKH")
    water(furnished, "like", hardness="4 dGH", alkalinity="4 dKH")
    return furnished


def planned(keeper: Caller, volume: str, source: str | None = "like", **said: Any) -> dict[str, Any]:
    """The finding on a change that is planned, and nothing else of it left behind."""
    body = {"place": "tanks/vat", "changed_at": THEN, "volume": volume, "temperature": "24 degC", **said}
    plan = made(keeper, "water-changes", {"state": "planned", "source": source, **body})
    (one,) = keeper.get("/v1/systems/pond/findings?about=change").get_json()["items"]
    assert (one["subject"], one["origin"]) == (plan["id"], f"/v1/water-changes/{plan['id']}")
    assert keeper.get(one["origin"]).status_code == 200
    assert keeper.delete(one["origin"]).status_code == 204
    found: dict[str, Any] = one
    return found


def test_a_step_is_the_share_times_the_difference_and_is_held_to_a_day(vat: Caller) -> None:
    """Up by 4.4 dGH x 90 / 200 = 1.98 (0.99 of 2), x 91.8 / 200 = 2.02 (1.01). Down by 4 x 99 / 200 = 1.98. 6 dKH x
    49.5 / 200 = 1.485 (0.99 of 1.5), x 50.5 / 200 = 1.515. Cooling by 10 K x 19.8 / 200 = 0.99 of 1, warming by 10 K
    x 39.6 / 200 = 1.98 of 2. Of the same water 99 of 200 L are 0.99 of a half."""
    for volume, source, temperature, verdict, words in (
        (
            "90 L",
            "tap",
            24,
            "ok",
            "moves hardness, alkalinity and temperature in vat no further than a day allows.",
        ),
        (
            "91.8 L",
            "tap",
            24,
            "watch",
            "hardness up by 2.02 dGH, where 2 dGH a day is the most (common practice).",
        ),
        ("99 L", "soft", 24, "ok", ""),
        ("49.5 L", "hard", 24, "ok", ""),
        ("50.5 L", "hard", 24, "watch", "alkalinity up by 1.52 dKH, where 1.5 dKH"),
        ("19.8 L", "like", 14, "ok", ""),
        (
            "20.2 L",
            "like",
            14,
            "watch",
            "temperature down by 1.01 K, where 1 K a day is the most (Maintenance of",
        ),
        ("39.6 L", "like", 34, "ok", ""),
        ("40.4 L", "like", 34, "watch", "temperature up by 2.02 K, where 2 K"),
        ("99 L", "like", 24, "ok", ""),
        ("101 L", "like", 24, "watch", "vat: 50.5 % of its water, where 50 % is the most (common practice)."),
    ):
        one = planned(vat, volume, source, temperature=f"{temperature} degC")
        assert one["verdict"] == verdict, (volume, one["reason"])
        assert words in one["reason"], one["reason"]


def test_what_lacks_is_named_and_hides_no_step_that_is_known(vat: Caller) -> None:
    one = planned(vat, "91.8 L", "tap", temperature=None)
    assert one["verdict"] == "watch"
    assert one["reason"] == (
        "The change planned for 2026-12-02, 91.8 L of tap, is too much at once for vat: hardness up by 2.02 dGH, where 2 dGH"
        " a day is the most (common practice). Spread it over days (ask water-change), or blend water that is nearer. Unknown:"
        " How warm the new water will be is not told: say the change's temperature."
    )
    one = planned(vat, "20 L", "tap", temperature=None)
    assert (one["verdict"], one["value"]) == ("unknown", None)
    one = planned(vat, "20 L", None)
    assert one["verdict"] == "unknown"
    assert one["reason"] == (
        "The change planned for 2026-12-02, 20 L, moves nothing in vat too far, as far as is known. Unknown: Which water comes"
        " in is not told: say the change's source."
    )
    made(vat, "source-waters", {"name": "Well", "kind": "well"})
    assert (
        "No water report of well tells its hardness, nor its calcium."
        in planned(vat, "20 L", "well")["reason"]
    )


def test_old_tests_of_the_water_there_tell_nothing(vat: Caller, monkeypatch: pytest.MonkeyPatch) -> None:
    """Three weeks on they still count, five weeks on no longer."""
    stop_the_clock(monkeypatch, "2026-12-16T18:00:00Z")
    assert planned(vat, "20 L", changed_at="2026-12-31T10:00:00Z")["verdict"] == "ok"
    stop_the_clock(monkeypatch, "2026-12-30T18:00:00Z")
    one = planned(vat, "20 L", changed_at="2026-12-31T10:00:00Z")
    assert one["verdict"] == "unknown"
    assert "Hardness was last tested on 2026-11-25: test it again." in one["reason"]


def test_a_plan_that_is_a_day_past_asks_what_became_of_it(vat: Caller) -> None:
    """Now is 25 November 18:00."""
    assert planned(vat, "20 L", changed_at="2026-11-24T18:01:00Z")["verdict"] == "ok"
    one = planned(vat, "150 L", changed_at="2026-11-24T17:59:00Z")
    assert (one["verdict"], one["reason"]) == (
        "unknown",
        "Unknown whether the change planned for 2026-11-24 was done: set its state to done, or delete it.",
    )


def test_a_change_in_one_tank_moves_that_tank_before_it_mixes(vat: Caller) -> None:
    """With the side tank the system holds 280 L: 60 L are 75 % of 80 L, 21 % of all."""
    made(vat, "tanks", TANK)
    one = planned(vat, "60 L", place="tanks/side")
    assert one["verdict"] == "watch"
    assert "60 L of like, is too much at once for side: 75 % of its water" in one["reason"]
    assert planned(vat, "60 L", place="systems/pond")["verdict"] == "ok"
    one = planned(vat, "141.4 L", place="systems/pond")
    assert "for pond: 50.5 % of its water" in one["reason"]


def test_a_plan_for_more_than_there_is_wants_correcting(vat: Caller) -> None:
    plan = {"place": "systems/pond", "changed_at": THEN, "volume": "150 L", "state": "planned"}
    made(vat, "water-changes", plan)
    vat.patch("/v1/tanks/vat", {"water_depth": "20 cm"})  # as it was planned there were 200 L
    (one,) = vat.get("/v1/systems/pond/findings?about=change").get_json()["items"]
    assert one["verdict"] == "act"
    assert one["reason"].endswith("is more than the 100 L that pond holds: correct it.")
    made(
        vat, "sumps", {"name": "Tray", "system": "pond", "length": "1 m", "width": "30 cm", "height": "30 cm"}
    )
    section = {"sump": "tray", "position": 1, "use": "return", "direction": "along", "length": "20 cm"}
    made(vat, "sections", section)
    (one,) = vat.get("/v1/systems/pond/findings?about=change").get_json()["items"]
    assert one["verdict"] == "unknown"
    assert one["reason"].endswith("No running depth is recorded for: tray-return-1.")


def test_what_was_done_is_no_plan_and_a_retired_tank_has_none(vat: Caller) -> None:
    made(vat, "tanks", TANK)
    change(vat, DAY, "150 L", source="tap")
    change(vat, "2026-12-02", "60 L", place="tanks/side", state="planned")
    path = "/v1/systems/pond/findings?about=change"
    assert len(vat.get(path).get_json()["items"]) == 1
    vat.patch("/v1/tanks/side", {"retired_at": "2026-11-25T17:00:00Z"})
    assert vat.get(path).get_json()["items"] == []


def test_volumes_are_told_in_the_rooms_units(vat: Caller) -> None:
    """101 L are 26.7 US gallons; a step of temperature stays one of kelvins."""
    vat.patch("/v1/room", {"preferred_units": {"volume": "gal", "temperature": "degF"}})
    reason = planned(vat, "101 L", temperature="34 degC")["reason"]
    assert "26.7 gal of like" in reason
    assert "temperature up by 5.05 K, where 2 K" in reason
