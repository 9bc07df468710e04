"""What the balance of nutrients takes for granted, what to beware of, what it leaves out, where its figures are from."""

from __future__ import annotations

from weirbook.engine.calculators.nutrients_case import Balance, share_of
from weirbook.engine.calculators.nutrients_inputs import USUAL_PHOSPHORUS, Inputs
from weirbook.engine.calculators.plants_care import (
    FULL_COVER,
    FULL_COVER_CAUTION,
    KEIZER_VLEK,
    PLANTS,
    REDDY,
    of_forms,
)
from weirbook.engine.calculators.sources import recirculating_aquaculture
from weirbook.engine.relations.limits import LIMITS, PRACTICE
from weirbook.engine.relations.nutrients import KG_N_A_MOLE
from weirbook.engine.saying import near
from weirbook.engine.shape import Assumption, Caution, Source, show
from weirbook.engine.units import to_si

FAST_FALL = to_si(0.5, "dKH", "alkalinity")
"""Alkalinity lost in a week, from which on it is worth a word. Common practice, no source."""


def assumptions(found: Balance) -> list[Assumption]:
    given = found.given
    told = [
        Assumption(
            "Likely ammonia is 0.092 of the protein fed; the least 25 mg for each gram of dry food, or 30 % below the likely"
            " one if that is less; the most all nitrogen fed, which fish that no longer grow come near.",
            "default",
        ),
        Assumption(
            "The filter turns all ammonia into nitrate within the day: ammonia and nitrite on their way are not counted"
            " apart. A filter that is still growing is another matter.",
            "default",
        ),
        Assumption("All water mixes within hours; top-off water leaves what it carried behind.", "default"),
        Assumption(
            "Oxygen and alkalinity are reckoned without growth of bacteria (4.57 g O2 and 7.14 g CaCO3 for a g of"
            " ammonia nitrogen); with growth 4.18 and 7.05 are published, observed were 6.3 to 7.4. Plants that use"
            " nitrate, and denitrification, give up to half of the alkalinity back.",
            "default",
        ),
    ]
    return [*told, *_assumed_for_want_of_more(given, found)]


def _assumed_for_want_of_more(given: Inputs, found: Balance) -> list[Assumption]:
    told = []
    if given.phosphorus_kept is None:
        words = (
            "Of the food's phosphorus the fish keep 30 %, at least 20 % and at most half: no source was read."
        )
        told.append(Assumption(words, "common practice"))
    if given.phosphorus == USUAL_PHOSPHORUS:
        told.append(Assumption("Food holds 1.2 % phosphorus: see its label.", "common practice"))
    for name, value, present in (
        ("nitrate", given.source_nitrate, given.nitrate),
        ("phosphate", given.source_phosphate, given.phosphate),
    ):
        if value is None:
            words = f"Source water without {name}. Tap water may well hold some: test it."
            told.append(Assumption(words, "default"))
        if present is None:
            words = f"No test tells the present {name}: the weeks ahead begin at what the source water holds."
            told.append(Assumption(words, "default"))
    if given.change_interval is None and found.likely.share:
        told.append(Assumption("Changes come once a week.", "common practice"))
    if given.change_share is not None and given.change_volume is not None:
        told.append(Assumption("The share changed goes before the volume changed.", "given"))
    if given.nitrate_limit is None:
        limit = LIMITS["nitrate_high"]
        told.append(Assumption(f"At most {show(limit.value, limit.kind, limit.unit)} nitrate.", limit.origin))
    if given.stands:
        words = "Of each stand's published range the middle is likely: as many times the least as the most is of it."
        told.append(Assumption(words, "common practice"))
    return told


def cautions(found: Balance) -> list[Caution]:
    told = [FORMS, *_of_the_test(found), *_of_the_routine(found), *_of_alkalinity(found)]
    forms = [stand.growth_form for stand in found.given.stands]
    if found.area_to_hold.high:
        forms.append(found.given.added_form)
    if forms:
        told += [*of_forms(forms), *PLANTS]
    if any(stand.cover >= FULL_COVER for stand in found.given.stands if stand.growth_form == "floating"):
        told.append(FULL_COVER_CAUTION)
    if min(found.likely.gain.nitrogen, found.likely.gain.phosphorus) < 0:
        told.append(PLANTS_WANT_MORE)
    return [*told, FEED_LESS]


