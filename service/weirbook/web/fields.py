"""Fields of the API's schemas: strict about what they take, plain about why they refuse."""

from __future__ import annotations

import math
import re
import uuid
from collections.abc import Mapping
from datetime import date
from typing import Any

from marshmallow import Schema, ValidationError, fields

from weirbook.engine.inputs import bare
from weirbook.engine.times import instant_ms, instant_text, local_text, local_time
from weirbook.engine.units import KINDS, Quantity, number, quantity
from weirbook.errors import Invalid
from weirbook.record.base import HANDLE, HANDLE_CAP

TEXT_CAP = 20_000
PLACE_PATTERN = r"^(room|(systems|tanks|sumps|sections)/[a-z0-9]+(-[a-z0-9]+)*)$"
CLOCK_PATTERN = r"^\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d)?$"
LINK_PATTERN = r"^[a-z]+(-[a-z]+)*/[0-9a-zA-Z]+(-[0-9a-zA-Z]+)*$"
LINK_CAP = 100
HANDLE_PATTERN = rf"^{HANDLE.pattern}$"


def _known(said: dict[str, Any], **facts: Any) -> dict[str, Any]:
    """A field's arguments with what its kind adds to its documentation."""
    return {**said, "metadata": {**facts, **said.get("metadata", {})}}


class Words(fields.String):
    """Text for people: not empty, without NUL, of bounded length."""

    def __init__(self, *, cap: int = TEXT_CAP, **said: Any) -> None:
        super().__init__(**_known(said, minLength=1, maxLength=cap))
        self.cap = cap

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str):
            raise ValidationError("Send text.")
        if "\x00" in value:
            raise ValidationError("Text can't hold a NUL character.")
        if not value.strip():
            raise ValidationError("Send some words, or leave this out.")
        if len(value) > self.cap:
            raise ValidationError(f"This is {len(value)} characters long; at most {self.cap} are kept.")
        return value


class Handle(fields.String):
    """A lower-case slug."""

    def __init__(self, **said: Any) -> None:
        super().__init__(**_known(said, pattern=HANDLE_PATTERN, maxLength=HANDLE_CAP))

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str) or len(value) > HANDLE_CAP or not HANDLE.fullmatch(value):
            raise ValidationError(
                f"A handle is made of lower-case letters, digits and single hyphens, at most {HANDLE_CAP} characters."
            )
        return value


class Reference(Handle):
    """The handle of another record, shown from the row it points to."""

    def _serialize(self, value: Any, attr: str | None, obj: Any, **kwargs: Any) -> Any:
        return None if value is None else value.handle


class PlaceReference(fields.String):
    """A place as its path: room, systems/rill, tanks/nursery, sumps/rack, sections/rack-return-1."""

    def __init__(self, **said: Any) -> None:
        super().__init__(**_known(said, pattern=PLACE_PATTERN))

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str) or len(value) > 80 or not re.fullmatch(PLACE_PATTERN, value):
            words = "Write a place as its path: room, systems/HANDLE, tanks/HANDLE, sumps/HANDLE or sections/HANDLE"
            if isinstance(value, str) and len(value) <= HANDLE_CAP and HANDLE.fullmatch(value):
                words += f"; tanks/{value} if it is a tank"
            raise ValidationError(f"{words}.")
        return value

    def _serialize(self, value: Any, attr: str | None, obj: Any, **kwargs: Any) -> Any:
        return None if value is None else value.path


class Choice(fields.String):
    """One word out of a list."""

    def __init__(self, choices: tuple[str, ...], **said: Any) -> None:
        listed = [*choices, None] if said.get("allow_none") else list(choices)
        super().__init__(**_known(said, enum=listed))
        self.choices = choices

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str) or value not in self.choices:
            raise ValidationError(f"{value!r:.60} is not offered. Choose one of: {', '.join(self.choices)}.")
        return value


