"""How each engine finds words: an FTS5 table on SQLite, a tsvector with a GIN index on PostgreSQL.

Words come folded already, so that both find the same; neither parses text of people. Every word carries the number
of its room, so that an engine never reads what another room wrote, nor counts it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import sqlalchemy as sa
from sqlalchemy.dialects.postgresql import TSVECTOR
from sqlalchemy.orm import Mapped, Session, mapped_column

from weirbook.engine.searching import Question, Term
from weirbook.record.base import Base, RoomOwned, room_key
from weirbook.record.database import fetch, room_of, run

CANDIDATES = 500
"""The newest records with the words of a question, and the newest with one of them in the title, that are weighed."""
ROOM_MARK = "\u00b7"
"""Between the number of a room and a word; no word contains it."""
NUMBERS = 2**32
"""A row of the full-text table has the room's number times this, and the entry's number in it."""
POSITIONS = 200
"""Of one word in one text; PostgreSQL keeps 255."""
BATCH = 10_000
TABLE = "search_index"
"""What stands outside the models: the FTS5 table (with the tables it makes for itself), and the index of that name."""
FTS5 = f"CREATE VIRTUAL TABLE {TABLE} USING fts5(title, body, content='', tokenize='ascii')"
"""Contentless: the words stand in search_entry. Its `ascii` parts words at ASCII punctuation and spaces alone."""


class SearchEntry(RoomOwned, Base):
    """The words of one record, folded, and what answers are narrowed by. Made anew from the record at any time."""

    __tablename__ = "search_entry"
    noun: Mapped[str] = mapped_column(sa.String(30), primary_key=True)
    subject: Mapped[str] = mapped_column(sa.String(60), primary_key=True)
    number: Mapped[int | None] = mapped_column(sa.Integer)
    """Its row of the FTS5 table, within the room; none on PostgreSQL."""
    at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    place_id: Mapped[int | None] = mapped_column(sa.Integer)
    title: Mapped[str] = mapped_column(sa.Text)
    body: Mapped[str] = mapped_column(sa.Text)
    sought: Mapped[str | None] = mapped_column(sa.Text().with_variant(TSVECTOR(), "postgresql"))
    """What PostgreSQL finds it by; nothing on SQLite."""

    __table_args__ = (
        room_key(),
        # All that answers are narrowed by, so that SQLite need not look at the rows that are left out.
        sa.Index(None, "room_id", "number", "noun", "at_ms", "place_id"),
        # PostgreSQL walks the newest of a very common word by it, instead of sorting all (20,000: 38 ms, now 0.2).
        sa.Index(None, "room_id", "at_ms"),
    )


@dataclass(frozen=True)
class Entry:
    """A record as search knows it. Title and body: its folded words, spaced."""

    noun: str
    subject: str
    at_ms: int
    place_id: int | None
    title: str
    body: str

    @property
    def has_words(self) -> bool:
        """Whether there is anything to find it by."""
        return bool(self.title or self.body)


@dataclass(frozen=True)
class Narrowing:
    """Which records are asked for; None and empty: all."""

    nouns: Collection[str] = ()
    places: Collection[int] | None = None
    from_ms: int | None = None
    to_ms: int | None = None

    def conditions(self) -> Iterator[tuple[str, Sequence[object]]]:
        """SQL about an entry `e`, each with its values."""
        for column, wanted in (("noun", self.nouns or None), ("place_id", self.places)):
            if wanted is not None:
                marks = ", ".join("?" * len(wanted)) or "NULL"
                yield f"e.{column} IN ({marks})", tuple(wanted)
        if self.from_ms is not None:
            yield "e.at_ms >= ?", (self.from_ms,)
        if self.to_ms is not None:
            yield "e.at_ms < ?", (self.to_ms,)


def replace(session: Session, room: int, old: Iterable[tuple[str, str]], new: Sequence[Entry]) -> None:
    """Take out what is kept of a room under these nouns and subjects, and keep these entries."""
    for key in old:
        _take_out(session, room, key)
    if not new:
        return
    if not _on_sqlite(session):
        run(
            session,
            "INSERT INTO search_entry (room_id, noun, subject, at_ms, place_id, title, body, sought) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, CAST(? AS tsvector))",
            [(room, *_columns(one), vector(room, one)) for one in new],
        )
        return
    highest = "SELECT max(number) FROM search_entry WHERE room_id = ?"
    first = (fetch(session, highest, (room,))[0][0] or 0) + 1
    numbered = list(enumerate(new, first))
    run(
        session,
        "INSERT INTO search_entry (room_id, noun, subject, at_ms, place_id, title, body, number) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        [(room, *_columns(one), number) for number, one in numbered],
    )
    run(
        session,
        f"INSERT INTO {TABLE} (rowid, title, body) VALUES (?, ?, ?)",
        [(room * NUMBERS + number, *_in_room(room, one.title, one.body)) for number, one in numbered],
    )


def forget(session: Session) -> None:
    """Take out all that is kept of the session's room; on SQLite after `renew`."""
    run(session, "DELETE FROM search_entry WHERE room_id = ?", [(room_of(session),)])


