"""A calculator answered from the record of a place or pump, with what-ifs over it."""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions import fill_pump, fill_section, fill_sump, fill_system, fill_tank
from weirbook.actions.fill_named import facts_named
from weirbook.actions.filling import Facts
from weirbook.engine.shape import CHOICE, PARTS_CAP, Answer, Calculator, Filled, Param, answer, params_of
from weirbook.engine.units import KINDS
from weirbook.errors import Fault, Invalid
from weirbook.record.base import Named
from weirbook.record.equipment import Pump
from weirbook.record.places import Section, Sump, System, Tank

FILLERS: Mapping[type[Named], Callable[[Session, Any, int], Facts]] = {
    System: fill_system.fill,
    Tank: fill_tank.fill,
    Sump: fill_sump.fill,
    Section: fill_section.fill,
    Pump: fill_pump.fill,
}


def answer_for(
    session: Session,
    calculator: Calculator,
    subject: Named,
    said: Mapping[str, Any],
    *,
    at_ms: int,
    by_query: bool = True,
) -> Answer:
    """Fill the calculator's inputs from the record as it stood at an instant, what was `said` over them.

    A list whose rows have a key is said row by row: each names a recorded row and holds what differs, or, where the
    list may be added to, is a new row told in full. A word that names a record (`Calculator.names`) has the inputs
    that this record tells filled from it alone.
    Raises Invalid where a needed input is neither said nor recorded, naming what would supply it: a word of the query,
    if `by_query`, or of the body.
    """
    facts = {
        **FILLERS[type(subject)](session, subject, at_ms),
        **facts_named(session, calculator, said, at_ms),
    }
    named = {word for word in calculator.names if said.get(word) is not None}
    said = {name: value for name, value in said.items() if name not in calculator.names}
    fills: dict[str, Filled] = {}
    faults = []
    for name, declared in calculator.params.items():
        declared = declared.settled(said)
        role = declared.told_by if declared.told_by_word in named else declared.role
        if declared.follows is not None and role is not None:
            continue  # which fact is meant can't be told: the choice that it follows is missing or a fault
        if (name in said and not _said_by_row(declared, said.get(name))) or role not in facts:
            if declared.required and name not in said:
                how = _how_to_say(calculator, name, said, by_query)
                faults.append(Fault(f"/{name}", f"The record does not hold it: {declared.doc} {how}"))
            continue
        found = facts[role]()
        if isinstance(found, Filled):
            fills[name] = found
        elif found.at is not None:
            faults.append(Fault(found.at, found.why))
        elif declared.required and name not in said:
            how = _how_to_say(calculator, name, said, by_query)
            faults.append(Fault(f"/{name}", f"Unknown: {found.why} Record it, or {how[0].lower()}{how[1:]}"))
    if faults := list(dict.fromkeys(faults)):
        raise Invalid(
            f"{calculator.title} can't be answered: the record lacks {', '.join(f.pointer[1:] for f in faults)}.",
            faults=faults,
            slug="not-recorded",
        )
    told = {
        name: word
        for name in fills
        if (word := calculator.params[name].told_by_word) in named and word is not None
    }
    with _faults_at_the_word(told):
        return _answered(calculator, said, _without_what_said_replaces(calculator, fills, said, told))


@contextmanager
def _faults_at_the_word(told: Mapping[str, str]) -> Iterator[None]:
    """Refusals of an input that a named record filled, at the word that named it: the input itself was not sent."""
    try:
        yield
    except Invalid as trouble:
        faults = [
            Fault(f"/{told[name]}", fault.message) if (name := fault.pointer[1:]) in told else fault
            for fault in trouble.faults
        ]
        raise Invalid(
            trouble.message, faults=dict.fromkeys(faults), slug=trouble.slug, more=trouble.more
        ) from None


def _how_to_say(calculator: Calculator, name: str, said: Mapping[str, Any], by_query: bool) -> str:
    declared = calculator.params[name]
    if not declared.single:
        return f"Send it in {'a body, by POST' if by_query else 'the body'}: {name}, a list."
    word = declared.told_by_word if declared.role is None else None
    named = f", or name a recorded {word}: {word}=…" if word else ""
    offered = _offered(declared.settled(said)) if _is_open(calculator, declared, said) else ""
    example = calculator.example.get(name)
    if by_query:
        value = str(example).lower() if isinstance(example, bool) else str(example)
        return f"Add it to the query{f': {name}=…{offered}' if offered else f', like {name}={value}'}{named}."
    return f"Send it in the body: {name}{offered or f', like {json.dumps(example)}'}{named}."


def _is_open(calculator: Calculator, declared: Param, said: Mapping[str, Any]) -> bool:
    """Whether the worked example's value is no guide: of a choice, and of what follows another choice than there."""
    follows = declared.follows
    return declared.kind == CHOICE or (
        follows is not None and said.get(follows.choice) != calculator.example[follows.choice]
    )


