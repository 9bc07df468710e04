"""Trace which groups may have exposed a group to disease, or which it may have exposed, and what befell those."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from weirbook.actions.fish_history import DAY_MS, EVER, Crossing, Fish, History
from weirbook.engine.relations.contacts import REPLUMBED, Rules, Water
from weirbook.engine.relations.exposure import BACKWARD, Exposure, exposures, followed_into
from weirbook.engine.relations.walks import Link
from weirbook.engine.shape import Assumption, Caution, Source
from weirbook.engine.times import instant_text
from weirbook.record.fish import COUNT, DISEASE, LOSS, MISSING, UNKNOWN
from weirbook.record.ledger import Line

WITHIN_DAYS = 42
"""Common practice (no source): trouble after mixing healthy-looking groups tends to begin in two to three weeks and to run
for about two."""
SUSPECT = (DISEASE, UNKNOWN)
"""Causes of losses that may have been carried over."""
FOUND, NONE_FOUND, NOT_KNOWN = "found", "none found", "unknown"


@dataclass(frozen=True)
class Asked:
    """What is asked: contacts from an instant to another, and how long waters and things stay a danger."""

    direction: str = BACKWARD
    from_ms: int | None = None
    to_ms: int | None = None
    residual_days: int = 0
    carry_days: int = WITHIN_DAYS
    within_days: int = WITHIN_DAYS


@dataclass(frozen=True)
class Befell:
    """What happened to a group in the window that is judged."""

    brought_in: tuple[Line, ...]
    lost_to_disease: int
    lost_unknown: int
    missing: int

    @property
    def suspect(self) -> bool:
        return bool(self.brought_in or self.lost_to_disease or self.lost_unknown)

    @property
    def straight_in(self) -> bool:
        return any(line.straight_in for line in self.brought_in)


@dataclass(frozen=True)
class Traced:
    """One way between the group asked about and another."""

    other: Fish
    way: Exposure
    befell: Befell
    in_window: bool


@dataclass(frozen=True)
class NearMiss:
    """A group that had left a water before the one asked about came into it."""

    other: Fish
    water: Water
    left_ms: int
    came_ms: int


@dataclass(frozen=True)
class Trace:
    """The answer. `window` is what the verdict looks at: some weeks before an instant (backward), or all since."""

    group: Fish
    asked: Asked
    window: tuple[int, int]
    why_window: str
    verdict: str
    says: tuple[str, ...]
    items: tuple[Traced, ...]
    own_arrivals: tuple[Line, ...]
    from_outside: tuple[Crossing, ...]
    near_misses: tuple[NearMiss, ...]


def trace_exposure(history: History, group_id: uuid.UUID, asked: Asked) -> Trace:
    """Follow every walk of contacts, and judge those of the window by what befell the groups at their other end."""
    from_ms = -EVER if asked.from_ms is None else asked.from_ms
    to_ms = history.now_ms if asked.to_ms is None else asked.to_ms
    rules = Rules(asked.residual_days * DAY_MS, asked.carry_days * DAY_MS)
    window, why = _window(history, group_id, asked)
    backward, group = asked.direction == BACKWARD, history.groups[group_id]
    told = exposures(history.room.within(from_ms, to_ms), group.number, asked.direction, rules)
    lately = reached(history.room.within(*window), group.number, asked.direction, rules) if backward else None
    items = tuple(
        Traced(
            other,
            one,
            _befell(history, other.id, window if backward else (max(window[0], one.from_ms), window[1])),
            lately is None or other.number in lately,
        )
        for one in told
        for other in [history.fish_of(one.source if backward else one.target)]
    )
    own = tuple(line for line in history.arrivals_into(group_id) if _inside(line.happened_at_ms, window))
    trace = Trace(
        group,
        asked,
        window,
        why,
        NOT_KNOWN,
        (),
        items,
        own if backward else (),
        tuple(_from_outside(history, group_id, window)) if backward else (),
        tuple(_near_misses(history, group.number, asked, window, items)) if backward else (),
    )
    return _judged(history, trace)


def _window(history: History, group_id: uuid.UUID, asked: Asked) -> tuple[tuple[int, int], str]:
    """What the verdict looks at, and in words from where it is counted."""
    if asked.direction != BACKWARD:
        start = asked.from_ms if asked.from_ms is not None else 0
        return (
            start,
            history.now_ms if asked.to_ms is None else asked.to_ms,
        ), "since it may have exposed them"
    if asked.to_ms is not None:
        end, why = asked.to_ms, "the end that was asked for"
    elif losses := [line for line in _losses(history, group_id) if line.cause in SUSPECT]:
        end, why = losses[-1].happened_at_ms, "its last loss to disease or unknown causes"
    elif losses := list(_losses(history, group_id)):
        end, why = losses[-1].happened_at_ms, "its last loss"
    else:
        end, why = history.now_ms, "now"
    return (end - asked.within_days * DAY_MS, end), why


def _losses(history: History, group_id: uuid.UUID) -> Iterator[Line]:
    return (line for line in history.lines_from[group_id] if line.kind == LOSS)


def _inside(at_ms: int, window: tuple[int, int]) -> bool:
    return window[0] <= at_ms < window[1]


def _befell(history: History, group_id: uuid.UUID, window: tuple[int, int]) -> Befell:
    lost = dict.fromkeys((*SUSPECT, MISSING), 0)
    for line in history.lines_from[group_id]:
        if not _inside(line.happened_at_ms, window):
            continue
        if line.kind == LOSS and line.cause in SUSPECT:
            lost[line.cause] += line.number
        elif line.kind == MISSING:
            lost[MISSING] += line.number
        elif line.kind == COUNT:
            lost[MISSING] += history.fewer.get(line.id, 0)
    came = tuple(line for line in history.arrivals_into(group_id) if _inside(line.happened_at_ms, window))
    return Befell(came, lost[DISEASE], lost[UNKNOWN], lost[MISSING])


def _from_outside(history: History, group_id: uuid.UUID, window: tuple[int, int]) -> Iterator[Crossing]:
    """Things from outside the room that went into the group's water in the window."""
    for one in history.crossings:
        if one.from_water is None and not one.disinfected and _inside(one.at_ms, window):
            water = history.waters.at(one.to_water, one.at_ms)
            if history.heads_at(group_id, one.at_ms) and history.water_of(group_id, one.at_ms) == water:
                yield one


