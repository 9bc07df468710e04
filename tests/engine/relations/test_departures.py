"""Until when a group could pass on what befell it. Oracle: rooms that begin at each instant, by `exposures`."""

from __future__ import annotations

from hypothesis import given, settings
from small_rooms import GROUPS, LAST, RULES, rooms

from weirbook.engine.relations.contacts import Carried, Moved, Plumbed, Room, Rules, Stay
from weirbook.engine.relations.departures import last_departures
from weirbook.engine.relations.exposure import exposures

A, B, C = 1, 2, 3
NURSERY, RACK = 10, 11
RILL = 20


def test_a_thing_that_was_carried_brings_what_its_water_held_up_to_then() -> None:
    room = Room(
        [Stay(A, NURSERY, 0, None), Stay(B, RACK, 0, None)],
        carried=[Carried(30, ("tank", NURSERY), ("tank", RACK), "sponge")],
    )
    assert last_departures(room, B) == {A: 30}
    assert last_departures(room, A) == {}


def test_water_that_was_shared_brings_it_until_the_sharing_ended_and_a_chain_until_its_last_link() -> None:
    room = Room(
        [Stay(A, NURSERY, 0, None), Stay(B, RACK, 0, None), Stay(C, RACK + 1, 0, None)],
        [Plumbed(NURSERY, RILL, 0, 40), Plumbed(RACK, RILL, 0, None)],
        [Moved(25, B, C, "m1")],
    )
    assert last_departures(room, B) == {A: 39}
    assert last_departures(room, C) == {A: 25, B: 25}


def test_what_a_water_held_before_its_fish_left_waits_as_long_as_is_said() -> None:
    room = Room(
        [Stay(A, NURSERY, 0, 20), Stay(B, RACK, 0, None)],
        carried=[Carried(30, ("tank", NURSERY), ("tank", RACK), "sponge")],
    )
    assert last_departures(room, B, Rules(carry_ms=10)) == {A: 19}
    assert last_departures(room, B, Rules(carry_ms=9)) == {}


@settings(max_examples=60, deadline=None)
@given(rooms(), RULES)
def test_a_group_can_pass_on_as_long_as_rooms_that_begin_later_still_find_it(
    room: Room, rules: Rules
) -> None:
    for group in GROUPS:
        wanted: dict[int, int] = {}
        for start in range(LAST + 2):
            later = room.within(start, 1 << 40)
            for one in exposures(later, group, rules=rules):
                wanted[one.source] = start
        found = last_departures(room, group, rules)
        assert {other: min(at, LAST + 1) for other, at in found.items()} == wanted
