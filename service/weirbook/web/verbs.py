"""The routes of a plain resource, one function a verb."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping
from typing import Any

import sqlalchemy as sa
from flask import Response, request
from flask_smorest import Blueprint
from marshmallow import Schema, fields

from weirbook.engine.units import Quantity
from weirbook.errors import Conflict
from weirbook.web.fields import (
    Instant,
)
from weirbook.web.operations import (
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
from weirbook.web.pages import PageQuery, RetiredQuery, page_of
from weirbook.web.resource import (
    Resource,
    as_sent,
    derived,
    dumped,
    edit_schema,
    etag,
    listing,
    locate,
    match,
    patched,
    prepared,
    shown,
    split,
)
from weirbook.web.shapes import STATES


def blueprint(resource: Resource) -> Blueprint:
    """The routes of one resource."""
    blp = Blueprint(resource.plural, resource.plural, url_prefix="/v1", description=resource.words)
    for verb in resource.verbs:
        VERBS[verb](blp, resource)
    for add in resource.routes:
        add(blp)
    return blp


def _list(blp: Blueprint, resource: Resource) -> None:
    @operation(
        blp,
        "GET",
        f"/{resource.plural}",
        id=f"list_{resource.plural.replace('-', '_')}",
        summary=f"List {resource.nouns}",
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
        summary=f"Make {resource.a_noun}",
        description=f"{resource.words}{_dated_words(resource)}",
        roles=resource.makers,
        body=_body(resource, "Create"),
        returns=resource.schema,
        status=201,
        gives=("ETag", "Location"),
        example=Example(body=dict(resource.example)),
    )
    def view(call: Call) -> Response:
        values, effective = split(call.body)
        row = resource.create(
            call.session,
            resource.model,
            prepared(call, resource, values),
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
        summary=f"Make {resource.a_noun} under an id of your own",
        description="Safe to repeat: new answers 201, the same again 200, anything different 409"
        + (f". {resource.unedited}" if resource.unedited else " (edit by PATCH)."),
        roles=resource.makers,
        body=_body(resource, "Create"),
        returns=resource.schema,
        status=201,
        also={200: resource.schema},
        problems=(409,),
        gives=("ETag", "Location"),
        example=Example(path={"id": "01936c5e-8f00-7000-8000-00000000abcd"}, body=dict(resource.example)),
    )
    def view(call: Call, id: uuid.UUID) -> Response:
        body, effective = split(call.body)
        values = prepared(call, resource, body)
        present = call.session.scalars(sa.select(resource.model).where(resource.model.id == id)).one_or_none()  # type: ignore[attr-defined]
        if present is None:
            row = resource.create(
                call.session, resource.model, values, now=call.now, effective_ms=effective, chosen_id=id
            )
            return shown(call, resource, row, 201)
        if not says_what_is_there(resource, present, body, values):
            instead = resource.unedited or "Edit it by PATCH."
            raise Conflict(f"There is another {resource.noun} under this id. {instead}", slug="id-taken")
        return shown(call, resource, present)


def says_what_is_there(
    resource: Resource, present: Any, body: Mapping[str, Any], values: Mapping[str, Any]
) -> bool:
    """Whether a PUT says what is there. What the service fills in (when, who) counts only where it was sent."""
    said: dict[str, Any] = {}
    decided = any(name in body for name in resource.sent)  # what was sent besides decided a field of its own
    for name, one in resource.schema().load_fields.items():
        key = one.attribute or name
        if key in body or key in resource.defaults or (decided and values.get(key) is not None):
            said[key] = values[key]
        elif one.allow_none:
            said[key] = None
    held = {name: _as_sendable(resource, name, one) for name, one in dumped(resource, present).items()}
    return {**held, **as_sent(resource, said)} == held


def _as_sendable(resource: Resource, name: str, shown: Any) -> Any:
    """A field as it is shown, without what the service puts into the rows of a list."""
    one = resource.schema().fields[name]
    inner = one.inner if isinstance(one, fields.List) else None
    if shown is None or not isinstance(inner, fields.Nested):
        return shown
    return [{key: value for key, value in row.items() if key in inner.schema.load_fields} for row in shown]


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
        gives=("ETag",),
        example=_one_example(resource),
    )
    def view(call: Call, **key: Any) -> Response:
        row = locate(call, resource, key)
        held = [one.strip().removeprefix("W/") for one in request.headers.get("If-None-Match", "").split(",")]
        # What other tables tell of a row changes without its version: such a record is shown anew each time.
        if resource.describe is None and (etag(row) in held or held == ["*"]):
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
        summary=f"What held for {resource.a_noun}, and when",
        description="The dated states, oldest first: half-open, a null `from` is from the beginning, a null `to` still holds.",
        roles=resource.readers,
        returns=STATES,
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
                        "state": name.removesuffix("_id").removesuffix("_s"),
                        "value": _state_value(call, row, name, one.value),
                        "from": Instant()._serialize(one.from_ms or None, None, None),
                        "to": Instant()._serialize(one.to_ms, None, None),
                    }
                )
        return reply({"items": items})


def _state_value(call: Call, row: Any, name: str, value: Any) -> Any:
    if name.endswith("_s") and value is not None:
        return Quantity(value, "s").as_json()
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
        summary=f"Change {resource.a_noun}",
        description=(
            "A merge-patch, which may call itself application/json: what is absent stays, null clears, "
            "a quantity or a list is replaced whole. "
            f"Send the ETag you hold as If-Match.{_dated_words(resource)}{_fixed_words(resource)}"
        ),
        roles=resource.makers,
        body=Body({MERGE_PATCH: _patch_schema(resource)}, merge_patch),
        returns=resource.schema,
        headers=("If-Match",),
        gives=("ETag",),
        example=_one_example(resource, body=dict(resource.example_patch), headers={"If-Match": "*"}),
    )
    def view(call: Call, **key: Any) -> Response:
        row = locate(call, resource, key, for_edit=True)
        match(row)
        return patched(call, resource, row, call.body)


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
        summary=f"Delete {resource.a_noun}",
        description=f"Send the ETag you hold as If-Match.{instead}",
        roles=resource.makers,
        status=204,
        headers=("If-Match",),
        example=_one_example(resource, resource.example_delete, headers={"If-Match": "*"}),
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


def _list_query(resource: Resource) -> type[Schema]:
    base = RetiredQuery if resource.retires else PageQuery
    return derived(
        f"{resource.class_word}List", base, {name: one.field for name, one in resource.filters.items()}
    )


def _body(resource: Resource, suffix: str) -> Body:
    schema = making_schema(resource)
    return Body({JSON: schema}, lambda request, config: load(schema, json_object(request, config)))


def making_schema(resource: Resource) -> Schema:
    """What the making of a record takes."""
    extra: dict[str, Any] = dict(resource.sent)
    if resource.dated or resource.begins:
        words = resource.begins or "Since when its present state holds; from the beginning if not said."
        extra["effective_at"] = Instant(metadata={"description": words})
    return derived(f"{resource.class_word}Create", resource.schema, extra)(
        exclude=[name for name, one in resource.schema().fields.items() if one.dump_only]
    )


def _patch_schema(resource: Resource) -> Schema:
    """The documented shape of a patch: nothing is required, null clears."""
    whole = edit_schema(resource)
    return type(whole)(
        partial=True,
        exclude=[name for name, one in resource.schema().fields.items() if one.dump_only or name == "handle"],
    )


def _word(resource: Resource) -> str:
    return resource.noun.replace(" ", "_")


def _one_path(resource: Resource) -> str:
    return f"/{resource.plural}/<{'handle' if resource.named else 'uuid:id'}>"


def _one_example(resource: Resource, other_key: str = "", **said: Any) -> Example:
    return Example(path={"handle" if resource.named else "id": other_key or resource.example_key}, **said)


def _dated_words(resource: Resource) -> str:
    if not resource.dated:
        return ""
    names = ", ".join(name.removesuffix("_id").removesuffix("_s") for name in resource.model.STATES)
    return f" Its past is kept for: {names}; `effective_at` says since when."


def _fixed_words(resource: Resource) -> str:
    if not resource.model.FIXED:
        return ""
    names = [name.removesuffix("_id").removesuffix("_ms") for name in resource.model.FIXED]
    return f" Stays as it was made: {', '.join(names)}."
