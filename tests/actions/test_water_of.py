"""What a source water holds at an instant, where several reports and preparations follow each other. By hand."""

from __future__ import annotations

import pytest
from harness import Caller, made
from water_scenes import report, value_at, water

from weirbook.app import Service


def prepare(keeper: Caller, name: str, day: str, *parts: tuple[str, str]) -> None:
    blend = [{"source": source, "share": share} for source, share in parts]
    made(keeper, "preparations", {"water": name, "valid_from": f"{day}T00:00:00Z", "blend": blend})


def nitrate_at(app: Service, room_id: int, day: str, name: str) -> float:
    return float(value_at(app, room_id, day, "nitrate", name).split(" ")[0])


def test_each_part_of_a_blend_counts_as_it_was_at_the_time(
    furnished: Caller, app: Service, room_id: int
) -> None:
    """Half of rain's 0 and half of the tap's 10, of its 30 from March on."""
    water(furnished, "tap", nitrate="10 mg/L NO3")
    water(furnished, "rain", "rain", nitrate="0 mg/L NO3")
    water(furnished, "mix", "prepared")
    prepare(furnished, "mix", "2026-01-10", ("tap", "50 %"), ("rain", "50 %"))
    report(furnished, "tap", "2026-03-01", nitrate="30 mg/L NO3")
    assert nitrate_at(app, room_id, "2026-02-01", "mix") == pytest.approx(5)
    assert nitrate_at(app, room_id, "2026-03-02", "mix") == pytest.approx(15)


def test_the_first_preparation_holds_before_its_day_too(
    furnished: Caller, app: Service, room_id: int
) -> None:
    water(furnished, "tap", nitrate="10 mg/L NO3")
    water(furnished, "mix", "prepared")
    prepare(furnished, "mix", "2026-06-10", ("tap", "100 %"))
    assert nitrate_at(app, room_id, "2026-02-01", "mix") == pytest.approx(10)


def test_the_day_of_a_report_is_the_rooms(furnished: Caller, app: Service, room_id: int) -> None:
    """Half past eleven in the evening UTC of the last of June is the first of July in the room."""
    water(furnished, "tap")
    values = [{"parameter": "nitrate", "value": "10 mg/L NO3"}]
    made(
        furnished, "water-reports", {"source": "tap", "sampled_at": "2026-06-30T23:30:00Z", "values": values}
    )
    assert value_at(app, room_id, "2026-07-02", "nitrate").endswith("report of 2026-07-01")


def test_of_two_units_of_one_parameter_the_amount_counts(
    furnished: Caller, app: Service, room_id: int
) -> None:
    """2 mg/L of NO3-N are 2 x 62.004 / 14.007 = 8.853 mg/L of NO3; half of it and half of 10: 9.427."""
    water(furnished, "tap", nitrate="2 mg/L NO3-N")
    water(furnished, "well", "well", nitrate="10 mg/L NO3")
    water(furnished, "mix", "prepared")
    prepare(furnished, "mix", "2026-06-10", ("tap", "50 %"), ("well", "50 %"))
    assert nitrate_at(app, room_id, "2026-07-01", "mix") == pytest.approx((2 * 62.004 / 14.007 + 10) / 2)


def test_a_long_row_of_waters_made_of_waters_is_followed_and_ends(
    furnished: Caller, app: Service, room_id: int
) -> None:
    """Fifty times over; beyond that it is told."""
    water(furnished, "m0", nitrate="10 mg/L NO3")
    for number in range(1, 53):
        water(furnished, f"m{number}", "prepared")
        prepare(furnished, f"m{number}", "2026-01-10", (f"m{number - 1}", "100 %"))
    assert nitrate_at(app, room_id, "2026-07-01", "m50") == pytest.approx(10)
    assert "more than 50 times over" in value_at(app, room_id, "2026-07-01", "nitrate", "m52")


def test_a_lattice_of_waters_is_worked_out_water_by_water(
    furnished: Caller, app: Service, room_id: int
) -> None:
    """Twelve layers of four, each a quarter of all four below: 4^12 ways down, and 49 waters."""
    water(furnished, "w0-0", nitrate="8 mg/L NO3")
    below = ["w0-0"]
    for layer in range(1, 13):
        names = [f"w{layer}-{number}" for number in range(4)]
        for name in names:
            water(furnished, name, "prepared")
            share = "25 %" if len(below) == 4 else "100 %"
            prepare(furnished, name, "2026-01-10", *((one, share) for one in below))
        below = names
    assert nitrate_at(app, room_id, "2026-07-01", "w12-0") == pytest.approx(8)


def test_a_report_of_before_the_first_preparation_holds_until_it(
    furnished: Caller, app: Service, room_id: int
) -> None:
    water(furnished, "tap", nitrate="10 mg/L NO3")
    water(furnished, "mix", "prepared")
    report(furnished, "mix", "2026-01-10", nitrate="3 mg/L NO3")
    prepare(furnished, "mix", "2026-06-10", ("tap", "100 %"))
    assert nitrate_at(app, room_id, "2026-02-01", "mix") == pytest.approx(3)
    assert nitrate_at(app, room_id, "2026-06-11", "mix") == pytest.approx(10)


def test_a_water_that_nobody_recorded_tells_nothing(furnished: Caller, app: Service, room_id: int) -> None:
    assert (
        value_at(app, room_id, "2026-07-01", "nitrate", "sea") == "No water report of sea tells its nitrate."
    )
