"""Readings in: what is taken, what is refused, and that nothing is stored twice or by halves."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
from harness import Caller, MakeCaller, on_both_engines

from weirbook.app import Service
from weirbook.engine.times import instant_text
from weirbook.record.database import now_ms

GAUGE = "nursery-temperature"
AT = "2026-11-20T10:00:00Z"


def one(value: Any = 24.5, at: str | None = AT, **said: Any) -> dict[str, Any]:
    return {"gauge": GAUGE, "value": value, **({"at": at} if at else {}), **said}


def stored(keeper: Caller, gauge: str = GAUGE) -> list[dict[str, Any]]:
    answered = keeper.get(f"/v1/readings?gauge={gauge}&from=2000-01-01T00:00:00Z&to=2126-01-01T00:00:00Z")
    return list(answered.get_json()["items"])


@on_both_engines
def test_a_reading_is_stored_and_comes_back_as_posted(furnished: Caller) -> None:
    counts = furnished.post("/v1/readings", one()).get_json()
    assert {name: counts[name] for name in ("sent", "stored", "repeated", "refused", "flagged")} == {
        "sent": 1,
        "stored": 1,
        "repeated": 0,
        "refused": 0,
        "flagged": 0,
    }
    assert [(row["at"], row["value"], row["unit"]) for row in stored(furnished)] == [(AT, 24.5, "degC")]


@on_both_engines
def test_a_retried_reading_is_stored_once(furnished: Caller) -> None:
    furnished.post("/v1/readings", one())
    again = furnished.post("/v1/readings", one())
    assert again.status_code == 200
    assert (again.get_json()["stored"], again.get_json()["repeated"]) == (0, 1)
    assert len(stored(furnished)) == 1


def test_the_same_reading_in_another_unit_is_a_repeat(furnished: Caller) -> None:
    furnished.post("/v1/readings", one(25))
    assert furnished.post("/v1/readings", one(77, unit="degF")).get_json()["repeated"] == 1


@on_both_engines
def test_another_value_at_the_same_instant_is_a_conflict_of_its_own_type(furnished: Caller) -> None:
    furnished.post("/v1/readings", one(24.5))
    refused = furnished.post("/v1/readings", one(25.5))
    assert refused.status_code == 409
    assert refused.get_json()["type"] == "urn:weirbook:problem:reading-conflict"
    assert stored(furnished)[0]["value"] == 24.5


def test_an_unknown_gauge_is_never_mistaken_for_a_conflict(furnished: Caller) -> None:
    refused = furnished.post("/v1/readings", {"gauge": "nothing-such", "value": 1, "at": AT})
    assert refused.status_code == 422
    assert refused.get_json()["type"] == "urn:weirbook:problem:unknown-gauge"


@on_both_engines
def test_a_correction_keeps_the_old_value(furnished: Caller) -> None:
    furnished.post("/v1/readings", one(24.5))
    corrected = furnished.post("/v1/readings?on_conflict=correct", one(25.5))
    assert (corrected.get_json()["stored"], corrected.get_json()["corrected"]) == (1, 1)
    assert stored(furnished)[0]["value"] == 25.5
    kept = furnished.get("/v1/corrections").get_json()["items"][0]
    assert (kept["gauge"], kept["at"], kept["old_value"], kept["new_value"]) == (GAUGE, AT, 24.5, 25.5)
    hour = furnished.get(f"/v1/readings?gauge={GAUGE}&from={AT}&to=2026-11-20T11:00:00Z&every=1h").get_json()
    assert hour["items"][0]["max"] == 25.5


def test_a_batch_is_all_or_nothing(furnished: Caller) -> None:
    rows = [
        one(24, "2026-11-20T10:00:00Z"),
        one("warm", "2026-11-20T10:10:00Z"),
        one(25, "2026-11-20T10:20:00Z"),
    ]
    refused = furnished.post("/v1/readings", {"readings": rows})
    assert refused.status_code == 422
    assert refused.get_json()["errors"] == [
        {"pointer": "/readings/1/value", "message": refused.get_json()["refusals"][0]["message"]}
    ]
    assert stored(furnished) == []


@on_both_engines
def test_a_partial_batch_stores_the_good_rows_and_lists_the_others(furnished: Caller) -> None:
    rows: list[dict[str, Any]] = [
        one(24, "2026-11-20T10:00:00Z"),
        one("warm", "2026-11-20T10:10:00Z"),
        {"gauge": "nothing-such", "value": 1, "at": AT},
        one(25, "2026-11-20T10:20:00Z"),
        one(24, "2026-11-20T10:00:00Z"),
        one(99, "2026-11-20T10:00:00Z"),
        one(24.1, at=None),
        {"gauge": GAUGE, "value": None, "at": AT},
        {"gauge": GAUGE, "value": 24, "at": AT, "colour": "red"},
        one(24, "2026-11-20 10:00"),
        one(99, "2026-11-20T10:30:00Z"),
    ]
    counts = furnished.post("/v1/readings?partial=true", {"readings": rows}).get_json()
    assert [(r["index"], r["type"]) for r in counts["refusals"]] == [
        (1, "bad-value"),
        (2, "unknown-gauge"),
        (5, "impossible-value"),
        (6, "time-missing"),
        (7, "bad-row"),
        (8, "bad-row"),
        (9, "bad-time"),
        (10, "impossible-value"),
    ]
    assert (counts["sent"], counts["stored"], counts["repeated"], counts["refused"]) == (11, 2, 1, 8)
    assert [row["value"] for row in stored(furnished)] == [24, 25]


@pytest.mark.parametrize(
    ("said", "value", "qualifier"),
    [
        ("<0.05", 0.05, "below"),
        (">160", 160, "above"),
        ("10..20", 15, "between"),
        ("7", 7, None),
        (7.25, 7.25, None),
    ],
)
def test_a_test_may_say_below_above_or_between(
    furnished: Caller, said: Any, value: float, qualifier: str | None
) -> None:
    furnished.post(
        "/v1/readings", {"place": "tanks/nursery", "parameter": "nitrate", "value": said, "at": AT}
    )
    row = stored(furnished, "nursery-nitrate-by-hand")[0]
    assert (row["value"], row["qualifier"]) == (value, qualifier)
    if qualifier == "between":
        assert (row["low"], row["high"]) == (10, 20)


@pytest.mark.parametrize(
    "said",
    ["20..10", "10..10", "<", "< low", "warm", "", "24,5", "1e400", "0x10", "١٢", True, "on", "nan", "inf"],
)
def test_what_is_no_reading_is_refused(furnished: Caller, said: Any) -> None:
    refused = furnished.post("/v1/readings", one(said))
    assert refused.status_code == 422, refused.get_data(as_text=True)
    assert stored(furnished) == []


def test_a_decimal_comma_is_named(furnished: Caller) -> None:
    assert "decimal point" in furnished.post("/v1/readings", one("24,5")).get_json()["detail"]


@pytest.mark.parametrize(("said", "value"), [("on", 1), ("off", 0), (True, 1), (0, 0), ("ON", 1)])
def test_a_contact_reads_on_or_off(furnished: Caller, said: Any, value: int) -> None:
    furnished.post("/v1/gauges", {"name": "Leak", "parameter": "leak", "place": "sumps/rack"})
    furnished.post("/v1/readings", {"gauge": "leak", "value": said, "at": AT})
    assert stored(furnished, "leak")[0]["value"] == value


def test_a_contact_reads_nothing_else(furnished: Caller) -> None:
    furnished.post("/v1/gauges", {"name": "Leak", "parameter": "leak", "place": "sumps/rack"})
    assert furnished.post("/v1/readings", {"gauge": "leak", "value": 0.5, "at": AT}).status_code == 422


def test_another_unit_is_converted_to_the_gauges_own(furnished: Caller) -> None:
    furnished.post("/v1/readings", one(77, unit="degF"))
    assert (stored(furnished)[0]["value"], stored(furnished)[0]["unit"]) == (25, "degC")


@pytest.mark.parametrize("unit", ["C", "mg/L", "degrees", "degC/h"])
def test_a_wrong_unit_is_refused(furnished: Caller, unit: str) -> None:
    assert furnished.post("/v1/readings", one(unit=unit)).get_json()["type"].endswith("bad-unit")


def test_an_impossible_value_is_refused_and_an_implausible_one_flagged(furnished: Caller) -> None:
    assert furnished.post("/v1/readings", one(250)).get_json()["type"].endswith("impossible-value")
    counts = furnished.post("/v1/readings", one(45)).get_json()
    assert (counts["stored"], counts["flagged"]) == (1, 1)
    assert stored(furnished)[0]["implausible"] is True


@pytest.mark.parametrize("at", ["1970-01-01T00:00:10Z", "1999-12-31T23:59:59Z"])
def test_a_clock_at_its_epoch_is_refused(furnished: Caller, at: str) -> None:
    assert furnished.post("/v1/readings", one(at=at)).get_json()["type"].endswith("time-too-old")


def test_a_clock_may_run_ten_minutes_ahead_and_no_more(furnished: Caller) -> None:
    assert furnished.post("/v1/readings", one(at=instant_text(now_ms() + 9 * 60_000))).status_code == 200
    late = furnished.post("/v1/readings", one(at=instant_text(now_ms() + 11 * 60_000)))
    assert late.get_json()["type"].endswith("time-ahead")


@pytest.mark.parametrize(
    "at", ["2026-11-20T10:00:00", "2026-11-20", "20.11.2026 10:00", "2026-11-20T25:00:00Z"]
)
def test_a_naive_or_broken_time_is_refused(furnished: Caller, at: str) -> None:
    assert furnished.post("/v1/readings", one(at=at)).get_json()["type"].endswith("bad-time")


def test_a_single_reading_without_a_time_is_of_now(furnished: Caller) -> None:
    furnished.post("/v1/readings", one(at=None))
    latest = furnished.get(f"/v1/gauges/{GAUGE}/latest").get_json()
    assert latest["age_minutes"] < 1


def test_a_test_by_place_makes_its_gauge_once(furnished: Caller) -> None:
    first = furnished.post(
        "/v1/readings", {"place": "tanks/nursery", "parameter": "ph", "value": 7.2, "at": AT}
    )
    assert first.get_json()["made_gauges"] == ["nursery-ph-by-hand"]
    second = {"place": "tanks/nursery", "parameter": "ph", "value": 7.1, "at": "2026-11-21T10:00:00Z"}
    assert furnished.post("/v1/readings", second).get_json()["made_gauges"] == []
    gauge = furnished.get("/v1/gauges/nursery-ph-by-hand").get_json()
    assert (gauge["by_hand"], gauge["unit"]) == (True, "pH")


def test_a_test_by_place_never_lands_on_a_sensor(furnished: Caller) -> None:
    by_place = {"place": "tanks/nursery", "parameter": "temperature", "value": 24, "at": AT}
    assert furnished.post("/v1/readings", by_place).get_json()["made_gauges"] == [
        "nursery-temperature-by-hand"
    ]
    assert stored(furnished) == []


def test_several_gauges_by_hand_must_be_told_apart(furnished: Caller) -> None:
    for name in ("Kit", "Strip"):
        furnished.post(
            "/v1/gauges", {"name": name, "parameter": "nitrate", "place": "tanks/nursery", "by_hand": True}
        )
    refused = furnished.post("/v1/readings", {"place": "tanks/nursery", "parameter": "nitrate", "value": 5})
    assert refused.get_json()["type"].endswith("several-gauges")
    assert "kit, strip" in refused.get_json()["detail"]


def test_a_retired_gauge_takes_nothing(furnished: Caller) -> None:
    furnished.patch(f"/v1/gauges/{GAUGE}", {"retired_at": "2026-11-20T10:00:00Z"})
    assert furnished.post("/v1/readings", one()).get_json()["type"].endswith("retired-gauge")


def test_csv_is_taken(furnished: Caller) -> None:
    table = f"gauge,value,at\r\n{GAUGE},24.5,{AT}\r\n{GAUGE},24.6,2026-11-20T10:10:00Z\r\n"
    counts = furnished("POST", "/v1/readings", table, Content_Type="text/csv").get_json()
    assert counts["stored"] == 2


def test_csv_with_semicolons_may_have_decimal_commas(furnished: Caller) -> None:
    table = f"\ufeffplace;parameter;value;unit;at\ntanks/nursery;nitrate;<0,5;mg/L NO3;{AT}\ntanks/nursery;ph;7,25;;{AT}\n"
    counts = furnished("POST", "/v1/readings", table.encode(), Content_Type="text/csv").get_json()
    assert counts["stored"] == 2, counts
    assert stored(furnished, "nursery-nitrate-by-hand")[0]["value"] == 0.5
    assert stored(furnished, "nursery-ph-by-hand")[0]["value"] == 7.25


@pytest.mark.parametrize(
    "table", ["", "gauge,value\n", "gauge,colour\nx,1\n", "gauge,value,at\nx,1\n", "gauge;value,at\n1;2,3\n"]
)
def test_a_broken_table_is_refused(furnished: Caller, table: str) -> None:
    assert furnished("POST", "/v1/readings", table, Content_Type="text/csv").status_code in (400, 422)


def test_more_readings_than_one_request_may_carry_are_refused(app: Service, furnished: Caller) -> None:
    app.settings = dataclasses.replace(app.settings, batch_cap=3)
    rows = [one(24, f"2026-11-20T10:{minute:02d}:00Z") for minute in range(4)]
    assert furnished.post("/v1/readings", {"readings": rows}).status_code == 413
    assert furnished.post("/v1/readings", {"readings": rows[:3]}).status_code == 200


def test_a_helper_may_correct_what_was_read_by_hand(furnished: Caller, caller: MakeCaller) -> None:
    helper = caller("helper")
    test = {"place": "tanks/nursery", "parameter": "nitrate", "value": 5, "at": AT}
    helper.post("/v1/readings", test)
    assert helper.post("/v1/readings?on_conflict=correct", {**test, "value": 10}).get_json()["corrected"] == 1
    assert furnished.get("/v1/corrections").get_json()["items"][0]["corrected_by"] == "helper"
