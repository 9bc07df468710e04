"""How species have done in this room over the years: how many came, how long they lived, where, and from whom."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from weirbook.actions.fish_history import DAY_MS, History
from weirbook.actions.rate_losses import Rate, Scope, Survival, rate_row, source_of, survival_row
from weirbook.engine.relations.cohorts import (
    ARRIVAL,
    BIRTH,
    LOSS,
    MISSING,
    MOVE,
    Batch,
    Stay,
    ended,
    fish_days,
    lives,
)
from weirbook.engine.relations.survival import kaplan_meier
from weirbook.engine.shape import Assumption, Caution

SPECIES, SOURCE, SYSTEM = "species", "source", "system"
BY = (SOURCE, SPECIES, SYSTEM)
HALF_A_FISH = 0.5
"""Below that many heads by the shares of losses a batch is taken to be gone."""


@dataclass(frozen=True)
class Experience:
    """What is known of one part of the fish. `longest_days` is how long the last of a batch was kept, and `longest_in`
    where that was; `living` whether it still is."""

    by: str
    key: str
    called: str
    brought_in: int
    born: int
    batches: int
    first_ms: int | None
    heads: int
    rate: Rate
    survival: Survival
    longest_days: float | None
    longest_in: str | None
    living: bool
    causes: tuple[tuple[str, float], ...]
    says: str


def species_experience(history: History, by: str, *, species: str | None = None) -> list[Experience]:
    """One row for each source, species or system; of one species or of all."""
    groups = frozenset(one.id for one in history.groups.values() if species in (None, one.species))
    first = history.lines[0].happened_at_ms if history.lines else history.now_ms
    scope = Scope(groups, first, history.now_ms + 1)
    stays = [stay for group in groups for stay in history.stays_of.get(group, ())]
    split: dict[str, list[Stay]] = defaultdict(list)
    key_of = _key_of(history, by)
    for stay in stays:
        split[key_of(stay)].append(stay)
    names = {one.species: one.species_name for one in history.groups.values()}
    return [
        _row(history, scope, by, key, names.get(key, key) if by == SPECIES else key, split[key])
        for key in sorted(split)
    ]


def whole_of(history: History, species: str, called: str) -> Experience:
    """All of one species together."""
    groups = [one.id for one in history.groups.values() if one.species == species]
    first = history.lines[0].happened_at_ms if history.lines else history.now_ms
    scope = Scope(frozenset(groups), first, history.now_ms + 1)
    stays = [stay for group in groups for stay in history.stays_of.get(group, ())]
    return _row(history, scope, SPECIES, species, called, stays)


def _key_of(history: History, by: str) -> Callable[[Stay], str]:
    if by == SOURCE:
        return lambda stay: source_of(stay.batch)
    if by == SPECIES:
        return lambda stay: history.groups[stay.group].species  # type: ignore[index]
    # A group lives in one tank; a stay counts where that tank belonged as the fish came into it.
    return lambda stay: str(history.water_name(history.water_of(stay.group, stay.from_ms)))  # type: ignore[arg-type]


def _row(history: History, scope: Scope, by: str, key: str, called: str, stays: Sequence[Stay]) -> Experience:
    came = _came(history, by, key, stays)
    curve = kaplan_meier(lives(stays, scope.from_ms, scope.to_ms))
    days = fish_days(stays, scope.from_ms, scope.to_ms)
    lost = sum(stay.heads for stay in ended(stays, [LOSS], scope.from_ms, scope.to_ms))
    missing = sum(stay.heads for stay in ended(stays, [MISSING], scope.from_ms, scope.to_ms))
    longest = _longest(history, stays, moved_too=by == SYSTEM)
    causes: dict[str, float] = defaultdict(float)
    for stay in ended(stays, [LOSS], scope.from_ms, scope.to_ms):
        causes[stay.cause or "unknown"] += stay.heads
    row = Experience(
        by,
        key,
        called,
        sum(heads for batch, heads in came.items() if batch.kind == ARRIVAL),
        sum(heads for batch, heads in came.items() if batch.kind == BIRTH),
        len({stay.batch.id for stay in stays}),
        min((stay.from_ms for stay in stays), default=None),
        round(sum(stay.heads for stay in stays if stay.to_ms is None)),
        rate_row(by, key, called, days, lost, missing),
        survival_row(by, key, called, curve),
        None if longest is None else longest[0],
        None if longest is None else longest[1],
        longest is not None and longest[2],
        tuple(sorted(causes.items(), key=lambda one: (-one[1], one[0]))),
        "",
    )
    return Experience(**{**row.__dict__, "says": _says(row)})


def _came(history: History, by: str, key: str, stays: Iterable[Stay]) -> dict[Batch, int]:
    """Heads of each batch as it came; of a system only batches that began there."""
    numbers = {line.id: line.number for line in history.lines if line.kind in (ARRIVAL, BIRTH)}
    return {
        stay.batch: numbers[stay.batch.id]  # type: ignore[index]
        for stay in stays
        if stay.batch.id in numbers
        and (
            by != SYSTEM or history.water_name(history.water_of(_group(stay.batch), stay.batch.at_ms)) == key
        )
    }


def _group(batch: Batch) -> uuid.UUID:
    assert isinstance(batch.group, uuid.UUID)
    return batch.group


def _longest(history: History, stays: Sequence[Stay], *, moved_too: bool) -> tuple[float, str, bool] | None:
    """The greatest age to which at least half a fish of a batch was kept, in which tank, and whether it lives.

    Of one system those count that were moved out of it, too: they lived there until then.
    """
    of_batch: dict[object, list[Stay]] = defaultdict(list)
    for stay in stays:
        if stay.batch.age_known and (moved_too or stay.end != MOVE):
            of_batch[stay.batch.id].append(stay)
    best: tuple[float, str, bool] | None = None
    for some in of_batch.values():
        left = 0.0
        for stay in sorted(some, key=lambda one: -_end(history, one)):
            left += stay.heads
            if left >= HALF_A_FISH:
                age = (_end(history, stay) - stay.batch.at_ms) / DAY_MS
                if best is None or age > best[0]:
                    best = age, history.groups[stay.group].tank, stay.to_ms is None  # type: ignore[index]
                break
    return best


def _end(history: History, stay: Stay) -> int:
    return history.now_ms if stay.to_ms is None else stay.to_ms


def _says(one: Experience) -> str:
    if not one.batches:
        return f"Unknown, because no {one.called} were ever recorded."
    told = []
    if one.brought_in:
        told.append(f"{one.brought_in} brought in")
    if one.born:
        told.append(f"{one.born} born")
    words = f"{one.called}: {', '.join(told) or 'none came first to it'}; {one.heads} now."
    if known := [(day, each) for day, each in one.survival.told if each is not None]:
        day, each = known[-1]
        words += (
            f" Of 100 that came {each.survival * 100:.0f} lived to day {day:.0f}"
            f" (95 % interval {each.low * 100:.0f} to {each.high * 100:.0f})."
        )
    else:
        words += " Survival is unknown, because none were watched from the beginning for a week."
    if one.longest_days is not None:
        words += f" Longest kept: {one.longest_days:.0f} days, in {one.longest_in}{', living' if one.living else ''}."
    return words


def assumptions_of() -> list[Assumption]:
    return [
        Assumption(
            "Results differ by water and by source: a row of few fish tells of those fish.", "common practice"
        ),
        Assumption("Losses that name no batch are shared among a group's batches by their heads.", "default"),
        Assumption(
            "Missing fish are out of sight from then on, and so are those that left; fish that a count found have no known age.",
            "default",
        ),
        Assumption(
            "In a system fish count as long as they live there, from the age at which they came to it.",
            "default",
        ),
        Assumption("Age counts from arrival in this room: what fish lived before is not known.", "default"),
    ]


CAUTIONS = (
    Caution(
        "not-independent",
        "Fish of one batch share their fate: intervals take each by itself, and are too narrow where many died of one thing.",
    ),
    Caution("past", "A source or water that did well so far shortens no quarantine."),
)
