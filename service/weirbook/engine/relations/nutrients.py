"""Nitrogen and phosphorus of one well-mixed system, followed day by day: what comes in, what leaves, what stays.

Nitrogen is always kg of N and phosphorus kg of P, whatever form a test weighs them in. What fish and food give
off is taken for nitrate and phosphate at once: a filter that is full of bacteria turns ammonia and nitrite within
hours, so this is no model of a filter that is still growing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from weirbook.engine.units import ATOMIC_WEIGHTS

DAY = 86400.0
KG_N_A_MOLE = ATOMIC_WEIGHTS["N"] / 1000
KG_P_A_MOLE = ATOMIC_WEIGHTS["P"] / 1000
"""kg of the element in a mole of nitrate or phosphate, which the kinds of `units` count: mol/m3 to kg/m3."""


@dataclass(frozen=True)
class Pair:
    """Nitrogen (as N) and phosphorus (as P): both kg, or both kg/m3."""

    nitrogen: float = 0.0
    phosphorus: float = 0.0


NOTHING = Pair()


@dataclass(frozen=True)
class Inflow:
    """Water that comes in, m3, and what a cubic metre of it holds, kg/m3 (nitrate as N, phosphate as P)."""

    volume: float
    holds: Pair = NOTHING


NO_WATER = Inflow(0.0)


@dataclass(frozen=True)
class Day:
    """What happens in one day, in this order.

    1. `changes`: water let out and replaced, one change after the other, each mixed before the next.
    2. `dosed`: kg put in at once.
    3. Evenly until the day's end: `made` by fish and food, less the part of it that leaves `in_solids`; `drip`,
       which pushes as much mixed water over the overflow; `top_off`, which replaces what evaporated and pushes
       nothing out; `uptake` of plants, `cropped` (uptake as harvests measured it) and `denitrified`, kg of the
       whole day, no more than there is;
       `denitrification_rate`, 1/s, a share of the nitrate that is there.
    """

    made: Pair = NOTHING
    in_solids: Pair = NOTHING
    dosed: Pair = NOTHING
    changes: Sequence[Inflow] = ()
    drip: Inflow = NO_WATER
    top_off: Inflow = NO_WATER
    uptake: Pair = NOTHING
    cropped: Pair = NOTHING
    denitrified: float = 0.0
    denitrification_rate: float = 0.0


@dataclass(frozen=True)
class Terms:
    """One element's balance over a day, kg: `start` and all that came in, less all that left, is `end`."""

    start: float
    made: float
    dosed: float
    source_of_changes: float
    source_of_drip: float
    source_of_top_off: float
    out_by_changes: float
    out_by_drip: float
    out_in_solids: float
    plants: float
    harvested: float
    denitrified: float
    after_changes: float
    """Held once the changes and doses of the day were done; no term of the balance."""
    end: float

    @property
    def came_in(self) -> float:
        return self.made + self.dosed + self.source_of_changes + self.source_of_drip + self.source_of_top_off

    @property
    def left(self) -> float:
        by_water = self.out_by_changes + self.out_by_drip + self.out_in_solids
        return by_water + self.plants + self.harvested + self.denitrified


@dataclass(frozen=True)
class State:
    """A day that has passed: the balance of each element, and the water's contents, kg/m3."""

    volume: float
    nitrogen: Terms
    phosphorus: Terms

    @property
    def start(self) -> Pair:
        return Pair(self.nitrogen.start / self.volume, self.phosphorus.start / self.volume)

    @property
    def after_changes(self) -> Pair:
        """Once the changes and doses of the day were done."""
        return Pair(self.nitrogen.after_changes / self.volume, self.phosphorus.after_changes / self.volume)

    @property
    def end(self) -> Pair:
        return Pair(self.nitrogen.end / self.volume, self.phosphorus.end / self.volume)


def simulate(volume: float, start: Pair, days: Iterable[Day]) -> list[State]:
    """Nitrate and phosphate of a system after each of some days, with every term of their balances.

    Equations: changes by m -> m + v (source - m / V); then dm/dt = L - U - k m over a day, solved exactly, with
    L made less solids plus what drip and top-off bring, U plants and a set denitrification, k = drip / V + the
    denitrification rate. Where m reaches 0 before the day's end, plants and denitrification take from then on
    what comes in, in proportion to what they would take.
    Shapes and units: m3, kg/m3 at the start; see `Day`; one State a day. For another volume, begin anew with what
    the last `end` becomes in it.
    Valid for: water that mixes within hours; a filter that turns ammonia into nitrate as fast as it is made.
    Uncertainty: none of its own (exact for what it is told); what is made and taken up is known to a third or worse.
    Raises: ValueError for a volume that isn't more than 0, for less than nothing of anything, for a change of
    more water than there is, for more in solids than is made.
    Source: conservation of mass. Tests hold it to published steady states and to numerical integration.
    Not covered: ammonia and nitrite on their way, nitrogen in bacteria and gravel, phosphate that falls out or
    comes back from mud, ammonia lost to the air, plants' leaves that rot.
    """
    if not volume > 0:
        raise ValueError("a system holds more than no water")
    held = Pair(start.nitrogen * volume, start.phosphorus * volume)
    _refuse_less_than_nothing(held.nitrogen, held.phosphorus)
    states = []
    for day in days:
        _refuse_what_cannot_be(volume, day)
        state = State(
            volume, _nitrogen_of(volume, held.nitrogen, day), _phosphorus_of(volume, held.phosphorus, day)
        )
        held = Pair(state.nitrogen.end, state.phosphorus.end)
        states.append(state)
    return states


