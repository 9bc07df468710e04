"""What a trend is asked of."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from weirbook.engine.shape import TEXT, YES_NO, param, parts, refuse
from weirbook.errors import Fault, Lack

FEWEST = 4
"""Values: three that rise do so in one of six orders by chance, so nothing could be told."""
DAY = 86_400.0
LARGEST = 1e12
"""Beyond it a figure is a slip of the hand."""


@dataclass(frozen=True)
class Value:
    """One value of the list."""

    value: float = param("number", doc="The value, in the unit of all.", ge=-LARGEST, le=LARGEST)
    on: str | None = param(
        TEXT, doc="The day it is of, like 2026-11-25; left out where values are evenly spaced.", default=None
    )


@dataclass(frozen=True)
class Inputs:
    """A list of values in the order of time."""

    values: tuple[Value, ...] = parts(
        Value, doc="The values, earliest first: four at least, a hundred at most.", required=True
    )
    interval: float = param(
        "time", unit="d", doc="Between values that tell no day.", gt=0, default=DAY, le=3660 * DAY
    )
    unit: str | None = param(TEXT, doc="What the values are in, for the words: mg/L, % cover.", default=None)
    independent: bool = param(
        YES_NO,
        doc="Whether values lie so far apart, or are so made, that none resembles the one before.",
        default=False,
    )


def days_of(given: Inputs) -> list[float]:
    """Days since the first value. Raises Invalid for too few values, or days that can't be used."""
    count = len(given.values)
    if count < FEWEST:
        refuse([Lack("/values", f"A trend needs {FEWEST} values at least; there are {count}.")])
    told = [one.on is not None for one in given.values]
    if not any(told):
        return [place * given.interval / DAY for place in range(count)]
    faults: list[Fault] = []
    days: list[date] = []
    for place, one in enumerate(given.values):
        pointer = f"/values/{place}/on"
        if one.on is None:
            faults.append(Lack(pointer, "Say the day of each value, or of none."))
            continue
        try:
            day = datetime.strptime(one.on, "%Y-%m-%d").date()
        except ValueError:
            faults.append(Fault(pointer, f"'{one.on}' is not a day: write it like 2026-11-25."))
            continue
        if days and day <= days[-1]:
            faults.append(
                Fault(
                    pointer, "This day is not after the one before: send the earliest first, one value a day."
                )
            )
        days.append(day)
    refuse(faults)
    return [float((day - days[0]).days) for day in days]
