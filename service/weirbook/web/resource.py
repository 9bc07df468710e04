"""The one factory for plain resources: list, create, get, merge-patch, delete; PUT where the client chooses ids."""

from __future__ import annotations

import base64
import json
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import msgspec
import sqlalchemy as sa
from flask import Response, request
from flask_smorest import Blueprint
from marshmallow import RAISE, Schema, fields
from sqlalchemy.orm import Session

from weirbook.actions.create import create
from weirbook.actions.edit import edit
from weirbook.actions.remove import remove
from weirbook.engine.units import number
from weirbook.errors import Conflict, Invalid, Stale, TooLarge, Unknown, VersionWanted
from weirbook.record.access import Role
from weirbook.record.base import Edited, Named
from weirbook.record.names import find
from weirbook.tables import to_csv
from weirbook.web.access import KEEPER, READERS
from weirbook.web.fields import (
    Computed,
    Flag,
    Handle,
    Instant,
    LooseQuantity,
    Part,
    QuantityField,
    Whole,
    Words,
)
from weirbook.web.operations import (
    CSV,
    JSON,
    MERGE_PATCH,
    Body,
    Call,
    Example,
    json_object,
    load,
    merge_patch,
    operation,
    reply,
)

PAGE, PAGE_CAP = 100, 1000


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


class PageQuery(Schema):
    limit = Whole(
        1, PAGE_CAP, metadata={"in_query": True, "description": f"Records a page, {PAGE} if not said."}
    )
    cursor = Words(cap=500, metadata={"description": "The `next` of the page before."})


class RetiredQuery(PageQuery):
    retired = Flag(metadata={"in_query": True, "description": "true lists the retired ones instead."})


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
    filters: Mapping[str, Filter] = field(default_factory=dict)
    defaults: Mapping[str, Any] = field(default_factory=dict)
    order: tuple[str, ...] = ("id",)
    descending: bool = False
    verbs: tuple[str, ...] = ("list", "create", "get", "patch", "delete")
    makers: frozenset[Role] = KEEPER
    readers: frozenset[Role] = READERS
    prepare: Callable[[Call, dict[str, Any]], dict[str, Any]] | None = None
    create: Callable[..., Any] = create
    edit: Callable[..., bool] = edit
    remove: Callable[..., None] = remove
    describe: Callable[[Call, Any], Any] | None = None

    @property
    def plural(self) -> str:
        return self.model.PLURAL

    @property
    def noun(self) -> str:
        return self.model.NOUN

    @property
    def named(self) -> bool:
        return issubclass(self.model, Named)

    @property
    def dated(self) -> bool:
        return bool(self.model.STATES)


def blueprint(resource: Resource) -> Blueprint:
    """The routes of one resource."""
    blp = Blueprint(resource.plural, resource.plural, url_prefix="/v1", description=resource.words)
    for verb in resource.verbs:
        VERBS[verb](blp, resource)
    return blp


def _list(blp: Blueprint, resource: Resource) -> None:
    @operation(
        blp,
        "GET",
        f"/{resource.plural}",
        id=f"list_{resource.plural}",
        summary=f"List {resource.plural}",
        description=f"{resource.words} A page at a time: follow `next` until it is null. As CSV: all rows, no cursor.",
        roles=resource.readers,
        query=_list_query(resource),
        formats=("json", "csv"),
        returns=page_of(resource.schema),
        problems=(413,),
    )
    def view(call: Call) -> Response:
        return listing(call, resource)


def _create(blp: Blueprint, resource: Resource) -> None:
    @operation(
        blp,
        "POST",
        f"/{resource.plural}",
        id=f"create_{_word(resource)}",
        summary=f"Make a {resource.noun}",
        description=f"{resource.words}{_dated_words(resource)}",
        roles=resource.makers,
        body=_body(resource, "Create"),
        returns=resource.schema,
        status=201,
        example=Example(body=dict(resource.example)),
    )
    def view(call: Call) -> Response:
        values, effective = _split(call.body)
        row = resource.create(
            call.session,
            resource.model,
            _prepared(call, resource, values),
            now=call.now,
            effective_ms=effective,
        )
        return shown(call, resource, row, 201)


