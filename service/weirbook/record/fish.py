"""Species, groups of fish, the ledger of their heads, samples of their size, and how they take food."""

from __future__ import annotations

import uuid
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from weirbook.engine.units import Quantity
from weirbook.errors import Fault
from weirbook.record.base import Base, Happening, Named, key_to, points_to, room_key
from weirbook.record.columns import Parts, QuantityText
from weirbook.record.feeds import Feed
from weirbook.record.places import Tank

ARRIVAL, BIRTH, MOVE, LOSS, MISSING, DEPARTURE, COUNT, WITHDRAWAL = (
    "arrival",
    "birth",
    "move",
    "loss",
    "missing",
    "departure",
    "count",
    "withdrawal",
)
ENTRY_KINDS = (ARRIVAL, BIRTH, MOVE, LOSS, MISSING, DEPARTURE, COUNT, WITHDRAWAL)
GAINS, LEAVINGS = (ARRIVAL, BIRTH), (MOVE, LOSS, MISSING, DEPARTURE)
JUMPED, DISEASE, UNKNOWN = "jumped", "disease", "unknown"
CAUSES = (
    JUMPED,
    DISEASE,
    "injury",
    "aggression",
    "predation",
    "handling",
    "water",
    "equipment",
    "starvation",
    "old_age",
    UNKNOWN,
    "other",
)
ONLY_WITH: dict[str, tuple[str, ...]] = {
    "to_group": (MOVE,),
    "cause": (LOSS,),
    "evidence": (LOSS, MISSING),
    "source": (ARRIVAL,),
    "price": (ARRIVAL, DEPARTURE),
    "batch_id": (MOVE, LOSS, MISSING, DEPARTURE),
    "keeps_clock": (ARRIVAL, MOVE),
    "withdraws_id": (WITHDRAWAL,),
}
"""What only some kinds of entry say."""


class Species(Named, Base):
    """A species or form that the keeper keeps, and what it needs, by the keeper's own sources."""

    __tablename__ = "species"
    NOUN = "species"
    PLURAL = "species"
    COUNTER = "species"
    SOUGHT = ("name", "scientific_name", "notes", "source")

    scientific_name: Mapped[str | None] = mapped_column(sa.String(120))
    adult_length: Mapped[Quantity | None] = mapped_column(QuantityText("length"))
    adult_mass: Mapped[Quantity | None] = mapped_column(QuantityText("mass"))
    temperature: Mapped[dict[str, Quantity] | None] = mapped_column(Parts)
    ph: Mapped[dict[str, Quantity] | None] = mapped_column(Parts)
    school_size: Mapped[int | None] = mapped_column(sa.Integer)
    length_mass: Mapped[dict[str, float] | None] = mapped_column(Parts)
    source: Mapped[str | None] = mapped_column(sa.String(500))

    def faults(self) -> list[Fault]:
        found = []
        for name in ("temperature", "ph"):
            span = getattr(self, name) or {}
            low, high = span.get("low"), span.get("high")
            if low is not None and high is not None and low.si(name) > high.si(name):
                words = "The low end of a range can't lie above its high end."
                found.append(Fault(f"/{name}/high", words))
        return found

    def mass_at(self, length_si: float) -> float | None:
        """kg of a fish of a length (m): W = a L^b in g and cm; None where a and b are not recorded."""
        if not self.length_mass:
            return None
        a, b = self.length_mass["a"], self.length_mass["b"]
        return float(a * (length_si * 100) ** b) / 1000


