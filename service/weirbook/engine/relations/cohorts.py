"""From a ledger of groups of fish to head counts, and to how long each batch was watched in each group.

Fish have no names. They come in batches (an arrival, a birth), and a batch keeps its age wherever it is moved.
What is lost, leaves or is moved is taken from those fish that came by the line that it names; where none is named it
is shared among all that live in the group in proportion to their heads, so that batches are parted into fractions.
That is true on average where the batches of a group die alike; where new fish die first it credits some of their
losses to the old ones, and a difference between batches comes out smaller than it is. Of old age the batches that came
or were born first die first.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import deque
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

from weirbook.engine.relations.survival import Life

ARRIVAL, BIRTH, MOVE, LOSS = "arrival", "birth", "move", "loss"
MISSING, DEPARTURE, COUNT, WITHDRAWAL = "missing", "departure", "count", "withdrawal"
KINDS = (ARRIVAL, BIRTH, MOVE, LOSS, MISSING, DEPARTURE, COUNT, WITHDRAWAL)
OLD_AGE = "old_age"
"""The cause of loss that takes the oldest."""
HERE = "here"
"""How a stay ends that goes on."""

Id: TypeAlias = Hashable
"""How callers name groups and lines."""

DAY_MS = 86_400_000
_NOTHING = 1e-9
"""Heads below this are what fractions leave behind when they should cancel."""


@dataclass(frozen=True, slots=True)
class Line:
    """One entry of the ledger, in the order of its being recorded. `number` is positive, of a count the heads seen.

    `batch` names the line by which its fish came into the group: an arrival, a birth, a move, a count that found them.
    A withdrawal takes back the line that `takes_back` names.
    """

    id: Id
    at_ms: int
    kind: str
    group: Id
    number: int = 0
    to_group: Id | None = None
    batch: Id | None = None
    takes_back: Id | None = None
    cause: str | None = None
    source: str | None = None


@dataclass(frozen=True, slots=True)
class Batch:
    """Fish that came together. Those that a count found have no known age."""

    id: Id
    kind: str
    at_ms: int
    group: Id
    source: str | None = None

    @property
    def age_known(self) -> bool:
        return self.kind != COUNT


@dataclass(frozen=True, slots=True)
class Stay:
    """Some heads of a batch in one group, from when they came to when they were lost, left or were moved."""

    batch: Batch
    group: Id
    from_ms: int
    to_ms: int | None
    heads: float
    end: str = HERE
    cause: str | None = None
    line: Id | None = None
    came_by: Id | None = None
    """The line that brought them: the arrival, birth or count itself, or a move."""
    place: int = 0
    """That line's place in the order of the ledger."""

    def age(self, ms: int) -> float:
        """Days since the batch came, or was born."""
        return (ms - self.batch.at_ms) / DAY_MS

    def days_within(self, from_ms: int, to_ms: int) -> float:
        """Fish-days of this stay in a window."""
        end = to_ms if self.to_ms is None else min(self.to_ms, to_ms)
        return self.heads * max(0, end - max(self.from_ms, from_ms)) / DAY_MS


@dataclass(frozen=True)
class Cohorts:
    """What a ledger amounts to. `counts` are the steps of each group's head count, one an instant.

    `lacking` names lines that take more heads than there were, and how many are missing; a ledger that was kept
    by the rules has none.
    """

    counts: Mapping[Id, Sequence[tuple[int, int]]]
    stays: Sequence[Stay]
    adjustments: Mapping[Id, int] = field(default_factory=dict)
    lacking: Sequence[tuple[Id, int]] = ()

    def heads_at(self, group: Id, ms: int) -> int:
        """Heads of a group at an instant, what happened at it counted."""
        steps = self.counts.get(group, ())
        index = bisect_right(steps, ms, key=lambda step: step[0])
        return steps[index - 1][1] if index else 0


def follow(lines: Iterable[Line]) -> Cohorts:
    """Follow all groups of a room through their ledger, lines in the order in which they count.

    Equation: heads = arrivals + births + moved in − lost − missing − departed − moved out, a count setting them to
    what was seen: fewer are missing, more are a batch of unknown age. A line without a batch takes
    heads x batch / group of each; a loss of old age takes each batch whole, in the order in which they came, and so parts
    only those of one instant.
    Shapes and units: epoch milliseconds, not descending; heads whole in lines, fractional in stays.
    Valid for: a ledger whose lines are in the order of their instants.
    Uncertainty: what no batch is named for is shared; see the module.
    Raises: ValueError for a line of another kind, or before the one ahead of it.
    Source: counting; held to a naive count and to its own sums.
    Not covered: ages of fish when they came, unless they were born here.
    """
    lines = list(lines)
    taken_back = {line.takes_back for line in lines if line.kind == WITHDRAWAL}
    book = _Book()
    before = None
    for line in lines:
        if before is not None and line.at_ms < before:
            raise ValueError("the ledger is not in the order of time")
        before = line.at_ms
        if line.kind != WITHDRAWAL and line.id not in taken_back:
            book.place += 1
            book.enter(line)
    return book.closed()


