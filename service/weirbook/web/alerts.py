"""/v1/alerts: what calls for the keeper, who has seen to it, and the whole story of each."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from marshmallow import fields
from marshmallow.validate import Length
from sqlalchemy.orm import Session

from weirbook.actions.edit_alert import edit_alert
from weirbook.engine.times import instant_text
from weirbook.record.alerts import CAUSES, Alert
from weirbook.record.changes import Change
from weirbook.record.database import room_of
from weirbook.record.equipment import Gauge
from weirbook.record.names import find, find_place
from weirbook.web.access import DAILY
from weirbook.web.fields import (
    Choice,
    Figure,
    Flag,
    Handle,
    Instant,
    LooseQuantity,
    PlaceReference,
    QuantityField,
    Reference,
    Words,
)
from weirbook.web.operations import Call
from weirbook.web.places import StrictSchema
from weirbook.web.records import HappeningSchema
from weirbook.web.resource import Filter, Resource

STORY_CAP = 200


class AlarmStepSchema(StrictSchema):
    """Who is told next."""

    after = QuantityField(
        "time", ge=60, le=604_800, required=True, metadata={"description": "So long after it opened"}
    )
    to = Handle(required=True, metadata={"description": "Handle of the helper to tell"})


class AlarmSchema(StrictSchema):
    """How an alert calls; the notifier knows where each helper is reached."""

    calls = Flag(
        metadata={
            "description": "false: no alert is opened, only the log and the findings tell; true if not said"
        }
    )
    owner = Handle(
        allow_none=True,
        metadata={
            "description": "Helper who is told first; whoever the notifier tells by default if not said"
        },
    )
    repeat = QuantityField(
        "time",
        ge=60,
        le=604_800,
        allow_none=True,
        metadata={
            "description": "Told again so often until acknowledged; hourly if not said (common practice), once where "
            "the gauge is read by hand"
        },
    )
    escalate = fields.List(
        fields.Nested(AlarmStepSchema),
        validate=Length(max=10, error="At most 10 steps."),
        metadata={
            "description": "Who is told too while nobody acknowledges it, by rising time",
            "maxItems": 10,
        },
    )


class StorySchema(StrictSchema):
    """One step of an alert's story, as the log of changes holds it."""

    at = Instant(dump_only=True, metadata={"description": "When"})
    what = fields.String(
        dump_only=True,
        metadata={
            "description": "opened, repeated, escalated, owned, acknowledged, muted, closed and the like"
        },
    )
    who = fields.String(
        dump_only=True, metadata={"description": "Name of the key, or Weirbook for its rules"}
    )
    words = fields.String(dump_only=True, allow_none=True)
    tell = fields.List(
        fields.String(), dump_only=True, metadata={"description": "Helpers it was to be told to"}
    )


