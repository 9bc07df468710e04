"""Findings on plants: tried again as they failed before, lying uprooted, lost of late; else nothing."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from harness import Caller, made
from plant_scenes import plant, set_up_kinds, tell
from water_scenes import stop_the_clock

NOW = "2026-11-25T10:00:00Z"


@pytest.fixture
def tank(furnished: Caller, monkeypatch: pytest.MonkeyPatch) -> Caller:
    stop_the_clock(monkeypatch, NOW)
    assert furnished.patch("/v1/room", {"time_zone": "UTC"}).status_code == 200
    set_up_kinds(furnished)
    return furnished


def ago(days: int) -> str:
    return (datetime(2026, 11, 25, tzinfo=UTC) - timedelta(days=days)).strftime("%Y-%m-%d")


def found(keeper: Caller, system: str = "") -> list[dict[str, Any]]:
    path = f"/v1/systems/{system}/findings" if system else "/v1/findings"
    answered = keeper.get(f"{path}?about=plant")
    assert answered.status_code == 200, answered.get_data(as_text=True)
    items: list[dict[str, Any]] = answered.get_json()["items"]
    assert all(keeper.get(one["origin"]).status_code == 200 for one in items)
    return items


def fail(keeper: Caller, begun: int, days: int, what: str = "lost", **said: Any) -> None:
    tell(keeper, plant(keeper, ago(begun), **said), what, ago(begun - days))


def test_what_is_tried_again_as_it_failed_is_told_with_what_held(tank: Caller) -> None:
    for days in (9, 14, 20):
        fail(tank, 200, days)
    plant(tank, ago(140), method="on_wood")
    again = plant(tank, ago(2), spot="On the slate")
    (one,) = found(tank, "rill")
    assert (one["verdict"], one["place"], one["system"], one["subject"]) == (
        "watch", "tanks/nursery", "rill", again["id"],
    )  # fmt: skip
    assert one["reason"] == (
        "Java moss on stone was lost 3 of 3 times in tanks/nursery, after 9 to 20 days, and is tried the same way again"
        " since 2026-11-23. On wood: 1 tried, it stands, for 140 days (last looked at 2026-07-08)."
    )
    assert one["since"] == "2026-11-23T10:00:00Z"


def test_a_method_that_failed_too_or_is_young_is_not_held_up_as_better(tank: Caller) -> None:
    for days in (9, 14):
        fail(tank, 200, days)
    plant(tank, ago(29), method="on_wood")
    plant(tank, ago(140), method="ring")
    fail(tank, 100, 9, method="ring")
    plant(tank, ago(2))
    (one,) = found(tank)
    assert one["reason"].endswith("again since 2026-11-23.")


@pytest.mark.parametrize(
    ("failures", "said"),
    [
        ([9], {}),
        ([9, 95], {}),
        ([9, 14], {"method": "on_wood"}),
        ([9, 14], {"kind": "cress"}),
        ([9, 14], {"place": "sections/rack-return-1"}),
    ],
)
def test_what_failed_once_held_long_or_is_done_otherwise_is_no_finding(
    tank: Caller, failures: list[int], said: dict[str, Any]
) -> None:
    for days in failures:
        fail(tank, 200, days)
    plant(tank, ago(2), **said)
    assert found(tank) == []


def test_three_failures_anywhere_count_and_two_do_not(tank: Caller) -> None:
    plant(tank, ago(2), place="sections/rack-return-1")
    fail(tank, 200, 9)
    fail(tank, 190, 9, what="uprooted")
    uprooted = "lies uprooted"
    assert [uprooted in one["reason"] for one in found(tank)] == [True]
    fail(tank, 180, 9)
    told = " ".join(one["reason"] for one in found(tank))
    assert "lost or uprooted 3 of 3 times in this room, after 9 days, and" in told


def test_what_has_held_or_failed_only_since_is_no_finding(tank: Caller) -> None:
    plant(tank, ago(90))
    plant(tank, ago(89), place="sections/rack-return-1")
    for days in (9, 14):
        fail(tank, 200, days)
        fail(tank, 60, days, place="sections/rack-return-1", method="on_stone")
    assert found(tank) == []


def test_what_has_not_yet_held_ninety_days_is_still_told(tank: Caller) -> None:
    plant(tank, ago(89))
    for days in (9, 14):
        fail(tank, 200, days)
    assert ["2 of 2 times" in one["reason"] for one in found(tank)] == [True]


def test_what_lies_uprooted_is_told_until_it_is_put_back(tank: Caller) -> None:
    moss = plant(tank, ago(30))
    tell(tank, moss, "uprooted", ago(3), by="The loaches")
    (one,) = found(tank)
    assert "lies uprooted since" in one["reason"] and "(The loaches)" in one["reason"]
    tell(tank, moss, "replanted", ago(1))
    assert found(tank) == []
    tell(tank, moss, "removed", ago(0))
    assert found(tank) == []


def test_losses_of_four_weeks_are_one_finding_a_system(tank: Caller) -> None:
    for index in range(7):
        fail(tank, 40 + index, 20 + 2 * index, kind="cress", method="pot")
    fail(tank, 100, 71, method="ring")
    (one,) = found(tank)
    assert one["reason"].startswith(f"Lost in the last 28 days: Cress in a pot (tanks/nursery, {ago(14)}); ")
    assert one["reason"].endswith("; and 2 more.") and one["reason"].count("Cress") == 5
    assert "Java moss" not in one["reason"]
    made(tank, "systems", {"name": "Brook"})
    shape = {"shape": "rectangle", "length": "100 cm", "width": "50 cm"}
    made(
        tank,
        "tanks",
        {"name": "Run", "system": "brook", "use": "display", "footprint": shape, "water_depth": "40 cm"},
    )
    fail(tank, 28, 0, place="tanks/run", method="ring")
    assert {one["system"] for one in found(tank)} == {"rill", "brook"}
    assert [one["system"] for one in found(tank, "brook")] == ["brook"]
