"""Documented shapes of what came before a trouble."""

from __future__ import annotations

from weirbook.web.shapes import (
    COUNT,
    INSTANT,
    NUMBER,
    QUANTITY,
    TEXT,
    Shape,
    described,
    many,
    or_null,
    ref,
    thing,
)
from weirbook.web.timeline_shapes import LINE

WHAT_CHANGED = ref("WhatChanged")
FACTOR = {
    "weight": described(NUMBER, "What its aspect weighs, 0 to 10"),
    "unusual": described(
        NUMBER, "How unusual it is here: 0.3 as always, 1 not out of the way, 3 never before"
    ),
    "near": described(NUMBER, "How near it lies: 1 within the days in which such things show, then halved"),
    "fits": described(NUMBER, "1.5 where it goes with a cause recorded for the losses, else 1"),
    "order": described(NUMBER, "0.25 where it began only after the losses of these days, else 1"),
}
SUSPECT: dict[str, Shape] = {
    "rank": described(COUNT, "1 is the first to look at"),
    "score": described(NUMBER, "The product of its factors: an order to look in, not a likelihood"),
    "aspect": described(TEXT, "As what it is weighed"),
    "at": described(INSTANT, "When the first of it happened or began"),
    "to": described(or_null(INSTANT), "When the last of it happened or ended; null: it goes on"),
    "times": described(COUNT, "How many lines of the timeline it gathers"),
    "kind": LINE["kind"],
    "place": LINE["place"],
    "words": described(TEXT, "What happened"),
    "reasons": described(many(TEXT), "Why it stands where it stands"),
    "factors": described(thing(FACTOR), "What its score is the product of"),
    "path": described(TEXT, "Where the last of it can be read"),
    "noun": LINE["noun"],
    "who": LINE["who"],
}
MOVED: dict[str, Shape] = {
    "gauge": described(TEXT, "Handle of the gauge"),
    "parameter": described(TEXT, "What it measures"),
    "place": described(TEXT, "Its place as its path"),
    "what": described(
        {"type": "string", "enum": ["mean", "low", "high", "test"]},
        "Of a sensor the mean, lowest or highest of days of 24 hours that end with the look; of a gauge by hand its tests",
    ),
    "usual": described(QUANTITY, "The middle one of the weeks before"),
    "spread": described(QUANTITY, "Their median absolute deviation × 1.4826"),
    "usual_of": described(COUNT, "How many days or tests that is"),
    "recent": described(QUANTITY, "The farthest of these days"),
    "far": described(or_null(NUMBER), "Distance in spreads; null where nothing scattered before"),
    "since": described(INSTANT, "The first that lay as far to that side"),
    "times": described(COUNT, "How many lay so far"),
    "level_moved_at": described(
        or_null(INSTANT),
        "When a sensor's level moved, where a move fits far better than none; null: it can't be told",
    ),
    "level_moved_by": described(
        or_null(many(NUMBER)), "By how much, low and high of a 90 % interval, in the gauge's unit"
    ),
    "words": TEXT,
}
COLUMNS = (
    "section",
    "rank",
    "score",
    "at",
    "to",
    "kind",
    "place",
    "words",
    "reasons",
    "path",
    "noun",
    "who",
)

SHAPES: dict[str, Shape] = {
    "WhatChanged": thing(
        {
            "system": described(TEXT, "Handle of the system"),
            "from": described(INSTANT, "The look begins here"),
            "before": described(INSTANT, "The time of the trouble"),
            "history_days": described(
                NUMBER, "Days of record before the look that tell what is usual; a year at most"
            ),
            "says": described(
                many(TEXT),
                "What to look at first, and how to ask where the losses began earlier, in sentences",
            ),
            "losses": described(
                many(ref("TimelineLine")), "Fish that died or went missing in these days: facts"
            ),
            "seen": described(many(ref("TimelineLine")), "What the journal saw and noted in these days"),
            "suspects": described(many(ref("Suspect")), "What came before, the first to look at first"),
            "moved": described(
                many(ref("MovedReading")), "Readings far from what was usual, the farthest first"
            ),
            "quiet": described(many(TEXT), "What was looked at and found as usual, or found to be nothing"),
            "unknown": described(many(TEXT), "What the record can't tell"),
            "weights": described(
                many(
                    thing(
                        {
                            "aspect": TEXT,
                            "weight": NUMBER,
                            "days": described(NUMBER, "Within how many days such a thing usually shows"),
                            "causes": described(many(TEXT), "Causes of loss that it goes with"),
                        }
                    )
                ),
                "By what was ranked: common practice, no source",
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
    "Suspect": thing(SUSPECT),
    "MovedReading": thing(MOVED),
}
"""Shapes that the document names once, under components."""
