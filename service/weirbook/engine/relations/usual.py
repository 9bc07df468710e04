"""What is usual of a series of values, and how far another lies from it, by median and median absolute deviation.

Neither is swayed by single odd values, so that what was already odd in the past does not hide what is odd now.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

TO_DEVIATION = 1.4826
"""What a median absolute deviation is multiplied by to equal a normal distribution's standard deviation."""
FAR = 3.5
"""Standard deviations by which a value is called far from what is usual."""


@dataclass(frozen=True)
class Usual:
    """The middle of some values, how far they scatter about it (as a standard deviation), and how many there are."""

    middle: float
    spread: float
    n: int


def usual(values: Sequence[float]) -> Usual:
    """Median and scaled median absolute deviation.

    Equations: middle = median(x); spread = 1.4826 x median(|x - middle|).
    Shapes and units: those of the values. Valid for: any values, one at least.
    Uncertainty: below some ten values both are rough; the spread is 0 where more than half are alike.
    Raises: ValueError for no values.
    Source: Hampel (1974), Journal of the American Statistical Association 69, 383, from memory; held to SciPy's
    median_abs_deviation(scale="normal"). Not covered: seasons and trends within the values.
    """
    if not values:
        raise ValueError("what is usual needs one value at least")
    middle = median(values)
    return Usual(middle, TO_DEVIATION * median(abs(one - middle) for one in values), len(values))


def distance(value: float, of: Usual, step: float | None = None) -> float | None:
    """How many standard deviations a value lies from what is usual; None where nothing ever scattered.

    Equation: z = (value - middle) / max(spread, step / sqrt(12)). A scale in steps can't show less scatter than its
    rounding, the standard deviation of which is step / sqrt(12): one step aside is never far, two steps are.
    Shapes and units: value and step in the unit of the values; z is a number, 3.5 and more being far.
    Valid for: values that would scatter about one middle. Uncertainty: that of the spread.
    Source: Iglewicz and Hoaglin (1993), How to Detect and Handle Outliers, whose modified z-score is
    0.6745 (x - median) / MAD with the limit 3.5, from memory (0.6745 = 1 / 1.4826); rounding: variance of the uniform
    distribution. Raises: nothing. Not covered: seasons and trends; values that follow their neighbours.
    """
    spread = max(of.spread, 0.0 if step is None else step / math.sqrt(12))
    if spread == 0:
        return 0.0 if value == of.middle else None
    return (value - of.middle) / spread


@dataclass(frozen=True)
class Far:
    """Values far to one side of what is usual: the first, the farthest and how far it lies (None: nothing scattered), and
    how many there are. Places count from 0."""

    first: int
    farthest: int
    z: float | None
    count: int


def far_from(values: Sequence[float], of: Usual, step: float | None, least: int) -> Far | None:
    """The values that lie far to one side of what is usual, where there are `least` of them; else None.

    Equation: z of `distance` at 3.5 or more on one side; where nothing ever scattered any other value is far.
    Shapes and units: as `distance`. Valid for: values in the order of time, not those that `of` was made of.
    Uncertainty: of simulated daily series that keep 0 to 0.9 of the day before 1 to 4 % have two of 21 days far after 91 that
    tell what is usual (tests). Raises: nothing.
    Source: as `distance`; that two days are asked for is our own choice.
    Not covered: slow drifts and seasons: they end far from where they began.
    """
    for side in (1, -1):
        apart = [distance(one, of, step) for one in values]
        there = [
            place
            for place, z in enumerate(apart)
            if side * (values[place] - of.middle) > 0 and (z is None or side * z >= FAR)
        ]
        if there and len(there) >= min(least, len(values)):
            farthest = max(there, key=lambda place: side * values[place])
            return Far(there[0], farthest, apart[farthest], len(there))
    return None


def least_step(values: Sequence[float]) -> float | None:
    """The smallest step between different values: that of the scale they were read from, or a multiple of it."""
    apart = sorted(set(values))
    return min((later - one for one, later in pairwise(apart)), default=None)
