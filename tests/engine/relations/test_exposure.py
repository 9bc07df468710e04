from collections.abc import Iterable
from itertools import pairwise

import pytest
from hypothesis import assume, given, settings
from small_rooms import GROUPS, LAST, RULES, TANKS, rooms

from weirbook.engine.relations.contacts import (
    FISH_MOVED,
    REPLUMBED,
    SAME_TANK,
    SHARED_WATER,
    TRANSFER,
    Carried,
    Moved,
    Plumbed,
    Room,
    Rules,
    Stay,
    merged,
    without,
)
from weirbook.engine.relations.exposure import BACKWARD, FORWARD, Exposure, exposures

A, B, C, D = 1, 2, 3, 4
NURSERY, RACK, POND = 10, 11, 12
RILL, BROOK = 20, 21


def brief(found: Iterable[Exposure]) -> list[tuple]:
    return [(one.source, one.target, one.way, one.from_ms, one.to_ms, one.steps, one.record) for one in found]


def test_two_groups_in_one_tank_share_its_water_while_both_are_there() -> None:
    room = Room([Stay(A, NURSERY, 0, 50), Stay(B, NURSERY, 20, 80), Stay(C, NURSERY, 80, None)])
    assert brief(exposures(room, B)) == [(A, B, SAME_TANK, 20, 50, 1, None)]
    assert brief(exposures(room, A)) == [(B, A, SAME_TANK, 20, 50, 1, None)]
    assert brief(exposures(room, A, FORWARD)) == [(A, B, SAME_TANK, 20, 50, 1, None)]
    assert exposures(room, C) == [] and exposures(room, D) == []


def test_tanks_of_one_system_share_water_only_while_both_belong_to_it() -> None:
    stays = [Stay(A, NURSERY, 0, None), Stay(B, RACK, 0, None)]
    plumbed = [Plumbed(NURSERY, RILL, 0, None), Plumbed(RACK, BROOK, 0, 40), Plumbed(RACK, RILL, 40, 60)]
    assert brief(exposures(Room(stays, plumbed), B)) == [(A, B, SHARED_WATER, 40, 60, 1, None)]
    assert brief(exposures(Room(stays), B)) == []


def test_time_in_one_tank_is_told_apart_from_time_in_one_water() -> None:
    room = Room(
        [Stay(A, NURSERY, 0, None), Stay(B, RACK, 10, 30), Stay(B, NURSERY, 30, 50), Stay(B, RACK, 50, 70)],
        [Plumbed(NURSERY, RILL, 0, None), Plumbed(RACK, RILL, 0, None)],
    )
    found = exposures(room, B)
    assert brief(found) == [(A, B, SHARED_WATER, 10, 70, 1, None), (A, B, SAME_TANK, 30, 50, 1, None)]
    assert [one.times for one in found] == [2, 1]


def test_fish_that_were_moved_bring_what_they_were_exposed_to_before_and_not_after() -> None:
    room = Room(
        [
            Stay(A, NURSERY, 0, 10),
            Stay(B, NURSERY, 5, None),
            Stay(C, RACK, 0, None),
            Stay(D, NURSERY, 30, None),
        ],
        moved=[Moved(20, B, C, "m1")],
    )
    assert brief(exposures(room, C)) == [
        (B, C, FISH_MOVED, 20, None, 1, "m1"),
        (A, C, FISH_MOVED, 20, None, 2, "m1"),
    ]
    walk = next(one for one in exposures(room, C) if one.source == A).walk
    assert [(link.from_group, link.way, link.to_group, link.at_ms) for link in walk] == [
        (A, SAME_TANK, B, 5),
        (B, FISH_MOVED, C, 20),
    ]
    assert brief(exposures(room, A, FORWARD)) == [
        (A, B, SAME_TANK, 5, 10, 1, None),
        (A, C, FISH_MOVED, 20, None, 2, "m1"),
        (A, D, SAME_TANK, 30, None, 2, None),
    ]


