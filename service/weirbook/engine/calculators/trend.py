"""Whether a list of values rises or falls, how fast, and how sure that is."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.trend_case import Case
from weirbook.engine.calculators.trend_inputs import Inputs, Value
from weirbook.engine.calculators.trend_steps import steps_of
from weirbook.engine.calculators.trend_words import LIMITS, SOURCES, assumptions, cautions, reading
from weirbook.engine.shape import COUNT, TEXT, Calculator, Result, Working

__all__ = ["TREND", "Inputs", "Value"]


def solve(given: Inputs) -> Working:
    """Sen's slope with a 90 % interval, the Mann-Kendall test beside it, and what both come to in words.

    Equations: slope = median of (later value - earlier value) / time between, over all pairs; S = pairs that rise -
    pairs that fall; z = (S - sign S) / sqrt(variance of S x widening); interval from the slopes of rank (pairs - C) / 2
    and (pairs + C) / 2 + 1, C = 1.645 sqrt(variance x widening).
    Shapes and units: values in one unit, whichever; time in days.
    Valid for: four values and more, at different days, or evenly spaced.
    Uncertainty: the interval, which allows for values that resemble their neighbours unless told otherwise.
    Raises: Invalid for fewer than four values, days that don't ascend, days told of some values only.
    Source: see SOURCES.
    Not covered: seasons, a trend that turns; values below what a test can show.
    """
    case = Case(given)
    return Working(_values(case), steps_of(case), assumptions(case), cautions(case))


def _values(case: Case) -> dict[str, Any]:
    test, sen = case.trend.test, case.trend.sen
    return {
        "verdict": case.verdict,
        "reading": reading(case),
        "slope_per_day": sen.slope,
        "slope_low": sen.low,
        "slope_high": sen.high,
        "intercept": sen.intercept,
        "values_counted": test.n,
        "s_statistic": float(test.s),
        "s_variance": test.variance,
        "z": test.z,
        "tau": test.tau,
        "chance": test.p,
        "widening": test.inflation,
    }


TREND = Calculator(
    name="trend",
    title="Trend",
    doc=(
        "A list of values, dated or evenly spaced: do they rise or fall, how fast, and how sure is that? Sen's slope with"
        " its 90 % interval and the Mann–Kendall test, which no single odd value sways, with room for values that"
        " resemble their neighbours. For algae cover, nitrate, a sensor's drift, the flow of a filter."
    ),
    inputs=Inputs,
    results=(
        Result("verdict", TEXT, "rising; falling; none found (the interval holds nought)."),
        Result("reading", TEXT, "The same in words, by the week."),
        Result("slope_per_day", "number", "Sen's slope, in the values' unit a day."),
        Result("slope_low", "number", "The low end of its 90 % interval."),
        Result("slope_high", "number", "The high end."),
        Result("intercept", "number", "The value on the line at the first value's day."),
        Result("values_counted", COUNT, "How many values there are."),
        Result("s_statistic", "number", "Pairs of values that rise less those that fall."),
        Result("s_variance", "number", "Its variance if there were no trend and values were independent."),
        Result("z", "number", "S in standard deviations, one taken off for its being whole, after widening."),
        Result("tau", "number", "S as a share of all pairs: 1 only rises, -1 only falls."),
        Result(
            "chance",
            "fraction",
            "Of an S at least as far from nought if there were no trend. It says nothing of how large a trend is: read"
            " the interval.",
        ),
        Result(
            "widening",
            "number",
            "By which the variance is multiplied, since values resemble their neighbours.",
        ),
    ),
    limits=LIMITS,
    sources=SOURCES,
    solve=solve,
    example={
        "unit": "% cover",
        "values": [
            {"on": f"2026-{month:02d}-{day:02d}", "value": value}
            for month, day, value in (
                (9, 6, 34),
                (9, 13, 36),
                (9, 20, 31),
                (9, 27, 33),
                (10, 4, 28),
                (10, 11, 29),
                (10, 18, 25),
                (10, 25, 26),
                (11, 1, 21),
                (11, 8, 23),
            )
        ],
    },
)
