"""Chances by the distributions that counts and samples follow. Plain Python: numpy and scipy are oracles of the tests.

Chances are shares of one. Tails are worked out as such, never as one less the rest, so that small ones keep their
digits. Counts are whole numbers unless a docstring says otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from statistics import NormalDist

from weirbook.engine.relations.roots import root_between

_HALF_LN_2PI = 0.5 * math.log(2 * math.pi)
_SMALLEST = 1e-300
"""Stands for nought in a continued fraction, so that nothing is divided by it."""
_SETTLED = 1e-16
_MOST_TERMS = 1_000_000
"""Continued fractions and sums of a million take some thousands; beyond this something is wrong."""

_STANDARD = NormalDist()


def normal_tail(z: float) -> float:
    """Chance that a standard normal value exceeds z: erfc(z / sqrt 2) / 2.

    Shapes and units: numbers. Valid for: every z. Uncertainty: rounding of the last digits.
    Source: Abramowitz and Stegun (1964), 26.2.29; the error function is the platform's.
    """
    return 0.5 * math.erfc(z / math.sqrt(2))


def normal_quantile(share: float) -> float:
    """The z below which a standard normal value lies with that chance.

    Shapes and units: numbers. Valid for: 0 < share < 1. Raises: ValueError (StatisticsError) otherwise.
    Source: Wichura (1988), algorithm AS 241, as in Python's `statistics.NormalDist`.
    """
    return _STANDARD.inv_cdf(share)


def two_sided_z(confidence: float) -> float:
    """The z that a standard normal value keeps within, on either side, with that chance: 1.96 for 0.95."""
    return -normal_quantile((1 - confidence) / 2)


def binomial_chance(count: int, of: int, share: float, rest: float | None = None) -> float:
    """Chance of exactly `count` of `of` where each has the chance `share`.

    Equation: n! / (k! (n - k)!) p^k q^(n - k), by Loader's deviances, which lose no digits where n is large.
    Shapes and units: numbers; `rest` is q where it is known better than as 1 - p.
    Valid for: 0 <= count <= of. Source: Loader (2000), Fast and accurate computation of binomial probabilities.
    """
    return _binomial(float(count), float(of), share, 1 - share if rest is None else rest)


def binomial_at_most(count: int, of: int, share: float, rest: float | None = None) -> float:
    """Chance of `count` or fewer: I_q(n - k, k + 1). Shapes, validity: as `binomial_chance`, any count.

    Source: Abramowitz and Stegun (1964), 26.5.24.
    """
    if count < 0:
        return 0.0
    if count >= of:
        return 1.0
    return beta_share(of - count, count + 1, 1 - share if rest is None else rest, share)


def binomial_at_least(count: int, of: int, share: float, rest: float | None = None) -> float:
    """Chance of `count` or more: I_p(k, n - k + 1). Shapes, validity, source: as `binomial_at_most`."""
    if count <= 0:
        return 1.0
    if count > of:
        return 0.0
    return beta_share(count, of - count + 1, share, 1 - share if rest is None else rest)


def poisson_chance(count: int, mean: float) -> float:
    """Chance of exactly `count` where `mean` are expected: m^k e^-m / k!.

    Shapes and units: numbers. Valid for: count, mean >= 0. Source: as `binomial_chance`.
    """
    return _poisson(float(count), mean)


def hypergeometric_chance(count: int, population: int, marked: int, drawn: int) -> float:
    """Chance that of `drawn` out of `population`, `marked` of which are marked, exactly `count` are.

    Equation: C(marked, k) C(population - marked, drawn - k) / C(population, drawn), as three binomial chances.
    Shapes and units: whole numbers. Valid for: 0 <= marked, drawn <= population; other counts have no chance.
    Source: Loader (2000), as `binomial_chance`.
    """
    if not max(0, drawn + marked - population) <= count <= min(drawn, marked):
        return 0.0
    share, rest = drawn / population, (population - drawn) / population
    return (
        _binomial(float(count), float(marked), share, rest)
        * _binomial(float(drawn - count), float(population - marked), share, rest)
        / _binomial(float(drawn), float(population), share, rest)
    )


def hypergeometric_at_most(count: int, population: int, marked: int, drawn: int) -> float:
    """Chance of `count` or fewer marked ones, a sum of `hypergeometric_chance`; shapes and validity as there."""
    least, most = max(0, drawn + marked - population), min(drawn, marked)
    if count >= most:
        return 1.0
    if count < least:
        return 0.0
    # Summed away from the middle, so that terms fall, and on the side that is the smaller.
    if count > (drawn + 1) * (marked + 1) / (population + 2):
        return 1 - hypergeometric_at_least(count + 1, population, marked, drawn)
    term = total = hypergeometric_chance(count, population, marked, drawn)
    for k in range(count, least, -1):
        term *= k * (population - marked - drawn + k) / ((marked - k + 1) * (drawn - k + 1))
        total += term
        if term < total * _SETTLED:
            break
    return min(total, 1.0)


def hypergeometric_at_least(count: int, population: int, marked: int, drawn: int) -> float:
    """Chance of `count` or more marked ones: that of few unmarked ones. Shapes, validity: as `hypergeometric_chance`."""
    return hypergeometric_at_most(drawn - count, population, population - marked, drawn)


def beta_share(a: float, b: float, x: float, rest: float | None = None) -> float:
    """The regularised incomplete beta function I_x(a, b): the share of a beta distribution below x.

    Equation: x^a (1 - x)^b / (a B(a, b)) times a continued fraction; from the other end where that converges faster.
    Shapes and units: numbers; `rest` is 1 - x where it is known better than that.
    Valid for: a, b > 0, 0 <= x <= 1. Uncertainty: about 1e-12 of the value for a and b to 10^6.
    Source: Press et al. (2007), Numerical Recipes, section 6.4, from memory; Loader (2000) for the factor before it.
    """
    y = 1 - x if rest is None else rest
    if x <= 0:
        return 0.0
    if y <= 0:
        return 1.0
    before = a * b / (a + b) * _binomial(a, a + b, x, y)
    if x < (a + 1) / (a + b + 2):
        return min(before * _beta_fraction(a, b, x) / a, 1.0)
    return max(1 - before * _beta_fraction(b, a, y) / b, 0.0)


def beta_quantile(share: float, a: float, b: float) -> tuple[float, float]:
    """The x below which that share of a beta distribution lies, and 1 - x, each with all its digits.

    Equation: I_x(a, b) = share, by Newton's steps within a bracket.
    Shapes and units: numbers. Valid for: a, b > 0, 0 < share < 1, x and 1 - x above 1e-50.
    Source: `beta_share` turned round.
    """

    def rising(x: float) -> tuple[float, float]:
        return beta_share(a, b, x) - share, _beta_density(a, b, x, 1 - x)

    def falling(y: float) -> tuple[float, float]:
        return share - beta_share(a, b, 1 - y, y), _beta_density(a, b, 1 - y, y)

    if share <= beta_share(a, b, 0.5):
        x = root_between(rising, 0.0, 0.5)
        return x, 1 - x
    y = root_between(falling, 0.0, 0.5)
    return 1 - y, y


def t_tail(t: float, freedom: float) -> float:
    """Chance that a value of Student's t exceeds t.

    Equation: I_x(df / 2, 1 / 2) / 2 at x = df / (df + t^2), for t >= 0.
    Shapes and units: numbers; degrees of freedom need not be whole. Valid for: freedom > 0.
    Source: Abramowitz and Stegun (1964), 26.7.1 with 26.5.27.
    """
    square = t * t
    if math.isinf(square):
        beyond = 0.0
    else:
        beyond = 0.5 * beta_share(freedom / 2, 0.5, freedom / (freedom + square), square / (freedom + square))
    return beyond if t >= 0 else 1 - beyond


def t_cdf(t: float, freedom: float) -> float:
    """Chance that a value of Student's t lies below t; see `t_tail`."""
    return t_tail(-t, freedom)