class Group(Happening, Base):
    """Fish of one species in one tank, whose head count follows from the ledger."""

    __tablename__ = "fish_group"
    NOUN = "group"
    PLURAL = "groups"
    REFERENCES = {"species": Species.NOUN, "tank": "tank"}
    FIXED = ("species_id", "tank_id")
    SOUGHT = ("name", "origin", "notes")
    CALLED_BY = "species"
    PLACED_BY = "tank_id"

    name: Mapped[str | None] = mapped_column(sa.String(120))
    species_id: Mapped[int] = mapped_column(sa.Integer)
    tank_id: Mapped[int] = mapped_column(sa.Integer)
    origin: Mapped[str | None] = mapped_column(sa.String(200))
    wanted: Mapped[int | None] = mapped_column(sa.Integer)
    notes: Mapped[str | None] = mapped_column(sa.Text)
    retired_at_ms: Mapped[int | None] = mapped_column(sa.BigInteger)

    species: Mapped[Species] = points_to("Group.species_id", "Species")
    tank: Mapped[Tank] = points_to("Group.tank_id", "Tank")

    __table_args__ = (
        room_key(),
        key_to("species", "species_id"),
        key_to("tank", "tank_id"),
        sa.Index(None, "room_id", "tank_id"),
    )

    @property
    def place(self) -> Tank:
        """Where it lives."""
        return self.tank

    @property
    def called(self) -> str:
        """What people call it: its own name, or its species' and tank's."""
        return self.name or f"{self.species.name} in {self.tank.handle}"


class StockEntry(Happening, Base):
    """One line of the ledger of heads: appended, never edited; a wrong one is withdrawn by another.

    `line` numbers them in the order of telling, by which those of one instant follow each other.
    """

    __tablename__ = "stock_entry"
    NOUN = "stock entry"
    PLURAL = "stock-entries"
    COUNTER = "stock_entry"
    REFERENCES = {"group": Group.NOUN, "to_group": Group.NOUN}
    SOUGHT = ("words", "evidence", "source", "keeps_clock")
    CHOSEN = ("kind", "cause")
    DATED_BY = "happened_at_ms"
    PLACED_BY = "group_id"

    line: Mapped[int] = mapped_column(sa.Integer)
    kind: Mapped[str] = mapped_column(sa.String(12))
    group_id: Mapped[uuid.UUID] = mapped_column(sa.Uuid)
    to_group_id: Mapped[uuid.UUID | None] = mapped_column(sa.Uuid)
    number: Mapped[int] = mapped_column(sa.Integer)
    happened_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    source: Mapped[str | None] = mapped_column(sa.String(200))
    price: Mapped[float | None] = mapped_column(sa.Double)
    cause: Mapped[str | None] = mapped_column(sa.String(20))
    evidence: Mapped[str | None] = mapped_column(sa.String(500))
    batch_id: Mapped[uuid.UUID | None] = mapped_column(sa.Uuid)
    withdraws_id: Mapped[uuid.UUID | None] = mapped_column(sa.Uuid)
    straight_in: Mapped[bool] = mapped_column(sa.Boolean(create_constraint=False))
    keeps_clock: Mapped[str | None] = mapped_column(sa.String(500))
    words: Mapped[str | None] = mapped_column(sa.Text)
    author: Mapped[str] = mapped_column(sa.String(120))

    group: Mapped[Group] = points_to("StockEntry.group_id", "Group")
    to_group: Mapped[Group | None] = points_to("StockEntry.to_group_id", "Group")

    __table_args__ = (
        room_key(),
        key_to("fish_group", "group_id"),
        key_to("fish_group", "to_group_id"),
        sa.UniqueConstraint("room_id", "line"),
        # A wrong line is taken back once.
        sa.UniqueConstraint("room_id", "withdraws_id"),
        sa.Index(None, "room_id", "group_id", "happened_at_ms"),
        sa.Index(None, "room_id", "to_group_id", "happened_at_ms"),
        sa.Index(None, "room_id", "happened_at_ms"),
    )

    @property
    def place(self) -> Tank:
        """Where it happened."""
        return self.group.tank

    def faults(self) -> list[Fault]:
        found = [
            Fault(
                f"/{name.removesuffix('_id')}",
                f"Only of {' or '.join(kinds)}: leave it out of a {self.kind}.",
            )
            for name, kinds in ONLY_WITH.items()
            if self.kind not in kinds and self._said(name) is not None
        ]
        if self.kind == MOVE and self.to_group_id is None:
            found.append(Fault("/to_group", "Say which group they joined, or to_tank."))
        if self.kind == MOVE and self.to_group is not None:
            found += self._move_faults(self.to_group)
        if self.kind == LOSS and self.cause is None:
            words = f"Say why, as far as is known: {', '.join(CAUSES)}."
            found.append(Fault("/cause", words))
        if self.kind == WITHDRAWAL and self.withdraws_id is None:
            found.append(Fault("/withdraws", "Say which entry was wrong, by its id."))
        if self.kind == WITHDRAWAL and self.words is None:
            found.append(Fault("/words", "Say what was wrong with it: the ledger is read later."))
        if self.number == 0 and self.kind not in (COUNT, WITHDRAWAL):
            found.append(Fault("/number", "At least one fish."))
        return found

    def _said(self, name: str) -> Any:
        return getattr(self, f"{name}_id" if name in self.REFERENCES else name)

    def _move_faults(self, to_group: Group) -> list[Fault]:
        if to_group.tank_id == self.group.tank_id:
            words = f"They are in {to_group.tank.handle} already: a move goes to another tank."
            return [Fault("/to_group", words)]
        if to_group.species_id != self.group.species_id:
            words = (
                f"That group is of {to_group.species.handle}: fish move among groups of their own species."
            )
            return [Fault("/to_group", words)]
        return []


