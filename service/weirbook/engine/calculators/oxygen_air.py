"""The air over the water, told alike by what reckons with oxygen: its pressure, and what water holds under it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

from weirbook.engine.calculators.air_pressure import STANDARD_ATMOSPHERE, pressure_step
from weirbook.engine.relations.air import ATMOSPHERE, standard_pressure
from weirbook.engine.relations.oxygen import (
    PRESSURES,
    SALTED,
    SOLUBLE,
    THETA,
    VAPOUR,
    WARMEST_SOLUBLE,
    departure,
    pressure_factor,
    saturation_at_the_sea,
    vapour_pressure,
)
from weirbook.engine.saying import near
from weirbook.engine.shape import Assumption, Caution, Source, Step, param, show, six, step
from weirbook.errors import Fault, Invalid

APART = 0.05
"""Share by which a told pressure may miss that of the altitude: weather moves it by 3 %. Common practice."""

MOST_SALT = 0.04
"""kg/kg that the solubility of oxygen was measured to."""


def air_pressure() -> Any:
    return param(
        "pressure",
        doc="Of the air where the tanks stand, not reduced to sea level as weather reports have it. Goes before the"
        " altitude.",
        gt=0,
        le=1e6,
        default=None,
    )


def altitude() -> Any:
    return param(
        "length",
        doc="Above the sea, for the usual pressure of the air there. With neither: at the sea.",
        unit="m",
        ge=-500,
        le=9000,
        default=None,
        role="altitude",
    )


def water_salinity() -> Any:
    return param(
        "salinity",
        doc="Salts dissolved in the water. Left out: none, which tells the most oxygen.",
        ge=0,
        le=0.05,
        default=0.0,
    )


class Told(Protocol):
    """Inputs that tell the air and the water."""

    @property
    def temperature(self) -> float: ...
    @property
    def pressure(self) -> float | None: ...
    @property
    def altitude(self) -> float | None: ...
    @property
    def salinity(self) -> float: ...


@dataclass(frozen=True)
class Air:
    """What water holds under the air that was told. Raises Invalid where it would boil."""

    told: Told

    def __post_init__(self) -> None:
        if self.pressure <= vapour_pressure(self.told.temperature):
            words = (
                f"Water of {show(self.told.temperature, 'temperature')} boils under so little air. The usual pressure"
                f" is {show(ATMOSPHERE, 'pressure')} at the sea: check the unit."
            )
            raise Invalid(words, faults=[Fault("/pressure", words)])

    @cached_property
    def pressure(self) -> float:
        if self.told.pressure is not None:
            return self.told.pressure
        return ATMOSPHERE if self.told.altitude is None else standard_pressure(self.told.altitude)

    @cached_property
    def saturation(self) -> float:
        return self.at(self.told.temperature)

    def at(self, temperature: float) -> float:
        """What the same water holds at another temperature, K; nothing where it boils."""
        factor = pressure_factor(temperature, self.pressure)
        return saturation_at_the_sea(temperature, self.told.salinity) * max(factor, 0.0)

    @property
    def steps(self) -> list[Step]:
        told = self.told
        at_sea = saturation_at_the_sea(told.temperature, told.salinity)
        if self.pressure == ATMOSPHERE:
            return [*self._altitude_steps(), *_sea_steps(told, at_sea)]
        return [
            *self._altitude_steps(),
            *_sea_steps(told, at_sea),
            *_pressure_steps(told.temperature, self.pressure, at_sea),
        ]

    def _altitude_steps(self) -> list[Step]:
        if self.told.altitude is None or self.told.pressure is not None:
            return []
        return [pressure_step(self.told.altitude)]

    @property
    def assumptions(self) -> list[Assumption]:
        told = self.told
        if told.pressure is not None:
            words = "The pressure was measured where the tanks stand."
            found = [Assumption(words, "given")]
        elif told.altitude is not None:
            words = "The air has the usual pressure of that altitude; weather moves it by 3 % either way."
            found = [Assumption(words, "default")]
        else:
            words = (
                "The tanks stand at the level of the sea, 101.325 kPa. Water holds about 1.2 % less oxygen for each"
                " 100 m above it: say the altitude."
            )
            found = [Assumption(words, "default")]
        if not told.salinity:
            found.append(
                Assumption("The water has no salts; 1 g/kg of them takes 0.6 % off the oxygen.", "default")
            )
        return found

    @property
    def cautions(self) -> list[Caution]:
        told, found = self.told, []
        if told.pressure is not None and told.altitude is not None:
            usual = standard_pressure(told.altitude)
            if abs(told.pressure / usual - 1) > APART:
                words = (
                    f"The pressure told is far from the {near(usual, 'pressure', 'kPa')} that are usual at this altitude."
                    " Weather reports reduce it to sea level: take it where the tanks stand."
                )
                found.append(Caution("pressure-and-altitude", words, show(usual, "pressure")))
        beyond = told.temperature > WARMEST_SOLUBLE or told.salinity > MOST_SALT
        if beyond or not PRESSURES[0] <= self.pressure <= PRESSURES[1]:
            words = (
                "The solubility was measured from 0 to 40 °C, to 40 g/kg of salt and from half an atmosphere up: here it"
                " is less certain."
            )
            found.append(Caution("outside-the-formula", words, "0 to 40 degC, 40 g/kg, 0.5 to 1.1 atm"))
        return found


def _sea_steps(told: Told, at_sea: float) -> list[Step]:
    """ln C, and C, under one atmosphere."""
    a, b, c, d, e = SOLUBLE
    words = f"{b} ÷ {{T}} − {-c:.0f} ÷ {{T}} ^ 2 + {d:.0f} ÷ {{T}} ^ 3 − {-e:.0f} ÷ {{T}} ^ 4 − {-a}"
    numbers = {
        "temperature": show(told.temperature, "temperature"),
        "T": str(six(told.temperature)),
        "salinity": show(told.salinity, "salinity"),
    }
    if told.salinity:
        f, g, h = SALTED
        words += f" − {{salinity}} × ({f} − {-g} ÷ {{T}} + {h} ÷ {{T}} ^ 2)"
    logarithm = _logarithm(at_sea)
    numbers["logarithm"] = str(six(logarithm))
    return [
        step("T, in kelvin", "{temperature} + 273.15", numbers, told.temperature, "number"),
        step("logarithm of the oxygen in mg/L", words, numbers, logarithm, "number"),
        step(
            "oxygen that water holds under one atmosphere",
            "exp({logarithm})",
            numbers,
            at_sea,
            "concentration",
        ),
    ]


def _logarithm(kilograms: float) -> float:
    return math.log(kilograms * 1000)


def _pressure_steps(temperature: float, pressure: float, at_sea: float) -> list[Step]:
    vapour, theta = vapour_pressure(temperature) / ATMOSPHERE, departure(temperature)
    factor = pressure_factor(temperature, pressure)
    numbers = {
        "temperature": show(temperature, "temperature"),
        "T": str(six(temperature)),
        "pressure": show(pressure, "pressure"),
        "p": str(six(pressure / ATMOSPHERE)),
        "vapour": str(six(vapour)),
        "theta": str(six(theta)),
        "at_one_atmosphere": show(at_sea, "concentration"),
        "factor": str(six(factor)),
    }
    (a, b, c), (d, e, f) = VAPOUR, THETA
    by_pressure = "{p} × (1 − {vapour} ÷ {p}) × (1 − {theta} × {p}) ÷ ((1 − {vapour}) × (1 − {theta}))"
    return [
        step("p, in atmospheres", "{pressure} ÷ 101.325", numbers, pressure / ATMOSPHERE, "number"),
        step(
            "vapour, in atmospheres",
            f"exp({a} − {-b} ÷ {{T}} − {-c:.0f} ÷ {{T}} ^ 2)",
            numbers,
            vapour,
            "number",
        ),
        step(
            "theta, how oxygen departs from an ideal gas",
            f"{d} − {-e:.8f} × {{temperature}} + {f:.11f} × {{temperature}} ^ 2",
            numbers,
            theta,
            "number",
        ),
        step("factor of the pressure", by_pressure, numbers, factor, "number"),
        step(
            "oxygen that water holds under this pressure",
            "{at_one_atmosphere} × {factor}",
            numbers,
            at_sea * factor,
            "concentration",
        ),
    ]


SOURCES = (
    Source(
        "Benson, B. B., Krause, D.",
        1984,
        "The concentration and isotopic fractionation of oxygen dissolved in freshwater and seawater",
        "Limnol. Oceanogr. 29, 620, in the form of APHA Standard Methods 4500-O",
        "Terms of temperature read, those of salt and pressure from memory; held to the printed table of EN 25814 and"
        " to Garcia and Gordon (1992). Older tables give 9.2 for 9.09 mg/L at 20 °C; scaling by pressure alone errs by"
        " up to 0.05 mg/L.",
    ),
    STANDARD_ATMOSPHERE,
)
