"""Named queries on readings and their rollups, by plain SQL: the hot paths.

`gauges` are asked with IN, never BETWEEN, which makes SQLite scan the whole table.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.engine.relations.rollups import HOUR_MS, Hour, Point
from weirbook.record.database import fetch, room_of, run
from weirbook.record.equipment import Gauge
from weirbook.record.readings import IMPLAUSIBLE, QUALIFIED

NO_END = 1 << 60
CHUNK = 400
"""Values in one IN list: well under every engine's cap on parameters."""
SPANS = 60
"""Look-ups in one statement, six values each."""

_HOUR_COLUMNS = ", ".join(Hour._fields)


class Row(NamedTuple):
    """One stored reading."""

    gauge_id: int
    at_ms: int
    value: float
    mark: int


_as_hour: Callable[[Iterable[Any]], Hour] = partial(tuple.__new__, Hour)
_as_row: Callable[[Iterable[Any]], Row] = partial(tuple.__new__, Row)
_as_point: Callable[[Iterable[Any]], Point] = partial(tuple.__new__, Point)
"""`_make` without its check of the length, which the query settles."""


def _marks(count: int) -> str:
    return ", ".join("?" * count)


def present(session: Session, gauge_id: int, instants: Sequence[int]) -> dict[int, Row]:
    """The readings a gauge already has at these instants."""
    found: dict[int, Row] = {}
    for start in range(0, len(instants), CHUNK):
        some = instants[start : start + CHUNK]
        rows = fetch(
            session,
            "SELECT gauge_id, at_ms, value, mark FROM reading "
            f"WHERE room_id = ? AND gauge_id = ? AND at_ms IN ({_marks(len(some))})",
            (room_of(session), gauge_id, *some),
        )
        found.update((row[1], Row(*row)) for row in rows)
    return found


def bounds(session: Session, gauge_id: int, instants: Sequence[int]) -> dict[int, tuple[float, float]]:
    """Low and high of the readings given as a range."""
    found: dict[int, tuple[float, float]] = {}
    for start in range(0, len(instants), CHUNK):
        some = instants[start : start + CHUNK]
        rows = fetch(
            session,
            "SELECT at_ms, low, high FROM reading_bounds "
            f"WHERE room_id = ? AND gauge_id = ? AND at_ms IN ({_marks(len(some))})",
            (room_of(session), gauge_id, *some),
        )
        found.update((row[0], (row[1], row[2])) for row in rows)
    return found


def lock_gauges(session: Session, ids: Iterable[int]) -> None:
    """Make writers to the same gauges wait for each other (two adding to one hour would lose one of two).

    SQLite has one writer at a time already.
    """
    if session.connection().dialect.name == "sqlite":
        return
    asked = sa.select(Gauge.id).where(Gauge.room_id == room_of(session), Gauge.id.in_(sorted(ids)))
    session.execute(asked.order_by(Gauge.id).with_for_update(key_share=True, of=Gauge)).all()


def add(session: Session, rows: Sequence[Row]) -> None:
    """Store readings that are known not to be there yet."""
    room_id = room_of(session)
    add_rows(session, [(room_id, *row) for row in rows])


def add_rows(session: Session, rows: Sequence[tuple[int, int, int, float, int]]) -> None:
    """Likewise, each with its room before it: as the table's columns are."""
    run(session, "INSERT INTO reading (room_id, gauge_id, at_ms, value, mark) VALUES (?, ?, ?, ?, ?)", rows)


def add_bounds(session: Session, rows: Sequence[tuple[int, int, float, float]]) -> None:
    """Store low and high of readings given as a range: (gauge, instant, low, high)."""
    room_id = room_of(session)
    run(
        session,
        "INSERT INTO reading_bounds (room_id, gauge_id, at_ms, low, high) VALUES (?, ?, ?, ?, ?)",
        [(room_id, *row) for row in rows],
    )


def replace(session: Session, row: Row) -> None:
    """Put another value in the place of a stored reading; its former bounds go."""
    key = (room_of(session), row.gauge_id, row.at_ms)
    run(
        session,
        "UPDATE reading SET value = ?, mark = ? WHERE room_id = ? AND gauge_id = ? AND at_ms = ?",
        [(row.value, row.mark, *key)],
    )
    run(session, "DELETE FROM reading_bounds WHERE room_id = ? AND gauge_id = ? AND at_ms = ?", [key])


