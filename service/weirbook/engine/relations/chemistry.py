"""Salts in water: what a compound is made of, what it raises, how much is needed, how much dissolves.

SI floats in and out: moles, kg/mol, mol/m3 (which is mmol/L), kg/m3 (which is g/L).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from weirbook.engine.relations.structure import WATER_DENSITY
from weirbook.engine.units import ATOMIC_WEIGHTS

DOSED: Mapping[str, str] = MappingProxyType(
    {
        "alkalinity": "alkalinity",
        "hardness": "hardness",
        "calcium": "concentration",
        "magnesium": "concentration",
        "potassium": "potassium",
        "nitrate": "nitrate",
        "phosphate": "phosphate",
        "total_ammonia": "ammonia",
        "chloride": "concentration",
        "sulfate": "concentration",
        "sodium": "concentration",
        "salt": "concentration",
    }
)
"""What a dose can raise, and the kind of quantity it is told in. An ion is weighed as itself; "salt" is the
compound itself, whatever it is, in the water."""

_COUNTED: Mapping[str, Mapping[str, int]] = {
    "alkalinity": {"HCO3": 1, "CO3": 2},
    "hardness": {"Ca": 1, "Mg": 1},
    "potassium": {"K": 1},
    "nitrate": {"NO3": 1},
    "phosphate": {"H2PO4": 1},
    "total_ammonia": {"NH4": 1},
}
"""Of what is counted by moles (alkalinity: by moles of charge), how much one ion of each sort brings."""

_WEIGHED = {"calcium": "Ca", "magnesium": "Mg", "chloride": "Cl", "sulfate": "SO4", "sodium": "Na"}

_PART = re.compile(r"(?:([A-Z][a-z]?)|\(([A-Za-z0-9]+)\))(\d*)")


def atoms(formula: str) -> Mapping[str, int]:
    """How many atoms of each element a formula has: "CaCl2.2H2O", "Ca(NO3)2". Raises ValueError."""
    found: Counter[str] = Counter()
    for unit in formula.split("."):
        figures = re.match(r"\d*", unit)
        times = int(figures[0] or 1) if figures else 1
        rest = unit.lstrip("0123456789")
        if not rest or _PART.sub("", rest):
            raise ValueError(f"{formula!r} is not a formula")
        for element, group, count in _PART.findall(rest):
            for name, one in atoms(group).items() if group else [(element, 1)]:
                found[name] += times * int(count or 1) * one
    return found


@lru_cache(maxsize=256)
def molar_mass(formula: str) -> float:
    """Mass of a mole, kg/mol: the sum of its atomic weights.

    Shapes and units: a formula in text; kg/mol out.
    Valid for: the elements of ATOMIC_WEIGHTS. Raises KeyError for others, ValueError for no formula.
    Uncertainty: that of conventional atomic weights, below 2 parts in 10,000.
    Source: IUPAC/CIAAW standard atomic weights 2021.
    """
    return sum(ATOMIC_WEIGHTS[element] * count for element, count in atoms(formula).items()) / 1000


@dataclass(frozen=True)
class Ion:
    """An ion of a salt: its charge, and the formula it is weighed by (H2PO4 is told as PO4)."""

    name: str
    charge: int
    weighed_as: str

    @property
    def molar_mass(self) -> float:
        """kg/mol, as weighed."""
        return molar_mass(self.weighed_as)


IONS: Mapping[str, Ion] = MappingProxyType(
    {
        "Na": Ion("sodium", 1, "Na"),
        "K": Ion("potassium", 1, "K"),
        "Ca": Ion("calcium", 2, "Ca"),
        "Mg": Ion("magnesium", 2, "Mg"),
        "NH4": Ion("ammonium", 1, "NH4"),
        "HCO3": Ion("bicarbonate", -1, "HCO3"),
        "CO3": Ion("carbonate", -2, "CO3"),
        "Cl": Ion("chloride", -1, "Cl"),
        "SO4": Ion("sulfate", -2, "SO4"),
        "NO3": Ion("nitrate", -1, "NO3"),
        "H2PO4": Ion("phosphate", -1, "PO4"),
    }
)
"""By the formula as dissolved. Ammonium stands in balance with ammonia, by the pH: both are total ammonia."""


@dataclass(frozen=True)
class Solubility:
    """g of the salt without crystal water that 100 g of water take up, at one temperature (K).

    `read`: whether the figure was read in a printed table; else it is from memory and proves nothing alone.
    """

    anhydrous: str
    per_100_g: float
    temperature: float
    read: bool


@dataclass(frozen=True)
class Compound:
    """A salt as it is weighed: its formula with crystal water, and the ions that one of it gives."""

    name: str
    formula: str
    ions: Mapping[str, int]
    solubility: Solubility | None = None
    trade_name: str = ""

    @property
    def called(self) -> str:
        """Its name, and that by which it is sold where it has one."""
        return f"{self.name} ({self.trade_name})" if self.trade_name else self.name

    @property
    def molar_mass(self) -> float:
        """kg/mol, with its crystal water."""
        return molar_mass(self.formula)


_AT_20, _AT_25 = 293.15, 298.15


def _of_solution(mass_percent: float) -> float:
    """g per 100 g of water from the mass percent of the saturated solution."""
    return 100 * mass_percent / (100 - mass_percent)


# Solubility at 20 degC: read in a handbook's table (g anhydrous per 100 g water). At 25 degC: the CRC Handbook's
# mass percent of the saturated solution, from memory. None stands where neither was to be had.
COMPOUNDS: Mapping[str, Compound] = MappingProxyType(
    {
        "sodium_bicarbonate": Compound(
            "sodium bicarbonate",
            "NaHCO3",
            {"Na": 1, "HCO3": 1},
            Solubility("NaHCO3", 9.6, _AT_20, True),
            "baking soda",
        ),
        "potassium_bicarbonate": Compound(
            "potassium bicarbonate",
            "KHCO3",
            {"K": 1, "HCO3": 1},
            Solubility("KHCO3", _of_solution(26.6), _AT_25, False),
        ),
        "calcium_chloride_dihydrate": Compound(
            "calcium chloride dihydrate",
            "CaCl2.2H2O",
            {"Ca": 1, "Cl": 2},
            Solubility("CaCl2", 74.5, _AT_20, True),
        ),
        "calcium_chloride_hexahydrate": Compound(
            "calcium chloride hexahydrate",
            "CaCl2.6H2O",
            {"Ca": 1, "Cl": 2},
            Solubility("CaCl2", 74.5, _AT_20, True),
        ),
        "calcium_chloride": Compound(
            "calcium chloride without crystal water",
            "CaCl2",
            {"Ca": 1, "Cl": 2},
            Solubility("CaCl2", 74.5, _AT_20, True),
        ),
        "calcium_nitrate_tetrahydrate": Compound(
            "calcium nitrate tetrahydrate", "Ca(NO3)2.4H2O", {"Ca": 1, "NO3": 2}
        ),
        "calcium_sulfate_dihydrate": Compound(
            "calcium sulfate dihydrate",
            "CaSO4.2H2O",
            {"Ca": 1, "SO4": 1},
            Solubility("CaSO4", _of_solution(0.205), _AT_25, False),
            "gypsum",
        ),
        "magnesium_sulfate_heptahydrate": Compound(
            "magnesium sulfate heptahydrate",
            "MgSO4.7H2O",
            {"Mg": 1, "SO4": 1},
            Solubility("MgSO4", _of_solution(26.3), _AT_25, False),
            "Epsom salt",
        ),
        "magnesium_sulfate": Compound(
            "magnesium sulfate without crystal water",
            "MgSO4",
            {"Mg": 1, "SO4": 1},
            Solubility("MgSO4", _of_solution(26.3), _AT_25, False),
        ),
        "magnesium_chloride_hexahydrate": Compound(
            "magnesium chloride hexahydrate", "MgCl2.6H2O", {"Mg": 1, "Cl": 2}
        ),
        "magnesium_nitrate_hexahydrate": Compound(
            "magnesium nitrate hexahydrate", "Mg(NO3)2.6H2O", {"Mg": 1, "NO3": 2}
        ),
        "potassium_nitrate": Compound(
            "potassium nitrate", "KNO3", {"K": 1, "NO3": 1}, Solubility("KNO3", 31.6, _AT_20, True)
        ),
        "monopotassium_phosphate": Compound(
            "monopotassium phosphate",
            "KH2PO4",
            {"K": 1, "H2PO4": 1},
            Solubility("KH2PO4", _of_solution(19.97), _AT_25, False),
        ),
        "potassium_sulfate": Compound(
            "potassium sulfate",
            "K2SO4",
            {"K": 2, "SO4": 1},
            Solubility("K2SO4", _of_solution(10.7), _AT_25, False),
        ),
        "potassium_chloride": Compound("potassium chloride", "KCl", {"K": 1, "Cl": 1}),
        "sodium_carbonate": Compound("sodium carbonate without crystal water", "Na2CO3", {"Na": 2, "CO3": 1}),
        "sodium_chloride": Compound(
            "sodium chloride", "NaCl", {"Na": 1, "Cl": 1}, Solubility("NaCl", 36.0, _AT_20, True)
        ),
        "ammonium_chloride": Compound("ammonium chloride", "NH4Cl", {"NH4": 1, "Cl": 1}),
    }
)
"""The compounds that a dose offers, by the word that chooses them."""

TRADE_NAMES = ", ".join(f"{one.trade_name} is {word}" for word, one in COMPOUNDS.items() if one.trade_name)
"""Which word chooses what is sold under another name."""


_SLUDGE = (
    ("Ca", "SO4"),
    ("Ca", "HCO3"),
    ("Ca", "CO3"),
    ("Ca", "H2PO4"),
    ("Mg", "HCO3"),
    ("Mg", "CO3"),
    ("Mg", "H2PO4"),
)
_GAS = (("H2PO4", "HCO3"), ("H2PO4", "CO3"), ("NH4", "CO3"))
"""An acid phosphate sets carbon dioxide free, a carbonate ammonia."""


def sludge_pairs(compounds: Sequence[Compound]) -> list[tuple[str, str]]:
    """Ions out of different salts that fall out of one strong solution together, by their formula as dissolved.

    Source: rules of solubility, any textbook of inorganic chemistry. Not covered: how strong is strong.
    """
    return _pairs(_SLUDGE, compounds)


def gas_pairs(compounds: Sequence[Compound]) -> list[tuple[str, str]]:
    """Ions out of different salts that set gas free in one solution: a closed bottle may burst."""
    return _pairs(_GAS, compounds)


def _pairs(pairs: Sequence[tuple[str, str]], compounds: Sequence[Compound]) -> list[tuple[str, str]]:
    return [
        (one, other)
        for one, other in pairs
        if any(
            one in first.ions and other in second.ions
            for first in compounds
            for second in compounds
            if first is not second
        )
    ]


def carried(compound: Compound, parameter: str) -> float:
    """How much of a parameter one mole of a compound brings, in the SI unit of its kind times m3; 0 for none.

    Alkalinity: equivalents (a bicarbonate 1, a carbonate 2). Hardness: moles of calcium and magnesium.
    Potassium, nitrate, phosphate, total ammonia: moles. Other ions and "salt": kg.
    Raises KeyError for a parameter that is not in DOSED.
    """
    if parameter in _COUNTED:
        counts = _COUNTED[parameter]
        return float(sum(counts.get(ion, 0) * count for ion, count in compound.ions.items()))
    if parameter == "salt":
        return compound.molar_mass
    ion = _WEIGHED[parameter]
    return compound.ions.get(ion, 0) * IONS[ion].molar_mass


def alkalinity_of(ion: str) -> int:
    """Equivalents of alkalinity that one ion, by its formula as dissolved, brings."""
    return _COUNTED["alkalinity"].get(ion, 0)


def is_counted(parameter: str) -> bool:
    """Whether the parameter's kind counts moles (or equivalents), not mass."""
    return parameter in _COUNTED


