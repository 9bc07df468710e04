"""Products and doses."""

from __future__ import annotations

from typing import Any

from marshmallow import fields
from marshmallow.validate import Length

from weirbook.actions.set_up_water import product_values
from weirbook.engine.relations.chemistry import COMPOUNDS
from weirbook.record.doses import KINDS, Dose, Product
from weirbook.record.names import find
from weirbook.web.access import DAILY
from weirbook.web.equipment import at_place
from weirbook.web.fields import (
    Choice,
    Handle,
    Instant,
    LooseQuantity,
    PlaceReference,
    QuantityField,
    Reference,
    Words,
)
from weirbook.web.happened import happened, happened_within
from weirbook.web.operations import Call
from weirbook.web.places import StrictSchema
from weirbook.web.records import HappeningSchema, NamedSchema
from weirbook.web.resource import Filter, Resource

MOST_EFFECTS = 20


class EffectSchema(StrictSchema):
    """What a label says a product raises."""

    parameter = Words(cap=60, required=True, metadata={"description": "One of /v1/parameters, or an ion"})
    effect = LooseQuantity(required=True, metadata={"description": "By how much, with its unit"})


class ProductSchema(NamedSchema):
    kind = Choice(KINDS, metadata={"description": "other if not said"})
    effects = fields.List(
        fields.Nested(EffectSchema),
        allow_none=True,
        validate=Length(max=MOST_EFFECTS, error=f"At most {MOST_EFFECTS} effects."),
        metadata={
            "description": "What the label says that much of it raises in that much water",
            "maxItems": MOST_EFFECTS,
        },
    )
    mass = QuantityField(
        "mass",
        gt=0,
        le=100,
        allow_none=True,
        metadata={"description": "The label's amount, of a dry product"},
    )
    volume = QuantityField(
        "volume", gt=0, le=1, allow_none=True, metadata={"description": "The label's amount, of a liquid one"}
    )
    treats = QuantityField(
        "volume",
        gt=0,
        le=1000,
        allow_none=True,
        metadata={"description": "How much water the label's amount is for"},
    )


class DoseSchema(HappeningSchema):
    place = PlaceReference(required=True, metadata={"description": "Where it went in; all water that mixes"})
    dosed_at = Instant(attribute="dosed_at_ms", metadata={"description": "When; now if not said"})
    product = Reference(allow_none=True, metadata={"description": "Product; or a compound"})
    compound = Choice(tuple(COMPOUNDS), allow_none=True, metadata={"description": "Compound; or a product"})
    mass = QuantityField(
        "mass", gt=0, le=1000, allow_none=True, metadata={"description": "Weighed out; or the volume"}
    )
    volume = QuantityField(
        "volume", gt=0, le=1, allow_none=True, metadata={"description": "Of a liquid product or a stock"}
    )
    strength = QuantityField(
        "concentration",
        gt=0,
        le=2000,
        allow_none=True,
        metadata={"description": "Of the stock: compound in each litre of it"},
    )
    words = Words(allow_none=True)


def _product(call: Call, values: dict[str, Any]) -> dict[str, Any]:
    return product_values(call.session, values)


PRODUCTS = Resource(
    model=Product,
    schema=ProductSchema,
    words="A bought product, and what its label says so much of it does to so much water.",
    example={
        "name": "Nitrate drops",
        "kind": "fertiliser",
        "effects": [{"parameter": "nitrate", "effect": "5 mg/L NO3"}],
        "volume": "10 mL",
        "treats": "100 L",
    },
    example_key="plant-feed",
    example_delete="old-bottle",
    example_patch={"notes": "Opened in October."},
    defaults={"kind": "other"},
    prepare=_product,
)
DOSES = Resource(
    model=Dose,
    schema=DoseSchema,
    words="What was added to the water. Newest first.",
    example={
        "place": "systems/rill",
        "compound": "sodium_bicarbonate",
        "mass": "20 g",
        "dosed_at": "2026-11-20T09:00:00Z",
    },
    example_key="01936c5e-8f00-7000-8000-0000000000b7",
    example_patch={"words": "Dissolved in a jug first."},
    filters={
        "place": at_place(Dose),
        "product": Filter(
            Handle(metadata={"description": "Only those of this product."}),
            lambda session, handle: Dose.product_id == find(session, Product, handle).id,
        ),
        **happened_within(Dose.dosed_at_ms),
    },
    order=("dosed_at_ms", "id"),
    descending=True,
    verbs=("list", "create", "put", "get", "patch", "delete"),
    makers=DAILY,
    prepare=happened("dosed_at"),
)
