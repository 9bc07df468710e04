"""What is due: the open occurrences of every task up to an instant, and of one task what was due when."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from weirbook.engine.schedules import (
    LastDone,
    Occurrence,
    Version,
    counts_on_the_last,
    known,
    occurrences,
)
from weirbook.record.tasks import (
    Completion,
    OpenTask,
    Task,
    completed_from,
    last_done,
    open_tasks,
    opens_ms,
    overdue_ms,
    versions_of,
)

LISTED_OF_A_TASK = 10
"""Of one task so many open occurrences are listed, the newest; how many lie before them is counted."""


@dataclass(frozen=True)
class Due:
    """One open occurrence: from when it may be done, from when it is overdue, and how many are open before it."""

    task: OpenTask
    occurrence: Occurrence
    opens_ms: int
    overdue_ms: int
    earlier_open: int


def find_due(
    session: Session,
    where: ZoneInfo,
    end_ms: int,
    helper_id: int | None = None,
    *,
    of_each: int | None = LISTED_OF_A_TASK,
) -> Sequence[Due]:
    """The open occurrences that were due before an instant, of one helper if wanted, oldest first.

    Of one task at most `of_each`, the newest; all if None.
    """
    tasks = open_tasks(session, end_ms, helper_id)
    several = {
        task.id: task.open_due_ms
        for task in tasks
        if task.next_due_ms is not None and task.next_due_ms < end_ms
    }
    versions = versions_of(session, several)
    last = last_done(session, [task_id for task_id, held in versions.items() if counts_on_the_last(held)])
    completed = completed_from(session, several)
    found: list[Due] = []
    for task in tasks:
        open_ones = [known(task.open_name, task.open_due_ms, where)]
        if task.id in several:
            open_ones = list(
                open_occurrences(
                    versions[task.id], completed[task.id], task.open_due_ms, end_ms, last.get(task.id)
                )
            )
        before = 0 if of_each is None else max(0, len(open_ones) - of_each)
        found += [
            Due(task, one, opens_ms(task.window, one), overdue_ms(task.window, one, where), before + index)
            for index, one in enumerate(open_ones[before:])
        ]
    return sorted(found, key=lambda due: (due.occurrence.due_ms, due.task.title, due.task.id))


def open_occurrences(
    versions: Sequence[Version],
    completed: Mapping[str, Completion],
    start_ms: int,
    end_ms: int | None,
    last: LastDone | None,
) -> Iterator[Occurrence]:
    """Those due from an instant on that no completion settles."""
    due = occurrences(versions, start_ms, end_ms, last)
    return (one for one in due if one.name not in completed)


def open_one(task: Task, where: ZoneInfo) -> Occurrence | None:
    """The oldest occurrence of a task that is neither done nor skipped."""
    if task.open_name is None or task.open_due_ms is None:
        return None
    return known(task.open_name, task.open_due_ms, where)


def keep_open(session: Session, task: Task, from_ms: int) -> None:
    """Write down what is open first of a task, and what next. Nothing due before `from_ms` may be open."""
    versions = versions_of(session, [task.id])[task.id]
    completed = completed_from(session, {task.id: from_ms})[task.id]
    last = last_done(session, [task.id]).get(task.id)
    open_ones = open_occurrences(versions, completed, from_ms, None, last)
    first, following = next(open_ones, None), next(open_ones, None)
    task.open_name = None if first is None else first.name
    task.open_due_ms = None if first is None else first.due_ms
    task.next_due_ms = None if following is None else following.due_ms
    session.flush()