def _refuse_what_cannot_be(volume: float, day: Day) -> None:
    waters = (*day.changes, day.drip, day.top_off)
    _refuse_less_than_nothing(
        *(pair.nitrogen for pair in (day.made, day.in_solids, day.dosed, day.uptake, day.cropped)),
        *(pair.phosphorus for pair in (day.made, day.in_solids, day.dosed, day.uptake, day.cropped)),
        *(one for water in waters for one in (water.volume, water.holds.nitrogen, water.holds.phosphorus)),
        day.denitrified,
        day.denitrification_rate,
    )
    if any(change.volume > volume for change in day.changes):
        raise ValueError("a change lets out more water than there is")
    if day.in_solids.nitrogen > day.made.nitrogen or day.in_solids.phosphorus > day.made.phosphorus:
        raise ValueError("solids can't carry off more than is made")


def _refuse_less_than_nothing(*amounts: float) -> None:
    if not all(amount >= 0 for amount in amounts):
        raise ValueError("there can't be less than nothing")


def _nitrogen_of(volume: float, held: float, day: Day) -> Terms:
    return _pass(
        volume,
        held,
        day,
        day.made.nitrogen,
        day.in_solids.nitrogen,
        day.dosed.nitrogen,
        [water.holds.nitrogen for water in (*day.changes, day.drip, day.top_off)],
        day.uptake.nitrogen,
        day.cropped.nitrogen,
        day.denitrified,
        day.denitrification_rate * DAY,
    )


def _phosphorus_of(volume: float, held: float, day: Day) -> Terms:
    return _pass(
        volume,
        held,
        day,
        day.made.phosphorus,
        day.in_solids.phosphorus,
        day.dosed.phosphorus,
        [water.holds.phosphorus for water in (*day.changes, day.drip, day.top_off)],
        day.uptake.phosphorus,
        day.cropped.phosphorus,
        0.0,
        0.0,
    )


def _pass(
    volume: float,
    held: float,
    day: Day,
    made: float,
    in_solids: float,
    dosed: float,
    holds: Sequence[float],
    uptake: float,
    cropped: float,
    denitrified: float,
    rate: float,
) -> Terms:
    """One element through a day. `holds` are the waters of changes, drip and top-off; `rate` is a day's."""
    mass, brought, let_out = held, 0.0, 0.0
    for change, source in zip(day.changes, holds, strict=False):
        brought += change.volume * source
        let_out += mass * change.volume / volume
        mass = mass * (1 - change.volume / volume) + change.volume * source
    mass += dosed
    from_drip, from_top_off = day.drip.volume * holds[-2], day.top_off.volume * holds[-1]
    washed = day.drip.volume / volume
    wanted = uptake + cropped + denitrified
    end, flushed, taken = even_day(mass, made - in_solids + from_drip + from_top_off, wanted, washed + rate)
    of_taken = taken / wanted if wanted else 0.0
    by_drip = washed / (washed + rate) if washed else 0.0
    return Terms(
        start=held,
        made=made,
        dosed=dosed,
        source_of_changes=brought,
        source_of_drip=from_drip,
        source_of_top_off=from_top_off,
        out_by_changes=let_out,
        out_by_drip=flushed * by_drip,
        out_in_solids=in_solids,
        plants=uptake * of_taken,
        harvested=cropped * of_taken,
        denitrified=denitrified * of_taken + flushed * (1 - by_drip),
        after_changes=mass,
        end=end,
    )


def even_day(mass: float, coming: float, wanted: float, share: float) -> tuple[float, float, float]:
    """What is left of a mass after a day in which so much comes, so much is wanted and a share of it leaves.

    Equation: dm/dt = coming - wanted - share m while m > 0, whose end is m e^-s + (coming - wanted)(1 - e^-s)/s;
    from the instant at which m is used up, what comes is taken as it comes.
    Shapes and units: kg, kg a day, kg a day, shares a day; kg left, kg that left by share, kg taken.
    """
    gain = coming - wanted
    end = _later(mass, gain, share, 1.0)
    if end >= 0:
        return end, max(mass + gain - end, 0.0) if share else 0.0, wanted
    # It runs out where m e^-st = -gain (1 - e^-st) / s.
    lasts = math.log1p(share * mass / -gain) / share if share else mass / -gain
    taken = wanted * lasts + coming * (1 - lasts)
    return 0.0, max(mass + coming - taken, 0.0) if share else 0.0, taken


