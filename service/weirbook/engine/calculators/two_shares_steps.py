"""The working of `two_shares`, for a pocket calculator."""

from __future__ import annotations

import math

from weirbook.engine.calculators.two_groups import MOST_IN_BINOMIALS, MOST_TERMS, followed
from weirbook.engine.relations.distributions import hypergeometric_chance, two_sided_z
from weirbook.engine.relations.shares import ALIKE, Share, ShareComparison
from weirbook.engine.shape import Step, show, step


def steps_of(found: ShareComparison) -> list[Step]:
    steps: list[Step] = []
    for which, one in (("first", found.first), ("second", found.second)):
        steps += wilson_steps(f"share of the {which}", one)
    a, b = found.first, found.second
    numbers = {"first_share": _plain(a.share), "second_share": _plain(b.share)}
    steps.append(
        step("difference", "{first_share} − {second_share}", numbers, found.difference, "fraction", "1")
    )
    steps.append(_end("low", "−", found.low, found.difference, a.share - a.low, b.high - b.share))
    steps.append(_end("high", "+", found.high, found.difference, a.high - a.share, b.share - b.low))
    return [*steps, *followed([_fisher(found)])]


def wilson_steps(words: str, one: Share) -> list[Step]:
    """A share and both ends of Wilson's interval."""
    numbers = {"cases": str(one.cases), "all": str(one.of)}
    steps = [step(words, "{cases} ÷ {all}", numbers, one.share, "fraction", "1")]
    z = two_sided_z(one.confidence)
    numbers = {
        "share": _plain(one.share),
        "z": _plain(z),
        "all": str(one.of),
    }
    half = "{z} × sqrt({share} × (1 − {share}) ÷ {all} + {z}^2 ÷ (4 × {all}^2))"
    for end, sign, value, trivial in (("low", "−", one.low, 0), ("high", "+", one.high, one.of)):
        if one.cases != trivial:  # else that end is 0 or 1, whatever the formula's rounding says
            formula = f"({{share}} + {{z}}^2 ÷ (2 × {{all}}) {sign} {half}) ÷ (1 + {{z}}^2 ÷ {{all}})"
            gives = f"{end} end of the {words} by Wilson, z {_plain(z)} from the normal table"
            steps.append(step(gives, formula, numbers, value, "fraction", "1"))
    return steps


def _end(end: str, sign: str, value: float, difference: float, one: float, other: float) -> Step:
    away = ("first_share_to_its_low_end", "second_share_to_its_high_end")
    if end == "high":
        away = ("first_share_to_its_high_end", "second_share_to_its_low_end")
    numbers = {"difference": _plain(difference), away[0]: _plain(one), away[1]: _plain(other)}
    formula = f"{{difference}} {sign} sqrt({{{away[0]}}}^2 + {{{away[1]}}}^2)"
    return step(f"{end} end of the difference by Newcombe", formula, numbers, value, "fraction", "1")


def _fisher(found: ShareComparison) -> Step | None:
    a, b = found.first, found.second
    cases, of = a.cases + b.cases, a.of + b.of
    if found.unknown is not None or of > MOST_IN_BINOMIALS:
        return None
    limit = hypergeometric_chance(a.cases, of, cases, a.of) * (1 + ALIKE)
    counted = [
        k
        for k in range(max(0, cases - b.of), min(a.of, cases) + 1)
        if hypergeometric_chance(k, of, cases, a.of) <= limit
    ]
    if len(counted) > MOST_TERMS:
        return None
    terms = " + ".join(f"{math.comb(a.of, k):.6g} × {math.comb(b.of, cases - k):.6g}" for k in counted)
    words = (
        f"p, two-sided = sum of C({a.of}, k) × C({b.of}, {cases} − k) over the tables no likelier than this one (k ="
        f" {', '.join(map(str, counted))} cases in the first) ÷ C({of}, {cases})"
    )
    return Step(words, f"({terms}) ÷ {math.comb(of, cases):.6g}", found.p, "number")


def _plain(value: float) -> str:
    return show(value, "number")
