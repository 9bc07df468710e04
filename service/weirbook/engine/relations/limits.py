"""Published and customary limits of water for fish: how much, how little, how fast. Advice, not physics.

SI floats, steps of temperature in K. Each limit says where it comes from and how it was obtained; a limit
without a source is called common practice wherever it is used.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from weirbook.engine.shape import Origin, Source
from weirbook.engine.units import to_si

PIPER = Source(
    "Piper, R. G., and others",
    1982,
    "Fish Hatchery Management",
    "US Fish and Wildlife Service, pp. 11, 277",
    "Read in a scanned copy.",
)
FAO589 = Source(
    "Somerville, C., and others",
    2014,
    "Small-scale aquaponic food production",
    "FAO Fisheries and Aquaculture Technical Paper 589, section 7.5",
    "Read.",
)
NRAC111 = Source(
    "Bowser, P. R., Buttner, J. K.",
    1993,
    "General Fish Health Management",
    "NRAC Bulletin 111",
    "Read.",
)
FA16 = Source(
    "Francis-Floyd, R., Watson, C., Petty, D., Pouder, D. B.",
    None,
    "Ammonia in Aquatic Systems",
    "University of Florida IFAS Extension FA16",
    "Read in a reprint; the list of authors from memory.",
)
VET_NOTE = Source(
    "A veterinary note",
    None,
    "Maintenance of Water Quality for Healthy Fish",
    "daily changes of temperature for tropical fish",
    "Read in a copy without an author's name.",
)
SRAC462 = Source(
    "Durborow, R. M., Crosby, D. M., Brunson, M. W.",
    1997,
    "Nitrite in Fish Ponds",
    "SRAC Publication 462",
    "Read in a copy without a name, whose text matches; attribution from memory.",
)
STATE = Source(
    "State of California",
    None,
    "Water quality objectives for warm fresh water",
    "dissolved oxygen, WARM",
    "Read in a secondary summary.",
)
PRACTICE = Source("Common practice", None, "Habits of fishkeepers", "no source")


@dataclass(frozen=True)
class Limit:
    """A bound on one thing (SI, of a `kind`), and its source."""

    name: str
    value: float
    kind: str
    unit: str
    words: str
    source: Source

    @property
    def origin(self) -> Origin:
        """What an assumption that rests on it calls it."""
        return "common practice" if self.source is PRACTICE else "default"


def _limit(name: str, value: float, kind: str, unit: str, words: str, source: Source) -> Limit:
    return Limit(name, to_si(value, unit, kind), kind, unit, words, source)


_LIST = (
    _limit("ph_low", 6.5, "ph", "pH", "lowest pH for raising fish", PIPER),
    _limit("ph_high", 9.0, "ph", "pH", "highest pH for raising fish", PIPER),
    _limit("ph_step", 0.5, "ph", "pH", "difference of pH that wants 24 hours of getting used to", FAO589),
    _limit(
        "bag_minutes", 15, "time", "min", "least time for a floated bag to take on the temperature", FAO589
    ),
    _limit(
        "warming_a_day", 2, "temperature_difference", "K", "most warming in 24 hours, tropical fish", VET_NOTE
    ),
    _limit(
        "cooling_a_day", 1, "temperature_difference", "K", "most cooling in 24 hours, tropical fish", VET_NOTE
    ),
    _limit("oxygen_warm", 3, "concentration", "mg/L", "least oxygen for warm-water fish", NRAC111),
    _limit("oxygen_cold", 5, "concentration", "mg/L", "least oxygen for cold-water fish", NRAC111),
    _limit("oxygen_objective", 5, "concentration", "mg/L", "oxygen wanted in warm fresh water", STATE),
    _limit("ammonia_stress", 0.02, "ammonia", "mg/L NH3-N", "un-ionized ammonia that strains fish", NRAC111),
    _limit("ammonia_harm", 0.05, "ammonia", "mg/L NH3-N", "un-ionized ammonia at which harm begins", FA16),
    _limit("ammonia_lethal", 2.0, "ammonia", "mg/L NH3-N", "un-ionized ammonia at which fish die", FA16),
    _limit("chloride_to_nitrite", 10, "number", "1", "chloride to nitrite, by mass", SRAC462),
    _limit("insurance_chloride", 100, "concentration", "mg/L", "chloride kept as insurance", SRAC462),
    _limit(
        "copper_hardness",
        50,
        "hardness",
        "mg/L CaCO3",
        "hardness below which copper sulfate wants a trial first",
        PIPER,
    ),
    _limit("free_chlorine", 0.02, "concentration", "mg/L", "most free chlorine for fish", PRACTICE),
    _limit("ph_a_day", 0.3, "ph", "pH", "most change of pH in a day", PRACTICE),
    _limit("alkalinity_a_day", 1.5, "alkalinity", "dKH", "most rise of alkalinity in a day", PRACTICE),
    _limit("hardness_a_day", 2, "hardness", "dGH", "most rise of hardness in a day", PRACTICE),
    _limit(
        "temperature_an_hour",
        1,
        "temperature_difference",
        "K",
        "most change of temperature in an hour",
        PRACTICE,
    ),
    _limit("co2_high", 30, "concentration", "mg/L", "most carbon dioxide", PRACTICE),
    _limit("nitrate_high", 50, "nitrate", "mg/L NO3", "most nitrate", PRACTICE),
    _limit("salt_a_day", 1, "concentration", "g/L", "most rise of salt in a day", PRACTICE),
    _limit("single_change", 0.5, "fraction", "1", "largest single water change", PRACTICE),
)

LIMITS: Mapping[str, Limit] = MappingProxyType({one.name: one for one in _LIST})
"""Every limit by name. A keeper's own limit, where an input takes one, goes before."""

MOST_WATER = 1e5
"""m3. A large fish pond; more is a slip of the unit. Common sense, no source."""


def _most(parameter: str, value: float, kind: str, unit: str) -> Limit:
    words = f"most {parameter.replace('_', ' ')} that is usual in fresh water"
    return _limit(parameter, value, kind, unit, words, PRACTICE)


MOST: Mapping[str, Limit] = MappingProxyType(
    {
        one.name: one
        for one in (
            _most("alkalinity", 20, "alkalinity", "dKH"),
            _most("hardness", 30, "hardness", "dGH"),
            _most("calcium", 200, "concentration", "mg/L"),
            _most("magnesium", 100, "concentration", "mg/L"),
            _most("potassium", 50, "potassium", "mg/L K"),
            _most("nitrate", 50, "nitrate", "mg/L NO3"),
            _most("phosphate", 5, "phosphate", "mg/L PO4"),
            _most("total_ammonia", 5, "ammonia", "mg/L NH3-N"),
            _most("chloride", 1000, "concentration", "mg/L"),
            _most("sulfate", 1000, "concentration", "mg/L"),
            _most("sodium", 650, "concentration", "mg/L"),
            _most("salt", 10, "concentration", "g/L"),
        )
    }
)
"""What is no longer wanted of each parameter that can be dosed: beyond it a figure or its unit is in doubt. Nitrate
as in LIMITS; the others from memory, and hard lake water or brackish tanks may pass them."""