def renew(session: Session) -> None:
    """Put an empty FTS5 table in the place of SQLite's, whatever state that is in: of all rooms."""
    if _on_sqlite(session):
        run(session, f"DROP TABLE IF EXISTS {TABLE}")
        run(session, FTS5)


def entries(session: Session) -> Iterator[Entry]:
    """All that is kept of the session's room."""
    asked = "SELECT noun, subject, at_ms, place_id, title, body FROM search_entry WHERE room_id = ?"
    for row in fetch(session, asked, (room_of(session),)):
        yield Entry(*row)


def candidates(session: Session, question: Question, narrowing: Narrowing) -> list[Entry]:
    """The newest records that answer, and the newest of those with a term in their title: a thousand at most."""
    found = _matches(session, question, narrowing, titled=False)
    if len(found) == CANDIDATES:
        found += _matches(session, question, narrowing, titled=True)
    return list(dict.fromkeys(found))


def _matches(session: Session, question: Question, narrowing: Narrowing, *, titled: bool) -> list[Entry]:
    room = room_of(session)
    conditions = list(narrowing.conditions())
    narrowed = "".join(f" AND {sql}" for sql, _ in conditions)
    values = [value for _, some in conditions for value in some]
    columns = "e.noun, e.subject, e.at_ms, e.place_id, e.title, e.body"
    if _on_sqlite(session):
        # CROSS: the words first, then their entries, newest first without sorting. The plus: by their number alone, never
        # through the index of instants, which would be walked for every word found.
        narrowed = narrowed.replace("e.at_ms", "+e.at_ms")
        asked = (
            f"SELECT {columns} FROM {TABLE} AS s CROSS JOIN search_entry AS e ON e.number = s.rowid - ? "
            f"WHERE s.{TABLE} MATCH ? AND e.room_id = ?{narrowed} ORDER BY s.rowid DESC LIMIT {CANDIDATES}"
        )
        said = [room * NUMBERS, _fts5(room, question, titled), room, *values]
    else:
        asked = (
            f"SELECT {columns} FROM search_entry AS e WHERE e.room_id = ? AND e.sought @@ CAST(? AS tsquery)"
            f"{narrowed} ORDER BY e.at_ms DESC, e.noun, e.subject LIMIT {CANDIDATES}"
        )
        said = [room, _tsquery(room, question, titled), *values]
    return [Entry(*row) for row in fetch(session, asked, tuple(said))]


def _fts5(room: int, question: Question, titled: bool) -> str:
    """A question in FTS5's language. Words hold letters, digits and marks alone, and stand in quotes besides."""

    def said(term: Term) -> str:
        words = " ".join(f"{room}{ROOM_MARK}{word}" for word in term.words)
        return f'"{words}"{" *" if term.begins else ""}'

    asked = " AND ".join(map(said, question.wanted))
    if titled:
        asked += f" AND ({' OR '.join(f'title : {said(term)}' for term in question.wanted)})"
    if question.unwanted:
        asked = f"({asked}) NOT ({' OR '.join(map(said, question.unwanted))})"
    return asked


def _tsquery(room: int, question: Question, titled: bool) -> str:
    """A question in tsquery's language."""

    def said(term: Term, weight: str = "") -> str:
        last = len(term.words) - 1
        words = (
            f"'{room}{ROOM_MARK}{word}'"
            + (f":{begins}{weight}" if (begins := "*" * (term.begins and at == last)) or weight else "")
            for at, word in enumerate(term.words)
        )
        return f"({' <-> '.join(words)})"

    asked = " & ".join(map(said, question.wanted))
    if titled:
        asked += f" & ({' | '.join(said(term, 'A') for term in question.wanted)})"
    return asked + "".join(f" & !{said(term)}" for term in question.unwanted)


