"""Who shared water with whom, and who may have carried what to whom: walks through contacts in the order of time.

A group exposes those that are in its water, those that its fish are moved to, and those to whose water something is
carried from it. Whoever was exposed may expose others from that instant on.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterator
from dataclasses import dataclass

from weirbook.engine.relations.contacts import (
    EVER,
    FISH_MOVED,
    REPLUMBED,
    SAME_TANK,
    SHARED_WATER,
    Id,
    Piece,
    Room,
    Rules,
    Stay,
    Water,
    Waters,
    merged,
    without,
)
from weirbook.engine.relations.walks import Link, Sweep

BACKWARD, FORWARD = "backward", "forward"
DIRECTIONS = (BACKWARD, FORWARD)


@dataclass(frozen=True)
class Exposure:
    """That one group may have exposed another, by a way, from an instant on; `to_ms` is None where it has no end.

    `steps` is 1 where nobody stood between them. `times` counts how often; `walk` is how it first came.
    """

    source: Id
    target: Id
    way: str
    from_ms: int
    to_ms: int | None
    steps: int
    times: int
    walk: tuple[Link, ...]

    @property
    def record(self) -> Id | None:
        """The record of the last step, where that has one."""
        return self.walk[-1].record


def exposures(
    room: Room,
    group: Id,
    direction: str = BACKWARD,
    rules: Rules | None = None,
    only: Container[Id] | None = None,
) -> list[Exposure]:
    """Whom a group was exposed to (backward), or whom it may have exposed (forward), the earliest first.

    Every direct way is told; an indirect walk only where it came before all of them. `only` names the others asked about.

    Equation: a walk is contacts a-b at t1, b-c at t2 with t2 at or after t1; contacts last from the later coming to
    the earlier leaving, and the residual time after it; what comes to a group stays in its fish until none are left.
    Contacts at one instant may follow each other in any order.
    Shapes and units: epoch milliseconds, spans half-open.
    Valid for: what the record tells. Whoever was exposed is taken to expose: it is the widest circle, no likelihood.
    Uncertainty: hands, nets and splashes that nobody wrote down.
    Raises: nothing.
    Source: reachability in temporal graphs (Kempe, Kleinberg and Kumar, J. Comput. Syst. Sci. 64, 820, 2002). Held to a
    naive model that looks at every instant.
    Not covered: how long a disease needs, and what it does not infect.
    """
    rules = rules or Rules()
    waters = room.waters
    found = list(_Direct(room, waters, rules, group, direction == BACKWARD).rows())
    earliest: dict[Id, int] = defaultdict(lambda: EVER)
    for one in found:
        other = one.source if direction == BACKWARD else one.target
        earliest[other] = min(one.from_ms, earliest[other])
    sweep = Sweep(room, waters, rules)
    arrivals = sweep.first_arrivals_at(group) if direction == BACKWARD else sweep.first_arrivals_from(group)
    for other, arrival in arrivals:
        if (only is None or other in only) and arrival.at_ms < earliest[other]:
            source, target = (other, group) if direction == BACKWARD else (group, other)
            walk = sweep.walk(source, target, arrival)
            found.append(Exposure(source, target, walk[-1].way, arrival.at_ms, None, len(walk), 1, walk))
    return sorted(found, key=lambda one: (one.from_ms, one.steps, str(one.source), str(one.target), one.way))


def _end(stay: Piece | Stay) -> int:
    return EVER if stay.to_ms is None else stay.to_ms


_Spans = dict[Id, list[tuple[int, int]]]
"""By the other group."""


class _Direct:
    """The ways between one group and others with nobody between them."""

    def __init__(self, room: Room, waters: Waters, rules: Rules, group: Id, backward: bool) -> None:
        self._room, self._waters, self._rules = room, waters, rules
        self._group, self._backward = group, backward

    def rows(self) -> Iterator[Exposure]:
        yield from self._sharing()
        yield from self._moved()
        yield from self._carried()

    def _ends(self, other: Id) -> tuple[Id, Id]:
        return (other, self._group) if self._backward else (self._group, other)

    def _sharing(self) -> Iterator[Exposure]:
        tanks: _Spans = defaultdict(list)
        for mine in self._waters.stays_of(self._group):
            for stay in self._waters.tank_stays[mine.tank]:
                self._overlap(tanks, mine, stay)
        water: _Spans = defaultdict(list)
        waters: dict[Id, Water] = {}
        for piece in self._waters.pieces_of(self._group):
            for other in self._waters.of[piece.water]:
                if self._overlap(water, piece, other):
                    waters.setdefault(other.group, piece.water)
        for group in sorted(water, key=str):
            same = merged(tanks.get(group, ()))
            for way, spans in ((SAME_TANK, same), (SHARED_WATER, without(merged(water[group]), same))):
                if spans:
                    source, target = self._ends(group)
                    link = Link(way, spans[0][0], source, target, None, waters[group])
                    until = None if spans[-1][1] >= EVER else spans[-1][1]
                    yield Exposure(source, target, way, spans[0][0], until, 1, len(spans), (link,))

    def _overlap(self, into: _Spans, mine: Piece | Stay, other: Piece | Stay) -> bool:
        """Note when the giver's stay, and the residual time after it, meets the taker's."""
        if other.group == self._group:
            return False
        giver, taker = (other, mine) if self._backward else (mine, other)
        until = min(_end(giver) + self._rules.residual_ms, EVER)
        start, end = max(giver.from_ms, taker.from_ms), min(until, _end(taker))
        if start < end:
            into[other.group].append((start, end))
        return start < end

    def _moved(self) -> Iterator[Exposure]:
        found: dict[Id, list[Link]] = defaultdict(list)
        for move in self._room.moved:
            mine, other = move.to_group, move.from_group
            if not self._backward:
                mine, other = other, mine
            if mine == self._group and other != mine:
                link = Link(FISH_MOVED, move.at_ms, move.from_group, move.to_group, move.record)
                found[other].append(link)
        yield from self._first_of(found)

    def _carried(self) -> Iterator[Exposure]:
        found: dict[Id, list[Link]] = defaultdict(list)
        own = self._waters.pieces_of(self._group)
        for way, one in self._waters.carriages:
            near = one.to_water if self._backward else one.from_water
            if not any(piece.water == near for piece in own):
                continue
            givers = [piece for piece in self._waters.of[one.from_water] if self._gave(piece, one.at_ms)]
            takers = [piece for piece in self._waters.of[one.to_water] if self._takes(piece, one.at_ms)]
            for giver in givers:
                for taker in takers:
                    mine, other = (taker, giver) if self._backward else (giver, taker)
                    if mine.group != self._group or other.group == self._group:
                        continue
                    if way == REPLUMBED and self._came_along(giver, taker, one.at_ms):
                        continue
                    at_ms = max(one.at_ms, taker.from_ms)
                    link = Link(way, at_ms, giver.group, taker.group, one.record, one.to_water)
                    found[other.group].append(link)
        yield from self._first_of(found)

    def _gave(self, piece: Piece, at_ms: int) -> bool:
        """Whether what is carried from a piece's water at an instant may hold what its fish had."""
        rules = self._rules
        lately = at_ms <= piece.to_ms + rules.carry_ms or at_ms < piece.to_ms + rules.residual_ms
        return piece.from_ms <= at_ms and lately

    def _takes(self, piece: Piece, at_ms: int) -> bool:
        """Whether a piece's fish were there, or came soon enough, when something was carried to their water."""
        return piece.from_ms <= at_ms + self._rules.carry_ms and at_ms < piece.to_ms

    def _came_along(self, giver: Piece, taker: Piece, at_ms: int) -> bool:
        """Whether giver or taker came with a tank that was joined to other water: then they shared water anyhow."""
        before = any(
            piece.group == taker.group
            and piece.to_ms == at_ms
            and piece.from_ms < giver.to_ms
            and giver.from_ms < at_ms
            for piece in self._waters.of[giver.water]
        )
        return before or any(
            piece.group == giver.group and piece.from_ms == at_ms for piece in self._waters.of[taker.water]
        )

    def _first_of(self, found: dict[Id, list[Link]]) -> Iterator[Exposure]:
        for other, links in sorted(found.items(), key=lambda one: str(one[0])):
            for way in sorted({link.way for link in links}):
                some = sorted((link for link in links if link.way == way), key=lambda link: link.at_ms)
                source, target = self._ends(other)
                yield Exposure(
                    source,
                    target,
                    way,
                    some[0].at_ms,
                    None,
                    1,
                    len({link.record for link in some}),
                    (some[0],),
                )


def followed_into(room: Room, group: Id, within_ms: int) -> list[tuple[Id, Water, int, int]]:
    """Groups that left a water shortly before this one came into it: which, where, when they left and it came."""
    waters = room.waters
    found = []
    for mine in waters.pieces_of(group):
        for other in waters.of[mine.water]:
            if other.group != group and other.to_ms <= mine.from_ms <= other.to_ms + within_ms:
                found.append((other.group, mine.water, other.to_ms, mine.from_ms))
    return sorted(found, key=lambda one: (one[2], str(one[0])))
