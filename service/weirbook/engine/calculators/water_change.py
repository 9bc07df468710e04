"""How much water to change for a wanted value, in how many changes or by what drip, and how fast fish bear it."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.exchange import BY_PARAMETER
from weirbook.engine.calculators.water_change_care import LIMIT_WORDS, SOURCES, assumptions, cautions
from weirbook.engine.calculators.water_change_case import HELD_BY, SHOWN, Change
from weirbook.engine.calculators.water_change_inputs import Inputs, refuse_contradictions
from weirbook.engine.calculators.water_change_steps import change_steps
from weirbook.engine.relations.changes import after_changes, mixed
from weirbook.engine.shape import COUNT, FOLLOWING, TEXT, Calculator, Result, Working


def solve(given: Inputs) -> Working:
    """A change of water: its share, the usual changes it takes, the drip instead, and the days that fish need.

    Equations: F = (C0 - C) / (C0 - S); n = ln(1 - F) / ln(1 - f), rounded up; C = S + (C0 - S) (1 - f)^n; drip
    D = V ln(1 / (1 - F)); each day the least of m / |difference| for hardness, alkalinity, temperature, of
    `ph_share_within` and of the size limit; with a drift each day starts from the day before and a day's drift; back
    after (C0 - C) / drift; a drip holds S + drift V / Q.
    Shapes and units: SI, see `Inputs`; what follows the parameter in the SI unit of its kind.
    Valid for: what is conserved when waters mix, in one well-mixed body of water.
    Uncertainty: that of volume and tests, 10 % is usual; of pH see `mixed_ph`; daily limits are habits.
    Raises: Invalid for a value at or beyond the source's, a change of all the water or more, half a drift, more
    than 366 changes or days, neither a wanted value nor a change.
    Source: see SOURCES.
    Not covered: what happens between usual changes, whose interval isn't told; water that doesn't mix.
    """
    refuse_contradictions(given)
    found = Change(given)
    return Working(_values(found), change_steps(found), assumptions(found), cautions(found))


def _values(found: Change) -> dict[str, Any]:
    given, usual = found.given, found.given.usual_share
    dripped = found.drip_water
    return {
        "verdict": found.verdict,
        "why": found.why,
        "share": found.share,
        "water": found.share * given.volume,
        "value_after": found.value_after,
        "changes": found.changes,
        "changes_water": None
        if found.changes is None or usual is None
        else found.changes * usual * given.volume,
        "series": _series(found),
        "drip_water": dripped,
        "drip_time": None if given.drip_flow is None else dripped / given.drip_flow,
        "largest_share": found.largest,
        "largest_water": found.largest * given.volume,
        "held_by": HELD_BY[found.held_by],
        "days": len(found.days),
        "schedule": _schedule(found),
        "time_back": found.time_back,
        "drip_holds": found.settles_at,
    }


def _series(found: Change) -> list[dict[str, Any]]:
    given, usual = found.given, found.given.usual_share
    if usual is None:
        return []
    count = SHOWN if found.changes is None else found.changes
    return [
        {
            "number": number,
            "water_in_all": number * usual * given.volume,
            "value_after": after_changes(given.present, given.source, usual, number),
        }
        for number in range(1, count + 1)
    ]


def _schedule(found: Change) -> list[dict[str, Any]]:
    given, with_drift = found.given, found.days_with_drift
    return [
        {
            "day": number,
            "share": day.share,
            "water": day.share * given.volume,
            "value_after": mixed(given.present, given.source, 1 - day.left),
            "value_with_drift": None if with_drift is None else with_drift[number - 1],
            "hardness_after": day.after.hardness,
            "alkalinity_after": day.after.alkalinity,
            "ph_after": day.after.ph,
            "held_by": HELD_BY[day.held_by] if day.held_by else "the end of it",
        }
        for number, day in enumerate(found.days, start=1)
    ]


def _of_parameter(name: str, doc: str) -> Result:
    return Result(name, FOLLOWING, doc, follows=BY_PARAMETER)


WATER_CHANGE = Calculator(
    name="water-change",
    title="Water change",
    doc=(
        "What share of the water one change has to replace for a wanted value; how many of the usual changes do it, with"
        " the value after each; what drips through instead, and how long. How much of the new water the tank bears"
        " today by hardness, alkalinity, pH and temperature, and the days over which the change is then spread. How long"
        " a drift needs to bring the value back, and where a standing drip holds it. A change leads only towards the"
        " new water's own value."
    ),
    inputs=Inputs,
    results=(
        Result(
            "verdict",
            TEXT,
            "ok (one change does it within the daily limits); watch (spread it over days); unknown (hardness or"
            " alkalinity of a water isn't known).",
        ),
        Result("why", TEXT, "The verdict in words."),
        Result("share", "fraction", "Of the water that one change to the wanted value replaces."),
        Result("water", "volume", "Of that one change."),
        _of_parameter("value_after", "After that one change."),
        Result(
            "changes", COUNT, "Usual changes until the wanted value is reached; none where either isn't told."
        ),
        Result("changes_water", "volume", "All of them together."),
        Result(
            "series",
            "list",
            "The usual changes one by one, no drift counted.",
            fields=(
                Result("number", COUNT, "1 is the first change."),
                Result("water_in_all", "volume", "New water so far."),
                _of_parameter("value_after", "After this change."),
            ),
        ),
        Result("drip_water", "volume", "That drips through to do the same as the one change."),
        Result("drip_time", "time", "At the drip's flow; none where it isn't told."),
        Result("largest_share", "fraction", "That the tank bears today."),
        Result("largest_water", "volume", "The same as water."),
        Result("held_by", TEXT, "What keeps it from being larger."),
        Result(
            "days",
            COUNT,
            "With one change a day as large as the limits let it be; 0 if there is nothing to do.",
        ),
        Result(
            "schedule",
            "list",
            "Each day's change. It ends at the wanted value, but for the drift.",
            fields=(
                Result("day", COUNT, "1 is today."),
                Result("share", "fraction", "Of the water to replace."),
                Result("water", "volume", "The same as water."),
                _of_parameter("value_after", "After it, if nothing else moves it."),
                _of_parameter(
                    "value_with_drift", "After it, the drift going on from day to day; none if none is told."
                ),
                Result("hardness_after", "hardness", "None where a water's hardness isn't known."),
                Result("alkalinity_after", "alkalinity", "None where a water's alkalinity isn't known."),
                Result("ph_after", "ph", "Reckoned by alkalinity; none where it can't be."),
                Result("held_by", TEXT, "What keeps this day's change from being larger."),
            ),
        ),
        Result(
            "time_back",
            "time",
            "Until the drift has undone the change; none where it doesn't lead back.",
            "d",
        ),
        _of_parameter("drip_holds", "Where the standing drip holds the value against the drift."),
    ),
    limits=LIMIT_WORDS,
    sources=SOURCES,
    solve=solve,
    example={
        "parameter": "nitrate",
        "volume": "400 L",
        "present": "36 mg/L NO3",
        "source": "4 mg/L NO3",
        "wanted": "12 mg/L NO3",
        "change_volume": "100 L",
        "drip_flow": "2 L/h",
        "drift": "7 mg/L NO3",
        "drift_time": "7 d",
        "hardness": "6 dGH",
        "source_hardness": "12 dGH",
        "alkalinity": "2 dKH",
        "source_alkalinity": "7 dKH",
        "ph": "6.6 pH",
        "source_ph": "7.6 pH",
        "temperature": "25 degC",
        "source_temperature": "22 degC",
    },
    doors=("systems",),
    asks={"parameter": "nitrate"},
)
