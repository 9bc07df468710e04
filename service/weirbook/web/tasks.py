"""Helpers, tasks, and what is due of them."""

from __future__ import annotations

import uuid
from datetime import date, timedelta
from typing import Any

import sqlalchemy as sa
from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.find_due import Due, find_due
from weirbook.actions.list_occurrences import CAP, list_occurrences
from weirbook.actions.plan_task import create_task, edit_task
from weirbook.engine.times import day_of, instant_text, local_text, midnight_ms
from weirbook.errors import Invalid
from weirbook.record.names import find, find_place
from weirbook.record.tasks import Helper, Task, TaskSchedule
from weirbook.web import completions, task_calendar
from weirbook.web.access import READERS
from weirbook.web.completions import TASK_KEY, completed
from weirbook.web.fields import (
    ClockTime,
    Day,
    Handle,
    Instant,
    Part,
    PlaceReference,
    QuantityField,
    Reference,
    Variant,
    Whole,
    Words,
)
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.places import StrictSchema
from weirbook.web.records import HappeningSchema, NamedSchema
from weirbook.web.resource import Filter, Resource, locate
from weirbook.web.sheets import as_csv
from weirbook.web.task_calendar import HelperQuery, helper_asked
from weirbook.web.task_shapes import DUE_COLUMNS, DUE_LIST, OCCURRENCE_LIST, SCHEDULES

AHEAD_DAYS = 400
"""How far ahead what is due may be asked for."""
LISTED_DAYS = 28


class HelperSchema(NamedSchema):
    """A person who shares the routine work."""


class ScheduleOnce(StrictSchema):
    """Due a single time."""

    due = ClockTime(required=True, metadata={"description": "By the room's clock"})


class ScheduleCalendar(StrictSchema):
    """Due by a recurrence rule."""

    rule = Words(
        cap=300,
        required=True,
        metadata={
            "description": "A recurrence rule (RFC 5545) without SECONDLY and MINUTELY; COUNT at most 1000",
            "example": "FREQ=WEEKLY;BYDAY=SU",
        },
    )
    start = ClockTime(
        required=True,
        metadata={
            "description": "Earliest time by the room's clock; it also gives the hour, and is due itself only if the rule says so"
        },
    )


class ScheduleInterval(StrictSchema):
    """Due so long after the last completion."""

    every = Words(
        cap=30,
        required=True,
        metadata={
            "description": "After the last completion, an ISO 8601 length: P7D, P2W, P1M, PT12H",
            "example": "P7D",
        },
    )
    start = ClockTime(required=True, metadata={"description": "The first time, by the room's clock"})


_SCHEDULES: dict[str, Schema] = {
    "once": ScheduleOnce(),
    "calendar": ScheduleCalendar(),
    "interval": ScheduleInterval(),
}


class WindowSchema(StrictSchema):
    """How far from its due time an occurrence may be done."""

    early = QuantityField(
        "time", ge=0, le=4e7, metadata={"description": "It may be done so long before; a day if not said"}
    )
    late = QuantityField(
        "time",
        ge=0,
        le=4e7,
        metadata={"description": "Overdue so long after it was due; at the end of its day if not said"},
    )


class TaskSchema(HappeningSchema):
    title = Words(cap=200, required=True)
    about = PlaceReference(allow_none=True, metadata={"description": "The place it is about; null: none"})
    instructions = Words(allow_none=True, metadata={"description": "How it is done"})
    expected_minutes = Whole(1, 1440, allow_none=True, metadata={"description": "How long it usually takes"})
    helper = Reference(allow_none=True, metadata={"description": "Handle of the helper whose work it is"})
    schedule = Variant(
        "kind",
        _SCHEDULES,
        required=True,
        metadata={
            "description": "When it is due. once: due; calendar: rule, start; interval: every, start. Another schedule holds "
            "from its change on: what was due stays due."
        },
    )
    window = Part(WindowSchema, allow_none=True, metadata={"description": "Early and late allowed"})
    retired_at = Instant(
        allow_none=True,
        attribute="retired_at_ms",
        metadata={"description": "Set to end it: nothing of it is due any more; null takes it up again"},
    )


HELPERS = Resource(
    model=Helper,
    schema=HelperSchema,
    words="A person who shares the routine work.",
    example={"name": "Saturday helper"},
    example_key="bea",
    example_delete="spare-hand",
    example_patch={"notes": "Has the back-door key."},
)


class DueQuery(HelperQuery):
    on = Day(
        metadata={
            "description": f"Due by the end of this day of the room, at most {AHEAD_DAYS} days ahead; today if not said."
        }
    )


class OccurrenceQuery(Schema):
    from_ = Day(
        data_key="from",
        metadata={"description": f"First day of the room; {LISTED_DAYS} days ago if not said."},
    )
    to = Day(metadata={"description": f"Last day; {LISTED_DAYS} days ahead if not said."})


