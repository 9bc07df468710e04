"""The one shape of a calculator: declared inputs, declared results, one function, one kind of answer.

A calculator file holds a frozen dataclass of inputs whose fields are made by `param` (single values) or
`parts` (a list of smaller frozen dataclasses), the results it gives, its sources and limits, and one
function `inputs -> Working`. From that alone come the request schema, the catalogue page, the query-string
form and the form filled from the record. Inside, every quantity is an SI float.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from weirbook.engine.inputs import (
    CHOICE,
    COUNT,
    FOLLOWING,
    PARTS_CAP,
    TEXT,
    TEXT_CAP,
    YES_NO,
    Follows,
    Param,
    bare,
    missing,
    param,
    params_of,
    parts,
    read,
    refuse,
    show,
    six,
)
from weirbook.engine.units import KINDS, Quantity, quantity
from weirbook.errors import Fault, Invalid

__all__ = [
    "CHOICE",
    "COUNT",
    "FOLLOWING",
    "PARTS_CAP",
    "TEXT",
    "TEXT_CAP",
    "YES_NO",
    "Answer",
    "Assumption",
    "Calculator",
    "Caution",
    "Filled",
    "Follows",
    "Origin",
    "Param",
    "Result",
    "Source",
    "Step",
    "Working",
    "answer",
    "as_json",
    "missing",
    "param",
    "params_of",
    "parts",
    "read",
    "refuse",
    "show",
    "six",
    "step",
    "steps_as_json",
]

Origin = Literal["given", "record", "default", "common practice"]
LARGEST_RESULT = 1e30
"""In SI. Far above any real result, and far enough below the largest float for every change of unit."""


@dataclass(frozen=True)
class Result:
    """One declared result: a quantity of `kind`, or a list whose rows carry `fields`.

    A result may follow a choice among the inputs, as an input may; its kind is FOLLOWING until `settled`.
    """

    name: str
    kind: str
    doc: str
    unit: str | None = None
    fields: tuple[Result, ...] = ()
    follows: Follows | None = None

    def settled(self, said: Mapping[str, Any]) -> Result:
        """This result as the choice it follows makes it."""
        kind = None if self.follows is None else self.follows.kind(said)
        return self if kind is None else dataclasses.replace(self, kind=kind, follows=None)

    @property
    def shown_in(self) -> str | None:
        return (self.unit or KINDS[self.kind].default) if self.kind in KINDS else None


@dataclass(frozen=True)
class Step:
    """One formula in words, the same with its numbers, and what it gives (SI, shown in `unit`)."""

    words: str
    working: str
    value: float
    kind: str
    unit: str | None = None


def step(
    gives: str, formula: str, numbers: Mapping[str, str], value: float, kind: str, unit: str | None = None
) -> Step:
    """A step from one formula, so that its words and its working can't disagree.

    "{flow} ÷ {volume}" with {"flow": "900 L/h", "volume": "300 L"} reads "… = flow ÷ volume" and
    "900 L/h ÷ 300 L". Signs: + − × ÷ ^ ( ) π °, and ln, exp, sqrt, sin, tan, atan. Numbers come from `show`.
    """
    words = formula.format_map({name: name.replace("_", " ") for name in numbers})
    return Step(f"{gives} = {words}", formula.format_map(numbers), value, kind, unit)


@dataclass(frozen=True)
class Assumption:
    text: str
    origin: Origin


@dataclass(frozen=True)
class Caution:
    """A word of care: `code` for programs, text for people, `limit` the bound it speaks of, if any."""

    code: str
    text: str
    limit: str | None = None


@dataclass(frozen=True)
class Source:
    """Where a formula or figure comes from, and where in it."""

    author: str
    year: int | None
    title: str
    where: str
    note: str = ""


@dataclass(frozen=True)
class Working:
    """What a calculator's function hands back: SI values by result name, and how it came to them."""

    values: Mapping[str, Any]
    steps: Sequence[Step]
    assumptions: Sequence[Assumption] = ()
    cautions: Sequence[Caution] = ()


