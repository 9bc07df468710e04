"""Every refusal as one RFC 9457 problem document."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Mapping
from typing import Any

import msgspec
from flask import Response, current_app, g, request
from marshmallow import Schema, fields
from sqlalchemy.exc import DBAPIError
from werkzeug.exceptions import HTTPException

from weirbook import errors
from weirbook.errors import Fault, Trouble

MEDIA_TYPE = "application/problem+json"
TYPE_PREFIX = "urn:weirbook:problem:"
FAULTS_TOLD = 200
"""A refusal must not be many times longer than what it refuses."""
log = logging.getLogger("weirbook")

STATUSES: dict[type[Trouble], tuple[int, str]] = {
    errors.Malformed: (400, "The request can't be read"),
    errors.NoKey: (401, "A key is wanted"),
    errors.Forbidden: (403, "This key does not reach this far"),
    errors.Unknown: (404, "No such record"),
    errors.Conflict: (409, "The record forbids it"),
    errors.Lost: (410, "No longer there"),
    errors.Stale: (412, "The record has changed since"),
    errors.TooLarge: (413, "Too much at once"),
    errors.NotOffered: (415, "Not in this form"),
    errors.Invalid: (422, "Some values can't be taken"),
    errors.VersionWanted: (428, "Say which version you edit"),
    errors.TooMany: (429, "Too many wrong keys"),
    errors.Busy: (503, "Busy, try again"),
    errors.StoreTrouble: (503, "The store can't be used"),
}
TITLES = {status: title for status, title in STATUSES.values()} | {
    405: "Not done this way",
    500: "A fault of the service",
}
REFUSALS = {status: kind.__name__ for kind, (status, _) in reversed(STATUSES.items())}
"""What each documented refusal is called among the document's responses."""

_PLAINER = {
    "Missing data for required field.": "This is missing.",
    "Field may not be null.": "This can't be null; leave it out or give a value.",
    "Not a valid list.": "Send a list.",
    "Not a valid mapping type.": "Send an object with named values.",
    "Invalid input type.": "Send an object with named values.",
}


class ProblemError(Schema):
    """One bad value."""

    pointer = fields.String(required=True, metadata={"description": "JSON pointer (RFC 6901) to the value"})
    message = fields.String(
        required=True, metadata={"description": "What is wrong, what is allowed, what to do"}
    )


class ProblemRefusal(Schema):
    """One reading of a batch that can't be taken."""

    index = fields.Integer(
        required=True,
        metadata={"description": "Its place in what was sent, from 0; of a line its number less one"},
    )
    type = fields.String(required=True, metadata={"description": "A word a program can test"})
    pointer = fields.String(required=True, metadata={"description": "JSON pointer to the value"})
    message = fields.String(required=True, metadata={"description": "What is wrong, what to do"})


class Problem(Schema):
    """A refusal (RFC 9457)."""

    type = fields.String(
        required=True, metadata={"description": f"{TYPE_PREFIX} and a word a program can test"}
    )
    title = fields.String(required=True)
    status = fields.Integer(required=True)
    detail = fields.String(required=True)
    request_id = fields.String(
        required=True, metadata={"description": "Also in X-Request-Id and in the service's log"}
    )
    refusals = fields.List(
        fields.Nested(ProblemRefusal), metadata={"description": "Of readings: each row that can't be taken"}
    )
    stored_to_line = fields.Integer(
        metadata={
            "description": "Of readings sent as lines: up to this line all is done and stays; go on after it"
        }
    )
    errors = fields.List(fields.Nested(ProblemError), metadata={"description": "Each bad value"})
    completion = fields.Nested(
        "CompletionSchema",
        metadata={"description": "Of an occurrence completed already: the completion that counts"},
    )


