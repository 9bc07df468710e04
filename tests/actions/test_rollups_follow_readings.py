"""Whatever is posted, corrected, excluded or changed, the rollups equal a fresh roll of the readings."""

from __future__ import annotations

import shutil
import threading
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from harness import Caller, on_both_engines
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from weirbook.app import Service
from weirbook.config import sqlite_url
from weirbook.engine.relations.rollups import HOUR_MS, Hour, Join, Point, roll
from weirbook.engine.times import instant_text
from weirbook.record import gauging
from weirbook.record.database import Database, enter_room, fetch
from weirbook.record.readings import IMPLAUSIBLE, QUALIFIED

START = 1_763_632_800_000
"""2025-11-20T10:00:00Z"""
GAUGE = "nursery-temperature"

minutes = st.integers(0, 180)
values = st.one_of(st.integers(10, 39), st.sampled_from(["<20", ">22", "20..22", 44.5, 2.5, "<3", "41..43"]))
rows = st.lists(st.tuples(minutes, values), min_size=1, max_size=8)
spans = st.tuples(minutes, st.integers(1, 70))
steps = st.one_of(
    st.tuples(st.just("post"), rows),
    st.tuples(st.just("post sorted"), rows),
    st.tuples(st.just("correct"), rows),
    st.tuples(st.just("exclude"), spans),
    st.tuples(st.just("move exclusion"), spans),
    st.tuples(st.just("readmit"), st.none()),
    st.tuples(st.just("interval"), st.tuples(st.integers(1, 40), minutes)),
    st.tuples(st.just("by hand"), st.booleans()),
)


def at(minute: float) -> str:
    return instant_text(START + round(minute * 60_000))


class Bench:
    """Does to one gauge what a room does to it over the years, and keeps what its hours must then rest on."""

    def __init__(self, call: Caller) -> None:
        self.call = call
        self.by_hand = False
        self.intervals: list[tuple[float, int]] = [(float("-inf"), 10)]

    def do(self, verb: str, said: Any) -> None:
        if verb.startswith("post"):
            self.post(sorted(said, key=lambda row: row[0]) if verb == "post sorted" else said)
        elif verb == "correct":
            self.post(said, "&on_conflict=correct")
        elif verb == "interval":
            self.change_interval(*said)
        elif verb == "by hand":
            self.by_hand = said
            assert self.call.patch(f"/v1/gauges/{GAUGE}", {"by_hand": said}).status_code == 200
        else:
            self.exclude(verb, said)

    def post(self, said: Any, query: str = "") -> None:
        body = [{"gauge": GAUGE, "value": value, "at": at(minute)} for minute, value in said]
        answered = self.call.post(f"/v1/readings?partial=true{query}", {"readings": body})
        assert answered.status_code == 200
        counts = answered.get_json()
        assert counts["stored"] + counts["repeated"] + counts["refused"] == counts["sent"] == len(body)

    def exclude(self, verb: str, said: Any) -> None:
        there = self.call.get("/v1/exclusions").get_json()["items"][:1]
        span = said and {"from": at(said[0]), "to": at(said[0] + said[1])}
        if verb == "exclude":
            body = {"gauge": GAUGE, "reason": "Lifted out.", **span}
            assert self.call.post("/v1/exclusions", body).status_code == 201
        for one in there if verb == "move exclusion" else ():
            assert self.call.patch(f"/v1/exclusions/{one['id']}", span).status_code == 200
        for one in there if verb == "readmit" else ():
            assert self.call.delete(f"/v1/exclusions/{one['id']}").status_code == 204

    def change_interval(self, length: int, minute: int) -> None:
        """The past of an interval is not rewritten: a change before the last one is refused."""
        patch = {"expected_interval": f"{length} min", "effective_at": at(minute)}
        status = self.call.patch(f"/v1/gauges/{GAUGE}", patch).status_code
        if length == self.intervals[-1][1]:
            assert status == 200
        elif minute > self.intervals[-1][0]:
            assert status == 200
            self.intervals.append((minute, length))
        else:
            assert status == 409

    def expected(self, database: Database) -> list[Hour]:
        """The rows as stored, less what is excluded, rolled hour by hour with the interval at its end."""
        with database.read() as session:
            raw = fetch(session, "SELECT at_ms, value, mark FROM reading ORDER BY at_ms")
            out = fetch(session, "SELECT from_ms, to_ms FROM exclusion")
        by_hour: dict[int, list[Point]] = defaultdict(list)
        for at_ms, value, mark in raw:
            if not any(begin <= at_ms < end for begin, end in out):
                point = Point(at_ms, value, bool(mark & QUALIFIED), bool(mark & IMPLAUSIBLE))
                by_hour[at_ms // HOUR_MS].append(point)
        found: list[Hour] = []
        for hour, points in by_hour.items():
            end = ((hour + 1) * HOUR_MS - START) / 60_000
            interval = [length for minute, length in self.intervals if minute < end][-1]
            join = Join.PLAIN if self.by_hand else Join.LINE
            found += roll(points, join, interval * 3 * 60_000).values()
        return found

    def check(self, database: Database, room_id: int) -> None:
        with database.read() as session:
            enter_room(session, room_id)
            gauge_id = fetch(session, "SELECT id FROM gauge WHERE handle = ?", (GAUGE,))[0][0]
            kept = gauging.hours(session, [gauge_id], 0, 1 << 40).get(gauge_id, [])
        assert [tuple(hour) for hour in kept] == [
            pytest.approx(tuple(hour)) for hour in self.expected(database)
        ]


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], database=None
)
@given(plan=st.lists(steps, min_size=2, max_size=10))
def test_rollups_equal_the_readings_behind_them(
    furnished_template: tuple[Path, str], application: Service, tmp_path: Path, plan: list[tuple[str, Any]]
) -> None:
    template, secret = furnished_template
    file = tmp_path / "run.db"
    for part in (file, tmp_path / "run.db-wal", tmp_path / "run.db-shm"):
        part.unlink(missing_ok=True)
    shutil.copy(template, file)
    application.database = Database(sqlite_url(file))
    try:
        bench = Bench(Caller(application.test_client(), secret))
        for verb, said in plan:
            bench.do(verb, said)
        bench.check(application.database, 1)
    finally:
        application.database.dispose()


