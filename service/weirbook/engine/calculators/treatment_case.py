"""A treatment by label as it comes out: how much, how strong, and how it is judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.told import SAME
from weirbook.engine.calculators.treatment_inputs import COPPER, FORMALIN, PRODUCT, Inputs
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.relations.treatments import (
    FORMALIN_DENSITY,
    OXYGEN_AFTER,
    WATER_BY_WEIGHT,
    Event,
    course,
    highest_level,
    oxygen_taken_by_formalin,
)
from weirbook.engine.saying import near

OK, WATCH, OVER, UNKNOWN = "ok", "watch", "over", "unknown"
ORDER = (OVER, WATCH, UNKNOWN)
DOUBLE = 2.0
"""Label's doses in the water at once that are called over, not watch. Common practice, no source."""


@dataclass(frozen=True)
class Treatment:
    """Everything that follows from what was told. A product of which only the volume is known has no mass."""

    given: Inputs

    @property
    def usual_density(self) -> bool:
        """Whether the density is formalin's usual one, for want of another."""
        given = self.given
        return given.substance == FORMALIN and given.density is None and given.strength is None

    @property
    def in_a_litre(self) -> float | None:
        """kg of product in a m3 of its liquid."""
        if self.usual_density:
            return FORMALIN_DENSITY
        return self.given.density if self.given.density is not None else self.given.strength

    @property
    def share(self) -> float:
        """By which a label's mass is divided to find the product's."""
        given = self.given
        return 1.0 if given.dose_means == PRODUCT or given.active_share is None else given.active_share

    @cached_property
    def rates(self) -> tuple[float | None, float | None]:
        """kg of product, and m3 of liquid, in each m3 of water; None where it is not known."""
        given, dense = self.given, self.in_a_litre
        treats = given.product_treats or 1.0
        mass = liquid = None
        if given.label_concentration is not None:
            mass = given.label_concentration / self.share
        elif given.label_by_weight is not None:
            mass = given.label_by_weight * WATER_BY_WEIGHT / self.share
        elif given.product_mass is not None:
            mass = given.product_mass / treats
        elif given.label_dilution is not None:
            liquid = given.label_dilution
        elif given.product_volume is not None:
            liquid = given.product_volume / treats
        else:
            assert given.product_drops is not None
            liquid = given.product_drops * given.drop_volume / treats
        if liquid is None and mass is not None and dense is not None:
            liquid = mass / dense
        elif mass is None and liquid is not None and dense is not None:
            mass = liquid * dense
        return mass, liquid

    @property
    def concentration(self) -> float | None:
        return self.rates[0]

    @property
    def active_concentration(self) -> float | None:
        if self.concentration is None or self.given.active_share is None:
            return None
        return self.concentration * self.given.active_share

    @property
    def amount(self) -> float | None:
        return None if self.rates[0] is None else self.rates[0] * self.given.water

    @property
    def liquid_volume(self) -> float | None:
        return None if self.rates[1] is None else self.rates[1] * self.given.water

    @property
    def other_reading(self) -> float | None:
        """m3 of liquid, had the label's parts per million been meant by volume for by weight, or by weight for
        by volume; None where that question doesn't arise."""
        given = self.given
        if self.in_a_litre is None or given.strength is not None or given.dose_means != PRODUCT:
            return None
        if given.label_dilution is not None:
            return given.label_dilution * WATER_BY_WEIGHT / self.in_a_litre * given.water
        if given.label_by_weight is not None:
            return given.label_by_weight * given.water
        if given.label_concentration is not None:
            return given.label_concentration / WATER_BY_WEIGHT * given.water
        return None

    @property
    def readings_differ(self) -> float | None:
        """By how much more the reading by volume is than that by weight: density over that of water, less 1."""
        if self.other_reading is None or self.in_a_litre is None:
            return None
        return self.in_a_litre / WATER_BY_WEIGHT - 1

    @property
    def oxygen_taken(self) -> float | None:
        if self.given.substance != FORMALIN or self.concentration is None:
            return None
        return oxygen_taken_by_formalin(self.concentration)

    @property
    def oxygen_left(self) -> float | None:
        if self.oxygen_taken is None or self.given.dissolved_oxygen is None:
            return None
        return max(0.0, self.given.dissolved_oxygen - self.oxygen_taken)

    @property
    def change(self) -> float:
        return self.given.change_between or 0.0

    @cached_property
    def course(self) -> Sequence[Event]:
        given = self.given
        return course(given.treatments, given.interval, given.contact_time, self.change, anew=given.is_bath)

    @property
    def peak(self) -> float:
        return 1.0 if self.given.is_bath else highest_level(self.given.treatments, self.change)

    def at_level(self, level: float) -> float | None:
        """kg/m3 of product at so many doses."""
        return None if self.concentration is None else self.concentration * level

    @property
    def contact_over(self) -> float | None:
        """s from the first dose to the end of the last contact."""
        if self.given.contact_time is None:
            return None
        return (self.given.treatments - 1) * (self.given.interval or 0.0) + self.given.contact_time

    @property
    def findings(self) -> list[tuple[str, str]]:
        """What speaks against it, or isn't known, each with its verdict."""
        return [*self._of_the_water(), *self._of_the_oxygen(), *self._of_the_copper()]

    @property
    def verdict(self) -> str:
        found = {verdict for verdict, _ in self.findings}
        return next((verdict for verdict in ORDER if verdict in found), OK)

    @property
    def why(self) -> str:
        found = sorted(self.findings, key=lambda one: ORDER.index(one[0]))
        if not found:
            return (
                "Nothing that was told speaks against the label's dose; the label and a veterinarian decide."
            )
        return " ".join(words for _, words in found)

    def _of_the_water(self) -> list[tuple[str, str]]:
        found = []
        if self.given.only_gross:
            words = "Only a gross volume was told: sand, rock and air make the real dose stronger than the label's."
            found.append((WATCH, words))
        if self.peak > 1 + SAME:
            words = (
                f"What stays from earlier doses brings the water to {near(self.peak, 'number', '1').removesuffix(' 1')}"
                " times the label's dose, if nothing breaks it down: ask the label whether repeats are full doses."
            )
            found.append((OVER if self.peak >= DOUBLE * (1 - SAME) else WATCH, words))
        return found

    @property
    def _ends_before_oxygen(self) -> bool:
        """Whether a bath is over long before formalin has taken its oxygen."""
        contact = self.given.contact_time
        return self.given.is_bath and contact is not None and contact < OXYGEN_AFTER[0]

    def _of_the_oxygen(self) -> list[tuple[str, str]]:
        if self.given.substance != FORMALIN or self._ends_before_oxygen:
            return []
        if self.oxygen_left is None:
            missing = "oxygen" if self.oxygen_taken is not None else "the product's density"
            return [(UNKNOWN, f"How much oxygen is left can't be told without {missing}.")]
        for limit, verdict in (("oxygen_warm", OVER), ("oxygen_cold", WATCH)):
            least = LIMITS[limit].value
            if self.oxygen_left < least:
                left = near(self.oxygen_left, "concentration", "mg/L")
                words = f"Without aeration {left} of oxygen are left, less than {near(least, 'concentration', 'mg/L')}."
                return [(verdict, words)]
        return []

    def _of_the_copper(self) -> list[tuple[str, str]]:
        given = self.given
        if given.substance != COPPER:
            return []
        least = LIMITS["copper_hardness"].value
        found = []
        if given.hardness is not None and given.hardness < least:
            words = (
                f"The water's hardness is below {near(least, 'hardness', 'mg/L CaCO3')}: in water so soft copper"
                " can kill at usual doses, and is not used without a trial first."
            )
            found.append((OVER, words))
        # The same figure, in mol/m3 of CaCO3, is twice as many equivalents.
        if given.alkalinity is not None and given.alkalinity < 2 * least:
            words = (
                f"The water's alkalinity is below {near(2 * least, 'alkalinity', 'mg/L CaCO3')}: copper is more"
                " poisonous in it."
            )
            found.append((OVER, words))
        missing = [name for name in ("hardness", "alkalinity") if getattr(given, name) is None]
        if missing:
            found.append((UNKNOWN, f"Copper can't be judged without {' and '.join(missing)}: test first."))
        return found
