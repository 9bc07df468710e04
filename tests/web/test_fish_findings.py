"""Findings on fish: schools, ranges of species, newcomers, quarantines; and the living side of the week."""

from __future__ import annotations

from typing import Any

import pytest
from fish_scenes import DAY, entry, group, species
from harness import Caller, made

from weirbook.engine.times import instant_text
from weirbook.record.database import now_ms

DAY_MS = 86_400_000
PEN = {
    "name": "Pen",
    "system": "pen-water",
    "use": "quarantine",
    "footprint": {"shape": "rectangle", "length": "60 cm", "width": "25 cm"},
    "water_depth": "40 cm",
}


def ago(days: float) -> str:
    return instant_text(now_ms() - round(days * DAY_MS))


def about(call: Caller, word: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = call.get(f"/v1/findings?about={word}").get_json()["items"]
    return found


@pytest.fixture
def pen(furnished: Caller) -> Caller:
    species(furnished, adult_length="10 cm", school_size=6, temperature={"low": "22 degC", "high": "26 degC"})
    made(furnished, "systems", {"name": "Pen water"})
    made(furnished, "tanks", PEN)
    return furnished


def test_a_school_under_its_number_is_told_with_the_day_it_can_be_whole(pen: Caller) -> None:
    shoal = group(pen, wanted=8)
    entry(pen, "arrival", shoal, 6)
    [found] = about(pen, "school")
    assert (found["verdict"], found["subject"], found["system"]) == ("watch", shoal, "rill")
    assert "has 6 of the 8 wanted" in found["reason"]
    assert f"it can be whole on {instant_text(now_ms() + 42 * DAY_MS)[:10]}" in found["reason"]
    entry(pen, "birth", shoal, 2, 2)
    assert about(pen, "school") == []


def test_a_school_below_what_its_species_wants_is_told_where_no_number_is(pen: Caller) -> None:
    shoal = group(pen)
    entry(pen, "arrival", shoal, 5)
    [found] = about(pen, "school")
    assert "wants at least 6 of its kind" in found["reason"]
    beside = group(pen, origin="Elsewhere")
    entry(pen, "birth", beside, 1)
    assert about(pen, "school") == []
    entry(pen, "loss", beside, 1, 2)
    assert len(about(pen, "school")) == 1
    pen.patch(f"/v1/groups/{shoal}", {"wanted": 5})
    assert about(pen, "school") == []


def test_water_outside_the_range_of_a_species_is_told(pen: Caller) -> None:
    shoal = group(pen)
    entry(pen, "arrival", shoal, 6)
    tested = {"place": "tanks/nursery", "parameter": "ph", "value": 7}
    assert pen.post("/v1/readings", {**tested, "at": ago(1)}).status_code == 200
    assert about(pen, "fish") == []
    pen.patch("/v1/species/banded-barb", {"ph": {"low": 7.4, "high": 8}})
    [found] = about(pen, "fish")
    assert "pH is 7" in found["reason"]
    assert "below the 7.4" in found["reason"]
    pen.patch("/v1/species/banded-barb", {"ph": {"low": 6, "high": 6.8}})
    [found] = about(pen, "fish")
    assert "above the 6.8" in found["reason"]


def test_newcomers_put_straight_in_are_told_for_forty_two_days(pen: Caller) -> None:
    old, new = group(pen), group(pen, origin="Elsewhere")
    entry(pen, "arrival", old, 6, happened_at=ago(100))
    entry(pen, "arrival", new, 6, happened_at=ago(41))
    [found] = about(pen, "quarantine")
    assert "came straight into nursery" in found["reason"]
    late = group(pen, origin="A third")
    entry(pen, "arrival", late, 6, happened_at=ago(43))
    assert len(about(pen, "quarantine")) == 1


def test_a_quarantine_is_well_until_its_day_and_then_to_be_released(pen: Caller) -> None:
    made(pen, "quarantines", {"tank": "pen", "planned_days": 10, "started_at": ago(20)})
    assert [one["verdict"] for one in about(pen, "quarantine")] == ["unknown"]
    shoal = group(pen, "pen")
    entry(pen, "arrival", shoal, 4, happened_at=ago(9))
    assert [one["verdict"] for one in about(pen, "quarantine")] == ["ok"]
    [stay] = pen.get("/v1/quarantines").get_json()["items"]
    pen.patch(f"/v1/quarantines/{stay['id']}", {"planned_days": 5})
    [found] = about(pen, "quarantine")
    assert (found["verdict"], "release its 4 fish" in found["reason"]) == ("watch", True)
    entry(pen, "loss", shoal, 1, cause="disease", happened_at=ago(1))
    [found] = about(pen, "quarantine")
    assert "1 of its fish died" in found["reason"]


def test_fish_moved_out_of_an_open_quarantine_are_told(pen: Caller) -> None:
    made(pen, "quarantines", {"tank": "pen", "started_at": ago(20)})
    inside, outside = group(pen, "pen"), group(pen)
    entry(pen, "arrival", inside, 4, happened_at=ago(9))
    entry(pen, "move", inside, 2, to_group=outside, happened_at=ago(5))
    reasons = [one["reason"] for one in about(pen, "quarantine")]
    assert any("moved out of the open quarantine in pen into nursery" in one for one in reasons)


def test_losses_lately_are_told_with_where_to_look_before_more_are_brought_in(pen: Caller) -> None:
    shoal = group(pen, name="Barbs", wanted=10)
    entry(pen, "arrival", shoal, 40, happened_at=ago(100))
    entry(pen, "loss", shoal, 1, cause="old_age", happened_at=ago(3))
    entry(pen, "loss", shoal, 1, cause="unknown", happened_at=ago(29))
    assert about(pen, "losses") == []
    entry(pen, "loss", shoal, 2, cause="unknown", happened_at=ago(10))
    entry(pen, "missing", shoal, 1, happened_at=ago(5))
    [found] = about(pen, "losses")
    assert (found["verdict"], found["system"]) == ("watch", "rill")
    assert "Barbs lost 2 and misses 1 of 39" in found["reason"]
    assert "/v1/systems/rill/what-changed?days=32" in found["reason"]
    assert f"/v1/groups/{shoal}/exposure" in found["reason"]
    entry(pen, "loss", shoal, 4, cause="disease", happened_at=ago(1))
    assert [one["verdict"] for one in about(pen, "losses")] == ["act"]


def test_more_losses_after_an_introduction_than_before_are_to_be_acted_on(pen: Caller) -> None:
    old, new = group(pen, name="Old hands"), group(pen, origin="Elsewhere")
    entry(pen, "arrival", old, 30, happened_at=ago(300))
    entry(pen, "arrival", new, 10, source="A box", happened_at=ago(30))
    entry(pen, "loss", new, 8, cause="disease", happened_at=ago(27))
    found = [one for one in about(pen, "losses") if one["place"] == "systems/rill"]
    assert [one["verdict"] for one in found] == ["act"]
    assert "conditional exact Poisson test" in found[0]["reason"]


def test_a_quarantine_released_before_its_checks_is_told_with_its_reason(pen: Caller) -> None:
    stay = made(pen, "quarantines", {"tank": "pen", "started_at": ago(5)})
    pen.post(f"/v1/quarantines/{stay['id']}/release", {"at": ago(2), "reason": "The tank leaks."})
    [found] = about(pen, "quarantine")
    assert (found["verdict"], "The tank leaks." in found["reason"]) == ("watch", True)


def test_the_week_tells_what_lived_came_went_and_was_changed(pen: Caller) -> None:
    shoal, beside = group(pen, wanted=9), group(pen, "pen")
    entry(pen, "arrival", shoal, 8, 9, source="A breeder")
    entry(pen, "loss", shoal, 1, 17, cause="jumped", evidence="On the floor.")
    entry(pen, "birth", shoal, 3, 18)
    entry(pen, "move", shoal, 2, 19, to_group=beside)
    entry(pen, "count", shoal, 7, 20, words="One hides.")
    wrong = entry(pen, "loss", shoal, 2, 20)
    made(pen, "stock-entries", {"kind": "withdrawal", "withdraws": wrong["id"], "words": "Other tank."})
    made(pen, "quarantines", {"tank": "pen", "started_at": DAY.format(17)})
    made(pen, "feeds", {"name": "Flakes"})
    fed = [{"feed": "flakes", "amount": "1.5 g"}]
    made(
        pen,
        "rations",
        {"tank": "nursery", "valid_from": DAY.format(1), "feeds": fed, "fasting_days": ["sunday"]},
    )
    changed = {"what": "The lid", "from": "Open", "to": "Shut"}
    made(
        pen,
        "journal",
        {"kind": "change", "words": "Shut it.", "changed": changed, "happened_at": DAY.format(18)},
    )
    made(pen, "plant-kinds", {"name": "Moss", "growth_form": "attached"})
    stand = {"kind": "moss", "place": "tanks/nursery", "method": "on_stone", "planted_at": DAY.format(16)}
    planting = made(pen, "plantings", stand)["id"]
    made(
        pen,
        "planting-events",
        {"planting": planting, "kind": "lost", "by": "Loaches", "happened_at": DAY.format(18)},
    )
    week = pen.get("/v1/summaries/weekly?week=2026-W47").get_json()["living"]
    by_group = {row["group"]: row for row in week["stock"]}
    row = by_group[shoal]
    assert (
        row["heads_before"],
        row["lost"],
        row["born"],
        row["moved_out"],
        row["adjusted"],
        row["heads"],
    ) == (
        8,
        1,
        3,
        2,
        -1,
        7,
    )
    assert (
        row["heads"]
        == row["heads_before"]
        + row["arrived"]
        + row["born"]
        + row["moved_in"]
        - row["moved_out"]
        - row["lost"]
        - row["missing"]
        - row["left"]
        + row["adjusted"]
    )
    assert (by_group[beside]["moved_in"], by_group[beside]["heads"]) == (2, 2)
    assert [(one["number"], one["cause"]) for one in week["losses"]] == [(1, "jumped")]
    assert [(one["group"], one["short"]) for one in week["short"]] == [(shoal, 2)]
    # Six feeding days in the week of the 16th, a Monday.
    assert {one["system"]: one["fed"]["value"] for one in week["feed"]}["rill"] == 9
    assert [one["what"] for one in week["changes"]] == ["The lid"]
    assert [(one["tank"], one["heads"]) for one in week["quarantines"]] == [("pen", 2)]
    assert (week["plants"]["planted"], [one["by"] for one in week["plants"]["lost"]]) == (1, ["Loaches"])
    of_pen = pen.get("/v1/summaries/weekly?week=2026-W47&system=pen-water").get_json()["living"]
    assert [row["tank"] for row in of_pen["stock"]] == ["pen"]
    assert (of_pen["losses"], of_pen["changes"], of_pen["plants"]["lost"]) == ([], [], [])
    table = pen.get("/v1/summaries/weekly?week=2026-W47&format=csv&table=stock").get_data(as_text=True)
    assert table.splitlines()[0].startswith("system,tank,group,called")
    assert len(table.splitlines()) == 3
    assert pen.get("/v1/summaries/weekly?week=2026-W47&table=fish").status_code == 422
