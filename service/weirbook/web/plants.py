"""Kinds of plants, plantings, and what happened to them."""

from __future__ import annotations

from typing import Any

from marshmallow import fields
from marshmallow.validate import Length

from weirbook.actions.plant import DEFAULT_REVIEW_DAYS, plant, planting_state, tell_event
from weirbook.record.names import find, find_happening
from weirbook.record.plants import (
    EVENTS,
    GROWTH_FORMS,
    LIGHT_NEEDS,
    METHODS,
    Planting,
    PlantingEvent,
    PlantKind,
)
from weirbook.web.access import DAILY
from weirbook.web.equipment import at_place
from weirbook.web.fields import (
    Choice,
    Handle,
    Identity,
    Instant,
    PlaceReference,
    QuantityField,
    RecordId,
    Reference,
    Whole,
    Words,
)
from weirbook.web.happened import happened, happened_within
from weirbook.web.operations import Call
from weirbook.web.records import HappeningSchema, NamedSchema
from weirbook.web.resource import Filter, Resource

MOST_REVIEWS = 12
MOST_PIECES = 100_000
MOST_PLANTS = 1000.0
"""kg: more than a bed of a room weighs; a larger figure is a slip of the unit."""


def _share(words: str) -> QuantityField:
    return QuantityField("fraction", gt=0, le=1, allow_none=True, metadata={"description": words})


def _mass(words: str) -> QuantityField:
    return QuantityField("mass", gt=0, le=MOST_PLANTS, allow_none=True, metadata={"description": words})


def _cover(words: str) -> QuantityField:
    return QuantityField("fraction", ge=0, le=1, allow_none=True, metadata={"description": words})


class PlantKindSchema(NamedSchema):
    scientific_name = Words(cap=120, allow_none=True, metadata={"description": "Genus and species"})
    growth_form = Choice(
        GROWTH_FORMS,
        required=True,
        metadata={
            "description": "In the ground, on wood or stone, on the water, or roots in water and leaves in air"
        },
    )
    light_need = Choice(LIGHT_NEEDS, allow_none=True, metadata={"description": "How much light it wants"})
    dry_matter = _share("Share of its wet mass that is dry matter, if you know it")
    nitrogen = _share("Share of its dry matter that is nitrogen, if you know it")
    phosphorus = _share("Share of its dry matter that is phosphorus, if you know it")


class PlantingSchema(HappeningSchema):
    kind = Reference(required=True, metadata={"description": "Handle of the kind of plant"})
    place = PlaceReference(required=True, metadata={"description": "Tank, sump or section it stands in"})
    spot = Words(
        cap=200,
        allow_none=True,
        metadata={"description": "Where in it, in words: back left, under the inlet"},
    )
    method = Choice(METHODS, required=True, metadata={"description": "How it was put in"})
    planted_at = Instant(attribute="planted_at_ms", metadata={"description": "When; now if not said"})
    pieces = Whole(1, MOST_PIECES, allow_none=True, metadata={"description": "Stems, pots or portions"})
    wet_mass = _mass("All of it, drained")
    cover = _cover("Share of the place's surface or bottom it covered then")
    reviews = fields.List(
        fields.Dict(keys=fields.String(), values=fields.String()),
        dump_only=True,
        metadata={"description": "Days on which to look again: `on`, and the id of its `task`"},
    )
    words = Words(allow_none=True)
    state = fields.String(
        dump_only=True,
        metadata={
            "description": "stands, uprooted or lost, by its events",
            "enum": ["stands", "uprooted", "lost"],
        },
    )
    ended_at = fields.String(
        dump_only=True,
        allow_none=True,
        metadata={"format": "date-time", "description": "When it was lost or uprooted for good"},
    )
    stands_in = fields.String(dump_only=True, metadata={"description": "Place it is in now, by its events"})
    cover_now = QuantityField(
        "fraction",
        dump_only=True,
        allow_none=True,
        metadata={"description": "Share it covers, by its newest event"},
    )
    harvested = QuantityField(
        "mass", dump_only=True, allow_none=True, metadata={"description": "Wet mass taken off so far"}
    )


