"""Trace which groups may have exposed a group to disease, or which it may have exposed, and what befell those."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from weirbook.actions.befallen import SUSPECT, Befell, befell
from weirbook.actions.exposure_told import NOT_KNOWN, Asked, NearMiss, Since, Trace, Traced
from weirbook.actions.exposure_words import judged
from weirbook.actions.fish_history import DAY_MS, EVER, Crossing, Fish, History
from weirbook.engine.relations.contacts import LASTING, Id, Rules
from weirbook.engine.relations.departures import last_departures
from weirbook.engine.relations.exposure import BACKWARD, Exposure, exposures, followed_into
from weirbook.record.fish import LOSS
from weirbook.record.ledger import Line


def trace_exposure(history: History, group_id: uuid.UUID, asked: Asked) -> Trace:
    """Follow every walk of contacts, and judge those of the window by what befell the groups at their other end."""
    from_ms = -EVER if asked.from_ms is None else asked.from_ms
    to_ms = history.now_ms if asked.to_ms is None else asked.to_ms
    rules = Rules(asked.residual_days * DAY_MS, asked.carry_days * DAY_MS)
    backward, group = asked.direction == BACKWARD, history.groups[group_id]
    whole = asked.from_ms is None and asked.to_ms is None
    room = history.room if whole else history.room.within(from_ms, to_ms)
    told = exposures(room, group.number, asked.direction, rules)
    if not backward:
        return judged(history, _spread(history, group, asked, told))
    window, why = _window(history, group_id, asked)
    until = last_departures(history.room.within(*window), group.number, rules)
    met = {
        number: befell(history, history.fish_of(number).id, *window, last_ms)
        for number, last_ms in until.items()
    }
    items = tuple(
        Traced(history.fish_of(one.source), one, met.get(one.source, Befell()), one.source in met)
        for one in told
    )
    trace = Trace(
        group,
        asked,
        window,
        why,
        NOT_KNOWN,
        (),
        items,
        tuple(_own_arrivals(history, group_id, window)),
        tuple(_from_outside(history, group_id, window)),
        tuple(_near_misses(history, group.number, asked, window, items)),
        _since(history, group, asked, window, rules, told, until),
    )
    return judged(history, trace)


def _spread(history: History, group: Fish, asked: Asked, told: Sequence[Exposure]) -> Trace:
    """Whom a group may have exposed, and what befell those from then on."""
    end = history.now_ms if asked.to_ms is None else asked.to_ms
    first = min((one.from_ms for one in told), default=end)
    items = tuple(
        Traced(other, one, befell(history, other.id, one.from_ms, end), True)
        for one in told
        for other in [history.fish_of(one.target)]
    )
    return Trace(
        group, asked, (first, end), "since it may have exposed them", NOT_KNOWN, (), items, (), (), ()
    )


def _since(
    history: History,
    group: Fish,
    asked: Asked,
    window: tuple[int, int],
    rules: Rules,
    told: Sequence[Exposure],
    before: Mapping[Id, int],
) -> Since | None:
    """What is new since the last loss: groups met since, and what befell others while they were met."""
    end, within = history.now_ms + 1, asked.within_days * DAY_MS
    if asked.to_ms is not None or window[1] >= history.now_ms:
        return None
    start = max(window[1], end - within)
    if start > window[1]:
        before = last_departures(history.room.within(start - within, start), group.number, rules)
    room = history.room.within(start, end)
    until = last_departures(room, group.number, rules)
    suspects: dict[Id, Befell] = {}
    for number, last_ms in until.items():
        known = before.get(number)
        since = start - within if known is None else min(known + 1, start)
        what = befell(history, history.fish_of(number).id, since, end, last_ms)
        if what.suspect:
            suspects[number] = what
    first: dict[Id, Traced] = {}
    for one in exposures(room, group.number, BACKWARD, rules, suspects) if suspects else ():
        if (met := suspects.get(one.source)) is not None:
            first.setdefault(one.source, Traced(history.fish_of(one.source), one, met, False))
    span = (start, end)
    return Since(
        span,
        tuple(_as_told(one, told) for one in first.values()),
        tuple(_own_arrivals(history, group.id, span)),
        tuple(_from_outside(history, group.id, span)),
    )


def _as_told(one: Traced, told: Sequence[Exposure]) -> Traced:
    """With the way as the whole record tells it, where that is one sharing that goes on."""
    same = [way for way in told if (way.source, way.way, way.steps) == (one.way.source, one.way.way, 1)]
    lasts = same and same[0].way in LASTING and same[0].times == 1
    return replace(one, way=same[0]) if lasts else one


def _window(history: History, group_id: uuid.UUID, asked: Asked) -> tuple[tuple[int, int], str]:
    """What the verdict looks at, and in words from where it is counted."""
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


def _own_arrivals(history: History, group_id: uuid.UUID, window: tuple[int, int]) -> Iterator[Line]:
    return (line for line in history.arrivals_into(group_id) if _inside(line.happened_at_ms, window))


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