class AlertSchema(HappeningSchema):
    """Opened and closed by rule; owner, acknowledgement and mute are people's."""

    cause = Choice(CAUSES, dump_only=True, metadata={"description": "What opened it"})
    gauge = Reference(dump_only=True, metadata={"description": "Handle of the gauge"})
    place = fields.Function(
        lambda alert: alert.gauge.place.path,
        dump_only=True,
        metadata={"type": "string", "description": "The gauge's place as its path"},
    )
    side = Choice(
        ("below", "above"),
        dump_only=True,
        allow_none=True,
        metadata={"description": "Of an excursion: which way"},
    )
    reason = Words(dump_only=True, metadata={"description": "What is wrong, in words"})
    began_at = Instant(
        dump_only=True, attribute="began_ms", metadata={"description": "Since when, by the readings"}
    )
    opened_at = Instant(
        dump_only=True, attribute="opened_at_ms", metadata={"description": "When it was noticed"}
    )
    ended_at = Instant(
        dump_only=True, allow_none=True, attribute="ended_ms", metadata={"description": "By the readings"}
    )
    closed_at = Instant(
        dump_only=True,
        allow_none=True,
        attribute="closed_at_ms",
        metadata={"description": "null: it is open"},
    )
    closed_because = Words(dump_only=True, allow_none=True, metadata={"description": "Why it closed"})
    low = Figure(
        dump_only=True,
        allow_none=True,
        metadata={"description": "Lower end of the target it left, in the gauge's unit"},
    )
    high = Figure(
        dump_only=True,
        allow_none=True,
        metadata={"description": "Upper end of the target it left, in the gauge's unit"},
    )
    worst = LooseQuantity(
        dump_only=True,
        allow_none=True,
        attribute="worst_value",
        metadata={"description": "Worst value so far"},
    )
    worst_at = Instant(
        dump_only=True, allow_none=True, attribute="worst_at_ms", metadata={"description": "When that was"}
    )
    owner = Reference(allow_none=True, metadata={"description": "Handle of the helper who sees to it"})
    acknowledged = Flag(
        metadata={"description": "true: somebody sees to it, and it calls no more; it closes by itself"}
    )
    acknowledged_at = Instant(
        dump_only=True,
        allow_none=True,
        attribute="acknowledged_at_ms",
        metadata={"description": "When that was"},
    )
    acknowledged_by = Words(
        cap=120, dump_only=True, allow_none=True, metadata={"description": "Name of the key"}
    )
    mute_until = Instant(
        allow_none=True,
        attribute="mute_until_ms",
        metadata={"description": "It calls nobody until then; at most a week ahead"},
    )
    next_call_at = Instant(
        dump_only=True,
        allow_none=True,
        attribute="next_tell_ms",
        metadata={"description": "When it calls again if nobody acknowledges it"},
    )
    story = fields.List(
        fields.Nested(StorySchema),
        dump_only=True,
        metadata={"description": "All of it, oldest first; left out of CSV"},
    )


def _story(call: Call, alert: Alert) -> dict[str, Any]:
    if call.format == "csv":
        return {"story": []}  # a query for each of a whole table's rows would be too many
    asked = (
        sa.select(Change)
        .where(Change.noun == Alert.NOUN, Change.subject == str(alert.id))
        .order_by(Change.number)
        .limit(STORY_CAP)
    )
    return {
        "story": [
            {
                "at": instant_text(one.at_ms),
                "what": one.what,
                "who": one.who,
                "words": one.words,
                "tell": one.tell or [],
            }
            for one in call.session.scalars(asked)
        ]
    }


def _of_gauges_at(session: Session, path: str) -> sa.ColumnElement[bool]:
    here = sa.select(Gauge.id).where(
        Gauge.room_id == room_of(session), Gauge.place_id == find_place(session, path).id
    )
    return Alert.gauge_id.in_(here)


ALERTS = Resource(
    model=Alert,
    schema=AlertSchema,
    words=(
        "What calls for the keeper: a stretch outside target, a contact that reads leak or no mains, a watched gauge that "
        "fell silent. An alert opens and closes by itself; meanwhile people own, acknowledge and mute it. Quiet is not "
        "safe: no alert means only that no reading said otherwise."
    ),
    example={},
    example_key="01936c5e-8f00-7000-8000-0000000000a1",
    example_patch={"acknowledged": True},
    filters={
        "open": Filter(
            Flag(
                metadata={"in_query": True, "description": "true: only those open; false: only those closed."}
            ),
            lambda _session, wanted: (
                Alert.closed_at_ms.is_(None) if wanted else Alert.closed_at_ms.is_not(None)
            ),
        ),
        "cause": Filter(
            Choice(CAUSES, metadata={"description": "Only those opened by this."}),
            lambda _session, cause: Alert.cause == cause,
        ),
        "gauge": Filter(
            Handle(metadata={"description": "Only those of this gauge."}),
            lambda session, handle: Alert.gauge_id == find(session, Gauge, handle).id,
        ),
        "place": Filter(
            PlaceReference(metadata={"description": "Only those of gauges at this place."}), _of_gauges_at
        ),
    },
    order=("opened_at_ms", "id"),
    descending=True,
    verbs=("list", "get", "patch"),
    makers=DAILY,
    edit=edit_alert,
    describe=_story,
)