@dataclass(frozen=True)
class Calculator:
    """A named computation. `doors` are the place nouns from whose record it can be filled.

    `asks` is what a question to the record must say besides: inputs that no record holds, with the worked
    example's values.
    """

    name: str
    title: str
    doc: str
    inputs: type
    results: tuple[Result, ...]
    limits: tuple[str, ...]
    sources: tuple[Source, ...]
    solve: Callable[[Any], Working]
    example: Mapping[str, Any]
    doors: tuple[str, ...] = ()
    asks: Mapping[str, str] = field(default_factory=dict)

    @property
    def params(self) -> dict[str, Param]:
        return params_of(self.inputs)

    @property
    def fits_a_query(self) -> bool:
        """Whether all that it must be told are single values."""
        return all(p.single for p in self.params.values() if p.required)

    @property
    def names(self) -> tuple[str, ...]:
        """Words by which a question to the record can name one of its records, whose facts then fill inputs."""
        words = (one.told_by_word for one in self.params.values())
        return tuple(dict.fromkeys(word for word in words if word is not None))

    def elsewhere(self, word: str) -> str:
        """Where a word that names a record belongs, for whoever sends it with inputs of his own."""
        told = [name for name, one in self.params.items() if one.told_by_word == word]
        return (
            f"Only a question to the record (…/answers/{self.name}) can name a {word}. Here say what it tells:"
            f" {', '.join(told)}."
        )

    def result(self, name: str) -> Result:
        """The declared result of that name. Raises Invalid naming those that stand alone."""
        for result in self.results:
            if result.name == name and not result.fields:
                return result
        offered = ", ".join(r.name for r in self.results if not r.fields)
        raise Invalid(f"{self.title} has no single result '{name}'. It gives: {offered}.", "/result")


@dataclass(frozen=True)
class Filled:
    """A value for an input, and where it came from ("tank nursery, measured 2026-11-02")."""

    value: Any
    origin: Origin
    note: str = ""


@dataclass(frozen=True)
class Answer:
    """Everything a caller needs to follow, trust or doubt a result. Quantities carry their units."""

    calculator: Calculator
    inputs: Mapping[str, Filled]
    values: Mapping[str, Any]
    steps: Sequence[Step]
    assumptions: Sequence[Assumption]
    cautions: Sequence[Caution]

    @property
    def said(self) -> Mapping[str, Any]:
        """The inputs' values by name, which settle the kinds that follow a choice."""
        return {name: filled.value for name, filled in self.inputs.items()}

    def result(self, name: str) -> Result:
        """The result of that name, its kind settled. Raises Invalid as `Calculator.result` does."""
        return self.calculator.result(name).settled(self.said)

    def quantity(self, name: str, unit: str | None = None) -> Quantity | str | None:
        """One single result, in `unit` or in the unit it is usually shown in; None where it has no value.

        Raises Invalid for an unknown name or a unit of another kind.
        """
        result = self.result(name)
        shown: Quantity | str | None = _shown(result, self.values[name], {result.kind: unit} if unit else {})
        return shown


def answer(
    calculator: Calculator, given: Mapping[str, Any], fills: Mapping[str, Filled] | None = None
) -> Answer:
    """Answer from what the caller sent (JSON values) over what the record filled in.

    A null that the caller sends takes away what the record would fill in.
    Raises Invalid with one fault for each bad or missing input, named by its JSON pointer.
    """
    if not isinstance(given, Mapping):
        raise Invalid("Send an object with named inputs.", "")
    if elsewhere := [
        Fault(f"/{word}", calculator.elsewhere(word)) for word in calculator.names if word in given
    ]:
        raise Invalid("The inputs can't be used as they are.", faults=elsewhere)
    filled = {**(fills or {}), **{name: Filled(value, "given") for name, value in given.items()}}
    raw = {name: f.value for name, f in filled.items()}
    inputs = read(calculator.inputs, raw)
    params = {name: declared.settled(raw) for name, declared in calculator.params.items()}
    known = {}
    for name, declared in params.items():
        if name in filled and filled[name].value is not None:
            known[name] = dataclasses.replace(filled[name], value=_as_entered(declared, filled[name].value))
        elif declared.default is not None and declared.default != ():
            known[name] = Filled(_default(declared), "default")
    try:
        working = calculator.solve(inputs)
    except ArithmeticError:
        raise Invalid(_BEYOND) from None
    _refuse_what_is_beyond_any_size(calculator, working)
    return Answer(
        calculator,
        known,
        working.values,
        [*_conversions(params, known), *working.steps],
        tuple(dict.fromkeys(working.assumptions)),
        working.cautions,
    )


def _as_entered(declared: Param, value: Any) -> Any:
    """The input as the answer repeats it: quantities with their unit, lists row by row."""
    if declared.part is not None:
        inner = params_of(declared.part)
        return [
            {
                name: _as_entered(inner[name].settled(one), one[name])
                for name in inner
                if one.get(name) is not None
            }
            for one in value
        ]
    if not declared.is_quantity:
        return value
    return quantity(value, declared.kind)


