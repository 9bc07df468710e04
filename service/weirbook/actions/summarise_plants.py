"""What happened to plants in a stretch of time: plantings, losses, harvests."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.engine.inputs import six
from weirbook.engine.times import instant_text
from weirbook.engine.units import Quantity
from weirbook.record.planted import Life, kinds_of, lives_of, paths_of
from weirbook.record.plants import CUTS, ENDS, REPLANTED, Planting, PlantingEvent


def plants_of_week(
    session: Session, start_ms: int, end_ms: int, inside: Callable[[int], bool]
) -> dict[str, list[dict[str, Any]]]:
    """Plantings, losses (uprooted and removed ones among them) and harvests from start up to but without end.

    `inside` tells of a place's number whether it is asked about; each counts in the place where it happened.
    """
    planted = _between(session, Planting, Planting.planted_at_ms, start_ms, end_ms)
    events = _between(session, PlantingEvent, PlantingEvent.happened_at_ms, start_ms, end_ms)
    if not planted and not events:
        return {"plantings": [], "losses": [], "harvests": []}
    kinds, paths = kinds_of(session), paths_of(session)
    concerned = list({*(one.id for one in planted), *(one.planting_id for one in events)})
    lives = {one.planting_id: one for one in lives_of(session, concerned)}

    def row(life: Life, at_ms: int, **said: Any) -> Iterator[dict[str, Any]]:
        stay = next(one for one in reversed(life.stays) if one.from_ms <= at_ms)
        if inside(stay.place_id):
            yield {
                "planting": str(life.planting_id),
                "kind": kinds[life.kind_id].handle,
                "place": paths[stay.place_id],
                "spot": stay.spot,
                "method": stay.method,
                "at": instant_text(at_ms),
                **said,
            }

    put_in = [(one.planted_at_ms, lives[one.id], False) for one in planted]
    put_in += [(one.happened_at_ms, lives[one.planting_id], True) for one in events if one.kind == REPLANTED]
    return {
        "plantings": [
            told
            for at_ms, life, again in sorted(put_in, key=lambda one: (one[0], one[1].planting_id))
            for told in row(life, at_ms, again=again)
        ],
        "losses": [
            told
            for one in events
            if one.kind in ENDS
            for told in row(lives[one.planting_id], one.happened_at_ms, outcome=one.kind, by=one.by)
        ],
        "harvests": [
            told
            for one in events
            if one.kind in CUTS and one.wet_mass is not None
            for told in row(
                lives[one.planting_id], one.happened_at_ms, wet_mass=_grams(one.wet_mass), cover=_cover(one)
            )
        ],
    }


def _grams(mass: Quantity) -> dict[str, Any]:
    shown = mass.to("g", "mass")
    return {"value": six(shown.value), "unit": "g"}


def _cover(event: PlantingEvent) -> Any:
    return None if event.cover is None else event.cover.as_json()


def _between(session: Session, model: Any, instant: Any, start_ms: int, end_ms: int) -> list[Any]:
    asked = sa.select(model).where(instant >= start_ms, instant < end_ms).order_by(instant, model.id)
    return list(session.scalars(asked).unique())
