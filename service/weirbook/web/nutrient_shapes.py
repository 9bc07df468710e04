"""Documented shapes of nutrients, predicted and measured."""

from __future__ import annotations

from weirbook.actions.compare_nutrients import FLOWS, NAMES
from weirbook.web.shapes import (
    FLAG,
    INSTANT,
    QUANTITY,
    TEXT,
    Shape,
    described,
    many,
    or_null,
    ref,
    thing,
)

NUTRIENTS = ref("Nutrients")
DATE: Shape = {"type": "string", "format": "date"}
_TERMS: dict[str, Shape] = {
    name: described(
        QUANTITY, f"{'In' if index < 5 else 'Out'} by {NAMES[name]}, as the element, in the likely case"
    )
    for index, name in enumerate(FLOWS)
}
_WEEK: dict[str, Shape] = {
    "week": described(TEXT, "ISO week of the room"),
    "from": described(DATE, "Its first day that is followed"),
    "to": described(DATE, "Its last"),
    "fed": described(QUANTITY, "Food of all tanks, as fed"),
    "water_changed": described(QUANTITY, "Replaced by changes and by the drip"),
    **_TERMS,
    "predicted_low": described(QUANTITY, "Least that the record leads to"),
    "predicted": described(QUANTITY, "Likely, at the week's last test or its end"),
    "predicted_high": described(QUANTITY, "Most that the record leads to"),
    "measured": described(or_null(QUANTITY), "Its last test; null: none"),
    "measured_at": described(or_null(INSTANT), "When that was"),
    "qualifier": described(
        or_null({"type": "string", "enum": ["below", "above", "between"]}),
        "How the test bounds its value; null: it tells it",
    ),
    "unexplained": described(
        or_null(QUANTITY), "Measured less what the test before it leads to; null where a test tells no value"
    ),
    "in_band": described(or_null(FLAG), "Whether the test fits the band, by its own error; null: no test"),
}
_QUANTITIES = {
    "fed",
    "water_changed",
    *FLOWS,
    "predicted_low",
    "predicted",
    "predicted_high",
    "measured",
    "unexplained",
}
WEEK_COLUMNS = (
    "parameter",
    *(column for name in _WEEK for column in ((name, f"{name}_unit") if name in _QUANTITIES else (name,))),
)

SHAPES: dict[str, Shape] = {
    "FedFish": thing(
        {
            "mass": described(
                or_null(QUANTITY), "Of all fish, by the ledger and their newest samples; null: unknown"
            ),
            "feed": described(
                or_null(QUANTITY), "Food on an average day, as fed; null: no ration is recorded"
            ),
            "share": described(or_null(QUANTITY), "Food a day as a share of the fish; null: unknown"),
            "words": described(TEXT, "How the mass is known, or why it is unknown"),
        }
    ),
    "Nutrients": thing(
        {
            "system": described(TEXT, "Handle of the system"),
            "from": described(DATE, "First day that is looked at"),
            "to": described(DATE, "Today, in the room"),
            "volume": described(QUANTITY, "All water that mixes, as now recorded"),
            "fish": described(ref("FedFish"), "What the fish weigh beside what they are fed"),
            "nitrate": described(or_null(ref("NutrientBalance")), "Null where it was never tested"),
            "phosphate": described(or_null(ref("NutrientBalance")), "Null where it was never tested"),
            "unknown": described(many(TEXT), "What can't be compared, and why"),
            "missing": described(many(TEXT), "What the record lacks; counted as none"),
            "steps": described(
                many(thing({"words": TEXT, "working": TEXT, "gives": QUANTITY})),
                "The likely case from the first test to today: each formula in words, with its numbers, and what it gives",
            ),
            "assumptions": described(
                many(thing({"text": TEXT, "origin": TEXT})), "What was taken for granted, and on whose word"
            ),
            "cautions": described(
                many(thing({"code": TEXT, "text": TEXT, "limit": or_null(TEXT)})), "What to beware of"
            ),
            "sources": described(many(ref("Source")), "Where formulas and figures come from"),
        }
    ),
    "NutrientBalance": thing(
        {
            "fits": described(
                or_null(FLAG), "Whether the last test fits what the record leads to; null where none can tell"
            ),
            "suggests": described(TEXT, "What the difference suggests, in words"),
            "what_changed": described(TEXT, "Which terms changed most from the first weeks to the last"),
            "start": described(
                thing(
                    {
                        "measured": described(QUANTITY, "The test it begins with"),
                        "measured_at": described(INSTANT, "When that was"),
                        "gauge": described(TEXT, "Handle of the gauge"),
                    }
                ),
                "Where it begins",
            ),
            "whole": described(thing(_TERMS), "Each term summed from the start to today"),
            "change": described(QUANTITY, "What came in less what left, as the element"),
            "weeks": described(many(ref("NutrientWeek")), "Week by week"),
        }
    ),
    "NutrientWeek": thing(_WEEK),
}
"""Shapes that the document names once, under components."""
