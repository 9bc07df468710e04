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
    """A validator of a schema that stands in the document: formats checked, nothing there that is not said."""
    return Draft202012Validator(
        _closed(schema), registry=_REGISTRY, format_checker=Draft202012Validator.FORMAT_CHECKER
    )


def _closed(node: Any) -> Any:
    """The schema with its references pointing into the whole document, and no property but those it names."""
    if isinstance(node, list):
        return [_closed(one) for one in node]
    if not isinstance(node, dict):
        return node
    found = {key: f"doc:{value}" if key == "$ref" else _closed(value) for key, value in node.items()}
    if node.get("type") == "object" and "properties" in node:
        found.setdefault("additionalProperties", False)
    return found


_REGISTRY: Registry[Any] = Registry().with_resource("doc:", Resource(_closed(DOCUMENT), DRAFT202012))
