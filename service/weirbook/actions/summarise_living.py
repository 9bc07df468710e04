"""What lived, came, went, was fed and was changed in a week: beside what the gauges read."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.feed_days import FeedDays
from weirbook.actions.quarantine_clock import clock_at
from weirbook.actions.summarise_plants import plants_of_week
from weirbook.engine.inputs import six
from weirbook.engine.times import day_of, instant_text
from weirbook.record.fish import COUNT, LOSS, MISSING, Group, StockEntry
from weirbook.record.journal import CHANGE, JournalEntry
from weirbook.record.ledger import Entered, heads_of, lines_of, walk
from weirbook.record.places import Tank
from weirbook.record.plants import LOST, UPROOTED
from weirbook.record.quarantines import DAY_MS, Quarantine
from weirbook.record.whereabouts import Whereabouts

STOCK_COLUMNS = (
    "system",
    "tank",
    "group",
    "called",
    "species",
    "heads_before",
    "arrived",
    "born",
    "moved_in",
    "moved_out",
    "lost",
    "missing",
    "left",
    "adjusted",
    "heads",
    "wanted",
    "short",
)
"""The columns of the week's table of fish, in the order of its CSV."""
_COUNTED_AS = {
    "arrival": "arrived",
    "birth": "born",
    "loss": "lost",
    "missing": "missing",
    "departure": "left",
}

Inside = Callable[[int | None], bool]
"""Whether a place, by its number, belongs to what is asked about."""


def summarise_living(
    session: Session, span: tuple[int, int], zone: ZoneInfo, where: Whereabouts, inside: Inside
) -> dict[str, Any]:
    """The living side of a stretch of time (ms, half-open), of the places that lie `inside`."""
    groups = {
        one.id: one
        for one in session.scalars(sa.select(Group).order_by(Group.id)).unique()
        if inside(one.tank_id)
    }
    lines = [line for line in lines_of(session) if line.happened_at_ms < span[1]]
    stock = _stock(groups, lines, span, where)
    return {
        "stock": stock,
        "losses": _losses(session, groups, span),
        "short": [row for row in stock if row["short"]],
        "feed": _feed(session, span, zone, where, inside),
        "changes": _changes(session, span, inside),
        "quarantines": _quarantines(session, span[1], lines, inside),
        "plants": _plants(session, span, inside),
    }


