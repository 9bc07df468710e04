"""One HTTP operation as declared: its route, who may call it, what it takes and its documentation. perform.py does it.

Everything under /v1 is declared with `operation`, so that access, unknown query keys, safe retries, the
commit at the request's edge and the OpenAPI entry are the same everywhere.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

import msgspec
from flask import Request, Response
from flask_smorest import Blueprint
from marshmallow import RAISE, Schema, ValidationError, fields
from sqlalchemy.orm import Session

from weirbook.config import Config
from weirbook.engine.times import zone
from weirbook.errors import Invalid, Malformed, NotOffered
from weirbook.record.access import Role
from weirbook.record.rooms import Room
from weirbook.web.access import Caller
from weirbook.web.problems import REFUSALS, faults_in

JSON, CSV, TEXT, MERGE_PATCH = "application/json", "text/csv", "text/plain", "application/merge-patch+json"
CALENDAR, NDJSON, SVG = "text/calendar", "application/x-ndjson", "image/svg+xml"
FILE = "file"
"""An answer that is a file as it is, under the media type it has."""
FORMATS = {"json": JSON, "csv": CSV, "text": TEXT, "calendar": CALENDAR, "svg": SVG}


@dataclass(frozen=True)
class Example:
    """A call that works against the demo room; a contract test runs it."""

    path: Mapping[str, str] = field(default_factory=dict)
    query: Mapping[str, str] = field(default_factory=dict)
    body: Any = None
    headers: Mapping[str, str] = field(default_factory=dict)


class BodyReader(Protocol):
    """Turns the request's body into what the view works on, before any transaction is opened."""

    def __call__(self, request: Request, config: Config) -> Any: ...


class PartByPart(Protocol):
    """A body of any length under way: each part is done in a transaction of its own, and stays done."""

    def parts(self) -> Iterator[Any]:
        """What the parts hold, read outside any transaction. Raises Trouble where it can't be read on."""

    def do(self, call: Call) -> Any:
        """Do the part in `call.body`. Raises Trouble: then nothing of it is done."""

    def gather(self, done: Any) -> None:
        """Count what a part came to, once it is committed."""

    def so_far(self) -> Mapping[str, object]:
        """What a refusal says of the parts before it."""

    def answer(self) -> Response:
        """The answer to the whole. Raises Trouble."""


@dataclass(frozen=True)
class Body:
    """What a request carries: one documented schema for each media type, and its reader.

    Of the media types `in_parts` a body may be of any length.
    """

    content: Mapping[str, Any]
    read: BodyReader
    in_parts: Mapping[str, Callable[[Request, Config], PartByPart]] = field(default_factory=dict)


@dataclass(frozen=True)
class Operation:
    """The declaration of one operation."""

    id: str
    roles: frozenset[Role]
    query: Schema
    body: Body | None
    formats: tuple[str, ...]
    writes: bool
    replays: bool
    view: Callable[..., Response]


@dataclass
class Call:
    """One request under way."""

    session: Session
    caller: Caller
    now: int
    config: Config
    query: dict[str, Any]
    body: Any
    format: str
    _room: Room | None = None

    @property
    def room(self) -> Room:
        if self._room is None:
            self._room = self.session.get_one(Room, self.caller.room_id)
        return self._room

    @property
    def zone(self) -> Any:
        return zone(self.room.time_zone)


