"""What else happened in a trial's water while it went on: what may have moved its outcomes besides what was varied."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from weirbook.actions.timeline import timeline
from weirbook.actions.told import Look, Told, heads, plain
from weirbook.actions.trial_days import PhaseDays
from weirbook.engine.times import day_of, midnight_ms
from weirbook.record.places import System
from weirbook.record.trials import Trial
from weirbook.record.whereabouts import whereabouts

PHRASES: Mapping[str, str] = {
    "change": "a change noted",
    "cleaning": "a cleaning",
    "trial": "a phase of another trial",
    "dose": "a dose",
    "water_change": "a water change",
    "standing_exchange": "another drip or top-off",
    "ration": "another ration",
    "feeding": "a feeding that differed",
    "arrival": "fish that came",
    "birth": "young fish",
    "move": "fish that moved",
    "loss": "fish lost",
    "missing": "fish missing",
    "departure": "fish that left",
    "transfer": "something carried over",
    "planting": "a planting",
    "planting_event": "work on plants",
    "plumbing": "a change of plumbing",
    "edit": "an edit of equipment",
}
"""Kinds of the timeline that may move an outcome, and what a reading calls them. What only tells (tests, alerts) is left out."""
LASTING = ("change", "plumbing", "ration", "standing_exchange", "arrival", "move", "planting", "trial")
"""Of these, what goes on after its day, so that it may set a phase apart wherever in it it began; besides, fittings that
were edited, plants lost and treatments dosed."""
FITTINGS = ("pump", "heater", "light", "tank", "sump", "section")
"""Whose edits may change water; an edit of a gauge, a target or a task does not."""
LONG_NAME = 60
SYNONYMS: Mapping[str, str] = {
    "ration": "feeding food ration",
    "feeding": "feeding food ration",
    "dose": "dosing dose",
    "water_change": "water change exchange",
    "cleaning": "cleaning",
    "planting": "planting plants",
    "planting_event": "planting plants trimming",
}
LEAST_TIMES = 3
ROUTINE_WEEKS = 0.5
"""What happened in half of the weeks and more, three times at least, went on throughout and sets no phase apart."""
OWN_DAYS = 1
_WORD = re.compile(r"[^\W\d_]{4,}")
_COMMON = frozenset(
    (
        "from",
        "here",
        "with",
        "this",
        "that",
        "than",
        "into",
        "more",
        "less",
        "each",
        "days",
        "week",
        "once",
        "were",
    )
)


@dataclass(frozen=True)
class Happened:
    """A line of the timeline: its day, what a reading calls it, the phases about whose change it fell.

    `during`: the phase within which it changed something that lasted. `routine`: it went on throughout. `own`: taken for what
    the trial itself varies.
    """

    told: Told
    day: date
    phrase: str
    phases: Sequence[int]
    during: int | None
    routine: bool
    own: bool

    @property
    def counts(self) -> bool:
        """Whether it may have moved the outcome besides what was varied."""
        return bool(self.phases or self.during is not None) and not self.routine and not self.own

    @property
    def named(self) -> str:
        """What a reading calls it where it did not fall into the week of a change, with its day."""
        return f"{_name(self.told, self.phrase)} ({self.day.isoformat()})"


def systems_of(session: Session, trial: Trial, places: Iterable[int]) -> list[System]:
    """The systems of the trial's place and of its gauges, as they stood when it began."""
    where = whereabouts(session, trial.starts_ms)
    found = {where.system_of(place) for place in (trial.place_id, *places)}
    return [
        session.get_one(System, (trial.room_id, number))
        for number in sorted(one for one in found if one is not None)
    ]


