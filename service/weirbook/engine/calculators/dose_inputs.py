"""What a dose must be told, and what contradicts itself in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.told import (
    product_mass,
    product_treats,
    product_volume,
    purity,
    water_volume,
)
from weirbook.engine.relations.chemistry import COMPOUNDS, DOSED, TRADE_NAMES, Compound, carried, stock_bounds
from weirbook.engine.saying import less, near
from weirbook.engine.shape import CHOICE, FOLLOWING, Follows, param, refuse, show
from weirbook.errors import Fault, Lack

PRODUCT = "product"

MOST_DAYS = 366

STRONGEST = 2000.0
"""kg/m3, g/L. About what a litre of the dry solid itself weighs: no solution holds more. Common sense, no source."""

UNPROVEN = 1.5
"""How far beyond an unproven solubility a stock must lie to be refused: up to 30 degC none of the compounds
dissolves more than half again what it does at the table's temperature (handbook values, from memory)."""

COLDEST_STOCK, WARMEST_STOCK = 273.15, 303.15

BY_PARAMETER = Follows("parameter", DOSED)


def of_parameter(doc: str, **said: Any) -> Any:
    """Declare an input that is told in the unit of the chosen parameter."""
    return param(FOLLOWING, doc=doc, follows=BY_PARAMETER, **said)


def stock_temperature() -> Any:
    return param(
        "temperature",
        doc="The coolest that the stock solution will stand.",
        ge=COLDEST_STOCK,
        le=WARMEST_STOCK,
        default=293.15,
    )


@dataclass(frozen=True, kw_only=True)
class Dosing:
    """What every dose must be told: what it raises, in how much water, and what is dosed."""

    parameter: str = param(
        CHOICE,
        doc=(
            "What to raise. An ion is told by its own mass; salt is the compound itself in the water; total_ammonia"
            " only where no animal lives."
        ),
        choices=tuple(DOSED),
    )
    volume: float = water_volume(
        "All water that the dose mixes into: tanks net of sand and rock, and the sump's."
    )
    compound: str = param(
        CHOICE,
        doc=f"What is dosed; a product is described by its label's effect. Sold as: {TRADE_NAMES}.",
        choices=(*COMPOUNDS, PRODUCT),
        told_by="product.chosen",
    )
    purity: float = purity("the compound")
    product_effect: float | None = of_parameter(
        "By the product's label: how much it raises the parameter.",
        gt=0,
        default=None,
        told_by="product.effect.{parameter}",
    )
    product_mass: float | None = product_mass()
    product_volume: float | None = product_volume()
    product_treats: float | None = product_treats()
    stock_strength: float | None = param(
        "concentration",
        doc="What is weighed out for each litre of finished stock solution. Left out: added dry.",
        unit="g/L",
        gt=0,
        default=None,
    )
    stock_temperature: float = stock_temperature()


@dataclass(frozen=True, kw_only=True)
class Inputs(Dosing):
    present: float = of_parameter("The parameter's present value.", ge=0, role="latest.{parameter}")
    wanted: float = of_parameter("The value wanted.", ge=0)
    largest_daily_change: float | None = of_parameter(
        "The most that the parameter may rise in a day. Left out: all at once.", gt=0, default=None
    )


def refuse_contradictions(given: Inputs, compound: Compound | None, rise: float, days: int) -> None:
    """Raises Invalid with a fault for each value that can't be, or not beside another."""
    kind = DOSED[given.parameter]
    faults = []
    if rise < 0:
        faults.append(
            Fault(
                "/wanted",
                f"{show(given.wanted, kind)} is below the present {show(given.present, kind)}. A dose only raises"
                f" {given.parameter}: only a water change, with water that has less of it, lowers it.",
            )
        )
    if days > MOST_DAYS:
        words = f"So small a change a day would take more than {MOST_DAYS} days."
        faults.append(Fault("/largest_daily_change", words))
    faults += misfits(given, compound)
    if not faults and compound is not None and (why := _undissolved(given, compound, rise)):
        faults.append(Fault("/wanted", why))
    refuse(faults)


