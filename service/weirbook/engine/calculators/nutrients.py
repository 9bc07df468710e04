"""Where the nitrogen and phosphorus of the food end up: what gathers, where it settles, and what each lever would do."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.nutrients_care import LIMITS_OF_IT, SOURCES, assumptions, cautions
from weirbook.engine.calculators.nutrients_case import Balance, Case
from weirbook.engine.calculators.nutrients_inputs import Inputs, refuse_contradictions
from weirbook.engine.calculators.nutrients_steps import CACO3_AN_EQUIVALENT, steps
from weirbook.engine.calculators.nutrients_verdict import verdict
from weirbook.engine.relations.nitrogen import SOLIDS_OF_FOOD, WITHOUT_GROWTH
from weirbook.engine.relations.nutrients import KG_N_A_MOLE, KG_P_A_MOLE
from weirbook.engine.shape import COUNT, TEXT, Calculator, Result, Working


def solve(given: Inputs) -> Working:
    """The daily balance of nitrogen and phosphorus, where both settle, and what would hold a wanted nitrate.

    Equations: ammonia = food x protein x 0.092 (least 0.025 x dry food or 30 % less, most food x protein / 6.25 x (1 - solids));
    phosphate = food x phosphorus x (1 - kept - solids); uptake = area x cover x rate; gain = made + drip and top-off
    - uptake - denitrification; in the long run `swing`; the weeks ahead `days_ahead`; the levers `gain_that_holds`
    and `share_that_holds`, solved for food, area and change one at a time.
    Shapes and units: SI, see `Inputs`; three cases: least (least made, most taken up), likely, most.
    Valid for: one well-mixed system whose filter is grown, and a steady routine.
    Uncertainty: 30 % of what fish give off, a factor of ten in what plants take up: hence the three cases.
    Raises: Invalid for a change of more water than there is, for shares of the food that pass the whole.
    Source: see SOURCES.
    Not covered: see LIMITS_OF_IT; ammonia and nitrite; potassium and trace elements.
    """
    refuse_contradictions(given)
    found = Balance(given)
    return Working(_values(found), steps(found), assumptions(found), cautions(found))


def _values(found: Balance) -> dict[str, Any]:
    given, likely = found.given, found.likely
    nitrogen, phosphorus = found.uptake
    level, why = verdict(found)
    to_limit, phosphate_to_limit = found.days_to_limits
    share, area = found.share_to_hold, found.area_to_hold
    half = found.half_fed.likely.nitrogen_swing
    return {
        "verdict": level,
        "why": why,
        "ammonia_made": likely.made.nitrogen,
        "ammonia_low": found.least.made.nitrogen,
        "ammonia_high": found.most.made.nitrogen,
        "phosphate_made": likely.made.phosphorus,
        "phosphate_made_low": found.least.made.phosphorus,
        "phosphate_made_high": found.most.made.phosphorus,
        "plant_nitrogen_low": nitrogen.low,
        "plant_nitrogen_high": nitrogen.high,
        "plant_phosphorus_low": phosphorus.low,
        "plant_phosphorus_high": phosphorus.high,
        "nitrogen_gathers": likely.gain.nitrogen,
        "phosphorus_gathers": likely.gain.phosphorus,
        "solids_low": found.dry_food * SOLIDS_OF_FOOD[0],
        "solids_high": found.dry_food * SOLIDS_OF_FOOD[1],
        "alkalinity_used": likely.made.nitrogen * WITHOUT_GROWTH.alkalinity * CACO3_AN_EQUIVALENT,
        "alkalinity_drop": found.alkalinity_a_day,
        "bicarbonate_to_replace": likely.made.nitrogen * WITHOUT_GROWTH.bicarbonate,
        "oxygen_used": likely.made.nitrogen * WITHOUT_GROWTH.oxygen,
        **_settled(found),
        "time_to_limit": to_limit,
        "time_to_phosphate_limit": phosphate_to_limit,
        "change_to_hold": None if share is None else share * given.volume,
        "feed_to_hold": found.feed_to_hold,
        "plant_area_to_hold": found.likely_area_to_hold,
        "plant_area_to_hold_low": area.low,
        "plant_area_to_hold_high": area.high,
        "nitrate_at_half_feed": None if half is None else half[0] / KG_N_A_MOLE,
        "ahead": _ahead(found),
    }


def _settled(found: Balance) -> dict[str, float | None]:
    """Where both settle: the likely case before and after a change, the ends of the other two."""

    def of(case: Case) -> tuple[tuple[float, float] | None, tuple[float, float] | None]:
        return case.nitrogen_swing, case.phosphorus_swing

    values: dict[str, float | None] = {}
    for which, (name, a_mole) in enumerate((("nitrate", KG_N_A_MOLE), ("phosphate", KG_P_A_MOLE))):
        likely, least, most = of(found.likely)[which], of(found.least)[which], of(found.most)[which]
        values |= {
            f"{name}_before_change": likely and likely[0] / a_mole,
            f"{name}_after_change": likely and likely[1] / a_mole,
            f"{name}_least": least and min(least) / a_mole,
            f"{name}_most": most and max(most) / a_mole,
        }
    return values


def _ahead(found: Balance) -> list[dict[str, Any]]:
    """The end of each week to come, before that day's change."""
    number = found.given.weeks * 7
    runs = [case.ahead(number)[6::7] for case in (found.least, found.likely, found.most)]
    return [
        {
            "week": week,
            "nitrate": likely.nitrogen / KG_N_A_MOLE,
            "nitrate_low": least.nitrogen / KG_N_A_MOLE,
            "nitrate_high": most.nitrogen / KG_N_A_MOLE,
            "phosphate": likely.phosphorus / KG_P_A_MOLE,
            "phosphate_low": least.phosphorus / KG_P_A_MOLE,
            "phosphate_high": most.phosphorus / KG_P_A_MOLE,
        }
        for week, (least, likely, most) in enumerate(zip(*runs, strict=True), 1)
    ]


