"""The journal: what was seen or done, where, when, in words, and by whom."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from weirbook.errors import Fault
from weirbook.record.base import Base, Happening, key_to, points_to, room_key
from weirbook.record.columns import Parts
from weirbook.record.places import Place

CHANGE, CLEANING = "change", "cleaning"
KINDS = ("note", "observation", CHANGE, CLEANING, "visit", "idea")


class JournalEntry(Happening, Base):
    """One dated entry on a place."""

    __tablename__ = "journal_entry"
    NOUN = "journal entry"
    PLURAL = "journal"
    REFERENCES = {"place": "place"}
    FIXED = ("scores",)
    SOUGHT = ("words", "changed", "tags", "credit", "author")
    CHOSEN = ("kind",)
    DATED_BY = "happened_at_ms"
    PLACED_BY = "place_id"

    place_id: Mapped[int] = mapped_column(sa.Integer)
    kind: Mapped[str] = mapped_column(sa.String(20))
    happened_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    words: Mapped[str] = mapped_column(sa.Text)
    author: Mapped[str] = mapped_column(sa.String(120))
    credit: Mapped[str | None] = mapped_column(sa.String(120))
    tags: Mapped[list[str] | None] = mapped_column(Parts)
    changed: Mapped[dict[str, str] | None] = mapped_column(Parts)
    links: Mapped[list[str] | None] = mapped_column(Parts)
    scores: Mapped[list[dict[str, Any]] | None] = mapped_column(Parts)

    place: Mapped[Place] = points_to("JournalEntry.place_id", "Place")

    __table_args__ = (
        room_key(),
        key_to("place", "place_id"),
        sa.Index(None, "room_id", "happened_at_ms"),
    )

    def faults(self) -> list[Fault]:
        if self.changed is not None and self.kind != CHANGE:
            return [Fault("/changed", "Only an entry of kind change says what was changed: set its kind.")]
        return []