class Flag(fields.Boolean):
    """True or false, nothing that merely looks like it; in a query the words true and false."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> bool:
        if isinstance(value, bool):
            return value
        if self.metadata.get("in_query") and value in ("true", "false"):
            return bool(value == "true")
        raise ValidationError("Send true or false.")


def _unquoted(one: fields.Field[Any], value: object) -> str:
    """What else to say to a number that came as text in a body."""
    looks_so = isinstance(value, str) and re.fullmatch(r"\s*[+-]?[0-9.,]+\s*", value, re.ASCII)
    return ", without quotes" if looks_so and not one.metadata.get("in_query") else ""


class Whole(fields.Integer):
    """A whole number within bounds; digits in a query."""

    def __init__(self, low: int, high: int, **said: Any) -> None:
        super().__init__(**_known(said, minimum=low, maximum=high))
        self.low, self.high = low, high

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> int:
        if (
            self.metadata.get("in_query")
            and isinstance(value, str)
            and re.fullmatch(r"[0-9]{1,12}", value, re.ASCII)
        ):
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int) or not self.low <= value <= self.high:
            raise ValidationError(
                f"Send a whole number from {self.low} to {self.high}{_unquoted(self, value)}."
            )
        return value


class Plain(fields.Float):
    """A plain number within bounds, shown by its shortest text."""

    def __init__(self, low: float, high: float, **said: Any) -> None:
        super().__init__(**_known(said, minimum=low, maximum=high))
        self.low, self.high = low, high

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> float:
        if (
            isinstance(value, bool)
            or not isinstance(value, (int, float))
            or not self.low <= value <= self.high
        ):
            raise ValidationError(
                f"Send a number from {number(self.low)} to {number(self.high)}{_unquoted(self, value)}."
            )
        return float(value)

    def _serialize(self, value: Any, attr: str | None, obj: Any, **kwargs: Any) -> Any:
        return None if value is None else number(value)


class Instant(fields.Field[int]):
    """An RFC 3339 instant with its offset, held as epoch milliseconds and shown in UTC."""

    def __init__(self, **said: Any) -> None:
        super().__init__(**_known(said, type="string", format="date-time"))

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> int:
        try:
            return instant_ms(value)
        except Invalid as trouble:
            raise ValidationError(trouble.message) from None

    def _serialize(self, value: Any, attr: str | None, obj: Any, **kwargs: Any) -> Any:
        return None if value is None else instant_text(value)


class ClockTime(fields.String):
    """A time by the room's clock, without offset, like 2026-11-29T10:00."""

    def __init__(self, **said: Any) -> None:
        super().__init__(**_known(said, pattern=CLOCK_PATTERN, example="2026-11-29T10:00"))

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        try:
            return local_text(local_time(value))
        except Invalid as trouble:
            raise ValidationError(trouble.message) from None


class Day(fields.Date):
    """A date of the room, like 2026-11-25."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> date:
        if isinstance(value, str) and re.fullmatch(r"\d{4}-\d\d-\d\d", value, re.ASCII):
            try:
                return date.fromisoformat(value)
            except ValueError:
                pass
        raise ValidationError("Write a real date, like 2026-11-25.")


class Identity(fields.UUID):
    """A UUID as text; `listed` is the noun, as paths have it, under which such ids stand."""

    def __init__(self, listed: str = "", **said: Any) -> None:
        super().__init__(**said)
        self.listed = listed

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> uuid.UUID:
        if isinstance(value, str) and re.fullmatch(
            r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}", value, re.ASCII
        ):
            return uuid.UUID(value)
        where = f" GET /v1/{self.listed} lists them." if self.listed else ""
        raise ValidationError(f"Write a UUID, like 01936c5e-8f00-7000-8000-000000000001.{where}")


class RecordId(fields.UUID):
    """The id of another record, shown from the row it points to; `listed` as of Identity."""

    def __init__(self, listed: str, **said: Any) -> None:
        super().__init__(**said)
        self.listed = listed

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:  # type: ignore[override]
        return str(Identity(self.listed)._deserialize(value, attr, data, **kwargs))

    def _serialize(self, value: Any, attr: str | None, obj: Any, **kwargs: Any) -> Any:
        return None if value is None else str(value.id)


class IdText(fields.UUID):
    """The id of another record in a list, kept as text."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:  # type: ignore[override]
        return str(Identity()._deserialize(value, attr, data, **kwargs))

    def _serialize(self, value: Any, attr: str | None, obj: Any, **kwargs: Any) -> Any:
        return value


class Link(fields.String):
    """Another record as its path, like groups/ID or tanks/nursery."""

    def __init__(self, **said: Any) -> None:
        super().__init__(**_known(said, pattern=LINK_PATTERN, maxLength=LINK_CAP))

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str) or len(value) > LINK_CAP or not re.fullmatch(LINK_PATTERN, value):
            raise ValidationError(
                "Write a link as the record's path: its noun, a slash, its handle or id, like tanks/nursery."
            )
        return value.lower()


