"""What exposure follows from: fish in tanks, tanks in waters, fish that are moved, things that are carried over."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeAlias

SAME_TANK, SHARED_WATER, FISH_MOVED, TRANSFER = "same tank", "shared water", "fish moved", "transfer"
REPLUMBED = "tank joined to other water"
LASTING = (SAME_TANK, SHARED_WATER)
WAYS = (SAME_TANK, SHARED_WATER, FISH_MOVED, TRANSFER, REPLUMBED)

Id: TypeAlias = Hashable
"""How callers name groups and records."""

Water = tuple[str, int]
"""A system, or a tank by itself: ("system", 3), ("tank", 5)."""


@dataclass(frozen=True, slots=True)
class Stay:
    """A group with fish in a tank, from an instant until before another; open where there is none."""

    group: Id
    tank: int
    from_ms: int
    to_ms: int | None


@dataclass(frozen=True, slots=True)
class Plumbed:
    """A tank as part of a system. Outside of all such spans its water is its own."""

    tank: int
    system: int
    from_ms: int
    to_ms: int | None


@dataclass(frozen=True, slots=True)
class Moved:
    """Fish of one group that joined another."""

    at_ms: int
    from_group: Id
    to_group: Id
    record: Id


@dataclass(frozen=True, slots=True)
class Carried:
    """Media, plants, water, substrate, nets, hands: from tank to tank, or from and to all of a system.

    `from_water` and `to_water` are as `Water`; a tank stands for the water it was part of at that instant.
    """

    at_ms: int
    from_water: Water
    to_water: Water
    record: Id
    disinfected: bool = False


@dataclass(frozen=True)
class Room:
    """All that exposure follows from."""

    stays: Sequence[Stay]
    plumbed: Sequence[Plumbed] = ()
    moved: Sequence[Moved] = ()
    carried: Sequence[Carried] = ()

    @cached_property
    def waters(self) -> Waters:
        """Its waters, worked out once."""
        return Waters(self)

    def within(self, from_ms: int, to_ms: int) -> Room:
        """The same with contacts of a span alone; what goes on beyond its end is left open."""
        return Room(
            [
                replace(
                    stay,
                    from_ms=max(stay.from_ms, from_ms),
                    to_ms=None if stay.to_ms is None or stay.to_ms >= to_ms else stay.to_ms,
                )
                for stay in self.stays
                if stay.from_ms < to_ms and (stay.to_ms is None or stay.to_ms > from_ms)
            ],
            [
                replace(span, to_ms=None if span.to_ms is None or span.to_ms >= to_ms else span.to_ms)
                for span in self.plumbed
                if span.from_ms < to_ms
            ],
            [move for move in self.moved if from_ms <= move.at_ms < to_ms],
            [one for one in self.carried if from_ms <= one.at_ms < to_ms],
        )


@dataclass(frozen=True)
class Rules:
    """`residual_ms`: how long a water counts as shared after the last fish left it. `carry_ms`: how long after its
    fish left a water what is carried from it still counts, and how long it may wait where there are no fish."""

    residual_ms: int = 0
    carry_ms: int = 0


EVER = 2**62
"""An instant that nobody will see: the end of what is open."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A group in one water without a break."""

    group: Id
    water: Water
    from_ms: int
    to_ms: int


class Waters:
    """Which water each tank was part of at any time, and which groups were in it when."""

    def __init__(self, room: Room) -> None:
        self._room = room
        self._spans: dict[int, list[tuple[int, int, Water]]] = defaultdict(list)
        for span in sorted(room.plumbed, key=lambda span: span.from_ms):
            to_ms = EVER if span.to_ms is None else span.to_ms
            self._spans[span.tank].append((span.from_ms, to_ms, ("system", span.system)))
        self.pieces = list(_pieces(room.stays, self))
        self.of: dict[Water, list[Piece]] = defaultdict(list)
        for piece in self.pieces:
            self.of[piece.water].append(piece)
        self._pieces: dict[Id, list[Piece]] = defaultdict(list)
        for piece in self.pieces:
            self._pieces[piece.group].append(piece)
        self.tank_stays: dict[int, list[Stay]] = defaultdict(list)
        for stay in room.stays:
            self.tank_stays[stay.tank].append(stay)
        self._stays: dict[Id, list[Stay]] = defaultdict(list)
        for stay in room.stays:
            self._stays[stay.group].append(stay)

    def stays_of(self, group: Id) -> Sequence[Stay]:
        return self._stays.get(group, ())

    def pieces_of(self, group: Id) -> Sequence[Piece]:
        return self._pieces.get(group, ())

    def tanks_of(self, group: Id, ms: int) -> set[int]:
        """The tanks that a group was in at an instant."""
        return {
            stay.tank
            for stay in self.stays_of(group)
            if stay.from_ms <= ms and (stay.to_ms is None or ms < stay.to_ms)
        }

    def during(self, tank: int, from_ms: int, to_ms: int) -> Iterator[tuple[int, int, Water]]:
        """The waters of a tank in a span, in order."""
        own, at = ("tank", tank), from_ms
        for start, end, water in self._spans.get(tank, ()):
            if end <= at or start >= to_ms:
                continue
            if start > at:
                yield at, start, own
            yield max(start, at), min(end, to_ms), water
            at = min(end, to_ms)
        if at < to_ms:
            yield at, to_ms, own

    def at(self, place: Water, ms: int) -> Water:
        """The water that a place stood for at an instant."""
        if place[0] != "tank":
            return place
        return next(water for _, _, water in self.during(place[1], ms, ms + 1))

    @cached_property
    def carriages(self) -> Sequence[tuple[str, Carried]]:
        """All that was carried from one water to another and not disinfected, by the waters of its instant."""
        return list(self._carriages())

    def _carriages(self) -> Iterator[tuple[str, Carried]]:
        for one in self._room.carried:
            from_water, to_water = self.at(one.from_water, one.at_ms), self.at(one.to_water, one.at_ms)
            if from_water != to_water and not one.disinfected:
                yield TRANSFER, replace(one, from_water=from_water, to_water=to_water)
        for one in self._joined():
            yield REPLUMBED, one

    def _joined(self) -> Iterator[Carried]:
        """Tanks that changed their water bring what they held, as if it had been poured over."""
        for tank in self._spans:
            before: Water | None = None
            for start, _, water in self.during(tank, -EVER, EVER):
                if before is not None and water != before:
                    yield Carried(start, before, water, tank)
                before = water


def _pieces(stays: Iterable[Stay], waters: Waters) -> Iterator[Piece]:
    spans: dict[tuple[Id, Water], list[tuple[int, int]]] = defaultdict(list)
    for stay in stays:
        to_ms = EVER if stay.to_ms is None else stay.to_ms
        if to_ms > stay.from_ms:
            for start, end, water in waters.during(stay.tank, stay.from_ms, to_ms):
                spans[stay.group, water].append((start, end))
    for (group, water), some in spans.items():
        for start, end in merged(some):
            yield Piece(group, water, start, end)


def merged(spans: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Spans with those that touch or overlap made one."""
    found: list[tuple[int, int]] = []
    for start, end in sorted(spans):
        if found and start <= found[-1][1]:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        else:
            found.append((start, end))
    return found


def without(spans: Iterable[tuple[int, int]], taken: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """What of some spans lies outside of others; both as `merged` gives them."""
    found = []
    for start, end in spans:
        for other, until in taken:
            if until <= start or other >= end:
                continue
            if other > start:
                found.append((start, other))
            start = until
        if start < end:
            found.append((start, end))
    return found
