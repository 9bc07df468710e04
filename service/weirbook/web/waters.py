"""Source waters, what is in them, water prepared from them, and water that is exchanged."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from marshmallow import fields
from marshmallow.validate import Length

from weirbook.actions.set_up_water import refuse_more_than_there_is, report_values
from weirbook.engine.relations.chemistry import COMPOUNDS
from weirbook.errors import Invalid
from weirbook.record.names import find
from weirbook.record.places import Sump, System, Tank
from weirbook.record.waters import (
    CHANGE_STATES,
    DONE,
    EXCHANGES,
    KINDS,
    PLANNED,
    Preparation,
    SourceWater,
    StandingExchange,
    WaterChange,
    WaterReport,
)
from weirbook.web.access import DAILY
from weirbook.web.equipment import at_place
from weirbook.web.fields import (
    Choice,
    Computed,
    Handle,
    Instant,
    LooseQuantity,
    PlaceReference,
    QuantityField,
    Reference,
    Words,
)
from weirbook.web.happened import happened_within, with_instant
from weirbook.web.operations import Call
from weirbook.web.places import LONGEST, StrictSchema
from weirbook.web.records import HappeningSchema, NamedSchema
from weirbook.web.resource import Filter, Resource

MOST_VALUES, MOST_PARTS = 60, 20
MOST_WATER = 1000.0
"""m3: no store or change of a room is larger; a larger figure is a slip of the unit."""
PLANNED_AHEAD_MS = 400 * 86_400_000
_DONE_AHEAD = "What is done can't lie ahead of now: send changed_at too, the instant it was done (null: now), or state planned."


class SourceWaterSchema(NamedSchema):
    kind = Choice(KINDS, required=True, metadata={"description": "Where it comes from"})


class ReportValueSchema(StrictSchema):
    """One line of a water report."""

    parameter = Words(
        cap=60,
        required=True,
        metadata={"description": "One of /v1/parameters, or calcium, magnesium, sodium, sulfate"},
    )
    value = LooseQuantity(required=True, metadata={"description": "With its unit"})


class WaterReportSchema(HappeningSchema):
    source = Reference(required=True, metadata={"description": "Handle of the source water"})
    sampled_at = Instant(
        attribute="sampled_at_ms",
        metadata={
            "description": "When it was sampled, now if not said. A value holds until a later report of its parameter."
        },
    )
    values = fields.List(
        fields.Nested(ReportValueSchema),
        required=True,
        attribute="found",
        validate=Length(min=1, max=MOST_VALUES, error=f"1 to {MOST_VALUES} values."),
        metadata={"description": "Line by line", "minItems": 1, "maxItems": MOST_VALUES},
    )
    tested_by = Words(
        cap=200, allow_none=True, metadata={"description": "Who tested it: the supplier, a lab, a kit"}
    )
    notes = Words(allow_none=True)


class BlendSchema(StrictSchema):
    """One water of a prepared water."""

    source = Handle(required=True, metadata={"description": "Handle of the source water"})
    share = QuantityField(
        "fraction", gt=0, le=1, required=True, metadata={"description": "Of the whole, by volume"}
    )


class AddedSchema(StrictSchema):
    """One compound added to a prepared water."""

    compound = Choice(tuple(COMPOUNDS), required=True, metadata={"description": "What is added"})
    amount = QuantityField(
        "concentration", gt=0, le=100, required=True, metadata={"description": "Of the pure compound"}
    )


class PreparationSchema(HappeningSchema):
    water = Reference(required=True, metadata={"description": "The prepared water's handle"})
    valid_from = Instant(
        required=True,
        attribute="valid_from_ms",
        metadata={"description": "Made so from this instant on, until its next preparation"},
    )
    store = Reference(allow_none=True, metadata={"description": "Tank in which it stands ready"})
    volume = QuantityField(
        "volume", gt=0, le=MOST_WATER, allow_none=True, metadata={"description": "That is made at once"}
    )
    blend = fields.List(
        fields.Nested(BlendSchema),
        required=True,
        validate=Length(min=1, max=MOST_PARTS, error=f"1 to {MOST_PARTS} waters."),
        metadata={
            "description": "Waters it is made of; their shares are a whole",
            "minItems": 1,
            "maxItems": MOST_PARTS,
        },
    )
    adds = fields.List(
        fields.Nested(AddedSchema),
        allow_none=True,
        validate=Length(max=MOST_PARTS, error=f"At most {MOST_PARTS} compounds."),
        metadata={"description": "Compounds dissolved in it", "maxItems": MOST_PARTS},
    )
    notes = Words(allow_none=True)


class StandingExchangeSchema(HappeningSchema):
    system = Reference(required=True, metadata={"description": "System it runs into"})
    kind = Choice(
        EXCHANGES,
        required=True,
        metadata={
            "description": "drip: new water runs in and old runs off; top_off: only what evaporates is replaced"
        },
    )
    valid_from = Instant(
        required=True,
        attribute="valid_from_ms",
        metadata={"description": "Runs so from this instant on, until the system's next of this kind"},
    )
    flow = QuantityField(
        "flow", ge=0, le=0.01, required=True, metadata={"description": "On average; 0 ends it"}
    )
    source = Reference(allow_none=True, metadata={"description": "Water that runs in"})
    notes = Words(allow_none=True)


class WaterChangeSchema(HappeningSchema):
    place = PlaceReference(
        required=True, metadata={"description": "System, tank or sump whose water was changed"}
    )
    changed_at = Instant(
        attribute="changed_at_ms",
        metadata={"description": "When; now if not said. A planned one may lie ahead"},
    )
    state = Choice(
        CHANGE_STATES, metadata={"description": "done if not said; what is planned counts nowhere until done"}
    )
    volume = QuantityField(
        "volume",
        gt=0,
        le=MOST_WATER,
        allow_none=True,
        metadata={"description": "Taken out and replaced; or say the level_drop"},
    )
    level_drop = QuantityField(
        "length",
        gt=0,
        le=LONGEST,
        allow_none=True,
        metadata={"description": "How far the level of this tank or sump was let down"},
    )
    source = Reference(
        allow_none=True, metadata={"description": "Water that came in; the usual one if not said"}
    )
    temperature = QuantityField(
        "temperature",
        ge=273.15,
        le=323.15,
        allow_none=True,
        metadata={"description": "Of the water that came in"},
    )
    volume_changed = Computed(
        "volume", attribute="volume_si", metadata={"description": "As told, or the drop over the open water"}
    )
    words = Words(allow_none=True)


def _of_source(model: Any, column: str) -> Filter:
    return Filter(
        Handle(metadata={"description": "Only those of this water."}),
        lambda session, handle: getattr(model, column) == find(session, SourceWater, handle).id,
    )


def _within_system(session: Any, handle: str) -> Any:
    """Changes of a system's water: told of itself, of a tank that belongs to it now, or of a sump."""
    system = find(session, System, handle).id
    return sa.or_(
        WaterChange.place_id == system,
        sa.select(Tank.id).where(Tank.id == WaterChange.place_id, Tank.system_id == system).exists(),
        sa.select(Sump.id).where(Sump.id == WaterChange.place_id, Sump.system_id == system).exists(),
    )


