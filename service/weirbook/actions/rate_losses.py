"""Rates of loss and survival of some groups of the room, over a span and by what tells them apart."""

from __future__ import annotations

import math
import uuid
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from weirbook.actions.fish_history import History
from weirbook.engine.relations.cohorts import (
    BIRTH,
    COUNT,
    LOSS,
    MISSING,
    Batch,
    Stay,
    bin_of,
    ended,
    fish_days,
    fish_days_by_age,
    lives,
)
from weirbook.engine.relations.event_rates import event_rate
from weirbook.engine.relations.survival import CHOSEN_DAYS, Curve, Told, kaplan_meier

AGE_EDGES = (7, 30, 90, 365)
"""Days since arrival between which losses are told apart."""
CONFIDENCE = 0.95
BORN_HERE, FOUND_BY_COUNT, NOT_SAID = "born here", "found by a count", "source not recorded"


@dataclass(frozen=True)
class Rate:
    """Losses over fish-days of one part of the fish. Rates are for 1000 fish-days; None where none were watched."""

    by: str
    key: str
    called: str
    fish_days: float
    lost: float
    missing: float
    rate: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Survival:
    """How long one part of the fish lived. `told` by day; None where nobody was watched so long."""

    by: str
    key: str
    called: str
    heads: float
    lost: float
    told: tuple[tuple[float, Told | None], ...]
    median: float | None


@dataclass(frozen=True)
class Scope:
    """Which groups, over which span, and whether the missing are taken for lost."""

    groups: frozenset[uuid.UUID]
    from_ms: int
    to_ms: int
    missing_is_lost: bool = False

    @property
    def ends(self) -> tuple[str, ...]:
        return (LOSS, MISSING) if self.missing_is_lost else (LOSS,)


def rate_row(by: str, key: str, called: str, days: float, lost: float, missing: float) -> Rate:
    """A rate with its exact interval; of fractions the wider one, from the whole numbers about them."""
    if days <= 0:
        return Rate(by, key, called, days, lost, missing, None, None, None)
    thousands = days / 1000
    low = event_rate(math.floor(lost + 1e-6), thousands, CONFIDENCE).low
    high = event_rate(math.ceil(lost - 1e-6), thousands, CONFIDENCE).high
    return Rate(by, key, called, days, lost, missing, lost / thousands, low, high)


def source_of(batch: Batch) -> str:
    """Where a batch came from, in words."""
    if batch.kind == BIRTH:
        return BORN_HERE
    return FOUND_BY_COUNT if batch.kind == COUNT else batch.source or NOT_SAID


def rates_of(history: History, scope: Scope) -> list[Rate]:
    """Rates of all, and by group, species, source, origin, tank, system, time since arrival and cause."""
    stays = stays_in(history, scope.groups)
    groups = history.groups
    rows = [_rate(scope, "all", "all", "all fish", stays)]
    rows += _each(
        scope, "group", stays, lambda stay: str(stay.group), lambda key: groups[uuid.UUID(key)].called
    )
    names = {one.species: one.species_name for one in groups.values()}
    rows += _each(scope, "species", stays, lambda stay: groups[stay.group].species, names.__getitem__)  # type: ignore[index]
    rows += _each(scope, "source", stays, lambda stay: source_of(stay.batch))
    rows += _each(scope, "origin", stays, lambda stay: groups[stay.group].origin or "origin not recorded")  # type: ignore[index]
    rows += _each(scope, "tank", stays, lambda stay: groups[stay.group].tank)  # type: ignore[index]
    rows += _by_system(history, scope)
    rows += _by_age(scope, stays)
    return rows + _by_cause(scope, stays, rows[0].fish_days)


def stays_in(history: History, groups: Iterable[uuid.UUID]) -> list[Stay]:
    return [stay for group in groups for stay in history.stays_of.get(group, ())]


def _lost(scope: Scope, stays: Iterable[Stay], ends: Sequence[str]) -> float:
    return sum(stay.heads for stay in ended(stays, ends, scope.from_ms, scope.to_ms))


def _rate(scope: Scope, by: str, key: str, called: str, stays: Sequence[Stay]) -> Rate:
    days = fish_days(stays, scope.from_ms, scope.to_ms)
    return rate_row(by, key, called, days, _lost(scope, stays, scope.ends), _lost(scope, stays, [MISSING]))


