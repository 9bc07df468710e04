"""Stretches outside target over HTTP: held to readings, targets and plumbing of their time."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, on_both_engines


def read(keeper: Caller, *rows: tuple[str, Any], gauge: str = "nursery-temperature") -> None:
    body = [{"gauge": gauge, "value": value, "at": f"2026-11-{at}:00Z"} for at, value in rows]
    answer = keeper.post("/v1/readings", {"readings": body})
    assert answer.status_code == 200, answer.get_data(as_text=True)


def target(keeper: Caller, place: str, since: str = "2026-01-01T00:00:00Z", **ends: Any) -> None:
    body = {"place": place, "parameter": "temperature", "valid_from": since, **ends}
    answer = keeper.post("/v1/targets", body)
    assert answer.status_code == 201, answer.get_data(as_text=True)


def told(keeper: Caller, **query: str) -> list[dict[str, Any]]:
    span = {"from": "2026-11-10T00:00:00Z", "to": "2026-11-12T00:00:00Z", **query}
    answer = keeper.get("/v1/excursions?" + "&".join(f"{name}={value}" for name, value in span.items()))
    assert answer.status_code == 200, answer.get_data(as_text=True)
    found: list[dict[str, Any]] = answer.get_json()["items"]
    return found


@on_both_engines
def test_one_is_told_with_start_end_worst_and_minutes(furnished: Caller) -> None:
    target(furnished, "tanks/nursery", low=23, high=26)
    read(furnished, ("10T10:00", 25), ("10T10:10", 27), ("10T10:40", 24))
    (one,) = told(furnished)
    assert (one["start"], one["end"]) == ("2026-11-10T10:05:00Z", "2026-11-10T10:20:00Z")
    assert (one["worst"], one["worst_at"], one["minutes"]) == (27, "2026-11-10T10:10:00Z", 15)
    assert (one["gauge"], one["system"], one["side"], one["target_high"]) == (
        "nursery-temperature",
        "rill",
        "above",
        26,
    )


def test_one_that_reaches_into_the_span_is_told_whole(furnished: Caller) -> None:
    """Forty days too warm before the span, one day after it: both ends are found."""
    target(furnished, "tanks/nursery", "2026-09-01T00:00:00Z", high=26)
    furnished.post(
        "/v1/readings", {"gauge": "nursery-temperature", "value": 25, "at": "2026-10-01T00:00:00Z"}
    )
    furnished.post(
        "/v1/readings", {"gauge": "nursery-temperature", "value": 27, "at": "2026-10-01T00:10:00Z"}
    )
    read(furnished, ("11T00:00", 27), ("13T00:00", 27), ("13T00:10", 25))
    (one,) = told(furnished)
    assert (one["start"], one["end"]) == ("2026-10-01T00:05:00Z", "2026-11-13T00:05:00Z")
    assert told(furnished, **{"from": "2026-11-14T00:00:00Z", "to": "2026-11-15T00:00:00Z"}) == []


def test_an_excluded_span_and_a_correction_change_what_is_told(furnished: Caller) -> None:
    target(furnished, "tanks/nursery", high=26)
    read(furnished, ("10T10:00", 25), ("10T10:10", 27), ("10T10:20", 25))
    assert len(told(furnished)) == 1
    span = {
        "gauge": "nursery-temperature",
        "from": "2026-11-10T10:05:00Z",
        "to": "2026-11-10T10:15:00Z",
        "reason": "Out.",
    }
    made = furnished.post("/v1/exclusions", span)
    assert told(furnished) == []
    furnished.delete(f"/v1/exclusions/{made.get_json()['id']}")
    assert len(told(furnished)) == 1
    mended = {"gauge": "nursery-temperature", "value": 25.5, "at": "2026-11-10T10:10:00Z"}
    furnished.post("/v1/readings?on_conflict=correct", mended)
    assert told(furnished) == []


def test_a_tank_that_moved_took_on_its_new_systems_target_from_then_on(furnished: Caller) -> None:
    furnished.post("/v1/systems", {"name": "Beck"})
    target(furnished, "systems/rill", high=30)
    target(furnished, "systems/beck", high=26)
    moved = furnished.patch("/v1/tanks/nursery", {"system": "beck", "effective_at": "2026-11-10T12:00:00Z"})
    assert moved.status_code == 200, moved.get_data(as_text=True)
    read(furnished, *[(f"10T{hour}:{minute}", 27) for hour in (11, 12) for minute in ("00", "20", "40")])
    (one,) = told(furnished)
    assert (one["start"], one["end"], one["target_high"]) == ("2026-11-10T12:00:00Z", None, 26)
    week = furnished.get("/v1/summaries/weekly?week=2026-W46").get_json()["rows"]
    assert [row["minutes_outside"] for row in week] == [40]


@on_both_engines
def test_they_are_chosen_by_system_place_parameter_and_gauge_and_come_as_csv(furnished: Caller) -> None:
    target(furnished, "room", high=26)
    read(furnished, ("10T10:00", 27))
    for query in (
        {"system": "rill"},
        {"place": "tanks/nursery"},
        {"parameter": "temperature"},
        {"gauge": "nursery-temperature"},
    ):
        assert len(told(furnished, **query)) == 1
    assert told(furnished, parameter="ph") == []
    table = furnished.get("/v1/excursions?from=2026-11-10T00:00:00Z&to=2026-11-11T00:00:00Z&format=csv")
    assert (
        table.get_data(as_text=True)
        .splitlines()[0]
        .startswith("gauge,system,place,parameter,unit,side,start,end")
    )


def test_tests_by_hand_are_told_without_minutes(furnished: Caller) -> None:
    nitrate = {"place": "tanks/nursery", "parameter": "nitrate"}
    furnished.post("/v1/targets", {**nitrate, "high": "20 mg/L NO3", "valid_from": "2026-01-01T00:00:00Z"})
    for at, value in (("10T10:00", 10), ("10T12:00", "30..50"), ("11T10:00", 10)):
        body = {**nitrate, "value": value, "at": f"2026-11-{at}:00Z"}
        assert furnished.post("/v1/readings", body).status_code == 200
    (one,) = told(furnished)
    assert (one["start"], one["end"], one["worst"], one["minutes"]) == (
        "2026-11-10T12:00:00Z",
        "2026-11-11T10:00:00Z",
        40,
        None,
    )


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("from=2026-11-12T00:00:00Z&to=2026-11-10T00:00:00Z", 422),
        ("from=2020-01-01T00:00:00Z", 413),
        ("gauge=nobody", 404),
        ("system=nobody", 404),
        ("place=tanks/nobody", 404),
        ("colour=red", 422),
    ],
)
def test_what_can_not_be_asked(furnished: Caller, query: str, status: int) -> None:
    assert furnished.get(f"/v1/excursions?{query}").status_code == status
