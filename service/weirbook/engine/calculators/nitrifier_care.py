"""What the surface for nitrifying bacteria takes for granted, what to beware of, and where its figures are from."""

from __future__ import annotations

from weirbook.engine.calculators.nitrifier_case import Surface
from weirbook.engine.calculators.sources import recirculating_aquaculture
from weirbook.engine.relations.limits import LIMITS, PIPER
from weirbook.engine.relations.nitrifiers import FAO_GRAVEL, WARM
from weirbook.engine.relations.nitrogen import LEAST_ALKALINITY, LEAST_OXYGEN
from weirbook.engine.shape import Assumption, Caution, Source, show


def assumptions(found: Surface) -> list[Assumption]:
    given = found.given
    told = []
    if given.ammonia is None:
        told.append(
            Assumption(
                "Ammonia is 0.092 of the protein fed; fish differ by 30 % either way, and food that rots gives more.",
                "default",
            )
        )
    else:
        told.append(Assumption("Ammonia as told; food and protein are not asked.", "given"))
    if given.areal_rate is None:
        told.append(
            Assumption(
                "Published rates of grown biofilm at 20 to 30 °C: 0.2 to 2 g of nitrogen a day on a square metre, usually"
                " reckoned 0.475 (0.57 weighed as ammonia); below 20 °C less by 3 to 9 % a degree. These figures are"
                " from memory, not checked against a print.",
                "default",
            )
        )
    else:
        told.append(Assumption("The rate is your own, at your temperature.", "given"))
    told.append(
        Assumption("Only the media told count; walls, gravel and pipes carry bacteria too.", "default")
    )
    if given.specific_surface is None and not given.sections:
        words = f"Media to add are gravel of {show(FAO_GRAVEL, 'specific_surface')}."
        told.append(Assumption(words, "default"))
    told += [Assumption(f"No test tells the {words}: taken as enough.", "default") for words in found.untold]
    if given.flow is not None:
        words = (
            "A flow is watched where the water must carry more than 0.1 mg/L of ammonia nitrogen for it to bring all that"
            " is made, and too slow above 1 mg/L."
        )
        told.append(Assumption(words, "common practice"))
    return told


def cautions(found: Surface) -> list[Caution]:
    given = found.given
    told = [GROWS_SLOWLY, POISONS, THIN_WATER, FOULING]
    if given.dissolved_oxygen is not None and given.dissolved_oxygen < LEAST_OXYGEN:
        words = "Bacteria lack oxygen, and the fish before them: more air or flow now."
        told.append(Caution("low-oxygen", words, show(LEAST_OXYGEN, "concentration")))
    if given.alkalinity is not None and given.alkalinity < LEAST_ALKALINITY:
        words = (
            "Alkalinity is too low for them. Raise it slowly: pH rises with it and ammonia turns to its poisonous form,"
            " so test total ammonia first."
        )
        told.append(Caution("low-alkalinity", words, show(LEAST_ALKALINITY, "alkalinity", "mg/L CaCO3")))
    limit = LIMITS["ph_low"]
    if given.ph is not None and given.ph < limit.value:
        words = "In acid water they work slowly or stop; how far is not reckoned here."
        told.append(Caution("acid-water", words, show(limit.value, "ph")))
    if not WARM[0] <= given.temperature <= WARM[1]:
        words = "The published rates are of 20 to 30 °C: beyond that the range is carried on, not measured."
        told.append(Caution("outside-temperatures", words, f"{show(WARM[0], 'temperature')}"))
    return told


GROWS_SLOWLY = Caution(
    "grows-slowly",
    "A new filter takes weeks to grow its bacteria, and after more food days to weeks: feed little, test ammonia and"
    " nitrite often meanwhile. Surface alone turns nothing over.",
)
POISONS = Caution(
    "bacteria-die",
    "Medicine, salt, chlorine from tap water or cleaning, and an hour without flow can kill them: follow the label and"
    " a veterinarian, rinse media in tank water only, and test ammonia after.",
)
THIN_WATER = Caution(
    "thin-water",
    "The rates were found in water with about 1 mg/L of ammonia nitrogen. In a tank that is kept far below, media work"
    " at a fraction of them and keep the rest in reserve: more surface holds ammonia lower.",
)
FOULING = Caution(
    "fouled-media",
    "Mud on the media, gaps that clog and water that goes round them take surface away: a data sheet counts clean"
    " media.",
)

LIMITS_OF_IT = (
    "A grown biofilm with enough oxygen, alkalinity and flow. The least surface and the most lie ten times apart.",
    "The day's mean: after a meal ammonia is above it.",
    "Nitrite is taken for as fast as ammonia, which it is not while a filter grows.",
)

SOURCES = (
    Source(
        "Losordo, T. M., Masser, M. P., Rakocy, J. E.",
        1999,
        "Recirculating Aquaculture Tank Production Systems",
        "SRAC Publication 453, rates of biofilters",
        "From memory.",
    ),
    Source(
        "Somerville, C., and others",
        2014,
        "Small-scale aquaponic food production",
        "FAO Fisheries and Aquaculture Technical Paper 589, appendix 4, worked example",
        "From memory, arithmetic checked: 200 g of food, 7.5 g NH3, 13.2 m2, 44 L of gravel.",
    ),
    recirculating_aquaculture(
        "ammonia = food x protein x 0.092; trickling towers 0.2 to 1 g at 15 to 20 °C, 1 to 2 g at 25 to 30 °C"
    ),
    Source(
        "Wastewater texts",
        None,
        "Temperature of nitrifying biofilms",
        "theta 1.03 to 1.09",
        "From memory.",
    ),
    Source(
        "Grady and Lim; Sandy",
        1980,
        "Conditions of nitrification",
        "oxygen at least 2 mg/L; alkalinity at least 40 mg/L CaCO3 (Sandy 1987)",
        "Read in a thesis that quotes both.",
    ),
    PIPER,
)
