"""Until when each group could still pass on to another what befell it: the walks through contacts, from their end."""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Iterator
from itertools import count

from weirbook.engine.relations.contacts import (
    Carried,
    Id,
    Moved,
    Piece,
    Room,
    Rules,
    Water,
    merged,
)

_Life = tuple[int, int]
"""From when a group had fish to when none were left."""


def last_departures(room: Room, group: Id, rules: Rules | None = None) -> dict[Id, int]:
    """For each group that this one was exposed to, the last instant at which something could still set out from it.

    Equation: the walks of `exposures`, followed from their end: a contact passes on until the sooner of its own end and
    the last instant at which what it brings can go on.
    Shapes and units: epoch milliseconds; the last of a span is the one before its end, of a move or carriage its own.
    Valid for: what the record tells, as `exposures`.
    Uncertainty: as there.
    Raises: nothing.
    Source: latest departures in temporal graphs; held to `exposures` of rooms that begin at each instant.
    Not covered: as there.
    """
    return _Back(room, rules or Rules()).from_target(group)


class _Back:
    """A search that takes the latest instant first, so that the first that is found of a life is its last."""

    def __init__(self, room: Room, rules: Rules) -> None:
        self._rules, self._waters = rules, room.waters
        self._moves: dict[Id, list[Moved]] = defaultdict(list)
        for move in room.moved:
            self._moves[move.to_group].append(move)
        self._into: dict[Water, list[tuple[int, Carried]]] = defaultdict(list)
        for index, (_, one) in enumerate(self._waters.carriages):
            self._into[one.to_water].append((index, one))
        self._lives: dict[Id, list[_Life]] = {}
        self._of: dict[Water, list[tuple[Piece, _Life]]] = {
            water: [(piece, self._life(piece.group, piece.from_ms)) for piece in pieces]
            for water, pieces in self._waters.of.items()
        }
        self._carried: set[int] = set()
        self._heap: list[tuple[int, int, Id, _Life]] = []
        self._done: set[tuple[Id, _Life]] = set()
        self._order = count()

    def from_target(self, target: Id) -> dict[Id, int]:
        for life in self._lives_of(target):
            self._push(life[1] - 1, target, life)
        for move in self._moves[target]:
            self._push(move.at_ms, target, self._life(target, move.at_ms))
        found: dict[Id, int] = {}
        while self._heap:
            until, _, group, life = heapq.heappop(self._heap)
            if (group, life) not in self._done:
                self._done.add((group, life))
                found.setdefault(group, -until)
                self._before(group, life, -until)
        found.pop(target, None)
        return found

    def _push(self, until: int, group: Id, life: _Life) -> None:
        if (group, life) not in self._done:
            heapq.heappush(self._heap, (-until, next(self._order), group, life))

    def _lives_of(self, group: Id) -> list[_Life]:
        if group not in self._lives:
            self._lives[group] = merged(
                (piece.from_ms, piece.to_ms) for piece in self._waters.pieces_of(group)
            )
        return self._lives[group]

    def _life(self, group: Id, at_ms: int) -> _Life:
        """The life of an instant; fish that came and went in it have that alone."""
        lives = self._lives_of(group)
        return next((life for life in lives if life[0] <= at_ms <= life[1]), (at_ms, at_ms))

    def _before(self, group: Id, life: _Life, until: int) -> None:
        """All that could come to a life of a group by an instant."""
        for piece in self._waters.pieces_of(group):
            if life[0] <= piece.from_ms <= until and piece.to_ms <= life[1]:
                self._sharing(piece, until)
                for index, one in self._into[piece.water]:
                    waited = piece.from_ms <= one.at_ms + self._rules.carry_ms
                    if waited and one.at_ms < piece.to_ms and one.at_ms <= until:
                        self._carriage(index, one)
        for move in self._moves[group]:
            if life[0] <= move.at_ms <= min(life[1], until):
                self._push(move.at_ms, move.from_group, self._life(move.from_group, move.at_ms))

    def _sharing(self, taker: Piece, until: int) -> None:
        for giver, life in self._of[taker.water]:
            if giver.group == taker.group or (giver.group, life) in self._done:
                continue
            start = max(giver.from_ms, taker.from_ms)
            end = min(giver.to_ms + self._rules.residual_ms, taker.to_ms)
            if start < end and start <= until:
                self._push(min(until, giver.to_ms - 1, end - 1), giver.group, life)

    def _carriage(self, index: int, last: Carried) -> None:
        """What was carried, and what had been carried to where it was taken from."""
        waiting = [(index, last)]
        while waiting:
            index, one = waiting.pop()
            if index in self._carried:
                continue
            self._carried.add(index)
            for giver, life in self._givers(one):
                self._push(min(one.at_ms, giver.to_ms - 1), giver.group, life)
            waiting += [
                (number, before)
                for number, before in self._into[one.from_water]
                if before.at_ms <= one.at_ms <= before.at_ms + self._rules.carry_ms
            ]

    def _givers(self, one: Carried) -> Iterator[tuple[Piece, _Life]]:
        rules = self._rules
        for piece, life in self._of.get(one.from_water, ()):
            lately = one.at_ms <= piece.to_ms + rules.carry_ms or one.at_ms < piece.to_ms + rules.residual_ms
            if piece.from_ms <= one.at_ms and lately:
                yield piece, life
