"""What a stock solution must be told, what is in its bottle, and what contradicts itself in it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.dose_inputs import (
    of_parameter,
    stock_temperature,
    too_strong,
    without_effect,
)
from weirbook.engine.calculators.told import purity, water_volume
from weirbook.engine.relations.chemistry import COMPOUNDS, DOSED, TRADE_NAMES, Compound, carried, stock_bounds
from weirbook.engine.shape import CHOICE, param, parts, refuse, show
from weirbook.errors import Fault, Lack


@dataclass(frozen=True)
class Other:
    compound: str = param(CHOICE, doc="Another salt in the same bottle.", choices=tuple(COMPOUNDS))
    strength: float = param(
        "concentration", doc="Weighed out for each litre of finished stock.", unit="g/L", gt=0
    )
    purity: float = purity("the salt")


@dataclass(frozen=True, kw_only=True)
class Inputs:
    parameter: str = param(CHOICE, doc="What a dose of it is to raise.", choices=tuple(DOSED))
    volume: float = water_volume(
        "All water that a dose mixes into: tanks net of sand and rock, and the sump's."
    )
    rise: float = of_parameter("How much one dose is to raise it.", gt=0)
    compound: str = param(
        CHOICE, doc=f"The salt that is to raise it. Sold as: {TRADE_NAMES}.", choices=tuple(COMPOUNDS)
    )
    purity: float = purity("the salt")
    strength: float | None = param(
        "concentration",
        doc="Weighed out for each litre of finished stock. Give it, or dose_volume to have it found.",
        unit="g/L",
        gt=0,
        default=None,
    )
    dose_volume: float | None = param(
        "volume",
        doc="What one dose is to be. Give it, or strength to have it found.",
        unit="mL",
        gt=0,
        default=None,
    )
    bottle: float = param("volume", doc="Finished stock in the bottle.", unit="mL", gt=0, default=5e-4)
    dose_interval: float = param(
        "time", doc="From one dose to the next.", unit="d", ge=3600.0, default=86400.0
    )
    stock_temperature: float = stock_temperature()
    others: tuple[Other, ...] = parts(Other, doc="Other salts in the same bottle.", key="compound")


@dataclass(frozen=True)
class Content:
    """One salt of the bottle: strength in kg/m3 of finished stock, as weighed."""

    made_of: Compound
    word: str
    strength: float
    purity: float

    @property
    def moles(self) -> float:
        """In each m3 of stock."""
        return self.strength * self.purity / self.made_of.molar_mass

    @property
    def bounds(self) -> tuple[float, float] | None:
        return stock_bounds(self.made_of)

    @property
    def share(self) -> float | None:
        """Of what surely dissolves of it alone."""
        return None if self.bounds is None else self.strength / self.bounds[0]


def brought(contents: Sequence[Content], parameter: str) -> float:
    """What a m3 of stock brings of a parameter, in the SI unit of its kind times m3."""
    return math.fsum(one.moles * carried(one.made_of, parameter) for one in contents)


@dataclass(frozen=True)
class Bottle:
    """A stock solution whose strength and dose are both known."""

    given: Inputs
    main: Content
    others: Sequence[Content]
    dose: float

    @property
    def contents(self) -> Sequence[Content]:
        return [self.main, *self.others]

    @cached_property
    def doses(self) -> int:
        """Whole doses in the bottle, a rounding error apart."""
        return math.floor(self.given.bottle / self.dose * (1 + 1e-9))

    @property
    def lasts(self) -> float:
        return self.doses * self.given.dose_interval

    @property
    def fullness(self) -> float | None:
        """Sum of the shares; None where one is not known."""
        shares = [one.share for one in self.contents]
        return None if None in shares else math.fsum(one for one in shares if one is not None)


def bottle_of(given: Inputs) -> Bottle:
    """The bottle as told. Raises Invalid with a fault for each value that can't be, or not beside another."""
    compound = COMPOUNDS[given.compound]
    others = [
        Content(COMPOUNDS[one.compound], one.compound, one.strength, one.purity) for one in given.others
    ]
    refuse(_misfits(given, compound))
    one_brings = carried(compound, given.parameter)
    of_others = brought(others, given.parameter)
    needed = given.rise * given.volume
    if given.dose_volume is None:
        assert given.strength is not None
        main = Content(compound, given.compound, given.strength, given.purity)
        dose = needed / (brought([main], given.parameter) + of_others)
    else:
        dose = given.dose_volume
        lacks = needed / dose - of_others
        if lacks <= 0:
            words = "The other salts alone raise as much or more by this dose: make it smaller, or take less of them."
            refuse([Fault("/dose_volume", words)])
        strength = lacks / one_brings * compound.molar_mass / given.purity
        main = Content(compound, given.compound, strength, given.purity)
    found = Bottle(given, main, others, dose)
    refuse(_sizes(found))
    return found


def _misfits(given: Inputs, compound: Compound) -> list[Fault]:
    faults = without_effect(compound, given.parameter)
    if given.parameter == "salt" and given.others:
        words = "'salt' is one compound by itself: name an ion instead, or leave out the other salts."
        faults.append(Fault("/parameter", words))
    if (given.strength is None) == (given.dose_volume is None):
        words = (
            "Say one of them: strength, then the dose is found; or dose_volume, then the strength is found."
        )
        fault = Lack if given.strength is None else Fault
        faults += [fault(f"/{name}", words) for name in ("strength", "dose_volume")]
    for place, one in enumerate(given.others):
        if one.compound == given.compound:
            faults.append(Fault(f"/others/{place}/compound", "It is in the bottle already, as compound."))
    return faults


def _sizes(found: Bottle) -> list[Fault]:
    """Too strong to dissolve, more stock than water, or less in the bottle than one dose."""
    given, faults = found.given, []
    by = "strength" if given.strength is not None else "dose_volume"
    pointers = [f"/{by}", *(f"/others/{place}/strength" for place in range(len(given.others)))]
    for one, pointer in zip(found.contents, pointers, strict=True):
        if why := too_strong(one.made_of, one.strength, given.stock_temperature):
            prefix = (
                f"It takes {show(one.strength, 'concentration', 'g/L')}. "
                if pointer == "/dose_volume"
                else ""
            )
            faults.append(Fault(pointer, prefix + why))
    if found.dose > given.volume:
        words = (
            f"One dose would be {show(found.dose, 'volume')}, more than there is water: check the figures."
        )
        faults.append(Fault(f"/{by}", words))
    elif found.doses < 1:
        words = f"The bottle holds less than one dose, which is {show(found.dose, 'volume', 'mL')}."
        faults.append(Fault("/bottle", words))
    return faults
