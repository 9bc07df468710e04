"""Batches at random: the counts add up, input order is kept, and what is stored is what was counted."""

from __future__ import annotations

import random
from typing import Any

import pytest
from harness import Caller, on_both_engines

from weirbook.engine.times import instant_ms

GAUGE = "nursery-temperature"
AT = "2026-11-20T10:{:02d}:00Z"
BAD: tuple[tuple[dict[str, Any], str], ...] = (
    ({"value": "warm"}, "bad-value"),
    ({"value": 400}, "impossible-value"),
    ({"unit": "L"}, "bad-unit"),
    ({"at": "2026-11-20T10:00:00"}, "bad-time"),
    ({"at": "1970-01-01T00:00:07Z"}, "time-too-old"),
    ({"at": "2126-01-01T00:00:00Z"}, "time-ahead"),
    ({"at": None}, "time-missing"),
    ({"gauge": "nothing-such"}, "unknown-gauge"),
    ({"gauge": None}, "bad-row"),
    ({"place": "room"}, "bad-row"),
    ({"gauge": None, "place": "tanks/none", "parameter": "ph"}, "unknown-place"),
    ({"gauge": None, "place": "room", "parameter": "mood"}, "unknown-parameter"),
    ({"mood": 1}, "bad-row"),
    ({"value": []}, "bad-row"),
)


def stored(keeper: Caller) -> dict[str, float]:
    path = f"/v1/readings?gauge={GAUGE}&from=2026-11-20T00:00:00Z&to=2026-11-21T00:00:00Z"
    return {one["at"]: one["value"] for one in keeper.get(path).get_json()["items"]}


@on_both_engines
@pytest.mark.parametrize("seed", range(2))
def test_counts_of_a_mixed_batch_add_up_in_the_order_sent(furnished: Caller, seed: int) -> None:
    chance = random.Random(seed)
    kept: dict[str, float] = {}
    for _ in range(3):
        rows, expected = [], []
        counts = {"stored": 0, "repeated": 0, "flagged": 0}
        for index in range(40):
            row: dict[str, Any] = {
                "gauge": GAUGE,
                "value": chance.choice([20, 21.5, 45]),
                "at": AT.format(chance.randrange(20)),
            }
            if chance.random() < 0.3:
                wrong, kind = chance.choice(BAD)
                rows.append({**row, **wrong})
                expected.append((index, kind))
                continue
            rows.append(row)
            if row["at"] not in kept:
                kept[row["at"]] = row["value"]
                counts["stored"] += 1
                counts["flagged"] += row["value"] == 45
            elif kept[row["at"]] == row["value"]:
                counts["repeated"] += 1
            else:
                expected.append((index, "reading-conflict"))
        answered = furnished.post("/v1/readings?partial=true", {"readings": rows}).get_json()
        assert {name: answered[name] for name in counts} == counts
        assert [(one["index"], one["type"]) for one in answered["refusals"]] == expected
        assert answered["sent"] == 40 == answered["stored"] + answered["repeated"] + answered["refused"]
        assert all(one["pointer"].startswith(f"/readings/{one['index']}") for one in answered["refusals"])
    assert stored(furnished) == dict(sorted(kept.items(), key=lambda one: instant_ms(one[0])))


@pytest.mark.parametrize(("wrong", "kind"), BAD, ids=range(len(BAD)))
def test_one_bad_row_keeps_out_all_others_and_is_named(
    furnished: Caller, wrong: dict[str, Any], kind: str
) -> None:
    good = {"gauge": GAUGE, "value": 24, "at": AT.format(0)}
    new = {"place": "tanks/nursery", "parameter": "nitrate", "value": 5, "at": AT.format(0)}
    refused = furnished.post("/v1/readings", {"readings": [good, new, {**good, **wrong}]})
    assert refused.status_code == 422
    assert refused.mimetype == "application/problem+json"
    problem = refused.get_json()
    assert problem["type"] == f"urn:weirbook:problem:{kind}"
    assert [(one["index"], one["type"]) for one in problem["refusals"]] == [(2, kind)]
    assert problem["errors"][0]["pointer"].startswith("/readings/2")
    assert stored(furnished) == {}
    assert len(furnished.get("/v1/gauges").get_json()["items"]) == 1


