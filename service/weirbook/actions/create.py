"""Make a record: resolve what it names, number it, check it whole, open its dated states."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

from sqlalchemy.orm import Session
from sqlalchemy.orm.attributes import set_committed_value

from weirbook.errors import Fault, Invalid, Unknown
from weirbook.record.access import uuid7
from weirbook.record.base import ALWAYS_MS, Edited, Happening, Named
from weirbook.record.database import room_of, take_next
from weirbook.record.names import claim_handle, find_named, free_handle, mentioned, written_of

E = TypeVar("E", bound=Edited)


def create(
    session: Session,
    model: type[E],
    values: Mapping[str, Any],
    *,
    now: int,
    effective_ms: int | None = None,
    chosen_id: uuid.UUID | None = None,
) -> E:
    """A new row of `model` from checked values, references as handles or paths.

    Raises Invalid with every fault of the row, Conflict where its handle is taken.
    """
    refuse_ahead(effective_ms, now)
    row = model()
    row.room_id = room_of(session)  # type: ignore[attr-defined]
    row.version, row.created_at_ms, row.updated_at_ms = 1, now, now
    set_values(session, row, values)
    if isinstance(row, Happening):
        row.id = chosen_id or uuid7(now)
    elif isinstance(row, Named):
        # The number first: its counter makes others that name a thing of this noun wait until this one is there.
        row.id = take_next(session, row.COUNTER)
        row.handle = (
            claim_handle(session, type(row), row.handle)
            if row.handle is not None
            else free_handle(session, type(row), row.handle_stems())
        )
    refuse_faults(row)
    session.add(row)
    session.flush()
    for field, span in model.STATES.items():
        session.add(
            span(
                room_id=room_of(session),
                subject_id=row.id,  # type: ignore[attr-defined]
                from_ms=ALWAYS_MS if effective_ms is None else effective_ms,
                value=getattr(row, field),
            )
        )
    session.flush()
    session.refresh(row)
    return row


Finder = Callable[[Session, str, str, str], Any]
"""Finds what is named, given its noun, what was written, and the pointer of a refusal."""


def set_values(session: Session, row: Edited, values: Mapping[str, Any], find: Finder | None = None) -> None:
    """Set checked values on a row; a reference sets both the id and what it points to, found by `find` or by asking.

    Raises Invalid at the pointer of a name that nothing carries.
    """
    for name, value in values.items():
        if name in row.MENTIONS:
            _refuse_unused(session, row, name, value)
        noun = row.REFERENCES.get(name)
        if noun is None:
            setattr(row, name, value)
            continue
        present = getattr(row, f"{name}_id") and getattr(row, name)
        if present and value == written_of(present, noun):
            continue
        target = None if value is None else (find or named)(session, noun, value, f"/{name}")
        if getattr(row, f"{name}_id") != (target and target.id):
            setattr(row, f"{name}_id", target and target.id)
        set_committed_value(row, name, target)


def _refuse_unused(session: Session, row: Edited, field: str, rows: Sequence[Any] | None) -> None:
    """Raise Invalid at each row that names what is not in use; what the record named before may stay."""
    key, noun = row.MENTIONS[field]
    before = {mentioned(one, key) for one in getattr(row, field) or ()}
    faults: list[Fault] = []
    for index, one in enumerate(rows or ()):
        try:
            if mentioned(one, key) not in before:
                named(session, noun, mentioned(one, key), f"/{field}/{index}" + (f"/{key}" if key else ""))
        except Invalid as trouble:
            faults += trouble.faults
    if faults:
        raise Invalid("Some of what is named can't be used.", faults=faults)


def named(session: Session, noun: str, written: str, pointer: str) -> Any:
    """The row that a body names by handle, path or id. Raises Invalid at `pointer`."""
    try:
        row = find_named(session, noun, written)
    except Unknown as trouble:
        raise Invalid(trouble.message, pointer) from None
    if getattr(row, "retired_at_ms", None) is not None:
        raise Invalid(f"'{written}' is retired. Name one in use, or bring it back first.", pointer)
    return row


def refuse_ahead(effective_ms: int | None, now: int) -> None:
    """Raise Invalid for a state that would take effect ahead of now."""
    if effective_ms is not None and effective_ms > now:
        raise Invalid("A change can't take effect ahead of now.", "/effective_at")


def refuse_faults(row: Edited) -> None:
    """Raise Invalid if the row as a whole can't stand."""
    if faults := row.faults():
        raise Invalid("The record can't stand as it is.", faults=faults)
