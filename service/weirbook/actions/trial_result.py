"""What a trial shows: its outcomes by phase from the rollups, judged, beside what else happened meanwhile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.changed_meanwhile import Happened, changed_meanwhile, systems_of
from weirbook.actions.told import capital, parameter_name
from weirbook.actions.trial_days import LEAST_COVERED, Daily, PhaseDays, daily_values, phase_days
from weirbook.engine.relations import trials as engine
from weirbook.engine.relations.resampling import Centre
from weirbook.engine.relations.trial_words import TrialWords
from weirbook.engine.shape import Assumption, Source
from weirbook.engine.units import Quantity, step_of
from weirbook.record.equipment import Gauge
from weirbook.record.trials import Trial

SOURCES = (
    Source(
        "Zellner and Tiao",
        1964,
        "Bayesian analysis of the regression model with autocorrelated errors, J. Am. Stat. Assoc. 59",
        "p. 763",
        "The interval of a difference, and step beside trend: every persistence of days is tried and weighed. Its coverage is"
        " held to simulated rooms.",
    ),
    Source(
        "Künsch",
        1989,
        "The jackknife and the bootstrap for general stationary observations, Annals of Statistics 17",
        "p. 1217",
        "Moving blocks; the wider of the two intervals is given. Lengths of blocks by the variance of blocks that overlap,"
        " from memory.",
    ),
    Source(
        "Bayley and Hammersley",
        1946,
        "The effective number of independent observations, Suppl. J. Royal Stat. Society 8",
        "p. 184",
        "How many independent days a phase is worth.",
    ),
    Source(
        "Gilbert",
        1987,
        "Statistical Methods for Environmental Pollution Monitoring",
        "sections 16.4 and 16.5",
        "Mann–Kendall and Sen, widened after Hamed and Rao (1998).",
    ),
    Source(
        "Schuirmann",
        1987,
        "A comparison of the two one-sided tests procedure, J. Pharmacokinetics and Biopharmaceutics 15",
        "p. 657",
        "Flat: the whole 90 % interval within the smallest difference that matters.",
    ),
    Source(
        "Royall",
        1997,
        "Statistical Evidence",
        "chapter 1",
        "Eight times likelier is fairly strong; from memory.",
    ),
)


@dataclass(frozen=True)
class Shown:
    """One outcome: its gauge, what was worked out, the words for it, and what of its readings is to be known."""

    gauge: Gauge
    trial: engine.Trial
    words: TrialWords
    daily: Daily

    def limits(self) -> list[str]:
        """What it can't show."""
        told = self.words.limits()
        if self.daily.qualified:
            told.append(
                f"Readings that say only below, above or between: {self.daily.qualified}. They count at their bound or"
                " middle, so differences may look smaller than they are."
            )
        if self.daily.uncovered:
            told.append(
                f"Days left out, because readings cover less than {100 * LEAST_COVERED:g} % of them: {self.daily.uncovered}."
            )
        return told


@dataclass(frozen=True)
class TrialResult:
    """The answer. `followed` says whether it is known where to look for what else happened."""

    row: Trial
    of: Centre
    phases: Sequence[PhaseDays]
    outcomes: Sequence[Shown]
    meanwhile: Sequence[Happened]
    followed: bool

    def reading(self) -> str:
        """All outcomes in one paragraph each, behind each other."""
        return " ".join(one.words.reading() for one in self.outcomes)

    def assumptions(self) -> list[Assumption]:
        """What is taken for granted."""
        told = [
            Assumption(
                "Whole days of the room count, from the end of a phase's settle time; the day of a change does not.",
                "default",
            ),
            Assumption("Each day counts by its mean, a sensor's weighted by time.", "default"),
        ]
        own = [one for one in self.meanwhile if one.own and not one.routine]
        if own:
            names = "; ".join(f"{one.day.isoformat()}: {one.told.words}" for one in own)
            told.append(
                Assumption(f"Taken for what the trial itself varies, by its words and day: {names}", "record")
            )
        routine = list(dict.fromkeys(one.phrase for one in self.meanwhile if one.routine))
        if routine:
            told.append(
                Assumption(
                    f"Went on throughout, in half of the weeks and more, so it sets no phase apart: {', '.join(routine)}."
                    " Whether its amount changed is not looked at.",
                    "record",
                )
            )
        if not self.followed:
            told.append(
                Assumption(
                    "What else changed is unknown, because neither the trial's place nor its gauges lie in a system.",
                    "record",
                )
            )
        return told


def trial_result(session: Session, row: Trial, where: ZoneInfo, now: int, of: Centre = "mean") -> TrialResult:
    """Work out a trial as its phases stand now. Raises Invalid where they cover too many days."""
    phases = phase_days(row, where, now)
    gauges = _gauges(session, row)
    daily = daily_values(session, [gauge for gauge, _ in gauges], phases, where)
    systems = systems_of(session, row, [gauge.place_id for gauge, _ in gauges])
    abouts = _about_the_changes(phases, list(daily.values()))
    meanwhile = changed_meanwhile(session, row, systems, phases, abouts, where, now)
    outcomes = [_shown(gauge, matters, phases, daily[gauge.id], meanwhile, of) for gauge, matters in gauges]
    return TrialResult(row, of, phases, outcomes, meanwhile, bool(systems))


def _about_the_changes(phases: Sequence[PhaseDays], daily: Sequence[Daily]) -> list[list[range]]:
    """Of each phase the days on which something else may have made its difference, for each gauge; none of the first."""
    return [
        [
            engine.about_the_change(one.within(before), one.within(phase), phase.begins.toordinal())
            for one in daily
            if before is not None
        ]
        for before, phase in zip((None, *phases), phases, strict=False)
    ]


def _gauges(session: Session, row: Trial) -> list[tuple[Gauge, Quantity | None]]:
    """The outcomes' gauges in the trial's order, each with the smallest difference that matters."""
    named = {one["gauge"]: one.get("matters") for one in row.outcomes}
    found = {
        gauge.handle: gauge
        for gauge in session.scalars(sa.select(Gauge).where(Gauge.handle.in_(list(named)))).unique()
    }
    return [(found[handle], matters) for handle, matters in named.items() if handle in found]


def _shown(
    gauge: Gauge,
    matters: Quantity | None,
    phases: Sequence[PhaseDays],
    daily: Daily,
    meanwhile: Sequence[Happened],
    of: Centre,
) -> Shown:
    outcome = engine.Outcome(
        f"{capital(parameter_name(gauge.parameter))} ({gauge.handle})",
        gauge.unit,
        tuple(engine.Phase(one.setting, one.begins.toordinal(), daily.within(one)) for one in phases),
        of=of,
        margin=_in_unit(gauge, matters),
        resolution=_in_unit(gauge, gauge.resolution),
        meanwhile=tuple(
            engine.Meanwhile(one.day.toordinal(), one.phrase, one.during, one.named)
            for one in sorted(
                meanwhile, key=lambda one: "planting" in one.told.kind
            )  # plants last: they weigh least
            if one.counts
        ),
        day_words=lambda day: date.fromordinal(day).isoformat(),
    )
    trial = engine.Trial(outcome)
    return Shown(gauge, trial, TrialWords(trial), daily)


def _in_unit(gauge: Gauge, step: Quantity | None) -> float | None:
    """A step of the gauge's scale in its own unit."""
    return None if step is None else step.to(gauge.unit, step_of(gauge.kind)).value
