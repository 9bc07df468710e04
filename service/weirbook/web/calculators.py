"""Calculators: the catalogue, the stateless door, and the door from the record of a place."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.answer_for import answer_for
from weirbook.actions.fill_named import NAMEABLE
from weirbook.engine.catalogue import CALCULATORS, calculator
from weirbook.engine.saying import speaking
from weirbook.engine.shape import (
    CHOICE,
    COUNT,
    YES_NO,
    Answer,
    Calculator,
    Follows,
    Param,
    Result,
    answer,
    as_json,
    missing,
    params_of,
)
from weirbook.engine.units import KINDS, Quantity, number
from weirbook.errors import Invalid
from weirbook.record.base import Named
from weirbook.record.equipment import Pump
from weirbook.record.names import find
from weirbook.record.places import PLACES
from weirbook.web.access import READERS
from weirbook.web.documents import quantity_name
from weirbook.web.fields import Instant, Words
from weirbook.web.operations import JSON, TEXT, Body, Call, Example, json_object, operation, reply
from weirbook.web.shapes import ANSWER, CALCULATOR_LIST, CALCULATOR_PAGE, described, or_null, ref

RESERVED = ("result", "unit", "format", "key", "at")
"""Query words that are never names of inputs; a test holds the catalogue to it."""

DOORS: tuple[type[Named], ...] = (*PLACES, Pump)
"""Whose record can fill a calculator."""
EXAMPLES = {
    "systems": "rill",
    "tanks": "nursery",
    "sumps": "rack",
    "sections": "rack-media-1",
    "pumps": "rack-pump",
}


def blueprint() -> Blueprint:
    """Every door of every calculator."""
    blp = Blueprint(
        "calculators",
        "calculators",
        url_prefix="/v1",
        description="Named computations, with their working and sources.",
    )

    @operation(
        blp,
        "GET",
        "/calculators",
        id="list_calculators",
        summary="The catalogue of calculators",
        description="What each does, and from which places' record it can be filled.",
        roles=READERS,
        returns=CALCULATOR_LIST,
    )
    def catalogue(call: Call) -> Response:
        return reply(
            {
                "items": [
                    {"name": c.name, "title": c.title, "doc": c.doc, "doors": list(c.doors)}
                    for c in CALCULATORS
                ]
            }
        )

    @operation(
        blp,
        "GET",
        "/calculators/<handle>",
        id="get_calculator",
        summary="One calculator",
        description="Its inputs with kinds and units, results, limits, sources and a worked example.",
        roles=READERS,
        returns=CALCULATOR_PAGE,
        example=Example(path={"handle": "turnover"}),
    )
    def page(call: Call, handle: str) -> Response:
        return reply(_page(calculator(handle)))

    for one in CALCULATORS:
        _stateless(blp, one)
        for model in DOORS:
            if model.PLURAL in one.doors:
                _from_record(blp, one, model)
    return blp


def _stateless(blp: Blueprint, one: Calculator) -> None:
    word = one.name.replace("-", "_")

    @operation(
        blp,
        "POST",
        f"/calculators/{one.name}/answer",
        id=f"answer_{word}",
        summary=f"{one.title}, from what you send",
        description=f"{one.doc} Nothing is stored.",
        roles=READERS,
        body=Body({JSON: _inputs_shape(one)}, json_object),
        returns=ANSWER,
        writes=False,
        example=Example(body=dict(one.example)),
    )
    def post(call: Call) -> Response:
        return reply(as_json(answer(one, call.body)))

    if one.fits_a_query:

        @operation(
            blp,
            "GET",
            f"/calculators/{one.name}/answer",
            id=f"ask_{word}",
            summary=f"{one.title}, from the query",
            description=f"{one.doc} With result=… and format=text (or Accept: text/plain) one bare number, for one cell.",
            roles=READERS,
            query=_query(one, all_inputs=True),
            formats=("json", "text"),
            returns=ANSWER,
            example=Example(query=_as_query(one.example, one)),
        )
        def get(call: Call) -> Response:
            return _answered(call, answer(one, _said(one, call.query)), {})


def _from_record(blp: Blueprint, one: Calculator, model: type[Named]) -> None:
    word, noun = one.name.replace("-", "_"), model.NOUN
    path = f"/{model.PLURAL}/<handle>/answers/{one.name}"
    words = (
        f"{one.doc} Inputs are filled from the record of the {noun} and each says where it came from; any of them can be "
        "said otherwise for a what-if. What the record lacks is listed by name. `at` asks with the plumbing of that time. "
        "Nothing is stored."
    )

    @operation(
        blp,
        "GET",
        path,
        id=f"ask_{word}_for_{noun}",
        summary=f"{one.title} of a {noun}",
        description=f"{words} With result=… and format=text one bare number, in unit=… if said.",
        roles=READERS,
        query=_query(one, all_inputs=False),
        formats=("json", "text"),
        returns=ANSWER,
        example=Example(path={"handle": EXAMPLES[model.PLURAL]}, query=one.asks),
    )
    def get(call: Call, handle: str) -> Response:
        return _recorded(call, handle, _said(one, call.query), by_query=True)

    @operation(
        blp,
        "POST",
        path,
        id=f"answer_{word}_for_{noun}",
        summary=f"{one.title} of a {noun}, with a what-if",
        description=f"{words} The body holds what is said otherwise, lists too.{_by_row(one)}",
        roles=READERS,
        query=AtQuery,
        body=Body({JSON: _inputs_shape(one, whole=False)}, json_object),
        returns=ANSWER,
        writes=False,
        example=Example(path={"handle": EXAMPLES[model.PLURAL]}, body=_what_if(one)),
    )
    def post(call: Call, handle: str) -> Response:
        return _recorded(call, handle, call.body, by_query=False)

    def _recorded(call: Call, handle: str, said: Mapping[str, Any], *, by_query: bool) -> Response:
        place = find(call.session, model, handle)
        at_ms = call.query.get("at")
        then = call.now if at_ms is None else min(at_ms, call.now)
        units = call.room.preferred_units or {}
        with speaking(units):
            given = answer_for(call.session, one, place, said, at_ms=then, by_query=by_query)
        return _answered(call, given, units)


class AtQuery(Schema):
    at = Instant(metadata={"description": "Ask with the plumbing of this instant; now if not said."})


def _answered(call: Call, given: Answer, units: Mapping[str, str]) -> Response:
    """The whole answer; with `result` as text one bare number."""
    wanted, unit = call.query.get("result"), call.query.get("unit")
    if call.format == "json":
        if wanted is not None or unit is not None:
            raise Invalid(
                "result and unit belong to format=text.", "/result" if wanted is not None else "/unit"
            )
        return reply(as_json(given, units))
    if wanted is None:
        offered = ", ".join(r.name for r in given.calculator.results if not r.fields)
        raise Invalid(f"As text one result is given: add result=… out of {offered}.", "/result")
    declared = given.result(wanted)
    try:
        shown = given.quantity(wanted, unit or units.get(declared.kind))
    except Invalid as trouble:
        raise Invalid(trouble.message, "/unit") from None
    text = str(number(shown.value)) if isinstance(shown, Quantity) else "" if shown is None else str(shown)
    return Response(f"{text}\n", content_type=f"{TEXT}; charset=utf-8")


def _said(one: Calculator, query: Mapping[str, Any]) -> dict[str, Any]:
    """The inputs in a query: words turned into the counts and yes-or-no that some of them are."""
    said: dict[str, Any] = {word: query[word] for word in one.names if word in query}
    for name, declared in one.params.items():
        if name not in query:
            continue
        raw = query[name]
        if declared.kind == COUNT and raw.isascii() and raw.isdigit() and len(raw) < 8:
            raw = int(raw)
        elif declared.kind == YES_NO and raw in ("true", "false"):
            raw = raw == "true"
        said[name] = raw
    return said


def _query(one: Calculator, *, all_inputs: bool) -> type[Schema]:
    """The query keys of a calculator: its single inputs, and the reserved words."""
    suffix = "Ask" if all_inputs else "WhatIf"
    fields: dict[str, Any] = {
        name: Words(
            cap=200,
            required=all_inputs and declared.required,
            error_messages={"required": missing(name, declared)},
            metadata={"description": _words(declared)},
        )
        for name, declared in one.params.items()
        if declared.single
    }
    if all_inputs:
        fields["ELSEWHERE"] = {word: one.elsewhere(word) for word in one.names}
    else:
        fields |= {word: Words(cap=200, metadata={"description": NAMEABLE[word].doc}) for word in one.names}
    fields["result"] = Words(cap=60, metadata={"description": "With format=text: the one result wanted."})
    fields["unit"] = Words(cap=30, metadata={"description": "With format=text: its unit."})
    if not all_inputs:
        fields |= {
            "at": Instant(metadata={"description": "Ask with the plumbing of this instant; now if not said."})
        }
    return type(f"{one.title.replace(' ', '')}{suffix}", (Schema,), fields)


def _words(declared: Param) -> str:
    if declared.kind == CHOICE:
        return f"{declared.doc} One of: {', '.join(declared.choices)}."
    if declared.follows is not None:
        told = [
            f"of {', '.join(words)}: {', '.join(u.name for u in KINDS[kind].units)}"
            for kind, words in _by_kind(declared.follows).items()
        ]
        return f"{declared.doc} Number and unit, {'; '.join(told)}."
    if declared.is_quantity:
        return f"{declared.doc} Number and unit: {', '.join(u.name for u in KINDS[declared.kind].units)}."
    return declared.doc


def _by_kind(follows: Follows) -> dict[str, list[str]]:
    """The words of a choice by the kind that each makes."""
    found: dict[str, list[str]] = {}
    for word, kind in follows.kinds.items():
        found.setdefault(kind, []).append(word)
    return found


def _by_row(one: Calculator) -> str:
    """Of lists whose recorded rows can be said in part."""
    return "".join(
        f" A row of {name} is found by its {declared.key} and holds what differs from the record; null takes a "
        "recorded value away." + (" A new one, told in full, counts besides." if declared.may_add else "")
        for name, declared in one.params.items()
        if declared.key is not None
    )


def _inputs_shape(one: Calculator, *, whole: bool = True) -> dict[str, Any]:
    """The body of a door: `whole` where all must be told, else what may be said over the record."""
    required = [name for name, declared in one.params.items() if declared.required and whole]
    shape = _object_shape(params_of(one.inputs), required, whole)
    if not whole:
        named = {word: {"type": ["string", "null"], "description": NAMEABLE[word].doc} for word in one.names}
        shape["properties"] |= named
    return shape


def _object_shape(params: Mapping[str, Param], required: Sequence[str], whole: bool) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": {name: _param_shape(declared, whole) for name, declared in params.items()},
        "required": list(required),
        "additionalProperties": False,
    }


def _param_shape(declared: Param, whole: bool = True) -> dict[str, Any]:
    words = {"description": _words(declared)}
    if declared.part is not None:
        inner = params_of(declared.part)
        required = [name for name, one in inner.items() if one.required]
        if declared.key is not None and not whole:
            required = [declared.key]
        return {
            "type": ["array", "null"],
            "items": _object_shape(inner, required, whole),
            "maxItems": 100,
            **words,
        }
    if declared.follows is not None:
        offered = [ref(quantity_name(kind, sent=True)) for kind in _by_kind(declared.follows)]
        sent = described(
            {"anyOf": offered}, f"{declared.doc} Its units are those of '{declared.follows.choice}'."
        )
        return sent if declared.required else or_null(sent)
    if declared.is_quantity:
        sent = described(ref(quantity_name(declared.kind, sent=True)), declared.doc)
        return sent if declared.required else or_null(sent)
    if declared.kind == CHOICE:
        if declared.required:
            return {"type": "string", "enum": list(declared.choices), **words}
        return {"type": ["string", "null"], "enum": [*declared.choices, None], **words}
    kinds = {COUNT: "integer", YES_NO: "boolean"}
    return {"type": [kinds.get(declared.kind, "string"), "null"], **words}


def _page(one: Calculator) -> dict[str, Any]:
    return {
        "name": one.name,
        "title": one.title,
        "doc": one.doc,
        "doors": list(one.doors),
        "inputs": [_input_line(name, declared) for name, declared in one.params.items()],
        "names": [{"name": word, "doc": NAMEABLE[word].doc} for word in one.names],
        "results": [_result_line(result) for result in one.results],
        "limits": list(one.limits),
        "sources": [dataclasses.asdict(source) for source in one.sources],
        "example": {"inputs": dict(one.example), "answer": as_json(answer(one, one.example))},
    }


def _input_line(name: str, declared: Param) -> dict[str, Any]:
    line: dict[str, Any] = {
        "name": name,
        "doc": declared.doc,
        "kind": declared.kind,
        "required": declared.required,
    }
    if declared.follows is not None:
        line["follows"] = declared.follows.choice
        line["as"] = {
            word: {"kind": kind, **_units_and_bounds(declared.settled({declared.follows.choice: word}))}
            for word, kind in declared.follows.kinds.items()
        }
    if declared.is_quantity:
        line |= _units_and_bounds(declared)
    if declared.choices:
        line["choices"] = list(declared.choices)
    if declared.part is not None:
        line["fields"] = [_input_line(inner, one) for inner, one in params_of(declared.part).items()]
    return line


def _units_and_bounds(declared: Param) -> dict[str, Any]:
    return {
        "units": [unit.name for unit in KINDS[declared.kind].units],
        "bounds": {
            bound: Quantity(value, KINDS[declared.kind].si).to(declared.shown_in, declared.kind).as_json()
            for bound in ("gt", "ge", "lt", "le")
            if (value := getattr(declared, bound)) is not None
        },
    }


def _result_line(result: Result) -> dict[str, Any]:
    line: dict[str, Any] = {
        "name": result.name,
        "doc": result.doc,
        "kind": result.kind,
        "unit": result.shown_in,
    }
    if result.follows is not None:
        line["follows"] = result.follows.choice
        line["as"] = {
            word: {"kind": kind, "unit": KINDS[kind].default} for word, kind in result.follows.kinds.items()
        }
    if result.fields:
        line["fields"] = [_result_line(one) for one in result.fields]
    return line


def _as_query(example: Mapping[str, Any], one: Calculator) -> dict[str, str]:
    """The worked example's single values, as a query writes them."""
    return {
        name: str(value).lower() if isinstance(value, bool) else str(value)
        for name, value in example.items()
        if one.params[name].single
    }


def _what_if(one: Calculator) -> dict[str, Any]:
    """What the record must be told, and the first quantity of the worked example, as a what-if."""
    name = next(name for name, declared in one.params.items() if declared.is_quantity and name in one.example)
    return {**one.asks, name: one.example[name]}
