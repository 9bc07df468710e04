"""Marking an occurrence done or skipped, and undoing it."""

from __future__ import annotations

import uuid
from typing import Any

import sqlalchemy as sa
from flask import Request, Response
from flask_smorest import Blueprint
from marshmallow import RAISE, Schema, fields

from weirbook.actions.complete_task import (
    AlreadyCompleted,
    Teller,
    Told,
    complete_task,
    undo_completion,
)
from weirbook.config import Config
from weirbook.errors import Invalid, Unknown
from weirbook.record.tasks import DONE, OUTCOMES, Completion, Task
from weirbook.web.access import DAILY, READERS
from weirbook.web.fields import Choice, Flag, Handle, Identity, Instant, Reference, Words
from weirbook.web.operations import JSON, Body, Call, Example, json_object, load, operation, reply
from weirbook.web.pages import PAGE, PageQuery, cursor_at, page_of, position
from weirbook.web.readings import sent_reading
from weirbook.web.records import HappeningSchema
from weirbook.web.resource import Resource, dumped, etag, match, shown
from weirbook.web.task_shapes import COMPLETION_SENT

TASK_KEY = "01936c5e-8f00-7000-8000-000000000004"
COMPLETION_KEY = "01936c5e-8f00-7000-8000-000000000005"
OPEN_TASK_KEY = "01936c5e-8f00-7000-8000-000000000007"
READINGS_CAP = 200
NOTE_CAP = 5000


class CarriedReading(Schema):
    """A reading that came with a completion."""

    gauge = Handle(required=True)
    at = fields.String(required=True, metadata={"description": "When it was taken", "format": "date-time"})


class CompletionSchema(HappeningSchema):
    task = fields.UUID(dump_only=True, attribute="task_id", metadata={"description": "The task's id"})
    occurrence = fields.String(
        dump_only=True, metadata={"description": "Which occurrence, as /v1/tasks/due names it"}
    )
    outcome = Choice(OUTCOMES, dump_only=True, metadata={"description": "Done, or skipped on purpose"})
    due = Instant(dump_only=True, attribute="due_ms", metadata={"description": "When it was due"})
    done_at = Instant(dump_only=True, attribute="done_at_ms", metadata={"description": "When it was done"})
    by = Reference(
        dump_only=True, allow_none=True, metadata={"description": "Handle of the helper who did it"}
    )
    note = fields.String(dump_only=True, allow_none=True, metadata={"description": "What there was to say"})
    readings = fields.List(
        fields.Nested(CarriedReading),
        dump_only=True,
        metadata={"description": "Readings that came with it: they stay when it is undone"},
    )
    recorded_by = fields.String(dump_only=True, metadata={"description": "Name of the key that told it"})
    undone_at = Instant(
        dump_only=True,
        allow_none=True,
        attribute="undone_at_ms",
        metadata={"description": "When it was undone; null: it counts"},
    )
    undone_by = fields.String(
        dump_only=True, allow_none=True, metadata={"description": "Name of the key that undid it"}
    )


class CompletionSentSchema(Schema):
    """What is told of an occurrence, but for its readings."""

    class Meta:
        unknown = RAISE

    id = Identity()
    occurrence = Words(cap=40, required=True)
    outcome = Choice(OUTCOMES)
    done_at = Instant()
    by = Handle(allow_none=True)
    note = Words(cap=NOTE_CAP, allow_none=True)


COMPLETIONS = Resource(
    model=Completion,
    schema=CompletionSchema,
    words="That an occurrence of a task was done or skipped.",
    example={},
    example_key="",
    example_patch={},
)


class CompletionQuery(PageQuery):
    undone = Flag(metadata={"in_query": True, "description": "true lists those that were undone instead."})


def completed(row: Completion) -> dict[str, Any]:
    """A completion as the API shows it."""
    return dumped(COMPLETIONS, row)


def read_completion(request: Request, config: Config) -> Told:
    """What a body tells of an occurrence. Raises NotOffered, Malformed, Invalid."""
    body = json_object(request, config)
    readings = body.pop("readings", None)
    if readings is not None and (not isinstance(readings, list) or len(readings) > READINGS_CAP):
        raise Invalid(f"Send a list of at most {READINGS_CAP} readings.", "/readings")
    said = load(CompletionSentSchema(), body)
    return Told(
        said["occurrence"],
        said.get("outcome", DONE),
        said.get("id"),
        said.get("done_at"),
        said.get("by"),
        said.get("note"),
        [sent_reading(index, row) for index, row in enumerate(readings or ())],
    )


def _teller(call: Call) -> Teller:
    return Teller(call.caller.key_id, call.caller.role, call.caller.name)


def _find(call: Call, task_id: uuid.UUID, completion_id: uuid.UUID, *, for_edit: bool = False) -> Completion:
    asked = sa.select(Completion).where(Completion.id == completion_id, Completion.task_id == task_id)
    row = (
        call.session.scalars(asked.with_for_update(of=Completion) if for_edit else asked)
        .unique()
        .one_or_none()
    )
    if row is None:
        raise Unknown(f"This task has no completion with the id {completion_id}.")
    return row


