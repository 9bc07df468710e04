"""What a trial of one outcome shows: phases one after another, each a setting, each a stretch of daily values.

Days are whole numbers; a phase's days begin after its settle time. Values are in the unit the outcome is read in.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from statistics import fmean, median
from typing import Literal

from weirbook.engine.relations.differences import (
    FEWEST_DAYS,
    Difference,
    Stretch,
    Stretches,
    spread,
)
from weirbook.engine.relations.resampling import Centre
from weirbook.engine.relations.steps import StepOrTrend, step_or_trend
from weirbook.engine.relations.trends import Trend, trend

CONFIDENCE = 0.9
SAME_WEEK_DAYS = 7
"""What happened less than so many days before or after a change fell into its week; what is compared on either side may show
what happened up to so many days before or after."""
USUAL_MARGIN = 0.5
"""Of the first phase's spread: the smallest difference that matters where nobody says. Common practice."""
LEAST_TOLD = 1e-8
"""Of the values themselves: a difference below it is none, whatever its interval."""
Verdict = Literal["lower", "higher", "flat", "unclear", "unknown"]
Way = Literal["lowest", "highest"]


@dataclass(frozen=True)
class Phase:
    """A setting from a day on, and what the outcome read on the days that count."""

    setting: str
    begins: int
    stretch: Stretch


@dataclass(frozen=True)
class Meanwhile:
    """Something else that happened in the system on a day, in words for a sentence.

    `during` is the phase that it may set apart, because what it changed lasted; None where it tells of its week only.
    `named` is what it is called there, with its day.
    """

    day: int
    words: str
    during: int | None = None
    named: str = ""


@dataclass(frozen=True)
class Outcome:
    """What was watched. `margin` is the smallest difference that matters, `resolution` the step of its readings.

    `day_words` says which day a number is.
    """

    words: str
    unit: str
    phases: tuple[Phase, ...]
    of: Centre = "mean"
    margin: float | None = None
    resolution: float | None = None
    meanwhile: tuple[Meanwhile, ...] = ()
    day_words: Callable[[int], str] = "day {}".format


@dataclass(frozen=True)
class Summary:
    """One phase in figures. `worth` is how many independent days its days are worth; None where they are too few."""

    phase: Phase
    n: int
    mean: float | None
    median: float | None
    spread: float | None
    lowest: float | None
    highest: float | None
    worth: float | None
    trend: Trend | None


@dataclass(frozen=True)
class Comparison:
    """A later phase beside an earlier one. `shape` and `meanwhile` only of neighbours: there alone is one change between.

    `meanwhile`: what else happened about the change. `during`: what else changed within one of the two phases, elsewhere.
    """

    first: int
    second: int
    difference: Difference | None
    verdict: Verdict
    shape: StepOrTrend | None
    meanwhile: tuple[Meanwhile, ...]
    during: tuple[Meanwhile, ...] = ()

    @property
    def alone(self) -> bool:
        """Whether nothing else happened about the change, and no trend may run through it."""
        told = self.shape is not None and self.shape.shape in ("step", "none")
        return told and not self.meanwhile


@dataclass(frozen=True)
class Extreme:
    """The setting under which the outcome was lowest or highest, if that can be told; `why` says why not, or how well."""

    setting: str | None
    why: Literal["told", "not alone", "too close", "too few days", "one setting"]


