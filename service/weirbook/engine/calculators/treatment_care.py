"""What a treatment takes for granted, what to beware of, what it leaves out and where its figures come from."""

from __future__ import annotations

from collections.abc import Mapping

from weirbook.engine.calculators.told import SAME
from weirbook.engine.calculators.treatment_case import Treatment
from weirbook.engine.calculators.treatment_inputs import ACTIVE, COPPER, FORMALIN, PERMANGANATE, USUAL_DROP
from weirbook.engine.relations.limits import LIMITS
from weirbook.engine.saying import near
from weirbook.engine.shape import Assumption, Caution, Source, show

PROBABLE_SHARE = (0.85, 0.95)
"""Of a gross volume that is water, once sand, rock and the air below the rim are off. Common practice, no source."""


def assumptions(found: Treatment) -> list[Assumption]:
    """What the answer rests on besides what was said."""
    given = found.given
    told = [
        Assumption(
            "The dose is the label's, as it was told. None is known here, and none is recommended.", "given"
        ),
        Assumption("The dose mixes at once into all of the water.", "default"),
    ]
    if found.usual_density:
        told.append(
            Assumption("Formalin as sold weighs 1.08 kg a litre; the label may say otherwise.", "default")
        )
    if given.label_by_weight is not None:
        told.append(Assumption("A litre of water counts as a kilogram: half a percent at most.", "default"))
    if given.product_drops is not None and given.drop_volume == USUAL_DROP:
        words = "Twenty drops are a millilitre; droppers differ by half. Count how many yours gives."
        told.append(Assumption(words, "common practice"))
    if given.dose_means == ACTIVE:
        told.append(Assumption("The share of active ingredient is by mass, and as on the label.", "given"))
    if given.treatments > 1 and not given.is_bath:
        words = (
            "Each dose is a full one, and nothing breaks the substance down: the highest levels there can be."
        )
        told.append(Assumption(words, "default"))
        if given.change_between is None:
            told.append(Assumption("No water is changed between doses: none was told.", "default"))
    return told


def cautions(found: Treatment) -> list[Caution]:
    """What to beware of with any treatment, with this one, and with this way of giving it."""
    given = found.given
    told = [LABEL, *BY_SUBSTANCE.get(given.substance, ()), *_of_the_water(found)]
    if given.substance == COPPER:
        told += _of_copper(found)
    if found.other_reading is not None and found.readings_differ:
        words = (
            "A label's parts per million may mean by weight or by volume: for this liquid the one is"
            f" {near(abs(found.readings_differ), 'fraction', '%')} {'more' if found.readings_differ > 0 else 'less'} by"
            " volume. See which it means."
        )
        told.append(Caution("weight-or-volume", words))
    if given.contact_time is None:
        words = "No contact time was told: the label says how long, and what ends it."
        told.append(Caution("contact-time", words))
    if found.peak > 1 + SAME:
        words = (
            "A dose on top of what is left is more than the label's dose. After a water change the label may want only"
            " what the change took out put back."
        )
        told.append(Caution("doses-add-up", words))
    return [*told, BATH if given.is_bath else WHOLE_SYSTEM, AIR, PEOPLE]


def _of_the_water(found: Treatment) -> list[Caution]:
    given, told = found.given, []
    if given.only_gross:
        low, high = (given.water * share for share in PROBABLE_SHARE)
        words = (
            "Dose by the water that is really there. By common practice a furnished tank holds some"
            f" {near(low, 'volume', 'L')} to {near(high, 'volume', 'L')} of this: the tank calculator tells it better."
        )
        told.append(Caution("gross-volume", words))
    elif not given.is_bath and given.gross_volume is not None and given.gross_volume > given.water:
        over = given.gross_volume / given.water - 1
        words = (
            f"By the gross volume you would dose {near(over, 'fraction', '%')} too much: the net one is used."
        )
        told.append(Caution("gross-would-overdose", words))
    return told


def _of_copper(found: Treatment) -> list[Caution]:
    least, given = LIMITS["copper_hardness"].value, found.given
    if (given.hardness or 0.0) >= least and (given.alkalinity or 0.0) >= 2 * least:
        return []
    return [
        Caution(
            "copper-in-soft-water",
            "In soft water of little alkalinity copper kills at usual doses: below the limit it is not used without a"
            " trial on a few animals first. For alkalinity the same figure is common practice.",
            show(least, "hardness", "mg/L CaCO3"),
        )
    ]


