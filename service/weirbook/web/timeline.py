"""/v1/systems/{handle}/timeline: everything of a system in the order of time."""

from __future__ import annotations

from typing import Any

from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.timeline import KINDS, timeline, with_authors
from weirbook.actions.told import DAY_MS, Look, Told
from weirbook.engine.times import instant_text
from weirbook.errors import Invalid, TooLarge
from weirbook.record.names import find
from weirbook.record.places import System
from weirbook.web.access import READERS
from weirbook.web.fields import Choice, Instant
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.sheets import as_csv
from weirbook.web.timeline_shapes import LINE_COLUMNS, TIMELINE

DAYS, DAYS_CAP, LINES_CAP = 90, 400, 20_000

WORDS = (
    "Journal, trials, doses, water changes, drips and top-offs, reports on source waters, rations and odd feedings, arrivals, "
    "births, moves, losses and counts of fish, quarantines, what was carried between waters, plants and what became of them, "
    "stretches outside target, contacts that tripped (leak, lid open, mains away, pump standing, contacts of your own that read "
    "on; a float only by its target), silent gauges, alerts, tasks skipped, late or overdue, tanks that came and went, pumps "
    "switched, sections put to another use, new targets, and edits of tanks, sumps, sections, pumps, gauges, targets and tasks. "
    "Things stand where they were at the time: a tank that moved brings what happened in it from its coming to its going. What "
    "is recorded of the room concerns every system. Stretches that reach into the span are told whole. What stood from the "
    "beginning, planned water changes and withdrawn stock entries are left out."
)


class TimelineQuery(Schema):
    from_ = Instant(
        data_key="from",
        metadata={"description": f"From this instant on; {DAYS} days before `to` if not said."},
    )
    to = Instant(metadata={"description": "Up to, but without, this instant; now if not said."})
    kind = Choice(KINDS, metadata={"description": "Only this kind."})


def blueprint() -> Blueprint:
    """The one operation."""
    blp = Blueprint("timeline", "timeline", url_prefix="/v1", description="What happened, in order.")

    @operation(
        blp,
        "GET",
        "/systems/<handle>/timeline",
        id="get_timeline",
        summary="Everything of a system in the order of time",
        description=WORDS,
        roles=READERS,
        query=TimelineQuery,
        formats=("json", "csv"),
        returns=TIMELINE,
        problems=(413,),
        example=Example(path={"handle": "rill"}),
    )
    def of_system(call: Call, handle: str) -> Response:
        system = find(call.session, System, handle)
        look = look_at(call, system, call.query.get("from_"), call.query.get("to"))
        kinds = (call.query["kind"],) if "kind" in call.query else KINDS
        lines = timeline(look, kinds)
        if len(lines) > LINES_CAP:
            raise TooLarge(f"More than {LINES_CAP} lines: ask for a shorter span, or for one kind.")
        rows = [line_as_json(one) for one in with_authors(look, lines)]
        if call.format == "csv":
            return as_csv(call, rows, LINE_COLUMNS)
        return reply(
            {
                "system": system.handle,
                "from": instant_text(look.start_ms),
                "to": instant_text(look.end_ms),
                "items": rows,
            }
        )

    return blp


def look_at(call: Call, system: System, start_ms: int | None, end_ms: int | None, days: int = DAYS) -> Look:
    """The look asked for, up to now at most. Raises Invalid, TooLarge."""
    end = call.now if end_ms is None else min(end_ms, call.now)
    start = end - days * DAY_MS if start_ms is None else start_ms
    if start >= end:
        raise Invalid("`from` must lie before `to`, and before now.", "/from")
    if end - start > DAYS_CAP * DAY_MS:
        raise TooLarge(f"More than {DAYS_CAP} days: ask for a shorter span.")
    return Look(call.session, system, start, end, call.now, call.zone)


def line_as_json(one: Told) -> dict[str, Any]:
    """A line as an answer holds it."""
    return {
        "at": instant_text(one.at_ms),
        "to": None if one.to_ms is None else instant_text(one.to_ms),
        "goes_on": one.open,
        "kind": one.kind,
        "place": one.place,
        "words": one.words,
        "path": one.path,
        "noun": one.noun,
        "who": one.who,
    }
