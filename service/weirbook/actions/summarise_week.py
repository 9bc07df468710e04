"""The week of a room: one row a gauge, the gauges that fell silent, the notes, what lived and was done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.plan_task import room_zone
from weirbook.actions.read_windows import Stretch, read_windows
from weirbook.actions.summarise_living import summarise_living
from weirbook.actions.summarise_tasks import summarise_tasks
from weirbook.engine.relations.windows import Band
from weirbook.engine.times import day_of, instant_text, midnight_ms, week_text
from weirbook.engine.units import number_or_none
from weirbook.record.equipment import Gauge
from weirbook.record.journal import JournalEntry
from weirbook.record.names import find
from weirbook.record.places import System
from weirbook.record.wanted import bands_over
from weirbook.record.whereabouts import Whereabouts, whereabouts

NOTES_CAP = 200


@dataclass(frozen=True)
class Week:
    """A week of the room's zone, and the part of it that has passed."""

    monday: date
    start_ms: int
    end_ms: int
    read_to_ms: int

    @property
    def complete(self) -> bool:
        return self.read_to_ms == self.end_ms


def week_of(monday: date, zone: ZoneInfo, now: int) -> Week:
    """The week that begins on a Monday; of a running one what has passed."""
    start, end = midnight_ms(monday, zone), midnight_ms(monday + timedelta(days=7), zone)
    return Week(monday, start, end, max(start, min(end, now)))


def last_full_monday(now: int, zone: ZoneInfo) -> date:
    """The Monday of the last week that is over."""
    today = day_of(now, zone)
    return today - timedelta(days=today.weekday() + 7)


def summarise_week(session: Session, week: Week, system_handle: str | None = None) -> dict[str, Any]:
    """Rows, silences, notes, tasks and the living side of a week, of the whole room or of one system.

    Targets count as they were at each moment, systems as they were at the week's end. Raises Unknown for a system that is not.
    """
    where = whereabouts(session, max(week.start_ms, week.read_to_ms - 1))
    system = None if system_handle is None else find(session, System, system_handle)
    zone = room_zone(session)

    def inside(place: int | None) -> bool:
        return system is None or (place is not None and where.system_of(place) == system.id)

    gauges = _gauges(session, week, where, system)
    bands = bands_over(session, gauges, week.start_ms, max(week.start_ms + 1, week.read_to_ms))
    read = (
        read_windows(session, gauges, (week.start_ms, week.read_to_ms), bands)
        if week.read_to_ms > week.start_ms
        else {}
    )
    rows = [_row(gauge, where, read[gauge.id], bands[gauge.id], week) for gauge in gauges if gauge.id in read]
    return {
        "week": week_text(week.monday),
        "from": instant_text(week.start_ms),
        "to": instant_text(week.end_ms),
        "complete": week.complete,
        "rows": rows,
        "silent": _silent(gauges, read, week),
        "notes": _notes(session, week, where, system),
        "tasks": summarise_tasks(session, zone, week.start_ms, week.read_to_ms, inside),
        "living": summarise_living(session, (week.start_ms, week.read_to_ms), zone, where, inside),
    }


def _gauges(session: Session, week: Week, where: Whereabouts, system: System | None) -> list[Gauge]:
    """Those that were in use in the week or read in it, in the order of system, place and parameter."""
    asked = sa.select(Gauge).where(sa.or_(Gauge.retired_at_ms.is_(None), Gauge.retired_at_ms > week.start_ms))
    found = [
        gauge
        for gauge in session.scalars(asked).unique()
        if system is None or where.system_of(gauge.place_id) == system.id
    ]
    return sorted(found, key=lambda g: (_system_handle(where, g) or "", g.place.path, g.parameter, g.handle))


def _system_handle(where: Whereabouts, gauge: Gauge) -> str | None:
    system_id = where.system_of(gauge.place_id)
    return None if system_id is None else where.systems[system_id]


def _row(
    gauge: Gauge, where: Whereabouts, stretch: Stretch, bands: Sequence[Band], week: Week
) -> dict[str, Any]:
    stats = stretch.stats[0]
    band = next((one for one in reversed(bands) if one.from_ms < week.read_to_ms), None)
    length = week.read_to_ms - week.start_ms
    return {
        "system": _system_handle(where, gauge),
        "place": gauge.place.path,
        "parameter": gauge.parameter,
        "gauge": gauge.handle,
        "unit": gauge.unit,
        "count": stats.n,
        "min": number_or_none(stats.low),
        "mean": number_or_none(stats.mean),
        "max": number_or_none(stats.high),
        "last": number_or_none(stats.last),
        "last_at": None if stats.last_ms is None else instant_text(stats.last_ms),
        "time_weighted": stats.weighted,
        "covered_percent": round(100 * stats.covered_ms / length, 1) if stats.weighted else None,
        "target_low": band and number_or_none(band.low),
        "target_high": band and number_or_none(band.high),
        "minutes_outside": None if stretch.minutes_outside is None else round(stretch.minutes_outside, 1),
        "qualified": stats.qualified,
        "implausible": stats.implausible,
    }


def _silent(gauges: Sequence[Gauge], read: dict[int, Stretch], week: Week) -> list[dict[str, Any]]:
    """Gauges that should report and had not for three intervals when the week, or what has passed of it, ended."""
    found = []
    for gauge in gauges:
        if gauge.gap_ms is None or gauge.retired_at_ms is not None or gauge.id not in read:
            continue
        stretch = read[gauge.id]
        last = stretch.stats[0].last_ms or (stretch.before and stretch.before.at_ms)
        if last is None and gauge.created_at_ms >= week.read_to_ms:
            continue
        if last is None or week.read_to_ms - last > gauge.gap_ms:
            found.append(
                {
                    "gauge": gauge.handle,
                    "place": gauge.place.path,
                    "parameter": gauge.parameter,
                    "last_at": None if last is None else instant_text(last),
                    "silent_minutes": None if last is None else round((week.read_to_ms - last) / 60_000),
                }
            )
    return found


def _notes(session: Session, week: Week, where: Whereabouts, system: System | None) -> list[dict[str, Any]]:
    asked = (
        sa.select(JournalEntry)
        .where(JournalEntry.happened_at_ms >= week.start_ms, JournalEntry.happened_at_ms < week.end_ms)
        .order_by(JournalEntry.happened_at_ms, JournalEntry.id)
    )
    found = [
        {
            "id": str(entry.id),
            "at": instant_text(entry.happened_at_ms),
            "place": entry.place.path,
            "kind": entry.kind,
            "author": entry.author,
            "words": entry.words,
        }
        for entry in session.scalars(asked).unique()
        if system is None or where.system_of(entry.place_id) == system.id
    ]
    return found[-NOTES_CAP:]


SUMMARY_COLUMNS = (
    "system",
    "place",
    "parameter",
    "gauge",
    "unit",
    "count",
    "min",
    "mean",
    "max",
    "last",
    "last_at",
    "time_weighted",
    "covered_percent",
    "target_low",
    "target_high",
    "minutes_outside",
    "qualified",
    "implausible",
)
"""The weekly table's columns, in the order of its CSV."""