def _report(call: Call, values: dict[str, Any]) -> dict[str, Any]:
    return report_values(call.session, with_instant(call, values, "sampled_at"))


def _change(call: Call, values: dict[str, Any]) -> dict[str, Any]:
    complete = _timed_change(call, values)
    refuse_more_than_there_is(call.session, complete)
    return complete


def _timed_change(call: Call, values: dict[str, Any]) -> dict[str, Any]:
    if values.get("state") != PLANNED:
        return with_instant(call, values, "changed_at", _DONE_AHEAD)
    if values.get("changed_at_ms") is None:
        raise Invalid("Say when it is planned.", "/changed_at")
    if values["changed_at_ms"] > call.now + PLANNED_AHEAD_MS:
        raise Invalid("Plans reach 400 days ahead.", "/changed_at")
    return values


SOURCE_WATERS = Resource(
    model=SourceWater,
    schema=SourceWaterSchema,
    words="A water that tanks are filled from; what is in it stands in its water reports.",
    example={"name": "Village well", "kind": "well"},
    example_key="tap",
    example_delete="old-cistern",
    example_patch={"notes": "Softer in winter."},
)
WATER_REPORTS = Resource(
    model=WaterReport,
    schema=WaterReportSchema,
    words="What was found in a source water on a day, in the order of the report. Newest first.",
    example={
        "source": "tap",
        "sampled_at": "2026-11-02T08:00:00Z",
        "tested_by": "Test kits",
        "values": [
            {"parameter": "nitrate", "value": "12 mg/L NO3"},
            {"parameter": "alkalinity", "value": "5 dKH"},
        ],
    },
    example_key="01936c5e-8f00-7000-8000-0000000000b3",
    example_patch={"tested_by": "The supplier"},
    filters={"source": _of_source(WaterReport, "source_id"), **happened_within(WaterReport.sampled_at_ms)},
    order=("sampled_at_ms", "id"),
    descending=True,
    verbs=("list", "create", "put", "get", "patch", "delete"),
    prepare=_report,
)
PREPARATIONS = Resource(
    model=Preparation,
    schema=PreparationSchema,
    words="How a prepared water is made from a day on: of which waters, with what added, where it stands.",
    example={
        "water": "soft-mix",
        "valid_from": "2026-11-10T00:00:00Z",
        "store": "rain-barrel",
        "volume": "120 L",
        "blend": [{"source": "rain", "share": "80 %"}, {"source": "tap", "share": "20 %"}],
    },
    example_key="01936c5e-8f00-7000-8000-0000000000b4",
    example_patch={"notes": "Stirred overnight."},
    filters={"water": _of_source(Preparation, "water_id")},
    verbs=("list", "create", "put", "get", "patch", "delete"),
)
STANDING_EXCHANGES = Resource(
    model=StandingExchange,
    schema=StandingExchangeSchema,
    words="Water that runs by itself from a day on: a drip that changes water, or an automatic top-off.",
    example={
        "system": "rill",
        "kind": "drip",
        "valid_from": "2026-11-10T00:00:00Z",
        "flow": "12 L/d",
        "source": "tap",
    },
    example_key="01936c5e-8f00-7000-8000-0000000000b5",
    example_patch={"flow": "7 L/d"},
    filters={
        "system": Filter(
            Handle(metadata={"description": "Only those of this system."}),
            lambda session, handle: StandingExchange.system_id == find(session, System, handle).id,
        )
    },
    verbs=("list", "create", "put", "get", "patch", "delete"),
)
WATER_CHANGES = Resource(
    model=WaterChange,
    schema=WaterChangeSchema,
    words="Water taken out and replaced, or planned to be. Newest first.",
    example={
        "place": "systems/rill",
        "volume": "150 L",
        "source": "tap",
        "temperature": "24 degC",
        "changed_at": "2026-11-20T10:00:00Z",
    },
    example_key="01936c5e-8f00-7000-8000-0000000000b6",
    example_patch={"words": "Hose slipped; a little more than usual."},
    filters={
        "place": at_place(WaterChange),
        "system": Filter(
            Handle(metadata={"description": "Only those of this system's water, its tanks' and sumps'."}),
            _within_system,
        ),
        **happened_within(WaterChange.changed_at_ms),
    },
    defaults={"state": DONE},
    order=("changed_at_ms", "id"),
    descending=True,
    verbs=("list", "create", "put", "get", "patch", "delete"),
    makers=DAILY,
    prepare=_change,
)
