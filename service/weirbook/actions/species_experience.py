"""How species have done in this room over the years: how many came, how long they lived, where, and from whom."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

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
from weirbook.engine.relations.survival import Told, kaplan_meier
from weirbook.engine.shape import Assumption, Caution

SPECIES, SOURCE, SYSTEM = "species", "source", "system"
BY = (SOURCE, SPECIES, SYSTEM)
WHOLE = 1e-6
"""So near to a whole number of heads fractions come where they cancel."""
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
    if by == SYSTEM:
        for water, stay in _by_water(history, stays):
            split[water].append(stay)
    else:
        for stay in stays:
            split[source_of(stay.batch) if by == SOURCE else history.groups[stay.group].species].append(stay)  # type: ignore[index]
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


def _by_water(history: History, stays: Iterable[Stay]) -> Iterator[tuple[str, Stay]]:
    """The stays, parted where a tank came to other water: what lived on there is moved, and comes under watch late."""
    for stay in stays:
        start, came_by = stay.from_ms, stay.came_by
        tank = history.groups[stay.group].tank_id  # type: ignore[index]
        # As in rates, a loss at the instant of joining happened in the new water.
        end = max(_end(history, stay) + (stay.end in (LOSS, MISSING)), start + 1)
        for _, until, water in history.waters.during(tank, start, end):
            name = str(history.water_name(water))
            if until >= end:
                yield name, replace(stay, from_ms=start, came_by=came_by)
            else:
                joined = ("joined", tank, until)
                yield (
                    name,
                    replace(
                        stay, from_ms=start, to_ms=until, end=MOVE, cause=None, line=joined, came_by=came_by
                    ),
                )
                start, came_by = until, joined


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
    return Experience(**{**row.__dict__, "says": _says(row, stays)})


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
        if stay.batch.age_known:
            of_batch[stay.batch.id].append(stay)
    best: tuple[float, str, bool] | None = None
    for some in of_batch.values():
        left = 0.0
        for stay in sorted(some, key=lambda one: -_end(history, one)):
            left += stay.heads if moved_too or stay.end != MOVE else 0.0
            if left >= HALF_A_FISH:
                age = (_end(history, stay) - stay.batch.at_ms) / DAY_MS
                if best is None or age > best[0]:
                    best = age, _where_longest(history, some, stay), stay.to_ms is None
                break
    return best


def _where_longest(history: History, batch: Sequence[Stay], last: Stay) -> str:
    """The tank in which fish were longest, from their last stay back through their moves."""
    spent: dict[str, int] = defaultdict(int)
    one: Stay | None = last
    while one is not None:
        spent[history.groups[one.group].tank] += _end(history, one) - one.from_ms  # type: ignore[index]
        came = [
            before
            for before in batch
            if before.end == MOVE and before.line == one.came_by and before.place < one.place
        ]
        one = max(came, key=lambda stay: _end(history, stay) - stay.from_ms, default=None)
    return max(spent, key=lambda tank: spent[tank])


def _end(history: History, stay: Stay) -> int:
    return history.now_ms if stay.to_ms is None else stay.to_ms


def _says(one: Experience, stays: Sequence[Stay]) -> str:
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
        words += f" {_lived(one.survival.heads, each)} (95 % interval {each.low * 100:.0f} to {each.high * 100:.0f} %)"
        later = _lost_later(stays, day)
        words += f"; since then {later}." if later else "."
    else:
        words += " Survival is unknown, because none were watched from the beginning for a week."
    if one.longest_days is not None:
        days = "1 day" if round(one.longest_days) == 1 else f"{one.longest_days:.0f} days"
        words += f" Longest kept: {days}, longest in {one.longest_in}{', living' if one.living else ''}."
    return words


def _lived(heads: float, each: Told) -> str:
    """How many lived to a day, in words."""
    if each.survival < 1:
        return f"{each.survival * 100:.0f} % of {_fish(heads)} lived to day {each.age:.0f}"
    if abs(each.watched - heads) < WHOLE:
        return f"All {_fish(heads)} lived to day {each.age:.0f}"
    return f"None of {_fish(heads)} was lost by day {each.age:.0f}, {_fish(each.watched)} watched so long"


def _lost_later(stays: Sequence[Stay], day: float) -> str:
    """What of the fish of known age was lost or went missing after a day of their age."""
    lost: dict[str, float] = defaultdict(float)
    missing = 0.0
    for stay in stays:
        if stay.to_ms is None or not stay.batch.age_known or stay.age(stay.to_ms) <= day:
            continue
        if stay.end == LOSS:
            lost[stay.cause or "unknown"] += stay.heads
        elif stay.end == MISSING:
            missing += stay.heads
    told = [f"{_fish(lost[cause])} lost ({cause.replace('_', ' ')})" for cause in sorted(lost)]
    return ", ".join([*told, f"{_fish(missing)} missing"] if missing else told)


def _fish(heads: float) -> str:
    """Heads as they are said: fractions with the reason beside them."""
    whole = abs(heads - round(heads)) < WHOLE
    return f"{heads:.0f}" if whole else f"{heads:.3g} (shared among batches)"


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
