"""What pH, alkalinity and CO2 must be told, and what can't belong to one water."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.told import USUAL_TEMPERATURE
from weirbook.engine.relations.air import ATMOSPHERE, standard_pressure
from weirbook.engine.relations.carbonate import (
    CO2_MASS,
    Carbon,
    Equilibria,
    calcite_index,
    carbonate_alkalinity,
    co2_under_gas,
    equilibria,
    from_alkalinity,
    ph_at,
)
from weirbook.engine.relations.chemistry import molar_mass
from weirbook.engine.relations.conductivity import ionic_strength
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.relations.water import FREEZING, HOTTEST
from weirbook.engine.saying import near
from weirbook.engine.shape import param, show
from weirbook.engine.units import to_si
from weirbook.errors import Fault, Invalid

OPEN_AIR = 420e-6
"""Share of CO2 in the open air, by volume, as measured worldwide about 2023; from memory. It rises by 2.5e-6 a year."""
PH_ERROR, ALKALINITY_ERROR = 0.2, to_si(0.5, "dKH", "alkalinity")
"""Of usual tests by drops and colours, the second half a German degree. Common practice, no source."""
MOST_STRENGTH = 500.0
"""mol/m3, up to which Davies's equation serves; seawater has 700."""


@dataclass(frozen=True)
class Inputs:
    ph: float = param("ph", doc="The water's pH.", ge=0, le=14, role="latest.ph")
    alkalinity: float = param(
        "alkalinity",
        doc="The water's alkalinity (KH), of the same hour.",
        unit="meq/L",
        ge=0,
        le=100,
        role="latest.alkalinity",
    )
    temperature: float | None = param(
        "temperature",
        doc="Of the water. Left out: 25 °C.",
        ge=FREEZING,
        le=HOTTEST,
        default=None,
        role="water_temperature",
    )
    ionic_strength: float | None = param(
        "number",
        doc="In mmol/L, if known. Left out: guessed by the conductivity.",
        ge=0,
        le=MOST_STRENGTH,
        default=None,
    )
    conductivity: float | None = param(
        "conductivity",
        doc="At 25 °C. Left out too: the ionic strength is taken as the alkalinity, its least.",
        ge=0,
        le=3,
        default=None,
        role="latest.conductivity",
    )
    ph_error: float = param("ph", doc="By how much the pH may be off.", ge=0, le=2, default=PH_ERROR)
    alkalinity_error: float = param(
        "alkalinity",
        doc="By how much the alkalinity may be off.",
        unit="meq/L",
        ge=0,
        default=ALKALINITY_ERROR,
    )
    air_co2: float = param(
        "dilution",
        doc="CO2 of the air over the water, by volume: what a meter in the room calls ppm is uL/L. Open air has 420,"
        " a room with people in it often 1000.",
        unit="uL/L",
        gt=0,
        le=1,
        default=OPEN_AIR,
    )
    altitude: float = param(
        "length", doc="Above the sea.", unit="m", ge=-500, le=9000, default=0.0, role="altitude"
    )
    wanted_alkalinity: float | None = param(
        "alkalinity",
        doc="Tells the pH at this alkalinity, if the water keeps its CO2.",
        unit="meq/L",
        ge=0,
        le=100,
        default=None,
    )
    wanted_co2: float | None = param(
        "concentration",
        doc="Tells the pH at this CO2, if the water keeps its alkalinity.",
        gt=0,
        le=3.5,
        default=None,
    )
    calcium: float | None = param(
        "concentration",
        doc="By its own mass. Tells whether chalk dissolves or may fall out.",
        gt=0,
        default=None,
        role="latest.calcium",
    )
    co2_limit: float | None = param(
        "concentration",
        doc=f"The most CO2 for these animals. Left out: {show(LIMITS['co2_high'].value, 'concentration')}.",
        gt=0,
        default=None,
    )