def _put(blp: Blueprint, resource: Resource) -> None:
    @operation(
        blp,
        "PUT",
        f"/{resource.plural}/<uuid:id>",
        id=f"put_{_word(resource)}",
        summary=f"Make a {resource.noun} under an id of your own",
        description="Safe to repeat: new answers 201, the same again 200, anything different 409 (edit by PATCH).",
        roles=resource.makers,
        body=_body(resource, "Create"),
        returns=resource.schema,
        status=201,
        also={200: resource.schema},
        problems=(409,),
        example=Example(path={"id": "01936c5e-8f00-7000-8000-00000000abcd"}, body=dict(resource.example)),
    )
    def view(call: Call, id: uuid.UUID) -> Response:
        values = _prepared(call, resource, call.body)
        present = call.session.scalars(sa.select(resource.model).where(resource.model.id == id)).one_or_none()  # type: ignore[attr-defined]
        if present is None:
            row = resource.create(call.session, resource.model, values, now=call.now, chosen_id=id)
            return shown(call, resource, row, 201)
        if {**dumped(resource, present), **_as_sent(resource, values)} != dumped(resource, present):
            raise Conflict(
                f"There is another {resource.noun} under this id. Edit it by PATCH.", slug="id-taken"
            )
        return shown(call, resource, present)


def _get(blp: Blueprint, resource: Resource) -> None:
    @operation(
        blp,
        "GET",
        _one_path(resource),
        id=f"get_{_word(resource)}",
        summary=f"One {resource.noun}",
        description=resource.words,
        roles=resource.readers,
        returns=resource.schema,
        also={304: None},
        headers=("If-None-Match",),
        example=_one_example(resource),
    )
    def view(call: Call, **key: Any) -> Response:
        row = locate(call, resource, key)
        if etag(row) in request.headers.get("If-None-Match", "").replace("W/", "").split(", "):
            return Response(status=304, headers={"ETag": etag(row)})
        return shown(call, resource, row)

    if resource.dated:
        _states(blp, resource)


def _states(blp: Blueprint, resource: Resource) -> None:
    @operation(
        blp,
        "GET",
        f"{_one_path(resource)}/states",
        id=f"list_{_word(resource)}_states",
        summary=f"What held for a {resource.noun}, and when",
        description="The dated states, oldest first: half-open, a null `from` is from the beginning, a null `to` still holds.",
        roles=resource.readers,
        returns=STATES_SHAPE,
        example=_one_example(resource),
    )
    def view(call: Call, **key: Any) -> Response:
        row: Any = locate(call, resource, key)
        items = []
        for name, span in row.STATES.items():
            asked = sa.select(span).where(span.subject_id == row.id).order_by(span.from_ms)
            for one in call.session.scalars(asked):
                items.append(
                    {
                        "state": name.removesuffix("_id"),
                        "value": _state_value(call, row, name, one.value),
                        "from": Instant()._serialize(one.from_ms or None, None, None),
                        "to": Instant()._serialize(one.to_ms, None, None),
                    }
                )
        return reply({"items": items})


def _state_value(call: Call, row: Any, name: str, value: Any) -> Any:
    reference = row.REFERENCES.get(name.removesuffix("_id"))
    if reference is None:
        return value
    target = sa.inspect(type(row)).relationships[name.removesuffix("_id")].mapper.class_
    return call.session.scalars(sa.select(target.handle).where(target.id == value)).one()


def _patch(blp: Blueprint, resource: Resource) -> None:
    @operation(
        blp,
        "PATCH",
        _one_path(resource),
        id=f"edit_{_word(resource)}",
        summary=f"Change a {resource.noun}",
        description=(
            "A merge-patch: what is absent stays, null clears, a quantity or a list is replaced whole. "
            f"Send the ETag you hold as If-Match.{_dated_words(resource)}"
        ),
        roles=resource.makers,
        body=Body({MERGE_PATCH: _patch_schema(resource), JSON: _patch_schema(resource)}, merge_patch),
        returns=resource.schema,
        headers=("If-Match",),
        example=_one_example(resource, body=dict(resource.example_patch), headers={"If-Match": "*"}),
    )
    def view(call: Call, **key: Any) -> Response:
        row = locate(call, resource, key, for_edit=True)
        match(row)
        return patched(call, resource, row, call.body)


def patched(call: Call, resource: Resource, row: Edited, patch: Mapping[str, Any]) -> Response:
    """Merge a patch into a record's present form, check the whole as if it were sent, and store it."""
    schema = _edit_schema(resource)
    present = {
        name: value
        for name, value in schema.dump(row).items()
        if name in schema.load_fields and value is not None
    }
    values, effective = _split(load(schema, merged(present, patch, schema)))
    complete = {
        one.attribute or name: None for name, one in schema.load_fields.items() if name != "effective_at"
    }
    values = _prepared(call, resource, {**complete, **values})
    resource.edit(call.session, row, values, now=call.now, effective_ms=effective)
    return shown(call, resource, row)