def _stock(
    groups: Mapping[uuid.UUID, Group], lines: Sequence[Any], span: tuple[int, int], where: Whereabouts
) -> list[dict[str, Any]]:
    """One row a group that has fish, had some, or wants some."""
    before = heads_of(lines, span[0] - 1)
    counts: dict[uuid.UUID, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    after: dict[uuid.UUID, int] = {}
    for one in walk(lines):
        after[one.group_id] = one.after
        if one.line.happened_at_ms >= span[0]:
            counts[one.group_id][_counted_as(one)] += (
                abs(one.after - one.before) if one.line.kind != COUNT else (one.after - one.before)
            )
    rows = []
    for group in groups.values():
        heads = after.get(group.id, 0)
        wanted = group.wanted if group.retired_at_ms is None else None
        if not (heads or before.get(group.id, 0) or group.id in counts or wanted):
            continue
        system = where.system_of(group.tank_id)
        moved = counts[group.id]
        rows.append(
            {
                "system": None if system is None else where.systems[system],
                "tank": group.tank.handle,
                "group": str(group.id),
                "called": group.called,
                "species": group.species.handle,
                "heads_before": before.get(group.id, 0),
                **{name: moved[name] for name in STOCK_COLUMNS[6:14]},
                "heads": heads,
                "wanted": wanted,
                "short": 0 if wanted is None else max(0, wanted - heads),
            }
        )
    return sorted(rows, key=lambda row: (row["system"] or "", row["tank"], row["called"], row["group"]))


def _counted_as(one: Entered) -> str:
    if one.line.kind == COUNT:
        return "adjusted"
    if one.line.kind == "move":
        return "moved_out" if one.group_id == one.line.group_id else "moved_in"
    return _COUNTED_AS[one.line.kind]


def _losses(
    session: Session, groups: Mapping[uuid.UUID, Group], span: tuple[int, int]
) -> list[dict[str, Any]]:
    """Each loss and each that is missing, with its cause and what shows it; what was withdrawn is left out."""
    taken_back = sa.select(StockEntry.withdraws_id).where(StockEntry.withdraws_id.is_not(None))
    withdrawn = set(session.scalars(taken_back))
    asked = (
        sa.select(StockEntry)
        .where(
            StockEntry.kind.in_((LOSS, MISSING)),
            StockEntry.happened_at_ms >= span[0],
            StockEntry.happened_at_ms < span[1],
        )
        .order_by(StockEntry.happened_at_ms, StockEntry.line)
    )
    return [
        {
            "id": str(one.id),
            "at": instant_text(one.happened_at_ms),
            "tank": one.group.tank.handle,
            "called": one.group.called,
            "kind": one.kind,
            "number": one.number,
            "cause": one.cause,
            "evidence": one.evidence,
        }
        for one in session.scalars(asked).unique()
        if one.group_id in groups and one.id not in withdrawn
    ]


def _feed(
    session: Session, span: tuple[int, int], zone: ZoneInfo, where: Whereabouts, inside: Inside
) -> list[dict[str, Any]]:
    """Food of each system over the days of the span, g; how many of its tanks' days nothing is told of."""
    tanks = [
        (tank_id, system)
        for tank_id in session.scalars(sa.select(Tank.id).where(Tank.use != "water store"))
        if (system := where.system_of(tank_id)) is not None and inside(tank_id)
    ]
    fed = FeedDays(session, [tank_id for tank_id, _ in tanks], zone)
    days = _days(span, zone)
    grams: dict[str, float] = defaultdict(float)
    untold: dict[str, int] = defaultdict(int)
    for tank_id, system in tanks:
        for day in days:
            if fed.told(tank_id, day):
                grams[where.systems[system]] += 1000 * sum(meal.mass for meal in fed.meals(tank_id, day))
            else:
                untold[where.systems[system]] += 1
    return [
        {
            "system": system,
            "fed": {"value": six(grams[system]), "unit": "g"},
            "tank_days_untold": untold[system],
        }
        for system in sorted(grams)
    ]


def _days(span: tuple[int, int], zone: ZoneInfo) -> list[date]:
    first, last = day_of(span[0], zone), day_of(max(span[0], span[1] - 1), zone)
    return [first + timedelta(days=offset) for offset in range((last - first).days + 1)]


def _changes(session: Session, span: tuple[int, int], inside: Inside) -> list[dict[str, Any]]:
    asked = (
        sa.select(JournalEntry)
        .where(
            JournalEntry.kind == CHANGE,
            JournalEntry.happened_at_ms >= span[0],
            JournalEntry.happened_at_ms < span[1],
        )
        .order_by(JournalEntry.happened_at_ms, JournalEntry.id)
    )
    return [
        {
            "id": str(one.id),
            "at": instant_text(one.happened_at_ms),
            "place": one.place.path,
            "what": (one.changed or {}).get("what") or one.words[:200],
            "before": (one.changed or {}).get("from"),
            "after": (one.changed or {}).get("to"),
        }
        for one in session.scalars(asked).unique()
        if inside(one.place_id)
    ]


def _quarantines(session: Session, end_ms: int, lines: Iterable[Any], inside: Inside) -> list[dict[str, Any]]:
    """Those that were open at the end."""
    asked = (
        sa.select(Quarantine)
        .where(
            Quarantine.started_at_ms < end_ms,
            sa.or_(Quarantine.released_at_ms.is_(None), Quarantine.released_at_ms >= end_ms),
        )
        .order_by(Quarantine.started_at_ms, Quarantine.id)
    )
    heads = heads_of(lines)
    of_tank: dict[int, int] = defaultdict(int)
    for group_id, tank_id in session.execute(sa.select(Group.id, Group.tank_id)):
        of_tank[tank_id] += heads.get(group_id, 0)
    return [
        {
            "id": str(one.id),
            "tank": one.tank.handle,
            "clock_from": instant_text(clock := clock_at(session, one, end_ms)),
            "ready_at": instant_text(clock + one.planned_days * DAY_MS),
            "heads": of_tank[one.tank_id],
        }
        for one in session.scalars(asked).unique()
        if inside(one.tank_id)
    ]


def _plants(session: Session, span: tuple[int, int], inside: Inside) -> dict[str, Any]:
    """What was planted, lost, dug up and taken off, each where it stood then."""
    found = plants_of_week(session, *span, inside)
    return {
        "planted": sum(1 for one in found["plantings"] if not one["again"]),
        "harvested": {"value": six(sum(one["wet_mass"]["value"] for one in found["harvests"])), "unit": "g"},
        "lost": [
            {
                **{name: one[name] for name in ("at", "kind", "place", "spot", "method")},
                "how": one["outcome"],
                "by": one["by"],
            }
            for one in found["losses"]
            if one["outcome"] in (LOST, UPROOTED)
        ],
    }
