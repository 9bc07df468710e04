"""What dechlorinating must be told, and what contradicts itself in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.dose_inputs import heavier_than_solid
from weirbook.engine.calculators.told import (
    SAME,
    by_label,
    product_mass,
    product_treats,
    product_volume,
    purity,
    water_volume,
)
from weirbook.engine.relations.dechlorination import AGENTS, THIOSULFATE_ENDS
from weirbook.engine.relations.limits import MOST_WATER
from weirbook.engine.relations.water import FREEZING, HOTTEST
from weirbook.engine.shape import CHOICE, param, refuse, show
from weirbook.errors import Fault, Lack

PRODUCT = "product"
NEW_WATER, SYSTEM = "new_water", "system"
USUAL_EXCESS = 0.1
"""Of an agent beyond its reaction. The field guide's sulfite doses hold as much; for the others common practice."""


def _chlorine(doc: str, role: str | None) -> Any:
    return param("concentration", doc=doc, ge=0, default=None, role=role)


@dataclass(frozen=True)
class Inputs:
    new_water: float = param(
        "volume",
        doc="Tap water that is treated: that of one change or filling.",
        gt=0,
        le=MOST_WATER,
        role="change_volume",
    )
    agent: str = param(
        CHOICE,
        doc="What neutralises the chlorine, as it is weighed; a product is described by its label.",
        choices=(*AGENTS, PRODUCT),
        told_by="product.chosen",
    )
    chlorine: float | None = _chlorine(
        "Free chlorine of the tap water. A test of total chlorine goes to total_chlorine.", "source.chlorine"
    )
    chloramine: float | None = _chlorine(
        "Chloramine (combined chlorine) of the tap water, as Cl2. Say 0 if the supplier uses none.",
        "source.chloramine",
    )
    total_chlorine: float | None = _chlorine(
        "By a test of total chlorine: free and combined together. In place of chloramine.", None
    )
    added_to: str = param(
        CHOICE,
        doc="Where the agent goes: into the new water before it meets animals, or straight into the system.",
        choices=(NEW_WATER, SYSTEM),
        default=NEW_WATER,
    )
    system_volume: float | None = water_volume(
        "All water of the system once it is full again: tanks and sump.", default=None
    )
    purity: float = purity("the agent")
    excess: float | None = param(
        "fraction",
        doc="Added beyond what the reaction takes. Left out: 10 % of a compound, none of a product.",
        ge=0,
        le=10,
        default=None,
    )
    thiosulfate_ends_as: str = param(
        CHOICE,
        doc="What thiosulfate turns to. Tetrathionate takes the most and never falls short.",
        choices=tuple(THIOSULFATE_ENDS),
        default="tetrathionate",
    )
    agent_ratio: float | None = param(
        "number",
        doc="Your own figure: mass of agent for a mass of chlorine, in place of the reaction's.",
        gt=0,
        default=None,
    )
    stock_strength: float | None = param(
        "concentration",
        doc="What is weighed out for each litre of finished stock solution. Left out: added dry.",
        unit="g/L",
        gt=0,
        default=None,
    )
    product_mass: float | None = product_mass()
    product_volume: float | None = product_volume()
    product_treats: float | None = product_treats()
    product_neutralises: float | None = by_label(
        "concentration", "how much chlorine, or chloramine as Cl2, that dose takes out."
    )
    ph: float | None = param(
        "ph", doc="Of the water the animals live in.", ge=0, le=14, default=None, role="latest.ph"
    )
    temperature: float | None = param(
        "temperature",
        doc="Of the water the animals live in.",
        ge=FREEZING,
        le=HOTTEST,
        default=None,
        role="water_temperature",
    )
    ammonia_present: float | None = param(
        "ammonia",
        doc="Total ammonia in the system before the change. Left out: what chloramine brings is judged alone.",
        ge=0,
        default=None,
        role="latest.total_ammonia",
    )

    @property
    def is_product(self) -> bool:
        return self.agent == PRODUCT

    @property
    def combined(self) -> float | None:
        """Chloramine as Cl2; None where only free chlorine is known."""
        if self.chloramine is not None or self.total_chlorine is None:
            return self.chloramine
        return max(0.0, self.total_chlorine - (self.chlorine or 0.0))

    @property
    def total(self) -> float | None:
        """All chlorine that the agent must take out, as Cl2; None where none was told, as a product may leave it."""
        if self.total_chlorine is not None:
            return self.total_chlorine
        if self.chlorine is None and self.chloramine is None:
            return None
        return (self.chlorine or 0.0) + (self.chloramine or 0.0)

    @property
    def reserve(self) -> float:
        return (0.0 if self.is_product else USUAL_EXCESS) if self.excess is None else self.excess

    @property
    def treated(self) -> float:
        """The volume that a dose must count, m3."""
        if self.is_product and self.added_to == SYSTEM:
            assert self.system_volume is not None
            return self.system_volume
        return self.new_water

    @property
    def mixed_total(self) -> float | None:
        """All chlorine in the volume that the dose counts, as Cl2; None where none was told."""
        return None if self.total is None else self.total * self.new_water / self.treated

    @property
    def beyond_the_label(self) -> bool:
        """Whether a product takes more than its label's own dose."""
        most = self.product_neutralises
        return most is not None and (self.mixed_total or 0.0) > most * (1 + SAME)


