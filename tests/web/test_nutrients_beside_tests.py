"""Nitrate predicted set against tests: where it begins, what they miss, what is made of it."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, made
from nutrient_scenes import DAILY, answer, close, ends, nitrate
from water_scenes import change, feed, read, water


def test_a_test_before_the_days_change_tells_of_the_evening_before_and_one_after_of_that_day(
    vat: Caller,
) -> None:
    """The keeper tests and then changes water: 31.24 stands before, 27.80 on the evening after."""
    water(vat, "tap", nitrate="10 mg/L NO3", phosphate="0 mg/L PO4")
    change(vat, "2026-11-09", "50 L", at="10:00", source="tap")
    read(vat, "2026-11-09", 31.24, at="09:00")
    first = nitrate(vat)["weeks"][0]
    assert (first["predicted"]["value"], first["measured"]["value"]) == (close(20 + 6 * DAILY), 31.24)
    assert first["measured_at"] == "2026-11-09T09:00:00Z"
    assert abs(first["unexplained"]["value"]) < 0.001
    read(vat, "2026-11-09", 27.8, at="11:00")
    second = nitrate(vat)["weeks"][1]
    after = (20 + 6 * DAILY) * 0.75 + 2.5 + DAILY
    assert (second["predicted"]["value"], second["measured"]["value"]) == (close(after), 27.8)
    assert second["unexplained"]["value"] == pytest.approx(27.8 - (31.24 * 0.75 + 2.5 + DAILY), abs=1e-4)


def test_a_change_on_the_day_of_the_first_test_counts_where_it_came_after_it(vat: Caller) -> None:
    water(vat, "rain", "rain", nitrate="0 mg/L NO3", phosphate="0 mg/L PO4")
    change(vat, "2026-11-02", "100 L", at="14:00", source="rain")
    assert ends(nitrate(vat))[0] == close(10 + 7 * DAILY)


def test_what_a_test_rose_beyond_the_days_since_the_one_before_is_unexplained(vat: Caller) -> None:
    """40 on the 8th is 8.76 more than 31.24; 50 on the 15th is 3.11 less than 40 and seven days."""
    read(vat, "2026-11-08", 40)
    read(vat, "2026-11-15", 50)
    first, second, third, _ = nitrate(vat)["weeks"]
    assert first["unexplained"]["value"] == close(40 - 20 - 6 * DAILY)
    assert second["unexplained"]["value"] == close(50 - 40 - 7 * DAILY)
    assert (third["unexplained"], third["measured"], third["in_band"]) == (None, None, None)


@pytest.mark.parametrize(
    ("value", "fits", "words"),
    [
        (40, True, "lies within"),
        (60, False, "is more than the record leads to"),
        (10, False, "is less than the record leads to"),
        ("<35", True, "below 35 mg/L NO3, lies within"),
        ("<5", False, "below 5 mg/L NO3, is less"),
        (">100", False, "above 100 mg/L NO3, is more"),
        (">20", True, "above 20 mg/L NO3, lies within"),
    ],
)
def test_the_last_test_is_judged_by_the_band_and_its_own_error(
    vat: Caller, value: Any, fits: bool, words: str
) -> None:
    """On the 8th the band is 27.9 to 34.6 mg/L; a test may lie off by a fifth."""
    read(vat, "2026-11-08", value)
    balance = nitrate(vat)
    assert balance["fits"] is fits and words in balance["suggests"]
    week = balance["weeks"][0]
    word = {"<": "below", ">": "above"}.get(str(value)[0])
    assert (week["qualifier"], week["in_band"]) == (word, fits)
    assert (week["unexplained"] is None) == (word is not None)


def test_a_test_that_came_back_makes_the_one_outside_a_slip(vat: Caller) -> None:
    read(vat, "2026-11-08", 80)
    read(vat, "2026-11-15", 44)
    balance = nitrate(vat)
    assert balance["fits"] is True and "2026-W45 lie outside" in balance["suggests"]


def test_it_begins_with_the_first_test_that_tells_a_value_within_the_weeks_asked(vat: Caller) -> None:
    """Of two weeks back it sees from Monday the 9th on: "<5" can't be begun with, 33 can."""
    assert nitrate(vat, "?weeks=4")["start"]["measured_at"] == "2026-11-02T12:00:00Z"
    read(vat, "2026-11-10", "<5")
    unknown = answer(vat, "?weeks=2")
    assert (unknown["nitrate"], unknown["from"]) == (None, "2026-11-09")
    assert "no test of nitrate from 2026-11-09 to yesterday" in unknown["unknown"][0]
    read(vat, "2026-11-11", 33)
    assert nitrate(vat, "?weeks=2")["start"]["measured"]["value"] == 33


