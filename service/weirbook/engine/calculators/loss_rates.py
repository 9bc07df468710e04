"""Losses of two periods or groups by fish-days: how many times higher one rate is, and what chance may do."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.loss_rates_inputs import Inputs, exposures
from weirbook.engine.calculators.loss_rates_steps import steps_of
from weirbook.engine.calculators.two_groups import LOOKED_AT_OFTEN, UNCONTROLLED, VERDICTS, verdict
from weirbook.engine.relations.event_rates import RateComparison, compare_rates
from weirbook.engine.saying import chance, interval, near
from weirbook.engine.shape import TEXT, Assumption, Calculator, Caution, Result, Source, Working

A_THOUSAND = 1000

FEW = 5
"""Losses in all below which even a large difference can hardly be told from chance. Common practice."""


def solve(given: Inputs) -> Working:
    """Losses for each fish-day of two periods or groups, their ratio with its exact interval, and a test of chance.

    Equation: rate = losses / fish-days; ratio of rates; given all losses, those of the first are binomial with the
    share E1 / (E1 + E2) if both rates are one: `compare_rates`.
    Shapes and units: counts, fish-days; rates per 1000 fish-days.
    Valid for: losses that come singly; fish of one kind and age, or their difference is part of the answer.
    Uncertainty: the intervals; too narrow where losses come together, as in an outbreak or a night without power.
    Raises: Invalid where fish-days are told twice or not at all.
    Source: see the relation.
    Not covered: rates that drift within a period, fish of which nobody knows the end.
    """
    first, second = exposures(given)
    found = compare_rates(given.first_losses, first, given.second_losses, second, given.confidence)
    said = "unknown" if found.unknown else verdict(found.low, found.high, 1.0)
    return Working(_values(given, found, said), steps_of(given, found), _ASSUMPTIONS, _cautions(found, said))


def _values(given: Inputs, found: RateComparison, said: str) -> dict[str, Any]:
    values: dict[str, Any] = {"verdict": said, "reading": _reading(given, found, said)}
    for which, rate in (("first", found.first), ("second", found.second)):
        values |= {
            f"{which}_rate": rate.rate * A_THOUSAND,
            f"{which}_rate_low": rate.low * A_THOUSAND,
            f"{which}_rate_high": rate.high * A_THOUSAND,
        }
    return {
        **values,
        "ratio": found.ratio,
        "ratio_low": found.low,
        "ratio_high": found.high,
        "expected_losses": (given.first_losses + given.second_losses) * found.expected_share,
        "test": f"{found.method}: {found.unknown or chance(found.p)}",
    }


def _reading(given: Inputs, found: RateComparison, said: str) -> str:
    first, second = given.first_name, given.second_name
    rates = [f"{_plain(one.rate * A_THOUSAND)}" for one in (found.first, found.second)]
    if found.unknown:
        most = [f"{_plain(one.high * A_THOUSAND)}" for one in (found.first, found.second)]
        return (
            f"There were no losses in {first} or in {second}, so nothing can be compared. Rates up to {most[0]} and"
            f" {most[1]} per 1000 fish-days would fit so few fish-days."
        )
    assert found.low is not None
    if found.ratio is None or found.high is None:
        effect = (
            f"All losses fell in {first} and none in {second}: the rate was at least {_plain(found.low)} times that in"
            f" {second}, without an upper end ({near(found.confidence, 'fraction', '%')} interval)"
        )
    else:
        within = interval(found.confidence, _plain(found.low), _plain(found.high))
        effect = f"The rate of losses in {first} was {_plain(found.ratio)} times that in {second} ({within})"
    judged = {
        "higher": "The interval lies above 1: chance alone seldom does that",
        "lower": "The interval lies below 1: chance alone seldom does that",
        "unclear": "The interval holds 1: chance alone may explain it, which is no proof that the rates are alike",
    }[said]
    return (
        f"{effect}: {rates[0]} against {rates[1]} losses per 1000 fish-days. {judged};"
        f" {found.method}, {chance(found.p)}."
    )


def _plain(value: float) -> str:
    return near(value, "number", "1")


_ASSUMPTIONS = (
    Assumption(
        "Each fish-day carries the same risk within a period or group, and losses come singly.", "default"
    ),
    Assumption(
        "Of the exact tests in use this is the one that agrees with its interval; it finds a little less often than its"
        " level says.",
        "default",
    ),
    Assumption(
        "The ends of the interval are quantiles of the beta distribution, from a table or a spreadsheet; a step checks"
        " each where its sum is short.",
        "default",
    ),
)


def _cautions(found: RateComparison, said: str) -> list[Caution]:
    told = [
        Caution(
            "losses-come-together",
            "One outbreak or one hot night loses many fish at once. Such losses are one happening, and the interval is"
            " then far too narrow.",
        ),
        UNCONTROLLED,
        LOOKED_AT_OFTEN,
    ]
    losses = found.first.events + found.second.events
    if 0 < losses < FEW:
        told.append(
            Caution(
                "few-losses",
                "With so few losses even a large difference can't be told from chance.",
                str(FEW),
            )
        )
    if any(one.events > one.exposure for one in (found.first, found.second)):
        words = "There are more losses than fish-days, which is rare: see whether the two were mixed up."
        told.append(Caution("more-losses-than-fish-days", words))
    if said == "higher":
        told.append(
            Caution(
                "look-at-the-fish",
                "A higher rate says that something differs, not what. Look at the fish and test the water now; of"
                " losses that go on ask a veterinarian who knows fish.",
            )
        )
    return told


def _of_group(which: str) -> tuple[Result, ...]:
    return (
        Result(f"{which}_rate", "number", f"Losses per 1000 fish-days in the {which}."),
        Result(f"{which}_rate_low", "number", "Low end of its exact interval."),
        Result(f"{which}_rate_high", "number", "High end of its exact interval."),
    )


LOSS_RATES = Calculator(
    name="loss-rates",
    title="Loss rates compared",
    doc=(
        "Losses and fish-days of two periods (before and after something) or two groups: both rates per 1000 fish-days,"
        " how many times higher one is with its interval, and whether chance alone may explain it."
    ),
    inputs=Inputs,
    results=(
        Result("verdict", TEXT, f"Of the first rate against the second: {VERDICTS}"),
        Result("reading", TEXT, "The answer in words: the effect and its interval first."),
        *_of_group("first"),
        *_of_group("second"),
        Result("ratio", "number", "First rate over second; none where the second had no losses."),
        Result("ratio_low", "number", "Low end of its exact interval; none where there were no losses."),
        Result("ratio_high", "number", "High end of its exact interval; none where it has no end."),
        Result("expected_losses", "number", "That the first would have had, were both rates one."),
        Result(
            "test", TEXT, "The test's name and its p: how often chance alone makes a difference so large."
        ),
    ),
    limits=(
        "Losses that come together, as of one outbreak, count as one happening, not as many.",
        "Fish-days need the head count of each day: an average count times the days will do.",
        "Compare like with like: newcomers are lost more often than fish that have settled.",
    ),
    sources=(
        Source(
            "Przyborowski, J., Wilenski, H.",
            1940,
            "Homogeneity of results in testing samples from Poisson series",
            "Biometrika 31, 313",
            "From memory; held to SciPy and statsmodels.",
        ),
        Source(
            "Fay, M. P.",
            2010,
            "Two-sided exact tests and matching confidence intervals for discrete data",
            "The R Journal 2(1), 53",
            "Which two-sided form matches which interval; from memory.",
        ),
        Source(
            "Garwood, F.",
            1936,
            "Fiducial limits for the Poisson distribution",
            "Biometrika 28, 437",
            "Intervals of single rates; from memory.",
        ),
    ),
    solve=solve,
    example={
        "first_losses": 9,
        "first_fish_days": 840,
        "second_losses": 4,
        "second_fish": 32,
        "second_time": "60 d",
        "first_name": "the weeks after the arrival",
        "second_name": "the weeks before it",
    },
)
