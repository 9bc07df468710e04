"""Kinds of plants, plantings, and what happened to them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from marshmallow import fields
from marshmallow.validate import Length
from sqlalchemy.orm import Session

from weirbook.actions.plant import DEFAULT_REVIEW_DAYS, plant, unplant
from weirbook.actions.tell_planting import edit_event, planting_state, take_back_event, tell_event
from weirbook.record.database import now_ms
from weirbook.record.names import find, find_happening, find_place
from weirbook.record.planted import lives_of, paths_of
from weirbook.record.plants import (
    ENDS,
    EVENTS,
    GROWTH_FORMS,
    LIGHT_NEEDS,
    METHODS,
    REPLANTED,
    STANDS,
    STATES,
    Planting,
    PlantingEvent,
    PlantKind,
)
from weirbook.record.whereabouts import whereabouts
from weirbook.web import outcomes
from weirbook.web.access import DAILY
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

NOW_OR_LATER = 1 << 62
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
        metadata={
            "description": "Days on which to look again: `on`, and the id of its `task`; days past at its entry are left out"
        },
    )
    words = Words(allow_none=True)
    state = fields.String(
        dump_only=True,
        metadata={"description": "How it stands by its events", "enum": list(STATES)},
    )
    ended_at = fields.String(
        dump_only=True,
        allow_none=True,
        metadata={
            "format": "date-time",
            "description": "When it was uprooted, removed or lost; null: it stands",
        },
    )
    stands_in = fields.String(
        dump_only=True, metadata={"description": "Place it is in now, or was in last, by its events"}
    )
    spot_now = fields.String(
        dump_only=True, allow_none=True, metadata={"description": "Its spot there; null: not told"}
    )
    method_now = fields.String(
        dump_only=True, metadata={"description": "How it is held there", "enum": list(METHODS)}
    )
    cover_now = QuantityField(
        "fraction",
        dump_only=True,
        allow_none=True,
        metadata={
            "description": "Share it covers, by its newest event; null: not told, or it stands no more"
        },
    )
    harvested = QuantityField(
        "mass",
        dump_only=True,
        allow_none=True,
        metadata={"description": "Wet mass taken off so far; null: none was weighed"},
    )


class PlantingEventSchema(HappeningSchema):
    planting = RecordId(Planting.PLURAL, required=True, metadata={"description": "Id of the planting"})
    kind = Choice(EVENTS, required=True, metadata={"description": "What happened"})
    happened_at = Instant(attribute="happened_at_ms", metadata={"description": "When; now if not said"})
    by = Words(
        cap=200,
        allow_none=True,
        metadata={
            "description": "Who or what did it, if known: the loaches, a helper; of replanted without an uprooting told: "
            "what uprooted it"
        },
    )
    to_place = PlaceReference(
        allow_none=True, metadata={"description": "Of moved or replanted: where to, if elsewhere"}
    )
    spot = Words(cap=200, allow_none=True, metadata={"description": "Of moved or replanted: its new spot"})
    method = Choice(
        METHODS, allow_none=True, metadata={"description": "Of moved or replanted: its new method"}
    )
    wet_mass = _mass("Of trimmed, harvested or removed: what was taken out, drained")
    cover = _cover("Share of the place it covers now")
    words = Words(allow_none=True)


def _gather(call: Call, rows: Sequence[Planting]) -> None:
    call.session.info["lives"] = {
        one.planting_id: one for one in lives_of(call.session, [row.id for row in rows])
    }
    call.session.info["paths"] = paths_of(call.session)


def _state(call: Call, row: Planting) -> dict[str, Any]:
    info = call.session.info
    if row.id not in info.get("lives", ()):
        _gather(call, [row])
    return planting_state(info["lives"][row.id], info["paths"])


def _newest(value: Any, *conditions: Any) -> Any:
    """The value of a planting's newest event that meets some conditions, as a part of the list's query."""
    asked = sa.select(value).where(
        PlantingEvent.room_id == Planting.room_id, PlantingEvent.planting_id == Planting.id, *conditions
    )
    newest = (PlantingEvent.happened_at_ms, PlantingEvent.created_at_ms, PlantingEvent.id)
    return asked.order_by(*(one.desc() for one in newest)).limit(1).correlate(Planting).scalar_subquery()


def _stands_in(session: Session, path: str) -> Any:
    """Where it is now, or was last: in a place, or in one that lies in it."""
    place, where = find_place(session, path), whereabouts(session, NOW_OR_LATER)
    inside = [
        one for one in (*where.sump_of_section, *where.system_of_vessel) if place.id in where.chain(one)
    ]
    now_in = _newest(PlantingEvent.to_place_id, PlantingEvent.to_place_id.is_not(None))
    return sa.func.coalesce(now_in, Planting.place_id).in_({place.id, *inside})


def _in_state(session: Session, state: str) -> Any:
    newest = _newest(PlantingEvent.kind, PlantingEvent.kind.in_((*ENDS, REPLANTED)))
    if state == STANDS:
        return sa.func.coalesce(newest, REPLANTED) == REPLANTED
    return newest == state


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
    words=(
        "A plant or a stand put in a place: its spot, its method, the days on which to look again. How it stands follows from "
        "its planting events. PATCH corrects what was entered; that it was moved is an event. Once it is lost or removed the "
        "reviews left are retired; a planting without events can be deleted, and its reviews go with it. Newest first."
    ),
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
        "place": Filter(
            PlaceReference(
                metadata={
                    "description": "Only those that stand in this place now, or stood there last; of a system or sump: in "
                    "any part of it."
                }
            ),
            _stands_in,
        ),
        "method": Filter(
            Choice(METHODS, metadata={"description": "Only those first put in like this."}),
            lambda session, method: Planting.method == method,
        ),
        "state": Filter(Choice(STATES, metadata={"description": "Only those that are so now."}), _in_state),
        **happened_within(Planting.planted_at_ms),
    },
    order=("planted_at_ms", "id"),
    descending=True,
    verbs=("list", "create", "put", "get", "patch", "delete"),
    makers=DAILY,
    prepare=happened("planted_at"),
    create=plant,
    remove=lambda session, row: unplant(session, row, now=now_ms()),
    describe=_state,
    gather=_gather,
    routes=(outcomes.add_routes,),
    sent={
        "review_days": fields.List(
            Whole(1, 1000),
            validate=Length(max=MOST_REVIEWS, error=f"At most {MOST_REVIEWS} reviews."),
            metadata={
                "description": (
                    f"Days after which to look, each made a task; {' and '.join(map(str, DEFAULT_REVIEW_DAYS))} if not said: "
                    "a day for what gets dug up, a week for what adapts; an empty list: none. "
                    "Those whose day is past make no task"
                ),
                "maxItems": MOST_REVIEWS,
            },
        )
    },
)
PLANTING_EVENTS = Resource(
    model=PlantingEvent,
    schema=PlantingEventSchema,
    words=(
        "What happened to a planting: moved, uprooted (by whom or what, if known), replanted (also of what was found uprooted "
        "just then), trimmed, harvested, removed (taken out on purpose, which is no loss), lost, seen. Told in any order: what "
        "could not have been is refused. Newest first."
    ),
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
            Identity(Planting.PLURAL, metadata={"description": "Only those of this planting."}),
            lambda session, one: (
                PlantingEvent.planting_id == find_happening(session, Planting.NOUN, str(one)).id
            ),
        ),
        "kind": Filter(
            Choice(EVENTS, metadata={"description": "Only this kind."}),
            lambda session, kind: PlantingEvent.kind == kind,
        ),
        **happened_within(PlantingEvent.happened_at_ms),
    },
    order=("happened_at_ms", "id"),
    descending=True,
    verbs=("list", "create", "put", "get", "patch", "delete"),
    makers=DAILY,
    prepare=happened("happened_at"),
    create=tell_event,
    edit=edit_event,
    remove=lambda session, row: take_back_event(session, row, now=now_ms()),
)
