"""Drips and top-offs: water that runs by itself from an instant on, and ends with a flow of 0."""

from __future__ import annotations

from typing import Any

import pytest
from harness import Caller, made, on_both_engines, pointers

DRIP: dict[str, Any] = {
    "system": "rill",
    "kind": "drip",
    "valid_from": "2026-03-01T00:00:00Z",
    "flow": "12 L/d",
    "source": "tap",
}


@pytest.fixture
def tap(furnished: Caller) -> Caller:
    made(furnished, "source-waters", {"name": "Tap", "kind": "tap"})
    return furnished


@on_both_engines
def test_an_exchange_is_shown_as_it_was_entered(tap: Caller) -> None:
    drip = made(tap, "standing-exchanges", DRIP)
    assert (drip["flow"], drip["source"]) == ({"value": 12, "unit": "L/d"}, "tap")
    assert tap.get(f"/v1/standing-exchanges/{drip['id']}").get_json() == drip


def test_an_exchange_that_can_not_be_is_refused_at_the_fault(tap: Caller) -> None:
    for change, pointer in (
        ({"source": None}, "/source"),
        ({"source": "none"}, "/source"),
        ({"system": "none"}, "/system"),
        ({"kind": "flood"}, "/kind"),
        ({"flow": "-1 L/d"}, "/flow"),
        ({"flow": 12}, "/flow"),
        ({"flow": "12 L"}, "/flow"),
        ({"flow": "1000 m3/d"}, "/flow"),
        ({"valid_from": None}, "/valid_from"),
    ):
        assert pointers(tap.post("/v1/standing-exchanges", {**DRIP, **change})) == [pointer], change
    assert tap.get("/v1/standing-exchanges").get_json()["items"] == []


def test_a_flow_of_nothing_ends_it_and_needs_no_water(tap: Caller) -> None:
    end = made(tap, "standing-exchanges", {**DRIP, "flow": "0 L/d", "source": None})
    path = f"/v1/standing-exchanges/{end['id']}"
    assert pointers(tap.patch(path, {"flow": "3 L/d"})) == ["/source"]
    assert tap.patch(path, {"flow": "3 L/d", "source": "tap"}).status_code == 200


@on_both_engines
def test_a_drip_and_a_top_off_may_begin_together_and_two_drips_may_not(tap: Caller) -> None:
    made(tap, "standing-exchanges", DRIP)
    made(tap, "standing-exchanges", {**DRIP, "kind": "top_off"})
    assert tap.post("/v1/standing-exchanges", {**DRIP, "flow": "5 L/d"}).status_code == 409
    assert len(tap.get("/v1/standing-exchanges?system=rill").get_json()["items"]) == 2


def test_what_an_exchange_is_stays_and_how_much_may_be_mended(tap: Caller) -> None:
    made(tap, "systems", {"name": "Pond"})
    drip = made(tap, "standing-exchanges", DRIP)
    path = f"/v1/standing-exchanges/{drip['id']}"
    for change in ({"system": "pond"}, {"kind": "top_off"}, {"valid_from": "2026-03-02T00:00:00Z"}):
        assert pointers(tap.patch(path, change)) == [f"/{next(iter(change))}"]
    assert tap.patch(path, {"flow": "2 gal/d"}).get_json()["flow"] == {"value": 2, "unit": "gal/d"}


@on_both_engines
def test_neither_the_system_nor_the_water_of_an_exchange_is_deleted(tap: Caller) -> None:
    made(tap, "systems", {"name": "Pond"})
    made(tap, "standing-exchanges", {**DRIP, "system": "pond"})
    for path in ("systems/pond", "source-waters/tap"):
        refused = tap.delete(f"/v1/{path}")
        assert refused.status_code == 409 and "1 standing exchange" in refused.get_json()["detail"]
