"""The sweep through a room's contacts in the order of time, and the walks by which exposure came to a group.

Everything that happens at one instant may follow each other in any order, but who leaves a water then has left it,
and who comes is in it.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import takewhile
from typing import NamedTuple, TypeVar

from weirbook.engine.relations.contacts import (
    EVER,
    FISH_MOVED,
    SAME_TANK,
    SHARED_WATER,
    Carried,
    Id,
    Moved,
    Piece,
    Room,
    Rules,
    Water,
    Waters,
)


@dataclass(frozen=True, slots=True)
class Link:
    """One step of a walk; no group stands where something waited in a water without fish."""

    way: str
    at_ms: int
    from_group: Id | None
    to_group: Id | None
    record: Id | None = None
    water: Water | None = None


class _Sources(NamedTuple):
    """Where bits may have come from: groups there (as bits), groups that had left, things carried there before.

    Of a group only growths before a number count: before this, or before it left.
    """

    until: int
    here: int = 0
    left: tuple[tuple[int, int], ...] = ()
    brought: tuple[Arrival, ...] = ()


class _Way(NamedTuple):
    """How something came: when, by which way and record, in which water, and from whom."""

    at_ms: int
    name: str
    record: Id | None
    water: Water | None
    sources: _Sources


class Arrival(NamedTuple):
    """The growth of what a group, or a water that something was carried to, was exposed to. Growths are numbered."""

    number: int
    bits: int
    way: _Way

    @property
    def at_ms(self) -> int:
        return self.way.at_ms


class _Gone(NamedTuple):
    """A group that left a water, and what it had been exposed to by then."""

    at_ms: int
    who: int
    number: int
    bits: int


_Entry = TypeVar("_Entry", _Gone, Arrival)


class _Instant:
    """All that happens at one instant."""

    __slots__ = ("carried", "ends", "moves", "starts")

    def __init__(self) -> None:
        self.ends: list[Piece] = []
        self.starts: list[Piece] = []
        self.moves: list[Moved] = []
        self.carried: list[tuple[str, Carried]] = []


class Sweep:
    """What each group of a room was exposed to, since when and by which way."""

    def __init__(self, room: Room, waters: Waters, rules: Rules) -> None:
        self._waters, self._rules = waters, rules
        names = {stay.group for stay in room.stays}
        names |= {group for move in room.moved for group in (move.from_group, move.to_group)}
        self._names = sorted(names, key=str)
        self._index = {group: index for index, group in enumerate(self._names)}
        self._reach = [1 << index for index in range(len(self._names))]
        self._in: list[set[Water]] = [set() for _ in self._names]
        self._here: dict[Water, int] = defaultdict(int)
        self._gone: dict[Water, list[_Gone]] = defaultdict(list)
        self._brought: dict[Water, list[Arrival]] = defaultdict(list)
        self._log: list[list[Arrival]] = [[] for _ in self._names]
        self._number = 0
        self._grown: deque[tuple[int, int, Water | None]] = deque()
        self._touched: set[int] = set()
        for at_ms, instant in sorted(self._instants(room).items()):
            self._pass(at_ms, instant)

    def first_arrivals_at(self, group: Id) -> Iterator[tuple[Id, Arrival]]:
        """Every group that this one was exposed to, with how that first came."""
        index = self._index.get(group)
        seen = 0 if index is None else 1 << index
        for arrival in self._log[index] if index is not None else ():
            for other in _indices(arrival.bits & ~seen):
                yield self._names[other], arrival
            seen |= arrival.bits

    def first_arrivals_from(self, group: Id) -> Iterator[tuple[Id, Arrival]]:
        """Every group that this one may have exposed, with how that first came."""
        index = self._index.get(group)
        if index is None:
            return
        for other, log in zip(self._names, self._log, strict=True):
            if other != group and (first := _first(log, index)) is not None:
                yield other, first

    def walk(self, source: Id, target: Id, arrival: Arrival) -> tuple[Link, ...]:
        """The shortest walk from one group to another that ends in this arrival."""
        wanted = self._index[source]
        after: dict[int, Arrival | None] = {arrival.number: None}
        place: dict[int, int | None] = {arrival.number: self._index[target]}
        queue = deque([arrival])
        while queue:
            one = queue.popleft()
            sources = one.way.sources
            if sources.here >> wanted & 1 or any(index == wanted for index, _ in sources.left):
                return tuple(self._links(one, wanted, after, place))
            for before, index in self._before(sources, wanted):
                if before.number not in after:
                    after[before.number], place[before.number] = one, index
                    queue.append(before)
        raise AssertionError("every growth came from somewhere")

    def _before(self, sources: _Sources, wanted: int) -> Iterator[tuple[Arrival, int | None]]:
        """The growths by which a bit had come to where it was taken from, and in which group."""
        here = ((index, sources.until) for index in _indices(sources.here))
        for index, until in (*here, *sources.left):
            if (found := _last(self._log[index], wanted, until)) is not None:
                yield found, index
        for brought in sources.brought:
            if brought.bits >> wanted & 1:
                yield brought, None

    def _links(
        self, first: Arrival, source: int, after: dict[int, Arrival | None], place: dict[int, int | None]
    ) -> Iterator[Link]:
        one: Arrival | None = first
        giver: Id | None = self._names[source]
        while one is not None:
            index = place[one.number]
            taker = None if index is None else self._names[index]
            way = one.way.name
            if way == SHARED_WATER and giver is not None and taker is not None:
                both = self._waters.tanks_of(giver, one.at_ms) & self._waters.tanks_of(taker, one.at_ms)
                way = SAME_TANK if both else SHARED_WATER
            yield Link(way, one.at_ms, giver, taker, one.way.record, one.way.water)
            one, giver = after[one.number], taker

    def _instants(self, room: Room) -> dict[int, _Instant]:
        instants: dict[int, _Instant] = defaultdict(_Instant)
        for piece in self._waters.pieces:
            instants[piece.from_ms].starts.append(piece)
            if piece.to_ms < EVER:
                instants[piece.to_ms].ends.append(piece)
        for move in room.moved:
            instants[move.at_ms].moves.append(move)
        for way, one in self._waters.carriages:
            instants[one.at_ms].carried.append((way, one))
        return instants

    def _pass(self, at_ms: int, instant: _Instant) -> None:
        for piece in instant.ends:
            self._leave(at_ms, self._index[piece.group], piece.water)
        for piece in instant.starts:
            self._enter(at_ms, self._index[piece.group], piece.water)
        happened = len(instant.moves) + len(instant.carried)
        before = -1
        while before != self._number and happened:
            before = self._number
            for move in instant.moves:
                self._move(at_ms, move)
            for way, one in instant.carried:
                self._carry(at_ms, way, one)
            if happened == 1:
                break  # nothing else can make more of it
        for index in self._touched:
            if not self._in[index]:
                self._reach[index] = 1 << index
        self._touched.clear()

    def _move(self, at_ms: int, move: Moved) -> None:
        source, target = self._index[move.from_group], self._index[move.to_group]
        if self._reach[source] & ~self._reach[target]:
            came = _Way(at_ms, FISH_MOVED, move.record, None, self._sources(1 << source))
            self._give(target, self._reach[source], came)
            self._settle(at_ms)

    def _leave(self, at_ms: int, index: int, water: Water) -> None:
        self._here[water] &= ~(1 << index)
        self._in[index].discard(water)
        self._gone[water].append(_Gone(at_ms, index, self._number + 1, self._reach[index]))
        self._touched.add(index)

    def _enter(self, at_ms: int, index: int, water: Water) -> None:
        here, own = self._here[water], self._reach[index]
        lately = [one for one in self._lately(water, at_ms) if at_ms < one.at_ms + self._rules.residual_ms]
        sources = self._sources(here, lately)
        self._give(
            index,
            self._bits_of(here) | _union(lately),
            _Way(at_ms, SHARED_WATER, None, water, sources),
        )
        for one in self._waiting(water, at_ms):
            self._give(index, one.bits, one.way._replace(at_ms=at_ms))
        self._here[water] = here | 1 << index
        self._in[index].add(water)
        came = _Way(at_ms, SHARED_WATER, None, water, self._sources(1 << index))
        for other in _indices(here):
            self._give(other, own, came)
        self._settle(at_ms)

    def _carry(self, at_ms: int, way: str, one: Carried) -> None:
        here, lately = self._here[one.from_water], self._lately(one.from_water, at_ms)
        brought = self._waiting(one.from_water, at_ms)
        bits = self._bits_of(here) | _union(lately) | _union(brought)
        already = [
            before
            for before in self._brought[one.to_water]
            if (before.way.at_ms, before.way.name, before.way.record) == (at_ms, way, one.record)
        ]
        if not (new := bits & ~_union(already)):
            return
        came = _Way(at_ms, way, one.record, one.to_water, self._sources(here, lately, brought))
        self._number += 1
        self._brought[one.to_water].append(Arrival(self._number, new, came))
        for index in _indices(self._here[one.to_water]):
            self._give(index, bits, came)
        self._settle(at_ms)

    def _sources(self, here: int, left: Sequence[_Gone] = (), brought: Sequence[Arrival] = ()) -> _Sources:
        return _Sources(self._number + 1, here, tuple((one.who, one.number) for one in left), tuple(brought))

    def _lately(self, water: Water, at_ms: int) -> list[_Gone]:
        """The groups that left a water so lately that it, or what is carried from it, may hold what they had."""
        rules = self._rules
        return _newest(
            self._gone[water],
            lambda one: at_ms <= one.at_ms + rules.carry_ms or at_ms < one.at_ms + rules.residual_ms,
        )

    def _waiting(self, water: Water, at_ms: int) -> list[Arrival]:
        """What was carried to a water and still counts there, with fish or without."""
        return _newest(self._brought[water], lambda one: at_ms <= one.way.at_ms + self._rules.carry_ms)

    def _bits_of(self, here: int) -> int:
        """What all groups in one water were exposed to: it is the same for each of them."""
        return self._reach[here.bit_length() - 1] if here else 0

    def _give(self, index: int, bits: int, way: _Way) -> None:
        if not (new := bits & ~self._reach[index]):
            return
        self._number += 1
        self._reach[index] |= new
        self._log[index].append(Arrival(self._number, new, way))
        self._grown.append((index, new, way.water))
        self._touched.add(index)

    def _settle(self, at_ms: int) -> None:
        """Let what grew go on to all that share another water with it than that by which it came."""
        while self._grown:
            index, new, by = self._grown.popleft()
            for water in self._in[index]:
                others = self._here[water] & ~(1 << index)
                # All that share a water were exposed to the same: where one lacks nothing new, none does.
                if water == by or not others or not new & ~self._bits_of(others):
                    continue
                came = _Way(at_ms, SHARED_WATER, None, water, self._sources(1 << index))
                for other in _indices(others):
                    self._give(other, new, came)


def _indices(bits: int) -> Iterator[int]:
    while bits:
        lowest = bits & -bits
        yield lowest.bit_length() - 1
        bits ^= lowest


def _union(some: Sequence[_Gone] | Sequence[Arrival]) -> int:
    bits = 0
    for one in some:
        bits |= one.bits
    return bits


def _newest(some: Sequence[_Entry], counts: Callable[[_Entry], bool]) -> list[_Entry]:
    """The last ones of a list in the order of time that still count."""
    return list(takewhile(counts, reversed(some)))


def _first(log: Sequence[Arrival], index: int) -> Arrival | None:
    return next((one for one in log if one.bits >> index & 1), None)


def _last(log: Sequence[Arrival], index: int, until: int) -> Arrival | None:
    """The last growth by a bit before that number: it stands since, or since the group's last new beginning."""
    bit = 1 << index
    for one in reversed(log):
        if one.number < until and one.bits & bit:
            return one
    return None
