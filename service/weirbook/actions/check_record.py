"""Look through everything recorded for what can't be right; make anew what only follows from it, remove stray files."""

from __future__ import annotations

import itertools
from collections import Counter as Tally
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.check_files import check_files, check_folder
from weirbook.actions.import_room import SLICE_HOURS, UNREADABLE
from weirbook.actions.roll_up import NO_LIMIT_MS, Rules, recompute_hours, rules_of
from weirbook.engine.relations.rollups import HOUR_MS, Hour, extend
from weirbook.engine.times import instant_text
from weirbook.record import checks, gauging, search
from weirbook.record.checks import Flaw
from weirbook.record.database import Database, enter_room
from weirbook.record.files import Files
from weirbook.record.open_files import LONGEST
from weirbook.record.rooms import Room

EXACT = ("n", "qualified", "implausible", "low", "high", "first_ms", "first", "last_ms", "last", "covered_ms")
CLOSE = 1e-9
"""How far sums of floats may lie apart, as a share of the largest they could come to."""

Progress = Callable[[int], None]
Rooms = list[tuple[int, str]]


@dataclass
class Report:
    """What was looked at, what is wrong still, and what was wrong and is mended."""

    rooms: int = 0
    gauges: int = 0
    readings: int = 0
    hours: int = 0
    changes: int = 0
    searched: int = 0
    files: int = 0
    flaws: list[Flaw] = field(default_factory=list)
    mended: list[Flaw] = field(default_factory=list)
    cut_short: bool = False
    """Whether the file itself is damaged, so that nothing further was asked of it."""


@dataclass
class _Misfit:
    """The hours of one gauge that don't fit its readings: how many, the first, in which slices."""

    hours: int = 0
    first: int = 0
    slices: list[int] = field(default_factory=list)

    def words(self, handle: str) -> str:
        return (
            f"Rollups of gauge {handle} that don't fit its readings: {self.hours}, "
            f"the first from {instant_text(self.first * HOUR_MS)}."
        )


def rooms_of(session: Session) -> Rooms:
    """Number and name of every room."""
    asked = sa.select(Room.room_id, Room.name).order_by(Room.room_id)
    return [(room_id, name) for room_id, name in session.execute(asked)]


def count_hours(database: Database, rooms: Rooms) -> int:
    """How many hours a check of these rooms walks through."""
    with database.read() as session:
        return sum(
            span[1] - span[0]
            for room_id, _ in rooms
            for number, _ in _entered(session, room_id)
            if (span := checks.hours_spanned(session, number)) is not None
        )


def _entered(session: Session, room_id: int) -> list[tuple[int, str]]:
    enter_room(session, room_id)
    return checks.gauges(session)


def check_record(
    database: Database,
    rooms: Rooms,
    *,
    repair: bool = False,
    copies: Files | None = None,
    progress: Progress = lambda hours: None,
) -> Report:
    """Look at every room, also while it is in use; with `repair` make anew rollups and what search keeps, where they
    don't fit, and remove files that nothing needs; files that are missing or damaged come back from `copies`.

    Each gauge is looked at in a transaction of its own, so that a long check doesn't hold up the store.
    """
    report = Report()
    _check_file(database, rooms, report)
    if report.cut_short:
        return report
    for room_id, name in rooms:
        with database.read() as session:
            known = _entered(session, room_id)
            report.flaws += _of_records(session, name)
            report.changes += checks.log_size(session)
            public_id = session.scalars(sa.select(Room.public_id).where(Room.room_id == room_id)).one()
        report.rooms += 1
        files = None if database.files is None else database.files.of_room(public_id)
        looked_at, flaws, mended = check_files(
            database,
            (room_id, name),
            files,
            repair=repair,
            copies=None if copies is None else copies.of_room(public_id),
        )
        report.files += looked_at
        report.flaws += flaws
        report.mended += mended
        for number, handle in known:
            report.gauges += 1
            _check_gauge(database, (room_id, name), (number, handle), report, repair, progress)
    _check_search(database, rooms, report, repair)
    flaws, mended = check_folder(database, repair=repair)
    report.flaws += flaws
    report.mended += mended
    return report


def _check_search(database: Database, rooms: Rooms, report: Report, repair: bool) -> None:
    """What search keeps of each room; made anew in one transaction, because rooms share SQLite's full-text table.

    Left alone where the records that it follows from are damaged themselves.
    """
    broken = {flaw.room for flaw in report.flaws if flaw.kind in ("orphans", "places")}
    rooms = [one for one in rooms if one[1] not in broken]
    found = [] if None in broken else _search_flaws(database, rooms, report)
    if not (found and repair):
        report.flaws += found
        return
    with database.write() as session:
        search.make_anew(session, [room_id for room_id, _ in rooms_of(session)])
    still = _search_flaws(database, rooms, Report())
    report.flaws += still
    report.mended += [flaw for flaw in found if flaw not in still]


def _search_flaws(database: Database, rooms: Rooms, report: Report) -> list[Flaw]:
    found = []
    for room_id, name in rooms:
        with database.read() as session:
            enter_room(session, room_id)
            report.searched += search.size(session)
            try:
                found += [Flaw("search", words, name) for words in search.flaws(session)]
            except UNREADABLE as trouble:
                found.append(
                    Flaw("search", f"What search keeps can't be compared: {str(trouble)[:200]}", name)
                )
    return found


