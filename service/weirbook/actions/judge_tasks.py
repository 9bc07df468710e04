"""Whether the routine work is kept up."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy.orm import Session

from weirbook.actions.find_due import Due, find_due
from weirbook.actions.finding import About, Finding, Verdict
from weirbook.actions.judge_gauges import Now
from weirbook.engine.units import Quantity
from weirbook.record.whereabouts import Whereabouts

ORIGIN = "/v1/tasks/due"


def judge_tasks(session: Session, where: Whereabouts, now: Now) -> Iterator[Finding]:
    """A finding on each task that is overdue: to watch once, to act on from the second time on."""
    newest: dict[object, Due] = {}
    for due in find_due(session, now.zone, now.ms, of_each=None):
        if due.overdue_ms <= now.ms:
            newest[due.task.id] = due
    for due in newest.values():
        task, times = due.task, due.earlier_open + 1
        system_id = None if task.about_id is None else where.system_of(task.about_id)
        late = now.ms - task.open_due_ms
        more = "once" if times == 2 else f"{times - 1} times"
        often = "" if times == 1 else f" and was due {more} more since"
        yield Finding(
            Verdict.WATCH if times == 1 else Verdict.ACT,
            About.TASK,
            task.about or "room",
            None if system_id is None else where.systems[system_id],
            str(task.id),
            f"'{task.title}' is overdue: it was due on {now.clock(task.open_due_ms)}{often}.",
            ORIGIN,
            value=Quantity(round(late / 3_600_000, 1), "h"),
            since_ms=task.open_due_ms,
        )
