"""/v1/changes and /v1/audit: the log of changes, to follow and to search. /v1/followers: who follows it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from flask import Response
from flask_smorest import Blueprint
from marshmallow import RAISE, Schema

from weirbook.actions.follow_changes import beat
from weirbook.engine.times import instant_text
from weirbook.errors import Invalid, Lost
from weirbook.record.access import AccessKey, Role
from weirbook.record.changes import Change, Follower, holds, newest
from weirbook.web.access import DAILY, KEEPER, READERS
from weirbook.web.change_shapes import CHANGE_COLUMNS, CHANGES, CHANGES_PAGE, FOLLOWER, FOLLOWER_LIST
from weirbook.web.fields import Handle, Instant, Whole, Words
from weirbook.web.operations import JSON, Body, Call, Example, loaded_by, operation, reply
from weirbook.web.pages import PAGE, PAGE_CAP, cursor_at, position
from weirbook.web.sheets import as_csv

END = "now"


class ChangesQuery(Schema):
    since = Words(
        cap=200,
        metadata={
            "description": f"The `cursor` of the answer before; `{END}` for the present end; from the beginning if not said."
        },
    )
    limit = Whole(
        1, PAGE_CAP, metadata={"in_query": True, "description": f"Entries an answer, {PAGE} if not said."}
    )


class AuditQuery(Schema):
    who = Words(
        cap=120, metadata={"description": "Only by the key of this name; Weirbook for its own rules."}
    )
    by = Handle(attribute="key", metadata={"description": "Only by the key of this handle."})
    what = Words(
        cap=20,
        metadata={"description": "Only this: made, changed, deleted, opened, closed, done and the like."},
    )
    noun = Words(cap=30, metadata={"description": "Only about this kind of record, like tank or target."})
    subject = Words(cap=60, metadata={"description": "Only about this record, by its handle or id."})
    from_ = Instant(data_key="from", metadata={"description": "From this instant on."})
    to = Instant(metadata={"description": "Up to, but without, this instant."})
    limit = Whole(
        1, PAGE_CAP, metadata={"in_query": True, "description": f"Entries a page, {PAGE} if not said."}
    )
    cursor = Words(cap=200, metadata={"description": "The `next` of the page before."})


class BeatSchema(Schema):
    """How far a follower is."""

    class Meta:
        unknown = RAISE

    cursor = Words(
        cap=200, required=True, metadata={"description": "Where it will go on: a `cursor` of /v1/changes"}
    )


def blueprint() -> Blueprint:
    """Follow the log, search it, and say that somebody follows."""
    blp = Blueprint("changes", "changes", url_prefix="/v1", description="What people and rules did.")

    @operation(
        blp,
        "GET",
        "/changes",
        id="list_changes",
        summary="Follow the log of changes",
        description=(
            "Every edit, completion, test by hand, excursion, contact, silence and alert, in the order they were committed. "
            "Take `cursor` and send it as `since` the next time: nothing is missed, over a restart either. Where the log "
            "was brought back from a copy, a cursor from after that copy is answered 410: begin anew. Readings of sensors "
            "are left out; what concerns keys only a keeper sees."
        ),
        roles=READERS,
        query=ChangesQuery,
        returns=CHANGES,
        problems=(410,),
    )
    def follow(call: Call) -> Response:
        since = call.query.get("since")
        here = newest(call.session) if since == END else _place(call, since)
        limit = call.query.get("limit", PAGE)
        rows: Sequence[Change] = []
        if since != END:
            asked = _visible(call).where(Change.number > here[0]).order_by(Change.number).limit(limit + 1)
            rows = call.session.scalars(asked).all()
        shown = rows[:limit]
        if len(rows) > limit:
            here = (shown[-1].number, shown[-1].at_ms)
        elif since != END:
            here = max(here, newest(call.session))
        return reply(
            {"items": [_entry(one) for one in shown], "cursor": cursor_at(here), "more": len(rows) > limit}
        )

    @operation(
        blp,
        "GET",
        "/audit",
        id="list_audit",
        summary="Who changed what",
        description="The same log, newest first, by who, what, kind of record, record and time.",
        roles=KEEPER,
        query=AuditQuery,
        formats=("json", "csv"),
        returns=CHANGES_PAGE,
        problems=(413,),
        example=Example(query={"noun": "target"}),
    )
    def audit(call: Call) -> Response:
        asked = _visible(call).order_by(Change.number.desc())
        for name in ("who", "key", "what", "noun", "subject"):
            if name in call.query:
                asked = asked.where(getattr(Change, name) == call.query[name])
        if "from_" in call.query:
            asked = asked.where(Change.at_ms >= call.query["from_"])
        if "to" in call.query:
            asked = asked.where(Change.at_ms < call.query["to"])
        if call.format == "csv":
            rows = call.session.scalars(asked.limit(call.config.csv_cap + 1)).all()
            return as_csv(call, [_line(one) for one in rows], CHANGE_COLUMNS)
        if "cursor" in call.query:
            (number,) = position(call.query["cursor"], (int,))
            asked = asked.where(Change.number < number)
        limit = call.query.get("limit", PAGE)
        rows = call.session.scalars(asked.limit(limit + 1)).all()
        following = cursor_at([rows[limit - 1].number]) if len(rows) > limit else None
        return reply({"items": [_entry(one) for one in rows[:limit]], "next": following})

    @operation(
        blp,
        "PUT",
        "/followers/<handle>",
        id="put_follower",
        summary="Say that a program follows the log",
        description=(
            "A notifier sends this after each round, at least every minute. The findings say when none was heard for five "
            "minutes, because then nobody is woken."
        ),
        roles=DAILY,
        body=Body({JSON: BeatSchema()}, loaded_by(BeatSchema())),
        returns=FOLLOWER,
        problems=(410,),
        example=Example(path={"handle": "house-mail"}, body={"cursor": "WzAsMF0"}),
    )
    def put_beat(call: Call, handle: str) -> Response:
        number, _ = _place(call, call.body["cursor"], "/cursor")
        return reply(_follower(beat(call.session, handle, number, key=call.caller.handle, now=call.now)))

    @operation(
        blp,
        "GET",
        "/followers",
        id="list_followers",
        summary="Programs that follow the log",
        description="When each was last heard, and how far it has come.",
        roles=READERS,
        returns=FOLLOWER_LIST,
    )
    def list_followers(call: Call) -> Response:
        rows = call.session.scalars(sa.select(Follower).order_by(Follower.name)).all()
        return reply({"items": [_follower(one) for one in rows]})

    return blp


def _visible(call: Call) -> sa.Select[Change]:
    """What concerns keys is the keeper's business."""
    asked = sa.select(Change)
    return asked if call.caller.role is Role.KEEPER else asked.where(Change.noun != AccessKey.NOUN)