def t_quantile(share: float, freedom: float) -> float:
    """The t below which a value of Student's t lies with that chance. Valid for: 0 < share < 1; see `t_tail`."""
    if share == 0.5:
        return 0.0
    x, rest = beta_quantile(2 * min(share, 1 - share), freedom / 2, 0.5)
    t = math.sqrt(freedom * rest / x)
    return t if share > 0.5 else -t


def two_sided_t(confidence: float, freedom: float) -> float:
    """The t that Student's t keeps within, on either side, with that chance: 2.228 for 0.95 and 10."""
    return -t_quantile((1 - confidence) / 2, freedom)


def gamma_tail(shape: float, x: float) -> float:
    """The regularised upper incomplete gamma function Q(s, x): the share of a gamma distribution above x.

    Equation: one less a power series below s + 1, a continued fraction above it.
    Shapes and units: numbers. Valid for: shape > 0. Uncertainty: about 1e-12 of the value for s to 10^6.
    Source: Press et al. (2007), Numerical Recipes, section 6.2, from memory; Loader (2000) for the factor before it.
    """
    if x < shape + 1:
        return 1 - gamma_share(shape, x)
    return _poisson(shape, x) * shape * _gamma_fraction(shape, x)


def gamma_share(shape: float, x: float) -> float:
    """P(s, x), the share below x; see `gamma_tail`."""
    if x <= 0:
        return 0.0
    if x >= shape + 1:
        return 1 - gamma_tail(shape, x)
    term = total = 1.0
    for n in range(1, _MOST_TERMS):
        term *= x / (shape + n)
        total += term
        if term < total * _SETTLED:
            break
    return _poisson(shape, x) * total


