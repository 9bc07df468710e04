"""What to dose day by day so that a level stays, while plants use it and water changes thin it."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.dose_amounts import refuse_more_liquid_than_water, value_of_parameter
from weirbook.engine.calculators.schedule_care import LIMITS, SOURCES, assumptions, cautions
from weirbook.engine.calculators.schedule_inputs import Inputs, refuse_contradictions
from weirbook.engine.calculators.schedule_plan import SHOWN_DAYS, Plan
from weirbook.engine.calculators.schedule_steps import steps_of
from weirbook.engine.relations.chemistry import COMPOUNDS
from weirbook.engine.shape import COUNT, TEXT, Calculator, Result, Working


def solve(given: Inputs) -> Working:
    """Doses that keep a level, what to give after a water change, and where an even dose settles.

    Equations: dose = uptake x days between doses; after a change of the share f the dose f (wanted - source); even dose
    = (uptake + f (wanted - source) / days between changes) x days between doses; its swing by `closed_swing` or
    `swing`; the most it can reach = the peak of the same with no uptake, source + doses between changes x dose / f.
    Shapes and units: SI, see `Inputs`; what follows the parameter in the SI unit of its kind.
    Valid for: one well-mixed body of water and an uptake that stays the same.
    Uncertainty: that of the uptake, which halves or doubles within weeks; of the weights 10 % is usual.
    Raises: Invalid for a compound that does not raise the parameter, a product half described, half a water change or
    one larger than the water, a dose of more liquid than water, a lowest above or a highest below the wanted level.
    Source: see SOURCES.
    Not covered: uptake that falls with the level, what feed and fish bring, precipitation, pH.
    """
    compound = COMPOUNDS.get(given.compound)
    refuse_contradictions(given, compound)
    plan = Plan(given, compound)
    largest = max(plan.dose + plan.change_dose + plan.first, plan.even)
    refuse_more_liquid_than_water(given, plan.portion(largest)[1])
    return Working(_values(plan), steps_of(plan), assumptions(plan), cautions(plan))


def _values(plan: Plan) -> dict[str, Any]:
    values: dict[str, Any] = dict(zip(("verdict", "why"), plan.verdict, strict=True))
    for name, rise in (
        ("dose", plan.dose),
        ("change", plan.change_dose),
        ("first", plan.first),
        ("weekly", plan.week),
        ("even", plan.even),
    ):
        amount, liquid = plan.portion(rise)
        values |= {f"{name}_rise": rise, f"{name}_amount": amount, f"{name}_liquid_volume": liquid}
    steady = plan.steady
    return {
        **values,
        "lowest_kept": plan.kept[0],
        "highest_kept": plan.kept[1],
        "steady_trough": None if steady is None else max(0.0, steady[0]),
        "steady_peak": None if steady is None else steady[1],
        "most_it_can_reach": plan.most,
        "schedule": _rows(plan),
    }


def _rows(plan: Plan) -> list[dict[str, Any]]:
    rows = []
    for number, day in enumerate(plan.days, start=1):
        amount, liquid = plan.portion(day.rise)
        rows.append(
            {
                "day": number,
                "changed": day.changes * (plan.given.change_volume or 0.0),
                "rise": day.rise,
                "amount": amount,
                "liquid_volume": liquid,
                "value_before": day.before,
                "value_after": day.after,
            }
        )
    return rows


def _dose(name: str, words: str) -> tuple[Result, ...]:
    return (
        value_of_parameter(f"{name}_rise", f"{words}: by how much it raises the parameter."),
        Result(f"{name}_amount", "mass", f"{words}: to weigh out; none of a liquid product."),
        Result(
            f"{name}_liquid_volume",
            "volume",
            f"{words}: of stock or liquid product; none if dosed dry.",
            "mL",
        ),
    )


DOSE_SCHEDULE = Calculator(
    name="dose-schedule",
    title="Dosing schedule",
    doc=(
        "What to dose, and what more after each water change, so that nitrate, phosphate, potassium or another parameter"
        " keeps its level while plants use it; a table of two weeks; and where one and the same dose leads in the long"
        " run: its lowest and highest level, and the most that it can reach if plants stop using it."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "Of the plan and its table, or of the usual dose where one is told: ok; watch (too low, or may build up); over"
            " (too high, without end, or it runs out).",
        ),
        Result("why", TEXT, "The verdict in words."),
        *_dose("dose", "Each regular dose"),
        *_dose("change", "Besides, after each water change"),
        *_dose("first", "At first, once, where the present level is lower"),
        *_dose("weekly", "All doses of a week, in the long run"),
        *_dose("even", "The same dose each time instead, which makes good water changes too"),
        value_of_parameter(
            "lowest_kept", "By regular doses and those after changes: just before a dose, once settled."
        ),
        value_of_parameter("highest_kept", "By the same: just after a dose."),
        value_of_parameter(
            "steady_trough", "By the even or usual dose, once settled; none where it has no end."
        ),
        value_of_parameter(
            "steady_peak", "By the even or usual dose, once settled; none where it has no end."
        ),
        value_of_parameter(
            "most_it_can_reach", "By the even or usual dose if nothing used it; none where nothing bounds it."
        ),
        Result(
            "schedule",
            "list",
            f"{SHOWN_DAYS} days of regular doses, from the present level on.",
            fields=(
                Result("day", COUNT, "1 is the day of the first dose."),
                Result("changed", "volume", "Water changed that day, before the dose."),
                value_of_parameter("rise", "By that day's doses."),
                Result("amount", "mass", "To weigh out; none of a liquid product."),
                Result("liquid_volume", "volume", "Of stock or liquid product; none if dosed dry.", "mL"),
                value_of_parameter("value_before", "At the beginning of the day."),
                value_of_parameter("value_after", "After the day's doses."),
            ),
        ),
    ),
    limits=LIMITS,
    sources=SOURCES,
    solve=solve,
    example={
        "parameter": "nitrate",
        "volume": "180 L",
        "present": "6 mg/L NO3",
        "wanted": "10 mg/L NO3",
        "lowest": "5 mg/L NO3",
        "daily_uptake": "1.2 mg/L NO3",
        "change_volume": "60 L",
        "change_interval": "7 d",
        "source": "4 mg/L NO3",
        "compound": "potassium_nitrate",
        "stock_strength": "80 g/L",
    },
    doors=("systems",),
    asks={
        "parameter": "nitrate",
        "wanted": "10 mg/L NO3",
        "daily_uptake": "1.2 mg/L NO3",
        "compound": "potassium_nitrate",
    },
)
