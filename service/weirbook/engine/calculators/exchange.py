"""What changes of water and blends have in common: what they reckon with, and what fish may be asked to bear."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from weirbook.engine.relations.changes import FIRST_PK, SECOND_PK, carbon_of_ph
from weirbook.engine.relations.chemistry import DOSED
from weirbook.engine.shape import FOLLOWING, Caution, Follows, Source, Step, param, show, six, step

EXCHANGED: Mapping[str, str] = MappingProxyType(
    {
        "nitrate": "nitrate",
        "phosphate": "phosphate",
        "nitrite": "nitrite",
        "total_ammonia": "ammonia",
        **DOSED,
        "iron": "concentration",
        "conductivity": "conductivity",
        "other": "concentration",
    }
)
"""What mixes in proportion to volume, and the kind of quantity it is told in; "other" is any other substance."""

BY_PARAMETER = Follows("parameter", EXCHANGED)

COLDEST, HOTTEST = 273.15, 333.15
"""Of water that fish might be asked to live in, K: freezing, and what no heater passes."""

BOILING = 373.15

ROUGH_PH, ROUGH_ALKALINITY = (5.5, 8.25), 4.0
"""Within them (eq/m3) pH is reckoned as well as a drop test reads it."""


def of_parameter(doc: str, **said: Any) -> Any:
    """An input in the unit of what is exchanged."""
    return param(FOLLOWING, doc=doc, follows=BY_PARAMETER, **said)


def carbon_steps(waters: Mapping[str, float]) -> list[Step]:
    """For each named water's pH, the carbon to each equivalent of its alkalinity."""
    formula = f"(1 + 10 ^ ({FIRST_PK} − {{pH}}) + 10 ^ ({{pH}} − {SECOND_PK})) ÷ (1 + 2 × 10 ^ ({{pH}} − {SECOND_PK}))"
    return [
        step(
            f"mol of carbon to an equivalent of alkalinity {name}",
            formula,
            {"pH": str(six(ph))},
            carbon_of_ph(ph),
            "number",
        )
        for name, ph in waters.items()
    ]


def carbon(ph: float) -> str:
    """`carbon_of_ph` as a step shows it: with more figures, since what counts is the difference of two."""
    return f"{carbon_of_ph(ph):.9g}"


def mixed_ph_is_rough(*waters: tuple[float, float]) -> bool:
    """Whether one of the waters (pH, alkalinity) lies beyond what the reckoning of pH is good for."""
    low, high = ROUGH_PH
    return any(not low <= ph <= high or alkalinity > ROUGH_ALKALINITY for ph, alkalinity in waters)


ROUGH_PH_CAUTION = Caution(
    "ph-is-rough",
    "Below pH 5.5, above pH 8.25 and above 4 meq/L (11 dKH) of alkalinity the reckoned pH may be off by 0.2 and more:"
    " mix a jug of it and measure.",
    f"pH {show(ROUGH_PH[0], 'ph').split()[0]} to {show(ROUGH_PH[1], 'ph').split()[0]}",
)
PH_AND_AIR = Caution(
    "ph-moves-on",
    "Fresh tap water often holds carbon dioxide under pressure: as it leaves, over hours, pH rises further than reckoned"
    " here. Let the water stand or bubble for a day, then measure its pH.",
)
DECHLORINATE = Caution(
    "dechlorinate",
    "Mains water holds chlorine or chloramine, which burn gills and filter bacteria: treat all of it before it goes in,"
    " by the product's label. Chloramine sets ammonia free when it is broken: test for that too.",
)
CONDUCTIVITY = Caution(
    "conductivity-not-quite",
    "Conductivity mixes in proportion within about 5 % in fresh water only: measure the mix.",
)

MASS_BALANCE = Source(
    "Balance of mass",
    None,
    "Two waters mixed, old water replaced by new",
    "any text of chemical engineering",
    "Held to worked and computed cases, one of them published (Alvord, Water 131, problem 12.1).",
)
CARBONIC_ACID = Source(
    "Plummer, L. N., Busenberg, E.",
    1982,
    "The solubilities of calcite, aragonite and vaterite in CO2-H2O solutions, and the aqueous carbonate system",
    "Geochim. Cosmochim. Acta 46, 1011: both dissociation constants at 25 °C",
    "Read in an abstract. The pH of mixed waters is held to the chemical equilibrium model PHREEQC.",
)
