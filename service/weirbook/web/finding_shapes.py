"""Documented shapes of findings."""

from __future__ import annotations

from weirbook.actions.finding import About, Verdict
from weirbook.web.shapes import COUNT, INSTANT, QUANTITY, TEXT, Shape, described, many, or_null, ref, thing

FINDINGS = ref("Findings")
FINDING_COLUMNS = (
    "verdict",
    "about",
    "system",
    "place",
    "subject",
    "value",
    "value_unit",
    "limit",
    "limit_unit",
    "reason",
    "since",
    "origin",
)
VERDICT = {"type": "string", "enum": [one.value for one in Verdict]}

SHAPES: dict[str, Shape] = {
    "Findings": thing(
        {
            "verdict": described(VERDICT, "The worst of those listed; unknown where nothing can be judged"),
            "counts": described(thing(dict.fromkeys(Verdict, COUNT)), "How many of each"),
            "items": described(many(ref("Finding")), "Worst first"),
        }
    ),
    "Finding": thing(
        {
            "verdict": described(VERDICT, "What it comes to"),
            "about": described(
                {"type": "string", "enum": [one.value for one in About]},
                "What was judged",
            ),
            "system": described(or_null(TEXT), "Handle of the system; null for the room"),
            "place": described(TEXT, "Where, as a path"),
            "subject": described(
                TEXT,
                "Handle of the gauge, pump, tank, sump or section, id of the task, planting or water change, name of the "
                "follower, the parameter judged or wanted, or filter",
            ),
            "value": described(or_null(QUANTITY), "What was found; null: nothing to show"),
            "limit": described(or_null(QUANTITY), "What it was held against; null: none"),
            "reason": described(TEXT, "Why, in words, and what to do or to record"),
            "since": described(or_null(INSTANT), "Since when, or of when the value is"),
            "origin": described(TEXT, "Path of the reading, answer or record that it came from"),
        }
    ),
}
"""Shapes that the document names once, under components."""
