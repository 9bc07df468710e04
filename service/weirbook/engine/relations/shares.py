"""So many of so many: intervals of a share, and two shares beside each other."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from weirbook.engine.relations.distributions import (
    beta_quantile,
    hypergeometric_at_least,
    hypergeometric_at_most,
    hypergeometric_chance,
    two_sided_z,
)
from weirbook.engine.relations.roots import root_between

FISHER = "Fisher's exact test, two-sided by smaller likelihoods"
"""The name of the test in `compare_shares`, for sentences."""

ALIKE = 1e-7
"""Share by which two tables' chances may differ by rounding and still count as equally likely."""
_SETTLED = 1e-17
_WIDEST = 700.0
"""Natural logarithm of the largest odds ratio looked for: that of the largest float."""


@dataclass(frozen=True)
class Share:
    """A share with its interval by Wilson's score."""

    cases: int
    of: int
    share: float
    low: float
    high: float
    confidence: float


@dataclass(frozen=True)
class ShareComparison:
    """Two shares beside each other: first less second.

    difference, low, high: of the shares, with Newcombe's interval.
    odds_ratio: conditional maximum likelihood; None where it has no end, or cannot be told (no case, or nothing but
        cases). odds_low, odds_high: its exact interval; high None where it has no end.
    p: two-sided; p_higher, p_lower: one-sided, that of a first share so high (low) by chance alone.
    unknown: why nothing can be told, in words; None where something can.
    """

    first: Share
    second: Share
    difference: float
    low: float
    high: float
    odds_ratio: float | None
    odds_low: float
    odds_high: float | None
    confidence: float
    p: float
    p_higher: float
    p_lower: float
    method: str
    unknown: str | None


