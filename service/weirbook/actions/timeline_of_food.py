"""Timeline: rations from a day on, feedings that differed from them, and how fish took their food."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from weirbook.actions.told import Look, Told, rows_within, sentence
from weirbook.engine.inputs import six
from weirbook.record.feeds import IN_TURN, WEEKDAYS, Feeding, Ration
from weirbook.record.fish import FeedingResponse


def rations(look: Look) -> Iterator[Told]:
    """What a tank gets from a day on, beside what it got before."""
    column = Ration.__table__.c
    names = ("id", "tank_id", "valid_from_ms", "feeds", "rotation", "fasting_days", "notes")
    asked = (
        sa.select(*(column[name] for name in names))
        .where(
            column.room_id == look.room_id,
            column.tank_id.in_(look.places),
            column.valid_from_ms < look.end_ms,
        )
        .order_by(column.valid_from_ms)
    )
    before: dict[int, tuple[float, list[str]]] = {}
    fed_ever: dict[int, set[str]] = defaultdict(set)
    for number, tank_id, at_ms, feeds, rotation, fasting, notes in look.session.execute(asked):
        daily = daily_mass(feeds, rotation, fasting)
        foods = [one["feed"] for one in feeds]
        earlier = before.get(tank_id)
        new = [] if earlier is None else [food for food in foods if food not in fed_ever[tank_id]]
        before[tank_id] = daily, foods
        fed_ever[tank_id] |= set(foods)
        if not look.inside(at_ms) or not look.belongs.held(tank_id, at_ms):
            continue
        was = "" if earlier is None else f"; before, {grams(earlier[0])} a day"
        what = f"{grams(daily)} a day of {', '.join(foods)}" if feeds else "nothing"
        yield Told(
            at_ms,
            "ration",
            look.paths[tank_id],
            sentence(f"From here on fed {what}{was}", notes),
            f"/v1/rations/{number}",
            "ration",
            about=look.paths[tank_id],
            facts={"daily": daily, "before": earlier and earlier[0], "new": new},
        )


def daily_mass(feeds: Sequence[Mapping[str, Any]], rotation: str, fasting: Sequence[str] | None) -> float:
    """kg on an average day: all of the foods or one in turn, nothing on fasting days."""
    masses = [one["amount"].si("mass") for one in feeds]
    if not masses:
        return 0.0
    a_day = sum(masses) / (len(masses) if rotation == IN_TURN else 1)
    return float(a_day * (1 - len(fasting or ()) / len(WEEKDAYS)))


def grams(mass: float) -> str:
    """Food in words."""
    return f"{six(float(f'{mass * 1000:.3g}'))} g"


def feedings(look: Look) -> Iterator[Told]:
    """Feedings that differed from the ration."""
    feeds = look.handles("feed")
    names = ("id", "tank_id", "fed_at_ms", "feed_id", "amount", "instead", "words")
    column = Feeding.__table__.c
    for number, tank_id, at_ms, feed_id, amount, instead, words in rows_within(
        look, Feeding, "fed_at_ms", names, column.tank_id.in_(look.places)
    ):
        if not look.belongs.held(tank_id, at_ms):
            continue
        if feed_id is None:
            told = "Nothing was fed that day"
        else:
            told = f"Fed {amount.text()} of {feeds[feed_id]}" + (
                " instead of the day's ration" if instead else " on top of the ration"
            )
        yield Told(
            at_ms,
            "feeding",
            look.paths[tank_id],
            sentence(told, words),
            f"/v1/feedings/{number}",
            "feeding",
            about=look.paths[tank_id],
            facts={"amount": 0.0 if amount is None else amount.si("mass"), "fasted": feed_id is None},
        )


def feeding_responses(look: Look) -> Iterator[Told]:
    """How a group took a food."""
    groups = [number for number, (_, tank) in look.groups.items() if tank in look.belongs.spans]
    if not groups:
        return
    feeds = look.handles("feed")
    names = ("id", "group_id", "feed_id", "seen_at_ms", "response", "words")
    column = FeedingResponse.__table__.c
    for number, group_id, feed_id, at_ms, response, words in rows_within(
        look, FeedingResponse, "seen_at_ms", names, column.group_id.in_(groups)
    ):
        called, tank_id = look.groups[group_id]
        if look.belongs.held(tank_id, at_ms):
            yield Told(
                at_ms,
                "feeding_response",
                look.paths[tank_id],
                sentence(
                    f"Score {response.value:g} for how {called.removeprefix('of ')} took {feeds[feed_id]}",
                    words,
                ),
                f"/v1/feeding-responses/{number}",
                "feeding response",
                about=str(group_id),
            )
