"""Findings on where the water is heading: alkalinity, hardness of a top-off, surface for bacteria. By hand.

The vat holds 200 L. 2 g of granules a day make 2 x 0.46 x 0.092 = 0.08464 g of ammonia nitrogen, 0.59248 g a week; two
equivalents a mole (14.007 g) are 0.08460 eq, in 200 L 0.42299 meq/L, at 2.8043 dKH a meq/L 1.186 dKH a week. 40 mg/L
CaCO3, which nitrification needs, are 40 / 17.848 = 2.241 dKH.
"""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, made, on_both_engines
from water_scenes import (
    NOW,
    change,
    facts_at,
    feed,
    read,
    set_up_vat,
    stock_larder,
    stop_the_clock,
    water,
)

from weirbook.actions.fill_water import water_of
from weirbook.actions.judge_exchange import trend_of
from weirbook.app import Service
from weirbook.engine.units import Quantity

DAY = "2026-11-25"


@pytest.fixture
def vat(furnished: Caller, monkeypatch: pytest.MonkeyPatch) -> Caller:
    stop_the_clock(monkeypatch)
    set_up_vat(furnished)
    stock_larder(furnished)
    return furnished


def found(keeper: Caller, about: str) -> list[dict[str, Any]]:
    answered = keeper.get(f"/v1/systems/pond/findings?about={about}")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    items: list[dict[str, Any]] = answered.get_json()["items"]
    for one in items:
        assert keeper.get(one["origin"]).status_code == 200, one
    return items


def only(keeper: Caller, about: str) -> dict[str, Any]:
    (one,) = found(keeper, about)
    return one


def tested(keeper: Caller, **values: Any) -> None:
    """Alkalinity by days of November: _3=6 is 6 dKH on the 3rd at noon."""
    for day, value in values.items():
        read(keeper, f"2026-11-{int(day[1:]):02}", value, "alkalinity")


def a_week(app: Service, room_id: int, parameter: str = "alkalinity") -> float | None:
    """The trend in dKH a week."""
    with facts_at(app, room_id, NOW) as facts:
        trend = trend_of(water_of(facts), parameter)
    return None if trend.a_week is None else Quantity(trend.a_week, "eq/m3").to("dKH", "alkalinity").value


@on_both_engines
def test_alkalinity_falls_by_the_line_of_least_squares(vat: Caller, app: Service, room_id: int) -> None:
    """Weeks 0 to 3, mean 1.5; values 6, 5.4, 5.2, 4.6, mean 5.3. Sum of products -1.5 x 0.7 - 0.5 x 0.1 - 0.5 x 0.1 -
    1.5 x 0.7 = -2.2, of squares 5: -0.44 dKH a week; (4.6 - 2.241) / 0.44 = 5.4 weeks are left."""
    feed(vat, ("granules", "2 g"))
    tested(vat, _3=6, _10=5.4, _17=5.2, _24=4.6)
    assert a_week(app, room_id) == pytest.approx(-0.44)
    one = only(vat, "alkalinity")
    assert (one["verdict"], one["value"]) == ("watch", {"value": 4.6, "unit": "dKH"})
    assert one["limit"] == {"value": pytest.approx(2.2411, rel=1e-4), "unit": "dKH"}
    assert one["since"] == "2026-11-24T12:00:00Z"
    assert one["reason"] == (
        "Alkalinity was 4.6 dKH and falls by 0.44 dKH a week, by 4 tests within 8 weeks: at this pace it is at the 2.24 dKH that"
        " the filter's bacteria need in about 5 weeks. The ammonia of the food uses up about 1.19 dKH a week on its way to"
        " nitrate. Larger or more frequent changes, or a dose, hold it."
    )


