"""Whether the filter's media have room for the bacteria that turn the ammonia of a day into nitrate."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.nitrifier_care import LIMITS_OF_IT, SOURCES, assumptions, cautions
from weirbook.engine.calculators.nitrifier_case import Inputs, Surface
from weirbook.engine.calculators.nitrifier_steps import steps
from weirbook.engine.shape import TEXT, Calculator, Result, Working


def solve(given: Inputs) -> Working:
    """Surface needed and there, media that make it up, and the least ammonia that the water must carry to it.

    Equations: ammonia = food x protein x 0.092, unless told; surface = ammonia / rate, with rates from
    `areal_rates`; surface there = sum of media volume x specific surface; food carried = surface x rate / (protein x
    0.092); least ammonia = ammonia made / flow, as if one pass took all of it.
    Shapes and units: SI, see `Inputs`; ammonia as nitrogen.
    Valid for: grown biofilm at 20 to 30 degC, colder by theta, water with about 1 mg/L of ammonia nitrogen.
    Uncertainty: ten times between the least and the best published rate.
    Raises: Invalid where neither ammonia nor food and protein are told.
    Source: see SOURCES; the rates are from memory.
    Not covered: growth of the filter, nitrite, fouling, short-cuts, how rate falls with pH.
    """
    found = Surface(given)
    return Working(_values(found), steps(found), assumptions(found), cautions(found))


def _values(found: Surface) -> dict[str, Any]:
    given, (level, why) = found.given, found.verdict
    present = found.present
    return {
        "verdict": level,
        "why": why,
        "ammonia_made": found.made,
        "rate": found.rates.design,
        "rate_low": found.rates.low,
        "rate_high": found.rates.high,
        "surface_needed": found.needed,
        "surface_needed_low": found.needed_low,
        "surface_needed_high": found.needed_high,
        "surface_present": present,
        "surface_to_spare": None if present is None else present - found.needed,
        "media_needed": found.needed / found.added_surface,
        "media_to_add": found.short / found.added_surface,
        "feed_carried": found.feed_carried,
        "least_ammonia": found.least_ammonia,
        "sections": [
            {
                "name": section.name,
                "surface": (surface := section.media_volume * section.specific_surface),
                "share_of_need": surface / found.needed if found.needed else None,
                "ammonia_low": surface * found.rates.low,
                "ammonia_high": surface * found.rates.high,
            }
            for section in given.sections
        ],
    }


NITRIFIER_SURFACE = Calculator(
    name="nitrifier-surface",
    title="Surface for nitrifying bacteria",
    doc=(
        "How much surface of media the bacteria need that turn a day's ammonia into nitrate, how much the filter's"
        " sections have, what lacks or is to spare, and how much media of a given surface that is. Published rates lie"
        " ten times apart: the least, the usual and the most are given. Ammonia is told as nitrogen."
    ),
    inputs=Inputs,
    results=(
        Result("verdict", TEXT, "ok, watch, over or unknown."),
        Result("why", TEXT, "The verdict in words."),
        Result("ammonia_made", "mass_flow", "Total ammonia a day, as nitrogen.", "mg/d"),
        Result("rate", "areal_rate", "Usually reckoned for each square metre, as nitrogen."),
        Result("rate_low", "areal_rate", "The least published."),
        Result("rate_high", "areal_rate", "The best published."),
        Result("surface_needed", "area", "At the usual rate."),
        Result("surface_needed_low", "area", "At the best rate."),
        Result("surface_needed_high", "area", "At the least rate."),
        Result("surface_present", "area", "Of all media told."),
        Result(
            "surface_to_spare", "area", "What is there over what is needed at the usual rate; below 0 lacks."
        ),
        Result("media_needed", "volume", "Media that have the surface needed."),
        Result("media_to_add", "volume", "Media that have what lacks; 0 where nothing does."),
        Result(
            "feed_carried", "mass_flow", "Food a day that the media there carry at the usual rate.", "g/d"
        ),
        Result(
            "least_ammonia",
            "ammonia",
            "Total ammonia that the water must carry, so that the flow brings the bacteria what is made: real tanks show"
            " more.",
        ),
        Result(
            "sections",
            "list",
            "Each section told.",
            fields=(
                Result("name", TEXT, "The section."),
                Result("surface", "area", "Of its media."),
                Result("share_of_need", "fraction", "Of the surface needed at the usual rate."),
                Result("ammonia_low", "mass_flow", "That it turns over a day at the least rate.", "mg/d"),
                Result("ammonia_high", "mass_flow", "The same at the best rate.", "mg/d"),
            ),
        ),
    ),
    limits=LIMITS_OF_IT,
    sources=SOURCES,
    solve=solve,
    example={
        "temperature": "24 degC",
        "feed": "20 g/d",
        "protein": "45 %",
        "flow": "1200 L/h",
        "sections": [
            {"name": "bed", "media_volume": "2 L", "specific_surface": "500 m2/m3"},
            {"name": "gravel", "media_volume": "2 L", "specific_surface": "300 m2/m3"},
        ],
        "alkalinity": "5 dKH",
    },
    doors=("systems",),
)
