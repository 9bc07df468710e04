"""Water that is exchanged, dripped through, blended or mixed bit by bit, and how fast that may go.

SI floats in and out. What is counted in the water (nitrate, hardness, heat …) mixes in proportion to volume; pH does
not, see `mixed_ph`.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from dataclasses import dataclass

ROUNDING = 1e-9
"""Shares by which two ways to reckon the same may differ."""


def mixed(first: float, second: float, share: float) -> float:
    """What two waters come to, `share` of the whole being the second: C = A + f (B - A).

    Shapes and units: values of one kind, f a share of one; the same kind out. Temperatures in K.
    Valid for: what is conserved when waters mix: a mass or count in a volume; heat, near enough, between 0 and
    100 degC. Conductivity within 5 % for fresh waters (held to a chemical equilibrium model). Not pH.
    Uncertainty: that of the values and volumes. Source: balance of mass (or of heat, equal heat capacities).
    Not covered: what falls out, gasses off or reacts when the waters meet.
    """
    return first + share * (second - first)


def share_to_reach(first: float, second: float, wanted: float) -> float:
    """Share of the second water in a mix of a wanted value: f = (A - C) / (A - B), `mixed` turned round.

    Shapes and units, valid for, source: as `mixed`. Raises: ValueError unless C lies between A and B.
    """
    if first == second or not min(first, second) <= wanted <= max(first, second):
        raise ValueError("the wanted value does not lie between the two waters")
    return (first - wanted) / (first - second)


def after_changes(present: float, source: float, share: float, count: int) -> float:
    """Value after a number of equal changes: C = S + (C0 - S) (1 - f)^n.

    Shapes and units: values of one kind, f a share of one, n a whole number; the same kind out.
    Valid for: 0 <= f <= 1; old water leaves before new comes in, which is mixed before the next change.
    Uncertainty: as `mixed`. Source: balance of mass. Not covered: what comes or goes between the changes.
    """
    return source + (present - source) * (1 - share) ** count


def changes_needed(whole: float, share: float) -> int:
    """How many equal changes reach what one change of the share `whole` would: n = ln(1 - F) / ln(1 - f), rounded up.

    Valid for: 0 <= F < 1, 0 < f <= 1; a whole number passed by rounding alone is not counted up.
    Shapes and units: shares of one; a whole number out. Source: `after_changes` turned round.
    """
    if share == 1:
        return 1 if whole else 0
    return math.ceil(math.log1p(-whole) / math.log1p(-share) - ROUNDING)


def dripped_value(present: float, source: float, volume: float, dripped: float) -> float:
    """Value after water ran through at a steady drip: C = S + (C0 - S) exp(-D / V).

    Shapes and units: values of one kind, V and D (all that ran in) in m3; the same kind out.
    Valid for: new water mixes at once with all of V, which stays the same because as much runs off.
    Uncertainty: as `mixed`; a drip that runs off unmixed does less. Source: the stirred tank (as mixing.py).
    Not covered: evaporation, what comes or goes meanwhile.
    """
    return source + (present - source) * math.exp(-dripped / volume)


def drip_to_reach(share: float, volume: float) -> float:
    """Water that has to run through to reach what one change of `share` would: D = -V ln(1 - f).

    Shapes and units: f a share of one, V in m3; m3 out. Valid for: 0 <= f < 1. Source: `dripped_value` turned round.
    """
    return -volume * math.log1p(-share)


def share_within(first: float, second: float, most: float) -> float:
    """Largest share of the second water that moves the first by at most `most`: f = m / |B - A|, at most 1."""
    difference = abs(second - first)
    return 1.0 if difference <= most else most / difference


FIRST_PK, SECOND_PK = 6.352, 10.329
"""Of carbonic acid at 25 degC, fresh water: Plummer and Busenberg (1982), read. Below pH 7.8 neither moves a mix."""


def carbon_of_ph(ph: float) -> float:
    """Moles of inorganic carbon to each equivalent of alkalinity in water of a pH.

    Equation: g = (1 + 10^(pK1 - pH) + 10^(pH - pK2)) / (1 + 2 10^(pH - pK2)); it falls as pH rises, from 1 + the
    share of dissolved carbon dioxide to 1/2 where all is carbonate.
    Shapes and units: pH; mol/eq. Valid for: alkalinity that is bicarbonate and carbonate, pH 5.5 to 8.25.
    Uncertainty: salts shift both pK by 0.05 and more. Source: the two dissociations of carbonic acid.
    Not covered: hydroxide, which counts above pH 9; humic acids, phosphate, borate.
    """
    gas, carbonate = 10 ** (FIRST_PK - ph), 10 ** (ph - SECOND_PK)
    return (1 + gas + carbonate) / (1 + 2 * carbonate)


def ph_of_carbon(carbon: float) -> float:
    """pH of water that holds so much inorganic carbon to each equivalent of alkalinity: `carbon_of_ph` turned round.

    Equation: h^2 + (1 - g) K1 h + (1 - 2 g) K1 K2 = 0, its one positive root. Valid for: g > 1/2.
    """
    first, second = 10**-FIRST_PK, 10**-SECOND_PK
    half, product = (carbon - 1) * first / 2, (2 * carbon - 1) * first * second
    root = math.sqrt(half * half + product)
    return -math.log10(half + root if half > 0 else product / (root - half))


def mixed_ph(first: tuple[float, float], second: tuple[float, float], share: float) -> float:
    """pH of two waters mixed in a closed vessel, each told by its pH and alkalinity.

    Equation: alkalinity A and inorganic carbon A g (`carbon_of_ph`) both mix in proportion; the mix has the pH of
    g = ((1 - f) A1 g1 + f A2 g2) / ((1 - f) A1 + f A2).
    Shapes and units: pairs (pH, alkalinity in eq/m3), f the second's share of one; pH out.
    Valid for: pH 5.5 to 8.25, alkalinity up to 4 eq/m3 and more than 0 in one of them, no gas lost or won.
    Uncertainty: within 0.05 of a chemical equilibrium model up to pH 8, 0.1 to 8.25, 0.25 at 8.5; a test by drops is
    no better.
    Raises: ZeroDivisionError if the mix has no alkalinity.
    Source: balance of mass. Held to PHREEQC.
    Not covered: what air does afterwards (gas goes off for hours, and pH rises), other buffers.
    """
    (ph_1, alkalinity_1), (ph_2, alkalinity_2) = first, second
    carbon = mixed(alkalinity_1 * carbon_of_ph(ph_1), alkalinity_2 * carbon_of_ph(ph_2), share)
    return ph_of_carbon(carbon / mixed(alkalinity_1, alkalinity_2, share))


def ph_share_within(first: tuple[float, float], second: tuple[float, float], most: float) -> float:
    """Largest share of the second water that moves the first one's pH by at most `most`.

    Equation: with g of the pH at the bound, f = A1 (g - g1) / (A1 (g - g1) + A2 (g2 - g)); 1 where the waters lie
    no farther apart.
    Shapes and units, valid for, uncertainty, source, not covered: as `mixed_ph`, of which it is the inverse;
    the first water's alkalinity and `most` are more than 0.
    """
    (ph_1, alkalinity_1), (ph_2, alkalinity_2) = first, second
    if abs(ph_2 - ph_1) <= most:
        return 1.0
    bound = carbon_of_ph(ph_bound(ph_1, ph_2, most))
    held = alkalinity_1 * (bound - carbon_of_ph(ph_1))
    return held / (held + alkalinity_2 * (carbon_of_ph(ph_2) - bound))


def ph_bound(ph: float, towards: float, most: float) -> float:
    """The farthest that pH may go towards another."""
    return ph + most if towards > ph else ph - most


@dataclass(frozen=True)
class Water:
    """What fish feel of a water when it changes; None where nobody knows. SI."""

    hardness: float | None = None
    alkalinity: float | None = None
    ph: float | None = None
    temperature: float | None = None

    @property
    def buffered(self) -> tuple[float, float] | None:
        """pH and alkalinity, by which pH mixes."""
        return None if self.ph is None or self.alkalinity is None else (self.ph, self.alkalinity)


@dataclass(frozen=True)
class Pace:
    """The most that one day may bring: a share of the water (`size`), and a step of each thing. SI."""

    size: float
    hardness: float
    alkalinity: float
    ph: float
    temperature: float


@dataclass(frozen=True)
class Day:
    """One day's change: its share, what holds it there ("" where it ends what was asked), the water after it.

    `left` is the share of the first day's difference that is still there.
    """

    share: float
    held_by: str
    left: float
    after: Water


def shares_within(tank: Water, source: Water, pace: Pace) -> dict[str, float]:
    """Largest share that keeps each of what is known within its pace, by name; `size` is always there.

    Equations: `share_within`, `ph_share_within`. pH is left out where it can't be reckoned: an alkalinity is not
    known, or the tank has none.
    """
    found = {"size": pace.size}
    for name in ("hardness", "alkalinity", "temperature"):
        here, there = getattr(tank, name), getattr(source, name)
        if here is not None and there is not None:
            found[name] = share_within(here, there, getattr(pace, name))
    if tank.buffered and source.buffered and tank.buffered[1] > 0:
        found["ph"] = ph_share_within(tank.buffered, source.buffered, pace.ph)
    return found


def mixed_water(tank: Water, source: Water, share: float) -> Water:
    """The tank's water after a change. Its temperature is the tank's own again by the next day."""

    def known(here: float | None, there: float | None) -> float | None:
        return None if here is None or there is None else mixed(here, there, share)

    ph = None
    if tank.buffered and source.buffered and mixed(tank.buffered[1], source.buffered[1], share) > 0:
        ph = mixed_ph(tank.buffered, source.buffered, share)
    return dataclasses.replace(
        tank,
        hardness=known(tank.hardness, source.hardness),
        alkalinity=known(tank.alkalinity, source.alkalinity),
        ph=ph,
    )


def days_within(tank: Water, source: Water, pace: Pace, share: float) -> Iterator[Day]:
    """Changes of one a day, each as large as the pace lets it be, that end where one change of `share` would.

    Equations: each day f = the least of `shares_within` of that day's water; what is left of the first
    difference falls from r to r (1 - f); the last day takes f = 1 - (1 - F) / r.
    Shapes and units: shares of one. Valid for: 0 <= F < 1, and F = 1 where the pace lets a whole change be.
    Days without end for so slow a pace: the caller stops.
    Source: balance of mass. Not covered: what the tank does to its water between the changes.
    """
    left, goal = 1.0, 1 - share
    while left > goal + ROUNDING:
        within = shares_within(tank, source, pace)
        held_by = min(within, key=lambda name: within[name])
        most, ends = within[held_by], 1 - goal / left
        if ends <= most * (1 + ROUNDING):
            most, held_by = ends, ""
        left *= 1 - most
        tank = mixed_water(tank, source, most)
        yield Day(most, held_by, left, tank)