def _place(call: Call, cursor: str | None, pointer: str = "/since") -> tuple[int, int]:
    """The entry that a cursor stands behind. Raises Invalid, and Lost where the log does not hold it."""
    if cursor is None:
        return 0, 0
    try:
        number, at_ms = position(cursor, (int, int))
    except Invalid as trouble:
        raise Invalid(
            f"This cursor was not made here. Take `cursor` from the answer before as it is, or `{END}`.",
            pointer,
        ) from trouble
    if not holds(call.session, number, at_ms):
        raise Lost(
            f"The log does not hold that entry: the record was brought back from a copy. Begin with since={END}, and "
            "read the records anew.",
            slug="cursor-lost",
        )
    return number, at_ms


def _entry(one: Change) -> dict[str, Any]:
    return {
        "number": one.number,
        "at": instant_text(one.at_ms),
        "what": one.what,
        "noun": one.noun,
        "subject": one.subject,
        "place": one.place,
        "who": one.who,
        "key": one.key,
        "words": one.words,
        "origin": one.origin,
        "tell": one.tell or [],
        "fields": one.fields,
    }


def _line(one: Change) -> dict[str, Any]:
    """An entry as a row of a table: its fields in one cell."""
    entry = _entry(one)
    return {
        **entry,
        "tell": " ".join(entry["tell"]),
        "fields": "; ".join(f"{said['field']}: {said['before']} -> {said['after']}" for said in one.fields),
    }


def _follower(one: Follower) -> dict[str, Any]:
    return {"name": one.name, "number": one.number, "heard_at": instant_text(one.heard_at_ms), "key": one.key}
