"""/v1/room: the one room of the key that asks, and its settings."""

from __future__ import annotations

import re
from typing import Any

from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema, ValidationError, fields

from weirbook.actions.edit_room import edit_room
from weirbook.engine.times import zone
from weirbook.engine.units import KINDS, unit
from weirbook.errors import Invalid
from weirbook.record.rooms import Room
from weirbook.web.access import KEEPER, READERS
from weirbook.web.fields import QuantityField, Words
from weirbook.web.operations import MERGE_PATCH, Body, Call, Example, merge_patch, operation
from weirbook.web.records import RecordSchema
from weirbook.web.resource import Resource, match, patched, shown


class TimeZone(fields.String):
    """An IANA time zone."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str) or len(value) > 60:
            raise ValidationError("Write a time zone like Europe/Lisbon.")
        try:
            zone(value)
        except Invalid as trouble:
            raise ValidationError(trouble.message) from None
        return value


class PreferredUnits(fields.Field[Any]):
    """From kind of quantity to the unit in which answers are shown."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> dict[str, str]:
        if not isinstance(value, dict):
            raise ValidationError('Send kinds and units, like {"flow": "gal/h", "length": "in"}.')
        chosen = {}
        for kind, name in value.items():
            if kind not in KINDS or not isinstance(name, str):
                raise ValidationError(
                    f"{kind!r:.40} is not a kind of quantity. Kinds and units are listed at /v1/units."
                )
            try:
                chosen[kind] = unit(kind, name).name
            except Invalid as trouble:
                raise ValidationError({kind: [trouble.message]}) from None
        return chosen


class Currency(fields.String):
    """Three capital letters (ISO 4217)."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str) or not re.fullmatch("[A-Z]{3}", value):
            raise ValidationError("Write a currency by its three capital letters, like EUR.")
        return value


class RoomSchema(RecordSchema):
    id = fields.UUID(dump_only=True, attribute="public_id")
    name = Words(cap=120, required=True)
    notes = Words(allow_none=True)
    time_zone = TimeZone(
        required=True, metadata={"description": "IANA name; days and weeks are this zone's."}
    )
    preferred_units = PreferredUnits(
        allow_none=True,
        metadata={
            "type": "object",
            "additionalProperties": {"type": "string"},
            "description": "Kind of quantity to unit (/v1/units lists both), for flows, findings and answers from the record. "
            "Words, and answers from what you send, keep the usual units.",
            "example": {"volume": "gal", "flow": "gal/h", "length": "in"},
        },
    )
    altitude = QuantityField(
        "length", ge=-450, le=9000, allow_none=True, metadata={"description": "Above sea level"}
    )
    air_temperature = QuantityField(
        "temperature",
        ge=223.15,
        le=343.15,
        allow_none=True,
        metadata={"description": "Usual air temperature"},
    )
    air_humidity = QuantityField(
        "fraction", ge=0, le=1, allow_none=True, metadata={"description": "Usual relative humidity"}
    )
    currency = Currency(allow_none=True, metadata={"description": "ISO 4217 code", "pattern": "^[A-Z]{3}$"})


ROOM = Resource(
    model=Room,
    schema=RoomSchema,
    words="The room and its settings.",
    example={},
    example_key="",
    example_patch={},
    edit=edit_room,
)


def blueprint() -> Blueprint:
    """GET and PATCH of the room."""
    blp = Blueprint("room", "room", url_prefix="/v1", description="The room and its settings.")

    @operation(
        blp,
        "GET",
        "/room",
        id="get_room",
        summary="The room",
        description=(
            "Its name, time zone, preferred units, altitude, air and currency. A key belongs to one room."
        ),
        roles=READERS,
        returns=RoomSchema,
        gives=("ETag",),
    )
    def get_room(call: Call) -> Response:
        return shown(call, ROOM, call.room)

    patch: Schema = RoomSchema(partial=True, exclude=["id", "version", "created_at", "updated_at"])

    @operation(
        blp,
        "PATCH",
        "/room",
        id="edit_room",
        summary="Change the room's settings",
        description=(
            "A merge-patch, which may call itself application/json, under If-Match. Readings keep "
            "their instants when the time zone changes; days and weeks follow it from then on."
        ),
        roles=KEEPER,
        body=Body({MERGE_PATCH: patch}, merge_patch),
        returns=RoomSchema,
        headers=("If-Match",),
        gives=("ETag",),
        example=Example(body={"currency": "EUR"}, headers={"If-Match": "*"}),
    )
    def edit_room(call: Call) -> Response:
        row = call.session.get_one(Room, call.caller.room_id, with_for_update=True)
        match(row)
        return patched(call, ROOM, row, call.body)

    return blp
