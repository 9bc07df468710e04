"""What daily values that follow their neighbours are worth, and how far their mean may be off: blocks drawn again.

Days are whole numbers, ascending; days without a value are left out. Every draw comes from a generator of our own
with a fixed start: the same values always give the same answer.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import accumulate, islice, pairwise
from statistics import fmean, median
from typing import Literal

Centre = Literal["mean", "median"]
RESAMPLES = 2000
"""Enough that the ends of a 90 % interval move by some 3 % of its width from one start to another."""
_START = 0x5EED_0F_DA15
_MASK = (1 << 64) - 1


def lag_one(days: Sequence[int], values: Sequence[float]) -> float | None:
    """The correlation of values with those of the day before.

    Equation: (mean over pairs of neighbouring days of (x_d - m) (x_d+1 - m)) / (mean of (x_d - m)^2).
    Shapes and units: days ascend; a number from about -1 to 1. None where all values are alike or no days neighbour.
    Valid for: any gaps: only days that both have a value are paired.
    Uncertainty: about 1 / sqrt(n), and low by about (1 + 3 ρ) / n (Kendall 1954).
    Source: Box, Jenkins and Reinsel (1994), Time Series Analysis, section 2.1.5; with gaps Dunsmuir and Robinson
    (1981), from memory.
    """
    centre = fmean(values)
    off = {day: value - centre for day, value in zip(days, values, strict=True)}
    square = fmean(one * one for one in off.values())
    products = [one * off[day + 1] for day, one in off.items() if day + 1 in off]
    if not products or square <= (1e-12 * max(map(abs, values))) ** 2:
        return None
    return max(-1.0, min(1.0, fmean(products) / square))


def effective_size(days: Sequence[int], persistence: float) -> float:
    """How many independent values persistent ones are worth to a mean, each on its day.

    Equation: n^2 / (n + 2 x the sum over all pairs of ρ^g), g the days between the two; for one value a day that is
    n / (1 + 2 x the sum over lags k of (1 - k / n) ρ^k).
    Shapes and units: days ascend; numbers. Valid for: -1 < ρ < 1, any gaps.
    Source: Bayley and Hammersley (1946), Supplement to the Journal of the Royal Statistical Society 8, 184, for even
    spacing; with gaps the variance of a sum from its correlations.
    """
    n, pairs, to_earlier = len(days), 0.0, 0.0
    for before, after in pairwise(days):
        to_earlier = persistence ** (after - before) * (1 + to_earlier)
        pairs += to_earlier
    return n * n / (n + 2 * pairs)


def block_length(n: int, persistence: float) -> int:
    """How many days a block should have so that it keeps what binds neighbours together.

    Equation: (sqrt(6) ρ / (1 - ρ^2))^(2/3) n^(1/3) rounded up, at least n^(1/3), at most a third of the days.
    Shapes and units: days. Valid for: n >= 1.
    Source: Künsch (1989), Annals of Statistics 17, 1217, and Hall, Horowitz and Jing (1995), Biometrika 82, 561, for
    n^(1/3). The factor weighs the bias in a first-order process, as in Carlstein (1986), Annals of Statistics 14, 1171,
    against the variance of blocks that overlap by Künsch (1989), two thirds of that of Carlstein's, which do not: so
    sqrt(6) stands where he has 2. From memory.
    """
    least = n ** (1 / 3)
    rho = min(max(persistence, 0.0), 0.95)
    wanted = (math.sqrt(6) * rho / (1 - rho * rho)) ** (2 / 3) * least
    length: float = max(wanted, least)
    return max(1, min(math.ceil(length - 1e-9), n // 3))


def resampled(
    days: Sequence[int], values: Sequence[float], length: int, of: Centre = "mean", turn: int = 0
) -> list[float]:
    """Centres of stretches put together anew from blocks of successive days, RESAMPLES of them.

    A block begins at any day of the stretch from which `length` days fit, and brings what values those days have;
    as many blocks are drawn as fill the stretch. `turn` parts the draws of one stretch from those of another.
    Shapes and units: as the values. Valid for: at least one value.
    Source: Künsch (1989), Annals of Statistics 17, 1217, the moving-block bootstrap.
    Not covered: seasons; persistence longer than a block.
    """
    held = dict(zip(days, values, strict=True))
    span = range(days[0], days[-1] + 1)
    length = min(length, len(span))
    starts = len(span) - length + 1
    blocks = -(-len(span) // length)
    draws = _draws(starts, turn)
    if of == "median":
        pieces = [[held[day] for day in span[at : at + length] if day in held] for at in range(starts)]
        return [_median_of(pieces, blocks, draws) for _ in range(RESAMPLES)]
    sums = _windows([held.get(day, 0.0) for day in span], length)
    counts = _windows([float(day in held) for day in span], length)
    return [_mean_of(sums, counts, blocks, draws) for _ in range(RESAMPLES)]


def _windows(values: Sequence[float], length: int) -> list[float]:
    totals = list(accumulate(values, initial=0.0))
    return [end - begin for begin, end in zip(totals, totals[length:], strict=False)]


def _mean_of(sums: Sequence[float], counts: Sequence[float], blocks: int, draws: Iterator[int]) -> float:
    while True:  # blocks that all fall into a gap hold nothing: drawn again
        chosen = list(islice(draws, blocks))
        if count := sum(map(counts.__getitem__, chosen)):
            return sum(map(sums.__getitem__, chosen)) / count


def _median_of(pieces: Sequence[Sequence[float]], blocks: int, draws: Iterator[int]) -> float:
    while True:
        drawn = [value for at in islice(draws, blocks) for value in pieces[at]]
        if drawn:
            return median(drawn)


def _draws(below: int, turn: int) -> Iterator[int]:
    """Whole numbers from 0 to below, each as likely, the same at every call.

    Source: Knuth (1997), The Art of Computer Programming, volume 2, section 3.3.4, its 64-bit multiplier; the upper
    half of the bits, since the lower ones repeat early.
    """
    state = (_START + turn * 0x9E3779B97F4A7C15) & _MASK
    while True:
        state = (state * 6364136223846793005 + 1442695040888963407) & _MASK
        yield (state >> 32) * below >> 32


def middle(values: Sequence[float], of: Centre) -> float:
    """The mean or the median."""
    return fmean(values) if of == "mean" else median(values)


def between_shares(values: Sequence[float], confidence: float) -> tuple[float, float]:
    """The ends between which the middle `confidence` of resampled values lies (percentiles, between ranks)."""
    ordered = sorted(values)
    ends = []
    for share in ((1 - confidence) / 2, (1 + confidence) / 2):
        place = share * (len(ordered) - 1)
        below = int(place)
        above = min(below + 1, len(ordered) - 1)
        ends.append(ordered[below] + (place - below) * (ordered[above] - ordered[below]))
    return ends[0], ends[1]