def operation(
    blp: Blueprint,
    method: str,
    path: str,
    *,
    id: str,
    summary: str,
    description: str,
    roles: frozenset[Role],
    returns: Any = None,
    status: int = 200,
    also: Mapping[int, Any] | None = None,
    query: type[Schema] | None = None,
    body: Body | None = None,
    formats: tuple[str, ...] = ("json",),
    media: tuple[str, ...] = (),
    problems: tuple[int, ...] = (),
    example: Example | None = None,
    writes: bool | None = None,
    replays: bool = True,
    headers: tuple[str, ...] = (),
    gives: tuple[str, ...] = (),
) -> Callable[[Callable[..., Response]], Callable[..., Response]]:
    """Declare an operation. `returns` is a schema or a JSON schema; `also` further statuses it may answer,
    `headers` what it reads and `gives` what its successes carry. `media` are what a file that it answers with may be."""
    formats = (FILE,) if media else formats
    example = example or Example()
    stores = method not in ("GET",) if writes is None else writes

    def declare(view: Callable[..., Response]) -> Callable[..., Response]:
        checked = (query or Schema)(unknown=RAISE)
        declared = Operation(id, roles, checked, body, formats, stores, replays, view)

        def endpoint(**path_values: Any) -> Response:
            raise AssertionError("operations are performed by Service.dispatch_request")

        endpoint.operation = declared  # type: ignore[attr-defined]
        endpoint.__name__ = id
        refusals = _refusals(method, path, stores, query, body, problems)
        document = {
            "operationId": id,
            "summary": summary,
            "description": f"{description}\n\nKeys: {', '.join(sorted(roles))}.",
            "security": [{"key": []}],
            "parameters": [
                *_path_parameters(example),
                *_query_parameters(query, formats, example),
                *_header_parameters(headers, method, stores, example),
            ],
            "responses": {
                str(status): _success(returns, formats, status, gives, media),
                **{str(code): _success(shape, formats, code, gives) for code, shape in (also or {}).items()},
                **{str(code): {"$ref": f"#/components/responses/{REFUSALS[code]}"} for code in refusals},
            },
            "x-example": {
                "path": dict(example.path),
                "query": dict(example.query),
                "headers": dict(example.headers),
                **({"body": example.body} if example.body is not None else {}),
                "status": status,
            },
        }
        if body is not None:
            document["requestBody"] = {
                "required": True,
                "content": {
                    media: {
                        "schema": shape,
                        **({"example": example.body} if is_json(media) and example.body is not None else {}),
                    }
                    for media, shape in body.content.items()
                },
            }
        endpoint = blp.doc(**document)(endpoint)
        blp.route(path, methods=[method], endpoint=id)(endpoint)
        return view

    return declare


def load(schema: Schema, raw: Mapping[str, Any]) -> dict[str, Any]:
    """Checked values, or Invalid with every fault at its pointer."""
    try:
        loaded: dict[str, Any] = schema.load(raw)
        return loaded
    except ValidationError as trouble:
        raise Invalid(
            "Some of this can't be taken as it is.", faults=faults_in(trouble.messages, schema)
        ) from None


def json_value(request: Request, config: Config, media: tuple[str, ...] = (JSON,)) -> Any:
    """The JSON body. Strict: UTF-8, no NaN or Infinity, a JSON content type. Raises NotOffered, Malformed."""
    if request.mimetype not in media:
        raise NotOffered(f"Send the body as {' or '.join(media)}, and say so in Content-Type.")
    body = request.get_data(cache=True)
    if not body.strip():
        raise Malformed("The body is empty: send JSON.")
    try:
        return msgspec.json.decode(body)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as trouble:
        raise Malformed(
            f"The body is not JSON: {trouble}. NaN and Infinity are not numbers in JSON."
        ) from None


def json_object(request: Request, config: Config, media: tuple[str, ...] = (JSON,)) -> dict[str, Any]:
    """The JSON body, which must be an object."""
    value = json_value(request, config, media)
    if not isinstance(value, dict):
        raise Invalid("Send an object with named values.", "")
    return value


def loaded_by(schema: Schema) -> BodyReader:
    """A reader that checks a JSON object by `schema`."""

    def read(request: Request, config: Config) -> Any:
        return load(schema, json_object(request, config))

    return read


def merge_patch(request: Request, config: Config) -> dict[str, Any]:
    """An RFC 7396 merge-patch, sent as such or as plain JSON."""
    return json_object(request, config, (MERGE_PATCH, JSON))


