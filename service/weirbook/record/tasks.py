"""Helpers, tasks with the dated versions of their schedules, and completions."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column

from weirbook.engine.schedules import LastDone, Occurrence, Version, schedule_of
from weirbook.engine.times import day_of, midnight_ms, zone
from weirbook.engine.units import Quantity
from weirbook.errors import Fault, Invalid
from weirbook.record.base import ROUTINE, Base, Happening, Named, Span, key_to, points_to, room_key
from weirbook.record.columns import Parts
from weirbook.record.database import room_of
from weirbook.record.places import Place, path_of

DONE, SKIPPED = "done", "skipped"
OUTCOMES = (DONE, SKIPPED)
DAY_MS = 86_400_000
ZONES_APART_MS = 26 * 3_600_000
"""From the first zone to see a clock time to the last."""
CHUNK = 400


class Helper(Named, Base):
    """A person who shares the routine work."""

    __tablename__ = "helper"
    NOUN = "helper"
    PLURAL = "helpers"
    COUNTER = "helper"


class TaskSchedule(Span, Base):
    """A task's schedule and the zone of its clock times, and when both held."""

    __tablename__ = "task_schedule"
    subject_id: Mapped[uuid.UUID] = mapped_column(sa.Uuid, primary_key=True)
    value: Mapped[dict[str, Any]] = mapped_column("schedule", Parts)
    zone: Mapped[str] = mapped_column(sa.String(60))

    __table_args__ = (key_to("task", "subject_id", cascade=True),)

    def version(self) -> Version:
        return Version(schedule_of(self.value), zone(self.zone), self.from_ms, self.to_ms)


class Task(Happening, Base):
    """Routine work. What is open of it first, and what next, is kept beside it so that no history is read for it."""

    __tablename__ = "task"
    NOUN = "task"
    PLURAL = "tasks"
    REFERENCES = {"about": "place", "helper": "helper"}
    UNTOLD = ROUTINE | {"open_name", "open_due_ms", "next_due_ms"}
    SOUGHT = ("title", "instructions")
    PLACED_BY = "about_id"

    title: Mapped[str] = mapped_column(sa.String(200))
    about_id: Mapped[int | None] = mapped_column(sa.Integer)
    instructions: Mapped[str | None] = mapped_column(sa.Text)
    expected_minutes: Mapped[int | None] = mapped_column(sa.Integer)
    helper_id: Mapped[int | None] = mapped_column(sa.Integer)
    schedule: Mapped[dict[str, Any]] = mapped_column(Parts)
    window: Mapped[dict[str, Quantity] | None] = mapped_column(Parts)
    retired_at_ms: Mapped[int | None] = mapped_column(sa.BigInteger)
    open_name: Mapped[str | None] = mapped_column(sa.String(40))
    open_due_ms: Mapped[int | None] = mapped_column(sa.BigInteger)
    next_due_ms: Mapped[int | None] = mapped_column(sa.BigInteger)

    about: Mapped[Place | None] = points_to("Task.about_id", "Place")
    helper: Mapped[Helper | None] = points_to("Task.helper_id", "Helper")

    __table_args__ = (
        room_key(),
        key_to("place", "about_id"),
        key_to("helper", "helper_id"),
        sa.Index(None, "room_id", "open_due_ms"),
    )

    def faults(self) -> list[Fault]:
        try:
            schedule_of(self.schedule)
        except Invalid as trouble:
            return [fault.under("/schedule") for fault in trouble.faults]
        return []


def opens_ms(window: Mapping[str, Quantity] | None, due: Occurrence) -> int:
    """From when an occurrence may be done: a day early unless its window says otherwise."""
    early = (window or {}).get("early")
    return due.due_ms - (DAY_MS if early is None else round(early.si("time") * 1000))


def overdue_ms(window: Mapping[str, Quantity] | None, due: Occurrence, where: ZoneInfo) -> int:
    """From when it is overdue: once the day it was due on is over, unless its window says otherwise."""
    late = (window or {}).get("late")
    if late is not None:
        return due.due_ms + round(late.si("time") * 1000)
    return midnight_ms(day_of(due.due_ms, where) + timedelta(days=1), where)


class Completion(Happening, Base):
    """That an occurrence was done or skipped; undone ones stay in the record."""

    __tablename__ = "completion"
    NOUN = "completion"
    PLURAL = "completions"
    UNTOLD = ROUTINE | {"key_id"}
    SOUGHT = ("note",)
    DATED_BY = "done_at_ms"
    PLACED_BY = "task_id"

    task_id: Mapped[uuid.UUID] = mapped_column(sa.Uuid)
    occurrence: Mapped[str] = mapped_column(sa.String(40))
    outcome: Mapped[str] = mapped_column(sa.String(8))
    due_ms: Mapped[int] = mapped_column(sa.BigInteger)
    done_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    by_id: Mapped[int | None] = mapped_column(sa.Integer)
    note: Mapped[str | None] = mapped_column(sa.Text)
    readings: Mapped[list[dict[str, str]]] = mapped_column(Parts)
    key_id: Mapped[int] = mapped_column(sa.Integer)
    recorded_by: Mapped[str] = mapped_column(sa.String(120))
    undone_at_ms: Mapped[int | None] = mapped_column(sa.BigInteger)
    undone_by: Mapped[str | None] = mapped_column(sa.String(120))

    by: Mapped[Helper | None] = points_to("Completion.by_id", "Helper")

    @property
    def origin(self) -> str:
        """Where it can be read."""
        return f"/v1/tasks/{self.task_id}/completions"

    __table_args__ = (
        room_key(),
        key_to("task", "task_id"),
        key_to("helper", "by_id"),
        key_to("access_key", "key_id"),
        # Of one occurrence one completion counts, whoever is first; those undone don't.
        sa.Index(
            None,
            "room_id",
            "task_id",
            "occurrence",
            unique=True,
            sqlite_where=sa.text("undone_at_ms IS NULL"),
            postgresql_where=sa.text("undone_at_ms IS NULL"),
        ),
        sa.Index(None, "room_id", "task_id", "due_ms"),
        sa.Index(None, "room_id", "task_id", "done_at_ms"),
        sa.Index(None, "room_id", "done_at_ms"),
    )


