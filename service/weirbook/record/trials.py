"""Trials: a question, phases with one thing changed between them, and the gauges that tell the outcome."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from weirbook.errors import Fault
from weirbook.record.base import Base, Happening, key_to, points_to, room_key
from weirbook.record.columns import Parts
from weirbook.record.places import Place


class Trial(Happening, Base):
    """A question put to a place. `phases` hold setting, from_ms, to_ms (None: still running) and settle."""

    __tablename__ = "trial"
    NOUN = "trial"
    PLURAL = "trials"
    REFERENCES = {"place": "place"}
    MENTIONS = {"outcomes": ("gauge", "gauge")}
    FIXED = ("place_id",)
    SOUGHT = ("question", "varied", "phases", "conclusion", "notes")
    PLACED_BY = "place_id"

    question: Mapped[str] = mapped_column(sa.String(500))
    varied: Mapped[str] = mapped_column(sa.String(200))
    place_id: Mapped[int] = mapped_column(sa.Integer)
    phases: Mapped[list[dict[str, Any]]] = mapped_column(Parts)
    outcomes: Mapped[list[dict[str, Any]]] = mapped_column(Parts)
    conclusion: Mapped[str | None] = mapped_column(sa.Text)
    notes: Mapped[str | None] = mapped_column(sa.Text)

    place: Mapped[Place] = points_to("Trial.place_id", "Place")

    __table_args__ = (room_key(), key_to("place", "place_id"))

    @property
    def starts_ms(self) -> int:
        """When its first phase began."""
        return int(self.phases[0]["from_ms"])

    def faults(self) -> list[Fault]:
        return [*self._phase_faults(), *self._outcome_faults()]

    def _phase_faults(self) -> list[Fault]:
        found = []
        for index, one in enumerate(self.phases):
            start, end, settle = one["from_ms"], one.get("to_ms"), one.get("settle")
            if end is not None and end <= start:
                found.append(Fault(f"/phases/{index}/to", "A phase ends after it began."))
            elif end is not None and settle is not None and start + settle.si("time") * 1000 >= end:
                words = "Nothing of the phase is left once its settle time is out: make it shorter."
                found.append(Fault(f"/phases/{index}/settle", words))
            if index == 0:
                continue
            before = self.phases[index - 1].get("to_ms")
            if before is None:
                words = "The phase before it is still open: give that its end first."
                found.append(Fault(f"/phases/{index}/from", words))
            elif start < before:
                words = "It begins before the phase ahead of it has ended: phases follow each other, oldest first."
                found.append(Fault(f"/phases/{index}/from", words))
        return found

    def _outcome_faults(self) -> list[Fault]:
        named = [one["gauge"] for one in self.outcomes]
        return [
            Fault(f"/outcomes/{index}/gauge", "This gauge stands here already.")
            for index, name in enumerate(named)
            if name in named[:index]
        ]
