"""What is told of ammonia in the water, and what it comes to."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.relations.ammonia import (
    acute_criterion,
    chronic_criterion,
    ph_at_share,
    pka,
    un_ionized_share,
)
from weirbook.engine.relations.limits import LIMITS as BOUNDS
from weirbook.engine.relations.water import FREEZING, HOTTEST
from weirbook.engine.saying import near
from weirbook.engine.shape import param

OK, WATCH, OVER = "ok", "watch", "over"
STRESS, HARM, LETHAL = BOUNDS["ammonia_stress"], BOUNDS["ammonia_harm"], BOUNDS["ammonia_lethal"]


@dataclass(frozen=True)
class Inputs:
    total_ammonia: float = param(
        "ammonia",
        doc="Total ammonia, NH3 and NH4 together, in the form that the test tells it (NH3-N, NH3 or NH4).",
        ge=0,
        role="latest.total_ammonia",
    )
    ph: float = param("ph", doc="Of the same water at the same time.", ge=0, le=14, role="latest.ph")
    temperature: float = param(
        "temperature",
        doc="Of the water, where the pH was measured.",
        ge=FREEZING,
        le=HOTTEST,
        role="water_temperature",
    )
    salinity: float = param(
        "salinity",
        doc="Salts dissolved in the water. Left out: none, which tells the most un-ionized ammonia.",
        ge=0,
        le=0.05,
        default=0.0,
    )
    accepted: float = param(
        "ammonia",
        doc="Most un-ionized ammonia that is accepted, by its nitrogen; more is watched. Left out: 0.02 mg/L NH3-N, at"
        " which fish are strained.",
        gt=0,
        default=STRESS.value,
    )


def said(ammonia: float) -> str:
    return near(ammonia, "ammonia", "mg/L NH3-N")


@dataclass(frozen=True)
class Ammonia:
    """Ammonia in one water: its forms, and what the limits say. SI."""

    given: Inputs

    @cached_property
    def half(self) -> float:
        """pKa."""
        return pka(self.given.temperature, self.given.salinity)

    @cached_property
    def share(self) -> float:
        return un_ionized_share(self.given.ph, self.half)

    @property
    def un_ionized(self) -> float:
        return self.given.total_ammonia * self.share

    @property
    def ionized(self) -> float:
        return self.given.total_ammonia - self.un_ionized

    @property
    def largest_total(self) -> float:
        """Total ammonia that stays within what is accepted, at this pH and temperature."""
        return self.given.accepted / self.share

    @property
    def ph_at_limit(self) -> float | None:
        """The pH that brings this total to what is accepted; None where no pH does."""
        if self.given.total_ammonia <= self.given.accepted:
            return None
        ph = ph_at_share(self.given.accepted / self.given.total_ammonia, self.half)
        return ph if 0 <= ph <= 14 else None

    @cached_property
    def acute_with_salmonids(self) -> float:
        return acute_criterion(self.given.ph, self.given.temperature, salmonids=True)

    @cached_property
    def acute(self) -> float:
        return acute_criterion(self.given.ph, self.given.temperature, salmonids=False)

    @cached_property
    def chronic(self) -> float:
        return chronic_criterion(self.given.ph, self.given.temperature)

    def at(self, more_ph: float = 0.0, warmer: float = 0.0) -> float:
        """Un-ionized ammonia of the same total at another pH or temperature."""
        half = pka(self.given.temperature + warmer, self.given.salinity)
        return self.given.total_ammonia * un_ionized_share(self.given.ph + more_ph, half)

    @property
    def verdict(self) -> str:
        total = self.given.total_ammonia
        if self.un_ionized > HARM.value or total > self.acute:
            return OVER
        if self.un_ionized > self.given.accepted or total > self.chronic:
            return WATCH
        return OK

    @property
    def why(self) -> str:
        part, accepted = f"{said(self.un_ionized)} is un-ionized", said(self.given.accepted)
        if self.un_ionized > LETHAL.value:
            return f"{part}: fish die at {said(LETHAL.value)}."
        if self.un_ionized > HARM.value:
            return f"{part}: harm begins at {said(HARM.value)}."
        if self.un_ionized > self.given.accepted:
            found = f"{part}, more than the {accepted} accepted; harm begins at {said(HARM.value)}."
        else:
            found = f"{part}, no more than the {accepted} accepted."
        if self.given.total_ammonia > self.acute:
            return f"{found} But the total is more than the {said(self.acute)} that fish bear for an hour by the criterion."
        if self.given.total_ammonia > self.chronic:
            return f"{found} But the total is more than the {said(self.chronic)} that the criterion allows for a month."
        return found
