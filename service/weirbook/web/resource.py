"""The one factory for plain resources: list, create, get, merge-patch, delete; PUT where the client chooses ids."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa
from flask import Response, request
from flask_smorest import Blueprint
from marshmallow import Schema, fields
from sqlalchemy.orm import Session

from weirbook.actions.create import create
from weirbook.actions.edit import edit
from weirbook.actions.remove import remove
from weirbook.errors import Invalid, Stale, Unknown, VersionWanted
from weirbook.record.access import Role
from weirbook.record.base import Edited, Named
from weirbook.record.names import find
from weirbook.web.access import KEEPER, READERS
from weirbook.web.fields import (
    Instant,
    Part,
)
from weirbook.web.operations import (
    Call,
    load,
    reply,
)
from weirbook.web.pages import PAGE, cursor_at, position
from weirbook.web.sheets import as_csv, flat, flat_columns


@dataclass(frozen=True)
class Filter:
    """A query key of a list, and the condition it sets."""

    field: fields.Field[Any]
    where: Callable[[Session, Any], sa.ColumnElement[bool]]


@dataclass(frozen=True)
class Resource:
    """A plain resource: what differs from one to the next, and nothing else."""

    model: type[Edited]
    schema: type[Schema]
    words: str
    example: Mapping[str, Any]
    example_key: str
    example_patch: Mapping[str, Any]
    example_delete: str = ""
    filters: Mapping[str, Filter] = field(default_factory=dict)
    defaults: Mapping[str, Any] = field(default_factory=dict)
    order: tuple[str, ...] = ("id",)
    descending: bool = False
    verbs: tuple[str, ...] = ("list", "create", "get", "patch", "delete")
    unedited: str = ""
    """Of what is never edited: what to do instead."""
    makers: frozenset[Role] = KEEPER
    readers: frozenset[Role] = READERS
    prepare: Callable[[Call, dict[str, Any]], dict[str, Any]] | None = None
    create: Callable[..., Any] = create
    edit: Callable[..., bool] = edit
    remove: Callable[..., None] = remove
    describe: Callable[[Call, Any], Any] | None = None
    gather: Callable[[Call, Sequence[Any]], None] | None = None
    """Reads at once what `describe` wants of many rows."""
    routes: tuple[Callable[[Blueprint], None], ...] = ()
    """What else stands under its path, each added to its blueprint."""
    sent: Mapping[str, fields.Field[Any]] = field(default_factory=dict)
    """What its making takes besides its own fields: it decides something, and is not kept."""
    begins: str = ""
    """What `effective_at` says at its making, where no state is dated by it."""

    @property
    def plural(self) -> str:
        return self.model.PLURAL

    @property
    def noun(self) -> str:
        return self.model.NOUN

    @property
    def nouns(self) -> str:
        if self.noun.endswith("ies"):
            return self.noun
        return f"{self.noun[:-1]}ies" if self.noun.endswith("ry") else f"{self.noun}s"

    @property
    def a_noun(self) -> str:
        return f"an {self.noun}" if self.noun[0] in "aeiou" else f"a {self.noun}"

    @property
    def class_word(self) -> str:
        """The noun as schemas are named by it."""
        return self.noun.title().replace(" ", "")

    @property
    def named(self) -> bool:
        return issubclass(self.model, Named)

    @property
    def dated(self) -> bool:
        return bool(self.model.STATES)

    @property
    def retires(self) -> bool:
        return hasattr(self.model, "retired_at_ms")


def patched(call: Call, resource: Resource, row: Edited, patch: Mapping[str, Any]) -> Response:
    """Merge a patch into a record's present form, check the whole as if it were sent, and store it."""
    schema = edit_schema(resource)
    present = {
        name: value
        for name, value in schema.dump(row).items()
        if name in schema.load_fields and value is not None
    }
    values, effective = split(load(schema, merged(present, patch, schema)))
    complete = {
        one.attribute or name: None for name, one in schema.load_fields.items() if name != "effective_at"
    }
    values = prepared(call, resource, {**complete, **values})
    resource.edit(call.session, row, values, now=call.now, effective_ms=effective)
    return shown(call, resource, row)


def locate(call: Call, resource: Resource, key: Mapping[str, Any], *, for_edit: bool = False) -> Any:
    """The row a path names. Raises Unknown."""
    if resource.named:
        return find(call.session, resource.model, key["handle"], for_edit=for_edit)  # type: ignore[type-var]
    model: Any = resource.model
    asked = sa.select(model).where(model.id == key["id"])
    row = call.session.scalars(asked.with_for_update(of=model) if for_edit else asked).one_or_none()
    if row is None:
        raise Unknown(f"There is no {resource.noun} with the id {key['id']}.")
    return row


def etag(row: Edited) -> str:
    return f'"{row.version}"'


def match(row: Edited) -> None:
    """Hold an edit to the version it was made on. Raises VersionWanted, Stale."""
    sent = request.headers.get("If-Match")
    if sent is None:
        raise VersionWanted(
            "Send If-Match with the ETag that GET gave you, or * to write over whatever is there."
        )
    if sent.strip() != "*" and etag(row) not in [one.strip() for one in sent.split(",")]:
        raise Stale(
            f"It was changed since you read it: the present ETag is {etag(row)}. Read it again, then edit."
        )


