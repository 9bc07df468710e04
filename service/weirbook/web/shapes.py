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


def ref(name: str) -> Shape:
    """What stands under that name in SHARED, or is made for a schema or a kind of quantity."""
    return {"$ref": f"#/components/schemas/{name}"}


QUANTITY = ref("Quantity")


def described(shape: Shape, words: str) -> Shape:
    return {**shape, "description": words}


def or_null(shape: Shape) -> Shape:
    """The shape, or null; its description stays outside."""
    if isinstance(shape.get("type"), str) and "enum" not in shape:
        return {**shape, "type": [shape["type"], "null"]}
    if isinstance(shape.get("type"), list):
        return {**shape, "type": [*dict.fromkeys([*shape["type"], "null"])]}
    outside: Shape = {name: shape[name] for name in ("description", "readOnly") if name in shape}
    inside = {name: value for name, value in shape.items() if name not in outside}
    offered = inside["anyOf"] if inside.keys() == {"anyOf"} else [inside]
    return {"anyOf": [*offered, *([] if {"type": "null"} in offered else [{"type": "null"}])], **outside}


def thing(properties: Mapping[str, Shape], *, optional: Sequence[str] = ()) -> Shape:
    """An object that has all of these but the optional ones."""
    return {
        "type": "object",
        "required": [name for name in properties if name not in optional],
        "properties": dict(properties),
    }


def many(shape: Shape) -> Shape:
    return {"type": "array", "items": shape}


GAUGE = described(TEXT, "Handle of the gauge")
UNIT = described(TEXT, "Exact unit name of the values beside it")
QUALIFIER = described(
    or_null({"type": "string", "enum": ["below", "above", "between"]}),
    "below and above a bound, between two, or null for a plain value",
)
IMPLAUSIBLE_FLAG = described(FLAG, "Outside the gauge's plausible range: not in statistics")
IMPLAUSIBLE_COUNT = described(COUNT, "Readings outside the gauge's plausible range: not in the statistics")
QUALIFIED_COUNT = described(COUNT, "Readings below, above or between: they count at their bound or middle")
TIME_WEIGHTED = described(FLAG, "Whether the mean is weighted by time; if not, each reading counts alike")
COVERED = described(or_null(NUMBER), "Share of the time that readings cover; null where not weighted by time")
LOW, HIGH = described(or_null(NUMBER), "Lowest"), described(or_null(NUMBER), "Highest")
MEAN, LAST = (
    described(or_null(NUMBER), "Mean; see time_weighted"),
    described(or_null(NUMBER), "The last value"),
)

READINGS_BODY: Shape = {
    "oneOf": [
        ref("ReadingSent"),
        {"additionalProperties": False}
        | thing({"readings": {"type": "array", "items": ref("ReadingSent"), "minItems": 1}}),
    ]
}
READING_LINES: Shape = {
    "type": "string",
    "description": "One reading a line, each a ReadingSent with `at`.",
    "example": '{"gauge": "nursery-temperature", "value": 24.6, "at": "2026-11-24T18:00:00Z"}\n'
    '{"gauge": "nursery-temperature", "value": 24.5, "at": "2026-11-24T18:10:00Z"}\n',
}
TAKEN = ref("Taken")
READINGS_PAGE = thing(
    {
        "items": many({"anyOf": [ref("Reading"), ref("Statistic")]}),
        "next": described(or_null(TEXT), "Cursor of the next page; null on the last"),
    }
)
LATEST = ref("Latest")
LATEST_LIST = thing({"items": many(LATEST)})
SUMMARY = ref("WeeklySummary")
STATES = thing({"items": many(ref("State"))})
ANSWER = ref("Answer")
CALCULATOR_LIST = thing({"items": many(ref("CalculatorLine"))})
CALCULATOR_PAGE = ref("Calculator")
UNIT_LIST = thing({"items": many(ref("Kind"))})
PARAMETER = ref("ListedParameter")
PARAMETER_LIST = thing({"items": many(PARAMETER)})

