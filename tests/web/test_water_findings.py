"""Findings on the water by its latest tests: ammonia, nitrite beside chloride, oxygen. Every sum by hand."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from harness import Caller, made, on_both_engines
from water_scenes import feed, read, set_up_vat, stock_larder, stop_the_clock, water

DAY = "2026-11-25"
"""The day of the scenes' now, which is 18:00."""


@pytest.fixture
def vat(furnished: Caller, monkeypatch: pytest.MonkeyPatch) -> Caller:
    stop_the_clock(monkeypatch)
    set_up_vat(furnished)
    return furnished


def found(keeper: Caller, about: str, system: str = "pond") -> list[dict[str, Any]]:
    answered = keeper.get(f"/v1/systems/{system}/findings?about={about}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    items: list[dict[str, Any]] = answered.get_json()["items"]
    for one in items:
        assert keeper.get(one["origin"]).status_code == 200, one
    return items


def only(keeper: Caller, about: str, system: str = "pond") -> dict[str, Any]:
    (one,) = found(keeper, about, system)
    return one


def verdicts(
    keeper: Caller, about: str, parameter: str, values: tuple[Any, ...], hour: int = 13
) -> list[str]:
    """The verdict after each of some tests, one a minute of an hour."""
    told = []
    for minute, value in enumerate(values):
        read(keeper, DAY, value, parameter, f"{hour}:{minute:02}")
        (one,) = keeper.get(f"/v1/systems/pond/findings?about={about}").get_json()["items"]
        told.append(one["verdict"])
    return told


def test_water_that_was_never_tested_has_no_finding(vat: Caller) -> None:
    for about in ("ammonia", "nitrite", "oxygen", "alkalinity", "hardness", "change", "nitrifiers"):
        assert found(vat, about) == []


@on_both_engines
def test_ammonia_is_judged_by_its_un_ionized_part(vat: Caller) -> None:
    """pKa at 295.95 K is 0.09018 + 2729.92 / 295.95 = 9.31444; at pH 8.1 the share is 1 / (1 + 10 ^ 1.21444) =
    5.752 %, and of 0.4 mg/L 0.0230 mg/L NH3-N, between the 0.02 that strain and the 0.05 that harm."""
    read(vat, DAY, 8.1, "ph")
    read(vat, DAY, 22.8, "temperature")
    read(vat, DAY, 0.4, "total_ammonia")
    one = only(vat, "ammonia")
    assert (one["verdict"], one["place"], one["system"]) == ("watch", "systems/pond", "pond")
    assert one["value"] == {"value": pytest.approx(0.4 * 0.05752, rel=1e-3), "unit": "mg/L NH3-N"}
    assert one["limit"] == {"value": 0.02, "unit": "mg/L NH3-N"}
    assert one["since"] == "2026-11-25T12:00:00Z"
    assert one["origin"] == "/v1/systems/pond/answers/ammonia"
    assert one["reason"] == (
        "Total ammonia was 0.4 mg/L NH3-N, of which 5.75 % is un-ionized at pH 8.1 and 22.8 degC: 0.023 mg/L NH3-N. From"
        " 0.02 mg/L NH3-N on it strains fish. Feed less, change water, don't let the pH rise, and test again tomorrow."
    )


def test_the_verdict_on_ammonia_turns_at_its_limits(vat: Caller) -> None:
    """0.02 / 0.05752 = 0.3477 mg/L of total ammonia strain, 0.05 / 0.05752 = 0.8693 harm: 0.99 and 1.01 of them. A
    test that says only below or above bounds them from one side."""
    read(vat, DAY, 8.1, "ph")
    read(vat, DAY, 22.8, "temperature")
    told = verdicts(vat, "ammonia", "total_ammonia", (0.3442, 0.3512, 0.8606, 0.8780, 0))
    assert told == ["ok", "watch", "watch", "act", "ok"]
    told = verdicts(
        vat, "ammonia", "total_ammonia", ("<0.05", "<0.3", "<0.5", "<8", ">0.2", ">0.5", ">8"), 14
    )
    assert told == ["ok", "ok", "unknown", "unknown", "unknown", "watch", "act"]
    read(vat, DAY, "<0.3", "total_ammonia", "15:00")
    one = only(vat, "ammonia")
    assert "below 0.3 mg/L NH3-N, of which 5.75 % is un-ionized" in one["reason"]
    assert one["origin"] == "/v1/readings?gauge=vat-total-ammonia-by-hand"


def test_ammonia_without_a_fresh_ph_and_temperature_is_unknown_unless_there_is_next_to_none(
    vat: Caller,
) -> None:
    """All of 0.019 mg/L un-ionized would still be less than the 0.02 that strains fish."""
    assert verdicts(vat, "ammonia", "total_ammonia", (0.019, "<0.01", 0.021)) == ["ok", "ok", "unknown"]
    reason = only(vat, "ammonia")["reason"]
    assert reason.endswith("pH was never tested: test it. Temperature was never tested: test it.")
    read(vat, "2026-10-20", 7.0, "ph")
    read(vat, DAY, 22.8, "temperature")
    assert "pH was last tested on 2026-10-20: test it again." in only(vat, "ammonia")["reason"]
    read(vat, DAY, "<6", "ph")
    assert "pH was only told as below 6 pH" in only(vat, "ammonia")["reason"]


def test_a_test_tells_of_thirty_days_and_of_no_more(vat: Caller) -> None:
    """From 25 November 18:00 back to 26 October 18:00."""
    read(vat, "2026-10-26", 0.01, "total_ammonia", "17:59")
    read(vat, "2026-10-26", "<0.02", "nitrite", "18:00")
    one = only(vat, "ammonia")
    assert (one["verdict"], one["value"]) == ("unknown", None)
    assert one["reason"] == "Unknown. Total ammonia was last tested on 2026-10-26: test it again."
    assert only(vat, "nitrite")["verdict"] == "ok"


def test_old_tests_where_nothing_is_fed_are_left_alone(vat: Caller) -> None:
    """A ration without feeds says that nothing is fed; a bad test of today still counts."""
    for parameter in ("total_ammonia", "nitrite", "dissolved_oxygen", "alkalinity"):
        read(vat, "2026-08-01", 0.5, parameter)
    abouts = ("ammonia", "nitrite", "oxygen", "alkalinity")
    assert [only(vat, about)["verdict"] for about in abouts] == ["unknown"] * 4
    feed(vat)
    assert [found(vat, about) for about in (*abouts, "nitrifiers")] == [[]] * 5
    read(vat, DAY, 1, "nitrite")
    assert only(vat, "nitrite")["verdict"] == "watch"


def test_nitrite_is_held_against_ten_times_as_much_chloride(vat: Caller) -> None:
    """0.5 mg/L NO2 take 5 mg/L of chloride; 4.95 (0.99 of it) protect against 0.495, 5.05 against 0.505."""
    read(vat, DAY, 0.5, "nitrite")
    one = only(vat, "nitrite")
    assert (one["verdict"], one["limit"]) == ("watch", None)
    assert (
        "it takes 5 mg/L, ten times the nitrite as NO2. Chloride was never tested: test it." in one["reason"]
    )
    read(vat, DAY, 4.95, "chloride", "12:30")
    one = only(vat, "nitrite")
    assert (one["verdict"], one["value"]) == ("act", {"value": 0.5, "unit": "mg/L NO2"})
    assert one["limit"] == {"value": pytest.approx(0.495), "unit": "mg/L NO2"}
    assert "chloride is 4.95 mg/L (tested 2026-11-25), less than 5 mg/L" in one["reason"]
    read(vat, DAY, 5.05, "chloride", "12:40")
    one = only(vat, "nitrite")
    assert (one["verdict"], one["limit"]["value"]) == ("watch", pytest.approx(0.505))
    assert "at least ten times as much" in one["reason"]


def test_nitrite_told_only_below_or_above_is_judged_by_what_that_leaves_open(vat: Caller) -> None:
    """Below 0.1 mg/L is none. 5 mg/L of chloride protect against 0.5: below 0.4 is well, below 1 may be or not."""
    assert verdicts(vat, "nitrite", "nitrite", (0, "<0.1", "<0.5", ">1")) == ["ok", "ok", "unknown", "watch"]
    read(vat, DAY, 5, "chloride")
    assert verdicts(vat, "nitrite", "nitrite", ("<0.4", "<1", ">0.4", ">1"), 14) == [
        "ok",
        "unknown",
        "watch",
        "act",
    ]


def test_chloride_comes_from_the_source_water_where_no_fresh_test_tells_it(vat: Caller) -> None:
    read(vat, "2026-06-01", 500, "chloride")
    read(vat, DAY, 2, "nitrite")
    assert "Chloride was last tested on 2026-06-01: test it again." in only(vat, "nitrite")["reason"]
    water(vat, "tap", chloride="12 mg/L")
    one = only(vat, "nitrite")
    assert one["verdict"] == "act"
    assert "chloride is 12 mg/L (not tested; by water tap, report of 2026-01-01)" in one["reason"]


def test_oxygen_is_held_against_what_warm_water_fish_need(vat: Caller) -> None:
    """3 mg/L at the least, 5 to stay healthy: 0.99 and 1.01 of them, and what below and above leave open."""
    told = verdicts(vat, "oxygen", "dissolved_oxygen", (2.97, 3.03, 4.95, 5.05))
    assert told == ["act", "watch", "watch", "ok"]
    one = only(vat, "oxygen")
    assert (one["value"]["value"], one["limit"]) == (5.05, {"value": 5, "unit": "mg/L"})
    told = verdicts(vat, "oxygen", "dissolved_oxygen", ("<3", "<4", "<6", ">2", ">4", ">5"), 14)
    assert told == ["act", "watch", "unknown", "unknown", "unknown", "ok"]


def test_a_reading_of_oxygen_tells_of_two_days(vat: Caller) -> None:
    read(vat, "2026-11-23", 8, "dissolved_oxygen", "17:59")
    one = only(vat, "oxygen")
    assert one["reason"] == "Unknown. Dissolved oxygen was last tested on 2026-11-23: test it again."
    read(vat, "2026-11-23", 8, "dissolved_oxygen", "18:01")
    assert only(vat, "oxygen")["verdict"] == "ok"


def test_excluded_tests_and_those_to_come_do_not_count(vat: Caller) -> None:
    read(vat, "2026-11-20", "<0.05", "nitrite")
    read(vat, DAY, 9, "nitrite")
    assert only(vat, "nitrite")["verdict"] == "watch"
    span = {"from": "2026-11-25T11:00:00Z", "to": "2026-11-25T13:00:00Z"}
    made(vat, "exclusions", {"gauge": "vat-nitrite-by-hand", "reason": "Wrong vial.", **span})
    one = only(vat, "nitrite")
    assert (one["verdict"], one["since"]) == ("ok", "2026-11-20T12:00:00Z")


def test_each_system_is_judged_by_its_own_tests_and_one_without_tanks_or_with_retired_ones_is_not(
    vat: Caller,
) -> None:
    made(vat, "systems", {"name": "Empty"})
    read(vat, DAY, 9, "nitrite", place="systems/empty")
    read(vat, DAY, "<0.02", "nitrite")
    read(vat, DAY, 2, "nitrite", place="tanks/nursery")
    told = {
        one["system"]: one["verdict"] for one in vat.get("/v1/findings?about=nitrite").get_json()["items"]
    }
    assert told == {"rill": "watch", "pond": "ok"}
    side = {"name": "Side", "system": "pond", "use": "display", "water_depth": "40 cm"}
    made(
        vat,
        "tanks",
        {**side, "footprint": {"shape": "rectangle", "length": "50 cm", "width": "40 cm"}},
    )
    read(vat, DAY, 3, "nitrite", "12:30", place="tanks/side")
    assert only(vat, "nitrite")["verdict"] == "watch"
    vat.patch("/v1/tanks/side", {"retired_at": "2026-11-25T17:00:00Z"})
    assert only(vat, "nitrite")["verdict"] == "ok"
    vat.patch("/v1/tanks/vat", {"retired_at": "2026-11-25T17:00:00Z"})
    assert found(vat, "nitrite") == []


def test_sentences_and_values_speak_the_rooms_units(vat: Caller) -> None:
    """22.8 degC is 73.04 degF; 0.0230 mg/L NH3-N is 0.0280 as NH3 (17.031 / 14.007 times); 4 dKH is 71.4 mg/L CaCO3."""
    for parameter, value in (
        ("ph", 8.1),
        ("temperature", 22.8),
        ("total_ammonia", 0.4),
        ("alkalinity", 4),
    ):
        read(vat, DAY, value, parameter)
    units = {"temperature": "degF", "ammonia": "mg/L NH3", "alkalinity": "mg/L CaCO3"}
    assert vat.patch("/v1/room", {"preferred_units": units}).status_code == 200
    one = only(vat, "ammonia")
    assert "at pH 8.1 and 73 degF: 0.028 mg/L NH3." in one["reason"]
    assert one["value"] == {"value": pytest.approx(0.02798, rel=1e-3), "unit": "mg/L NH3"}
    assert one["limit"] == {"value": pytest.approx(0.02 * 17.031 / 14.007, rel=1e-4), "unit": "mg/L NH3"}
    one = only(vat, "alkalinity")
    assert one["value"] == {"value": pytest.approx(71.39, rel=1e-3), "unit": "mg/L CaCO3"}
    assert one["limit"] == {"value": pytest.approx(40), "unit": "mg/L CaCO3"}
    assert one["reason"].startswith("Alkalinity was 71.4 mg/L CaCO3.")


def test_a_gauge_in_another_unit_is_told_in_its_own(vat: Caller) -> None:
    """0.5 mg/L as N is 0.5 x 46.005 / 14.007 = 1.642 mg/L NO2: it takes 16.4 mg/L of chloride."""
    body = {"name": "N", "parameter": "nitrite", "place": "tanks/vat", "unit": "mg/L NO2-N", "by_hand": True}
    made(vat, "gauges", body)
    vat.post("/v1/readings", {"gauge": "n", "value": 0.5, "at": f"{DAY}T12:00:00Z"})
    one = only(vat, "nitrite")
    assert one["value"] == {"value": 0.5, "unit": "mg/L NO2-N"}
    assert one["reason"].startswith("Nitrite was 0.5 mg/L NO2-N. Unknown whether chloride protects")
    assert "it takes 16.4 mg/L" in one["reason"]


def test_the_sheet_has_a_row_for_each(vat: Caller) -> None:
    stock_larder(vat)
    feed(vat, ("granules", "2 g"))
    read(vat, DAY, 2, "dissolved_oxygen")
    read(vat, DAY, "<0.05", "nitrite")
    text = vat.get("/v1/systems/pond/findings?format=csv").get_data(as_text=True)
    rows = {row["about"]: row for row in csv.DictReader(io.StringIO(text))}
    oxygen = rows["oxygen"]
    shown = [oxygen[name] for name in ("verdict", "subject", "value", "value_unit", "limit", "limit_unit")]
    assert shown == ["act", "dissolved_oxygen", "2", "mg/L", "3", "mg/L"]
    assert rows["nitrite"]["limit"] == ""
    assert next(iter(rows)) == "oxygen"


def test_poison_comes_before_all_but_an_alarm_and_what_creeps_comes_after_what_floods(vat: Caller) -> None:
    """The order within a verdict, as the document lists what findings are about."""
    schema = vat.get("/openapi.json").get_json()["components"]["schemas"]["Finding"]
    order = schema["properties"]["about"]["enum"]
    assert order[:4] == ["contact", "ammonia", "nitrite", "oxygen"]
    places = [
        order.index(one) for one in ("spill", "target", "change", "alkalinity", "hardness", "nitrifiers")
    ]
    assert places == sorted(places)
    for parameter, value in (("dissolved_oxygen", 1), ("nitrite", 50), ("chloride", 1)):
        read(vat, DAY, value, parameter)
    items = vat.get("/v1/systems/pond/findings?verdict=act").get_json()["items"]
    assert [one["about"] for one in items][:2] == ["nitrite", "oxygen"]
