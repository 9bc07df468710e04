"""A bag beside a tank: how far apart they are, what may be done about it, and the verdict."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.acclimate_inputs import Inputs
from weirbook.engine.calculators.carbonate_inputs import OPEN_AIR
from weirbook.engine.relations.acclimation import Mixing, evening_time, mixing
from weirbook.engine.relations.air import ATMOSPHERE
from weirbook.engine.relations.ammonia import pka, un_ionized_share
from weirbook.engine.relations.carbonate import co2_under_gas, equilibria, ph_at
from weirbook.engine.relations.changes import ROUNDING, drip_to_reach
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.saying import less, more, near, said

DAY, HOUR = 86_400.0, 3600.0

LONG_CLOSED = 2 * HOUR
"""From then on a bag is taken for long closed: pH has fallen, ammonia risen. Common practice, no source."""

AIRED_PH = 8.3
"""That a bag's water is taken to reach in the open where its alkalinity isn't told. Common practice, no source."""

MOST_PORTIONS = 24
"""Beyond so many portions a bag is no place to wait: four hours at the usual interval. Common practice, no source."""

STRESS = LIMITS["ammonia_stress"]


@dataclass(frozen=True)
class Arrival:
    """What follows from the inputs, each reckoned once. Words of `method`: release, mix, match, transfer."""

    given: Inputs

    @property
    def warming(self) -> float:
        return self.given.temperature - self.given.bag_temperature

    @property
    def warming_allowed(self) -> float:
        """Of one day, by a veterinary note that gives cooling less than warming."""
        return LIMITS["warming_a_day" if self.warming > 0 else "cooling_a_day"].value

    @property
    def float_time(self) -> float:
        """Time to float the closed bag: the published least, or until an hour's step is left by the time constant."""
        return max(LIMITS["bag_minutes"].value, self.evening)

    @property
    def evening(self) -> float:
        """Time until a floated bag is within an hour's step of the tank; 0 where its time constant isn't told."""
        constant = self.given.time_constant
        if constant is None:
            return 0.0
        return evening_time(abs(self.warming), self.given.temperature_an_hour, constant)

    @property
    def gentle_time(self) -> float:
        """That the whole difference of temperature takes at the hourly step."""
        return abs(self.warming) / self.given.temperature_an_hour * HOUR

    @cached_property
    def mixing(self) -> Mixing | None:
        given = self.given
        if given.bag_conductivity is None or given.conductivity is None:
            return None
        return mixing(
            given.bag_conductivity, given.conductivity, given.conductivity_step, given.largest_portion
        )

    @property
    def bearable(self) -> bool:
        """Whether conductivity lies near enough to be mixed in a bag."""
        return self.mixing is not None and self.mixing.count <= MOST_PORTIONS

    @property
    def portions(self) -> Mixing | None:
        """The mixing, where it is known and is what should be done."""
        return self.mixing if self.method in ("mix", "release") else None

    @property
    def mixing_time(self) -> float | None:
        return None if self.portions is None else self.portions.count * self.given.portion_interval

    @property
    def drip_water(self) -> float | None:
        """To drip in instead of the portions, while as much is poured off."""
        if self.portions is None:
            return None
        left = self.portions.allowed
        return drip_to_reach(1 - left, self.given.bag_volume) if self.portions.count else 0.0

    @property
    def ph_difference(self) -> float | None:
        """Of the tank from the bag."""
        if self.given.ph is None or self.given.bag_ph is None:
            return None
        return self.given.ph - self.given.bag_ph

    @property
    def ph_jumps(self) -> bool:
        return (
            self.ph_difference is not None
            and abs(self.ph_difference) > self.given.ph_step * (1 + ROUNDING) + ROUNDING
        )

    @property
    def ph_binds(self) -> bool:
        """Not of a long closed bag: its pH is the carbon dioxide's, and goes as that goes."""
        return self.ph_jumps and not self.long_closed

    @property
    def ph_time(self) -> float | None:
        """That the difference of pH takes at a step a day; 0 where it may be crossed at once."""
        if self.ph_difference is None or self.long_closed:
            return None
        return abs(self.ph_difference) / self.given.ph_step * DAY if self.ph_jumps else 0.0

    @cached_property
    def toxic_share_before(self) -> float | None:
        ph = self.given.bag_ph
        return None if ph is None else un_ionized_share(ph, pka(self.given.bag_temperature))

    @cached_property
    def toxic_share_after(self) -> float | None:
        ph = self.given.ph
        return None if ph is None else un_ionized_share(ph, pka(self.given.temperature))

    @cached_property
    def ph_aired(self) -> float:
        """Of the bag's water once its carbon dioxide is in balance with open air, not corrected for the ions'
        activity: a little high, which is the safe side."""
        given = self.given
        if given.bag_alkalinity is None:
            return AIRED_PH
        return ph_at(equilibria(given.temperature), given.bag_alkalinity, self.co2_aired)

    @property
    def co2_aired(self) -> float:
        """mol/m3."""
        return co2_under_gas(self.given.temperature, OPEN_AIR * ATMOSPHERE)

    @property
    def ph_highest(self) -> float:
        """That the bag's water may come to: its own, the tank's, or that in balance with the air."""
        told = (self.given.bag_ph, self.given.ph)
        return max(self.ph_aired, *(ph for ph in told if ph is not None))

    @cached_property
    def toxic_share_highest(self) -> float:
        return un_ionized_share(self.ph_highest, pka(self.given.temperature))

    def toxic(self, share: float | None) -> float | None:
        """Un-ionized ammonia of the bag's undiluted water."""
        return None if share is None or self.given.bag_ammonia is None else share * self.given.bag_ammonia

    @property
    def poisons(self) -> bool:
        """Whether the bag's ammonia strains fish already, or once its pH is the tank's, or, unless it is known to be
        freshly closed, once its carbon dioxide has gone."""
        shares = [self.toxic_share_before, self.toxic_share_after]
        if not self.age_known or self.long_closed:
            shares.append(self.toxic_share_highest)
        return any((self.toxic(share) or 0.0) > STRESS.value for share in shares)

    @property
    def long_closed(self) -> bool:
        return self.given.hours_closed is not None and self.given.hours_closed > LONG_CLOSED

    @property
    def cleared(self) -> bool:
        """Whether the ammonia measured in the bag stays harmless at the highest pH that its water may come to."""
        told = self.given.bag_ammonia is not None and self.given.ph is not None
        return told and not self.poisons

    @property
    def may_have_stored_ammonia(self) -> bool:
        """Whether it was closed long, or may have been, and isn't known to hold no ammonia."""
        return not self.age_known or (self.long_closed and self.given.bag_ammonia != 0)

    @property
    def age_known(self) -> bool:
        return self.given.hours_closed is not None

    @property
    def method(self) -> str:
        if self.poisons or (self.long_closed and not self.cleared):
            return "transfer"
        if self.ph_binds or (self.mixing and not self.bearable):
            return "match"
        if self.mixing is None and self.ph_difference is None:
            return "unknown"
        return "mix" if self.mixing and self.mixing.count else "release"

    @property
    def matched(self) -> bool:
        """Whether the tank's conductivity is known to be so near the bag's that it may be crossed at once."""
        return self.mixing is not None and not self.mixing.count

    @property
    def temperature_jumps(self) -> bool:
        return abs(self.warming) > self.warming_allowed * (1 + ROUNDING)

    @property
    def verdict(self) -> str:
        if self.method == "transfer":
            return "watch" if self.matched else "unknown" if self.mixing is None else "over"
        if self.method == "match":
            return "over"
        if self.unsure:
            return "unknown"
        return "watch" if self.method == "mix" or self.temperature_jumps else "ok"

    @property
    def unsure(self) -> tuple[str, ...]:
        """What isn't known, in words."""
        told = (
            (self.mixing is None, "Conductivity can't be compared."),
            (self.ph_difference is None, "pH can't be compared."),
            (not self.age_known, "How long the bag was closed isn't said."),
        )
        return tuple(words for lacks, words in told if lacks)

    @property
    def receiving(self) -> tuple[float, float] | None:
        """Conductivity of water that the animal may be moved to at once."""
        bag, step = self.given.bag_conductivity, self.given.conductivity_step
        return None if bag is None else (bag * (1 - step), bag * (1 + step))

    @property
    def why(self) -> str:
        return " ".join((*self._of_the_method, *self._of_the_temperature))

    @property
    def _of_the_method(self) -> tuple[str, ...]:
        floated = f"Float the closed bag for {near(self.float_time, 'time', 'min')}"
        if self.method == "transfer":
            return self._of_the_transfer
        if self.method == "match":
            return self._of_the_match
        if self.method == "unknown":
            return (f"{floated}, and measure conductivity and pH of bag and tank meanwhile.", *self.unsure)
        if self.method == "release":
            return (f"{floated}, then net them over: what is known lies within the steps.", *self.unsure)
        assert self.portions is not None
        portion = less(self.portions.portion * self.given.bag_volume, "volume", "L")
        minutes, times = near(self.given.portion_interval, "time", "min"), self.portions.count
        often = "once" if times == 1 else f"every {minutes}, {times} times"
        return (f"{floated}, then add {portion} of tank water {often}, and net them over.", *self.unsure)

    @property
    def _of_the_match(self) -> tuple[str, ...]:
        reasons = []
        if self.ph_binds and self.ph_difference is not None:
            reasons.append(f"pH differs by {abs(self.ph_difference):.2g}, more than {self.given.ph_step:.2g}")
        if not self.bearable and self.mixing:
            reasons.append("conductivity lies too far apart to be mixed in a bag")
        words = " and ".join(reasons)
        return (
            f"{words if self.ph_binds else words.capitalize()}.",
            "Receive them in water like the bag's, and move that towards the tank's over days.",
        )

    @property
    def _of_the_transfer(self) -> tuple[str, ...]:
        reason = "The bag has been closed long" if self.long_closed else "The bag's ammonia strains fish"
        first = f"{reason}: once it is open, carbon dioxide leaves, pH rises and ammonia turns poisonous, so don't mix slowly."
        if self.matched:
            return (
                first,
                "Even out the temperature, then net them over at once: conductivity is near enough.",
            )
        if self.receiving is None:
            return (
                first,
                "Even out the temperature, then net them over at once, into water of the bag's conductivity: measure it.",
            )
        low, high = self.receiving
        span = f"{more(low, 'conductivity', 'uS/cm')} to {less(high, 'conductivity', 'uS/cm')}"
        return (
            first,
            f"Even out the temperature, then net them over at once, into water of {span}, made up beforehand; move that"
            " towards the tank's over days.",
        )

    @property
    def _of_the_temperature(self) -> tuple[str, ...]:
        if not self.temperature_jumps:
            return ()
        return (
            f"The tank is {near(abs(self.warming), 'temperature_difference', 'K')} {'warmer' if self.warming > 0 else 'cooler'}"
            f" than the bag: better bring the receiving water near {said(self.given.bag_temperature, 'temperature')} first.",
        )

    @property
    def slowest(self) -> str:
        """What takes the longest."""
        if self.mixing is not None and not self.bearable:
            return "conductivity"
        times = {
            "temperature": self.float_time,
            "conductivity": self.mixing_time or 0.0,
            "pH": self.ph_time or 0.0,
        }
        return max(times, key=lambda name: times[name])
