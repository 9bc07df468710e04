"""States with dates: what held, since when, and that the past can be asked."""

from __future__ import annotations

from typing import Any

import pytest
from harness import FURNITURE, Caller, on_both_engines


def states(keeper: Caller, path: str) -> list[tuple[Any, str | None, str | None]]:
    return [
        (one["value"], one["from"], one["to"]) for one in keeper.get(f"{path}/states").get_json()["items"]
    ]


@on_both_engines
def test_a_sections_use_keeps_its_past(furnished: Caller) -> None:
    changed = furnished.patch(
        "/v1/sections/rack-return-1", {"use": "heating", "effective_at": "2026-06-01T08:00:00+01:00"}
    )
    assert changed.status_code == 200
    assert changed.get_json()["handle"] == "rack-return-1"
    assert states(furnished, "/v1/sections/rack-return-1") == [
        ("return", None, "2026-06-01T07:00:00Z"),
        ("heating", "2026-06-01T07:00:00Z", None),
    ]


@on_both_engines
def test_a_pump_that_ran_is_remembered_through_several_changes(furnished: Caller) -> None:
    for running, at in (
        (False, "2026-03-01T00:00:00Z"),
        (True, "2026-04-01T00:00:00Z"),
        (False, "2026-05-01T00:00:00Z"),
    ):
        changed = furnished.patch("/v1/pumps/rack-pump", {"running": running, "effective_at": at})
        assert changed.status_code == 200
    assert states(furnished, "/v1/pumps/rack-pump") == [
        (True, None, "2026-03-01T00:00:00Z"),
        (False, "2026-03-01T00:00:00Z", "2026-04-01T00:00:00Z"),
        (True, "2026-04-01T00:00:00Z", "2026-05-01T00:00:00Z"),
        (False, "2026-05-01T00:00:00Z", None),
    ]
    for at, ran in (
        ("2026-02-28T23:59:59Z", True),
        ("2026-03-01T00:00:00Z", False),
        ("2026-04-01T00:00:00Z", True),
        ("2026-04-30T23:59:59.999Z", True),
        ("2026-05-01T00:00:00Z", False),
    ):
        assert (furnished.get(f"/v1/systems/rill/answers/turnover?at={at}").status_code == 200) is ran, at


def test_a_change_of_state_raises_the_version_once(furnished: Caller) -> None:
    assert furnished.patch("/v1/pumps/rack-pump", {"running": False}).get_json()["version"] == 2
    assert furnished.patch("/v1/pumps/rack-pump", {"running": False}).get_json()["version"] == 2
    assert len(states(furnished, "/v1/pumps/rack-pump")) == 2


def test_another_edit_leaves_the_states_alone(furnished: Caller) -> None:
    furnished.patch("/v1/tanks/nursery", {"notes": "Same place.", "effective_at": "2026-06-01T00:00:00Z"})
    assert states(furnished, "/v1/tanks/nursery") == [("rill", None, None)]


def test_a_state_that_began_at_the_same_instant_is_not_rewritten(furnished: Caller) -> None:
    at = "2026-06-01T00:00:00Z"
    furnished.patch("/v1/pumps/rack-pump", {"running": False, "effective_at": at})
    refused = furnished.patch("/v1/pumps/rack-pump", {"running": True, "effective_at": at})
    assert refused.status_code == 409
    assert refused.get_json()["type"] == "urn:weirbook:problem:state-began-later"
    assert furnished.get("/v1/pumps/rack-pump").get_json()["running"] is False


def test_a_refused_change_of_state_changes_nothing(furnished: Caller) -> None:
    refused = furnished.patch(
        "/v1/pumps/rack-pump",
        {"running": False, "rated_flow": "1 kg", "effective_at": "2026-06-01T00:00:00Z"},
    )
    assert refused.status_code == 422
    assert states(furnished, "/v1/pumps/rack-pump") == [(True, None, None)]


@pytest.mark.parametrize("at", ["2026-06-01T00:00:00", "2026-06-01", "yesterday", 5, None])
def test_an_effective_at_that_is_no_instant_is_refused(furnished: Caller, at: Any) -> None:
    refused = furnished.patch("/v1/pumps/rack-pump", {"running": False, "effective_at": at})
    if at is None:
        assert refused.status_code == 200
    else:
        assert refused.status_code == 422
        assert refused.get_json()["errors"][0]["pointer"] == "/effective_at"


def test_a_thing_without_states_takes_no_effective_at(furnished: Caller) -> None:
    refused = furnished.patch("/v1/sumps/rack", {"notes": "x", "effective_at": "2026-06-01T00:00:00Z"})
    assert refused.status_code == 422
    assert refused.get_json()["errors"][0]["pointer"] == "/effective_at"
    assert furnished.get("/v1/sumps/rack/states").status_code == 404


def test_what_is_made_with_effective_at_was_not_there_before(furnished: Caller) -> None:
    """150 L more from 2026-09-01 on: (300 + 33.75 + 150) L against (300 + 33.75) L."""
    tank = {
        **FURNITURE[1][1],
        "name": "Annex",
        "footprint": {"shape": "rectangle", "length": "60 cm", "width": "50 cm"},
        "effective_at": "2026-09-01T00:00:00Z",
    }
    assert furnished.post("/v1/tanks", tank).status_code == 201
    path = "/v1/systems/rill/answers/turnover"
    before = furnished.get(f"{path}?at=2026-08-31T23:59:59Z").get_json()["inputs"]["volume"]["value"]
    after = furnished.get(f"{path}?at=2026-09-01T00:00:00Z").get_json()["inputs"]["volume"]["value"]
    assert (before, after) == (333.75, 483.75)


@on_both_engines
def test_a_tank_that_moved_takes_its_water_and_its_pump_along(furnished: Caller) -> None:
    furnished.post("/v1/systems", {"name": "Brook"})
    furnished.patch("/v1/tanks/nursery", {"system": "brook", "effective_at": "2026-09-01T00:00:00Z"})
    then = furnished.get("/v1/systems/rill/answers/turnover?at=2026-08-01T00:00:00Z")
    assert then.get_json()["inputs"]["volume"]["value"] == 333.75
    now = furnished.get("/v1/systems/brook/answers/turnover").get_json()
    assert now["inputs"]["volume"]["value"] == 300
    assert now["inputs"]["flow"]["origin"] == "record"
    gone = furnished.get("/v1/systems/rill/answers/turnover")
    assert gone.status_code == 422
    assert {error["pointer"] for error in gone.get_json()["errors"]} == {"/volume", "/flow"}


@on_both_engines
def test_a_retired_pump_counted_until_it_was_retired(furnished: Caller) -> None:
    furnished.patch("/v1/pumps/rack-pump", {"retired_at": "2026-09-01T00:00:00Z"})
    path = "/v1/systems/rill/answers/turnover"
    assert furnished.get(f"{path}?at=2026-08-31T00:00:00Z").status_code == 200
    assert furnished.get(path).status_code == 422