def _of_the_test(found: Balance) -> list[Caution]:
    """A test that the long run doesn't explain says more than any rule."""
    given, least, most = found.given, found.least.nitrogen_swing, found.most.nitrogen_swing
    if given.nitrate is None:
        return []
    present = given.nitrate * KG_N_A_MOLE
    said = near(given.nitrate, "nitrate", "mg/L NO3")
    if least is not None and present < min(least):
        words = (
            f"The test shows {said}, less than this reckons for the long run at best: the routine is young, less is"
            " fed, or something takes up more than was told. Believe the test, and watch whether it climbs."
        )
    elif most is not None and present > max(most):
        words = (
            f"The test shows {said}, more than this reckons for the long run at worst: a past, a source or rotting"
            " matter that was not told, or a test that reads high. Test the source water, and once more."
        )
    else:
        return []
    return [Caution("test-disagrees", words)]


def _of_the_routine(found: Balance) -> list[Caution]:
    told, given, most = [], found.given, LIMITS["single_change"]
    if not found.likely.share and not given.drip_flow:
        told.append(
            Caution(
                "nothing-carries-off",
                "No water is exchanged: what plants and bacteria don't take gathers without end, and other things that no"
                " test shows gather with it.",
            )
        )
    share = found.share_to_hold
    largest = max(share_of(given), share or 0.0)
    if largest > most.value:
        words = (
            "So large a change at once is a jolt: have temperature, hardness and pH of the new water like the old,"
            " treat chlorine, or change less and oftener."
        )
        told.append(Caution("large-change", words, show(most.value, most.kind)))
    if share is None:
        words = (
            "No change of this interval holds the wanted nitrate: the source water holds as much, or more would have"
            " to be changed than there is. Change oftener, feed less or plant more."
        )
        told.append(Caution("changes-cannot-hold", words))
    if found.feed_to_hold is None:
        words = "Not even without food would the wanted nitrate hold: the source water brings too much."
        told.append(Caution("food-cannot-hold", words))
    return told


def _of_alkalinity(found: Balance) -> list[Caution]:
    a_week = found.alkalinity_a_day * 7
    if a_week < FAST_FALL:
        return []
    words = (
        f"Bacteria use up to {near(a_week, 'alkalinity', 'dKH')} of alkalinity a week: test it, or pH falls all at once"
        " and they stop. Where it is raised, pH rises too and ammonia turns to its poisonous form: test total ammonia"
        " first."
    )
    return [Caution("alkalinity-sinks", words)]


FORMS = Caution(
    "as-nitrogen-or-as-nitrate",
    "Tests tell nitrate as NO3 or as NO3-N: 1 mg/L NO3-N is 4.43 mg/L NO3; and phosphate as PO4 or PO4-P, 1 to 3.07."
    " See which your test says. The working here is in nitrogen and phosphorus.",
)
PLANTS_WANT_MORE = Caution(
    "plants-want-more",
    "Plants and denitrification as told would take up more than comes in: in truth they slow down, and a test shows none.",
)
FEED_LESS = Caution(
    "feed-less-with-care",
    "Feed less only as far as the fish keep their flesh, and not fry or fish that are being brought round.",
)

LIMITS_OF_IT = (
    "One well-mixed system with a grown filter; a steady routine. What is fed, changed and planted from day to day in"
    " truth moves it week by week.",
    "Nitrogen and phosphorus in gravel, mud and bacteria, and phosphate that falls out with calcium, are not counted.",
    "The day-by-day run ends days at midnight: changes at an interval that is no whole number of days fall on the"
    " day after, so that its weeks differ a little from the long run.",
)

SOURCES = (
    recirculating_aquaculture(
        "ammonia = food x protein x 0.092; 0.2 to 0.3 kg of solids for a kg of food",
        "From memory. FAO Technical Paper 589 makes 0.0976 of 0.092, 25 mg for a gram of food is a farmers' rule.",
    ),
    Source("Jones, D. B.", 1931, "USDA Circular 183", "protein = 6.25 x nitrogen", "From memory."),
    Source(
        "Conservation of mass",
        None,
        "Steady state of a mixed volume, exchanged all the time or now and then",
        "closed forms",
        "Held to nitrate_steady_state.csv and to the day-by-day run.",
    ),
    Source(
        "Ebeling, J. M., Timmons, M. B., Bisogni, J. J.",
        2006,
        "Engineering analysis of the stoichiometry of nitrification",
        "Aquaculture 257, 346; molar ratios beside it",
        "Its coefficients with growth are from memory; the molar ratios are computed from atomic weights.",
    ),
    REDDY,
    KEIZER_VLEK,
    PRACTICE,
)