def test_tests_at_irregular_times_weigh_by_their_time(vat: Caller, app: Service, room_id: int) -> None:
    """On the 3rd, 10th and 24th, and the 25th at noon: weeks 0, 1, 3, 22/7, on a line of -0.2 a week: 8, 7.8, 7.4 and
    7.3714. (7.3714 - 2.241) / 0.2 = 25.7 weeks: more than eight, so well."""
    tested(vat, _3=8, _10=7.8, _24=7.4, _25=8 - 0.2 * 22 / 7)
    assert a_week(app, room_id) == pytest.approx(-0.2)
    one = only(vat, "alkalinity")
    assert one["verdict"] == "ok"
    assert "in about 26 weeks" in one["reason"]


def test_a_fall_within_the_steps_of_a_drop_test_is_none(vat: Caller) -> None:
    """The last test says 4.8 dKH: (4.8 - 2.241) / 0.5 = 5.1 weeks, at 0.101 a week 25."""
    for at, step, verdict, words in (
        ("12:00", 0.099, "ok", "holds, by 4 tests"),
        ("13:00", 0.101, "ok", "falls by 0.101 dKH a week"),
        ("14:00", 0.5, "watch", "in about 5 weeks"),
    ):
        for week in range(4):
            read(vat, f"2026-11-{3 + 7 * week:02}", 4.8 + (3 - week) * step, "alkalinity", at)
        one = only(vat, "alkalinity")
        assert one["verdict"] == verdict
        assert words in one["reason"]


def test_what_is_reached_within_eight_weeks_is_worth_watching(vat: Caller) -> None:
    """At 0.3 dKH a week 2.241 + 0.3 x 7.92 = 4.617 lasts 0.99 of eight weeks; 2.241 + 0.3 x 8.08 = 4.665 longer."""
    tested(vat, _3=5.565, _10=5.265, _17=4.965, _24=4.665)
    assert only(vat, "alkalinity")["verdict"] == "ok"
    for day, value in ((3, 5.517), (10, 5.217), (17, 4.917), (24, 4.617)):
        read(vat, f"2026-11-{day:02}", value, "alkalinity", "13:00")
    assert only(vat, "alkalinity")["verdict"] == "watch"


def test_many_tests_of_one_day_or_of_few_days_are_no_trend(vat: Caller) -> None:
    """The last of a day stands for it; four days within two weeks tell the steps of the test."""
    feed(vat, ("granules", "2 g"))
    for hour in range(6):
        read(vat, DAY, 6 - hour / 2, "alkalinity", f"1{hour}:00")
    one = only(vat, "alkalinity")
    assert (one["verdict"], one["value"]["value"]) == ("unknown", 3.5)
    assert "Unknown whether it falls: on 1 day within 8 weeks it was tested, and it takes 4" in one["reason"]
    tested(vat, _12=6, _18=5, _20=4.5)
    assert "Unknown whether it falls: on 4 days" in only(vat, "alkalinity")["reason"]
    tested(vat, _11=6)
    assert only(vat, "alkalinity")["verdict"] == "watch"


def on_the_line(keeper: Caller, day: int, at: str = "12:00") -> None:
    """A test that lies on 6 dKH at noon of the 3rd less 0.3 a week."""
    days = day - 3 + (int(at[:2]) - 12) / 24 + int(at[3:]) / 1440
    read(keeper, f"2026-11-{day:02}", 6 - 0.3 * days / 7, "alkalinity", at)


def test_a_test_before_a_days_change_tells_of_the_evening_before(
    vat: Caller, app: Service, room_id: int
) -> None:
    """Tested at 14:59 and at 15:00, with a change at 15:00: the first tells of the 16th, in place of what was read
    there at 21:00, the second of the 17th. All that count lie on the line; without the change the first would not."""
    water(vat, "tap", alkalinity="10 dKH")
    for day in (3, 10, 24):
        on_the_line(vat, day)
    read(vat, "2026-11-16", 9, "alkalinity", "21:00")
    on_the_line(vat, 17, "14:59")
    on_the_line(vat, 17, "15:00")
    assert a_week(app, room_id) != pytest.approx(-0.3, abs=0.01)
    change(vat, "2026-11-17", "60 L", at="15:00", source="tap")
    assert a_week(app, room_id) == pytest.approx(-0.3)
    assert "by 5 tests" in only(vat, "alkalinity")["reason"]


