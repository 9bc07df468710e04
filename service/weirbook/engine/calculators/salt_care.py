"""What a change of salt takes for granted, what to beware of, what it leaves out and where its figures come from."""

from __future__ import annotations

from weirbook.engine.calculators.salt_case import SaltChange
from weirbook.engine.calculators.salt_inputs import USUAL_CHANGE
from weirbook.engine.calculators.sources import atomic_weights
from weirbook.engine.relations.limits import LIMITS, SRAC462
from weirbook.engine.relations.salting import SALTEST
from weirbook.engine.saying import near
from weirbook.engine.shape import Assumption, Caution, Source, show

TESTS_AGREE = 0.2
"""Share by which tests of salt and chloride may differ without a word. Common practice, no source."""


def assumptions(found: SaltChange) -> list[Assumption]:
    """What the answer rests on besides what was said."""
    given, told = found.given, []
    if given.purity == 1:
        told.append(Assumption("The salt is pure, dry sodium chloride.", "default"))
    told.append(Assumption("Percent means grams of salt to 100 mL of water.", "default"))
    if given.is_bath:
        return told
    if given.chloride is None:
        words = "No chloride was told: only that of the salt in the water is counted, so that too much is added rather"
        told.append(Assumption(f"{words} than too little.", "default"))
    if given.largest_daily_change == LIMITS["salt_a_day"].value and found.difference:
        limit = show(given.largest_daily_change, "concentration", "g/L")
        told.append(Assumption(f"Salt changes by at most {limit} a day.", "common practice"))
    if found.changes:
        if given.change_share == USUAL_CHANGE:
            told.append(Assumption("A change takes at most a quarter of the water.", "common practice"))
        told.append(Assumption("Each change mixes at once; sand and filter hold no salt back.", "default"))
        words = (
            "Chloride falls as the salt does: the new water's own, besides that of its salt, is counted as 0 where no chloride"
            " was told, and else as what the tank holds besides its salt. One filled in from the source's report (its note"
            " says so) counts no salt of the tank, so that too little is told rather than too much."
        )
        told.append(Assumption(words, "default"))
    if given.nitrite is not None:
        words = (
            "The ratio's source says nitrite without saying whether as NO2 or as nitrogen. Both are told; as NO2 wants 3.28"
            " times the chloride and is the safer."
        )
        told.append(Assumption(words, "default"))
    if given.wanted is None:
        told.append(Assumption("No salt was asked for: what nitrite asks for is taken.", "default"))
    return told


def cautions(found: SaltChange) -> list[Caution]:
    """What to beware of with salt, with this way of giving it, and with nitrite."""
    given = found.given
    told = [LABEL, SALT_AND_LIFE]
    if found.difference == 0:
        told.append(
            Caution(
                "nothing-to-change", "The water has that salt already: there is nothing to add or change."
            )
        )
    if found.difference > 0:
        told += [KIND_OF_SALT, DISSOLVE]
    if given.is_bath:
        told += _of_a_bath(found)
    elif found.difference > 0:
        told.append(STAYS)
    if found.changes:
        told.append(FALLS)
        largest = max(change.share for change in found.changes)
        limit = LIMITS["single_change"].value
        if largest > limit:
            words = "That is a large change of water: match temperature, pH and hardness, and take out its chlorine."
            told.append(Caution("large-change", words, show(limit, "fraction")))
    usual = LIMITS["salt_a_day"].value
    if not given.is_bath and found.difference and given.largest_daily_change > usual * (1 + 1e-9):
        words = "By common practice salt changes more slowly: animals need days to get used to it."
        told.append(Caution("fast-change", words, show(usual, "concentration", "g/L")))
    if given.nitrite and not given.is_bath:
        told.append(NITRITE)
    told += _of_the_tests(found)
    if max(found.level, found.before) > SALTEST:
        words = (
            "In so salty a water the change of conductivity isn't told: the range known here ends below it."
        )
        told.append(Caution("conductivity-not-told", words, show(SALTEST, "concentration", "g/L")))
    return told


