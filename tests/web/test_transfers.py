"""Transfers: what was carried from one water to another."""

from __future__ import annotations

from typing import Any

import pytest
from fish_scenes import DAY
from harness import Caller, MakeCaller, made, on_both_engines, pointers

SPONGE: dict[str, Any] = {
    "what": "media",
    "from_place": "sumps/rack",
    "to_place": "tanks/nursery",
    "moved_at": DAY.format(2),
    "words": "A third of the sponge.",
}


@on_both_engines
def test_transfers_are_listed_newest_first_by_place_and_time(furnished: Caller) -> None:
    made(furnished, "transfers", SPONGE)
    made(furnished, "transfers", {"what": "plants", "to_place": "tanks/nursery", "moved_at": DAY.format(9)})
    rinsed = {
        "what": "nets",
        "to_place": "sumps/rack",
        "disinfected": "Dried for two days",
        "moved_at": DAY.format(5),
    }
    assert made(furnished, "transfers", rinsed)["disinfected"] == "Dried for two days"

    def listed(query: str) -> list[str]:
        return [one["what"] for one in furnished.get(f"/v1/transfers?{query}").get_json()["items"]]

    assert listed("") == ["plants", "nets", "media"]
    assert listed("to_place=tanks/nursery") == ["plants", "media"]
    assert listed("from_place=sumps/rack") == ["media"]
    assert listed(f"from={DAY.format(3)}&to={DAY.format(9)}") == ["nets"]


@pytest.mark.parametrize(
    ("said", "at"),
    [
        ({"what": "snails"}, "/what"),
        ({"to_place": "tanks/none"}, "/to_place"),
        ({"to_place": None}, "/to_place"),
        ({"from_place": "tanks/nursery"}, "/to_place"),
        ({"moved_at": "2199-01-01T00:00:00Z"}, "/moved_at"),
        ({"words": ""}, "/words"),
    ],
)
def test_a_transfer_that_can_not_be_is_refused_at_the_fault(
    furnished: Caller, said: dict[str, object], at: str
) -> None:
    assert pointers(furnished.post("/v1/transfers", {**SPONGE, **said})) == [at]


def test_helpers_tell_transfers_and_viewers_read_them(furnished: Caller, caller: MakeCaller) -> None:
    assert caller("helper").post("/v1/transfers", SPONGE).status_code == 201
    assert caller("viewer").post("/v1/transfers", SPONGE).status_code == 403
    assert len(caller("viewer").get("/v1/transfers").get_json()["items"]) == 1
