"""What may be measured and in which units: the catalogue, and the keeper's own parameters."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, MakeCaller, on_both_engines

TINT: dict[str, Any] = {
    "name": "Tannin tint",
    "kind": "score",
    "possible_low": "0 points",
    "possible_high": "5 points",
    "join": "plain",
}


def pointers(answered: Any) -> list[str]:
    assert answered.status_code == 422, answered.get_data(as_text=True)
    return [error["pointer"] for error in answered.get_json()["errors"]]


def test_every_unit_and_alias_that_is_listed_is_taken_and_comes_back_by_name(furnished: Caller) -> None:
    kinds = {one["kind"]: one for one in furnished.get("/v1/units").get_json()["items"]}
    for unit in kinds["length"]["units"]:
        for name in (unit["name"], *unit["aliases"]):
            made = furnished.patch("/v1/sumps/rack", {"base_height": {"value": 1e-3, "unit": name}})
            assert made.status_code == 200, name
            assert made.get_json()["base_height"] == {"value": 0.001, "unit": unit["name"]}
    assert {kind["default"] in [u["name"] for u in kind["units"]] for kind in kinds.values()} == {True}


def test_every_parameter_takes_a_reading_in_each_of_its_units(furnished: Caller) -> None:
    number = 0
    for one in furnished.get("/v1/parameters").get_json()["items"]:
        for unit in one["units"]:
            number += 1
            gauge = {
                "name": f"G {number}",
                "parameter": one["handle"],
                "place": "room",
                "by_hand": True,
                "unit": unit,
            }
            assert furnished.post("/v1/gauges", gauge).status_code == 201, (one["handle"], unit)
            value = "on" if one["kind"] == "contact" else {"K": 300, "degF": 60}.get(unit, 1)
            sent = furnished.post("/v1/readings", {"gauge": f"g-{number}", "value": value})
            assert sent.status_code == 200, (one["handle"], unit, sent.get_data(as_text=True))
    assert number > 60


@pytest.mark.parametrize(
    ("parameter", "impossible", "possible"),
    [
        ("ph", 14.1, 14),
        ("ph", -0.1, 0),
        ("temperature", 61, 60),
        ("humidity", 106, 105),
        ("nitrate", -1, 0),
        ("algae_cover", 101, 100),
        ("behaviour_score", 11, 10),
        ("leak", 2, 1),
    ],
)
def test_what_is_impossible_is_refused_and_its_bound_is_not(
    furnished: Caller, parameter: str, impossible: float, possible: float
) -> None:
    """The bounds are those that /v1/parameters states, in the parameter's first unit."""
    where = {"place": "tanks/nursery", "parameter": parameter}
    assert furnished.post("/v1/readings", {**where, "value": impossible}).status_code == 422
    assert furnished.post("/v1/readings", {**where, "value": possible}).status_code == 200


@on_both_engines
def test_a_keeper_adds_a_parameter_and_measures_it(furnished: Caller) -> None:
    made = furnished.post("/v1/parameters", TINT)
    assert made.status_code == 201
    assert made.get_json()["units"] == ["points"]
    shown = furnished.get("/v1/parameters/tannin-tint").get_json()
    assert (shown["own"], shown["join"], shown["possible_high"]) == (
        True,
        "plain",
        {"value": 5, "unit": "points"},
    )
    reading = {"place": "tanks/nursery", "parameter": "tannin-tint", "value": 3}
    assert furnished.post("/v1/readings", reading).get_json()["made_gauges"] == [
        "nursery-tannin-tint-by-hand"
    ]
    assert (
        furnished.post("/v1/readings", {**reading, "value": 6})
        .get_json()["type"]
        .endswith("impossible-value")
    )


@pytest.mark.parametrize("name", ["temperature", "Temperature", " pH ", "PH!", "leak"])
def test_a_parameter_of_a_built_in_name_is_refused(furnished: Caller, name: str) -> None:
    refused = furnished.post("/v1/parameters", {**TINT, "name": name})
    assert refused.status_code == 409, refused.get_data(as_text=True)
    assert refused.get_json()["type"] == "urn:weirbook:problem:handle-taken"
    assert furnished.post("/v1/parameters", {**TINT, "handle": "temperature"}).status_code == 409


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"kind": "mood"}, "/kind"),
        ({"join": "curve"}, "/join"),
        ({"units": ["L"]}, "/units/0"),
        ({"units": ["points"] * 21}, "/units"),
        ({"possible_low": "6 points"}, "/possible_high"),
        ({"possible_low": "1 L"}, "/possible_low"),
        ({"name": None}, "/name"),
    ],
)
def test_a_parameter_that_can_not_be_is_refused_at_the_fault(
    furnished: Caller, change: dict[str, Any], pointer: str
) -> None:
    assert pointer in pointers(furnished.post("/v1/parameters", {**TINT, **change}))


def test_the_kind_of_an_own_parameter_stays(furnished: Caller) -> None:
    furnished.post("/v1/parameters", TINT)
    assert "/join" in pointers(furnished.patch("/v1/parameters/tannin-tint", {"join": "line"}))
    edited = furnished.patch("/v1/parameters/tannin-tint", {"possible_high": "9 points"})
    assert edited.get_json()["possible_high"] == {"value": 9, "unit": "points"}
    assert edited.headers["ETag"] == furnished.get("/v1/parameters/tannin-tint").headers["ETag"]


@on_both_engines
@pytest.mark.parametrize("user", ["gauge", "target"])
def test_a_parameter_in_use_is_not_deleted(furnished: Caller, user: str) -> None:
    furnished.post("/v1/parameters", TINT)
    if user == "gauge":
        gauge = {"name": "Eye", "parameter": "tannin-tint", "place": "tanks/nursery", "by_hand": True}
        assert furnished.post("/v1/gauges", gauge).status_code == 201
    else:
        target = {
            "place": "room",
            "parameter": "tannin-tint",
            "high": 3,
            "valid_from": "2026-01-01T00:00:00Z",
        }
        assert furnished.post("/v1/targets", target).status_code == 201
    refused = furnished.delete("/v1/parameters/tannin-tint")
    assert refused.status_code == 409, "it would leave its gauge without a parameter"
    assert f"1 {user}" in refused.get_json()["detail"]


@on_both_engines
def test_a_parameter_nothing_uses_is_deleted(furnished: Caller) -> None:
    furnished.post("/v1/parameters", TINT)
    assert furnished.delete("/v1/parameters/tannin-tint").status_code == 204
    assert furnished.get("/v1/parameters/tannin-tint").status_code == 404


def test_a_built_in_parameter_is_neither_edited_nor_deleted(furnished: Caller) -> None:
    assert furnished.patch("/v1/parameters/temperature", {"notes": "x"}).status_code == 404
    assert furnished.delete("/v1/parameters/temperature").status_code == 404


def test_only_a_keeper_adds_parameters(furnished: Caller, caller: MakeCaller) -> None:
    assert caller("helper").post("/v1/parameters", TINT).status_code == 403
