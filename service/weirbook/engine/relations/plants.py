"""What plants take up from the water for each area they cover, always as a range. SI floats.

Published figures are of rich ponds in full sun and warm air. In a tank, under a lamp and in thin water, plants
take up less: the ranges bound what may be hoped for.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from weirbook.engine.units import to_si


@dataclass(frozen=True)
class Range:
    """From least to most."""

    low: float
    high: float

    @property
    def middle(self) -> float:
        """As many times the least as the most is of it: the ends lie up to twenty times apart."""
        return math.sqrt(self.low * self.high)

    def __mul__(self, times: float) -> Range:
        return Range(self.low * times, self.high * times)


@dataclass(frozen=True)
class Uptake:
    """Of a form of growth at full cover, kg/m2/s of nitrogen and of phosphorus; `published` or a guess."""

    nitrogen: Range
    phosphorus: Range
    published: bool
    words: str


def _a_day(low: float, high: float) -> Range:
    return Range(to_si(low, "g/m2/d", "areal_rate"), to_si(high, "g/m2/d", "areal_rate"))


_GUESS = (_a_day(0.02, 0.3), _a_day(0.003, 0.04))
"""Without a source: from a little below the least published emergent plants to near the middle of duckweeds."""

UPTAKE: Mapping[str, Uptake] = MappingProxyType(
    {
        "floating": Uptake(
            _a_day(0.0959, 1.6027),
            _a_day(0.0252, 0.3082),
            True,
            "from duckweeds (least) to water hyacinth (most)",
        ),
        "emergent": Uptake(
            _a_day(0.0342, 0.7205),
            _a_day(0.0049, 0.1104),
            True,
            "from bulrush (least) to cattail (most)",
        ),
        "submersed": Uptake(*_GUESS, False, "no published figure is known here"),
        "other": Uptake(*_GUESS, False, "no published figure is known here"),
    }
)
"""By form of growth. Reddy and DeBusk 1987, kg/ha/year, from memory, in plant_nutrient_uptake.csv; within it lies the
0.277 g N/m2/d that a floating mat of iris removed (Keizer-Vlek and others 2014, read)."""

UPTAKE_FORM: Mapping[str, str] = MappingProxyType(
    {"rooted": "submersed", "attached": "submersed", "floating": "floating", "emergent": "emergent"}
)
"""By how a kind of plant is told to grow: what roots or sits under water counts as submersed."""

UPTAKE_SHARE_OF_REMOVAL = Range(0.16, 0.75)
"""How much of the nitrogen that planted water loses goes into plants. Reddy and DeBusk 1985, read in an abstract."""

DRY_SHARE: Mapping[str, Range] = MappingProxyType(
    {
        "floating": Range(0.05, 0.10),
        "emergent": Range(0.10, 0.24),
        "submersed": Range(0.05, 0.16),
        "other": Range(0.05, 0.24),
    }
)
"""Dry matter in fresh plants by form of growth. Polprasert, Organic Waste Recycling, 7.3.1, read; `other` spans all."""
TISSUE_NITROGEN = Range(0.014, 0.04)
"""Nitrogen in dry matter of growing plants: from Boyd 1974's leanest (9.3 % protein / 6.25, read) to the 4 % that
Steward 1970 reckons a hyacinth in rich water with (read in an abstract)."""
TISSUE_PHOSPHORUS = Range(0.0013, 0.0083)
"""The same of phosphorus, as FAO Fisheries Technical Paper 187 tables it (read); 0.59 % in Hill 1979 lies within."""


def exact(share: float) -> Range:
    """A share that is known."""
    return Range(share, share)


def carried_off(fresh: float, dry: Range, share: Range) -> Range:
    """Nitrogen or phosphorus in plants taken out of the water.

    Equation: fresh mass x dry share x share of it in dry matter.
    Shapes and units: kg (or kg/s) of fresh drained plants, shares of one; the same of the element, least and most.
    Valid for: whole shoots of growing plants. Uncertainty: the range, five times from end to end; weighing wet adds more.
    Raises: nothing. Source: see DRY_SHARE, TISSUE_NITROGEN, TISSUE_PHOSPHORUS. Not covered: roots left, seasons.
    """
    return Range(fresh * dry.low * share.low, fresh * dry.high * share.high)


def crop_for(element: float, dry: Range, share: Range) -> Range:
    """The fresh mass that carries off so much of an element: `carried_off` turned round, least by the richest plants."""
    return Range(element / dry.high / share.high, element / dry.low / share.low)


def uptake(growth_form: str, area: float, cover: float) -> tuple[Range, Range]:
    """Nitrogen and phosphorus that a stand may take up.

    Equation: rate of its form x area x share covered.
    Shapes and units: m2 and a share of one; kg/s of N and of P, least and most.
    Valid for: growing stands that are cropped: what rots in the water comes back.
    Uncertainty: the range; a lamp, cold water, thin nutrients or old stands may keep it below its least.
    Raises: KeyError for another form. Source: see UPTAKE. Not covered: light, season, which form of nitrogen is taken.
    """
    rates = UPTAKE[growth_form]
    return rates.nitrogen * (area * cover), rates.phosphorus * (area * cover)


def area_for(growth_form: str, nitrogen: float, cover: float) -> Range:
    """The area whose plants take up so much nitrogen (kg/s): least by the highest rate, most by the lowest."""
    rates = UPTAKE[growth_form].nitrogen
    return Range(nitrogen / rates.high / cover, nitrogen / rates.low / cover)