def test_a_test_of_today_alone_is_no_beginning(vat: Caller) -> None:
    read(vat, "2026-11-25", 33)
    assert answer(vat, "?weeks=1")["nitrate"] is None


def test_readings_that_are_excluded_or_impossible_count_nowhere_and_offsets_are_added(vat: Caller) -> None:
    read(vat, "2026-11-08", 90)
    gauge = nitrate(vat)["start"]["gauge"]
    span = {"from": "2026-11-08T00:00:00Z", "to": "2026-11-09T00:00:00Z", "reason": "Wrong bottle."}
    made(vat, "exclusions", {"gauge": gauge, **span})
    assert nitrate(vat)["weeks"][0]["measured"] is None
    read(vat, "2026-11-15", 50)
    since = {"offset": "-4 mg/L NO3", "effective_at": "2026-11-10T00:00:00Z"}
    assert vat.patch(f"/v1/gauges/{gauge}", since).status_code == 200
    assert nitrate(vat)["weeks"][1]["measured"]["value"] == close(46)


def test_an_offset_takes_no_test_below_nothing(vat: Caller) -> None:
    gauge = nitrate(vat)["start"]["gauge"]
    low = {"offset": "-30 mg/L NO3", "effective_at": "2026-01-01T00:00:00Z"}
    assert vat.patch(f"/v1/gauges/{gauge}", low).status_code == 200
    assert nitrate(vat)["start"]["measured"]["value"] == 0


def test_it_begins_when_the_tanks_came_together(vat: Caller) -> None:
    """The nursery came to the pond on the 9th: before that its water was not the pond's."""
    moved = {"system": "pond", "effective_at": "2026-11-09T08:00:00Z"}
    assert vat.delete("/v1/pumps/rack-pump").status_code == 204
    assert vat.patch("/v1/tanks/nursery", moved).status_code == 200
    feed(vat, since="2026-01-01", tank="nursery")
    read(vat, "2026-11-10", 25)
    found = answer(vat)
    assert (found["from"], found["volume"]["value"]) == ("2026-11-09", 500)
    assert any("since then the same tanks" in one["text"] for one in found["assumptions"])
    assert found["nitrate"]["start"]["measured"]["value"] == 25
    assert ends(found["nitrate"])[0] == close(25 + 5 * DAILY * 0.4)
    left = {"system": "rill", "effective_at": "2026-11-16T08:00:00Z"}
    assert vat.patch("/v1/tanks/nursery", left).status_code == 200
    assert answer(vat)["from"] == "2026-11-16"


def test_it_begins_when_a_tank_was_taken_out_of_use(vat: Caller) -> None:
    shape = {"shape": "rectangle", "length": "50 cm", "width": "50 cm"}
    fry = {"name": "Fry", "system": "pond", "use": "grow-out", "footprint": shape, "water_depth": "40 cm"}
    made(vat, "tanks", fry)
    vat.patch("/v1/tanks/fry", {"retired_at": "2026-11-11T08:00:00Z"})
    found = answer(vat)
    assert (found["from"], found["volume"]["value"]) == ("2026-11-11", 200)


def test_what_changed_between_the_first_weeks_and_the_last_is_named(vat: Caller) -> None:
    """Two whole weeks at 2 g and two at 4 g a day: 7 x 0.08464 = 0.592 g of nitrogen a week, then 1.18."""
    read(vat, "2026-10-25", 20)
    feed(vat, ("granules", "4 g"), since="2026-11-09")
    told = nitrate(vat)["what_changed"]
    assert "which leaves 0.592 g and 1.18 g of nitrogen" in told
    read(vat, "2026-11-10", 30)
    assert "Too few whole weeks" in nitrate(vat, "?weeks=2")["what_changed"]
