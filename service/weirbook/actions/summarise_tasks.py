"""What was done of the week's routine work, what was skipped, and what stood overdue at its end."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.find_due import find_due
from weirbook.engine.schedules import known
from weirbook.engine.times import instant_text
from weirbook.record.tasks import DONE, SKIPPED, Completion, Task, overdue_ms

LISTED = 50

About = Callable[[int | None], bool]
"""Whether a task about a place (by its id, None: about none) counts."""


def summarise_tasks(
    session: Session, where: ZoneInfo, start_ms: int, read_to_ms: int, counts: About
) -> dict[str, Any]:
    """Counts of the work told as done or skipped from start up to but without the end, and what was overdue then."""
    told = Counter(
        outcome
        for about_id, outcome in session.execute(
            sa.select(Task.about_id, Completion.outcome)
            .join(Completion, sa.and_(Completion.room_id == Task.room_id, Completion.task_id == Task.id))
            .where(
                Completion.done_at_ms >= start_ms,
                Completion.done_at_ms < read_to_ms,
                Completion.undone_at_ms.is_(None),
            )
        )
        if counts(about_id)
    )
    still, listed = _open_then(session, where, read_to_ms, counts)
    since = _done_later(session, where, read_to_ms, counts)
    return {
        "done": told[DONE],
        "skipped": told[SKIPPED],
        "overdue": still + since,
        "overdue_tasks": listed[:LISTED],
    }


def _open_then(
    session: Session, where: ZoneInfo, at_ms: int, counts: About
) -> tuple[int, list[dict[str, Any]]]:
    """What was overdue at an instant and is open to this day: how many, and the newest of each task."""
    newest = {}
    for due in find_due(session, where, at_ms, of_each=None):
        if due.overdue_ms <= at_ms and counts(due.task.about_id):
            newest[due.task.id] = due
    listed = [
        {
            "task": str(due.task.id),
            "title": due.task.title,
            "about": due.task.about,
            "helper": due.task.helper,
            "due": instant_text(due.task.open_due_ms),
            "times": due.earlier_open + 1,
        }
        for due in newest.values()
    ]
    return sum(due.earlier_open + 1 for due in newest.values()), listed


def _done_later(session: Session, where: ZoneInfo, at_ms: int, counts: About) -> int:
    """How much was overdue at an instant and was done or skipped only after it."""
    late = session.execute(
        sa.select(Task.about_id, Task.window, Completion.occurrence, Completion.due_ms)
        .join(Completion, sa.and_(Completion.room_id == Task.room_id, Completion.task_id == Task.id))
        .where(Completion.due_ms < at_ms, Completion.done_at_ms >= at_ms, Completion.undone_at_ms.is_(None))
    )
    return sum(
        counts(about_id) and overdue_ms(window, known(name, due_ms, where), where) <= at_ms
        for about_id, window, name, due_ms in late
    )