def _delete(blp: Blueprint, resource: Resource) -> None:
    instead = (
        " What has records is refused (409, saying what hangs on it): retire it instead."
        if resource.named
        else ""
    )

    @operation(
        blp,
        "DELETE",
        _one_path(resource),
        id=f"delete_{_word(resource)}",
        summary=f"Delete a {resource.noun}",
        description=f"Send the ETag you hold as If-Match.{instead}",
        roles=resource.makers,
        status=204,
        headers=("If-Match",),
        example=_one_example(resource, headers={"If-Match": "*"}),
    )
    def view(call: Call, **key: Any) -> Response:
        row = locate(call, resource, key, for_edit=True)
        match(row)
        resource.remove(call.session, row)
        return Response(status=204)


VERBS: Mapping[str, Callable[[Blueprint, Resource], None]] = {
    "list": _list,
    "create": _create,
    "put": _put,
    "get": _get,
    "patch": _patch,
    "delete": _delete,
}


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
    data = dumped(resource, row)
    if resource.describe is not None:
        data |= resource.describe(call, row)
    return reply(data, status, headers)


def listing(call: Call, resource: Resource) -> Response:
    """A page of records, or all of them as CSV."""
    model: Any = resource.model
    asked = sa.select(model)
    for name, one in resource.filters.items():
        if name in call.query:
            asked = asked.where(one.where(call.session, call.query[name]))
    if resource.named:
        retired = call.query.get("retired", False)
        asked = asked.where(model.retired_at_ms.is_not(None) if retired else model.retired_at_ms.is_(None))
    columns = [getattr(model, name) for name in resource.order]
    asked = asked.order_by(*(c.desc() if resource.descending else c for c in columns))
    if call.format == "csv":
        rows = call.session.scalars(asked.limit(call.config.csv_cap + 1)).unique().all()
        return as_csv(
            call, [flat(dumped(resource, row)) for row in rows], list(flat_columns(resource.schema()))
        )
    if "cursor" in call.query:
        here = sa.tuple_(
            *(
                sa.literal(value, c.type)
                for value, c in zip(_position(call.query["cursor"], columns), columns, strict=True)
            )
        )
        asked = asked.where(sa.tuple_(*columns) < here if resource.descending else sa.tuple_(*columns) > here)
    limit = call.query.get("limit", PAGE)
    rows = call.session.scalars(asked.limit(limit + 1)).unique().all()
    following = _cursor(rows[limit - 1], resource.order) if len(rows) > limit else None
    return reply({"items": [dumped(resource, row) for row in rows[:limit]], "next": following})


def as_csv(call: Call, rows: Sequence[Mapping[str, Any]], columns: Sequence[str]) -> Response:
    """Rows as CSV under named columns. Raises TooLarge past the cap."""
    if len(rows) > call.config.csv_cap:
        raise TooLarge(f"More than {call.config.csv_cap} rows: narrow it by the query.")
    table = to_csv(columns, ([row.get(name) for name in columns] for row in rows))
    return Response(table, content_type=f"{CSV}; charset=utf-8")


def flat_columns(schema: Schema, before: str = "") -> Sequence[str]:
    """Column names of a record as CSV: a quantity is two, named values nested in it one each."""
    names: list[str] = []
    for name, one in schema.dump_fields.items():
        if isinstance(one, (QuantityField, Computed, LooseQuantity)):
            names += [f"{before}{name}", f"{before}{name}_unit"]
        elif isinstance(one, Part):
            names += flat_columns(one.schema, f"{before}{name}.")
        else:
            names.append(f"{before}{name}")
    return names


def flat(record: Mapping[str, Any], before: str = "") -> dict[str, Any]:
    """A record as one CSV row; lists and shapes that vary stay as JSON text."""
    row: dict[str, Any] = {}
    for name, value in record.items():
        if isinstance(value, Mapping) and value.keys() == {"value", "unit"}:
            row |= {f"{before}{name}": value["value"], f"{before}{name}_unit": value["unit"]}
        elif isinstance(value, Mapping):
            row |= flat(value, f"{before}{name}.") | {
                f"{before}{name}": json.dumps(value, ensure_ascii=False)
            }
        elif isinstance(value, list):
            row[f"{before}{name}"] = json.dumps(value, ensure_ascii=False)
        else:
            row[f"{before}{name}"] = number(value) if isinstance(value, float) else value
    return row


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


STATES_SHAPE = {
    "type": "object",
    "properties": {
        "items": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {
                    "state": {"type": "string"},
                    "value": {"description": "What held"},
                    "from": {"type": ["string", "null"], "format": "date-time"},
                    "to": {"type": ["string", "null"], "format": "date-time"},
                },
            },
        }
    },
}


