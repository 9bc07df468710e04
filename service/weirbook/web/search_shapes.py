"""Documented shape of what search answers."""

from __future__ import annotations

from weirbook.web.shapes import COUNT, FLAG, INSTANT, TEXT, Shape, described, many, or_null, ref, thing

FOUND_COLUMNS = ("noun", "subject", "path", "title", "place", "at", "snippet", "past")

SEARCH = ref("SearchAnswer")

SHAPES: dict[str, Shape] = {
    "SearchAnswer": thing(
        {
            "items": described(many(ref("SearchFound")), "The best first"),
            "more": described(FLAG, "There are more: narrow it down, or raise limit"),
            "looked_for": described(
                many(TEXT),
                "The words as they were read: all of these must be there, those in quotes in a row, with … also as the "
                "beginning of a longer word",
            ),
            "left_out": described(many(TEXT), "Records with these are left out"),
            "ignored": described(COUNT, "Words beyond those that count"),
        }
    ),
    "SearchFound": thing(
        {
            "noun": described(TEXT, "The kind of record, like journal entry or tank"),
            "subject": described(TEXT, "Its handle or id"),
            "path": described(TEXT, "Where it can be read"),
            "title": described(or_null(TEXT), "Its name or title; null for kinds that have none"),
            "place": described(or_null(TEXT), "Where it belongs, as a path"),
            "at": described(INSTANT, "When it was; of what has no time of its own, when it was recorded"),
            "snippet": described(
                TEXT,
                "Where the words stand, plain text; each find between « and », which are ‹ and › otherwise",
            ),
            "past": described(FLAG, "It is retired, was undone or withdrawn"),
        }
    ),
}
"""Shapes that the document names once, under components."""
