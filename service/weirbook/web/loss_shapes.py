"""Documented shapes of losses: rates, survival, introductions and what followed them."""

from __future__ import annotations

from typing import Any

from weirbook.actions.rate_losses import Rate, Survival
from weirbook.engine.inputs import six
from weirbook.engine.units import number
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

LOSSES = ref("Losses")
PARTS = ("all", "group", "species", "source", "origin", "tank", "system", "since arrival", "cause")
_BY: Shape = {"type": "string", "enum": list(PARTS)}
_RATE: dict[str, Shape] = {
    "by": described(_BY, "What tells these fish apart"),
    "key": described(TEXT, "Id, handle or name of the part"),
    "called": described(TEXT, "What it is called"),
    "fish_days": described(NUMBER, "One fish watched for a day is one"),
    "lost": described(NUMBER, "Fish lost; a fraction where a loss is shared among batches"),
    "missing": described(NUMBER, "Fish gone missing"),
    "per_1000_fish_days": described(
        or_null(NUMBER), "Losses in 1000 fish-days; null where no fish were watched"
    ),
    "low": described(or_null(NUMBER), "Lower limit of its 95 % interval (exact, Garwood)"),
    "high": described(or_null(NUMBER), "Upper limit"),
    "note": described(or_null(TEXT), "Where heads are fractions, why"),
}
RATE_COLUMNS = tuple(_RATE)
NOTHING = 1e-6
"""Heads below this are what fractions leave behind when they should cancel."""
_SURVIVAL: dict[str, Shape] = {
    "by": described(TEXT, "What tells these fish apart"),
    "key": described(TEXT, "Id, handle or name of the part"),
    "called": described(TEXT, "What it is called"),
    "heads": described(NUMBER, "Fish of known age that were watched"),
    "lost": described(NUMBER, "Of them lost under watch"),
    "median_days": described(or_null(NUMBER), "By which half were lost; null where more than half lived on"),
    "at": described(many(ref("SurvivalAt")), "Survival at some days since arrival or birth"),
}
_IN_WATER = thing(
    {
        "group": {"type": "string", "format": "uuid"},
        "called": TEXT,
        "lost": NUMBER,
        "heads": described(COUNT, "The most it had in that time"),
    }
)

SHAPES: dict[str, Shape] = {
    "Losses": thing(
        {
            "from": described(INSTANT, "Start of the span"),
            "to": described(INSTANT, "Its end"),
            "says": described(many(TEXT), "The answer in sentences"),
            "rates": described(many(ref("LossRate")), "Losses over fish-days, part by part"),
            "survival": described(many(ref("Survival")), "Kaplan–Meier, part by part"),
            "alerts": described(COUNT, "Introductions after which losses came faster than before"),
            "introductions": described(
                many(ref("Introduction")), "What was brought into waters, the newest first"
            ),
            "assumptions": described(
                many(thing({"text": TEXT, "origin": TEXT})), "What was taken for granted, and on whose word"
            ),
            "limits": described(many(TEXT), "What it does not tell"),
            "cautions": described(
                many(thing({"code": TEXT, "text": TEXT, "limit": or_null(TEXT)})), "What to beware of"
            ),
            "sources": described(many(ref("Source")), "Where the methods come from"),
        }
    ),
    "LossRate": thing(_RATE),
    "Survival": thing(_SURVIVAL),
    "SurvivalAt": thing(
        {
            "day": described(NUMBER, "Days since arrival or birth"),
            "survival": described(or_null(NUMBER), "Share alive; null where nobody was watched so long"),
            "low": described(or_null(NUMBER), "Lower limit of its 95 % interval"),
            "high": described(or_null(NUMBER), "Upper limit"),
            "watched": described(or_null(NUMBER), "Fewest fish under watch on the way to that day"),
            "method": described(TEXT, "Of the interval, or why it is unknown"),
        }
    ),
    "Introduction": thing(
        {
            "at": described(INSTANT, "When"),
            "water": described(TEXT, "Path of the system or tank"),
            "parts": described(
                many(
                    thing(
                        {
                            "kind": {"type": "string", "enum": ["arrival", "move", "transfer", "tank"]},
                            "record": described(TEXT, "Path of the record"),
                            "words": TEXT,
                        }
                    )
                ),
                "What came",
            ),
            "alert": described(FLAG, "Whether losses after it exceed the earlier rate"),
            "says": described(TEXT, "In words"),
            "until": described(INSTANT, "Losses up to here are counted"),
            "lost": described(COUNT, "In that water after it"),
            "fish_days": described(NUMBER, "In that water after it"),
            "earlier_lost": described(COUNT, "In that water in the year before"),
            "earlier_fish_days": described(NUMBER, "In that water in the year before"),
            "ratio": described(
                or_null(NUMBER), "Rate after over the earlier one; null where none was lost before"
            ),
            "ratio_low": described(or_null(NUMBER), "Lower limit of its exact 95 % interval"),
            "ratio_high": described(or_null(NUMBER), "Upper limit; null where it has no end or is unknown"),
            "causes": described(many(thing({"cause": TEXT, "lost": COUNT})), "As told with the losses"),
            "lost_in": described(many(_IN_WATER), "Groups in that water that lost fish"),
            "not_lost_in": described(many(_IN_WATER), "Groups that shared it and lost none"),
        }
    ),
}
"""Shapes that the document names once, under components."""


def plain(value: float | None) -> int | float | None:
    """A figure at six digits, as answers show them, a whole one without its point."""
    return None if value is None else number(six(value))


def rate_row(one: Rate) -> dict[str, Any]:
    return {
        "by": one.by,
        "key": one.key,
        "called": one.called,
        "fish_days": plain(one.fish_days),
        "lost": plain(one.lost),
        "missing": plain(one.missing),
        "per_1000_fish_days": plain(one.rate),
        "low": plain(one.low),
        "high": plain(one.high),
        "note": shared(one.lost, one.missing),
    }


def shared(*heads: float) -> str | None:
    """Why heads are no whole numbers, where they aren't."""
    whole = all(abs(each - round(each)) < NOTHING for each in heads)
    return None if whole else "shared among batches: nobody said which batch was lost"


def survival_row(one: Survival) -> dict[str, Any]:
    return {
        "by": one.by,
        "key": one.key,
        "called": one.called,
        "heads": plain(one.heads),
        "lost": plain(one.lost),
        "median_days": plain(one.median),
        "at": [
            {
                "day": plain(day),
                "survival": None if told is None else plain(told.survival),
                "low": None if told is None else plain(told.low),
                "high": None if told is None else plain(told.high),
                "watched": None if told is None else plain(told.watched),
                "method": told.method
                if told
                else "Unknown, because none was watched so long from the beginning.",
            }
            for day, told in one.told
        ],
    }