def vector(room: int, entry: Entry) -> str:
    """An entry as a tsvector is written: every word with its positions, A for those in the title."""
    return " ".join(
        f"'{word}':{','.join(positions)}" for word, positions in sorted(_positions(room, entry).items())
    )


def _positions(room: int, entry: Entry) -> dict[str, list[str]]:
    found: dict[str, list[str]] = defaultdict(list)
    title = entry.title.split()
    body = enumerate(entry.body.split(), len(title) + 2)  # a gap, so that no phrase reaches over it
    for weight, words in (("A", enumerate(title, 1)), ("", body)):
        for position, word in words:
            places = found[f"{room}{ROOM_MARK}{word}"]
            if len(places) < POSITIONS:
                places.append(f"{position}{weight}")
    return found


def misfits(session: Session) -> set[tuple[str, str]]:
    """Records whose words the engine's own table holds otherwise than the entries do."""
    return _misfits_on_sqlite(session) if _on_sqlite(session) else _misfits_on_postgresql(session)


@dataclass
class _Sum:
    """Words of one row, however they come in order."""

    total: int = field(default=0)

    def add(self, word: str, column: str, position: int) -> None:
        self.total = (self.total + hash((word, column, position))) % 2**64


def _misfits_on_sqlite(session: Session) -> set[tuple[str, str]]:
    room = room_of(session)
    wanted: dict[int, _Sum] = defaultdict(_Sum)
    there: dict[int, _Sum] = defaultdict(_Sum)
    known = {}
    asked = "SELECT number, noun, subject, title, body FROM search_entry WHERE room_id = ?"
    for number, noun, subject, *texts in fetch(session, asked, (room,)):
        known[number] = (noun, subject)
        for column, text in zip(("title", "body"), _in_room(room, *texts), strict=True):
            for position, word in enumerate(text.split()):
                wanted[number].add(word, column, position)
    run(session, f"CREATE VIRTUAL TABLE temp.search_words USING fts5vocab('main', '{TABLE}', 'instance')")
    try:
        asked = "SELECT term, doc, col, offset FROM temp.search_words WHERE term >= ? AND term < ?"
        ends = (f"{room}{ROOM_MARK}", f"{room}{chr(ord(ROOM_MARK) + 1)}")
        with session.connection().exec_driver_sql(asked, ends) as words:
            for some in words.partitions(BATCH):
                for word, row, column, position in some:
                    there[row - room * NUMBERS].add(word, column, position)
    finally:
        run(session, "DROP TABLE temp.search_words")
    differing = {number for number in wanted.keys() | there.keys() if wanted[number] != there[number]}
    return {known.get(number, ("row", str(number))) for number in differing}


def _misfits_on_postgresql(session: Session) -> set[tuple[str, str]]:
    room, found = room_of(session), set()
    asked = "SELECT noun, subject, title, body, CAST(sought AS text) FROM search_entry WHERE room_id = ?"
    for noun, subject, title, body, there in fetch(session, asked, (room,)):
        held = dict(one[1:].split("':") for one in (there or "").split(" ") if one)
        wanted = _positions(room, Entry(noun, subject, 0, None, title, body))
        if held != {word: ",".join(positions) for word, positions in wanted.items()}:
            found.add((noun, subject))
    return found


def _take_out(session: Session, room: int, key: tuple[str, str]) -> None:
    if _on_sqlite(session):
        asked = "SELECT number, title, body FROM search_entry WHERE room_id = ? AND noun = ? AND subject = ?"
        gone = [
            ("delete", room * NUMBERS + number, *_in_room(room, title, body))
            for number, title, body in fetch(session, asked, (room, *key))
        ]
        run(session, f"INSERT INTO {TABLE} ({TABLE}, rowid, title, body) VALUES (?, ?, ?, ?)", gone)
    run(session, "DELETE FROM search_entry WHERE room_id = ? AND noun = ? AND subject = ?", [(room, *key)])


def _in_room(room: int, *texts: str) -> list[str]:
    return [" ".join(f"{room}{ROOM_MARK}{word}" for word in text.split()) for text in texts]


def _columns(entry: Entry) -> tuple[object, ...]:
    return entry.noun, entry.subject, entry.at_ms, entry.place_id, entry.title, entry.body


def _on_sqlite(session: Session) -> bool:
    return session.connection().dialect.name == "sqlite"
