"""Timeline: routine work that was skipped, done late, or is overdue. What was done in time is no news."""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa

from weirbook.actions.find_due import find_due
from weirbook.actions.told import Look, Told, lasting, sentence
from weirbook.engine.schedules import known
from weirbook.record.tasks import SKIPPED, Completion, Task, overdue_ms

OF_EACH = 10
"""So many overdue occurrences of one task are told, the newest."""


def completions(look: Look) -> Iterator[Told]:
    """What was skipped, and what was done only after it was overdue."""
    column, task = Completion.__table__.c, Task.__table__.c
    asked = (
        sa.select(
            column.task_id,
            column.occurrence,
            column.outcome,
            column.due_ms,
            column.done_at_ms,
            column.note,
            column.recorded_by,
            task.title,
            task.about_id,
            task.window,
        )
        .select_from(Completion.__table__)
        .join(Task.__table__, sa.and_(task.room_id == column.room_id, task.id == column.task_id))
        .where(
            column.room_id == look.room_id,
            column.undone_at_ms.is_(None),
            column.done_at_ms >= look.start_ms,
            sa.or_(column.done_at_ms < look.end_ms, column.due_ms < look.end_ms),
            task.about_id.in_(look.places),
        )
    )
    for task_id, name, outcome, due, done, note, who, title, about_id, window in look.session.execute(asked):
        if not look.belongs.held(about_id, min(done, look.end_ms - 1)):
            continue
        if outcome == SKIPPED:
            if not look.inside(done):
                continue
            kind, words, to_ms, at_ms = "task_skipped", f"Skipped: {title}", None, done
        elif done > overdue_ms(window, known(name, due, look.zone), look.zone):
            kind, to_ms, at_ms = "task_late", done, due
            words = f"Done {lasting(done - due)} late: {title}"
        else:
            continue
        yield Told(
            at_ms,
            kind,
            look.paths[about_id],
            sentence(words, note),
            f"/v1/tasks/{task_id}/completions",
            "task",
            to_ms=to_ms,
            who=who,
            about=str(task_id),
            facts={"task": task_id, "title": title},
        )


def overdue(look: Look) -> Iterator[Told]:
    """What was due and is neither done nor skipped to this day."""
    for due in find_due(look.session, look.zone, min(look.end_ms, look.now), of_each=OF_EACH):
        about_id, at_ms = due.task.about_id, due.occurrence.due_ms
        if about_id is None or not look.inside(at_ms) or due.overdue_ms > min(look.end_ms, look.now):
            continue
        if look.belongs.held(about_id, at_ms):
            yield Told(
                at_ms,
                "task_open",
                look.paths[about_id],
                sentence(f"Due and neither done nor skipped: {due.task.title}"),
                f"/v1/tasks/{due.task.id}",
                "task",
                open=True,
                about=str(due.task.id),
                facts={"task": due.task.id, "title": due.task.title},
            )
