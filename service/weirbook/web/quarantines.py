"""Quarantines and transfers."""

from __future__ import annotations

import uuid
from typing import Any

import sqlalchemy as sa
from flask import Response
from flask_smorest import Blueprint
from marshmallow import fields
from marshmallow.validate import Length

from weirbook.actions.quarantine_clock import (
    DEFAULT_DAYS,
    came_in,
    edit_quarantine,
    open_quarantine,
    release,
    restart,
    unmet,
)
from weirbook.engine.times import instant_text
from weirbook.errors import Invalid
from weirbook.record.fish import Group
from weirbook.record.ledger import heads_of, lines_of
from weirbook.record.names import find, find_place
from weirbook.record.places import Tank
from weirbook.record.quarantines import CARRIED, Quarantine, Transfer
from weirbook.web.access import DAILY, KEEPER
from weirbook.web.fields import (
    Choice,
    Flag,
    Handle,
    IdText,
    Instant,
    PlaceReference,
    Reference,
    Whole,
    Words,
)
from weirbook.web.happened import happened, happened_within, with_instant
from weirbook.web.operations import JSON, Body, Call, Example, loaded_by, operation
from weirbook.web.places import StrictSchema
from weirbook.web.records import HappeningSchema
from weirbook.web.resource import Filter, Resource, locate, shown

MOST_CHECKS = 30
EXAMPLE_KEY = "01936c5e-8f00-7000-8000-0000000000c3"


class RestartSchema(StrictSchema):
    at = fields.String(metadata={"format": "date-time", "description": "From when its days count anew"})
    reason = fields.String(metadata={"description": "Why"})
    entry = fields.String(
        allow_none=True, metadata={"description": "The stock entry that did it; null if by hand"}
    )


class QuarantineSchema(HappeningSchema):
    tank = Reference(required=True, metadata={"description": "Tank it is in"})
    started_at = Instant(
        attribute="started_at_ms", metadata={"description": "When it was opened; now if not said"}
    )
    planned_days = Whole(
        1,
        1000,
        metadata={
            "description": (
                f"Days without newcomers until the release; {DEFAULT_DAYS} if not said (common practice): "
                "a healthy year at the source never shortens it"
            )
        },
    )
    checks = fields.List(
        IdText(),
        allow_none=True,
        validate=Length(max=MOST_CHECKS, error=f"At most {MOST_CHECKS} checks."),
        metadata={
            "description": "Ids of the tasks that are to be done before the release",
            "maxItems": MOST_CHECKS,
        },
    )
    sentinels = fields.List(
        IdText(),
        allow_none=True,
        validate=Length(max=MOST_CHECKS, error=f"At most {MOST_CHECKS} groups."),
        metadata={
            "description": "Ids of groups of residents that are penned with the newcomers before the release",
            "maxItems": MOST_CHECKS,
        },
    )
    treatments = Words(
        allow_none=True, metadata={"description": "In words; doses are told as doses of its tank"}
    )
    notes = Words(allow_none=True)
    clock_from = Instant(
        dump_only=True,
        attribute="clock_from_ms",
        metadata={"description": "From when its days count: start, last newcomer or restart"},
    )
    ready_at = Instant(
        dump_only=True, attribute="ready_ms", metadata={"description": "When its planned days are over"}
    )
    released_at = Instant(
        dump_only=True,
        allow_none=True,
        attribute="released_at_ms",
        metadata={"description": "When it was released"},
    )
    release_reason = fields.String(
        dump_only=True, allow_none=True, metadata={"description": "Why it was released before its checks"}
    )
    restarts = fields.List(
        fields.Nested(RestartSchema), dump_only=True, metadata={"description": "What began its days anew"}
    )
    groups = fields.List(
        fields.String(metadata={"format": "uuid"}),
        dump_only=True,
        metadata={
            "description": "Groups with fish in its tank, now or as it was released, or brought in meanwhile"
        },
    )
    heads = fields.Integer(
        dump_only=True, metadata={"description": "Fish in its tank, now or as it was released"}
    )
    unmet = fields.List(
        fields.String(),
        dump_only=True,
        metadata={"description": "What a release now would pass over; empty when all is done"},
    )


class ReleaseSchema(StrictSchema):
    at = Instant(attribute="at_ms", metadata={"description": "When; now if not said"})
    reason = Words(cap=2000, metadata={"description": "Why before its checks are done; not needed after"})


class RestartSentSchema(StrictSchema):
    at = Instant(attribute="at_ms", metadata={"description": "When; now if not said"})
    reason = Words(cap=500, required=True, metadata={"description": "Why its days begin anew"})


class TransferSchema(HappeningSchema):
    what = Choice(CARRIED, required=True, metadata={"description": "What was carried"})
    from_place = PlaceReference(
        allow_none=True, metadata={"description": "Where from; null: from outside the room"}
    )
    to_place = PlaceReference(required=True, metadata={"description": "Where to"})
    moved_at = Instant(attribute="moved_at_ms", metadata={"description": "When; now if not said"})
    disinfected = Words(
        cap=500,
        allow_none=True,
        metadata={"description": "How it was disinfected on the way; exposure then does not follow it"},
    )
    words = Words(allow_none=True)


def _quarantine(call: Call, values: dict[str, Any]) -> dict[str, Any]:
    for index, one in enumerate(values.get("sentinels") or ()):
        found = call.session.scalars(sa.select(Group).where(Group.id == uuid.UUID(one))).one_or_none()
        if found is not None and found.tank.handle != values["tank"]:
            words = f"{found.called} is not in {values['tank']}: sentinels are penned with the newcomers. Enter their move first."
            raise Invalid(words, f"/sentinels/{index}")
    return with_instant(call, values, "started_at")


