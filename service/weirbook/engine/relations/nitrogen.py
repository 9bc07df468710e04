"""What food leaves in the water, and what bacteria need to turn its ammonia into nitrate. SI floats in and out.

Ammonia, nitrite and nitrate are told as the nitrogen in them, phosphate as its phosphorus, alkalinity in
equivalents: forms are changed where a value is shown, never here.
"""

from __future__ import annotations

from dataclasses import dataclass

from weirbook.engine.relations.chemistry import molar_mass
from weirbook.engine.units import ATOMIC_WEIGHTS, to_si

PROTEIN_PER_NITROGEN = 6.25
"""Jones 1931, USDA Circular 183: protein is taken for 6.25 times its nitrogen. From memory."""
AMMONIA_OF_PROTEIN = 0.092
"""kg of N as ammonia for each kg of protein fed. Timmons and Ebeling, Recirculating Aquaculture; from memory."""
AMMONIA_OF_PROTEIN_FAO = 0.16 * 0.61
"""The same by FAO Technical Paper 589, appendix 4: 16 % nitrogen, 61 % of it given off. From memory."""
EXCRETION_SPREAD = 0.3
"""How far what fish give off may lie from the rule, either way: the reference's own tolerance on it."""
AMMONIA_OF_FOOD = 0.025
"""The same for each kg of food, of whatever protein: a rule of fish farmers, without a source."""
NH3_PER_N_FAO = 1.2
"""By which FAO 589 makes NH3 of N; exactly 1.216."""

PHOSPHORUS_KEPT = (0.2, 0.3, 0.5)
"""Share of the food's phosphorus that fish build in: least, likely, most. Common practice, no source read."""
SOLIDS_OF_FOOD = (0.2, 0.3)
"""kg of dry solids for each kg of food: least, most. Timmons and Ebeling; from memory."""

LEAST_OXYGEN = to_si(2, "mg/L", "concentration")
"""For nitrification. Grady and Lim 1980, read in a thesis that quotes it."""
LEAST_ALKALINITY = to_si(40, "mg/L CaCO3", "alkalinity")
"""For nitrification. Sandy 1987, read in the same thesis."""

BICARBONATE_MASS = molar_mass("NaHCO3")
"""kg of sodium bicarbonate for each equivalent of alkalinity."""


@dataclass(frozen=True)
class Nitrification:
    """What a kg of ammonia nitrogen uses up on its way to nitrate: equivalents of alkalinity, kg of oxygen."""

    alkalinity: float
    oxygen: float

    @property
    def bicarbonate(self) -> float:
        """kg of sodium bicarbonate that give back the alkalinity."""
        return self.alkalinity * BICARBONATE_MASS


_KG_N_A_MOLE = ATOMIC_WEIGHTS["N"] / 1000

WITHOUT_GROWTH = Nitrification(2 / _KG_N_A_MOLE, 2 * molar_mass("O2") / _KG_N_A_MOLE)
"""NH4+ + 2 O2 -> NO3- + 2 H+ + H2O: two equivalents and two O2 for each nitrogen (7.145 g CaCO3, 4.569 g O2)."""
WITH_GROWTH = Nitrification(7.05 * to_si(1000, "mg/L CaCO3", "alkalinity"), 4.18)
"""Some of the nitrogen becomes bacteria. Ebeling, Timmons, Bisogni 2006, Aquaculture 257; from memory."""


def nitrogen_fed(feed: float, protein: float) -> float:
    """All nitrogen in the food's protein, the most that its ammonia can ever be: feed x protein / 6.25.

    Shapes and units: kg/s of food as fed and a share of one; kg N/s.
    Valid for: protein told as labels tell it (6.25 times the nitrogen found). Uncertainty: 5 % by kind of protein.
    Raises: nothing. Source: Jones 1931, from memory. Not covered: nitrogen that is not protein.
    """
    return feed * protein / PROTEIN_PER_NITROGEN


def ammonia_made(feed: float, protein: float, of_protein: float = AMMONIA_OF_PROTEIN) -> float:
    """Total ammonia that fed fish give off: feed x protein x 0.092.

    Shapes and units: kg/s of food as fed and a share of one; kg N/s.
    Valid for: growing fish whose solids leave within a day. Uncertainty: 30 % either way; fish that no longer grow
    give off nearly all nitrogen fed, and solids that stay rot to ammonia: then up to `nitrogen_fed`.
    Raises: nothing. Source: Timmons and Ebeling; FAO 589 makes 0.0976 of 0.092. Both from memory.
    Not covered: fasting, fry, how it swings over the day.
    """
    return feed * protein * of_protein
