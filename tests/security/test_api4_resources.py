"""API4:2023 Unrestricted resource consumption.

tests/web/test_limits.py: lengths and counts in bodies, the body cap. tests/web/test_admission.py: the queue and bodies
under way. tests/web/test_failures.py: wrong keys. tests/faults/test_connections.py: slow, idle and broken callers;
test_full_disk.py. Here: what a single small request could make expensive.
"""

from __future__ import annotations

import time

import pytest
from contract_document import operations
from harness import Caller

PATIENCE_S = 2.0
"""Far more than any of these takes, far less than a runaway. Processor time: what a busy machine adds is not ours."""

LISTS = sorted(path for method, path, said in operations() if said["operationId"].startswith("list_"))


@pytest.mark.parametrize("path", [path for path in LISTS if "{" not in path])
@pytest.mark.parametrize("limit", ["0", "-1", "1000000", "1e3", "x", "9" * 400])
def test_no_list_gives_more_than_a_page(furnished: Caller, path: str, limit: str) -> None:
    sought = "&q=moss" if path == "/v1/search" else ""  # which can't do without
    answered = furnished.get(f"{path}?limit={limit}{sought}")
    assert answered.status_code == 422
    assert answered.get_json()["errors"][0]["pointer"] == "/limit"


@pytest.mark.parametrize(
    "body",
    [
        b'{"name": ' + b"[" * 100_000 + b"]" * 100_000 + b"}",
        b'{"name":' * 50_000 + b"1" + b"}" * 50_000,
        b'{"name": ' + b"9" * 1_000_000 + b"}",
        b'{"name": 1e999999999}',
        b'{"' + b"x" * 1_000_000 + b'": 1}',
        b"{" + b",".join(b'"f%d": 1' % number for number in range(50_000)) + b"}",
        b'{"name": "' + b"\\u0000" * 100_000 + b'"}',
    ],
    ids=["deep lists", "deep objects", "long number", "vast number", "long name", "many names", "many NULs"],
)
def test_a_monstrous_document_is_refused_soon(furnished: Caller, body: bytes) -> None:
    begun = time.process_time()
    answered = furnished("POST", "/v1/systems", body, Content_Type="application/json")
    assert answered.status_code in (400, 422)
    assert time.process_time() - begun < PATIENCE_S
    assert len(answered.get_data()) < len(body) + 10_000


@pytest.mark.parametrize(
    "tail", ["a" * 60_000, "1" * 60_000, " " * 60_000, "-" * 60_000, "a-" * 30_000, "+1" * 30_000]
)
@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("/v1/systems", "handle"),
        ("/v1/tanks", "rim_height"),
        ("/v1/journal", "happened_at"),
        ("/v1/journal", "place"),
        ("/v1/room", "time_zone"),
    ],
)
def test_no_pattern_runs_away_on_a_long_value(furnished: Caller, path: str, name: str, tail: str) -> None:
    begun = time.process_time()
    for value in (tail, f"1{tail}", f"2026-01-01T00:00:00{tail}", f"{tail}!"):
        method = "PATCH" if path == "/v1/room" else "POST"
        answered = furnished(method, path, {name: value}, If_Match="*")
        assert answered.status_code == 422
    assert time.process_time() - begun < PATIENCE_S


@pytest.mark.parametrize(
    "query",
    [
        "every=1h&from=1900-01-01T00:00:00Z&to=2199-01-01T00:00:00Z",
        "every=1h&from=2026-11-01T00:00:00Z&to=2026-11-02T00:00:00Z&limit=100000000",
    ],
)
def test_a_span_of_centuries_is_answered_or_refused_soon(furnished: Caller, query: str) -> None:
    begun = time.process_time()
    answered = furnished.get(f"/v1/readings?gauge=nursery-temperature&{query}")
    assert answered.status_code in (200, 413, 422)
    assert time.process_time() - begun < PATIENCE_S


@pytest.mark.parametrize(
    "rule",
    [
        "FREQ=SECONDLY",
        "FREQ=MINUTELY",
        "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=DAILY;INTERVAL=999999999",
    ],
)
def test_no_schedule_runs_away(furnished: Caller, rule: str) -> None:
    begun = time.process_time()
    task = {
        "title": "x",
        "about": "tanks/nursery",
        "schedule": {"kind": "calendar", "rule": rule, "start": "2026-01-01T10:00"},
    }
    assert furnished.post("/v1/tasks", task).status_code in (201, 422)
    assert furnished.get("/v1/tasks/due?on=2199-01-01").status_code in (200, 413, 422)
    assert time.process_time() - begun < PATIENCE_S


def test_ten_thousand_query_keys_are_refused_soon(furnished: Caller) -> None:
    begun = time.process_time()
    query = "&".join(f"k{number}=1" for number in range(10_000))
    assert furnished.get(f"/v1/tanks?{query}").status_code == 422
    assert time.process_time() - begun < PATIENCE_S
