"""How many of a batch of fish live to a day, how sure that is, and when half were lost."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.survival_inputs import DAY, Inputs, refuse_contradictions
from weirbook.engine.calculators.survival_steps import steps_of
from weirbook.engine.relations.survival import Curve, Told, deviations, kaplan_meier
from weirbook.engine.saying import near
from weirbook.engine.shape import (
    COUNT,
    TEXT,
    Assumption,
    Calculator,
    Caution,
    Result,
    Source,
    Working,
    show,
    six,
)

FEW = 5
"""Heads below which a curve's end says little. Common practice, no source."""


def solve(given: Inputs) -> Working:
    """Survival of a batch to a day by the product-limit estimate, with its interval and the median.

    Equation: S = product over days with losses of 1 - lost / at risk; Greenwood's sum G of lost / (at risk (at risk -
    lost)); standard error S sqrt(G); limits S^exp(±z sqrt(G) / ln S). None lost of n: lower limit (a/2)^(1/n); all of n
    lost at once: upper limit 1 - (a/2)^(1/n), a the share outside the interval.
    Shapes and units: counts; times in s.
    Valid for: fish that left, or were not watched from the beginning, for reasons that don't tell how long they live.
    Uncertainty: the interval; it takes fish to die independently of each other, and is too narrow where they don't.
    Raises: Invalid for both ways of telling or none, more lost and left than came, a watch that ends before a day told.
    Source: see SOURCES.
    Not covered: causes, and fish of which only an interval is known.
    """
    refuse_contradictions(given)
    curve = kaplan_meier(given.lives())
    told = curve.told_at(given.day / DAY, given.confidence)
    low, high = curve.median_interval(given.confidence)
    values: dict[str, Any] = {
        "reading": _reading(given, curve, told),
        "survival": told and told.survival,
        "low": told and told.low,
        "high": told and told.high,
        "standard_error": _error(given, curve, told),
        "method": told.method if told else "unknown",
        "median": _seconds(curve.median()),
        "median_low": _seconds(low),
        "median_high": _seconds(high),
        "heads": round(curve.heads),
        "lost": round(curve.lost),
        "fewest_watched": round(curve.watched(given.day / DAY)),
        "curve": [_row(given, step) for step in curve.steps],
    }
    return Working(values, steps_of(given, curve, told), _assumptions(given), _cautions(given, curve, told))


def _seconds(days: float | None) -> float | None:
    return None if days is None else days * DAY


def _error(given: Inputs, curve: Curve, told: Told | None) -> float | None:
    step = curve.step_at(given.day / DAY)
    return None if told is None else step.error if step is not None else 0.0


def _row(given: Inputs, step: Any) -> dict[str, Any]:
    low, high = step.interval(given.confidence) or (None, None)
    return {
        "day": step.age * DAY,
        "at_risk": round(step.at_risk),
        "lost": round(step.lost),
        "left": round(step.left),
        "survival": step.survival,
        "low": low,
        "high": high,
    }


def _reading(given: Inputs, curve: Curve, told: Told | None) -> str:
    day, confidence = six(given.day / DAY), near(given.confidence, "fraction", "%")
    if told is None:
        if curve.watched_to < 0:
            return f"Unknown on day {day}, because none of them was watched from the beginning."
        return f"Unknown on day {day}, because none was watched beyond day {six(curve.watched_to)}."
    words = (
        f"{near(told.survival, 'fraction', '%')} live to day {day}"
        f" ({confidence} interval {near(told.low, 'fraction', '%')} to {near(told.high, 'fraction', '%')})."
    )
    if (median := curve.median()) is not None:
        return f"{words} Half were lost by day {six(median)}."
    return f"{words} More than half were alive when last seen, so the median is not known."


def _assumptions(given: Inputs) -> list[Assumption]:
    told = [
        Assumption(
            "Fish that left, or were last seen alive, would have lived on like those that stayed.", "default"
        ),
        Assumption("On one day the lost were lost before others left.", "default"),
        Assumption(
            f"An interval of {show(given.confidence, 'fraction')} reaches {deviations(given.confidence):.6g} standard"
            " deviations either way, on the scale of ln(−ln(survival)).",
            "default",
        ),
    ]
    if any(one.since for one in given.fish):
        words = (
            "Fish that came under watch late count from then on; those lost before it was begun are not seen."
        )
        told.append(Assumption(words, "given"))
    return told


