"""What a record that a question names says for a calculator's inputs: the label of a product, a source water."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.filling import Absent, Facts
from weirbook.actions.latest_of import MEASURED
from weirbook.actions.water_of import Waters
from weirbook.engine.inputs import bare
from weirbook.engine.relations.chemistry import DOSED
from weirbook.engine.relations.plants import UPTAKE_FORM
from weirbook.engine.shape import Calculator, Filled
from weirbook.errors import Fault, Invalid, Unknown
from weirbook.record.base import Named
from weirbook.record.doses import Product
from weirbook.record.names import find
from weirbook.record.plants import PlantKind
from weirbook.record.waters import SourceWater

CHOSEN = "product"
"""What calculators call a product among the compounds that they offer."""


class _Label:
    """A product's label. Where it tells no dose, or none of what is asked, the question can't be answered by it."""

    def __init__(self, product: Product) -> None:
        self.product = product

    def dose(self, name: str) -> Filled | Absent:
        """`mass`, `volume` or `treats`."""
        product = self.product
        amount = product.volume or product.mass
        if amount is None or product.treats is None:
            return self._lacks("tells no dose", "its mass or volume, and treats")
        told = getattr(product, name)
        if told is None:
            return Absent(f"The label of {product.handle} counts it the other way.")
        return self._told(told)

    def effect(self, parameter: str) -> Filled | Absent:
        if isinstance(dose := self.dose("treats"), Absent):
            return dose
        effects = {one["parameter"]: one["effect"] for one in self.product.effects or ()}
        if parameter not in effects:
            of = f", but of {', '.join(effects)}" if effects else ""
            return self._lacks(f"says nothing of {parameter.replace('_', ' ')}{of}", "that effect")
        return self._told(effects[parameter])

    def chosen(self) -> Filled:
        return self._told(CHOSEN)

    def _told(self, value: Any) -> Filled:
        product = self.product
        amount = product.volume or product.mass
        dose = (
            "" if amount is None or product.treats is None else f": {bare(amount)} for {bare(product.treats)}"
        )
        return Filled(value, "record", f"product {product.handle}, by its label{dose}")

    def _lacks(self, what: str, wanted: str) -> Absent:
        handle = self.product.handle
        words = f"The label of {handle}, as recorded, {what}. Record {wanted} (PATCH /v1/products/{handle}), or ask without it."
        return Absent(words, at="/product")


def _product(session: Session, product: Product, at_ms: int) -> Facts:
    label = _Label(product)
    return {
        "chosen": label.chosen,
        **{name: partial(label.dose, name) for name in ("mass", "volume", "treats")},
        **{f"effect.{name}": partial(label.effect, name) for name in DOSED},
    }


def _water(session: Session, water: SourceWater, at_ms: int) -> Facts:
    """Its values, by its report or preparation. Nothing lives in it."""
    waters = Waters(session)
    return {
        "animals": lambda: Filled(False, "record", f"water {water.handle}, before it is used"),
        **{name: partial(waters.value_of, water.handle, name, at_ms) for name in MEASURED},
    }


def plant_facts(kind: PlantKind) -> Facts:
    """A kind's own shares, as they were recorded, and how it grows in the words of uptake."""

    def told(name: str) -> Filled | Absent:
        value = getattr(kind, name)
        if value is None:
            return Absent(f"The {name.replace('_', ' ')} of {kind.handle} is not recorded.")
        return Filled(value, "record", f"plant kind {kind.handle}")

    form = UPTAKE_FORM[kind.growth_form]
    return {
        "growth_form": lambda: Filled(form, "record", f"plant kind {kind.handle}, {kind.growth_form}"),
        **{name: partial(told, name) for name in ("dry_matter", "nitrogen", "phosphorus")},
    }


def _plant(session: Session, kind: PlantKind, at_ms: int) -> Facts:
    return plant_facts(kind)


@dataclass(frozen=True)
class Nameable:
    """A sort of record that a question can name, by one word: what that does, and how it is asked."""

    model: type[Named]
    doc: str
    fill: Callable[[Session, Any, int], Facts]


NAMEABLE: Mapping[str, Nameable] = {
    "product": Nameable(
        Product,
        "Handle of one of /v1/products: its label fills what is asked of a product. What it lacks of that is told.",
        _product,
    ),
    "water": Nameable(
        SourceWater,
        "Handle of one of /v1/source-waters: its report or preparation fills the present values in place of the"
        " system's tests, and how much of it there is must be said. What they lack counts as not told.",
        _water,
    ),
    "plant": Nameable(
        PlantKind,
        "Handle of one of /v1/plant-kinds: how it grows, and its dry matter, nitrogen and phosphorus as far as recorded.",
        _plant,
    ),
}
"""By the word that a question names it with, which is the first of an input's `told_by`."""


def facts_named(session: Session, calculator: Calculator, said: Mapping[str, Any], at_ms: int) -> Facts:
    """The facts of all records that a question names, by their whole `told_by`.

    Raises Invalid for a name that none has, telling those there are.
    """
    found: dict[str, Callable[[], Filled | Absent]] = {}
    faults = []
    for word in calculator.names:
        if (handle := said.get(word)) is None:
            continue
        nameable = NAMEABLE[word]
        if not isinstance(handle, str):
            faults.append(
                Fault(f"/{word}", f"Send the handle of one of /v1/{nameable.model.PLURAL} as a text.")
            )
            continue
        try:
            row = find(session, nameable.model, handle)
        except Unknown as trouble:
            faults.append(Fault(f"/{word}", trouble.message))
        else:
            found |= {f"{word}.{fact}": ask for fact, ask in nameable.fill(session, row, at_ms).items()}
    if faults:
        raise Invalid("The inputs can't be used as they are.", faults=faults)
    return found
