"""Documented shapes of exposure: who may have exposed whom, since when, by which way."""

from __future__ import annotations

from weirbook.actions.exposure_told import FOUND, NONE_FOUND, VERDICTS
from weirbook.engine.relations.contacts import WAYS
from weirbook.engine.relations.exposure import DIRECTIONS
from weirbook.record.quarantines import CARRIED
from weirbook.web.shapes import COUNT, FLAG, INSTANT, TEXT, Shape, described, many, or_null, ref, thing

EXPOSURE = ref("Exposure")
ID: Shape = {"type": "string", "format": "uuid"}
_WAY: Shape = {"type": "string", "enum": list(WAYS)}
_ROW: dict[str, Shape] = {
    "group": described(ID, "Id of the other group"),
    "called": described(TEXT, "What it is called"),
    "species": described(TEXT, "Handle of its species"),
    "tank": described(TEXT, "Handle of its tank"),
    "way": described(_WAY, "How it came at last"),
    "steps": described(COUNT, "1: directly; 2: by one group or water between them; and so on"),
    "first_from": described(INSTANT, "From when"),
    "to": described(or_null(INSTANT), "Until when; null: it goes on, or has no end"),
    "times": described(COUNT, "How often, by this way"),
    "water": described(or_null(TEXT), "Path of the water, of the last step; null where fish were moved"),
    "record": described(or_null(TEXT), "Path of the record of the last step, where it has one"),
    "walk": described(TEXT, "Each step in words, the first to the last"),
    "in_window": described(FLAG, "Whether contacts within the window that is judged suffice for it"),
    "brought_in": described(
        or_null(INSTANT), "Last arrival into that group within the window that the contact can have carried"
    ),
    "straight_in": described(
        FLAG, "Whether one of those went straight into a stocked tank, without quarantine"
    ),
    "lost_to_disease": described(
        COUNT, "Fish it lost to disease within the window, before the contact ended"
    ),
    "lost_unknown": described(COUNT, "Fish it lost to unknown causes, likewise"),
    "missing": described(COUNT, "Fish that went missing, likewise"),
}
ROW_COLUMNS = tuple(_ROW)

SHAPES: dict[str, Shape] = {
    "Exposure": thing(
        {
            "group": described(ID, "The group asked about"),
            "called": described(TEXT, "What it is called"),
            "direction": described(
                {"type": "string", "enum": list(DIRECTIONS)},
                "backward: who may have exposed it; forward: whom it may have exposed",
            ),
            "verdict": described(
                {"type": "string", "enum": list(VERDICTS)},
                "Backward: whether any group that may have exposed it was brought in or lost fish to disease or unknown causes, "
                "before the contact ended and within the window; where none had, but what came since is to be watched: none "
                "before, some since. Forward: whether any was exposed, and whether those lost fish to disease or unknown causes",
            ),
            "says": described(many(TEXT), "The answer in sentences"),
            "window_from": described(
                or_null(INSTANT),
                "What is judged begins here; forward the first contact, null where there was none",
            ),
            "window_to": described(INSTANT, "And ends here"),
            "why_window": described(TEXT, "What it is counted from"),
            "since": described(
                or_null(
                    thing(
                        {
                            "from": described(
                                INSTANT, "The loss, or so many days before now, whichever came later"
                            ),
                            "to": described(INSTANT, "Now"),
                            "verdict": described(
                                {"type": "string", "enum": [FOUND, NONE_FOUND]},
                                "Whether anything that came since is to be watched",
                            ),
                            "groups": described(many(ID), "Ids of the groups to be watched for"),
                            "watch_until": described(or_null(INSTANT), "Until when to look closely"),
                        }
                    )
                ),
                "What came after the window until now, where that ends with a loss",
            ),
            "items": described(many(ref("ExposedBy")), "The earliest first"),
            "dates": described(many(ref("ExposureDate")), "The same as dates, in order"),
            "own_arrivals": described(
                many(
                    thing(
                        {
                            "entry": ID,
                            "at": INSTANT,
                            "number": COUNT,
                            "source": or_null(TEXT),
                            "straight_in": FLAG,
                        }
                    )
                ),
                "Fish brought into the group itself within the window",
            ),
            "from_outside": described(
                many(
                    thing(
                        {
                            "transfer": ID,
                            "at": INSTANT,
                            "what": {"type": "string", "enum": list(CARRIED)},
                            "water": TEXT,
                        }
                    )
                ),
                "Things from outside the room that went into its water within the window, not disinfected",
            ),
            "near_misses": described(
                many(
                    thing(
                        {"group": ID, "called": TEXT, "water": TEXT, "left_at": INSTANT, "came_at": INSTANT}
                    )
                ),
                "Groups that had left a water shortly before this one came: they count only with a residual time",
            ),
            "assumptions": described(
                many(thing({"text": TEXT, "origin": TEXT})), "What was taken for granted, and on whose word"
            ),
            "cautions": described(
                many(thing({"code": TEXT, "text": TEXT, "limit": or_null(TEXT)})), "What to beware of"
            ),
            "sources": described(many(ref("Source")), "Where the method comes from"),
        }
    ),
    "ExposedBy": thing(_ROW),
    "ExposureDate": thing(
        {
            "at": described(INSTANT, "When"),
            "what": described({"type": "string", "enum": ["began", "ended"]}, "What an exposure did"),
            "group": described(ID, "The other group"),
            "called": described(TEXT, "What it is called"),
            "way": described(_WAY, "By which way"),
        }
    ),
}
"""Shapes that the document names once, under components."""
