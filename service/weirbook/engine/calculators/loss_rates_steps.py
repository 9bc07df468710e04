"""The working of `loss_rates`, for a pocket calculator."""

from __future__ import annotations

from weirbook.engine.calculators.loss_rates_inputs import Inputs
from weirbook.engine.calculators.two_groups import binomial_tail_step, followed
from weirbook.engine.relations.event_rates import RateComparison
from weirbook.engine.shape import Step, show, step


def steps_of(given: Inputs, found: RateComparison) -> list[Step]:
    a, b = found.first, found.second
    steps = []
    for which, fish, time, rate in (
        ("first", given.first_fish, given.first_time, a),
        ("second", given.second_fish, given.second_time, b),
    ):
        if fish is not None and time is not None:
            numbers = {"fish": _plain(fish), "time": show(time, "time", "d")}
            words = f"fish-days of the {which}"
            steps.append(step(words, "{fish} × {time}", numbers, rate.exposure, "number"))
        numbers = {"losses": str(rate.events), "fish_days": _plain(rate.exposure)}
        words = f"losses of the {which} per 1000 fish-days"
        steps.append(step(words, "1000 × {losses} ÷ {fish_days}", numbers, 1000 * rate.rate, "number"))
    if found.ratio is not None:
        numbers = {"first_rate": _plain(1000 * a.rate), "second_rate": _plain(1000 * b.rate)}
        steps.append(step("ratio", "{first_rate} ÷ {second_rate}", numbers, found.ratio, "number"))
    if found.unknown is None:
        steps += _of_chance(found)
        steps += _of_interval(found)
    return steps


def _of_chance(found: RateComparison) -> list[Step]:
    a, b = found.first, found.second
    total, share = a.events + b.events, found.expected_share
    numbers = {
        "fish_days_of_the_first": _plain(a.exposure),
        "fish_days_of_the_second": _plain(b.exposure),
    }
    formula = "{fish_days_of_the_first} ÷ ({fish_days_of_the_first} + {fish_days_of_the_second})"
    steps: list[Step | None] = [step("share of fish-days in the first", formula, numbers, share, "number")]
    numbers = {"all_losses": str(total), "share": _plain(share)}
    words = "losses expected in the first, were both rates one"
    steps.append(step(words, "{all_losses} × {share}", numbers, total * share, "number"))
    upper = found.p_higher <= found.p_lower
    counts = range(a.events, total + 1) if upper else range(a.events + 1)
    tail = min(found.p_higher, found.p_lower)
    words = (
        f"chance that {a.events} or {'more' if upper else 'fewer'} of {total} fall in the first = sum of the binomial"
        " terms C(all, k) × share^k × (1 − share)^(all − k)"
    )
    steps.append(binomial_tail_step(words, counts, total, share))
    if found.p < 1:
        numbers = {"smaller_tail": _plain(tail)}
        steps.append(step("p, two-sided", "2 × {smaller_tail}", numbers, found.p, "number"))
    return followed(steps)


def _of_interval(found: RateComparison) -> list[Step]:
    """Each end as a share of all losses turned into a ratio, after a check that the share leaves half of the doubt."""
    a, b = found.first, found.second
    total = a.events + b.events
    scale = b.exposure / a.exposure
    doubt = show((1 - found.confidence) / 2, "fraction", "%")
    steps: list[Step | None] = []
    for end, ratio, counts, side in (
        ("low", found.low, range(a.events, total + 1), "more"),
        ("high", found.high, range(a.events + 1), "fewer"),
    ):
        if not ratio:
            continue
        share = ratio / (ratio + scale)
        words = (
            f"check of the {end} end: chance of {a.events} or {side} of {total} where the first has the share"
            f" {_plain(share)} of all losses; it must be {doubt}"
        )
        steps.append(binomial_tail_step(words, counts, total, share))
        numbers = {
            "share_at_the_end": _plain(share),
            # Told apart: of a share near 1 what is left would lose its figures.
            "rest": _plain(scale / (ratio + scale)),
            "fish_days_of_the_second": _plain(b.exposure),
            "fish_days_of_the_first": _plain(a.exposure),
        }
        formula = "{share_at_the_end} ÷ {rest} × {fish_days_of_the_second} ÷ {fish_days_of_the_first}"
        steps.append(step(f"{end} end of the ratio", formula, numbers, ratio, "number"))
    return followed(steps)


def _plain(value: float) -> str:
    return show(value, "number")