def between(
    session: Session, gauge_id: int, start_ms: int, end_ms: int, *, limit: int | None = None
) -> list[Row]:
    """A gauge's readings from start up to but without end, in time order."""
    rows = fetch(
        session,
        "SELECT gauge_id, at_ms, value, mark FROM reading "
        "WHERE room_id = ? AND gauge_id = ? AND at_ms >= ? AND at_ms < ? ORDER BY at_ms"
        + ("" if limit is None else f" LIMIT {limit:d}"),
        (room_of(session), gauge_id, start_ms, end_ms),
    )
    return list(map(_as_row, rows))


def instants_between(session: Session, gauge_id: int, start_ms: int, end_ms: int) -> set[int]:
    """The instants of a gauge's readings from start up to but without end."""
    asked = "SELECT at_ms FROM reading WHERE room_id = ? AND gauge_id = ? AND at_ms >= ? AND at_ms < ?"
    return {row[0] for row in fetch(session, asked, (room_of(session), gauge_id, start_ms, end_ms))}


def last_in_each(session: Session, gauge_id: int, spans: Sequence[tuple[int, int]]) -> list[Row]:
    """The last reading of a gauge within each half-open span that is neither implausible nor excluded.

    A look-up a span, however many readings it holds; spans without one give no row.
    """
    room = room_of(session)
    asked = (
        "SELECT * FROM (SELECT r.gauge_id, r.at_ms, r.value, r.mark FROM reading r WHERE r.room_id = ? AND r.gauge_id = ? "
        f"AND r.at_ms >= ? AND r.at_ms < ? AND (r.mark & {IMPLAUSIBLE}) = 0 AND NOT EXISTS (SELECT 1 FROM exclusion x "
        "WHERE x.room_id = ? AND x.gauge_id = ? AND x.from_ms <= r.at_ms AND x.to_ms > r.at_ms) "
        "ORDER BY r.at_ms DESC LIMIT 1) AS one"
    )
    found: list[Row] = []
    for start in range(0, len(spans), SPANS):
        some = spans[start : start + SPANS]
        values = [one for span in some for one in (room, gauge_id, *span, room, gauge_id)]
        found += map(_as_row, fetch(session, " UNION ALL ".join([asked] * len(some)), values))
    return found


def hours_read(session: Session, gauge_id: int, first: int, end: int) -> list[int]:
    """The epoch hours from `first` up to but without `end` in which a gauge gave readings that count."""
    asked = "SELECT hour FROM reading_hour WHERE room_id = ? AND gauge_id = ? AND hour >= ? AND hour < ?"
    return [row[0] for row in fetch(session, asked, (room_of(session), gauge_id, first, end))]


def last_instants(session: Session, gauge_ids: Sequence[int]) -> dict[int, int]:
    """When each gauge last reported; gauges that never did are left out."""
    found: dict[int, int] = {}
    for start in range(0, len(gauge_ids), CHUNK):
        some = gauge_ids[start : start + CHUNK]
        rows = fetch(
            session,
            "SELECT g.id, (SELECT max(r.at_ms) FROM reading r WHERE r.room_id = ? AND r.gauge_id = g.id) "
            f"FROM gauge g WHERE g.room_id = ? AND g.id IN ({_marks(len(some))})",
            (room_of(session), room_of(session), *some),
        )
        found.update((row[0], row[1]) for row in rows if row[1] is not None)
    return found


def last_that_count(session: Session, gauge_ids: Sequence[int], at_ms: int) -> dict[int, int]:
    """When each gauge last gave, up to an instant, a reading that is neither implausible nor excluded.

    Gauges that never did are left out.
    """
    found: dict[int, int] = {}
    room = room_of(session)
    for start in range(0, len(gauge_ids), CHUNK):
        some = gauge_ids[start : start + CHUNK]
        rows = fetch(
            session,
            "SELECT g.id, (SELECT r.at_ms FROM reading r WHERE r.room_id = ? AND r.gauge_id = g.id "
            f"AND r.at_ms <= ? AND (r.mark & {IMPLAUSIBLE}) = 0 AND NOT EXISTS (SELECT 1 FROM exclusion x "
            "WHERE x.room_id = ? AND x.gauge_id = g.id AND x.from_ms <= r.at_ms AND x.to_ms > r.at_ms) "
            f"ORDER BY r.at_ms DESC LIMIT 1) FROM gauge g WHERE g.room_id = ? AND g.id IN ({_marks(len(some))})",
            (room, at_ms, room, room, *some),
        )
        found.update((row[0], row[1]) for row in rows if row[1] is not None)
    return found


