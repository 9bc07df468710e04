"""So many of so many against so many of so many: how far two shares differ, and what chance may do."""

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
from weirbook.engine.calculators.two_shares_steps import steps_of
from weirbook.engine.relations.shares import Share, ShareComparison, compare_shares
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
    refuse,
)
from weirbook.errors import Fault

FEWEST = 5
"""Expected in a cell of the table; with fewer everything rests on single fish. Common practice (Cochran's rule)."""


MOST = 100_000
"""Of a group: more than any room holds."""


@dataclass(frozen=True)
class Inputs:
    first_cases: int = param(
        COUNT, doc="Of the first so many were lost, ill, taken or whatever is counted.", ge=0
    )
    first_of: int = param(COUNT, doc="All of the first, cases and others.", ge=1, le=MOST)
    second_cases: int = param(COUNT, doc="Cases of the second, with which it is compared.", ge=0)
    second_of: int = param(COUNT, doc="All of the second.", ge=1, le=MOST)
    first_name: str = name("the first")
    second_name: str = name("the second")
    confidence: float = confidence()


def solve(given: Inputs) -> Working:
    """Two shares with their intervals, the difference with its own, and Fisher's exact test.

    Equation: p = cases / all; Wilson's interval of each; Newcombe's of the difference out of both; Fisher's test by
    smaller likelihoods; conditional odds ratio: `compare_shares`.
    Shapes and units: counts; shares of one, the difference in points of them.
    Valid for: fish or plants counted once each, each by itself.
    Uncertainty: the intervals; too narrow where one case made the others.
    Raises: Invalid for more cases than all.
    Source: see the relation. Not covered: pairs, more than two groups, groups followed for different times (see
    loss-rates).
    """
    refuse(
        [
            Fault(
                f"/{which}_cases", f"These are more than all of the {which}, {of}: cases are a part of all."
            )
            for which, cases, of in (
                ("first", given.first_cases, given.first_of),
                ("second", given.second_cases, given.second_of),
            )
            if cases > of
        ]
    )
    found = compare_shares(
        given.first_cases, given.first_of, given.second_cases, given.second_of, given.confidence
    )
    said = _verdict(found)
    return Working(_values(given, found, said), steps_of(found), _ASSUMPTIONS, _cautions(found))


def _verdict(found: ShareComparison) -> str:
    """Where interval and test disagree, nothing is claimed."""
    if found.unknown is not None:
        return "unknown"
    return verdict(found.low, found.high, 0.0) if found.p <= 1 - found.confidence else "unclear"


def _values(given: Inputs, found: ShareComparison, said: str) -> dict[str, Any]:
    values: dict[str, Any] = {"verdict": said, "reading": _reading(given, found, said)}
    for which, one in (("first", found.first), ("second", found.second)):
        values |= {f"{which}_share": one.share, f"{which}_low": one.low, f"{which}_high": one.high}
    return {
        **values,
        "difference": found.difference,
        "difference_low": found.low,
        "difference_high": found.high,
        "odds_ratio": found.odds_ratio,
        "odds_ratio_low": None if found.unknown else found.odds_low,
        "odds_ratio_high": found.odds_high,
        "test": f"{found.method}: {found.unknown or chance(found.p)}",
    }


def _reading(given: Inputs, found: ShareComparison, said: str) -> str:
    first, second = given.first_name, given.second_name
    both = f"{_of(found.first)} in {first} against {_of(found.second)} in {second}"
    if found.unknown is not None:
        return f"Nothing tells the two apart, since {found.unknown}: {both}."
    within = interval(found.confidence, _points(found.low), _points(found.high))
    judged = {
        "higher": "The interval lies above 0: chance alone seldom does that",
        "lower": "The interval lies below 0: chance alone seldom does that",
        "unclear": "The interval holds 0: chance alone may explain it, which is no proof that the shares are alike",
    }[said]
    if said == "unclear" and verdict(found.low, found.high, 0.0) != "unclear":
        judged = (
            "The interval leaves out 0, but the stricter exact test does not rule chance out: take it as open"
        )
    return (
        f"The share in {first} was {_points(abs(found.difference))} points"
        f" {'lower' if found.difference < 0 else 'higher'} than in {second} (difference {_points(found.difference)},"
        f" {within}): {both}. {judged}; {found.method}, {chance(found.p)}."
    )