def _cautions(given: Inputs, curve: Curve, told: Told | None) -> list[Caution]:
    found = []
    if told is None:
        words = "Nothing is told beyond the watch: survival may be anything from what it was there down to nothing."
        found.append(Caution("beyond-the-watch", words))
    elif 0 < told.watched < FEW:
        words = "So few were watched all the way to that day that one more or less changes the answer much."
        found.append(Caution("few-watched", words, f"{FEW} fish, common practice"))
    if curve.lost:
        words = (
            "Fish of one water die together of one cause. The interval takes each by itself and is then too narrow:"
            " it tells of luck within this batch, not of the next one."
        )
        found.append(Caution("not-independent", words))
        words = (
            "This tells how many, not why. If fish are dying now, test the water, keep that water apart, and ask a"
            " veterinarian before treating; gloves where hands have cuts, as some fish diseases infect skin."
        )
        found.append(Caution("ask-why", words))
    return found


SOURCES = (
    Source(
        "Kaplan, E. L. and Meier, P.",
        1958,
        "Nonparametric Estimation from Incomplete Observations",
        "Journal of the American Statistical Association 53, 457-481",
        "Held to the leukaemia data of Freireich and others, and to lifelines and statsmodels.",
    ),
    Source(
        "Kalbfleisch, J. D. and Prentice, R. L.",
        2002,
        "The Statistical Analysis of Failure Time Data",
        "Greenwood's variance and the limits by ln(−ln S), chapter 1",
        "The place in the book is from memory.",
    ),
    Source(
        "Clopper, C. J. and Pearson, E. S.",
        1934,
        "The Use of Confidence or Fiducial Limits Illustrated in the Case of the Binomial",
        "Biometrika 26, 404-413",
        "Where none or all were lost.",
    ),
)

SURVIVAL = Calculator(
    name="survival",
    title="Survival",
    doc=(
        "What share of a batch lives to a day, with an interval that says how sure that is, and the day by which half"
        " were lost; fish that left alive, or came under watch late, count for as long as they were watched"
        " (Kaplan–Meier)."
    ),
    inputs=Inputs,
    results=(
        Result("reading", TEXT, "The answer in words."),
        Result(
            "survival", "fraction", "Alive at the day asked about; none where nobody was watched so long."
        ),
        Result("low", "fraction", "Lower limit of it."),
        Result("high", "fraction", "Upper limit of it."),
        Result(
            "standard_error", "fraction", "Greenwood's; 0 where none or all were lost, and says nothing then."
        ),
        Result("method", TEXT, "By which the limits were found."),
        Result("median", "time", "By which half were lost; none where more than half were seen alive.", "d"),
        Result("median_low", "time", "Lower limit of it.", "d"),
        Result("median_high", "time", "Upper limit of it; none where it is not known.", "d"),
        Result("heads", COUNT, "Fish that were watched at all."),
        Result("lost", COUNT, "Of them that died under watch."),
        Result("fewest_watched", COUNT, "Under watch at any time up to that day: what the answer rests on."),
        Result(
            "curve",
            "list",
            "Each day on which fish died or went out of sight.",
            fields=(
                Result("day", "time", "Since they came.", "d"),
                Result("at_risk", COUNT, "Watched until then."),
                Result("lost", COUNT, "That died on it."),
                Result("left", COUNT, "That were seen alive for the last time."),
                Result("survival", "fraction", "Past that day."),
                Result("low", "fraction", "Lower limit; none where none or all were lost."),
                Result("high", "fraction", "Upper limit; none where none or all were lost."),
            ),
        ),
    ),
    limits=(
        "Fish that leave must not be the sickly or the sturdy ones, else survival comes out wrong.",
        "One curve for all rows: ask source by source where sources may differ.",
        "No answer beyond the longest watch without a gap.",
    ),
    sources=SOURCES,
    solve=solve,
    example={
        "number": 30,
        "days": [
            {"day": "1 d", "lost": 4},
            {"day": "4 d", "lost": 6},
            {"day": "6 d", "lost": 5, "left": 1},
            {"day": "9 d", "lost": 5},
            {"day": "14 d", "left": 1},
            {"day": "20 d", "lost": 3},
        ],
        "watched": "60 d",
        "day": "30 d",
    },
)
