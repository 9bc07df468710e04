"""Tasks as a calendar that phones and desktops subscribe to (RFC 5545)."""

from __future__ import annotations

import uuid
from datetime import UTC, datetime, timedelta

import sqlalchemy as sa
from flask import Response
from flask_smorest import Blueprint
from icalendar import Calendar, Event
from marshmallow import Schema

from weirbook.actions.list_occurrences import Past, list_occurrences
from weirbook.errors import Invalid, Unknown
from weirbook.record.names import find
from weirbook.record.rooms import Room
from weirbook.record.tasks import DAY_MS, SKIPPED, Helper, Task
from weirbook.web.access import READERS
from weirbook.web.fields import Handle
from weirbook.web.operations import CALENDAR, Call, operation

BACK_DAYS, AHEAD_DAYS, EVENTS_CAP = 7, 60, 2000
USUAL_MINUTES = 15
"""How long an event is shown where the task says nothing."""
HEADINGS = {"done": "Done: ", "skipped": "Skipped: ", "overdue": "Overdue: "}


class HelperQuery(Schema):
    helper = Handle(metadata={"description": "Only what is this helper's."})


def helper_asked(call: Call) -> Helper | None:
    """The helper that a query names, if any. Raises Invalid."""
    try:
        return find(call.session, Helper, call.query["helper"]) if "helper" in call.query else None
    except Unknown as trouble:
        raise Invalid(trouble.message, "/helper") from None


def add_routes(blp: Blueprint) -> None:
    """The calendar of all tasks, or of one helper's."""

    @operation(
        blp,
        "GET",
        "/tasks/calendar.ics",
        id="get_task_calendar",
        summary="Tasks as a calendar to subscribe to",
        description=(
            f"iCalendar (RFC 5545): one event an occurrence, {BACK_DAYS} days back and {AHEAD_DAYS} ahead, at most "
            f"{EVENTS_CAP}, the soonest. An occurrence keeps its UID for good. Calendars can't send headers: subscribe to "
            "the address with `key=` and a viewer key made for links."
        ),
        roles=READERS,
        query=HelperQuery,
        formats=("calendar",),
    )
    def calendar(call: Call) -> Response:
        asked = sa.select(Task).where(Task.retired_at_ms.is_(None)).order_by(Task.id)
        if (helper := helper_asked(call)) is not None:
            asked = asked.where(Task.helper_id == helper.id)
        tasks = call.session.scalars(asked).unique().all()
        start, end = call.now - BACK_DAYS * DAY_MS, call.now + AHEAD_DAYS * DAY_MS
        found = list_occurrences(call.session, tasks, call.zone, start, end)
        rows = sorted(
            ((task, one) for task in tasks for one in found[task.id]),
            key=lambda row: (row[1].occurrence.due_ms, row[0].title),
        )
        written = _calendar(call.room)
        for task, one in rows[:EVENTS_CAP]:
            written.add_component(_event(task, one, call.now))
        return Response(written.to_ical(), content_type=f"{CALENDAR}; charset=utf-8")


def _calendar(room: Room) -> Calendar:
    written = Calendar()
    written.add("prodid", "-//Weirbook//Tasks//EN")
    written.add("version", "2.0")
    written.add("name", f"{room.name}: tasks")
    written.add("refresh-interval", timedelta(hours=1), parameters={"VALUE": "DURATION"})
    return written


def _event(task: Task, one: Past, now: int) -> Event:
    """One occurrence as an event. Its stamp is that of what it tells, so that the same is written the same."""
    row, state = one.completion, one.state(now)
    due = _moment(one.occurrence.due_ms)
    event = Event()
    event.add("uid", str(uuid.uuid5(task.id, one.occurrence.name)))
    event.add("dtstamp", _moment(task.updated_at_ms if row is None else row.updated_at_ms))
    event.add("dtstart", due)
    event.add("dtend", due + timedelta(minutes=task.expected_minutes or USUAL_MINUTES))
    event.add("summary", HEADINGS.get(state, "") + task.title)
    event.add("status", "CANCELLED" if row is not None and row.outcome == SKIPPED else "CONFIRMED")
    event.add("transp", "TRANSPARENT")
    if task.about is not None:
        event.add("location", task.about.name)
    if task.helper is not None:
        event.add("categories", [task.helper.name])
    words = [said for said in (task.instructions, row.note if row is not None else None) if said]
    if words:
        event.add("description", "\n\n".join(words))
    return event


def _moment(ms: int) -> datetime:
    return datetime.fromtimestamp(ms // 1000, UTC)