def _facts(call: Call, row: Quarantine) -> dict[str, Any]:
    tank_groups = _groups_of(call, row.tank_id)
    lines = lines_of(call.session, tank_groups) if tank_groups else []
    before_release = None if row.released_at_ms is None else row.released_at_ms - 1
    heads = heads_of(lines, before_release)
    living = [one for one in tank_groups if heads.get(one, 0) > 0]
    since = {line.to_group_id or line.group_id for line in came_in(call.session, row)}
    return {
        "restarts": [
            {"at": instant_text(one["at_ms"]), "reason": one["reason"], "entry": one["entry"] or None}
            for one in row.restarts
        ],
        "groups": [str(one) for one in tank_groups if one in living or one in since],
        "heads": sum(heads[one] for one in living),
        "unmet": [] if row.released_at_ms is not None else unmet(call.session, row, call.now),
    }


def _groups_of(call: Call, tank_id: int) -> list[uuid.UUID]:
    return list(call.session.scalars(sa.select(Group.id).where(Group.tank_id == tank_id).order_by(Group.id)))


def add_routes(blp: Blueprint) -> None:
    """Release and restart."""

    @operation(
        blp,
        "POST",
        "/quarantines/<uuid:id>/release",
        id="release_quarantine",
        summary="Release a quarantine",
        description=(
            "Refused (409 not-ready, with what is open) before its planned days are over, its checks done since its clock "
            "began, and no fish lost to disease or unknown causes for 14 days; unless a reason is given, which is kept. "
            "Looking healthy is not being healthy: watch the tank they go to for 42 days."
        ),
        roles=KEEPER,
        body=Body({JSON: ReleaseSchema}, loaded_by(ReleaseSchema())),
        returns=QuarantineSchema,
        gives=("ETag",),
        example=Example(path={"id": EXAMPLE_KEY}, body={"reason": "The tank leaks; all look well."}),
    )
    def released(call: Call, id: uuid.UUID) -> Response:
        row = locate(call, QUARANTINES, {"id": id}, for_edit=True)
        told = with_instant(call, dict(call.body), "at")
        release(call.session, row, told["at_ms"], told.get("reason"), now=call.now)
        return shown(call, QUARANTINES, row)

    @operation(
        blp,
        "POST",
        "/quarantines/<uuid:id>/restart",
        id="restart_quarantine",
        summary="Begin a quarantine's days anew",
        description="For trouble that was seen. Newcomers told by stock entries begin its days anew by themselves.",
        roles=KEEPER,
        body=Body({JSON: RestartSentSchema}, loaded_by(RestartSentSchema())),
        returns=QuarantineSchema,
        gives=("ETag",),
        example=Example(path={"id": EXAMPLE_KEY}, body={"reason": "White spots on two of them."}),
    )
    def restarted(call: Call, id: uuid.UUID) -> Response:
        row = locate(call, QUARANTINES, {"id": id}, for_edit=True)
        told = with_instant(call, dict(call.body), "at")
        restart(call.session, row, told["at_ms"], told["reason"], now=call.now)
        return shown(call, QUARANTINES, row)


QUARANTINES = Resource(
    model=Quarantine,
    schema=QuarantineSchema,
    words="A stay of newcomers in a tank of their own: its clock, its checks, its release. Its groups are those in its tank.",
    example={"tank": "teen-tank", "planned_days": 42, "started_at": "2026-11-20T10:00:00Z"},
    example_key=EXAMPLE_KEY,
    example_patch={"treatments": "None so far."},
    filters={
        "tank": Filter(
            Handle(metadata={"description": "Only those in this tank."}),
            lambda session, handle: Quarantine.tank_id == find(session, Tank, handle).id,
        ),
        "open": Filter(
            Flag(
                metadata={
                    "in_query": True,
                    "description": "true: only those not released; false: only those released.",
                }
            ),
            lambda session, wanted: (
                Quarantine.released_at_ms.is_(None) if wanted else Quarantine.released_at_ms.is_not(None)
            ),
        ),
    },
    defaults={"planned_days": DEFAULT_DAYS},
    order=("started_at_ms", "id"),
    descending=True,
    verbs=("list", "create", "put", "get", "patch", "delete"),
    prepare=_quarantine,
    create=open_quarantine,
    edit=edit_quarantine,
    describe=_facts,
    routes=(add_routes,),
)
TRANSFERS = Resource(
    model=Transfer,
    schema=TransferSchema,
    words="Water, media, plants, nets or hands that went from one water to another: they carry disease as fish do. Newest first.",
    example={
        "what": "media",
        "from_place": "tanks/fern-pool-display",
        "to_place": "tanks/nursery",
        "moved_at": "2026-11-20T10:00:00Z",
    },
    example_key="01936c5e-8f00-7000-8000-0000000000c4",
    example_patch={"words": "A third of the sponge."},
    filters={
        "to_place": Filter(
            PlaceReference(metadata={"description": "Only those that went there."}),
            lambda session, path: Transfer.to_place_id == find_place(session, path).id,
        ),
        "from_place": Filter(
            PlaceReference(metadata={"description": "Only those that came from there."}),
            lambda session, path: Transfer.from_place_id == find_place(session, path).id,
        ),
        **happened_within(Transfer.moved_at_ms),
    },
    order=("moved_at_ms", "id"),
    descending=True,
    verbs=("list", "create", "put", "get", "patch", "delete"),
    makers=DAILY,
    prepare=happened("moved_at"),
)
