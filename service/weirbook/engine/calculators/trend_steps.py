"""The steps of a trend, each to be followed with a pocket calculator."""

from __future__ import annotations

from collections import Counter
from statistics import median

from weirbook.engine.calculators.trend_case import Case
from weirbook.engine.shape import Step, show, step

NUMBER = "number"


def steps_of(case: Case) -> list[Step]:
    """How S, its variance, z and tau, and the slope come about."""
    test = case.trend.test
    count = test.n
    pairs = count * (count - 1) // 2
    values = case.values
    up = sum(later > one for place, one in enumerate(values, 1) for later in values[place:])
    steps = [
        step(
            "S",
            "{pairs_that_rise} − {pairs_that_fall}",
            {"pairs_that_rise": str(up), "pairs_that_fall": str(up - test.s)},
            test.s,
            NUMBER,
        ),
        step("tau", "{S} ÷ {pairs}", {"S": _n(test.s), "pairs": str(pairs)}, test.tau, NUMBER),
        _variance(case),
    ]
    if test.z:
        sign = "−" if test.s > 0 else "+"
        numbers = {"S": _n(test.s), "variance_of_S": _n(test.variance), "widening": _n(test.inflation)}
        words = "({S} " + sign + " 1) ÷ sqrt({variance_of_S} × {widening})"
        steps.append(step("z", words, numbers, test.z, NUMBER))
    return [*steps, *_slope(case), _intercept(case)]


def _variance(case: Case) -> Step:
    test = case.trend.test
    n = str(test.n)
    ties = [t for t in Counter(case.values).values() if t > 1]
    taken = "".join(f" − {{ties_of_{t}}} × {t} × ({t} − 1) × (2 × {t} + 5)" for t in sorted(set(ties)))
    numbers = {"n": n} | {f"ties_of_{t}": str(ties.count(t)) for t in set(ties)}
    words = "({n} × ({n} − 1) × (2 × {n} + 5)" + taken + ") ÷ 18"
    return step("variance of S", words, numbers, test.variance, NUMBER)


def _slope(case: Case) -> list[Step]:
    found = []
    pairs = case.middle_pairs
    for place, (first, second) in enumerate(pairs, 1):
        numbers = {
            "later_value": _n(case.values[second]),
            "earlier_value": _n(case.values[first]),
            "later_day": _n(case.days[second]),
            "earlier_day": _n(case.days[first]),
        }
        words = "({later_value} − {earlier_value}) ÷ ({later_day} − {earlier_day})"
        gives = "middle slope of all pairs" if len(pairs) == 1 else f"middle slope {place} of two"
        found.append(step(gives, words, numbers, case.slope_of(first, second), NUMBER))
    if len(pairs) == 2:
        one, other = (case.slope_of(*pair) for pair in pairs)
        numbers = {"one": _n(one), "other": _n(other)}
        found.append(step("slope a day", "({one} + {other}) ÷ 2", numbers, case.trend.sen.slope, NUMBER))
    return found


def _intercept(case: Case) -> Step:
    sen = case.trend.sen
    numbers = {
        "median_value": _n(median(case.values)),
        "slope": _n(sen.slope),
        "median_day": _n(median(case.days)),
    }
    return step(
        "value on the line at the first day",
        "{median_value} − {slope} × {median_day}",
        numbers,
        sen.intercept,
        NUMBER,
    )


def _n(value: float) -> str:
    shown = show(value, NUMBER)
    return f"({shown})" if value < 0 else shown