def is_json(media: str) -> bool:
    return media == JSON or media.endswith("+json")


def reply(data: Any, status: int = 200, headers: Mapping[str, str] | None = None) -> Response:
    """A JSON answer."""
    response = Response(msgspec.json.encode(data), status, content_type=JSON)
    response.headers.update(headers or {})
    return response


def _refusals(
    method: str, path: str, stores: bool, query: Any, body: Body | None, problems: tuple[int, ...]
) -> list[int]:
    codes = {400, 401, 403, 422, 429, 503, *problems}
    if "<" in path:
        codes.add(404)
    if body is not None:
        codes |= {413, 415}
    if method == "POST" and stores:
        codes.add(409)
    if method in ("PATCH", "DELETE"):
        codes |= {409, 412, 428}
    return sorted(codes)


def _success(
    shape: Any, formats: tuple[str, ...], status: int, gives: tuple[str, ...], media: tuple[str, ...] = ()
) -> dict[str, Any]:
    words = {200: "Done", 201: "Made", 204: "Gone", 304: "Unchanged"}[status]
    told: dict[str, Any] = {"description": words}
    if given := [name for name in gives if name != "Location" or status == 201]:
        told["headers"] = {name: {"$ref": f"#/components/headers/{name}"} for name in given}
    if status in (204, 304):
        return told
    if media:
        return {
            **told,
            "content": {
                one: {"schema": {"type": "string", "format": "binary", "contentMediaType": one}}
                for one in media
            },
        }
    content = {
        FORMATS[name]: {"schema": (shape or {"type": "object"}) if name == "json" else {"type": "string"}}
        for name in formats
    }
    return {**told, "content": content}


_IDS = {"id": "The record's id", "completion_id": "The completion's id"}
"""What in a path is a UUID, in words."""


def _path_parameters(example: Example) -> list[dict[str, Any]]:
    """What stands in the path, each with its value in the example."""
    return [
        {
            "in": "path",
            "name": name,
            "required": True,
            "schema": {"type": "string", "format": "uuid"}
            if name in _IDS
            else {"type": "string", "minLength": 1},
            "description": _IDS.get(name, "The handle"),
            "example": value,
        }
        for name, value in example.path.items()
    ]


def _query_parameters(
    query: type[Schema] | None, formats: tuple[str, ...], example: Example
) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    if query is not None:
        schema = query()
        for name, one in schema.fields.items():
            if (key := one.data_key or name) in example.query:
                said = example.query[key]
                one.metadata = {
                    **one.metadata,
                    "example": int(said) if isinstance(one, fields.Integer) else said,
                }
        found.append({"in": "query", "schema": schema})
    if len(formats) > 1:
        found.append(
            {
                "in": "query",
                "name": "format",
                "schema": {"type": "string", "enum": list(formats)},
                "description": "The form of the answer; beats Accept.",
            }
        )
    if formats != ("json",):
        found.append(
            {
                "in": "query",
                "name": "key",
                "schema": {"type": "string"},
                "description": "A viewer key marked for links, for programs that can't send headers; not with JSON.",
            }
        )
    return found


def _header_parameters(
    names: tuple[str, ...], method: str, stores: bool, example: Example
) -> list[dict[str, Any]]:
    words = {
        "If-Match": "The ETag of the version you edit.",
        "If-None-Match": "An ETag you hold: answered 304 if it is still the present one.",
        "Idempotency-Key": "A token of your own: the same request with it is done once, and repeated answers are kept a day.",
    }
    wanted = [*names, *(["Idempotency-Key"] if method == "POST" and stores else [])]
    return [
        {
            "in": "header",
            "name": name,
            "schema": {
                "type": "string",
                **({"example": example.headers[name]} if name in example.headers else {}),
            },
            "required": name == "If-Match",
            "description": words[name],
        }
        for name in wanted
    ]
