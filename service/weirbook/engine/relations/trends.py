"""Whether a series of values rises or falls, and how fast: Mann–Kendall and Sen, which no single odd value sways.

Values follow each other in time, at ascending times that need not be evenly spaced. Time is in whatever unit the
caller counts in; slopes are values per that unit.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from weirbook.engine.relations.distributions import normal_tail, two_sided_z
from weirbook.engine.relations.persistence import RHOS, grams, line, wary_weights

EXACT_UP_TO = 10
"""Values: up to here, and without ties, the normal approximation gives way to counted orders (Gilbert 1987)."""
LEAST_FOR_PERSISTENCE = 8
"""Values: fewer tell nothing of it."""


@dataclass(frozen=True)
class MannKendall:
    """S and what it comes to. `p` is two-sided; `exact` says whether it was counted or is the normal's.

    `inflation` is the factor by which values that follow their neighbours widen the variance; `variance` is before
    it, `z` after it.
    """

    n: int
    s: int
    variance: float
    z: float
    tau: float
    p: float
    exact: bool
    inflation: float


@dataclass(frozen=True)
class Sen:
    """A slope, the interval it lies in with the confidence asked for, and the value at time 0."""

    slope: float
    low: float
    high: float
    intercept: float


@dataclass(frozen=True)
class Trend:
    """Both of a series, and its persistence: the correlation of neighbours about a straight line, as far as it is known."""

    test: MannKendall
    sen: Sen
    persistence: float

    @property
    def direction(self) -> int:
        """1 rising, -1 falling, 0 where the interval of the slope holds nought."""
        return (self.sen.low > 0) - (self.sen.high < 0)


def mann_kendall(values: Sequence[float], inflation: float = 1.0) -> MannKendall:
    """The Mann–Kendall test of a trend, upwards or downwards.

    Equations: S = pairs whose later value is higher - pairs whose later value is lower; Var S = (n (n - 1) (2 n + 5) -
    the sum over ties of t of t (t - 1) (2 t + 5)) / 18; z = (S - sign S) / sqrt(Var S x inflation); tau = S /
    (n (n - 1) / 2), ties not taken out of its denominator.
    Up to ten values without ties or persistence, p is counted: the share of all orders with an |S| as large.
    Shapes and units: values in any unit, in the order of time.
    Valid for: values whose order in time is known; independent ones, or with the inflation of `inflation_by`.
    Uncertainty: with ties in ten or fewer values the normal approximation is rough.
    Raises: ValueError for fewer than two values.
    Source: Mann (1945), Econometrica 13, 245; Kendall (1975), Rank Correlation Methods; Gilbert (1987), Statistical
    Methods for Environmental Pollution Monitoring, section 16.4. Held to fixtures/published/stats_mann_kendall.csv.
    Not covered: seasons.
    """
    n = len(values)
    if n < 2:
        raise ValueError("a trend needs two values at least")
    s = sum(
        sum(later > earlier for later in values[place:]) - sum(later < earlier for later in values[place:])
        for place, earlier in enumerate(values, 1)
    )
    ties = [count for count in Counter(values).values() if count > 1]
    variance = (n * (n - 1) * (2 * n + 5) - sum(t * (t - 1) * (2 * t + 5) for t in ties)) / 18
    spread = math.sqrt(variance * inflation)
    z = 0.0 if s == 0 or spread == 0 else (s - math.copysign(1, s)) / spread
    exact = n <= EXACT_UP_TO and not ties and inflation == 1
    p = _counted(n, abs(s)) if exact else p_of(z)
    return MannKendall(n, s, variance, z, s / (n * (n - 1) / 2), p, exact, inflation)


def p_of(z: float) -> float:
    """The two-sided chance of a standard normal value at least as far from nought."""
    return min(1.0, 2 * normal_tail(abs(z)))


def _counted(n: int, s: int) -> float:
    """The share of all orders of n values whose |S| is at least `s`.

    S = pairs - 2 inversions, and orders by inversions are counted by adding one value after the other.
    """
    orders = [1]
    for size in range(2, n + 1):
        longer = [0] * (len(orders) + size - 1)
        for inversions, count in enumerate(orders):
            for more in range(size):
                longer[inversions + more] += count
        orders = longer
    pairs = n * (n - 1) // 2
    as_far = sum(count for inversions, count in enumerate(orders) if abs(pairs - 2 * inversions) >= s)
    return as_far / math.factorial(n)


def sen(times: Sequence[float], values: Sequence[float], variance: float, confidence: float = 0.9) -> Sen:
    """Sen's slope: the median of the slopes between all pairs, with an interval and the value at time 0.

    Equations: slope = median of (y_j - y_i) / (t_j - t_i); of the N slopes in order the interval runs from that of
    rank (N - C) / 2 to that of rank (N + C) / 2 + 1, ranks rounded outwards, C = z sqrt(variance of S); intercept =
    median of values - slope x median of times.
    Shapes and units: times ascend; slopes in values per unit of time. `variance` is Var S x inflation.
    Valid for: three values and more; what lies outside all slopes is bounded by the outermost.
    Uncertainty: the interval. Rounding outwards makes it a little wide where there are few values.
    Raises: ValueError for fewer than two values.
    Source: Sen (1968), Journal of the American Statistical Association 63, 1379; Gilbert (1987), section 16.5;
    intercept by Conover (1980). Held to stats_mann_kendall.csv and to SciPy's theilslopes.
    Not covered: errors of the times.
    """
    if len(values) < 2:
        raise ValueError("a slope needs two values at least")
    points = list(zip(times, values, strict=True))
    slopes = sorted(
        (later - value) / (after - time)
        for place, (time, value) in enumerate(points, 1)
        for after, later in points[place:]
    )
    count = len(slopes)
    half = two_sided_z(confidence) * math.sqrt(variance)
    low = max(math.floor((count - half) / 2), 1) - 1
    high = min(math.ceil((count + half) / 2) + 1, count) - 1
    slope = median(slopes)
    return Sen(slope, slopes[low], slopes[high], median(values) - slope * median(times))


def inflation_by(persistence: float, n: int) -> float:
    """The factor by which persistence widens the variance of S.

    Equation: 1 + 2 / (n (n - 1) (n - 2)) x the sum over lags k of (n - k) (n - k - 1) (n - k - 2) r_k, with the
    correlation of ranks r_k = 6 / π x asin(ρ^k / 2), ρ the correlation of neighbours.
    Shapes and units: numbers. Valid for: values that keep a share ρ of their distance from one to the next, evenly
    spaced; never less than 1 is given, since a gain from see-sawing values is not relied on.
    Uncertainty: an approximation, rough below some twenty values.
    Source: Hamed and Rao (1998), Journal of Hydrology 204, 182, from memory, their correlations by lag replaced by those
    of the first-order process: single ones can't be told from chance in a few weeks.
    Not covered: seasons.
    """
    if n < 3 or persistence <= 0:
        return 1.0
    total = 0.0
    share = persistence
    for k in range(1, n - 2):
        total += (n - k) * (n - k - 1) * (n - k - 2) * 6 / math.pi * math.asin(share / 2)
        share *= persistence
    return 1 + 2 * total / (n * (n - 1) * (n - 2))


def trend(
    times: Sequence[float], values: Sequence[float], confidence: float = 0.9, persistent: bool = True
) -> Trend:
    """Mann–Kendall and Sen's slope of one series, the persistence of its values taken into account.

    Equations: `inflation_by`, its mean over all ρ weighed by how well what is left over a line goes with each (`wary_weights`
    of persistence.py); then `mann_kendall` and `sen` with it.
    Shapes and units: times ascend, the least step between two of them being that of the series; see `sen`.
    Valid for: three values and more. Fewer than eight tell nothing of persistence: they are taken as independent.
    Uncertainty: of simulated series of 14 to 90 days that keep up to 0.8 of the day before, a 90 % interval holds the
    slope in 86 to 98 % (tests); with a ρ estimated and then believed it was in 79 to 94 %.
    Raises: ValueError for fewer than three values.
    Source: as the parts.
    Not covered: seasons; several changes of direction.
    """
    if len(values) < 3:
        raise ValueError("a trend needs three values at least")
    enough = persistent and len(values) >= LEAST_FOR_PERSISTENCE
    weights = _persistence(times, values) if enough else {0.0: 1.0}
    inflation = math.fsum(weight * inflation_by(rho, len(values)) for rho, weight in weights.items())
    test = mann_kendall(values, inflation)
    slope = sen(times, values, test.variance * inflation, confidence)
    return Trend(test, slope, math.fsum(weight * rho for rho, weight in weights.items()))


def _persistence(times: Sequence[float], values: Sequence[float]) -> dict[float, float]:
    """How much each ρ between neighbours weighs, what is left over a straight line being looked at."""
    step = min(after - before for before, after in pairwise(times))
    places = [round((time - times[0]) / step) for time in times]
    off = [value - values[0] for value in values]
    columns = ([1.0] * len(places), [place - places[-1] / 2 for place in places], off)
    table = grams(places, columns)
    lines = [line(gram, (0, 1), 0.0) for gram in table]
    if min(one.left for one in lines) <= (1e-9 * max(map(abs, values))) ** 2:
        return {0.0: 1.0}  # on a straight line: nothing is left over that could persist
    return dict(zip(RHOS, wary_weights(table, lines, len(values)), strict=True))
