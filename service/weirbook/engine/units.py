"""Kinds of quantity, the exact unit names accepted for each, and the way to SI and back.

The names, their aliases and their definitions stand in `units.txt`. At import every definition goes once
through a pint registry, in decimal arithmetic, and leaves a plain factor and offset; the registry is then
dropped, so nothing later touches pint and any number of threads may convert. A name is always looked up
within a kind: "mg/L CaCO3" is a hardness and an alkalinity, and the two never convert into each other. Unit
expressions are never parsed from what a caller sends.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from importlib import resources
from types import MappingProxyType
from typing import Any

import pint

from weirbook.errors import Invalid

LARGEST = 1e15
"""No quantity of a fish room is larger, in any unit listed; beyond it a number is a slip or an attack."""

_SHOWN_CAP = 40
_TEXT_CAP = 100
_DIGITS = 12
_FIGURE = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")


@dataclass(frozen=True)
class Unit:
    """One accepted unit of a kind: SI value = value * factor + offset."""

    name: str
    kind: str
    factor: float
    offset: float
    aliases: tuple[str, ...]
    words: str


@dataclass(frozen=True)
class Kind:
    """A kind of quantity: its SI unit, the unit answers are shown in by default, and all accepted."""

    name: str
    si: str
    default: str
    units: tuple[Unit, ...]
    words: str

    @property
    def takes_bare_numbers(self) -> bool:
        """Whether a number alone is clear, there being one unit only."""
        return len(self.units) == 1


@dataclass(frozen=True)
class _Slip:
    """A name often sent and never taken; `meant` is the unit to offer, None: advice for every kind."""

    sent: str
    meant: str | None
    why: str


def _rows(text: str) -> Iterator[tuple[bool, list[str]]]:
    """The lines of `units.txt` that say something: whether it is a heading, and its columns ("-": empty)."""
    for line in text.splitlines():
        if line.strip() and not line.startswith("#"):
            columns = [column.strip() for column in line.split("|")]
            yield not line.startswith(" "), ["" if column == "-" else column for column in columns]


def _load(text: str) -> tuple[dict[str, Kind], dict[str, float], tuple[_Slip, ...]]:
    # Decimal arithmetic gives the float nearest to each exact definition; floats miss it by the last digit.
    registry: pint.UnitRegistry[Decimal] = pint.UnitRegistry(non_int_type=Decimal)
    weights: dict[str, float] = {}
    slips: list[_Slip] = []
    headings: dict[str, list[str]] = {}
    lines: dict[str, list[list[str]]] = {}
    section = ""
    for heading, row in _rows(text):
        if heading:
            section = row[0]
            headings[section], lines[section] = row[1:], []
        elif section == "weights":
            registry.define(f"w_{row[0]} = {row[1]} gram / mole")
            weights[row[0]] = float(row[1])
        elif section == "own":
            registry.define(f"of_{row[0]} = [{row[0]}]")
        elif section == "slips":
            slips.append(_Slip(row[0], row[1] or None, row[2]))
        else:
            lines[section].append(row)
    kinds = {
        kind.name: kind
        for kind in (
            _kind(registry, heading.removeprefix("kind "), headings[heading], lines[heading])
            for heading in headings
            if heading.startswith("kind ")
        )
    }
    return kinds, weights, tuple(slips)


def _kind(
    registry: pint.UnitRegistry[Decimal], name: str, heading: list[str], lines: list[list[str]]
) -> Kind:
    si, default, words = heading
    base = next(expression for unit_name, _, expression, _ in lines if unit_name == si)
    measure = registry.Quantity(registry.parse_expression(base)).units
    units = []
    for unit_name, aliases, expression, unit_words in lines:
        one: Any = registry.Quantity(registry.parse_expression(expression))
        # A unit that doesn't measure what its kind measures stops here with pint.DimensionalityError.
        offset = registry.Quantity(Decimal(0), one.units).to(measure).magnitude
        factor = one.to(measure).magnitude - offset
        also = tuple(alias.strip() for alias in aliases.split(",") if alias)
        units.append(Unit(unit_name, name, float(factor), float(offset), also, unit_words))
    return Kind(name, si, default, tuple(units), words)


_kinds, _weights, _SLIPS = _load(resources.files(__package__).joinpath("units.txt").read_text("utf-8"))

KINDS: Mapping[str, Kind] = MappingProxyType(_kinds)
"""Every kind of quantity by name, in the order of `units.txt`."""

ATOMIC_WEIGHTS: Mapping[str, float] = MappingProxyType(_weights)
"""g/mol by element symbol. Source: IUPAC/CIAAW standard atomic weights 2021 (conventional where a range)."""

_UNITS: Mapping[str, Mapping[str, Unit]] = {
    kind.name: {name: one for one in kind.units for name in (one.name, *one.aliases)}
    for kind in KINDS.values()
}


def unit(kind: str, name: str) -> Unit:
    """The unit of that exact name or alias within a kind.

    Raises Invalid for any other name, saying what is allowed; KeyError for an unknown kind.
    """
    units = _UNITS[kind]
    if not isinstance(name, str):
        raise Invalid(f"A unit is a text. {_allowed(kind)}")
    found = units.get(name)
    if found is None:
        raise Invalid(" ".join([_what_is_wrong(kind, name), *_hints(kind, name), _allowed(kind)]))
    return found


def step_of(kind: str) -> str:
    """The kind of a step between two values of a kind: degrees of difference are not degrees of the scale."""
    return "temperature_difference" if kind == "temperature" else kind


def to_si(value: float, unit_name: str, kind: str) -> float:
    """`value` in the SI unit of the kind. Raises Invalid for an unknown unit."""
    found = unit(kind, unit_name)
    return value * found.factor + found.offset


def from_si(si: float, unit_name: str, kind: str) -> float:
    """An SI value in another unit of the kind. Raises Invalid for an unknown unit."""
    return _out_of_si(si, unit(kind, unit_name))


def convert(value: float, from_name: str, to_name: str, kind: str) -> float:
    """`value` from one unit to another of the kind; untouched where both names mean the same unit."""
    return _converted(value, unit(kind, from_name), unit(kind, to_name))


def _converted(value: float, from_unit: Unit, to_unit: Unit) -> float:
    if from_unit is to_unit:
        return value
    return _out_of_si(value * from_unit.factor + from_unit.offset, to_unit)


def _out_of_si(si: float, to_unit: Unit) -> float:
    value = (si - to_unit.offset) / to_unit.factor
    # 273.15 as a float is good to 6e-14: without rounding, 32 degF would be shown as 5.7e-14 degC.
    return round(value, 10) if to_unit.offset else value


@dataclass(frozen=True)
class Quantity:
    """A number and the canonical name of its unit, as entered."""

    value: float
    unit: str

    def si(self, kind: str) -> float:
        return to_si(self.value, self.unit, kind)

    def to(self, unit_name: str, kind: str) -> Quantity:
        to_unit = unit(kind, unit_name)
        return Quantity(_converted(self.value, unit(kind, self.unit), to_unit), to_unit.name)

    def text(self) -> str:
        """The shortest form that `quantity` reads back: "72 in"."""
        return f"{number(self.value)} {self.unit}"

    def as_json(self) -> dict[str, object]:
        return {"value": number(self.value), "unit": self.unit}


def quantity(raw: object, kind: str) -> Quantity:
    """A quantity from "72 in", {"value": 72, "unit": "in"} or a Quantity, its unit under the canonical name.

    A bare number is taken only where the kind has a single unit (ph, score, number, contact).
    Raises Invalid, with a pointer into `raw`, for anything else; KeyError for an unknown kind.
    """
    if isinstance(raw, Quantity):
        return Quantity(_figure(raw.value, kind, ""), unit(kind, raw.unit).name)
    if isinstance(raw, str):
        return _from_text(raw, kind)
    if isinstance(raw, Mapping):
        return _from_object(raw, kind)
    if isinstance(raw, int | float) and not isinstance(raw, bool):
        return _from_bare(_figure(raw, kind, ""), kind)
    raise Invalid(f"{_quoted(raw)} is not a quantity. Write it {_example(kind)}.", "")


def number(x: float) -> int | float:
    """The shortest number that equals `x` at 12 significant digits; whole numbers as int.

    Raises Invalid for infinity and not-a-number, which no answer may carry.
    """
    if not math.isfinite(x):
        raise Invalid("A value comes out beyond any real size: check the sizes of what was sent.")
    rounded = float(f"{x:.{_DIGITS}g}")
    # From 1e16 on, Python itself writes a float in exponent form and without ".0".
    return int(rounded) if rounded.is_integer() and abs(rounded) < 1e16 else rounded


def number_or_none(x: float | None) -> int | float | None:
    """`number`, or nothing for nothing."""
    return None if x is None else number(x)


def _from_text(raw: str, kind: str) -> Quantity:
    if len(raw) > _TEXT_CAP or _CONTROL.search(raw):
        raise Invalid(f"{_quoted(raw)} is not a quantity. Write it {_example(kind)}.", "")
    text = raw.strip()
    figure = _FIGURE.match(text)
    if figure is None:
        raise Invalid(f"{_quoted(raw)} does not begin with a number. Write it {_example(kind)}.", "")
    rest = text[figure.end() :]
    name = rest.strip()
    if re.match(r",[0-9]", rest):
        raise Invalid(
            f"{_quoted(raw)} has a comma in its number. Numbers have a decimal point and no thousands mark: "
            "24.5, 1000.",
            "",
        )
    if re.match(r"\s+[0-9]{3}\b(?!/)", rest):
        raise Invalid(f"{_quoted(raw)} has a space in its number. Write large numbers without one: 1000.", "")
    value = _figure(float(figure.group()), kind, "")
    return Quantity(value, _unit_at(kind, name, "")) if name else _from_bare(value, kind)


def _from_bare(value: float, kind: str) -> Quantity:
    if not KINDS[kind].takes_bare_numbers:
        raise Invalid(
            f"Say the unit with the number {number(value)}, {_example(kind, value)}. {_allowed(kind)}", ""
        )
    return Quantity(value, KINDS[kind].default)


def _from_object(raw: Mapping[object, object], kind: str) -> Quantity:
    extra = [key for key in raw if key not in ("value", "unit")]
    if extra:
        pointer = "/" + str(extra[0]).replace("~", "~0").replace("/", "~1")
        raise Invalid(f"A quantity has the keys value and unit, not {_quoted(extra[0])}.", pointer)
    for key in ("value", "unit"):
        if key not in raw:
            raise Invalid(f"The quantity lacks its {key}. Write it {_example(kind)}.", f"/{key}")
    return Quantity(_figure(raw["value"], kind, "/value"), _unit_at(kind, raw["unit"], "/unit"))


def _figure(value: object, kind: str, pointer: str) -> float:
    if isinstance(value, str):
        comma = " Numbers have a decimal point: 24.5." if "," in value else ""
        raise Invalid(f"{_quoted(value)} is a text; send the value as a number.{comma}", pointer)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Invalid(f"{_quoted(value)} is not a number. Write the quantity {_example(kind)}.", pointer)
    if not abs(value) <= LARGEST:  # so that not-a-number fails as well
        raise Invalid(f"{_quoted(value)} is not a number between -1e15 and 1e15.", pointer)
    return float(value)


def _unit_at(kind: str, name: object, pointer: str) -> str:
    try:
        return unit(kind, name).name  # type: ignore[arg-type]
    except Invalid as trouble:
        raise Invalid(trouble.message, pointer) from None


def _quoted(raw: object) -> str:
    """What was sent, cut short and free of control characters, for a message."""
    if isinstance(raw, str):
        return repr(raw) if len(raw) <= _SHOWN_CAP else f"{raw[:_SHOWN_CAP]!r}…"
    if raw is None or isinstance(raw, bool):
        return {None: "null", True: "true", False: "false"}[raw]
    if isinstance(raw, int) and abs(raw) > LARGEST:  # Python refuses to write out very long integers
        return "A number of so many digits"
    if isinstance(raw, int | float):
        return repr(raw)
    return "A list" if isinstance(raw, list | tuple) else f"A {type(raw).__name__}"


def _spoken(kind: str) -> str:
    return kind.replace("_", " ")


def _allowed(kind: str) -> str:
    return f"Units of {_spoken(kind)}: {', '.join(one.name for one in KINDS[kind].units)}."


def _example(kind: str, value: float = 1) -> str:
    figure, default = number(value), KINDS[kind].default
    return f'like "{figure} {default}" or {{"value": {figure}, "unit": "{default}"}}'


def _what_is_wrong(kind: str, name: str) -> str:
    others = [_spoken(other) for other in KINDS if name in _UNITS[other]]
    if others:
        return f"{_quoted(name)} is a unit of {', '.join(others)}, not of {_spoken(kind)}."
    return f"{_quoted(name)} is not a unit of {_spoken(kind)}."


def _hints(kind: str, name: str) -> list[str]:
    """What a keeper who sent this name probably meant, as sentences; none where nothing fits."""
    units = _UNITS[kind]
    lowered = name.strip().lower()
    alike = sorted({found.name for known, found in units.items() if known.lower() == lowered})
    if alike:
        return [f"Did you mean {' or '.join(map(repr, alike))}? Names are exact, capitals too."]
    for slip in _SLIPS:
        if slip.meant in units and slip.sent.lower() == lowered:
            return [f"Did you mean {slip.meant!r}?{f' ({slip.why})' if slip.why else ''}"]
    forms = [one.name for one in KINDS[kind].units if one.name.startswith(f"{name.strip()} ")]
    if forms:
        return [f"Say as what: {' or '.join(forms)}."]
    first = lowered.split(" ")[0]
    return [f"{slip.why}." for slip in _SLIPS if slip.meant is None and slip.sent == first]
