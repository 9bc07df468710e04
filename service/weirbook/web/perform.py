"""One request: who calls, what was sent, and the transactions in which its operation is done."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from functools import partial
from typing import Any

from flask import Response, request

from weirbook.config import Config
from weirbook.errors import Busy, Invalid, Trouble, Unknown
from weirbook.record.changes import Author, speak_for
from weirbook.record.database import Database, enter_room, now_ms
from weirbook.web.access import Caller, note_use, recognise, refuse_beyond, refuse_ended
from weirbook.web.operations import FORMATS, Call, Operation, PartByPart, load
from weirbook.web.retries import keep_answer, kept_answer, token_of

ANY_LENGTH = 1 << 62
"""Of a body that is done part by part: no more than a part of it is ever held."""


def perform(
    declared: Operation, database: Database, config: Config, path_values: Mapping[str, Any]
) -> Response:
    """Recognise the caller, read what was sent, and do it: in one transaction, or in one a part."""
    now = now_ms()
    form = _format(declared)
    link_allowed = request.method in ("GET", "HEAD") and form != "json"
    caller = recognise(database, request, now, link_allowed=link_allowed)
    refuse_beyond(caller, declared.roles)
    if any("\x00" in str(value) for value in path_values.values()):
        raise Unknown("No name holds a NUL character.")
    query = _read_query(declared)
    calling = partial(_calling, declared, database, config, caller, query, form)
    begin = declared.body.in_parts.get(request.mimetype) if declared.body is not None else None
    if begin is not None:
        response = _in_parts(calling, partial(begin, request, config))
    else:
        body = declared.body.read(request, config) if declared.body is not None else None
        with calling(now, body) as call:
            token = token_of(request) if request.method == "POST" and declared.writes else None
            if token is not None:
                since = now - config.answer_kept_ms
                kept = kept_answer(call.session, caller, token, since, replays=declared.replays)
                if kept is not None:
                    return kept
            response = declared.view(call, **path_values)
            if token is not None:
                keep_answer(call.session, caller, token, response, now, replays=declared.replays)
    try:
        note_use(database, caller, now)
    except Busy:
        pass  # the last use is best effort: the answer is what counts
    return response


@contextmanager
def _calling(
    declared: Operation,
    database: Database,
    config: Config,
    caller: Caller,
    query: dict[str, Any],
    form: str,
    now: int,
    body: Any,
) -> Iterator[Call]:
    """A call in a transaction of its own, in the caller's room and name. Raises NoKey where the key ended meanwhile."""
    with database.write() if declared.writes else database.read() as session:
        enter_room(session, caller.room_id)
        refuse_ended(session, caller, now)
        speak_for(session, Author(caller.name, caller.handle))
        yield Call(session, caller, now, config, query, body, form)


def _in_parts(
    calling: Callable[[int, Any], AbstractContextManager[Call]], begin: Callable[[], PartByPart]
) -> Response:
    """Do a body of any length part by part. A refusal on the way says what was done before it."""
    if token_of(request) is not None:
        raise Invalid(
            f"An Idempotency-Key is not taken with {request.mimetype}, which is done part by part: leave it out. "
            "What such a body holds is safe to send again.",
            slug="token-not-taken",
        )
    request.max_content_length = ANY_LENGTH
    work = begin()
    try:
        for part in work.parts():
            with calling(now_ms(), part) as call:
                done = work.do(call)
            work.gather(done)
        return work.answer()
    except Trouble as trouble:
        trouble.more.update(work.so_far())
        raise


def _format(declared: Operation) -> str:
    if len(declared.formats) == 1:
        return declared.formats[0]
    asked = request.args.get("format")
    if asked is not None:
        if asked not in declared.formats:
            raise Invalid(
                f"'{asked}' is not offered here. Formats: {', '.join(declared.formats)}.", "/format"
            )
        return asked
    best = request.accept_mimetypes.best_match([FORMATS[name] for name in declared.formats], FORMATS["json"])
    return next(name for name, media in FORMATS.items() if media == best)


def _read_query(declared: Operation) -> dict[str, Any]:
    sent = {name: values for name, values in request.args.lists()}
    for name, values in sent.items():
        if len(values) > 1:
            raise Invalid(f"'{name}' is given {len(values)} times; give it once.", f"/{name}")
        if "\x00" in values[0] or "\x00" in name:
            raise Invalid("Text can't hold a NUL character.", f"/{name}")
    sent.pop("key", None)
    if len(declared.formats) > 1:
        sent.pop("format", None)
    return load(declared.query, {name: values[0] for name, values in sent.items()})
