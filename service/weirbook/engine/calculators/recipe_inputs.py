"""What a recipe must be told, what it makes of the present water, and what contradicts itself in it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.told import SAME, purity, water_volume
from weirbook.engine.relations.chemistry import COMPOUNDS, DOSED, IONS, TRADE_NAMES, Compound
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.shape import CHOICE, YES_NO, param, parts, refuse, show
from weirbook.errors import Fault, Invalid, Lack

TARGETS = ("alkalinity", "hardness", "calcium", "magnesium", "potassium", "nitrate", "phosphate")
SALTS: Mapping[str, Compound] = {word: one for word, one in COMPOUNDS.items() if word != "ammonium_chloride"}
"""What a recipe is mixed from: not ammonium, which poisons."""
USUAL = (
    "sodium_bicarbonate",
    "potassium_bicarbonate",
    "calcium_chloride_dihydrate",
    "calcium_sulfate_dihydrate",
    "magnesium_sulfate_heptahydrate",
    "potassium_sulfate",
    "potassium_nitrate",
    "monopotassium_phosphate",
)
"""Salts that keepers who mix their water have at hand. Common practice, no source."""
AGREE = 0.1
"""Share of the hardness by which tests of it, of calcium and of magnesium usually differ. Common practice, no source."""
TWICE_TOLD = 0.01
"""Share of a wanted hardness by which calcium and magnesium, wanted as well, may miss it."""


def _present(name: str, doc: str) -> Any:
    return param(DOSED[name], doc=doc, ge=0, default=None, role=f"latest.{name}", told_by=f"water.{name}")


def _wanted(name: str, doc: str) -> Any:
    return param(DOSED[name], doc=doc, gt=0, default=None)


@dataclass(frozen=True)
class Salt:
    compound: str = param(CHOICE, doc=f"A salt at hand. Sold as: {TRADE_NAMES}.", choices=tuple(SALTS))
    purity: float = purity("the salt")

    @property
    def made_of(self) -> Compound:
        return SALTS[self.compound]


@dataclass(frozen=True, kw_only=True)
class Inputs:
    volume: float = water_volume(
        "All water that is to be made up: a barrel, or tanks net of sand and rock with the sump.",
        told_by="water.volume",
    )
    animals: bool = param(
        YES_NO,
        doc="Whether animals live in the water while it is made up: false for a barrel.",
        default=True,
        told_by="water.animals",
    )
    alkalinity: float | None = _present("alkalinity", "Present carbonate hardness. Left out: none.")
    hardness: float | None = _present(
        "hardness", "Present general hardness. Left out: what calcium and magnesium make, or none."
    )
    calcium: float | None = _present(
        "calcium", "Present calcium. Left out: what magnesium leaves of the hardness, or none."
    )
    magnesium: float | None = _present(
        "magnesium", "Present magnesium. Left out: what calcium leaves of the hardness, or none."
    )
    potassium: float | None = _present("potassium", "Present potassium. Left out: none.")
    nitrate: float | None = _present("nitrate", "Present nitrate. Left out: none.")
    phosphate: float | None = _present("phosphate", "Present phosphate. Left out: none.")
    wanted_alkalinity: float | None = _wanted("alkalinity", "Carbonate hardness (KH) wanted.")
    wanted_hardness: float | None = _wanted("hardness", "General hardness (GH) wanted.")
    wanted_ratio: float | None = param(
        "number",
        doc="Calcium to magnesium wanted, by mass (3 is 3 mg of calcium to 1 mg of magnesium). Needs wanted_hardness.",
        gt=0,
        default=None,
    )
    wanted_calcium: float | None = _wanted("calcium", "Calcium wanted.")
    wanted_magnesium: float | None = _wanted("magnesium", "Magnesium wanted.")
    wanted_potassium: float | None = _wanted("potassium", "Potassium wanted.")
    wanted_nitrate: float | None = _wanted("nitrate", "Nitrate wanted.")
    wanted_phosphate: float | None = _wanted("phosphate", "Phosphate wanted.")
    salts: tuple[Salt, ...] = parts(
        Salt,
        doc=(
            "The salts at hand; what is of no use to the wanted values stays out. Left out: those that are usual, of"
            f" {', '.join(USUAL)}."
        ),
        key="compound",
    )
    alkalinity_a_day: float = param(
        "alkalinity",
        doc="The most that alkalinity may rise in a day where animals live in the water.",
        gt=0,
        default=LIMITS["alkalinity_a_day"].value,
    )
    hardness_a_day: float = param(
        "hardness",
        doc="The most that hardness may rise in a day where animals live in the water.",
        gt=0,
        default=LIMITS["hardness_a_day"].value,
    )

    @property
    def at_hand(self) -> tuple[Salt, ...]:
        return self.salts or tuple(Salt(word) for word in USUAL)


@dataclass(frozen=True)
class Target:
    """A wanted value of one parameter, its present value, and the input that asks for it."""

    name: str
    present: float
    wanted: float
    asked_by: str

    @property
    def kind(self) -> str:
        return DOSED[self.name]

    @property
    def rise(self) -> float:
        level = math.isclose(self.wanted, self.present, rel_tol=SAME)
        return 0.0 if level else self.wanted - self.present


CALCIUM, MAGNESIUM = IONS["Ca"].molar_mass, IONS["Mg"].molar_mass


def present_values(given: Inputs) -> dict[str, float | None]:
    """What the water holds of each target now; None for calcium and magnesium of which hardness alone is known."""
    found: dict[str, float | None] = {name: getattr(given, name) or 0.0 for name in TARGETS}
    hardness, calcium, magnesium = given.hardness, given.calcium, given.magnesium
    if hardness is None:
        found["hardness"] = (calcium or 0.0) / CALCIUM + (magnesium or 0.0) / MAGNESIUM
    elif calcium is None and magnesium is None and hardness:
        found["calcium"] = found["magnesium"] = None
    elif magnesium is None and calcium is not None:
        found["magnesium"] = _rest("calcium", hardness, calcium / CALCIUM) * MAGNESIUM
    elif calcium is None and magnesium is not None:
        found["calcium"] = _rest("magnesium", hardness, magnesium / MAGNESIUM) * CALCIUM
    return found


def _rest(name: str, hardness: float, told: float) -> float:
    """Hardness that the other ion must make. Raises Invalid where this one is more than all, beyond tests' errors."""
    if told > hardness * (1 + AGREE):
        words = (
            f"So much {name} alone is {show(told, 'hardness')} of hardness, more than the {show(hardness, 'hardness')}"
            " told: test both again, or leave one out."
        )
        raise Invalid("The present values contradict each other.", faults=[Fault(f"/{name}", words)])
    return max(0.0, hardness - told)


