"""A level that doses raise, plants lower and water changes draw toward the source water's. SI floats; hours count.

Doses and changes come at whole hours, so that their common cycle is exact. Where several fall on one hour the water is
changed first, then dosed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Routine:
    """What moves the level: rises by one dose and by what is given after a change, uptake in an hour.

    `dose_every` and `change_every` in hours; `share` of the water changed, 0 where it never is.
    """

    dose: float
    dose_every: int
    uptake: float
    share: float = 0.0
    change_every: int = 0
    source: float = 0.0
    after_change: float = 0.0

    @property
    def changes(self) -> bool:
        return self.share > 0 and self.change_every > 0

    def changed(self, level: float) -> float:
        """The level right after a water change and what is given with it."""
        return level - self.share * (level - self.source) + self.after_change


def after_changes(level: float, source: float, share: float, times: int) -> float:
    """The level after so many water changes and nothing else: C = S + (C0 - S) (1 - f)^n.

    Shapes and units: level C0 and source S in one unit, share f and times n plain. Valid for: 0 <= f <= 1, n >= 0, each
    change mixed in before the next. Uncertainty: exact for the model. Source: balance of mass.
    """
    return source + (level - source) * (1 - share) ** times


def closed_swing(routine: Routine) -> tuple[float, float]:
    """The lowest and highest level of the repeating cycle between two changes, once it has settled.

    Equations: with k doses D between two changes, uptake u, time T between changes, share f, source S and R given after
    each change: gain g = k D - u T; before a change C = S + (g + R) / f; after it A = C - g. Right after the first
    dose A + D, after the last A + k D - (k - 1) u T / k; the lowest is A or C.
    Shapes and units: as `Routine`; two levels.
    Valid for: changes that come every so many whole doses; uptake that does not depend on the level, so only where the
    lowest is not below 0.
    Uncertainty: exact for the model.
    Raises: ValueError where doses and changes do not keep step, or the water is never changed.
    Source: balance of mass. Not covered: a level that runs out.
    """
    if not routine.changes or routine.change_every % routine.dose_every:
        raise ValueError("doses and changes do not keep step")
    doses = routine.change_every // routine.dose_every
    gain = doses * routine.dose - routine.uptake * routine.change_every
    before = routine.source + (gain + routine.after_change) / routine.share
    after = before - gain
    first = after + routine.dose
    last = after + doses * routine.dose - (doses - 1) * routine.uptake * routine.dose_every
    return min(after, before), max(first, last)


def swing(routine: Routine) -> tuple[float, float] | None:
    """The lowest and highest level once the routine repeats itself, whatever the two intervals; None if it never does.

    Equation: over one common cycle of doses and changes the level goes from C to a C + b, a = (1 - f)^changes; it
    repeats from C = b / (1 - a). The cycle is then gone through once more from there.
    Shapes and units, valid for, uncertainty, source, not covered: as `closed_swing`, for any two intervals in hours.
    """
    if not routine.changes:
        return None
    hours = math.lcm(routine.dose_every, routine.change_every)
    changes = hours // routine.change_every
    gone = 1.0 if routine.share >= 1 else -math.expm1(changes * math.log1p(-routine.share))
    start = _cycle(routine, 0.0, hours)[2] / gone
    low, high, _ = _cycle(routine, start, hours)
    return low, high


def _cycle(routine: Routine, level: float, hours: int) -> tuple[float, float, float]:
    """The lowest, the highest and the last level of so many hours that begin with a change and a dose.

    From one change to the next the level before each dose climbs or sinks evenly, so that its ends bound it.
    """
    dose, every, between = routine.dose, routine.dose_every, routine.change_every
    used, step = routine.uptake * between, routine.dose - routine.uptake * every
    low, high = level, -math.inf
    for hour in range(0, hours, between):
        level = routine.changed(level)
        low, high = min(low, level), max(high, level)
        until_first = -hour % every
        if until_first < between:
            more = (between - until_first - 1) // every
            first = level - routine.uptake * until_first
            last = first + more * step
            low, high = min(low, first, last), max(high, first + dose, last + dose)
            level += (more + 1) * dose
        level -= used
        low = min(low, level)
    return low, high, level


@dataclass(frozen=True)
class Day:
    """One day: the level at its beginning, changes and rise by doses in it, the level after the last of them."""

    before: float
    changes: int
    rise: float
    after: float


def days_of(routine: Routine, start: float, first: float, days: int, never_above: float) -> list[Day]:
    """The level day by day, the first dose at once together with `first`, the first change one interval later.

    Of each dose no more is given than up to `never_above`; a level that uptake would take below 0 stops there.
    Shapes and units: as `Routine`; levels in its unit.
    """
    level, told, then = start, [], 0
    for day in range(days):
        before, changes, given, after = None, 0, 0.0, 0.0
        for hour in range(24 * day, 24 * (day + 1)):
            change = routine.changes and hour > 0 and hour % routine.change_every == 0
            dose = hour % routine.dose_every == 0
            if not (change or dose or hour == 24 * day):
                continue
            level, then = max(0.0, level - routine.uptake * (hour - then)), hour
            before = level if before is None else before
            wished = first if hour == 0 else 0.0
            if change:
                level = after_changes(level, routine.source, routine.share, 1)
                changes, wished = changes + 1, wished + routine.after_change
            wished += routine.dose if dose else 0.0
            rise = min(wished, max(0.0, never_above - level))
            level, given = level + rise, given + rise
            after = level
        assert before is not None, "a day begins"
        told.append(Day(before, changes, given, after))
    return told
