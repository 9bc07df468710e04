"""What a test or a sensor says: a number, a number with a qualifier, a range, on or off."""

from __future__ import annotations

import math
import re
from typing import NamedTuple

from weirbook.engine.units import LARGEST
from weirbook.errors import Invalid
from weirbook.record.readings import ABOVE, BELOW, BETWEEN

_FIGURE = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?"
_QUALIFIED = re.compile(rf"([<>])\s*({_FIGURE})", re.ASCII)
_RANGE = re.compile(rf"({_FIGURE})\s*\.\.\s*({_FIGURE})", re.ASCII)
_PLAIN = re.compile(_FIGURE, re.ASCII)
_CONTACT = {"on": 1.0, "off": 0.0}
FORMS = 'a number (24.5), "<0.05", ">160", "10..20", or on and off for a contact'


class Value(NamedTuple):
    """A value as said: the figure that statistics take, its mark, and the bounds of a range."""

    figure: float
    mark: int = 0
    low: float | None = None
    high: float | None = None


def read_value(said: object, *, contact: bool) -> Value:
    """The value in what was said. Raises Invalid naming the forms that are taken."""
    if isinstance(said, bool):
        if not contact:
            raise Invalid(f"This gauge takes {FORMS}.")
        return Value(float(said))
    if isinstance(said, (int, float)):
        return _held(Value(_finite(said)), contact)
    text = said.strip() if isinstance(said, str) else ""
    if text.lower() in _CONTACT and contact:
        return Value(_CONTACT[text.lower()])
    if found := _PLAIN.fullmatch(text):
        return _held(Value(_finite(float(found[0]))), contact)
    if contact:
        raise Invalid(f"{said!r:.40} is neither on nor off.")
    if found := _QUALIFIED.fullmatch(text):
        return Value(_finite(float(found[2])), BELOW if found[1] == "<" else ABOVE)
    if found := _RANGE.fullmatch(text):
        low, high = _finite(float(found[1])), _finite(float(found[2]))
        if low >= high:
            raise Invalid(f"{said!r:.40} is not a range: write the lower value first, like 10..20.")
        return Value(low + (high - low) / 2, BETWEEN, low, high)
    if "," in text:
        raise Invalid(f"{said!r:.40} has a comma: write numbers with a decimal point, like 24.5.")
    raise Invalid(f"{said!r:.40} is not a reading. Send {FORMS}.")


def _finite(figure: float) -> float:
    if not math.isfinite(figure) or abs(figure) > LARGEST:
        raise Invalid(f"{figure!r:.40} is beyond any real reading.")
    return float(figure)


def _held(value: Value, contact: bool) -> Value:
    if contact and value.figure not in (0.0, 1.0):
        raise Invalid(f"A contact is 1 (on) or 0 (off), not {value.figure}.")
    return value