def hours(session: Session, gauge_ids: Sequence[int], first: int, end: int) -> dict[int, list[Hour]]:
    """Rollups of the epoch hours from `first` up to but without `end`, in order, for each gauge that has any.

    A query a gauge gives rows of an Hour's shape, which saves more than it costs.
    """
    room_id = room_of(session)
    asked = (
        f"SELECT {_HOUR_COLUMNS} FROM reading_hour "
        "WHERE room_id = ? AND gauge_id = ? AND hour >= ? AND hour < ? ORDER BY hour"
    )
    return {
        gauge_id: list(map(_as_hour, rows))
        for gauge_id in gauge_ids
        if (rows := fetch(session, asked, (room_id, gauge_id, first, end)))
    }


def hours_of(session: Session, gauge_id: int, numbers: Iterable[int]) -> dict[int, Hour]:
    """Rollups of these epoch hours of one gauge."""
    found: dict[int, Hour] = {}
    wanted = sorted(numbers)
    for start in range(0, len(wanted), CHUNK):
        some = wanted[start : start + CHUNK]
        rows = fetch(
            session,
            f"SELECT {_HOUR_COLUMNS} FROM reading_hour "
            f"WHERE room_id = ? AND gauge_id = ? AND hour IN ({_marks(len(some))})",
            (room_of(session), gauge_id, *some),
        )
        found.update((row[0], _as_hour(row)) for row in rows)
    return found


def hours_by_gauge(
    session: Session, gauge_ids: Sequence[int], first: int, end: int
) -> dict[tuple[int, int], Hour]:
    """Rollups of the epoch hours from `first` up to but without `end`, by gauge and hour."""
    found: dict[tuple[int, int], Hour] = {}
    for start in range(0, len(gauge_ids), CHUNK):
        some = gauge_ids[start : start + CHUNK]
        rows = fetch(
            session,
            f"SELECT gauge_id, {_HOUR_COLUMNS} FROM reading_hour "
            f"WHERE room_id = ? AND gauge_id IN ({_marks(len(some))}) AND hour >= ? AND hour < ?",
            (room_of(session), *some, first, end),
        )
        found.update(((row[0], row[1]), _as_hour(row[1:])) for row in rows)
    return found


def keep_hours(session: Session, gauge_id: int, rollups: Iterable[Hour]) -> None:
    """Write rollups, over any that are there."""
    keep_hours_of_gauges(session, [(gauge_id, hour) for hour in rollups])


def keep_hours_of_gauges(session: Session, rollups: Sequence[tuple[int, Hour]]) -> None:
    """Write rollups of several gauges, over any that are there."""
    fields = Hour._fields
    updates = ", ".join(f"{name} = excluded.{name}" for name in fields if name != "hour")
    room_id = room_of(session)
    if rollups:
        run(
            session,
            f"INSERT INTO reading_hour (room_id, gauge_id, {_HOUR_COLUMNS}) "
            f"VALUES (?, ?, {_marks(len(fields))}) "
            f"ON CONFLICT (room_id, gauge_id, hour) DO UPDATE SET {updates}",
            [(room_id, gauge_id, *hour) for gauge_id, hour in rollups],
        )


def drop_hours(session: Session, gauge_id: int, first: int, end: int) -> None:
    """Forget rollups from `first` up to but without `end`, before they are made anew."""
    run(
        session,
        "DELETE FROM reading_hour WHERE room_id = ? AND gauge_id = ? AND hour >= ? AND hour < ?",
        [(room_of(session), gauge_id, first, end)],
    )


def exclusions(
    session: Session, gauge_ids: Iterable[int], start_ms: int | None = None, end_ms: int | None = None
) -> dict[int, list[tuple[int, int]]]:
    """The excluded spans of each gauge, half-open; of a stretch of time those that touch it."""
    found: dict[int, list[tuple[int, int]]] = defaultdict(list)
    session.flush()  # an exclusion just made counts
    ids = sorted(gauge_ids)
    first = -NO_END if start_ms is None else start_ms
    end = NO_END if end_ms is None else end_ms
    for start in range(0, len(ids), CHUNK):
        some = ids[start : start + CHUNK]
        rows = fetch(
            session,
            f"SELECT gauge_id, from_ms, to_ms FROM exclusion WHERE room_id = ? AND gauge_id IN ({_marks(len(some))}) "
            "AND to_ms > ? AND from_ms < ?",
            (room_of(session), *some, first, end),
        )
        for gauge_id, from_ms, to_ms in rows:
            found[gauge_id].append((from_ms, to_ms))
    return found


