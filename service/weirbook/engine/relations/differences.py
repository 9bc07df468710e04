"""How far two stretches of daily values lie apart, with an interval that holds what it says.

Two intervals are worked out and the wider is given: one of the first-order process of persistence.py, one of the
moving-block bootstrap, which knows no model. The bootstrap alone holds the truth too seldom (a 90 % interval of two
weeks in 57 to 82 %, of three months in 77 to 87 %); the model alone rests on one kind of persistence.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from statistics import fmean, stdev

from weirbook.engine.relations.persistence import (
    RHOS,
    Mixture,
    Part,
    evidence,
    grams,
    line,
    mixed,
    weighed,
)
from weirbook.engine.relations.resampling import (
    Centre,
    between_shares,
    block_length,
    effective_size,
    middle,
    resampled,
)
from weirbook.engine.relations.usual import least_step

FEWEST_DAYS = 5
"""With a value, in a stretch. Common practice: below it a spread is a guess."""


@dataclass(frozen=True)
class Stretch:
    """Daily values: days as whole numbers, ascending, those without a value left out."""

    days: tuple[int, ...]
    values: tuple[float, ...]

    @property
    def n(self) -> int:
        return len(self.values)


@dataclass(frozen=True)
class Mean:
    """The mean of a stretch under one ρ, the variance of what it may be off, and how well the stretch goes with ρ."""

    mean: float
    variance: float
    evidence: float


@dataclass(frozen=True)
class Difference:
    """By how much the later centre lies above the earlier one; the interval has the confidence asked for."""

    value: float
    low: float
    high: float


class Stretches:
    """Several stretches of one series, which share their persistence but each have a spread of their own.

    `resolution` is the step in which values are read, if known: no spread below its rounding error is believed.
    """

    def __init__(
        self, stretches: Sequence[Stretch], of: Centre = "mean", resolution: float | None = None
    ) -> None:
        self.stretches = stretches
        self.of = of
        self.resolution = resolution

    @cached_property
    def _means(self) -> list[list[Mean] | None]:
        return [
            _means(one, least_left(one, self.resolution)) if one.n >= FEWEST_DAYS else None
            for one in self.stretches
        ]

    @cached_property
    def weights(self) -> Mapping[float, float]:
        """How much each ρ weighs, by all stretches together."""
        logs = [0.0] * len(RHOS)
        for means in self._means:
            if means is not None:
                logs = [log + one.evidence for log, one in zip(logs, means, strict=True)]
        return dict(zip(RHOS, weighed(logs), strict=True))

    @cached_property
    def persistence(self) -> float:
        """ρ as far as it is known: the mean of what goes with the stretches."""
        return math.fsum(rho * weight for rho, weight in self.weights.items())

    def worth(self, which: int) -> float:
        """How many independent days a stretch's days are worth to its mean; never more than there are."""
        days = self.stretches[which].days
        n = len(days)
        sizes = (weight * n / effective_size(days, rho) for rho, weight in self.weights.items())
        return min(float(n), n / math.fsum(sizes))

    def known(self, shares: Mapping[int, float]) -> Mixture | None:
        """What is known of a sum of the stretches' means, each taken `shares` times; None if one is too short.

        Equation: for each ρ a t distribution about Σ c m, of the variance Σ c^2 v and Welch's degrees of freedom
        (Σ c^2 v)^2 / Σ ((c^2 v)^2 / (n - 1)), weighed by the evidence of all stretches.
        Valid for: stretches that are independent for a given ρ; neighbours that touch differ less, so that the interval
        is a little wide.
        Source: persistence.py; Welch (1947), Biometrika 34, 28; Satterthwaite (1946).
        """
        chosen = [(share, self._means[which], self.stretches[which].n) for which, share in shares.items()]
        parts = []
        for place, weight in enumerate(self.weights.values()):
            centre, variances = 0.0, []
            for share, means, n in chosen:
                if means is None:
                    return None
                centre += share * means[place].mean
                variances.append((share * share * means[place].variance, n - 1))
            variance = sum(mine for mine, _ in variances)
            freedom = 1 / sum((mine / variance) ** 2 / one for mine, one in variances)
            parts.append(Part(weight, centre, math.sqrt(variance), freedom))
        return mixed(parts)

    def difference(self, first: int, second: int, confidence: float = 0.9) -> Difference | None:
        """The later centre less the earlier one, and an interval; None if either stretch is too short.

        Equations: the wider of the interval of `known` and of the middle share of the differences of `resampled` centres.
        Of medians the first is stretched by how much more they scatter than means do when resampled. Never narrower than
        `_rounding` makes it.
        Shapes and units: those of the values.
        Valid for: five days and more in each, whatever the gaps.
        Uncertainty: of simulated series of 14 to 90 days that keep 0 to 0.8 of the day before, a 90 % interval held the
        difference in 87 to 97 % (tests).
        Source: `known`; Künsch (1989), see resampling.py. Of its intervals the basic one, percentiles mirrored about the
        value, holds the truth oftener than the percentiles; studentised ones need a spread of blocks that two weeks lack.
        Not covered: seasons, weekly habits, changes of spread within a stretch.
        """
        if first == second:
            return Difference(0.0, 0.0, 0.0)
        about = self.known({first: -1.0, second: 1.0})
        if about is None:
            return None
        value = middle(self.stretches[second].values, self.of) - middle(self.stretches[first].values, self.of)
        low, high = (end - about.centre for end in about.interval(confidence))
        drawn = [b - a for a, b in zip(self._drawn(first), self._drawn(second), strict=True)]
        if self.of == "median":
            wider = self._wider(first, second, drawn)
            low, high = low * wider, high * wider
        by_blocks = [value - end for end in reversed(between_shares(drawn, confidence))]
        if by_blocks[1] - by_blocks[0] > high - low:
            low, high = by_blocks
        rounding = self._rounding(first, second, confidence)
        return Difference(value, value + min(low, -rounding, 0.0), value + max(high, rounding, 0.0))

    def _rounding(self, first: int, second: int, confidence: float) -> float:
        """How far a difference of two stretches may be off by rounding alone, where each reads the same on all its days.

        Equation: (1 - sqrt(1 - confidence)) x the step of readings: of two errors, each as likely anywhere within half a
        step, the difference is beyond d in (1 - d / step)^2 of cases.
        The step is the resolution, or the least that is seen between values of all stretches.
        """
        both = {*self.stretches[first].values}, {*self.stretches[second].values}
        if max(map(len, both)) > 1:
            return 0.0
        seen = [value for one in self.stretches for value in one.values]
        return (1 - math.sqrt(1 - confidence)) * (self.resolution or least_step(seen) or 0.0)

    def _drawn(self, which: int) -> list[float]:
        if which not in self._resampled:
            self._resampled[which] = self._draw(which, self.of)
        return self._resampled[which]

    def _draw(self, which: int, of: Centre) -> list[float]:
        one = self.stretches[which]
        return resampled(one.days, one.values, block_length(one.n, self.persistence), of, which)

    def _wider(self, first: int, second: int, drawn: Sequence[float]) -> float:
        means = [b - a for a, b in zip(self._draw(first, "mean"), self._draw(second, "mean"), strict=True)]
        of_means = stdev(means)
        return max(1.0, stdev(drawn) / of_means) if of_means > 0 else 1.0

    @cached_property
    def _resampled(self) -> dict[int, list[float]]:
        return {}


def least_left(stretch: Stretch, resolution: float | None) -> float:
    """The least sum of squares that is believed to be left over: that of rounding, resolution^2 / 12 a value."""
    if not resolution:
        resolution = 1e-9 * max(map(abs, stretch.values)) or 1e-20
    return stretch.n * resolution * resolution / 12


def _means(stretch: Stretch, least: float) -> list[Mean]:
    """For each ρ. A stretch without a spread of its own tells nothing of persistence."""
    n = stretch.n
    found = []
    alike = max(stretch.values) == min(stretch.values)
    level = stretch.values[0]  # sums of squares lose figures where values lie far from nought
    for gram in grams(stretch.days, ([1.0] * n, [value - level for value in stretch.values])):
        one = line(gram, (0,), least)
        found.append(
            Mean(
                level + one.coefficients[0],
                one.left / (n - 1) * one.factors[0],
                0.0 if alike else evidence(gram, one, n),
            )
        )
    return found


def spread(values: Sequence[float]) -> float:
    """The standard deviation of a sample; 0 of a single value."""
    return stdev(values) if len(values) > 1 else 0.0


def mean_of(values: Sequence[float]) -> float:
    """The plain mean."""
    return fmean(values)
