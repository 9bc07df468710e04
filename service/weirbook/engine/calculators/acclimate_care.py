"""What an arrival takes for granted, what to beware of, what it leaves out and where its figures come from."""

from __future__ import annotations

from weirbook.engine.calculators.acclimate_case import (
    AIRED_PH,
    LONG_CLOSED,
    MOST_PORTIONS,
    STRESS,
    Arrival,
)
from weirbook.engine.calculators.acclimate_inputs import USUAL_INTERVAL, USUAL_PORTION, USUAL_STEP
from weirbook.engine.calculators.exchange import CARBONIC_ACID, MASS_BALANCE
from weirbook.engine.relations.limits import FA16, FAO589, LIMITS, NRAC111, PRACTICE, VET_NOTE
from weirbook.engine.saying import said
from weirbook.engine.shape import Assumption, Caution, Source, show

READ_RANGE = (273.15, 303.15)
"""K: where the table of un-ionized ammonia was checked."""


def assumptions(found: Arrival) -> list[Assumption]:
    given = found.given
    told = [
        Assumption(
            "Tank water is added with nothing poured off, and mixes before the next portion.", "default"
        ),
        Assumption(
            "Floating evens out the temperature first; portions are counted for conductivity.", "default"
        ),
    ]
    for value, usual, words in (
        (
            given.conductivity_step,
            USUAL_STEP,
            "No step changes conductivity by more than 20 % of what it then is.",
        ),
        (given.largest_portion, USUAL_PORTION, "A portion is at most a quarter of the bag's water."),
        (given.portion_interval, USUAL_INTERVAL, "Portions follow each other every 10 min."),
        (
            given.temperature_an_hour,
            LIMITS["temperature_an_hour"].value,
            "Temperature moves at most 1 K in an hour.",
        ),
    ):
        if value == usual:
            told.append(Assumption(words, "common practice"))
    if given.ph_step == LIMITS["ph_step"].value:
        words = (
            "A pH difference of 0.5 may be crossed at once; more wants a day for each 0.5 (FAO: 24 hours)."
        )
        told.append(Assumption(words, "default"))
    told.append(
        Assumption(
            f"A bag is taken for long closed after {show(LONG_CLOSED, 'time')}, and more than {MOST_PORTIONS} portions for"
            " too many.",
            "common practice",
        )
    )
    if given.hours_closed is None:
        told.append(Assumption("The bag is taken for freshly closed: how long it was isn't said.", "default"))
    told += _of_the_air(found)
    if given.time_constant is None:
        told.append(Assumption("A floated bag is even with the tank after 15 min at least (FAO).", "default"))
    words = "The poisonous share of ammonia is Emerson's, for fresh water; Trussell's differs by up to 2.6 %."
    told.append(Assumption(words, "default"))
    if found.toxic(found.toxic_share_after) is not None:
        words = (
            "Un-ionized ammonia after is that of the bag's water, not yet thinned, once its pH is the tank's."
        )
        told.append(Assumption(words, "default"))
    return told


def _of_the_air(found: Arrival) -> list[Assumption]:
    """What pH an open bag comes to, and what that is for."""
    if found.given.bag_alkalinity is None:
        words = f"In the open the bag's water comes to pH {AIRED_PH}: its alkalinity isn't said."
        aired = Assumption(words, "common practice")
    else:
        words = (
            "In the open the bag's water comes to balance with air of 420 uL/L (ppm) of CO2 at sea level; not corrected"
            " for the ions' activity, which makes pH a little high, by 0.02 at 5 dKH."
        )
        aired = Assumption(words, "default")
    words = (
        "A bag long closed is cleared of its ammonia only by the highest of its own pH, the tank's and that in the open:"
        " what slow mixing in open air comes to at worst, not yet thinned."
    )
    return [aired, Assumption(words, "default")]


def cautions(found: Arrival) -> list[Caution]:
    given = found.given
    told = [SHIPPER, BAG_WATER, OPENED]
    if found.method == "transfer" or found.may_have_stored_ammonia:
        told.append(STORED_AMMONIA)
    told += _of_ammonia(found)
    if found.temperature_jumps:
        limit = show(found.warming_allowed, "temperature_difference")
        way = "warmed" if found.warming > 0 else "cooled"
        words = (
            f"A veterinary note lets tropical fish be {way} by {limit} in a whole day, habit by"
            f" {said(given.temperature_an_hour, 'temperature_difference')} in an hour, and floating is faster than both:"
            " they disagree. Receive them in water of the bag's temperature where you can."
        )
        told.append(Caution("temperature-apart", words, limit))
    if found.ph_binds:
        told.append(PH_APART)
    elif found.ph_jumps:
        told.append(PH_OF_GAS)
    elif found.ph_difference is None:
        told.append(PH_UNKNOWN)
    if found.method == "mix":
        told.append(PH_IN_THE_BAG)
    return [*told, LIGHT, QUARANTINE, HANDS]


