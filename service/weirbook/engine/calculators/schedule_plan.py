"""The doses that keep a level, and where they or a usual dose lead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from weirbook.engine.calculators.dose_amounts import amounts
from weirbook.engine.calculators.schedule_inputs import Inputs
from weirbook.engine.relations.chemistry import DOSED, Compound
from weirbook.engine.relations.dosing import Day, Routine, closed_swing, days_of, swing
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.saying import said

SHOWN_DAYS = 14
LEVEL = 1e-9
"""Share of the wanted level by which two levels may differ by rounding alone."""


@dataclass(frozen=True)
class Plan:
    given: Inputs
    compound: Compound | None

    @property
    def uptake(self) -> float:
        """Between two doses."""
        return self.given.daily_uptake * self.given.days_between_doses

    @property
    def change_days(self) -> float:
        return self.given.change_hours / 24

    @property
    def lost(self) -> float:
        """What one water change takes away at the wanted level; negative where it brings some."""
        return self.given.share * (self.given.wanted - self.given.source_level)

    @cached_property
    def dose(self) -> float:
        """Rise by one regular dose: what is used up, less what richer new water brings."""
        brought = max(0.0, -self.lost)
        if not brought:
            return self.uptake
        return max(0.0, self.uptake - brought * self.given.days_between_doses / self.change_days)

    @property
    def change_dose(self) -> float:
        """Rise to be given after each water change."""
        return max(0.0, self.lost)

    @property
    def first(self) -> float:
        """Rise that brings the present level to the wanted one, once."""
        return 0.0 if self.given.present is None else max(0.0, self.given.wanted - self.given.present)

    @cached_property
    def even(self) -> float:
        """Rise by a dose that is always the same, water changes or not."""
        if not self.given.share:
            return self.uptake
        return max(0.0, self.uptake + self.lost * self.given.days_between_doses / self.change_days)

    @property
    def judged(self) -> float:
        """The dose that is followed to where it leads."""
        return self.even if self.given.usual_dose is None else self.given.usual_dose

    @property
    def week(self) -> float:
        """Rise by all doses of a week, in the long run."""
        change = 7 / self.change_days * self.change_dose if self.given.share else 0.0
        return 7 / self.given.days_between_doses * self.dose + change

    def _routine(self, dose: float, after_change: float = 0.0) -> Routine:
        given = self.given
        return Routine(
            dose,
            given.dose_hours,
            given.daily_uptake / 24,
            given.share,
            given.change_hours,
            given.source_level,
            after_change,
        )

    @cached_property
    def kept(self) -> tuple[float, float]:
        """Lowest and highest level of the plan, once it repeats itself."""
        found = swing(self._routine(self.dose, self.change_dose))
        return found or (self.given.wanted, self.given.wanted + self.dose)

    @property
    def judged_routine(self) -> Routine:
        return self._routine(self.judged)

    @cached_property
    def in_step(self) -> bool:
        """Whether changes come every so many whole doses."""
        return bool(self.given.share) and self.given.change_hours % self.given.dose_hours == 0

    @cached_property
    def steady(self) -> tuple[float, float] | None:
        """Lowest and highest level by the judged dose; None where it runs out or has no end."""
        if not self.given.share:
            balanced = abs(self.judged - self.uptake) <= LEVEL * self.given.wanted
            return (self.given.wanted, self.given.wanted + self.judged) if balanced else None
        found = closed_swing(self.judged_routine) if self.in_step else swing(self.judged_routine)
        return found if found and found[0] >= -LEVEL * self.given.wanted else None

    @cached_property
    def most(self) -> float | None:
        """The highest level by the judged dose if nothing used it; None where nothing bounds it."""
        if not self.judged:
            return max(self.given.source_level, self.given.wanted)
        found = swing(replace(self.judged_routine, uptake=0.0))
        return found and found[1]

    @property
    def runs_out(self) -> bool:
        """Whether the judged dose is too small to last."""
        if self.steady is not None:
            return False
        return bool(self.given.share) or self.judged < self.uptake

    @property
    def highest(self) -> float | None:
        if self.given.highest is None and self.given.parameter == "nitrate":
            return LIMITS["nitrate_high"].value
        return self.given.highest

    @cached_property
    def days(self) -> Sequence[Day]:
        given = self.given
        start = given.wanted if given.present is None else given.present
        routine = self._routine(self.dose, self.change_dose)
        return days_of(routine, start, self.first, SHOWN_DAYS, given.wanted + self.uptake)

    def portion(self, rise: float) -> tuple[float | None, float | None]:
        """Mass and liquid volume that a rise takes."""
        return amounts(self.given, self.compound, rise)

    def said(self, value: float) -> str:
        return said(value, DOSED[self.given.parameter])

    @property
    def most_of_the_plan(self) -> float | None:
        """The highest level by the plan's own doses if nothing used it; None where nothing bounds it."""
        if not self.dose and not self.change_dose:
            return max(self.given.source_level, self.given.wanted)
        found = swing(replace(self._routine(self.dose, self.change_dose), uptake=0.0))
        return found and found[1]

    @property
    def which(self) -> str:
        """The dose that is followed to where it leads."""
        return "The even dose" if self.given.usual_dose is None else "The usual dose"

    @cached_property
    def verdict(self) -> tuple[str, str]:
        """Where the usual dose leads, or else the plan, and why."""
        if self.given.usual_dose is None:
            return self._of_the_plan
        if self.runs_out:
            return "over", f"{self.which} is too small: the level falls until nothing is left."
        if self.steady is None:
            return (
                "over",
                f"{self.which} is more than is used, and no water change takes the rest out: it rises without end.",
            )
        return self._of_a_swing(self.which, self.steady, self.most)

    @property
    def _of_the_plan(self) -> tuple[str, str]:
        settled, why = self._of_a_swing("The plan", self.kept, self.most_of_the_plan)
        first = max(level for day in self.days for level in (day.before, day.after))
        if settled != "over" and self.highest is not None and first > self.highest * (1 + LEVEL):
            allowed = self.said(self.highest)
            return (
                "over",
                f"At first the level stands at {self.said(first)}, above the highest allowed, {allowed}. {why}",
            )
        return settled, why

    def _of_a_swing(self, which: str, swing: tuple[float, float], most: float | None) -> tuple[str, str]:
        """The verdict on levels between which something settles, and on the most that it could reach."""
        low, high = swing
        lowest, highest = self.given.lowest, self.highest
        span = f"between {self.said(low)} and {self.said(high)}"
        if highest is not None and high > highest * (1 + LEVEL):
            return "over", f"{which} settles {span}, above the highest allowed, {self.said(highest)}."
        if lowest is not None and low < lowest * (1 - LEVEL):
            return "watch", f"{which} settles {span}, below the lowest allowed, {self.said(lowest)}."
        if most is None:
            return (
                "watch",
                f"{which} keeps it {span} only while uptake stays the same: without water changes nothing else does.",
            )
        if highest is not None and most > highest * (1 + LEVEL):
            words = f"{which} settles {span}; if nothing used it, up to {self.said(most)}, above the highest allowed."
            return "watch", words
        return "ok", f"{which} settles {span}; if nothing used it, at most {self.said(most)}."