def test_a_contact_before_another_carries_nothing_of_it() -> None:
    room = Room([Stay(A, NURSERY, 50, None), Stay(B, NURSERY, 0, None), Stay(C, RACK, 0, None)],
                moved=[Moved(40, B, C, "m1")])  # fmt: skip
    assert {one.source for one in exposures(room, C)} == {B}


@pytest.mark.parametrize(("disinfected", "sources"), [(False, {A}), (True, set())])
def test_a_net_carries_what_was_in_the_water_unless_it_was_disinfected(
    disinfected: bool, sources: set[int]
) -> None:
    room = Room(
        [Stay(A, NURSERY, 0, None), Stay(B, RACK, 0, None)],
        carried=[Carried(30, ("tank", NURSERY), ("tank", RACK), "net-7", disinfected)],
    )
    found = exposures(room, B)
    assert {one.source for one in found} == sources
    assert all(brief(found) == [(A, B, TRANSFER, 30, None, 1, "net-7")] for _ in sources)
    assert exposures(room, A) == []


def test_media_of_a_water_without_fish_count_as_long_as_is_said_there_and_where_they_wait() -> None:
    room = Room(
        [Stay(A, NURSERY, 0, 20), Stay(B, RACK, 45, None)],
        carried=[Carried(30, ("tank", NURSERY), ("tank", RACK), "media-1")],
    )
    assert exposures(room, B, rules=Rules(carry_ms=9)) == []
    assert exposures(room, B, rules=Rules(carry_ms=14)) == []
    assert brief(exposures(room, B, rules=Rules(carry_ms=15))) == [(A, B, TRANSFER, 45, None, 1, "media-1")]


def test_what_was_carried_by_way_of_a_water_without_fish_is_two_steps() -> None:
    room = Room(
        [Stay(A, NURSERY, 0, None), Stay(B, RACK, 0, None)],
        carried=[
            Carried(30, ("tank", NURSERY), ("tank", POND), "plants-1"),
            Carried(35, ("tank", POND), ("system", RILL), "plants-2"),
        ],
        plumbed=[Plumbed(RACK, RILL, 0, None)],
    )
    (one,) = exposures(room, B, rules=Rules(carry_ms=5))
    assert brief([one]) == [(A, B, TRANSFER, 35, None, 2, "plants-2")]
    assert [(link.from_group, link.to_group, link.record) for link in one.walk] == [
        (A, None, "plants-1"),
        (None, B, "plants-2"),
    ]
    assert exposures(room, B, rules=Rules(carry_ms=4)) == []


def test_a_water_counts_as_shared_for_the_residual_time_after_the_last_fish_left() -> None:
    room = Room([Stay(A, NURSERY, 0, 20), Stay(B, NURSERY, 25, 90)])
    assert exposures(room, B, rules=Rules(residual_ms=5)) == []
    assert brief(exposures(room, B, rules=Rules(residual_ms=6))) == [(A, B, SAME_TANK, 25, 26, 1, None)]
    assert exposures(room, A, rules=Rules(residual_ms=99)) == []


def test_a_group_that_died_out_and_was_begun_anew_carries_nothing_of_its_first_fish() -> None:
    room = Room(
        [Stay(A, NURSERY, 0, 10), Stay(B, NURSERY, 5, 20), Stay(B, RACK, 40, None), Stay(C, RACK, 50, None)]
    )
    assert {one.source for one in exposures(room, C)} == {B}
    assert {one.source for one in exposures(room, B)} == {A, C}


def test_a_walk_through_a_group_that_was_begun_anew_goes_through_its_new_fish() -> None:
    room = Room(
        [
            Stay(A, NURSERY, 0, None),
            Stay(B, NURSERY, 0, 10),
            Stay(B, NURSERY, 20, None),
            Stay(C, RACK, 30, None),
        ],
        moved=[Moved(30, B, C, "m1")],
    )
    walk = next(one for one in exposures(room, C) if one.source == A).walk
    assert [link.at_ms for link in walk] == [20, 30]