def problem(
    status: int,
    slug: str,
    detail: str,
    faults: Iterable[Fault] = (),
    more: Mapping[str, object] | None = None,
    headers: Mapping[str, str] | None = None,
) -> Response:
    """The one error shape."""
    body: dict[str, Any] = {
        "type": TYPE_PREFIX + slug,
        "title": TITLES.get(status, "Refused"),
        "status": status,
        "detail": detail,
        "request_id": g.request_id,
        **(more or {}),
    }
    if listed := [{"pointer": fault.pointer, "message": fault.message} for fault in faults]:
        body["errors"] = listed[:FAULTS_TOLD]
        if len(listed) > FAULTS_TOLD:
            body["detail"] = f"{detail} Told are the first {FAULTS_TOLD} of {len(listed)} faults."
    response = Response(msgspec.json.encode(body), status, content_type=MEDIA_TYPE)
    response.headers.update(headers or {})
    return response


def for_trouble(trouble: Trouble) -> Response:
    """A refusal made on purpose."""
    status, _ = STATUSES[next(kind for kind in type(trouble).__mro__ if kind in STATUSES)]
    headers = {401: {"WWW-Authenticate": 'Bearer realm="weirbook"'}, 503: {"Retry-After": "2"}}.get(status)
    if trouble.slug == "encoding-not-offered":
        headers = {"Accept-Encoding": "gzip"}  # RFC 9110, 15.5.16: so a client knows it is not the media type
    if isinstance(trouble, errors.TooMany):
        headers = {"Retry-After": str(trouble.wait_s)}
    return problem(status, trouble.slug, trouble.message, trouble.faults, trouble.more, headers)


def for_http(error: HTTPException) -> Response:
    """Refusals of the framework (no such path, wrong method, body too long), with the headers they carry."""
    status = error.code or 500
    carried = dict(error.get_response().headers) if status in (304, 405, 416) else {}
    kept = {name: value for name, value in carried.items() if name in ("Allow", "ETag")}
    words = {
        404: "There is no such path. The paths are listed at /docs.",
        405: f"{kept.get('Allow', 'Other methods')} can be used here.{_instead_of_editing()}",
        413: "The body is larger than one request may carry. Send it in parts; a picture made smaller.",
    }
    return problem(status, f"http-{status}", words.get(status, error.description or error.name), headers=kept)


def _instead_of_editing() -> str:
    """What to do to a record of a kind that is never edited, by who tried to."""
    if request.method not in ("PATCH", "DELETE"):
        return ""
    noun = request.path.removeprefix("/v1/").split("/")[0]
    words = current_app.extensions.get("weirbook_unedited", {}).get(noun)
    return f" {words}" if words else ""


def for_database(error: DBAPIError) -> Response:
    """A refusal of the database that no rule foresaw."""
    log.exception("database error", extra={"request_id": g.request_id})
    return problem(500, "fault", "The service met a fault of its own; nothing was changed.")


def for_anything(error: Exception) -> Response:
    """What nobody foresaw: the reason goes to the log, never to the caller."""
    log.exception("unforeseen error", extra={"request_id": g.request_id})
    return problem(500, "fault", "The service met a fault of its own; nothing was changed.")


def faults_in(messages: Any, schema: Schema | None = None, at: str = "") -> list[Fault]:
    """Marshmallow's nested messages as a flat list of JSON pointers."""
    if isinstance(messages, str):
        return [Fault(at, _plain(messages, at, schema))]
    if isinstance(messages, Mapping):
        return [
            fault
            for key, inner in messages.items()
            for fault in faults_in(inner, schema, at if key == "_schema" else f"{at}/{_escaped(key)}")
        ]
    return [fault for inner in messages for fault in faults_in(inner, schema, at)]


def _plain(message: str, at: str, schema: Schema | None) -> str:
    if message == "Unknown field.":
        name = at.rsplit("/", 1)[-1]
        if elsewhere := getattr(schema, "ELSEWHERE", {}).get(name):
            return str(elsewhere)
        listed = ", ".join(schema.load_fields) if schema is not None and at.count("/") == 1 else "see /docs"
        return f"There is no field '{name:.80}' here. Fields: {listed}."
    return _PLAINER.get(message, message)


def _escaped(key: object) -> str:
    return str(key).replace("~", "~0").replace("/", "~1")
