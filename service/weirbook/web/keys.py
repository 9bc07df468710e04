"""/v1/keys: who may reach the room. A secret is shown once; a key is ended, never changed."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from flask import Response
from flask_smorest import Blueprint
from marshmallow import RAISE, Schema, fields
from marshmallow.validate import Length

from weirbook.actions.make_key import make_key, revoke_key
from weirbook.record.access import AccessKey, KeyGauge, Role
from weirbook.record.equipment import Gauge
from weirbook.record.names import find
from weirbook.web.access import KEEPER
from weirbook.web.fields import Choice, Flag, Handle, Instant, Words
from weirbook.web.operations import JSON, Body, Call, Example, loaded_by, operation, reply
from weirbook.web.pages import RetiredQuery, page_of
from weirbook.web.resource import Resource, etag, listing, match, shown


class KeySchema(Schema):
    """A key as it is listed: everything but its secret."""

    class Meta:
        unknown = RAISE

    handle = Handle(dump_only=True)
    name = Words(cap=120, required=True, metadata={"description": "Whose or what it is"})
    role = Choice(tuple(Role), required=True)
    for_links = Flag(metadata={"description": "A viewer key that may stand in an address; false if not said"})
    gauges = fields.List(
        Handle(),
        validate=Length(max=200, error="At most 200 gauges."),
        metadata={"description": "Gauges that a sensor key posts to", "maxItems": 200},
    )
    expires_at = Instant(allow_none=True, attribute="expires_at_ms")
    notes = Words(allow_none=True, cap=2000)
    revoked_at = Instant(dump_only=True, allow_none=True, attribute="revoked_at_ms")
    last_used_at = Instant(
        dump_only=True,
        allow_none=True,
        attribute="last_used_at_ms",
        metadata={"description": "To the minute"},
    )
    version = fields.Integer(dump_only=True)
    created_at = Instant(dump_only=True, attribute="created_at_ms")


class KeyCreateSchema(KeySchema):
    """What a key is made from."""


class NewKeySchema(KeySchema):
    """A key just made, with its secret: it is never shown again."""

    key = fields.String(
        dump_only=True, metadata={"description": "The secret. Keep it now: it is never shown again."}
    )


def _gauges(call: Call, key: AccessKey) -> dict[str, Any]:
    asked = sa.select(Gauge.handle).join(
        KeyGauge, sa.and_(KeyGauge.room_id == Gauge.room_id, KeyGauge.gauge_id == Gauge.id)
    )
    return {
        "gauges": list(call.session.scalars(asked.where(KeyGauge.key_id == key.id).order_by(Gauge.handle)))
    }


KEYS = Resource(
    model=AccessKey,
    schema=KeySchema,
    words="Who may reach the room.",
    example={},
    example_key="",
    example_patch={},
    describe=_gauges,
)


def blueprint() -> Blueprint:
    """Make, list and revoke keys."""
    blp = Blueprint("keys", "keys", url_prefix="/v1", description="Who may reach the room.")

    @operation(
        blp,
        "GET",
        "/keys",
        id="list_keys",
        summary="List keys",
        description=(
            "Every key ever made, without its secret, with its role, last use, expiry and revocation."
        ),
        roles=KEEPER,
        query=RetiredQuery,
        formats=("json", "csv"),
        returns=page_of(KeySchema),
        problems=(413,),
    )
    def list_keys(call: Call) -> Response:
        return listing(call, KEYS)

    body = KeyCreateSchema(exclude=["handle", "revoked_at", "last_used_at", "version", "created_at"])

    @operation(
        blp,
        "POST",
        "/keys",
        id="create_key",
        summary="Make a key",
        description=(
            "The answer holds the secret, once. Roles: keeper (all), helper (journal, readings by "
            "hand, reads), sensor (posts to its listed gauges), viewer (reads). A repeat with the "
            "same Idempotency-Key is refused (409), since the secret is not kept."
        ),
        roles=KEEPER,
        body=Body({JSON: body}, loaded_by(body)),
        returns=NewKeySchema,
        status=201,
        replays=False,
        gives=("ETag", "Location"),
        example=Example(
            body={"name": "Greenhouse thermometer", "role": "sensor", "gauges": ["nursery-temperature"]}
        ),
    )
    def create_key(call: Call) -> Response:
        wanted = call.body
        key, secret = make_key(
            call.session,
            name=wanted["name"],
            role=Role(wanted["role"]),
            now=call.now,
            for_links=wanted.get("for_links", False),
            gauges=wanted.get("gauges", ()),
            expires_at_ms=wanted.get("expires_at_ms"),
            notes=wanted.get("notes"),
        )
        made = {**NewKeySchema().dump(key), **_gauges(call, key), "key": secret}
        return reply(made, 201, {"Location": f"/v1/keys/{key.handle}", "ETag": etag(key)})

    @operation(
        blp,
        "GET",
        "/keys/<handle>",
        id="get_key",
        summary="One key",
        description="Without its secret, which is not kept.",
        roles=KEEPER,
        returns=KeySchema,
        gives=("ETag",),
        example=Example(path={"handle": "kitchen-screen"}),
    )
    def get_key(call: Call, handle: str) -> Response:
        return shown(call, KEYS, find(call.session, AccessKey, handle))

    @operation(
        blp,
        "DELETE",
        "/keys/<handle>",
        id="revoke_key",
        summary="Revoke a key",
        description=(
            "It ends at once and for good; it stays listed, and what was written with it stays. "
            "Send its ETag as If-Match."
        ),
        roles=KEEPER,
        status=204,
        headers=("If-Match",),
        example=Example(path={"handle": "kitchen-screen"}, headers={"If-Match": "*"}),
    )
    def end_key(call: Call, handle: str) -> Response:
        key = find(call.session, AccessKey, handle, for_edit=True)
        match(key)
        revoke_key(call.session, key, now=call.now)
        return Response(status=204)

    return blp
