"""Quantities as people say them: three figures, rounded so that what is done by them still holds."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from types import MappingProxyType

from weirbook.engine.inputs import bare
from weirbook.engine.units import KINDS, Quantity, number

LEAST_SAID = 1e-300
"""In any unit: nothing is as little, and a figure's third digit must still be one that a float can hold."""

_spoken: ContextVar[Mapping[str, str]] = ContextVar("spoken", default=MappingProxyType({}))


@contextmanager
def speaking(units: Mapping[str, str]) -> Iterator[None]:
    """Within it sentences say quantities in these units, by kind: those that the keeper reads.

    Only words change by it, never a figure that is reckoned with; steps keep the units that they are worked in.
    """
    token = _spoken.set(units)
    try:
        yield
    finally:
        _spoken.reset(token)


def near(si: float, kind: str, unit: str) -> str:
    """A quantity in words, three figures."""
    return _in_words(si, kind, unit, round)


def said(si: float, kind: str) -> str:
    """The same in the unit that its kind is usually shown in."""
    return near(si, kind, KINDS[kind].default)


def less(si: float, kind: str, unit: str) -> str:
    """The same rounded down, so that what is done by it still holds."""
    return _in_words(si, kind, unit, math.floor)


def more(si: float, kind: str, unit: str) -> str:
    """The same rounded up."""
    return _in_words(si, kind, unit, math.ceil)


def exactly(si: float, kind: str, unit: str) -> str:
    """Three figures in that unit alone, for a sentence that sets one unit beside another."""
    return _in_unit(si, kind, unit, round)


def _in_words(si: float, kind: str, unit: str, towards: Callable[[float], int]) -> str:
    return _in_unit(si, kind, _spoken.get().get(kind, unit), towards)


def _in_unit(si: float, kind: str, unit: str, towards: Callable[[float], int]) -> str:
    value = Quantity(si, KINDS[kind].si).to(unit, kind).value
    if abs(number(value)) < LEAST_SAID:
        return bare(Quantity(0, unit))
    digit = 10.0 ** (math.floor(math.log10(abs(value))) - 2)
    return bare(Quantity(float(f"{towards(round(value / digit, 6)) * digit:.3g}"), unit))


def chance(p: float) -> str:
    """A test's p as it stands in a clause behind the effect and the method's name, never alone: "p 0.023"."""
    return "p below 0.0001" if p < 0.0001 else f"p {p:.2g}"


def interval(confidence: float, low: str, high: str) -> str:
    """An interval as it stands in brackets behind an effect: "95 % interval 1.2 to 8.4"."""
    return f"{_in_unit(confidence, 'fraction', '%', round)} interval {low} to {high}"
