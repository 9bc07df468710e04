"""What can be wrong with a stored record, found by queries that write nothing: a room at a time, but for the file."""

from __future__ import annotations

from collections import Counter as Tally
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.engine.relations.rollups import HOUR_MS
from weirbook.engine.times import instant_text
from weirbook.record.base import Base, Named, Span
from weirbook.record.database import fetch, room_of
from weirbook.record.fish import StockEntry
from weirbook.record.open_files import LONGEST
from weirbook.record.places import PLACES, Place
from weirbook.record.readings import BETWEEN
from weirbook.record.tables import METADATA
from weirbook.record.tasks import TaskSchedule

PAUSED = frozenset({TaskSchedule.__tablename__})
"""States that end while their subject is retired, go on after it, and may end at the instant they began."""


@dataclass(frozen=True)
class Flaw:
    """One thing that is wrong: of which kind, in words, and in which room (None: the database as a whole)."""

    kind: str
    words: str
    room: str | None = None


def integrity_flaws(session: Session) -> list[str]:
    """What SQLite says of its file; nothing of PostgreSQL, which has no such question."""
    if session.connection().dialect.name != "sqlite":
        return []
    try:
        said = [str(row[0]) for row in session.connection().exec_driver_sql("PRAGMA integrity_check")]
    except sa.exc.DatabaseError as trouble:
        return [str(trouble.orig)]
    return [] if said == ["ok"] else said


def keys_broken_in_file(session: Session) -> Tally[tuple[str, str]]:
    """How many rows of a table point at nothing in another, by SQLite's own count over all rooms.

    PostgreSQL enforces keys itself and has no such question.
    """
    if session.connection().dialect.name != "sqlite":
        return Tally()
    rows = session.connection().exec_driver_sql("PRAGMA foreign_key_check")
    return Tally((str(table), str(parent)) for table, _, parent, _ in rows)


def orphans(session: Session) -> Iterator[tuple[str, str, int]]:
    """Rows of the room that point at nothing: their table, the table pointed at, how many."""
    for table in METADATA.sorted_tables:
        for key in sorted(table.foreign_key_constraints, key=lambda one: tuple(one.column_keys)):
            there = key.referred_table.alias("there")
            ends = [(table.c[name], there.c[end.column.name]) for name, end in _ends(key)]
            found = sa.select(sa.literal(1)).where(*(column == end for column, end in ends))
            asked = _count(table).where(*(column.is_not(None) for column, _ in ends), ~found.exists())
            if count := session.connection().execute(asked, {"room": room_of(session)}).scalar_one():
                yield table.name, key.referred_table.name, count


def _ends(key: sa.ForeignKeyConstraint) -> list[tuple[str, sa.ForeignKey]]:
    return list(zip(key.column_keys, key.elements, strict=True))


def _count(table: sa.Table) -> sa.Select[Any]:
    return sa.select(sa.func.count()).select_from(table).where(table.c.room_id == sa.bindparam("room"))


def place_flaws(session: Session) -> Iterator[str]:
    """Places whose own part is missing, which no foreign key forbids."""
    place = METADATA.tables[Place.__tablename__]
    for model in PLACES:
        part = METADATA.tables[model.__tablename__]
        there = sa.select(sa.literal(1)).where(part.c.room_id == place.c.room_id, part.c.id == place.c.id)
        asked = _count(place).where(place.c.noun == model.NOUN, ~there.exists())
        if count := session.connection().execute(asked, {"room": room_of(session)}).scalar_one():
            yield f"Places that say {model.NOUN}, but have no row there: {count}."


def counter_flaws(session: Session) -> Iterator[str]:
    """Counters behind the highest number given, which would give a number again."""
    counters = _counters(session)
    numbered = [
        (mapper.local_table.name, "id", mapper.class_.COUNTER)  # type: ignore[attr-defined]
        for mapper in _mappers_of(Named)
        if mapper.inherits is None
    ]
    for name, column, noun in [*numbered, (StockEntry.__tablename__, "line", StockEntry.COUNTER)]:
        asked = f"SELECT max({column}) FROM {name} WHERE room_id = ?"
        highest = fetch(session, asked, (room_of(session),))[0][0]
        if (highest or 0) > counters.get(noun, 0):
            yield (
                f"The counter of {noun} stands at {counters.get(noun, 0)}, but number {highest} is given: "
                f"the next {noun} would get a number that is taken."
            )


def _counters(session: Session) -> dict[str, int]:
    return dict(fetch(session, "SELECT noun, next FROM counter WHERE room_id = ?", (room_of(session),)))


def _mappers_of(kind: type[Any]) -> list[sa.orm.Mapper[Any]]:
    found = [mapper for mapper in Base.registry.mappers if issubclass(mapper.class_, kind)]
    return sorted(found, key=lambda mapper: mapper.class_.__name__)


def range_flaws(session: Session) -> Iterator[str]:
    """Readings given as a range without low and high, low and high without their reading or its mark."""
    same = "o.room_id = b.room_id AND o.gauge_id = b.gauge_id AND o.at_ms = b.at_ms"
    for words, sql in (
        (
            "Ranges (low and high) without their reading: {}.",
            f"reading_bounds b WHERE b.room_id = ? AND NOT EXISTS (SELECT 1 FROM reading o WHERE {same})",
        ),
        (
            "Readings with low and high that are not marked as ranges: {}.",
            f"reading_bounds b WHERE b.room_id = ? AND EXISTS (SELECT 1 FROM reading o WHERE {same} "
            f"AND (o.mark & {BETWEEN}) = 0)",
        ),
        (
            "Readings marked as ranges, but without low and high: {}.",
            f"reading b WHERE b.room_id = ? AND (b.mark & {BETWEEN}) <> 0 "
            f"AND NOT EXISTS (SELECT 1 FROM reading_bounds o WHERE {same})",
        ),
    ):
        if count := fetch(session, f"SELECT count(*) FROM {sql}", (room_of(session),))[0][0]:
            yield words.format(count)


