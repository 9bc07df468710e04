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
