"""How many fish must be looked at to find a disease, and what so many clean ones say."""

from __future__ import annotations

import math

from weirbook.engine.relations.distributions import hypergeometric_chance

_ROUNDING = 1e-9
"""Share by which a chance may pass its limit by rounding alone."""
_NOTHING_MORE = 1e-17
"""Share of a sum below which what is still to come adds nothing."""


def chance_of_missing(
    population: int | None, diseased: float, sample: int, sensitivity: float = 1.0
) -> float:
    """Chance that a sample shows no diseased fish though there are some.

    Equation: of a population the sum over k of P(k diseased in the sample) (1 - s)^k, hypergeometric; without end
    (1 - s p)^n.
    Shapes and units: `diseased` is a number of fish, or, where the population is None (without end), a share of one.
    Valid for: fish caught by chance alone: sick ones hide or are caught first, so that a net is no lottery; no false
    alarms; each sick fish shown with the chance s by itself.
    Uncertainty: that of s, which is seldom known. Raises: nothing.
    Source: Cannon and Roe (1982), Livestock disease surveys: a field manual; Cameron and Baldock (1998), Preventive
    Veterinary Medicine 34, 1, for tests that miss; from memory, held to SciPy's hypergeom.
    Not covered: false positives, pooled tests.
    """
    if population is None:
        return float((1 - sensitivity * diseased) ** sample)
    marked = round(diseased)
    if sensitivity == 1:
        return hypergeometric_chance(0, population, marked, sample)
    return _missed_by_a_poor_test(population, marked, sample, 1 - sensitivity)


def _missed_by_a_poor_test(population: int, diseased: int, sample: int, missing: float) -> float:
    """The sum over k, from its largest term outwards until nothing is added."""
    least, most = max(0, sample + diseased - population), min(diseased, sample)

    def rise(k: int) -> float:
        """The term of k + 1 over that of k."""
        without = population - diseased - sample + k + 1
        return missing * (diseased - k) * (sample - k) / ((k + 1) * without)

    low, high = least, most
    while low < high:
        middle = (low + high) // 2
        if rise(middle) > 1:
            low = middle + 1
        else:
            high = middle
    largest = total = hypergeometric_chance(low, population, diseased, sample) * missing**low
    term, k = largest, low
    while k < most and term > total * _NOTHING_MORE:
        term *= rise(k)
        total, k = total + term, k + 1
    term, k = largest, low
    while k > least and term > total * _NOTHING_MORE:
        term /= rise(k - 1)
        total, k = total + term, k - 1
    return total


def diseased_fish(population: int, prevalence: float) -> int:
    """How many of a population a share is: to the nearest, halves up, and at least one.

    Shapes and units: a share of one; whole fish. Valid for: 0 < prevalence <= 1, population >= 1.
    Source: the usual rule of survey tables (Cannon and Roe 1982), from memory.
    """
    return min(population, max(1, math.floor(population * prevalence + 0.5 + _ROUNDING)))


def sample_to_detect(
    population: int | None, diseased: float, confidence: float, sensitivity: float = 1.0
) -> int | None:
    """The smallest sample that holds at least one fish shown diseased with that confidence; None where none does.

    Equation: least n with `chance_of_missing` <= 1 - confidence; without end n = ln(1 - c) / ln(1 - s p), rounded up.
    Shapes and units, valid for, source: as `chance_of_missing`. Of a population in which even a look at every fish
    leaves more doubt, because the test misses some, there is none.
    Uncertainty: that of prevalence and sensitivity, in proportion. Raises: nothing; 0 < confidence < 1, diseased > 0.
    Not covered: choosing fish that look ill, which finds disease with far fewer.
    """
    doubt = (1 - confidence) * (1 + _ROUNDING)
    if population is None:
        if sensitivity * diseased >= 1:
            return 1
        return math.ceil(math.log(1 - confidence) / math.log1p(-sensitivity * diseased) - _ROUNDING)
    if chance_of_missing(population, diseased, population, sensitivity) > doubt:
        return None
    few, enough = 0, population
    while enough - few > 1:
        middle = (few + enough) // 2
        if chance_of_missing(population, diseased, middle, sensitivity) <= doubt:
            enough = middle
        else:
            few = middle
    return enough


def share_ruled_out(sample: int, confidence: float, sensitivity: float = 1.0) -> float:
    """Least share of diseased fish, in a population without end, that so many clean ones speak against.

    Equation: p = (1 - (1 - c)^(1/n)) / s; the rule of three, 3 / n, is its approximation at 95 %.
    Shapes and units: a share of one, at most 1 (then nothing is ruled out but that all are ill).
    Valid for: sample >= 1; else as `chance_of_missing`. Source: `sample_to_detect` turned round; Hanley and
    Lippman-Hand (1983), JAMA 249, 1743, for the rule of three, from memory.
    """
    return min(1.0, -math.expm1(math.log1p(-confidence) / sample) / sensitivity)


def diseased_ruled_out(
    population: int, sample: int, confidence: float, sensitivity: float = 1.0
) -> int | None:
    """Least number of diseased fish in a population that so many clean ones speak against; None where no number is.

    Equation: least D with `chance_of_missing` <= 1 - confidence.
    Shapes and units: whole fish. Valid for: 1 <= sample <= population; else as `chance_of_missing`.
    Source: `sample_to_detect` turned round.
    """
    doubt = (1 - confidence) * (1 + _ROUNDING)
    if chance_of_missing(population, population, sample, sensitivity) > doubt:
        return None
    few, enough = 0, population
    while enough - few > 1:
        middle = (few + enough) // 2
        if chance_of_missing(population, middle, sample, sensitivity) <= doubt:
            enough = middle
        else:
            few = middle
    return enough
