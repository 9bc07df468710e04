"""Mark an occurrence of a task as done or skipped, with the readings taken along; undo it."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.create import create
from weirbook.actions.find_due import keep_open
from weirbook.actions.find_gauges import Taker
from weirbook.actions.find_occurrence import find_occurrence
from weirbook.actions.judge_reading import AHEAD_MS, OLDEST_MS, Refusal, Sent
from weirbook.actions.plan_task import room_zone
from weirbook.actions.take_readings import refusal_of, take_readings
from weirbook.engine.schedules import LastDone, Occurrence, clock_name
from weirbook.engine.times import clock_at, instant_text, local_text
from weirbook.errors import Conflict, Forbidden, Invalid, Unknown
from weirbook.record.access import Role
from weirbook.record.changes import name_it
from weirbook.record.names import find
from weirbook.record.tasks import DONE, SKIPPED, Completion, Helper, Task, last_done, opens_ms

SKIPPED_AHEAD_MS = 400 * 86_400_000
"""How far ahead work may be skipped: a season, not a lifetime."""


class AlreadyCompleted(Conflict):
    """Somebody was first; `first` is the completion that counts."""

    slug = "already-completed"

    def __init__(self, message: str, first: Completion) -> None:
        super().__init__(message)
        self.first = first


@dataclass(frozen=True)
class Teller:
    """Whose key tells it."""

    key_id: int
    role: Role
    name: str


@dataclass(frozen=True)
class Told:
    """What is told of an occurrence. What is None was not said."""

    occurrence: str
    outcome: str = DONE
    id: uuid.UUID | None = None
    done_at_ms: int | None = None
    by: str | None = None
    note: str | None = None
    readings: Sequence[Sent | Refusal] = ()


def complete_task(
    session: Session, teller: Teller, task_id: uuid.UUID, told: Told, *, now: int
) -> tuple[Completion, bool]:
    """The completion of an occurrence, and whether it is new; repeating what is there gives that.

    Raises Unknown, Invalid, and Conflict naming the first where the occurrence is completed otherwise.
    """
    task = _locked(session, task_id)
    where = room_zone(session)
    told = replace(told, occurrence=_spelt(told.occurrence))
    done_ms = now if told.done_at_ms is None else told.done_at_ms
    _refuse_wrong_time(done_ms, now)
    _refuse_what_was_undone(session, task, told)
    first = _counting(session, task, told.occurrence)
    if first is not None:
        if not _repeats(first, teller, told):
            raise _already(first, where)
        if len(told.readings) != len(first.readings):
            # What came along the first time is stored, and may have been corrected since.
            _take(session, teller, told, first.done_at_ms, now)
        return first, False
    last = last_done(session, [task.id]).get(task.id)
    due = find_occurrence(session, task, told.occurrence, last, where)
    _refuse_untimely(task, due, last, told, done_ms, now, where)
    taken = _take(session, teller, told, done_ms, now)
    completion = create(
        session,
        Completion,
        {
            "task_id": task.id,
            "occurrence": due.name,
            "outcome": told.outcome,
            "due_ms": due.due_ms,
            "done_at_ms": done_ms,
            "by_id": None if told.by is None else _helper(session, told.by).id,
            "note": told.note,
            "readings": taken,
            "key_id": teller.key_id,
            "recorded_by": teller.name,
        },
        now=now,
        chosen_id=told.id,
    )
    name_it(
        session,
        completion,
        told.outcome,
        words=task.title,
        place=None if task.about is None else task.about.path,
    )
    if task.open_due_ms is not None:
        keep_open(session, task, task.open_due_ms)
    return completion, True


def undo_completion(session: Session, teller: Teller, completion: Completion, *, now: int) -> None:
    """Take a completion back; it stays in history, and the readings it carried stay.

    Raises Forbidden for a helper that did not record it, Conflict where a later one rests on it.
    """
    if completion.undone_at_ms is not None:
        return
    if teller.role is not Role.KEEPER and completion.key_id != teller.key_id:
        raise Forbidden(
            f"'{completion.recorded_by}' recorded this: that key or a keeper's can undo it, this one can't."
        )
    task = _locked(session, completion.task_id)
    if _counting(session, task, str(completion.id)) is not None:
        raise Conflict(
            "The next one, counted from this completion, is completed too: undo that one first.",
            slug="not-the-newest",
        )
    completion.undone_at_ms, completion.undone_by = now, teller.name
    completion.version += 1
    completion.updated_at_ms = now
    name_it(
        session, completion, "undone", words=task.title, place=None if task.about is None else task.about.path
    )
    # A schedule or zone changed since may have made it due sooner, but not before it was told.
    soonest = min(completion.due_ms, completion.created_at_ms)
    keep_open(session, task, soonest if task.open_due_ms is None else min(task.open_due_ms, soonest))


def _locked(session: Session, task_id: uuid.UUID) -> Task:
    """The task, held so that of two who complete the same occurrence the second sees the first."""
    task = session.scalars(sa.select(Task).where(Task.id == task_id).with_for_update(of=Task)).one_or_none()
    if task is None:
        raise Unknown(f"There is no task with the id {task_id}.")
    return task


def _helper(session: Session, handle: str) -> Helper:
    """Who did it; one who has left since may have done it then."""
    try:
        return find(session, Helper, handle)
    except Unknown as trouble:
        raise Invalid(trouble.message, "/by") from None


def _spelt(name: str) -> str:
    """A clock time in the one spelling that names have."""
    local = clock_name(name)
    return name if local is None else local_text(local)


def _counting(session: Session, task: Task, occurrence: str) -> Completion | None:
    asked = sa.select(Completion).where(
        Completion.task_id == task.id,
        Completion.occurrence == occurrence,
        Completion.undone_at_ms.is_(None),
    )
    return session.scalars(asked).unique().one_or_none()


def _refuse_wrong_time(done_ms: int, now: int) -> None:
    if done_ms > now + AHEAD_MS:
        raise Invalid(
            f"{instant_text(done_ms)} lies ahead of now: what is still to come can't be done yet. Or set the clock of "
            "what sent it.",
            "/done_at",
            slug="time-ahead",
        )
    if done_ms < OLDEST_MS:
        raise Invalid("This lies before 2000: a clock that lost its time.", "/done_at")


def _refuse_what_was_undone(session: Session, task: Task, told: Told) -> None:
    """A retry that comes late must not bring back what was undone meanwhile, nor take another's id."""
    if told.id is None:
        return
    present = session.scalars(sa.select(Completion).where(Completion.id == told.id)).unique().one_or_none()
    if present is None:
        return
    if (present.task_id, present.occurrence) != (task.id, told.occurrence):
        raise Conflict("Another completion has this id. Make a new id for each.", "/id", slug="id-taken")
    if present.undone_at_ms is not None:
        raise Conflict(
            f"This completion was undone by {present.undone_by}. To complete it anew, send it under a new id.",
            slug="completion-undone",
        )


