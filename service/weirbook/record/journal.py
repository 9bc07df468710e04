"""The journal: what was seen or done, where, when, in words, and by whom."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from weirbook.record.base import Base, Happening, key_to, points_to, room_key
from weirbook.record.places import Place

KINDS = ("note", "observation", "change", "cleaning", "visit", "idea")


class JournalEntry(Happening, Base):
    """One dated entry on a place."""

    __tablename__ = "journal_entry"
    NOUN = "journal entry"
    PLURAL = "journal"
    REFERENCES = {"place": "place"}
    SOUGHT = ("words", "credit", "author")
    DATED_BY = "happened_at_ms"
    PLACED_BY = "place_id"

    place_id: Mapped[int] = mapped_column(sa.Integer)
    kind: Mapped[str] = mapped_column(sa.String(20))
    happened_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    words: Mapped[str] = mapped_column(sa.Text)
    author: Mapped[str] = mapped_column(sa.String(120))
    credit: Mapped[str | None] = mapped_column(sa.String(120))

    place: Mapped[Place] = points_to("JournalEntry.place_id", "Place")

    __table_args__ = (
        room_key(),
        key_to("place", "place_id"),
        sa.Index(None, "room_id", "happened_at_ms"),
    )
