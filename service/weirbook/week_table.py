"""The week of a room as a table for a terminal."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.summarise_week import last_full_monday, summarise_week, week_of
from weirbook.engine.times import day_of, instant_ms, week_start, zone
from weirbook.record.database import now_ms
from weirbook.record.rooms import Room
from weirbook.tables import to_text

TABLE_COLUMNS = (
    "system",
    "place",
    "parameter",
    "unit",
    "count",
    "min",
    "mean",
    "max",
    "last",
    "target_low",
    "target_high",
    "minutes_outside",
)
"""What of the weekly table fits a terminal."""


def week_in_words(session: Session, week: str | None = None, system: str | None = None) -> str:
    """The weekly table, silent gauges and notes for a terminal."""
    room = session.scalars(sa.select(Room)).one()
    where, now = zone(room.time_zone), now_ms()
    monday = week_start(week) if week else last_full_monday(now, where)
    found = summarise_week(session, week_of(monday, where, now), system)
    rows = [
        [row[name] if not isinstance(row[name], float) else round(row[name], 3) for name in TABLE_COLUMNS]
        for row in found["rows"]
    ]
    head = f"{room.name}, week {found['week']} ({day_of(instant_ms(found['from']), where)} on)"
    lines = [head + ("" if found["complete"] else ", still running"), "", to_text(TABLE_COLUMNS, rows)]
    if found["silent"]:
        lines += ["Silent at its end:"]
        for one in found["silent"]:
            heard = "never" if one["last_at"] is None else _clock(one["last_at"], where)
            lines.append(f"  {one['gauge']} ({one['place']}), last heard {heard}")
    if found["notes"]:
        lines += ["Notes:"]
        lines += [f"  {_clock(one['at'], where)}  {one['place']}: {one['words']}" for one in found["notes"]]
    living = found["living"]
    for one in living["losses"]:
        cause = f", {one['cause'].replace('_', ' ')}" if one["cause"] else ""
        lines.append(f"Lost: {one['number']} of {one['called']}{cause} ({_clock(one['at'], where)})")
    for row in living["short"]:
        lines.append(f"Short: {row['called']} has {row['heads']} of {row['wanted']}")
    for one in living["quarantines"]:
        lines.append(
            f"Quarantine: {one['heads']} fish in {one['tank']} until {_clock(one['ready_at'], where)}"
        )
    told = found["tasks"]
    lines.append(f"Tasks: {told['done']} done, {told['skipped']} skipped, {told['overdue']} overdue")
    for one in told["overdue_tasks"]:
        about = f" ({one['about']})" if one["about"] else ""
        lines.append(f"  {one['title']}{about}, due {_clock(one['due'], where)}")
    return "\n".join(lines)


def _clock(instant: str, where: ZoneInfo) -> str:
    """An instant by the room's own clock, to the minute."""
    moment = datetime.fromtimestamp(instant_ms(instant) / 1000, where)
    return f"{moment:%Y-%m-%d %H:%M}"
