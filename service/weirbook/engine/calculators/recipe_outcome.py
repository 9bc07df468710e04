"""What a recipe comes to: amounts, what they bring, what is reached, and why not the rest."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.recipe_inputs import SALTS, Inputs, Salt, Target
from weirbook.engine.relations.chemistry import IONS, Compound, carried
from weirbook.engine.relations.recipes import blend, dot
from weirbook.engine.saying import said

EXACT = 1e-3
"""Share of a wanted value within which it counts as reached: finer than scales and tests. Common practice."""
NEARLY = 0.05
"""Share within which a value that is missed is still near: a drop of a drop test. Common practice, no source."""
MASS_COUNTS = 0.01
"""Of the whole mass beside that of ions nobody asked for, so that salts which bring nothing else differ too."""
MOST_NAMED = 3

IONS_OF: Mapping[str, tuple[str, ...]] = {
    "alkalinity": ("HCO3", "CO3"),
    "hardness": ("Ca", "Mg"),
    "calcium": ("Ca",),
    "magnesium": ("Mg",),
    "potassium": ("K",),
    "nitrate": ("NO3",),
    "phosphate": ("H2PO4",),
}
PRESENT_AS: Mapping[str, str] = {
    "HCO3": "alkalinity",
    "Ca": "calcium",
    "Mg": "magnesium",
    "K": "potassium",
    "NO3": "nitrate",
    "H2PO4": "phosphate",
}
"""Ions whose present amount a target tells."""


def named(compounds: Iterable[Compound]) -> str:
    return _listed([one.name for one in compounds])


def _listed(names: Sequence[str]) -> str:
    return " and ".join(([", ".join(names[:-1])] if len(names) > 1 else []) + list(names[-1:]))


@dataclass(frozen=True)
class Portion:
    """So much of a salt: mol in each m3 of water."""

    salt: Salt
    moles: float

    @property
    def made_of(self) -> Compound:
        return self.salt.made_of

    @property
    def strength(self) -> float:
        """What is weighed for each m3 of water, kg/m3."""
        return self.moles * self.made_of.molar_mass / self.salt.purity


@dataclass(frozen=True)
class Outcome:
    given: Inputs
    present: Mapping[str, float | None]
    targets: Sequence[Target]

    @cached_property
    def portions(self) -> Sequence[Portion]:
        """A portion of each salt told, in its order; of 0 where it is of no use."""
        salts = self.given.at_hand
        moles = blend(
            [[carried(salt.made_of, target.name) for target in self.targets] for salt in salts],
            [target.rise for target in self.targets],
            [target.wanted for target in self.targets],
            [self._burden(salt.made_of) for salt in salts],
        )
        return [Portion(salt, amount) for salt, amount in zip(salts, moles, strict=True)]

    @property
    def used(self) -> Sequence[Portion]:
        return [one for one in self.portions if one.moles > 0]

    @property
    def idle(self) -> Sequence[Portion]:
        """Salts told that are of no use; none where nothing is weighed."""
        return [one for one in self.portions if one.moles == 0] if self.given.salts and self.used else []

    def _burden(self, compound: Compound) -> float:
        asked = {ion for target in self.targets for ion in IONS_OF[target.name]}
        unasked = math.fsum(
            IONS[ion].molar_mass * count for ion, count in compound.ions.items() if ion not in asked
        )
        return unasked + MASS_COUNTS * compound.molar_mass

    def brought(self, parameter: str) -> float:
        return math.fsum(one.moles * carried(one.made_of, parameter) for one in self.used)

    def after(self, parameter: str) -> float | None:
        now = self.present[parameter]
        return None if now is None else now + self.brought(parameter)

    def ion_rise(self, ion: str) -> float:
        """kg/m3, as the ion is weighed."""
        return math.fsum(one.moles * one.made_of.ions.get(ion, 0) * IONS[ion].molar_mass for one in self.used)

    def ion_after(self, ion: str) -> float | None:
        """kg/m3; None where the present water's share is not known."""
        if ion not in PRESENT_AS:
            return self.ion_rise(ion) if self.was_pure else None
        name = PRESENT_AS[ion]
        now = self.present[name]
        if now is None:
            return None
        weight = 1.0 if ion in ("Ca", "Mg") else IONS[ion].molar_mass
        return now * weight + self.ion_rise(ion)

    @property
    def was_pure(self) -> bool:
        return not any(value is None or value > 0 for value in self.present.values())

    def untold(self, name: str) -> bool:
        """Whether nothing was told of the present value: hardness tells of calcium and magnesium, both of them of it."""
        given = self.given
        if name in ("calcium", "magnesium"):
            return getattr(given, name) is None and given.hardness is None
        if name == "hardness":
            return given.hardness is None and (given.calcium is None or given.magnesium is None)
        return getattr(given, name) is None

    def share_reached(self, target: Target) -> float:
        return (target.present + self.brought(target.name)) / target.wanted

    def state(self, target: Target) -> str:
        off = self.share_reached(target) - 1
        return "reached" if abs(off) <= EXACT else "short" if off < 0 else "over"

    @cached_property
    def missed(self) -> Sequence[Target]:
        return [target for target in self.targets if self.state(target) != "reached"]

    @property
    def verdict(self) -> str:
        worst = max((abs(self.share_reached(target) - 1) for target in self.targets), default=0.0)
        return "ok" if worst <= EXACT else "watch" if worst <= NEARLY else "over"

    @property
    def why(self) -> str:
        idle = f" Not needed: {named(one.made_of for one in self.idle)}." if self.idle else ""
        if not self.missed:
            return f"These salts reach every wanted value.{idle}"
        told = _listed([f"{one.name} ({self.state(one)})" for one in self.missed])
        return (
            f"With these salts no recipe reaches {told}: this one comes nearest, each counted as a share of its size."
            f"{idle}"
        )

    def reason(self, target: Target) -> str:
        """Why a target comes out as it does."""
        state = self.state(target)
        if state == "reached":
            return "Reached."
        off = abs(target.present + self.brought(target.name) - target.wanted)
        words = f"{said(off, target.kind)} {state}: "
        bringers = [one.made_of for one in self.portions if carried(one.made_of, target.name)]
        if not bringers:
            words += f"none of the salts brings {target.name}."
        else:
            words += self._tied(target, state, bringers)
        return words + self._help

    def _tied(self, target: Target, state: str, bringers: Sequence[Compound]) -> str:
        """With which other targets the salts that bring this one are tied up."""
        others = _listed(
            [
                other.name
                for other in self.targets
                if other is not target and any(carried(compound, other.name) for compound in bringers)
            ]
        )
        if state == "over":
            return f"it comes along with {others}, out of {named(bringers)}."
        return f"{named(bringers)} can't bring {target.name} without {others}."

    @cached_property
    def _help(self) -> str:
        """Salts not told that would bring the sum nearer to what is wanted, the most helpful first."""
        told = {one.salt.compound for one in self.portions}
        lacks = [1 - self.share_reached(target) for target in self.targets]
        gains = {}
        for word in SALTS.keys() - told:
            brings = [carried(SALTS[word], target.name) / target.wanted for target in self.targets]
            if length := math.sqrt(dot(brings, brings)):
                gains[word] = dot(brings, lacks) / length
        best = sorted((word for word in gains if gains[word] > EXACT), key=lambda word: (-gains[word], word))
        return f" These would help: {', '.join(best[:MOST_NAMED])}." if best else ""