def test_a_correction_within_one_body_is_judged_in_order(furnished: Caller) -> None:
    furnished.post("/v1/readings", {"gauge": GAUGE, "value": 20, "at": AT.format(0)})
    rows = [{"gauge": GAUGE, "value": value, "at": AT.format(0)} for value in (20, 21, 21, 22)]
    counts = furnished.post("/v1/readings?on_conflict=correct", {"readings": rows}).get_json()
    assert (counts["stored"], counts["repeated"], counts["corrected"], counts["refused"]) == (2, 2, 2, 0)
    assert stored(furnished) == {AT.format(0): 22}
    kept = furnished.get("/v1/corrections").get_json()["items"]
    assert sorted((one["old_value"], one["new_value"]) for one in kept) == [(20, 21), (21, 22)]


def test_two_values_of_one_new_instant_are_a_conflict_even_when_correcting(furnished: Caller) -> None:
    """Neither was in the record before: which of the two is right can't be told from the order of one body."""
    rows = [{"gauge": GAUGE, "value": value, "at": AT.format(0)} for value in (20, 21)]
    refused = furnished.post("/v1/readings?on_conflict=correct", {"readings": rows})
    assert refused.status_code == 409
    assert stored(furnished) == {}


@on_both_engines
def test_a_range_that_is_corrected_keeps_its_old_bounds(furnished: Caller) -> None:
    test = {"place": "tanks/nursery", "parameter": "nitrate", "at": AT.format(0)}
    for value in ("10..20", "20..40", 25, "<5"):
        assert furnished.post("/v1/readings?on_conflict=correct", {**test, "value": value}).status_code == 200
    found = furnished.get("/v1/readings?gauge=nursery-nitrate-by-hand&from=2026-11-20T00:00:00Z").get_json()[
        "items"
    ]
    assert [(one["value"], one["qualifier"], one["low"], one["high"]) for one in found] == [
        (5, "below", None, None)
    ]
    kept = furnished.get("/v1/corrections").get_json()["items"]
    assert sorted((one["old_value"], one["old_low"], one["old_high"]) for one in kept if one["old_low"]) == [
        (15, 10, 20),
        (30, 20, 40),
    ]


def test_a_bare_and_a_qualified_five_are_not_the_same(furnished: Caller) -> None:
    test = {"place": "tanks/nursery", "parameter": "nitrate", "value": 5, "at": AT.format(0)}
    furnished.post("/v1/readings", test)
    assert furnished.post("/v1/readings", {**test, "value": "<5"}).status_code == 409
    assert furnished.post("/v1/readings", {**test, "value": "5.0"}).get_json()["repeated"] == 1


def test_a_refused_first_test_leaves_no_empty_gauge_behind(furnished: Caller) -> None:
    rows = [{"place": "tanks/nursery", "parameter": "nitrate", "value": "lots", "at": AT.format(0)}]
    counts = furnished.post("/v1/readings?partial=true", {"readings": rows}).get_json()
    assert (counts["refused"], counts["made_gauges"]) == (1, [])
    assert len(furnished.get("/v1/gauges").get_json()["items"]) == 1


@pytest.mark.parametrize(
    "query", ["partial=yes", "partial=1", "on_conflict=overwrite", "on_conflict=", "gauge=x"]
)
def test_a_query_that_is_not_offered_stores_nothing(furnished: Caller, query: str) -> None:
    sent = furnished.post(f"/v1/readings?{query}", {"gauge": GAUGE, "value": 24, "at": AT.format(0)})
    assert sent.status_code == 422
    assert sent.get_json()["errors"][0]["pointer"] == f"/{query.split('=')[0]}"
    assert stored(furnished) == {}


def test_a_first_test_in_an_odd_unit_makes_a_gauge_in_the_usual_one(furnished: Caller) -> None:
    """Grams a litre are no unit for gauges of oxygen, which take mg/L and ug/L: 0.008 g/L are 8 mg/L."""
    test = {
        "place": "tanks/nursery",
        "parameter": "dissolved_oxygen",
        "value": 0.008,
        "unit": "g/L",
        "at": AT.format(0),
    }
    made = furnished.post("/v1/readings", test).get_json()["made_gauges"]
    gauge = furnished.get(f"/v1/gauges/{made[0]}").get_json()
    assert gauge["unit"] == "mg/L"
    assert (
        furnished.get(f"/v1/readings?gauge={made[0]}&from=2026-11-20T00:00:00Z").get_json()["items"][0][
            "value"
        ]
        == 8
    )
    assert furnished.patch(f"/v1/gauges/{made[0]}", {"notes": "Kit."}).status_code == 200
