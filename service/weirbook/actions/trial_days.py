"""The days of a trial's phases that count, and what its gauges read on each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from weirbook.actions.read_windows import read_windows
from weirbook.engine.relations.differences import Stretch
from weirbook.engine.relations.windows import Stats
from weirbook.engine.times import day_of, midnight_ms
from weirbook.errors import Invalid
from weirbook.record.equipment import Gauge
from weirbook.record.trials import Trial

MOST_DAYS = 731
"""Two years of days: more are no trial but a season after a season, and slow to weigh."""
LARGEST, SMALLEST = 1e30, 1e-60
"""In a gauge's unit: squares of what lies beyond leave a float's range. Nothing measured does."""
LEAST_COVERED = 0.5
"""Of a day, by a sensor whose readings are weighted by time: common practice; half a day has no daily mean."""


@dataclass(frozen=True)
class PhaseDays:
    """A phase and its days that count, `first` up to but without `end`: whole days of the room, settle time left out."""

    setting: str
    from_ms: int
    to_ms: int | None
    begins: date
    first: date
    end: date


@dataclass(frozen=True)
class Daily:
    """What a gauge read: its days with a value, how many days had too little to count, readings told only by a bound."""

    values: Mapping[int, float]
    uncovered: int
    qualified: int

    def within(self, phase: PhaseDays) -> Stretch:
        """The values of a phase, days numbered as `date.toordinal` does."""
        days = tuple(
            day for day in range(phase.first.toordinal(), phase.end.toordinal()) if day in self.values
        )
        return Stretch(days, tuple(self.values[day] for day in days))


def phase_days(trial: Trial, where: ZoneInfo, now: int) -> list[PhaseDays]:
    """The days of each phase up to now. Raises Invalid where they are too many to weigh."""
    found = []
    for one in trial.phases:
        start, end, settle = one["from_ms"], one.get("to_ms"), one.get("settle")
        settled = start + (0 if settle is None else round(settle.si("time") * 1000))
        first = day_of(settled, where)
        if midnight_ms(first, where) < settled:
            first += timedelta(days=1)
        last = day_of(now if end is None else min(end, now), where)
        found.append(PhaseDays(one["setting"], start, end, day_of(start, where), first, max(first, last)))
    count = sum((one.end - one.first).days for one in found)
    if count > MOST_DAYS:
        raise Invalid(
            f"The phases of this trial cover {count} days; a result is worked out for {MOST_DAYS} at most. Give its"
            " phases an end, or make a trial of each part.",
            slug="too-many-days",
        )
    return found


def daily_values(
    session: Session, gauges: Sequence[Gauge], phases: Sequence[PhaseDays], where: ZoneInfo
) -> dict[int, Daily]:
    """Daily means of each gauge over all phases, by gauge number, from the rollups."""
    told = [one for one in phases if one.end > one.first]
    if not told:
        return {gauge.id: Daily({}, 0, 0) for gauge in gauges}
    first, end = told[0].first, max(one.end for one in told)
    days = [first + timedelta(days=count) for count in range((end - first).days + 1)]
    edges = [midnight_ms(day, where) for day in days]
    counted = {day for one in told for day in range(one.first.toordinal(), one.end.toordinal())}
    read = read_windows(session, gauges, edges)
    return {
        gauge.id: _daily(dict(zip(days[:-1], read[gauge.id].stats, strict=True)), edges, counted)
        for gauge in gauges
    }


def _daily(stats: Mapping[date, Stats], edges: Sequence[int], counted: set[int]) -> Daily:
    values: dict[int, float] = {}
    uncovered = qualified = 0
    for (day, one), start_ms, end_ms in zip(stats.items(), edges, edges[1:], strict=False):
        if day.toordinal() not in counted or one.mean is None:
            continue
        if one.weighted and one.covered_ms < LEAST_COVERED * (end_ms - start_ms):
            uncovered += 1
            continue
        if abs(one.mean) > LARGEST:
            raise Invalid(
                f"On {day.isoformat()} a gauge of this trial reads {one.mean:g}: no such figure can be weighed. Correct or"
                " exclude the reading.",
                slug="implausible-figure",
            )
        values[day.toordinal()] = one.mean if abs(one.mean) > SMALLEST else 0.0
        qualified += one.qualified
    return Daily(values, uncovered, qualified)
