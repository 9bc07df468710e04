"""Chlorine in tap water: what neutralises it, how much of it, and the ammonia that chloramine leaves behind.

SI floats. Chlorine and chloramine are both weighed as Cl2, kg/m3, as tests show them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from weirbook.engine.relations.chemistry import molar_mass

CHLORINE = molar_mass("Cl2")
"""kg/mol."""

THIOSULFATE_ENDS: Mapping[str, float] = MappingProxyType({"tetrathionate": 2, "sulfur": 1, "sulfate": 0.25})
"""Moles of thiosulfate that one mole of Cl2 takes, by what the thiosulfate ends as. The water's pH and the excess
decide; near neutral all three go on together, and the first never falls short."""


@dataclass(frozen=True)
class Agent:
    """What neutralises chlorine: its formula as weighed, and moles of it for one mole of Cl2.

    `field_ratio`: mass for a mass of Cl2 as the field guide prints it, where it lists the agent. `sulfite`: whether
    what is left over takes up oxygen.
    """

    name: str
    formula: str
    moles: float
    field_ratio: float | None = None
    sulfite: bool = False

    @property
    def is_thiosulfate(self) -> bool:
        return "S2O3" in self.formula


AGENTS: Mapping[str, Agent] = MappingProxyType(
    {
        "thiosulfate_pentahydrate": Agent("sodium thiosulfate pentahydrate", "Na2S2O3.5H2O", 2),
        "thiosulfate_anhydrous": Agent("sodium thiosulfate without crystal water", "Na2S2O3", 2),
        "ascorbic_acid": Agent("ascorbic acid", "C6H8O6", 1, 2.5),
        "sodium_ascorbate": Agent("sodium ascorbate", "NaC6H7O6", 1, 2.8),
        "sodium_sulfite": Agent("sodium sulfite without crystal water", "Na2SO3", 1, 1.96, True),
        "sodium_bisulfite": Agent("sodium bisulfite", "NaHSO3", 1, 1.61, True),
        "sodium_metabisulfite": Agent("sodium metabisulfite", "Na2S2O5", 0.5, 1.47, True),
    }
)
"""By the word that chooses them."""


def agent_per_chlorine(formula: str, moles: float) -> float:
    """Mass of an agent that one mass of chlorine takes.

    Equation: r = n M / M(Cl2), n moles of the agent for one of Cl2.
    Shapes and units: a formula as weighed, crystal water and all; kg for a kg of chlorine as Cl2.
    Valid for: pure agents, reactions that run to their end. Chloramine, weighed as Cl2, takes the same.
    Uncertainty: of the weights 2 parts in 10,000; for thiosulfate the reaction itself is open, see THIOSULFATE_ENDS.
    Raises: KeyError for an unknown element.
    Source: balance of charge; IUPAC/CIAAW weights. Thiosulfate to tetrathionate is 7.0 in a supplier's laboratory sheet, TE213.
    Not covered: what else in the water takes the agent up; time.
    """
    return moles * molar_mass(formula) / CHLORINE


def spread(agent: Agent) -> tuple[float, float]:
    """The least and most of an agent for a mass of chlorine that reactions or the field guide give."""
    own = agent_per_chlorine(agent.formula, agent.moles)
    if agent.is_thiosulfate:
        found = [agent_per_chlorine(agent.formula, moles) for moles in THIOSULFATE_ENDS.values()]
    else:
        found = [own, agent.field_ratio or own]
    return min(found), max(found)


def ammonia_set_free(chloramine: float) -> float:
    """Ammonia that is left when the chlorine is taken out of chloramine, mol/m3 of nitrogen.

    Equation: NH2Cl stands for one Cl2 and holds one N: n = c / M(Cl2), 0.1976 mg of N for a mg of Cl2.
    Shapes and units: chloramine as Cl2 in kg/m3; mol/m3.
    Valid for: monochloramine. Dichloramine (NHCl2 stands for two Cl2) holds half as much, so this is the most.
    Uncertainty: of the weights. Source: formulas of the chloramines; IUPAC/CIAAW weights.
    Not covered: ammonia that the supplier adds beyond what chlorine binds.
    """
    return chloramine / CHLORINE


def oxygen_taken(left_over: float) -> float:
    """Oxygen that left-over sulfite can take up at most, kg/m3: half an O2 for each sulfite.

    Equation: 2 SO3 + O2 -> 2 SO4. Shapes and units: `left_over` in kg/m3 of the chlorine that it could still
    neutralise (as Cl2), one sulfite for each; kg/m3 of O2.
    Valid for: sulfite, bisulfite, metabisulfite, given hours. Source: balance of charge. Not covered: how fast.
    """
    return left_over / CHLORINE * molar_mass("O2") / 2
