"""How warm the tank is after a water change, and how hot and cold water make new water that fits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.exchange import BOILING, COLDEST, HOTTEST
from weirbook.engine.calculators.told import water_volume
from weirbook.engine.relations.changes import ROUNDING, mixed, share_to_reach, share_within
from weirbook.engine.relations.limits import LIMITS, PRACTICE, VET_NOTE
from weirbook.engine.saying import less, near, said
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
    refuse,
    show,
    step,
)
from weirbook.errors import Fault, Lack

STEP = LIMITS["temperature_an_hour"]

SCALDS = 323.15
"""50 degC: tap water from there on is said to scald within minutes. Common practice, no source."""

BURNS_ANIMALS = 318.15
"""45 degC: hotter water burns what it meets before it has mixed. Common practice, no source."""


@dataclass(frozen=True)
class Inputs:
    volume: float = water_volume()
    change_volume: float = param("volume", doc="Water to replace.", gt=0, role="change_volume")
    temperature: float = param(
        "temperature", doc="Of the tank.", ge=COLDEST, le=HOTTEST, role="water_temperature"
    )
    source_temperature: float | None = param(
        "temperature",
        doc="Of the new water, if it goes in as it is.",
        ge=COLDEST,
        le=BOILING,
        default=None,
        role="source.temperature",
    )
    hot_temperature: float | None = param(
        "temperature",
        doc="Of the hot water, if hot and cold are mixed.",
        ge=COLDEST,
        le=BOILING,
        default=None,
    )
    cold_temperature: float | None = param(
        "temperature",
        doc="Of the cold water, if hot and cold are mixed.",
        ge=COLDEST,
        le=BOILING,
        default=None,
    )
    mixed_temperature: float | None = param(
        "temperature",
        doc="That hot and cold should make together. Left out: the tank's.",
        ge=COLDEST,
        le=HOTTEST,
        default=None,
    )
    temperature_step: float = param(
        "temperature_difference",
        doc="The most that the change may cool or warm the tank.",
        gt=0,
        default=STEP.value,
    )


@dataclass(frozen=True)
class Warmth:
    """What follows from the inputs, each reckoned once."""

    given: Inputs

    @property
    def share(self) -> float:
        return self.given.change_volume / self.given.volume

    @property
    def wanted(self) -> float:
        """Of the mix of hot and cold."""
        told = self.given.mixed_temperature
        return self.given.temperature if told is None else told

    @property
    def blends(self) -> bool:
        return self.given.hot_temperature is not None

    @property
    def new(self) -> float:
        """Temperature of what goes in: hot and cold mixed if they are told, else the new water as it is."""
        if self.blends:
            return self.wanted
        assert self.given.source_temperature is not None
        return self.given.source_temperature

    @cached_property
    def after(self) -> float:
        return mixed(self.given.temperature, self.new, self.share)

    @property
    def moves(self) -> float:
        return self.after - self.given.temperature

    @property
    def fits(self) -> bool:
        return abs(self.moves) <= self.given.temperature_step * (1 + ROUNDING)

    @property
    def burns(self) -> bool:
        """Whether it is too hot to be poured where animals are, however little."""
        return self.new > BURNS_ANIMALS

    @property
    def verdict(self) -> str:
        if self.burns:
            return "over"
        return "ok" if self.fits else "watch"

    @property
    def span(self) -> float:
        """How far from the tank's the new water may be."""
        return self.given.temperature_step / self.share

    @property
    def largest(self) -> float:
        """Water of this temperature that may be changed at once."""
        if self.burns:
            return 0.0
        return self.given.volume * share_within(self.given.temperature, self.new, self.given.temperature_step)

    @property
    def hot_share(self) -> float | None:
        hot, cold = self.given.hot_temperature, self.given.cold_temperature
        return None if hot is None or cold is None else share_to_reach(cold, hot, self.wanted)

    @property
    def why(self) -> str:
        way = "cools" if self.moves < 0 else "warms"
        moved = near(abs(self.moves), "temperature_difference", "K")
        most = near(self.given.temperature_step, "temperature_difference", "K")
        if self.burns:
            return (
                f"Water of {said(self.new, 'temperature')} burns animals: never pour it into a tank with animals. Mix it with"
                f" cold water first, to near the tank's {said(self.given.temperature, 'temperature')}."
            )
        if not self.fits:
            water = less(self.largest, "volume", "L")
            return (
                f"Water of {said(self.new, 'temperature')} {way} the tank by {moved}, more than {most}: change at most"
                f" {water} of it at once, or bring it nearer the tank's {said(self.given.temperature, 'temperature')}."
            )
        if not self.moves:
            return f"The new water is as warm as the tank, {said(self.given.temperature, 'temperature')}."
        return f"Water of {said(self.new, 'temperature')} {way} the tank by {moved}, within {most}."


