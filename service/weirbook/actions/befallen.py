"""What befell groups that others may have met: arrivals, losses, and tanks that joined their water with fish in them."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from weirbook.actions.fish_history import Fish, History
from weirbook.engine.relations.contacts import Water
from weirbook.record.fish import ARRIVAL, COUNT, DISEASE, LOSS, MISSING, UNKNOWN
from weirbook.record.ledger import Line

SUSPECT = (DISEASE, UNKNOWN)
"""Causes of losses that may have been carried over."""


@dataclass(frozen=True)
class Befell:
    """What happened to a group in a span."""

    brought_in: tuple[Line, ...] = ()
    lost_to_disease: int = 0
    lost_unknown: int = 0
    missing: int = 0
    last_ms: int | None = None

    @property
    def suspect(self) -> bool:
        return bool(self.brought_in or self.lost_to_disease or self.lost_unknown)

    @property
    def straight_in(self) -> bool:
        return any(line.straight_in for line in self.brought_in)


def befell(
    history: History, group: uuid.UUID, from_ms: int, to_ms: int, last_ms: int | None = None
) -> Befell:
    """What happened in a span; with `last_ms` only what could still set out from the group by that instant.

    A loss that ended the sharing of water was ill before it.
    """
    lost = dict.fromkeys((*SUSPECT, MISSING), 0)
    came, last = [], None
    for line in history.lines_from[group]:
        at_ms = line.happened_at_ms
        late = last_ms is not None and at_ms > last_ms + (line.kind == LOSS)
        if late or not from_ms <= at_ms < to_ms:
            continue
        if line.kind == ARRIVAL:
            came.append(line)
            last = at_ms
        elif line.kind == LOSS and line.cause in SUSPECT:
            lost[line.cause] += line.number
            last = at_ms
        elif line.kind == MISSING:
            lost[MISSING] += line.number
        elif line.kind == COUNT:
            lost[MISSING] += history.fewer.get(line.id, 0)
    return Befell(tuple(came), lost[DISEASE], lost[UNKNOWN], lost[MISSING], last)


@dataclass(frozen=True)
class Joining:
    """A tank that joined another water at an instant with fish in it: those, and those that were there."""

    at_ms: int
    tank_id: int
    water: Water
    before: Water
    came: tuple[Fish, ...]
    there: tuple[Fish, ...]


def joinings(history: History, from_ms: int, to_ms: int) -> Iterator[Joining]:
    """The joinings of a span: the first system of a tank that had no fish yet is none."""
    for span in history.plumbed:
        at_ms, water = span.from_ms, ("system", span.system)
        if not from_ms <= at_ms < to_ms:
            continue
        before = history.waters.at(("tank", span.tank), at_ms - 1)
        came = [
            fish
            for fish in history.groups.values()
            if fish.tank_id == span.tank
            and history.heads_at(fish.id, at_ms - 1)
            and history.heads_at(fish.id, at_ms)
        ]
        if before != water and came:
            there = [
                fish
                for fish in history.groups.values()
                if fish.tank_id != span.tank
                and history.heads_at(fish.id, at_ms)
                and history.water_of(fish.id, at_ms) == water
            ]
            yield Joining(at_ms, span.tank, water, before, tuple(came), tuple(there))


def joined_words(history: History, group: Fish, from_ms: int, to_ms: int) -> Sequence[str]:
    """Whose tank joined a group's water, or whose water its tank joined, in a sentence each."""
    words = []
    for one in joinings(history, from_ms, to_ms):
        if group in one.came:
            others, why = one.there, "its own tank joined theirs"
        elif group in one.there:
            others, why = one.came, "their tank joined"
        else:
            continue
        words += [
            f"{other.called} began to share its water on {history.day(one.at_ms)}, as {why};"
            f" {_lost_since(befell(history, other.id, one.at_ms, to_ms))}."
            for other in others
        ]
    return words


def _lost_since(told: Befell) -> str:
    unknown = f"{told.lost_unknown} to unknown causes" if told.lost_unknown else ""
    if not told.lost_to_disease:
        return "none of them was lost to disease" + (f", {unknown}" if unknown else "")
    return f"{told.lost_to_disease} of them lost to disease since" + (f", {unknown}" if unknown else "")
