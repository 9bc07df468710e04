"""What can be told from daily values each of which keeps some of the day before: lines through them, honestly wide.

The model is a line (a mean, a step, a slope: columns given by the caller) and what is left over it, a first-order
process: its correlation with the day before is ρ, with k days before ρ^k. ρ is not known, and in a few weeks can't be
known well. So it is not estimated and then believed: every value of it is tried, each weighed by how well the series
goes with it, and the answer is the mixture of the Student t distributions so found.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from operator import mul

from weirbook.engine.relations.distributions import normal_quantile, t_cdf
from weirbook.engine.relations.roots import root_between

RHOS = tuple(-0.3 + 0.0375 * k for k in range(35))
"""The values of ρ that are tried, -0.3 to 0.975, each as likely beforehand. Stronger see-saws are not known in water; what
keeps more from day to day wanders, and no few weeks of it tell a change from its wandering."""
_LEAST_WEIGHT = 1e-4
"""Of the largest: what lies below moves no end of an interval by a thousandth of its width."""


@dataclass(frozen=True, slots=True)
class Gram:
    """Sums of products of the columns, freed of one ρ; the last column holds the values."""

    rho: float
    log_kept: float
    table: tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True)
class Line:
    """The least-squares line of one ρ: its coefficients, their variances over that of the process, what is left over."""

    coefficients: tuple[float, ...]
    factors: tuple[float, ...]
    left: float
    log_det: float


@dataclass(frozen=True, slots=True)
class Part:
    """One Student t distribution of a mixture."""

    weight: float
    centre: float
    spread: float
    freedom: float


@dataclass(frozen=True)
class Mixture:
    """What is known of a number: t distributions, one for each ρ that the series goes with."""

    parts: tuple[Part, ...]

    @property
    def centre(self) -> float:
        return math.fsum(part.weight * part.centre for part in self.parts)

    def below(self, x: float) -> float:
        """The chance that the number lies below x."""
        return math.fsum(
            part.weight * t_cdf((x - part.centre) / part.spread, part.freedom) for part in self.parts
        )

    def interval(self, confidence: float) -> tuple[float, float]:
        """The ends between which it lies with that chance, as much beyond one as beyond the other."""
        return self.at((1 - confidence) / 2), self.at((1 + confidence) / 2)

    def at(self, share: float) -> float:
        """The x below which it lies with that chance."""
        low = min(part.centre - part.spread for part in self.parts)
        high = max(part.centre + part.spread for part in self.parts)
        if not math.isfinite(low + high):
            raise ValueError("values are too large to be weighed")
        while self.below(low) > share:
            low -= high - low
        while self.below(high) < share:
            high += high - low

        def rising(x: float) -> tuple[float, float]:
            return self.below(x) - share, self._density(x)

        about = self.centre
        width = math.sqrt(
            math.fsum(part.weight * (part.spread**2 + (part.centre - about) ** 2) for part in self.parts)
        )
        return root_between(rising, low, high, about + normal_quantile(share) * width)

    def _density(self, x: float) -> float:
        return math.fsum(
            part.weight / part.spread * _t_density((x - part.centre) / part.spread, part.freedom)
            for part in self.parts
        )


class Freed:
    """Takes from each value what it keeps of the one before, so that what remains is independent for one ρ.

    Equation: z_i = (x_i - ρ^g x_i-1) / sqrt(1 - ρ^2g), g the days between the two; the first as it is.
    Valid for: any gaps. Source: Prais and Winsten (1954); with gaps Jones (1980), Technometrics 22, 389, from memory.
    """

    def __init__(self, rho: float, days: Sequence[int]) -> None:
        gaps = [after - before for before, after in pairwise(days)]
        shares = {gap: rho**gap for gap in set(gaps)}
        kept = {gap: math.sqrt(1 - share * share) for gap, share in shares.items()}
        self.rho = rho
        self.more = [1 / kept[gap] for gap in gaps]
        self.log_kept = sum(math.log(kept[gap]) for gap in gaps)
        self._less = [shares[gap] / kept[gap] for gap in gaps]

    def of(self, column: Sequence[float]) -> list[float]:
        """A column freed of ρ."""
        rest = zip(self.more, self._less, column[1:], column, strict=False)
        return [column[0], *(more * value - less * before for more, less, value, before in rest)]


def grams(days: Sequence[int], columns: Sequence[Sequence[float]]) -> list[Gram]:
    """The sums of products for each ρ of RHOS.

    Shapes and units: days ascend; every column as long, the last the values.
    """
    return [_gram(Freed(rho, days), columns) for rho in RHOS]


def _gram(freed: Freed, columns: Sequence[Sequence[float]]) -> Gram:
    rows = [freed.of(column) for column in columns]
    lower = [[sum(map(mul, one, other)) for other in rows[: place + 1]] for place, one in enumerate(rows)]
    table = tuple(tuple(lower[max(i, j)][min(i, j)] for j in range(len(rows))) for i in range(len(rows)))
    return Gram(freed.rho, freed.log_kept, table)


def line(gram: Gram, use: Sequence[int], least_left: float) -> Line:
    """The line of those columns for one ρ, by Cholesky's decomposition.

    `least_left` is the least sum of squares that is believed: readings are rounded, and no series is without doubt.
    """
    root, half = _decomposed(gram, use)
    size = len(use)
    factors = [
        sum(one * one for one in _forth(root, [float(row == column) for row in range(size)]))
        for column in range(size)
    ]
    log_det = 2 * sum(math.log(root[i][i]) for i in range(size))
    return Line(tuple(_back(root, half)), tuple(factors), _left(gram, half, least_left), log_det)


def _decomposed(gram: Gram, use: Sequence[int]) -> tuple[list[list[float]], list[float]]:
    root: list[list[float]] = []
    half: list[float] = []
    for i in use:
        products = gram.table[i]
        row: list[float] = []
        for j, above in zip(use, root, strict=False):
            row.append((products[j] - sum(map(mul, row, above))) / above[-1])
        row.append(math.sqrt(products[i] - sum(map(mul, row, row))))
        half.append((products[-1] - sum(map(mul, row, half))) / row[-1])
        root.append(row)
    return root, half


def _left(gram: Gram, half: Sequence[float], least_left: float) -> float:
    explained: float = sum(map(mul, half, half))
    return max(gram.table[-1][-1] - explained, least_left)


def _back(root: Sequence[Sequence[float]], half: Sequence[float]) -> list[float]:
    size = len(half)
    found = [0.0] * size
    for i in reversed(range(size)):
        found[i] = (half[i] - sum(root[k][i] * found[k] for k in range(i + 1, size))) / root[i][i]
    return found


def _forth(root: Sequence[Sequence[float]], right: Sequence[float]) -> list[float]:
    found: list[float] = []
    for i, value in enumerate(right):
        found.append((value - sum(root[i][k] * found[k] for k in range(i))) / root[i][i])
    return found


def evidence(gram: Gram, found: Line, n: int) -> float:
    """How well a series goes with one ρ, whatever its line and spread: the logarithm of its likelihood, up to a constant.

    Equation: -Σ ln sqrt(1 - ρ^2g) - ln det(Z'Z) / 2 - (n - p) / 2 x ln(what is left over).
    Source: Zellner and Tiao (1964), Journal of the American Statistical Association 59, 763: line and ln of the spread
    are as likely anywhere; the same as the restricted likelihood of Harville (1974), Biometrika 61, 383.
    """
    return -gram.log_kept - found.log_det / 2 - (n - len(found.factors)) / 2 * math.log(found.left)


def likelihood(table: Sequence[Gram], use: Sequence[int], n: int, least_left: float) -> float:
    """The logarithm of the greatest likelihood of a line, over all ρ: lines with as many columns can be compared by it."""
    return max(
        -gram.log_kept - n / 2 * math.log(_left(gram, _decomposed(gram, use)[1], least_left) / n)
        for gram in table
    )


def wary_weights(table: Sequence[Gram], lines: Sequence[Line], n: int) -> list[float]:
    """How much each ρ weighs where a slope is fitted: by `evidence`, and by 1 / sqrt(1 - ρ^2) beforehand.

    A slope takes most of a slow wandering for itself, so that what is left over looks less persistent than it is: with each ρ
    as likely beforehand 90 % intervals of two weeks' slopes hold them in 80 % where ρ is 0.8, with this in 88 %.
    Source: Jeffreys' prior of ρ, Zellner and Tiao (1964).
    """
    return weighed(
        [
            evidence(gram, one, n) - math.log1p(-gram.rho * gram.rho) / 2
            for gram, one in zip(table, lines, strict=True)
        ]
    )


def coefficient(table: Sequence[Gram], use: Sequence[int], which: int, n: int, least_left: float) -> Mixture:
    """What is known of one coefficient of a line with a slope.

    Equation: for each ρ, by `wary_weights`, a t distribution of n - p degrees of freedom about the coefficient, with
    the spread sqrt(left / (n - p) x its factor).
    Shapes and units: `use` names the columns, `which` of them is asked; in the unit of values over that of the column.
    Valid for: n > p. Source: Zellner and Tiao (1964), as `evidence`.
    """
    lines = [line(gram, use, least_left) for gram in table]
    weights = wary_weights(table, lines, n)
    freedom = n - len(use)
    return mixed(
        [
            Part(weight, one.coefficients[which], math.sqrt(one.left / freedom * one.factors[which]), freedom)
            for weight, one in zip(weights, lines, strict=True)
        ]
    )


def weighed(logs: Sequence[float]) -> list[float]:
    """Weights that add up to 1 from logarithms."""
    most = max(logs)
    weights = [math.exp(one - most) for one in logs]
    total = math.fsum(weights)
    return [one / total for one in weights]


def mixed(parts: Sequence[Part]) -> Mixture:
    """The mixture of those parts that weigh anything."""
    most = max(part.weight for part in parts)
    heavy = [part for part in parts if part.weight > _LEAST_WEIGHT * most]
    total = math.fsum(part.weight for part in heavy)
    return Mixture(tuple(Part(part.weight / total, part.centre, part.spread, part.freedom) for part in heavy))


def _t_density(t: float, freedom: float) -> float:
    log = math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2) - math.log(freedom * math.pi) / 2
    return math.exp(log - (freedom + 1) / 2 * math.log1p(t * t / freedom))
