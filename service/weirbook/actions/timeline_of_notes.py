"""Timeline: the journal and the phases of trials."""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa

from weirbook.actions.told import Look, Told, rows_within, sentence
from weirbook.record.journal import JournalEntry
from weirbook.record.trials import Trial


def journal(look: Look) -> Iterator[Told]:
    """What was seen or done, in the keeper's words; a change with what it was and is."""
    names = ("id", "place_id", "kind", "happened_at_ms", "words", "author", "changed", "tags")
    column = JournalEntry.__table__.c
    for number, place_id, kind, at_ms, words, author, changed, tags in rows_within(
        look, JournalEntry, "happened_at_ms", names, column.place_id.in_(look.places)
    ):
        if look.belongs.held(place_id, at_ms):
            yield Told(
                at_ms,
                kind,
                look.paths[place_id],
                sentence(_changed(changed), words),
                f"/v1/journal/{number}",
                "journal entry",
                who=author,
                about=str(number),
                facts={"changed": changed, "tags": tags or []},
            )


def _changed(changed: dict[str, str] | None) -> str | None:
    """What was changed: "Lid: from glass to net"."""
    if not changed:
        return None
    was, now = changed.get("from"), changed.get("to")
    ways = " ".join(f"{word} {value}" for word, value in (("from", was), ("to", now)) if value)
    return f"{changed['what']}: {ways}" if ways else changed["what"]


def trial_phases(look: Look) -> Iterator[Told]:
    """The phases of trials, each with its setting."""
    column = Trial.__table__.c
    asked = sa.select(column.id, column.place_id, column.question, column.varied, column.phases).where(
        column.room_id == look.room_id, column.place_id.in_(look.places)
    )
    for number, place_id, question, varied, phases in look.session.execute(asked):
        for index, phase in enumerate(phases):
            at_ms, to_ms = phase["from_ms"], phase.get("to_ms")
            reaches = at_ms < look.end_ms and (to_ms is None or to_ms > look.start_ms)
            if reaches and look.belongs.touched(place_id, at_ms, to_ms):
                yield Told(
                    at_ms,
                    "trial",
                    look.paths[place_id],
                    sentence(f"Trial, phase {index + 1}: {varied}: {phase['setting']}", question),
                    f"/v1/trials/{number}",
                    "trial",
                    to_ms=to_ms,
                    open=to_ms is None,
                    about=str(number),
                    facts={"phase": index},
                )
