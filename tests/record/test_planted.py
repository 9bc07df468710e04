"""The life of a planting by its events, against a naive model that is told them one by one."""

from __future__ import annotations

import uuid
from itertools import pairwise
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from weirbook.engine.units import Quantity
from weirbook.record.planted import Planted, Told, impossible, life_of
from weirbook.record.plants import EVENTS

PLANTING = uuid.uuid4()


def event(at: int, kind: str, **said: Any) -> Told:
    blank = dict.fromkeys(("by", "to_place_id", "spot", "method", "wet_mass", "cover"))
    told = {**blank, **said}
    return Told(at, at, uuid.UUID(int=at), PLANTING, kind, **told)


def planted(**said: Any) -> Planted:
    told = {"place_id": 1, "spot": "Front", "method": "ring", "planted_at_ms": 0, "cover": None, **said}
    return Planted(id=PLANTING, kind_id=7, **told)


def grams(mass: float) -> Quantity:
    return Quantity(mass, "g")


POSSIBLE = {
    "stands": set(EVENTS),
    "uprooted": {"replanted", "seen", "removed", "lost"},
    "removed": set(),
    "lost": set(),
}


def naive(kinds: list[str]) -> tuple[str, int, int] | None:
    """How it stands, how many tries there were and how many of them failed; None where it can't have been."""
    state, tries, failed = "stands", 1, 0
    for kind in kinds:
        if kind not in POSSIBLE[state]:
            return None
        if kind in ("lost", "uprooted", "replanted") and state == "stands":
            failed += 1
        if kind in ("uprooted", "removed", "lost"):
            state = kind
        if kind in ("moved", "replanted"):
            state, tries = "stands", tries + 1
    return state, tries, failed


@given(st.lists(st.sampled_from(EVENTS), max_size=9))
def test_a_life_is_what_a_naive_model_makes_of_its_events(kinds: list[str]) -> None:
    events = [event(10 * (index + 1), kind) for index, kind in enumerate(kinds)]
    expected = naive(kinds)
    assert (impossible(events) is None) == (expected is not None)
    if expected is None:
        return
    life = life_of(planted(), events)
    failed = sum(one.ended in ("lost", "uprooted") for one in life.stays)
    assert (life.state, len(life.stays), failed) == expected
    assert life.standing == (life.last.to_ms is None) == (life.ended_ms is None)
    spans = [(one.from_ms, one.to_ms) for one in life.stays]
    assert all(to is not None and begun <= to for begun, to in spans[:-1])
    assert all(earlier[1] <= later[0] for earlier, later in pairwise(spans))  # type: ignore[operator]


def test_what_was_uprooted_and_then_lost_held_until_it_was_uprooted() -> None:
    life = life_of(planted(), [event(10, "uprooted", by="Loaches"), event(30, "lost", by="Rot")])
    assert (life.last.to_ms, life.last.ended, life.last.by, life.ended_ms) == (10, "lost", "Loaches", 30)
    life = life_of(planted(), [event(10, "uprooted"), event(30, "removed")])
    assert (life.last.to_ms, life.last.ended, life.state) == (10, "uprooted", "removed")


def test_what_is_replanted_as_it_stands_was_found_uprooted() -> None:
    life = life_of(planted(), [event(10, "replanted", by="Loaches", spot="Back")])
    assert [(one.ended, one.by, one.spot) for one in life.stays] == [
        ("uprooted", "Loaches", "Front"), (None, None, "Back"),
    ]  # fmt: skip


def test_a_cut_grew_since_the_cut_before_or_since_it_came_there() -> None:
    life = life_of(
        planted(),
        [
            event(10, "trimmed"),  # not weighed: nothing is known of it
            event(20, "trimmed", wet_mass=grams(5)),
            event(30, "harvested", wet_mass=grams(7)),
            event(40, "moved", spot="Back"),
            event(50, "harvested", wet_mass=grams(1)),
            event(60, "moved", to_place_id=2),
            event(70, "removed", wet_mass=grams(9)),
        ],
    )
    assert [(one.place_id, one.since_ms, one.at_ms, one.after_cut) for one in life.cuts] == [
        (1, 0, 20, False), (1, 20, 30, True), (1, 30, 50, True), (2, 60, 70, False),
    ]  # fmt: skip
    assert round(life.taken_off, 9) == 0.022


def test_a_spot_is_of_its_place() -> None:
    life = life_of(planted(), [event(10, "moved", method="pot"), event(20, "moved", to_place_id=2)])
    assert [(one.place_id, one.spot, one.method) for one in life.stays] == [
        (1, "Front", "ring"), (1, "Front", "pot"), (2, None, "pot"),
    ]  # fmt: skip
