"""The return line of a pump: pieces of pipe, fittings, outlets."""

from __future__ import annotations

from typing import Any

from marshmallow import ValidationError, fields, validates_schema
from marshmallow.validate import Length

from weirbook.engine.relations.pipes import SIZES
from weirbook.web.fields import Choice, Flag, Handle, QuantityField, Whole, Words
from weirbook.web.places import LONGEST, StrictSchema

MOST_PIECES = 50
MOST_BRANCHES = 20


def _count(words: str) -> Whole:
    return Whole(0, 100, metadata={"description": f"{words}; none if not said"})


def _level(words: str) -> QuantityField:
    return QuantityField("length", ge=-LONGEST, le=LONGEST, metadata={"description": words})


OUTLET = "Of the outlet against the tank's running water: above it, or below as a negative height; at the water if not said"
AIR_HOLE = "Of the highest air hole, which ends a siphon, against the tank's running water (negative: below it); none if not said"
OPENING = "Open share of its throttle valve; no valve if not said"


class PieceSchema(StrictSchema):
    """One piece of pipe with its fittings."""

    branch = Words(cap=60, metadata={"description": "Branch it belongs to; the common part if not said"})
    size = Choice(tuple(SIZES), metadata={"description": "Nominal size; or say the diameter"})
    diameter = QuantityField(
        "length", gt=0, le=1, metadata={"description": "Inside diameter; or say the size"}
    )
    length = QuantityField("length", gt=0, le=1000, metadata={"description": "Left out: fittings alone"})
    roughness = QuantityField(
        "length", ge=0, le=0.01, metadata={"description": "Of its wall; smooth plastic if not said"}
    )
    elbows = _count("Elbows of 90 degrees, short")
    long_elbows = _count("Elbows of 90 degrees, long radius")
    half_elbows = _count("Elbows of 45 degrees")
    return_bends = _count("Bends of 180 degrees")
    tees_run = _count("Tees passed straight on")
    tees_branch = _count("Tees passed round the corner")
    gate_valves = _count("Gate valves, open")
    ball_valves = _count("Ball valves, open")
    check_valves = _count("Check valves")
    k = QuantityField(
        "number",
        ge=0,
        le=1e6,
        metadata={"description": "Loss coefficient of all else in it, on its velocity head"},
    )

    @validates_schema
    def one_bore(self, data: dict[str, Any], **kwargs: Any) -> None:
        if (data.get("size") is None) == (data.get("diameter") is None):
            raise ValidationError("Say the bore once: a nominal size, or the inside diameter.", "diameter")


class BranchSchema(StrictSchema):
    """One end of a line that parts."""

    name = Words(cap=60, required=True)
    tank = Handle(required=True, metadata={"description": "Tank it delivers to"})
    outlet_level = _level(OUTLET)
    air_hole_level = _level(AIR_HOLE)
    valve_opening = QuantityField("fraction", ge=0, le=1, metadata={"description": OPENING})


class LineSchema(StrictSchema):
    """The return line of a pump."""

    pieces = fields.List(
        fields.Nested(PieceSchema),
        validate=Length(max=MOST_PIECES, error=f"At most {MOST_PIECES} pieces."),
        metadata={"description": "Pieces of pipe, in flow order", "maxItems": MOST_PIECES},
    )
    branches = fields.List(
        fields.Nested(BranchSchema),
        validate=Length(max=MOST_BRANCHES, error=f"At most {MOST_BRANCHES} branches."),
        metadata={
            "description": "Its ends, where it leads to several; each has pieces of its own",
            "maxItems": MOST_BRANCHES,
        },
    )
    outlet_level = _level(OUTLET)
    air_hole_level = _level(AIR_HOLE)
    valve_opening = QuantityField(
        "fraction", ge=0, le=1, metadata={"description": f"{OPENING}; in the common part"}
    )
    check_valve = Flag(
        metadata={"description": "Whether a check valve shall hold its water; it is never relied on alone"}
    )