def add_routes(blp: Blueprint) -> None:
    """What is due, and what was due when."""

    @operation(
        blp,
        "GET",
        "/tasks/due",
        id="list_due",
        summary="What is due",
        description=(
            "Every occurrence that is due by the end of a day and neither done nor skipped, overdue ones too, oldest first, "
            "with its lateness now. Of one task at most the newest 10 are listed; `earlier_open` tells how many lie before. "
            "`occurrence` is what a completion names."
        ),
        roles=READERS,
        query=DueQuery,
        formats=("json", "csv"),
        returns=DUE_LIST,
        problems=(413,),
    )
    def due(call: Call) -> Response:
        today = day_of(call.now, call.zone)
        day = call.query.get("on", today)
        _refuse_beyond(day, today, "/on")
        helper = helper_asked(call)
        helper_id = None if helper is None else helper.id
        end = midnight_ms(day + timedelta(days=1), call.zone)
        rows = [_due_row(one, call.now) for one in find_due(call.session, call.zone, end, helper_id)]
        if call.format == "csv":
            return as_csv(call, rows, DUE_COLUMNS)
        return reply({"on": day.isoformat(), "items": rows})

    @operation(
        blp,
        "GET",
        "/tasks/<uuid:id>/occurrences",
        id="list_task_occurrences",
        summary="What was and will be due of a task",
        description=(
            "Each occurrence of a stretch of days under the schedule of its time, with its state and its completion. At most "
            "400 days and 1000 occurrences."
        ),
        roles=READERS,
        query=OccurrenceQuery,
        returns=OCCURRENCE_LIST,
        example=Example(path={"id": TASK_KEY}),
    )
    def task_occurrences(call: Call, id: uuid.UUID) -> Response:
        task = _task(call, id)
        today = day_of(call.now, call.zone)
        first = call.query.get("from_", today - timedelta(days=LISTED_DAYS))
        last = call.query.get("to", today + timedelta(days=LISTED_DAYS))
        _refuse_beyond(last, today, "/to")
        if not first <= last <= first + timedelta(days=AHEAD_DAYS):
            raise Invalid(f"Ask for 1 to {AHEAD_DAYS} days, the first one first.", "/from")
        start, end = midnight_ms(first, call.zone), midnight_ms(last + timedelta(days=1), call.zone)
        found = list_occurrences(call.session, [task], call.zone, start, end)[task.id]
        if len(found) > CAP:
            raise Invalid(f"More than {CAP} occurrences lie between these days: ask for fewer.", "/to")
        return reply(
            {
                "items": [
                    {
                        "occurrence": one.occurrence.name,
                        "due": instant_text(one.occurrence.due_ms),
                        "due_local": local_text(one.occurrence.local),
                        "state": one.state(call.now),
                        "completion": None if one.completion is None else completed(one.completion),
                    }
                    for one in found
                ]
            }
        )

    @operation(
        blp,
        "GET",
        "/tasks/<uuid:id>/schedules",
        id="list_task_schedules",
        summary="The schedules a task had, and when",
        description="Oldest first, half-open; a null `to` still holds. Each with the zone whose clock its times are.",
        roles=READERS,
        returns=SCHEDULES,
        example=Example(path={"id": TASK_KEY}),
    )
    def task_schedules(call: Call, id: uuid.UUID) -> Response:
        task = _task(call, id)
        asked = sa.select(TaskSchedule).where(TaskSchedule.subject_id == task.id)
        return reply(
            {
                "items": [
                    {
                        "schedule": one.value,
                        "time_zone": one.zone,
                        "from": instant_text(one.from_ms),
                        "to": None if one.to_ms is None else instant_text(one.to_ms),
                    }
                    for one in call.session.scalars(asked.order_by(TaskSchedule.from_ms))
                ]
            }
        )


def _task(call: Call, id: uuid.UUID) -> Task:
    found: Task = locate(call, TASKS, {"id": id})
    return found


def _refuse_beyond(day: date, today: date, pointer: str) -> None:
    if day > today + timedelta(days=AHEAD_DAYS):
        raise Invalid(f"At most {AHEAD_DAYS} days ahead can be asked for.", pointer)


def _due_row(due: Due, now: int) -> dict[str, Any]:
    task, one = due.task, due.occurrence
    return {
        "task": str(task.id),
        "title": task.title,
        "about": task.about,
        "helper": task.helper,
        "instructions": task.instructions,
        "expected_minutes": task.expected_minutes,
        "occurrence": one.name,
        "due": instant_text(one.due_ms),
        "due_local": local_text(one.local),
        "state": "overdue" if now >= due.overdue_ms else "due",
        "late_minutes": max(0, (now - one.due_ms) // 60_000),
        "opens_at": instant_text(due.opens_ms),
        "overdue_from": instant_text(due.overdue_ms),
        "earlier_open": due.earlier_open,
    }


TASKS = Resource(
    model=Task,
    schema=TaskSchema,
    words="Routine work: what, where, by whom, and when it is due.",
    example={
        "title": "Trim the watercress",
        "about": "systems/rill",
        "expected_minutes": 20,
        "schedule": {
            "kind": "calendar",
            "rule": "FREQ=MONTHLY;BYDAY=1SA",
            "start": "2026-11-01T10:00",
        },
        "window": {"late": "2 d"},
    },
    example_key=TASK_KEY,
    example_delete="01936c5e-8f00-7000-8000-000000000006",
    example_patch={"expected_minutes": 35},
    filters={
        "about": Filter(
            PlaceReference(metadata={"description": "Only those about this place."}),
            lambda session, path: Task.about_id == find_place(session, path).id,
        ),
        "helper": Filter(
            Handle(metadata={"description": "Only those of this helper."}),
            lambda session, handle: Task.helper_id == find(session, Helper, handle).id,
        ),
    },
    verbs=("list", "create", "put", "get", "patch", "delete"),
    create=create_task,
    edit=edit_task,
    routes=(add_routes, completions.add_routes, task_calendar.add_routes),
    begins="What was due before it never was; now if not said. Earlier to bring in work already under way.",
)
