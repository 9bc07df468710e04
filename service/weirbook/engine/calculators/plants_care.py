"""What to beware of with plants that feed on the water: said wherever an answer counts on them."""

from __future__ import annotations

from weirbook.engine.relations.plants import UPTAKE
from weirbook.engine.shape import Caution, Source, show

FULL_COVER = 0.8
"""Cover of open water from which on the night's oxygen is worth a word. Common practice, no source."""

PLANTS = (
    Caution(
        "plant-sap",
        "Many house plants that grow with roots in water have sap that burns skin and mouth, or is poisonous: keep"
        " children and pets away, wash hands.",
    ),
    Caution(
        "plants-bring-along",
        "Bought plants may carry pesticides that kill shrimp and insects, and snails or disease: rinse them and let"
        " them stand apart first.",
    ),
    Caution(
        "invasive-plants",
        "Several floating plants choke rivers and are forbidden in places: look up local law, and never let plants,"
        " fish or tank water get outdoors.",
    ),
    Caution(
        "crop-them",
        "Plants take nutrients out only as far as you carry plants away: what rots in the water gives all back.",
    ),
)

FULL_COVER_CAUTION = Caution(
    "full-cover",
    "Under a closed cover little air reaches the water, and oxygen falls at night: leave open water, and keep the"
    " surface moving.",
    show(FULL_COVER, "fraction"),
)

POND_FIGURES = Caution(
    "pond-figures",
    "Published uptake is of rich ponds in full sun. Under a lamp, in thin or cold water, plants take up less, some"
    " hardly anything: count on the lowest uptake, so on the larger area, and trust only what you crop.",
)


def unsourced_form(form: str) -> Caution:
    return Caution(
        f"guess-{form}",
        f"For {form} plants no published uptake is known here: the range is a guess without a source. Say your own"
        " figure if you have one.",
    )


def of_forms(forms: list[str]) -> list[Caution]:
    """What to say of the figures behind some forms of growth, each once."""
    told = [unsourced_form(form) for form in dict.fromkeys(forms) if not UPTAKE[form].published]
    return [POND_FIGURES, *told]


REDDY = Source(
    "Reddy, K. R., DeBusk, W. F.",
    1987,
    "Nutrient storage and uptake of aquatic plants",
    "kg/ha/year by plant, as reprinted in design manuals of aquatic plant systems",
    "From memory, not checked against a print: plant_nutrient_uptake.csv. Rich ponds of the subtropics.",
)
KEIZER_VLEK = Source(
    "Keizer-Vlek, H. E., and others",
    2014,
    "Floating mats of iris for nutrient removal",
    "Ecological Engineering 73, 684, abstract",
    "Read: 277 mg N/m2/d removed, 74 % of it by the plants. It lies within the range of emergent plants.",
)
REDDY_SHARE = Source(
    "Reddy, K. R., DeBusk, W. F.",
    1985,
    "Nutrient removal potential of selected aquatic macrophytes",
    "J. Environ. Qual. 14, 459, abstract",
    "Read: 16 to 75 % of the nitrogen that went out of the water went into plants.",
)
POLPRASERT = Source(
    "Polprasert, C.",
    None,
    "Organic Waste Recycling",
    "section 7.3.1 and table 7.4 after Boyd 1974",
    "Read: water 90 to 95 % in floating, 84 to 95 in submersed, 76 to 90 in emergent plants; protein by plant.",
)
FAO187 = Source(
    "FAO",
    1979,
    "Handbook of utilization of aquatic plants, Fisheries Technical Paper 187",
    "chapter III, minerals by plant",
    "Read: phosphorus 0.13 to 0.83 % of dry matter. The year is from memory.",
)
STEWARD = Source(
    "Steward, K. K.",
    1970,
    "Nutrient removal potentials of various aquatic plants",
    "as quoted in an abstract",
    "Read there: 4 % nitrogen and 0.4 % phosphorus in dry hyacinth. The title is from memory.",
)
IN_PLANTS = (POLPRASERT, STEWARD, FAO187)
"""For what of a fresh plant is dry, nitrogen and phosphorus."""
