"""What every table shares: the room that leads its keys, names and handles, versions, dated state."""

from __future__ import annotations

import itertools
import re
import unicodedata
import uuid
from collections.abc import Iterator
from typing import Any, ClassVar

import sqlalchemy as sa
from sqlalchemy.orm import DeclarativeBase, Mapped, declared_attr, mapped_column, relationship

from weirbook.errors import Fault
from weirbook.record.columns import NAMES

HANDLE = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
HANDLE_CAP = 60
RESERVED_HANDLES = frozenset({"due", "calendar", "new", "outcomes", "by-feed"})
"""Words that paths use where a handle would stand."""
ALWAYS_MS = 0
"""The start of a first state: what a thing is at its making is taken to have held before the record began."""


ROUTINE = frozenset({"version", "created_at_ms", "updated_at_ms"})


class Base(DeclarativeBase):
    metadata = sa.MetaData(naming_convention=NAMES)


class RoomOwned:
    """Every table of a room leads its keys with room_id."""

    room_id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False, sort_order=-10)


class Edited:
    """Rows that people edit: a version for lost updates, and when it was made and last touched."""

    NOUN: ClassVar[str]
    PLURAL: ClassVar[str]
    REFERENCES: ClassVar[dict[str, str]] = {}
    """Field of the API that names another record, and that record's noun ("place" for any place)."""
    MENTIONS: ClassVar[dict[str, tuple[str, str]]] = {}
    """Field whose rows each name another record: the key that names it ("": the row itself does), and that record's noun."""
    STATES: ClassVar[dict[str, type[Any]]] = {}
    """Field whose past is kept, and the table of its spans."""
    FIXED: ClassVar[tuple[str, ...]] = ()
    """Fields that stay as they were made."""
    TOLD: ClassVar[bool] = True
    """Whether edits stand in the log of changes."""
    UNTOLD: ClassVar[frozenset[str]] = ROUTINE
    """Columns that the log of changes leaves out: bookkeeping, and what is nobody's business."""
    SOUGHT: ClassVar[tuple[str, ...]] = ()
    """Columns by whose words search finds the record; those that search.TITLES lists head it."""
    CHOSEN: ClassVar[tuple[str, ...]] = ()
    """Columns that hold a word out of a list, by which search finds the record too: on_wood is found by on wood."""
    CALLED_BY: ClassVar[str | None] = None
    """The record whose name search finds this one by as well: the kind of a planting."""
    DATED_BY: ClassVar[str] = "created_at_ms"
    """The column that says when it was, for search."""
    PLACED_BY: ClassVar[str | None] = None
    """The key of the place it belongs to, or of the record whose place is its own (a completion's task)."""

    version: Mapped[int] = mapped_column(sa.Integer, default=1)
    created_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    updated_at_ms: Mapped[int] = mapped_column(sa.BigInteger)

    def faults(self) -> list[Fault]:
        """What is wrong with this row as a whole; the fields themselves are checked before."""
        return []


class Numbered(RoomOwned):
    """Rows known inside by a small integer, numbered within the room."""

    id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False, sort_order=-9)


class Named(Numbered, Edited):
    """Records with a handle: URLs and references use it, so it is fixed once made."""

    COUNTER: ClassVar[str]
    SOUGHT: ClassVar[tuple[str, ...]] = ("name", "notes")
    handle: Mapped[str] = mapped_column(sa.String(HANDLE_CAP))
    name: Mapped[str] = mapped_column(sa.String(120))
    notes: Mapped[str | None] = mapped_column(sa.Text)
    retired_at_ms: Mapped[int | None] = mapped_column(sa.BigInteger)

    @declared_attr.directive
    def __table_args__(cls) -> Any:
        return (sa.UniqueConstraint("room_id", "handle"), room_key())

    def handle_stems(self) -> Iterator[str]:
        """Handles to try, best first, when none is sent: made from the name, then numbered."""
        stem = handle_from(self.name) or handle_from(self.NOUN)
        yield stem
        yield from (f"{stem}-{number}" for number in itertools.count(2))


class Happening(RoomOwned, Edited):
    """Records with a UUID, which the client may choose so that a retry or an offline app repeats safely."""

    id: Mapped[uuid.UUID] = mapped_column(sa.Uuid, primary_key=True, sort_order=-9)


class Span(RoomOwned):
    """A half-open stretch of time, from and to, in which a state held; the open one has no end."""

    from_ms: Mapped[int] = mapped_column(sa.BigInteger, primary_key=True, autoincrement=False)
    to_ms: Mapped[int | None] = mapped_column(sa.BigInteger)


class Counter(RoomOwned, Base):
    """The next small integer of each noun, taken in the transaction that uses it."""

    __tablename__ = "counter"
    noun: Mapped[str] = mapped_column(sa.String(20), primary_key=True)
    next: Mapped[int] = mapped_column(sa.Integer)

    __table_args__ = (sa.ForeignKeyConstraint(["room_id"], ["room.room_id"]),)


def subject_of(row: Any) -> str:
    """What a record is known by within its noun: handle or id; the room, of which there is one, by its noun."""
    if getattr(row, "handle", None) is not None:
        return str(row.handle)
    return str(row.id) if hasattr(row, "id") else str(row.NOUN)


def origin_of(row: Any) -> str:
    """Path where a record can be read. Of those that have none of their own the property `origin` says where."""
    if isinstance(getattr(type(row), "origin", None), property):
        return str(row.origin)
    subject = subject_of(row)
    return f"/v1/{row.PLURAL}" + ("" if subject == row.NOUN else f"/{subject}")


def room_key() -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["room_id"], ["room.room_id"])


def key_to(table: str, column: str, *, cascade: bool = False) -> sa.ForeignKeyConstraint:
    """A foreign key inside the room; RESTRICT unless the row is a part of what it points to."""
    return sa.ForeignKeyConstraint(
        ["room_id", column],
        [f"{table}.room_id", f"{table}.id"],
        ondelete="CASCADE" if cascade else "RESTRICT",
    )


def points_to(column: str, target: str) -> Any:
    """The record that `column` ("Tank.system_id") names, loaded with its row and never written through."""
    owner = column.split(".")[0]
    return relationship(
        target,
        viewonly=True,
        lazy="joined",
        join_depth=1,  # of a place that points to a place: else it would be asked for row by row
        primaryjoin=f"and_(foreign({owner}.room_id) == {target}.room_id, foreign({column}) == {target}.id)",
    )


def handle_from(words: str) -> str:
    """A lower-case slug: accents dropped, anything else but letters and digits becomes a hyphen; may be empty."""
    plain = unicodedata.normalize("NFKD", words).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[: HANDLE_CAP - 5].strip("-")