def wilson_interval(cases: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """The share's interval by Wilson's score: all shares from which the count lies less than z of their errors away.

    Equation: (p + z2/2n -+ z sqrt(p (1 - p)/n + z2/4n2)) / (1 + z2/n).
    Shapes and units: counts; shares of one. Valid for: independent fish, 0 <= cases <= of, of >= 1.
    Uncertainty: it holds the true share about as often as it says, on average over all shares.
    Raises: ValueError for counts that can't be, confidence not between 0 and 1.
    Source: Wilson (1927), JASA 22, 209; held to statsmodels. Not covered: fish that fall ill by each other.
    """
    _refuse_what_is_no_share(cases, of, confidence)
    z = two_sided_z(confidence)
    share, square = cases / of, z * z
    middle = share + square / (2 * of)
    half = z * math.sqrt(share * (1 - share) / of + square / (4 * of * of))
    scale = 1 + square / of
    low = (middle - half) / scale if cases else 0.0
    return low, (middle + half) / scale if cases < of else 1.0


def clopper_pearson_interval(cases: int, of: int, confidence: float = 0.95) -> tuple[float, float]:
    """The share's exact interval, which never holds the true share less often than it says.

    Equation: P(k or more | low) = P(k or fewer | high) = (1 - confidence) / 2, by quantiles of the beta distribution.
    Shapes and units, valid for, raises: as `wilson_interval`. Uncertainty: wider than need be, most for few fish.
    Source: Clopper and Pearson (1934), Biometrika 26, 404; held to statsmodels.
    """
    _refuse_what_is_no_share(cases, of, confidence)
    doubt = (1 - confidence) / 2
    low = beta_quantile(doubt, cases, of - cases + 1)[0] if cases else 0.0
    return low, beta_quantile(doubt, of - cases, cases + 1)[1] if cases < of else 1.0


def share_of(cases: int, of: int, confidence: float = 0.95) -> Share:
    """So many of so many, with `wilson_interval`."""
    low, high = wilson_interval(cases, of, confidence)
    return Share(cases, of, cases / of, low, high, confidence)


def compare_shares(
    cases: int, of: int, second_cases: int, second_of: int, confidence: float = 0.95
) -> ShareComparison:
    """The first share against the second: difference with Newcombe's interval, Fisher's exact test, odds ratio.

    Equation: difference d = p1 - p2, its interval d - sqrt((p1 - l1)2 + (u2 - p2)2), d + sqrt((u1 - p1)2 + (p2 - l2)2)
    by both Wilson intervals (l, u). Fisher: given all totals, the first's cases are hypergeometric; p adds up all
    tables no likelier than this one. Odds ratio: the one under which the cases expected of the first are those seen.
    Shapes and units: counts; shares of one. Valid for: independent fish, each counted once.
    Uncertainty: the test is cautious, Newcombe's interval is near its level: where few fish are at stake the interval
    may leave out nought though p does not fall below the level. Then say neither.
    Raises: ValueError as `wilson_interval`.
    Source: Newcombe (1998), Statistics in Medicine 17, 873 (method 10); Fisher (1935), The Design of Experiments; the
    conditional odds ratio after Cornfield (1956); from memory, held to SciPy and statsmodels.
    Not covered: matched pairs, more than two groups.
    """
    first, second = share_of(cases, of, confidence), share_of(second_cases, second_of, confidence)
    table = _Table(cases, of, second_cases, second_of)
    difference = first.share - second.share
    odds_low, odds_high = _odds_interval(table, (1 - confidence) / 2)
    return ShareComparison(
        first,
        second,
        difference,
        difference - math.hypot(first.share - first.low, second.high - second.share),
        difference + math.hypot(first.high - first.share, second.share - second.low),
        _odds_ratio(table),
        odds_low,
        odds_high,
        confidence,
        table.two_sided,
        table.at_least,
        table.at_most,
        FISHER,
        table.unknown,
    )


def _refuse_what_is_no_share(cases: int, of: int, confidence: float) -> None:
    if of < 1 or not 0 <= cases <= of or not 0 < confidence < 1:
        raise ValueError(
            "a share needs cases from 0 to all, of at least one, and a confidence between 0 and 1"
        )


@dataclass(frozen=True)
class _Table:
    """Two counts of cases with all totals fixed, so that the first's cases alone can differ."""

    cases: int
    of: int
    second_cases: int
    second_of: int

    @property
    def all_cases(self) -> int:
        return self.cases + self.second_cases

    @property
    def population(self) -> int:
        return self.of + self.second_of

    @property
    def least(self) -> int:
        return max(0, self.all_cases - self.second_of)

    @property
    def most(self) -> int:
        return min(self.of, self.all_cases)

    @property
    def unknown(self) -> str | None:
        if self.least < self.most:
            return None
        return "there were no cases in either" if not self.all_cases else "all were cases in both"

    @property
    def at_least(self) -> float:
        return hypergeometric_at_least(self.cases, self.population, self.all_cases, self.of)

    @property
    def at_most(self) -> float:
        return hypergeometric_at_most(self.cases, self.population, self.all_cases, self.of)

    @property
    def two_sided(self) -> float:
        """Chance of all tables no likelier than this one: this side's tail and the tail that mirrors it."""
        limit = self.chance(self.cases) * (1 + ALIKE)
        mode = (self.of + 1) * (self.all_cases + 1) // (self.population + 2)
        if self.chance(mode) <= limit:
            return 1.0
        if self.cases > mode:
            low, high = self._last_no_likelier(limit, self.least, mode, up=True), self.cases
        else:
            low, high = self.cases, self._last_no_likelier(limit, self.most, mode, up=False)
        below = hypergeometric_at_most(low, self.population, self.all_cases, self.of)
        above = hypergeometric_at_least(high, self.population, self.all_cases, self.of)
        return min(1.0, below + above)

    def chance(self, cases: int) -> float:
        return hypergeometric_chance(cases, self.population, self.all_cases, self.of)

    def _last_no_likelier(self, limit: float, end: int, mode: int, *, up: bool) -> int:
        """Going from an end towards the mode, the last count whose chance is within the limit; beyond the end if none."""
        step = 1 if up else -1
        few, many = end - step, mode  # chances rise from one to the other
        while abs(many - few) > 1:
            middle = (few + many) // 2
            if self.chance(middle) <= limit:
                few = middle
            else:
                many = middle
        return few

    def weighed(self, log_odds: float) -> _Weighed:
        """The first's cases if the odds ratio were e^log_odds, summed outwards from the likeliest count until nothing
        is added.
        """
        mode = self._mode(log_odds)
        counts = [(mode, 1.0), *self._outward(mode, log_odds, 1), *self._outward(mode, log_odds, -1)]
        total = math.fsum(weight for _, weight in counts)
        mean = math.fsum(count * weight for count, weight in counts) / total
        variance = math.fsum((count - mean) ** 2 * weight for count, weight in counts) / total
        fewer = [(count, weight) for count, weight in counts if count <= self.cases]
        more = [(count, weight) for count, weight in counts if count >= self.cases]
        return _Weighed(
            mean,
            variance,
            math.fsum(weight for _, weight in fewer) / total,
            math.fsum((mean - count) * weight for count, weight in fewer) / total,
            math.fsum(weight for _, weight in more) / total,
            math.fsum((count - mean) * weight for count, weight in more) / total,
        )

    def _mode(self, log_odds: float) -> int:
        low, high = self.least, self.most
        while low < high:
            middle = (low + high) // 2
            if self._log_rise(middle, log_odds) > 0:
                low = middle + 1
            else:
                high = middle
        return low

    def _outward(self, mode: int, log_odds: float, step: int) -> list[tuple[int, float]]:
        found, count, weight = [], mode, 1.0
        while self.least <= count + step <= self.most and weight > _SETTLED:
            rise = self._log_rise(count if step > 0 else count - 1, log_odds)
            count, weight = count + step, weight * math.exp(rise if step > 0 else -rise)
            found.append((count, weight))
        return found

    def _log_rise(self, count: int, log_odds: float) -> float:
        """Logarithm of the chance of one case more over that of `count`."""
        without = self.second_of - self.all_cases + count + 1
        return log_odds + math.log((self.of - count) * (self.all_cases - count) / ((count + 1) * without))


@dataclass(frozen=True)
class _Weighed:
    """Mean and variance of the first's cases under some odds ratio; chance of the count seen or fewer and how fast it
    falls with the ratio's logarithm; chance of it or more and how fast that rises.
    """

    mean: float
    variance: float
    fewer: float
    fewer_falls: float
    more: float
    more_rises: float


def _odds_ratio(table: _Table) -> float | None:
    if table.unknown is not None or table.cases == table.most:
        return None
    if table.cases == table.least:
        return 0.0

    def rising(log_odds: float) -> tuple[float, float]:
        found = table.weighed(log_odds)
        return found.mean - table.cases, found.variance

    return math.exp(root_between(rising, -_WIDEST, _WIDEST, 0.0))


def _odds_interval(table: _Table, doubt: float) -> tuple[float, float | None]:
    def from_below(log_odds: float) -> tuple[float, float]:
        found = table.weighed(log_odds)
        return found.more - doubt, found.more_rises

    def from_above(log_odds: float) -> tuple[float, float]:
        found = table.weighed(log_odds)
        return doubt - found.fewer, found.fewer_falls

    def end(rising: Callable[[float], tuple[float, float]]) -> float:
        return math.exp(root_between(rising, -_WIDEST, _WIDEST, 0.0))

    low = 0.0 if table.cases == table.least else end(from_below)
    return low, None if table.cases == table.most else end(from_above)
