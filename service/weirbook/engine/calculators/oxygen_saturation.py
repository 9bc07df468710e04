"""How much oxygen the water can hold, and how near to that it is."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.oxygen_air import SOURCES, Air, air_pressure, altitude, water_salinity
from weirbook.engine.calculators.told import measured_temperature
from weirbook.engine.relations.limits import LIMITS as BOUNDS
from weirbook.engine.relations.limits import NRAC111, STATE
from weirbook.engine.saying import near
from weirbook.engine.shape import (
    TEXT,
    Assumption,
    Calculator,
    Caution,
    Result,
    Source,
    Step,
    Working,
    param,
    show,
    step,
)

OK, WATCH, OVER, UNKNOWN = "ok", "watch", "over", "unknown"
LEAST, COLD, WANTED = BOUNDS["oxygen_warm"], BOUNDS["oxygen_cold"], BOUNDS["oxygen_objective"]

SUPERSATURATED = 1.1
"""Share of saturation from which on bubbles are to be feared: the US criterion for all gases together (1986, from
memory), here by common practice for oxygen alone."""

WARMER = 5.0
"""K by which a hot day or a heater stuck on may warm the water. Common practice."""


@dataclass(frozen=True)
class Inputs:
    temperature: float = measured_temperature()
    pressure: float | None = air_pressure()
    altitude: float | None = altitude()
    salinity: float = water_salinity()
    dissolved_oxygen: float | None = param(
        "concentration",
        doc="Oxygen measured in the water. Left out: only what it can hold is told.",
        ge=0,
        default=None,
        role="latest.dissolved_oxygen",
    )
    least_oxygen: float = param(
        "concentration",
        doc="Under which it must not fall. Left out: 3 mg/L, least for warm-water fish; cold-water fish need 5.",
        gt=0,
        default=LEAST.value,
    )


def said(oxygen: float) -> str:
    return near(oxygen, "concentration", "mg/L")


@dataclass(frozen=True)
class Oxygen:
    """Oxygen in one water beside what it can hold. SI."""

    given: Inputs
    air: Air

    @property
    def measured(self) -> float | None:
        return self.given.dissolved_oxygen

    @cached_property
    def share(self) -> float | None:
        return None if self.measured is None else self.measured / self.air.saturation

    @property
    def wanted(self) -> float:
        return max(WANTED.value, self.given.least_oxygen)

    @property
    def verdict(self) -> str:
        if self.measured is None or self.share is None:
            return UNKNOWN
        if self.measured < self.given.least_oxygen:
            return OVER
        return WATCH if self.measured < self.wanted or self.share > SUPERSATURATED else OK

    @property
    def why(self) -> str:
        least = said(self.given.least_oxygen)
        if self.measured is None or self.share is None:
            return f"Not measured; this water can hold {said(self.air.saturation)}."
        found = f"{said(self.measured)} was measured, {near(self.share, 'fraction', '%')} of what it can hold"
        if self.measured < self.given.least_oxygen:
            return f"{found}: less than the {least} that must be there."
        if self.measured < self.wanted:
            return f"{found}: not under the {least} that must be there, but less than the {said(self.wanted)} wanted."
        if self.share > SUPERSATURATED:
            return f"{found}: so much more than air gives it leaves as bubbles, in fish too."
        return f"{found}: enough."


def solve(given: Inputs) -> Working:
    """Oxygen that the water holds in balance with air, and the share of it that was measured.

    Equations: `saturation` (Benson and Krause) at the pressure told or usual at the altitude (`standard_pressure`);
    share = measured / saturation.
    Shapes and units: SI, see `Inputs`.
    Valid for: 0 to 40 degC, 0.5 to 1.1 atm, to 40 g/kg of salt.
    Uncertainty: 0.2 % of the saturation, 3 % of weather where the pressure is not measured; a probe 2 to 5 %.
    Raises: Invalid for ice, water that boils under the pressure told, negative oxygen.
    Source: see SOURCES.
    Not covered: air pressed into water by deep pumps or leaks on a suction side, which holds more.
    """
    found = Oxygen(given, Air(given))
    missing = None if found.measured is None else found.air.saturation - found.measured
    values = {
        "verdict": found.verdict,
        "why": found.why,
        "pressure": found.air.pressure,
        "saturation": found.air.saturation,
        "share": found.share,
        "missing": missing,
        "saturation_warmer": found.air.at(given.temperature + WARMER),
    }
    steps = [*found.air.steps, *_measured_steps(found)]
    return Working(values, steps, _assumptions(found), _cautions(found))


def _measured_steps(found: Oxygen) -> list[Step]:
    if found.measured is None or found.share is None:
        return []
    holds = found.air.saturation
    numbers = {"measured": show(found.measured, "concentration"), "saturation": show(holds, "concentration")}
    return [
        step(
            "share of saturation, in %", "{measured} ÷ {saturation} × 100", numbers, found.share, "fraction"
        ),
        step(
            "missing to saturation",
            "{saturation} − {measured}",
            numbers,
            holds - found.measured,
            "concentration",
        ),
    ]


def _assumptions(found: Oxygen) -> list[Assumption]:
    told = [*found.air.assumptions]
    if found.given.least_oxygen == LEAST.value:
        words = (
            f"Least oxygen: {show(LEAST.value, LEAST.kind)}, {LEAST.words}; cold-water fish need"
            f" {show(COLD.value, COLD.kind)}."
        )
        told.append(Assumption(words, LEAST.origin))
    if found.wanted == WANTED.value:
        told.append(Assumption(f"Wanted: {show(WANTED.value, WANTED.kind)}, {WANTED.words}.", WANTED.origin))
    return told


def _cautions(found: Oxygen) -> list[Caution]:
    told = []
    if found.verdict == OVER:
        told.append(Caution("too-little-oxygen", ACT_NOW, show(found.given.least_oxygen, "concentration")))
    if found.share is not None and found.share > SUPERSATURATED:
        told.append(Caution("gas-bubbles", BUBBLES, show(SUPERSATURATED, "fraction")))
    if found.air.saturation < found.wanted:
        words = (
            f"Even full of air this water holds no more than {said(found.air.saturation)}: only cooler water, not more"
            " air, brings what is wanted."
        )
        told.append(Caution("cannot-hold-enough", words, show(found.wanted, "concentration")))
    warmer = said(found.air.at(found.given.temperature + WARMER))
    told.append(
        Caution(
            "warmth-takes-oxygen",
            f"{near(WARMER, 'temperature_difference', 'K')} warmer it would hold {warmer}, while fish, bacteria and"
            " rot use more.",
        )
    )
    if found.measured is not None:
        told.append(LOWEST_AT_DAWN)
    return [*told, *found.air.cautions]


ACT_NOW = (
    "Bring air in at once: air stones, a pump's outlet above the water, the cover off. Feed nothing, and see whether"
    " pump, air and filter run. Cool slowly; a water change helps if its water is aerated and no warmer."
)
BUBBLES = (
    "By day strong plant growth does this, and stirring the surface ends it. If no plants explain it look for air drawn"
    " in on a pump's suction side: all gases are then too high, and bubbles in fins and eyes kill."
)
LOWEST_AT_DAWN = Caution(
    "lowest-at-dawn",
    "Oxygen is lowest before the lights come on and under a closed cover of floating plants: measure there and then. A"
    " probe drifts; check it in air-soaked water.",
)

OXYGEN_SATURATION = Calculator(
    name="oxygen-saturation",
    title="Oxygen saturation",
    doc=(
        "How much oxygen water holds in balance with air, by its temperature, salt and the pressure of the air or the"
        " altitude; with a measurement also the share of that, and whether it is enough or so much that gas bubbles"
        " are to be feared."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "ok; watch: less than wanted, or over 110 % of saturation; over: past the limit, too little; unknown:"
            " not measured.",
        ),
        Result("why", TEXT, "What the verdict rests on."),
        Result("pressure", "pressure", "Of the air, as told or usual at the altitude."),
        Result("saturation", "concentration", "Oxygen that the water holds in balance with air."),
        Result("share", "fraction", "What was measured, of that; none if nothing was."),
        Result("missing", "concentration", "What it could still take up; below 0 it has too much."),
        Result("saturation_warmer", "concentration", "What it would hold 5 K warmer."),
    ),
    limits=(
        "0 to 40 °C, half an atmosphere to 1.1, to 40 g/kg of salt. Outside: answered with a caution.",
        "Balance with air at the surface. Air pressed into deep water or on a pump's suction side gives more.",
        "The limits are for fish in general: fry, fish of running water and sick fish need more.",
    ),
    sources=(
        *SOURCES,
        NRAC111,
        STATE,
        Source(
            "US EPA",
            1986,
            "Quality criteria for water",
            "total dissolved gas: 110 % of saturation",
            "From memory; speaks of all gases together.",
        ),
    ),
    solve=solve,
    example={"temperature": "26 degC", "altitude": "600 m", "dissolved_oxygen": "6.4 mg/L"},
    doors=("systems",),
)
