"""How groups take their foods, by eye: single scores, and what they come to by group and food."""

from __future__ import annotations

from typing import Any

from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.sum_responses import RESPONSE_COLUMNS, sum_responses
from weirbook.record.fish import FeedingResponse, Group, Species
from weirbook.record.names import find
from weirbook.web.access import DAILY, READERS
from weirbook.web.fields import Handle, Instant, QuantityField, RecordId, Reference, Words
from weirbook.web.fish import GROUP_KEY, of_group
from weirbook.web.happened import happened, happened_within
from weirbook.web.operations import Call, operation, reply
from weirbook.web.records import HappeningSchema
from weirbook.web.resource import Resource
from weirbook.web.shapes import (
    COUNT,
    INSTANT,
    NUMBER,
    QUANTITY,
    TEXT,
    Shape,
    described,
    many,
    or_null,
    ref,
    thing,
)
from weirbook.web.sheets import as_csv, flat

SHAPES: dict[str, Shape] = {
    "ResponseByFeed": thing(
        {
            "group": described({"type": "string", "format": "uuid"}, "Id of the group"),
            "called": described(TEXT, "Its name, or its species and tank"),
            "species": described(TEXT, "Handle of its species"),
            "feed": described(TEXT, "Handle of the feed"),
            "protein": described(or_null(QUANTITY), "Of the feed, by its label; null: not recorded"),
            "count": described(COUNT, "Scores taken"),
            "mean": described(NUMBER, "0 not at all, 10 at once and all of them"),
            "lowest": described(NUMBER, "The poorest of them"),
            "highest": described(NUMBER, "The best of them"),
            "last": described(NUMBER, "The newest"),
            "last_at": described(INSTANT, "When that was"),
        }
    )
}


class ByFeedQuery(Schema):
    species = Handle(metadata={"description": "Only groups of this species."})


class FeedingResponseSchema(HappeningSchema):
    group = RecordId(Group.PLURAL, required=True, metadata={"description": "Id of the group"})
    feed = Reference(required=True, metadata={"description": "Handle of the feed"})
    seen_at = Instant(attribute="seen_at_ms", metadata={"description": "When; now if not said"})
    response = QuantityField(
        "score",
        ge=0,
        le=10,
        required=True,
        metadata={"description": "By eye: 0 not at all, 10 at once and all of them"},
    )
    words = Words(allow_none=True)


def add_routes(blp: Blueprint) -> None:
    """What the scores come to."""

    @operation(
        blp,
        "GET",
        "/feeding-responses/by-feed",
        id="list_responses_by_feed",
        summary="How each group takes each food, and what its protein is",
        description=(
            "One row a group and food, the best taken first within a group. Few scores say little: look at `count`; hunger, "
            "hour and temperature move them as well."
        ),
        roles=READERS,
        query=ByFeedQuery,
        formats=("json", "csv"),
        returns=thing({"items": many(ref("ResponseByFeed"))}),
        problems=(404, 413),
    )
    def by_feed(call: Call) -> Response:
        species = find(call.session, Species, call.query["species"]) if "species" in call.query else None
        rows: list[dict[str, Any]] = sum_responses(call.session, species)
        if call.format == "csv":
            return as_csv(call, [flat(row) for row in rows], RESPONSE_COLUMNS)
        return reply({"items": rows})


FEEDING_RESPONSES = Resource(
    model=FeedingResponse,
    schema=FeedingResponseSchema,
    words="How a group took a food, by eye, on the scale of the parameter feeding_response. Newest first.",
    example={
        "group": GROUP_KEY,
        "feed": "green-flakes",
        "response": 8,
        "seen_at": "2026-11-20T10:00:00Z",
    },
    example_key="01936c5e-8f00-7000-8000-0000000000cb",
    example_patch={"response": 7},
    filters={"group": of_group(FeedingResponse), **happened_within(FeedingResponse.seen_at_ms)},
    order=("seen_at_ms", "id"),
    descending=True,
    verbs=("list", "create", "put", "get", "patch", "delete"),
    makers=DAILY,
    prepare=happened("seen_at"),
    routes=(add_routes,),
)
