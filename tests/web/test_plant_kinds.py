"""Kinds of plants: how they grow, what light they want, what of them is dry matter, nitrogen and phosphorus."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from harness import Caller, MakeCaller, made, on_both_engines, pointers
from plant_scenes import MOSS, plant

FERN: dict[str, Any] = {
    "name": "Java fern",
    "scientific_name": "Leptochilus pteropus",
    "growth_form": "attached",
    "light_need": "low",
    "dry_matter": "12 %",
    "nitrogen": "0.025 1",
    "phosphorus": "0.3 %",
    "notes": "Tie it, don't bury it.",
}


@on_both_engines
def test_a_kind_is_shown_as_it_was_entered(furnished: Caller) -> None:
    fern = made(furnished, "plant-kinds", FERN)
    assert fern["handle"] == "java-fern"
    assert fern["dry_matter"] == {"value": 12, "unit": "%"}
    assert fern["nitrogen"] == {"value": 0.025, "unit": "1"}
    assert furnished.get("/v1/plant-kinds/java-fern").get_json() == fern
    changed = furnished.patch("/v1/plant-kinds/java-fern", {"light_need": "medium", "nitrogen": None})
    assert (changed.get_json()["light_need"], changed.get_json()["nitrogen"]) == ("medium", None)


@pytest.mark.parametrize(
    ("over", "pointer"),
    [
        ({"growth_form": "moss"}, "/growth_form"),
        ({"growth_form": None}, "/growth_form"),
        ({"light_need": "bright"}, "/light_need"),
        ({"dry_matter": "0 %"}, "/dry_matter"),
        ({"dry_matter": "101 %"}, "/dry_matter"),
        ({"dry_matter": 0.1}, "/dry_matter"),
        ({"nitrogen": "2 g"}, "/nitrogen"),
        ({"phosphorus": "-1 %"}, "/phosphorus"),
        ({"nitrogen": "60 %", "phosphorus": "50 %"}, "/nitrogen"),
        ({"name": ""}, "/name"),
        ({"colour": "green"}, "/colour"),
    ],
)
def test_a_kind_that_can_not_be_is_refused_at_the_fault(
    furnished: Caller, over: dict[str, Any], pointer: str
) -> None:
    assert pointers(furnished.post("/v1/plant-kinds", {**FERN, **over})) == [pointer]
    assert furnished.get("/v1/plant-kinds").get_json()["items"] == []


def test_a_kind_that_was_planted_is_retired_and_not_deleted(furnished: Caller) -> None:
    made(furnished, "plant-kinds", MOSS)
    plant(furnished)
    refused = furnished.delete("/v1/plant-kinds/java-moss")
    assert refused.status_code == 409 and "1 planting" in refused.get_json()["detail"]
    assert (
        furnished.patch("/v1/plant-kinds/java-moss", {"retired_at": "2026-07-01T00:00:00Z"}).status_code
        == 200
    )
    body = {"kind": "java-moss", "place": "tanks/nursery", "method": "on_wood"}
    assert pointers(furnished.post("/v1/plantings", body)) == ["/kind"]


def test_kinds_are_the_keepers_to_make(furnished: Caller, caller: MakeCaller) -> None:
    assert caller("helper").post("/v1/plant-kinds", FERN).status_code == 403
    assert caller("viewer").get("/v1/plant-kinds").status_code == 200


def test_a_sheet_of_kinds_has_shares_and_units_in_columns(furnished: Caller) -> None:
    made(furnished, "plant-kinds", FERN)
    (row,) = csv.DictReader(io.StringIO(furnished.get("/v1/plant-kinds?format=csv").get_data(as_text=True)))
    assert (row["growth_form"], row["dry_matter"], row["dry_matter_unit"]) == ("attached", "12", "%")
