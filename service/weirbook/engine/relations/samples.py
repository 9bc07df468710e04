"""Two lists of measurements beside each other: by their means, and by their ranks."""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from weirbook.engine.relations.distributions import normal_tail, t_tail, two_sided_t, two_sided_z

WELCH = "Welch's t test, two-sided"
RANKS_EXACT = "Mann–Whitney test, exact, two-sided"
RANKS_NORMAL = "Mann–Whitney test, normal approximation with corrections for ties and continuity, two-sided"
"""Names of the tests, for sentences."""

MOST_EXACT = 40
"""Measurements in either list up to which ranks are counted out; beyond it the normal curve differs by nothing that matters."""


@dataclass(frozen=True)
class Sample:
    """What is told of one list; spread is the standard deviation, None of a single measurement."""

    n: int
    mean: float
    median: float
    spread: float | None


@dataclass(frozen=True)
class MeanComparison:
    """Means of two lists: first less second, by Welch.

    error is the standard error of the difference. Without spread in at least one list of two or more, or with a list
    of one, everything from `error` on is None and `unknown` says why.
    """

    first: Sample
    second: Sample
    difference: float
    error: float | None
    t: float | None
    freedom: float | None
    low: float | None
    high: float | None
    confidence: float
    p: float | None
    method: str
    unknown: str | None


@dataclass(frozen=True)
class RankComparison:
    """Ranks of two lists: first against second, by Mann and Whitney.

    u: pairs in which the first is higher, ties counting a half; second_u the others. higher_share: u over all pairs.
    shift: Hodges and Lehmann's, the median of all differences first less second; low, high its interval, None where so
        few measurements allow none at that confidence. p_higher: one-sided, that of a first list so high by chance.
    tied: sum of t^3 - t over ties of t measurements; deviation: of U by chance, 0 where all measurements are the same.
    z: of the normal approximation, None where counted out.
    unknown: why nothing can be told (every measurement the same), p then 1.
    """

    first: Sample
    second: Sample
    u: float
    second_u: float
    higher_share: float
    shift: float
    low: float | None
    high: float | None
    confidence: float
    exact: bool
    tied: int
    deviation: float
    z: float | None
    p: float
    p_higher: float
    method: str
    unknown: str | None


def sample_of(values: Sequence[float]) -> Sample:
    """Count, mean, median and standard deviation (n - 1) of a list. Raises ValueError for an empty one."""
    if not values or not all(map(math.isfinite, values)):
        raise ValueError("a sample needs measurements, all of them numbers")
    # `statistics` adds up exactly, so that equal measurements have no spread at all.
    spread = math.sqrt(statistics.variance(values)) if len(values) > 1 else None
    return Sample(len(values), statistics.fmean(values), statistics.median(values), spread)


def compare_means(
    first: Sequence[float], second: Sequence[float], confidence: float = 0.95
) -> MeanComparison:
    """The difference of two means with its interval, spreads allowed to differ.

    Equation: t = (m1 - m2) / sqrt(s1^2/n1 + s2^2/n2); df = (v1 + v2)^2 / (v1^2/(n1 - 1) + v2^2/(n2 - 1)), v = s^2/n;
    interval m1 - m2 -+ t(confidence, df) x the same root.
    Shapes and units: measurements of one unit; the difference in it too.
    Valid for: independent measurements, near enough normal or some dozens of them. Readings of one tank one after
    another are not independent: each repeats much of the last.
    Uncertainty: the interval itself. Raises: ValueError for an empty list, confidence not between 0 and 1.
    Source: Welch (1947), Biometrika 34, 28; held to SciPy and to published examples.
    Not covered: pairs, trends, more than two lists.
    """
    _refuse_no_confidence(confidence)
    one, two = sample_of(first), sample_of(second)
    difference = one.mean - two.mean
    if one.spread is None or two.spread is None:
        return _no_means(
            one, two, difference, confidence, "a list of one measurement has no spread to judge by"
        )
    if one.spread == two.spread == 0:
        return _no_means(
            one,
            two,
            difference,
            confidence,
            "within each list all measurements are the same: no spread to judge by",
        )
    of_one, of_two = one.spread / math.sqrt(one.n), two.spread / math.sqrt(two.n)
    error = math.hypot(of_one, of_two)
    freedom = 1 / ((of_one / error) ** 4 / (one.n - 1) + (of_two / error) ** 4 / (two.n - 1))
    t = difference / error
    half = two_sided_t(confidence, freedom) * error
    p = min(1.0, 2 * t_tail(abs(t), freedom))
    low, high = difference - half, difference + half
    return MeanComparison(one, two, difference, error, t, freedom, low, high, confidence, p, WELCH, None)


def _no_means(
    first: Sample, second: Sample, difference: float, confidence: float, why: str
) -> MeanComparison:
    return MeanComparison(
        first, second, difference, None, None, None, None, None, confidence, None, WELCH, why
    )


