"""What calculators have in common that set two periods or groups of fish beside each other."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from weirbook.engine.relations.distributions import binomial_chance
from weirbook.engine.shape import TEXT, Caution, Step, param

USUAL_CONFIDENCE = 0.95

MOST_TERMS = 10
"""Terms of a sum that a person would follow; longer ones are told in words."""
MOST_IN_BINOMIALS = 100
"""Of which binomial coefficients are written out."""

VERDICTS = (
    "higher or lower (the interval leaves chance out, at its confidence); unclear (chance alone may explain it, which is"
    " no proof that they are alike); unknown."
)

UNCONTROLLED = Caution(
    "more-than-one-thing-differs",
    "Two periods or tanks differ in more than the one thing looked at: season, food, age, hands. What came before need"
    " not be what did it.",
)
LOOKED_AT_OFTEN = Caution(
    "looked-at-often",
    "Who compares again and again until something shows will find something by chance: at 95 % about one comparison in"
    " twenty. Decide beforehand what is compared, and when.",
)


def confidence() -> Any:
    return param("fraction", doc="Of the intervals.", unit="%", ge=0.5, le=0.9999, default=USUAL_CONFIDENCE)


def name(which: str) -> Any:
    return param(TEXT, doc=f"What {which} is called in sentences.", default=which)


def verdict(low: float | None, high: float | None, alike: float) -> str:
    """Higher or lower where the interval leaves out the value of no difference, else unclear."""
    if low is not None and low > alike:
        return "higher"
    return "lower" if high is not None and high < alike else "unclear"


def ten(value: float) -> str:
    """Ten digits, as a pocket calculator shows: for what is raised to a power."""
    return f"{value:.10g}"


def binomial_tail_step(words: str, counts: range, of: int, share: float) -> Step | None:
    """A tail of a binomial distribution, term by term; None where nobody would follow it."""
    if len(counts) > MOST_TERMS or of > MOST_IN_BINOMIALS:
        return None
    terms = [f"{math.comb(of, k):.6g} × {ten(share)}^{k} × {ten(1 - share)}^{of - k}" for k in counts]
    value = math.fsum(binomial_chance(k, of, share) for k in counts)
    return Step(words, " + ".join(terms) or "0", value, "number")


def followed(steps: Iterable[Step | None]) -> list[Step]:
    return [one for one in steps if one is not None]
