"""What-ifs that add a row to those recorded, where rows stand each for itself."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, made

NUTRIENTS = "/v1/systems/rill/answers/nutrients"
SAID = {"feed": "2 g/d", "protein": "46 %"}
RAFT = {"name": "New raft", "growth_form": "floating", "area": "0.347 m2"}
BED = "rack-planted-floating-1"


@pytest.fixture
def planted(furnished: Caller) -> Caller:
    """The furnished room with a floating bed of 50 x 45 cm in its sump."""
    assert furnished.patch("/v1/sections/rack-return-1", {"position": 2}).status_code == 200
    bed = {"sump": "rack", "position": 1, "use": "planted-floating", "direction": "along", "length": "50 cm"}
    made(furnished, "sections", {**bed, "running_depth": "20 cm"})
    return furnished


def ask(keeper: Caller, stands: Any) -> Any:
    volume = {"volume": "400 L"}
    return keeper.post(NUTRIENTS, {**SAID, **volume, "stands": stands})


def stands(answered: Any) -> dict[str, Any]:
    assert answered.status_code == 200, answered.get_data(as_text=True)
    return dict(answered.get_json()["inputs"]["stands"])


def faults(answered: Any) -> dict[str, str]:
    assert answered.status_code == 422, answered.get_data(as_text=True)
    return {one["pointer"]: one["message"] for one in answered.get_json()["errors"]}


def test_a_row_told_in_full_counts_besides_those_recorded(planted: Caller) -> None:
    used = stands(ask(planted, [RAFT]))
    assert [row["name"] for row in used["value"]] == [BED, "New raft"]
    assert used["value"][1]["area"] == {"value": 0.347, "unit": "m2"}
    assert used["origin"] == "record" and used["note"].endswith("cover; said besides: New raft")
    whole = [{"name": BED, "growth_form": "floating", "area": "0.225 m2"}, RAFT]
    alone = {**SAID, "volume": "400 L", "stands": whole}
    answered = planted.post("/v1/calculators/nutrients/answer", alone).get_json()
    assert ask(planted, [RAFT]).get_json()["results"] == answered["results"]
    assert ask(planted, []).get_json()["results"] != answered["results"]


def test_a_row_may_be_added_while_another_is_said_otherwise(planted: Caller) -> None:
    used = stands(ask(planted, [RAFT, {"name": BED, "cover": "50 %"}]))
    assert used["note"].endswith(f"said otherwise: {BED} (cover); said besides: New raft")
    assert used["value"][0]["cover"] == {"value": 50, "unit": "%"}


@pytest.mark.parametrize("lacking", [{"name": "New raft"}, {**RAFT, "area": None}, {**RAFT, "name": ["x"]}])
def test_a_row_that_tells_too_little_is_no_new_one(planted: Caller, lacking: dict[str, Any]) -> None:
    told = faults(ask(planted, [{"name": BED}, lacking]))
    assert told == {
        "/stands/1/name": f"The record has none of that name here. It has: {BED}. "
        "A new row must tell name, growth_form, area."
    }


def test_faults_in_an_added_row_stand_where_it_was_sent(planted: Caller) -> None:
    assert list(faults(ask(planted, [{**RAFT, "area": "0 m2"}]))) == ["/stands/0/area"]
    assert faults(ask(planted, [RAFT, RAFT])) == {"/stands/1/name": "Another row has this name already."}


def test_where_nothing_is_recorded_rows_are_taken_as_they_are(furnished: Caller) -> None:
    used = stands(ask(furnished, [RAFT]))
    assert used["origin"] == "given" and [row["name"] for row in used["value"]] == ["New raft"]


def test_a_section_can_not_be_added_to_a_recorded_sump(planted: Caller) -> None:
    body = {"sections": [{"name": "new", "use": "media", "direction": "along", "length": "10 cm"}]}
    told = faults(planted.post("/v1/sumps/rack/answers/chamber-flow", body))
    assert told == {
        "/sections/0/name": f"The record has none of that name here. It has: {BED}, rack-return-1."
    }
