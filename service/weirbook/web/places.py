"""Systems, tanks, sumps and sections."""

from __future__ import annotations

from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields, validates_schema

from weirbook.engine.relations.structure import SHAPES
from weirbook.record.names import find
from weirbook.record.places import TANK_USES, Sump, System, Tank
from weirbook.web.fields import (
    Choice,
    Computed,
    Day,
    Flag,
    Handle,
    Part,
    PlaceReference,
    QuantityField,
    Reference,
    Variant,
    Whole,
)
from weirbook.web.records import NamedSchema
from weirbook.web.resource import Filter, Resource

LONGEST = 30.0
"""Metres: no tank of a room is longer; a larger figure is a slip of the unit."""


def size(**said: Any) -> QuantityField:
    """An inside dimension: more than nothing, less than a hall."""
    return QuantityField("length", gt=0, le=LONGEST, **said)


class StrictSchema(Schema):
    class Meta:
        unknown = RAISE


def _footprint_shapes() -> dict[str, Schema]:
    shapes = {}
    for shape, names in SHAPES.items():
        dims: dict[str, Any] = {
            name: Whole(3, 24, required=True) if name == "sides" else size(required=True) for name in names
        }
        shapes[shape] = type(f"Footprint{shape.title().replace('_', '')}", (StrictSchema,), dims)()
    return shapes


class SystemSchema(NamedSchema):
    pass


class DrainSchema(StrictSchema):
    """One drain of an overflow."""

    kind = Choice(
        ("siphon", "gravity", "standby"),
        required=True,
        metadata={"description": "Runs full, runs along its wall, or waits for the others to fail"},
    )
    diameter = QuantityField("length", gt=0, le=1, required=True, metadata={"description": "Inside diameter"})
    length = size(metadata={"description": "Of its pipe, from lip to outlet"})
    drop = size(metadata={"description": "From the lip to the outlet or to the water it ends under"})
    lip_depth = QuantityField(
        "length",
        ge=0,
        le=LONGEST,
        metadata={"description": "How far its mouth lies below the overflow's edge"},
    )
    elbows = Whole(0, 50, metadata={"description": "Elbows of 90 degrees on its way; none if not said"})
    valve_opening = QuantityField(
        "fraction", ge=0, le=1, metadata={"description": "Open share of its valve; no valve if not said"}
    )
    run_slope = QuantityField(
        "fraction",
        gt=0,
        le=1,
        metadata={"description": "Fall over length of its flattest run; straight down if not said"},
    )

    @validates_schema
    def long_enough(self, data: dict[str, Any], **kwargs: Any) -> None:
        length, drop = data.get("length"), data.get("drop")
        if length is not None and drop is not None and length.si("length") < drop.si("length") * (1 - 1e-9):
            raise ValidationError("The pipe is shorter than its drop.", "length")


class OverflowSchema(StrictSchema):
    """Where the tank spills into its drains."""

    edge_length = size(required=True, metadata={"description": "Length of the edge that water spills over"})
    toothed = Flag(metadata={"description": "Whether the edge is a comb"})
    open_fraction = QuantityField(
        "fraction", gt=0, le=1, metadata={"description": "Open share of a toothed edge; 1 if plain"}
    )
    slot_width = size(metadata={"description": "Of one gap between the teeth"})
    crest_height = QuantityField(
        "length", gt=0, le=LONGEST, metadata={"description": "Above the tank's inside base"}
    )
    box_length = size(metadata={"description": "Inside, of the overflow's box"})
    box_width = size(metadata={"description": "Inside, of the overflow's box"})
    box_depth = size(metadata={"description": "Inside, below the edge"})
    drains = fields.List(fields.Nested(DrainSchema), metadata={"description": "Its drains", "maxItems": 20})

    @validates_schema
    def few_drains(self, data: dict[str, Any], **kwargs: Any) -> None:
        if len(data.get("drains") or []) > 20:
            raise ValidationError("At most 20 drains.", "drains")
        for name, words in (("open_fraction", "An open share"), ("slot_width", "A slot")):
            if data.get(name) is not None and not data.get("toothed"):
                raise ValidationError(
                    f"{words} belongs to a toothed edge: set toothed to true, or leave it out.", name
                )


