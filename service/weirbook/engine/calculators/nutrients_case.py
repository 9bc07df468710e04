"""The balance of nutrients worked out three ways: with the least, the likely and the most that stays in the water."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from weirbook.engine.calculators.nutrients_inputs import DRY, USUAL_INTERVAL, Inputs, PlantStand
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.relations.nitrogen import (
    AMMONIA_OF_FOOD,
    EXCRETION_SPREAD,
    PHOSPHORUS_KEPT,
    WITHOUT_GROWTH,
    ammonia_made,
    nitrogen_fed,
)
from weirbook.engine.relations.nutrients import (
    DAY,
    KG_N_A_MOLE,
    KG_P_A_MOLE,
    Pair,
    Routine,
    days_ahead,
    gain_that_holds,
    share_that_holds,
    swing,
)
from weirbook.engine.relations.plants import UPTAKE, Range, area_for, uptake

LOOKED_AHEAD = 730
"""Days within which a limit is looked for."""


@dataclass(frozen=True)
class Case:
    """One way that it may be: kg/s made and taken up, and all that follows."""

    given: Inputs
    made: Pair
    uptake: Pair

    @cached_property
    def share(self) -> float:
        return share_of(self.given)

    @cached_property
    def source(self) -> Pair:
        return source_of(self.given)

    @cached_property
    def brought(self) -> Pair:
        """kg/s that drip and top-off bring, each with its own water."""
        nitrogen = phosphorus = 0.0
        for one in running(self.given):
            nitrogen += one.flow * one.holds.nitrogen
            phosphorus += one.flow * one.holds.phosphorus
        return Pair(nitrogen, phosphorus)

    def routine(self, source: float) -> Routine:
        interval = interval_of(self.given)
        return Routine(self.given.volume, self.share, interval, self.given.drip_flow or 0.0, source)

    @cached_property
    def gain(self) -> Pair:
        """kg/s that gather besides changes and overflow; below 0 where plants and bacteria want more than comes."""
        return Pair(
            self.made.nitrogen + self.brought.nitrogen - self.uptake.nitrogen - self.given.denitrification,
            self.made.phosphorus + self.brought.phosphorus - self.uptake.phosphorus,
        )

    @cached_property
    def nitrogen_swing(self) -> tuple[float, float] | None:
        return swing(self.routine(self.source.nitrogen), self.gain.nitrogen)

    @cached_property
    def phosphorus_swing(self) -> tuple[float, float] | None:
        return swing(self.routine(self.source.phosphorus), self.gain.phosphorus)

    def ahead(self, number: int) -> list[Pair]:
        """What the water holds at the end of each day to come."""
        start, source = start_of(self.given), self.source
        return [
            Pair(nitrogen, phosphorus)
            for nitrogen, phosphorus in zip(
                days_ahead(self.routine(source.nitrogen), start.nitrogen, self.gain.nitrogen, number),
                days_ahead(self.routine(source.phosphorus), start.phosphorus, self.gain.phosphorus, number),
                strict=True,
            )
        ]


def source_of(given: Inputs) -> Pair:
    return Pair((given.source_nitrate or 0.0) * KG_N_A_MOLE, (given.source_phosphate or 0.0) * KG_P_A_MOLE)


@dataclass(frozen=True)
class Running:
    """Water that comes in all the time: its name, m3/s, and what a cubic metre of it holds, kg."""

    name: str
    flow: float
    holds: Pair


def running(given: Inputs) -> list[Running]:
    """Drip and top-off; what is not told of their water is taken as in that of changes."""
    source, found = source_of(given), []
    for name, flow, nitrate, phosphate in (
        ("drip", given.drip_flow, given.drip_nitrate, given.drip_phosphate),
        ("top-off", given.top_off_flow, given.top_off_nitrate, given.top_off_phosphate),
    ):
        if flow:
            holds = Pair(
                source.nitrogen if nitrate is None else nitrate * KG_N_A_MOLE,
                source.phosphorus if phosphate is None else phosphate * KG_P_A_MOLE,
            )
            found.append(Running(name, flow, holds))
    return found


def start_of(given: Inputs) -> Pair:
    """What the water holds now; where no test tells, what the source holds."""
    source = source_of(given)
    return Pair(
        source.nitrogen if given.nitrate is None else given.nitrate * KG_N_A_MOLE,
        source.phosphorus if given.phosphate is None else given.phosphate * KG_P_A_MOLE,
    )


def share_of(given: Inputs) -> float:
    if given.change_share is not None:
        return given.change_share
    return (given.change_volume or 0.0) / given.volume


def interval_of(given: Inputs) -> float:
    return USUAL_INTERVAL if given.change_interval is None else given.change_interval


def stand_uptake(stand: PlantStand) -> tuple[Range, Range]:
    """Nitrogen and phosphorus a stand may take up, kg/s; an own figure is no range."""
    nitrogen, phosphorus = uptake(stand.growth_form, stand.area, stand.cover)
    covered = stand.area * stand.cover
    if stand.nitrogen_uptake is not None:
        nitrogen = Range(stand.nitrogen_uptake * covered, stand.nitrogen_uptake * covered)
    if stand.phosphorus_uptake is not None:
        phosphorus = Range(stand.phosphorus_uptake * covered, stand.phosphorus_uptake * covered)
    return nitrogen, phosphorus


@dataclass(frozen=True)
class Balance:
    """The three cases of one system, and what each lever would do in the likely one."""

    given: Inputs

    @cached_property
    def nitrogen_fed(self) -> float:
        return nitrogen_fed(self.given.feed, self.given.protein)

    @cached_property
    def most_nitrogen(self) -> float:
        """All that is fed and not carried out with solids."""
        return self.nitrogen_fed * (1 - self.given.solids_removed)

    @cached_property
    def nitrogen_of_food(self) -> float:
        """Likely kg N in the water for each kg of food."""
        staying = nitrogen_fed(1.0, self.given.protein) * (1 - self.given.solids_removed)
        return min(ammonia_made(1.0, self.given.protein), staying)

    @cached_property
    def likely_nitrogen(self) -> float:
        return self.given.feed * self.nitrogen_of_food

    @property
    def dry_food(self) -> float:
        """The food a day as so much dry food, by its dry matter, kg/s."""
        moisture = self.given.moisture
        return self.given.feed if moisture is None else self.given.feed * (1 - moisture) / (1 - DRY)

    @cached_property
    def least_nitrogen(self) -> float:
        return min(self.dry_food * AMMONIA_OF_FOOD, self.likely_nitrogen * (1 - EXCRETION_SPREAD))

    @property
    def phosphorus_kept(self) -> tuple[float, float, float]:
        """Shares of what is fed that fish build in: least, likely, most."""
        own = self.given.phosphorus_kept
        return PHOSPHORUS_KEPT if own is None else (own, own, own)

    def phosphorus_made(self, kept: float) -> float:
        fed = self.given.feed * self.given.phosphorus
        return fed * max(1 - kept - self.given.solids_removed, 0.0)

    @cached_property
    def uptake(self) -> tuple[Range, Range]:
        """Of all stands together, nitrogen and phosphorus."""
        each = [stand_uptake(stand) for stand in self.given.stands]
        return _summed([one for one, _ in each]), _summed([one for _, one in each])

    @cached_property
    def likely_uptake(self) -> Pair:
        """Stand by stand the middle of its range."""
        each = [stand_uptake(stand) for stand in self.given.stands]
        return Pair(sum(one.middle for one, _ in each), sum(one.middle for _, one in each))

    @cached_property
    def least(self) -> Case:
        made = Pair(self.least_nitrogen, self.phosphorus_made(self.phosphorus_kept[2]))
        return Case(self.given, made, Pair(self.uptake[0].high, self.uptake[1].high))

    @cached_property
    def likely(self) -> Case:
        made = Pair(self.likely_nitrogen, self.phosphorus_made(self.phosphorus_kept[1]))
        return Case(self.given, made, self.likely_uptake)

    @cached_property
    def most(self) -> Case:
        made = Pair(self.most_nitrogen, self.phosphorus_made(self.phosphorus_kept[0]))
        return Case(self.given, made, Pair(self.uptake[0].low, self.uptake[1].low))

    @property
    def alkalinity_a_day(self) -> float:
        """By which nitrification would lower it, eq/m3 a day."""
        return self.likely_nitrogen * WITHOUT_GROWTH.alkalinity * DAY / self.given.volume

    @property
    def limit(self) -> float:
        """Of nitrate, mol/m3."""
        return self.given.nitrate_limit or LIMITS["nitrate_high"].value

    @cached_property
    def days_to_limits(self) -> tuple[float | None, float | None]:
        """Whole days until the likely case passes the limit of nitrate, and of phosphate; none within two years."""
        given, nitrate, phosphate = self.given, None, None
        ahead = [start_of(given), *self.likely.ahead(LOOKED_AHEAD)]
        if given.nitrate is not None:
            nitrate = _passes([day.nitrogen for day in ahead], self.limit * KG_N_A_MOLE)
        if given.phosphate is not None and given.phosphate_limit is not None:
            phosphate = _passes([day.phosphorus for day in ahead], given.phosphate_limit * KG_P_A_MOLE)
        return nitrate, phosphate

    @property
    def held(self) -> float:
        """The nitrogen to hold, kg/m3."""
        return self.given.hold_nitrate * KG_N_A_MOLE

    @cached_property
    def gain_allowed(self) -> float:
        """kg N/s that may gather so that no more than the held value stands before a change."""
        return gain_that_holds(self.likely.routine(self.likely.source.nitrogen), self.held)

    @property
    def share_to_hold(self) -> float | None:
        likely = self.likely
        return share_that_holds(likely.routine(likely.source.nitrogen), likely.gain.nitrogen, self.held)

    @property
    def feed_to_hold(self) -> float | None:
        """None where not even an unfed system holds the value."""
        made = self.likely_nitrogen + self.gain_allowed - self.likely.gain.nitrogen
        return made / self.nitrogen_of_food if made >= 0 else None

    @property
    def area_to_hold(self) -> Range:
        """Of plants to be added, at full cover."""
        beyond = max(self.likely.gain.nitrogen - self.gain_allowed, 0.0)
        return area_for(self.given.added_form, beyond, 1.0)

    @property
    def likely_area_to_hold(self) -> float:
        """The same at the middle of the published range."""
        beyond = max(self.likely.gain.nitrogen - self.gain_allowed, 0.0)
        return beyond / UPTAKE[self.given.added_form].nitrogen.middle

    @property
    def half_fed(self) -> Balance:
        return Balance(replace(self.given, feed=self.given.feed / 2))


def _passes(days: list[float], limit: float) -> float | None:
    """s from today, the first, to the day that ends above a limit."""
    return next((number * DAY for number, held in enumerate(days) if held > limit), None)


def _summed(ranges: list[Range]) -> Range:
    return Range(sum(one.low for one in ranges), sum(one.high for one in ranges))
