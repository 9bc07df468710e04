"""How our own fields are written down in the OpenAPI document, and what stands in its components.

What is sent and what is shown differ. Sent, a quantity may be text, and much may be left out; shown, it is always
an object, and everything is there. A merge-patch asks for nothing, and null clears what may be cleared.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from apispec.ext.marshmallow.common import resolve_schema_cls
from apispec.ext.marshmallow.openapi import OpenAPIConverter
from marshmallow import Schema, fields

from weirbook.engine.inputs import bare
from weirbook.engine.units import KINDS, Quantity
from weirbook.web.fields import Computed, LooseQuantity, Part, QuantityField, Variant
from weirbook.web.problems import MEDIA_TYPE, REFUSALS, TITLES, Problem
from weirbook.web.shapes import NUMBER, QUANTITY, TEXT, Shape, described, or_null, ref, thing


def schema_name(schema: Any) -> str:
    """A component is named after its schema's class; what differs only in being partial is a patch."""
    cls = resolve_schema_cls(schema)
    name = str((cls[0] if isinstance(cls, list) else cls).__name__).removesuffix("Schema")
    return f"{name.removesuffix('Edit')}Patch" if getattr(schema, "partial", False) else name


class OurConverter(OpenAPIConverter):
    """Writes down a schema as it is shown (it bears a version), as a merge-patch (it is partial) or as it is sent."""

    def schema2jsonschema(self, schema: Schema) -> Shape:
        shape: Shape = super().schema2jsonschema(schema)  # type: ignore[no-untyped-call]
        if _is_shown(schema):
            shape["required"] = list(shape["properties"])
            # A client must stand a new property, so that the record can grow.
            shape.pop("additionalProperties", None)
        return shape

    def field2property(self, field: fields.Field[Any]) -> Shape:
        schema = field.parent if isinstance(field.parent, Schema) else None
        if schema is not None and _is_shown(schema):
            return self._shown(field)
        if schema is not None and schema.partial is True:
            patch = self._in_patch(field)
            return patch if field.required else or_null(patch)
        return self._sent(field)

    def _plain(self, field: fields.Field[Any]) -> Shape:
        shape: Shape = super().field2property(field)
        return shape

    def _shown(self, field: fields.Field[Any]) -> Shape:
        if isinstance(field, (QuantityField, Computed)):
            return _told(field, ref(quantity_name(field.kind)))
        if isinstance(field, LooseQuantity):
            return _told(field, QUANTITY)
        if isinstance(field, Variant):
            return _told(field, self._variant(field, shown=True))
        if isinstance(field, Part):
            return _told(field, self._part(field.schema))
        if isinstance(field, fields.List) and isinstance(field.inner, fields.Nested):
            return _told(field, {"type": "array", "items": self._part(field.inner.schema)})
        return self._plain(field)

    def _sent(self, field: fields.Field[Any]) -> Shape:
        if isinstance(field, QuantityField):
            return _told(field, ref(quantity_name(field.kind, sent=True)), _bounds(field))
        if isinstance(field, LooseQuantity):
            return _told(field, ref("QuantitySent"))
        if isinstance(field, Variant):
            return _told(field, self._variant(field, shown=False))
        return self._plain(field)

    def _in_patch(self, field: fields.Field[Any]) -> Shape:
        if isinstance(field, Part):
            part = type(field.schema)(partial=True)
            return _told(field, self.resolve_nested_schema(part))  # type: ignore[no-untyped-call]
        return self._sent(field)

    def _part(self, schema: Schema) -> Shape:
        """A part of a record as it is shown: what it was never told is left out."""
        shape = thing({name: self._shown(one) for name, one in schema.fields.items()})
        return {**shape, "required": [name for name, one in schema.fields.items() if one.required]}

    def _variant(self, field: Variant, *, shown: bool) -> Shape:
        offered = []
        for word, schema in field.shapes.items():
            part = self._part(schema)
            if not shown:
                part["properties"] = {name: self._sent(one) for name, one in schema.fields.items()}
                part["additionalProperties"] = False
            part["properties"] = {field.tag: {"type": "string", "enum": [word]}, **part["properties"]}
            part["required"] = [field.tag, *part["required"]]
            # Generated clients name the shape by it; a number would change its meaning when one is added.
            offered.append({"title": word.replace("-", " ").capitalize(), **part})
        return {"anyOf": offered}


