"""What a survival must be told, day by day or fish by fish, and what contradicts itself in it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from weirbook.engine.relations.survival import CONFIDENCE, Life
from weirbook.engine.shape import COUNT, YES_NO, param, parts, refuse, show
from weirbook.errors import Fault, Lack

DAY = 86_400.0


@dataclass(frozen=True)
class OneDay:
    """What happened on one day since they came."""

    day: float = param("time", doc="Days since they came.", unit="d", ge=0)
    lost: int = param(COUNT, doc="How many died on it.", ge=0, default=0)
    left: int = param(
        COUNT, doc="How many went out of sight alive: sold, moved, given away.", ge=0, default=0
    )


@dataclass(frozen=True)
class Some:
    """Fish that were watched alike."""

    number: int = param(COUNT, doc="How many of them.", ge=1)
    time: float = param(
        "time", doc="Days from when they came to when they died or were last seen.", unit="d", ge=0
    )
    lost: bool = param(YES_NO, doc="Whether they died then; else they were alive when last seen.")
    since: float = param(
        "time",
        doc="Days after they came from which they were watched. Left out: from the beginning.",
        unit="d",
        ge=0,
        default=0.0,
    )


@dataclass(frozen=True)
class Inputs:
    number: int | None = param(COUNT, doc="How many came, if told day by day.", ge=1, default=None)
    days: tuple[OneDay, ...] = parts(
        OneDay, doc="Each day on which fish died or left, with number; the others lived on. Or say fish."
    )
    watched: float | None = param(
        "time",
        doc="Days to which those that lived on were watched. Left out: the last day told.",
        unit="d",
        ge=0,
        default=None,
    )
    fish: tuple[Some, ...] = parts(Some, doc="Fish that were watched alike, row by row, instead of days.")
    day: float = param(
        "time",
        doc="The day asked about. Left out: day 30.",
        unit="d",
        ge=0,
        le=36_525 * DAY,
        default=30 * DAY,
    )
    confidence: float = param(
        "fraction", doc="Of the interval. Left out: 95 %.", ge=0.5, le=0.999, default=CONFIDENCE
    )

    @property
    def last(self) -> float:
        """Of the days told, s."""
        told = max((one.day for one in self.days), default=0.0)
        return told if self.watched is None else self.watched

    def lives(self) -> Iterator[Life]:
        """The same as lives, ages in days."""
        for some in self.fish:
            yield Life(some.time / DAY, some.lost, some.number, some.since / DAY)
        for one in self.days:
            yield Life(one.day / DAY, True, one.lost)
            yield Life(one.day / DAY, False, one.left)
        if self.number is not None:
            gone = sum(one.lost + one.left for one in self.days)
            yield Life(self.last / DAY, False, self.number - gone)


def refuse_contradictions(given: Inputs) -> None:
    """Raises Invalid with a fault for each value that can't be beside another, or lacks."""
    faults: list[Fault] = []
    if given.fish:
        for name, told in (("number", given.number), ("days", given.days), ("watched", given.watched)):
            if told is not None and told != ():
                faults.append(Fault(f"/{name}", "Say fish, or number and days: not both."))
        for index, some in enumerate(given.fish):
            if some.since > some.time or 0 < some.since == some.time:
                words = f"They were watched from a day after that: {show(some.time, 'time', 'd')}. Say an earlier one."
                faults.append(Fault(f"/fish/{index}/since", words))
    elif given.number is None:
        faults.append(Lack("/number", "'number' is missing: say how many came, and days, or say fish."))
    elif not given.days and given.watched is None:
        faults.append(Lack("/days", "'days' is missing: say on which days fish died or left, or watched."))
    else:
        faults += _faults_of_days(given, given.number)
    refuse(faults)


def _faults_of_days(given: Inputs, number: int) -> Iterator[Fault]:
    still = number
    for index, one in enumerate(given.days):
        still -= one.lost + one.left
        if still < 0:
            words = f"By this row more died and left than the {number} that came: see its figures, or number."
            yield Fault(f"/days/{index}", words)
            return
    late = max((one.day for one in given.days), default=0.0)
    if given.watched is not None and given.watched < late:
        words = f"Something happened on day {show(late, 'time', 'd').removesuffix(' d')}: say that one or a later one."
        yield Fault("/watched", words)
