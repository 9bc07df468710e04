"""What has been tried with plants: by kind, spot, method or place, how often, how it ended, how long it held."""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property

from sqlalchemy.orm import Session

from weirbook.actions.plan_task import room_zone
from weirbook.engine.relations.survival import Curve, Told, kaplan_meier
from weirbook.engine.relations.survival import Life as Watched
from weirbook.engine.times import day_of
from weirbook.record.planted import Kind, Life, Stay, kinds_of, lives_of, paths_of
from weirbook.record.plants import LOST, MOVED, REMOVED, STANDS, UPROOTED

BY = ("kind", "growth_form", "spot", "method", "place")
"""What outcomes can be told apart by."""
USUAL_BY = ("kind", "method")
HELD_DAYS = (30, 90)
FEW = 5
"""Fewer tries tell little of a rate. Our own choice."""
DAY_MS = 86_400_000

METHOD_WORDS: Mapping[str, str] = {
    "bare_root": "bare-rooted",
    "pot": "in a pot",
    "ring": "in a ring",
    "on_wood": "on wood",
    "on_stone": "on stone",
    "floating": "floating",
    "basket": "in a basket",
    "other": "put in some other way",
}
FORM_WORDS: Mapping[str, str] = {
    "rooted": "rooted plants",
    "attached": "attached plants",
    "floating": "floating plants",
    "emergent": "emergent plants",
}


@dataclass(frozen=True)
class Try:
    """One stretch of a planting at a spot by a method, and how it ended by now."""

    life: Life
    kind: Kind
    stay: Stay
    path: str
    now_ms: int
    looked: date
    """Day of the room on which the planting was last looked at, by what was told of it."""

    @property
    def days(self) -> float:
        """How long it held, or has held."""
        end = self.now_ms if self.stay.to_ms is None else self.stay.to_ms
        return max(0, end - self.stay.from_ms) / DAY_MS

    @property
    def planting(self) -> str:
        return str(self.life.planting_id)

    @property
    def outcome(self) -> str:
        return self.stay.ended or STANDS

    @property
    def failed(self) -> bool:
        return self.outcome in (LOST, UPROOTED)

    def told_by(self, what: str) -> str | None:
        """What it is grouped by: spots alike but for capitals, spaces and the last full stop are one."""
        if what == "kind":
            return self.kind.handle
        if what == "growth_form":
            return self.kind.growth_form
        if what == "place":
            return self.path
        return self.stay.method if what == "method" else alike(self.stay.spot)


def alike(spot: str | None) -> str | None:
    """A spot in words as it is compared with others."""
    return None if spot is None else re.sub(r"\s+", " ", spot).strip().rstrip(".").casefold()


def tries_of(session: Session, now_ms: int) -> list[Try]:
    """Every try up to now, oldest planting first."""
    kinds, paths, where = kinds_of(session), paths_of(session), room_zone(session)
    return [
        Try(life, kinds[life.kind_id], stay, paths[stay.place_id], now_ms, day_of(life.looked_ms, where))
        for life in lives_of(session, until_ms=now_ms)
        for stay in life.stays
    ]


