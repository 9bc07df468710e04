"""What a trend comes to in words, what it takes for granted, its limits and sources."""

from __future__ import annotations

from collections.abc import Sequence

from weirbook.engine.calculators.trend_case import Case
from weirbook.engine.relations.trends import LEAST_FOR_PERSISTENCE
from weirbook.engine.relations.trial_words import trend_words
from weirbook.engine.shape import Assumption, Caution, Source

STRONG_WIDENING = 2.0

LIMITS = (
    "One direction: values that rise and then fall may show none.",
    "Seasons are not taken out: compare the same months.",
    "A trend tells when, not why: what came before it need not have caused it.",
)

SOURCES = (
    Source(
        "Mann; Kendall",
        1945,
        "Nonparametric tests against trend, Econometrica 13; Rank Correlation Methods (1975)",
        "the test",
        "Held to a worked example of the US EPA (QA/G-9S) and to rows computed with public libraries.",
    ),
    Source(
        "Sen",
        1968,
        "Estimates of the regression coefficient based on Kendall's tau, J. Am. Stat. Assoc. 63",
        "p. 1379",
        "Held to SciPy's theilslopes.",
    ),
    Source(
        "Gilbert",
        1987,
        "Statistical Methods for Environmental Pollution Monitoring",
        "sections 16.4 and 16.5",
        "Counted chances up to ten values; ranks of the interval. Intercept by Conover (1980).",
    ),
    Source(
        "Hamed and Rao",
        1998,
        "A modified Mann–Kendall trend test for autocorrelated data, Journal of Hydrology 204",
        "p. 182",
        "The widening, from memory; how far neighbours resemble each other is weighed over all that goes with the values"
        " (Zellner and Tiao 1964), and the interval held to simulated series.",
    ),
)


def reading(case: Case) -> str:
    """One sentence, by the week."""
    if case.alike:
        return "All values are the same: no trend to be seen, as far as the readings can show one."
    words = trend_words(case.trend, case.given.unit or "")
    return f"{words[0].upper()}{words[1:]}."


def assumptions(case: Case) -> Sequence[Assumption]:
    told = []
    if all(one.on is None for one in case.given.values):
        told.append(Assumption("Values are evenly spaced.", "given"))
    if case.given.independent:
        told.append(Assumption("No value resembles the one before.", "given"))
    elif len(case.values) < LEAST_FOR_PERSISTENCE:
        told.append(
            Assumption(
                f"Values are independent: fewer than {LEAST_FOR_PERSISTENCE} can't show how far they resemble their neighbours.",
                "default",
            )
        )
    else:
        told.append(Assumption(_kept(case), "default"))
    if case.trend.test.exact:
        told.append(Assumption("The chance is counted over all orders of so few values.", "default"))
    return told


def _kept(case: Case) -> str:
    """How far values resemble the one before; the widening is a mean over all that may be, so it may be above 1 beside nought."""
    kept, widening = f"{max(case.trend.persistence, 0):.1f}", case.trend.test.inflation
    if kept == "0.0" and widening >= 1.005:
        return (
            "Values show no likeness to the one before, but they are too few to exclude it: for what may be, the variance is"
            f" multiplied by {widening:.2f}."
        )
    return f"Values keep about {kept} of the one before, as far as they show it."


def cautions(case: Case) -> Sequence[Caution]:
    told = []
    if len(case.values) < LEAST_FOR_PERSISTENCE:
        told.append(
            Caution(
                "few-values",
                "So few values show only a strong trend. None found does not mean that there is none.",
                f"{LEAST_FOR_PERSISTENCE} values",
            )
        )
    elif case.trend.test.inflation > STRONG_WIDENING:
        told.append(
            Caution(
                "values-resemble-neighbours",
                "Values resemble their neighbours, so they tell less than as many independent ones; the interval allows"
                " for it. A longer stretch helps, more readings in the same time hardly.",
            )
        )
    return told
