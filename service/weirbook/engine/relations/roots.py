"""Where a rising function passes zero. For equations that no formula turns round."""

from __future__ import annotations

import math
from collections.abc import Callable

MOST_STEPS = 200
"""Far more than halving alone takes from any bracket of floats that occur here."""
CLOSE = 1e-12
"""Of the root itself. A step as short as this ends the search; what it leaves is far less, being its square."""


def root_between(
    rising: Callable[[float], tuple[float, float]], low: float, high: float, start: float | None = None
) -> float:
    """The x between `low` and `high` at which `rising(x)`, which gives a value and its slope, is zero.

    Equation: Newton's step x - value / slope, and the middle of what is left of the bracket where that step would
    leave it or does not at least halve the step before.
    Shapes and units: those of the function.
    Valid for: a function that rises (kinks are no trouble), at or below zero at `low`, at or above at `high`.
    Uncertainty: 1 part in 10^12 of x at a kink and far less elsewhere, or the rounding of the function where that is coarser.
    Source: Press et al. (2007), Numerical Recipes, section 9.4, the safe Newton method; idea from memory.
    Not covered: several roots; a bracket that holds none ends at one of its ends.
    """
    x = (low + high) / 2 if start is None or not low <= start <= high else start
    before = high - low
    for _ in range(MOST_STEPS):
        value, slope = rising(x)
        if value == 0:
            return x
        if value > 0:
            high = x
        else:
            low = x
        move = -value / slope if 0 < slope < math.inf else math.inf
        if not (low <= x + move <= high and abs(move) <= before / 2):
            move = (low + high) / 2 - x
        if abs(move) <= CLOSE * abs(x):
            return x + move
        x, before = x + move, abs(move)
    return x
