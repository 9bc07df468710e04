"""The one log of changes: what people and rules did, in commit order, written in the transaction that did it.

Every `Edited` row that a session writes is told by itself, so that no new kind of record can be forgotten; what
happens without such a row (a contact that trips) is told with `tell`. Sensor readings are left out.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, UOWTransaction, mapped_column

from weirbook.engine.times import instant_text
from weirbook.engine.units import Quantity, number
from weirbook.record.base import Base, Edited, RoomOwned, origin_of, room_key, subject_of
from weirbook.record.columns import Parts
from weirbook.record.database import fetch, now_ms, room_of, run, take_next

MADE, CHANGED, DELETED = "made", "changed", "deleted"
LABEL_CAP = 200


class Change(RoomOwned, Base):
    """One entry of the log. Numbers rise by one in commit order; nothing is ever edited or taken out."""

    __tablename__ = "change"
    number: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False)
    at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    what: Mapped[str] = mapped_column(sa.String(20))
    noun: Mapped[str] = mapped_column(sa.String(30))
    subject: Mapped[str] = mapped_column(sa.String(60))
    place: Mapped[str | None] = mapped_column(sa.String(80))
    who: Mapped[str] = mapped_column(sa.String(120))
    key: Mapped[str | None] = mapped_column(sa.String(60))
    words: Mapped[str | None] = mapped_column(sa.Text)
    origin: Mapped[str | None] = mapped_column(sa.String(120))
    tell: Mapped[list[str] | None] = mapped_column(Parts)
    fields: Mapped[list[dict[str, Any]]] = mapped_column(Parts)

    __table_args__ = (
        room_key(),
        sa.Index(None, "room_id", "noun", "subject", "number"),
        sa.Index(None, "room_id", "at_ms"),
    )


class Follower(RoomOwned, Base):
    """A program that follows the log and tells people: how far it is, and when it was last heard."""

    __tablename__ = "follower"
    name: Mapped[str] = mapped_column(sa.String(60), primary_key=True)
    number: Mapped[int] = mapped_column(sa.Integer)
    heard_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    key: Mapped[str | None] = mapped_column(sa.String(60))

    __table_args__ = (room_key(),)


@dataclass(frozen=True)
class Author:
    """Who does what a session does: a key by its name and handle, or a rule of the service."""

    name: str
    key: str | None = None


HOST = Author("this host")
"""The command on the machine itself, which needs no key."""
RULES = Author("Weirbook")
"""The service's own rules: what opens and closes by itself."""


@dataclass
class _Told:
    """An entry in the making. `row` gives its name and place when the transaction ends."""

    what: str
    noun: str
    subject: str
    row: Edited | None = None
    place: str | None = None
    words: str | None = None
    origin: str | None = None
    tell: Sequence[str] = ()
    before: dict[str, Any] = field(default_factory=dict)
    after: dict[str, Any] = field(default_factory=dict)


def speak_for(session: Session, author: Author) -> None:
    """From here on what the session does is this author's."""
    session.info["author"] = author


def author_of(session: Session) -> Author:
    """Whose doing the session is."""
    found: Author = session.info.get("author", HOST)
    return found


def tell(
    session: Session,
    what: str,
    noun: str,
    subject: str,
    *,
    place: str | None = None,
    words: str | None = None,
    origin: str | None = None,
    to: Sequence[str] = (),
    fields: Mapping[str, Any] | None = None,
) -> None:
    """Put something into the log that is no edit of a record."""
    told = _Told(what, noun, subject, None, place, words, origin, to, {}, dict(fields or {}))
    _pending(session)[object()] = told


def name_it(
    session: Session,
    row: Edited,
    what: str,
    *,
    place: str | None = None,
    words: str | None = None,
    to: Sequence[str] = (),
) -> None:
    """Say what the edit of a row under way amounts to ("acknowledged"), and whom it is to be told to."""
    session.flush()
    pending = _pending(session)
    told = pending.pop(row, None)
    if told is not None:
        told.what, told.tell = what, to
        told.place, told.words = place or told.place, words or told.words
        pending[object()] = told  # what the row goes through after this is another entry


def newest(session: Session) -> tuple[int, int]:
    """Number and instant of the last entry; zeros before there is any."""
    asked = "SELECT number, at_ms FROM change WHERE room_id = ? ORDER BY number DESC LIMIT 1"
    rows = fetch(session, asked, (room_of(session),))
    return (rows[0][0], rows[0][1]) if rows else (0, 0)


def has_edits(session: Session) -> bool:
    """Whether the session has edited something that its commit will tell."""
    return any(session.info.get(told) for told in ("changes", "told before"))


@contextmanager
def may_be_taken_back(session: Session) -> Iterator[None]:
    """A part of a transaction of which nothing stays where it raises, in the log and in what is found neither."""
    session.flush()
    sought = dict(session.info.get("sought", {}))
    outside, before = session.info.pop("changes", {}), session.info.get("told before", False)
    session.info["told before"] = before or bool(outside)
    try:
        with session.begin_nested():
            yield
        for row, told in session.info.get("changes", {}).items():
            _join(outside, row, told)
    except BaseException:
        session.info["sought"] = sought
        raise
    finally:
        session.info["changes"], session.info["told before"] = outside, before


def _join(pending: dict[Any, _Told], row: Any, later: _Told) -> None:
    """Add what a part of the transaction told to what was told before it."""
    told = pending.get(row)
    if told is None or later.what == DELETED:
        pending.pop(row, None)
        pending[row] = later
        return
    for name, value in later.after.items():
        told.before.setdefault(name, later.before[name])
        told.after[name] = value