class PlantingEventSchema(HappeningSchema):
    planting = RecordId(required=True, metadata={"description": "Id of the planting"})
    kind = Choice(EVENTS, required=True, metadata={"description": "What happened"})
    happened_at = Instant(attribute="happened_at_ms", metadata={"description": "When; now if not said"})
    by = Words(
        cap=200,
        allow_none=True,
        metadata={"description": "Who or what did it, if known: the loaches, a helper"},
    )
    to_place = PlaceReference(
        allow_none=True, metadata={"description": "Of moved or replanted: where to, if elsewhere"}
    )
    spot = Words(cap=200, allow_none=True, metadata={"description": "Of moved or replanted: its new spot"})
    method = Choice(
        METHODS, allow_none=True, metadata={"description": "Of moved or replanted: its new method"}
    )
    wet_mass = _mass("Of trimmed or harvested: what was taken off, drained")
    cover = _cover("Share of the place it covers now")
    words = Words(allow_none=True)


def _state(call: Call, row: Planting) -> dict[str, Any]:
    return planting_state(call.session, row)


PLANT_KINDS = Resource(
    model=PlantKind,
    schema=PlantKindSchema,
    words="A kind of plant, and what it needs.",
    example={"name": "Watercress", "growth_form": "emergent", "light_need": "high"},
    example_key="java-fern",
    example_delete="old-fern",
    example_patch={"light_need": "low"},
)
PLANTINGS = Resource(
    model=Planting,
    schema=PlantingSchema,
    words="A plant or a stand put in a place: its spot, its method, the days on which to look again. Newest first.",
    example={
        "kind": "java-fern",
        "place": "tanks/nursery",
        "spot": "On the root, left",
        "method": "on_wood",
        "pieces": 3,
        "planted_at": "2026-11-20T10:00:00Z",
    },
    example_key="01936c5e-8f00-7000-8000-0000000000c5",
    example_delete="01936c5e-8f00-7000-8000-0000000000cc",
    example_patch={"words": "Tied with cotton."},
    filters={
        "kind": Filter(
            Handle(metadata={"description": "Only those of this kind."}),
            lambda session, handle: Planting.kind_id == find(session, PlantKind, handle).id,
        ),
        "place": at_place(Planting),
        **happened_within(Planting.planted_at_ms),
    },
    order=("planted_at_ms", "id"),
    descending=True,
    verbs=("list", "create", "put", "get", "patch", "delete"),
    makers=DAILY,
    prepare=happened("planted_at"),
    create=plant,
    describe=_state,
    sent={
        "review_days": fields.List(
            Whole(1, 1000),
            validate=Length(max=MOST_REVIEWS, error=f"At most {MOST_REVIEWS} reviews."),
            metadata={
                "description": (
                    f"Days after which to look, each made a task; {' and '.join(map(str, DEFAULT_REVIEW_DAYS))} if not said: "
                    "a day for what gets dug up, a week for what adapts; an empty list: none"
                ),
                "maxItems": MOST_REVIEWS,
            },
        )
    },
)
PLANTING_EVENTS = Resource(
    model=PlantingEvent,
    schema=PlantingEventSchema,
    words="What happened to a planting: moved, uprooted, replanted, trimmed, harvested, lost, seen. Newest first.",
    example={
        "planting": "01936c5e-8f00-7000-8000-0000000000c5",
        "kind": "harvested",
        "wet_mass": "120 g",
        "happened_at": "2026-11-20T10:00:00Z",
    },
    example_key="01936c5e-8f00-7000-8000-0000000000c6",
    example_patch={"by": "The loaches, most likely"},
    filters={
        "planting": Filter(
            Identity(metadata={"description": "Only those of this planting."}),
            lambda session, one: (
                PlantingEvent.planting_id == find_happening(session, Planting.NOUN, str(one)).id
            ),
        ),
        **happened_within(PlantingEvent.happened_at_ms),
    },
    order=("happened_at_ms", "id"),
    descending=True,
    verbs=("list", "create", "put", "get", "patch", "delete"),
    makers=DAILY,
    prepare=happened("happened_at"),
    create=tell_event,
)