def _later(mass: float, gain: float, share: float, days: float) -> float:
    if not share:
        return mass + gain * days
    return mass * math.exp(-share * days) - gain * math.expm1(-share * days) / share


@dataclass(frozen=True)
class Routine:
    """How the water of a system is exchanged, again and again: m3, a share of it every so many s, m3/s, kg/m3.

    `share` 0 stands for no changes, whatever the interval.
    """

    volume: float
    share: float
    interval: float
    drip: float
    source: float

    @property
    def kept(self) -> float:
        """Share of what is there after a change that is there before the next, by the drip alone."""
        return math.exp(-self.interval * self.drip / self.volume)

    @property
    def gathered(self) -> float:
        """s of gain that are left of an interval at its end: all of it without a drip."""
        rate = self.drip / self.volume
        return -math.expm1(-self.interval * rate) / rate if rate else self.interval

    @property
    def lost(self) -> float:
        """Share that an interval and its change take away."""
        return 1 - (1 - self.share) * self.kept


def swing(routine: Routine, gain: float) -> tuple[float, float] | None:
    """Where an element settles in the long run: kg/m3 just before a change, and just after.

    Equations: before = (share source kept + gain gathered / V) / (1 - (1 - share) kept), with kept = exp(-q t / V) and
    gathered = (1 - kept) V / q; after = before (1 - share) + share source. With changes alone that is before =
    source + gain t / V / share, with a drip alone gain / q (the gain counts what the drip brings).
    Shapes and units: gain in kg/s, all that comes in besides changes less what plants and bacteria want; None where
    nothing carries it off. Where they want more than comes, it is 0 before a change and what the change brings after.
    Valid for: water that mixes within hours, the same changes at the same interval for months.
    Uncertainty: that of the gain. Raises: nothing; volume, interval > 0, 0 <= share <= 1.
    Source: conservation of mass; nitrate_steady_state.csv, and the long run of `simulate`.
    Not covered: see `simulate`.
    """
    if not routine.lost:
        return (0.0, 0.0) if gain < 0 else None
    brought = routine.share * routine.source
    before = max((brought * routine.kept + gain * routine.gathered / routine.volume) / routine.lost, 0.0)
    return before, before * (1 - routine.share) + brought


def days_ahead(routine: Routine, held: float, gain: float, number: int) -> list[float]:
    """Where an element stands at the end of each day to come, kg/m3; the first change is due one interval from now.

    Equations: the changes due at the beginning of a day, n of them, make c into source + (c - source) (1 - share)^n;
    the day then ends at c kept + gain gathered / V as in `swing`, a day for the interval, and not below 0.
    Shapes and units: `held` now, kg/m3; gain in kg/s as in `swing`; a value a day.
    Valid for: days that are all alike. Uncertainty: that of the gain; a change at an interval that is no whole number
    of days falls on the day after it is due.
    Raises: nothing; as `swing`. Source: conservation of mass; `simulate` with the same days comes to the same.
    Not covered: see `simulate`.
    """
    day = replace(routine, interval=DAY)
    kept, gathered = day.kept, gain * day.gathered / routine.volume
    stays, source, days_between = 1 - routine.share, routine.source, routine.interval / DAY
    ends, done = [], 0
    for number_of_day in range(number):
        due = int(number_of_day / days_between + 1e-9)
        if due > done:
            held = source + (held - source) * stays ** (due - done)
            done = due
        held = max(held * kept + gathered, 0.0)
        ends.append(held)
    return ends


def gain_that_holds(routine: Routine, held: float) -> float:
    """The gain, kg/s, with which `held` stands before each change: `swing` turned round. May be below 0."""
    brought = routine.share * routine.source * routine.kept
    return (held * routine.lost - brought) * routine.volume / routine.gathered


def share_that_holds(routine: Routine, gain: float, held: float) -> float | None:
    """The share to change each time so that no more than `held` stands before a change; None where none does.

    Equation: f = (held (kept - 1) + gain gathered / V) / ((held - source) kept), from `swing`.
    """
    missing = held * (routine.kept - 1) + gain * routine.gathered / routine.volume
    if missing <= 0:
        return 0.0
    if held <= routine.source or not routine.kept:
        return None
    share = missing / ((held - routine.source) * routine.kept)
    return share if share <= 1 else None