def test_a_tank_that_is_joined_to_other_water_brings_what_it_held() -> None:
    room = Room(
        [Stay(A, NURSERY, 0, None), Stay(B, POND, 0, None)],
        [
            Plumbed(NURSERY, RILL, 0, None),
            Plumbed(RACK, RILL, 0, 30),
            Plumbed(RACK, BROOK, 30, None),
            Plumbed(POND, BROOK, 0, None),
        ],
    )
    assert brief(exposures(room, B)) == [(A, B, REPLUMBED, 30, None, 1, RACK)]
    assert exposures(room, A) == []


def test_an_indirect_walk_is_told_beside_a_direct_way_only_where_it_came_first() -> None:
    stays = [
        Stay(A, NURSERY, 0, 10),
        Stay(B, NURSERY, 0, 20),
        Stay(B, RACK, 20, None),
        Stay(C, RACK, 0, None),
    ]
    late = Room([*stays, Stay(A, RACK, 60, None)])
    assert [row[2:6] for row in brief(exposures(late, C)) if row[0] == A] == [
        (SAME_TANK, 20, None, 2),
        (SAME_TANK, 60, None, 1),
    ]
    early = Room([*stays, Stay(A, RACK, 15, None)])
    assert [row[2:6] for row in brief(exposures(early, C)) if row[0] == A] == [(SAME_TANK, 15, None, 1)]


def test_spans_are_merged_and_taken_from_each_other() -> None:
    assert merged([(5, 8), (0, 3), (3, 4), (7, 9)]) == [(0, 4), (5, 9)]
    assert without([(0, 10), (12, 20)], [(2, 4), (8, 13), (19, 30)]) == [(0, 2), (4, 8), (13, 19)]
    assert without([(0, 10)], []) == [(0, 10)]


class Naive:
    """A room looked at instant by instant: who is where, and what has come to whom."""

    def __init__(self, room: Room, rules: Rules) -> None:
        self.room, self.rules = room, rules
        self.reach: dict[int, set[int]] = {group: {group} for group in GROUPS}
        self.first: dict[tuple[int, int], int] = {}
        self.left: list[tuple] = []  # (water, instant, group, what it had)
        self.waiting: list[tuple] = []  # (water, instant, what was carried there)
        before: set[tuple] = set()
        for now in range(LAST + 1):
            present = {(group, water) for group in GROUPS for water in self.waters_of(group, now)}
            for group, water in before - present:
                self.left.append((water, now, group, set(self.reach[group])))
            self.settle(now, present)
            for group in GROUPS:
                if not any(one == group for one, _ in present):
                    self.reach[group] = {group}
            before = present

    def water(self, tank: int, now: int) -> tuple[str, int]:
        for span in self.room.plumbed:
            if span.tank == tank and span.from_ms <= now and (span.to_ms is None or now < span.to_ms):
                return ("system", span.system)
        return ("tank", tank)

    def waters_of(self, group: int, now: int) -> set[tuple[str, int]]:
        return {
            self.water(stay.tank, now)
            for stay in self.room.stays
            if stay.group == group and stay.from_ms <= now and (stay.to_ms is None or now < stay.to_ms)
        }

    def settle(self, now: int, present: set[tuple]) -> None:
        """Repeat every contact of an instant until nothing more comes of it."""
        carried = [
            (self.at(one.from_water, now), self.at(one.to_water, now))
            for one in self.room.carried
            if one.at_ms == now and not one.disinfected
        ]
        for tank in TANKS if now else ():
            if self.water(tank, now - 1) != self.water(tank, now):
                carried.append((self.water(tank, now - 1), self.water(tank, now)))
        before = None
        while before != (state := repr((self.reach, self.waiting))):
            before = state
            for group, water in present:
                for other, same in present:
                    if same == water:
                        self.give(other, self.reach[group], now)
                for old, gone_at, _, had in self.left:
                    if old == water and now < gone_at + self.rules.residual_ms:
                        self.give(group, had, now)
                for where, came_at, what in self.waiting:
                    if where == water and now <= came_at + self.rules.carry_ms:
                        self.give(group, what, now)
            for move in self.room.moved:
                if move.at_ms == now:
                    self.give(move.to_group, self.reach[move.from_group], now)
            for source, target in carried:
                if source != target:
                    self.carry(source, target, now, present)

    def at(self, place: tuple[str, int], now: int) -> tuple[str, int]:
        return self.water(place[1], now) if place[0] == "tank" else place

    def carry(self, source: tuple, target: tuple, now: int, present: set[tuple]) -> None:
        what: set[int] = set()
        for group, water in present:
            if water == source:
                what |= self.reach[group]
        for water, gone_at, _, had in self.left:
            if water == source and (
                now <= gone_at + self.rules.carry_ms or now < gone_at + self.rules.residual_ms
            ):
                what |= had
        for water, came_at, brought in self.waiting:
            if water == source and now <= came_at + self.rules.carry_ms:
                what |= brought
        if what and (target, now, what) not in self.waiting:
            self.waiting.append((target, now, what))

    def give(self, group: int, what: set[int], now: int) -> None:
        for one in what - self.reach[group]:
            self.first.setdefault((one, group), now)
        self.reach[group] |= what


