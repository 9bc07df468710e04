"""The document for those who build on it: portable, stable in its names, true about what is sent and shown."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
from contract_document import DOCUMENT, operations, validator
from harness import Caller

from weirbook.engine.units import KINDS

SCHEMAS: dict[str, dict[str, Any]] = DOCUMENT["components"]["schemas"]
PATCHED = sorted(name for name in SCHEMAS if name.endswith("Patch"))
SHOWN = sorted(name for name, shape in SCHEMAS.items() if "version" in shape.get("properties", {}))


def nodes(node: Any) -> Iterator[dict[str, Any]]:
    if isinstance(node, dict):
        yield node
        for child in node.values():
            yield from nodes(child)
    elif isinstance(node, list):
        for child in node:
            yield from nodes(child)


def test_the_document_names_no_server_so_that_it_fits_wherever_it_is_served_from() -> None:
    assert "servers" not in DOCUMENT
    assert not any("servers" in node for node in nodes(DOCUMENT["paths"]))
    assert re.findall(r"https?://", json.dumps(DOCUMENT)) == []


def test_an_operations_name_begins_with_what_it_does() -> None:
    verbs = {
        "GET": ("get_", "list_", "ask_"),
        "POST": ("create_", "take_", "answer_", "complete_", "release_", "restart_", "import_"),
        "PUT": ("put_",),
        "PATCH": ("edit_",),
        "DELETE": ("delete_", "revoke_", "undo_"),
    }
    odd = [
        said["operationId"]
        for method, _, said in operations()
        if not said["operationId"].startswith(verbs[method])
    ]
    assert odd == []


def test_units_of_a_kind_are_listed_once() -> None:
    known = {tuple(unit.name for unit in kind.units) for kind in KINDS.values()}
    listed = Counter(tuple(node["enum"]) for node in nodes(DOCUMENT) if "enum" in node)
    found = {units: times for units, times in listed.items() if units in known}
    assert len(found) >= 10
    assert set(found.values()) == {1}


@pytest.mark.parametrize("name", SHOWN)
def test_what_is_shown_has_all_its_properties(name: str) -> None:
    assert set(SCHEMAS[name]["required"]) == set(SCHEMAS[name]["properties"])


@pytest.mark.parametrize("name", PATCHED)
def test_a_merge_patch_asks_for_nothing_and_sets_nothing_that_is_the_services(name: str) -> None:
    shape = SCHEMAS[name]
    assert "required" not in shape
    assert shape["additionalProperties"] is False
    assert not any(one.get("readOnly") for one in shape["properties"].values())
    validator(shape).validate({})


@pytest.mark.parametrize(
    ("path", "patch"),
    [
        ("/v1/tanks/nursery", {"overflow": {"edge_length": "40 cm"}}),
        ("/v1/tanks/nursery", {"rim_height": None, "overflow": None, "notes": None}),
        ("/v1/sections/rack-return-1", {"name": None, "limits": {"mean_velocity": "3 cm/s"}}),
        ("/v1/pumps/rack-pump", {"running": None, "rated_flow": {"value": 500, "unit": "gal/h"}}),
        ("/v1/gauges/nursery-temperature", {"by_hand": None, "plausible_low": None, "plausible_high": 38}),
        ("/v1/room", {"preferred_units": {"volume": "gal"}, "currency": None}),
    ],
)
def test_a_patch_that_the_document_allows_is_taken(
    furnished: Caller, path: str, patch: dict[str, Any]
) -> None:
    schema = (
        "#/components/schemas/"
        + {
            "tanks": "TankPatch",
            "sections": "SectionPatch",
            "pumps": "PumpPatch",
            "gauges": "GaugePatch",
            "room": "RoomPatch",
        }[path.split("/")[2]]
    )
    validator({"$ref": schema}).validate(patch)

    answered = furnished.patch(path, patch)

    assert answered.status_code == 200, answered.get_data(as_text=True)


def test_a_part_of_a_record_is_patched_and_cleared_inside(furnished: Caller) -> None:
    made = furnished.patch("/v1/tanks/nursery", {"overflow": {"edge_length": "40 cm", "box_width": "12 cm"}})
    changes = {"overflow": {"box_width": None, "crest_height": "52 cm"}}
    validator({"$ref": "#/components/schemas/TankPatch"}).validate(changes)

    patched = furnished.patch("/v1/tanks/nursery", changes)

    assert made.status_code == 200
    assert patched.get_json()["overflow"] == {
        "edge_length": {"value": 40, "unit": "cm"},
        "crest_height": {"value": 52, "unit": "cm"},
    }
