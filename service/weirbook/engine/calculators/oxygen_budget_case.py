"""A stocked water whose air has stopped: what is told of it, and how long its oxygen lasts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.oxygen_air import Air, air_pressure, altitude, water_salinity
from weirbook.engine.calculators.told import measured_temperature
from weirbook.engine.relations.limits import LIMITS as BOUNDS
from weirbook.engine.relations.nitrogen import WITHOUT_GROWTH, ammonia_made
from weirbook.engine.relations.oxygen import (
    CARBON_DIOXIDE_TO_OXYGEN,
    Depletion,
    respiration,
    transfer_velocity,
)
from weirbook.engine.saying import less, near
from weirbook.engine.shape import COUNT, TEXT, param, parts, show
from weirbook.errors import Fault, Invalid

OK, WATCH, OVER, UNKNOWN = "ok", "watch", "over", "unknown"
LEAST, COLD = BOUNDS["oxygen_warm"], BOUNDS["oxygen_cold"]

ROUTINE = 2.0
"""Times the resting rate: fish awake that swim about. From memory: 1 at rest, 2 to 4 when active or fed."""
USUAL_PROTEIN = 0.4
"""Share of feed. Common practice."""
LIGHTEST_FISH, HEAVIEST_FISH = 1e-7, 1000.0
"""kg. From a hatchling to the largest fish of fresh water: it catches a wrong unit."""
THIRSTIEST = 2.0
"""Times the reckoned demand that a species may have, as the measurements spread."""
UNNOTICED = 8 * 3600.0
"""s. A night in which nobody looks. Common practice."""
SLOWEST, FASTEST = 0.005 / 3600, 0.04 / 3600
"""m/s at Schmidt number 600. Lakes without wind: 2.07 cm/h; a quarter to twice that for still water in a tank. Common
practice: nothing was found for tanks."""


@dataclass(frozen=True)
class FishGroup:
    name: str = param(TEXT, doc="What the fish are called.")
    count: int = param(COUNT, doc="How many.", ge=1)
    mass_of_one: float = param("mass", doc="Of one fish, as a mean.", ge=LIGHTEST_FISH, le=HEAVIEST_FISH)
    activity: float = param(
        "number",
        doc="Times the resting rate: 1 at rest, 2 as fish swim about by day, up to 4 after a meal or in a current.",
        ge=1,
        le=6,
        default=ROUTINE,
    )


@dataclass(frozen=True)
class Inputs:
    volume: float = param(
        "volume",
        doc="Of the water that the fish are left with. When pumps stop each tank has its own alone: ask for that one.",
        gt=0,
        role="tanks_water",
    )
    temperature: float = measured_temperature()
    feed: float = param(
        "mass_flow",
        doc="Dry feed a day, whose ammonia the filter turns into nitrate with oxygen; 0 where none is fed.",
        ge=0,
        role="daily_feed",
    )
    fish_mass: float | None = param(
        "mass", doc="Of all fish together, with mean_fish_mass. Or say groups.", gt=0, default=None
    )
    mean_fish_mass: float | None = param(
        "mass",
        doc="Of one fish as a mean: a gram of small fish uses more than a gram of large.",
        ge=LIGHTEST_FISH,
        le=HEAVIEST_FISH,
        default=None,
    )
    activity: float = param(
        "number",
        doc="Of fish told by mass, times the resting rate: 1 at rest, 2 as fish swim about, up to 4 after a meal.",
        ge=1,
        le=6,
        default=ROUTINE,
    )
    groups: tuple[FishGroup, ...] = parts(
        FishGroup,
        doc="The fish by groups, each with its size. Or say fish_mass.",
        key="name",
        role="fish_groups",
        rests_on=("fish_mass", "mean_fish_mass"),
        may_add=True,
    )
    protein: float = param(
        "fraction",
        doc="Of the feed. Left out: 40 %, common practice.",
        ge=0,
        le=1,
        default=USUAL_PROTEIN,
        role="feed_protein",
    )
    dissolved_oxygen: float | None = param(
        "concentration",
        doc="Oxygen at the start. Left out: all that the water holds.",
        ge=0,
        default=None,
        role="latest.dissolved_oxygen",
    )
    least_oxygen: float = param(
        "concentration",
        doc="To which it may fall. Left out: 3 mg/L, least for warm-water fish; cold-water fish need 5.",
        ge=0,
        default=LEAST.value,
    )
    open_surface: float | None = param(
        "area",
        doc="Of the water that is open to the air, not under glass that lies on it or a cover of floating plants.",
        ge=0,
        default=None,
        role="water_surface",
    )
    slowest_exchange: float = param(
        "velocity",
        doc="Gas exchange of still water at least, at Schmidt number 600. Left out: 5 mm/h, common practice.",
        unit="mm/h",
        ge=0,
        le=1e-3,
        default=SLOWEST,
    )
    fastest_exchange: float = param(
        "velocity",
        doc="Gas exchange of still water at most, at Schmidt number 600. Left out: 40 mm/h, common practice.",
        unit="mm/h",
        ge=0,
        le=1e-3,
        default=FASTEST,
    )
    unattended: float = param(
        "time",
        doc="How long nobody may notice that air and pumps stand still. Left out: 8 h, a night.",
        gt=0,
        default=UNNOTICED,
    )
    pressure: float | None = air_pressure()
    altitude: float | None = altitude()
    salinity: float = water_salinity()


@dataclass(frozen=True)
class Lot:
    """Fish of one size. `count` may be broken where all are told by mass."""

    name: str
    count: float
    mass_of_one: float
    activity: float
    temperature: float

    @property
    def mass(self) -> float:
        return self.count * self.mass_of_one

    @property
    def demand(self) -> float:
        return self.count * respiration(self.mass_of_one, self.temperature, self.activity)


def lots(given: Inputs) -> tuple[Lot, ...]:
    """The fish told, by mass or by groups. Raises Invalid for both, none, or less than one fish."""
    by_mass = given.fish_mass is not None or given.mean_fish_mass is not None
    if by_mass and given.groups:
        _refuse("/groups", "Say the fish once: fish_mass with mean_fish_mass, or groups.")
    if given.groups:
        return tuple(
            Lot(one.name, one.count, one.mass_of_one, one.activity, given.temperature) for one in given.groups
        )
    if given.fish_mass is None:
        _refuse("/fish_mass", "Say the fish: fish_mass, of all together, with mean_fish_mass; or groups.")
    if given.mean_fish_mass is None:
        _refuse(
            "/mean_fish_mass", "Say mean_fish_mass too: a gram of small fish uses more than a gram of large."
        )
    assert given.fish_mass is not None and given.mean_fish_mass is not None
    if given.fish_mass < given.mean_fish_mass:
        _refuse(
            "/fish_mass",
            f"All fish weigh {show(given.fish_mass, 'mass')}, less than one of {show(given.mean_fish_mass, 'mass')}.",
        )
    count = given.fish_mass / given.mean_fish_mass
    return (Lot("fish", count, given.mean_fish_mass, given.activity, given.temperature),)


def _refuse(pointer: str, words: str) -> None:
    raise Invalid(words, faults=[Fault(pointer, words)])


def said(oxygen: float) -> str:
    return near(oxygen, "concentration", "mg/L")


def hours(time: float | None) -> str:
    return "for good" if time is None else less(time, "time", "h")


@dataclass(frozen=True)
class Budget:
    """Oxygen that is there, and what uses it. SI."""

    given: Inputs
    lots: tuple[Lot, ...]
    air: Air

    @property
    def fish_mass(self) -> float:
        return math.fsum(lot.mass for lot in self.lots)

    @cached_property
    def of_fish(self) -> float:
        return math.fsum(lot.demand for lot in self.lots)

    @property
    def nitrogen(self) -> float:
        return ammonia_made(self.given.feed, self.given.protein)

    @property
    def of_filter(self) -> float:
        return self.nitrogen * WITHOUT_GROWTH.oxygen

    @property
    def demand(self) -> float:
        return self.of_fish + self.of_filter

    @property
    def carbon_dioxide(self) -> float:
        return self.of_fish * CARBON_DIOXIDE_TO_OXYGEN

    @property
    def start(self) -> float:
        told = self.given.dissolved_oxygen
        return self.air.saturation if told is None else told

    @property
    def usable(self) -> float:
        """kg above the least."""
        return max(self.start - self.given.least_oxygen, 0.0) * self.given.volume

    def through_surface(self, k600: float) -> float | None:
        """m3/s whose oxygen the surface brings to the air's."""
        surface = self.given.open_surface
        return None if surface is None else transfer_velocity(k600, self.given.temperature) * surface

    def run_out(self, exchange: float = 0.0) -> Depletion:
        return Depletion(self.start, self.air.saturation, self.demand, self.given.volume, exchange)

    @cached_property
    def slow(self) -> Depletion | None:
        exchange = self.through_surface(self.given.slowest_exchange)
        return None if exchange is None else self.run_out(exchange)

    @cached_property
    def fast(self) -> Depletion | None:
        exchange = self.through_surface(self.given.fastest_exchange)
        return None if exchange is None else self.run_out(exchange)

    def time_of(self, one: Depletion | None) -> float | None:
        return None if one is None else one.time_to(self.given.least_oxygen)

    @property
    def sealed(self) -> float:
        time = self.run_out().time_to(self.given.least_oxygen)
        assert time is not None, "fish always use oxygen"
        return time

    @property
    def lasts_for_any(self) -> bool:
        """Whether it lasts long enough, with no air, for a species that uses the most too."""
        return self.sealed / THIRSTIEST >= self.given.unattended

    @property
    def verdict(self) -> str:
        if self.start <= self.given.least_oxygen:
            return OVER
        if self.sealed >= self.given.unattended:
            return OK if self.lasts_for_any and self.given.dissolved_oxygen is not None else WATCH
        if self.fast is None:
            return UNKNOWN
        longest = self.time_of(self.fast)
        return WATCH if longest is None or longest >= self.given.unattended else OVER

    @property
    def why(self) -> str:
        least, wait = said(self.given.least_oxygen), hours(self.given.unattended)
        if self.start <= self.given.least_oxygen:
            return f"The water starts with {said(self.start)}, no more than the {least} that must be there."
        shut = f"With no air at all it lasts {hours(self.sealed)} until {least}"
        if self.sealed >= self.given.unattended:
            return " ".join((f"{shut}, no less than the {wait} in which nobody may notice.", *self._doubts))
        if self.verdict == UNKNOWN:
            return f"{shut}, less than {wait}. What the surface lets in is unknown: say open_surface."
        still = f"{shut}, and through a still surface {self._span}"
        if self.verdict == WATCH:
            return f"{still}: whether that covers {wait} nobody can promise."
        return f"{still}: less than the {wait} in which nobody may notice."

    @property
    def _doubts(self) -> tuple[str, ...]:
        """What keeps a time that is long enough from being ok."""
        half = hours(self.sealed / THIRSTIEST)
        told = (
            (not self.lasts_for_any, f"But some species use twice as much: then it lasts {half}."),
            (
                self.given.dissolved_oxygen is None,
                "The oxygen at the start isn't told, and mornings have less than the water can hold: test it before light.",
            ),
        )
        return tuple(words for holds, words in told if holds)

    @property
    def _span(self) -> str:
        slow, fast = hours(self.time_of(self.slow)), hours(self.time_of(self.fast))
        return slow if slow == fast else f"{slow} to {fast}" if fast != "for good" else f"{slow} or {fast}"
