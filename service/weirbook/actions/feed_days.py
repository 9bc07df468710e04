"""What tanks are fed: on one day, as told, and on an average day of the rations in force."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.filling import Absent
from weirbook.engine.times import day_of, midnight_ms
from weirbook.errors import Invalid
from weirbook.record.feeds import IN_TURN, WEEKDAYS, Feed, Feeding, Ration

USUAL_PHOSPHORUS, USUAL_MOISTURE = 0.012, 0.08
"""Of dry fish food whose label tells none. Common practice, no source."""


@dataclass(frozen=True)
class Meal:
    """A food and how much of it, kg."""

    feed: Feed
    mass: float


class FeedDays:
    """The rations and single feedings of some tanks, read once; days are the room's."""

    def __init__(self, session: Session, tank_ids: Iterable[int], where: ZoneInfo) -> None:
        self._zone = where
        wanted = list(tank_ids)
        self.feeds: Mapping[str, Feed] = {row.handle: row for row in session.scalars(sa.select(Feed))}
        self._rations: dict[int, list[Ration]] = defaultdict(list)
        for ration in session.scalars(
            sa.select(Ration).where(Ration.tank_id.in_(wanted)).order_by(Ration.valid_from_ms)
        ).unique():
            self._rations[ration.tank_id].append(ration)
        self._single: dict[tuple[int, date], list[Feeding]] = defaultdict(list)
        for one in session.scalars(sa.select(Feeding).where(Feeding.tank_id.in_(wanted))).unique():
            self._single[one.tank_id, day_of(one.fed_at_ms, where)].append(one)

    def ration(self, tank_id: int, day: date) -> Ration | None:
        """The ration in force on a day; one that begins within the day holds for it."""
        rows = self._rations[tank_id]
        end = midnight_ms(day + timedelta(days=1), self._zone)
        index = bisect_right(rows, end - 1, key=lambda one: one.valid_from_ms)
        return rows[index - 1] if index else None

    def told(self, tank_id: int, day: date) -> bool:
        """Whether anything is known of what a tank was fed on a day."""
        return self.ration(tank_id, day) is not None or bool(self._single.get((tank_id, day)))

    def meals(self, tank_id: int, day: date) -> list[Meal]:
        """What a tank was fed on a day: its ration, or what was fed instead, and what came on top."""
        single = self._single.get((tank_id, day), [])
        replaced = any(one.instead for one in single)
        ration = self.ration(tank_id, day)
        meals = [] if replaced or ration is None else list(self._of_ration(ration, day))
        meals += [
            Meal(one.feed, one.amount.si("mass"))
            for one in single
            if one.feed is not None and one.amount is not None
        ]
        return meals

    def average(self, tank_id: int, day: date) -> list[Meal]:
        """The foods of an average day of the ration in force: over whole weeks and turns, nothing single counted."""
        ration = self.ration(tank_id, day)
        if ration is None:
            return []
        span = 7 * max(len(ration.feeds), 1)
        totals: dict[str, float] = defaultdict(float)
        for offset in range(span):
            for meal in self._of_ration(ration, day + timedelta(days=offset)):
                totals[meal.feed.handle] += meal.mass / span
        return [Meal(self.feeds[handle], mass) for handle, mass in totals.items()]

    def _of_ration(self, ration: Ration, day: date) -> Iterator[Meal]:
        fasting = {WEEKDAYS.index(name) for name in ration.fasting_days or ()}
        if day.weekday() in fasting or not ration.feeds:
            return
        rows = ration.amounts
        if ration.rotation == IN_TURN:
            begun = day_of(ration.valid_from_ms, self._zone)
            rows = [rows[_feeding_days(begun, day, fasting) % len(rows)]]
        for handle, mass in rows:
            yield Meal(self._feed(handle), mass)

    def _feed(self, handle: str) -> Feed:
        """Raises Invalid for one that is gone: no foreign key holds what a ration's rows name."""
        if handle not in self.feeds:
            raise Invalid(
                f"A ration names the feed '{handle}', which is not recorded: make it, or edit the ration.",
                slug="not-recorded",
            )
        return self.feeds[handle]


def _feeding_days(begun: date, day: date, fasting: set[int]) -> int:
    """How many feeding days lie before a day, counted from the ration's first."""
    weeks, rest = divmod(max((day - begun).days, 0), 7)
    inside = sum(1 for offset in range(rest) if (begun.weekday() + offset) % 7 not in fasting)
    return weeks * (7 - len(fasting)) + inside


def moisture_share(feed: Feed) -> float:
    """The share of water by the label; as of dry food where it tells none."""
    return USUAL_MOISTURE if feed.moisture is None else feed.moisture.si("fraction")


def phosphorus_share(feed: Feed) -> float:
    """The share of phosphorus by the label, else the usual one of its dry matter."""
    if feed.phosphorus is not None:
        return feed.phosphorus.si("fraction")
    return USUAL_PHOSPHORUS * (1 - moisture_share(feed)) / (1 - USUAL_MOISTURE)


def share_of(meals: Iterable[Meal], nutrient: str) -> float | Absent:
    """The share of a nutrient in some meals together; unknown where a food's label was not recorded."""
    total = held = 0.0
    for meal in meals:
        share = getattr(meal.feed, nutrient)
        if share is None:
            return Absent(f"No {nutrient} of the feed {meal.feed.handle} is recorded.")
        total += meal.mass
        held += meal.mass * share.si("fraction")
    return held / total if total else Absent("Nothing is fed.")