@settings(max_examples=200, deadline=None)
@given(rooms(), RULES)
def test_exposure_is_first_told_when_a_naive_model_finds_it_backward_and_forward(
    room: Room, rules: Rules
) -> None:
    # Fish that leave in the very instant in which their tank is plumbed anew are told with either water, the cautious way.
    replumbed = {(one.tank, at) for one in room.plumbed for at in (one.from_ms, one.to_ms)}
    assume(not any((stay.tank, stay.to_ms) in replumbed for stay in room.stays))
    wanted = Naive(room, rules).first
    for direction in (BACKWARD, FORWARD):
        found: dict[tuple[int, int], int] = {}
        for group in GROUPS:
            for one in exposures(room, group, direction, rules):
                key = (one.source, one.target)
                found[key] = min(one.from_ms, found.get(key, one.from_ms))
        assert found == wanted


@settings(max_examples=150, deadline=None)
@given(rooms(), RULES)
def test_every_walk_goes_from_source_to_target_by_links_that_are_there_in_the_order_of_time(
    room: Room, rules: Rules
) -> None:
    """Each link is itself a direct way that is told between its two groups at that instant or before."""
    for group in GROUPS:
        for one in exposures(room, group, BACKWARD, rules):
            assert (one.walk[0].from_group, one.walk[-1].to_group) == (one.source, group)
            assert one.steps == len(one.walk) and one.walk[-1].at_ms == one.from_ms
            for link, after in pairwise(one.walk):
                assert link.to_group == after.from_group and link.at_ms <= after.at_ms
            for link in one.walk:
                if link.from_group is None or link.to_group is None or link.from_group == link.to_group:
                    # A group that died out and begins anew meets the water of its own former fish while that still counts.
                    anew = (
                        link.from_group is not None
                        and link.from_group == link.to_group
                        and rules.residual_ms > 0
                    )
                    assert link.way in (TRANSFER, REPLUMBED) or anew
                    continue
                direct = [
                    (way.way, way.from_ms)
                    for way in exposures(room, link.to_group, BACKWARD, rules)
                    if way.source == link.from_group and way.steps == 1
                ]
                ways = {SAME_TANK, SHARED_WATER} if link.record is None else {link.way}
                if link.way == REPLUMBED:  # not told apart where they shared the water before
                    ways |= {SAME_TANK, SHARED_WATER}
                assert any(way in ways and since <= link.at_ms for way, since in direct), (link, direct)
