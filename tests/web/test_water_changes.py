"""Water changes: a volume, or how far a level fell over the open water; done, or planned ahead."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from harness import Caller, MakeCaller, made, on_both_engines, pointers

CHANGE: dict[str, Any] = {
    "place": "tanks/nursery",
    "volume": "60 L",
    "source": "tap",
    "temperature": "24 degC",
    "changed_at": "2026-06-01T10:00:00Z",
}
DROP = {**CHANGE, "volume": None, "level_drop": "5 cm"}


def ahead(days: float) -> str:
    return (datetime.now(UTC) + timedelta(days=days)).strftime("%Y-%m-%dT%H:%M:%SZ")


@pytest.fixture
def tap(furnished: Caller) -> Caller:
    """The nursery is 120 x 50 cm at 50 cm of water: 0.6 m2 and 300 L. The rack is 100 x 45 x 45 cm: 202.5 L."""
    made(furnished, "source-waters", {"name": "Tap", "kind": "tap"})
    return furnished


@on_both_engines
def test_a_change_is_done_unless_said_and_shown_as_it_was_entered(tap: Caller) -> None:
    change = made(tap, "water-changes", CHANGE)
    assert (change["state"], change["volume"], change["level_drop"]) == (
        "done",
        {"value": 60, "unit": "L"},
        None,
    )
    assert change["volume_changed"] == {"value": 60, "unit": "L"}
    assert tap.get(f"/v1/water-changes/{change['id']}").get_json() == change


@on_both_engines
def test_a_fallen_level_tells_a_volume_over_the_open_water(tap: Caller) -> None:
    """5 cm over 0.6 m2 are 30 L; 2 in (5.08 cm) over the rack's 0.45 m2 are 22.86 L; a disc of 80 cm: 25.13 L."""
    assert made(tap, "water-changes", DROP)["volume_changed"]["value"] == pytest.approx(30)
    rack = made(tap, "water-changes", {**DROP, "place": "sumps/rack", "level_drop": "2 in"})
    assert rack["volume_changed"]["value"] == pytest.approx(22.86)
    assert rack["level_drop"] == {"value": 2, "unit": "in"}
    made(tap, "tanks", {
        "name": "Vat", "system": "rill", "use": "display", "water_depth": "40 cm",
        "footprint": {"shape": "circle", "diameter": "80 cm"},
    })  # fmt: skip
    vat = made(tap, "water-changes", {**DROP, "place": "tanks/vat"})
    assert vat["volume_changed"]["value"] == pytest.approx(25.1327, abs=1e-3)


def test_a_change_that_can_not_be_is_refused_at_the_fault(tap: Caller) -> None:
    for change, pointer in (
        ({"level_drop": "5 cm"}, "/volume"),
        ({"volume": None}, "/volume"),
        ({"volume": "301 L"}, "/volume"),
        ({"volume": "0 L"}, "/volume"),
        ({"volume": 60}, "/volume"),
        ({"volume": None, "level_drop": "51 cm"}, "/level_drop"),
        ({"volume": None, "level_drop": "5 cm", "place": "systems/rill"}, "/level_drop"),
        ({"volume": None, "level_drop": "46 cm", "place": "sumps/rack"}, "/level_drop"),
        ({"volume": "203 L", "place": "sumps/rack"}, "/volume"),
        ({"place": "room"}, "/place"),
        ({"place": "sections/rack-return-1"}, "/place"),
        ({"place": "tanks/none"}, "/place"),
        ({"source": "none"}, "/source"),
        ({"temperature": "70 degC"}, "/temperature"),
        ({"state": "begun"}, "/state"),
        ({"changed_at": ahead(1)}, "/changed_at"),
    ):
        assert pointers(tap.post("/v1/water-changes", {**CHANGE, **change})) == [pointer], change
    assert tap.get("/v1/water-changes").get_json()["items"] == []


def test_no_more_than_all_the_water_of_a_system_is_changed_at_once(tap: Caller) -> None:
    """The nursery's 300 L and the rack's 30 x 45 x 25 cm = 33.75 L."""
    told = {**CHANGE, "place": "systems/rill"}
    made(tap, "water-changes", {**told, "volume": "333.75 L"})
    refused = tap.post("/v1/water-changes", {**told, "volume": "334 L"})
    assert pointers(refused) == ["/volume"] and "rill holds 333.8 L" in refused.get_data(as_text=True)
    path = f"/v1/water-changes/{made(tap, 'water-changes', told)['id']}"
    assert pointers(tap.patch(path, {"volume": "334 L"})) == ["/volume"]
    assert pointers(tap.post("/v1/water-changes", {**told, "place": "systems/none"})) == ["/place"]
    assert tap.patch("/v1/sections/rack-return-1", {"running_depth": None}).status_code == 200
    made(tap, "water-changes", {**told, "volume": "900 L"})  # how much it holds is unknown


