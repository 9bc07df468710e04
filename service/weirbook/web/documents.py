"""How our own fields are written down in the OpenAPI document."""

from __future__ import annotations

from typing import Any

from apispec.ext.marshmallow import MarshmallowPlugin
from apispec.ext.marshmallow.common import resolve_schema_cls

from weirbook.engine.units import KINDS
from weirbook.web.fields import Computed, LooseQuantity, QuantityField, Variant


def schema_name(schema: Any) -> str | None:
    """A component is named after its schema's class; what differs only in being partial is a patch."""
    cls = resolve_schema_cls(schema)
    name = (cls[0] if isinstance(cls, list) else cls).__name__.removesuffix("Schema")
    return f"{name.removesuffix('Edit')}Patch" if getattr(schema, "partial", False) else name


def describe_fields(plugin: MarshmallowPlugin) -> None:
    """Teach the document the shapes of fields that marshmallow doesn't know."""
    converter = plugin.converter
    assert converter is not None

    def quantities(self: Any, field: Any, **kwargs: Any) -> dict[str, Any]:
        if isinstance(field, QuantityField):
            return _quantity(field.kind, field.allow_none, dump_only=field.dump_only)
        if isinstance(field, Computed):
            return _quantity(field.kind, True, dump_only=True)
        if isinstance(field, LooseQuantity):
            return {
                "anyOf": [
                    _OBJECT,
                    {"type": "string", "description": 'Like "24 degC"'},
                    {"type": "number", "description": "In the record's own unit"},
                    {"type": "null"},
                ]
            }
        if isinstance(field, Variant):
            shapes = [_variant(self, field, word) for word in field.shapes]
            return {"anyOf": [*shapes, {"type": "null"}] if field.allow_none else shapes}
        return {}

    converter.add_attribute_function(quantities)  # type: ignore[no-untyped-call]


_OBJECT = {
    "type": "object",
    "required": ["value", "unit"],
    "properties": {"value": {"type": "number"}, "unit": {"type": "string"}},
    "additionalProperties": False,
}


def _quantity(kind: str, nullable: bool, *, dump_only: bool) -> dict[str, Any]:
    units = [unit.name for unit in KINDS[kind].units]
    whole = {
        "type": "object",
        "title": f"Quantity of {kind.replace('_', ' ')}",
        "required": ["value", "unit"],
        "properties": {"value": {"type": "number"}, "unit": {"type": "string", "enum": units}},
        "additionalProperties": False,
        "example": {"value": 1, "unit": KINDS[kind].default},
    }
    if dump_only:
        return {"anyOf": [whole, {"type": "null"}]} if nullable else whole
    whole["properties"] = {"value": {"type": "number"}, "unit": {"type": "string"}}
    text = {
        "type": "string",
        "description": f'Number and unit, like "1 {KINDS[kind].default}". Units: {", ".join(units)}.',
    }
    return {"anyOf": [whole, text, *([{"type": "null"}] if nullable else [])]}


def _variant(converter: Any, field: Variant, word: str) -> dict[str, Any]:
    fields = field.shapes[word].fields
    return {
        "type": "object",
        "required": [field.tag, *(name for name, one in fields.items() if one.required)],
        "properties": {
            field.tag: {"type": "string", "enum": [word]},
            **{name: converter.field2property(one) for name, one in fields.items()},
        },
        "additionalProperties": False,
    }
