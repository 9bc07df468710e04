"""Documented shapes of the log of changes and of those who follow it."""

from __future__ import annotations

from weirbook.web.shapes import COUNT, FLAG, INSTANT, TEXT, Shape, described, many, or_null, ref, thing

CHANGES = ref("Changes")
CHANGES_PAGE = thing(
    {
        "items": many(ref("ChangeEntry")),
        "next": described(or_null(TEXT), "Cursor of the next page; null on the last"),
    }
)
FOLLOWER = ref("Follower")
FOLLOWER_LIST = thing({"items": many(FOLLOWER)})
CHANGE_COLUMNS = (
    "number",
    "at",
    "what",
    "noun",
    "subject",
    "place",
    "who",
    "key",
    "words",
    "origin",
    "tell",
    "fields",
)

SHAPES: dict[str, Shape] = {
    "Changes": thing(
        {
            "items": described(many(ref("ChangeEntry")), "In the order they were committed"),
            "cursor": described(TEXT, "Send it as `since` to go on from here"),
            "more": described(FLAG, "There is more already: ask again at once"),
        }
    ),
    "ChangeEntry": thing(
        {
            "number": described(COUNT, "Its place in the log; entries that a key may not see leave gaps"),
            "at": described(INSTANT, "When it was written"),
            "what": described(
                TEXT,
                "made, changed, deleted, done, skipped, taken, opened, closed, on, off, silent and the like",
            ),
            "noun": described(TEXT, "The kind of record, like tank, completion or alert"),
            "subject": described(TEXT, "Its handle or id"),
            "place": described(or_null(TEXT), "Where, as a path"),
            "who": described(TEXT, "Name of the key; Weirbook for its rules, this host for its command"),
            "key": described(or_null(TEXT), "Handle of the key"),
            "words": described(or_null(TEXT), "Its name, or what happened"),
            "origin": described(or_null(TEXT), "Path where it can be read"),
            "tell": described(
                many(TEXT), "Handles of helpers to be told; none: whoever the notifier tells by default"
            ),
            "fields": described(
                many(
                    thing(
                        {
                            "field": described(TEXT, "As the record's JSON names it"),
                            "before": {"description": "null: it was not there"},
                            "after": {"description": "null: it is gone"},
                        }
                    )
                ),
                "What it was and became",
            ),
        }
    ),
    "Follower": thing(
        {
            "name": described(TEXT, "As it calls itself"),
            "number": described(COUNT, "The last entry it has taken in"),
            "heard_at": described(INSTANT, "When it was last heard"),
            "key": described(or_null(TEXT), "Handle of its key"),
        }
    ),
}
"""Shapes that the document names once, under components."""
