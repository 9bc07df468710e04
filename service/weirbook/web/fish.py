"""Species, groups of fish, and samples of their size."""

from __future__ import annotations

import uuid
from typing import Any

import sqlalchemy as sa
from flask import Response
from flask_smorest import Blueprint
from marshmallow import fields

from weirbook.actions.create import create
from weirbook.actions.edit_group import edit_group
from weirbook.actions.filling import Absent
from weirbook.actions.group_facts import Stock, stock_of, weight_of
from weirbook.actions.plan_restock import Restock, plan_restock
from weirbook.engine.inputs import six
from weirbook.engine.times import instant_text
from weirbook.engine.units import Quantity
from weirbook.errors import Invalid
from weirbook.record.fish import Group, GroupSample, Species
from weirbook.record.ledger import heads_of
from weirbook.record.names import find, find_happening
from weirbook.record.places import System, Tank
from weirbook.record.whereabouts import whereabouts
from weirbook.web.access import DAILY, READERS
from weirbook.web.fields import (
    Flag,
    Handle,
    Identity,
    Instant,
    Part,
    Plain,
    QuantityField,
    RecordId,
    Reference,
    Whole,
    Words,
)
from weirbook.web.happened import happened_within, with_instant
from weirbook.web.operations import JSON, Body, Call, Example, loaded_by, operation
from weirbook.web.pages import PageQuery, page_of
from weirbook.web.places import StrictSchema
from weirbook.web.records import HappeningSchema, NamedSchema
from weirbook.web.resource import Filter, Resource, derived, listing, locate, prepared, shown

LONGEST_FISH, HEAVIEST_FISH = 5.0, 500.0
"""Metres and kilograms: no fish of a room is larger; a larger figure is a slip of the unit."""
MOST_FISH = 1_000_000
GROUP_KEY = "01936c5e-8f00-7000-8000-0000000000c1"
SERVICE_MADE = ("id", "version", "created_at", "updated_at")


class TemperatureRangeSchema(StrictSchema):
    low = QuantityField("temperature", ge=263.15, le=323.15, metadata={"description": "Lowest it is kept at"})
    high = QuantityField(
        "temperature", ge=263.15, le=323.15, metadata={"description": "Highest it is kept at"}
    )


class PhRangeSchema(StrictSchema):
    low = QuantityField("ph", ge=0, le=14, metadata={"description": "Lowest it is kept at"})
    high = QuantityField("ph", ge=0, le=14, metadata={"description": "Highest it is kept at"})


class LengthMassSchema(StrictSchema):
    """The length-weight relation W = a × L^b, grams and centimetres, as fish books print it."""

    a = Plain(
        1e-5, 1, required=True, metadata={"description": "Grams of a fish of 1 cm; about 0.01 for most"}
    )
    b = Plain(2, 4.5, required=True, metadata={"description": "Near 3"})


class SpeciesSchema(NamedSchema):
    scientific_name = Words(cap=120, allow_none=True, metadata={"description": "Genus and species"})
    adult_length = QuantityField(
        "length", gt=0, le=LONGEST_FISH, allow_none=True, metadata={"description": "Of a full-grown fish"}
    )
    adult_mass = QuantityField(
        "mass", gt=0, le=HEAVIEST_FISH, allow_none=True, metadata={"description": "Of a full-grown fish"}
    )
    temperature = Part(
        TemperatureRangeSchema, allow_none=True, metadata={"description": "Range it is kept at"}
    )
    ph = Part(PhRangeSchema, allow_none=True, metadata={"description": "Range it is kept at"})
    school_size = Whole(
        1, 100_000, allow_none=True, metadata={"description": "Fewest that it should live with"}
    )
    length_mass = Part(
        LengthMassSchema,
        allow_none=True,
        metadata={"description": "W = a × L^b, for groups that are measured, not weighed"},
    )
    source = Words(cap=500, allow_none=True, metadata={"description": "Where these figures come from"})


class BatchSchema(StrictSchema):
    tank = fields.String(metadata={"description": "The quarantine that holds it"})
    number = fields.Integer(metadata={"description": "Fish"})
    enters = fields.String(
        metadata={"format": "date-time", "description": "From when that quarantine is free"}
    )
    leaves = fields.String(metadata={"format": "date-time", "description": "When it can be released"})


class RestockSchema(StrictSchema):
    short = fields.Integer(metadata={"description": "Fish to bring in"})
    batches = fields.List(
        fields.Nested(BatchSchema), metadata={"description": "What quarantines can hold, in turn"}
    )
    complete_on = fields.String(
        allow_none=True,
        metadata={"format": "date-time", "description": "When the school can be whole at the earliest"},
    )
    why = fields.String(metadata={"description": "In words; also what is unknown and why"})
    assumptions = fields.List(fields.String(), metadata={"description": "What this rests on"})


