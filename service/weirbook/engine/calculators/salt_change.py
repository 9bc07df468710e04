"""How much salt to weigh out or how much water to change, day by day, and what its chloride does against nitrite."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.salt_care import LIMITS_OF_IT, SOURCES, assumptions, cautions
from weirbook.engine.calculators.salt_case import SaltChange
from weirbook.engine.calculators.salt_inputs import MOST_DAYS, Inputs, refuse_contradictions
from weirbook.engine.calculators.salt_steps import steps
from weirbook.engine.shape import COUNT, TEXT, Calculator, Result, Working
from weirbook.errors import Fault, Invalid


def solve(given: Inputs) -> Working:
    """A bath, or a change of a system's salt in days, and chloride against nitrite.

    Equations: salt = (wanted - present) x water / purity; days = rise / largest daily change, rounded up; down by
    changes, each C - f (C - Cs), as `falling`; chloride wanted = ratio x nitrite, as `chloride_against`; its salt by
    the share of chloride in NaCl.
    Shapes and units: SI, see `Inputs`.
    Valid for: sodium chloride in fresh water, one well-mixed body.
    Uncertainty: of the weights 1 part in 10,000; in practice that of volume and purity. Conductivity is a range.
    Raises: Invalid for no water, nothing wanted, a bath saltier than wanted, a fall to what changes can't reach, more
    days than a year.
    Source: see SOURCES.
    Not covered: how salty and how long is right, sea salt, evaporation and water changes meanwhile.
    """
    refuse_contradictions(given)
    found = SaltChange(given)
    if found.days > MOST_DAYS:
        words = f"At so small a change a day it takes more than {MOST_DAYS} days."
        raise Invalid("The inputs contradict each other.", faults=[Fault("/largest_daily_change", words)])
    return Working(_values(found), steps(found), assumptions(found), cautions(found))


def _values(found: SaltChange) -> dict[str, Any]:
    as_no2, as_n = found.chloride_wanted
    low, high = found.conductivity or (None, None)
    return {
        "verdict": found.verdict,
        "why": found.why,
        "difference": found.difference,
        "salt": found.salt,
        "days": found.days,
        "salt_a_day": found.salt_a_day,
        "changed_water": found.changed_water,
        "level": found.level,
        "level_in_mg": found.level,
        "level_in_percent": found.level / 1000,
        "chloride_difference": found.of_ion("chloride", found.difference),
        "sodium_difference": found.of_ion("sodium", found.difference),
        "conductivity_difference_low": low,
        "conductivity_difference_high": high,
        "chloride_after": found.chloride_after,
        "chloride_wanted": as_no2,
        "chloride_wanted_as_n": as_n,
        "salt_for_nitrite": found.salt_for(as_no2),
        "salt_for_nitrite_as_n": found.salt_for(as_n),
        "salt_for_insurance": found.insurance,
        "schedule": _schedule(found),
    }


def _schedule(found: SaltChange) -> list[dict[str, Any]]:
    shares = [change.share for change in found.changes] or [0.0] * found.days
    return [
        {
            "day": day,
            "salt": found.salt_a_day,
            "change_share": share,
            "change_volume": share * found.given.water,
            "level_after": level,
        }
        for day, (share, level) in enumerate(zip(shares, found.levels(), strict=True), 1)
    ]


SALT_CHANGE = Calculator(
    name="salt-change",
    title="Salt",
    doc=(
        "Sodium chloride in a bath, or in a system: how much to weigh out for each day so that it rises no faster than"
        " you allow, or how much water to change each day so that it falls. What it adds of chloride, sodium and"
        " conductivity. Against nitrite: how much chloride is wanted, how much salt that takes, and whether the change"
        " asked for is enough. How salty and how long is for a label or a veterinarian to say."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "Chloride against nitrite afterwards: ok; watch (by one reading only); over (too little); unknown.",
        ),
        Result("why", TEXT, "The verdict in words."),
        Result(
            "difference", "concentration", "From the salt before to that after; below 0 as it falls.", "g/L"
        ),
        Result("salt", "mass", "To weigh out in all."),
        Result("days", COUNT, "Of adding salt or changing water, 1 for a bath; 0 if nothing is to be done."),
        Result("salt_a_day", "mass", "To weigh out each day."),
        Result("changed_water", "volume", "In all changes together; 0 where salt rises."),
        Result("level", "concentration", "Salt in the water afterwards.", "g/L"),
        Result("level_in_mg", "concentration", "The same.", "mg/L"),
        Result("level_in_percent", "fraction", "The same as grams to 100 mL."),
        Result("chloride_difference", "concentration", "That the change brings; below 0 as it falls."),
        Result("sodium_difference", "concentration", "That the change brings; below 0 as it falls."),
        Result(
            "conductivity_difference_low",
            "conductivity",
            "The least that conductivity at 25 °C changes by; none above 10 g/L.",
        ),
        Result(
            "conductivity_difference_high",
            "conductivity",
            "The most that it changes by; none above 10 g/L.",
        ),
        Result("chloride_after", "concentration", "In the system afterwards; none of a bath."),
        Result(
            "chloride_wanted",
            "concentration",
            "Against nitrite counted as NO2, the safer reading; none without nitrite.",
        ),
        Result(
            "chloride_wanted_as_n", "concentration", "Against nitrite counted as nitrogen; none without it."
        ),
        Result("salt_for_nitrite", "mass", "From now to chloride_wanted; 0 if there is enough."),
        Result("salt_for_nitrite_as_n", "mass", "From now to chloride_wanted_as_n; 0 if there is enough."),
        Result(
            "salt_for_insurance",
            "mass",
            "From now to the 100 mg/L of chloride that catfish ponds keep against nitrite; none of a bath.",
        ),
        Result(
            "schedule",
            "list",
            "Each day's salt or water change, and the salt after it.",
            fields=(
                Result("day", COUNT, "1 is the first day."),
                Result("salt", "mass", "To weigh out."),
                Result("change_share", "fraction", "Of the water to change; 0 where salt rises."),
                Result("change_volume", "volume", "The same as water."),
                Result("level_after", "concentration", "Salt then, if nothing else changes it.", "g/L"),
            ),
        ),
    ),
    limits=LIMITS_OF_IT,
    sources=SOURCES,
    solve=solve,
    example={
        "wanted": "2 g/L",
        "volume": "450 L",
        "present": "0 g/L",
        "purity": "99 %",
        "nitrite": "3 mg/L NO2",
        "chloride": "12 mg/L",
    },
    doors=("systems",),
    asks={"wanted": "2 g/L"},
)
