"""Documented shapes of the outcomes of plantings."""

from __future__ import annotations

from weirbook.actions.plant_outcomes import HELD_DAYS
from weirbook.record.plants import GROWTH_FORMS, METHODS
from weirbook.web.shapes import (
    COUNT,
    FLAG,
    INSTANT,
    NUMBER,
    TEXT,
    Shape,
    described,
    many,
    or_null,
    ref,
    thing,
)

OUTCOMES = ref("PlantOutcomes")

_HELD = thing(
    {
        "share": described(NUMBER, "Share that held so long, 0 to 1"),
        "low": described(or_null(NUMBER), "Lower end of its 95 % interval"),
        "high": described(or_null(NUMBER), "Upper end"),
        "watched": described(
            or_null(NUMBER),
            "Fewest tries under watch up to that day: what the share rests on; null: all had ended by then",
        ),
        "method": described(TEXT, "How the interval was worked out"),
    }
)

SHAPES: dict[str, Shape] = {
    "PlantOutcomes": thing(
        {
            "by": described(many(TEXT), "What tries are told apart by"),
            "items": described(many(ref("PlantOutcome")), "The most often tried first"),
            "methods_compared": described(
                many(
                    thing(
                        {
                            "kind": described(TEXT, "Handle of the kind"),
                            "words": described(
                                TEXT, "How often each of two methods failed, as a plain sentence"
                            ),
                            "ask": described(TEXT, "Where to ask what chance may do: path and query"),
                        }
                    )
                ),
                "Kinds tried by several methods: the one most often tried beside each other one",
            ),
            "assumptions": described(many(TEXT), "What is counted how, and what it can't tell"),
            "sources": described(many(ref("Source")), "Where the method comes from"),
        }
    ),
    "PlantOutcome": thing(
        {
            "kind": described(or_null(TEXT), "Handle of the kind; null: not told apart by it"),
            "growth_form": described(
                or_null({"type": "string", "enum": list(GROWTH_FORMS)}), "Null: not told apart by it"
            ),
            "spot": described(
                or_null(TEXT), "In its newest wording; null: not told apart by it, or none was told"
            ),
            "method": described(
                or_null({"type": "string", "enum": list(METHODS)}), "Null: not told apart by it"
            ),
            "place": described(or_null(TEXT), "As a path; null: not told apart by it"),
            "tried": described(COUNT, "How often a plant was put so, replanted ones again"),
            "plantings": described(COUNT, "How many plantings that were"),
            "lost": described(COUNT, "Ended by being lost"),
            "uprooted": described(COUNT, "Ended by being uprooted, and not lost before they were replanted"),
            "moved": described(COUNT, "Held until they were moved"),
            "removed": described(COUNT, "Held until they were taken out on purpose"),
            "stands": described(COUNT, "Hold now"),
            "failures_by": described(
                many(
                    thing(
                        {
                            "by": described(or_null(TEXT), "Who or what, as told; null: nobody knows"),
                            "times": described(COUNT, "How often"),
                        }
                    )
                ),
                "By whom or what they were lost or uprooted",
            ),
            "first_at": described(INSTANT, "When the first was tried"),
            "last_at": described(INSTANT, "When the newest was"),
            "oldest_standing_days": described(or_null(NUMBER), "Of those that hold now; null: none does"),
            "median_days": described(
                or_null(NUMBER),
                "How long half of them held; null: more than half held as long as any was watched",
            ),
            **{
                f"held_{days}": described(
                    or_null(ref("PlantsHeld")), f"Share that held {days} days; null: none was watched so long"
                )
                for days in HELD_DAYS
            },
            "few": described(FLAG, "So few tries that a share tells little"),
            "words": described(TEXT, "The same as a plain sentence"),
        }
    ),
    "PlantsHeld": _HELD,
}
"""Shapes that the document names once, under components."""

OUTCOME_COLUMNS = (
    "kind",
    "growth_form",
    "spot",
    "method",
    "place",
    "tried",
    "plantings",
    "lost",
    "uprooted",
    "moved",
    "removed",
    "stands",
    "failures_by",
    "first_at",
    "last_at",
    "oldest_standing_days",
    "median_days",
    *(f"held_{days}.{name}" for days in HELD_DAYS for name in ("share", "low", "high", "watched")),
    "few",
    "words",
)
