"""How old a system is as its filter counts: since it was set up, what set it back, what shortened its way."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

import sqlalchemy as sa

from weirbook.actions.told import DAY_MS, Look, sentence
from weirbook.engine.times import day_of, midnight_ms
from weirbook.record.journal import JournalEntry
from weirbook.record.places import Tank
from weirbook.record.quarantines import Transfer

WEEK_DAYS = 7
HALF_WAY_WEEKS, STEADY_WEEKS = 13, 26
"""Common practice, no source: a large freshwater display takes about six months to be steady, and is half-way at three."""
MEDIA_WEEKS = 4
"""Old media moved across so soon after a start shorten the way. Our own choice."""
SHORTENED = 0.5
"""To what share of the weeks. Our own choice: common practice says only that it is shorter."""
KEPT = 0.5
"""Of the weeks before, so many are kept at a new substrate or a dry spell, at most to half-way. Our own choice."""
SET_UP, RESET, NEW_SUBSTRATE, DRY_SPELL, OLD_MEDIA = (
    "set-up",
    "reset",
    "new-substrate",
    "dry-spell",
    "old-media",
)
TAGS = (SET_UP, RESET, NEW_SUBSTRATE, DRY_SPELL, OLD_MEDIA)
NAMES = {
    SET_UP: "set up",
    RESET: "reset",
    NEW_SUBSTRATE: "new substrate over the old",
    DRY_SPELL: "a dry spell",
    OLD_MEDIA: "old media moved in",
}


@dataclass(frozen=True)
class Event:
    """Something that bears on how settled a system is."""

    day: date
    what: str
    words: str
    path: str


@dataclass(frozen=True)
class Age:
    """How old it is. `counted` are the weeks that its filter may count, after what set it back; None: not recorded.

    `half_way` and `steady` are the weeks that the stages want, shortened where old media came along.
    """

    set_up: Event | None
    reset: Event | None
    events: Sequence[Event]
    weeks: float | None
    weeks_since_reset: float | None
    counted: float | None
    half_way: float
    steady: float

    @property
    def shortened(self) -> bool:
        """Whether old media shorten its way."""
        return self.steady < STEADY_WEEKS

    @property
    def stage(self) -> str | None:
        """The stage by age alone."""
        if self.counted is None:
            return None
        if self.counted < self.half_way:
            return "young"
        return "half-way" if self.counted < self.steady else "steady"


def age_of(look: Look) -> Age:
    """The age of a system by its tanks' dates, the journal's tags and the transfers of media, up to the end of the look."""
    today = day_of(look.end_ms - 1, look.zone)
    told = sorted(
        {*_of_tanks(look), *_of_journal(look), *_of_transfers(look)}, key=lambda one: (one.day, one.what)
    )
    events = [one for one in told if one.day <= today]
    set_up = next((one for one in events if one.what == SET_UP), None)
    reset = next((one for one in reversed(events) if one.what == RESET), None)
    return _aged(set_up, reset, events, today)


def _aged(set_up: Event | None, reset: Event | None, events: Sequence[Event], today: date) -> Age:
    start = max((one.day for one in (set_up, reset) if one is not None), default=None)
    weeks = None if set_up is None else _weeks(set_up.day, today)
    since = None if reset is None else _weeks(reset.day, today)
    if start is None:
        return Age(set_up, reset, events, weeks, since, None, HALF_WAY_WEEKS, STEADY_WEEKS)
    counted, at = 0.0, start
    for one in events:
        if one.what in (NEW_SUBSTRATE, DRY_SPELL) and one.day >= start:
            counted = min((counted + _weeks(at, one.day)) * KEPT, HALF_WAY_WEEKS)
            at = one.day
    counted += _weeks(at, today)
    media = any(
        one.what == OLD_MEDIA and 0 <= _weeks(start, one.day) <= MEDIA_WEEKS
        for one in events
        if one.day >= start
    )
    share = SHORTENED if media else 1.0
    return Age(set_up, reset, events, weeks, since, counted, HALF_WAY_WEEKS * share, STEADY_WEEKS * share)


def _weeks(first: date, last: date) -> float:
    return (last - first).days / WEEK_DAYS


def _of_tanks(look: Look) -> Iterator[Event]:
    """Dates of the tanks that are in it at the end of the look: water stores and retired ones don't count."""
    asked = sa.select(Tank).where(Tank.id.in_(look.places)).order_by(Tank.id)
    for tank in look.session.scalars(asked).unique():
        if not look.belongs.held(tank.id, look.end_ms - 1) or tank.use == "water store":
            continue
        if tank.retired_at_ms is not None and tank.retired_at_ms < look.end_ms:
            continue
        for what, day in ((SET_UP, tank.set_up_on), (RESET, tank.last_reset_on)):
            if day is not None:
                yield Event(day, what, f"{tank.path} was {NAMES[what]}.", f"/v1/{tank.path}")


def _of_journal(look: Look) -> Iterator[Event]:
    """Entries of the journal with the tags that tell of it."""
    column = JournalEntry.__table__.c
    tagged = sa.or_(
        *(sa.type_coerce(column.tags, sa.Text).contains(f'"{tag}"', autoescape=True) for tag in TAGS)
    )
    asked = sa.select(column.id, column.place_id, column.happened_at_ms, column.words, column.tags).where(
        column.room_id == look.room_id,
        column.place_id.in_([one for one in look.places if one]),
        column.happened_at_ms < look.end_ms,
        tagged,
    )
    for number, place_id, at_ms, words, tags in look.session.execute(asked):
        if look.belongs.held(place_id, at_ms):
            for tag in tags:
                if tag in TAGS:
                    day = day_of(at_ms, look.zone)
                    yield Event(day, tag, sentence(words), f"/v1/journal/{number}")


def _of_transfers(look: Look) -> Iterator[Event]:
    """Media that came in from another water and were not disinfected: those bring a filter's life along."""
    column = Transfer.__table__.c
    asked = sa.select(
        column.id, column.from_place_id, column.to_place_id, column.moved_at_ms, column.words
    ).where(
        column.room_id == look.room_id,
        column.what == "media",
        column.disinfected.is_(None),
        column.to_place_id.in_(look.places),
        column.moved_at_ms < look.end_ms,
    )
    for number, from_id, to_id, at_ms, words in look.session.execute(asked):
        if look.belongs.held(to_id, at_ms) and not look.belongs.held(from_id, at_ms):
            origin = "outside" if from_id is None else look.paths[from_id]
            day = day_of(at_ms, look.zone)
            told = sentence(f"Media from {origin}", words)
            yield Event(day, OLD_MEDIA, told, f"/v1/transfers/{number}")


def days_ago_ms(look: Look, days: int) -> int:
    """The midnight so many days before the end of the look."""
    today = day_of(look.end_ms - 1, look.zone)
    return midnight_ms(today, look.zone) - days * DAY_MS
