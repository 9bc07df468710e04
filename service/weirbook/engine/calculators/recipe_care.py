"""What a recipe takes for granted, what to beware of, what it leaves out and where its figures come from."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from weirbook.engine.calculators.dose_care import (
    ALGAE,
    AMMONIA,
    BUILDS_UP,
    GRADE,
    LIGHTEST,
    SALT,
    cautions_by_compound,
    side_ions,
    too_little_to_weigh,
    two_forms,
)
from weirbook.engine.calculators.dose_care import SOURCES as DOSE_SOURCES
from weirbook.engine.calculators.dose_verdict import beyond_usual
from weirbook.engine.calculators.recipe_inputs import TARGETS, tests_disagree
from weirbook.engine.calculators.recipe_outcome import Outcome, named
from weirbook.engine.relations.chemistry import stock_bounds
from weirbook.engine.relations.limits import LIMITS as LIMITS_OF_WATER
from weirbook.engine.relations.limits import PRACTICE
from weirbook.engine.saying import less, said
from weirbook.engine.shape import Assumption, Caution, Source, show


def assumptions(found: Outcome) -> list[Assumption]:
    given = found.given
    told = [
        Assumption(
            "The mmol of each salt are those, none below 0, that come nearest to all wanted values, each miss counted as a"
            " share of its value (non-negative least squares). The steps add up what they bring.",
            "default",
        ),
        Assumption(
            "Where several recipes do the same, the one is told that brings the least mass of ions nobody asked for.",
            "default",
        ),
        Assumption(
            "All of it dissolves and stays dissolved, and the volume counts all the water that it mixes into.",
            "default",
        ),
    ]
    silent = [name for name in TARGETS if found.untold(name)]
    if found.was_pure and len(silent) == len(TARGETS):
        told.append(
            Assumption("The water is pure, as from reverse osmosis: nothing was told of it.", "default")
        )
    else:
        left_out = [name for name in silent if found.present[name] == 0]
        if left_out:
            told.append(Assumption(f"Nothing was told of {', '.join(left_out)}: taken as none.", "default"))
    if not given.salts:
        names = named(salt.made_of for salt in given.at_hand)
        told.append(Assumption(f"The salts usually at hand: {names}.", "common practice"))
    for portion in found.used:
        if portion.salt.purity == 1:
            told.append(Assumption(f"The {portion.made_of.name} is pure and dry.", "default"))
        if "." in portion.made_of.formula:
            words = (
                f"The {portion.made_of.name} is weighed with its crystal water, as {portion.made_of.formula}."
            )
            told.append(Assumption(words, "default"))
    for name in ("alkalinity_a_day", "hardness_a_day") if given.animals else ():
        limit = LIMITS_OF_WATER[name]
        if getattr(given, name) == limit.value:
            words = f"{limit.words.capitalize()}: {show(limit.value, limit.kind, limit.unit)}."
            told.append(Assumption(words, limit.origin))
    return told


def cautions(found: Outcome, values: Mapping[str, Any]) -> list[Caution]:
    used = found.used
    if not used:
        return [NOTHING, MEASURE] if not found.missed else [MISSED, MEASURE]
    ions = {ion for one in used for ion in one.made_of.ions}
    told = [MISSED] if found.missed else []
    told += [MEASURE, ORDER]
    if values["days"] > 1:
        told.append(_over_days(found, values["days"]))
    if ions & {"HCO3", "CO3"} and found.given.animals:
        told.append(AMMONIA)
    if "Ca" in ions and ions & {"HCO3", "CO3", "SO4", "H2PO4"}:
        told.append(SLUDGE)
    if "H2PO4" in ions and found.given.animals:
        told.append(ALGAE)
    told += cautions_by_compound([one.salt.compound for one in used])
    if any(one.salt.compound == "sodium_chloride" for one in used):
        told.append(SALT)
    told += _of_amounts(found)
    becomes = BUILDS_UP if found.given.animals else STAYS
    told += side_ions(values["ions"], {target.name for target in found.targets}, becomes)
    if blind := [one.name for one in found.targets if not one.present and found.untold(one.name)]:
        words = (
            f"Nothing is told of the present {', '.join(blind)}: taken as none, as in pure water. Where the water may"
            " hold some test it first, or too much is dosed."
        )
        told.append(Caution("present-not-told", words))
    if tests_disagree(found.given):
        told.append(DISAGREE)
    for target in found.targets:
        told += beyond_usual(target.name, target.wanted)
        told += two_forms(target.name, target.wanted)
    return [*told, GRADE]


def _over_days(found: Outcome, days: int) -> Caution:
    given = found.given
    words = (
        f"Where animals live, spread it over {days} days, an equal part of each salt a day. Fish from soft water are"
        " better brought over by water changes with the finished mix."
    )
    limit = f"{show(given.alkalinity_a_day, 'alkalinity')} and {show(given.hardness_a_day, 'hardness')} a day"
    return Caution("spread-over-days", words, limit)


def _of_amounts(found: Outcome) -> list[Caution]:
    """Amounts too small for a scale, and concentrations too high to dissolve."""
    told = []
    small = [one.made_of for one in found.used if one.strength * found.given.volume < LIGHTEST]
    if small:
        told.append(too_little_to_weigh(named(small)))
    for one in found.used:
        bounds = stock_bounds(one.made_of)
        if bounds and one.strength * one.salt.purity > bounds[0]:
            words = f"So much {one.made_of.name} may not dissolve in the water, whatever the recipe says."
            told.append(Caution("may-not-dissolve", words, less(bounds[0], "concentration", "g/L")))
    calcium, alkalinity = found.after("calcium"), found.after("alkalinity")
    if calcium and alkalinity:
        words = (
            f"With {said(calcium, 'concentration')} of calcium and {said(alkalinity, 'alkalinity')} the water may leave"
            " scale once it warms or its pH rises: what falls out is missing in both. This is not computed here."
        )
        told.append(Caution("may-leave-scale", words))
    return told


STAYS = dict.fromkeys(BUILDS_UP, "which the finished water then holds: few keepers test for it")
"""What becomes of ions that come along in water in which nothing lives yet."""

MISSED = Caution(
    "not-reached", "Not every wanted value is reached: read in the targets which, by how much and why."
)
NOTHING = Caution("nothing-to-dose", "Every wanted value is the present one: there is nothing to weigh.")
MEASURE = Caution(
    "measure-again",
    "Let the finished water stand moved for a day and test it before it goes to animals: salts differ in crystal"
    " water and purity from their labels. Its pH settles only once it has met the air.",
)
ORDER = Caution(
    "one-after-another",
    "Dissolve one salt after another in the whole water, in the order of the list, each wholly before the next: never"
    " all in one jug. Gypsum (calcium sulfate dihydrate) goes first and slowly, calcium chloride or nitrate last (common"
    " practice).",
)
SLUDGE = Caution(
    "keep-stocks-apart",
    "Calcium falls out as sludge with bicarbonate, carbonate, sulfate or phosphate where both are strong: no one stock"
    " solution can hold this recipe.",
)
DISAGREE = Caution(
    "tests-disagree",
    "The present calcium and magnesium don't add up to the present hardness, by more than a tenth: test them again.",
    "10 %",
)

LIMITS = (
    "Salts that dissolve wholly, in one well-mixed body of water. Precipitation and the change of pH are not computed.",
    "It only raises: a value above what is wanted is left to a water change.",
    "Alkalinity counts bicarbonate and carbonate; the little that phosphate adds is left out.",
    "Where more salts than targets are told other recipes do as well: leave a salt out to see one.",
)

SOURCES = (
    Source(
        "Lawson, C. L., Hanson, R. J.",
        1974,
        "Solving Least Squares Problems",
        "chapter 23, problem NNLS",
        "From memory; written out anew and held to a general library at random points.",
    ),
    *DOSE_SOURCES[:3],
    PRACTICE,
)