@dataclass(frozen=True)
class OpenTask:
    """A task with something open, as the daily list needs it."""

    id: uuid.UUID
    title: str
    about_id: int | None
    about: str | None
    helper: str | None
    instructions: str | None
    expected_minutes: int | None
    window: Mapping[str, Quantity] | None
    open_name: str
    open_due_ms: int
    next_due_ms: int | None


def open_tasks(session: Session, end_ms: int, helper_id: int | None = None) -> Sequence[OpenTask]:
    """The tasks in use of which something open was due before an instant, in one query without ORM objects."""
    task, place, helper = Task.__table__.c, Place.__table__.c, Helper.__table__.c
    asked = (
        sa.select(
            task.id,
            task.title,
            task.about_id,
            place.noun,
            place.handle,
            helper.handle,
            task.instructions,
            task.expected_minutes,
            task.window,
            task.open_name,
            task.open_due_ms,
            task.next_due_ms,
        )
        .select_from(Task.__table__)
        .outerjoin(Place.__table__, sa.and_(place.room_id == task.room_id, place.id == task.about_id))
        .outerjoin(Helper.__table__, sa.and_(helper.room_id == task.room_id, helper.id == task.helper_id))
        .where(task.room_id == room_of(session), task.retired_at_ms.is_(None), task.open_due_ms < end_ms)
    )
    if helper_id is not None:
        asked = asked.where(task.helper_id == helper_id)
    found = []
    for row in session.execute(asked):
        task_id, title, about_id, noun, handle, *rest = row
        found.append(OpenTask(task_id, title, about_id, noun and path_of(noun, handle), *rest))
    return found


def versions_of(session: Session, task_ids: Iterable[uuid.UUID]) -> Mapping[uuid.UUID, Sequence[Version]]:
    """The schedules that each task had, oldest first."""
    found: dict[uuid.UUID, list[Version]] = defaultdict(list)
    for some in _chunks(task_ids):
        asked = (
            sa.select(TaskSchedule).where(TaskSchedule.subject_id.in_(some)).order_by(TaskSchedule.from_ms)
        )
        for row in session.scalars(asked):
            found[row.subject_id].append(row.version())
    return found


def completed_from(
    session: Session, since: Mapping[uuid.UUID, int]
) -> Mapping[uuid.UUID, Mapping[str, Completion]]:
    """Of each task the completions that count, by occurrence, of those due at or after an instant.

    Some due shortly before it are among them: a change of zone since may have moved their occurrences on.
    """
    found: dict[uuid.UUID, dict[str, Completion]] = {task_id: {} for task_id in since}
    for some in _chunks(since):
        asked = sa.select(Completion).where(
            Completion.task_id.in_(some),
            Completion.due_ms >= min(since[task_id] for task_id in some) - ZONES_APART_MS,
            Completion.undone_at_ms.is_(None),
        )
        for row in session.scalars(asked).unique():
            if row.due_ms >= since[row.task_id] - ZONES_APART_MS:
                found[row.task_id][row.occurrence] = row
    return found


def last_done(session: Session, task_ids: Iterable[uuid.UUID]) -> Mapping[uuid.UUID, LastDone]:
    """The newest completion that counts of each task that has one."""
    found = {}
    for some in _chunks(task_ids):
        newest = (
            sa.select(Completion.task_id, sa.func.max(Completion.done_at_ms).label("done_at_ms"))
            .where(
                Completion.room_id == room_of(session),
                Completion.task_id.in_(some),
                Completion.undone_at_ms.is_(None),
            )
            .group_by(Completion.task_id)
            .subquery()
        )
        asked = sa.select(Completion.task_id, Completion.id, Completion.done_at_ms).join(
            newest,
            sa.and_(
                Completion.room_id == room_of(session),
                Completion.task_id == newest.c.task_id,
                Completion.done_at_ms == newest.c.done_at_ms,
                Completion.undone_at_ms.is_(None),
            ),
        )
        for task_id, completion_id, done_at_ms in session.execute(asked.order_by(Completion.id)):
            found[task_id] = LastDone(str(completion_id), done_at_ms)
    return found


def _chunks(ids: Iterable[uuid.UUID]) -> Iterable[Sequence[uuid.UUID]]:
    wanted = list(ids)
    return (wanted[start : start + CHUNK] for start in range(0, len(wanted), CHUNK))