_ROW_OF_THE_WEEK: dict[str, Shape] = {
    "system": described(or_null(TEXT), "Handle of the system; null for the room"),
    "place": described(TEXT, "The gauge's place as its path"),
    "parameter": described(TEXT, "What it measures"),
    "gauge": GAUGE,
    "unit": UNIT,
    "count": described(COUNT, "Readings in the week"),
    "min": LOW,
    "mean": MEAN,
    "max": HIGH,
    "last": LAST,
    "last_at": described(or_null(INSTANT), "When the last was taken"),
    "time_weighted": TIME_WEIGHTED,
    "covered_percent": COVERED,
    "target_low": described(or_null(NUMBER), "Lower end of the target at the week's end; null: open or none"),
    "target_high": described(
        or_null(NUMBER), "Upper end of the target at the week's end; null: open or none"
    ),
    "minutes_outside": described(or_null(NUMBER), "Minutes outside the target; null where no target held"),
    "qualified": QUALIFIED_COUNT,
    "implausible": IMPLAUSIBLE_COUNT,
}
_CALCULATOR_LINE: dict[str, Shape] = {
    "name": described(TEXT, "As it stands in paths"),
    "title": TEXT,
    "doc": described(TEXT, "What it computes"),
    "doors": described(many(TEXT), "Places whose record can fill it: systems, tanks, sumps"),
}
_SOURCE: dict[str, Shape] = {
    "author": described(TEXT, "Who published it"),
    "year": described(or_null({"type": "integer"}), "When; null if the work bears no year"),
    "title": TEXT,
    "where": described(TEXT, "Table, equation or chapter"),
    "note": described(TEXT, "How it is used here; may be empty"),
}
SHARED: dict[str, Shape] = {
    "Quantity": {
        **thing(
            {
                "value": described(NUMBER, "The number"),
                "unit": described(TEXT, "An exact unit name, listed at /v1/units"),
            }
        ),
        "example": {"value": 72, "unit": "in"},
    },
    "ReadingSent": {"additionalProperties": False}
    | thing(
        {
            "gauge": described(or_null(TEXT), "Handle of a gauge; or give place and parameter"),
            "place": described(or_null(TEXT), "A place as its path, like tanks/nursery"),
            "parameter": described(or_null(TEXT), "One of /v1/parameters"),
            "value": {
                "type": ["number", "string", "boolean"],
                "description": 'A number, "<0.05", ">160", "10..20"; on or off for a contact',
            },
            "unit": described(or_null(TEXT), "Of the value; the gauge's if not said"),
            "at": described(
                or_null(INSTANT), "When, with offset; now if not said, for a single reading only"
            ),
        },
        optional=("gauge", "place", "parameter", "unit", "at"),
    ),
    "Taken": thing(
        {
            "lines": described(
                COUNT, "Of readings sent as lines: how many lines there were, blank ones among them"
            ),
            "stored_to_line": described(COUNT, "Of readings sent as lines: up to this line all is done"),
            "sent": described(COUNT, "All: stored, repeated and refused"),
            "stored": described(COUNT, "Now in the record"),
            "repeated": described(COUNT, "There already, the same"),
            "refused": described(COUNT, "Not stored; see refusals"),
            "flagged": described(COUNT, "Of those stored, outside the gauge's plausible range"),
            "corrected": described(COUNT, "Of those stored, put in place of another value"),
            "made_gauges": described(many(TEXT), "Handles of gauges made at first use"),
            "refusals": described(
                many(ref("ProblemRefusal")),
                "Each row that was not stored, and why; of lines the first thousand",
            ),
        },
        optional=("lines", "stored_to_line"),
    ),
    "Reading": thing(
        {
            "gauge": GAUGE,
            "at": described(INSTANT, "When it was taken"),
            "value": described(NUMBER, "The corrected value; of a range its middle; 1 and 0 for on and off"),
            "as_taken": described(NUMBER, "The value as it was posted, before the gauge's offset"),
            "unit": UNIT,
            "qualifier": QUALIFIER,
            "low": described(or_null(NUMBER), "Lower bound of a range"),
            "high": described(or_null(NUMBER), "Upper bound of a range"),
            "implausible": IMPLAUSIBLE_FLAG,
            "excluded": described(FLAG, "In a span kept out of statistics"),
        }
    ),
    "Statistic": thing(
        {
            "gauge": GAUGE,
            "from": described(INSTANT, "Start of the step"),
            "to": described(INSTANT, "Its end, which belongs to the next"),
            "unit": UNIT,
            "count": described(COUNT, "Readings in the step"),
            "min": LOW,
            "mean": MEAN,
            "max": HIGH,
            "last": LAST,
            "time_weighted": TIME_WEIGHTED,
            "covered_percent": COVERED,
            "qualified": QUALIFIED_COUNT,
            "implausible": IMPLAUSIBLE_COUNT,
        }
    ),
    "Latest": thing(
        {
            "gauge": GAUGE,
            "place": described(TEXT, "Its place as its path"),
            "parameter": described(TEXT, "What it measures"),
            "value": described(or_null(NUMBER), "The corrected value; null: it never reported"),
            "as_taken": described(or_null(NUMBER), "As it was posted, before the gauge's offset"),
            "unit": UNIT,
            "qualifier": QUALIFIER,
            "at": described(or_null(INSTANT), "When it was taken"),
            "age_minutes": described(or_null(NUMBER), "How long ago that is"),
            "target_low": described(or_null(NUMBER), "Lower end of the target in force; null: open or none"),
            "target_high": described(or_null(NUMBER), "Upper end of the target in force; null: open or none"),
            "in_target": described(or_null(FLAG), "null: no target in force, or no reading that can tell"),
            "silent": described(or_null(FLAG), "null: the gauge reports at no fixed pace"),
            "stuck": described(
                or_null(FLAG),
                "It reported for a day and moved no farther than its resolution; null: can't be told",
            ),
            "implausible": IMPLAUSIBLE_FLAG,
            "excluded": described(FLAG, "In a span kept out of statistics"),
        }
    ),
    "WeeklySummary": thing(
        {
            "week": described(TEXT, "ISO week, like 2026-W47"),
            "from": described(INSTANT, "Monday's midnight in the room"),
            "to": described(INSTANT, "The next Monday's; the figures of a running week reach to now"),
            "complete": described(FLAG, "false: the week is still running"),
            "rows": described(many(ref("WeeklyRow")), "One row a gauge"),
            "silent": described(many(ref("SilentGauge")), "Gauges that had fallen silent at the week's end"),
            "notes": described(many(ref("WeeklyNote")), "What the journal holds of the week"),
            "tasks": described(ref("WeeklyTasks"), "The week's routine work"),
            "living": described(ref("WeeklyLiving"), "Fish, food, changes, quarantines and plants"),
        }
    ),
    "WeeklyTasks": thing(
        {
            "done": described(COUNT, "Occurrences done in the week"),
            "skipped": described(COUNT, "Occurrences skipped in the week"),
            "overdue": described(COUNT, "Occurrences overdue at its end, or now while it runs"),
            "overdue_tasks": described(many(ref("OverdueTask")), "Tasks of these that are open to this day"),
        }
    ),
    "OverdueTask": thing(
        {
            "task": described({"type": "string", "format": "uuid"}, "The task's id"),
            "title": TEXT,
            "about": described(or_null(TEXT), "Its place as its path; null: none"),
            "helper": described(or_null(TEXT), "Handle of the helper whose work it is"),
            "due": described(INSTANT, "When the oldest of them was due"),
            "times": described(COUNT, "How many occurrences of it are overdue"),
        }
    ),
    "WeeklyRow": thing({name: _ROW_OF_THE_WEEK[name] for name in SUMMARY_COLUMNS}),
    "SilentGauge": thing(
        {
            "gauge": GAUGE,
            "place": described(TEXT, "Its place as its path"),
            "parameter": described(TEXT, "What it measures"),
            "last_at": described(or_null(INSTANT), "When it last reported; null: never"),
            "silent_minutes": described(or_null(COUNT), "Since then, to the week's end"),
        }
    ),
    "WeeklyNote": thing(
        {
            "id": TEXT,
            "at": described(INSTANT, "When it happened"),
            "place": described(TEXT, "Where, as a path"),
            "kind": described(TEXT, "note, observation, change and the like"),
            "author": described(TEXT, "Who wrote it"),
            "words": TEXT,
        }
    ),
    "State": thing(
        {
            "state": described(TEXT, "Which of the thing's states"),
            "value": {"description": "What held: a handle, a word, true or false, seconds, or null"},
            "from": described(or_null(INSTANT), "null: from the beginning"),
            "to": described(or_null(INSTANT), "Not itself within; null: it still holds"),
        }
    ),
    "Answer": thing(
        {
            "calculator": described(TEXT, "Which one answered"),
            "inputs": described(
                {
                    "type": "object",
                    "additionalProperties": thing(
                        {
                            "value": {"description": "As used"},
                            "unit": TEXT,
                            "origin": described(TEXT, "given, record, default or common practice"),
                            "note": described(TEXT, "Where in the record it was found"),
                        },
                        optional=("unit", "note"),
                    ),
                },
                "Each input by name, where it came from and, of the record, where it was found",
            ),
            "results": described(
                {"type": "object"},
                "By name: quantities with their unit, lists of rows, null where there is none",
            ),
            "steps": described(
                many(thing({"words": TEXT, "working": TEXT, "gives": QUANTITY})),
                "Each formula in words, the same with its numbers, and what it gives",
            ),
            "assumptions": described(
                many(thing({"text": TEXT, "origin": TEXT})), "What was taken for granted, and on whose word"
            ),
            "cautions": described(
                many(thing({"code": TEXT, "text": TEXT, "limit": or_null(TEXT)})),
                "What to beware of: a word for programs, words for people, the bound it speaks of",
            ),
            "sources": described(many(ref("Source")), "Where formulas and figures come from"),
        }
    ),
    "Source": thing(_SOURCE),
    "CalculatorLine": thing(_CALCULATOR_LINE),
    "Calculator": thing(
        {
            **_CALCULATOR_LINE,
            "inputs": described(
                many({"type": "object"}),
                "Name, words, kind, whether required, units, bounds, choices; if the kind follows a choice, "
                "kind, units and bounds as each of its words makes them",
            ),
            "names": described(
                many(thing({"name": TEXT, "doc": TEXT})),
                "Words by which a question to the record can name one of its records, which then tells some inputs",
            ),
            "results": described(
                many({"type": "object"}), "Name, words, kind, unit; if these follow a choice, as for inputs"
            ),
            "limits": described(many(TEXT), "What it is good for, and what it leaves out"),
            "sources": described(many(ref("Source")), "Where its formulas and figures come from"),
            "example": described(thing({"inputs": {"type": "object"}, "answer": ANSWER}), "A worked example"),
        }
    ),
    "Kind": thing(
        {
            "kind": described(TEXT, "The kind of quantity, as preferred_units and own parameters name it"),
            "words": TEXT,
            "default": described(TEXT, "The unit answers are shown in"),
            "units": described(
                many(thing({"name": TEXT, "aliases": many(TEXT), "words": TEXT})),
                "Exact names; aliases are accepted and come back by name",
            ),
        }
    ),
    "ListedParameter": thing(
        {
            "handle": described(TEXT, "As gauges and targets name it"),
            "name": described(TEXT, "In words"),
            "kind": described(TEXT, "Kind of quantity, of /v1/units"),
            "units": described(many(TEXT), "Units accepted, the usual one first"),
            "possible_low": described(or_null(QUANTITY), "Readings below are refused"),
            "possible_high": described(or_null(QUANTITY), "Readings above are refused"),
            "join": described(
                {"type": "string", "enum": ["line", "hold", "plain"]},
                "Between readings: a straight line, the earlier value, or no time weight",
            ),
            "own": described(FLAG, "Added by the keeper"),
        }
    ),
}
"""Shapes that the document names once, under components."""
