"""Systems, tanks, sumps and sections."""

from __future__ import annotations

from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields, validates_schema

from weirbook.engine.relations.structure import SHAPES
from weirbook.record.names import find
from weirbook.record.places import DIRECTIONS, SECTION_USES, TANK_USES, Section, Sump, System, Tank
from weirbook.web.fields import (
    Choice,
    Computed,
    Day,
    Flag,
    Handle,
    Part,
    QuantityField,
    Reference,
    Variant,
    Whole,
    Words,
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
    length = size()
    drop = size(metadata={"description": "From the lip to the outlet or to the water it ends under"})


class OverflowSchema(StrictSchema):
    """Where the tank spills into its drains."""

    edge_length = size(required=True, metadata={"description": "Length of the edge that water spills over"})
    toothed = Flag(metadata={"description": "Whether the edge is a comb"})
    open_fraction = QuantityField(
        "fraction", gt=0, le=1, metadata={"description": "Open share of a toothed edge; 1 if plain"}
    )
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
        if data.get("open_fraction") is not None and not data.get("toothed"):
            raise ValidationError(
                "An open share belongs to a toothed edge: set toothed to true, or leave it out.",
                "open_fraction",
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
    overflow = Part(
        OverflowSchema, allow_none=True, metadata={"description": "Where the tank spills into its drains"}
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
    brim_volume = Computed(
        "volume", attribute="brim_volume_si", metadata={"description": "Length times width times height"}
    )


class BaffleSchema(StrictSchema):
    """How water passes to the next section."""

    passes = Choice(
        ("over", "under", "both"),
        required=True,
        metadata={"description": "Over a crest, under the baffle, or both"},
    )
    crest_height = size(metadata={"description": "Of the edge that water falls over, above the sump's base"})
    gap_height = size(metadata={"description": "Of the slot that water passes under"})

    @validates_schema
    def sizes_match(self, data: dict[str, Any], **kwargs: Any) -> None:
        passes = data.get("passes")
        for name, needed in (
            ("crest_height", passes in ("over", "both")),
            ("gap_height", passes in ("under", "both")),
        ):
            if (data.get(name) is not None) != needed:
                raise ValidationError(
                    "over wants crest_height, under wants gap_height, both wants both.", name
                )


class MediaSchema(StrictSchema):
    """What fills a section."""

    volume = QuantityField("volume", gt=0, le=1000, required=True, metadata={"description": "Bulk volume"})
    specific_surface = QuantityField(
        "specific_surface", gt=0, le=1e6, metadata={"description": "Surface a bulk volume"}
    )
    porosity = QuantityField(
        "fraction", gt=0, lt=1, metadata={"description": "Share of the bulk that water can fill"}
    )
    grain_size = QuantityField(
        "length", gt=0, le=1, metadata={"description": "Typical size of a grain or piece"}
    )


class LimitsSchema(StrictSchema):
    """Limits that the keeper sets for this section."""

    mean_velocity = QuantityField(
        "velocity", gt=0, le=10, metadata={"description": "Fastest mean velocity through the section"}
    )
    inlet_velocity = QuantityField(
        "velocity", gt=0, le=10, metadata={"description": "Fastest jet at its inlet"}
    )
    shortest_residence = QuantityField(
        "time", gt=0, le=1e7, metadata={"description": "Shortest stay of the water in it"}
    )


_INLETS: dict[str, Schema] = {
    "baffle": type("InletBaffle", (StrictSchema,), {})(),
    "slot": type(
        "InletSlot", (StrictSchema,), {"width": size(required=True), "height": size(required=True)}
    )(),
    "pipe": type(
        "InletPipe", (StrictSchema,), {"diameter": QuantityField("length", gt=0, le=1, required=True)}
    )(),
    "spreader": type("InletSpreader", (StrictSchema,), {"open_area": QuantityField("area", gt=0, le=10)})(),
    "fall": type("InletFall", (StrictSchema,), {"height": size(required=True), "width": size()})(),
}


class SectionSchema(NamedSchema):
    name = Words(cap=120, metadata={"description": "Made of its sump and use if none is sent."})
    sump = Reference(required=True)
    position = Whole(1, 1000, required=True, metadata={"description": "Order along the flow, 1 first"})
    use = Choice(
        SECTION_USES, required=True, metadata={"description": "What it is used for; its past is kept."}
    )
    direction = Choice(DIRECTIONS, required=True, metadata={"description": "Of the water through it"})
    length = size(required=True, metadata={"description": "Along the sump, inside"})
    width = size(allow_none=True, metadata={"description": "Null: the sump's"})
    running_depth = size(allow_none=True, metadata={"description": "Water depth while the pumps run"})
    flow_share = QuantityField(
        "fraction",
        ge=0,
        le=1,
        allow_none=True,
        metadata={
            "description": (
                "Share of the sump's through-flow that enters; null: all. The rest rejoins at the "
                "next section."
            )
        },
    )
    inlet = Variant(
        "kind",
        _INLETS,
        allow_none=True,
        metadata={
            "description": (
                "How water comes in: baffle; slot: width, height; pipe: diameter; spreader: "
                "open_area; fall: height, width"
            )
        },
    )
    baffle = Part(BaffleSchema, allow_none=True, metadata={"description": "To the next section"})
    media = Part(MediaSchema, allow_none=True, metadata={"description": "What fills the section"})
    limits = Part(
        LimitsSchema, allow_none=True, metadata={"description": "Limits that the keeper sets for it"}
    )
    water_volume = Computed(
        "volume",
        attribute="water_volume_si",
        metadata={"description": "At running depth, less the media's solids"},
    )


def in_system() -> dict[str, Filter]:
    """The list filter of what belongs to a system."""

    def where(model: Any) -> Filter:
        return Filter(
            Handle(metadata={"description": "Only those in this system."}),
            lambda session, handle: model.system_id == find(session, System, handle).id,
        )

    return {"tank": where(Tank), "sump": where(Sump)}


def _named_section(call: Any, values: dict[str, Any]) -> dict[str, Any]:
    if not values.get("name"):
        values["name"] = f"{values['sump']} {values['use'].replace('-', ' ')}"[:120]
    return values


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
)
SECTIONS = Resource(
    model=Section,
    schema=SectionSchema,
    words="One filter section of a sump, in flow order.",
    example={
        "sump": "rack",
        "position": 9,
        "use": "planted-rooted",
        "direction": "along",
        "length": "30 cm",
        "running_depth": "25 cm",
        "inlet": {"kind": "slot", "width": "40 cm", "height": "2 cm"},
        "limits": {"inlet_velocity": "5 cm/s"},
    },
    example_key="rack-return-1",
    example_delete="spare-box-other-1",
    example_patch={"running_depth": "22 cm"},
    filters={
        "sump": Filter(
            Handle(metadata={"description": "Only those of this sump."}),
            lambda session, handle: Section.sump_id == find(session, Sump, handle).id,
        )
    },
    order=("sump_id", "position", "id"),
    prepare=_named_section,
)
