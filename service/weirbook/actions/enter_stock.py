"""Enter a line into the ledger of heads: nothing below zero, differences explained, quarantine clocks set back."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.create import create
from weirbook.actions.plan_task import by_clock
from weirbook.actions.quarantine_clock import set_clock_back, take_restart_back
from weirbook.errors import Conflict, Invalid
from weirbook.record.database import room_of, take_next
from weirbook.record.fish import (
    ARRIVAL,
    BIRTH,
    COUNT,
    LOSS,
    MISSING,
    MOVE,
    WITHDRAWAL,
    Group,
    StockEntry,
)
from weirbook.record.ledger import Entered, heads_of, lines_of, short_of, walk
from weirbook.record.quarantines import Quarantine
from weirbook.record.whereabouts import whereabouts

WORDS = {LOSS: "be lost", MISSING: "be missing", MOVE: "be moved", "departure": "leave"}
COMES_IN = (ARRIVAL, BIRTH, MOVE)


def enter_stock(
    session: Session,
    model: type[StockEntry],
    values: Mapping[str, Any],
    *,
    now: int,
    effective_ms: int | None = None,
    chosen_id: uuid.UUID | None = None,
) -> StockEntry:
    """Append an entry. Raises Invalid where a group would hold less than nothing, then or later."""
    wrong = _withdrawn(session, values)
    told = dict(values) if wrong is None else _as_withdrawal(values, wrong)
    touched = _touched(told, wrong)
    _hold(session, touched)
    kept = {**told, "line": take_next(session, model.COUNTER), "straight_in": False}
    entry = create(session, model, kept, now=now, chosen_id=chosen_id)
    _refuse_foreign_batch(session, entry)
    for group_id in touched:
        _refuse_below_zero(session, group_id, entry)
    if entry.kind in (ARRIVAL, MOVE):
        into = entry.to_group or entry.group
        entry.straight_in = _goes_straight_in(session, entry, into)
        set_clock_back(session, entry, into, now=now)
    if entry.kind == WITHDRAWAL:
        take_restart_back(session, told["withdraws_id"], now=now)
    session.flush()
    return entry


def _withdrawn(session: Session, values: Mapping[str, Any]) -> StockEntry | None:
    """What a withdrawal takes back. Raises Invalid, Conflict."""
    if values["kind"] != WITHDRAWAL:
        for name, what in (("group", "Say which group."), ("number", "Say how many.")):
            if values.get(name) is None:
                raise Invalid(what, f"/{name}")
        return None
    wrong_id = values.get("withdraws_id")
    if wrong_id is None:
        raise Invalid("Say which entry was wrong, by its id.", "/withdraws")
    wrong = session.scalars(sa.select(StockEntry).where(StockEntry.id == wrong_id)).one_or_none()
    if wrong is None:
        raise Invalid(f"There is no stock entry with the id {wrong_id}.", "/withdraws")
    if wrong.kind == WITHDRAWAL:
        raise Invalid("A withdrawal stands: enter anew what it took back.", "/withdraws")
    taken = sa.select(StockEntry.id).where(StockEntry.withdraws_id == wrong_id)
    if session.scalar(taken) is not None:
        raise Conflict("That entry is withdrawn already.", "/withdraws", slug="already-withdrawn")
    if values.get("group") not in (None, str(wrong.group_id)):
        raise Invalid("That entry is of another group: leave group out.", "/group")
    return wrong


def _as_withdrawal(values: Mapping[str, Any], wrong: StockEntry) -> dict[str, Any]:
    """A withdrawal has group and instant of what it takes back. Raises Invalid where it says otherwise."""
    for name, own in (("number", 0), ("happened_at_ms", wrong.happened_at_ms)):
        if values.get(name) not in (None, own):
            words = "A withdrawal takes this from the entry that it takes back: leave it out."
            raise Invalid(words, f"/{name.removesuffix('_ms')}")
    return {
        **values,
        "group": str(wrong.group_id),
        "to_group": None,
        "number": 0,
        "happened_at_ms": wrong.happened_at_ms,
    }


def _touched(told: Mapping[str, Any], wrong: StockEntry | None) -> list[uuid.UUID]:
    """The groups whose heads an entry changes: a withdrawn move has two as well."""
    if wrong is not None:
        return [one for one in (wrong.group_id, wrong.to_group_id) if one is not None]
    return [uuid.UUID(one) for name in ("group", "to_group") if (one := told.get(name)) is not None]


def _hold(session: Session, groups: Sequence[uuid.UUID]) -> None:
    """Of two who enter for one group at once, the second sees the first: groups are locked in one order."""
    asked = (
        sa.select(Group.id).where(Group.room_id == room_of(session), Group.id.in_(groups)).order_by(Group.id)
    )
    session.execute(asked.with_for_update(of=Group))


def _refuse_foreign_batch(session: Session, entry: StockEntry) -> None:
    """A batch is a birth or an arrival into the group, or the move that brought it."""
    if entry.batch_id is None:
        return
    batch = session.scalars(sa.select(StockEntry).where(StockEntry.id == entry.batch_id)).one_or_none()
    fits = (
        batch is not None
        and batch.kind in COMES_IN
        and (batch.to_group_id or batch.group_id) == entry.group_id
        and batch.happened_at_ms <= entry.happened_at_ms
    )
    if not fits:
        words = (
            "A batch is the id of an arrival, birth or move by which these fish came into the group before."
        )
        raise Invalid(words, "/batch")
    lines = lines_of(session, [entry.group_id])
    left = sum(line.number for line in lines if line.batch_id == entry.batch_id)
    brought = next((line.number for line in lines if line.id == entry.batch_id), 0)
    if left > brought:
        words = f"{brought} came by it, and {left} would have left of it: name another batch, or none."
        raise Invalid(words, "/batch")


def _refuse_below_zero(session: Session, group_id: uuid.UUID, entry: StockEntry) -> None:
    lines = lines_of(session, [group_id])
    entered = [one for one in walk(lines) if one.group_id == group_id]
    own = next((one for one in entered if one.line.id == entry.id), None)
    if own is not None and entry.kind == COUNT and own.before != own.after and entry.words is None:
        words = f"The ledger says {own.before}, you counted {own.after}: say in words what you know of the difference."
        raise Invalid(words, "/words")
    short = short_of(entered)
    if short is None:
        _refuse_unexplained(session, entered, entry)
        return
    if short.line.id == entry.id:
        words = (
            f"This group had {short.before} at that time: {entry.number} can't {WORDS.get(entry.kind, 'go')}. "
            "If there were more, count them first (kind count)."
        )
        raise Invalid(words, "/number")
    raise Invalid(_later(session, short), "/withdraws" if entry.kind == WITHDRAWAL else "/number")


def _refuse_unexplained(session: Session, entered: Sequence[Entered], entry: StockEntry) -> None:
    """A count that agreed with the ledger says nothing of a difference: no earlier line may make one behind its back."""
    moved = [
        one
        for one in entered
        if one.line.kind == COUNT and one.before != one.after and one.line.id != entry.id
    ]
    if not moved:
        return
    asked = sa.select(StockEntry.id).where(
        StockEntry.id.in_([one.line.id for one in moved]), StockEntry.words.is_(None)
    )
    silent = set(session.scalars(asked))
    count = next((one for one in moved if one.line.id in silent), None)
    if count is not None:
        words = (
            f"The count of {count.after} at {by_clock(session, count.line.happened_at_ms)} ({count.line.id}) agreed with the "
            f"ledger and gives no reason; with this it would differ from {count.before}. Withdraw it and count anew, with words, "
            "or date this after it."
        )
        raise Invalid(words, "/withdraws" if entry.kind == WITHDRAWAL else "/happened_at")


def _later(session: Session, short: Entered) -> str:
    return (
        f"Then the {short.line.kind} of {short.line.number} at {by_clock(session, short.line.happened_at_ms)} "
        f"({short.line.id}) would find only {short.before}: correct that first, or count the group."
    )


def _goes_straight_in(session: Session, entry: StockEntry, into: Group) -> bool:
    """Whether an arrival met other fish's water without a quarantine; one whose water other tanks share is none."""
    if entry.kind != ARRIVAL:
        return False
    apart = _quarantined(session, into, entry.happened_at_ms)
    where = whereabouts(session, entry.happened_at_ms)
    water = where.system_of(into.tank_id)
    sharing = {
        group_id
        for group_id, tank_id in session.execute(
            sa.select(Group.id, Group.tank_id).where(Group.room_id == room_of(session))
        )
        if where.system_of(tank_id) == water and not (apart and tank_id == into.tank_id)
    }
    before = [line for line in lines_of(session) if line.order < _order(entry)]
    heads = heads_of(before)
    return any(heads.get(group_id, 0) > 0 for group_id in sharing)


def _order(entry: StockEntry) -> tuple[int, int]:
    return entry.happened_at_ms, entry.line


def _quarantined(session: Session, into: Group, at_ms: int) -> bool:
    if into.tank.use == "quarantine":
        return True
    asked = sa.select(Quarantine.id).where(
        Quarantine.tank_id == into.tank_id,
        Quarantine.started_at_ms <= at_ms,
        sa.or_(Quarantine.released_at_ms.is_(None), Quarantine.released_at_ms > at_ms),
    )
    return session.scalar(asked) is not None
