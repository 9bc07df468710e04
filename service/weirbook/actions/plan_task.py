"""Make a task, change it, and carry its schedule into another time zone. What was due stays what was due."""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.create import create, refuse_ahead
from weirbook.actions.edit import edit
from weirbook.actions.find_due import keep_open
from weirbook.engine.schedules import Version, occurrences, refuse_never, schedule_of
from weirbook.engine.times import clock_at, zone
from weirbook.errors import Invalid
from weirbook.record.database import room_of
from weirbook.record.rooms import Room
from weirbook.record.tasks import Task, TaskSchedule

OPEN_CAP = 10_000
"""So many occurrences may be open of a task at its making."""


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
    _refuse_too_many(task, where, since, now)
    session.add(
        TaskSchedule(
            room_id=room_of(session), subject_id=task.id, from_ms=since, value=task.schedule, zone=where.key
        )
    )
    session.flush()
    if task.retired_at_ms is not None:
        _hold_from(session, task, where, now)
    keep_open(session, task, since)
    session.refresh(task)
    return task


def edit_task(
    session: Session, task: Task, values: Mapping[str, Any], *, now: int, effective_ms: None = None
) -> bool:
    """Change a task; whether anything changed. Another schedule holds from now on, and what was due stays due.

    While a task is retired nothing is due of it; taken up again, it goes on from now.
    """
    where, before = room_zone(session), (task.schedule, task.retired_at_ms is None)
    changed = edit(session, task, values, now=now)
    if (task.schedule, task.retired_at_ms is None) != before:
        if task.schedule != before[0]:
            _refuse_never(task, where, now)
        _hold_from(session, task, where, now)
    return changed


def follow_zone(session: Session, where: ZoneInfo, *, now: int) -> None:
    """Let every task's clock times be those of another zone from now on."""
    in_use = sa.select(Task).where(Task.retired_at_ms.is_(None)).order_by(Task.id)
    for task in session.scalars(in_use).unique():
        _hold_from(session, task, where, now)


def room_zone(session: Session) -> ZoneInfo:
    """The time zone of the session's room."""
    return zone(session.get_one(Room, room_of(session)).time_zone)


def by_clock(session: Session, ms: int) -> str:
    """An instant as sentences say it: by the room's clock, to the minute."""
    return f"{clock_at(ms, room_zone(session)):%Y-%m-%d %H:%M}"


def _refuse_never(task: Task, where: ZoneInfo, since: int) -> None:
    try:
        refuse_never(schedule_of(task.schedule), where, since)
    except Invalid as trouble:
        raise Invalid(
            trouble.message, faults=[fault.under("/schedule") for fault in trouble.faults]
        ) from None


def _refuse_too_many(task: Task, where: ZoneInfo, since: int, now: int) -> None:
    """Raise Invalid where more would be open at the making than anybody catches up with."""
    due = occurrences([Version(schedule_of(task.schedule), where, since)], since, now, None)
    if sum(1 for _ in itertools.islice(due, OPEN_CAP + 1)) > OPEN_CAP:
        raise Invalid(f"More than {OPEN_CAP} occurrences were due since then: begin later.", "/effective_at")


def _hold_from(session: Session, task: Task, where: ZoneInfo, now: int) -> None:
    """Let the task's schedule hold from now on, or none while it is retired; what held before ends now."""
    asked = sa.select(TaskSchedule).where(TaskSchedule.subject_id == task.id, TaskSchedule.to_ms.is_(None))
    present = session.scalars(asked).one_or_none()
    if present is not None:
        present.to_ms = max(now, present.from_ms)
    if task.retired_at_ms is None:
        # Merged: of two changes within a millisecond the later holds.
        session.merge(
            TaskSchedule(
                room_id=room_of(session),
                subject_id=task.id,
                from_ms=now,
                to_ms=None,
                value=task.schedule,
                zone=where.key,
            )
        )
    session.flush()
    keep_open(session, task, now if task.open_due_ms is None else min(task.open_due_ms, now))