class GroupSchema(HappeningSchema):
    name = Words(
        cap=120, allow_none=True, metadata={"description": "What you call it; species and tank if not said"}
    )
    species = Reference(required=True, metadata={"description": "Handle of its species"})
    tank = Reference(
        required=True, metadata={"description": "Tank it lives in; fish that move join another group"}
    )
    origin = Words(cap=200, allow_none=True, metadata={"description": "Wild, bred here, a supplier, a line…"})
    wanted = Whole(0, MOST_FISH, allow_none=True, metadata={"description": "Heads that it should have"})
    notes = Words(allow_none=True)
    retired_at = Instant(
        allow_none=True,
        attribute="retired_at_ms",
        metadata={"description": "Set to retire it; null brings it back. Its history stays readable."},
    )
    called = fields.String(dump_only=True, metadata={"description": "Its name, or its species and tank"})
    heads = fields.Integer(dump_only=True, metadata={"description": "Fish, by the ledger"})
    since = fields.String(
        dump_only=True,
        allow_none=True,
        metadata={"format": "date-time", "description": "When its first fish came"},
    )
    fish_mass = QuantityField(
        "mass", dump_only=True, allow_none=True, metadata={"description": "Of one fish, by the newest sample"}
    )
    group_mass = QuantityField(
        "mass", dump_only=True, allow_none=True, metadata={"description": "Of all its fish"}
    )
    mass_words = fields.String(
        dump_only=True, metadata={"description": "How the mass is known, or why it is unknown"}
    )
    short = fields.Integer(
        dump_only=True,
        allow_none=True,
        metadata={"description": "Heads under the wanted number; null if none is wanted"},
    )
    restock = fields.Nested(
        RestockSchema,
        dump_only=True,
        allow_none=True,
        metadata={"description": "How it can be made whole; null if none are wanted"},
    )


class GroupSampleSchema(HappeningSchema):
    group = RecordId(Group.PLURAL, required=True, metadata={"description": "Id of the group"})
    sampled_at = Instant(attribute="sampled_at_ms", metadata={"description": "When; now if not said"})
    measured = Whole(1, MOST_FISH, metadata={"description": "How many fish; 1 if not said"})
    length = QuantityField(
        "length",
        gt=0,
        le=LONGEST_FISH,
        allow_none=True,
        metadata={"description": "Mean of one fish, standard length"},
    )
    mass = QuantityField(
        "mass", gt=0, le=HEAVIEST_FISH, allow_none=True, metadata={"description": "Mean of one fish"}
    )
    words = Words(allow_none=True)


def of_group(model: Any) -> Filter:
    """The list filter of one group's records."""
    return Filter(
        Identity(Group.PLURAL, metadata={"description": "Only those of this group."}),
        lambda session, one: model.group_id == find_happening(session, Group.NOUN, str(one)).id,
    )


def stock_in(call: Call) -> Stock:
    """The room's ledger, read once a request."""
    found: Stock | None = call.session.info.get("stock")
    if found is None:
        found = call.session.info["stock"] = stock_of(call.session)
    return found


def _group_facts(call: Call, row: Group) -> dict[str, Any]:
    stock = stock_in(call)
    heads = stock.heads.get(row.id, 0)
    came = stock.first_came_ms(row.id)
    weight = weight_of(call.session, row, call.now)
    known = None if isinstance(weight, Absent) else weight
    plan = plan_restock(call.session, row, heads, call.now) if row.retired_at_ms is None else None
    return {
        "heads": heads,
        "since": None if came is None else instant_text(came),
        "fish_mass": known and _grams(known.each),
        "group_mass": known and _grams(known.each * heads),
        "mass_words": f"Unknown. {weight.why}" if isinstance(weight, Absent) else weight.words,
        "short": None if row.wanted is None else max(0, row.wanted - heads),
        "restock": None if plan is None else _restock(plan),
    }


def _grams(kg: float) -> dict[str, Any]:
    shown = Quantity(kg, "kg").to("g", "mass")
    return Quantity(six(shown.value), shown.unit).as_json()


def _restock(plan: Restock) -> dict[str, Any]:
    return {
        "short": plan.short,
        "batches": [
            {
                "tank": one.tank,
                "number": one.number,
                "enters": instant_text(one.from_ms),
                "leaves": instant_text(one.released_ms),
            }
            for one in plan.batches
        ],
        "complete_on": None if plan.complete_ms is None else instant_text(plan.complete_ms),
        "why": plan.why,
        "assumptions": list(plan.assumptions),
    }


def _sample(call: Call, values: dict[str, Any]) -> dict[str, Any]:
    told = with_instant(call, values, "sampled_at")
    heads = heads_of(stock_in(call).lines, told["sampled_at_ms"]).get(uuid.UUID(told["group"]), 0)
    if 0 < heads < told["measured"]:
        raise Invalid(f"This group had {heads} at that time: no more can be measured.", "/measured")
    return told