def _of_ammonia(found: Arrival) -> list[Caution]:
    given, told = found.given, []
    before, after = found.toxic(found.toxic_share_before), found.toxic(found.toxic_share_after)
    aired = found.toxic(found.toxic_share_highest) if found.ph_highest == found.ph_aired else None
    for code, value, words in (
        ("poisoned-in-the-bag", before, "in the bag already"),
        ("poison-when-opened", after, "once the bag's water has the tank's pH"),
        ("poison-in-the-open", aired, "once carbon dioxide has left the open bag"),
    ):
        if value is not None and value > STRESS.value:
            harm = LIMITS["ammonia_harm"]
            text = (
                f"Un-ionized ammonia comes to {said(value, 'ammonia')} {words}: above {said(STRESS.value, 'ammonia')} it strains"
                f" fish (NRAC), from {said(harm.value, 'ammonia')} on it harms them (Florida). Don't let them linger in that"
                " water; ask a fish veterinarian if they gasp or bleed at the gills."
            )
            told.append(Caution(code, text, show(STRESS.value, "ammonia")))
    low, high = READ_RANGE
    if not all(low <= one <= high for one in (given.temperature, given.bag_temperature)):
        words = "Above 30 °C the share of un-ionized ammonia is reckoned beyond its table: it may be off by a few per cent."
        told.append(Caution("beyond-the-table", words, show(high, "temperature")))
    return told


SHIPPER = Caution(
    "shipper-first",
    "The shipper's own directions and a fish veterinarian's word go before this: species, and how they were packed,"
    " differ.",
)
BAG_WATER = Caution(
    "not-the-bags-water",
    "Pour none of the bag's water into the tank: it carries waste, germs and perhaps drugs. Net the animals over, or let"
    " them slip from a cup, and pour the rest down the drain, never into ditch or pond.",
)
OPENED = Caution(
    "opened-bag",
    "Float the bag closed. Once open it has no more oxygen than the air gives: get on, and watch for gasping. Aerating"
    " drives carbon dioxide out, and pH up.",
)
STORED_AMMONIA = Caution(
    "stored-ammonia",
    "In a bag closed for hours the fish's carbon dioxide has lowered pH, which keeps their ammonia harmless. Opened and mixed"
    " slowly the gas leaves, pH rises, and that ammonia turns poisonous. Common practice then: temperature first, and at once"
    " over into clean water of like salt content.",
    show(LONG_CLOSED, "time"),
)
PH_APART = Caution(
    "ph-apart",
    "So large a difference of pH wants days, not hours (FAO): receive them in water near the bag's pH and alkalinity, and"
    " move it by changes of water.",
    show(LIMITS["ph_step"].value, "ph"),
)
PH_OF_GAS = Caution(
    "ph-of-carbon-dioxide",
    "In a bag closed for hours pH says more of carbon dioxide than of the water the fish came from: ask the shipper for that"
    " water's pH and hardness, and compare the tank with them.",
    show(LIMITS["ph_step"].value, "ph"),
)
PH_UNKNOWN = Caution(
    "ph-unknown", "The pH of bag or tank isn't known, and a jump of it can't be judged: measure both."
)
PH_IN_THE_BAG = Caution(
    "ph-is-not-in-proportion",
    "pH doesn't follow the portions in proportion: the water with more alkalinity soon sets it. Measure it as you go, and"
    " slow down where it moves fast.",
)
LIGHT = Caution(
    "dim-lights", "Dim the lights, leave them in peace for the day, and feed next day at the earliest."
)
QUARANTINE = Caution(
    "quarantine",
    "Looking healthy is not being healthy: receive newcomers in a quarantine tank with nets and buckets of its own, for"
    " weeks.",
)
HANDS = Caution(
    "hands",
    "Fish-borne germs enter by wet cuts: gloves, or keep hurt hands out, and wash them after. Spines go through bags and"
    " fingers.",
)

LIMIT_WORDS = (
    "The steps are habits of fishkeepers and a few published figures, not physics; species, age and stress differ.",
    "pH is judged by its difference alone. Where both alkalinities are known the stages show it for a closed vessel.",
    "Un-ionized ammonia: fresh water, 0 to 30 °C.",
    f"Mixing is reckoned up to {MOST_PORTIONS} portions; beyond that the water wants days.",
)

SOURCES: tuple[Source, ...] = (
    FAO589,
    NRAC111,
    FA16,
    VET_NOTE,
    Source(
        "Emerson, K., Russo, R. C., Lund, R. E., Thurston, R. V.",
        1975,
        "Aqueous ammonia equilibrium calculations: effect of pH and temperature",
        "J. Fish. Res. Board Can. 32, 2379",
        "Its coefficients read in documents that reprint them; held to examples of University of Florida FA16 and SRAC 463.",
    ),
    MASS_BALANCE,
    CARBONIC_ACID,
    PRACTICE,
)
