"""Quantities as people say them: three figures, rounded so that what is done by them still holds."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from types import MappingProxyType

from weirbook.engine.inputs import bare
from weirbook.engine.units import KINDS, Quantity, number

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


def less(si: float, kind: str, unit: str) -> str:
    """The same rounded down, so that what is done by it still holds."""
    return _in_words(si, kind, unit, math.floor)


def more(si: float, kind: str, unit: str) -> str:
    """The same rounded up."""
    return _in_words(si, kind, unit, math.ceil)


def _in_words(si: float, kind: str, unit: str, towards: Callable[[float], int]) -> str:
    unit = _spoken.get().get(kind, unit)
    value = Quantity(si, KINDS[kind].si).to(unit, kind).value
    if not number(value):
        return bare(Quantity(0, unit))
    digit = 10.0 ** (math.floor(math.log10(abs(value))) - 2)
    return bare(Quantity(float(f"{towards(round(value / digit, 6)) * digit:.3g}"), unit))
