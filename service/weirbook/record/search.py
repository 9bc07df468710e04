"""The words by which records are found: kept with every record that is written, in the transaction that writes it.

A new kind of record is searched by declaring SOUGHT (named ones need not); how its words are held and asked on
each engine is in full_text.py. Nothing here is of its own: all of it can be made anew from the records.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import groupby
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session, UOWTransaction

from weirbook.engine.searching import BREAK, WORDS_CAP, spaced, words_of
from weirbook.record import full_text
from weirbook.record.base import Base, Edited, Named, subject_of
from weirbook.record.database import enter_room, fetch, room_of
from weirbook.record.full_text import Entry
from weirbook.record.places import Place

TITLES = frozenset({"name", "title", "question", "common_name", "scientific_name"})
"""Columns that head a record: words found there weigh more."""
BATCH = 1_000

Places = dict[tuple[Any, Any], int | None]


@dataclass(frozen=True)
class _Noted:
    """What a transaction did to a record so far. Never altered: a part that is taken back restores what was noted."""

    made: bool = False
    gone: bool = False
    moved: bool = False
    """Whether it belongs to another place now, or may."""
    renamed: bool = False


@cache
def sought_models() -> dict[str, Any]:
    """Every kind of record that is searched, by its noun. To be asked once all tables are known."""
    found = [mapper.class_ for mapper in Base.registry.mappers if issubclass(mapper.class_, Edited)]
    found = [model for model in found if model.SOUGHT and model is not Place]
    return {model.NOUN: model for model in sorted(found, key=lambda one: one.NOUN)}


def title_of(row: Edited) -> str | None:
    """What heads a record, or what people call it."""
    own = (str(found) for name in row.SOUGHT if name in TITLES and (found := getattr(row, name)))
    return next(own, getattr(row, "called", None))


def texts_of(row: Edited, *, titles: bool) -> list[str]:
    """The texts of a record that are searched: those that head it, or the others."""
    names = [name for name in row.SOUGHT if (name in TITLES) is titles]
    told = [" ".join(_texts(getattr(row, name))) for name in names]
    if not titles:
        told += [(getattr(row, name) or "").replace("_", " ") for name in row.CHOSEN]
        told += [getattr(row, row.CALLED_BY).name] if row.CALLED_BY else []
    return [text for text in told if text]


def _texts(value: Any) -> Iterator[str]:
    """Every text in a value, however deeply nested."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for one in value.values():
            yield from _texts(one)
    elif isinstance(value, (list, tuple)):
        for one in value:
            yield from _texts(one)


def entry_of(session: Session, row: Any, places: Places) -> Entry:
    """What search keeps of a record. `places` remembers the places of the records that others belong to."""
    at_ms: int | None = getattr(row, row.DATED_BY)
    title = _joined(texts_of(row, titles=True))
    body = _joined(texts_of(row, titles=False))[: WORDS_CAP - len(title)]
    return Entry(
        row.NOUN,
        subject_of(row),
        row.created_at_ms if at_ms is None else at_ms,
        _place_id(session, row, places),
        spaced(title),
        spaced(body),
    )


def _joined(texts: Iterable[str]) -> list[str]:
    found: list[str] = []
    for text in texts:
        found += [BREAK, *words_of(text)] if found else words_of(text)
    return found[:WORDS_CAP]


def _place_id(session: Session, row: Any, places: Places) -> int | None:
    """The place a record belongs to, by itself or by the record it belongs to."""
    if isinstance(row, Place):
        return row.id
    key = row.PLACED_BY and getattr(row, row.PLACED_BY)
    if key is None:
        return None
    model: Any = _pointed_at(row.__class__)
    if issubclass(model, Place):
        return int(key)
    if (model, key) not in places:
        owner = session.get(model, (row.room_id, key))
        places[model, key] = None if owner is None else _place_id(session, owner, places)
    return places[model, key]


@cache
def _pointed_at(model: Any) -> type[Any]:
    """The kind of record that PLACED_BY points at."""
    table = next(
        key.referred_table
        for key in model.__table__.foreign_key_constraints
        if key.column_keys[-1] == model.PLACED_BY
    )
    return next(mapper.class_ for mapper in Base.registry.mappers if mapper.local_table is table)


@cache
def _placed_by(model: Any) -> list[type[Any]]:
    """The kinds of record whose place is that of a record of this kind."""
    return [one for one in sought_models().values() if one.PLACED_BY and _pointed_at(one) is model]


@cache
def _called_by(model: Any) -> list[type[Any]]:
    """The kinds of record that are found by the name of a record of this kind as well."""
    found = []
    for one in sought_models().values():
        if one.CALLED_BY and sa.inspect(one).relationships[one.CALLED_BY].mapper.class_ is model:
            found.append(one)
    return found


@sa.event.listens_for(Session, "after_flush")
def _note(session: Session, _context: UOWTransaction) -> None:
    noted: dict[Any, _Noted] = session.info.setdefault("sought", {})
    for row in session.new:
        if isinstance(row, Edited) and row.SOUGHT:
            noted[row] = _Noted(made=True)
    for row in session.dirty:
        if isinstance(row, Edited) and (changed := _changed(row)):
            before = noted.get(row, _Noted())
            noted[row] = replace(
                before,
                moved=before.moved or row.PLACED_BY in changed,
                renamed=before.renamed or "name" in changed,
            )
    for row in session.deleted:
        if isinstance(row, Edited) and row.SOUGHT:
            noted[row] = replace(noted.get(row, _Noted()), gone=True)


