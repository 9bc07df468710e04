"""Named queries on readings."""

from __future__ import annotations

import uuid
from typing import Any

from harness import Caller, on_both_engines

from weirbook.app import Service
from weirbook.engine.times import instant_text
from weirbook.record.database import fetch, run

START = 1_763_632_800_000
GAUGE = "nursery-temperature"


@on_both_engines
def test_a_gauge_lifted_out_every_day_for_years_is_read_as_any_other(
    app: Service, furnished: Caller, room_id: int
) -> None:
    """More exclusions than a query could name one by one."""
    rows: list[dict[str, Any]] = [
        {"gauge": GAUGE, "value": 24, "at": instant_text(START + minute * 60_000)}
        for minute in (0, 5, 60, 65)
    ]
    assert furnished.post("/v1/readings", {"readings": rows}).status_code == 200
    with app.database.write() as session:
        gauge_id = fetch(session, "SELECT id FROM gauge")[0][0]
        spans = [(START - day * 86_400_000, START - day * 86_400_000 + 1000) for day in range(1, 3000)]
        spans.append((START, START + 1))
        run(
            session,
            "INSERT INTO exclusion (room_id, id, gauge_id, from_ms, to_ms, reason, version, created_at_ms, "
            f"updated_at_ms) VALUES (?, ?, {gauge_id:d}, ?, ?, 'Cleaned', 1, 1, 1)",
            [
                (room_id, str(uuid.uuid4()) if not app.database.is_sqlite else uuid.uuid4().hex, *span)
                for span in spans
            ],
        )
    until = instant_text(START + 3_600_000)
    path = f"/v1/readings?gauge={GAUGE}&every=1h&from={until}&to={instant_text(START + 7_200_000)}"
    answered = furnished.get(path)
    assert answered.status_code == 200, answered.get_data(as_text=True)
    assert answered.get_json()["items"][0]["count"] == 2
    assert furnished.get("/v1/latest").status_code == 200