def _check_file(database: Database, rooms: Rooms, report: Report) -> None:
    """The file, and keys that point at nothing: all rooms in one instant, so that SQLite's own count can be compared."""
    with database.read() as session:
        if said := checks.integrity_flaws(session):
            report.flaws += [Flaw("file", f"The file is damaged: {one}") for one in said]
            report.cut_short = True
            return
        in_rooms: Tally[tuple[str, str]] = Tally()
        for room_id, name in rooms:
            enter_room(session, room_id)
            for table, parent, count in checks.orphans(session):
                in_rooms[table, parent] += count
                report.flaws.append(Flaw("orphans", _points_at_nothing(count, table, parent), name))
        for (table, parent), count in (checks.keys_broken_in_file(session) - in_rooms).items():
            report.flaws.append(
                Flaw("orphans", f"{_points_at_nothing(count, table, parent)} They are in no room.")
            )


def _points_at_nothing(count: int, table: str, parent: str) -> str:
    return f"Rows of {table} that point at a {parent} that is not there: {count}."


def _of_records(session: Session, room: str) -> Iterator[Flaw]:
    for kind, found in (
        ("places", checks.place_flaws),
        ("counters", checks.counter_flaws),
        ("ranges", checks.range_flaws),
        ("spans", checks.span_flaws),
        ("log", checks.log_flaws),
    ):
        yield from (Flaw(kind, words, room) for words in found(session))


def _check_gauge(
    database: Database,
    room: tuple[int, str],
    gauge: tuple[int, str],
    report: Report,
    repair: bool,
    progress: Progress,
) -> None:
    (room_id, name), (number, handle) = room, gauge
    try:
        with database.read() as session:
            enter_room(session, room_id)
            misfit = _compare(session, number, report, progress)
        if misfit.hours == 0:
            return
        flaw = Flaw("rollups", misfit.words(handle), name)
        if repair:
            for first in misfit.slices:
                _mend(database, room_id, number, first)
            with database.read() as session:
                enter_room(session, room_id)
                still = _compare(session, number, Report(), lambda hours: None)
            if still.hours == 0:
                report.mended.append(flaw)
                return
            flaw = Flaw("rollups", still.words(handle), name)
    except _NotRolled as trouble:
        with database.read() as session:
            if gauge not in _entered(session, room_id):
                return  # somebody deleted it meanwhile
        flaw = Flaw("gauges", f"Gauge {handle} can't be rolled up: {trouble}", name)
    report.flaws.append(flaw)


class _NotRolled(Exception):
    """A gauge whose readings can't be rolled up, and why."""


def _rules(session: Session, gauge_id: int) -> Rules:
    try:
        found = rules_of(session, [gauge_id], -NO_LIMIT_MS, NO_LIMIT_MS).get(gauge_id)
    except ValueError as trouble:
        raise _NotRolled(f"{trouble}.") from None
    if found is None:
        raise _NotRolled("no interval was ever told of it.")
    return found


def _compare(session: Session, gauge_id: int, report: Report, progress: Progress) -> _Misfit:
    """Roll up a gauge's readings, some weeks at a time, and compare with what is stored."""
    misfit, rules = _Misfit(), _rules(session, gauge_id)
    start, stop = checks.hours_spanned(session, gauge_id) or (0, 0)
    if max(-start, stop - 1) * HOUR_MS > LONGEST:
        raise _NotRolled("it has readings or rollups of instants that no calendar holds.")
    for first in range(start, stop, SLICE_HOURS):
        end = min(first + SLICE_HOURS, stop)
        rows = gauging.between(session, gauge_id, first * HOUR_MS, end * HOUR_MS)
        wanted = {hour.hour: hour for hour in _rolled(rows, rules, first, end)}
        there = {hour.hour: hour for hour in gauging.hours(session, [gauge_id], first, end).get(gauge_id, [])}
        bad = [
            hour
            for hour in sorted(wanted.keys() | there.keys())
            if not _fits(wanted.get(hour), there.get(hour))
        ]
        if bad:
            misfit.first = misfit.first if misfit.hours else bad[0]
            misfit.hours += len(bad)
            misfit.slices.append(first)
        report.readings += len(rows)
        report.hours += len(there)
        progress(end - first)
    return misfit


def _rolled(rows: Iterable[gauging.Row], rules: Rules, first: int, end: int) -> Iterator[Hour]:
    excluded = [span for span in rules.excluded if span[0] < end * HOUR_MS and span[1] > first * HOUR_MS]
    points = gauging.as_points(rows, excluded, rules.offsets)
    for hour, inside in itertools.groupby(points, key=lambda point: point.at_ms // HOUR_MS):
        yield extend(None, list(inside), rules.join, rules.gap_in(hour))


def _fits(wanted: Hour | None, there: Hour | None) -> bool:
    """Whether a stored hour is what the readings come to: sums within rounding, all else exactly."""
    if wanted is None or there is None:
        return wanted is there
    if wanted == there:
        return True
    if any(getattr(wanted, name) != getattr(there, name) for name in EXACT):
        return False
    largest = max(abs(wanted.low), abs(wanted.high))
    return (
        abs(wanted.total - there.total) <= CLOSE * wanted.n * largest
        and abs(wanted.squares - there.squares) <= CLOSE * wanted.n * largest**2
        and abs(wanted.area - there.area) <= CLOSE * wanted.covered_ms * largest
    )


def _mend(database: Database, room_id: int, gauge_id: int, first: int) -> None:
    """Make one slice of a gauge's rollups anew, in a transaction of its own: other writers wait for that alone."""
    with database.write() as session:
        enter_room(session, room_id)
        gauging.lock_gauges(session, [gauge_id])
        recompute_hours(session, gauge_id, first, first + SLICE_HOURS, _rules(session, gauge_id))
