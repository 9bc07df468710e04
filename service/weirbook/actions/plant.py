"""Put a plant in with its reviews made tasks, tell what happened to it, and how it stands."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.create import create
from weirbook.actions.plan_task import create_task, room_zone
from weirbook.engine.times import day_of, instant_text
from weirbook.engine.units import Quantity
from weirbook.errors import Invalid
from weirbook.record.plants import (
    HARVESTED,
    LOST,
    MOVED,
    REPLANTED,
    TRIMMED,
    UPROOTED,
    Planting,
    PlantingEvent,
)
from weirbook.record.tasks import Task

DEFAULT_REVIEW_DAYS = (1, 7)
"""Common practice (no source): a day for what gets dug up, a week for what adapts."""
REVIEW_CLOCK = "18:00"
STANDS = "stands"


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
        task = create_task(
            session,
            Task,
            {
                "title": f"Look at the {row.kind.name} planted {planted.isoformat()}"
                + (f": {row.spot}" if row.spot else ""),
                "about": row.place.path,
                "instructions": "Does it hold? Tell what you see as an event of the planting.",
                "schedule": {"kind": "once", "due": f"{on.isoformat()}T{REVIEW_CLOCK}"},
            },
            now=now,
        )
        found.append({"on": on.isoformat(), "task": str(task.id)})
    return found


def tell_event(
    session: Session,
    model: type[PlantingEvent],
    values: Mapping[str, Any],
    *,
    now: int,
    effective_ms: int | None = None,
    chosen_id: uuid.UUID | None = None,
) -> PlantingEvent:
    """An event of a planting. Raises Invalid for one after its loss."""
    event = create(session, model, values, now=now, chosen_id=chosen_id)
    lost = next(
        (
            one
            for one in events_of(session, event.planting_id)
            if one.kind == LOST and one.id != event.id and one.happened_at_ms <= event.happened_at_ms
        ),
        None,
    )
    if lost is not None:
        words = f"It was lost at {instant_text(lost.happened_at_ms)} ({lost.id}): plant anew, or correct that event."
        raise Invalid(words, "/happened_at")
    return event


def events_of(session: Session, planting_id: uuid.UUID) -> Sequence[PlantingEvent]:
    """What happened to a planting, oldest first."""
    asked = (
        sa.select(PlantingEvent)
        .where(PlantingEvent.planting_id == planting_id)
        .order_by(PlantingEvent.happened_at_ms, PlantingEvent.created_at_ms, PlantingEvent.id)
    )
    return session.scalars(asked).unique().all()


def planting_state(session: Session, row: Planting) -> dict[str, Any]:
    """How a planting stands by its events, as the API shows it."""
    state, ended, place, cover, taken = STANDS, None, row.place, row.cover, 0.0
    for event in events_of(session, row.id):
        if event.kind in (LOST, UPROOTED):
            state, ended = event.kind, event.happened_at_ms
        elif event.kind in (MOVED, REPLANTED):
            state, ended = STANDS, None
            place = event.to_place or place
        if event.kind in (TRIMMED, HARVESTED) and event.wet_mass is not None:
            taken += event.wet_mass.si("mass")
        cover = event.cover if event.cover is not None else cover
    return {
        "state": state,
        "ended_at": None if ended is None else instant_text(ended),
        "stands_in": place.path,
        "cover_now": None if cover is None else cover.as_json(),
        "harvested": Quantity(taken, "kg").to("g", "mass").as_json() if taken else None,
    }
