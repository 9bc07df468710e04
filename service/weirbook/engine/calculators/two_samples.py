"""Two short lists of measurements: how far they differ by their means and by their ranks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.two_groups import (
    LOOKED_AT_OFTEN,
    UNCONTROLLED,
    VERDICTS,
    confidence,
    name,
    verdict,
)
from weirbook.engine.calculators.two_samples_steps import steps_of
from weirbook.engine.relations.samples import (
    MeanComparison,
    RankComparison,
    compare_means,
    compare_ranks,
)
from weirbook.engine.saying import chance, interval, near
from weirbook.engine.shape import (
    COUNT,
    TEXT,
    Assumption,
    Calculator,
    Caution,
    Result,
    Source,
    Working,
    param,
    parts,
)
from weirbook.errors import Invalid

FEW = 5
"""Measurements in a list below which neither its spread nor its shape can be judged. Common practice."""


@dataclass(frozen=True)
class Measurement:
    value: float = param("number", doc="Measured; all in one unit, the same in both lists.", ge=-1e9, le=1e9)


@dataclass(frozen=True)
class Inputs:
    first: tuple[Measurement, ...] = parts(
        Measurement,
        doc="Measurements of the first: the later period, or the group asked about.",
        required=True,
    )
    second: tuple[Measurement, ...] = parts(
        Measurement, doc="Measurements of the second, with which it is compared.", required=True
    )
    first_name: str = name("the first")
    second_name: str = name("the second")
    confidence: float = confidence()


def solve(given: Inputs) -> Working:
    """The difference of two lists by means (Welch) and by ranks (Mann and Whitney), side by side.

    Equation: m1 - m2 -+ t x sqrt(s1^2/n1 + s2^2/n2), `compare_means`; U and the median of all differences,
    `compare_ranks`.
    Shapes and units: numbers of one unit, which is not told; differences in it.
    Valid for: independent measurements: of different fish or tanks, or far enough apart in time.
    Uncertainty: the intervals; far too narrow for readings of one tank one after another.
    Raises: Invalid for an empty list.
    Source: see the relations. Not covered: pairs, series in time (see trials), more than two lists.
    """
    for which in ("first", "second"):
        if not getattr(given, which):
            words = "The list is empty: send at least one measurement, better five or more."
            raise Invalid(words, f"/{which}")
    first, second = ([one.value for one in rows] for rows in (given.first, given.second))
    means = compare_means(first, second, given.confidence)
    ranks = compare_ranks(first, second, given.confidence)
    said = _verdict(means, ranks)
    values = _values(given, means, ranks, said)
    return Working(values, steps_of(first, second, means, ranks), _ASSUMPTIONS, _cautions(means, ranks))


def _by_means(means: MeanComparison) -> str:
    return "unknown" if means.unknown else verdict(means.low, means.high, 0.0)


def _by_ranks(ranks: RankComparison) -> str:
    if ranks.unknown:
        return "unknown"
    if ranks.p > 1 - ranks.confidence or ranks.low is None or ranks.high is None:
        return "unclear"
    if ranks.low <= 0 <= ranks.high:  # with ties p may be small though the interval reaches nought
        return "unclear"
    return "higher" if ranks.higher_share > 0.5 else "lower"


def _verdict(means: MeanComparison, ranks: RankComparison) -> str:
    """What both say; where one can't speak the other's word; where they disagree nothing is claimed."""
    said = {_by_means(means), _by_ranks(ranks)}
    if len(said) > 1:
        said.discard("unknown")
    return said.pop() if len(said) == 1 else "unclear"


def _disagree(means: MeanComparison, ranks: RankComparison) -> bool:
    said = {_by_means(means), _by_ranks(ranks)}
    return "unknown" not in said and len(said) > 1


def _values(given: Inputs, means: MeanComparison, ranks: RankComparison, said: str) -> dict[str, Any]:
    values: dict[str, Any] = {"verdict": said, "reading": _reading(given, means, ranks, said)}
    for which, one in (("first", means.first), ("second", means.second)):
        values |= {
            f"{which}_count": one.n,
            f"{which}_mean": one.mean,
            f"{which}_median": one.median,
            f"{which}_spread": one.spread,
        }
    return {
        **values,
        "mean_difference": means.difference,
        "mean_difference_low": means.low,
        "mean_difference_high": means.high,
        "welch_t": means.t,
        "welch_freedom": means.freedom,
        "shift": ranks.shift,
        "shift_low": ranks.low,
        "shift_high": ranks.high,
        "higher_share": ranks.higher_share,
        "mean_test": f"{means.method}: {means.unknown if means.p is None else chance(means.p)}",
        "rank_test": f"{ranks.method}: {ranks.unknown or chance(ranks.p)}",
    }


def _reading(given: Inputs, means: MeanComparison, ranks: RankComparison, said: str) -> str:
    first, second = given.first_name, given.second_name
    if means.difference == 0:
        lies = f"The means of {first} and {second} are the same"
    else:
        side = "below" if means.difference < 0 else "above"
        lies = f"The mean of {first} lies {_plain(abs(means.difference))} {side} that of {second}"
    if means.unknown:
        by_means = f"{lies}, with no interval: {means.unknown}."
    else:
        assert means.low is not None and means.high is not None and means.p is not None
        within = interval(means.confidence, _plain(means.low), _plain(means.high))
        difference = f"difference {_plain(means.difference)}, {within}"
        by_means = f"{lies} ({difference}; {means.method}, {chance(means.p)})."
    if ranks.low is None or ranks.high is None:
        within = "too few different measurements for an interval"
    else:
        within = interval(ranks.confidence, _plain(ranks.low), _plain(ranks.high))
    by_ranks = (
        f"By ranks the shift is {_plain(ranks.shift)} ({within}; {ranks.method}, {ranks.unknown or chance(ranks.p)}): in"
        f" {near(ranks.higher_share, 'fraction', '%')} of all pairs that of {first} is the higher one."
    )
    judged = {
        "higher": f"Those of {first} are higher, by more than chance alone usually makes",
        "lower": f"Those of {first} are lower, by more than chance alone usually makes",
        "unclear": "Chance alone may explain the difference, which is no proof that the two are alike",
        "unknown": "Whether chance explains the difference can't be told",
    }[said]
    if _disagree(means, ranks):
        judged = (
            "Means and ranks don't agree, so take it as open: look for single measurements far off the others, and for"
            " many that are alike"
        )
    return f"{by_means} {by_ranks} {judged}, provided that the measurements are independent."


def _plain(value: float) -> str:
    return near(value, "number", "1")


_ASSUMPTIONS = (
    Assumption("Measurements are independent of each other, within a list and between both.", "default"),
    Assumption(
        "Welch: means are compared, spreads may differ; each list is near enough normal, or has some dozens. A single"
        " measurement far off moves it much.",
        "default",
    ),
    Assumption(
        "Mann–Whitney: only the order counts, so that measurements far off move it little; the shift is a shift if both"
        " lists have the same shape.",
        "default",
    ),
    Assumption(
        "t and p of Welch are taken from the table of Student's t; those of ranks by counting all orders, or from the"
        " normal table.",
        "default",
    ),
)


def _cautions(means: MeanComparison, ranks: RankComparison) -> list[Caution]:
    told = [
        Caution(
            "readings-of-one-tank",
            "Readings of one tank one after another are not independent: each repeats much of the last, and the interval"
            " comes out far too narrow. Take means of days or weeks, or ask a trial, which reckons with it.",
        ),
        UNCONTROLLED,
        LOOKED_AT_OFTEN,
    ]
    if min(means.first.n, means.second.n) < FEW:
        told.append(
            Caution(
                "few-measurements",
                "With so few measurements spread and shape can't be judged: only a large difference shows.",
                str(FEW),
            )
        )
    if _disagree(means, ranks):
        told.append(
            Caution(
                "tests-disagree", "Means and ranks don't agree. Don't pick the one you like: measure more."
            )
        )
    return told


def _of_list(which: str) -> tuple[Result, ...]:
    return (
        Result(f"{which}_count", COUNT, f"Measurements of the {which}."),
        Result(f"{which}_mean", "number", "Their mean."),
        Result(f"{which}_median", "number", "Their median."),
        Result(f"{which}_spread", "number", "Their standard deviation; none of a single one."),
    )


TWO_SAMPLES = Calculator(
    name="two-samples",
    title="Two lists of measurements compared",
    doc=(
        "Two short lists of measurements (lengths of fish, counts of eggs, tests of several tanks): difference of means"
        " with its interval by Welch's test beside the shift by Mann and Whitney's, what each takes for granted, and"
        " whether chance alone may explain it."
    ),
    inputs=Inputs,
    results=(
        Result("verdict", TEXT, f"Of the first list against the second: {VERDICTS}"),
        Result("reading", TEXT, "The answer in words: the effect and its interval first."),
        *_of_list("first"),
        *_of_list("second"),
        Result("mean_difference", "number", "First mean less second."),
        Result("mean_difference_low", "number", "Low end of its interval; none without spread."),
        Result("mean_difference_high", "number", "High end of its interval; none without spread."),
        Result("welch_t", "number", "Difference over its standard error; none without spread."),
        Result("welch_freedom", "number", "Degrees of freedom by which t is looked up; none without spread."),
        Result("shift", "number", "Median of all differences, first less second."),
        Result("shift_low", "number", "Low end of its interval; none where there are too few."),
        Result("shift_high", "number", "High end of its interval; none where there are too few."),
        Result(
            "higher_share", "fraction", "Of all pairs, those in which the first is higher; ties count a half."
        ),
        Result(
            "mean_test", TEXT, "Welch's test and its p: how often chance alone makes a difference so large."
        ),
        Result("rank_test", TEXT, "The test of ranks and its p."),
    ),
    limits=(
        "Independent measurements; series in time belong into a trial.",
        "Not for before and after of the same fish one by one: pairs need another test.",
        "At most 100 measurements a list.",
    ),
    sources=(
        Source(
            "Welch, B. L.",
            1947,
            "The generalization of 'Student's' problem when several different population variances are involved",
            "Biometrika 34, 28",
            "From memory; held to SciPy and published examples.",
        ),
        Source(
            "Mann, H. B., Whitney, D. R.",
            1947,
            "On a test of whether one of two random variables is stochastically larger than the other",
            "Annals of Mathematical Statistics 18, 50",
            "From memory; held to SciPy and published examples.",
        ),
        Source(
            "Hodges, J. L., Lehmann, E. L.",
            1963,
            "Estimates of location based on rank tests",
            "Annals of Mathematical Statistics 34, 598",
            "The shift; from memory, held to SciPy.",
        ),
    ),
    solve=solve,
    example={
        "first": [{"value": one} for one in (3.4, 3.9, 3.1, 3.6, 4.2, 3.8)],
        "second": [{"value": one} for one in (3.0, 2.7, 3.2, 2.9, 3.3)],
        "first_name": "the fish fed twice a day",
        "second_name": "the fish fed once",
    },
)
