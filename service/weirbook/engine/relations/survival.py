"""How long lives last: the Kaplan–Meier curve, its spread, its median, and the log-rank comparison of two.

Lives are told by how long they were watched and whether a loss ended the watch. One line may stand for several
heads alike, or for a part of one where nobody knows which of two batches a lost fish belonged to.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from statistics import NormalDist

CHOSEN_DAYS = (7.0, 30.0, 90.0, 365.0)
"""Ages at which survival is told, days."""

CONFIDENCE = 0.95

_NOTHING = 1e-9
"""Heads below this are what fractions leave behind when they should cancel."""


@dataclass(frozen=True, slots=True)
class Life:
    """`heads` alike, watched from age `entry` to age `end`, and whether a loss ended that.

    One who was watched from the beginning enters at 0 and is at risk at 0 too; one who comes under watch later
    is at risk only after its entry (left truncation).
    """

    end: float
    lost: bool
    heads: float = 1.0
    entry: float = 0.0


@dataclass(frozen=True, slots=True)
class Step:
    """What happens at one age: heads at risk just before, lost at it and out of sight, and what survives it.

    `after` is watched on from here, with those who come under watch at this very age. `spread` is Greenwood's sum
    up to here, lost / (at risk x (at risk - lost)); infinite once all are lost.
    """

    age: float
    at_risk: float
    lost: float
    left: float
    after: float
    survival: float
    spread: float

    @property
    def error(self) -> float:
        """Greenwood's standard error of the survival; 0 once all are lost, when it says nothing."""
        return self.survival * math.sqrt(self.spread) if self.survival else 0.0

    def interval(self, confidence: float = CONFIDENCE) -> tuple[float, float] | None:
        """Of the survival, by the log-log transform; None where no head or every head was lost."""
        if not 0 < self.survival < 1:
            return None
        log = math.log(self.survival)
        half = math.exp(deviations(confidence) * math.sqrt(self.spread) / abs(log))
        return math.exp(log * half), math.exp(log / half)


@dataclass(frozen=True, slots=True)
class Told:
    """Survival at an age with its interval, by what method, and the fewest heads `watched` on the way to it."""

    age: float
    survival: float
    low: float
    high: float
    watched: float
    method: str


LOG_LOG = "Greenwood, log-log"
NONE_LOST = "exact binomial, none lost"
ALL_LOST = "exact binomial, all lost"
FROM_BEFORE = "Greenwood, log-log, as before the last was lost"


