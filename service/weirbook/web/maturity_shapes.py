"""Documented shapes of how settled a system is."""

from __future__ import annotations

from weirbook.actions.judge_maturity import HALF_WAY, MET, NOT_MET, STEADY, UNKNOWN, UNSETTLED, YOUNG
from weirbook.web.shapes import NUMBER, TEXT, Shape, described, many, or_null, ref, thing

MATURITY = ref("Maturity")
DATE: Shape = {"type": "string", "format": "date"}
CRITERION: dict[str, Shape] = {
    "name": described(TEXT, "What is looked at"),
    "state": described(
        {"type": "string", "enum": [MET, NOT_MET, UNKNOWN]},
        "Whether it is as in a steady system; unknown speaks for nothing",
    ),
    "value": described(TEXT, "What was found, in short; empty: nothing"),
    "words": described(TEXT, "How that is known"),
    "path": described(TEXT, "Where the record behind it can be read; empty: there is none"),
}
CRITERION_COLUMNS = ("verdict", *CRITERION)
_EVENT = thing(
    {
        "on": DATE,
        "what": described(TEXT, "set-up, reset, new-substrate, dry-spell or old-media"),
        "words": TEXT,
        "path": described(TEXT, "Where it can be read"),
    }
)

SHAPES: dict[str, Shape] = {
    "Maturity": thing(
        {
            "system": described(TEXT, "Handle of the system"),
            "verdict": described(
                {"type": "string", "enum": [YOUNG, HALF_WAY, STEADY, UNSETTLED, UNKNOWN]},
                "Never more certain than the record",
            ),
            "reasons": described(many(TEXT), "Why, in sentences"),
            "set_up_on": described(
                or_null(DATE), "The earliest of its tanks, or of entries tagged set-up; null: not recorded"
            ),
            "weeks_since_set_up": described(
                or_null(NUMBER), "Full weeks since the set-up; null: not recorded"
            ),
            "last_reset_on": described(or_null(DATE), "null: none recorded"),
            "weeks_since_reset": described(
                or_null(NUMBER), "Full weeks since the last reset; null: none recorded"
            ),
            "weeks_counted": described(
                or_null(NUMBER), "Since the set-up or reset, less what a new substrate or a dry spell cost"
            ),
            "events": described(many(_EVENT), "What bears on its age, oldest first"),
            "criteria": described(many(ref("MaturityCriterion")), "Each with its value"),
            "missing": described(many(TEXT), "What the record lacks"),
            "stages": described(
                many(thing({"name": TEXT, "from_weeks": NUMBER})),
                "Common practice, no source; shortened where old media came along",
            ),
            "assumptions": described(
                many(thing({"text": TEXT, "origin": TEXT})), "What was taken for granted"
            ),
            "cautions": described(
                many(thing({"code": TEXT, "text": TEXT, "limit": or_null(TEXT)})), "What to beware of"
            ),
            "sources": described(many(ref("Source")), "Where methods come from"),
        }
    ),
    "MaturityCriterion": thing(CRITERION),
}
"""Shapes that the document names once, under components."""
