"""The inputs of a calculator: how they are declared, and how JSON values are read into SI floats.

Calculators and their callers import these names from `shape`.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from weirbook.engine.units import KINDS, Quantity, number, quantity
from weirbook.errors import Fault, Invalid, Lack

REQUIRED: Any = object()
PARTS_CAP = 100
TEXT_CAP = 200
CHOICE, COUNT, TEXT, YES_NO = "choice", "count", "text", "yes or no"
"""Kinds of input that carry no unit; every other kind is one of `units.KINDS`."""
FOLLOWING = "following"
"""The kind of a quantity whose kind is known only once another input, a choice, is: see `Follows`."""

_UNWRITABLE = re.compile(r"[\x00-\x1f\x7f\ud800-\udfff]")
"""Control characters and halves of a surrogate pair: neither fits one line of UTF-8 text."""


@dataclass(frozen=True)
class Follows:
    """A kind that another input decides: `choice` names it, a required one, `kinds` the kind for each word."""

    choice: str
    kinds: Mapping[str, str]

    def kind(self, said: Mapping[str, Any]) -> str | None:
        """The kind by what was said for all inputs; None while the choice is none of its words."""
        word = said.get(self.choice)
        return self.kinds.get(word) if isinstance(word, str) else None


@dataclass(frozen=True)
class Param:
    """One input: what it is, the unit its working is shown in, its bounds (SI, for a quantity).

    One that follows a choice has the kind FOLLOWING until it is `settled`; its role may name the choice in
    braces ("latest.{parameter}"). `told_by` is a fact of a record that a question may name, and goes before the
    role then: "product.mass" is the mass of the product that the word `product` names. `rests_on` names inputs that
    the role's value goes with: where one of them is said otherwise, the record does not fill it.
    """

    kind: str
    doc: str
    unit: str | None = None
    gt: float | None = None
    ge: float | None = None
    lt: float | None = None
    le: float | None = None
    default: Any = REQUIRED
    choices: tuple[str, ...] = ()
    role: str | None = None
    told_by: str | None = None
    part: type | None = None
    follows: Follows | None = None
    key: str | None = None
    may_add: bool = False
    rests_on: tuple[str, ...] = ()

    def settled(self, said: Mapping[str, Any]) -> Param:
        """This input as the choice it follows makes it; as it is if it follows none, or the choice is open."""
        if self.follows is None or (kind := self.follows.kind(said)) is None:
            return self
        chosen = {self.follows.choice: said[self.follows.choice]}
        role, told_by = (one and one.format_map(chosen) for one in (self.role, self.told_by))
        return dataclasses.replace(self, kind=kind, role=role, told_by=told_by, follows=None)

    @property
    def told_by_word(self) -> str | None:
        """The word that names the record which tells it; None of most inputs."""
        return self.told_by and self.told_by.partition(".")[0]

    @property
    def required(self) -> bool:
        return self.default is REQUIRED

    @property
    def single(self) -> bool:
        """Whether a query string can say it."""
        return self.part is None

    @property
    def is_quantity(self) -> bool:
        return self.part is None and self.kind in KINDS

    @property
    def shown_in(self) -> str:
        return self.unit or KINDS[self.kind].default


def param(kind: str, **said: Any) -> Any:
    """Declare a single value. `role` names the fact of the record that can fill it."""
    declared = Param(kind, **said)
    return _field(declared)


def parts(
    part: type,
    *,
    doc: str,
    role: str | None = None,
    key: str | None = None,
    may_add: bool = False,
    rests_on: tuple[str, ...] = (),
    required: bool = False,
) -> Any:
    """Declare a list (none by default) of the frozen dataclass `part`, itself made of `param` fields.

    `key` names the field that tells its rows apart, so that a what-if can say a part of one row. `may_add`:
    rows stand each for itself, in no order, so that one may be said besides those recorded; what a row must tell
    goes beyond its key, lest a slip in a key makes a row. `rests_on` names inputs that the recorded rows add up to:
    saying one of them otherwise leaves the rows out.
    """
    default = REQUIRED if required else ()
    declared = Param(
        "list", doc, default=default, role=role, part=part, key=key, may_add=may_add, rests_on=rests_on
    )
    return _field(declared)


def _field(declared: Param) -> Any:
    said = {"metadata": {"param": declared}}
    if declared.required:
        return field(**said)  # type: ignore[call-overload]
    return field(default=declared.default, **said)  # type: ignore[call-overload]


def params_of(inputs: type) -> dict[str, Param]:
    """The declared inputs of a dataclass by name, in order."""
    return {f.name: f.metadata["param"] for f in dataclasses.fields(inputs)}


def read(inputs: type, raw: Mapping[str, Any], at: str = "") -> Any:
    """Build the SI dataclass from JSON values, or raise Invalid with every fault at once."""
    declared = params_of(inputs)
    faults: list[Fault] = []
    values: dict[str, Any] = {}
    for name in raw:
        if name not in declared:
            pointer = f"{at}/{str(name).replace('~', '~0').replace('/', '~1')}"
            faults.append(Fault(pointer, f"There is no input of that name. Inputs: {', '.join(declared)}."))
    for name, one in declared.items():
        pointer = f"{at}/{name}"
        if raw.get(name) is None:
            if one.required:
                faults.append(Fault(pointer, missing(name, one)))
            continue
        one = one.settled(raw)
        if one.follows is not None:
            continue  # the choice it follows is itself a fault
        try:
            values[name] = _read_one(one, raw[name], pointer)
        except Invalid as trouble:
            faults += trouble.faults or (Fault(pointer, trouble.message),)
    if faults:
        raise Invalid("The inputs can't be used as they are.", faults=faults)
    return inputs(**values)


def missing(name: str, declared: Param) -> str:
    """What is said of a required input that was not told."""
    return f"'{name}' is missing: {declared.doc}"


def refuse(faults: Sequence[Fault]) -> None:
    """Raise Invalid for faults that inputs have beside each other, if any: told apart is what only lacks."""
    if not faults:
        return
    lacks = sum(isinstance(one, Lack) for one in faults)
    if lacks == len(faults):
        raise Invalid("Something is missing.", faults=faults)
    words = "The inputs contradict each other, and something is missing."
    raise Invalid(words if lacks else "The inputs contradict each other.", faults=faults)


def _read_one(declared: Param, raw: Any, pointer: str) -> Any:
    if declared.part is not None:
        return _read_parts(declared.part, declared.key, raw, pointer)
    if declared.is_quantity:
        try:
            value = quantity(raw, declared.kind).si(declared.kind)
        except Invalid as trouble:
            faults = [fault.under(pointer) for fault in trouble.faults]
            raise Invalid(trouble.message, pointer, faults=faults) from None
        return _within(declared, value, pointer)
    if declared.kind == CHOICE:
        if not isinstance(raw, str) or raw not in declared.choices:
            raise Invalid(f"This is not offered. Choose one of: {', '.join(declared.choices)}.", pointer)
        return raw
    if declared.kind == COUNT:
        if isinstance(raw, bool) or not isinstance(raw, int) or abs(raw) > 10**6:
            raise Invalid("This is not a whole number. Write it like 6.", pointer)
        return int(_within(declared, raw, pointer))
    if declared.kind == YES_NO:
        if not isinstance(raw, bool):
            raise Invalid("This is neither true nor false.", pointer)
        return raw
    if not isinstance(raw, str) or not raw.strip() or len(raw) > TEXT_CAP or _UNWRITABLE.search(raw):
        raise Invalid(f"Send words here, 1 to {TEXT_CAP} characters on one line.", pointer)
    return raw


def _read_parts(part: type, key: str | None, raw: Any, pointer: str) -> tuple[Any, ...]:
    if not isinstance(raw, (list, tuple)) or len(raw) > PARTS_CAP:
        raise Invalid(f"Send a list of at most {PARTS_CAP}.", pointer)
    faults: list[Fault] = []
    rows = []
    keys: set[object] = set()
    for index, one in enumerate(raw):
        if not isinstance(one, Mapping):
            faults.append(Fault(f"{pointer}/{index}", "Send an object with named values."))
            continue
        if key is not None and isinstance(one.get(key), str):
            if one[key] in keys:
                faults.append(Fault(f"{pointer}/{index}/{key}", f"Another row has this {key} already."))
            keys.add(one[key])
        try:
            rows.append(read(part, one, f"{pointer}/{index}"))
        except Invalid as trouble:
            faults += trouble.faults
    if faults:
        raise Invalid("The list can't be used as it is.", faults=faults)
    return tuple(rows)


_BOUNDS: tuple[tuple[str, str, Callable[[float, float], bool]], ...] = (
    ("gt", "more than", lambda value, bound: value > bound),
    ("ge", "at least", lambda value, bound: value >= bound),
    ("lt", "less than", lambda value, bound: value < bound),
    ("le", "at most", lambda value, bound: value <= bound),
)


def _within(declared: Param, value: float, pointer: str) -> float:
    for name, words, holds in _BOUNDS:
        bound = getattr(declared, name)
        if bound is not None and not holds(value, bound):
            shown = show(bound, declared.kind, declared.unit) if declared.is_quantity else str(number(bound))
            raise Invalid(f"This must be {words} {shown}.", pointer)
    return value


def show(si: float, kind: str, unit: str | None = None) -> str:
    """A quantity as words in a step, six significant digits: "3406.87 L/h". A plain number has no unit."""
    shown = Quantity(si, KINDS[kind].si).to(unit or KINDS[kind].default, kind)
    return bare(Quantity(six(shown.value), shown.unit))


def six(value: float) -> int | float:
    """`value` at six significant digits, as a person would copy it."""
    return number(float(f"{value:.6g}"))


def bare(shown: Quantity) -> str:
    """As text, a plain number without its unit "1"."""
    return shown.text().removesuffix(" 1")