def _offered(declared: Param) -> str:
    if declared.kind == CHOICE:
        return f", one of {', '.join(declared.choices)}"
    units = ", ".join(one.name for one in KINDS[declared.kind].units) if declared.is_quantity else ""
    return f", a number and its unit: {units}" if units else ", a number and its unit"


def _without_what_said_replaces(
    calculator: Calculator, fills: Mapping[str, Filled], said: Mapping[str, Any], told: Collection[str]
) -> dict[str, Filled]:
    """A what-if on what recorded values go with makes them no longer fit: they are left out, but not those that a record
    named in the question told."""
    return {
        name: one
        for name, one in fills.items()
        if name in told or not any(whole in said for whole in calculator.params[name].rests_on)
    }


def _said_by_row(declared: Param, value: Any) -> bool:
    return declared.key is not None and isinstance(value, list) and len(value) <= PARTS_CAP


@dataclass(frozen=True)
class _Rows:
    """Recorded rows with what was said of some, by place: where in what was sent each of those stands."""

    key: str
    filled: Filled
    sent: Mapping[int, int]


def _answered(calculator: Calculator, said: Mapping[str, Any], fills: Mapping[str, Filled]) -> Answer:
    rows = {
        name: _laid_over(name, declared, filled, said.get(name, ()))
        for name, filled in fills.items()
        if (declared := calculator.params[name]).key is not None and filled.value
    }
    over = {name: value for name, value in said.items() if name not in rows}
    try:
        return answer(calculator, over, {**fills, **{name: one.filled for name, one in rows.items()}})
    except Invalid as trouble:
        faults = [_as_sent(fault, rows) for fault in trouble.faults]
        raise Invalid(trouble.message, faults=faults, slug=trouble.slug, more=trouble.more) from None


def _laid_over(name: str, declared: Param, recorded: Filled, said: Sequence[Any]) -> _Rows:
    """What was said of some rows over those recorded, and new rows after them; null takes a recorded value away."""
    key = declared.key
    assert key is not None
    rows = [dict(row) for row in recorded.value]
    places = {row[key]: place for place, row in enumerate(rows)}
    sent: dict[int, int] = {}
    faults = []
    for index, one in enumerate(said):
        at = f"/{name}/{index}"
        if not isinstance(one, Mapping):
            faults.append(Fault(at, f"Send an object with the {key} of a row and what differs in it."))
            continue
        place = places.get(one[key]) if isinstance(one.get(key), str) else None
        if place is None and declared.may_add and _whole(declared, one):
            place = places[one[key]] = len(rows)
            rows.append({})
        if place is None:
            faults.append(Fault(f"{at}/{key}", _no_such_row(declared, recorded)))
        elif place in sent:
            faults.append(Fault(f"{at}/{key}", f"Another row has this {key} already."))
        else:
            rows[place] |= one
            sent[place] = index
    if faults:
        raise Invalid("The rows can't be used as they are.", faults=faults)
    held = len(recorded.value)
    told = [
        f"{rows[place][key]} ({', '.join(n for n in said[i] if n != key)})"
        for place, i in sent.items()
        if place < held
    ]
    notes = [
        recorded.note,
        *([f"said otherwise: {', '.join(told)}"] if told else []),
        *([f"said besides: {', '.join(row[key] for row in rows[held:])}"] if rows[held:] else []),
    ]
    return _Rows(key, dataclasses.replace(recorded, value=rows, note="; ".join(notes)), sent)


def _must_tell(declared: Param) -> list[str]:
    """What a row of a list must tell."""
    assert declared.part is not None
    return [name for name, one in params_of(declared.part).items() if one.required]


def _whole(declared: Param, row: Mapping[str, Any]) -> bool:
    """Whether a row tells all that it must, its key as a text."""
    return isinstance(row.get(declared.key or ""), str) and all(
        row.get(name) is not None for name in _must_tell(declared)
    )


def _no_such_row(declared: Param, recorded: Filled) -> str:
    there = ", ".join(row[declared.key] for row in recorded.value)
    besides = f" A new row must tell {', '.join(_must_tell(declared))}." if declared.may_add else ""
    return f"The record has none of that {declared.key} here. It has: {there}.{besides}"


def _as_sent(fault: Fault, rows: Mapping[str, _Rows]) -> Fault:
    """A fault in a row, at its place in what was sent; where the record alone is at fault, by the row's key."""
    found = re.fullmatch(r"/([^/]+)/(\d+)(.*)", fault.pointer)
    if found is None or found[1] not in rows:
        return fault
    whole, place = rows[found[1]], int(found[2])
    if place in whole.sent:
        return Fault(f"/{found[1]}/{whole.sent[place]}{found[3]}", fault.message)
    return Fault(f"/{found[1]}", f"{whole.filled.value[place][whole.key]}: {fault.message}")
