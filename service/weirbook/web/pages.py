"""Lists a page at a time: the cursor is the position of the last row, in our own writing."""

from __future__ import annotations

import base64
import json
import uuid
from collections.abc import Sequence
from typing import Any

import msgspec
from marshmallow import Schema

from weirbook.errors import Invalid
from weirbook.web.fields import (
    Flag,
    Whole,
    Words,
)

PAGE, PAGE_CAP = 100, 1000


class PageQuery(Schema):
    limit = Whole(
        1, PAGE_CAP, metadata={"in_query": True, "description": f"Records a page, {PAGE} if not said."}
    )
    cursor = Words(cap=500, metadata={"description": "The `next` of the page before."})


class RetiredQuery(PageQuery):
    retired = Flag(metadata={"in_query": True, "description": "true lists the retired ones instead."})


def page_of(schema: Any) -> dict[str, Any]:
    """The documented shape of a list."""
    return {
        "type": "object",
        "required": ["items", "next"],
        "properties": {
            "items": {"type": "array", "items": schema},
            "next": {"type": ["string", "null"], "description": "Cursor of the next page"},
        },
    }


def position(cursor: str, types: Sequence[type]) -> list[Any]:
    """The values in a cursor, of these types. Raises Invalid for one that was not made here."""
    try:
        values = json.loads(base64.urlsafe_b64decode(cursor.encode() + b"=="))
        if not isinstance(values, list):
            raise ValueError
        return [_held(value, wanted) for value, wanted in zip(values, types, strict=True)]
    except (ValueError, TypeError, AttributeError, RecursionError):
        message = "This cursor was not made here. Take `next` from the page before, as it is."
        raise Invalid(message, "/cursor") from None


def _held(value: Any, wanted: type[Any]) -> Any:
    if wanted is uuid.UUID:
        return uuid.UUID(value)
    fits = type(value) is wanted
    if isinstance(value, int):
        fits = fits and abs(value) < 2**53
    if isinstance(value, str):
        fits = fits and "\x00" not in value
    if not fits:
        raise ValueError
    return value


def cursor_at(values: Sequence[Any]) -> str:
    """The cursor of a row: the values it is sorted by."""
    return base64.urlsafe_b64encode(msgspec.json.encode(values)).decode().rstrip("=")