def _near_misses(
    history: History, group: int, asked: Asked, window: tuple[int, int], items: Sequence[Traced]
) -> Iterator[NearMiss]:
    """Groups that left a water, by death or otherwise, so shortly before that another residual time would count them."""
    counted = {one.other.number for one in items}
    for other, water, left_ms, came_ms in followed_into(history.room, group, asked.within_days * DAY_MS):
        if other not in counted and came_ms < window[1]:
            yield NearMiss(history.fish_of(other), water, left_ms, came_ms)


def _judged(history: History, trace: Trace) -> Trace:
    verdict, says = _backward(history, trace) if trace.asked.direction == BACKWARD else _forward(trace)
    return Trace(**{**trace.__dict__, "verdict": verdict, "says": tuple(says)})


def _day(ms: int) -> str:
    return instant_text(ms)[:10]


def _backward(history: History, trace: Trace) -> tuple[str, list[str]]:
    called, days = trace.group.called, trace.asked.within_days
    before = f"in the {days} days before {_day(trace.window[1])} ({trace.why_window})"
    there = any(
        stay.from_ms < trace.window[1] and (stay.to_ms is None or stay.to_ms > trace.window[0])
        for stay in history.waters.stays_of(trace.group.number)
    )
    if not there:
        return NOT_KNOWN, [f"Unknown, because {called} had no fish {before}."]
    suspects = {one.other.id: one for one in trace.items if one.in_window and one.befell.suspect}
    says = [_suspected(one) for one in suspects.values()]
    says += [_crossed(history, one) for one in trace.from_outside]
    if not says:
        says = [
            f"No group that shared water with {called} was brought in or lost fish to disease or unknown causes"
            f" {before}, by fish, water or things that the record tells of."
        ]
        verdict = NONE_FOUND
    else:
        verdict = FOUND
    if trace.own_arrivals:
        days_in = ", ".join(dict.fromkeys(_day(line.happened_at_ms) for line in trace.own_arrivals))
        says.append(
            f"Fish of its own were brought in then ({days_in}): what they met before is not recorded."
        )
        verdict = FOUND
    if gone := [one for one in trace.items if one.in_window and one.befell.missing]:
        names = ", ".join(dict.fromkeys(one.other.called for one in gone))
        says.append(f"Fish went missing there too, and nobody saw why: {names}.")
    says += [
        f"{one.other.called} had left that water on {_day(one.left_ms)}, before {called} came on {_day(one.came_ms)}:"
        " it counts only with a residual time."
        for one in trace.near_misses
    ]
    return verdict, says