class TankSchema(NamedSchema):
    system = Reference(
        required=True, metadata={"description": "Handle of the system it is in; its past is kept."}
    )
    use = Choice(TANK_USES, required=True, metadata={"description": "What the tank is for"})
    footprint = Variant(
        "shape",
        _footprint_shapes(),
        required=True,
        metadata={
            "description": "Shape and inside dimensions: "
            + "; ".join(f"{s}: {', '.join(n)}" for s, n in SHAPES.items())
        },
    )
    base_height = QuantityField(
        "length",
        ge=-10,
        le=LONGEST,
        allow_none=True,
        metadata={"description": "Of the inside base above the floor"},
    )
    rim_height = size(allow_none=True, metadata={"description": "Above the inside base"})
    water_depth = size(required=True, metadata={"description": "Running water depth above the inside base"})
    substrate_depth = QuantityField(
        "length", ge=0, le=LONGEST, allow_none=True, metadata={"description": "Mean depth of sand or gravel"}
    )
    substrate_porosity = QuantityField(
        "fraction",
        ge=0,
        lt=1,
        allow_none=True,
        metadata={"description": "Share of the bed that is gaps; 40 % if not said (common practice)"},
    )
    hardscape_volume = QuantityField(
        "volume",
        ge=0,
        le=1000,
        allow_none=True,
        metadata={"description": "Rock and wood under water; or give the mass"},
    )
    hardscape_mass = QuantityField(
        "mass",
        ge=0,
        le=1e6,
        allow_none=True,
        metadata={"description": "Rock under water, taken as 2650 kg/m3"},
    )
    vessel_mass = QuantityField(
        "mass", gt=0, le=1e6, allow_none=True, metadata={"description": "Of the empty tank with its braces"}
    )
    overflow = Part(
        OverflowSchema, allow_none=True, metadata={"description": "Where the tank spills into its drains"}
    )
    drains_to = PlaceReference(
        allow_none=True,
        metadata={
            "description": "Section or tank of its system that its overflow leads to, as its path, like "
            "sections/rack-settling-1; null: the first section of the system's only sump"
        },
    )
    set_up_on = Day(allow_none=True, metadata={"description": "The day the tank was set up"})
    last_reset_on = Day(
        allow_none=True, metadata={"description": "The day it was last emptied and begun anew"}
    )
    gross_volume = Computed(
        "volume", attribute="gross_volume_si", metadata={"description": "Plan area times running water depth"}
    )
    net_volume = Computed(
        "volume", attribute="net_volume_si", metadata={"description": "Gross less substrate and hardscape"}
    )


class SumpSchema(NamedSchema):
    system = Reference(required=True)
    length = size(required=True)
    width = size(required=True)
    height = size(required=True)
    base_height = QuantityField(
        "length",
        ge=-10,
        le=LONGEST,
        allow_none=True,
        metadata={"description": "Of the inside base above the floor"},
    )
    closed = Flag(
        metadata={
            "description": "Whether it is a closed unit that stands full, as a canister; false if not said"
        }
    )
    drains_to = PlaceReference(
        allow_none=True,
        metadata={
            "description": "Of a unit that a side loop feeds: section or tank that it drains back to, as its path; null: its "
            "water is pumped on to tanks"
        },
    )
    brim_volume = Computed(
        "volume", attribute="brim_volume_si", metadata={"description": "Length times width times height"}
    )


def in_system() -> dict[str, Filter]:
    """The list filter of what belongs to a system."""

    def where(model: Any) -> Filter:
        return Filter(
            Handle(metadata={"description": "Only those in this system."}),
            lambda session, handle: model.system_id == find(session, System, handle).id,
        )

    return {"tank": where(Tank), "sump": where(Sump)}


SYSTEMS = Resource(
    model=System,
    schema=SystemSchema,
    words="Water that mixes: one or more tanks with the sumps and sections they share.",
    example={"name": "Mill race"},
    example_key="rill",
    example_delete="spare-corner",
    example_patch={"notes": "Fed from the rain barrel since spring."},
)
TANKS = Resource(
    model=Tank,
    schema=TankSchema,
    words="A vessel with animals, or one that stores or mixes water.",
    example={
        "name": "Back shelf",
        "system": "rill",
        "use": "grow-out",
        "footprint": {"shape": "rectangle", "length": "120 cm", "width": "50 cm"},
        "rim_height": "55 cm",
        "water_depth": "50 cm",
        "substrate_depth": "3 cm",
    },
    example_key="nursery",
    example_delete="empty-cube",
    example_patch={"water_depth": "19 in"},
    filters={"system": in_system()["tank"]},
)
SUMPS = Resource(
    model=Sump,
    schema=SumpSchema,
    words="A vessel below or beside the tanks, cut by baffles into sections.",
    example={"name": "Spare sump", "system": "rill", "length": "100 cm", "width": "45 cm", "height": "45 cm"},
    example_key="rack",
    example_delete="old-trough",
    example_patch={"base_height": "10 cm"},
    filters={"system": in_system()["sump"]},
    defaults={"closed": False},
)