def changed_meanwhile(
    session: Session,
    trial: Trial,
    systems: Sequence[System],
    phases: Sequence[PhaseDays],
    abouts: Sequence[Sequence[range]],
    where: ZoneInfo,
    now: int,
) -> list[Happened]:
    """What happened from the first phase's beginning to the last one's end, oldest first, the trial itself left out.

    `abouts` are, of each phase, the days about its change for each outcome; those before the trial are looked through, too.
    """
    earliest = [midnight_ms(date.fromordinal(days.start), where) for each in abouts for days in each]
    start = min([phases[0].from_ms, *earliest])
    end = now if phases[-1].to_ms is None else min(phases[-1].to_ms, now)
    if end <= start:
        return []
    lines: dict[tuple[int, str, str], Told] = {}
    for system in systems:
        for one in timeline(Look(session, system, start, end, now, where), tuple(PHRASES)):
            if start <= one.at_ms and one.about != str(trial.id):
                lines.setdefault(one.order, one)
    told = sorted(lines.values(), key=lambda one: one.order)
    routine = _routine(told, start, end)
    varied = _stems(" ".join([trial.varied, *(phase.setting for phase in phases)]))
    return [_happened(one, phases, abouts, where, _thing(one) in routine, varied) for one in told]


def _happened(
    one: Told,
    phases: Sequence[PhaseDays],
    abouts: Sequence[Sequence[range]],
    where: ZoneInfo,
    routine: bool,
    varied: frozenset[str],
) -> Happened:
    day = day_of(one.at_ms, where)
    near = [place for place, each in enumerate(abouts) if any(day.toordinal() in days for days in each)]
    off = min(abs((day - phase.begins).days) for phase in phases)
    own = off <= OWN_DAYS and bool(varied & _stems(f"{one.words} {SYNONYMS.get(one.kind, '')}"))
    during = None
    if _lasts(one):
        within = (place for place, phase in enumerate(phases) if _holds(phase, one.at_ms))
        during = next(within, None)
    return Happened(one, day, _phrase(one), near, during, routine, own)


def _holds(phase: PhaseDays, at_ms: int) -> bool:
    return phase.from_ms <= at_ms and (phase.to_ms is None or at_ms < phase.to_ms)


def _lasts(one: Told) -> bool:
    """Whether what a line tells of changed something that goes on after its day."""
    if one.kind == "edit":
        return one.facts["noun"] in FITTINGS
    if one.kind == "planting_event":
        return bool(one.facts["event"] == "lost")
    return one.kind in LASTING or (one.kind == "dose" and bool(one.facts["treatment"]))


def _name(one: Told, phrase: str) -> str:
    """What it is called by itself: told more closely than in a list of what fell into one week."""
    facts = one.facts
    if one.kind == "change" and facts.get("changed"):
        changed = facts["changed"]
        whole = f"{changed['what']}: {changed['to']}" if changed.get("to") else changed["what"]
        return whole if len(whole) <= LONG_NAME else str(changed["what"])
    if one.kind == "plumbing":
        return one.words.rstrip(".")
    if one.kind == "edit":
        return f"an edit of {facts['noun']} {facts['subject']}"
    if one.kind == "planting":
        return f"{facts['called']} planted"
    if one.kind in ("arrival", "move"):
        return f"{heads(facts['number'], facts['called'])} {'came' if one.kind == 'arrival' else 'moved'}"
    return phrase


def _phrase(one: Told) -> str:
    changed = one.facts.get("changed") if one.kind == "change" else None
    if changed:
        return f"{changed['what']} changed"
    if one.kind == "planting_event" and one.facts["event"] == "lost":
        return "a plant lost"
    if one.kind == "dose":
        return f"a dose of {plain(one.about)}"
    return PHRASES[one.kind]


def _stems(words: str) -> frozenset[str]:
    """The beginnings of a text's longer words, by which "feedings" and "feed" meet."""
    found = _WORD.findall(words.casefold())
    return frozenset(word[:4] for word in found if word not in _COMMON)


def _thing(one: Told) -> tuple[str, str]:
    """What is the same thing done again: a kind at a place, of a dose also what was dosed."""
    return one.kind, one.about if one.kind == "dose" else one.place


def _routine(lines: Sequence[Told], start: int, end: int) -> set[tuple[str, str]]:
    week = 7 * 86_400_000
    weeks = max(-(-(end - start) // week), 1)
    seen: dict[tuple[str, str], list[int]] = defaultdict(list)
    for one in lines:
        seen[_thing(one)].append((one.at_ms - start) // week)
    return {
        thing
        for thing, when in seen.items()
        if len(when) >= LEAST_TIMES and len(set(when)) >= ROUTINE_WEEKS * weeks
    }