def test_all_the_water_of_a_tank_may_be_changed(tap: Caller) -> None:
    made(tap, "water-changes", {**CHANGE, "volume": "300 L"})
    made(tap, "water-changes", {**DROP, "level_drop": "50 cm"})


def test_a_change_without_an_instant_was_now_and_a_plan_needs_one(tap: Caller) -> None:
    said = {name: one for name, one in CHANGE.items() if name != "changed_at"}
    now = made(tap, "water-changes", said)
    assert now["changed_at"] == now["created_at"]
    assert pointers(tap.post("/v1/water-changes", {**said, "state": "planned"})) == ["/changed_at"]


@on_both_engines
def test_a_plan_lies_ahead_and_is_done_by_an_edit_that_says_when(tap: Caller) -> None:
    plan = made(tap, "water-changes", {**CHANGE, "state": "planned", "changed_at": ahead(30)})
    path = f"/v1/water-changes/{plan['id']}"
    refused = tap.patch(path, {"state": "done"})
    assert pointers(refused) == ["/changed_at"] and "send changed_at too" in refused.get_data(as_text=True)
    assert pointers(tap.patch(path, {"volume": None})) == ["/volume"]
    assert pointers(tap.patch(path, {"changed_at": ahead(401)})) == ["/changed_at"]
    done = tap.patch(path, {"state": "done", "changed_at": "2026-06-02T10:00:00Z"}).get_json()
    assert (done["state"], done["version"]) == ("done", 2)
    other = made(tap, "water-changes", {**CHANGE, "state": "planned", "changed_at": ahead(30)})
    now = tap.patch(f"/v1/water-changes/{other['id']}", {"state": "done", "changed_at": None}).get_json()
    assert (now["state"], now["changed_at"]) == ("done", now["updated_at"])


def test_an_edit_turns_a_volume_into_a_drop_only_by_clearing_it(tap: Caller) -> None:
    path = f"/v1/water-changes/{made(tap, 'water-changes', CHANGE)['id']}"
    assert pointers(tap.patch(path, {"level_drop": "5 cm"})) == ["/volume"]
    assert tap.patch(path, {"level_drop": "5 cm", "volume": None}).get_json()["volume_changed"]["value"] == (
        pytest.approx(30)
    )


@on_both_engines
def test_changes_are_listed_by_place_by_system_and_by_time(tap: Caller) -> None:
    made(tap, "systems", {"name": "Pond"})
    for place, day in (("tanks/nursery", 1), ("systems/rill", 2), ("sumps/rack", 3), ("systems/pond", 4)):
        made(tap, "water-changes", {**CHANGE, "place": place, "changed_at": f"2026-06-0{day}T10:00:00Z"})

    def listed(query: str) -> list[str]:
        return [one["place"] for one in tap.get(f"/v1/water-changes?{query}").get_json()["items"]]

    assert listed("system=rill") == ["sumps/rack", "systems/rill", "tanks/nursery"]
    assert listed("system=pond") == ["systems/pond"]
    assert listed("place=systems/rill") == ["systems/rill"]
    assert listed("from=2026-06-02T10:00:00Z&to=2026-06-04T10:00:00Z") == ["sumps/rack", "systems/rill"]
    assert pointers(tap.get("/v1/water-changes?system=none")) == ["/system"]


@on_both_engines
def test_a_helper_tells_a_change_and_may_repeat_it_by_its_own_id(tap: Caller, caller: MakeCaller) -> None:
    helper, path = caller("helper"), "/v1/water-changes/01936c5e-8f00-7000-8000-0000000000aa"
    assert helper("PUT", path, CHANGE).status_code == 201
    assert helper("PUT", path, CHANGE).status_code == 200
    assert helper("PUT", path, {**CHANGE, "volume": "61 L"}).status_code == 409
    assert caller("viewer").post("/v1/water-changes", CHANGE).status_code == 403
    assert (
        caller("sensor", gauges=["nursery-temperature"]).post("/v1/water-changes", CHANGE).status_code == 403
    )


def test_neither_the_place_nor_the_water_of_a_change_is_deleted(tap: Caller) -> None:
    made(tap, "systems", {"name": "Pond"})
    made(tap, "water-changes", {**CHANGE, "place": "systems/pond"})
    for path in ("systems/pond", "source-waters/tap"):
        refused = tap.delete(f"/v1/{path}")
        assert refused.status_code == 409 and "1 water change" in refused.get_json()["detail"]


def test_a_sheet_of_changes_has_volume_and_unit_in_columns(tap: Caller) -> None:
    made(tap, "water-changes", DROP)
    header, line = tap.get("/v1/water-changes?format=csv").get_data(as_text=True).splitlines()
    row = dict(zip(header.lstrip("\ufeff").split(","), line.split(","), strict=True))
    assert (row["level_drop"], row["level_drop_unit"], row["volume"]) == ("5", "cm", "")
    assert float(row["volume_changed"]) == pytest.approx(30) and row["volume_changed_unit"] == "L"
