"""What hangs on a record, so that it can't be deleted."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.record.base import Base, Edited, Span
from weirbook.record.database import room_of
from weirbook.record.links import LINKING, linked_from
from weirbook.record.names import HAPPENINGS, mentioned, written_of


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
                count := mentions(session, model, field, named_by, written_of(row, noun))
            ):
                found.append(_counted(count, model.NOUN))
    for linking in LINKING:
        if count := linked_from(session, linking, row):
            found.append(_counted(count, linking.NOUN))
    return found


def mentions(session: Session, model: type[Edited], field: str, key: str, written: str) -> int:
    """How many records name another within the rows of a field, where no foreign key can hold it."""
    told = session.scalars(sa.select(getattr(model, field)))
    return sum(any(mentioned(one, key) == written for one in rows or ()) for rows in told)


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
