"""How animals get from their bag into a tank: floating, portions of tank water, or quickly over into water that fits."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.acclimate_care import LIMIT_WORDS, SOURCES, assumptions, cautions
from weirbook.engine.calculators.acclimate_case import Arrival
from weirbook.engine.calculators.acclimate_inputs import Inputs, refuse_contradictions
from weirbook.engine.calculators.acclimate_steps import arrival_steps
from weirbook.engine.relations.acclimation import left_after
from weirbook.engine.relations.changes import Water, mixed, mixed_water
from weirbook.engine.shape import COUNT, TEXT, Calculator, Result, Working


def solve(given: Inputs) -> Working:
    """An arrival: how far bag and tank lie apart, and the way over that keeps each step within its limit.

    Equations: portions by `acclimation.mixing` (after n portions p the bag's difference is 1 / (1 + n p) of the
    first); drip D = V ln(1 / left); floating t = T ln(D / d), at least 15 min; days of pH = difference / step;
    un-ionized ammonia = total x Emerson's share at the bag's, and at the tank's, pH and temperature, and at the highest
    of both and the bag's pH in balance with open air (`carbonate.ph_at`).
    Shapes and units: SI, see `Inputs`.
    Valid for: fresh water, 0 to 30 degC; a bag small beside the tank.
    Uncertainty: the steps are habits; ammonia within 3 %; pH of the stages see `mixed_ph`.
    Raises: Invalid for a bag as large as the system.
    Source: see SOURCES.
    Not covered: what animals give off meanwhile, gas that leaves an open bag, sea water, plants and invertebrates.
    """
    refuse_contradictions(given)
    found = Arrival(given)
    return Working(_values(found), arrival_steps(found), assumptions(found), cautions(found))


def _values(found: Arrival) -> dict[str, Any]:
    given, plan, water, time = found.given, found.portions, found.drip_water, found.mixing_time
    low, high = found.receiving or (None, None)
    before, after = found.toxic_share_before, found.toxic_share_after
    return {
        "verdict": found.verdict,
        "why": found.why,
        "method": found.method,
        "slowest": found.slowest,
        "temperature_difference": found.warming,
        "float_time": found.float_time,
        "gentle_time": found.gentle_time,
        "portions": plan and plan.count,
        "portion_water": plan and plan.portion * given.bag_volume,
        "mixing_time": time,
        "vessel": plan and given.bag_volume / plan.left,
        "drip_water": water,
        "drip_flow": water / time if water is not None and time else None,
        "ph_time": found.ph_time,
        "receiving_low": low,
        "receiving_high": high,
        "toxic_share_before": before,
        "toxic_share_after": after,
        "toxic_growth": after / before if before and after else None,
        "toxic_before": found.toxic(before),
        "toxic_after": found.toxic(after),
        "toxic_after_as_nh3": found.toxic(after),
        "ph_highest": found.ph_highest,
        "toxic_share_highest": found.toxic_share_highest,
        "toxic_highest": found.toxic(found.toxic_share_highest),
        "stages": _stages(found),
    }


def _stages(found: Arrival) -> list[dict[str, Any]]:
    """The water in the bag after each portion."""
    given, plan = found.given, found.portions
    if plan is None or given.bag_conductivity is None or given.conductivity is None:
        return []
    bag = Water(alkalinity=given.bag_alkalinity, ph=given.bag_ph)
    tank = Water(alkalinity=given.alkalinity, ph=given.ph)
    rows = []
    for number in range(1, plan.count + 1):
        share = 1 - left_after(plan.portion, number)
        added = number * plan.portion * given.bag_volume
        rows.append(
            {
                "portion": number,
                "time": (number - 1) * given.portion_interval,
                "added": added,
                "volume": given.bag_volume + added,
                "tank_share": share,
                "conductivity": mixed(given.bag_conductivity, given.conductivity, share),
                "ph": mixed_water(bag, tank, share).ph,
            }
        )
    return rows


ACCLIMATE = Calculator(
    name="acclimate",
    title="Acclimation",
    doc=(
        "Animals in a bag, and the tank they go to: how long to float the bag, how many portions of tank water, or what"
        " drip, keep each step of conductivity within its limit, how large a vessel that takes, and whether the"
        " difference of pH wants days. What ammonia stored in the bag turns to at the tank's pH, and as carbon dioxide"
        " leaves the open bag; a bag long closed is better not mixed slowly."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "ok (float and net over); watch (in steps, or quickly); over (make water ready that fits first); unknown (too"
            " little is known).",
        ),
        Result("why", TEXT, "The verdict, and what to do, in words."),
        Result(
            "method",
            TEXT,
            "release (float, net over); mix (portions of tank water); match (water like the bag's, moved over days);"
            " transfer (temperature first, then at once into water that fits); unknown.",
        ),
        Result("slowest", TEXT, "What takes longest: temperature, conductivity or pH."),
        Result(
            "temperature_difference", "temperature_difference", "Of the tank from the bag; below 0 if cooler."
        ),
        Result("float_time", "time", "To float the closed bag, at least.", "min"),
        Result("gentle_time", "time", "That the difference of temperature takes at the hourly step."),
        Result(
            "portions",
            COUNT,
            "Of tank water, equal ones; 0 where none is needed, none where unknown or too many.",
        ),
        Result("portion_water", "volume", "One portion."),
        Result("mixing_time", "time", "All portions at their interval.", "min"),
        Result("vessel", "volume", "That holds the bag's water and all portions."),
        Result("drip_water", "volume", "That drips in instead, while as much is poured off."),
        Result("drip_flow", "flow", "Of that drip, to take as long as the portions.", "mL/min"),
        Result(
            "ph_time",
            "time",
            "That the difference of pH wants; 0 where it may be crossed at once, none of a long closed bag.",
            "d",
        ),
        Result("receiving_low", "conductivity", "Least of water that they may be moved to at once."),
        Result("receiving_high", "conductivity", "Most of water that they may be moved to at once."),
        Result("toxic_share_before", "fraction", "Of total ammonia that is un-ionized in the bag."),
        Result("toxic_share_after", "fraction", "The same at the tank's pH and temperature."),
        Result("toxic_growth", "number", "How many times as much that is."),
        Result("toxic_before", "ammonia", "Un-ionized ammonia in the bag, as nitrogen.", "mg/L NH3-N"),
        Result("toxic_after", "ammonia", "In its water at the tank's pH and temperature.", "mg/L NH3-N"),
        Result("toxic_after_as_nh3", "ammonia", "The same, weighed as NH3.", "mg/L NH3"),
        Result(
            "ph_highest",
            "ph",
            "The highest that the bag's water may come to: its own, the tank's, or that in balance with the air.",
        ),
        Result("toxic_share_highest", "fraction", "Of total ammonia that is un-ionized at that pH."),
        Result("toxic_highest", "ammonia", "Un-ionized ammonia in its water at that pH.", "mg/L NH3-N"),
        Result(
            "stages",
            "list",
            "The bag's water after each portion.",
            fields=(
                Result("portion", COUNT, "1 is the first."),
                Result("time", "time", "Since the first.", "min"),
                Result("added", "volume", "Tank water so far."),
                Result("volume", "volume", "In the vessel."),
                Result("tank_share", "fraction", "Of it that is tank water."),
                Result("conductivity", "conductivity", "Of it."),
                Result("ph", "ph", "In a closed vessel; none where pH or alkalinity of one isn't known."),
            ),
        ),
    ),
    limits=LIMIT_WORDS,
    sources=SOURCES,
    solve=solve,
    example={
        "bag_volume": "2 L",
        "bag_temperature": "22 degC",
        "temperature": "24.5 degC",
        "hours_closed": "1 h",
        "bag_conductivity": "300 uS/cm",
        "conductivity": "520 uS/cm",
        "bag_ph": "6.8 pH",
        "ph": "7.2 pH",
        "bag_alkalinity": "3 dKH",
        "alkalinity": "5 dKH",
        "bag_ammonia": "0.5 mg/L NH3-N",
        "time_constant": "10 min",
    },
    doors=("systems",),
    asks={
        "bag_volume": "2 L",
        "bag_temperature": "22 degC",
        "hours_closed": "1 h",
        "bag_conductivity": "300 uS/cm",
        "bag_ph": "6.8 pH",
    },
)
