"""The committed OpenAPI document, operation by operation, and validators of what it says."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

DOCUMENT: dict[str, Any] = json.loads(
    (Path(__file__).parents[1] / "openapi" / "weirbook.json").read_text(encoding="utf-8")
)
_REGISTRY: Registry[Any] = Registry().with_resource("doc:", Resource(DOCUMENT, DRAFT202012))


def operations() -> list[tuple[str, str, dict[str, Any]]]:
    """Method, path and declaration of each operation, its responses' references followed."""
    return [
        (method.upper(), path, {**said, "responses": _followed(said["responses"])})
        for path, item in DOCUMENT["paths"].items()
        for method, said in item.items()
        if method != "parameters"
    ]


def _followed(responses: dict[str, Any]) -> dict[str, Any]:
    named = DOCUMENT["components"].get("responses", {})
    return {
        status: named[one["$ref"].rsplit("/", 1)[-1]] if "$ref" in one else one
        for status, one in responses.items()
    }


def validator(schema: Any) -> Draft202012Validator:
    """A validator of a schema that stands in the document, formats checked."""
    return Draft202012Validator(
        _in_document(schema), registry=_REGISTRY, format_checker=Draft202012Validator.FORMAT_CHECKER
    )


def _in_document(node: Any) -> Any:
    """The schema with its references pointing into the whole document."""
    if isinstance(node, dict):
        return {key: f"doc:{value}" if key == "$ref" else _in_document(value) for key, value in node.items()}
    return [_in_document(one) for one in node] if isinstance(node, list) else node