def holds(session: Session, number: int, at_ms: int) -> bool:
    """Whether the log holds that entry: a log brought back from a copy may not, though its numbers went on."""
    if (number, at_ms) == (0, 0):
        return True
    asked = sa.select(Change.at_ms).where(Change.room_id == room_of(session), Change.number == number)
    return session.scalar(asked) == at_ms


def _pending(session: Session) -> dict[Any, _Told]:
    found: dict[Any, _Told] = session.info.setdefault("changes", {})
    return found


@sa.event.listens_for(Session, "after_flush")
def _note_edits(session: Session, _context: UOWTransaction) -> None:
    pending = _pending(session)
    for row in session.new:
        if isinstance(row, Edited) and row.TOLD:
            _note(pending, row, MADE)
    for row in session.dirty:
        if isinstance(row, Edited) and row.TOLD:
            _note(pending, row, CHANGED)
    for row in session.deleted:
        if isinstance(row, Edited) and row.TOLD:
            pending.pop(row, None)
            pending[row] = _Told(DELETED, row.NOUN, subject_of(row), row, **_where(row))


def _note(pending: dict[Any, _Told], row: Edited, what: str) -> None:
    """Add what a flush writes of a row to its entry; a row that was made keeps its first values only."""
    before, after = _moves(row)
    if not after and what == CHANGED:
        return
    told = pending.get(row)
    if told is None:
        told = pending[row] = _Told(what, row.NOUN, subject_of(row), row)
    for name, value in after.items():
        told.before.setdefault(name, before[name])
        told.after[name] = value


def _moves(row: Edited) -> tuple[dict[str, Any], dict[str, Any]]:
    state = sa.inspect(row)
    before, after = {}, {}
    for column in state.mapper.column_attrs:
        name = column.key
        if name in row.UNTOLD or column.columns[0].primary_key:
            continue
        history = state.attrs[name].history
        if history.has_changes():
            before[name] = history.deleted[0] if history.deleted else None
            after[name] = history.added[0] if history.added else None
    return before, after


@sa.event.listens_for(Session, "before_commit")
def _write_down(session: Session) -> None:
    """Number what was told, last of all: from here to the commit nobody else gets a number in this room."""
    if not session.info.get("changes") or session.in_nested_transaction():
        return
    session.flush()
    pending = session.info.pop("changes")
    author = author_of(session)
    entries = [entry for told in pending.values() if (entry := _entry(session, told)) is not None]
    if not entries:
        return
    last = take_next(session, "change", len(entries))
    at_ms = now_ms()
    session_room = room_of(session)
    bind = Parts().process_bind_param
    dialect = session.connection().dialect
    run(
        session,
        "INSERT INTO change (room_id, number, at_ms, what, noun, subject, place, who, key, words, origin, tell, fields) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            (
                session_room,
                last - len(entries) + 1 + index,
                at_ms,
                told.what,
                told.noun,
                told.subject,
                told.place,
                author.name,
                author.key,
                told.words,
                told.origin,
                bind(list(told.tell) or None, dialect),
                bind(fields, dialect),
            )
            for index, (told, fields) in enumerate(entries)
        ],
    )


def _entry(session: Session, told: _Told) -> tuple[_Told, list[dict[str, Any]]] | None:
    """An entry ready to be stored, or None for an edit that led back to where it began."""
    row = told.row
    if row is None:
        return told, [
            {"field": name, "before": None, "after": _plain(value)} for name, value in told.after.items()
        ]
    if told.what != DELETED:
        for name, value in _where(row).items():
            setattr(told, name, getattr(told, name) or value)
    fields = [
        {
            "field": _written_as(name),
            "before": _shown(session, row, name, told.before[name]),
            "after": _shown(session, row, name, after),
        }
        for name, after in told.after.items()
        if after is not None or told.before[name] is not None
    ]
    fields = [one for one in fields if one["before"] != one["after"]]
    return None if told.what == CHANGED and not fields else (told, fields)


def _where(row: Any) -> dict[str, Any]:
    """The place, the words and the path by which people and programs know a row."""
    owner = row
    for name in ("gauge", "task"):
        owner = getattr(row, name, None) or owner
    place = getattr(owner, "place", None) or getattr(owner, "about", None)
    path = getattr(place, "path", None) or getattr(row, "path", None)
    label = next(
        (found for name in ("name", "title", "words", "reason") if (found := getattr(row, name, None))), None
    )
    return {
        "place": path,
        "words": label and str(label)[:LABEL_CAP],
        "origin": origin_of(row),
    }


def _written_as(column: str) -> str:
    """The field of the API behind a column: "place" for place_id, "valid_from" for valid_from_ms."""
    for ending in ("_id", "_ms"):
        column = column.removesuffix(ending)
    return column


def _shown(session: Session, row: Edited, name: str, value: Any) -> Any:
    """A column's value as the API writes it."""
    if value is None:
        return None
    reference = name.removesuffix("_id")
    relationships = sa.inspect(type(row)).relationships
    if name.endswith("_id") and reference in relationships:
        target = session.get(relationships[reference].mapper.class_, (room_of(session), value))
        if target is None:
            return None
        return target.path if row.REFERENCES.get(reference) == "place" else subject_of(target)
    if name.endswith("_ms"):
        return instant_text(value)
    return _plain(value)


def _plain(value: Any) -> Any:
    """A value as JSON holds it."""
    if isinstance(value, Quantity):
        return value.text()
    if isinstance(value, (uuid.UUID, date)):
        return str(value)
    return number(value) if isinstance(value, float) else value
