"""Documented shapes of what is due, of occurrences and completions."""

from __future__ import annotations

from weirbook.web.shapes import COUNT, INSTANT, TEXT, Shape, described, many, or_null, ref, thing

COMPLETION_SENT = ref("CompletionSent")
DUE_LIST = thing(
    {"on": described({"type": "string", "format": "date"}, "The day asked for"), "items": many(ref("Due"))}
)
OCCURRENCE_LIST = thing({"items": many(ref("Occurrence"))})
SCHEDULES = thing({"items": many(ref("ScheduleSpan"))})
OCCURRENCE = described(TEXT, "Which occurrence: the name that a completion gives")
DUE_LOCAL = described(TEXT, "The same by the room's clock, like 2026-11-29T10:00")
_DUE: dict[str, Shape] = {
    "task": described({"type": "string", "format": "uuid"}, "The task's id"),
    "title": TEXT,
    "about": described(or_null(TEXT), "Its place as its path; null: none"),
    "helper": described(or_null(TEXT), "Handle of the helper whose work it is"),
    "instructions": described(or_null(TEXT), "How it is done"),
    "expected_minutes": described(or_null(COUNT), "How long it usually takes"),
    "occurrence": OCCURRENCE,
    "due": described(INSTANT, "When it is due"),
    "due_local": DUE_LOCAL,
    "state": described(
        {"type": "string", "enum": ["due", "overdue"]}, "overdue: past what its window allows"
    ),
    "late_minutes": described(COUNT, "Minutes since it was due; 0 if it is still to come"),
    "opens_at": described(INSTANT, "From when it may be done"),
    "overdue_from": described(INSTANT, "From when it is overdue"),
    "earlier_open": described(COUNT, "Open occurrences of the same task before this one"),
}
DUE_COLUMNS = tuple(_DUE)
"""The due list's columns, in the order of its CSV."""


SHAPES: dict[str, Shape] = {
    "Due": thing(_DUE),
    "Occurrence": thing(
        {
            "occurrence": OCCURRENCE,
            "due": described(INSTANT, "When it is due"),
            "due_local": DUE_LOCAL,
            "state": described(
                {"type": "string", "enum": ["done", "skipped", "upcoming", "due", "overdue"]},
                "What became of it, or where it stands now",
            ),
            "completion": described(or_null(ref("Completion")), "null: it is open"),
        }
    ),
    "ScheduleSpan": thing(
        {
            "schedule": described(
                {"type": "object", "additionalProperties": TEXT},
                "kind, and due, or rule and start, or every and start",
            ),
            "time_zone": described(TEXT, "IANA zone whose clock its times are"),
            "from": described(INSTANT, "Since when it holds"),
            "to": described(or_null(INSTANT), "Not itself within; null: it still holds"),
        }
    ),
    "CompletionSent": {"additionalProperties": False}
    | thing(
        {
            "id": described({"type": "string", "format": "uuid"}, "An id of your own, for late retries"),
            "occurrence": OCCURRENCE,
            "outcome": described({"type": "string", "enum": ["done", "skipped"]}, "done if not said"),
            "done_at": described(INSTANT, "When it was done, never ahead of now; now if not said"),
            "by": described(or_null(TEXT), "Handle of the helper who did it"),
            "note": described(or_null({"type": "string", "maxLength": 5000}), "What there is to say"),
            "readings": described(
                {"type": ["array", "null"], "items": ref("ReadingSent"), "maxItems": 200},
                "Readings taken along; `at` is done_at if not said",
            ),
        },
        optional=("id", "outcome", "done_at", "by", "note", "readings"),
    ),
}
"""Shapes that the document names once, under components."""