def _changed(row: Any) -> list[str]:
    """What a flush writes of what search knows a record by."""
    state = sa.inspect(row)
    return [name for name in _known_by(row.__class__) if state.attrs[name].history.has_changes()]


@cache
def _known_by(model: Any) -> list[str]:
    names = [*model.SOUGHT, *model.CHOSEN, model.DATED_BY] if model.SOUGHT else []
    if model.CALLED_BY:
        names.append(f"{model.CALLED_BY}_id")
    if model.PLACED_BY and (model.SOUGHT or _placed_by(model)):
        names.append(model.PLACED_BY)
    return names


# Before the log of changes takes its numbers, after which nothing else should keep others waiting.
@sa.event.listens_for(Session, "before_commit", insert=True)
def _keep(session: Session) -> None:
    if not session.info.get("sought") or session.in_nested_transaction():
        return
    session.flush()
    noted: dict[Any, _Noted] = session.info.pop("sought", {})
    _note_what_moved_along(session, noted)
    _note_what_is_called_by(session, noted)
    places: Places = {}
    for room_id in {row.room_id for row in noted}:
        here = {row: one for row, one in noted.items() if row.room_id == room_id and row.SOUGHT}
        old = [(row.NOUN, subject_of(row)) for row, one in here.items() if not one.made]
        new = [entry_of(session, row, places) for row, one in here.items() if not one.gone]
        full_text.replace(session, room_id, old, [one for one in new if one.has_words])


def _note_what_moved_along(session: Session, noted: dict[Any, _Noted]) -> None:
    """Records whose place is that of a record that was moved."""
    moved = [row for row, one in noted.items() if one.moved and not one.gone]
    while moved:
        row = moved.pop()
        for model in _placed_by(row.__class__):
            asked = sa.select(model).where(
                model.room_id == row.room_id, getattr(model, model.PLACED_BY) == row.id
            )
            for other in session.scalars(asked).unique():
                if not noted.get(other, _Noted()).moved:
                    noted[other] = replace(noted.get(other, _Noted()), moved=True)
                    moved.append(other)


def _note_what_is_called_by(session: Session, noted: dict[Any, _Noted]) -> None:
    """Records that are found by the name of a record that was renamed."""
    for row in [row for row, one in noted.items() if one.renamed and not one.gone]:
        for model in _called_by(row.__class__):
            key = getattr(model, f"{model.CALLED_BY}_id")
            asked = sa.select(model).where(model.room_id == row.room_id, key == row.id)
            for other in session.scalars(asked).unique():
                noted.setdefault(other, _Noted())


def fill(session: Session) -> int:
    """Write what search keeps of every record of the session's room, in which it keeps nothing yet; how many."""
    entries = sorted(_entries(session), key=lambda one: (one.at_ms, one.noun, one.subject))
    for start in range(0, len(entries), BATCH):
        full_text.replace(session, room_of(session), (), entries[start : start + BATCH])
    return len(entries)


def make_anew(session: Session, rooms: Iterable[int]) -> None:
    """Make all that search keeps of these rooms anew, whatever it kept; on SQLite they must be all there are."""
    full_text.renew(session)
    for room_id in rooms:
        enter_room(session, room_id)
        full_text.forget(session)
        fill(session)


def _entries(session: Session) -> Iterator[Entry]:
    places: Places = {}
    for model in sought_models().values():
        # Said, because the room itself is no row of a room.
        asked = sa.select(model).where(model.room_id == room_of(session))
        for row in session.scalars(asked.execution_options(yield_per=BATCH)):
            if (entry := entry_of(session, row, places)).has_words:
                yield entry


def flaws(session: Session) -> Iterator[str]:
    """What search keeps that doesn't fit the records of the session's room."""
    wanted = {(one.noun, one.subject): one for one in _entries(session)}
    there = {(one.noun, one.subject): one for one in full_text.entries(session)}
    for words, keys in (
        ("that search can't find", wanted.keys() - there.keys()),
        ("that search would find, but are not there", there.keys() - wanted.keys()),
        (
            "that search knows by other words, time or place",
            {key for key in wanted.keys() & there.keys() if wanted[key] != there[key]},
        ),
        ("whose words are not in the full-text table as they should be", full_text.misfits(session)),
    ):
        if keys:
            yield f"Records {words}: {len(keys)}, for one {' '.join(min(keys))}."


def size(session: Session) -> int:
    """How many records of the room search knows."""
    return int(
        fetch(session, "SELECT count(*) FROM search_entry WHERE room_id = ?", (room_of(session),))[0][0]
    )


def rows_of(session: Session, keys: Iterable[tuple[str, str]]) -> dict[tuple[str, str], Any]:
    """The records behind nouns and subjects, a query a noun."""
    found = {}
    for noun, some in groupby(sorted(keys), key=lambda key: key[0]):
        model = sought_models()[noun]
        for row in session.scalars(_asked(session, model, [subject for _, subject in some])).unique():
            found[noun, subject_of(row)] = row
    return found


def _asked(session: Session, model: Any, subjects: Sequence[str]) -> sa.Select[Any]:
    asked = sa.select(model)
    if issubclass(model, Named):
        return asked.where(model.handle.in_(subjects))
    if hasattr(model, "id"):
        return asked.where(model.id.in_([uuid.UUID(one) for one in subjects]))
    return asked.where(model.room_id == room_of(session))