Offsets = Sequence[tuple[int, float]]
"""What was added to a gauge's readings since when, ascending; empty where they always stood as taken."""


def offsets(session: Session, gauge_ids: Iterable[int]) -> dict[int, list[tuple[int, float]]]:
    """The offsets of the gauges that have or had any."""
    found: dict[int, list[tuple[int, float]]] = defaultdict(list)
    ids = sorted(gauge_ids)
    for start in range(0, len(ids), CHUNK):
        some = ids[start : start + CHUNK]
        rows = fetch(
            session,
            "SELECT subject_id, from_ms, value FROM gauge_offset "
            f"WHERE room_id = ? AND subject_id IN ({_marks(len(some))}) ORDER BY subject_id, from_ms",
            (room_of(session), *some),
        )
        for gauge_id, from_ms, value in rows:
            found[gauge_id].append((from_ms, value))
    return {gauge_id: spans for gauge_id, spans in found.items() if any(value for _, value in spans)}


def offset_at(spans: Offsets, at_ms: int) -> float:
    """What is added to a reading of that instant."""
    return next((value for from_ms, value in reversed(spans) if from_ms <= at_ms), 0.0)


def as_points(
    rows: Iterable[Row], excluded: Sequence[tuple[int, int]] = (), offsets: Offsets = ()
) -> list[Point]:
    """Stored readings as statistics take them: excluded spans left out, offsets added."""
    if excluded:
        rows = [row for row in rows if not any(from_ms <= row.at_ms < to_ms for from_ms, to_ms in excluded)]
    if offsets:
        rows = [row._replace(value=row.value + offset_at(offsets, row.at_ms)) for row in rows]
    return [
        Point(at_ms, value, bool(mark & QUALIFIED), bool(mark & IMPLAUSIBLE)) if mark else Point(at_ms, value)
        for _, at_ms, value, mark in rows
    ]


def points_between(
    session: Session,
    gauge_id: int,
    start_ms: int,
    end_ms: int,
    excluded: Sequence[tuple[int, int]],
    offsets: Offsets,
) -> list[Point]:
    """`as_points` of the readings from start up to but without end, which the query itself gives a Point's shape."""
    if excluded or offsets:
        return as_points(between(session, gauge_id, start_ms, end_ms), excluded, offsets)
    rows = fetch(
        session,
        f"SELECT at_ms, value, (mark & {QUALIFIED}) <> 0, (mark & {IMPLAUSIBLE}) <> 0 FROM reading "
        "WHERE room_id = ? AND gauge_id = ? AND at_ms >= ? AND at_ms < ? ORDER BY at_ms",
        (room_of(session), gauge_id, start_ms, end_ms),
    )
    return list(map(_as_point, rows))


def last_before(session: Session, gauge_id: int, instant: int, offsets: Offsets = ()) -> Point | None:
    """The last reading before an instant that enters statistics."""
    return _nearest(session, gauge_id, "r.at_ms < ?", "r.at_ms DESC", instant, offsets)


def first_from(session: Session, gauge_id: int, instant: int, offsets: Offsets = ()) -> Point | None:
    """The first reading from an instant on that enters statistics."""
    return _nearest(session, gauge_id, "r.at_ms >= ?", "r.at_ms", instant, offsets)


def _nearest(
    session: Session, gauge_id: int, where: str, order: str, instant: int, offsets: Offsets
) -> Point | None:
    rows = fetch(
        session,
        "SELECT r.gauge_id, r.at_ms, r.value, r.mark FROM reading r "
        f"WHERE r.room_id = ? AND r.gauge_id = ? AND {where} AND (r.mark & {IMPLAUSIBLE}) = 0 "
        "AND NOT EXISTS (SELECT 1 FROM exclusion x WHERE x.room_id = ? AND x.gauge_id = ? "
        f"AND x.from_ms <= r.at_ms AND x.to_ms > r.at_ms) ORDER BY {order} LIMIT 1",
        (room_of(session), gauge_id, instant, room_of(session), gauge_id),
    )
    points = as_points((Row(*row) for row in rows), (), offsets)
    return points[0] if points else None


def hour_range(start_ms: int, end_ms: int) -> tuple[int, int]:
    """The epoch hours that a window touches: first, and one past the last."""
    return start_ms // HOUR_MS, -(-end_ms // HOUR_MS)