def _each(
    scope: Scope,
    by: str,
    stays: Sequence[Stay],
    key_of: Callable[[Stay], str],
    called: Callable[[str], str] = str,
) -> list[Rate]:
    parts: dict[str, list[Stay]] = defaultdict(list)
    for stay in stays:
        parts[key_of(stay)].append(stay)
    rows = [_rate(scope, by, key, called(key), parts[key]) for key in sorted(parts)]
    return [row for row in rows if row.fish_days or row.lost or row.missing]


def _by_system(history: History, scope: Scope) -> list[Rate]:
    """By the water that tanks were part of at the time."""
    days: dict[str, float] = defaultdict(float)
    lost: dict[str, float] = defaultdict(float)
    missing: dict[str, float] = defaultdict(float)
    for group in scope.groups:
        stays = history.stays_of.get(group, ())
        for start, end, water in history.waters.during(
            history.groups[group].tank_id, scope.from_ms, scope.to_ms
        ):
            name = str(history.water_name(water))
            part = Scope(scope.groups, start, end, scope.missing_is_lost)
            days[name] += fish_days(stays, start, end)
            lost[name] += _lost(part, stays, scope.ends)
            missing[name] += _lost(part, stays, [MISSING])
    return [
        rate_row("system", name, name, days[name], lost[name], missing[name])
        for name in sorted(days)
        if days[name] or lost[name] or missing[name]
    ]


def _by_age(scope: Scope, stays: Sequence[Stay]) -> list[Rate]:
    days = fish_days_by_age(stays, AGE_EDGES, scope.from_ms, scope.to_ms)
    lost, missing = ([0.0] * (len(AGE_EDGES) + 1) for _ in range(2))
    for counted, ends in ((lost, scope.ends), (missing, (MISSING,))):
        for stay in ended(stays, ends, scope.from_ms, scope.to_ms):
            if stay.batch.age_known and stay.to_ms is not None:
                counted[bin_of(stay.age(stay.to_ms), AGE_EDGES)] += stay.heads
    names = [f"{low} to {high} days" for low, high in zip((0, *AGE_EDGES), AGE_EDGES, strict=False)]
    names.append(f"{AGE_EDGES[-1]} days and more")
    return [
        rate_row("since arrival", name, name, *counts)
        for name, *counts in zip(names, days, lost, missing, strict=True)
        if any(counts)
    ]


def _by_cause(scope: Scope, stays: Sequence[Stay], days: float) -> list[Rate]:
    lost: dict[str, float] = defaultdict(float)
    for stay in ended(stays, [LOSS], scope.from_ms, scope.to_ms):
        lost[stay.cause or "unknown"] += stay.heads
    return [rate_row("cause", cause, cause, days, lost[cause], 0.0) for cause in sorted(lost)]


def survival_row(by: str, key: str, called: str, curve: Curve) -> Survival:
    """Survival at the chosen days with its interval."""
    told = tuple((day, curve.told_at(day, CONFIDENCE)) for day in CHOSEN_DAYS)
    return Survival(by, key, called, curve.heads, curve.lost, told, curve.median())


def survivals_of(history: History, scope: Scope) -> list[Survival]:
    """Survival of all fish of known age, and by species, source and group."""
    stays = [stay for stay in stays_in(history, scope.groups) if stay.batch.age_known]
    groups = history.groups
    names = {one.species: one.species_name for one in groups.values()}
    parts: list[tuple[str, Callable[[Stay], str], Callable[[str], str]]] = [
        ("all", lambda stay: "all", lambda key: "all fish"),
        ("species", lambda stay: groups[stay.group].species, names.__getitem__),  # type: ignore[index]
        ("source", lambda stay: source_of(stay.batch), str),
        ("group", lambda stay: str(stay.group), lambda key: groups[uuid.UUID(key)].called),
    ]
    return [row for by, key_of, called in parts for row in survival_by(scope, stays, by, key_of, called)]


def survival_by(
    scope: Scope,
    stays: Iterable[Stay],
    by: str,
    key_of: Callable[[Stay], str],
    called: Callable[[str], str] = str,
) -> list[Survival]:
    split: dict[str, list[Stay]] = defaultdict(list)
    for stay in stays:
        split[key_of(stay)].append(stay)
    rows = []
    for key in sorted(split):
        some = lives(split[key], scope.from_ms, scope.to_ms, missing_is_lost=scope.missing_is_lost)
        curve = kaplan_meier(some)
        if curve.heads:
            rows.append(survival_row(by, key, called(key), curve))
    return rows
