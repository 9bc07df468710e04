"""Base schemas of the records that the API shows."""

from __future__ import annotations

from marshmallow import RAISE, Schema, fields

from weirbook.web.fields import (
    Handle,
    Instant,
    Words,
)


class RecordSchema(Schema):
    """Base of every resource's schema: unknown fields are refused; version and times are the service's."""

    class Meta:
        unknown = RAISE

    version = fields.Integer(dump_only=True, metadata={"description": "Rises with every change; the ETag."})
    created_at = Instant(dump_only=True, attribute="created_at_ms")
    updated_at = Instant(dump_only=True, attribute="updated_at_ms")


class NamedSchema(RecordSchema):
    """Base of the schemas of named things."""

    handle = Handle(
        metadata={
            "description": "Lower-case slug for URLs and references; made from the name if none is sent; fixed."
        }
    )
    name = Words(cap=120, required=True)
    notes = Words(allow_none=True)
    retired_at = Instant(
        allow_none=True,
        attribute="retired_at_ms",
        metadata={"description": "Set to retire it; null brings it back. Its history stays readable."},
    )


class HappeningSchema(RecordSchema):
    """Base of the schemas of what has a UUID."""

    id = fields.UUID(dump_only=True)
