"""What the gauges of the demo read: made from what is told of each, the same each time but for the date."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

from weirbook.actions.summarise_week import last_full_monday
from weirbook.engine.times import instant_text, midnight_ms

STEP_MS = 10 * 60_000
STAMP_MS = 200_000
"""Sensors report at 3 min 20 s past each ten minutes, not all on the round minute."""


class Days:
    """Days counted from the end of the last full week, in the room's zone."""

    def __init__(self, now: int, where: ZoneInfo) -> None:
        self.now, self.where = now, where
        self.end_day: date = last_full_monday(now, where) + timedelta(days=7)
        self.end_ms = midnight_ms(self.end_day, where)

    def instant(self, day: str, clock: str) -> int:
        """Epoch milliseconds of a clock time so many days from the week's end ("-39d", "18:25")."""
        moment = datetime.combine(
            self.end_day + timedelta(days=int(day.removesuffix("d"))),
            datetime.strptime(clock, "%H:%M").time(),
            self.where,
        )
        return round(moment.timestamp() * 1000)

    def weeks_before(self, weeks: int) -> int:
        """Epoch milliseconds of the midnight so many weeks before the end: the clocks may change between."""
        return midnight_ms(self.end_day - timedelta(weeks=weeks), self.where)

    def since_end(self, ms: int) -> float:
        """Days from the week's end to an instant."""
        return (ms - self.end_ms) / 86_400_000

    def hour(self, ms: int) -> float:
        """The hour of the day in the room, with its fraction."""
        moment = datetime.fromtimestamp(ms / 1000, self.where)
        return moment.hour + moment.minute / 60


def slots(days: Days, weeks: int) -> range:
    """The ten-minute steps that sensors report at: full weeks and what has passed of the running one."""
    return range(days.weeks_before(weeks) // STEP_MS, days.now // STEP_MS)


def sensor(told: Mapping[str, Any], days: Days, weeks: int) -> Iterator[dict[str, Any]]:
    """One sensor's readings at 10-minute steps, noise from a seed of its own."""
    noise = random.Random(told["gauge"])
    odd = {days.instant(day, clock) // STEP_MS: value for day, clock, value in told.get("odd", ())}
    for slot in slots(days, weeks):
        at_ms = slot * STEP_MS + STAMP_MS
        value = _signal(told, days, at_ms) + noise.gauss(0, told["noise"])
        if any(begin <= days.since_end(at_ms) < end for begin, end in told.get("silent", ())):
            continue
        value = odd.get(slot, min(max(value, told.get("low", -1e9)), told.get("high", 1e9)))
        yield {"gauge": told["gauge"], "value": _stepped(value, told["step"]), "at": instant_text(at_ms)}


def _signal(told: Mapping[str, Any], days: Days, at_ms: int) -> float:
    day, hour = days.since_end(at_ms), days.hour(at_ms)
    warmth = math.cos((hour - 15) / 24 * 2 * math.pi)
    value = told["base"] + told["weather"] * _weather(day) + told["swing"] * warmth
    if saw := told.get("sawtooth"):
        value += saw["height"] * ((day - saw["falls"]) / saw["days"] % 1)
    if fading := told.get("fading"):
        value += _faded(fading, day, cold=((1 - warmth) / 2) ** 2)
    return float(value)


def _faded(told: Mapping[str, Any], day: float, *, cold: float) -> float:
    """What a heater that no longer heats at night costs: some at once, more as the nights grow colder."""
    if day < told["day"]:
        return 0.0
    passed = min((day - told["day"]) / (told["to_day"] - told["day"]), 1)
    share = told["from_share"] + (1 - told["from_share"]) * passed
    return float(share * (told["day_part"] + (told["night"] - told["day_part"]) * cold))


def _weather(day: float) -> float:
    """How much warmer than usual it is outside: weeks that cool, and fronts passing over."""
    season = -3.6 + 3.2 * (1 - math.tanh((day + 45) / 25))
    return season + 1.6 * math.sin(day / 9 * 2 * math.pi) + 0.9 * math.sin(day / 4.3 * 2 * math.pi)


def _stepped(value: float, step: float) -> float:
    return round(round(value / step) * step, 6)


def contact(told: Mapping[str, Any], days: Days, weeks: int) -> Iterator[dict[str, Any]]:
    """What a contact says: at each change, and between them at its pace if it has one."""
    said = [(days.instant(day, clock), value) for day, clock, value in told["says"]]
    start = days.weeks_before(weeks)
    for index, (begin, value) in enumerate(said):
        end = said[index + 1][0] if index + 1 < len(said) else days.now // 3_600_000 * 3_600_000
        pace = told.get("every_minutes", 0) * 60_000 or end - begin + 1
        for at_ms in range(begin, end, pace):
            if at_ms >= start:
                yield {"gauge": told["gauge"], "value": value, "at": instant_text(at_ms)}


def tests(told: Mapping[str, Any], days: Days, weeks: int) -> Iterator[dict[str, Any]]:
    """One value a week, on Sundays, the last in the last full week."""
    named = {name: told[name] for name in ("gauge", "place", "parameter", "unit") if name in told}
    values = told["values"][-weeks:]
    for index, value in enumerate(values):
        at_ms = days.instant(f"{-1 - 7 * (len(values) - 1 - index)}d", told["time"])
        yield {**named, "value": value, "at": instant_text(at_ms)}


def by_eye(told: Mapping[str, Any], days: Days, weeks: int) -> Iterator[dict[str, Any]]:
    """A score a day from levels (day, value) joined by lines; each day keeps a share of what the day before was off by."""
    luck, off = random.Random(told["gauge"]), 0.0
    for day in range(max(told["from_day"], -7 * weeks), 0, told["every"]):
        off = told["keeps"] * off + luck.gauss(0, told["noise"])
        value = _stepped(_level(told["levels"], day) + off, told["step"])
        at_ms = days.instant(f"{day}d", told["time"])
        value = min(max(value, told["low"]), told["high"])
        yield {"gauge": told["gauge"], "value": value, "at": instant_text(at_ms)}


def _level(levels: Sequence[Sequence[float]], day: int) -> float:
    (from_day, low), (to_day, high) = next(
        (one, other) for one, other in pairwise(levels) if one[0] <= day <= other[0]
    )
    return low + (high - low) * (day - from_day) / (to_day - from_day)