def refuse_contradictions(given: Inputs) -> None:
    """Raises Invalid with a fault for each value that can't be, or not beside another."""
    faults = [*_of_the_water(given)]
    faults += _of_a_product(given) if given.is_product else _of_a_compound(given)
    refuse(faults)


def _of_the_water(given: Inputs) -> list[Fault]:
    faults: list[Fault] = []
    if given.total is None and (not given.is_product or given.product_neutralises is not None):
        words = (
            "Say what the tap water holds: chlorine, chloramine or both, or total_chlorine. The supplier knows, and"
            " a test of total chlorine shows both."
        )
        faults.append(Lack("/chlorine", words))
    if given.total_chlorine is not None:
        if given.chloramine is not None:
            words = "A total holds the chloramine already: say one of chloramine and total_chlorine, the other as null."
            faults.append(Fault("/total_chlorine", words))
        elif given.chlorine is not None and given.chlorine > given.total_chlorine * (1 + SAME):
            words = (
                f"Free chlorine of {show(given.chlorine, 'concentration')} can't be more than the total"
                f" {show(given.total_chlorine, 'concentration')}: test again, or send one of them as null."
            )
            faults.append(Fault("/chlorine", words))
    if given.system_volume is not None and given.new_water > given.system_volume * (1 + SAME):
        words = (
            f"{show(given.new_water, 'volume')} of new water don't fit a system of"
            f" {show(given.system_volume, 'volume')}: check both, or send system_volume as null."
        )
        faults.append(Fault("/new_water", words))
    if given.added_to == SYSTEM and given.system_volume is None:
        words = "An agent added to the system meets all its water: say system_volume."
        faults.append(Lack("/system_volume", words))
    return faults


def _of_a_compound(given: Inputs) -> list[Fault]:
    faults = [
        Fault(f"/{name}", f"This describes a product: choose the agent '{PRODUCT}', or leave it out.")
        for name in ("product_mass", "product_volume", "product_treats", "product_neutralises")
        if getattr(given, name) is not None
    ]
    if not AGENTS[given.agent].is_thiosulfate and given.thiosulfate_ends_as != "tetrathionate":
        faults.append(Fault("/thiosulfate_ends_as", "Only thiosulfate has this choice: leave it out."))
    if given.stock_strength is not None and (why := heavier_than_solid(given.stock_strength)):
        faults.append(Fault("/stock_strength", why))
    if given.agent_ratio is not None and given.thiosulfate_ends_as != "tetrathionate":
        words = "Your own figure stands in place of the reaction's: say one of the two."
        faults.append(Fault("/agent_ratio", words))
    return faults


def _of_a_product(given: Inputs) -> list[Fault]:
    faults: list[Fault] = []
    if given.product_treats is None:
        words = "A product needs its label: add product_treats, how much water the dose is for."
        faults.append(Lack("/product_treats", words))
    if (given.product_mass is None) == (given.product_volume is None):
        words = "A product needs its label's dose once: product_mass of a dry one, product_volume of a liquid one."
        faults.append((Lack if given.product_mass is None else Fault)("/product_mass", words))
    for name, plain in (("purity", 1.0), ("excess", None), ("agent_ratio", None), ("stock_strength", None)):
        if getattr(given, name) != plain:
            words = "The label's dose counts this already: leave it out with a product."
            faults.append(Fault(f"/{name}", words))
    if given.thiosulfate_ends_as != "tetrathionate":
        faults.append(Fault("/thiosulfate_ends_as", "Of a product the label tells: leave it out."))
    return faults