def compare_ranks(
    first: Sequence[float], second: Sequence[float], confidence: float = 0.95, exact: bool | None = None
) -> RankComparison:
    """Whether measurements of the first list tend to be higher, whatever their distribution; shift with its interval.

    Equation: U = pairs with first > second + ties / 2. Exact: all orders of the measurements are equally likely, p twice
    the smaller tail. Else z = (|U - n1 n2 / 2| - 1/2) / sd, sd^2 = n1 n2 / 12 (N + 1 - sum(t^3 - t) / (N (N - 1))) with
    t the sizes of ties. Shift: median of all differences; its interval leaves out as many of them at either end as U
    may count at most by chance.
    Shapes and units: measurements of one unit. Exact without ties and up to MOST_EXACT in either list, unless `exact`
    says otherwise (exact with ties is refused).
    Valid for: independent measurements; the shift, if both lists have one shape.
    Uncertainty: of the normal approximation some per cent of p, more for lists of three or four.
    Raises: ValueError for an empty list, confidence not between 0 and 1, exact with ties.
    Source: Mann and Whitney (1947), Ann. Math. Stat. 18, 50; Hodges and Lehmann (1963), Ann. Math. Stat. 34, 598;
    Hollander and Wolfe (1973) for the interval; from memory, held to SciPy and to published examples.
    Not covered: pairs; differences of spread alone.
    """
    _refuse_no_confidence(confidence)
    one, two = sample_of(first), sample_of(second)
    differences = sorted(a - b for a in first for b in second)
    pairs = len(differences)
    u = sum(a > b for a in first for b in second) + sum(a == b for a in first for b in second) / 2
    ties = [count for count in Counter([*first, *second]).values() if count > 1]
    if exact is None:
        exact = not ties and max(one.n, two.n) <= MOST_EXACT
    if exact and ties:
        raise ValueError("ranks with ties can't be counted out")
    unknown = "all measurements are the same" if len({*first, *second}) == 1 else None
    tied = sum(t**3 - t for t in ties)
    deviation = _deviation_of_u(one.n, two.n, tied)
    z = None if exact or unknown else (max(u, pairs - u) - pairs / 2 - 0.5) / deviation
    p, p_higher = _chances(u, one.n, two.n, exact, deviation)
    left_out = _left_out(one.n, two.n, exact, deviation, (1 - confidence) / 2)
    within = None if unknown or left_out is None else (differences[left_out], differences[-1 - left_out])
    return RankComparison(
        one,
        two,
        u,
        pairs - u,
        u / pairs,
        statistics.median(differences),
        within and within[0],
        within and within[1],
        confidence,
        exact,
        tied,
        deviation,
        z,
        p,
        p_higher,
        RANKS_EXACT if exact else RANKS_NORMAL,
        unknown,
    )


def _refuse_no_confidence(confidence: float) -> None:
    if not 0 < confidence < 1:
        raise ValueError("a confidence lies between 0 and 1")


def _deviation_of_u(n1: int, n2: int, tied: int) -> float:
    n = n1 + n2
    return math.sqrt(n1 * n2 / 12 * (n + 1 - tied / (n * (n - 1))))


def _chances(u: float, n1: int, n2: int, exact: bool, deviation: float) -> tuple[float, float]:
    """Two-sided, and that of a U so high."""
    if exact:
        higher, lower = _orders_at_most(n1, n2, n1 * n2 - int(u)), _orders_at_most(n1, n2, int(u))
        orders = math.comb(n1 + n2, n1)
        return min(1.0, 2 * min(higher, lower) / orders), higher / orders
    if deviation == 0:
        return 1.0, 1.0
    above = u - n1 * n2 / 2
    return min(1.0, 2 * normal_tail((abs(above) - 0.5) / deviation)), normal_tail((above - 0.5) / deviation)


def _left_out(n1: int, n2: int, exact: bool, deviation: float, doubt: float) -> int | None:
    """How many of the sorted differences the interval leaves out at either end; None where too few measurements."""
    if exact:
        limit = doubt * math.comb(n1 + n2, n1)
        out = next(k for k in range(n1 * n2 + 1) if _orders_at_most(n1, n2, k) > limit)
    else:
        out = math.floor(n1 * n2 / 2 - 0.5 - deviation * two_sided_z(1 - 2 * doubt)) + 1
    return out - 1 if out > 0 else None


def _orders_at_most(n1: int, n2: int, u: int) -> int:
    """In how many orders of n1 + n2 different measurements U is at most u."""
    return _summed_orders(n1, n2)[u]


@lru_cache(maxsize=8)
def _summed_orders(n1: int, n2: int) -> tuple[int, ...]:
    """Summed coefficients of the Gaussian binomial: prod (1 - x^(n2 + i)) / (1 - x^i), i from 1 to n1."""
    top = n1 * n2
    ways = [1] + [0] * top
    for i in range(1, n1 + 1):
        for k in range(top, n2 + i - 1, -1):
            ways[k] -= ways[k - n2 - i]
        for k in range(i, top + 1):
            ways[k] += ways[k - i]
    total, summed = 0, []
    for way in ways:
        total += way
        summed.append(total)
    return tuple(summed)
