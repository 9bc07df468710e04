"""What was and will be due of tasks, and what became of it."""

from __future__ import annotations

import itertools
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from weirbook.engine.schedules import LastDone, Occurrence, Version, counts_on_the_last, known, occurrences
from weirbook.record.tasks import Completion, Task, completed_from, last_done, overdue_ms, versions_of

CAP = 1000


@dataclass(frozen=True)
class Past:
    """An occurrence, from when it is overdue, and its completion if it has one."""

    occurrence: Occurrence
    overdue_ms: int
    completion: Completion | None

    def state(self, now: int) -> str:
        """done, skipped, upcoming, due or overdue."""
        if self.completion is not None:
            return self.completion.outcome
        if now < self.occurrence.due_ms:
            return "upcoming"
        return "overdue" if now >= self.overdue_ms else "due"


def list_occurrences(
    session: Session, tasks: Sequence[Task], where: ZoneInfo, start_ms: int, end_ms: int
) -> Mapping[uuid.UUID, Sequence[Past]]:
    """Of each task what was due from `start_ms` up to but without `end_ms`, oldest first, little more than CAP."""
    ids = [task.id for task in tasks]
    versions = versions_of(session, ids)
    completed = completed_from(session, dict.fromkeys(ids, start_ms))
    last = last_done(session, [one for one, held in versions.items() if counts_on_the_last(held)])
    return {
        task.id: _of_one(
            task, versions[task.id], completed[task.id], last.get(task.id), where, start_ms, end_ms
        )
        for task in tasks
    }


def _of_one(
    task: Task,
    versions: Sequence[Version],
    completed: Mapping[str, Completion],
    last: LastDone | None,
    where: ZoneInfo,
    start_ms: int,
    end_ms: int,
) -> Sequence[Past]:
    due = list(itertools.islice(occurrences(versions, start_ms, end_ms, last), CAP + 1))
    names = {one.name for one in due}
    # Those of an interval that are settled follow from no schedule any more: their completions tell of them.
    due += [
        known(name, row.due_ms, where)
        for name, row in completed.items()
        if name not in names and start_ms <= row.due_ms < end_ms
    ]
    return [
        Past(one, overdue_ms(task.window, one, where), completed.get(one.name))
        for one in sorted(due, key=lambda one: one.due_ms)
    ]
