"""The clock of a quarantine: begun by its first fish, set back by newcomers, stopped by its release."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.create import create
from weirbook.actions.edit import edit
from weirbook.actions.plan_task import by_clock
from weirbook.errors import Conflict, Fault, Invalid
from weirbook.record.changes import name_it
from weirbook.record.fish import ARRIVAL, DISEASE, LOSS, MOVE, UNKNOWN, Group, StockEntry
from weirbook.record.ledger import Line, heads_of, lines_of
from weirbook.record.quarantines import DAY_MS, Quarantine
from weirbook.record.tasks import DONE, Completion, Task

DEFAULT_DAYS = 42
"""Common practice (no source): trouble after mixing tends to begin in two to three weeks and run for about two, and a week
is left to be sure. Published lengths run from 7 days to 30 (fixtures/published/quarantine_published.csv). A healthy
year at the source never shortens it."""
QUIET_DAYS = 14
"""Common practice (no source): no fish lost to disease or unknown causes for so long before a release."""


def open_quarantine(
    session: Session,
    model: type[Quarantine],
    values: Mapping[str, Any],
    *,
    now: int,
    effective_ms: int | None = None,
    chosen_id: uuid.UUID | None = None,
) -> Quarantine:
    """A new quarantine. Its clock begins with its start, or with the last fish that came since. Raises Conflict, Invalid."""
    told = {**values, "clock_from_ms": values["started_at_ms"], "restarts": []}
    _refuse_second(session, told["tank"], told["started_at_ms"])
    row = create(session, model, told, now=now, chosen_id=chosen_id)
    row.clock_from_ms = clock_at(session, row)
    session.flush()
    session.refresh(row)
    return row


def edit_quarantine(
    session: Session, row: Quarantine, values: Mapping[str, Any], *, now: int, effective_ms: int | None = None
) -> bool:
    """Change a quarantine; whether anything changed. Another start sets its clock anew. Raises Invalid, Conflict."""
    started = values.get("started_at_ms", row.started_at_ms)
    if row.released_at_ms is not None and started > row.released_at_ms:
        raise Invalid("It was released before that.", "/started_at")
    if started != row.started_at_ms:
        _refuse_second(session, row.tank.handle, started, row)
    changed = edit(session, row, values, now=now)
    if changed and row.clock_from_ms != (clock := clock_at(session, row)):
        row.clock_from_ms = clock
        session.flush()
        session.refresh(row)
    return changed


def clock_at(session: Session, row: Quarantine, end_ms: int | None = None) -> int:
    """From when its days count, as it stood before an instant: its start, the last newcomer, the last restart by hand."""
    came = [line.happened_at_ms for line in came_in(session, row) if line.keeps_clock is None]
    told = [*came, *(int(one["at_ms"]) for one in row.restarts)]
    return max([row.started_at_ms, *(ms for ms in told if end_ms is None or ms < end_ms)])


def came_in(session: Session, row: Quarantine) -> list[Line]:
    """The lines by which fish came into its tank from its start on."""
    groups = set(_groups_in(session, row.tank_id))
    return [
        line
        for line in lines_of(session, groups)
        if line.kind in (ARRIVAL, MOVE)
        and (line.to_group_id or line.group_id) in groups
        and row.started_at_ms <= line.happened_at_ms
        and (row.released_at_ms is None or line.happened_at_ms <= row.released_at_ms)
    ]


def _refuse_second(session: Session, tank: str, started_at_ms: int, but: Quarantine | None = None) -> None:
    asked = sa.select(Quarantine).where(
        sa.or_(Quarantine.released_at_ms.is_(None), Quarantine.released_at_ms > started_at_ms)
    )
    for other in session.scalars(asked.order_by(Quarantine.started_at_ms)).unique():
        if but is not None and (
            other.id == but.id or other.started_at_ms > (but.released_at_ms or started_at_ms)
        ):
            continue
        if other.tank.handle == tank and other.released_at_ms is not None:
            words = (
                f"{tank} held another quarantine until {by_clock(session, other.released_at_ms)} ({other.id}): "
                "this one starts after that."
            )
            raise Conflict(words, "/started_at", slug="quarantine-open")
        if other.tank.handle == tank:
            words = (
                f"{tank} holds a quarantine already, since {by_clock(session, other.started_at_ms)} ({other.id}): "
                "release that first, or enter the newcomers into its groups."
            )
            raise Conflict(words, "/tank", slug="quarantine-open")


def _groups_in(session: Session, tank_id: int) -> list[uuid.UUID]:
    return list(session.scalars(sa.select(Group.id).where(Group.tank_id == tank_id)))


def quarantine_at(session: Session, tank_id: int, at_ms: int) -> Quarantine | None:
    """The quarantine that a tank held at an instant."""
    asked = sa.select(Quarantine).where(
        Quarantine.tank_id == tank_id,
        Quarantine.started_at_ms <= at_ms,
        sa.or_(Quarantine.released_at_ms.is_(None), Quarantine.released_at_ms > at_ms),
    )
    return session.scalars(asked).first()


def set_clock_back(session: Session, entry: StockEntry, into: Group, *, now: int) -> None:
    """A newcomer into an occupied quarantine begins its days anew, unless the entry says why not."""
    row = quarantine_at(session, into.tank_id, entry.happened_at_ms)
    if row is None:
        if entry.keeps_clock is not None:
            words = f"{into.tank.handle} holds no quarantine at that time: leave this out."
            raise Invalid(words, "/keeps_clock")
        return
    if entry.keeps_clock is not None or entry.happened_at_ms <= row.clock_from_ms:
        return
    groups = _groups_in(session, into.tank_id)
    before = [line for line in lines_of(session, groups) if line.order < _order(entry)]
    occupied = any(heads_of(before).get(group_id, 0) > 0 for group_id in groups)
    _restart(row, entry.happened_at_ms, _newcomers(entry, into), str(entry.id) if occupied else None, now)


def _order(entry: StockEntry) -> tuple[int, int]:
    return entry.happened_at_ms, entry.line


def _newcomers(entry: StockEntry, into: Group) -> str:
    return f"{entry.number} {into.species.name} came in ({entry.kind})."


def _restart(row: Quarantine, at_ms: int, reason: str, entry: str | None, now: int) -> None:
    row.clock_from_ms = at_ms
    if entry is not None:
        row.restarts = [*row.restarts, {"at_ms": at_ms, "reason": reason, "entry": entry}]
    row.version += 1
    row.updated_at_ms = now


def restart(session: Session, row: Quarantine, at_ms: int, reason: str, *, now: int) -> None:
    """Set a quarantine's clock back by hand. Raises Invalid, Conflict."""
    if row.released_at_ms is not None:
        raise Conflict("This quarantine is over: open a new one.", slug="quarantine-over")
    if at_ms < row.clock_from_ms:
        words = f"Its clock runs from {by_clock(session, row.clock_from_ms)}: a restart comes after that."
        raise Invalid(words, "/at")
    _restart(row, at_ms, reason, "", now)
    session.flush()
    name_it(session, row, "restarted", words=reason)


