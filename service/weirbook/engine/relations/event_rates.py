"""Rates of rare happenings, as losses per fish-day, and two such rates beside each other."""

from __future__ import annotations

import math
from dataclasses import dataclass

from weirbook.engine.relations.distributions import (
    beta_quantile,
    binomial_at_least,
    binomial_at_most,
    poisson_mean_interval,
)

CONDITIONAL_POISSON = "conditional exact Poisson test, two-sided by twice the smaller tail"
"""The name of the test in `compare_rates`, for sentences."""


@dataclass(frozen=True)
class EventRate:
    """Events over their exposure, with its exact interval; events for each unit of exposure."""

    events: int
    exposure: float
    rate: float
    low: float
    high: float
    confidence: float


@dataclass(frozen=True)
class RateComparison:
    """Two rates of events beside each other: first against second.

    ratio: first rate over second; None where there was no event in the second (then either no end, or, with none at
        all, not known).
    low, high: its exact interval; low 0 where the first had no event, high None where it has no end; both None where
        there was no event at all.
    p: two-sided; below 1 - confidence exactly where the interval leaves out 1.
    p_higher, p_lower: one-sided, how often so many (so few) of all events would fall in the first by chance alone.
    unknown: why nothing can be told, in words; None where something can.
    """

    first: EventRate
    second: EventRate
    ratio: float | None
    low: float | None
    high: float | None
    confidence: float
    p: float
    p_higher: float
    p_lower: float
    method: str
    unknown: str | None

    @property
    def expected_share(self) -> float:
        """Of all events, how many would fall in the first if both rates were one."""
        return self.first.exposure / (self.first.exposure + self.second.exposure)

    @property
    def told_apart(self) -> bool:
        """Whether the interval of the ratio leaves out 1."""
        return (self.low is not None and self.low > 1) or (self.high is not None and self.high < 1)


def event_rate(events: int, exposure: float, confidence: float = 0.95) -> EventRate:
    """Events for each unit of exposure, with Garwood's exact interval.

    Equation: k / E; `poisson_mean_interval` / E.
    Shapes and units: exposure in any unit (fish-days); rates for each of it.
    Valid for: events that come singly and by chance; those of one outbreak come together, so that the interval is too
    narrow for them.
    Uncertainty: that of counting is the interval itself; fish whose end nobody saw are not in it.
    Raises: ValueError for events below 0, exposure that is not more than 0, confidence not between 0 and 1.
    Source: Garwood (1936), Biometrika 28, 437. Not covered: exposure that is itself uncertain.
    """
    if events < 0 or not 0 < exposure < math.inf or not 0 < confidence < 1:
        raise ValueError(
            "a rate needs a count of events, an exposure above 0 and a confidence between 0 and 1"
        )
    low, high = poisson_mean_interval(events, confidence)
    return EventRate(events, exposure, events / exposure, low / exposure, high / exposure, confidence)


def compare_rates(
    events: int, exposure: float, second_events: int, second_exposure: float, confidence: float = 0.95
) -> RateComparison:
    """The first rate of events against the second: ratio, its exact interval, and the conditional exact test.

    Equation: given n events in all and equal rates, those of the first are binomial with the share
    p0 = E1 / (E1 + E2); p = min(1, 2 min(P(X <= k), P(X >= k))). Ratio interval: Clopper and Pearson's of that share,
    p / (1 - p) x E2 / E1.
    Shapes and units: exposures in one unit; ratio and p numbers.
    Valid for: as `event_rate`. Of the two-sided forms this is the central one: it never contradicts its interval,
    which the form by smaller likelihoods (the other one in use) may.
    Uncertainty: exact tests of counts are cautious: they find what is not there less often than their level says.
    Raises: ValueError as `event_rate`.
    Source: Przyborowski and Wilenski (1940), Biometrika 31, 313; the interval and the forms: Fay (2010), The R Journal
    2(1), 53; from memory, held to SciPy and statsmodels.
    Not covered: more than two rates, rates that drift in time (moving a fish from one period to the next is no chance).
    """
    first = event_rate(events, exposure, confidence)
    second = event_rate(second_events, second_exposure, confidence)
    total = events + second_events
    share, rest = exposure / (exposure + second_exposure), second_exposure / (exposure + second_exposure)
    higher = binomial_at_least(events, total, share, rest)
    lower = binomial_at_most(events, total, share, rest)
    low, high = _ratio_interval(first, second, (1 - confidence) / 2) if total else (None, None)
    return RateComparison(
        first,
        second,
        first.rate / second.rate if second_events else None,
        low,
        high,
        confidence,
        min(1.0, 2 * min(higher, lower)),
        higher,
        lower,
        CONDITIONAL_POISSON,
        None if total else "there were no events in either",
    )


def _ratio_interval(first: EventRate, second: EventRate, doubt: float) -> tuple[float, float | None]:
    scale = second.exposure / first.exposure
    low: float = 0.0
    high: float | None = None
    if first.events:
        share, rest = beta_quantile(doubt, first.events, second.events + 1)
        low = share / rest * scale
    if second.events:
        rest, share = beta_quantile(doubt, second.events, first.events + 1)
        high = share / rest * scale
    return low, high
