"""The published document: as the service writes it, valid, and within the house rules of openapi/lint.py."""

from __future__ import annotations

import copy
import importlib.util
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from openapi_spec_validator import OpenAPIV31SpecValidator

OPENAPI = Path(__file__).parents[2] / "openapi"
PROBLEM = {"content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}}}
SHELF = {"$ref": "#/components/schemas/Shelf"}


def _load_rules() -> ModuleType:
    spec = importlib.util.spec_from_file_location("lint", OPENAPI / "lint.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


lint = _load_rules()


def sound() -> dict[str, Any]:
    """A small document that keeps every rule: a list that anyone may read, an edit that wants a key."""
    return copy.deepcopy(
        {
            "openapi": "3.1.0",
            "info": {"title": "Shelves", "version": "1"},
            "tags": [{"name": "shelves", "description": "What jars stand on."}],
            "paths": {
                "/v1/shelves": {
                    "get": {
                        "operationId": "list_shelves",
                        "summary": "List shelves",
                        "description": "All of them.",
                        "tags": ["shelves"],
                        "security": [],
                        "parameters": [
                            {
                                "in": "query",
                                "name": "q",
                                "description": "Sought word.",
                                "schema": {"type": "string", "example": "top"},
                            }
                        ],
                        "responses": {
                            "200": {
                                "description": "Done",
                                "content": {
                                    "application/json": {"schema": {"type": "array", "items": SHELF}}
                                },
                            },
                            "422": {"description": "Refused", **PROBLEM},
                        },
                        "x-example": {"status": 200},
                    }
                },
                "/v1/shelves/{shelf_id}": {
                    "parameters": [
                        {"in": "path", "name": "shelf_id", "required": True, "schema": {"type": "integer"}}
                    ],
                    "patch": {
                        "operationId": "edit_shelf",
                        "summary": "Change a shelf",
                        "description": "A merge-patch.",
                        "tags": ["shelves"],
                        "security": [{"key": []}],
                        "parameters": [
                            {
                                "in": "header",
                                "name": "If-Match",
                                "description": "The ETag.",
                                "schema": {"type": "string"},
                            }
                        ],
                        "requestBody": {
                            "content": {"application/json": {"schema": SHELF, "example": {"load": 12}}}
                        },
                        "responses": {
                            "204": {"description": "Done"},
                            **{
                                code: {"description": "Refused", **PROBLEM}
                                for code in ("401", "403", "412", "428")
                            },
                        },
                        "x-example": {"status": 204, "body": {"load": 12}},
                    },
                },
            },
            "components": {
                "schemas": {
                    "Shelf": {
                        "type": "object",
                        "properties": {
                            "name": {"type": "string"},
                            "load": {"type": "number", "description": "kg"},
                        },
                        "additionalProperties": False,
                    },
                    "Problem": {"type": "object", "properties": {"title": {"type": "string"}}},
                },
                "securitySchemes": {"key": {"type": "http", "scheme": "bearer"}},
            },
        }
    )


def at(document: dict[str, Any], *steps: str | int) -> Any:
    node: Any = document
    for one in steps:
        node = node[one]
    return node


GET, PATCH = ("paths", "/v1/shelves", "get"), ("paths", "/v1/shelves/{shelf_id}", "patch")
SHELF_SCHEMA = ("components", "schemas", "Shelf")

FAULTS: list[tuple[str, tuple[str | int, ...], str | int, Any]] = [
    ("operations_have_a_name", GET, "operationId", "listShelves"),
    ("operations_have_a_name", GET, "operationId", "edit_shelf"),
    ("operations_have_a_name", GET, "operationId", None),
    ("operations_are_described", GET, "summary", ""),
    ("operations_are_described", GET, "summary", "List shelves."),
    ("operations_are_described", GET, "description", ""),
    ("operations_are_described", GET, "tags", ["jars"]),
    ("operations_have_an_example", GET, "x-example", {"status": 201}),
    ("operations_have_an_example", PATCH, "x-example", {"status": 204}),
    (
        "examples_fit_their_schema",
        (*PATCH, "requestBody", "content", "application/json"),
        "example",
        {"jars": 1},
    ),
    ("examples_fit_their_schema", PATCH, "x-example", {"status": 204, "body": {"load": "12"}}),
    ("examples_fit_their_schema", (*GET, "parameters", 0, "schema"), "example", 7),
    ("access_is_declared", GET, "security", [{"key": []}]),
    ("access_is_declared", PATCH, "security", []),
    ("errors_are_problem_documents", (*GET, "responses"), "422", {"description": "Refused"}),
    (
        "errors_are_problem_documents",
        (*GET, "responses"),
        "default",
        {"description": "?", "content": {"application/json": {}}},
    ),
    ("successes_are_described", (*GET, "responses", "200"), "content", {"application/json": {}}),
    ("successes_are_described", (*PATCH, "responses", "204"), "content", {"text/plain": {"schema": {}}}),
    ("parameters_are_described", (*GET, "parameters", 0), "description", ""),
    ("parameters_are_described", (*GET, "parameters", 0), "name", "soughtWord"),
    ("parameters_are_described", (*PATCH, "parameters", 0), "name", "if_match"),
    ("properties_are_described", (*SHELF_SCHEMA, "properties"), "load", {"type": "number"}),
    ("properties_are_described", (*SHELF_SCHEMA, "properties"), "maxLoad", {"description": "kg"}),
    (
        "requests_are_closed",
        (*SHELF_SCHEMA, "properties"),
        "load",
        {"description": "Mass", "type": "object", "properties": {"value": {}}},
    ),
    ("paths_are_plain", ("paths",), "/v1/Shelves", {}),
    ("paths_are_plain", ("paths",), "/shelves", {}),
    ("paths_are_plain", ("paths",), "/v1/shelves/", {}),
    ("edits_are_guarded", PATCH, "parameters", []),
    ("no_body_where_none_is_read", GET, "requestBody", {"content": {}}),
    ("components_are_used_and_named", ("components", "schemas"), "Jar", {"type": "object"}),
    ("components_are_used_and_named", ("components", "securitySchemes"), "key2", {"type": "http"}),
]


@pytest.fixture(scope="module")
def published() -> str:
    return (OPENAPI / "weirbook.json").read_text(encoding="utf-8")


def test_the_published_document_is_the_one_the_service_writes(published: str) -> None:
    command = [sys.executable, "-c", "from weirbook.cli import main; main(['openapi'])"]
    written = subprocess.run(command, capture_output=True, encoding="utf-8", check=True).stdout
    assert written == published, "write it anew: weirbook openapi --output openapi/weirbook.json"


def test_the_published_document_is_valid(published: str) -> None:
    OpenAPIV31SpecValidator(json.loads(published)).validate()


def test_the_published_document_keeps_the_house_rules(published: str) -> None:
    found = [f"{where}: {message}" for where, message in lint.findings(json.loads(published))]
    if found:
        pytest.fail("\n".join([*found[:20], f"{len(found)} findings"]), pytrace=False)


def test_a_sound_document_is_valid_and_without_findings() -> None:
    OpenAPIV31SpecValidator(sound()).validate()
    assert list(lint.findings(sound())) == []


@pytest.mark.parametrize(
    ("rule", "place", "name", "fault"),
    FAULTS,
    ids=[f"{number}-{fault[0]}" for number, fault in enumerate(FAULTS)],
)
def test_a_rule_finds_its_fault(rule: str, place: tuple[str | int, ...], name: str | int, fault: Any) -> None:
    document = sound()
    at(document, *place)[name] = fault
    check: Callable[[Any], Any] = getattr(lint, rule)
    assert list(check(document)) != []


def test_an_operation_that_hides_its_security_is_found() -> None:
    document = sound()
    del at(document, *GET)["security"]
    assert len(list(lint.access_is_declared(document))) == 1


def test_an_open_request_is_found_through_a_reference() -> None:
    document = sound()
    del at(document, *SHELF_SCHEMA)["additionalProperties"]
    assert [found.where for found in lint.requests_are_closed(document)] == ["#/components/schemas/Shelf"]


def test_every_rule_is_shown_to_find_a_fault() -> None:
    assert {rule.__name__ for rule in lint.RULES} == {fault[0] for fault in FAULTS}


def test_findings_end_the_command_with_a_failure(tmp_path: Path) -> None:
    document = sound()
    at(document, *GET)["description"] = ""
    file = tmp_path / "document.json"
    for said, status in ((sound(), 0), (document, 1)):
        file.write_text(json.dumps(said), encoding="utf-8")
        ended = subprocess.run(
            [sys.executable, OPENAPI / "lint.py", file], capture_output=True, text=True, check=False
        )
        assert ended.returncode == status, ended.stderr
