"""Targets: the band wanted, from an instant on, its history kept."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, on_both_engines

TARGET: dict[str, Any] = {
    "place": "tanks/nursery",
    "parameter": "temperature",
    "low": "24 degC",
    "high": "26 degC",
    "valid_from": "2026-01-01T00:00:00Z",
}


def pointers(answered: Any) -> list[str]:
    assert answered.status_code == 422, answered.get_data(as_text=True)
    return [error["pointer"] for error in answered.get_json()["errors"]]


@on_both_engines
def test_bounds_are_shown_as_they_were_entered(furnished: Caller) -> None:
    made = furnished.post("/v1/targets", {**TARGET, "high": {"value": 78.5, "unit": "degF"}}).get_json()
    assert (made["low"], made["high"]) == (
        {"value": 24, "unit": "degC"},
        {"value": 78.5, "unit": "degF"},
    )
    assert furnished.get(f"/v1/targets/{made['id']}").get_json() == made


def test_a_bare_number_is_in_the_parameters_first_unit(furnished: Caller) -> None:
    made = furnished.post("/v1/targets", {**TARGET, "low": 24.5}).get_json()
    assert made["low"] == {"value": 24.5, "unit": "degC"}


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"low": "27 degC"}, "/high"),
        ({"low": "24 L"}, "/low"),
        ({"high": "warm"}, "/high"),
        ({"high": "26,5 degC"}, "/high"),
        ({"high": True}, "/high"),
        ({"high": {"value": 26}}, "/high"),
        ({"parameter": "mood"}, "/parameter"),
        ({"parameter": ""}, "/parameter"),
        ({"place": "tanks/none"}, "/place"),
        ({"place": "nursery"}, "/place"),
        ({"place": "room/"}, "/place"),
        ({"valid_from": "2026-01-01"}, "/valid_from"),
        ({"valid_from": None}, "/valid_from"),
        ({"colour": 1}, "/colour"),
    ],
)
def test_a_target_that_can_not_be_is_refused_at_the_fault(
    furnished: Caller, change: dict[str, Any], pointer: str
) -> None:
    assert pointers(furnished.post("/v1/targets", {**TARGET, **change})) == [pointer]
    assert furnished.get("/v1/targets").get_json()["items"] == []


def test_low_may_equal_high_in_another_unit(furnished: Caller) -> None:
    assert furnished.post("/v1/targets", {**TARGET, "low": "25 degC", "high": "77 degF"}).status_code == 201


@pytest.mark.parametrize(
    "change", [{"parameter": "ph"}, {"place": "room"}, {"valid_from": "2026-02-01T00:00:00Z"}]
)
def test_what_a_target_is_about_stays(furnished: Caller, change: dict[str, str]) -> None:
    made = furnished.post("/v1/targets", {**TARGET, "low": None, "high": None}).get_json()["id"]
    assert pointers(furnished.patch(f"/v1/targets/{made}", change)) == [f"/{next(iter(change))}"]


@on_both_engines
def test_a_bound_is_edited_and_cleared(furnished: Caller) -> None:
    made = furnished.post("/v1/targets", TARGET).get_json()["id"]
    assert furnished.patch(f"/v1/targets/{made}", {"low": None}).get_json()["low"] is None
    assert furnished.patch(f"/v1/targets/{made}", {"high": 25}).get_json()["high"] == {
        "value": 25,
        "unit": "degC",
    }
    assert pointers(furnished.patch(f"/v1/targets/{made}", {"low": "26 degC"})) == ["/high"]


@on_both_engines
def test_every_target_of_a_place_is_kept_and_listed(furnished: Caller) -> None:
    for month in (1, 2, 3):
        made = furnished.post("/v1/targets", {**TARGET, "valid_from": f"2026-0{month}-01T00:00:00Z"})
        assert made.status_code == 201
    furnished.post("/v1/targets", {**TARGET, "place": "room"})
    assert (
        len(furnished.get("/v1/targets?place=tanks/nursery&parameter=temperature").get_json()["items"]) == 3
    )
    assert furnished.get("/v1/targets?parameter=ph").get_json()["items"] == []


@on_both_engines
def test_a_put_at_the_instant_of_another_target_is_a_conflict(furnished: Caller) -> None:
    furnished.post("/v1/targets", TARGET)
    clash = furnished("PUT", "/v1/targets/01936c5e-8f00-7000-8000-00000000dddd", {**TARGET, "high": 27})
    assert clash.status_code == 409
    assert len(furnished.get("/v1/targets").get_json()["items"]) == 1
    assert furnished.get("/v1/targets").get_json()["items"][0]["high"] == {"value": 26, "unit": "degC"}


@on_both_engines
def test_a_place_with_a_target_is_not_deleted(furnished: Caller) -> None:
    furnished.post("/v1/systems", {"name": "Empty"})
    furnished.post("/v1/targets", {**TARGET, "place": "systems/empty"})
    refused = furnished.delete("/v1/systems/empty")
    assert refused.status_code == 409
    assert "1 target" in refused.get_json()["detail"]
