"""Products and their labels' effect, and what was dosed."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from weirbook.engine.relations.chemistry import COMPOUNDS
from weirbook.engine.units import Quantity
from weirbook.errors import Fault
from weirbook.record.base import Base, Happening, Named, key_to, points_to, room_key
from weirbook.record.columns import Parts, QuantityText
from weirbook.record.places import Place, RoomPlace

KINDS = ("fertiliser", "conditioner", "salts", "treatment", "other")


class Product(Named, Base):
    """A bought product, and what its label says so much of it does to so much water."""

    __tablename__ = "product"
    NOUN = "product"
    PLURAL = "products"
    COUNTER = "product"

    kind: Mapped[str] = mapped_column(sa.String(20))
    effects: Mapped[list[dict[str, Any]] | None] = mapped_column(Parts)
    mass: Mapped[Quantity | None] = mapped_column(QuantityText("mass"))
    volume: Mapped[Quantity | None] = mapped_column(QuantityText("volume"))
    treats: Mapped[Quantity | None] = mapped_column(QuantityText("volume"))

    @property
    def liquid(self) -> bool:
        """Whether its label counts it by volume."""
        return self.volume is not None

    def faults(self) -> list[Fault]:
        told = [one is not None for one in (self.mass or self.volume, self.treats)]
        found = []
        if self.mass is not None and self.volume is not None:
            found.append(Fault("/volume", "The label counts the product by mass or by volume, not by both."))
        if any(told) and not all(told):
            words = (
                "How much of the product and in how much water belong together: mass or volume, and treats."
            )
            found.append(Fault("/treats", words))
        if self.effects and not all(told):
            words = "What it raises is told by a dose: add mass or volume, and treats, as they stand on the label."
            found.append(Fault("/effects", words))
        names = [one["parameter"] for one in self.effects or []]
        found += [
            Fault(f"/effects/{index}/parameter", "This parameter stands here already.")
            for index, name in enumerate(names)
            if name in names[:index]
        ]
        return found


class Dose(Happening, Base):
    """What was added to the water: a product, or a compound dry or as a stock solution."""

    __tablename__ = "dose"
    NOUN = "dose"
    PLURAL = "doses"
    REFERENCES = {"place": "place", "product": "product"}
    SOUGHT = ("words", "compound")
    DATED_BY = "dosed_at_ms"
    PLACED_BY = "place_id"

    place_id: Mapped[int] = mapped_column(sa.Integer)
    dosed_at_ms: Mapped[int] = mapped_column(sa.BigInteger)
    product_id: Mapped[int | None] = mapped_column(sa.Integer)
    compound: Mapped[str | None] = mapped_column(sa.String(60))
    mass: Mapped[Quantity | None] = mapped_column(QuantityText("mass"))
    volume: Mapped[Quantity | None] = mapped_column(QuantityText("volume"))
    strength: Mapped[Quantity | None] = mapped_column(QuantityText("concentration"))
    words: Mapped[str | None] = mapped_column(sa.Text)

    place: Mapped[Place] = points_to("Dose.place_id", "Place")
    product: Mapped[Product | None] = points_to("Dose.product_id", "Product")

    __table_args__ = (
        room_key(),
        key_to("place", "place_id"),
        key_to("product", "product_id"),
        sa.Index(None, "room_id", "place_id", "dosed_at_ms"),
    )

    def faults(self) -> list[Fault]:
        found = []
        if isinstance(self.place, RoomPlace):
            found.append(Fault("/place", "A dose goes into water: name the system, tank, sump or section."))
        if (self.product_id is None) == (self.compound is None):
            found.append(Fault("/product", "Say what was dosed once: a product, or a compound."))
        if (self.mass is None) == (self.volume is None):
            found.append(Fault("/mass", "Say how much once: mass, or volume of a liquid."))
        if self.compound is not None and self.compound not in COMPOUNDS:
            words = f"This compound is not known. Choose one of: {', '.join(COMPOUNDS)}."
            found.append(Fault("/compound", words))
        if (
            self.compound is not None
            and (self.volume is not None) != (self.strength is not None)
            and self.mass is None
        ):
            words = "A volume of stock needs its strength: what was weighed out for each litre."
            found.append(Fault("/strength", words))
        if self.strength is not None and (self.compound is None or self.volume is None):
            found.append(Fault("/strength", "Strength belongs to a volume of a compound's stock solution."))
        return [*found, *self._as_labelled()]

    def _as_labelled(self) -> list[Fault]:
        if self.product is None or self.product.treats is None:
            return []
        if self.product.liquid and self.volume is None:
            return [
                Fault("/volume", f"The label of {self.product.handle} counts it by volume: say the volume.")
            ]
        if not self.product.liquid and self.mass is None:
            return [Fault("/mass", f"The label of {self.product.handle} counts it by mass: say the mass.")]
        return []