class Trial:
    """An outcome over all phases, worked out as it is asked."""

    def __init__(self, outcome: Outcome) -> None:
        self.outcome = outcome
        self.phases = outcome.phases
        self._stretches = Stretches(
            [phase.stretch for phase in outcome.phases], outcome.of, outcome.resolution
        )

    @cached_property
    def persistence(self) -> float:
        """How much a day keeps of the day before, by all phases together."""
        return self._stretches.persistence

    @cached_property
    def margin(self) -> tuple[float, Literal["given", "resolution", "common practice", "unknown"]]:
        """The smallest difference that matters, and where it is from.

        As given; else half the spread of the first phase that has one, but never less than the resolution. Where no phase
        has days enough for a spread, or none scatters, it is unknown: the value is then what a float can tell apart.
        """
        outcome = self.outcome
        if outcome.margin is not None:
            return outcome.margin, "given"
        told = [phase.stretch.values for phase in self.phases if phase.stretch.n >= FEWEST_DAYS]
        spreads = (spread(values) for values in told)
        half = USUAL_MARGIN * next((one for one in spreads if one > 0), 0.0)
        if outcome.resolution is not None and outcome.resolution >= half:
            return outcome.resolution, "resolution"
        largest = max((abs(value) for phase in self.phases for value in phase.stretch.values), default=0.0)
        least = max(LEAST_TOLD * largest, LEAST_TOLD**2)
        return (half, "common practice") if half > least else (least, "unknown")

    @cached_property
    def summaries(self) -> list[Summary]:
        return [self._summary(which) for which in range(len(self.phases))]

    def _summary(self, which: int) -> Summary:
        phase = self.phases[which]
        values = phase.stretch.values
        if not values:
            return Summary(phase, 0, None, None, None, None, None, None, None)
        enough = len(values) >= FEWEST_DAYS
        return Summary(
            phase,
            len(values),
            fmean(values),
            median(values),
            spread(values) if len(values) > 1 else None,
            min(values),
            max(values),
            self._stretches.worth(which) if enough else None,
            trend(phase.stretch.days, values, CONFIDENCE) if enough else None,
        )

    @cached_property
    def changes(self) -> list[Comparison]:
        """Each phase beside the one before."""
        return [self._compare(second - 1, second) for second in range(1, len(self.phases))]

    @cached_property
    def against_first(self) -> list[Comparison]:
        """Each phase after the second beside the first, the state before the trial."""
        return [self._compare(0, second) for second in range(2, len(self.phases))]

    @cached_property
    def whole(self) -> Trend | None:
        """The trend over all phases, as if nothing had been changed."""
        days = [day for phase in self.phases for day in phase.stretch.days]
        values = [value for phase in self.phases for value in phase.stretch.values]
        return trend(days, values, CONFIDENCE) if len(values) >= FEWEST_DAYS else None

    def _compare(self, first: int, second: int) -> Comparison:
        before, after = self.phases[first].stretch, self.phases[second].stretch
        found = self._stretches.difference(first, second, CONFIDENCE)
        verdict = judged(found, self.margin[0])
        if second != first + 1:
            return Comparison(first, second, found, verdict, None, (), self._within(first, second, ()))
        shape = None
        if found is not None:
            differs = not found.low <= 0 <= found.high
            shape = step_or_trend(before, after, differs, self.outcome.resolution, CONFIDENCE)
        about = self.about_the_change(second)
        return Comparison(first, second, found, verdict, shape, about, self._within(first, second, about))

    def about_the_change(self, which: int) -> tuple[Meanwhile, ...]:
        """What else happened where it can't be told apart from the beginning of a phase."""
        phase = self.phases[which]
        days = about_the_change(self.phases[which - 1].stretch, phase.stretch, phase.begins)
        return tuple(one for one in self.outcome.meanwhile if one.day in days)

    def _within(self, first: int, second: int, told: Sequence[Meanwhile]) -> tuple[Meanwhile, ...]:
        """What else changed within one of two phases, what is told already left out."""
        return tuple(
            one for one in self.outcome.meanwhile if one.during in (first, second) and one not in told
        )

    def extreme(self, way: Way) -> Extreme:
        """The setting with the lowest or the highest outcome.

        It is named only where it differs from every other setting by an interval of 1 - 0.1 / (others), so that with
        several settings, too, a false one is named in a tenth of trials at most (Bonferroni). Phases of one setting are
        taken together, each by its days.
        """
        settings = self._settings
        if len(settings) < 2:
            return Extreme(None, "one setting")
        if any(phase.stretch.n < FEWEST_DAYS for phase in self.phases):
            return Extreme(None, "too few days")
        sign = 1.0 if way == "highest" else -1.0
        first, *others = sorted(settings, key=lambda name: -sign * self._centre(settings[name]))
        confidence = 1 - (1 - CONFIDENCE) / len(others)
        for other in others:
            shares = {which: sign * share for which, share in settings[first].items()}
            shares |= {which: -sign * share for which, share in settings[other].items()}
            about = self._stretches.known(shares)
            if about is None or about.interval(confidence)[0] <= 0:
                return Extreme(None, "too close")
        alone = all(change.alone for change in self.changes)
        return Extreme(first, "told" if alone else "not alone")

    @cached_property
    def _settings(self) -> dict[str, dict[int, float]]:
        """The phases of each setting and how much of it each makes up, by days."""
        found: dict[str, dict[int, float]] = {}
        for which, phase in enumerate(self.phases):
            found.setdefault(phase.setting, {})[which] = float(phase.stretch.n)
        return {
            setting: {which: n / (sum(days.values()) or 1.0) for which, n in days.items()}
            for setting, days in found.items()
        }

    def _centre(self, shares: dict[int, float]) -> float:
        return sum(share * fmean(self.phases[which].stretch.values) for which, share in shares.items())

    @cached_property
    def returned(self) -> list[tuple[int, Comparison]]:
        """Phases that went back to the setting before the last change, with what they show beside it."""
        return [
            (second, self._compare(second - 2, second))
            for second in range(2, len(self.phases))
            if self.phases[second].setting == self.phases[second - 2].setting
            and self.phases[second].setting != self.phases[second - 1].setting
        ]


def about_the_change(before: Stretch, after: Stretch, begins: int) -> range:
    """The days on which something else may have made the difference: those between the days compared, whether settle time
    or gap, since nobody looks there, and a week on either side."""
    last = before.days[-1] if before.days else begins
    first = after.days[0] if after.days else begins
    return range(last - SAME_WEEK_DAYS, first + SAME_WEEK_DAYS + 1)


def judged(found: Difference | None, margin: float) -> Verdict:
    """What an interval says beside the smallest difference that matters.

    Equation: flat where the whole interval lies within ± margin; lower or higher where it leaves nought out; else unclear.
    Valid for: a 90 % interval, with which flat is wrong in at most 5 % of cases.
    Source: Schuirmann (1987), Journal of Pharmacokinetics and Biopharmaceutics 15, 657: two one-sided tests.
    """
    if found is None:
        return "unknown"
    if -margin <= found.low and found.high <= margin:
        return "flat"
    if found.high < 0:
        return "lower"
    if found.low > 0:
        return "higher"
    return "unclear"


def phases_too_few(phases: Sequence[Phase]) -> list[Phase]:
    """Those with fewer days than an interval needs."""
    return [phase for phase in phases if phase.stretch.n < FEWEST_DAYS]
