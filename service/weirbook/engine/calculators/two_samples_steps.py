"""The working of `two_samples`, for a pocket calculator."""

from __future__ import annotations

import math
from collections.abc import Sequence

from weirbook.engine.calculators.two_groups import ten
from weirbook.engine.relations.distributions import two_sided_t
from weirbook.engine.relations.samples import MeanComparison, RankComparison, Sample
from weirbook.engine.shape import Step, show, step


def steps_of(
    first: Sequence[float], second: Sequence[float], means: MeanComparison, ranks: RankComparison
) -> list[Step]:
    steps = [*_of_list("first", first, means.first), *_of_list("second", second, means.second)]
    numbers = {"first_mean": _signed(means.first.mean), "second_mean": _signed(means.second.mean)}
    steps.append(step("difference", "{first_mean} − {second_mean}", numbers, means.difference, "number"))
    steps += _of_welch(means)
    return [*steps, *_of_ranks(first, second, ranks)]


def _of_list(which: str, values: Sequence[float], told: Sample) -> list[Step]:
    added = " + ".join(map(_signed, values))
    steps = [
        Step(
            f"mean of the {which} = sum of its measurements ÷ their number",
            f"({added}) ÷ {told.n}",
            told.mean,
            "number",
        )
    ]
    if told.spread is not None:
        squares = " + ".join(f"({_signed(one)} − {_signed(told.mean)})^2" for one in values)
        words = f"spread of the {which} = sqrt(sum of squared distances from the mean ÷ (number − 1))"
        steps.append(Step(words, f"sqrt(({squares}) ÷ {told.n - 1})", told.spread, "number"))
    return steps


def _of_welch(means: MeanComparison) -> list[Step]:
    a, b = means.first, means.second
    if means.unknown is not None:
        return []
    assert a.spread is not None and b.spread is not None
    assert means.error is not None and means.t is not None and means.freedom is not None
    assert means.low is not None and means.high is not None
    numbers = {
        "first_spread": _plain(a.spread),
        "first_number": str(a.n),
        "second_spread": _plain(b.spread),
        "second_number": str(b.n),
    }
    error = "sqrt({first_spread}^2 ÷ {first_number} + {second_spread}^2 ÷ {second_number})"
    steps = [step("standard error of the difference", error, numbers, means.error, "number")]
    numbers = {"difference": _plain(means.difference), "standard_error": _plain(means.error)}
    steps.append(step("t", "{difference} ÷ {standard_error}", numbers, means.t, "number"))
    numbers = {
        "first_part": _plain(a.spread**2 / a.n),
        "second_part": _plain(b.spread**2 / b.n),
        "first_less_one": str(a.n - 1),
        "second_less_one": str(b.n - 1),
    }
    freedom = "({first_part} + {second_part})^2 ÷ ({first_part}^2 ÷ {first_less_one} + {second_part}^2 ÷ {second_less_one})"
    words = "degrees of freedom, the parts being spread^2 ÷ number"
    steps.append(step(words, freedom, numbers, means.freedom, "number"))
    for end, sign, value in (("low", "−", means.low), ("high", "+", means.high)):
        numbers = {
            "difference": _plain(means.difference),
            "t_from_the_table": _plain(two_sided_t(means.confidence, means.freedom)),
            "standard_error": _plain(means.error),
        }
        formula = f"{{difference}} {sign} {{t_from_the_table}} × {{standard_error}}"
        steps.append(step(f"{end} end of the difference of means", formula, numbers, value, "number"))
    return steps


def _of_ranks(first: Sequence[float], second: Sequence[float], ranks: RankComparison) -> list[Step]:
    pairs = len(first) * len(second)
    ties = sum(one == other for one in first for other in second)
    numbers = {"pairs_in_which_the_first_is_higher": f"{ranks.u - ties / 2:.0f}", "ties": str(ties)}
    formula = "{pairs_in_which_the_first_is_higher} + {ties} ÷ 2"
    steps = [step("U", formula, numbers, ranks.u, "number")]
    numbers = {"U": _plain(ranks.u), "all_pairs": str(pairs)}
    steps.append(
        step(
            "share of pairs in which the first is higher",
            "{U} ÷ {all_pairs}",
            numbers,
            ranks.higher_share,
            "number",
        )
    )
    if ranks.exact:
        orders = math.comb(ranks.first.n + ranks.second.n, ranks.first.n)
        if ranks.p < 1 and orders < 10**6:
            numbers = {"orders_so_far_off": str(round(ranks.p * orders / 2)), "all_orders": str(orders)}
            words = "p by ranks, two-sided"
            steps.append(step(words, "2 × {orders_so_far_off} ÷ {all_orders}", numbers, ranks.p, "number"))
    elif ranks.z is not None:
        numbers = {"all_pairs": str(pairs), "all": str(len(first) + len(second)), "tied": str(ranks.tied)}
        words = "spread of U by chance, tied being the sum of t^3 − t over each value that occurs t times"
        formula = "sqrt({all_pairs} ÷ 12 × ({all} + 1 − {tied} ÷ ({all} × ({all} − 1))))"
        steps.append(step(words, formula, numbers, ranks.deviation, "number"))
        numbers = {
            "larger_U": _plain(max(ranks.u, ranks.second_u)),
            "all_pairs": str(pairs),
            "spread_of_U": _plain(ranks.deviation),
        }
        words = "z, twice whose tail in the normal table is p by ranks"
        formula = "({larger_U} − {all_pairs} ÷ 2 − 0.5) ÷ {spread_of_U}"
        steps.append(step(words, formula, numbers, ranks.z, "number"))
    return steps


def _signed(value: float) -> str:
    return f"({ten(value)})" if value < 0 else ten(value)


def _plain(value: float) -> str:
    return show(value, "number")
