"""Documented shapes of a system's timeline."""

from __future__ import annotations

from weirbook.actions.timeline import KINDS
from weirbook.web.shapes import FLAG, INSTANT, TEXT, Shape, described, many, or_null, ref, thing

TIMELINE = ref("Timeline")
LINE: dict[str, Shape] = {
    "at": described(INSTANT, "When it happened or began"),
    "to": described(or_null(INSTANT), "End of a stretch; null for an instant, and for what goes on"),
    "goes_on": described(FLAG, "A stretch that nothing has ended yet"),
    "kind": described({"type": "string", "enum": list(KINDS)}, "What kind of thing it is"),
    "place": described(TEXT, "Where, as a path; room: it concerns every system"),
    "words": described(TEXT, "What happened, in a sentence"),
    "path": described(TEXT, "Where the record can be read"),
    "noun": described(TEXT, "The kind of record"),
    "who": described(or_null(TEXT), "Who told it; null: nobody did, or it is not recorded"),
}
LINE_COLUMNS = tuple(LINE)
SHAPES: dict[str, Shape] = {
    "Timeline": thing(
        {
            "system": described(TEXT, "Handle of the system"),
            "from": described(INSTANT, "From here on"),
            "to": described(INSTANT, "Up to, but without, this instant; never ahead of now"),
            "items": described(many(ref("TimelineLine")), "Oldest first"),
        }
    ),
    "TimelineLine": thing(LINE),
}
"""Shapes that the document names once, under components."""