def test_low_alkalinity_is_told_by_one_test_and_less_loudly_where_it_holds_or_nothing_is_fed(
    vat: Caller,
) -> None:
    """40 mg/L CaCO3 are 2.241 dKH: 2.22 is 0.99 of them, 2.26 1.01."""
    tested(vat, _24=2.26)
    assert only(vat, "alkalinity")["verdict"] == "ok"
    tested(vat, _25=2.22)
    one = only(vat, "alkalinity")
    assert one["verdict"] == "act"
    assert "below the 2.24 dKH that the filter's bacteria need" in one["reason"]
    assert "Test pH and ammonia first, for ammonia turns poisonous as pH rises" in one["reason"]
    tested(vat, _3=2.2, _10=2.2)
    one = only(vat, "alkalinity")
    assert one["verdict"] == "watch"
    assert "and holds. Soft-water fish may be kept so" in one["reason"]
    read(vat, DAY, "<1", "alkalinity", "13:00")
    assert only(vat, "alkalinity")["reason"].startswith("Alkalinity was below 1 dKH, below the 2.24 dKH")
    feed(vat)
    assert "and nothing is fed." in only(vat, "alkalinity")["reason"]


def test_a_newest_test_that_says_too_little_leaves_it_unknown(vat: Caller) -> None:
    tested(vat, _3=5, _10=5, _17=5, _24=5)
    assert only(vat, "alkalinity")["verdict"] == "ok"
    read(vat, DAY, "<3", "alkalinity")
    assert "test it finer" in only(vat, "alkalinity")["reason"]
    read(vat, DAY, ">2", "alkalinity", "13:00")
    one = only(vat, "alkalinity")
    assert (one["verdict"], "test it more exactly" in one["reason"]) == ("unknown", True)


def test_an_old_test_of_alkalinity_and_unknown_food_are_said(
    vat: Caller, monkeypatch: pytest.MonkeyPatch
) -> None:
    tested(vat, _3=5, _10=5, _17=5, _24=5)
    reason = only(vat, "alkalinity")["reason"]
    assert reason == (
        "Alkalinity was 5 dKH and holds, by 4 tests within 8 weeks. Unknown how much of it the food uses up. No ration is"
        " recorded of any tank of pond."
    )
    stop_the_clock(monkeypatch, "2026-12-25T18:00:00Z")
    one = only(vat, "alkalinity")
    assert one["reason"] == "Unknown. Alkalinity was last tested on 2026-11-24: test it again."


def test_excluded_tests_bend_no_trend_and_a_sensor_counts_once_a_day(
    vat: Caller, app: Service, room_id: int
) -> None:
    """The sensor's last reading of each day lies on 6 dKH less 0.3 a week; those before it on the day are far off."""
    body = {"name": "Probe", "parameter": "alkalinity", "place": "tanks/vat", "unit": "dKH"}
    made(vat, "gauges", {**body, "expected_interval": "10 min"})
    rows = [
        {"gauge": "probe", "at": f"2026-11-{day:02}T{at}:00Z", "value": value}
        for day in range(3, 25)
        for at, value in (("09:00", 1.0), ("21:10", 1.5), ("21:50", 6 - 0.3 * (day - 3) / 7))
    ]
    assert vat.post("/v1/readings", {"readings": rows}).status_code == 200
    assert a_week(app, room_id) == pytest.approx(-0.3)
    read(vat, "2026-11-20", 50, "alkalinity", "23:00")
    assert a_week(app, room_id) != pytest.approx(-0.3, abs=0.01)
    span = {"from": "2026-11-20T22:00:00Z", "to": "2026-11-20T23:30:00Z", "reason": "Wrong vial."}
    made(vat, "exclusions", {"gauge": "vat-alkalinity-by-hand", **span})
    assert a_week(app, room_id) == pytest.approx(-0.3)


def exchange(keeper: Caller, kind: str, flow: str, source: str, day: str = "2026-09-01") -> None:
    body = {"system": "pond", "kind": kind, "valid_from": f"{day}T09:00:00Z", "flow": flow, "source": source}
    made(keeper, "standing-exchanges", body)