def add_routes(blp: Blueprint) -> None:
    """Complete, list, read and undo."""

    @operation(
        blp,
        "POST",
        "/tasks/<uuid:id>/completions",
        id="complete_task",
        summary="Mark an occurrence done or skipped",
        description=(
            "Name the occurrence as /v1/tasks/due does. It may arrive late from a phone that was offline, and may be "
            "repeated: the same from the same key, or under the same `id`, answers 200 with what is there. An occurrence "
            "that is completed already answers 409 already-completed, saying by whom and when, with that `completion`. "
            "Readings sent along are stored with it or not at all; where they don't say `at`, it is `done_at`. An app that "
            "may repeat much later sends an `id` of its own: a completion that was undone meanwhile is then not brought "
            "back (409 completion-undone)."
        ),
        roles=DAILY,
        body=Body({JSON: COMPLETION_SENT}, read_completion),
        returns=CompletionSchema,
        status=201,
        also={200: CompletionSchema},
        gives=("ETag", "Location"),
        example=Example(
            path={"id": OPEN_TASK_KEY},
            body={
                "occurrence": "first",
                "outcome": "done",
                "by": "bea",
                "note": "Filter floss black, changed it.",
                "readings": [{"place": "tanks/fern-pool-display", "parameter": "nitrate", "value": 12}],
            },
        ),
    )
    def complete(call: Call, id: uuid.UUID) -> Response:
        try:
            row, new = complete_task(call.session, _teller(call), id, call.body, now=call.now)
        except AlreadyCompleted as trouble:
            trouble.more["completion"] = completed(trouble.first)
            raise
        headers = {"ETag": etag(row)}
        if new:
            headers["Location"] = f"/v1/tasks/{id}/completions/{row.id}"
        return reply(completed(row), 201 if new else 200, headers)

    @operation(
        blp,
        "GET",
        "/tasks/<uuid:id>/completions",
        id="list_task_completions",
        summary="The completions of a task",
        description="Newest first; those that were undone by undone=true.",
        roles=READERS,
        query=CompletionQuery,
        returns=page_of(CompletionSchema),
        example=Example(path={"id": TASK_KEY}),
    )
    def task_completions(call: Call, id: uuid.UUID) -> Response:
        if call.session.scalars(sa.select(Task.id).where(Task.id == id)).one_or_none() is None:
            raise Unknown(f"There is no task with the id {id}.")
        undone = call.query.get("undone", False)
        counts = Completion.undone_at_ms.is_not(None) if undone else Completion.undone_at_ms.is_(None)
        order = (Completion.due_ms, Completion.id)
        asked = sa.select(Completion).where(Completion.task_id == id, counts)
        if "cursor" in call.query:
            due_ms, last_id = position(call.query["cursor"], [int, uuid.UUID])
            here = sa.tuple_(sa.literal(due_ms, sa.BigInteger()), sa.literal(last_id, sa.Uuid()))
            asked = asked.where(sa.tuple_(*order) < here)
        limit = call.query.get("limit", PAGE)
        rows = (
            call.session.scalars(asked.order_by(*(one.desc() for one in order)).limit(limit + 1))
            .unique()
            .all()
        )
        following = cursor_at([rows[limit - 1].due_ms, rows[limit - 1].id]) if len(rows) > limit else None
        return reply({"items": [completed(row) for row in rows[:limit]], "next": following})

    @operation(
        blp,
        "GET",
        "/tasks/<uuid:id>/completions/<uuid:completion_id>",
        id="get_task_completion",
        summary="One completion",
        description="Undone ones too.",
        roles=READERS,
        returns=CompletionSchema,
        gives=("ETag",),
        example=Example(path={"id": TASK_KEY, "completion_id": COMPLETION_KEY}),
    )
    def task_completion(call: Call, id: uuid.UUID, completion_id: uuid.UUID) -> Response:
        return shown(call, COMPLETIONS, _find(call, id, completion_id))

    @operation(
        blp,
        "DELETE",
        "/tasks/<uuid:id>/completions/<uuid:completion_id>",
        id="undo_task_completion",
        summary="Undo a completion",
        description=(
            "The occurrence is open again; the completion stays in history, and so do readings it carried. A helper undoes "
            "what its own key told, a keeper all. Of work by interval only the newest can be undone. Send its ETag as If-Match."
        ),
        roles=DAILY,
        status=204,
        headers=("If-Match",),
        example=Example(path={"id": TASK_KEY, "completion_id": COMPLETION_KEY}, headers={"If-Match": "*"}),
    )
    def undo(call: Call, id: uuid.UUID, completion_id: uuid.UUID) -> Response:
        row = _find(call, id, completion_id, for_edit=True)
        match(row)
        undo_completion(call.session, _teller(call), row, now=call.now)
        return Response(status=204)