def span_flaws(session: Session) -> Iterator[str]:
    """Dated states that end before they begin, overlap, leave a hole, or of which none holds now."""
    for mapper in _mappers_of(Span):
        table = METADATA.tables[mapper.local_table.name]  # type: ignore[attr-defined]
        for subject, words in (*_misshapen(session, table), *_not_open(session, table)):
            yield f"{table.name} of {_known_as(session, table, subject)}: {words}"


def _misshapen(session: Session, table: sa.Table) -> Iterator[tuple[Any, str]]:
    asked = sa.select(table.c.subject_id, table.c.from_ms, table.c.to_ms)
    asked = asked.where(table.c.room_id == room_of(session)).order_by(table.c.subject_id, table.c.from_ms)
    pauses, before = table.name in PAUSED, None
    for row in session.connection().execute(asked):
        subject, from_ms, to_ms = row
        if to_ms is not None and to_ms <= from_ms:
            if to_ms < from_ms or not pauses:
                yield subject, f"what holds from {instant_in_words(from_ms)} ends no later than it begins."
            continue
        if before is not None and before.subject_id == subject:
            if before.to_ms is None or before.to_ms > from_ms:
                yield subject, f"what holds from {instant_in_words(from_ms)} overlaps what held before."
            elif before.to_ms < from_ms and not pauses:
                yield (
                    subject,
                    f"nothing is told from {instant_in_words(before.to_ms)} to {instant_in_words(from_ms)}.",
                )
        before = row


def _not_open(session: Session, table: sa.Table) -> Iterator[tuple[Any, str]]:
    parent = _subjects(table)
    still = sa.select(sa.literal(1)).where(
        table.c.room_id == parent.c.room_id, table.c.subject_id == parent.c.id, table.c.to_ms.is_(None)
    )
    asked = sa.select(parent.c.id).where(parent.c.room_id == room_of(session), ~still.exists())
    if table.name in PAUSED:
        asked = asked.where(parent.c.retired_at_ms.is_(None))
    for subject in session.connection().scalars(asked.order_by(parent.c.id)):
        yield subject, "none holds now."


def _subjects(table: sa.Table) -> sa.Table:
    """The table of what a state is the state of."""
    return next(
        key.referred_table for key in table.foreign_key_constraints if key.column_keys[-1] == "subject_id"
    )


def _known_as(session: Session, table: sa.Table, subject: Any) -> str:
    """What a keeper calls the subject of a state."""
    parent = _subjects(table)
    named = parent if "handle" in parent.c or "title" in parent.c else METADATA.tables[Place.__tablename__]
    label = named.c.handle if "handle" in named.c else named.c.title
    asked = sa.select(label).where(named.c.room_id == room_of(session), named.c.id == subject)
    return f"{parent.name} {session.connection().scalar(asked) or subject}"


def instant_in_words(ms: int) -> str:
    """An instant, also one so far off that no calendar holds it."""
    return instant_text(ms) if abs(ms) <= LONGEST else f"{ms} ms after 1970"


def log_size(session: Session) -> int:
    """How many changes the room's log holds."""
    return int(fetch(session, "SELECT count(*) FROM change WHERE room_id = ?", (room_of(session),))[0][0])


def log_flaws(session: Session) -> Iterator[str]:
    """What is missing in the log of changes, whose numbers rise by one from 1 to its counter."""
    room = (room_of(session),)
    asked = "SELECT count(*), min(number), max(number) FROM change WHERE room_id = ?"
    count, lowest, highest = fetch(session, asked, room)[0]
    if count and lowest != 1:
        yield f"The log of changes begins with number {lowest} instead of 1."
    if count and (missing := highest - lowest + 1 - count):
        asked = (
            "SELECT min(c.number) FROM change c WHERE c.room_id = ? AND NOT EXISTS "
            "(SELECT 1 FROM change n WHERE n.room_id = c.room_id AND n.number = c.number + 1)"
        )
        after = fetch(session, asked, room)[0][0]
        yield f"The log of changes has holes: {missing} missing, the first after number {after}."
    counted = _counters(session).get("change", 0)
    if counted != (highest or 0):
        yield f"The log of changes ends with number {highest or 0}, but {counted} were written."


def gauges(session: Session) -> list[tuple[int, str]]:
    """Number and handle of every gauge of the room."""
    asked = "SELECT id, handle FROM gauge WHERE room_id = ? ORDER BY id"
    return [(number, handle) for number, handle in fetch(session, asked, (room_of(session),))]


def hours_spanned(session: Session, gauge_id: int) -> tuple[int, int] | None:
    """The epoch hours, first and one past the last, in which a gauge has readings or rollups; None without any.

    A minimum and a maximum a query: only then does SQLite look at the ends of an index alone.
    """
    values = (room_of(session), gauge_id)
    numbers = [
        found // unit
        for column, table, unit in (("at_ms", "reading", HOUR_MS), ("hour", "reading_hour", 1))
        for end in ("min", "max")
        for ((found,),) in [
            fetch(session, f"SELECT {end}({column}) FROM {table} WHERE room_id = ? AND gauge_id = ?", values)
        ]
        if found is not None
    ]
    return (min(numbers), max(numbers) + 1) if numbers else None
