"""Two methods by which one kind of plant was tried, side by side, and where to ask what chance may do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import urlencode

from weirbook.actions.plant_outcomes import FEW, METHOD_WORDS, Outcome, Try, in_days, outcomes_of
from weirbook.record.plants import LOST, UPROOTED

ASK = "/v1/calculators/two-shares/answer"


@dataclass(frozen=True)
class Compared:
    """How often each of two methods failed with a kind; `ask` holds the same numbers for the calculator."""

    kind: str
    words: str
    ask: str


def compare_methods(tries: Iterable[Try]) -> list[Compared]:
    """Of each kind that was tried by several methods the one most often tried, beside each other one."""
    found: dict[str, list[Outcome]] = {}
    for one in outcomes_of(tries, ("kind", "method")):
        found.setdefault(one.tries[0].kind.handle, []).append(one)
    return [_compared(kind, first, other) for kind, (first, *others) in found.items() for other in others]


def _compared(kind: str, first: Outcome, second: Outcome) -> Compared:
    told: dict[str, int | str] = {}
    for which, one in (("first", first), ("second", second)):
        told |= {f"{which}_cases": _failed(one), f"{which}_of": len(one.tries)}
    told |= {"first_name": _method(first), "second_name": _method(second)}
    ask = f"{ASK}?{urlencode(told)}"
    words = f"{first.tries[-1].kind.name}: {_side(first)}; {_side(second)}."
    if min(len(first.tries), len(second.tries)) < FEW:
        words += " So few tries say little."
    words += f" What chance may do: {ask} takes each try as watched for as long; held_30 tells by days."
    return Compared(kind, words, ask)


def _failed(one: Outcome) -> int:
    return one.counts[LOST] + one.counts[UPROOTED]


def _method(one: Outcome) -> str:
    method = one.tries[-1].stay.method
    return METHOD_WORDS.get(method, method)


def _side(one: Outcome) -> str:
    """How often a method failed, and for how long it was watched: what was put in of late has had little time to fail."""
    return (
        f"{_method(one)} {_failed(one)} of {len(one.tries)} lost or uprooted, watched for up to "
        f"{in_days(max(each.days for each in one.tries))}"
    )
