"""What a reading of conductivity must be told, and what it becomes at 25 °C by each way to compensate."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.told import water_temperature
from weirbook.engine.relations.conductivity import (
    AT_20,
    REFERENCE,
    DilutedSeawater,
    linear_share,
    natural_factor,
)
from weirbook.engine.shape import CHOICE, param

RAW, TO_25, TO_20 = "none", "to_25", "to_20"
COEFFICIENTS = (0.0191, 0.02)
"""Shares for each K that meters are set to."""
_TWENTY = 293.15


@dataclass(frozen=True)
class Inputs:
    conductivity: float = param(
        "conductivity", doc="As the meter shows it.", ge=0, le=25, role="latest.conductivity"
    )
    temperature: float = water_temperature("Of the water as it was measured.")
    compensation: str = param(
        CHOICE,
        doc="What the meter shows: to_25 or to_20, brought to that temperature by itself, as most do; none, as it is"
        " in the water.",
        choices=(TO_25, TO_20, RAW),
        default=TO_25,
    )
    coefficient: float = param(
        "fraction",
        doc="For each K, of a meter or a table that compensates along a straight line.",
        ge=0,
        le=0.035,
        default=0.02,
    )
    tds_factor: float | None = param(
        "number",
        doc="mg/L of salts in this water for each uS/cm at 25 °C, if a laboratory weighed them.",
        gt=0,
        le=2,
        default=None,
    )


@dataclass(frozen=True)
class Reading:
    given: Inputs

    @cached_property
    def factor(self) -> float:
        """From the water's temperature to 25 °C, of natural water."""
        return natural_factor(self.given.temperature)

    @cached_property
    def at_25(self) -> float:
        """By the function of natural waters; of a meter that compensates, as it says. S/m."""
        told = self.given.conductivity
        return {RAW: told * self.factor, TO_25: told, TO_20: told * AT_20}[self.given.compensation]

    def at_25_along_a_line(self, coefficient: float) -> float:
        """If the straight line holds, or, of a meter that compensates along it, if natural water's does."""
        share = linear_share(self.given.temperature, coefficient)
        if self.given.compensation == RAW:
            return self.given.conductivity / share
        base = linear_share(REFERENCE if self.given.compensation == TO_25 else _TWENTY, coefficient)
        return self.given.conductivity * share / base * self.factor

    @cached_property
    def along_lines(self) -> dict[float, float]:
        """By each coefficient, the told one last."""
        coefficients = dict.fromkeys((*COEFFICIENTS, self.given.coefficient))
        return {one: self.at_25_along_a_line(one) for one in coefficients}

    @property
    def all_at_25(self) -> list[float]:
        return [self.at_25, *self.along_lines.values()]

    @property
    def in_the_water(self) -> float:
        """At the water's own temperature, S/m."""
        raw = self.given.compensation == RAW
        return self.given.conductivity if raw else self.at_25 / self.factor

    @cached_property
    def sea(self) -> DilutedSeawater:
        """The reading as diluted seawater: at its own temperature if raw, else at 25 °C."""
        if self.given.compensation == RAW:
            return DilutedSeawater(self.given.conductivity, self.given.temperature)
        return DilutedSeawater(self.at_25, REFERENCE)