def dose_mass(compound: Compound, parameter: str, rise: float, volume: float, purity: float = 1.0) -> float:
    """Mass of a compound, as weighed, that raises a parameter.

    Equation: m = rise V / c M / purity, with c what one mole brings (`carried`) and M its molar mass.
    Shapes and units: rise in the SI unit of the parameter's kind, m3, purity a share of one; kg out.
    Valid for: a salt that dissolves wholly and stays dissolved; one well-mixed body of water.
    Uncertainty: 2 parts in 10,000 of the weights; in practice that of volume, tests and purity.
    Raises: ZeroDivisionError where the compound brings nothing of the parameter.
    Source: conservation of mass; weights as in `molar_mass`.
    Not covered: what the water, plants or filter take up; precipitation; change of pH.
    """
    return rise * volume / carried(compound, parameter) * compound.molar_mass / purity


def rise_by(compound: Compound, parameter: str, mass: float, volume: float, purity: float = 1.0) -> float:
    """What a mass of a compound raises a parameter by: `dose_mass` turned round."""
    return mass * purity / compound.molar_mass * carried(compound, parameter) / volume


def stock_bounds(compound: Compound) -> tuple[float, float] | None:
    """How much of a compound dissolves in a litre of finished solution: what surely does, and what can at most.

    Equations: with s kg of anhydrous salt to a kg of water and r the mass of the compound, crystal water and
    all, over that of its anhydrous salt, s / (1 + s) x 998.2 x r and s x 998.2 x r.
    A solution weighs at least what water does, so that its saturated share s / (1 + s) is at least the
    first; a litre of it holds at most a litre's water, so that it can't pass the second. Crystal water
    becomes water of the solution and is counted by r alone.
    Shapes and units: kg of the compound as weighed per m3 of solution, g/L; None where nothing is known.
    Valid for: the temperature that the solubility stands at.
    Uncertainty: the bounds lie s apart: 10 % for sodium bicarbonate, 75 % for calcium chloride.
    Source: mass balance; that both hold is tested against densities by Laliberte's model up to 10 %.
    """
    known = compound.solubility
    if known is None:
        return None
    per_water = known.per_100_g / 100
    most = per_water * WATER_DENSITY * compound.molar_mass / molar_mass(known.anhydrous)
    return most / (1 + per_water), most