def _mass(name: str, doc: str, unit: str = "mg/d") -> Result:
    return Result(name, "mass_flow", doc, unit)


def _nitrate(name: str, doc: str) -> Result:
    return Result(name, "nitrate", doc)


def _phosphate(name: str, doc: str) -> Result:
    return Result(name, "phosphate", doc)


NUTRIENTS = Calculator(
    name="nutrients",
    title="Nutrients",
    doc=(
        "Where the nitrogen and phosphorus of the food end up: what the fish make of it each day, what changes, drip,"
        " plants and bacteria take out, where nitrate and phosphate settle before and after a change, how the weeks"
        " ahead run, when a limit is passed, and what each lever alone would do: less food, larger changes, more"
        " plants. Each with the least, the likely and the most that may be, for plants and fish keep to no rule."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "ok, watch or over, by nitrate against its limit, and phosphate if a limit is told.",
        ),
        Result("why", TEXT, "The verdict in words."),
        _mass("ammonia_made", "Likely ammonia a day, as nitrogen; all becomes nitrate."),
        _mass("ammonia_low", "The least, as nitrogen."),
        _mass("ammonia_high", "The most, as nitrogen: all that is fed and not taken out with solids."),
        _mass("phosphate_made", "Likely phosphate a day, as phosphorus."),
        _mass("phosphate_made_low", "The least, as phosphorus."),
        _mass("phosphate_made_high", "The most, as phosphorus."),
        _mass("plant_nitrogen_low", "Nitrogen that the plants take up a day, at least."),
        _mass("plant_nitrogen_high", "The same, at most."),
        _mass("plant_phosphorus_low", "Phosphorus that the plants take up a day, at least."),
        _mass("plant_phosphorus_high", "The same, at most."),
        _mass(
            "nitrogen_gathers", "Likely nitrogen a day that is left for changes and overflow to carry off."
        ),
        _mass("phosphorus_gathers", "Likely phosphorus a day that is left for them."),
        _mass("solids_low", "Dry solids a day to catch, at least.", "g/d"),
        _mass("solids_high", "The same, at most.", "g/d"),
        _mass("alkalinity_used", "Alkalinity that the filter's bacteria use, as CaCO3.", "g/d"),
        Result("alkalinity_drop", "alkalinity", "By which that would sink in a day if nothing replaced it."),
        _mass("bicarbonate_to_replace", "Sodium bicarbonate that would replace it.", "g/d"),
        _mass("oxygen_used", "Oxygen that those bacteria use.", "g/d"),
        _nitrate("nitrate_before_change", "Where it likely settles, just before a change."),
        _nitrate("nitrate_after_change", "The same, just after a change."),
        _nitrate("nitrate_least", "The lowest it may settle at."),
        _nitrate("nitrate_most", "The highest; none where nothing carries it off."),
        _phosphate("phosphate_before_change", "Where it likely settles, just before a change."),
        _phosphate("phosphate_after_change", "The same, just after a change."),
        _phosphate("phosphate_least", "The lowest it may settle at."),
        _phosphate("phosphate_most", "The highest; none where nothing carries it off."),
        Result(
            "time_to_limit",
            "time",
            "Until nitrate likely passes its limit; none if not within two years, or not tested.",
            "d",
        ),
        Result("time_to_phosphate_limit", "time", "The same of phosphate, if a limit is told.", "d"),
        Result(
            "change_to_hold",
            "volume",
            "To change each time to hold the wanted nitrate; none where no change does.",
        ),
        _mass(
            "feed_to_hold",
            "Food a day that holds it, all else as told; none where no food is too much.",
            "g/d",
        ),
        Result(
            "plant_area_to_hold",
            "area",
            "Plants to add, fully covered, that likely hold it, all else as told.",
        ),
        Result(
            "plant_area_to_hold_low",
            "area",
            "The same if they take up as much as the best published: seldom so in a tank.",
        ),
        Result(
            "plant_area_to_hold_high",
            "area",
            "The same if they take up as little as the poorest published: count on this.",
        ),
        _nitrate("nitrate_at_half_feed", "Where it likely settles before a change if half as much is fed."),
        Result(
            "ahead",
            "list",
            "The weeks to come, each at its end, before that day's change.",
            fields=(
                Result("week", COUNT, "1 ends in seven days."),
                _nitrate("nitrate", "Likely."),
                _nitrate("nitrate_low", "With the least made and the most taken up."),
                _nitrate("nitrate_high", "With the most made and the least taken up."),
                _phosphate("phosphate", "Likely."),
                _phosphate("phosphate_low", "With the least made and the most taken up."),
                _phosphate("phosphate_high", "With the most made and the least taken up."),
            ),
        ),
    ),
    limits=LIMITS_OF_IT,
    sources=SOURCES,
    solve=solve,
    example={
        "feed": "6 g/d",
        "protein": "42 %",
        "volume": "450 L",
        "nitrate": "30 mg/L NO3",
        "phosphate": "1 mg/L PO4",
        "source_nitrate": "5 mg/L NO3",
        "change_volume": "110 L",
        "change_interval": "7 d",
        "top_off_flow": "4 L/d",
        "phosphate_limit": "3 mg/L PO4",
        "stands": [
            {"name": "pothos roots", "growth_form": "emergent", "area": "0.15 m2"},
            {"name": "duckweed", "growth_form": "floating", "area": "0.1 m2", "cover": "60 %"},
        ],
    },
    doors=("systems",),
)
