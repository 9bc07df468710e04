"""Treatments by a label's dose: what goes into the water, what stays after water changes. SI floats.

No dose is known here: it is always the one that a label tells.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

WATER_BY_WEIGHT = 1000.0
"""kg/m3. Doses by weight count a litre of water as a kilogram, as the tables of hatcheries do; 0.4 % off at 30 degC."""

FORMALIN_DENSITY = 1080.0
"""kg/m3, of formalin as sold. Piper and others (1982), p. 276."""

FORMALIN_PER_OXYGEN = 5.0
"""Mass of formalin that takes a mass of oxygen out of the water. Piper and others (1982), p. 276: 1 ppm by 5 ppm."""

OXYGEN_AFTER = (30 * 3600.0, 36 * 3600.0)
"""s. Within which it does so; same source."""


def oxygen_taken_by_formalin(formalin: float) -> float:
    """Oxygen that formalin takes out of the water within 30 to 36 hours, if none comes in.

    Equation: a fifth of the formalin. Shapes and units: kg/m3 of formalin as sold, by weight; kg/m3 of oxygen.
    Valid for: treatments that stay in the water as long. Uncertainty: a rule of hatcheries, one figure.
    Source: Piper and others, Fish Hatchery Management (1982), p. 276. Not covered: aeration, temperature.
    """
    return formalin / FORMALIN_PER_OXYGEN


@dataclass(frozen=True)
class Event:
    """One moment of a treatment: what happens, when (s from the first dose; None unknown), and the level after it.

    The level counts full doses: 1 is what the label's dose makes of plain water.
    """

    what: str
    number: int
    time: float | None
    level: float


DOSED, OVER, CHANGED = "dose", "contact over", "water change"


def course(
    treatments: int,
    interval: float | None,
    contact: float | None,
    change: float,
    *,
    anew: bool = False,
) -> Sequence[Event]:
    """The levels of a treatment in time: each dose a full one, a water change after each.

    Equations: a dose adds 1; a change of the share f leaves 1 - f of what was there. A bath made anew starts from 0.
    Shapes and units: times in s; change as a fraction. A change comes when the contact is over; without a contact
    time, right before the next dose.
    Valid for: 0 <= change <= 1; a substance that neither decays nor is taken up, so levels are the highest there can
    be. Uncertainty: that. Source: balance of mass. Not covered: decay, plants, filters.
    """
    events: list[Event] = []
    level = 0.0
    for number in range(1, treatments + 1):
        start = 0.0 if number == 1 else None if interval is None else (number - 1) * interval
        level = 1.0 if anew else level + 1.0
        events.append(Event(DOSED, number, start, level))
        ends = None if contact is None or start is None else start + contact
        if contact is not None:
            level = 0.0 if anew else level
            events.append(Event(OVER, number, ends, level))
        if change and not anew and (contact is not None or number < treatments):
            level *= 1 - change
            when = ends if contact is not None else None if interval is None else number * interval
            events.append(Event(CHANGED, number, when, level))
    return events


def highest_level(treatments: int, change: float) -> float:
    """The highest of those levels: 1 + k + ... + k^(n-1), k = 1 - f; n full doses where nothing is changed.

    Shapes and units, validity and source as `course`; the sum of a geometric series.
    """
    kept = 1 - change
    return sum(kept**number for number in range(treatments))
