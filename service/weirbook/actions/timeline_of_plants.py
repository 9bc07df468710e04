"""Timeline: plants put in, and what happened to them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import sqlalchemy as sa

from weirbook.actions.told import Look, Told, capital, plain, rows_within, sentence
from weirbook.record.plants import Planting, PlantingEvent


def plantings(look: Look) -> Iterator[Told]:
    """Plants that were put in."""
    kinds, called = look.handles("plant_kind"), look.names("plant_kind")
    names = ("id", "kind_id", "place_id", "spot", "method", "planted_at_ms", "pieces", "words")
    column = Planting.__table__.c
    for number, kind_id, place_id, spot, method, at_ms, pieces, words in rows_within(
        look, Planting, "planted_at_ms", names, column.place_id.in_(look.places)
    ):
        if look.belongs.held(place_id, at_ms):
            count = "" if pieces is None else f"{pieces} "
            yield Told(
                at_ms,
                "planting",
                look.paths[place_id],
                sentence(f"Planted {count}{called[kind_id]} ({plain(method)})", spot, words),
                f"/v1/plantings/{number}",
                "planting",
                about=kinds[kind_id],
                facts={"called": called[kind_id]},
            )


def planting_events(look: Look) -> Iterator[Told]:
    """What happened to plants: moved, uprooted, trimmed, lost and the like, where each stood at the time."""
    kinds, called = look.handles("plant_kind"), look.names("plant_kind")
    event, planting = PlantingEvent.__table__.c, Planting.__table__.c
    columns = (event.id, event.planting_id, event.kind, event.happened_at_ms, event.by, event.to_place_id)
    asked = (
        sa.select(*columns, event.wet_mass, event.words, planting.kind_id, planting.place_id)
        .select_from(PlantingEvent.__table__)
        .join(
            Planting.__table__,
            sa.and_(planting.room_id == event.room_id, planting.id == event.planting_id),
        )
        .where(event.room_id == look.room_id, event.happened_at_ms < look.end_ms)
        .order_by(event.happened_at_ms, event.id)
    )
    stands: dict[Any, int] = {}
    for number, of, kind, at_ms, by, to_id, wet, words, plant, planted_in in look.session.execute(asked):
        before = stands.get(of, planted_in)
        stands[of] = before if to_id is None else to_id
        if not look.inside(at_ms):
            continue
        place_id = stands[of] if look.belongs.held(stands[of], at_ms) else before
        if look.belongs.held(place_id, at_ms):
            doer = "" if by is None else f" (by: {by})"
            way = "" if to_id is None else f" to {look.paths[to_id]}"
            mass = "" if wet is None else f", {wet.text()}"
            yield Told(
                at_ms,
                "planting_event",
                look.paths[place_id],
                sentence(f"{capital(called[plant])} {plain(kind)}{way}{mass}{doer}", words),
                f"/v1/planting-events/{number}",
                "planting event",
                about=f"{kinds[plant]} {kind}",
                facts={"event": kind},
            )
