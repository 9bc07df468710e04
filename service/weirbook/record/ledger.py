"""The ledger of heads: every line that counts, in order, and what it leaves in each group."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.record.database import fetch, room_of
from weirbook.record.fish import COUNT, GAINS, MOVE, WITHDRAWAL, StockEntry


class Line(NamedTuple):
    """A stock entry as the ledger reads it, a tuple because thousands are made for one answer.

    Lines of one instant follow each other as they were told.
    """

    happened_at_ms: int
    line: int
    id: uuid.UUID
    kind: str
    group_id: uuid.UUID
    to_group_id: uuid.UUID | None
    number: int
    source: str | None
    cause: str | None
    batch_id: uuid.UUID | None
    withdraws_id: uuid.UUID | None
    straight_in: bool
    keeps_clock: str | None

    @property
    def order(self) -> tuple[int, int]:
        """Where it stands in the ledger."""
        return self.happened_at_ms, self.line


@dataclass(frozen=True)
class Entered:
    """What a line did to a group: how many heads it had before and after."""

    line: Line
    group_id: uuid.UUID
    before: int
    after: int


_COLUMNS = Line._fields


def lines_of(session: Session, groups: Iterable[uuid.UUID] | None = None) -> list[Line]:
    """The lines that count, in order, of all groups or of those that name one of `groups`; without ORM objects."""
    if groups is None:
        asked = f"SELECT {', '.join(_COLUMNS)} FROM stock_entry WHERE room_id = ?"
        return counting(_read(fetch(session, asked, (room_of(session),))))
    entry = StockEntry.__table__.c
    wanted = list(groups)
    # Ids come as the driver gives them, and are read once each: thousands of rows make one answer.
    bare = (
        sa.type_coerce(entry[name], sa.String) if name.endswith("id") else entry[name] for name in _COLUMNS
    )
    some = sa.select(*bare).where(
        entry.room_id == room_of(session),
        # What took a move back stands under the group it left: withdrawals are asked for of all.
        sa.or_(entry.group_id.in_(wanted), entry.to_group_id.in_(wanted), entry.kind == WITHDRAWAL),
    )
    return counting(_read(row for row in session.execute(some)))


class _Ids(dict[Any, Any]):
    """Ids by how the driver gives them, each read once."""

    def __missing__(self, raw: Any) -> Any:
        read = raw if raw is None or isinstance(raw, uuid.UUID) else uuid.UUID(int=int(raw, 16))
        self[raw] = read
        return read


def _read(rows: Iterable[Sequence[Any]]) -> Iterator[Line]:
    """Rows as the driver gives them: of SQLite ids are texts and flags numbers. An id is read once, however often it stands."""
    ids = _Ids()
    for (
        happened,
        line,
        own,
        kind,
        group,
        to_group,
        number,
        source,
        cause,
        batch,
        withdraws,
        straight,
        keeps,
    ) in rows:
        yield Line(
            happened,
            line,
            ids[own],
            kind,
            ids[group],
            ids[to_group],
            number,
            source,
            cause,
            ids[batch],
            ids[withdraws],
            bool(straight),
            keeps,
        )


def counting(lines: Iterable[Line]) -> list[Line]:
    """Those that were not withdrawn, in the ledger's order, without the withdrawals themselves."""
    told = list(lines)
    withdrawn = {line.withdraws_id for line in told if line.kind == WITHDRAWAL}
    kept = [line for line in told if line.kind != WITHDRAWAL and line.id not in withdrawn]
    return sorted(kept, key=lambda line: line.order)


def walk(lines: Iterable[Line]) -> Iterator[Entered]:
    """What each line does, in order, also where it leaves less than nothing: the caller judges."""
    heads: dict[uuid.UUID, int] = {}
    for line in lines:
        for group_id, change in _changes(line, heads.get(line.group_id, 0)):
            before = heads.get(group_id, 0)
            heads[group_id] = before + change
            yield Entered(line, group_id, before, before + change)


def _changes(line: Line, heads: int) -> list[tuple[uuid.UUID, int]]:
    if line.kind == COUNT:
        return [(line.group_id, line.number - heads)]
    if line.kind in GAINS:
        return [(line.group_id, line.number)]
    left = [(line.group_id, -line.number)]
    return [*left, (line.to_group_id, line.number)] if line.kind == MOVE and line.to_group_id else left


def heads_of(lines: Iterable[Line], at_ms: int | None = None) -> dict[uuid.UUID, int]:
    """How many heads each group has, at an instant or by now."""
    some = lines if at_ms is None else (line for line in lines if line.happened_at_ms <= at_ms)
    return {one.group_id: one.after for one in walk(some)}


def short_of(entered: Sequence[Entered]) -> Entered | None:
    """The first line that takes more heads than there are."""
    return next((one for one in entered if one.after < 0), None)