class _Book:
    """The ledger as it stands after each line."""

    def __init__(self) -> None:
        self.place = 0
        self.heads: dict[Id, int] = {}
        self.counts: dict[Id, list[tuple[int, int]]] = {}
        self.living: dict[Id, dict[Id, _Lots]] = {}
        self.stays: list[Stay] = []
        self.adjustments: dict[Id, int] = {}
        self.lacking: list[tuple[Id, int]] = []

    def enter(self, line: Line) -> None:
        if line.kind in (ARRIVAL, BIRTH):
            self._begin(line, line.number)
        elif line.kind in (LOSS, MISSING, DEPARTURE):
            self._take(line, line.number, line.kind)
        elif line.kind == MOVE:
            assert line.to_group is not None, "a move says where to"
            moved = self._take(line, line.number, MOVE)
            for batch, heads in moved.of:
                self._add(line.to_group, batch, heads, line)
            self._count(line.to_group, line.at_ms, moved.heads)
        elif line.kind == COUNT:
            self._see(line)
        else:
            raise ValueError(f"there is no {line.kind} in a ledger")

    def _see(self, line: Line) -> None:
        """A count: the difference to the ledger is worked out here, as it stands by now."""
        more = line.number - self.heads.get(line.group, 0)
        self.adjustments[line.id] = more
        if more > 0:
            self._begin(line, more)
        elif more < 0:
            self._take(line, -more, MISSING)

    def _begin(self, line: Line, heads: int) -> None:
        batch = Batch(line.id, line.kind, line.at_ms, line.group, line.source)
        self._add(line.group, batch, heads, line)
        self._count(line.group, line.at_ms, heads)

    def _add(self, group: Id, batch: Batch, heads: float, line: Line) -> None:
        living = self.living.setdefault(group, {})
        if batch.id not in living:
            living[batch.id] = _Lots(batch, group)
        living[batch.id].add(line, self.place, heads)

    def _take(self, line: Line, number: int, end: str) -> _Taken:
        """Take heads out of a group: of those that the line names first, then of all as they live there, or the oldest."""
        living = self.living.get(line.group, {})
        there = self.heads.get(line.group, 0)
        if number > there:
            self.lacking.append((line.id, number - there))
            number = there
        shares = self._shares(living, line, number)
        self._count(line.group, line.at_ms, -number)
        emptied = not self.heads[line.group]
        gone = []
        for key, share in shares.items():
            lots = living[key]
            heads = lots.heads if emptied else share
            self.stays += lots.take(line, heads, end)
            gone.append((lots.batch, heads))
            if lots.heads <= _NOTHING:
                del living[key]
        return _Taken(number, gone)

    def _shares(self, living: Mapping[Id, _Lots], line: Line, number: int) -> dict[Id, float]:
        """What each batch gives of a number of heads."""
        named = line.batch
        meant = {key: lots.came_by(named) if named is not None else 0.0 for key, lots in living.items()}
        whole = sum(meant.values())
        first = min(1.0, number / whole) if whole > _NOTHING else 0.0
        rest = {key: lots.heads - meant[key] * first for key, lots in living.items()}
        given = {key: heads * first for key, heads in meant.items()}
        wanted = number - whole * first
        for keys in _in_turn(living, line):
            others = sum(rest[key] for key in keys)
            share = min(1.0, wanted / others) if wanted > _NOTHING and others > _NOTHING else 0.0
            for key in keys:
                given[key] += rest[key] * share
            wanted -= others * share
        return given

    def _count(self, group: Id, at_ms: int, change: int) -> None:
        now = self.heads[group] = self.heads.get(group, 0) + change
        steps = self.counts.setdefault(group, [])
        if steps and steps[-1][0] == at_ms:
            steps[-1] = (at_ms, now)
        else:
            steps.append((at_ms, now))

    def closed(self) -> Cohorts:
        here = [stay for living in self.living.values() for lots in living.values() for stay in lots.here()]
        return Cohorts(self.counts, [*self.stays, *here], self.adjustments, self.lacking)


def _in_turn(living: Mapping[Id, _Lots], line: Line) -> Iterable[Sequence[Id]]:
    """The batches that give a line's heads, those of one turn alike: all at once, or of old age the earliest first."""
    if line.kind != LOSS or line.cause != OLD_AGE:
        return [list(living)]
    turns: dict[int, list[Id]] = {}
    for key, lots in sorted(living.items(), key=lambda one: one[1].batch.at_ms):
        turns.setdefault(lots.batch.at_ms, []).append(key)
    return turns.values()


@dataclass(frozen=True, slots=True)
class _Taken:
    heads: int
    of: Sequence[tuple[Batch, float]]


