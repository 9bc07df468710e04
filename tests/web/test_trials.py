"""Trials as records: phases that follow each other, outcomes that are gauges."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, made, on_both_engines, pointers

FIRST = {"setting": "Twice a day", "from": "2026-10-01T00:00:00Z", "to": "2026-10-15T00:00:00Z"}
SECOND = {"setting": "Once a day", "from": "2026-10-15T00:00:00Z", "settle": "3 d"}
TRIAL: dict[str, Any] = {
    "question": "Does one meal a day keep the glass cleaner?",
    "varied": "Meals a day",
    "place": "tanks/nursery",
    "phases": [FIRST, SECOND],
    "outcomes": [{"gauge": "nursery-temperature", "matters": "0.5 K"}],
}


@on_both_engines
def test_a_trial_is_shown_as_it_was_entered_and_may_be_concluded(furnished: Caller) -> None:
    row = made(furnished, "trials", TRIAL)
    assert row["phases"] == [FIRST, {**SECOND, "settle": {"value": 3, "unit": "d"}}]
    assert row["outcomes"] == [{"gauge": "nursery-temperature", "matters": {"value": 0.5, "unit": "K"}}]
    path = f"/v1/trials/{row['id']}"
    concluded = furnished.patch(path, {"conclusion": "Cleaner by a tenth."}).get_json()
    assert concluded["conclusion"] == "Cleaner by a tenth."
    ended = furnished.patch(path, {"phases": [FIRST, {**SECOND, "to": "2026-11-01T00:00:00Z"}]})
    assert ended.get_json()["phases"][1]["to"] == "2026-11-01T00:00:00Z"


def test_a_trial_without_a_difference_that_matters_may_be_edited_too(furnished: Caller) -> None:
    row = made(furnished, "trials", {**TRIAL, "outcomes": [{"gauge": "nursery-temperature"}]})
    assert furnished.patch(f"/v1/trials/{row['id']}", {"notes": "x"}).status_code == 200


@on_both_engines
def test_a_trial_under_an_id_of_its_own_is_safe_to_repeat(furnished: Caller) -> None:
    path = "/v1/trials/01936c5e-8f00-7000-8000-00000000abcd"
    assert furnished("PUT", path, TRIAL).status_code == 201
    assert furnished("PUT", path, TRIAL).status_code == 200
    assert furnished("PUT", path, {**TRIAL, "varied": "Light"}).status_code == 409


@pytest.mark.parametrize(
    ("said", "at"),
    [
        ({"phases": [FIRST, {**SECOND, "from": "2026-10-14T23:59:59Z"}]}, "/phases/1/from"),
        ({"phases": [{**FIRST, "to": None}, SECOND]}, "/phases/1/from"),
        ({"phases": [SECOND, FIRST]}, "/phases/1/from"),
        ({"phases": [{**FIRST, "to": FIRST["from"]}]}, "/phases/0/to"),
        ({"phases": [{**FIRST, "settle": "14 d"}]}, "/phases/0/settle"),
        ({"phases": [{**FIRST, "settle": "-1 d"}]}, "/phases/0/settle"),
        ({"phases": [{"from": FIRST["from"]}]}, "/phases/0/setting"),
        ({"phases": [{**FIRST, "from": "2199-01-01T00:00:00Z", "to": None}]}, "/phases/0/from"),
        ({"phases": []}, "/phases"),
        ({"phases": [FIRST] * 21}, "/phases"),
        ({"outcomes": []}, "/outcomes"),
        ({"outcomes": [{"gauge": "none"}]}, "/outcomes/0/gauge"),
        ({"outcomes": [{"gauge": "nursery-temperature"}] * 2}, "/outcomes/1/gauge"),
        ({"outcomes": [{"gauge": "nursery-temperature", "matters": "5 %"}]}, "/outcomes/0/matters"),
        ({"outcomes": [{"gauge": "nursery-temperature", "matters": "0 K"}]}, "/outcomes/0/matters"),
        ({"place": "tanks/none"}, "/place"),
        ({"question": " "}, "/question"),
    ],
)
def test_a_trial_that_can_not_be_is_refused_at_the_fault(
    furnished: Caller, said: dict[str, object], at: str
) -> None:
    assert pointers(furnished.post("/v1/trials", {**TRIAL, **said})) == [at]
    assert furnished.get("/v1/trials").get_json()["items"] == []


def test_a_gauge_that_tells_an_outcome_is_kept(furnished: Caller) -> None:
    made(furnished, "trials", TRIAL)
    refused = furnished.delete("/v1/gauges/nursery-temperature")
    assert refused.status_code == 409
    assert "1 trial" in refused.get_json()["detail"]
