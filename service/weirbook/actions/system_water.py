"""The water of one system in time: what comes in, is changed, dosed and fed, day by day as recorded."""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from itertools import pairwise
from typing import TypeVar

import sqlalchemy as sa

from weirbook.actions.feed_days import FeedDays
from weirbook.actions.system_facts import SystemFacts
from weirbook.actions.water_of import Waters
from weirbook.engine.times import day_of, midnight_ms, zone
from weirbook.record.base import ALWAYS_MS
from weirbook.record.database import room_of
from weirbook.record.doses import Dose
from weirbook.record.equipment import Gauge
from weirbook.record.places import SectionUse, Tank, TankSystem
from weirbook.record.rooms import Room
from weirbook.record.waters import DONE, EXCHANGES, PLANNED, StandingExchange, WaterChange

T = TypeVar("T")

USUAL_OF = 8
"""Changes that make a habit, of water, amount and pace. Our own choice."""


@dataclass(frozen=True)
class Source:
    """A water that is used, and why it is taken for the one."""

    handle: str
    why: str


class SystemWater:
    """The exchanges, doses and rations of one system, each read once when first asked for."""

    def __init__(self, facts: SystemFacts) -> None:
        self.facts, self.session = facts, facts.session
        self.room = facts.session.get_one(Room, room_of(facts.session))
        self.zone = zone(self.room.time_zone)
        self.today = day_of(facts.at_ms, self.zone)

    @cached_property
    def waters(self) -> Waters:
        return Waters(self.session)

    @cached_property
    def memberships(self) -> Sequence[TankSystem]:
        """When each tank belonged to this system."""
        asked = sa.select(TankSystem).where(TankSystem.value == self.facts.system.id)
        return self.session.scalars(asked.order_by(TankSystem.from_ms)).all()

    @property
    def settled_ms(self) -> int:
        """Since when the same tanks have belonged to it, and been in use."""
        gone = {tank.id: tank.retired_at_ms for tank in self.session.scalars(sa.select(Tank)).unique()}
        return max(
            (
                instant
                for one in self.memberships
                for instant in (one.from_ms, one.to_ms, gone[one.subject_id] if one.to_ms is None else None)
                if instant is not None and instant <= self.facts.at_ms
            ),
            default=ALWAYS_MS,
        )

    @cached_property
    def places(self) -> Sequence[int]:
        """The system itself, its tanks, sumps and sections."""
        facts = self.facts
        parts = (*facts.tanks, *facts.sumps, *facts.sections)
        return [facts.system.id, *(one.id for one in parts)]

    @cached_property
    def gauges(self) -> Sequence[Gauge]:
        """Those in use that stand at one of its places in use."""
        asked = sa.select(Gauge).where(Gauge.place_id.in_(self.places)).order_by(Gauge.id)
        return [one for one in self.session.scalars(asked).unique() if self.facts.in_use(one)]

    @cached_property
    def feeding(self) -> FeedDays:
        return FeedDays(self.session, [tank.id for tank in self.facts.tanks], self.zone)

    @cached_property
    def _changes(self) -> Sequence[WaterChange]:
        asked = sa.select(WaterChange).where(WaterChange.place_id.in_(self.places))
        return self.session.scalars(asked.order_by(WaterChange.changed_at_ms, WaterChange.id)).unique().all()

    @property
    def changes(self) -> Sequence[WaterChange]:
        """Those done up to the instant of the facts, oldest first."""
        return [one for one in self._changes if one.state == DONE and one.changed_at_ms <= self.facts.at_ms]

    @property
    def planned(self) -> Sequence[WaterChange]:
        return [one for one in self._changes if one.state == PLANNED]

    @cached_property
    def doses(self) -> Sequence[Dose]:
        asked = sa.select(Dose).where(Dose.place_id.in_(self.places), Dose.dosed_at_ms <= self.facts.at_ms)
        return self.session.scalars(asked.order_by(Dose.dosed_at_ms, Dose.id)).unique().all()

    @cached_property
    def _exchanges(self) -> Mapping[str, list[StandingExchange]]:
        found: dict[str, list[StandingExchange]] = {kind: [] for kind in EXCHANGES}
        asked = sa.select(StandingExchange).where(StandingExchange.system_id == self.facts.system.id)
        for one in self.session.scalars(asked.order_by(StandingExchange.valid_from_ms)).unique():
            found[one.kind].append(one)
        return found

    def exchange(self, kind: str, at_ms: int) -> StandingExchange | None:
        """What runs by itself at an instant; None where nothing does."""
        rows = self._exchanges[kind]
        index = bisect_right(rows, at_ms, key=lambda one: one.valid_from_ms)
        return rows[index - 1] if index and rows[index - 1].flow.value else None

    def running(self, kind: str) -> StandingExchange | None:
        """What runs by itself at the instant of the facts."""
        return self.exchange(kind, self.facts.at_ms)

    @cached_property
    def usual_source(self) -> Source | None:
        """The water that the system is usually filled from: that of most of its last changes, the newest of equals."""
        told = [one.source.handle for one in reversed(self.changes) if one.source is not None][:USUAL_OF]
        if told:
            handle, times = Counter(told).most_common(1)[0]
            return Source(handle, f"the water of {times} of its last {len(told)} changes")
        for kind in EXCHANGES:
            running = self.running(kind)
            if running is not None and running.source is not None:
                return Source(running.source.handle, f"the water of its {kind.replace('_', '-')}")
        if len(self.waters.in_use) == 1:
            return Source(self.waters.in_use[0].handle, "the only water of the room")
        return None

    def source_of(self, change: WaterChange) -> str | None:
        """The water that came in by a change: the one named, else the usual one."""
        if change.source is not None:
            return change.source.handle
        return None if self.usual_source is None else self.usual_source.handle

    @cached_property
    def changes_by_day(self) -> Mapping[date, list[WaterChange]]:
        return self._by_day((one.changed_at_ms, one) for one in self.changes)

    @cached_property
    def doses_by_day(self) -> Mapping[date, list[Dose]]:
        return self._by_day((one.dosed_at_ms, one) for one in self.doses)

    def begins_ms(self, day: date) -> int:
        """From when on tests tell of a day's end: its first change or dose, else its midnight."""
        done = [one.changed_at_ms for one in self.changes_by_day.get(day, ())]
        done += [one.dosed_at_ms for one in self.doses_by_day.get(day, ())]
        return min(done, default=midnight_ms(day, self.zone))

    def told_by(self, at_ms: int) -> date:
        """The day whose end a test tells of.

        Water is mostly tested and then changed: what was read before a day's first change or dose is what the day
        before left.
        """
        day = day_of(at_ms, self.zone)
        return day if at_ms >= self.begins_ms(day) else day - timedelta(days=1)

    def _by_day(self, rows: Iterable[tuple[int, T]]) -> Mapping[date, list[T]]:
        found: dict[date, list[T]] = defaultdict(list)
        for at_ms, one in rows:
            found[day_of(at_ms, self.zone)].append(one)
        return found

    def noon_ms(self, day: date) -> int:
        """The middle of a day, by which its standing state is told."""
        return (midnight_ms(day, self.zone) + midnight_ms(day + timedelta(days=1), self.zone)) // 2

    @cached_property
    def _uses(self) -> Mapping[int, list[SectionUse]]:
        wanted = [one.id for one in self.facts.sections]
        found: dict[int, list[SectionUse]] = defaultdict(list)
        asked = sa.select(SectionUse).where(SectionUse.subject_id.in_(wanted)).order_by(SectionUse.from_ms)
        for one in self.session.scalars(asked):
            found[one.subject_id].append(one)
        return found

    def use_of(self, section_id: int, at_ms: int) -> str | None:
        """What a section was used for at an instant."""
        rows = self._uses[section_id]
        index = bisect_right(rows, at_ms, key=lambda one: one.from_ms)
        return rows[index - 1].value if index else None

    @cached_property
    def usual_change(self) -> tuple[float, float] | None:
        """The usual change of a day, m3, and the usual time between two, s: the middle ones of the last eight.

        What was changed in several tanks on one day is one change of the system's water. None where fewer than
        three are recorded within the last 120 days: no habit yet.
        """
        days = [
            (day, sum(one.volume_si or 0.0 for one in changes))
            for day, changes in self.changes_by_day.items()
            if day > self.today - timedelta(days=120)
        ][-USUAL_OF:]
        if len(days) < 3:
            return None
        gaps = [(later - earlier).days * 86_400.0 for (earlier, _), (later, _) in pairwise(days)]
        return _middle([volume for _, volume in days]), _middle(gaps)


def _middle(values: Sequence[float]) -> float:
    """The median, the lower one of two."""
    return sorted(values)[(len(values) - 1) // 2]
