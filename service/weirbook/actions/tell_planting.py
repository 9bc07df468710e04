"""Tell what happened to a planting, correct that, take it back; and how the planting then stands."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.create import create
from weirbook.actions.edit import edit
from weirbook.actions.plant import end_reviews, take_up_reviews
from weirbook.actions.remove import remove
from weirbook.engine.times import instant_text
from weirbook.engine.units import Quantity
from weirbook.errors import Conflict, Invalid
from weirbook.record.database import room_of
from weirbook.record.planted import Life, Told, events_of, impossible, lives_of
from weirbook.record.plants import LOST, REMOVED, REPLANTED, STANDS, UPROOTED, Planting, PlantingEvent
from weirbook.record.rooms import clock_text

OVER = (LOST, REMOVED)


def tell_event(
    session: Session,
    model: type[PlantingEvent],
    values: Mapping[str, Any],
    *,
    now: int,
    effective_ms: int | None = None,
    chosen_id: uuid.UUID | None = None,
) -> PlantingEvent:
    """A new event of a planting, entered in any order.

    Raises Invalid where it can't follow what happened before, or what happened later could then not have.
    """
    _hold(session, values["planting"])
    event = create(session, model, values, now=now, chosen_id=chosen_id)
    _refuse_impossible(session, event)
    _settle_reviews(session, event.planting, before=STANDS, now=now)
    return event


def edit_event(
    session: Session,
    event: PlantingEvent,
    values: Mapping[str, Any],
    *,
    now: int,
    effective_ms: int | None = None,
) -> bool:
    """Correct an event; whether anything changed. Raises Invalid as `tell_event`."""
    _hold(session, str(event.planting_id))
    changed = edit(session, event, values, now=now)
    if changed:
        _refuse_impossible(session, event)
    return changed


def take_back_event(session: Session, event: PlantingEvent, *, now: int) -> None:
    """Delete an event that did not happen. Raises Conflict where what happened later rests on it."""
    _hold(session, str(event.planting_id))
    planting, before = event.planting, _life(session, event.planting_id).state
    remove(session, event)
    if (trouble := impossible(events_of(session, [planting.id])[planting.id])) is not None:
        later = _named(session, trouble[0])
        raise Conflict(f"Without it {later} could not have been: delete that first.", slug="has-records")
    _settle_reviews(session, planting, before=before, now=now)


def _hold(session: Session, planting_id: str) -> None:
    """Of two who tell of one planting at once, the second sees the first. One that is not there is refused elsewhere."""
    asked = sa.select(Planting.id).where(
        Planting.room_id == room_of(session), Planting.id == uuid.UUID(planting_id)
    )
    session.execute(asked.with_for_update(of=Planting))


def _settle_reviews(session: Session, planting: Planting, *, before: str, now: int) -> None:
    state = _life(session, planting.id).state
    if state in OVER:
        end_reviews(session, planting, now=now)
    elif before in OVER:
        take_up_reviews(session, planting, now=now)


def _life(session: Session, planting_id: uuid.UUID) -> Life:
    (life,) = lives_of(session, [planting_id])
    return life


def _refuse_impossible(session: Session, event: PlantingEvent) -> None:
    trouble = impossible(events_of(session, [event.planting_id])[event.planting_id])
    if trouble is None:
        return
    odd, state, since = trouble
    pointer = "/kind" if odd.id == event.id else "/happened_at"
    if odd.id != event.id:
        raise Invalid(f"Then {_named(session, odd)} could not have been: correct that first.", pointer)
    raise Invalid(_why_not(session, odd, state, since), pointer)


def _why_not(session: Session, odd: Told, state: str, since: Told | None) -> str:
    if state in OVER and since is not None:
        return f"It was {state} before: {_named(session, since)}. Plant anew, or correct that event."
    lay = "" if since is None else f" ({_named(session, since)})"
    if odd.kind == UPROOTED:
        return f"It was uprooted already{lay}. Tell first that it was {REPLANTED}."
    return (
        f"It lay uprooted then{lay}: tell first that it was {REPLANTED}, or that it was {REMOVED} or {LOST}."
    )


def _named(session: Session, event: Told) -> str:
    when = clock_text(session, room_of(session), event.happened_at_ms)
    return f"the event '{event.kind}' of {when} ({event.id})"


def planting_state(life: Life, paths: Mapping[int, str]) -> dict[str, Any]:
    """How a planting stands by its events, as the API shows it."""
    return {
        "state": life.state,
        "ended_at": None if life.ended_ms is None else instant_text(life.ended_ms),
        "stands_in": paths[life.last.place_id],
        "spot_now": life.last.spot,
        "method_now": life.last.method,
        "cover_now": None if life.cover is None else life.cover.as_json(),
        "harvested": Quantity(life.taken_off, "kg").to("g", "mass").as_json() if life.cuts else None,
    }
