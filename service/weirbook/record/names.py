"""Handles, numbers and paths: from what a caller writes to the row it means."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.errors import Conflict, Unknown
from weirbook.record.access import AccessKey
from weirbook.record.alerts import Alert
from weirbook.record.attachments import Attachment
from weirbook.record.base import RESERVED_HANDLES, Base, Edited, Named, Span
from weirbook.record.database import room_of
from weirbook.record.doses import Dose, Product
from weirbook.record.equipment import Gauge, OwnParameter, Pump
from weirbook.record.feeds import Feed, Feeding, Ration
from weirbook.record.journal import JournalEntry
from weirbook.record.places import PLACES, Place, RoomPlace, Section, Sump, System, Tank
from weirbook.record.readings import Correction, Exclusion
from weirbook.record.targets import Target
from weirbook.record.tasks import Completion, Helper, Task
from weirbook.record.waters import Preparation, SourceWater, StandingExchange, WaterChange, WaterReport

NAMED: dict[str, type[Named]] = {
    model.NOUN: model
    for model in (
        System,
        Tank,
        Sump,
        Section,
        Pump,
        Gauge,
        OwnParameter,
        Helper,
        AccessKey,
        Feed,
        Product,
        SourceWater,
    )
}
HAPPENINGS = (
    JournalEntry,
    Attachment,
    Target,
    Exclusion,
    Correction,
    Task,
    Completion,
    Alert,
    Ration,
    Feeding,
    WaterReport,
    Preparation,
    StandingExchange,
    WaterChange,
    Dose,
)
LISTED_NAMES = 20

N = TypeVar("N", bound=Named)


def find(session: Session, model: type[N], handle: str, *, for_edit: bool = False) -> N:
    """The row with that handle. Raises Unknown naming the handles there are."""
    asked = sa.select(model).where(model.handle == handle)
    row = session.scalars(asked.with_for_update(of=model) if for_edit else asked).one_or_none()
    if row is None:
        raise Unknown(f"There is no {model.NOUN} '{handle}'. {_those_there_are(session, model)}")
    return row


def find_place(session: Session, path: str) -> Place:
    """The place written as a path: "room", "systems/rill", "tanks/nursery", "sumps/…" or "sections/…"."""
    plural, _, handle = path.partition("/")
    if path == RoomPlace.PLURAL:
        return session.scalars(sa.select(RoomPlace)).one()
    for model in PLACES:
        if model.PLURAL == plural and handle:
            return find(session, model, handle)
    raise Unknown(
        f"'{path}' is not a place. Write room, or " + ", ".join(f"{m.PLURAL}/HANDLE" for m in PLACES) + "."
    )


def _those_there_are(session: Session, model: type[Named]) -> str:
    handles = session.scalars(
        sa.select(model.handle)
        .where(model.retired_at_ms.is_(None))
        .order_by(model.handle)
        .limit(LISTED_NAMES)
    ).all()
    if not handles:
        return f"None is recorded yet: make one with POST /v1/{model.PLURAL}."
    return f"There are: {', '.join(handles)}."


def free_handle(session: Session, model: type[Named], stems: Iterable[str]) -> str:
    """The first handle of `stems` that nothing of this noun has or had."""
    for handle in stems:
        if handle not in RESERVED_HANDLES and not _taken(session, model, handle):
            return handle
    raise AssertionError("stems are endless")


def claim_handle(session: Session, model: type[Named], handle: str) -> str:
    """The handle the keeper chose, if it is free. Raises Conflict."""
    if handle in RESERVED_HANDLES:
        raise Conflict(
            f"'{handle}' is a word that paths use. Choose another handle.", "/handle", slug="handle-taken"
        )
    if _taken(session, model, handle):
        raise Conflict(
            f"There is or was a {model.NOUN} '{handle}' already. Handles are never used again: choose another.",
            "/handle",
            slug="handle-taken",
        )
    return handle


def _taken(session: Session, model: type[Named], handle: str) -> bool:
    return session.scalar(sa.select(model.id).where(model.handle == handle)) is not None


def dependents(session: Session, row: Edited) -> list[str]:
    """What hangs on a record, in words with counts: every row that points at it and is not a part of it."""
    mapper = sa.inspect(type(row))
    own_tables = set(mapper.tables)
    nouns = {m.local_table: _noun(m.class_) for m in Base.registry.mappers}
    found = []
    for table in Base.metadata.sorted_tables:
        for key in table.foreign_key_constraints:
            if (
                key.referred_table not in own_tables
                or key.ondelete == "CASCADE"
                or "room_id" == key.column_keys[-1]
            ):
                continue
            column = key.columns.values()[-1]
            count = _count(session, table, column, row.id)  # type: ignore[attr-defined]
            if count:
                found.append(_counted(count, nouns[table]))
    for model in HAPPENINGS:
        for field, (named_by, noun) in model.MENTIONS.items():
            if noun == row.NOUN and (
                count := mentions(session, model, field, named_by, row.handle)  # type: ignore[attr-defined]
            ):
                found.append(_counted(count, model.NOUN))
    return found


def mentions(session: Session, model: type[Edited], field: str, key: str, handle: str) -> int:
    """How many records name a handle within the rows of a field, where no foreign key can hold it."""
    told = session.scalars(sa.select(getattr(model, field)))
    return sum(any(one[key] == handle for one in rows or ()) for rows in told)


def _noun(model: type[Any]) -> str:
    if issubclass(model, Span):
        return "earlier state"
    return str(getattr(model, "NOUN", model.__tablename__.replace("_", " ")))


def _counted(count: int, noun: str) -> str:
    plural = f"{noun[:-1]}ies" if noun.endswith("y") else f"{noun}s"
    return f"1 {noun}" if count == 1 else f"{count if count <= 1000 else 'over 1000'} {plural}"


def _count(session: Session, table: sa.Table, column: sa.Column[Any], value: Any) -> int:
    some = sa.select(sa.literal(1)).where(table.c.room_id == room_of(session), column == value).limit(1001)
    return int(session.scalar(sa.select(sa.func.count()).select_from(some.subquery())) or 0)