def dumped(resource: Resource, row: Any) -> dict[str, Any]:
    """A row as the API shows it."""
    shown: dict[str, Any] = resource.schema().dump(row)
    return shown


def shown(call: Call, resource: Resource, row: Any, status: int = 200) -> Response:
    """The answer that shows one record, with its ETag."""
    headers = {"ETag": etag(row)}
    if status == 201:
        headers["Location"] = f"/v1/{resource.plural}/{row.handle if resource.named else row.id}"
    return reply(described(call, resource, row), status, headers)


def described(call: Call, resource: Resource, row: Any) -> dict[str, Any]:
    """A row as the API shows it, with what other tables hold of it."""
    data = dumped(resource, row)
    return data if resource.describe is None else {**data, **resource.describe(call, row)}


def all_described(call: Call, resource: Resource, rows: Sequence[Any]) -> list[dict[str, Any]]:
    """Rows as the API shows them, in their order."""
    if resource.gather is not None:
        resource.gather(call, rows)
    return [described(call, resource, row) for row in rows]


def listing(call: Call, resource: Resource) -> Response:
    """A page of records, or all of them as CSV."""
    model: Any = resource.model
    asked = sa.select(model)
    for name, one in resource.filters.items():
        if name in call.query:
            asked = asked.where(_condition(call, name, one))
    if resource.retires:
        retired = call.query.get("retired", False)
        asked = asked.where(model.retired_at_ms.is_not(None) if retired else model.retired_at_ms.is_(None))
    columns = [getattr(model, name) for name in resource.order]
    asked = asked.order_by(*(c.desc() if resource.descending else c for c in columns))
    if call.format == "csv":
        rows = call.session.scalars(asked.limit(call.config.csv_cap + 1)).unique().all()
        return as_csv(
            call,
            [flat(one) for one in all_described(call, resource, rows)],
            list(flat_columns(resource.schema())),
        )
    if "cursor" in call.query:
        here = sa.tuple_(
            *(
                sa.literal(value, sa.BigInteger() if isinstance(value, int) else c.type)
                for value, c in zip(
                    position(call.query["cursor"], [c.type.python_type for c in columns]),
                    columns,
                    strict=True,
                )
            )
        )
        asked = asked.where(sa.tuple_(*columns) < here if resource.descending else sa.tuple_(*columns) > here)
    limit = call.query.get("limit", PAGE)
    rows = call.session.scalars(asked.limit(limit + 1)).unique().all()
    following = (
        cursor_at([getattr(rows[limit - 1], name) for name in resource.order]) if len(rows) > limit else None
    )
    return reply({"items": all_described(call, resource, rows[:limit]), "next": following})


def _condition(call: Call, name: str, one: Filter) -> sa.ColumnElement[bool]:
    try:
        return one.where(call.session, call.query[name])
    except Unknown as trouble:
        raise Invalid(trouble.message, f"/{name}") from None


def merged(present: Mapping[str, Any], patch: Mapping[str, Any], schema: Schema) -> dict[str, Any]:
    """RFC 7396, but quantities, lists and shapes that vary are replaced whole."""
    result = dict(present)
    for name, value in patch.items():
        inner = schema.load_fields.get(name)
        if value is None and inner is not None:
            result.pop(name, None)
        elif isinstance(value, Mapping) and isinstance(inner, Part) and not inner.many:
            result[name] = merged(result.get(name) or {}, value, inner.schema)
        else:
            result[name] = value
    return result


def prepared(call: Call, resource: Resource, values: dict[str, Any]) -> dict[str, Any]:
    """Checked values with the resource's defaults and what its parameter or caller decides."""
    complete = {
        **resource.defaults,
        **{
            name: value
            for name, value in values.items()
            if value is not None or name not in resource.defaults
        },
    }
    return resource.prepare(call, complete) if resource.prepare is not None else complete


def as_sent(resource: Resource, values: Mapping[str, Any]) -> dict[str, Any]:
    """Checked values as the API would show them, to compare with what is there."""
    shown: dict[str, Any] = {}
    for name, one in resource.schema().load_fields.items():
        key = one.attribute or name
        if key in values:
            reference = name in resource.model.REFERENCES
            shown[name] = values[key] if reference else one._serialize(values[key], name, values)
    return shown


def split(values: dict[str, Any]) -> tuple[dict[str, Any], int | None]:
    """The values of the record itself, and since when its state holds."""
    return {name: value for name, value in values.items() if name != "effective_at"}, values.get(
        "effective_at"
    )


def edit_schema(resource: Resource) -> Schema:
    """The schema a whole record is held to after a patch: a handle stays as it was made."""
    extra: dict[str, Any] = {}
    if resource.dated:
        extra["effective_at"] = Instant(
            load_only=True, metadata={"description": "When the change of state took effect; now if not said."}
        )
    return derived(f"{resource.class_word}Edit", resource.schema, extra)(
        exclude=["handle"] if resource.named else []
    )


def derived(name: str, base: type[Schema], extra: Mapping[str, Any]) -> type[Schema]:
    """A schema that adds fields to another, made once."""
    key = (name, base)
    if key not in _DERIVED:
        _DERIVED[key] = type(name, (base,), dict(extra))
    return _DERIVED[key]


_DERIVED: dict[tuple[str, type[Schema]], type[Schema]] = {}
"""Schemas derived once each: apispec names a component after its class."""
