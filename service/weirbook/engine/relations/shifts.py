"""Whether recent days of a series are unusual for it, and whether and when it moved to another level.

Daily values: days as whole numbers, ascending, those without a value left out. What is found came before a trouble or
did not; nothing here says that it caused it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from operator import mul
from statistics import median

from weirbook.engine.relations.differences import (
    FEWEST_DAYS,
    Difference,
    Stretch,
    Stretches,
    least_left,
)
from weirbook.engine.relations.persistence import RHOS, Freed

LEAST_HISTORY = 21
"""Days with a value: common practice; in fewer nobody knows what is usual of a series."""
LEAST_LENGTHS = 6
"""And as many times the recent days, or the spread of its own stretches is a guess."""
LEAST_RECENT = 2
UNUSUAL = 3.5
"""Robust distances beyond this are unusual (Iglewicz and Hoaglin 1993)."""
TELLING = 1000.0
"""How many times likelier a series must be with a move than without: the best of many days fits well by chance, too."""
_MAD_TO_SD = 1.4826
"""Of a normal distribution: its standard deviation over its median distance from the median."""
_MEAN_TO_SD = 1.2533
"""The same over the mean distance, for series more than half of whose stretches are alike."""
_SCANNED = range(0, len(RHOS), 3)
"""Which of RHOS a search through all days tries: finer steps find the same days."""


@dataclass(frozen=True)
class Unusual:
    """How far recent days lie from the series' own history.

    `z` is the distance of their median from the usual one, in robust standard deviations of the medians of as many days.
    """

    recent: float
    usual: float
    z: float
    recent_days: int
    history_days: int

    @property
    def telling(self) -> bool:
        return abs(self.z) > UNUSUAL


def unusual(
    days: Sequence[int], values: Sequence[float], since: int, resolution: float | None = None
) -> Unusual | None:
    """Set the days from `since` on beside those before; None where either is too short.

    Equations: z = (median of the recent days - median of the history) / scale; scale = 1.4826 x the median distance from
    that of the medians of all stretches of as many days in the history (1.2533 x the mean distance where more than half
    are alike), never less than the rounding of readings, resolution / sqrt 12.
    Shapes and units: values in any unit; `resolution` in the same, the step of its readings.
    Valid for: a history of 21 days and of six times the recent ones, two recent ones; a level that is steady but for
    noise: a season looks unusual.
    Uncertainty: of simulated series of 60 to 180 days that keep 0 to 0.8 of the day before 1 to 4 % have an unusual last week.
    Source: Iglewicz and Hoaglin (1993), How to Detect and Handle Outliers, chapter 3; Hampel (1974), Journal of the
    American Statistical Association 69, 383; from memory. Theirs are single values; here stretches are compared with
    stretches, or days that resemble their neighbours would look unusual together.
    Not covered: what goes by the hour.
    """
    history = {day: value for day, value in zip(days, values, strict=True) if day < since}
    recent = [value for day, value in zip(days, values, strict=True) if day >= since]
    if len(recent) < LEAST_RECENT:
        return None
    length = days[-1] - since + 1
    if len(history) < max(LEAST_HISTORY, LEAST_LENGTHS * length):
        return None
    usual = median(history.values())
    distances = [abs(median(one) - usual) for one in _stretches(history, length)]
    scale = _MAD_TO_SD * median(distances) or _MEAN_TO_SD * math.fsum(distances) / len(distances)
    least = (resolution or 1e-9 * (abs(usual) or 1.0)) / math.sqrt(12)
    off = median(recent) - usual
    return Unusual(median(recent), usual, off / max(scale, least), len(recent), len(history))


def _stretches(history: Mapping[int, float], length: int) -> Iterator[list[float]]:
    """The values of each run of so many days in the history, from the first that has one to the last."""
    for start in range(min(history), max(history) - length + 2):
        values = [history[day] for day in range(start, start + length) if day in history]
        if values:
            yield values


@dataclass(frozen=True)
class Shift:
    """A move to another level: the first day of the new one, by how much, and how much likelier with it than without.

    The interval (90 %) is as if the day had been known beforehand.
    """

    day: int
    difference: Difference
    odds: float

    @property
    def telling(self) -> bool:
        return self.odds >= TELLING


def shift(days: Sequence[int], values: Sequence[float], resolution: float | None = None) -> Shift | None:
    """The one day at which a series most clearly moved to another level; None where it has too few days.

    Equations: value = level + c [from day k on] + what is left over, a first-order process with ρ as in persistence.py; the
    day is the k, and odds the ratio, of the greatest likelihood over all k and ρ, to that with c = 0 over all ρ.
    Shapes and units: values in any unit; the day is the first of the new level.
    Valid for: 21 days with a value, five on either side of the move; one move.
    Uncertainty: of simulated series of 30 to 180 days without a move that keep 0 to 0.8 of the day before at most 6 % seem to
    have one a thousand times likelier (tests). The interval takes the day as known: a little narrow, a little far out.
    Source: Quandt (1960), Journal of the American Statistical Association 55, 324, a likelihood ratio over all days;
    Andrews (1993), Econometrica 61, 821, for how it may be misled; from memory. The test of Pettitt (1979) was tried: allowed
    for persistence, it misses nine of ten moves of the last ten days where days keep 0.3 to 0.6 of those before.
    Not covered: slow drifts (asked of `trends`), several moves, changes of spread.
    """
    n = len(values)
    if n < LEAST_HISTORY:
        return None
    gain, place = _scan(days, values, resolution)
    before = Stretch(tuple(days[:place]), tuple(values[:place]))
    after = Stretch(tuple(days[place:]), tuple(values[place:]))
    about = Stretches((before, after), resolution=resolution).known({0: -1.0, 1: 1.0})
    assert about is not None, "both sides have days enough"
    difference = Difference(about.centre, *about.interval(0.9))
    return Shift(days[place], difference, math.exp(min(gain, 50.0)))


def _scan(days: Sequence[int], values: Sequence[float], resolution: float | None) -> tuple[float, int]:
    """The gain in likelihood (its logarithm) by the best step, and the place of its first value."""
    n = len(values)
    least = least_left(Stretch(tuple(days), tuple(values)), resolution)
    level = math.fsum(values) / n
    one, off = [1.0] * n, [value - level for value in values]
    without = best = -math.inf
    place = FEWEST_DAYS
    for which in _SCANNED:
        freed = Freed(RHOS[which], days)
        ones, offs = freed.of(one), freed.of(off)
        whole, product = sum(map(mul, ones, ones)), sum(map(mul, ones, offs))
        left = sum(map(mul, offs, offs)) - product * product / whole
        without = max(without, -freed.log_kept - n / 2 * math.log(max(left, least)))
        gained, at = _best_step(freed, ones, offs, whole, product)
        found = -freed.log_kept - n / 2 * math.log(max(left - gained, least))
        if found > best:
            best, place = found, at
    return best - without, place


def _best_step(
    freed: Freed, ones: Sequence[float], offs: Sequence[float], whole: float, product: float
) -> tuple[float, int]:
    """By how much the best step lessens the sum of squares under one ρ, and where it is.

    A step freed of ρ is `more` at its first day and the freed ones after it, so sums from the end serve all days.
    """
    after = products = best = 0.0
    place = FEWEST_DAYS
    for k in range(len(ones) - 1, FEWEST_DAYS - 1, -1):
        first = freed.more[k - 1]
        if k <= len(ones) - FEWEST_DAYS:
            square = first * first + after
            beside = first * ones[k] + after
            along = first * offs[k] + products - beside * product / whole
            gained = along * along / (square - beside * beside / whole)
            if gained > best:
                best, place = gained, k
        after += ones[k] * ones[k]
        products += ones[k] * offs[k]
    return best, place
