"""Named queries on long stretches of readings, answered inside the database: extremes, turns of contacts, gaps, days."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from sqlalchemy.orm import Session

from weirbook.engine.relations.rollups import HOUR_MS
from weirbook.record.database import fetch, room_of
from weirbook.record.gauging import CHUNK, hour_range
from weirbook.record.readings import IMPLAUSIBLE

_COUNTS = (
    f"(r.mark & {IMPLAUSIBLE}) = 0 AND NOT EXISTS (SELECT 1 FROM exclusion x WHERE x.room_id = ? "
    "AND x.gauge_id = ? AND x.from_ms <= r.at_ms AND x.to_ms > r.at_ms)"
)


class Extremes(NamedTuple):
    """The lowest and highest of a gauge's hours, the first reading, and how many told only a bound."""

    low: float
    high: float
    first_ms: int
    qualified: int


class Day(NamedTuple):
    """24 hours of a gauge's readings: when they begin, mean of all, lowest, highest, how many."""

    start_ms: int
    mean: float
    low: float
    high: float
    n: int


def extremes(session: Session, gauge_ids: Sequence[int], first: int, end: int) -> dict[int, Extremes]:
    """Of the epoch hours from `first` up to but without `end`, by gauge; gauges without any are left out."""
    found: dict[int, Extremes] = {}
    for start in range(0, len(gauge_ids), CHUNK):
        some = gauge_ids[start : start + CHUNK]
        rows = fetch(
            session,
            "SELECT gauge_id, min(low), max(high), min(first_ms), sum(qualified) FROM reading_hour "
            f"WHERE room_id = ? AND gauge_id IN ({', '.join('?' * len(some))}) AND hour >= ? AND hour < ? AND n > 0 "
            "GROUP BY gauge_id",
            (room_of(session), *some, first, end),
        )
        found.update((row[0], Extremes(*row[1:])) for row in rows)
    return found


def turns(session: Session, gauge_id: int, start_ms: int, end_ms: int) -> list[tuple[int, float]]:
    """The readings of a contact that differ from the one before, and the first, from start up to but without end."""
    room = room_of(session)
    rows = fetch(
        session,
        "SELECT at_ms, value FROM (SELECT r.at_ms AS at_ms, r.value AS value, "
        "LAG(r.value) OVER (ORDER BY r.at_ms) AS earlier FROM reading r WHERE r.room_id = ? AND r.gauge_id = ? "
        f"AND r.at_ms >= ? AND r.at_ms < ? AND {_COUNTS}) AS seen WHERE earlier IS NULL OR earlier <> value "
        "ORDER BY at_ms",
        (room, gauge_id, start_ms, end_ms, room, gauge_id),
    )
    return [(at_ms, value) for at_ms, value in rows]


def turned_before(session: Session, gauge_id: int, instant: int, value: float) -> list[tuple[int, float]]:
    """If a contact read `value` last before an instant, since when it did; else nothing."""
    room, counts = room_of(session), (room_of(session), gauge_id)
    latest = fetch(
        session,
        f"SELECT r.at_ms, r.value FROM reading r WHERE r.room_id = ? AND r.gauge_id = ? AND r.at_ms < ? AND {_COUNTS} "
        "ORDER BY r.at_ms DESC LIMIT 1",
        (room, gauge_id, instant, *counts),
    )
    if not latest or latest[0][1] != value:
        return []
    other = fetch(
        session,
        "SELECT max(r.at_ms) FROM reading r WHERE r.room_id = ? AND r.gauge_id = ? AND r.at_ms < ? "
        f"AND r.value <> ? AND {_COUNTS}",
        (room, gauge_id, instant, value, *counts),
    )
    since = -(1 << 60) if other[0][0] is None else other[0][0]
    first = fetch(
        session,
        "SELECT min(r.at_ms) FROM reading r WHERE r.room_id = ? AND r.gauge_id = ? AND r.at_ms > ? AND r.at_ms < ? "
        f"AND {_COUNTS}",
        (room, gauge_id, since, instant, *counts),
    )
    return [(first[0][0], value)]


def gaps(
    session: Session, gauge_id: int, start_ms: int, end_ms: int, longest_ms: int
) -> list[tuple[int, int | None]]:
    """Stretches longer than `longest_ms` without a reading that reach into the span, whole; no end: to its end.

    By the rollups of hours: a gap within one hour is not seen.
    """
    room, (first, end) = room_of(session), hour_range(start_ms, end_ms)
    before = fetch(
        session,
        "SELECT max(hour) FROM reading_hour WHERE room_id = ? AND gauge_id = ? AND hour < ? AND n > 0",
        (room, gauge_id, first),
    )[0][0]
    # Compared here: a window function over a year of hours takes SQLite longer.
    heard = fetch(
        session,
        "SELECT first_ms, last_ms FROM reading_hour WHERE room_id = ? AND gauge_id = ? AND hour >= ? AND hour < ? "
        "AND n > 0 ORDER BY hour",
        (room, gauge_id, first if before is None else before, end + 1),
    )
    found: list[tuple[int, int | None]] = [
        (one, two)
        for (_, one), (two, _) in pairwise(heard)
        if two - one > longest_ms and two > start_ms and one < end_ms
    ]
    last = next((last_ms for first_ms, last_ms in reversed(heard) if first_ms < end_ms), None)
    if (
        last is not None
        and end_ms - last > longest_ms
        and not any(two is None or two > end_ms for _, two in found)
    ):
        later = fetch(
            session,
            "SELECT min(first_ms) FROM reading_hour WHERE room_id = ? AND gauge_id = ? AND hour >= ? AND n > 0",
            (room, gauge_id, end),
        )[0][0]
        found.append((last, later))
    return found


def days(session: Session, gauge_ids: Sequence[int], start_ms: int, end_ms: int) -> dict[int, list[Day]]:
    """Each gauge's days of 24 hours that end with the last full hour before `end_ms`, oldest first, from hours' rollups.

    Each reading counts alike. What follows the last full hour begins a day of its own.
    """
    first, end = hour_range(start_ms, end_ms)
    shift = -((end_ms - 1) // HOUR_MS) % 24
    found: dict[int, list[Day]] = defaultdict(list)
    for start in range(0, len(gauge_ids), CHUNK):
        some = gauge_ids[start : start + CHUNK]
        rows = fetch(
            session,
            "SELECT gauge_id, day, sum(total) / sum(n), min(low), max(high), sum(n) FROM ("
            "SELECT gauge_id, (hour + ?) / 24 AS day, total, n, low, high FROM reading_hour WHERE room_id = ? "
            f"AND gauge_id IN ({', '.join('?' * len(some))}) AND hour >= ? AND hour < ? AND n > 0) AS hours "
            "GROUP BY gauge_id, day ORDER BY gauge_id, day",
            (shift, room_of(session), *some, first, end),
        )
        for gauge_id, day, *figures in rows:
            found[gauge_id].append(Day((day * 24 - shift) * HOUR_MS, *figures))
    return found