@dataclass(frozen=True)
class Outcome:
    """What became of the tries that are alike in `by`."""

    by: tuple[str, ...]
    tries: Sequence[Try]

    @cached_property
    def counts(self) -> Counter[str]:
        return Counter(one.outcome for one in self.tries)

    @cached_property
    def curve(self) -> Curve:
        """Of holding: lost and uprooted end it, what was moved, removed or stands is watched so far and no longer."""
        return kaplan_meier(Watched(one.days, one.failed) for one in self.tries)

    @property
    def plantings(self) -> int:
        return len({one.planting for one in self.tries})

    @property
    def few(self) -> bool:
        return len(self.tries) < FEW

    @property
    def failures_by(self) -> list[tuple[str | None, int]]:
        """By whom or what those were lost or uprooted, as told, the most frequent first; None: nobody knows."""
        told: dict[str | None, list[str | None]] = defaultdict(list)
        for one in self.tries:
            if one.failed:
                told[alike(one.stay.by)].append(one.stay.by)
        ordered = sorted(told.items(), key=lambda item: (-len(item[1]), item[0] is None, item[0] or ""))
        return [(words[-1], len(words)) for _, words in ordered]

    def held(self, days: int) -> Told | None:
        """The share that held so long; None where none was watched so long."""
        return self.curve.told_at(float(days))

    def longest(self, outcome: str) -> float | None:
        """Days of the longest try that ended so."""
        return max((one.days for one in self.tries if one.outcome == outcome), default=None)

    @property
    def called(self) -> str:
        """What they have in common, in words."""
        newest = self.tries[-1]
        told = {
            "kind": newest.kind.name,
            "growth_form": FORM_WORDS.get(newest.kind.growth_form, newest.kind.growth_form),
            "spot": "no spot told" if newest.stay.spot is None else f"'{newest.stay.spot}'",
            "method": METHOD_WORDS.get(newest.stay.method, newest.stay.method),
            "place": f"in {newest.path}",
        }
        words = ", ".join(told[name] for name in BY if name in self.by)
        return words[:1].upper() + words[1:]

    @property
    def words(self) -> str:
        """A plain sentence."""
        return f"{self.called}: {self.ended}.{self._rates()}"

    @property
    def ended(self) -> str:
        """How often it was tried and how that ended, in words."""
        number = len(self.tries)
        ends = [self._group(outcome, number) for outcome in (LOST, UPROOTED, MOVED, REMOVED, STANDS)]
        told = [one for one in ends if one]
        if len(told) == 1:
            return f"{number} tried, {told[0]}"
        return f"{number} tried: {', '.join(told)}"

    def _group(self, outcome: str, number: int) -> str:
        """How many ended so, and when: "2 lost within 20 days", "all stand, the oldest 140 days"."""
        count, days = self.counts[outcome], self.longest(outcome)
        if not count or days is None:
            return ""
        every = count == number
        who = {1: "it"}.get(number, {2: "both"}.get(number, "all")) if every else str(count)
        if outcome == STANDS:
            stand = "stands" if count == 1 else "stand"
            lasted = f"{'for' if count == 1 else 'the oldest'} {in_days(days)}"
            return f"{who} {stand}, {lasted} ({self._looked()})"
        head = outcome if who == "it" else f"{who} {outcome}"
        when = f"after {in_days(days)}" if count == 1 else f"within {in_days(days)}"
        by = self._by(outcome)
        return f"{head} {when}{by}"

    def _looked(self) -> str:
        """When those that stand were last looked at: what nobody looked at since may be gone."""
        days = sorted(one.looked for one in self.tries if one.outcome == STANDS)
        until = f" to {days[-1]}" if days[-1] != days[0] else ""
        return f"last looked at {days[0]}{until}"

    def _by(self, outcome: str) -> str:
        if outcome not in (LOST, UPROOTED):
            return ""
        names = Counter(one.stay.by for one in self.tries if one.outcome == outcome and one.stay.by)
        told = [f"{name} {times} times" if times > 1 else name for name, times in names.most_common(3)]
        return f" ({'; '.join(told)})" if told else ""

    def _rates(self) -> str:
        if self.few:
            return " So few tries say little." if len(self.tries) > 1 else " One try says little."
        rates = []
        for days in HELD_DAYS:
            told = self.held(days)
            if told is None:
                rates.append(f"{days} days: unknown, because none was watched so long")
                continue
            span = "" if told.low is None or told.high is None else f" ({_span(told)}, 95 % interval)"
            rates.append(f"{days} days: {round(100 * told.survival)} %{span}")
        return f" Held {'; '.join(rates)}."


def _span(told: Told) -> str:
    low, high = bounds_of(told)
    return f"{100 * (low or 0):.0f} to {100 * (high or 0):.0f} %"


def bounds_of(told: Told) -> tuple[float | None, float | None]:
    """The interval to two digits, never narrower than it is."""
    low = None if told.low is None else math.floor(told.low * 100 + 1e-9) / 100
    high = None if told.high is None else math.ceil(told.high * 100 - 1e-9) / 100
    return low, high


def days_of(days: float | None) -> float | None:
    """Days as nobody knows them finer: a tenth below ten, whole ones from there on."""
    if days is None:
        return None
    return round(days, 1) if days < 10 else float(round(days))


def in_days(days: float) -> str:
    """The same in words, never less than a day."""
    whole = max(1, round(days))
    return "a day" if whole == 1 else f"{whole} days"


def outcomes_of(tries: Iterable[Try], by: Sequence[str]) -> list[Outcome]:
    """Tries alike in `by`, gathered; those most often tried first."""
    found: dict[tuple[str | None, ...], list[Try]] = defaultdict(list)
    for one in tries:
        found[tuple(one.told_by(name) for name in by)].append(one)
    ordered = sorted(found.items(), key=lambda item: (-len(item[1]), tuple(one or "" for one in item[0])))
    return [
        Outcome(tuple(by), sorted(some, key=lambda one: (one.stay.from_ms, one.planting)))
        for _, some in ordered
    ]