def test_hardness_of_a_top_off_rises_without_end_where_nothing_carries_it_off(vat: Caller) -> None:
    """9 L a day of 8.4 dGH in 200 L: 9 x 7 x 8.4 / 200 = 2.646 dGH a week."""
    water(vat, "tap", hardness="8.4 dGH")
    exchange(vat, "top_off", "9 L/d", "tap")
    one = only(vat, "hardness")
    assert (one["verdict"], one["value"], one["limit"]) == ("watch", None, None)
    assert one["reason"].startswith("The top-off of tap brings 2.65 dGH of hardness a week")
    assert "it rises on and on. Top up with rain or osmosis water, or change more." in one["reason"]


def test_a_creep_of_less_than_two_degrees_a_year_is_let_pass(vat: Caller) -> None:
    """2 dGH in 52 weeks: 2 x 200 / (364 x 8.4) = 0.1308 L a day; 0.99 and 1.01 of it."""
    water(vat, "tap", hardness="8.4 dGH")
    exchange(vat, "top_off", "0.129 L/d", "tap")
    assert only(vat, "hardness")["verdict"] == "ok"
    exchange(vat, "top_off", "0.132 L/d", "tap", "2026-09-02")
    assert only(vat, "hardness")["verdict"] == "watch"


def test_weekly_changes_set_where_it_ends(vat: Caller) -> None:
    """50 of 200 L a week of the same tap: it ends at 8.4 + rise a week / 0.25; 9 L a day rise 2.646, and
    8.4 + 10.584 = 18.984. 2 dGH over the tap's take a rise of 0.5 a week, 0.5 x 200 / (7 x 8.4) = 1.7007 L a day."""
    water(vat, "tap", hardness="8.4 dGH")
    for day in ("2026-11-04", "2026-11-11", "2026-11-18"):
        change(vat, day, "50 L", source="tap")
    for day, flow, verdict, ends in (
        ("2026-09-01", "9 L/d", "watch", 18.984),
        ("2026-09-02", "1.684 L/d", "ok", 10.38),
        ("2026-09-03", "1.718 L/d", "watch", 10.42),
    ):
        exchange(vat, "top_off", flow, "tap", day)
        one = only(vat, "hardness")
        assert one["verdict"] == verdict
        assert one["value"] == {"value": pytest.approx(ends, abs=0.005), "unit": "dGH"}
        assert one["limit"] == {"value": pytest.approx(10.4), "unit": "dGH"}
        assert "With 50 L changed every 7 d it ends at" in one["reason"]
        assert "where the water put in has 8.4 dGH." in one["reason"]


def test_a_drip_carries_it_off_too(vat: Caller) -> None:
    """What comes equals what leaves: 9 x 8.4 / 10 of a drip of 10 L a day without hardness, 7.56 dGH; of 36 L a day
    2.1, of 40 L a day 1.89; a drip that has 4 dGH itself adds them."""
    water(vat, "tap", hardness="8.4 dGH")
    water(vat, "ro", kind="reverse_osmosis", hardness="0 dGH")
    water(vat, "mixed", hardness="4 dGH")
    exchange(vat, "top_off", "9 L/d", "tap")
    for day, flow, source, ends, verdict in (
        ("2026-09-01", "10 L/d", "ro", 7.56, "watch"),
        ("2026-09-02", "36 L/d", "ro", 2.1, "watch"),
        ("2026-09-03", "40 L/d", "ro", 1.89, "ok"),
        ("2026-09-04", "40 L/d", "mixed", 5.89, "ok"),
        ("2026-09-05", "36 L/d", "mixed", 6.1, "watch"),
    ):
        exchange(vat, "drip", flow, source, day)
        one = only(vat, "hardness")
        assert (one["verdict"], one["value"]["value"]) == (verdict, pytest.approx(ends, rel=1e-4))
        assert f"With a drip of {flow} it ends at" in one["reason"]