@dataclass(frozen=True)
class Water:
    """The told water, with and without correction, and what it would be otherwise."""

    given: Inputs

    @property
    def temperature(self) -> float:
        """K. The usual one where none is told."""
        told = self.given.temperature
        return USUAL_TEMPERATURE if told is None else told

    @cached_property
    def strength(self) -> float:
        """mol/m3. What was told, or guessed by conductivity, or else the least: that of sodium bicarbonate."""
        if self.given.ionic_strength is not None:
            return self.given.ionic_strength
        if self.given.conductivity is not None:
            return ionic_strength(self.given.conductivity)
        return self.given.alkalinity

    @property
    def alkalinity_is_in_doubt(self) -> bool:
        """Whether it may be nothing at all, so that CO2 can't be had by it."""
        return self.given.alkalinity <= self.given.alkalinity_error

    @cached_property
    def at(self) -> Equilibria:
        return equilibria(self.temperature, self.strength)

    @cached_property
    def ideal_at(self) -> Equilibria:
        return equilibria(self.temperature)

    @cached_property
    def now(self) -> Carbon:
        return from_alkalinity(self.at, self.given.ph, self.given.alkalinity)

    @cached_property
    def ideal(self) -> Carbon:
        return from_alkalinity(self.ideal_at, self.given.ph, self.given.alkalinity)

    @cached_property
    def least_co2(self) -> float:
        """Were the pH higher and the alkalinity lower by their errors; kg/m3."""
        given = self.given
        high_ph, low = given.ph + given.ph_error, given.alkalinity - given.alkalinity_error
        return max(from_alkalinity(self.at, high_ph, low).co2, 0.0) * CO2_MASS

    @cached_property
    def most_co2(self) -> float:
        given = self.given
        low_ph, high = given.ph - given.ph_error, given.alkalinity + given.alkalinity_error
        return from_alkalinity(self.at, low_ph, high).co2 * CO2_MASS

    @cached_property
    def co2(self) -> float:
        """kg/m3."""
        return self.now.co2 * CO2_MASS

    @property
    def limit(self) -> float:
        return LIMITS["co2_high"].value if self.given.co2_limit is None else self.given.co2_limit

    @cached_property
    def co2_in_air(self) -> float:
        """mol/m3."""
        pressure = standard_pressure(self.given.altitude)
        return co2_under_gas(self.temperature, self.given.air_co2 * pressure)

    @cached_property
    def ph_in_air(self) -> float:
        return ph_at(self.at, self.given.alkalinity, self.co2_in_air)

    @cached_property
    def ph_in_air_ideal(self) -> float:
        return ph_at(self.ideal_at, self.given.alkalinity, self.co2_in_air)

    def ph_with(self, co2: float) -> float:
        """At the told alkalinity; mol/m3 of CO2."""
        return ph_at(self.at, self.given.alkalinity, co2)

    @cached_property
    def wanted_strength(self) -> float | None:
        """What comes or goes with the alkalinity is taken for sodium bicarbonate."""
        wanted = self.given.wanted_alkalinity
        return None if wanted is None else max(self.strength + wanted - self.given.alkalinity, 0.0)

    @cached_property
    def wanted_at(self) -> Equilibria | None:
        if self.wanted_strength is None:
            return None
        return equilibria(self.temperature, self.wanted_strength)

    @cached_property
    def ph_at_wanted_alkalinity(self) -> float | None:
        if self.wanted_at is None or self.given.wanted_alkalinity is None:
            return None
        return ph_at(self.wanted_at, self.given.wanted_alkalinity, self.now.co2)

    @cached_property
    def ph_at_wanted_co2(self) -> float | None:
        return None if self.given.wanted_co2 is None else self.ph_with(self.given.wanted_co2 / CO2_MASS)

    @cached_property
    def calcium(self) -> float | None:
        """mol/m3."""
        return None if self.given.calcium is None else self.given.calcium / molar_mass("Ca")

    @cached_property
    def saturation_index(self) -> float | None:
        if self.calcium is None:
            return None
        return calcite_index(self.at, self.temperature, self.calcium, self.now.carbonate)


def refuse_what_no_water_is(water: Water) -> None:
    """Raises Invalid where pH and alkalinity can't belong to one water under the open sky."""
    given = water.given
    told = f"pH {show(given.ph, 'ph').removesuffix(' pH')} and {near(given.alkalinity, 'alkalinity', 'dKH')}"
    if min(carbonate_alkalinity(at, given.ph, given.alkalinity) for at in (water.at, water.ideal_at)) <= 0:
        words = (
            f"{told} can't belong to one water: at that pH hydroxide alone makes up more alkalinity than was told, and"
            " nothing is left for carbonates. Measure both again; a test of 0 often means too little for the test."
        )
        raise Invalid(words, faults=[Fault("/alkalinity", words)])
    most = co2_under_gas(water.temperature, ATMOSPHERE) * CO2_MASS
    if water.ideal.co2 * CO2_MASS > most:
        words = (
            f"{told} can't belong to one water: that would be {near(water.co2, 'concentration', 'mg/L')} of CO2, and under"
            f" pure CO2 gas it takes up only {near(most, 'concentration', 'mg/L')}. Check the pH meter's calibration"
            " and the unit of the alkalinity, and measure both again."
        )
        raise Invalid(words, faults=[Fault("/ph", words)])