def chi_squared_tail(value: float, freedom: float) -> float:
    """Chance that a chi-squared value of so many degrees of freedom exceeds `value`: Q(df / 2, value / 2).

    Shapes and units: numbers. Valid for: freedom > 0, value >= 0. Source: Abramowitz and Stegun (1964), 26.4.19.
    """
    return gamma_tail(freedom / 2, value / 2) if value > 0 else 1.0


def poisson_mean_interval(count: int, confidence: float) -> tuple[float, float]:
    """Means from which a count is not surprising: the exact interval of Garwood, a half of the doubt on each side.

    Equation: P(k or more | low) = P(k or fewer | high) = (1 - confidence) / 2; the low end of no events is 0.
    Shapes and units: numbers. Valid for: count >= 0, 0 < confidence < 1.
    Source: Garwood (1936), Biometrika 28, 437; held to SciPy's chi2.ppf.
    """
    doubt = (1 - confidence) / 2

    def from_below(mean: float) -> tuple[float, float]:
        return gamma_share(count, mean) - doubt, _poisson(count - 1.0, mean)

    def from_above(mean: float) -> tuple[float, float]:
        return doubt - gamma_tail(count + 1, mean), _poisson(float(count), mean)

    low = root_between(from_below, 0.0, float(count)) if count else 0.0
    return low, root_between(from_above, float(count), _beyond(from_above, count + 1.0))


def _beyond(rising: Callable[[float], tuple[float, float]], start: float) -> float:
    end = start
    while rising(end)[0] < 0:
        end *= 2
    return end


def _binomial(x: float, n: float, p: float, q: float) -> float:
    """Gamma(n + 1) / (Gamma(x + 1) Gamma(n - x + 1)) p^x q^(n - x), for real x and n."""
    if p <= 0:
        return 1.0 if x == 0 else 0.0
    if q <= 0:
        return 1.0 if x == n else 0.0
    if x == 0:
        return math.exp(n * (math.log1p(-p) if p < 0.1 else math.log(q)))
    if x == n:
        return math.exp(n * (math.log1p(-q) if q < 0.1 else math.log(p)))
    exponent = _stirling_error(n) - _stirling_error(x) - _stirling_error(n - x)
    exponent -= _deviance(x, n * p) + _deviance(n - x, n * q)
    return math.exp(exponent) * math.sqrt(n / (2 * math.pi * x * (n - x)))


def _poisson(x: float, mean: float) -> float:
    """mean^x e^-mean / Gamma(x + 1), for real x."""
    if mean <= 0:
        return 1.0 if x == 0 else 0.0
    if x == 0:
        return math.exp(-mean)
    return math.exp(-_stirling_error(x) - _deviance(x, mean)) / math.sqrt(2 * math.pi * x)


def _stirling_error(n: float) -> float:
    """By how much ln n! exceeds Stirling's formula."""
    if n <= 15:
        return math.lgamma(n + 1) - (n + 0.5) * math.log(n) + n - _HALF_LN_2PI
    square = n * n
    return (1 / 12 - (1 / 360 - (1 / 1260 - (1 / 1680 - 1 / 1188 / square) / square) / square) / square) / n


def _deviance(x: float, mean: float) -> float:
    """x ln(x / mean) + mean - x, without loss where the two are near."""
    if abs(x - mean) >= 0.1 * (x + mean):
        return x * math.log(x / mean) + mean - x
    v = (x - mean) / (x + mean)
    total, term, odd = (x - mean) * v, 2 * x * v, 1
    while True:
        term, odd = term * v * v, odd + 2
        if total + term / odd == total:
            return total
        total += term / odd


def _beta_density(a: float, b: float, x: float, y: float) -> float:
    return a * b / (a + b) * _binomial(a, a + b, x, y) / (x * y) if x > 0 and y > 0 else 0.0


def _beta_fraction(a: float, b: float, x: float) -> float:
    c, d = 1.0, 1 / _not_nought(1 - (a + b) * x / (a + 1))
    total = d
    for m in range(1, _MOST_TERMS):
        for term in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1 / _not_nought(1 + term * d)
            c = _not_nought(1 + term / c)
            total *= d * c
        if abs(d * c - 1) <= _SETTLED:
            break
    return total


def _gamma_fraction(shape: float, x: float) -> float:
    b = x + 1 - shape
    c, d = 1 / _SMALLEST, 1 / _not_nought(b)
    total = d
    for m in range(1, _MOST_TERMS):
        term, b = -m * (m - shape), b + 2
        d = 1 / _not_nought(term * d + b)
        c = _not_nought(b + term / c)
        total *= d * c
        if abs(d * c - 1) <= _SETTLED:
            break
    return total


def _not_nought(value: float) -> float:
    return value if abs(value) > _SMALLEST else _SMALLEST