def test_what_no_report_tells_leaves_the_creep_unknown_and_soft_water_brings_none(vat: Caller) -> None:
    water(vat, "barrel", kind="rain")
    exchange(vat, "top_off", "9 L/d", "barrel")
    one = only(vat, "hardness")
    assert (one["verdict"], one["reason"]) == (
        "unknown",
        "Unknown whether hardness creeps up by the top-off. No water report of barrel tells its hardness,"
        " nor its calcium.",
    )
    water(vat, "ro", kind="reverse_osmosis", hardness="0 dGH")
    exchange(vat, "top_off", "9 L/d", "ro", "2026-09-02")
    assert only(vat, "hardness")["reason"] == "The top-off is of ro, which has no hardness to leave behind."
    water(vat, "tap", hardness="8.4 dGH")
    water(vat, "well", kind="well")
    exchange(vat, "top_off", "9 L/d", "tap", "2026-09-03")
    for day in ("2026-11-04", "2026-11-11", "2026-11-18"):
        change(vat, day, "50 L", source="well")
    one = only(vat, "hardness")
    assert one["verdict"] == "unknown"
    assert one["reason"].endswith(
        "Unknown where it ends. No water report of well tells its hardness, nor its calcium."
    )


def test_media_are_judged_only_where_food_is_recorded_and_their_surface_beside_what_it_wants(
    vat: Caller,
) -> None:
    """0.08464 g N a day at 0.57 / 1.2 = 0.475 g/m2/d (FAO 589, weighed as NH3, by its own factor) want 0.1782 m2; at
    the best rate, 2 g/m2/d, 0.0423, at the least, 0.2, 0.4232. A litre of 100 m2/m3 has 0.1."""
    assert found(vat, "nitrifiers") == []
    feed(vat, ("granules", "2 g"))
    one = only(vat, "nitrifiers")
    assert one["reason"].endswith("No reading of temperature that counts is recorded in pond.")
    assert one["origin"] == "/v1/rations?tank=vat"
    read(vat, DAY, 24, "temperature")
    one = only(vat, "nitrifiers")
    assert (one["verdict"], one["value"]) == ("unknown", None)
    assert one["limit"] == {"value": pytest.approx(0.17819, rel=1e-4), "unit": "m2"}
    assert one["reason"] == (
        "Unknown whether the filter has room for the bacteria: the food wants about 0.178 m2 of media. No section with media"
        " is recorded. Record the media of a section with their specific surface."
    )
    made(
        vat, "sumps", {"name": "Tray", "system": "pond", "length": "1 m", "width": "30 cm", "height": "30 cm"}
    )
    section = {"sump": "tray", "position": 1, "use": "media", "direction": "along", "length": "30 cm"}
    for volume, verdict in (("0.4 L", "act"), ("1 L", "watch"), ("2 L", "ok"), ("5 L", "ok")):
        media = {"media": {"volume": volume, "specific_surface": "100 m2/m3", "porosity": "85 %"}}
        if volume == "0.4 L":
            made(vat, "sections", {**section, "running_depth": "20 cm", **media})
        else:
            vat.patch("/v1/sections/tray-media-1", media)
        one = only(vat, "nitrifiers")
        assert one["verdict"] == verdict, one["reason"]
        assert one["value"]["value"] == pytest.approx(float(volume.split()[0]) / 10)


def test_a_tank_whose_ration_is_not_told_leaves_the_food_unknown(vat: Caller) -> None:
    feed(vat, ("granules", "2 g"))
    shape = {"shape": "rectangle", "length": "50 cm", "width": "40 cm"}
    side = {"name": "Side", "system": "pond", "use": "grow-out", "footprint": shape, "water_depth": "40 cm"}
    made(vat, "tanks", side)
    one = only(vat, "nitrifiers")
    assert one["verdict"] == "unknown"
    assert "No ration is recorded of: side (one without feeds says that nothing is fed)." in one["reason"]
    assert vat.get("/v1/systems/rill/findings?about=nitrifiers").get_json()["items"] == []