class GroupSample(Happening, Base):
    """Length or mass of some fish of a group on a day: what the group weighs follows from it."""

    __tablename__ = "group_sample"
    NOUN = "group sample"
    PLURAL = "samples"
    REFERENCES = {"group": Group.NOUN}
    FIXED = ("group_id",)
    SOUGHT = ("words",)
    DATED_BY = "sampled_at_ms"
    PLACED_BY = "group_id"

    group_id: Mapped[uuid.UUID] = mapped_column(sa.Uuid)
    sampled_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    measured: Mapped[int] = mapped_column(sa.Integer)
    length: Mapped[Quantity | None] = mapped_column(QuantityText("length"))
    mass: Mapped[Quantity | None] = mapped_column(QuantityText("mass"))
    words: Mapped[str | None] = mapped_column(sa.Text)

    group: Mapped[Group] = points_to("GroupSample.group_id", "Group")

    __table_args__ = (
        room_key(),
        key_to("fish_group", "group_id"),
        sa.Index(None, "room_id", "group_id", "sampled_at_ms"),
    )

    @property
    def place(self) -> Tank:
        """Where they were measured."""
        return self.group.tank

    @property
    def mass_si(self) -> float | None:
        """kg of one fish: as weighed, else from its length by the species' a and b."""
        if self.mass is not None:
            return self.mass.si("mass")
        return None if self.length is None else self.group.species.mass_at(self.length.si("length"))

    def faults(self) -> list[Fault]:
        if self.length is None and self.mass is None:
            return [
                Fault("/length", "Say how long or how heavy one fish is on average: length, mass or both.")
            ]
        return []


class FeedingResponse(Happening, Base):
    """How a group took a food, by eye, on the scale of feeding_response."""

    __tablename__ = "feeding_response"
    NOUN = "feeding response"
    PLURAL = "feeding-responses"
    REFERENCES = {"group": Group.NOUN, "feed": "feed"}
    SOUGHT = ("words",)
    DATED_BY = "seen_at_ms"
    PLACED_BY = "group_id"

    group_id: Mapped[uuid.UUID] = mapped_column(sa.Uuid)
    feed_id: Mapped[int] = mapped_column(sa.Integer)
    seen_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    response: Mapped[Quantity] = mapped_column(QuantityText("score"))
    words: Mapped[str | None] = mapped_column(sa.Text)

    group: Mapped[Group] = points_to("FeedingResponse.group_id", "Group")
    feed: Mapped[Feed] = points_to("FeedingResponse.feed_id", "Feed")

    __table_args__ = (
        room_key(),
        key_to("fish_group", "group_id"),
        key_to("feed", "feed_id"),
        sa.Index(None, "room_id", "group_id", "seen_at_ms"),
    )

    @property
    def place(self) -> Tank:
        """Where they were fed."""
        return self.group.tank
