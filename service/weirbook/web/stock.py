"""The ledger of heads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa
from marshmallow import fields

from weirbook.actions.create import create
from weirbook.actions.enter_stock import enter_stock
from weirbook.errors import Invalid, Unknown
from weirbook.record.fish import CAUSES, ENTRY_KINDS, MOVE, WITHDRAWAL, Group, StockEntry
from weirbook.record.ledger import walk
from weirbook.record.names import find, find_happening
from weirbook.record.places import System, Tank
from weirbook.record.quarantines import Quarantine
from weirbook.record.whereabouts import whereabouts
from weirbook.web.access import DAILY
from weirbook.web.fields import Choice, Handle, Identity, Instant, Plain, RecordId, Whole, Words
from weirbook.web.fish import MOST_FISH, stock_in
from weirbook.web.happened import happened_within, with_instant
from weirbook.web.operations import Call
from weirbook.web.records import HappeningSchema
from weirbook.web.resource import Filter, Resource

WORDS = (
    "One line of the ledger of heads: arrival, birth, move (one entry on both sides), loss, missing, departure, count, "
    "withdrawal. It is appended, never edited: a count that differs makes an adjustment, explained in its words; a wrong line is "
    "taken back by a withdrawal that names it. No group ever holds less than nothing, also not in the past. Newest first."
)


class StockEntrySchema(HappeningSchema):
    kind = Choice(ENTRY_KINDS, required=True, metadata={"description": "What happened"})
    group = RecordId(
        Group.PLURAL,
        metadata={"description": "Id of the group; of a withdrawal the wrong entry's, if not said"},
    )
    to_group = RecordId(
        Group.PLURAL, allow_none=True, metadata={"description": "Of a move: the group they joined"}
    )
    number = Whole(0, MOST_FISH, metadata={"description": "How many fish; of a count: how many were counted"})
    happened_at = Instant(attribute="happened_at_ms", metadata={"description": "When; now if not said"})
    source = Words(cap=200, allow_none=True, metadata={"description": "Of an arrival: who they came from"})
    price = Plain(
        0, 1e9, allow_none=True, metadata={"description": "For all of them, in the room's currency"}
    )
    cause = Choice(CAUSES, allow_none=True, metadata={"description": "Of a loss: why, as far as is known"})
    evidence = Words(cap=500, allow_none=True, metadata={"description": "Of a loss: what shows it"})
    batch = Identity(
        StockEntry.PLURAL,
        allow_none=True,
        attribute="batch_id",
        metadata={"description": "The arrival, birth or move by which these fish came, if you know it"},
    )
    withdraws = Identity(
        StockEntry.PLURAL,
        allow_none=True,
        attribute="withdraws_id",
        metadata={"description": "Of a withdrawal: the wrong entry"},
    )
    keeps_clock = Words(
        cap=500,
        allow_none=True,
        metadata={"description": "Why newcomers into an occupied quarantine do not begin its days anew"},
    )
    words = Words(allow_none=True)
    author = Words(cap=120, metadata={"description": "Who tells it; the key's name if not said"})
    line = fields.Integer(
        dump_only=True,
        metadata={"description": "Its number in the order of telling: lines of one instant follow it"},
    )
    straight_in = fields.Boolean(
        dump_only=True,
        metadata={"description": "Arrived into water that other fish live in, without a quarantine"},
    )
    heads_before = fields.Integer(
        dump_only=True,
        allow_none=True,
        metadata={"description": "Of the group, by the ledger; null if withdrawn"},
    )
    heads_after = fields.Integer(
        dump_only=True, allow_none=True, metadata={"description": "Of the group; null if withdrawn"}
    )
    heads_now = fields.Integer(
        dump_only=True,
        metadata={"description": "Fish of the group now, by the whole ledger: a later count may set it"},
    )
    withdrawn_by = fields.String(
        dump_only=True,
        allow_none=True,
        metadata={"format": "uuid", "description": "The entry that took it back"},
    )
    quarantine = fields.String(
        dump_only=True,
        allow_none=True,
        metadata={"format": "uuid", "description": "The quarantine whose days it began anew"},
    )
    left_quarantine = fields.String(
        dump_only=True,
        allow_none=True,
        metadata={
            "format": "uuid",
            "description": "Of a move: the quarantine that these fish left before its release; what they carry came along",
        },
    )


def _complete(call: Call, values: dict[str, Any]) -> dict[str, Any]:
    if values.get("author") is None:
        values["author"] = call.caller.name
    if values["kind"] == WITHDRAWAL:
        return values  # number and instant are those of the entry that it takes back
    to_tank = values.pop("to_tank", None)
    if to_tank is not None:
        values["to_group"] = _joined(call, values, to_tank)
    return with_instant(call, values, "happened_at")


def _joined(call: Call, values: Mapping[str, Any], to_tank: str) -> str:
    """The group that fish join in another tank: that of their species and origin, made if there is none."""
    if values["kind"] != MOVE or values.get("to_group") is not None:
        raise Invalid("Only of a move, and instead of to_group.", "/to_tank")
    if values.get("group") is None:
        raise Invalid("Say which group.", "/group")
    try:
        group: Any = find_happening(call.session, Group.NOUN, values["group"])
    except Unknown as trouble:
        raise Invalid(trouble.message, "/group") from None
    if group.tank.handle == to_tank:
        raise Invalid(f"They are in {to_tank} already: a move goes to another tank.", "/to_tank")
    asked = sa.select(Group).where(
        Group.species_id == group.species_id,
        Group.retired_at_ms.is_(None),
        Group.origin == group.origin if group.origin is not None else Group.origin.is_(None),
    )
    for other in call.session.scalars(asked.order_by(Group.id)).unique():
        if other.tank.handle == to_tank:
            return str(other.id)
    try:
        made = create(
            call.session,
            Group,
            {"species": group.species.handle, "tank": to_tank, "origin": group.origin},
            now=call.now,
        )
    except Invalid as trouble:
        raise Invalid(trouble.faults[0].message if trouble.faults else trouble.message, "/to_tank") from None
    return str(made.id)


def _standing(call: Call, row: StockEntry) -> dict[str, Any]:
    """What the ledger makes of an entry."""
    info = call.session.info
    if "entered" not in info:
        stock = stock_in(call)
        info["entered"] = {(one.line.id, one.group_id): one for one in walk(stock.lines)}
        taken = sa.select(StockEntry.withdraws_id, StockEntry.id).where(StockEntry.withdraws_id.is_not(None))
        info["withdrawn"] = {wrong: str(by) for wrong, by in call.session.execute(taken)}
        quarantines = info["quarantines"] = call.session.scalars(sa.select(Quarantine)).unique().all()
        info["restarted"] = {one["entry"]: str(each.id) for each in quarantines for one in each.restarts}
    entered = info["entered"].get((row.id, row.group_id))
    return {
        "heads_before": None if entered is None else entered.before,
        "heads_after": None if entered is None else entered.after,
        "withdrawn_by": info["withdrawn"].get(row.id),
        "heads_now": stock_in(call).heads.get(row.group_id, 0),
        "quarantine": info["restarted"].get(str(row.id)),
        "left_quarantine": _left(row, info["quarantines"]),
    }


def _left(row: StockEntry, quarantines: Sequence[Quarantine]) -> str | None:
    """The quarantine that a move took fish out of before its release."""
    if row.kind != MOVE:
        return None
    found = (
        str(one.id)
        for one in quarantines
        if one.tank_id == row.group.tank_id
        and one.started_at_ms <= row.happened_at_ms
        and (one.released_at_ms is None or row.happened_at_ms < one.released_at_ms)
    )
    return next(found, None)


def _of_group(session: Any, one: Any) -> Any:
    group: Any = find_happening(session, Group.NOUN, str(one))
    return sa.or_(StockEntry.group_id == group.id, StockEntry.to_group_id == group.id)


def _of_tanks(tanks: list[int]) -> Any:
    those = sa.select(Group.id).where(Group.room_id == StockEntry.room_id, Group.tank_id.in_(tanks))
    return sa.or_(StockEntry.group_id.in_(those), StockEntry.to_group_id.in_(those))


def _in_tank(session: Any, handle: str) -> Any:
    return _of_tanks([find(session, Tank, handle).id])


def _in_system(session: Any, handle: str) -> Any:
    system = find(session, System, handle).id
    where = whereabouts(session, 1 << 62)
    return _of_tanks([vessel for vessel, owner in where.system_of_vessel.items() if owner == system])


STOCK_ENTRIES = Resource(
    model=StockEntry,
    schema=StockEntrySchema,
    words=WORDS,
    example={
        "kind": "loss",
        "group": "01936c5e-8f00-7000-8000-0000000000c1",
        "number": 1,
        "cause": "unknown",
        "evidence": "Lay behind the wood, no marks.",
        "happened_at": "2026-11-20T10:00:00Z",
    },
    example_key="01936c5e-8f00-7000-8000-0000000000c2",
    example_patch={},
    filters={
        "group": Filter(
            Identity(
                Group.PLURAL, metadata={"description": "Only those that name this group, on either side."}
            ),
            _of_group,
        ),
        "tank": Filter(Handle(metadata={"description": "Only those of groups in this tank."}), _in_tank),
        "system": Filter(
            Handle(metadata={"description": "Only those of groups whose tank belongs to this system now."}),
            _in_system,
        ),
        "kind": Filter(
            Choice(ENTRY_KINDS, metadata={"description": "Only this kind."}),
            lambda session, kind: StockEntry.kind == kind,
        ),
        **happened_within(StockEntry.happened_at_ms),
    },
    order=("happened_at_ms", "id"),
    descending=True,
    verbs=("list", "create", "put", "get"),
    unedited="Entries are never edited or deleted: POST a withdrawal that names it, then the right one.",
    makers=DAILY,
    prepare=_complete,
    create=enter_stock,
    describe=_standing,
    sent={
        "to_tank": Handle(
            metadata={
                "description": (
                    "Of a move, instead of to_group: its group of this species and origin, made if there is none"
                )
            }
        )
    },
)
