"""Quantities as people say them: three figures, rounded so that what is done by them still holds."""

from __future__ import annotations

import math
from collections.abc import Callable

from weirbook.engine.units import KINDS, Quantity, number


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
    value = Quantity(si, KINDS[kind].si).to(unit, kind).value
    if not number(value):
        return f"0 {unit}"
    digit = 10.0 ** (math.floor(math.log10(abs(value))) - 2)
    return f"{number(float(f'{towards(round(value / digit, 6)) * digit:.3g}'))} {unit}"
