"""What an oxygen budget takes for granted, what to beware of, what it leaves out and where its figures come from."""

from __future__ import annotations

import dataclasses

from weirbook.engine.calculators.oxygen_air import SOURCES as AIR_SOURCES
from weirbook.engine.calculators.oxygen_air import Air
from weirbook.engine.calculators.oxygen_budget_case import (
    COLD,
    FASTEST,
    LEAST,
    OVER,
    ROUTINE,
    SLOWEST,
    UNNOTICED,
    USUAL_PROTEIN,
    Budget,
    hours,
    lots,
)
from weirbook.engine.calculators.sources import recirculating_aquaculture
from weirbook.engine.relations.limits import NRAC111
from weirbook.engine.relations.oxygen import WARMEST_METABOLIC
from weirbook.engine.relations.water import HOTTEST
from weirbook.engine.saying import near
from weirbook.engine.shape import Assumption, Caution, Source, show

WARMER = 5.0
"""K by which a hot night or a heater stuck on may warm the water. Common practice."""


def assumptions(found: Budget) -> list[Assumption]:
    given = found.given
    told = [*found.air.assumptions]
    if given.dissolved_oxygen is None:
        told.append(
            Assumption("The water starts with all the oxygen it holds; mornings have less.", "default")
        )
    words = (
        "Fish use what bony fish of their mass and the temperature use at rest, times their activity. A species may use"
        " half or twice that; 200 to 500 mg an hour to a kilogram is often named for warm-water fish in ponds."
    )
    told.append(Assumption(words, "default"))
    if any(lot.activity == ROUTINE for lot in found.lots):
        told.append(Assumption("Fish swim about: twice the resting rate.", "common practice"))
    if given.feed:
        words = (
            "Of each gram of protein fed 0.092 g of ammonia's nitrogen comes (other sources up to 0.098), and the filter"
            " turns all of it into nitrate with 4.57 g of oxygen to a gram; counting what bacteria build of it, 4.18 to"
            " 4.33."
        )
        told.append(Assumption(words, "default"))
        if given.protein == USUAL_PROTEIN:
            told.append(Assumption("The feed is 40 % protein.", "common practice"))
    if given.least_oxygen == LEAST.value:
        words = (
            f"Least oxygen: {show(LEAST.value, LEAST.kind)}, {LEAST.words}; cold-water fish need"
            f" {show(COLD.value, COLD.kind)}."
        )
        told.append(Assumption(words, LEAST.origin))
    if given.open_surface and (given.slowest_exchange, given.fastest_exchange) == (SLOWEST, FASTEST):
        words = (
            "A still surface exchanges 5 to 40 mm an hour, a quarter to twice the 20.7 found on lakes without wind; for"
            " tanks no measurement is known here."
        )
        told.append(Assumption(words, "common practice"))
    if given.unattended == UNNOTICED:
        told.append(Assumption("Nobody may notice for 8 hours, a night.", "common practice"))
    words = "Called ok where half of the time still suffices, since a species may use twice as much."
    told.append(Assumption(words, "default"))
    told.append(Assumption("Fish and filter go on using as much until the least is reached.", "default"))
    return told


def cautions(found: Budget) -> list[Caution]:
    told = []
    if found.verdict == OVER:
        told.append(Caution("oxygen-runs-out", RUNS_OUT, show(found.given.unattended, "time", "h")))
    told += [NO_PROMISE, NOT_COUNTED, OWN_WATER, FEEDING, *_warmer(found), BACKUP, FILTER]
    rise = found.carbon_dioxide / found.given.volume * 3600
    told.append(
        Caution(
            "carbon-dioxide",
            f"The fish also give off {near(rise, 'concentration', 'mg/L')} of carbon dioxide each hour, which stays in"
            " still water, lowers the pH and makes breathing harder.",
        )
    )
    if found.given.temperature > WARMEST_METABOLIC:
        words = "Respiration and gas exchange were measured to 30 °C: above it they are less certain."
        told.append(Caution("warmer-than-measured", words, show(WARMEST_METABOLIC, "temperature")))
    return [*told, *found.air.cautions]


