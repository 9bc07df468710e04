"""The verdict on an exposure and its sentences."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from dataclasses import replace

from weirbook.actions.befallen import joined_words
from weirbook.actions.exposure_told import (
    FOUND,
    NOBODY,
    NONE_FOUND,
    NONE_ILL,
    NOT_KNOWN,
    SOME_LOST,
    WATCH,
    Since,
    Trace,
    Traced,
)
from weirbook.actions.fish_history import DAY_MS, EVER, Crossing, History
from weirbook.engine.relations.contacts import FISH_MOVED, LASTING, REPLUMBED, TRANSFER
from weirbook.engine.relations.exposure import BACKWARD
from weirbook.engine.relations.walks import Link
from weirbook.engine.shape import Assumption, Caution, Source


def judged(history: History, trace: Trace) -> Trace:
    """The trace with its verdict and its sentences."""
    if trace.asked.direction == BACKWARD:
        verdict, says = _backward(history, trace)
    else:
        verdict, says = _forward(history, trace)
    return replace(trace, verdict=verdict, says=tuple(says))


def _backward(history: History, trace: Trace) -> tuple[str, list[str]]:
    called, days, day = trace.group.called, trace.asked.within_days, history.day
    span = "day" if days == 1 else f"{days} days"
    before = f"in the {span} before {day(trace.window[1])} ({trace.why_window})"
    there = any(
        stay.from_ms < trace.window[1] and (stay.to_ms is None or stay.to_ms > trace.window[0])
        for stay in history.waters.stays_of(trace.group.number)
    )
    if not there:
        return NOT_KNOWN, [f"Unknown, because {called} had no fish {before}."]
    says = [_suspected(history, one) for one in _suspects(trace)]
    says += [f"{_crossed(history, one)}." for one in trace.from_outside]
    if not says:
        says = [
            f"No group that shared water with {called} was brought in or lost fish to disease or unknown causes"
            f" {before}, by fish, water or things that the record tells of."
        ]
        verdict = NONE_FOUND
    else:
        verdict = FOUND
    if trace.own_arrivals:
        days_in = ", ".join(dict.fromkeys(day(line.happened_at_ms) for line in trace.own_arrivals))
        says.append(
            f"Fish of its own were brought in then ({days_in}): what they met before is not recorded."
        )
        verdict = FOUND
    if gone := [one for one in trace.items if one.in_window and one.befell.missing]:
        names = ", ".join(dict.fromkeys(one.other.called for one in gone))
        says.append(f"Fish went missing there too, and nobody saw why: {names}.")
    if trace.since is not None:
        says += _since(history, trace.since, days)
        if verdict == NONE_FOUND and trace.since.suspect:
            verdict = WATCH
    says += joined_words(
        history, trace.group, trace.window[0], trace.window[1] if trace.since is None else trace.since.span[1]
    )
    says += [
        f"{one.other.called} had left that water on {day(one.left_ms)}, before {called} came on {day(one.came_ms)}:"
        " it counts only with a residual time."
        for one in trace.near_misses
    ]
    return verdict, says


def _suspects(trace: Trace) -> Iterator[Traced]:
    """Each group that is named once, by the way that lasted longest: what befell it may have come by that."""
    found: dict[uuid.UUID, Traced] = {}
    for one in trace.items:
        if one.in_window and one.befell.suspect:
            known = found.get(one.other.id)
            if known is None or _lasted(known) < _lasted(one):
                found[one.other.id] = one
    return iter(found.values())


def _lasted(one: Traced) -> tuple[bool, int]:
    """Directly before by others; then until when."""
    until = (
        one.way.from_ms if one.way.way not in LASTING else EVER if one.way.to_ms is None else one.way.to_ms
    )
    return one.way.steps == 1, until


def _suspected(history: History, one: Traced) -> str:
    return f"{_by(history, one)}, {' and '.join(_told(history, one))}."


def _by(history: History, one: Traced) -> str:
    removed = "" if one.way.steps == 1 else f", {one.way.steps} steps removed"
    return f"{one.other.called}, by {_way(history, one.way.walk[-1], one.way.from_ms)}{removed}"


def _way(history: History, last: Link, from_ms: int) -> str:
    day = history.day(from_ms)
    if last.way == FISH_MOVED:
        return f"fish moved on {day}"
    if last.way == TRANSFER:
        return f"{way_word(history, last)} carried on {day}"
    return f"{last.way} on {day}" if last.way == REPLUMBED else f"{last.way} since {day}"


def _told(history: History, one: Traced) -> list[str]:
    told = []
    if one.befell.brought_in:
        straight = " without quarantine" if one.befell.straight_in else ""
        told.append(f"were brought in on {history.day(one.befell.brought_in[-1].happened_at_ms)}{straight}")
    if one.befell.lost_to_disease:
        told.append(f"lost {one.befell.lost_to_disease} to disease")
    if one.befell.lost_unknown:
        told.append(f"lost {one.befell.lost_unknown} to unknown causes")
    return told


def _crossed(history: History, one: Crossing) -> str:
    water = history.water_name(one.to_water)
    return f"{one.what.replace('_', ' ').capitalize()} from outside went into {water} on {history.day(one.at_ms)}"


def _since(history: History, since: Since, within_days: int) -> list[str]:
    """What came after the last loss, each with the day until which to look closely."""

    def watch(from_ms: int) -> str:
        return f"look closely until {history.day(from_ms + within_days * DAY_MS)}"

    says = [
        f"{_by(history, one)}, {' and '.join(_told(history, one))}: {watch(one.watched_from)}."
        for one in since.items
    ]
    says += [f"{_crossed(history, one)}: {watch(one.at_ms)}." for one in since.from_outside]
    if since.own_arrivals:
        last = since.own_arrivals[-1].happened_at_ms
        says.append(f"Fish of its own were brought in on {history.day(last)}: {watch(last)}.")
    if not says:
        return ["Since then: none that the record tells of."]
    return [f"Since then: {says[0]}", *says[1:]]


def _forward(history: History, trace: Trace) -> tuple[str, list[str]]:
    called = trace.group.called
    others = {one.other.id: one for one in reversed(trace.items)}
    if not others:
        return NOBODY, [
            f"No group shared water with {called}, or got fish or things from it, that the record tells of."
        ]
    groups = "group" if len(others) == 1 else "groups"
    says = [f"{called} may have exposed {len(others)} {groups}."]
    ill = [one for one in reversed(others.values()) if one.befell.lost_to_disease or one.befell.lost_unknown]
    for one in ill:
        lost = one.befell.lost_to_disease + one.befell.lost_unknown
        says.append(
            f"{one.other.called} lost {lost} to disease or unknown causes after {history.day(one.way.from_ms)}."
        )
    if not ill:
        says.append("None of them lost fish to disease or unknown causes since.")
    return (SOME_LOST if ill else NONE_ILL), says


def way_word(history: History, link: Link) -> str:
    """The way of a step; of a thing that was carried, what it was."""
    if link.way != TRANSFER:
        return link.way
    return history.crossing_of[link.record].what.replace("_", " ")  # type: ignore[index]


def record_of(history: History, link: Link) -> str | None:
    """The path of the record behind a step."""
    if link.record is None:
        return None
    if link.way == REPLUMBED:
        return f"tanks/{history.tanks[link.record]}"  # type: ignore[index]
    return f"{'transfers' if link.record in history.crossing_of else 'stock-entries'}/{link.record}"


def walk_words(history: History, walk: Sequence[Link]) -> str:
    """A walk in one line."""
    first = walk[0]
    words = _name(history, first.from_group)
    for link in walk:
        words += f" → {way_word(history, link)}, {history.day(link.at_ms)} → {_name(history, link.to_group)}"
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
        Assumption(
            "An arrival or loss counts where it came before the contact ended: the sharing of water, a move, what was carried.",
            "default",
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