def _repeats(first: Completion, teller: Teller, told: Told) -> bool:
    """Whether the same is said again, as far as anything is: by the same key, or under the completion's own id."""
    said = (
        (told.id, first.id),
        (told.done_at_ms, first.done_at_ms),
        (told.by, first.by and first.by.handle),
        (told.note, first.note),
    )
    return (
        (first.key_id == teller.key_id or told.id == first.id)
        and first.outcome == told.outcome
        and all(one is None or one == kept for one, kept in said)
    )


def _already(first: Completion, where: ZoneInfo) -> AlreadyCompleted:
    who = first.by.name if first.by is not None else first.recorded_by
    what = "did it" if first.outcome == DONE else "skipped it"
    when = clock_at(first.done_at_ms, where)
    return AlreadyCompleted(
        f"{who} {what} already, on {when:%Y-%m-%d} at {when:%H:%M} by the room's clock. Nothing was changed.",
        first,
    )


def _refuse_untimely(
    task: Task,
    due: Occurrence,
    last: LastDone | None,
    told: Told,
    done_ms: int,
    now: int,
    where: ZoneInfo,
) -> None:
    """Raise Invalid for what is done before its window opens or before the one it follows, or skipped far ahead."""
    opens = opens_ms(task.window, due)
    if told.outcome == SKIPPED:
        if due.due_ms > now + SKIPPED_AHEAD_MS:
            raise Invalid("This lies more than 400 days ahead: skip what comes sooner.", "/occurrence")
    elif done_ms < opens:
        raise Invalid(
            f"This is due on {local_text(due.local)} and may be done from {local_text(clock_at(opens, where))} on. "
            "Widen the task's window if it may be done earlier.",
            "/done_at",
        )
    if clock_name(due.name) is None and last is not None and done_ms <= last.done_ms:
        raise Invalid(
            "This lies before the completion that it is counted from: times go forward.", "/done_at"
        )


def _take(session: Session, teller: Teller, told: Told, done_ms: int, now: int) -> list[dict[str, str]]:
    """Store the readings that came along, all or none; which they are. Raises Invalid, Conflict."""
    if not told.readings:
        return []
    at = instant_text(done_ms)
    rows = [replace(row, at=at) if isinstance(row, Sent) and row.at is None else row for row in told.readings]
    taken = take_readings(session, Taker(teller.role, teller.name), rows, now=now)
    if taken.refusals:
        raise refusal_of(taken, single=False)
    return [{"gauge": gauge, "at": instant_text(at_ms)} for gauge, at_ms in taken.of]
