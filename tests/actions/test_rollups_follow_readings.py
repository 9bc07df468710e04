"""Whatever is posted, corrected, excluded or changed, the rollups equal a fresh roll of the readings."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from harness import Caller
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from weirbook.actions.roll_up import join_of
from weirbook.app import Service
from weirbook.config import sqlite_url
from weirbook.engine.relations.rollups import roll
from weirbook.engine.times import instant_text
from weirbook.record import gauging
from weirbook.record.database import Database, enter_room
from weirbook.record.equipment import Gauge
from weirbook.record.names import find

START = 1_763_632_800_000
"""2025-11-20T10:00:00Z"""

minutes = st.integers(0, 180)
values = st.one_of(st.integers(10, 45), st.sampled_from(["<20", ">22", "20..22", 44.5, 2.5]))
steps = st.one_of(
    st.tuples(st.just("post"), st.lists(st.tuples(minutes, values), min_size=1, max_size=6)),
    st.tuples(st.just("correct"), st.lists(st.tuples(minutes, values), min_size=1, max_size=3)),
    st.tuples(st.just("exclude"), st.tuples(minutes, st.integers(1, 60))),
    st.tuples(st.just("readmit"), st.none()),
    st.tuples(st.just("interval"), st.integers(1, 40)),
    st.tuples(st.just("by hand"), st.booleans()),
)
GAUGE = "nursery-temperature"


def do(call: Caller, verb: str, said: Any) -> None:
    if verb in ("post", "correct"):
        rows = [
            {"gauge": GAUGE, "value": value, "at": instant_text(START + minute * 60_000)}
            for minute, value in said
        ]
        query = "?partial=true" + ("&on_conflict=correct" if verb == "correct" else "")
        assert call.post(f"/v1/readings{query}", {"readings": rows}).status_code == 200
    elif verb == "exclude":
        begin, length = said
        span = {
            "from": instant_text(START + begin * 60_000),
            "to": instant_text(START + (begin + length) * 60_000),
        }
        assert call.post("/v1/exclusions", {"gauge": GAUGE, "reason": "x", **span}).status_code == 201
    elif verb == "readmit":
        for one in call.get("/v1/exclusions").get_json()["items"][:1]:
            assert call.delete(f"/v1/exclusions/{one['id']}").status_code == 204
    elif verb == "interval":
        patch = {"expected_interval": f"{said} min"}
        assert call.patch(f"/v1/gauges/{GAUGE}", patch).status_code == 200
    else:
        assert call.patch(f"/v1/gauges/{GAUGE}", {"by_hand": said}).status_code == 200


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(plan=st.lists(steps, min_size=1, max_size=7))
def test_rollups_equal_the_readings_behind_them(
    furnished_template: tuple[Path, str], application: Service, tmp_path: Path, plan: list[tuple[str, Any]]
) -> None:
    template, secret = furnished_template
    file = tmp_path / "run.db"
    for part in (file, tmp_path / "run.db-wal", tmp_path / "run.db-shm"):
        part.unlink(missing_ok=True)
    shutil.copy(template, file)
    application.database = Database(sqlite_url(file))
    call = Caller(application.test_client(), secret)
    interval_changed = False
    for verb, said in plan:
        do(call, verb, said)
        interval_changed = interval_changed or verb == "interval"

    with application.database.read() as session:
        enter_room(session, 1)
        gauge = find(session, Gauge, GAUGE)
        excluded = gauging.exclusions(session, [gauge.id]).get(gauge.id, [])
        rows = gauging.between(session, gauge.id, START, START + 8 * 3_600_000)
        kept = gauging.hours(session, [gauge.id], START // 3_600_000, START // 3_600_000 + 9)[gauge.id]
        fresh = roll(gauging.as_points(rows, excluded), join_of(gauge), gauge.gap_ms)
    application.database.dispose()
    assert [hour.hour for hour in kept] == sorted(fresh)
    for hour in kept:
        wanted = fresh[hour.hour]
        if interval_changed:
            hour, wanted = (one._replace(area=0.0, covered_ms=0) for one in (hour, wanted))
        assert tuple(hour) == pytest.approx(tuple(wanted))