@on_both_engines
def test_a_life_of_a_gauge_leaves_its_rollups_right_at_every_step(
    app: Service, furnished: Caller, room_id: int
) -> None:
    bench = Bench(furnished)
    for verb, said in (
        ("post", [(0, 20), (10, 21), (20, "<20"), (70, 22), (80, 44.5), (130, "20..22")]),
        ("post", [(5, 30), (75, 23), (59.999, 24)]),
        ("post", [(5, 30), (75, 99), (75, 24)]),
        ("correct", [(10, 25), (80, 22), (130, 39), (70, "21..23")]),
        ("exclude", (4, 10)),
        ("post", [(6, 35), (58, 26), (150, 27)]),
        ("interval", (4, 65)),
        ("post", [(1, 19), (66, 18), (140, 28)]),
        ("move exclusion", (60, 15)),
        ("by hand", True),
        ("post", [(30, 26), (90, 26)]),
        ("by hand", False),
        ("interval", (30, 125)),
        ("correct", [(20, 20)]),
        ("readmit", None),
        ("post", [(170, 2.5), (171, 20)]),
    ):
        bench.do(verb, said)
        bench.check(app.database, room_id)


def test_an_exclusion_of_long_ago_costs_todays_readings_nothing(app: Service, furnished: Caller) -> None:
    """Only an hour that an exclusion touches is made anew from its readings; the others are added to."""
    bench = Bench(furnished)
    bench.do("post", [(minute, 20) for minute in range(60)])
    bench.do("exclude", (0, 30))
    remade: list[str] = []

    @sa.event.listens_for(app.database.engine, "before_cursor_execute")
    def note(connection: Any, cursor: Any, statement: str, *_: Any) -> None:
        remade.extend([statement] if statement.startswith("DELETE FROM reading_hour") else [])

    bench.do("post", [(minute, 20) for minute in range(120, 180)])
    assert remade == []
    bench.do("post", [(59.5, 20)])
    assert len(remade) == 1


@on_both_engines
def test_exclusions_and_edits_made_while_readings_arrive_leave_rollups_right(
    app: Service, furnished: Caller, room_id: int
) -> None:
    bench = Bench(furnished)
    troubles: list[BaseException] = []

    def post(writer: int) -> None:
        own = Bench(Caller(app.test_client(), furnished.secret))
        try:
            for number in range(30):
                own.do("post", [(number * 4 + writer + step / 10, 20 + writer) for step in range(3)])
        except BaseException as trouble:
            troubles.append(trouble)

    writers = [threading.Thread(target=post, args=(writer,)) for writer in range(3)]
    for thread in writers:
        thread.start()
    turn = 0
    while any(thread.is_alive() for thread in writers):
        bench.do("exclude", (turn % 120, 7))
        bench.do("by hand", turn % 2 == 0)
        bench.do("readmit", None)
        turn += 1
    for thread in writers:
        thread.join()
    assert troubles == []
    bench.check(app.database, room_id)