def _short(session: Any, wanted: bool) -> Any:
    heads = stock_of(session).heads
    under = [
        group.id
        for group in session.scalars(sa.select(Group)).unique()
        if group.wanted is not None and heads.get(group.id, 0) < group.wanted
    ]
    return Group.id.in_(under) if wanted else Group.id.not_in(under)


def _in_system(session: Any, handle: str) -> Any:
    system = find(session, System, handle)
    where = whereabouts(session, 1 << 62)
    return Group.tank_id.in_([tank for tank, owner in where.system_of_vessel.items() if owner == system.id])


SPECIES = Resource(
    model=Species,
    schema=SpeciesSchema,
    words="A species or form that you keep, and what it needs by sources of your own.",
    example={
        "name": "Celebes rainbowfish",
        "scientific_name": "Marosatherina ladigesi",
        "adult_length": "9 cm",
        "temperature": {"low": "23 degC", "high": "27 degC"},
        "ph": {"low": 6.8, "high": 8},
        "school_size": 8,
    },
    example_key="dwarf-rainbowfish",
    example_delete="striped-goby",
    example_patch={"school_size": 10},
)


def add_routes(blp: Blueprint) -> None:
    """A group's samples, under its own path."""
    sent = derived("SampleOfGroup", GroupSampleSchema, {})(exclude=[*SERVICE_MADE, "group"])

    @operation(
        blp,
        "GET",
        "/groups/<uuid:id>/samples",
        id="list_group_samples",
        summary="Samples of a group's size",
        description="Newest first. All groups' samples stand at /v1/samples.",
        roles=READERS,
        query=PageQuery,
        formats=("json", "csv"),
        returns=page_of(GroupSampleSchema),
        problems=(413,),
        example=Example(path={"id": GROUP_KEY}),
    )
    def samples(call: Call, id: uuid.UUID) -> Response:
        locate(call, GROUPS, {"id": id})
        call.query["group"] = id
        return listing(call, SAMPLES)

    @operation(
        blp,
        "POST",
        "/groups/<uuid:id>/samples",
        id="create_group_sample_of_group",
        summary="Tell length or mass of some of a group's fish",
        description="As POST /v1/samples, with the group named by the path.",
        roles=DAILY,
        body=Body({JSON: sent}, loaded_by(sent)),
        returns=GroupSampleSchema,
        status=201,
        gives=("ETag", "Location"),
        example=Example(
            path={"id": GROUP_KEY},
            body={"measured": 5, "length": "7 cm", "sampled_at": "2026-11-20T11:00:00Z"},
        ),
    )
    def sample(call: Call, id: uuid.UUID) -> Response:
        locate(call, GROUPS, {"id": id})
        values = prepared(call, SAMPLES, {**call.body, "group": str(id)})
        return shown(call, SAMPLES, create(call.session, GroupSample, values, now=call.now), 201)


GROUPS = Resource(
    model=Group,
    schema=GroupSchema,
    words="Fish of one species in one tank; the head count follows from the stock entries, never from an edit.",
    example={"species": "dwarf-rainbowfish", "tank": "nursery", "origin": "Bred here", "wanted": 12},
    example_key=GROUP_KEY,
    example_delete="01936c5e-8f00-7000-8000-0000000000c9",
    example_patch={"wanted": 10},
    filters={
        "species": Filter(
            Handle(metadata={"description": "Only those of this species."}),
            lambda session, handle: Group.species_id == find(session, Species, handle).id,
        ),
        "tank": Filter(
            Handle(metadata={"description": "Only those in this tank."}),
            lambda session, handle: Group.tank_id == find(session, Tank, handle).id,
        ),
        "system": Filter(
            Handle(metadata={"description": "Only those whose tank belongs to this system now."}), _in_system
        ),
        "short": Filter(
            Flag(metadata={"in_query": True, "description": "true: only those under their wanted number."}),
            _short,
        ),
    },
    verbs=("list", "create", "put", "get", "patch", "delete"),
    edit=edit_group,
    describe=_group_facts,
    routes=(add_routes,),
)
SAMPLES = Resource(
    model=GroupSample,
    schema=GroupSampleSchema,
    words="Length or mass of some fish of a group on a day; what a group weighs follows from the newest.",
    example={
        "group": GROUP_KEY,
        "measured": 5,
        "length": "7 cm",
        "mass": "6.2 g",
        "sampled_at": "2026-11-20T10:00:00Z",
    },
    example_key="01936c5e-8f00-7000-8000-0000000000ca",
    example_patch={"words": "The two largest would not be caught."},
    filters={"group": of_group(GroupSample), **happened_within(GroupSample.sampled_at_ms)},
    defaults={"measured": 1},
    order=("sampled_at_ms", "id"),
    descending=True,
    verbs=("list", "create", "put", "get", "patch", "delete"),
    makers=DAILY,
    prepare=_sample,
)