def _of_the_tests(found: SaltChange) -> list[Caution]:
    """Salt and chloride that can't both be right."""
    held = found.of_ion("chloride", found.given.present)
    if found.given.chloride is None or found.given.chloride >= held * (1 - TESTS_AGREE):
        return []
    words = (
        f"So much salt would hold {near(held, 'concentration', 'mg/L')} of chloride, more than was told: a salt figure by"
        " conductivity counts other salts of the water too. Trust the test of chloride."
    )
    return [Caution("salt-and-chloride-disagree", words, near(held, "concentration", "mg/L"))]


def _of_a_bath(found: SaltChange) -> list[Caution]:
    given = found.given
    words = (
        "Watch the animal the whole bath, and end it at once when it rolls, gasps or lies still, whatever the time says."
        " Aerate, match temperature and pH, and keep clean water of its tank ready."
    )
    time = None if given.bath_time is None else show(given.bath_time, "time", "min")
    told = [Caution("watch-the-bath", words, time)]
    if given.bath_time is None:
        words = "No time was told: a bath without an end kills. Label or veterinarian say how long."
        told.append(Caution("bath-time", words))
    usual = LIMITS["salt_a_day"].value
    step = found.level - given.present
    if step > usual:
        words = (
            f"Into the bath salt rises by {near(step, 'concentration', 'g/L')} at once, far beyond a day's usual change:"
            " only for as long as the label says, and for animals that bear it."
        )
        told.append(Caution("bath-is-a-jump", words, show(usual, "concentration", "g/L")))
    return told


LABEL = Caution(
    "label-and-veterinarian",
    "As a treatment salt is given by a label or a veterinarian: how much, how long and for which animal they say, not"
    " this arithmetic. Wash hands after.",
)
SALT_AND_LIFE = Caution(
    "salt-and-life",
    "Salt harms many plants, snails, fish without scales and the bacteria of a filter that isn't used to it, and lowers"
    " oxygen a little: aerate, and test ammonia and nitrite meanwhile.",
)
KIND_OF_SALT = Caution(
    "kind-of-salt",
    "Sodium chloride without iodine or agents against caking: some of those (ferrocyanides) harm fish in light. Salt for"
    " roads and softeners may hold other things. Weigh it: spoons of coarse and fine salt differ by half.",
)
DISSOLVE = Caution(
    "dissolve-first",
    "Dissolve it in a bucket first and pour it slowly into moving water: grains burn animals and plants they lie on.",
)
STAYS = Caution(
    "salt-stays",
    "Only a water change takes salt out, evaporation doesn't: top up with fresh water, and salt only what a change took"
    " out.",
)
FALLS = Caution(
    "new-water",
    "New water must be free of chlorine and as warm as the tank's. Measure before each change: sand and filter give salt"
    " back for days.",
)
NITRITE = Caution(
    "nitrite-stays",
    "Chloride keeps nitrite out of fish for a while; it takes none away. Find its cause, change water, feed less. Fish"
    " of other families than those tried may need more.",
)

LIMITS_OF_IT = (
    "Sodium chloride only, in one well-mixed body of fresh water. Not for sea salt or brackish mixes.",
    "It knows no dose: how salty and how long, a label or a veterinarian says.",
    "Conductivity is a range at 25 °C, up to 10 g/L of salt; other salts in the water make it smaller.",
    "Chloride against nitrite is a rule from catfish ponds.",
)

SOURCES = (
    atomic_weights("Shares of chloride and sodium are computed from the formula."),
    SRAC462,
    Source(
        "Parkhurst, D. L., Appelo, C. A. J.",
        2013,
        "Description of input and examples for PHREEQC version 3",
        "specific conductance of sodium chloride at 25 °C",
        "The range of conductivity is tested against what the model computes.",
    ),
    Source("Balance of mass", None, "What a water change leaves, what added salt makes", "any handbook"),
)