LABEL = Caution(
    "label-and-veterinarian",
    "The label and a veterinarian come before this arithmetic: what ails the animal, whether to treat at all, with what,"
    " and whether it is allowed where you live. Never treat animals that are eaten without them.",
)
PEOPLE = Caution(
    "people",
    "Gloves and eye protection, good air, wash hands after. Keep it labelled, locked and away from children; waste goes"
    " where local rules say, never into open water.",
)
AIR = Caution(
    "air-and-watch",
    "Strong aeration from before the dose until after it. Stay and watch: gasping, rolling or panic ends it, by clean"
    " water of the same temperature.",
)
BATH = Caution(
    "bath",
    "Mix the whole dose in before an animal goes in. Same temperature and pH as its tank, an air stone, a lid, and clean"
    " water standing ready beside it.",
)
WHOLE_SYSTEM = Caution(
    "whole-system",
    "All of the system is treated: filter bacteria, plants, snails and shrimps with it. Carbon and UV light take out or"
    " break down much of it: off, if the label says so. Leave the biological filter running, and test ammonia daily.",
)
NEVER_MIXED = Caution(
    "never-mixed",
    "Never together with another treatment, nor formalin with permanganate, nor either with chlorine agents or acid:"
    " poisonous gas, fire or a doubled harm. Change the water between.",
)

BY_SUBSTANCE: Mapping[str, tuple[Caution, ...]] = {
    FORMALIN: (
        Caution(
            "formalin",
            "Formalin's gas causes cancer and burns eyes, skin and lungs: outdoors or under an extractor, gloves,"
            " goggles. Never use it with a white sediment, which forms in the cold and is far more poisonous.",
        ),
        Caution(
            "takes-oxygen",
            "Formalin takes oxygen out of the water, within about a day and a half, and kills algae, which take more."
            " It harms more in warm water: never in water that is warm and poor in oxygen.",
        ),
        NEVER_MIXED,
    ),
    PERMANGANATE: (
        Caution(
            "permanganate",
            "Permanganate burns eyes and skin, stains all it meets and starts fires with glycerol, alcohol or sugar:"
            " keep it dry and apart. Dissolve every grain first: undissolved ones burn gills.",
        ),
        Caution(
            "permanganate-in-water",
            "Dirt uses it up, so that a dirty tank gets less than its dose and a clean one all of it. Brown means used"
            " up. Too long or too much burns gills, and so does a high pH. Don't repeat it without advice.",
        ),
        NEVER_MIXED,
    ),
    COPPER: (
        Caution(
            "copper-kills",
            "Copper kills snails, shrimps and many plants, and stays in sand and rock for years. Between enough and too"
            " much is little: measure copper each day with a test.",
        ),
    ),
}

LIMITS_OF_IT = (
    "Arithmetic of a dose that a label tells. It knows no dose, no illness and no animal.",
    "Levels are the highest there can be: decay, light, plants, filters and dirt only lower them.",
    "Oxygen by formalin is one rule of hatcheries: a fifth of the formalin in 30 to 36 hours, without aeration.",
    "Parts per million by weight count a litre of water as a kilogram.",
)

SOURCES = (
    Source(
        "Piper, R. G., and others",
        1982,
        "Fish Hatchery Management",
        "US Fish and Wildlife Service, pp. 276, 277, 283",
        "Read in a scanned copy: doses by weight, formalin's density and oxygen, copper in soft water.",
    ),
    Source(
        "Francis-Floyd, R., Klinger, R.",
        None,
        "Use of Potassium Permanganate to Control External Infections of Ornamental Fish",
        "University of Florida IFAS Extension FA37",
        "Read in a reprint, attribution from memory: drops of a stock solution.",
    ),
    Source(
        "Spellman, F. R., Whiting, N. E.",
        None,
        "Mathematics and Statistics for the Environment",
        "example 23.19",
        "Read in an extract, authors from memory: a dose of copper from copper sulfate.",
    ),
    Source("Balance of mass", None, "What a water change leaves, what a dose adds", "any handbook"),
)