def _points(share: float) -> str:
    return near(100 * share, "number", "1")


def _of(one: Share) -> str:
    return f"{one.cases} of {one.of} ({near(one.share, 'fraction', '%')})"


_ASSUMPTIONS = (
    Assumption("Each fish is counted once, and one being a case makes no other one a case.", "default"),
    Assumption(
        "Wilson's interval for each share and Newcombe's for their difference; Fisher's test counts the tables no likelier"
        " than this one. The test is the stricter: a difference is claimed only where both agree.",
        "default",
    ),
)


def _cautions(found: ShareComparison) -> list[Caution]:
    told = [
        Caution(
            "catching",
            "Fish of one tank fall ill by each other: ten cases there may be one happening. Tanks are then what counts,"
            " not fish, and the intervals are too narrow.",
        ),
        UNCONTROLLED,
        LOOKED_AT_OFTEN,
    ]
    first, second = found.first, found.second
    cases, of = first.cases + second.cases, first.of + second.of
    if min(cases, of - cases) * min(first.of, second.of) < FEWEST * of:
        told.append(
            Caution(
                "few-cases", "So few cases rest on single fish: one more or less may turn it.", str(FEWEST)
            )
        )
    return told


def _of_group(which: str) -> tuple[Result, ...]:
    return (
        Result(f"{which}_share", "fraction", f"Cases among all of the {which}."),
        Result(f"{which}_low", "fraction", "Low end of its interval."),
        Result(f"{which}_high", "fraction", "High end of its interval."),
    )


TWO_SHARES = Calculator(
    name="two-shares",
    title="Two shares compared",
    doc=(
        "So many of so many against so many of so many: fish lost, ill or eating, plants that took. Both shares and their"
        " difference with intervals, and whether chance alone may explain it."
    ),
    inputs=Inputs,
    results=(
        Result("verdict", TEXT, f"Of the first share against the second: {VERDICTS}"),
        Result("reading", TEXT, "The answer in words: the effect and its interval first."),
        *_of_group("first"),
        *_of_group("second"),
        Result("difference", "fraction", "First share less second, in points of per cent."),
        Result("difference_low", "fraction", "Low end of its interval."),
        Result("difference_high", "fraction", "High end of its interval."),
        Result("odds_ratio", "number", "Conditional; none where it has no end or can't be told."),
        Result("odds_ratio_low", "number", "Low end of its exact interval; none where nothing can be told."),
        Result("odds_ratio_high", "number", "High end of its exact interval; none where it has no end."),
        Result(
            "test", TEXT, "The test's name and its p: how often chance alone makes a difference so large."
        ),
    ),
    limits=(
        "Both groups are followed equally long; else compare rates by fish-days (loss-rates).",
        "Fish that infect each other are not independent.",
        "Two groups, not the best and the worst out of many.",
    ),
    sources=(
        Source(
            "Wilson, E. B.",
            1927,
            "Probable inference, the law of succession, and statistical inference",
            "JASA 22, 209",
            "Interval of a share; held to statsmodels.",
        ),
        Source(
            "Newcombe, R. G.",
            1998,
            "Interval estimation for the difference between independent proportions",
            "Statistics in Medicine 17, 873, method 10",
            "From memory; held to statsmodels.",
        ),
        Source(
            "Fisher, R. A.",
            1935,
            "The Design of Experiments",
            "chapter 2",
            "Exact test; from memory, held to SciPy.",
        ),
    ),
    solve=solve,
    example={
        "first_cases": 2,
        "first_of": 40,
        "second_cases": 9,
        "second_of": 38,
        "first_name": "the batch from the long quarantine",
        "second_name": "the batch before",
    },
)
