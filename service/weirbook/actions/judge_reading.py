"""Whether a reading can be taken: its form, its time, its unit, its size."""

from __future__ import annotations

from dataclasses import dataclass

from weirbook.actions.read_value import Value, read_value
from weirbook.engine.inputs import bare, six
from weirbook.engine.parameters import Parameter
from weirbook.engine.times import instant_ms
from weirbook.engine.units import Quantity, convert, from_si, number, to_si
from weirbook.errors import Invalid
from weirbook.record.equipment import Gauge

AHEAD_MS = 10 * 60 * 1000
"""A clock may run ahead this much; more is a wrong clock."""


OLDEST_MS = 946_684_800_000
"""2000-01-01: before it stands a clock that lost its time and began at its epoch again."""


@dataclass(frozen=True, slots=True)
class Sent:
    """One reading as it was sent; `index` is its place in what was sent."""

    index: int
    value: object
    gauge: str | None = None
    place: str | None = None
    parameter: str | None = None
    unit: str | None = None
    at: str | None = None


@dataclass(frozen=True, slots=True)
class Refusal:
    """A reading that can't be taken: a type that a program can test, and why."""

    index: int
    type: str
    message: str
    field: str = ""


class Refused(Exception):
    """Raised where a reading can't be taken; the others of its batch go on."""

    def __init__(self, one: Sent, type: str, message: str, field: str = "") -> None:
        self.refusal = Refusal(one.index, type, message, field)


def possible(one: Sent, unit_name: str, known: Parameter) -> Value:
    """The value in the gauge's unit, if it can be read and can be at all. Raises Refused."""
    try:
        value = read_value(one.value, contact=known.contact)
    except Invalid as trouble:
        raise Refused(one, "bad-value", trouble.message, "value") from None
    value = _in_unit(one, unit_name, known, value)
    _refuse_impossible(one, unit_name, known, value)
    return value


def instant(one: Sent, now: int, *, stamp: bool) -> int:
    """When it was taken; with `stamp` now, if it doesn't say. Raises Refused for a clock that is wrong."""
    if one.at is None:
        if not stamp:
            raise Refused(
                one, "time-missing", "Each reading of several says when it was taken: send `at`.", "at"
            )
        return now
    try:
        at_ms = instant_ms(one.at)
    except Invalid as trouble:
        raise Refused(one, "bad-time", trouble.message, "at") from None
    if at_ms > now + AHEAD_MS:
        raise Refused(one, "time-ahead", f"{one.at} lies ahead of now: set the clock of what sent it.", "at")
    if at_ms < OLDEST_MS:
        raise Refused(one, "time-too-old", f"{one.at} lies before 2000: a clock that lost its time.", "at")
    return at_ms


def plausible(gauge: Gauge, figure: float) -> bool:
    """Whether a value lies in the range that the keeper finds plausible for this gauge."""
    low, high = gauge.plausible_low, gauge.plausible_high
    if low is None and high is None:
        return True
    si = to_si(figure, gauge.unit, gauge.kind)
    return (low is None or si >= low.si(gauge.kind)) and (high is None or si <= high.si(gauge.kind))


def _in_unit(one: Sent, unit_name: str, known: Parameter, value: Value) -> Value:
    if one.unit is None or one.unit == unit_name:
        return value
    try:
        figure, low, high = (
            None if size is None else convert(size, one.unit, unit_name, known.kind)
            for size in (value.figure, value.low, value.high)
        )
    except Invalid as trouble:
        raise Refused(one, "bad-unit", trouble.message, "unit") from None
    assert figure is not None
    return Value(figure, value.mark, low, high)


def _refuse_impossible(one: Sent, unit_name: str, known: Parameter, value: Value) -> None:
    for size in (value.figure, value.low, value.high):
        if size is None:
            continue
        si = to_si(size, unit_name, known.kind)
        low, high = known.possible_low, known.possible_high
        slack = 1e-9 * max(1.0, abs(si))
        if (low is not None and si < low - slack) or (high is not None and si > high + slack):
            shown = bare(Quantity(size, unit_name))
            message = (
                f"{shown} is impossible for {known.name.replace('_', ' ')}, {_bounds(known, unit_name)}."
                " Check value and unit."
            )
            raise Refused(one, "impossible-value", message, "value")


def _bounds(known: Parameter, unit_name: str) -> str:
    """What is possible, in words: "which is -2 to 60 degC"."""
    low, high = (
        None if si is None else Quantity(six(from_si(si, unit_name, known.kind)), unit_name)
        for si in (known.possible_low, known.possible_high)
    )
    if high is None:
        return "which can be anything" if low is None else f"which is at least {bare(low)}"
    return (
        f"which is at most {bare(high)}" if low is None else f"which is {number(low.value)} to {bare(high)}"
    )
