"""The journal."""

from __future__ import annotations

from typing import Any

from weirbook.record.journal import KINDS, JournalEntry
from weirbook.web.access import DAILY
from weirbook.web.equipment import at_place
from weirbook.web.fields import Choice, Instant, PlaceReference, Words
from weirbook.web.happened import happened_within, with_instant
from weirbook.web.operations import Call
from weirbook.web.records import HappeningSchema
from weirbook.web.resource import Filter, Resource


class JournalEntrySchema(HappeningSchema):
    place = PlaceReference(metadata={"description": "Where; the room if not said"})
    kind = Choice(KINDS, metadata={"description": "note if not said"})
    happened_at = Instant(attribute="happened_at_ms", metadata={"description": "When; now if not said"})
    words = Words(required=True)
    author = Words(cap=120, metadata={"description": "Who wrote it; the key's name if not said"})
    credit = Words(cap=120, allow_none=True, metadata={"description": "Who suggested it"})


def _contains(session: Any, sought: str) -> Any:
    return JournalEntry.words.icontains(sought, autoescape=True)


def _complete(call: Call, values: dict[str, Any]) -> dict[str, Any]:
    if values.get("author") is None:
        values["author"] = call.caller.name
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
        **happened_within(JournalEntry.happened_at_ms),
    },
    defaults={"place": "room", "kind": "note"},
    order=("happened_at_ms", "id"),
    descending=True,
    verbs=("list", "create", "put", "get", "patch", "delete"),
    makers=DAILY,
    prepare=_complete,
)
