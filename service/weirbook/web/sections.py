"""Sections of sumps."""

from __future__ import annotations

from typing import Any

from marshmallow import Schema, ValidationError, validates_schema

from weirbook.record.names import find
from weirbook.record.places import DIRECTIONS, SECTION_USES, Section, Sump
from weirbook.web.fields import (
    Choice,
    Computed,
    Handle,
    Part,
    QuantityField,
    Reference,
    Variant,
    Whole,
    Words,
)
from weirbook.web.places import StrictSchema, size
from weirbook.web.records import NamedSchema
from weirbook.web.resource import Filter, Resource


class BaffleSchema(StrictSchema):
    """How water passes to the next section."""

    passes = Choice(
        ("over", "under", "both", "open"),
        required=True,
        metadata={
            "description": "Over a crest, under the baffle, both; open: nothing parts it from the next"
        },
    )
    crest_height = size(metadata={"description": "Of the edge that water falls over, above the sump's base"})
    gap_height = size(metadata={"description": "Of the slot that water passes under"})
    width = size(
        metadata={"description": "Of crest and slot; the narrower of the sections it parts if not said"}
    )
    crest_breadth = size(
        metadata={"description": "Thickness of the crest along the flow; a sharp edge if not said"}
    )

    @validates_schema
    def sizes_match(self, data: dict[str, Any], **kwargs: Any) -> None:
        passes = data.get("passes")
        for name, needed in (
            ("crest_height", passes in ("over", "both")),
            ("gap_height", passes in ("under", "both")),
        ):
            if (data.get(name) is not None) != needed:
                raise ValidationError(
                    "over wants crest_height, under wants gap_height, both wants both, open neither.", name
                )
        if data.get("crest_breadth") is not None and passes not in ("over", "both"):
            raise ValidationError("Only a crest has a breadth: it belongs to over and both.", "crest_breadth")
        if data.get("width") is not None and passes == "open":
            raise ValidationError("Nothing parts the two: open takes no sizes.", "width")
        if passes == "both" and data["gap_height"].si("length") >= data["crest_height"].si("length"):
            raise ValidationError(
                "The gap reaches up to the crest: between them stands the baffle.", "gap_height"
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
    plant_coverage = QuantityField(
        "fraction",
        ge=0,
        le=1,
        allow_none=True,
        metadata={
            "description": "Of a planted section: share of its surface that plants cover; null: not looked at"
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


def _named_section(call: Any, values: dict[str, Any]) -> dict[str, Any]:
    if not values.get("name"):
        values["name"] = f"{values['sump']} {values['use'].replace('-', ' ')}"[:120]
    return values


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
