"""Foods, rations and feedings."""

from __future__ import annotations

from typing import Any

from marshmallow import fields
from marshmallow.validate import Length

from weirbook.record.feeds import IN_TURN, KINDS, TOGETHER, WEEKDAYS, Feed, Feeding, Ration
from weirbook.record.names import find
from weirbook.record.places import Tank
from weirbook.web.access import DAILY
from weirbook.web.fields import Choice, Flag, Handle, Instant, QuantityField, Reference, Words
from weirbook.web.happened import happened, happened_within
from weirbook.web.places import StrictSchema
from weirbook.web.records import HappeningSchema, NamedSchema
from weirbook.web.resource import Filter, Resource

MOST_FEEDS = 20


def _share(words: str) -> QuantityField:
    return QuantityField("fraction", ge=0, le=1, allow_none=True, metadata={"description": words})


def _amount(**said: Any) -> QuantityField:
    return QuantityField("mass", gt=0, le=10, **said)


class FeedSchema(NamedSchema):
    kind = Choice(KINDS, metadata={"description": "other if not said"})
    protein = _share("Crude protein as printed on the label, as fed")
    fat = _share("Crude fat as printed on the label")
    phosphorus = _share("Phosphorus as printed on the label")
    moisture = _share("Water in it as printed on the label")


class RationFeedSchema(StrictSchema):
    """One food of a ration."""

    feed = Handle(required=True, metadata={"description": "Handle of the feed"})
    amount = _amount(required=True, metadata={"description": "On a day it is fed, in all"})


class RationSchema(HappeningSchema):
    tank = Reference(required=True, metadata={"description": "Tank that is fed"})
    valid_from = Instant(
        required=True,
        attribute="valid_from_ms",
        metadata={"description": "Holds from the room's day of this instant until the tank's next ration"},
    )
    feeds = fields.List(
        fields.Nested(RationFeedSchema),
        required=True,
        validate=Length(max=MOST_FEEDS, error=f"At most {MOST_FEEDS} feeds."),
        metadata={"description": "Foods and amounts; an empty list: nothing", "maxItems": MOST_FEEDS},
    )
    rotation = Choice(
        (TOGETHER, IN_TURN),
        metadata={
            "description": "together: all of them each feeding day; in_turn: one a feeding day, in order. together if not said"
        },
    )
    fasting_days = fields.List(
        Choice(WEEKDAYS),
        allow_none=True,
        validate=Length(max=7, error="A week has seven days."),
        metadata={"description": "Weekdays without food", "maxItems": 7},
    )
    notes = Words(allow_none=True)


class FeedingSchema(HappeningSchema):
    tank = Reference(required=True, metadata={"description": "Tank that was fed"})
    fed_at = Instant(attribute="fed_at_ms", metadata={"description": "When; now if not said"})
    feed = Reference(
        allow_none=True, metadata={"description": "What was fed; null with instead: nothing that day"}
    )
    amount = _amount(allow_none=True, metadata={"description": "How much of it"})
    instead = Flag(
        metadata={
            "description": "true: in place of that day's ration; false: on top of it. false if not said. Several that stand "
            "in place of one day's ration add up."
        }
    )
    words = Words(allow_none=True)


def _of_tank(model: Any) -> Filter:
    return Filter(
        Handle(metadata={"description": "Only those of this tank."}),
        lambda session, handle: model.tank_id == find(session, Tank, handle).id,
    )


FEEDS = Resource(
    model=Feed,
    schema=FeedSchema,
    words="A food and its analysis, as printed on its label.",
    example={"name": "Spirulina wafer", "kind": "pellet", "protein": "38 %", "fat": "5 %", "moisture": "8 %"},
    example_key="small-granules",
    example_delete="old-flakes",
    example_patch={"phosphorus": "1.1 %"},
    defaults={"kind": "other"},
)
RATIONS = Resource(
    model=Ration,
    schema=RationSchema,
    words="What a tank is fed each day from a day on; nobody need log each feeding.",
    example={
        "tank": "nursery",
        "valid_from": "2026-11-01T00:00:00Z",
        "feeds": [{"feed": "small-granules", "amount": "4 g"}],
        "fasting_days": ["sunday"],
    },
    example_key="01936c5e-8f00-7000-8000-0000000000b1",
    example_patch={"notes": "Two thirds in the morning."},
    filters={"tank": _of_tank(Ration)},
    defaults={"rotation": TOGETHER},
    verbs=("list", "create", "put", "get", "patch", "delete"),
)
FEEDINGS = Resource(
    model=Feeding,
    schema=FeedingSchema,
    words="A feeding that differs from the ration. Newest first.",
    example={
        "tank": "nursery",
        "feed": "small-granules",
        "amount": "1 g",
        "fed_at": "2026-11-20T18:00:00Z",
        "words": "Visitors fed them.",
    },
    example_key="01936c5e-8f00-7000-8000-0000000000b2",
    example_patch={"amount": "2 g"},
    filters={"tank": _of_tank(Feeding), **happened_within(Feeding.fed_at_ms)},
    defaults={"instead": False},
    order=("fed_at_ms", "id"),
    descending=True,
    verbs=("list", "create", "put", "get", "patch", "delete"),
    makers=DAILY,
    prepare=happened("fed_at"),
)