def _warmer(found: Budget) -> list[Caution]:
    """How long it lasts in warmer water that starts as full as this one, with no air."""
    given = found.given
    if given.temperature + WARMER > HOTTEST:
        return []
    warm = dataclasses.replace(given, temperature=given.temperature + WARMER)
    full = found.start / found.air.saturation
    air = Air(warm)
    warm = dataclasses.replace(warm, dissolved_oxygen=full * air.saturation)
    return [
        Caution(
            "warmth-counts-twice",
            f"Warm water holds less oxygen while all in it use more: {near(WARMER, 'temperature_difference', 'K')} warmer"
            f" and shut off from air it lasts {hours(Budget(warm, lots(warm), air).sealed)}, not"
            f" {hours(found.sealed)}.",
        )
    ]


RUNS_OUT = (
    "The fish can suffocate before anyone looks. Keep air running from a second source, or fewer fish; see that an alarm"
    " reaches somebody. Fish that gasp at the surface need air now: stir, aerate, pour water from a height."
)
NO_PROMISE = Caution(
    "no-promise",
    "Plan by these hours, never wait for them: some species, and sick, gravid or frightened fish, use twice as much, and"
    " a corner or the bottom runs short first.",
)
NOT_COUNTED = Caution(
    "not-counted",
    "Plants and algae at night, mulm, sand and dead animals use oxygen too and are not counted: the true time is shorter.",
)
OWN_WATER = Caution(
    "own-water-only",
    "When the pumps stop the tanks part: fish have their own tank's water, not the sump's. Ask again for the fullest"
    " tank with its own volume, fish and surface.",
)
FEEDING = Caution(
    "feeding-raises-it",
    "After a meal fish use up to twice as much for hours: feed nothing while air or pumps stand still.",
)
BACKUP = Caution(
    "backup-air",
    "An air pump on a battery that starts by itself bridges most outages: try it by pulling the plug, and know how long"
    " it runs. A generator never runs indoors; keep battery and mains out of splash, behind a residual-current device.",
)
FILTER = Caution(
    "filter-starves",
    "A filter without flow uses up its own oxygen within hours, and a closed one then turns foul: rinse it before it"
    " runs again, and test ammonia and nitrite for days after.",
)

LIMITS = (
    "One well-mixed body of still water; no bubbles, falls or stirring. Plants and algae are not counted, by day or night.",
    "Bony fish that breathe water, 0 to 30 °C. Fish that breathe air last longer; fry and fish of running water less long.",
    "Fish use less as oxygen falls, which is not reckoned: it is a sign of distress, not a reserve.",
    "Exchange through a still surface is known to an order of magnitude only, hence two times.",
)

SOURCES = (
    *AIR_SOURCES,
    Source(
        "Clarke, A., Johnston, N. M.",
        1999,
        "Scaling of metabolic rate with body mass and temperature in teleost fish",
        "Journal of Animal Ecology 68, 893, abstract: ln R = 15.7 - 5.02/T at 50 g, mass exponent 0.80",
        "Resting rate; a species may differ by a factor of 2. Twice to four times as much when active: from memory.",
    ),
    Source(
        "Boyd, C. E., Tucker, C. S.",
        1998,
        "Pond Aquaculture Water Quality Management",
        "200 to 500 mg of oxygen to a kilogram and hour",
        "From memory; named for comparison only.",
    ),
    recirculating_aquaculture(
        "ammonia = food x protein x 0.092", "From memory. Losses of 30 % either way are usual."
    ),
    Source(
        "Balance of molar masses",
        None,
        "NH4 + 2 O2 -> NO3 + H2O + 2 H",
        "4.569 g of oxygen to a gram of nitrogen, IUPAC weights",
        "Texts print 4.57; with growth of bacteria 4.33 (Gujer and Jenkins 1974) or 4.18 (Ebeling and others 2006).",
    ),
    Source(
        "Cole, J. J., Caraco, N. F.",
        1998,
        "Atmospheric exchange of carbon dioxide in a low-wind oligotrophic lake",
        "Limnol. Oceanogr. 43, 647: k600 2.07 cm/h without wind",
        "Read as programmed elsewhere; a lake is no tank.",
    ),
    Source(
        "Wanninkhof, R.",
        1992,
        "Relationship between wind speed and gas exchange over the ocean",
        "J. Geophys. Res. 97, 7373: Schmidt number of oxygen in fresh water",
        "Read as programmed elsewhere.",
    ),
    NRAC111,
)