def take_restart_back(session: Session, entry_id: uuid.UUID, *, now: int) -> None:
    """A newcomer that never came: the clock runs from the restart before it again."""
    for row in session.scalars(sa.select(Quarantine)).unique():
        kept = [one for one in row.restarts if one["entry"] != str(entry_id)]
        if len(kept) == len(row.restarts) and clock_at(session, row) == row.clock_from_ms:
            continue
        row.restarts = kept
        row.clock_from_ms = clock_at(session, row)
        row.version += 1
        row.updated_at_ms = now


def unmet(session: Session, row: Quarantine, at_ms: int) -> list[str]:
    """What a release at an instant would pass over, in words; empty when all is done."""
    found = []
    if at_ms < row.ready_ms:
        left = -(-(row.ready_ms - at_ms) // DAY_MS)
        found.append(
            f"{left} of its {row.planned_days} days {'is' if left == 1 else 'are'} left: the clock runs from "
            f"{by_clock(session, row.clock_from_ms)}."
        )
    for written in row.checks or []:
        task_id = uuid.UUID(written)
        done = (
            sa.select(sa.func.count())
            .select_from(Completion)
            .where(
                Completion.room_id == row.room_id,
                Completion.task_id == task_id,
                Completion.outcome == DONE,
                Completion.undone_at_ms.is_(None),
                Completion.done_at_ms >= row.clock_from_ms,
                Completion.done_at_ms <= at_ms,
            )
        )
        if not session.scalar(done):
            title = session.scalars(sa.select(Task.title).where(Task.id == task_id)).one()
            found.append(f"The check '{title}' was not done since the clock began.")
    if lost := _lost_lately(session, row, at_ms):
        found.append(f"{lost} of its fish died of disease or unknown causes in the last {QUIET_DAYS} days.")
    return found


def _lost_lately(session: Session, row: Quarantine, at_ms: int) -> int:
    since = max(row.started_at_ms, at_ms - QUIET_DAYS * DAY_MS)
    return sum(
        line.number
        for line in lines_of(session, _groups_in(session, row.tank_id))
        if line.kind == LOSS and line.cause in (DISEASE, UNKNOWN) and since <= line.happened_at_ms <= at_ms
    )


def release(session: Session, row: Quarantine, at_ms: int, reason: str | None, *, now: int) -> None:
    """End a quarantine. Raises Invalid for one before its start or its last newcomer, Conflict before its checks."""
    if row.released_at_ms is not None:
        words = f"This quarantine was released at {by_clock(session, row.released_at_ms)}."
        raise Conflict(words, slug="quarantine-over")
    if at_ms < row.started_at_ms:
        raise Invalid("A release can't come before the start.", "/at")
    if at_ms < row.clock_from_ms:
        words = f"Its days count from {by_clock(session, row.clock_from_ms)}: a release comes after that."
        raise Invalid(words, "/at")
    last = max((line.happened_at_ms for line in came_in(session, row)), default=None)
    if last is not None and at_ms < last:
        words = f"Fish came in at {by_clock(session, last)}: a release can't come before that arrival."
        raise Invalid(words, "/at")
    open_points = unmet(session, row, at_ms)
    if open_points and reason is None:
        raise Conflict(
            "Not ready: " + " ".join(open_points) + " Wait, or send a reason: it is kept.",
            faults=[Fault("/reason", one) for one in open_points],
            slug="not-ready",
        )
    edit(session, row, {"released_at_ms": at_ms, "release_reason": reason}, now=now)
    name_it(session, row, "released", words=reason)