class QuantityField(fields.Field[Quantity]):
    """A number with an exact unit: {"value": 72, "unit": "in"} or "72 in". Bounds are SI."""

    def __init__(
        self,
        kind: str,
        *,
        gt: float | None = None,
        ge: float | None = None,
        lt: float | None = None,
        le: float | None = None,
        **said: Any,
    ) -> None:
        super().__init__(**said)
        self.kind = kind
        self.bounds = (
            ("more than", gt, float.__gt__),
            ("at least", ge, float.__ge__),
            ("less than", lt, float.__lt__),
            ("at most", le, float.__le__),
        )

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Quantity:
        try:
            found = quantity(value, self.kind)
        except Invalid as trouble:
            raise ValidationError(trouble.message) from None
        size = float(found.si(self.kind))
        for words, bound, holds in self.bounds:
            if bound is not None and not holds(size, float(bound)):
                shown = Quantity(float(bound), KINDS[self.kind].si).to(found.unit, self.kind)
                raise ValidationError(f"{bare(found)} can't be: this must be {words} {bare(shown)}.")
        return found

    def _serialize(self, value: Any, attr: str | None, obj: Any, **kwargs: Any) -> Any:
        return None if value is None else value.as_json()


class Computed(fields.Field[Any]):
    """A value the service computes from the row: SI in, shown in the usual unit of its kind."""

    def __init__(self, kind: str, unit: str | None = None, **said: Any) -> None:
        super().__init__(dump_only=True, allow_none=True, **said)
        self.kind = kind
        self.shown_in = unit or KINDS[kind].default

    def _serialize(self, value: Any, attr: str | None, obj: Any, **kwargs: Any) -> Any:
        if value is None or not math.isfinite(value):
            return None
        return Quantity(value, KINDS[self.kind].si).to(self.shown_in, self.kind).as_json()


class LooseQuantity(fields.Field[Any]):
    """A quantity whose kind depends on the parameter beside it, so its unit is checked there.

    A bare number is in the unit of the record.
    """

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, bool) or not isinstance(value, (int, float, str, Mapping)):
            raise ValidationError(
                'Send a number in the record\'s own unit, "24 degC", or {"value": 24, "unit": "degC"}.'
            )
        return value

    def _serialize(self, value: Any, attr: str | None, obj: Any, **kwargs: Any) -> Any:
        return None if value is None else value.as_json()


class ReadValue(fields.Field[Any]):
    """What a gauge, a test or the eye showed: a number, or words like "<0.05", "10..20", on; kept as it was sent."""

    def __init__(self, **said: Any) -> None:
        super().__init__(**_known(said, type=["number", "string"]))

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, bool) or not isinstance(value, (int, float, str)):
            raise ValidationError('Send a number, or a text like "<0.05", "10..20" or on.')
        return value

    def _serialize(self, value: Any, attr: str | None, obj: Any, **kwargs: Any) -> Any:
        return value


class Figure(fields.Float):
    """A plain number going out, by its shortest text."""

    def _serialize(self, value: Any, attr: str | None, obj: Any, **kwargs: Any) -> Any:
        return None if value is None else number(value)


class Part(fields.Nested):
    """Named values nested in a record; a merge-patch reaches inside them."""


class Variant(fields.Field[Any]):
    """One of several nested shapes, told apart by one word; a merge-patch replaces it whole."""

    def __init__(self, tag: str, shapes: Mapping[str, Schema], **said: Any) -> None:
        super().__init__(**said)
        self.tag, self.shapes = tag, shapes

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, Mapping):
            raise ValidationError("Send an object with named values.")
        word = value.get(self.tag)
        schema = self.shapes.get(word) if isinstance(word, str) else None
        if schema is None:
            raise ValidationError({self.tag: [f"Choose one of: {', '.join(self.shapes)}."]})
        rest = {name: one for name, one in value.items() if name != self.tag}
        return {self.tag: word, **schema.load(rest)}

    def _serialize(self, value: Any, attr: str | None, obj: Any, **kwargs: Any) -> Any:
        if value is None:
            return None
        return {self.tag: value[self.tag], **self.shapes[value[self.tag]].dump(value)}
