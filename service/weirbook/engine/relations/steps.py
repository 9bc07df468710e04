"""Whether what is seen at a change is a step that stays, or a trend that runs through the change anyway."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from weirbook.engine.relations.differences import Stretch, least_left
from weirbook.engine.relations.persistence import Gram, coefficient, grams, likelihood

Shape = Literal["none", "step", "trend", "step and trend", "step on another day", "undecided"]
TELLING = 8.0
"""How many times likelier the series must be with the one than with the other: fairly strong evidence (Royall 1997)."""
_TELLING_BESIDES = 20 * math.e
"""And with both than with the better one: a further coefficient fits e times better by chance (Akaike 1974), and short
series that wander look like a step back against a trend."""
_TELLING_DAY = 20.0
"""And with the step on another day than on that of the change: one of many days fits better by chance."""
_NEAR_DAYS = 3
_ONE, _STEP, _TIME, _VALUE = range(4)
FEWEST_FOR_SHAPE = 12
"""Days with a value in all: common practice, since three or four numbers are fitted to them."""


@dataclass(frozen=True)
class StepOrTrend:
    """What fits, and by how much better.

    `odds` is how many times likelier the series is with a step than with a trend (below 1: the trend). `step`
    is the size of a step if a trend may run besides, `slope` that of a trend a day if a step may stand besides, both as
    90 % intervals. `elsewhere` is the day on which a step fits far better than on that of the change.
    """

    shape: Shape
    odds: float
    step: tuple[float, float]
    slope: tuple[float, float]
    elsewhere: int | None


def step_or_trend(
    first: Stretch,
    second: Stretch,
    differs: bool,
    resolution: float | None = None,
    confidence: float = 0.9,
) -> StepOrTrend | None:
    """Fit a step, a trend and both through two stretches on either side of a change; None where days are too few.

    Equations: value = level + c [after the change] + b time + what is left over, a first-order process with ρ as in
    persistence.py; with c alone, b alone, both. Step and trend have as many coefficients: the ratio of their greatest
    likelihoods over all ρ decides, where it is 8 or more either way. Both together must be 20 e times likelier than
    the better one, and the intervals of step and slope, each beside the other, leave nought out.
    Where the stretches don't differ, the slope's interval holds nought, and both together are not 20 e^2 times likelier than
    neither (a step may undo a trend, as a cleaning does), there is nothing to be told apart.
    Shapes and units: days whole numbers; the stretches don't overlap.
    Valid for: twelve days and more.
    Uncertainty: of simulated series with a step of two or three standard deviations 1 to 8 % are called a trend, and
    1 to 5 % with a trend a step; of two weeks each that keep 0.8 of each day one in seven with neither is called either,
    elsewhere one in twenty at most; a quarter to a half of such short ones are undecided (tests).
    Source: Royall (1997), Statistical Evidence; Akaike (1974); both from memory. Held to simulated series.
    Not covered: a value that nears its new level slowly (leave out settle time), seasons, a trend that bends.
    """
    if first.n + second.n < FEWEST_FOR_SHAPE or min(first.n, second.n) < 2:
        return None
    days, values = (*first.days, *second.days), (*first.values, *second.values)
    n = len(days)
    least = least_left(Stretch(days, values), resolution)
    change = second.days[0]
    table = _table(days, values, change)
    ends = coefficient(table, (_ONE, _TIME), 1, n, least).interval(confidence)
    by_none, by_step, by_trend, by_both = (
        likelihood(table, use, n, least)
        for use in ((_ONE,), (_ONE, _STEP), (_ONE, _TIME), (_ONE, _STEP, _TIME))
    )
    both = (_ONE, _STEP, _TIME)
    step, slope = (coefficient(table, both, which, n, least).interval(confidence) for which in (1, 2))
    together = _leaves_nought_out(step) and _leaves_nought_out(slope)
    opposed = together and by_both - by_none >= math.log(_TELLING_BESIDES) + 1
    shape: Shape = "none"
    elsewhere = None
    if differs or opposed or _leaves_nought_out(ends):
        further = by_both - max(by_step, by_trend) >= math.log(_TELLING_BESIDES)
        shape = "step and trend" if together and further else _shape(by_step, by_trend)
        elsewhere = _elsewhere(days, values, first, second, max(by_step, by_trend, by_both), least)
    return StepOrTrend(
        shape if elsewhere is None else "step on another day",
        math.exp(max(-50.0, min(50.0, by_step - by_trend))),
        step,
        slope,
        elsewhere,
    )


def _leaves_nought_out(ends: tuple[float, float]) -> bool:
    return not ends[0] <= 0 <= ends[1]


def _shape(by_step: float, by_trend: float) -> Shape:
    if by_step - by_trend >= math.log(TELLING):
        return "step"
    if by_trend - by_step >= math.log(TELLING):
        return "trend"
    return "undecided"


def _table(days: Sequence[int], values: Sequence[float], change: int) -> list[Gram]:
    """Columns: one, step, time, values; days and values from their middle, lest figures be lost."""
    middle, level = (days[0] + days[-1]) / 2, math.fsum(values) / len(values)
    return grams(
        days,
        (
            [1.0] * len(days),
            [float(day >= change) for day in days],
            [day - middle for day in days],
            [value - level for value in values],
        ),
    )


def _elsewhere(
    days: Sequence[int],
    values: Sequence[float],
    first: Stretch,
    second: Stretch,
    best: float,
    least: float,
) -> int | None:
    """The day of the least-squares step, where it lies apart from the change and fits far better."""
    found = least_squares_step(values)
    day = days[found]
    if first.days[-1] - _NEAR_DAYS < day <= second.days[0] + _NEAR_DAYS:
        return None
    there = likelihood(_table(days, values, day), (_ONE, _STEP), len(days), least)
    return day if there - best >= math.log(_TELLING_DAY) else None


def least_squares_step(values: Sequence[float]) -> int:
    """The place of the first value after the single step that leaves the least sum of squares.

    Equation: the k that makes (Σ first k of (y - mean))^2 / (k (n - k)) greatest.
    Valid for: two values and more. Source: Hinkley (1970), Biometrika 57, 1.
    """
    n = len(values)
    mean = math.fsum(values) / n
    best, place, total = -1.0, 1, 0.0
    for k, value in enumerate(values[:-1], 1):
        total += value - mean
        gain = total * total / (k * (n - k))
        if gain > best:
            best, place = gain, k
    return place