def _suspected(one: Traced) -> str:
    told = []
    if one.befell.brought_in:
        straight = ", straight into a stocked tank" if one.befell.straight_in else ""
        told.append(f"was brought in on {_day(one.befell.brought_in[-1].happened_at_ms)}{straight}")
    if one.befell.lost_to_disease:
        told.append(f"lost {one.befell.lost_to_disease} to disease")
    if one.befell.lost_unknown:
        told.append(f"lost {one.befell.lost_unknown} to unknown causes")
    removed = "directly" if one.way.steps == 1 else f"{one.way.steps} steps removed"
    return (
        f"{one.other.called} ({one.way.way}, {removed}, since {_day(one.way.from_ms)}) {' and '.join(told)}."
    )


def _crossed(history: History, one: Crossing) -> str:
    water = history.water_name(one.to_water)
    return f"{one.what.replace('_', ' ').capitalize()} from outside went into {water} on {_day(one.at_ms)}."


def _forward(trace: Trace) -> tuple[str, list[str]]:
    called = trace.group.called
    others = {one.other.id: one for one in trace.items}
    if not others:
        return NONE_FOUND, [
            f"No group shared water with {called}, or got fish or things from it, that the record tells of."
        ]
    groups = "group" if len(others) == 1 else "groups"
    says = [f"{called} may have exposed {len(others)} {groups}."]
    ill = [one for one in others.values() if one.befell.lost_to_disease or one.befell.lost_unknown]
    for one in ill:
        lost = one.befell.lost_to_disease + one.befell.lost_unknown
        says.append(
            f"{one.other.called} lost {lost} to disease or unknown causes after {_day(one.way.from_ms)}."
        )
    if not ill:
        says.append("None of them lost fish to disease or unknown causes since.")
    return (FOUND if ill else NONE_FOUND), says


def record_of(history: History, link: Link) -> str | None:
    """The path of the record behind a step."""
    if link.record is None:
        return None
    if link.way == REPLUMBED:
        return f"tanks/{history.tanks[link.record]}"  # type: ignore[index]
    return f"{'transfers' if link.record in history.crossing_ids else 'stock-entries'}/{link.record}"


def walk_words(history: History, walk: Sequence[Link]) -> str:
    """A walk in one line."""
    first = walk[0]
    words = _name(history, first.from_group)
    for link in walk:
        words += f" → {link.way}, {_day(link.at_ms)} → {_name(history, link.to_group)}"
    return words


def _name(history: History, group: object) -> str:
    return "water without fish" if group is None else history.fish_of(group).called


def assumptions_of(trace: Trace) -> list[Assumption]:
    asked = trace.asked
    return [
        Assumption(
            "Whoever shared water with an exposed group is taken for exposed: the widest circle, no likelihood.",
            "default",
        ),
        Assumption(
            f"A water counts as shared for {asked.residual_days} days after its last fish left it.",
            "given" if asked.residual_days else "default",
        ),
        Assumption(
            f"What was carried over counts if its water had fish within {asked.carry_days} days before, and for as long where"
            " it waits without fish; common practice, no source.",
            "common practice",
        ),
        Assumption(
            f"{asked.within_days} days are looked at: trouble after mixing healthy-looking groups tends to begin two to three"
            " weeks later and to run for about two.",
            "common practice",
        ),
        Assumption("A tank that joins another system brings the water it held.", "default"),
    ]


CAUTIONS = (
    Caution(
        "not-recorded",
        "Nets, hands, splashes and plants that nobody wrote down carry disease too: no exposure in the record is no proof.",
    ),
    Caution("came-before", "What came before need not be the cause."),
    Caution(
        "healthy-looking",
        "Fish that look healthy may carry disease. With losses that go on, keep the water apart, wear gloves over cuts, and ask"
        " a veterinarian before treating.",
    ),
)
SOURCES = (
    Source(
        "Kempe, D., Kleinberg, J. and Kumar, A.",
        2002,
        "Connectivity and Inference Problems for Temporal Networks",
        "Journal of Computer and System Sciences 64, 820-842",
        "Walks whose contacts follow each other in time; held to a naive model that looks at every instant.",
    ),
    Source("Common practice", None, "42 days after an introduction", "no source"),
)