def solve(given: Inputs) -> Working:
    """The temperature of a tank after a change, and the mix of hot and cold water for it.

    Equations: T = T0 + f (Tn - T0), f = changed / all water; the new water may be m / f from the tank's; hot share
    of a mix = (T - Tc) / (Th - Tc).
    Shapes and units: SI, see `Inputs`.
    Valid for: water alone, mixed at once; heat capacity taken as the same from 0 to 100 degC (it is, within 1 %).
    Uncertainty: that of thermometers. Litres are those of their own temperature: hot water is up to 4 % lighter.
    Raises: Invalid for a change larger than all water, no new water, hot or cold alone, a mix that doesn't lie
    between hot and cold.
    Source: see SOURCES.
    Not covered: heat that glass, sand and rock hold (they soften the step), the heater, and the room's air.
    """
    _refuse(given)
    found = Warmth(given)
    hot = found.hot_share
    values = {
        "verdict": found.verdict,
        "why": found.why,
        "temperature_after": found.after,
        "temperature_change": found.moves,
        "largest_water": found.largest,
        "coolest_new": max(given.temperature - found.span, COLDEST),
        "warmest_new": min(given.temperature + found.span, max(given.temperature, BURNS_ANIMALS)),
        "hot_water": None if hot is None else hot * given.change_volume,
        "cold_water": None if hot is None else (1 - hot) * given.change_volume,
    }
    return Working(values, _steps(found), _assumptions(found), _cautions(found))


def _refuse(given: Inputs) -> None:
    faults = []
    hot, cold = given.hot_temperature, given.cold_temperature
    if given.change_volume > given.volume:
        words = f"This is more than all the water, {said(given.volume, 'volume')}: say at most that."
        faults.append(Fault("/change_volume", words))
    if hot is None and cold is None and given.source_temperature is None:
        words = "Say how warm the new water is: source_temperature, or hot_temperature and cold_temperature."
        faults.append(Lack("/source_temperature", words))
    for name, here, there in (("hot", hot, cold), ("cold", cold, hot)):
        if here is None and there is not None:
            words = f"To mix hot and cold both must be known: add {name}_temperature."
            faults.append(Lack(f"/{name}_temperature", words))
    if hot is None and cold is None and given.mixed_temperature is not None:
        words = "A mix needs what it is made of: add hot_temperature and cold_temperature."
        faults.append(Lack("/mixed_temperature", words))
    if hot is not None and cold is not None:
        faults += _of_the_taps(given, hot, cold)
    refuse(faults)


def _of_the_taps(given: Inputs, hot: float, cold: float) -> list[Fault]:
    wanted = Warmth(given).wanted
    if hot <= cold:
        words = f"The hot water must be warmer than the cold, {said(cold, 'temperature')}."
        return [Fault("/hot_temperature", words)]
    if cold <= wanted <= hot:
        return []
    by = "cold_temperature" if wanted < cold else "hot_temperature"
    words = (
        f"Water of {said(cold, 'temperature')} and {said(hot, 'temperature')} can't make {said(wanted, 'temperature')}:"
        " a mix lies between the two. Cool or heat one of them first."
    )
    return [Fault(f"/{by}", words)]


def _steps(found: Warmth) -> list[Step]:
    given, steps = found.given, []
    numbers = {
        "change": show(given.change_volume, "volume"),
        "volume": show(given.volume, "volume"),
        "share": show(found.share, "fraction", "1"),
        "tank": show(given.temperature, "temperature"),
        "new": show(found.new, "temperature"),
        "most": show(given.temperature_step, "temperature_difference"),
    }
    hot, cold = given.hot_temperature, given.cold_temperature
    steps.append(step("share changed", "{change} ÷ {volume}", numbers, found.share, "fraction", "1"))
    steps.append(
        step(
            "tank after it, in °C", "{tank} + {share} × ({new} − {tank})", numbers, found.after, "temperature"
        )
    )
    steps.append(
        step(
            "how far from the tank's the new water may be",
            "{most} ÷ {share}",
            numbers,
            found.span,
            "temperature_difference",
        )
    )
    if hot is not None and cold is not None and found.hot_share is not None:
        numbers |= {"hot": show(hot, "temperature"), "cold": show(cold, "temperature")}
        formula = "{change} × ({new} − {cold}) ÷ ({hot} − {cold})"
        water = found.hot_share * given.change_volume
        numbers["hot_water"] = show(water, "volume")
        steps.append(step("hot water, in L", formula, numbers, water, "volume", "L"))
        rest = given.change_volume - water
        steps.append(step("cold water, in L", "{change} − {hot_water}", numbers, rest, "volume", "L"))
    return steps