class _Lots:
    """The heads of one batch in one group, in lots by when they came there.

    Unless others are meant those that came first go first: all are of one age, so that no rate rests on it.
    """

    def __init__(self, batch: Batch, group: Id) -> None:
        self.batch = batch
        self.group = group
        self.heads = 0.0
        self._lots: deque[tuple[Line, int, float]] = deque()

    def add(self, line: Line, place: int, heads: float) -> None:
        self.heads += heads
        self._lots.append((line, place, heads))

    def came_by(self, named: Id) -> float:
        """Heads that came by a line."""
        return sum(heads for came, _, heads in self._lots if came.id == named)

    def take(self, line: Line, heads: float, end: str) -> list[Stay]:
        self.heads -= heads
        stays = []
        if line.batch is not None:  # those that are meant go first
            self._lots = deque(sorted(self._lots, key=lambda lot: lot[0].id != line.batch))
        while heads > _NOTHING and self._lots:
            came, place, some = self._lots.popleft()
            gone = some if some - heads <= _NOTHING else heads
            if gone < some:
                self._lots.appendleft((came, place, some - gone))
            heads -= gone
            stays.append(self._stay(came, place, gone, line, end))
        return stays

    def here(self) -> list[Stay]:
        return [self._stay(came, place, heads, None, HERE) for came, place, heads in self._lots]

    def _stay(self, came: Line, place: int, heads: float, left: Line | None, end: str) -> Stay:
        if left is None:
            return Stay(self.batch, self.group, came.at_ms, None, heads, end, None, None, came.id, place)
        return Stay(
            self.batch, self.group, came.at_ms, left.at_ms, heads, end, left.cause, left.id, came.id, place
        )


def fish_days(stays: Iterable[Stay], from_ms: int, to_ms: int) -> float:
    """Heads times days in a window: one fish in water for one day is 1."""
    return sum(stay.days_within(from_ms, to_ms) for stay in stays)


def fish_days_by_age(stays: Iterable[Stay], edges: Sequence[float], from_ms: int, to_ms: int) -> list[float]:
    """Fish-days in a window by days since arrival: before the first edge, between each two, from the last on.

    Fish of unknown age are in none.
    """
    found = [0.0] * (len(edges) + 1)
    for stay in stays:
        if not stay.batch.age_known:
            continue
        born = stay.batch.at_ms
        marks = [from_ms, *(min(max(round(born + edge * DAY_MS), from_ms), to_ms) for edge in edges), to_ms]
        for index, start in enumerate(marks[:-1]):
            if marks[index + 1] > start:
                found[index] += stay.days_within(start, marks[index + 1])
    return found


def bin_of(age: float, edges: Sequence[float]) -> int:
    """The bin of `fish_days_by_age` in which an age lies: an edge opens the bin after it."""
    return bisect_right(edges, age)


def ended(stays: Iterable[Stay], ends: Iterable[str], from_ms: int, to_ms: int) -> list[Stay]:
    """The stays that ended one of these ways in a window, whose end is not part of it."""
    ways = frozenset(ends)
    return [
        stay
        for stay in stays
        if stay.end in ways and stay.to_ms is not None and from_ms <= stay.to_ms < to_ms
    ]


def lives(stays: Iterable[Stay], from_ms: int, to_ms: int, *, missing_is_lost: bool = False) -> list[Life]:
    """The stays as lives in days of age, as far as they lie in a window; fish of unknown age are left out.

    Heads that were moved between groups whose stays are told live on as one. Who was here before the window, or came
    from a group that is not told, comes under watch late. Who left, was moved elsewhere, or lives on at the window's
    end is out of sight from then on, and so are the missing unless they are taken for lost.
    """
    lost = {LOSS, MISSING} if missing_is_lost else {LOSS}
    found = []
    for since_ms, heads, stay in _joined(stays):
        start = max(since_ms, from_ms)
        seen_out = stay.to_ms is not None and stay.to_ms < to_ms
        end = stay.to_ms if stay.to_ms is not None and seen_out else to_ms
        if not stay.batch.age_known or start > end:
            continue
        dead = seen_out and stay.end in lost
        if dead and start == end and start > stay.batch.at_ms:
            end += 1  # lost in the instant it came under watch, it was at risk all the same
        found.append(Life(stay.age(end), dead, heads, stay.age(start)))
    return found


def _joined(stays: Iterable[Stay]) -> Iterable[tuple[int, float, Stay]]:
    """Heads through all their moves: since when they were seen, how many, and the stay in which that ended."""
    moving: dict[tuple[Id, Id | None], deque[tuple[int, float, Stay]]] = {}
    for stay in sorted(stays, key=lambda stay: stay.place):
        waiting = moving.get((stay.batch.id, stay.came_by), deque())
        heads = stay.heads
        while heads > _NOTHING:
            since_ms, some, before = waiting.popleft() if waiting else (stay.from_ms, heads, stay)
            if some - heads > _NOTHING:
                waiting.appendleft((since_ms, some - heads, before))
                some = heads
            heads -= some
            if stay.end == MOVE:
                moving.setdefault((stay.batch.id, stay.line), deque()).append((since_ms, some, stay))
            else:
                yield since_ms, some, stay
    for waiting in moving.values():
        yield from waiting