@dataclass(frozen=True)
class Curve:
    """Survival by age, a step at each age at which heads were lost or left the watch.

    `heads` were watched in all, `begun` of them from the beginning on.
    """

    steps: tuple[Step, ...]
    heads: float
    begun: float
    lost: float

    @cached_property
    def watched_to(self) -> float:
        """The age to which somebody was watched without a gap from the beginning; beyond it nothing is known."""
        if self.begun <= _NOTHING:
            return -math.inf
        return next((step.age for step in self.steps if step.after <= _NOTHING), self.steps[-1].age)

    def step_at(self, age: float) -> Step | None:
        """The last step at or before an age; None before the first."""
        index = bisect_right(self.steps, age, key=lambda step: step.age)
        return self.steps[index - 1] if index else None

    def survival_at(self, age: float) -> float | None:
        """Share alive at an age; None beyond the watch, unless nobody was left to live on."""
        step = self.step_at(min(age, self.watched_to))
        survival = 1.0 if step is None else step.survival
        return None if survival and age > self.watched_to else survival

    def median(self) -> float | None:
        """The age that half of them don't pass; None where more than half were alive as long as any was watched."""
        return next((step.age for step in self._known if step.survival <= 0.5 + _NOTHING), None)

    def median_interval(self, confidence: float = CONFIDENCE) -> tuple[float | None, float | None]:
        """Ages at which the lower and the upper limit of the survival come down to half (Brookmeyer and Crowley)."""
        low = high = None
        for step in self._known:
            limits = step.interval(confidence) or ((0.0, 0.0) if not step.survival else (1.0, 1.0))
            low = step.age if low is None and limits[0] <= 0.5 else low
            high = step.age if high is None and limits[1] <= 0.5 else high
        return low, high

    def told_at(self, age: float, confidence: float = CONFIDENCE) -> Told | None:
        """Survival at an age with an interval also where the log-log one has none; None beyond the watch.

        Where none was lost, the exact binomial limit for as many as were at least watched all the way. Where all
        were lost, the upper limit as it stood before the last ones were, or the exact binomial one where all were
        lost at once.
        """
        survival = self.survival_at(age)
        if survival is None:
            return None
        step, tail, watched = self.step_at(min(age, self.watched_to)), (1 - confidence) / 2, self.watched(age)
        if step is not None and (limits := step.interval(confidence)) is not None:
            return Told(age, survival, *limits, watched, LOG_LOG)
        if survival:
            return Told(age, survival, tail ** (1 / watched), 1.0, watched, NONE_LOST)
        before, last = self.step_before_the_last(), next(one for one in self.steps if not one.survival)
        if before is not None and (limits := before.interval(confidence)) is not None:
            return Told(age, survival, 0.0, limits[1], watched, FROM_BEFORE)
        return Told(age, survival, 0.0, 1 - tail ** (1 / last.at_risk), watched, ALL_LOST)

    def step_before_the_last(self) -> Step | None:
        """The step before that by which all were lost."""
        living = [step for step in self.steps if step.survival]
        return living[-1] if living else None

    def watched(self, age: float) -> float:
        """The fewest heads under watch at any time up to an age: what an answer about that age rests on."""
        fewest = self.begun
        for step in self.steps:
            if step.age >= age:
                break
            fewest = min(fewest, step.after)
        return max(0.0, fewest)

    @property
    def _known(self) -> list[Step]:
        """The steps up to the end of the watch: what comes after a gap is not known of one from the beginning on."""
        return [step for step in self.steps if step.age <= self.watched_to]


def kaplan_meier(lives: Iterable[Life]) -> Curve:
    """The product-limit estimate of survival, with late entry and fractional heads.

    Equation: S(t) = product over ages a <= t of 1 - lost(a) / at_risk(a), where at risk at a are those with
    entry < a <= end (from 0 on those who enter at 0); lost before left at one age. Spread: Greenwood's sum of
    lost / (at_risk (at_risk - lost)).
    Shapes and units: ages of any one unit; heads, whole or fractional.
    Valid for: heads that leave the watch, or come under it, for reasons that don't tell how long they live.
    Uncertainty: `Step.interval`; heads that die of one thing at once are not independent, and it is then too narrow.
    Raises: ValueError for an end before its entry or heads below 0.
    Source: Kaplan and Meier, J. Am. Stat. Assoc. 53, 457 (1958); Greenwood (1926); log-log limits Kalbfleisch and
    Prentice, The Statistical Analysis of Failure Time Data. Held to lifelines and statsmodels.
    Not covered: lives of which only an interval is known.
    """
    lost: dict[float, float] = {}
    left: dict[float, float] = {}
    entered: dict[float, float] = {}
    begin = heads = 0.0
    for life in lives:
        if life.heads < 0 or life.end < life.entry:
            raise ValueError("a life ends before it begins, or has heads below 0")
        if life.heads <= _NOTHING or (life.entry > 0 and life.end == life.entry):
            continue  # watched for no time at all, it was never at risk
        heads += life.heads
        if life.entry > 0:
            entered[life.entry] = entered.get(life.entry, 0.0) + life.heads
        else:
            begin += life.heads
        gone = lost if life.lost else left
        gone[life.end] = gone.get(life.end, 0.0) + life.heads
    return Curve(tuple(_steps(begin, entered, lost, left)), heads, begin, math.fsum(lost.values()))


