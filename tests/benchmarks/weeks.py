"""The week and the latest out of a long history."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing
from functools import partial
from pathlib import Path

import sqlalchemy as sa
from contenders import GAUGES, MINUTE_MS, Contender, script_in, text_of, value_at, weirbook_in
from lines import Line
from served import Client, medians_ms

from weirbook.config import sqlite_url
from weirbook.engine.relations.rollups import Join, Point, roll
from weirbook.record import gauging
from weirbook.record.database import Database, enter_room, now_ms
from weirbook.record.equipment import Gauge
from weirbook.record.gauging import Row
from weirbook.record.rooms import Room

DAY = 1440
ROUNDS = 15
WEEKLY = "/v1/summaries/weekly"
BAR_MS, FASTER_BAR, GROWTH_BAR = 25, 7, 1.5
TARGETS = {"a target never left": (22, 27), "a target left twice a day": (24, 25)}


def measure_weeks(folder: Path, counts: Sequence[int]) -> Iterator[Line]:
    """The weekly summary over HTTP out of each count of readings, beside a week worked out of the script's rows."""
    with ExitStack() as running:
        scripts = [running.enter_context(script_in(folder, name)) for name in ("script", "tuned")]
        for name in ("script", "tuned"):
            _fill_script(folder / f"{name}.db", counts[0])
        weirbooks, keepers = [], []
        for count in counts:
            weirbook = running.enter_context(weirbook_in(folder, f"week-{count}"))
            _fill_weirbook(folder / f"week-{count}.db", count)
            weirbooks.append(weirbook.served)
            keepers.append(weirbook.reader())
        week = json.loads(keepers[0].get(WEEKLY))
        asked = f"/week?gauges={'+'.join(GAUGES)}&from={week['from']}&to={week['to']}"
        _refuse_unlike(week, json.loads(scripts[0].reader().get(asked)))
        before = [one.cpu_s() for one in weirbooks]
        ours = medians_ms([partial(keeper.get, WEEKLY) for keeper in keepers], ROUNDS)
        used = [(one.cpu_s() - cpu) * 1000 / (ROUNDS + 1) for one, cpu in zip(weirbooks, before, strict=True)]
        theirs = medians_ms([partial(one.reader().get, asked) for one in scripts], 3)
        yield Line(
            f"week of 50 gauges out of {_many(counts[0])}",
            [f"{ours[0]:.1f} ms ({used[0]:.1f} ms)", *(f"{one:.0f} ms" for one in theirs)],
            ratio=f"{theirs[0] / ours[0]:.1f} x",
            bar=f"< {BAR_MS} ms, >= {FASTER_BAR} x",
            held=ours[0] < BAR_MS and theirs[0] / ours[0] >= FASTER_BAR,
        )
        for count, one, cpu in zip(counts[1:], ours[1:], used[1:], strict=True):
            yield Line(
                f"  out of {_many(count)}",
                [f"{one:.1f} ms ({cpu:.1f} ms)"],
                ratio=f"{one / ours[0]:.2f} x the one above",
                bar=f"< {BAR_MS} ms, <= {GROWTH_BAR} x",
                held=one < BAR_MS and one <= GROWTH_BAR * ours[0],
            )
        for count in counts:
            size = (folder / f"week-{count}.db").stat().st_size
            yield Line(f"  bytes a reading of {_many(count)}", [f"{size / count:.1f}"])
        yield _latest(keepers[0], scripts)
        yield from _with_targets(keepers[0])


def _latest(keeper: Client, scripts: Sequence[Contender]) -> Line:
    asked = [partial(one.reader().get, f"/latest?gauges={'+'.join(GAUGES)}") for one in scripts]
    taken = medians_ms([partial(keeper.get, "/v1/latest"), *asked], ROUNDS)
    return Line("latest of 50 gauges", [f"{one:.1f} ms" for one in taken])


def _with_targets(keeper: Client) -> Iterator[Line]:
    """The week once more, where minutes outside a target are to be told too."""
    for number, (words, (low, high)) in enumerate(TARGETS.items(), 1):
        target = {"place": "room", "parameter": "temperature", "low": f"{low} degC", "high": f"{high} degC"}
        keeper.make("/v1/targets", {**target, "valid_from": f"202{number}-01-01T00:00:00Z"})
        (taken,) = medians_ms([partial(keeper.get, WEEKLY)], ROUNDS)
        yield Line(f"week with {words}", [f"{taken:.1f} ms"], bar=f"< {BAR_MS} ms", held=taken < BAR_MS)


def _many(count: int) -> str:
    return f"{count / 1e6:g} million"


def _refuse_unlike(week: dict, theirs: dict) -> None:
    """Both must have worked out the same week, or their times say nothing.

    Counts and extremes are equal; the means differ by what Weirbook bridges to the next week's first minute.
    """
    ours = {row["gauge"]: row for row in week["rows"]}
    for gauge, count, low, mean, high in theirs["rows"]:
        row = ours[gauge]
        same = (row["count"], row["min"], row["max"]) == (count, low, high)
        if not same or abs(row["mean"] - mean) > 0.001:
            raise RuntimeError(f"{gauge}: {row} and {(count, low, mean, high)} are not the same week")


def _minutes(count: int) -> Iterator[range]:
    """So many readings of all gauges up to now, in stretches of a day: as they would stand in the file."""
    end = now_ms() // MINUTE_MS
    begin = end - count // len(GAUGES)
    return (range(start, min(start + DAY, end)) for start in range(begin // DAY * DAY, end, DAY))


def _fill_weirbook(file: Path, count: int) -> None:
    """Store readings and their rollups with the service's own statements, past its judging of each."""
    database = Database(sqlite_url(file))
    with database.read() as session:
        room_id = session.scalars(sa.select(Room.room_id)).one()
        found = session.execute(sa.select(Gauge.handle, Gauge.id).where(Gauge.room_id == room_id)).all()
    ids = {handle: gauge_id for handle, gauge_id in found}
    for minutes in _minutes(count):
        with database.write() as session:
            enter_room(session, room_id)
            for number, handle in enumerate(GAUGES):
                points = [Point(minute * MINUTE_MS, value_at(number, minute)) for minute in minutes]
                gauging.add(session, [Row(ids[handle], at_ms, value, 0) for at_ms, value, _, _ in points])
                gauging.keep_hours(session, ids[handle], roll(points, Join.LINE, 3 * MINUTE_MS).values())
    database.dispose()
    with closing(sqlite3.connect(file)) as whole:
        whole.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _fill_script(file: Path, count: int) -> None:
    with closing(sqlite3.connect(file)) as readings:
        for minutes in _minutes(count):
            texts = [text_of(minute * MINUTE_MS) for minute in minutes]
            for number, handle in enumerate(GAUGES):
                rows = [
                    (handle, text, value_at(number, minute))
                    for text, minute in zip(texts, minutes, strict=True)
                ]
                readings.executemany("INSERT OR IGNORE INTO readings VALUES (?, ?, ?)", rows)
            readings.commit()
