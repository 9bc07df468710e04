"""What was wanted of gauges over a stretch of time: targets of the places each stood in at the time."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy.orm import Session

from weirbook.engine.relations.windows import Band
from weirbook.record.database import fetch, room_of
from weirbook.record.equipment import Gauge
from weirbook.record.targets import bands
from weirbook.record.whereabouts import whereabouts


def bands_over(
    session: Session, gauges: Sequence[Gauge], start_ms: int, end_ms: int
) -> dict[int, list[Band]]:
    """For each gauge its bands, oldest first, in its own unit; a tank that moved took on its new system's targets
    from then on."""
    edges = [start_ms, *_moves(session, start_ms, end_ms), end_ms]
    found: dict[int, list[Band]] = {gauge.id: [] for gauge in gauges}
    for index, (from_ms, to_ms) in enumerate(itertools.pairwise(edges)):
        where = whereabouts(session, from_ms if index else max(from_ms, to_ms - 1))
        told = bands(session, gauges, {gauge.id: where.chain(gauge.place_id) for gauge in gauges})
        last = index == len(edges) - 2
        for gauge_id, some in told.items():
            found[gauge_id] += _within(some, from_ms if index else 0, None if last else to_ms)
    return found


def _moves(session: Session, start_ms: int, end_ms: int) -> Sequence[int]:
    """When a tank came into another system, inside the stretch."""
    rows = fetch(
        session,
        "SELECT DISTINCT from_ms FROM tank_system WHERE room_id = ? AND from_ms > ? AND from_ms < ? ORDER BY from_ms",
        (room_of(session), start_ms, end_ms),
    )
    return [from_ms for (from_ms,) in rows]


def _within(some: Sequence[Band], from_ms: int, to_ms: int | None) -> list[Band]:
    """The bands of one period: the one in force at its start begins there anew."""
    begun = [band for band in some if band.from_ms <= from_ms]
    inside = [band for band in some if band.from_ms > from_ms and (to_ms is None or band.from_ms < to_ms)]
    if not begun:
        return [Band(from_ms, None, None), *inside] if from_ms else inside
    return [replace(begun[-1], from_ms=from_ms) if from_ms else begun[-1], *inside]
