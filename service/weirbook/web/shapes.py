"""Documented shapes of bodies and answers that are no plain record, as JSON Schema."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from weirbook.actions.summarise_week import SUMMARY_COLUMNS

Shape = dict[str, Any]

TEXT: Shape = {"type": "string"}
NUMBER: Shape = {"type": "number"}
COUNT: Shape = {"type": "integer", "minimum": 0}
FLAG: Shape = {"type": "boolean"}
INSTANT: Shape = {"type": "string", "format": "date-time"}
QUANTITY: Shape = {
    "type": "object",
    "required": ["value", "unit"],
    "properties": {
        "value": {"type": "number", "description": "The number"},
        "unit": {"type": "string", "description": "An exact unit name, listed at /v1/units"},
    },
    "example": {"value": 72, "unit": "in"},
}


def described(shape: Shape, words: str) -> Shape:
    return {**shape, "description": words}


def or_null(shape: Shape) -> Shape:
    return {**shape, "type": [shape["type"], "null"]}


def thing(properties: Mapping[str, Shape], *, optional: Sequence[str] = ()) -> Shape:
    """An object that has all of these but the optional ones."""
    return {
        "type": "object",
        "required": [name for name in properties if name not in optional],
        "properties": dict(properties),
    }


def many(shape: Shape) -> Shape:
    return {"type": "array", "items": shape}


ONE_READING = {"additionalProperties": False} | thing(
    {
        "gauge": or_null(described(TEXT, "Handle of a gauge; or give place and parameter")),
        "place": or_null(described(TEXT, "A place as its path, like tanks/nursery")),
        "parameter": or_null(described(TEXT, "One of /v1/parameters")),
        "value": {
            "type": ["number", "string", "boolean"],
            "description": 'A number, "<0.05", ">160", "10..20"; on or off for a contact',
        },
        "unit": or_null(described(TEXT, "Of the value; the gauge's if not said")),
        "at": or_null(described(INSTANT, "When, with offset; now if not said, for a single reading only")),
    },
    optional=("gauge", "place", "parameter", "unit", "at"),
)
READINGS_BODY: Shape = {
    "oneOf": [
        ONE_READING,
        {"additionalProperties": False}
        | thing({"readings": {"type": "array", "items": ONE_READING, "minItems": 1}}),
    ]
}
TAKEN = thing(
    {
        "sent": COUNT,
        "stored": described(COUNT, "Now in the record"),
        "repeated": described(COUNT, "There already, the same"),
        "refused": described(COUNT, "Not stored; see refusals"),
        "flagged": described(COUNT, "Of those stored, outside the gauge's plausible range"),
        "corrected": described(COUNT, "Of those stored, put in place of another value"),
        "made_gauges": described(many(TEXT), "Gauges made at first use"),
        "refusals": many(
            thing(
                {
                    "index": COUNT,
                    "type": described(TEXT, "A word that a program can test, like unknown-gauge"),
                    "pointer": TEXT,
                    "message": TEXT,
                }
            )
        ),
    }
)
_READING = {
    "gauge": TEXT,
    "at": INSTANT,
    "value": described(NUMBER, "The value; of a range its middle"),
    "unit": TEXT,
    "qualifier": described({"type": ["string", "null"]}, "below, above, between or null"),
    "low": or_null(NUMBER),
    "high": or_null(NUMBER),
    "implausible": described(FLAG, "Outside the gauge's plausible range: not in statistics"),
    "excluded": described(FLAG, "In a span kept out of statistics"),
}
_STATISTIC = {
    "gauge": TEXT,
    "from": INSTANT,
    "to": INSTANT,
    "unit": TEXT,
    "count": COUNT,
    "min": or_null(NUMBER),
    "mean": described(or_null(NUMBER), "Weighted by time where time_weighted is true"),
    "max": or_null(NUMBER),
    "last": or_null(NUMBER),
    "time_weighted": FLAG,
    "covered_percent": or_null(NUMBER),
    "qualified": described(COUNT, "Readings below, above or between: they count at their bound or middle"),
    "implausible": COUNT,
}
READINGS_PAGE = thing(
    {
        "items": many({"anyOf": [thing(_READING), thing(_STATISTIC)]}),
        "next": or_null(described(TEXT, "Cursor of the next page")),
    }
)
LATEST = thing(
    {
        "gauge": TEXT,
        "place": TEXT,
        "parameter": TEXT,
        "value": or_null(NUMBER),
        "unit": TEXT,
        "qualifier": or_null(TEXT),
        "at": or_null(INSTANT),
        "age_minutes": or_null(NUMBER),
        "target_low": or_null(NUMBER),
        "target_high": or_null(NUMBER),
        "in_target": described(or_null(FLAG), "null: no target in force, or no reading"),
        "silent": described(or_null(FLAG), "null: the gauge reports at no fixed pace"),
        "implausible": FLAG,
    }
)
LATEST_LIST = thing({"items": many(LATEST)})

_SUMMARY_TYPES: dict[str, Shape] = {
    "system": or_null(TEXT),
    "count": COUNT,
    "last_at": or_null(INSTANT),
    "time_weighted": FLAG,
    "qualified": COUNT,
    "implausible": COUNT,
    **dict.fromkeys(("place", "parameter", "gauge", "unit"), TEXT),
}
SUMMARY = thing(
    {
        "week": TEXT,
        "from": INSTANT,
        "to": INSTANT,
        "complete": described(FLAG, "false: the week is still running, and ends at now"),
        "rows": many(thing({name: _SUMMARY_TYPES.get(name, or_null(NUMBER)) for name in SUMMARY_COLUMNS})),
        "silent": many(
            thing(
                {
                    "gauge": TEXT,
                    "place": TEXT,
                    "parameter": TEXT,
                    "last_at": or_null(INSTANT),
                    "silent_minutes": or_null(COUNT),
                }
            )
        ),
        "notes": many(thing(dict.fromkeys(("id", "at", "place", "kind", "author", "words"), TEXT))),
    }
)

ANSWER = thing(
    {
        "calculator": TEXT,
        "inputs": described(
            {"type": "object"}, "Each with its value, unit, origin and, from the record, where it was found"
        ),
        "results": described(
            {"type": "object"}, "By name; quantities with their unit, null where there is none"
        ),
        "steps": many(thing({"words": TEXT, "working": TEXT, "gives": QUANTITY})),
        "assumptions": many(thing({"text": TEXT, "origin": TEXT})),
        "cautions": many(thing({"code": TEXT, "text": TEXT, "limit": or_null(TEXT)})),
        "sources": many({"type": "object"}),
    }
)
CALCULATOR_LINE = thing({"name": TEXT, "title": TEXT, "doc": TEXT, "doors": many(TEXT)})
CALCULATOR_LIST = thing({"items": many(CALCULATOR_LINE)})
CALCULATOR_PAGE = thing(
    {
        "name": TEXT,
        "title": TEXT,
        "doc": TEXT,
        "doors": described(many(TEXT), "Place nouns whose record can fill it"),
        "inputs": many({"type": "object"}),
        "results": many({"type": "object"}),
        "limits": many(TEXT),
        "sources": many({"type": "object"}),
        "example": {"type": "object"},
    }
)
UNIT_LIST = thing(
    {
        "items": many(
            thing(
                {
                    "kind": TEXT,
                    "words": TEXT,
                    "default": described(TEXT, "The unit answers are shown in"),
                    "units": many(thing({"name": TEXT, "aliases": many(TEXT), "words": TEXT})),
                }
            )
        )
    }
)
PARAMETER = thing(
    {
        "name": TEXT,
        "words": TEXT,
        "kind": TEXT,
        "units": many(TEXT),
        "possible_low": {"anyOf": [QUANTITY, {"type": "null"}]},
        "possible_high": {"anyOf": [QUANTITY, {"type": "null"}]},
        "join": described(TEXT, "line, hold or plain: how readings join in time"),
        "own": described(FLAG, "Added by the keeper"),
    }
)
PARAMETER_LIST = thing({"items": many(PARAMETER)})
