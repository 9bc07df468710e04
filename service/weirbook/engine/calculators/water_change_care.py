"""What a water change takes for granted, what to beware of, what it leaves out and where its figures come from."""

from __future__ import annotations

from weirbook.engine.calculators.exchange import (
    CARBONIC_ACID,
    CONDUCTIVITY,
    DECHLORINATE,
    MASS_BALANCE,
    PH_AND_AIR,
    ROUGH_PH_CAUTION,
    mixed_ph_is_rough,
)
from weirbook.engine.calculators.water_change_case import LIMIT_OF, SHOWN, Change
from weirbook.engine.calculators.water_change_inputs import Inputs
from weirbook.engine.relations.limits import LIMITS, PRACTICE, VET_NOTE
from weirbook.engine.saying import said
from weirbook.engine.shape import Assumption, Caution, Source, show

PUBLISHED_LIMITS = {
    "size_limit": "single_change",
    "hardness_a_day": "hardness_a_day",
    "alkalinity_a_day": "alkalinity_a_day",
    "ph_a_day": "ph_a_day",
    "temperature_step": "temperature_an_hour",
}
"""The limit that stands for each input where a keeper says no other."""

SHORT_OF_BUFFER = 0.5
"""Share of the source's alkalinity below which the tank's is called used up. Common practice, no source."""


def assumptions(found: Change) -> list[Assumption]:
    given = found.given
    told = [
        Assumption("Old water leaves before new water comes in, and all of it mixes.", "default"),
        Assumption(
            "Between the changes nothing else moves the values, except in value_with_drift; the heater brings the"
            " temperature back.",
            "default",
        ),
    ]
    if found.share:
        told.append(
            Assumption(
                "The drip mixes at once with all the water, and as much runs off as runs in.", "default"
            )
        )
    if given.change_share is not None and given.change_volume is not None:
        told.append(
            Assumption("The usual change is taken by its share; change_volume is left aside.", "given")
        )
    if given.wanted is None:
        told.append(Assumption(f"No value is wanted: {SHOWN} usual changes are shown.", "default"))
    told += _limits(found)
    if given.new_water.temperature is None:
        told.append(Assumption("The new water is as warm as the tank.", "default"))
    if given.drift is not None:
        told.append(Assumption("The drift goes on at its pace, whatever the value.", "default"))
    return told


def _limits(found: Change) -> list[Assumption]:
    """Each limit that took part and that nobody said otherwise, with its origin."""
    told = []
    for name in found.bounds:
        given, limit = getattr(found.given, LIMIT_OF[name]), LIMITS[PUBLISHED_LIMITS[LIMIT_OF[name]]]
        if given == limit.value:
            words = limit.words[0].upper() + limit.words[1:]
            text = (
                f"{words}: {show(limit.value, limit.kind, None if limit.kind == 'fraction' else limit.unit)}"
            )
            either = "; taken for a fall as well" if name in ("hardness", "alkalinity") else ""
            told.append(Assumption(f"{text}{either}.", limit.origin))
    return told


def cautions(found: Change) -> list[Caution]:
    given = found.given
    told = [DECHLORINATE, *_of_ph(found), *_of_neglect(given)]
    if given.new_water.temperature is None or "temperature" not in found.bounds:
        told.append(MATCH_TEMPERATURE)
    elif found.held_by == "temperature" or found.bounds["temperature"] < 1:
        told.append(WARM_IT_FIRST)
    if given.parameter in ("total_ammonia", "nitrite"):
        told.append(POISON)
    if given.parameter == "conductivity":
        told.append(CONDUCTIVITY)
    told.append(LEVEL)
    told += _of_usual_ways(found)
    if found.at_once and found.share > LIMITS["single_change"].value:
        limit = LIMITS["single_change"]
        told.append(
            Caution(
                "large-change",
                "So large a change at once moves everything in the water, not only what was told here: oxygen, gases,"
                " trace elements. By common practice a single change stays at or below half.",
                show(limit.value, limit.kind, "%"),
            )
        )
    told += _of_the_drift(found)
    if given.drift is not None and given.drip_flow is not None and found.settles_at is None:
        told.append(Caution("drip-never-settles", "The value falls faster than the drip brings it in."))
    return told


