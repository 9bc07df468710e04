"""Find records by words: those that hold all of them, the best first, each with the part where they stand."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.engine.searching import Question, Term, length_of, relevance, snippet
from weirbook.record import full_text, search
from weirbook.record.base import origin_of
from weirbook.record.database import room_of
from weirbook.record.fish import StockEntry
from weirbook.record.full_text import Entry, Narrowing
from weirbook.record.places import Place, path_of


@dataclass(frozen=True)
class Found:
    """A record that answers, as it stands now."""

    noun: str
    subject: str
    path: str
    title: str | None
    place: str | None
    at_ms: int
    snippet: str
    past: bool
    """Whether it is retired, was undone or withdrawn."""


def search_record(
    session: Session, question: Question, narrowing: Narrowing, limit: int
) -> tuple[list[Found], bool]:
    """The best answers to a question, and whether there are more. Of very common words the newest are weighed.

    Of equally good ones the newest comes first.
    """
    if not question.wanted:
        return [], False
    known = full_text.candidates(session, question, narrowing)
    mean = sum(length_of(one.title, one.body) for one in known) / max(1, len(known))
    weighed = sorted(
        known,
        key=lambda one: (
            -round(relevance(one.title, one.body, question.wanted, mean), 9),
            -one.at_ms,
            one.noun,
            one.subject,
        ),
    )
    return _shown(session, weighed[:limit], question.wanted), len(weighed) > limit


def _shown(session: Session, entries: Sequence[Entry], wanted: Sequence[Term]) -> list[Found]:
    rows = search.rows_of(session, [(one.noun, one.subject) for one in entries])
    places = _paths(session, {one.place_id for one in entries if one.place_id is not None})
    withdrawn = _withdrawn(session, rows.values())
    return [
        Found(
            one.noun,
            one.subject,
            origin_of(row),
            search.title_of(row),
            None if one.place_id is None else places[one.place_id],
            one.at_ms,
            _best_part(row, wanted),
            any(getattr(row, name, None) is not None for name in ("retired_at_ms", "undone_at_ms"))
            or row in withdrawn,
        )
        for one in entries
        if (row := rows.get((one.noun, one.subject))) is not None
    ]


def _withdrawn(session: Session, rows: Iterable[Any]) -> set[Any]:
    """Those that are lines of the ledger which others took back."""
    lines = {row.id: row for row in rows if isinstance(row, StockEntry)}
    if not lines:
        return set()
    taken_back = sa.select(StockEntry.withdraws_id).where(StockEntry.withdraws_id.in_(lines))
    return {lines[one] for one in session.scalars(taken_back) if one is not None}


def _paths(session: Session, place_ids: Iterable[int]) -> dict[int, str]:
    place = Place.__table__.c
    asked = sa.select(place.id, place.noun, place.handle)
    asked = asked.where(place.room_id == room_of(session), place.id.in_(place_ids))
    return {number: path_of(noun, handle) for number, noun, handle in session.execute(asked)}


def _best_part(row: Any, wanted: Sequence[Term]) -> str:
    """Of the text in which most terms stand, the others before the title: that is shown anyway."""
    texts = [*search.texts_of(row, titles=False), *search.texts_of(row, titles=True)]
    parts = [snippet(text, wanted) for text in texts]
    return max(parts, key=lambda part: part[1], default=("", 0))[0]
