"""What a water report tells, and what follows from it before any unit is changed."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

from weirbook.engine.relations.chemistry import molar_mass
from weirbook.engine.relations.ions import FEW_CHARGES, Dissolved, anions, cations, imbalance
from weirbook.engine.shape import param
from weirbook.errors import Fault, Invalid

TOLERANCE = 0.05
"""Share by which two figures of one report, or its cations and anions, may differ."""
MAIN = ("hardness", "sodium", "alkalinity", "chloride", "sulfate")
"""Without these a balance of charges says nothing; nitrate, potassium and the rest are little beside them."""
NUTRIENTS = ("nitrate", "nitrite", "ammonia", "phosphate", "potassium")


def _ion(doc: str, kind: str = "concentration", **said: Any) -> Any:
    return param(kind, doc=doc, ge=0, default=None, **said)


@dataclass(frozen=True)
class Inputs:
    hardness: float | None = _ion(
        "Total hardness (GH), as reported.", "hardness", unit="mmol/L", role="source.hardness"
    )
    calcium: float | None = _ion("By its own mass.", role="source.calcium")
    magnesium: float | None = _ion("By its own mass.", role="source.magnesium")
    sodium: float | None = _ion("By its own mass.", role="source.sodium")
    potassium: float | None = _ion("As K or K2O.", "potassium", unit="mmol/L", role="source.potassium")
    alkalinity: float | None = _ion(
        "Alkalinity (carbonate hardness, KH, acid capacity to pH 4.3).",
        "alkalinity",
        unit="meq/L",
        role="source.alkalinity",
    )
    bicarbonate: float | None = _ion("By its own mass, as HCO3.")
    chloride: float | None = _ion("By its own mass; not chlorine.", role="source.chloride")
    sulfate: float | None = _ion("By its own mass, as SO4.", role="source.sulfate")
    nitrate: float | None = _ion(
        "As NO3 or as N: the unit says so.", "nitrate", unit="mmol/L", role="source.nitrate"
    )
    nitrite: float | None = _ion(
        "As NO2 or as N: the unit says so.", "nitrite", unit="mmol/L", role="source.nitrite"
    )
    ammonia: float | None = _ion(
        "Total ammonia, as N, NH3 or NH4: the unit says so.",
        "ammonia",
        unit="mmol/L",
        role="source.total_ammonia",
    )
    phosphate: float | None = _ion(
        "As PO4, P or P2O5: the unit says so.", "phosphate", unit="mmol/L", role="source.phosphate"
    )
    tolerance: float = param(
        "fraction",
        doc="By which two figures, or cations and anions, may differ.",
        gt=0,
        le=0.5,
        default=TOLERANCE,
    )


def refuse_an_empty_report(given: Inputs) -> None:
    """Raises Invalid where nothing was told."""
    names = [one.name for one in fields(given) if one.name != "tolerance"]
    if all(getattr(given, name) is None for name in names):
        words = f"Nothing of the report was told. Say at least one of: {', '.join(names)}."
        raise Invalid(words, faults=[Fault("/hardness", words)])


@dataclass(frozen=True)
class Report:
    """The report in moles, mol/m3, and what it says twice."""

    given: Inputs

    @cached_property
    def calcium(self) -> float | None:
        """As told, or total hardness less magnesium where that leaves any."""
        return self._told_or_left("calcium", "Ca", "magnesium", "Mg")

    @cached_property
    def magnesium(self) -> float | None:
        return self._told_or_left("magnesium", "Mg", "calcium", "Ca")

    def _told_or_left(self, name: str, formula: str, other: str, other_formula: str) -> float | None:
        told, beside = getattr(self.given, name), getattr(self.given, other)
        if told is not None:
            return float(told / molar_mass(formula))
        if beside is None or self.given.hardness is None:
            return None
        left = self.given.hardness - float(beside / molar_mass(other_formula))
        return left if left >= 0 else None

    def is_left_over(self, name: str) -> bool:
        """Whether calcium or magnesium was had from the total hardness."""
        return getattr(self.given, name) is None and getattr(self, name) is not None

    @cached_property
    def sum_of_both(self) -> float | None:
        """Calcium and magnesium, where both were told."""
        if self.given.calcium is None or self.given.magnesium is None:
            return None
        assert self.calcium is not None and self.magnesium is not None
        return self.calcium + self.magnesium

    @cached_property
    def hardness(self) -> float | None:
        """By calcium and magnesium where both were told, for ions are what is measured; else as reported."""
        return self.given.hardness if self.sum_of_both is None else self.sum_of_both

    @cached_property
    def bicarbonate(self) -> float | None:
        """As told, in moles, which are its charges."""
        return None if self.given.bicarbonate is None else self.given.bicarbonate / molar_mass("HCO3")

    @cached_property
    def alkalinity(self) -> float | None:
        """As told, or of the bicarbonate."""
        return self.bicarbonate if self.given.alkalinity is None else self.given.alkalinity

    @cached_property
    def hardness_gap(self) -> float | None:
        """By how much the reported hardness passes calcium and magnesium; of one alone, if it is less than that."""
        told = [getattr(self.given, name) for name in ("calcium", "magnesium")]
        if self.given.hardness is None or told == [None, None]:
            return None
        known = sum(_over(mass, formula) or 0.0 for mass, formula in zip(told, ("Ca", "Mg"), strict=True))
        gap = self.given.hardness - known
        return gap if None not in told or gap < 0 else None

    @cached_property
    def hardness_disagrees(self) -> bool:
        return self._disagrees(self.hardness_gap, self.given.hardness)

    @cached_property
    def alkalinity_gap(self) -> float | None:
        """By how much the reported alkalinity passes the bicarbonate."""
        if self.given.alkalinity is None or self.bicarbonate is None:
            return None
        return self.given.alkalinity - self.bicarbonate

    @cached_property
    def alkalinity_disagrees(self) -> bool:
        return self._disagrees(self.alkalinity_gap, self.given.alkalinity)

    def _disagrees(self, gap: float | None, told: float | None) -> bool:
        if gap is None or told is None:
            return False
        return abs(gap) > self.given.tolerance * max(told, told - gap) + 1e-12

    @cached_property
    def beyond_hardness(self) -> float | None:
        """Alkalinity that calcium and magnesium don't match charge for charge: sodium or potassium does, eq/m3."""
        if self.alkalinity is None or self.hardness is None:
            return None
        return max(self.alkalinity - 2 * self.hardness, 0.0)

    @cached_property
    def ions(self) -> tuple[Dissolved, ...]:
        """All that was told or follows, cations first; hardness where it is not known ion by ion."""
        given = self.given
        apart = self.hardness is None or None not in (self.calcium, self.magnesium)
        moles = {
            "hardness": None if apart else self.hardness,
            "calcium": self.calcium if apart else None,
            "magnesium": self.magnesium if apart else None,
            "sodium": _over(given.sodium, "Na"),
            "potassium": given.potassium,
            "ammonium": given.ammonia,
            "alkalinity": self.alkalinity,
            "chloride": _over(given.chloride, "Cl"),
            "sulfate": _over(given.sulfate, "SO4"),
            "nitrate": given.nitrate,
            "nitrite": given.nitrite,
            "phosphate": given.phosphate,
        }
        return tuple(Dissolved(name, one) for name, one in moles.items() if one is not None)

    @cached_property
    def lacking(self) -> tuple[str, ...]:
        """Main ions without which charges can't be balanced."""
        known = {one.name for one in self.ions} | ({"hardness"} if self.hardness is not None else set())
        return tuple(name for name in MAIN if name not in known)

    @cached_property
    def cations(self) -> float:
        return cations(self.ions)

    @cached_property
    def anions(self) -> float:
        return anions(self.ions)

    @cached_property
    def imbalance(self) -> float | None:
        return None if self.lacking else imbalance(self.cations, self.anions)

    @cached_property
    def balances(self) -> bool | None:
        """Within the tolerance, or within the few charges that any analysis may miss."""
        if self.imbalance is None:
            return None
        return abs(self.imbalance) <= self.given.tolerance or abs(self.cations - self.anions) <= FEW_CHARGES


def _over(mass: float | None, formula: str) -> float | None:
    return None if mass is None else mass / molar_mass(formula)