def _of_the_drift(found: Change) -> list[Caution]:
    """Where it works against the changes, and more than one is planned."""
    given, values = found.given, found.days_with_drift
    several = len(found.days) > 1 or (given.usual_share is not None and found.changes != 1)
    if found.time_back is None or not values or not several:
        return []
    words = (
        "Your drift works against the changes: the usual ones count none of it, so that they reach less far."
    )
    if len(found.days) > 1:
        words += (
            f" With it the schedule ends at {said(values[-1], given.kind)}, not {said(found.value_after, given.kind)}:"
            " go on until a test shows what you want."
        )
    return [Caution("drift-works-against", words)]


def _of_usual_ways(found: Change) -> list[Caution]:
    """The usual change and the drip, where they outrun what the tank bears in a day."""
    told, limit = [], show(found.largest, "fraction")
    if found.usual_is_too_large:
        words = (
            "The usual change is larger than the tank bears today: make it smaller at first, by the schedule."
        )
        told.append(Caution("usual-change-too-large", words, limit))
    if found.dripped_a_day is not None and found.dripped_a_day > found.largest:
        words = (
            f"The drip replaces {said(found.dripped_a_day, 'fraction')} of the water in a day, more than the tank bears"
            " today: slow it down at first."
        )
        told.append(Caution("drip-too-fast", words, limit))
    return told


def _of_ph(found: Change) -> list[Caution]:
    given, told = found.given, [AMMONIA]
    tank, source = given.tank, given.new_water
    if "ph" in found.bounds:
        assert tank.buffered and source.buffered
        told.append(PH_AND_AIR)
        if mixed_ph_is_rough(tank.buffered, source.buffered):
            told.append(ROUGH_PH_CAUTION)
    elif tank.buffered and source.buffered:
        told.append(NO_BUFFER)
    else:
        told.append(PH_UNJUDGED)
    return told


def _of_neglect(given: Inputs) -> list[Caution]:
    """A tank whose buffer is used up: the new water is right and still a jolt."""
    tank, source = given.tank, given.new_water
    if tank.alkalinity is None or source.alkalinity is None:
        return []
    return [OLD_WATER] if tank.alkalinity < SHORT_OF_BUFFER * source.alkalinity else []


AMMONIA = Caution(
    "ammonia",
    "If the new water raises pH, total ammonia that lay harmless turns to its poisonous form: test for it first, and make"
    " small changes while any shows.",
)
PH_UNJUDGED = Caution(
    "ph-unjudged",
    "pH mixes by both waters' alkalinities, not in proportion: tell pH and alkalinity of tank and new water to have its"
    " jump judged. Until then change little, and measure after.",
)
NO_BUFFER = Caution(
    "no-buffer",
    "Without alkalinity nothing holds the tank's pH: the first litres of the new water set it. Drip them in slowly and"
    " measure.",
)
OLD_WATER = Caution(
    "old-water",
    "The tank's alkalinity is less than half of the new water's: used up, as after long neglect, or kept low on purpose."
    " Fish have grown used to it. Many small changes over weeks are safer than one, however bad the water looks;"
    " where fish gasp or die, ask a fish veterinarian.",
    "50 %",
)
MATCH_TEMPERATURE = Caution(
    "match-temperature", "Bring the new water to the tank's temperature, and measure it, before it goes in."
)
WARM_IT_FIRST = Caution(
    "warm-it-first",
    "The new water's temperature holds the change back: bring it nearer the tank's, and larger changes do.",
)
POISON = Caution(
    "find-its-cause",
    "Ammonia and nitrite come again until their cause is found: feed nothing, count the fish, look at the filter's flow,"
    " test the new water too. While they poison fish, taking them out soon outweighs the habits that the days here"
    " follow; but where pH rises ammonia grows worse. Ask a fish veterinarian.",
)
LEVEL = Caution(
    "heater-and-pump",
    "Switch off heaters and pumps before the level falls: a dry heater cracks or burns, a pump wears out dry. Let tank"
    " and sump come back to their marks before the pump runs, or the sump overflows at the next stop.",
)

LIMIT_WORDS = (
    "One well-mixed body of water. A drift is counted in value_with_drift, time_back and drip_holds, in nothing else.",
    "pH is reckoned for closed, fresh water with bicarbonate alkalinity, pH 5.5 to 8.25, up to 4 meq/L.",
    "The daily limits are habits of fishkeepers, not physics; species differ.",
)

SOURCES: tuple[Source, ...] = (
    MASS_BALANCE,
    CARBONIC_ACID,
    VET_NOTE,
    PRACTICE,
)
