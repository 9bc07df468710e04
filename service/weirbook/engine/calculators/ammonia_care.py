"""What the answer on ammonia takes for granted, what to beware of, what it leaves out and where its figures come from."""

from __future__ import annotations

from weirbook.engine.calculators.ammonia_case import HARM, LETHAL, OVER, STRESS, Ammonia, said
from weirbook.engine.calculators.sources import atomic_weights
from weirbook.engine.relations.ammonia import CRITERIA_PH, FORMULA_PH, MOST_SALT, WARMEST
from weirbook.engine.relations.limits import FA16, NRAC111
from weirbook.engine.saying import near
from weirbook.engine.shape import Assumption, Caution, Source, show

HIGHER_PH, WARMER, MISREAD_PH = 0.5, 5.0, 0.2
"""What a keeper may bring about within days, and by how much a drop test of pH is often off. Common practice."""

USUAL_NEW_WATER = 8.0
"""pH that tap water often has. Common practice."""


def assumptions(found: Ammonia) -> list[Assumption]:
    given = found.given
    told = [
        Assumption("The test tells all ammonia, both forms together, in the form that was named.", "given"),
        Assumption("pH and temperature are of the same water at the same time.", "given"),
    ]
    if not given.salinity:
        words = (
            "The water has no salts, which tells the most un-ionized ammonia: 0.3 g/kg of them take about 8 % off, 1 g/kg"
            " 13 %."
        )
        told.append(Assumption(words, "default"))
    else:
        words = (
            "The salts are those of the sea; a gram of the salts of hard water counts up to a quarter more."
        )
        told.append(Assumption(words, "default"))
    if given.accepted == STRESS.value:
        told.append(Assumption(f"Accepted: {_bound(STRESS.value)}, {STRESS.words}.", STRESS.origin))
    told.append(Assumption(f"Harm: {_bound(HARM.value)}, {HARM.words}.", HARM.origin))
    watched = "The lower is" if given.accepted == STRESS.value else "More than you accept is"
    told.append(
        Assumption(
            f"Sources differ on the limit: {_bound(STRESS.value)} by one, {_bound(HARM.value)} by another. {watched}"
            " watched; the higher is called over, whatever is accepted.",
            "default",
        )
    )
    return told


def _bound(value: float) -> str:
    return show(value, "ammonia", "mg/L NH3-N")


def cautions(found: Ammonia) -> list[Caution]:
    told = [*_of_the_water(found), TEST_FORM, *_of_the_ranges(found)]
    if found.given.accepted > HARM.value:
        words = f"What you accept is more than the {said(HARM.value)} at which harm is said to begin."
        told.append(Caution("accepts-harm", words, _bound(HARM.value)))
    return told


def _of_the_water(found: Ammonia) -> list[Caution]:
    if not found.given.total_ammonia:
        return [NONE_FOUND]
    told = []
    if found.verdict == OVER:
        lethal = found.un_ionized > LETHAL.value
        told.append(Caution("ammonia-harms", ACT_NOW, _bound(LETHAL.value if lethal else HARM.value)))
    told.append(
        Caution(
            "rising-ph-poisons",
            f"The same total is worse in warmer water or at a higher pH: {said(found.at(more_ph=HIGHER_PH))} at a pH"
            f" {HIGHER_PH} higher, {said(found.at(warmer=WARMER))} when"
            f" {near(WARMER, 'temperature_difference', 'K')} warmer. Raise neither pH, alkalinity nor"
            " temperature while ammonia shows; plants and algae raise the pH by day.",
        )
    )
    told.append(
        Caution(
            "ph-counts",
            f"Were the pH read {MISREAD_PH} too low, as a drop test may be, {said(found.at(more_ph=MISREAD_PH))} would"
            " be un-ionized.",
        )
    )
    at_usual = found.at(more_ph=USUAL_NEW_WATER - found.given.ph)
    if found.given.ph < USUAL_NEW_WATER and found.un_ionized <= found.given.accepted < at_usual:
        told.append(
            Caution(
                "hidden-by-ph",
                f"The low pH hides it: at pH {USUAL_NEW_WATER:g} {said(at_usual)} would be un-ionized. New water of a"
                " higher pH, or air let into a long-closed bag of fish, can turn it poisonous at once.",
                show(USUAL_NEW_WATER, "ph"),
            )
        )
    return told


