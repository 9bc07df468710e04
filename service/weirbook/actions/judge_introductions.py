"""Judge what followed each introduction into a water: whether losses came at a higher rate than before it."""

from __future__ import annotations

import uuid
from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from weirbook.actions.befallen import Joining, joinings
from weirbook.actions.fish_history import DAY_MS, History
from weirbook.actions.rate_losses import Scope
from weirbook.engine.relations.cohorts import LOSS, ended
from weirbook.engine.relations.contacts import Piece, Water
from weirbook.engine.relations.event_rates import RateComparison, compare_rates
from weirbook.engine.saying import chance, interval
from weirbook.record.fish import ARRIVAL, MOVE

EARLIER_DAYS = 365
"""How long before an introduction the earlier rate is taken from, at most."""
LEVEL = 0.05
"""An alert is raised where so many losses would fall after the introduction less often than this by chance alone."""
RATIO_CONFIDENCE = 1 - 2 * LEVEL
"""So that the interval of the ratio lies above 1 just where the one-sided test says so."""
FEWEST = 2
"""One fish may die at any time: an alert wants two (common practice)."""
METHOD = "conditional exact Poisson test, one-sided"


@dataclass(frozen=True)
class Part:
    """One record that belongs to an introduction."""

    kind: str
    record: str
    words: str


@dataclass(frozen=True)
class InWater:
    """A group that was in the water after it: what it lost, and the most heads it had."""

    group: uuid.UUID
    called: str
    lost: float
    heads: int


@dataclass(frozen=True)
class Judged:
    """An introduction and the losses in its water: `after` it for so many days, and `earlier`, at most a year."""

    at_ms: int
    until_ms: int
    water: str
    parts: tuple[Part, ...]
    lost: int
    fish_days: float
    earlier_lost: int
    earlier_fish_days: float
    comparison: RateComparison | None
    alert: bool
    causes: tuple[tuple[str, int], ...]
    which_lost: tuple[InWater, ...]
    which_did_not: tuple[InWater, ...]
    says: str


def judge_introductions(history: History, scope: Scope, within_days: int) -> list[Judged]:
    """Every introduction within the span into a water of the groups told, the newest first."""
    losses = _losses(history, scope)
    found = [
        _judge(history, scope, losses, within_days, key, parts)
        for key, parts in _introductions(history, scope).items()
    ]
    return sorted((one for one in found if one is not None), key=lambda one: (-one.at_ms, one.water))


def _introductions(history: History, scope: Scope) -> dict[tuple[int, Water], list[Part]]:
    """Arrivals, moves from another water, transfers and tanks that joined with fish, those of one water and instant together."""
    found: dict[tuple[int, Water], list[Part]] = defaultdict(list)
    for line in history.lines:
        at_ms = line.happened_at_ms
        if line.kind not in (ARRIVAL, MOVE) or not scope.from_ms <= at_ms < scope.to_ms:
            continue
        into = line.to_group_id or line.group_id
        water = history.water_of(into, at_ms)
        if line.kind == MOVE and history.water_of(line.group_id, at_ms) == water:
            continue
        fish = history.groups[into]
        came = f"{line.number} {fish.species_name} " + (
            f"arrived from {line.source or 'a source not recorded'}"
            if line.kind == ARRIVAL
            else f"were moved in from {history.groups[line.group_id].tank}"
        )
        straight = ", straight into a stocked tank" if line.straight_in else ""
        found[at_ms, water].append(Part(line.kind, f"stock-entries/{line.id}", came + straight))
    for one in history.crossings:
        if one.disinfected or not scope.from_ms <= one.at_ms < scope.to_ms:
            continue
        water = history.waters.at(one.to_water, one.at_ms)
        source = None if one.from_water is None else history.waters.at(one.from_water, one.at_ms)
        if source != water:
            words = f"{one.what.replace('_', ' ')} came from {history.water_name(source) or 'outside'}"
            found[one.at_ms, water].append(Part("transfer", f"transfers/{one.id}", words))
    for joined in joinings(history, scope.from_ms, scope.to_ms):
        if joined.there:
            found[joined.at_ms, joined.water].append(_joined(history, joined))
    return found


def _joined(history: History, one: Joining) -> Part:
    """A tank that joined the water with fish in it."""
    tank = history.tanks[one.tank_id]
    fish = " and ".join(f"{history.heads_at(fish.id, one.at_ms)} {fish.species_name}" for fish in one.came)
    return Part(
        "tank", f"tanks/{tank}", f"the tank {tank} joined with {fish} from {history.water_name(one.before)}"
    )


@dataclass(frozen=True)
class _Loss:
    at_ms: int
    heads: float
    group: uuid.UUID
    cause: str


def _losses(history: History, scope: Scope) -> dict[Water, list[_Loss]]:
    """Losses of the groups told, by the water in which they happened, in order."""
    found: dict[Water, list[_Loss]] = defaultdict(list)
    for group in scope.groups:
        for stay in ended(history.stays_of.get(group, ()), scope.ends, 0, history.now_ms + 1):
            assert stay.to_ms is not None, "it ended"
            cause = stay.cause or ("missing" if stay.end != LOSS else "unknown")
            found[history.water_of(group, stay.to_ms)].append(_Loss(stay.to_ms, stay.heads, group, cause))
    for some in found.values():
        some.sort(key=lambda loss: loss.at_ms)
    return found