def _steps(
    at_risk: float, entered: dict[float, float], lost: dict[float, float], left: dict[float, float]
) -> list[Step]:
    entries, next_entry = sorted(entered.items()), 0
    survival, spread = 1.0, 0.0
    steps = []
    for age in sorted(lost.keys() | left.keys()):
        while next_entry < len(entries) and entries[next_entry][0] < age:
            at_risk += entries[next_entry][1]
            next_entry += 1
        dead, gone = lost.get(age, 0.0), left.get(age, 0.0)
        if dead and at_risk - dead <= _NOTHING:
            survival, spread = 0.0, math.inf
        elif dead:
            survival *= 1 - dead / at_risk
            spread += dead / (at_risk * (at_risk - dead))
        after = max(0.0, at_risk - dead - gone)
        steps.append(Step(age, at_risk, dead, gone, after + entered.get(age, 0.0), survival, spread))
        at_risk = after
    return steps


@dataclass(frozen=True)
class Compared:
    """Two curves beside each other. `expected` is what the first would have lost if both died alike."""

    lost: float
    expected: float
    variance: float

    @property
    def chi_square(self) -> float | None:
        """None where the curves were never at risk together, so that nothing can be told."""
        return (self.lost - self.expected) ** 2 / self.variance if self.variance > 0 else None

    @property
    def probability(self) -> float | None:
        """That curves which don't differ come out so far apart; one degree of freedom."""
        square = self.chi_square
        return None if square is None else math.erfc(math.sqrt(square / 2))


def log_rank(first: Sequence[Life], second: Sequence[Life]) -> Compared:
    """The log-rank test of two groups of lives.

    Equation: at each age with losses d of n at risk together, the first group of n1 expects d n1 / n with the
    hypergeometric variance d (n1/n) (1 - n1/n) (n - d) / (n - 1); all ages are summed.
    Shapes and units: as `kaplan_meier`.
    Valid for: some five losses and more in each; it looks at the whole span, and misses curves that cross.
    Uncertainty: chi-square of one degree of freedom holds for many losses.
    Raises: ValueError as `kaplan_meier`.
    Source: Mantel (1966), Peto and Peto (1972). Held to lifelines and statsmodels.
    Not covered: weights that look at early or late losses rather than at all alike.
    """
    one, all_of_them = kaplan_meier(first), kaplan_meier([*first, *second])
    risk = _Risk(first)
    lost = {step.age: step.lost for step in one.steps}
    observed = expected = variance = 0.0
    for step in all_of_them.steps:
        if not step.lost:
            continue
        share = risk.at(step.age) / step.at_risk
        observed += lost.get(step.age, 0.0)
        expected += step.lost * share
        if step.at_risk > 1:
            still = (step.at_risk - step.lost) / (step.at_risk - 1)
            variance += step.lost * share * (1 - share) * max(0.0, still)
    return Compared(observed, expected, variance)


class _Risk:
    """How many of some lives are at risk at ages that ascend."""

    def __init__(self, lives: Sequence[Life]) -> None:
        watched = [life for life in lives if not (life.entry > 0 and life.end == life.entry)]
        self._entries = sorted((life.entry, life.heads) for life in watched)
        self._ends = sorted((life.end, life.heads) for life in watched)
        self._in = self._out = 0
        self._heads = 0.0

    def at(self, age: float) -> float:
        while self._in < len(self._entries) and (
            self._entries[self._in][0] < age or self._entries[self._in][0] <= 0
        ):
            self._heads += self._entries[self._in][1]
            self._in += 1
        while self._out < len(self._ends) and self._ends[self._out][0] < age:
            self._heads -= self._ends[self._out][1]
            self._out += 1
        return max(0.0, self._heads)


def deviations(confidence: float) -> float:
    """How many standard deviations a two-sided interval of that confidence reaches."""
    return NormalDist().inv_cdf((1 + confidence) / 2)
