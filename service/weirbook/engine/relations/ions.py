"""The ions of a water report: their masses, moles and charges, and whether the charges balance. SI floats."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from weirbook.engine.relations.chemistry import IONS, molar_mass
from weirbook.engine.shape import Source

FEW_CHARGES = 0.2
"""eq/m3 by which a good analysis may be out of balance however thin the water."""

BALANCE = Source(
    "American Public Health Association",
    None,
    "Standard Methods for the Examination of Water and Wastewater",
    "method 1030 E: difference of cations and anions over their sum; 0.2 meq/L in thin waters, 2 to 5 % else",
    "From memory.",
)

CHARGES = {
    "hardness": 2.0,
    "calcium": 2.0,
    "magnesium": 2.0,
    "sodium": 1.0,
    "potassium": 1.0,
    "ammonium": 1.0,
    "alkalinity": -1.0,
    "chloride": -1.0,
    "sulfate": -2.0,
    "nitrate": -1.0,
    "nitrite": -1.0,
    "phosphate": -1.5,
}
"""For each mole. Hardness is calcium and magnesium together; alkalinity is counted by its charges; phosphate as half
H2PO4, half HPO4, as at pH 7.2."""

MASSES = {
    **{ion.name: ion.molar_mass for ion in IONS.values()},
    "ammonium": molar_mass("NH4"),
    "nitrite": molar_mass("NO2"),
    "alkalinity": molar_mass("HCO3"),
}
"""kg/mol, phosphate as PO4, alkalinity as bicarbonate; of hardness none, as its ions' shares are not known."""


@dataclass(frozen=True)
class Dissolved:
    """So many moles (mol/m3; alkalinity: of charge) of an ion."""

    name: str
    moles: float

    @property
    def mass(self) -> float | None:
        """kg/m3."""
        return self.moles * MASSES[self.name] if self.name in MASSES else None

    @property
    def charges(self) -> float:
        """eq/m3, negative for anions."""
        return self.moles * CHARGES[self.name]


def cations(ions: Iterable[Dissolved]) -> float:
    """eq/m3."""
    return sum(one.charges for one in ions if one.charges > 0)


def anions(ions: Iterable[Dissolved]) -> float:
    """eq/m3, as a positive number."""
    return -sum(one.charges for one in ions if one.charges < 0)


def imbalance(more: float, fewer: float) -> float:
    """By what share cations pass the anions.

    Equation: (C - A) / (C + A).
    Shapes and units: eq/m3; a share of one, negative where cations lack; 0 for a water without ions.
    Valid for: a report of all main ions: calcium, magnesium, sodium, bicarbonate or alkalinity, chloride, sulfate.
    Uncertainty: that of the report; means of months over several wells needn't balance.
    Source: BALANCE; every water is without charge.
    """
    total = more + fewer
    return (more - fewer) / total if total else 0.0