def _judge(
    history: History,
    scope: Scope,
    losses: dict[Water, list[_Loss]],
    within_days: int,
    key: tuple[int, Water],
    parts: Sequence[Part],
) -> Judged | None:
    at_ms, water = key
    until_ms = min(at_ms + within_days * DAY_MS, history.now_ms)
    since_ms = at_ms - EARLIER_DAYS * DAY_MS
    pieces = [
        piece for piece in history.waters.of.get(water, ()) if history.fish_of(piece.group).id in scope.groups
    ]
    days = sum(_heads_over(history, piece, at_ms, until_ms) for piece in pieces)
    earlier_days = sum(_heads_over(history, piece, since_ms, at_ms) for piece in pieces)
    after = list(_between(losses[water], at_ms, until_ms))
    before = list(_between(losses[water], since_ms, at_ms))
    if days <= 0 and not after:
        return None
    lost, earlier = round(sum(one.heads for one in after)), round(sum(one.heads for one in before))
    comparison = None
    if days > 0 and earlier_days > 0:
        comparison = compare_rates(lost, days / 1000, earlier, earlier_days / 1000, RATIO_CONFIDENCE)
    causes: dict[str, float] = defaultdict(float)
    for one in after:
        causes[one.cause] += one.heads
    name = str(history.water_name(water))
    which = _which(history, pieces, after, at_ms, until_ms)
    counted = tuple(
        (cause, round(heads)) for cause, heads in sorted(causes.items(), key=lambda one: (-one[1], one[0]))
    )
    alert = comparison is not None and lost >= FEWEST and comparison.p_higher < LEVEL
    judged = Judged(
        at_ms,
        until_ms,
        name,
        tuple(parts),
        lost,
        days,
        earlier,
        earlier_days,
        comparison,
        alert,
        counted,
        tuple(one for one in which if one.lost),
        tuple(one for one in which if not one.lost),
        "",
    )
    return Judged(**{**judged.__dict__, "says": _says(judged, history.day(at_ms), within_days)})


def _between(losses: Sequence[_Loss], from_ms: int, to_ms: int) -> Iterator[_Loss]:
    """Losses after an instant up to another: those of the instant of an introduction came with it, so they count."""
    return (one for one in losses if from_ms <= one.at_ms < to_ms)


def _heads_over(history: History, piece: Piece, from_ms: int, to_ms: int) -> float:
    """Fish-days of a group in a water within a span."""
    start, end = max(piece.from_ms, from_ms), min(piece.to_ms, to_ms)
    if start >= end:
        return 0.0
    steps = history.counts[history.fish_of(piece.group).id]
    index = max(0, bisect_right(steps, start, key=lambda step: step[0]) - 1)
    total = 0
    while index < len(steps) and steps[index][0] < end:
        until = steps[index + 1][0] if index + 1 < len(steps) else end
        total += steps[index][1] * max(0, min(until, end) - max(steps[index][0], start))
        index += 1
    return total / DAY_MS


def _which(
    history: History, pieces: Sequence[Piece], after: Sequence[_Loss], from_ms: int, to_ms: int
) -> list[InWater]:
    """The groups in the water in that time."""
    lost: dict[uuid.UUID, float] = defaultdict(float)
    for one in after:
        lost[one.group] += one.heads
    heads: dict[uuid.UUID, int] = dict.fromkeys(lost, 0)
    for piece in pieces:
        if piece.from_ms < to_ms and piece.to_ms > from_ms:
            group = history.fish_of(piece.group).id
            steps = history.counts[group]
            start = history.heads_at(group, max(piece.from_ms, from_ms))
            within = [
                count
                for at_ms, count in steps
                if max(piece.from_ms, from_ms) <= at_ms < min(piece.to_ms, to_ms)
            ]
            heads[group] = max(heads.get(group, 0), start, *within)
    return [
        InWater(group, history.groups[group].called, round(lost[group], 6), heads[group])
        for group in sorted(heads, key=lambda one: (-lost[one], history.groups[one].called, str(one)))
    ]


def _says(one: Judged, day: str, within_days: int) -> str:
    what = " and ".join(part.words for part in one.parts)
    days = round((one.until_ms - one.at_ms) / DAY_MS)
    span = "the day" if days == 1 else f"the {days} days" if days else "the hours"
    so_far = "" if one.until_ms - one.at_ms == within_days * DAY_MS else " so far"
    lost = "1 was" if one.lost == 1 else f"{one.lost} were"
    told = f"On {day} {what} ({one.water}). In {span} after it{so_far} {lost} lost there in {one.fish_days:.0f} fish-days"
    compared = one.comparison
    if compared is None:
        return (
            f"{told}. Unknown whether that is more than before, because no fish were watched in that water in the"
            f" {EARLIER_DAYS} days before it."
        )
    before = f"{one.earlier_lost} in {one.earlier_fish_days:.0f} fish-days in the {EARLIER_DAYS} days before"
    if compared.unknown is not None:
        return f"{told}, and {before}: none to compare."
    if not one.alert and one.lost and compared.p_higher is not None and compared.p_higher < LEVEL:
        return f"{told}, against {before}: one fish alone tells nothing yet."
    if not one.alert:
        return f"{told}, against {before}: no more than chance alone may bring ({METHOD}, {chance(compared.p_higher)})."
    ratio = "none before" if compared.ratio is None else f"{_figure(compared.ratio)} times the earlier rate"
    low = _figure(compared.low or 0.0)
    high = "no end" if compared.high is None else _figure(compared.high)
    causes = ", ".join(f"{heads} {cause.replace('_', ' ')}" for cause, heads in one.causes)
    return (
        f"{told}, against {before}: {ratio} ({interval(RATIO_CONFIDENCE, low, high)} of the ratio; {METHOD},"
        f" {chance(compared.p_higher)}). Causes as told: {causes}. They came after it; that they came of it is not shown."
    )


def _figure(value: float) -> str:
    """Three figures, large ones written out."""
    return f"{value:.3g}" if value < 1000 else f"{value:.0f}"
