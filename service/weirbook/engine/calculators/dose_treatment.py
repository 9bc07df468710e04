"""How much of a product its label's dose comes to, how strong it makes the water, and what stays of it."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.treatment_care import LIMITS_OF_IT, SOURCES, assumptions, cautions
from weirbook.engine.calculators.treatment_case import Treatment
from weirbook.engine.calculators.treatment_inputs import Inputs, refuse_contradictions
from weirbook.engine.calculators.treatment_steps import steps
from weirbook.engine.relations.treatments import WATER_BY_WEIGHT
from weirbook.engine.shape import TEXT, Calculator, Result, Working
from weirbook.errors import Fault, Invalid


def solve(given: Inputs) -> Working:
    """The arithmetic of a label's dose, and the course of its levels.

    Equations: product = dose x water / share of active ingredient; by weight with 1 kg to a litre of water; of a label
    that measures out, its amount x water / the water it is for; mass = volume x density (or strength); a dose adds 1,
    a change of f leaves 1 - f: highest level (1 - (1 - f)^n) / f; oxygen taken = formalin / 5.
    Shapes and units: SI, see `Inputs`.
    Valid for: one well-mixed body of water. Levels are those without decay, the highest there can be.
    Uncertainty: exact arithmetic; in practice that of the volume, 5 to 15 % where it was not measured.
    Raises: Invalid for no dose or two, no water, a form that contradicts what the dose means, more product than water,
    a contact that outlasts the interval.
    Source: see SOURCES.
    Not covered: which treatment, whether to treat, decay, uptake, what animals bear.
    """
    refuse_contradictions(given)
    found = Treatment(given)
    _refuse_more_than_water(found)
    return Working(_values(found), steps(found), assumptions(found), cautions(found))


def _refuse_more_than_water(found: Treatment) -> None:
    mass, liquid = found.rates
    if (liquid or 0.0) > 1 or (mass or 0.0) > WATER_BY_WEIGHT:
        words = "That is more product than there is water: check the dose's unit, the share and the strength."
        name = f"/{found.given.form}"
        raise Invalid("The inputs contradict each other.", faults=[Fault(name, words)])


def _values(found: Treatment) -> dict[str, Any]:
    given, amount, liquid = found.given, found.amount, found.liquid_volume
    changed = given.change_between
    return {
        "verdict": found.verdict,
        "why": found.why,
        "water": given.water,
        "amount": amount,
        "liquid_volume": liquid,
        "drops": None if liquid is None else liquid / given.drop_volume,
        "concentration": found.concentration,
        "per_us_gallon": found.concentration,
        "active_concentration": found.active_concentration,
        "dilution": found.rates[1],
        "other_reading": found.other_reading,
        "readings_differ": found.readings_differ,
        "oxygen_taken": found.oxygen_taken,
        "oxygen_left": found.oxygen_left,
        "highest_level": found.peak,
        "highest_concentration": found.at_level(found.peak),
        "left_after_change": None if changed is None else 1 - changed,
        "redose_amount": None if changed is None or amount is None else amount * changed,
        "redose_liquid": None if changed is None or liquid is None else liquid * changed,
        "contact_over": found.contact_over,
        "course": [
            {
                "event": f"{event.what} {event.number}",
                "time": event.time,
                "level": event.level,
                "concentration": found.at_level(event.level),
            }
            for event in found.course
        ],
    }


DOSE_TREATMENT = Calculator(
    name="dose-treatment",
    title="Treatment by label",
    doc=(
        "What a label's dose comes to in this water: in grams, millilitres, drops and grams to a US gallon, whichever"
        " way the label tells it; whether by weight or by volume; the active ingredient in it. How levels add up over"
        " several doses with water changes between, what a change takes out, when the last contact is over, and the"
        " oxygen that formalin takes. It knows no dose and recommends none: label and veterinarian do. The example's"
        " figures are invented."
    ),
    inputs=Inputs,
    results=(
        Result("verdict", TEXT, "ok (nothing told speaks against it); watch; over; unknown."),
        Result("why", TEXT, "The verdict in words."),
        Result("water", "volume", "That the dose was reckoned for."),
        Result("amount", "mass", "Of the product, each dose; none of a liquid of unknown density."),
        Result("liquid_volume", "volume", "Of the liquid or stock, each dose; none of a dry product.", "mL"),
        Result("drops", "number", "The same in drops."),
        Result("concentration", "concentration", "Of the product in the water; none if its mass is unknown."),
        Result("per_us_gallon", "concentration", "The same, for those who measure in US gallons.", "g/gal"),
        Result(
            "active_concentration",
            "concentration",
            "Of the active ingredient in the water; none if unknown.",
        ),
        Result("dilution", "dilution", "Liquid in the water; none of a dry product.", "uL/L"),
        Result(
            "other_reading",
            "volume",
            "Of the liquid, if the label's parts per million mean volume where weight was told, or weight where"
            " volume was; none where that question doesn't arise.",
            "mL",
        ),
        Result("readings_differ", "fraction", "By how much the reading by volume is the larger."),
        Result(
            "oxygen_taken",
            "concentration",
            "By formalin in 30 to 36 hours; none of other substances.",
        ),
        Result("oxygen_left", "concentration", "Then, without aeration; none if not told or not formalin."),
        Result("highest_level", "number", "Label's doses in the water at once, if nothing breaks it down."),
        Result("highest_concentration", "concentration", "Of the product at that level; none if unknown."),
        Result("left_after_change", "fraction", "That a water change leaves; none if none was told."),
        Result(
            "redose_amount", "mass", "Of the product that a change takes out of one dose; none if unknown."
        ),
        Result("redose_liquid", "volume", "The same of the liquid; none if unknown.", "mL"),
        Result("contact_over", "time", "From the first dose until the last contact ends; none if not told."),
        Result(
            "course",
            "list",
            "What happens when, and the level after it.",
            fields=(
                Result("event", TEXT, "dose, contact over or water change, with its number."),
                Result("time", "time", "From the first dose; none if it can't be told."),
                Result("level", "number", "Label's doses in the water."),
                Result("concentration", "concentration", "Of the product; none if unknown."),
            ),
        ),
    ),
    limits=LIMITS_OF_IT,
    sources=SOURCES,
    solve=solve,
    example={
        "substance": "formalin",
        "dose_means": "product",
        "label_by_weight": "20 mg/kg",
        "active_share": "37 %",
        "volume": "450 L",
        "gross_volume": "510 L",
        "contact_time": "36 h",
        "treatments": 2,
        "interval": "72 h",
        "change_between": "60 %",
        "dissolved_oxygen": "8 mg/L",
    },
    doors=("systems",),
    asks={"substance": "formalin", "dose_means": "product", "label_by_weight": "20 mg/kg"},
)