def _prepared(call: Call, resource: Resource, values: dict[str, Any]) -> dict[str, Any]:
    complete = {
        **resource.defaults,
        **{
            name: value
            for name, value in values.items()
            if value is not None or name not in resource.defaults
        },
    }
    return resource.prepare(call, complete) if resource.prepare is not None else complete


def _as_sent(resource: Resource, values: Mapping[str, Any]) -> dict[str, Any]:
    """Checked values as the API would show them, to compare with what is there."""
    shown: dict[str, Any] = {}
    for name, one in resource.schema().load_fields.items():
        key = one.attribute or name
        if key in values:
            reference = name in resource.model.REFERENCES
            shown[name] = values[key] if reference else one._serialize(values[key], name, values)
    return shown


def _split(values: dict[str, Any]) -> tuple[dict[str, Any], int | None]:
    return {name: value for name, value in values.items() if name != "effective_at"}, values.get(
        "effective_at"
    )


def _position(cursor: str, columns: Sequence[Any]) -> list[Any]:
    try:
        values = json.loads(base64.urlsafe_b64decode(cursor.encode() + b"=="))
        if not isinstance(values, list) or len(values) != len(columns):
            raise ValueError
        return [
            _cursor_value(value, column.type.python_type)
            for value, column in zip(values, columns, strict=True)
        ]
    except (ValueError, TypeError, AttributeError, RecursionError):
        raise Invalid(
            "This cursor was not made here. Take `next` from the page before, as it is.", "/cursor"
        ) from None


def _cursor_value(value: Any, wanted: type) -> Any:
    if wanted is uuid.UUID:
        return uuid.UUID(value)
    if (
        type(value) is not wanted
        or (wanted is int and abs(value) >= 2**53)
        or (wanted is str and "\x00" in value)
    ):
        raise ValueError
    return value


def _cursor(row: Any, order: Sequence[str]) -> str:
    values = [getattr(row, name) for name in order]
    return base64.urlsafe_b64encode(msgspec.json.encode(values)).decode().rstrip("=")


def _list_query(resource: Resource) -> type[Schema]:
    base = RetiredQuery if resource.named else PageQuery
    return _derived(
        f"{_class_word(resource)}List", base, {name: one.field for name, one in resource.filters.items()}
    )


def _body(resource: Resource, suffix: str) -> Body:
    schema = _create_schema(resource)
    return Body({JSON: schema}, lambda request, config: load(schema, json_object(request, config)))


def _create_schema(resource: Resource) -> Schema:
    extra: dict[str, Any] = {}
    if resource.dated:
        extra["effective_at"] = Instant(
            metadata={"description": "Since when its present state holds; from the beginning if not said."}
        )
    return _derived(f"{_class_word(resource)}Create", resource.schema, extra)(
        exclude=[name for name, one in resource.schema().fields.items() if one.dump_only]
    )


def _edit_schema(resource: Resource) -> Schema:
    """The schema a whole record is held to after a patch: a handle stays as it was made."""
    extra: dict[str, Any] = {}
    if resource.dated:
        extra["effective_at"] = Instant(
            load_only=True, metadata={"description": "When the change of state took effect; now if not said."}
        )
    return _derived(f"{_class_word(resource)}Edit", resource.schema, extra)(
        exclude=["handle"] if resource.named else []
    )


def _patch_schema(resource: Resource) -> Schema:
    """The documented shape of a patch: nothing is required, null clears."""
    whole = _edit_schema(resource)
    return type(whole)(
        partial=True,
        exclude=[name for name, one in resource.schema().fields.items() if one.dump_only or name == "handle"],
    )


def _derived(name: str, base: type[Schema], extra: Mapping[str, Any]) -> type[Schema]:
    key = (name, base)
    if key not in _DERIVED:
        _DERIVED[key] = type(name, (base,), dict(extra))
    return _DERIVED[key]


_DERIVED: dict[tuple[str, type[Schema]], type[Schema]] = {}
"""Schemas derived once each: apispec names a component after its class."""


def _word(resource: Resource) -> str:
    return resource.noun.replace(" ", "_")


def _class_word(resource: Resource) -> str:
    return resource.noun.title().replace(" ", "")


def _one_path(resource: Resource) -> str:
    return f"/{resource.plural}/<{'handle' if resource.named else 'uuid:id'}>"


def _one_example(resource: Resource, **said: Any) -> Example:
    return Example(path={"handle" if resource.named else "id": resource.example_key}, **said)


def _dated_words(resource: Resource) -> str:
    if not resource.dated:
        return ""
    names = ", ".join(name.removesuffix("_id").removesuffix("_s") for name in resource.model.STATES)
    return f" Its past is kept for: {names}; `effective_at` says since when."