def _default(declared: Param) -> Any:
    if not declared.is_quantity:
        return declared.default
    return Quantity(declared.default, KINDS[declared.kind].si).to(declared.shown_in, declared.kind)


def _conversions(declared: Mapping[str, Param], inputs: Mapping[str, Filled]) -> list[Step]:
    """Steps that turn inputs entered in other units into those the working is written in."""
    steps: list[Step] = []
    for name, filled in inputs.items():
        if (part := declared[name].part) is None:
            steps += _conversion(name.replace("_", " "), declared[name], filled.value)
            continue
        for index, row in enumerate(filled.value):
            for inner, one in params_of(part).items():
                words = f"{name}/{index}, {inner.replace('_', ' ')}"
                steps += _conversion(words, one.settled(row), row.get(inner))
    return steps


def _conversion(words: str, declared: Param, entered: Any) -> list[Step]:
    if not isinstance(entered, Quantity) or entered.unit == declared.shown_in:
        return []
    kind, unit = declared.kind, declared.shown_in
    offset = Quantity(0.0, entered.unit).to(unit, kind).value
    factor = Quantity(1.0, entered.unit).to(unit, kind).value - offset
    working = f"{bare(entered)} × {six(factor)}"
    if offset:
        working += f" {'+' if offset > 0 else '−'} {six(abs(offset))}"
    return [
        Step(f"{words} in {unit if unit != '1' else 'shares of one'}", working, entered.si(kind), kind, unit)
    ]


_BEYOND = "The result comes out beyond any real size: check the sizes of the inputs."


def _refuse_what_is_beyond_any_size(calculator: Calculator, working: Working) -> None:
    """A result near the end of floating point is no answer: inputs that drive it there are refused."""
    for result in calculator.results:
        value = working.values[result.name]
        rows = value if result.fields else [{result.name: value}]
        for row in rows:
            for name, one in row.items():
                if isinstance(one, float) and not abs(one) < LARGEST_RESULT:
                    raise Invalid(f"'{name}' comes out beyond any real size: check the sizes of the inputs.")
    if not all(abs(step.value) < LARGEST_RESULT for step in working.steps):
        raise Invalid(_BEYOND)


def _shown(result: Result, value: Any, units: Mapping[str, str]) -> Any:
    if value is None or result.kind not in KINDS:
        return value
    unit = units.get(result.kind) or result.shown_in
    assert unit is not None
    return Quantity(value, KINDS[result.kind].si).to(unit, result.kind)


def as_json(given: Answer, units: Mapping[str, str] | None = None) -> dict[str, Any]:
    """The answer as plain JSON values. `units` (kind to unit name) changes how results are shown."""
    units, said = units or {}, given.said
    calculator = given.calculator
    return {
        "calculator": calculator.name,
        "inputs": {
            name: {**_plain_input(f.value), "origin": f.origin, **({"note": f.note} if f.note else {})}
            for name, f in given.inputs.items()
        },
        "results": {
            r.name: _result_as_json(r, given.values[r.name], said, units) for r in calculator.results
        },
        "steps": steps_as_json(given.steps),
        "assumptions": [dataclasses.asdict(a) for a in given.assumptions],
        "cautions": [dataclasses.asdict(c) for c in given.cautions],
        "sources": [dataclasses.asdict(s) for s in calculator.sources],
    }


def _result_as_json(result: Result, value: Any, said: Mapping[str, Any], units: Mapping[str, str]) -> Any:
    if not result.fields:
        return _plain(_shown(result.settled(said), value, units))
    fields = [one.settled(said) for one in result.fields]
    return [{one.name: _plain(_shown(one, row[one.name], units)) for one in fields} for row in value]


def steps_as_json(steps: Sequence[Step]) -> list[dict[str, Any]]:
    """Steps as plain JSON values, what each gives at six figures."""
    return [
        {
            "words": s.words,
            "working": s.working,
            "gives": _rounded(
                Quantity(s.value, KINDS[s.kind].si).to(s.unit or KINDS[s.kind].default, s.kind)
            ),
        }
        for s in steps
    ]


def _plain(value: Any) -> Any:
    return value.as_json() if isinstance(value, Quantity) else value


def _plain_input(value: Any) -> dict[str, Any]:
    if isinstance(value, Quantity):
        return value.as_json()
    if isinstance(value, list):
        return {"value": [{name: _plain(one) for name, one in row.items()} for row in value]}
    return {"value": value}


def _rounded(shown: Quantity) -> dict[str, Any]:
    return {"value": six(shown.value), "unit": shown.unit}
