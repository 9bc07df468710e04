"""Make a task, change it, and carry its schedule into another time zone. What was due stays what was due."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.create import create, refuse_ahead
from weirbook.actions.edit import edit
from weirbook.actions.find_due import keep_open, open_one
from weirbook.engine.schedules import refuse_never, schedule_of
from weirbook.engine.times import zone
from weirbook.errors import Invalid
from weirbook.record.database import room_of
from weirbook.record.rooms import Room
from weirbook.record.tasks import Task, TaskSchedule


def create_task(
    session: Session,
    model: type[Task],
    values: Mapping[str, Any],
    *,
    now: int,
    effective_ms: int | None = None,
    chosen_id: uuid.UUID | None = None,
) -> Task:
    """A new task, whose occurrences begin at `effective_ms`, now if not said. Raises Invalid for one never due."""
    refuse_ahead(effective_ms, now)
    where, since = room_zone(session), now if effective_ms is None else effective_ms
    task = create(session, model, values, now=now, chosen_id=chosen_id)
    _refuse_never(task, where, since)
    session.add(_span(session, task, where, since))
    session.flush()
    keep_open(session, task, where, since, None)
    session.refresh(task)
    return task


def edit_task(
    session: Session, task: Task, values: Mapping[str, Any], *, now: int, effective_ms: None = None
) -> bool:
    """Change a task; whether anything changed. Another schedule holds from now on, and what was due stays due."""
    where, before = room_zone(session), task.schedule
    changed = edit(session, task, values, now=now)
    if task.schedule != before:
        _refuse_never(task, where, now)
        _replace(session, task, where, now)
    return changed


def follow_zone(session: Session, where: ZoneInfo, *, now: int) -> None:
    """Let every task's clock times be those of another zone from now on."""
    for task in session.scalars(sa.select(Task).order_by(Task.id)).unique():
        _replace(session, task, where, now)


def room_zone(session: Session) -> ZoneInfo:
    """The time zone of the session's room."""
    return zone(session.get_one(Room, room_of(session)).time_zone)


def _refuse_never(task: Task, where: ZoneInfo, since: int) -> None:
    try:
        refuse_never(schedule_of(task.schedule), where, since)
    except Invalid as trouble:
        raise Invalid(
            trouble.message, faults=[fault.under("/schedule") for fault in trouble.faults]
        ) from None


def _span(session: Session, task: Task, where: ZoneInfo, since: int) -> TaskSchedule:
    return TaskSchedule(
        room_id=room_of(session), subject_id=task.id, from_ms=since, value=task.schedule, zone=where.key
    )


def _replace(session: Session, task: Task, where: ZoneInfo, now: int) -> None:
    """End the version that holds and begin another now."""
    asked = sa.select(TaskSchedule).where(TaskSchedule.subject_id == task.id, TaskSchedule.to_ms.is_(None))
    present = session.scalars(asked).one()
    if present.from_ms >= now:  # within the millisecond in which it was made: nothing was due under it
        present.value, present.zone = task.schedule, where.key
    else:
        present.to_ms = now
        session.add(_span(session, task, where, now))
    session.flush()
    first = open_one(task, zone(present.zone))
    open_from = now if task.open_due_ms is None else min(task.open_due_ms, now)
    keep_open(session, task, where, open_from, first if first and first.due_ms <= now else None)