def _of_the_ranges(found: Ammonia) -> list[Caution]:
    given, told = found.given, []
    warm_enough = given.temperature <= WARMEST
    if not (FORMULA_PH[0] <= given.ph <= FORMULA_PH[1] and warm_enough):
        words = (
            "The formula was fitted from pH 6 to 10 and from 0 to 30 °C: outside, the share is less certain."
        )
        told.append(Caution("outside-the-formula", words, "pH 6 to 10, 0 to 30 degC"))
    if not (CRITERIA_PH[0] <= given.ph <= CRITERIA_PH[1] and warm_enough):
        words = "The criteria are given from pH 6.5 to 9 and from 0 to 30 °C: outside, take them as a hint."
        told.append(Caution("outside-the-criteria", words, "pH 6.5 to 9, 0 to 30 degC"))
    if given.salinity > MOST_SALT:
        words = (
            "The correction for salt holds in fresh and slightly salty water: here the share is less certain."
        )
        told.append(Caution("salty", words, show(MOST_SALT, "salinity")))
    return told


ACT_NOW = (
    "Feed nothing, aerate, and change water in steps with water of the same temperature and of no higher pH, free of"
    " chlorine. Then find the cause: a dead fish, a stopped filter, too much food. Gasping or listless fish want a"
    " veterinarian."
)
NONE_FOUND = Caution(
    "none-found",
    "None found is not none there: a test shows nothing below its smallest step, and old reagents show too little.",
)
TEST_FORM = Caution(
    "form-of-the-test",
    "Read the test's label: the same water reads 1 as NH3-N, 1.22 as NH3 and 1.29 as NH4. Some tests also count"
    " ammonia that a conditioner has bound, or are upset by it.",
)

LIMITS = (
    "Fresh and slightly salty water, pH 6 to 10, 0 to 30 °C; the criteria pH 6.5 to 9. Outside: answered with a caution.",
    "Limits are for lasting exposure and for fish in general: fry, cold-water fish and fish short of oxygen bear less.",
    "The criteria protect wild waters, with mussels more sensitive than fish: they are context, not a target for a tank.",
    "What a conditioner binds, and how fast the filter or plants take ammonia up, are not reckoned.",
)

SOURCES = (
    Source(
        "Emerson, K., Russo, R. C., Lund, R. E., Thurston, R. V.",
        1975,
        "Aqueous ammonia equilibrium calculations: effect of pH and temperature",
        "J. Fish. Res. Board Can. 32, 2379: pKa = 0.09018 + 2729.92 / T",
        "Coefficients read in documents that cite it. Trussell's constants differ by up to 2.6 % in the share. A"
        " widely copied table (IFAS FA16) misprints its column for 32 °C and the cell for 20 °C, pH 7.4.",
    ),
    Source(
        "Messer, J. J., Ho, J., Grenney, W. J.",
        1984,
        "Ionic strength correction for extent of ammonia ionization in freshwater",
        "Can. J. Fish. Aquat. Sci. 41, 811",
        "From memory; held to the PHREEQC model in the tests, within 2 % up to 3 g/kg.",
    ),
    Source(
        "US EPA",
        2013,
        "Aquatic life ambient water quality criteria for ammonia, freshwater",
        "EPA-822-R-13-001: acute and chronic criteria by pH and temperature, as total ammonia nitrogen",
        "Its values at pH 7, 20 °C were read; the equations are from memory and give both.",
    ),
    NRAC111,
    FA16,
    atomic_weights("To turn NH3-N into NH3 and NH4.", "H 1.008, N 14.007"),
)
