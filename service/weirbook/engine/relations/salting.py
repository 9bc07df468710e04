"""Salt in the water of a system: up by adding it, down by water changes, and chloride against nitrite. SI floats."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from weirbook.engine.relations.chemistry import molar_mass

NITRITE = molar_mass("NO2")
"""kg/mol, weighed as NO2."""
NITROGEN = molar_mass("N")

CONDUCTIVITY_BY_SALT = (0.16, 0.22)
"""S/m for each kg/m3 of sodium chloride, that is 1.6 to 2.2 uS/cm for a mg/L: at 25 degC, up to SALTEST. The least is
what a rise near the top adds, the most a trace in pure water; held to a chemical equilibrium model in the tests."""
SALTEST = 10.0
"""kg/m3."""

SAME = 1e-9
"""Shares of a step by which it may pass its limit through rounding alone."""


@dataclass(frozen=True)
class Change:
    """A day's water change: the share of the water, and the level after it (kg/m3)."""

    share: float
    level: float


def daily_rises(rise: float, largest: float, most: int) -> int:
    """Days in which a rise is made by equal steps none of which passes the largest, at least 1; most + 1 if more.

    Shapes and units: kg/m3 both. Source: arithmetic.
    """
    needed = rise / largest
    return max(1, math.ceil(needed * (1 - SAME))) if needed < most else most + 1


def falling(
    present: float, wanted: float, source: float, share: float, largest: float, most: int
) -> Sequence[Change]:
    """Daily water changes that bring a level down, none larger than `share`, none a fall of more than `largest`.

    Equation: a change of the share f leaves C - f (C - Cs); f is the least of `share`, largest / (C - Cs) and what is
    still wanted / (C - Cs).
    Shapes and units: levels and the largest fall in kg/m3, share as a fraction; the last level is the wanted one, unless
    more than `most` changes were needed, when there are most + 1 of them.
    Valid for: source < wanted <= present, 0 < share <= 1, largest > 0. Source: balance of mass.
    Not covered: salt bound in sand and filters, which comes back for some days.
    """
    changes: list[Change] = []
    level = present
    while level > wanted and len(changes) <= most:
        gap, missing = level - source, level - wanted
        fall = min(share * gap, largest)
        level = wanted if fall >= missing * (1 - SAME) else level - fall
        changes.append(Change(min(fall, missing) / gap, level))
    return changes


def chloride_against(nitrite: float, ratio: float) -> tuple[float, float]:
    """Chloride that a ratio by mass wants beside nitrite: if nitrite is weighed as NO2, and if as nitrogen.

    Equation: ratio x nitrite x 46.005, or x 14.007; they differ by 3.28, and the source says "nitrite" only.
    Shapes and units: mol/m3 of nitrite, a ratio of masses; kg/m3 of chloride.
    Valid for: fish that take nitrite up as they do chloride. Uncertainty: which of the two is meant; the first is the
    safer. Source: Durborow, Crosby, Brunson (1997), SRAC 462, ratio 10.
    Not covered: fish that don't take up chloride, saltwater.
    """
    return ratio * nitrite * NITRITE, ratio * nitrite * NITROGEN
