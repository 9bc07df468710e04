"""Documented shapes of the week's living side."""

from __future__ import annotations

from weirbook.actions.summarise_living import STOCK_COLUMNS
from weirbook.web.shapes import COUNT, INSTANT, QUANTITY, TEXT, Shape, described, many, or_null, ref, thing

ID: Shape = {"type": "string", "format": "uuid"}
_STOCK: dict[str, Shape] = {
    "system": described(or_null(TEXT), "Handle of the system its tank is in"),
    "tank": described(TEXT, "Handle of its tank"),
    "group": described(ID, "Id of the group"),
    "called": described(TEXT, "Its name, or its species and tank"),
    "species": described(TEXT, "Handle of its species"),
    "heads_before": described({"type": "integer"}, "Fish as the week began"),
    "arrived": described(COUNT, "Fish that came from outside"),
    "born": described(COUNT, "Fish born"),
    "moved_in": described(COUNT, "Fish from other groups"),
    "moved_out": described(COUNT, "Fish to other groups"),
    "lost": described(COUNT, "Fish that died"),
    "missing": described(COUNT, "Fish that were not there any more"),
    "left": described(COUNT, "Fish given or sold"),
    "adjusted": described({"type": "integer"}, "What counts differed from the ledger by"),
    "heads": described({"type": "integer"}, "Fish at the week's end"),
    "wanted": described(or_null(COUNT), "Fish it should have; null: no number is wanted"),
    "short": described(COUNT, "Fish under the wanted number"),
}
SHAPES: dict[str, Shape] = {
    "WeeklyLiving": thing(
        {
            "stock": described(many(ref("WeeklyStock")), "One row a group"),
            "losses": described(many(ref("WeeklyLoss")), "Losses and missing fish, one by one"),
            "short": described(many(ref("WeeklyStock")), "Groups under their wanted number"),
            "feed": described(many(ref("WeeklyFeed")), "Food by system"),
            "changes": described(many(ref("WeeklyChange")), "What was changed, by the journal"),
            "quarantines": described(many(ref("WeeklyQuarantine")), "Quarantines open at the week's end"),
            "plants": described(ref("WeeklyPlants"), "Plants that came and went"),
        }
    ),
    "WeeklyStock": thing({name: _STOCK[name] for name in STOCK_COLUMNS}),
    "WeeklyLoss": thing(
        {
            "id": described(ID, "Id of the stock entry"),
            "at": described(INSTANT, "When"),
            "tank": described(TEXT, "Handle of the tank"),
            "called": described(TEXT, "The group"),
            "kind": described({"type": "string", "enum": ["loss", "missing"]}, "Dead, or not there any more"),
            "number": described(COUNT, "How many"),
            "cause": described(or_null(TEXT), "Why, as far as is known"),
            "evidence": described(or_null(TEXT), "What shows it"),
        }
    ),
    "WeeklyFeed": thing(
        {
            "system": described(TEXT, "Handle of the system"),
            "fed": described(QUANTITY, "Food as weighed, in all"),
            "tank_days_untold": described(COUNT, "Days of tanks of which no ration or feeding tells"),
        }
    ),
    "WeeklyChange": thing(
        {
            "id": described(ID, "Id of the journal entry"),
            "at": described(INSTANT, "When"),
            "place": described(TEXT, "Where, as its path"),
            "what": described(TEXT, "What was changed"),
            "before": described(or_null(TEXT), "What it was"),
            "after": described(or_null(TEXT), "What it is now"),
        }
    ),
    "WeeklyQuarantine": thing(
        {
            "id": described(ID, "Id of the quarantine"),
            "tank": described(TEXT, "Handle of its tank"),
            "clock_from": described(INSTANT, "From when its days count"),
            "ready_at": described(INSTANT, "When its planned days are over"),
            "heads": described({"type": "integer"}, "Fish in its tank"),
        }
    ),
    "WeeklyPlants": thing(
        {
            "planted": described(COUNT, "Plantings"),
            "harvested": described(QUANTITY, "Wet mass taken off"),
            "lost": described(many(ref("WeeklyPlantLost")), "Plants lost or dug up"),
        }
    ),
    "WeeklyPlantLost": thing(
        {
            "at": described(INSTANT, "When"),
            "kind": described(TEXT, "Handle of the kind of plant"),
            "place": described(TEXT, "Where it stood then, as its path"),
            "spot": described(or_null(TEXT), "Its spot in words"),
            "method": described(TEXT, "How it was put in"),
            "how": described({"type": "string", "enum": ["lost", "uprooted"]}, "What became of it"),
            "by": described(or_null(TEXT), "Who or what did it, if known"),
        }
    ),
}
"""Shapes that the document names once, under components."""