def _assumptions(found: Warmth) -> Sequence[Assumption]:
    given = found.given
    told = [
        Assumption("Glass, sand and rock hold no heat: in truth they soften the change a little.", "default")
    ]
    if found.blends and given.mixed_temperature is None:
        told.append(Assumption("Hot and cold are mixed to the tank's own temperature.", "default"))
    if found.blends and given.source_temperature is not None:
        told.append(
            Assumption("Hot and cold are told: source_temperature is left aside.", "given"),
        )
    if given.temperature_step == STEP.value:
        told.append(
            Assumption(
                "At most 1 K at once, as an hour may bring. A veterinary note allows tropical fish 2 K of warming and 1 K"
                " of cooling in a whole day, so make one such change a day.",
                STEP.origin,
            )
        )
    return told


def _cautions(found: Warmth) -> Sequence[Caution]:
    told = [
        Caution(
            "measure-it",
            "Mix in a bucket, stir, and measure before any of it goes in: taps wander while they run. Dechlorinate it.",
        )
    ]
    if found.blends:
        told.append(
            Caution(
                "hot-tap",
                "Hot tap water may carry copper or lead from pipes and heater, and bacteria of a heater that stands too"
                " cool; water of a kettle or a heated barrel does not. Softened hot water carries sodium.",
            )
        )
    if max(found.given.hot_temperature or 0.0, found.new) >= SCALDS:
        told.append(
            Caution(
                "scald",
                "Water so hot scalds: pour hot into cold, keep children away, never pour it over glass.",
                show(SCALDS, "temperature"),
            )
        )
    if found.burns:
        words = "Hotter water than this burns fish and bacteria where it flows in, though the tank as a whole would bear it."
        told.append(Caution("burns-animals", words, show(BURNS_ANIMALS, "temperature")))
    if found.moves > 0:
        told.append(
            Caution("less-oxygen", "Warmer water holds less oxygen, fresh hot water least: aerate it.")
        )
    told.append(
        Caution(
            "heater-off",
            "Switch off heaters before the level falls, and on again when they are covered.",
        )
    )
    return told


WATER_CHANGE_TEMPERATURE = Calculator(
    name="water-change-temperature",
    title="Temperature of a water change",
    doc=(
        "How warm the tank is after a change with new water of a temperature, how much of it may go in at once, how far"
        " from the tank's the new water may be; and the litres of hot and cold water that together match the tank."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "ok; watch (the change moves the tank's temperature too far at once); over (it burns).",
        ),
        Result("why", TEXT, "The verdict in words."),
        Result("temperature_after", "temperature", "Of the tank, right after the change."),
        Result("temperature_change", "temperature_difference", "Of the tank; below 0 if it cools."),
        Result(
            "largest_water",
            "volume",
            "That may be changed at once with water of this temperature; 0 where it burns.",
        ),
        Result("coolest_new", "temperature", "Of the new water for this change, to stay within the step."),
        Result("warmest_new", "temperature", "Of the new water for this change, to stay within the step."),
        Result("hot_water", "volume", "To mix in; none where hot and cold aren't told."),
        Result("cold_water", "volume", "To mix it with."),
    ),
    limits=(
        "Water alone, mixed at once. Glass, sand, rock, heater and air are left out.",
        "The steps allowed are habits and one veterinary note, not physics; species differ.",
    ),
    sources=(
        Source(
            "Balance of heat",
            None,
            "Two waters of equal heat capacity mixed",
            "any text of physics",
            "Heat capacity differs by less than 1 % between 0 and 100 °C.",
        ),
        VET_NOTE,
        PRACTICE,
    ),
    solve=solve,
    example={
        "volume": "400 L",
        "change_volume": "120 L",
        "temperature": "25 degC",
        "hot_temperature": "52 degC",
        "cold_temperature": "12 degC",
    },
    doors=("systems",),
    asks={"hot_temperature": "52 degC", "cold_temperature": "12 degC"},
)