class OurPlugin(MarshmallowPlugin):
    Converter = OurConverter


def _is_shown(schema: Schema) -> bool:
    return "version" in schema.fields


def _told(field: fields.Field[Any], shape: Shape, more: str = "") -> Shape:
    """The shape with the field's words, and null where the field may be null."""
    words = " ".join(filter(None, [field.metadata.get("description", ""), more]))
    told = {
        **shape,
        **({"description": words} if words else {}),
        **({"readOnly": True} if field.dump_only else {}),
    }
    return or_null(told) if field.allow_none else told


def _bounds(field: QuantityField) -> str:
    """A quantity's bounds in words, in the usual unit of its kind."""
    kind = KINDS[field.kind]
    told = [
        f"{words} {bare(Quantity(float(bound), kind.si).to(kind.default, field.kind))}"
        for words, bound, _ in field.bounds
        if bound is not None
    ]
    return f"({', '.join(told)})" if told else ""


def quantity_name(kind: str, *, sent: bool = False) -> str:
    """The component that describes a quantity of one kind, as it is shown or as it may be sent."""
    return f"{kind.title().replace('_', '')}Quantity{'Sent' if sent else ''}"


def _quantity(kind: str) -> Shape:
    """A quantity of one kind as it is shown."""
    units = [unit.name for unit in KINDS[kind].units]
    return {
        **thing(
            {
                "value": described(NUMBER, "The number"),
                "unit": {"type": "string", "enum": units, "description": "Exact unit name"},
            }
        ),
        "description": f"A quantity of {kind.replace('_', ' ')}.",
        "example": {"value": 1, "unit": KINDS[kind].default},
    }


def _quantity_sent(kind: str) -> Shape:
    """A quantity of one kind as it may be sent."""
    example = f"1 {KINDS[kind].default}"
    units = ", ".join(unit.name for unit in KINDS[kind].units)
    offered = [_PAIR, described(TEXT, f'Number and unit, like "{example}"')]
    if KINDS[kind].takes_bare_numbers:
        offered.append(NUMBER)
    return {
        "anyOf": offered,
        "description": f"A quantity of {kind.replace('_', ' ')}. Units: {units}; aliases are listed at /v1/units.",
        "example": example,
    }


HEADERS = {
    "ETag": "The version of the record, for If-Match and If-None-Match.",
    "Location": "The path of the record just made.",
}
_PAIR: Shape = {**thing({"value": NUMBER, "unit": TEXT}), "additionalProperties": False}
_LOOSE: Shape = {
    "anyOf": [
        _PAIR,
        described(TEXT, 'Number and unit, like "24 degC"'),
        described(NUMBER, "In the record's own unit"),
    ],
    "description": "A quantity of the parameter's kind.",
    "example": "24 degC",
}


def describe_components(spec: APISpec, shapes: Mapping[str, Shape]) -> None:
    """Put in what the operations refer to: refusals, shapes that are no plain record, quantities that are used."""
    for status, name in REFUSALS.items():
        spec.components.response(
            name, {"description": TITLES[status], "content": {MEDIA_TYPE: {"schema": Problem}}}
        )
    for name, words in HEADERS.items():
        spec.components.header(name, {"description": words, "schema": TEXT})
    for name, shape in shapes.items():
        spec.components.schema(name, shape)
    quantities: dict[str, Shape] = {"QuantitySent": _LOOSE}
    for kind in KINDS:
        quantities[quantity_name(kind)] = _quantity(kind)
        quantities[quantity_name(kind, sent=True)] = _quantity_sent(kind)
    wanted = set(re.findall(r'"#/components/schemas/(\w+)"', json.dumps(spec.to_dict())))
    for name, shape in quantities.items():
        if name in wanted:
            spec.components.schema(name, shape)
