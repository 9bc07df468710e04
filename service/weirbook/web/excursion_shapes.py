"""Documented shape of the stretches outside target."""

from __future__ import annotations

from weirbook.web.shapes import (
    GAUGE,
    INSTANT,
    NUMBER,
    TEXT,
    UNIT,
    Shape,
    described,
    many,
    or_null,
    ref,
    thing,
)

EXCURSIONS = thing({"items": many(ref("Excursion"))})

_ROW: dict[str, Shape] = {
    "gauge": GAUGE,
    "system": described(or_null(TEXT), "Handle of the system it was in; null for the room"),
    "place": described(TEXT, "The gauge's place as its path"),
    "parameter": described(TEXT, "What it measures"),
    "unit": UNIT,
    "side": described({"type": "string", "enum": ["below", "above"]}, "Which end of the target it left"),
    "start": described(INSTANT, "Where the value crossed it, on the line between two readings"),
    "end": described(or_null(INSTANT), "When it had come back; null: no reading says so yet"),
    "worst": described(NUMBER, "The reading farthest outside"),
    "worst_at": described(INSTANT, "When that was"),
    "minutes": described(
        or_null(NUMBER),
        "Time beyond the target itself, as far as readings cover it; null where they don't join in time",
    ),
    "lasted_minutes": described(NUMBER, "From start to end, or to now"),
    "last_seen": described(INSTANT, "The last reading that told of it"),
    "target_low": described(or_null(NUMBER), "Lower end of the target of that time; null: open"),
    "target_high": described(or_null(NUMBER), "Upper end of the target of that time; null: open"),
    "target": described(or_null({"type": "string", "format": "uuid"}), "Id of that target"),
}
EXCURSION_COLUMNS = tuple(_ROW)
SHAPES: dict[str, Shape] = {"Excursion": thing(_ROW)}
"""Shapes that the document names once, under components."""