def tests_disagree(given: Inputs) -> bool:
    """Whether hardness, calcium and magnesium were all told and don't add up."""
    if given.hardness is None or given.calcium is None or given.magnesium is None:
        return False
    told = given.calcium / CALCIUM + given.magnesium / MAGNESIUM
    return abs(told - given.hardness) > AGREE * max(told, given.hardness)


def split_hardness(hardness: float, ratio: float) -> tuple[float, float]:
    """Calcium and magnesium, kg/m3, that make a hardness (mol/m3) in a ratio by mass."""
    by_number = ratio * MAGNESIUM / CALCIUM
    magnesium = hardness / (1 + by_number)
    return (hardness - magnesium) * CALCIUM, magnesium * MAGNESIUM


def targets_of(given: Inputs, present: Mapping[str, float | None]) -> list[Target]:
    """All that is wanted, in the order of TARGETS. Raises Invalid with a fault for each that can't be."""
    wanted: dict[str, tuple[float, str]] = {
        name: (value, f"wanted_{name}")
        for name in TARGETS
        if (value := getattr(given, f"wanted_{name}")) is not None
    }
    faults = _contradictions(given, set(wanted))
    if given.wanted_ratio is not None and given.wanted_hardness is not None:
        calcium, magnesium = split_hardness(given.wanted_hardness, given.wanted_ratio)
        wanted |= {"calcium": (calcium, "wanted_ratio"), "magnesium": (magnesium, "wanted_ratio")}
    targets = []
    for name in (name for name in TARGETS if name in wanted):
        value, asked_by = wanted[name]
        if (now := present[name]) is None:
            words = f"Of the present water only the hardness is told: say {name} as well, or calcium and magnesium both."
            faults.append(Lack(f"/{name}", words))
            continue
        targets.append(target := Target(name, now, value, asked_by))
        if target.rise < 0:
            faults.append(Fault(f"/{asked_by}", _too_low(target)))
    refuse(faults)
    return targets


def _too_low(target: Target) -> str:
    kind = target.kind
    share = "The ratio asks for " if target.asked_by == "wanted_ratio" else ""
    return (
        f"{share}{show(target.wanted, kind)} of {target.name}, which is below the present"
        f" {show(target.present, kind)}. Salts only raise it: only a water change lowers it."
    )


def _contradictions(given: Inputs, wanted: set[str]) -> list[Fault]:
    if given.wanted_ratio is not None:
        faults = [
            Fault(f"/wanted_{name}", "The ratio tells this already: leave one of them out.")
            for name in ("calcium", "magnesium")
            if name in wanted
        ]
        if given.wanted_hardness is None:
            faults.append(Lack("/wanted_ratio", "A ratio needs wanted_hardness: of what it is a ratio."))
        return faults
    if not wanted:
        names = ", ".join(f"wanted_{name}" for name in TARGETS)
        return [Lack("/wanted_alkalinity", f"Say at least one wanted value: {names}.")]
    return _hardness_twice(given)


def _hardness_twice(given: Inputs) -> list[Fault]:
    """Hardness is calcium and magnesium: none of them is more than it, nor both together other than it."""
    hardness = given.wanted_hardness
    if hardness is None:
        return []
    parts_of = {"calcium": (given.wanted_calcium, CALCIUM), "magnesium": (given.wanted_magnesium, MAGNESIUM)}
    moles = {name: told / weight for name, (told, weight) in parts_of.items() if told is not None}
    both = math.fsum(moles.values())
    if both > hardness * (1 + TWICE_TOLD) or (
        len(moles) == 2 and not math.isclose(both, hardness, rel_tol=TWICE_TOLD)
    ):
        words = (
            f"{show(hardness, 'hardness')} of hardness is wanted, and {' and '.join(moles)} that come to"
            f" {show(both, 'hardness')}. Hardness is calcium and magnesium together: say two of the three."
        )
        return [Fault("/wanted_hardness", words)]
    return []