def _undissolved(given: Dosing, compound: Compound, rise: float) -> str | None:
    """Why the water itself can't take up so much; None where it may."""
    strength = rise / carried(compound, given.parameter) * compound.molar_mass
    bounds = stock_bounds(compound)
    most = STRONGEST if bounds is None else min(STRONGEST, bounds[1] * UNPROVEN)
    if strength <= most:
        return None
    return (
        f"That takes {near(strength, 'concentration', 'g/L')} of {compound.name}: no water dissolves more than"
        f" {less(most, 'concentration', 'g/L')}. Check the figure and its unit."
    )


def misfits(given: Dosing, compound: Compound | None) -> list[Fault]:
    """A fault for each value that does not fit what is dosed, a compound or else a product."""
    return _misfits_of_product(given) if compound is None else _misfits_of_compound(given, compound)


def _misfits_of_compound(given: Dosing, compound: Compound) -> list[Fault]:
    faults = [
        Fault(f"/{name}", f"This describes a product: choose the compound '{PRODUCT}', or leave it out.")
        for name in ("product_effect", "product_mass", "product_volume", "product_treats")
        if getattr(given, name) is not None
    ]
    faults += without_effect(compound, given.parameter)
    if given.stock_strength is not None:
        why = too_strong(compound, given.stock_strength, given.stock_temperature)
        faults += [Fault("/stock_strength", why)] if why else []
    return faults


def without_effect(compound: Compound, parameter: str) -> list[Fault]:
    """A fault where a compound brings nothing of what it is to raise."""
    if carried(compound, parameter):
        return []
    able = ", ".join(word for word, one in COMPOUNDS.items() if carried(one, parameter))
    words = f"{compound.name.capitalize()} does not raise {parameter}. These do: {able}."
    return [Fault("/compound", words)]


def heavier_than_solid(strength: float) -> str | None:
    """Why no stock solution of anything can be so strong (kg/m3); None where one may."""
    if strength <= STRONGEST:
        return None
    return (
        f"A litre of stock can't hold so much: {near(STRONGEST, 'concentration', 'g/L')} is about what a litre of the"
        " dry solid itself weighs. Check the figure and its unit."
    )


def too_strong(compound: Compound, strength: float, temperature: float) -> str | None:
    """Why a stock solution of so much of a compound (kg/m3) can't be; None where it may."""
    if why := heavier_than_solid(strength):
        return why
    bounds, known = stock_bounds(compound), compound.solubility
    if bounds is None or known is None:
        return None
    proven = known.read and temperature <= known.temperature
    if strength <= bounds[1] * (1 if proven else UNPROVEN):
        return None
    origin = "" if known.read else " (from memory)"
    return (
        f"So much can't dissolve: at {near(known.temperature, 'temperature', 'degC')}{origin} a litre of finished stock"
        f" holds {less(bounds[0], 'concentration', 'g/L')} of {compound.name} for certain and never"
        f" more than {near(bounds[1], 'concentration', 'g/L')}. Make it weaker and dose more of it."
    )


def _misfits_of_product(given: Dosing) -> list[Fault]:
    faults: list[Fault] = []
    for name, words in (
        ("product_effect", "how much the label says it raises the parameter"),
        ("product_treats", "in how much water the label says so"),
    ):
        if getattr(given, name) is None:
            faults.append(Lack(f"/{name}", f"A product needs its label's effect: add {name}, {words}."))
    if given.product_mass is None and given.product_volume is None:
        words = "A product needs how much of it the label speaks of: add product_mass or product_volume."
        faults.append(Lack("/product_mass", words))
    if given.product_mass is not None and given.product_volume is not None:
        for name in ("product_mass", "product_volume"):
            faults.append(Fault(f"/{name}", "Say the product by mass or by volume, not both."))
    if given.purity != 1:
        words = "The label's effect counts the purity already: leave it out with a product."
        faults.append(Fault("/purity", words))
    if given.product_volume is not None and given.stock_strength is not None:
        words = "A liquid product is dosed as it is: a stock solution is made from a dry one."
        faults.append(Fault("/stock_strength", words))
    elif given.stock_strength is not None and (why := heavier_than_solid(given.stock_strength)):
        faults.append(Fault("/stock_strength", why))
    return faults
