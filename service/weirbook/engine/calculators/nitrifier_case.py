"""What the surface for nitrifying bacteria must be told, and how it comes out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.food import daily_feed, feed_protein, nitrogen_made
from weirbook.engine.calculators.told import measured_temperature
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.relations.nitrifiers import FAO_GRAVEL, Rates, areal_rates
from weirbook.engine.relations.nitrogen import LEAST_ALKALINITY, LEAST_OXYGEN, ammonia_made
from weirbook.engine.relations.nutrients import KG_N_A_MOLE
from weirbook.engine.saying import near
from weirbook.engine.shape import TEXT, param, parts
from weirbook.engine.units import to_si

MUCH_CARRIED, TOO_MUCH_CARRIED = (to_si(milligrams, "mg/L NH3-N", "ammonia") for milligrams in (0.1, 1))
"""Total ammonia that the water must carry for the flow to bring it all: from the first a slow flow is watched, from
the second it is too slow. Common practice, no source."""


@dataclass(frozen=True)
class MediaSection:
    name: str = param(TEXT, doc="What the section is called.")
    media_volume: float = param("volume", doc="Of its media, gaps and all.", gt=0)
    specific_surface: float = param(
        "specific_surface", doc="Of its media, gaps and all: what the data sheet says is protected.", gt=0
    )


@dataclass(frozen=True)
class Inputs:
    temperature: float = measured_temperature(hottest=to_si(45, "degC", "temperature"))
    feed: float | None = daily_feed(default=None)
    protein: float | None = feed_protein(default=None)
    ammonia: float | None = param(
        "mass_flow",
        doc="Ammonia made a day, as nitrogen, if you know it; goes before food and protein.",
        unit="mg/d",
        ge=0,
        default=None,
    )
    sections: tuple[MediaSection, ...] = parts(
        MediaSection,
        doc="Sections with media that bacteria grow on and the water flows through.",
        role="nitrifier_media",
        key="name",
        may_add=True,
    )
    areal_rate: float | None = param(
        "areal_rate",
        doc="Your own figure for the media, as nitrogen. Left out: the published range.",
        gt=0,
        default=None,
    )
    specific_surface: float | None = param(
        "specific_surface",
        doc="Of media that might be added. Left out: that of the first section, or of fine gravel.",
        gt=0,
        default=None,
    )
    flow: float | None = param("flow", doc="Through the media.", gt=0, default=None, role="through_flow")
    dissolved_oxygen: float | None = param(
        "concentration", doc="At the media.", ge=0, default=None, role="latest.dissolved_oxygen"
    )
    alkalinity: float | None = param(
        "alkalinity", doc="Of the water.", ge=0, default=None, role="latest.alkalinity"
    )
    ph: float | None = param("ph", doc="Of the water.", ge=0, le=14, default=None, role="latest.ph")


@dataclass(frozen=True)
class Surface:
    """The surface needed and there, and what speaks for and against it."""

    given: Inputs

    @cached_property
    def made(self) -> float:
        """kg N/s of ammonia. Raises Invalid where neither it nor the food is told."""
        given = self.given
        return nitrogen_made(given.ammonia, "the ammonia made a day", given.feed, given.protein)

    @cached_property
    def rates(self) -> Rates:
        own = self.given.areal_rate
        return areal_rates(self.given.temperature) if own is None else Rates(own, own, own)

    @property
    def needed(self) -> float:
        return self.made / self.rates.design

    @property
    def needed_low(self) -> float:
        return self.made / self.rates.high

    @property
    def needed_high(self) -> float:
        return self.made / self.rates.low

    @property
    def present(self) -> float | None:
        """None where no section is told."""
        if not self.given.sections:
            return None
        return sum(one.media_volume * one.specific_surface for one in self.given.sections)

    @property
    def added_surface(self) -> float:
        """m2/m3 of media that might be added."""
        if self.given.specific_surface is not None:
            return self.given.specific_surface
        return self.given.sections[0].specific_surface if self.given.sections else FAO_GRAVEL

    @property
    def short(self) -> float:
        """m2 that lack."""
        return max(self.needed - (self.present or 0.0), 0.0)

    @property
    def feed_carried(self) -> float | None:
        """kg/s of the food told that the surface there carries by the design rate."""
        if self.present is None or self.given.protein is None:
            return None
        return self.present * self.rates.design / ammonia_made(1.0, self.given.protein)

    @property
    def least_ammonia(self) -> float | None:
        """mol/m3 that the water must carry so that the flow brings the bacteria what is made, as if one pass took
        all of it; None where no flow is told."""
        return None if self.given.flow is None else self.made / self.given.flow / KG_N_A_MOLE

    @property
    def carried(self) -> tuple[str, str]:
        """Whether the flow is too slow for the ammonia, and a sentence on it; ok and "" where it isn't."""
        least = self.least_ammonia or 0.0
        if least <= MUCH_CARRIED:
            return "ok", ""
        return ("over" if least > TOO_MUCH_CARRIED else "watch"), (
            f"The flow is too slow: the water must carry {near(least, 'ammonia', 'mg/L NH3-N')} of ammonia or more"
            " before all that is made reaches the media."
        )

    @property
    def untold(self) -> list[str]:
        """Conditions that no test tells."""
        given = self.given
        asked = (
            ("oxygen at the media", given.dissolved_oxygen),
            ("alkalinity", given.alkalinity),
            ("pH", given.ph),
        )
        return [words for words, value in asked if value is None]

    @cached_property
    def hindered(self) -> list[str]:
        """Conditions under which bacteria work slowly, in words."""
        given, told = self.given, []
        if given.dissolved_oxygen is not None and given.dissolved_oxygen < LEAST_OXYGEN:
            told.append(f"oxygen is below {near(LEAST_OXYGEN, 'concentration', 'mg/L')}")
        if given.alkalinity is not None and given.alkalinity < LEAST_ALKALINITY:
            told.append(f"alkalinity is below {near(LEAST_ALKALINITY, 'alkalinity', 'dKH')}")
        if given.ph is not None and given.ph < LIMITS["ph_low"].value:
            told.append(f"pH is below {LIMITS['ph_low'].value:g}")
        return told

    @property
    def verdict(self) -> tuple[str, str]:
        level, why = self._by_surface
        by_flow, slow = self.carried
        if by_flow == "over" or (level == "ok" and by_flow == "watch"):
            level = by_flow
        told = [why, slow] if slow else [why]
        if self.hindered:
            level = "watch" if level == "ok" else level
            told.append(f"But {' and '.join(self.hindered)}: bacteria work slowly.")
        if self.untold:
            told.append(f"Taken as enough, as no test tells it: {', '.join(self.untold)}.")
        return level, " ".join(told)

    @property
    def _by_surface(self) -> tuple[str, str]:
        needed, present = near(self.needed, "area", "m2"), self.present
        if present is None:
            return "unknown", f"About {needed} are needed; no section with media is told."
        there = near(present, "area", "m2")
        if present < self.needed_low:
            return (
                "over",
                f"The media have {there}, and even the best published rate needs"
                f" {near(self.needed_low, 'area', 'm2')}: ammonia will rise.",
            )
        if present < self.needed:
            words = "Only faster biofilm than usual would do: test ammonia often, and feed no more."
            return "watch", f"The media have {there} of about {needed} needed. {words}"
        if present < self.needed_high:
            return (
                "ok",
                f"The media have {there}, more than the {needed} usually reckoned; slow biofilm could need"
                f" {near(self.needed_high, 'area', 'm2')}.",
            )
        return "ok", f"The media have {there}, more than even slow biofilm needs."
