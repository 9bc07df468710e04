"""Put a plant in, with the days on which to look again made tasks; take a planting out of the record."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.create import create
from weirbook.actions.plan_task import create_task, edit_task, room_zone
from weirbook.actions.remove import remove
from weirbook.engine.times import day_of
from weirbook.record.dependents import dependents
from weirbook.record.plants import Planting
from weirbook.record.tasks import Task

DEFAULT_REVIEW_DAYS = (1, 7)
"""Common practice (no source): a day for what gets dug up, a week for what adapts."""
REVIEW_CLOCK = "18:00"


def plant(
    session: Session,
    model: type[Planting],
    values: Mapping[str, Any],
    *,
    now: int,
    effective_ms: int | None = None,
    chosen_id: uuid.UUID | None = None,
) -> Planting:
    """A new planting; each of its reviews that still lies ahead becomes a task. Raises Invalid."""
    told = dict(values)
    days = told.pop("review_days", None)
    row = create(session, model, {**told, "reviews": []}, now=now, chosen_id=chosen_id)
    row.reviews = _reviews(session, row, DEFAULT_REVIEW_DAYS if days is None else days, now)
    session.flush()
    session.refresh(row)
    return row


def _reviews(session: Session, row: Planting, days: Sequence[int], now: int) -> list[dict[str, str]]:
    where = room_zone(session)
    planted = day_of(row.planted_at_ms, where)
    found = []
    for count in sorted(set(days)):
        on = planted + timedelta(days=count)
        if on < day_of(now, where):
            continue  # entered late: what is past can't be looked at
        title = f"Look at the {row.kind.name} planted {planted.isoformat()}"
        task = create_task(
            session,
            Task,
            {
                "title": f"{title}: {row.spot}"[:200] if row.spot else title,
                "about": row.place.path,
                "instructions": "Does it hold? Tell what you see as an event of the planting.",
                "schedule": {"kind": "once", "due": f"{on.isoformat()}T{REVIEW_CLOCK}"},
            },
            now=now,
        )
        found.append({"on": on.isoformat(), "task": str(task.id)})
    return found


def end_reviews(session: Session, planting: Planting, *, now: int) -> None:
    """Nothing is left to look at: the reviews that nobody has done are retired."""
    for task in _review_tasks(session, planting):
        if task.retired_at_ms is None and task.open_name is not None:
            edit_task(session, task, {"retired_at_ms": now}, now=now)


def take_up_reviews(session: Session, planting: Planting, *, now: int) -> None:
    """It stands after all: the reviews that were retired and still lie ahead are due again."""
    today = day_of(now, room_zone(session)).isoformat()
    ahead = {one["task"] for one in planting.reviews if one["on"] >= today}
    for task in _review_tasks(session, planting):
        if task.retired_at_ms is not None and str(task.id) in ahead:
            edit_task(session, task, {"retired_at_ms": None}, now=now)


def unplant(session: Session, row: Planting, *, now: int) -> None:
    """Delete a planting that has no events, as if it had not been entered. Raises Conflict.

    Its reviews go with it; what was done of them stays, and nothing of it is due any more.
    """
    tasks = _review_tasks(session, row)
    remove(session, row)
    for task in tasks:
        if not dependents(session, task):
            remove(session, task)
        elif task.retired_at_ms is None:
            edit_task(session, task, {"retired_at_ms": now}, now=now)


def _review_tasks(session: Session, planting: Planting) -> Sequence[Task]:
    wanted = [uuid.UUID(one["task"]) for one in planting.reviews]
    return session.scalars(sa.select(Task).where(Task.id.in_(wanted)).order_by(Task.id)).unique().all()
