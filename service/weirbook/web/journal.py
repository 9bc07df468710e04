"""The journal."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from marshmallow import fields
from marshmallow.validate import Length

from weirbook.actions.enter_journal import edit_journal, enter_journal
from weirbook.actions.find_gauges import Taker
from weirbook.errors import Invalid
from weirbook.record.journal import CHANGE, KINDS, JournalEntry
from weirbook.web.access import DAILY
from weirbook.web.equipment import at_place
from weirbook.web.fields import Choice, Handle, Instant, Link, Part, PlaceReference, ReadValue, Words
from weirbook.web.happened import happened_within, with_instant
from weirbook.web.operations import Call
from weirbook.web.places import StrictSchema
from weirbook.web.records import HappeningSchema
from weirbook.web.resource import Filter, Resource

MOST_TAGS, MOST_LINKS, MOST_SCORES = 20, 20, 20


ChangedSchema = StrictSchema.from_dict(
    {
        "what": Words(
            cap=200, required=True, metadata={"description": "What was changed: the lamp's hours, the lid"}
        ),
        "from": Words(cap=500, metadata={"description": "What it was"}),
        "to": Words(cap=500, metadata={"description": "What it is now"}),
    },
    name="ChangedSchema",
)
"""What a change changed."""


class ScoreSchema(StrictSchema):
    """One scored reading taken with an entry."""

    parameter = Words(
        cap=60,
        required=True,
        metadata={
            "description": "algae_cover, plant_cover, behaviour_score, feeding_response or another of /v1/parameters"
        },
    )
    value = ReadValue(required=True, metadata={"description": "On the parameter's own scale"})
    unit = Words(cap=30, metadata={"description": "Of the value; the gauge's own if not said"})


class JournalEntrySchema(HappeningSchema):
    place = PlaceReference(metadata={"description": "Where; the room if not said"})
    kind = Choice(KINDS, metadata={"description": "note if not said"})
    happened_at = Instant(attribute="happened_at_ms", metadata={"description": "When; now if not said"})
    words = Words(required=True)
    author = Words(cap=120, metadata={"description": "Who wrote it; the key's name if not said"})
    credit = Words(cap=120, allow_none=True, metadata={"description": "Who suggested it"})
    tags = fields.List(
        Handle(),
        allow_none=True,
        validate=Length(max=MOST_TAGS, error=f"At most {MOST_TAGS} tags."),
        metadata={
            "description": (
                "Short words to find it by. Some tell /maturity what happened: set-up, reset, new-substrate, dry-spell, old-media"
            ),
            "maxItems": MOST_TAGS,
        },
    )
    changed = Part(
        ChangedSchema,
        allow_none=True,
        metadata={"description": "Of kind change: what was changed, from and to"},
    )
    links = fields.List(
        Link(),
        allow_none=True,
        validate=Length(max=MOST_LINKS, error=f"At most {MOST_LINKS} links."),
        metadata={"description": "Other records it is about, as their paths", "maxItems": MOST_LINKS},
    )
    scores = fields.List(
        fields.Nested(ScoreSchema),
        allow_none=True,
        validate=Length(max=MOST_SCORES, error=f"At most {MOST_SCORES} scores."),
        metadata={
            "description": "Readings by eye or hand taken with it; each goes to the gauge read by hand at its place",
            "maxItems": MOST_SCORES,
        },
    )


def _contains(session: Any, sought: str) -> Any:
    return JournalEntry.words.icontains(sought, autoescape=True)


def _tagged(session: Any, tag: str) -> Any:
    return sa.type_coerce(JournalEntry.tags, sa.Text).contains(f'"{tag}"', autoescape=True)


def _complete(call: Call, values: dict[str, Any]) -> dict[str, Any]:
    if values.get("author") is None:
        values["author"] = call.caller.name
    if values["kind"] == CHANGE and values.get("changed") is None:
        words = "Say what was changed: changed with what, and from and to where there is such a thing."
        raise Invalid(words, "/changed")
    values["taker"] = Taker(call.caller.role, call.caller.name)
    return with_instant(call, values, "happened_at")


JOURNAL = Resource(
    model=JournalEntry,
    schema=JournalEntrySchema,
    words="What was seen or done, where and when, in words. Newest first.",
    example={"place": "tanks/nursery", "words": "Fry off the bottom, feeding well."},
    example_key="01936c5e-8f00-7000-8000-000000000002",
    example_patch={"words": "Fry off the bottom, all feeding."},
    filters={
        "place": at_place(JournalEntry),
        "kind": Filter(
            Choice(KINDS, metadata={"description": "Only this kind."}),
            lambda session, kind: JournalEntry.kind == kind,
        ),
        "q": Filter(Words(cap=200, metadata={"description": "Words that the entry holds."}), _contains),
        "tag": Filter(Handle(metadata={"description": "Only those with this tag."}), _tagged),
        **happened_within(JournalEntry.happened_at_ms),
    },
    defaults={"place": "room", "kind": "note"},
    order=("happened_at_ms", "id"),
    descending=True,
    verbs=("list", "create", "put", "get", "patch", "delete"),
    makers=DAILY,
    prepare=_complete,
    create=enter_journal,
    edit=edit_journal,
)
