"""/v1/systems/{handle}/maturity: how settled a system is, and what speaks for it."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from flask import Response
from flask_smorest import Blueprint

from weirbook.actions.judge_maturity import (
    BLOCK_DAYS,
    FRESH_DAYS,
    HALF_WAY,
    LAST_TESTS,
    LATELY_DAYS,
    MORE_SCATTER,
    STEADY,
    TRACES,
    YOUNG,
    Maturity,
    judge_maturity,
)
from weirbook.actions.maturity_age import HALF_WAY_WEEKS, KEPT, MEDIA_WEEKS, SHORTENED, STEADY_WEEKS, Event
from weirbook.actions.told import DAY_MS, Look
from weirbook.engine.relations.event_rates import CONDITIONAL_POISSON
from weirbook.engine.units import number
from weirbook.record.names import find
from weirbook.record.places import System
from weirbook.web.access import READERS
from weirbook.web.maturity_shapes import CRITERION_COLUMNS, MATURITY
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.sheets import as_csv

DAYS = 365

WORDS = (
    "How settled a system is: its age since the tanks were set up and last reset, the record of its ammonia and nitrite, how "
    "readings scatter over four weeks beside the blocks of four weeks before, fish lost of 1000 fish-days lately and before, "
    "and whether algae rise. Entries of the journal tagged set-up, reset, new-substrate, dry-spell or old-media count, and media "
    "moved in from another water. The stages are common practice without a source: a large freshwater display takes about six "
    "months to be steady and is half-way at three. What is not recorded is unknown and speaks for nothing: a system of which "
    "ammonia and nitrite were not tested lately is never called steady."
)
STAGES = (
    f"Steady after {STEADY_WEEKS} weeks, half-way at {HALF_WAY_WEEKS}: a large freshwater display. Old media moved across within "
    f"{MEDIA_WEEKS} weeks of the start shorten both (by our choice to {100 * SHORTENED:g} %); a new substrate over the old or a "
    f"dry spell set it back (by our choice to {100 * KEPT:g} % of its weeks, to half-way at most).",
    "Ammonia and nitrite count as gone where the last "
    f"{LAST_TESTS} tests, the newest not older than {FRESH_DAYS} days, found no more than "
    + ", ".join(f"{limit:g} {unit}" for limit, unit, _ in TRACES.values())
    + ": about what usual tests can just show.",
    f"Scatter is the median absolute deviation × 1.4826 of {BLOCK_DAYS} days; more than {MORE_SCATTER:g} times that before is "
    "restless. By the day for sensors, by the test for what is read by hand.",
    f"Losses: the last {LATELY_DAYS} days beside the time before, a year in all; {CONDITIONAL_POISSON}, 95 %. Fish that "
    "went missing are not counted, nor those that jumped, were injured, preyed on or handled, or died of old age.",
)
CAUTIONS = (
    {
        "code": "settled-is-not-safe",
        "text": "A steady record is no leave to add many fish at once: add a few, and test ammonia and nitrite in the days "
        "after.",
        "limit": None,
    },
)
SOURCES = (
    {
        "author": "Common practice",
        "year": None,
        "title": "How long a display takes to be steady",
        "where": "",
        "note": "No source",
    },
    {
        "author": "Mann, H. B.",
        "year": 1945,
        "title": "Nonparametric tests against trend",
        "where": "Econometrica 13, 245",
        "note": "Of the algae; from memory",
    },
    {
        "author": "Sen, P. K.",
        "year": 1968,
        "title": "Estimates of the regression coefficient based on Kendall's tau",
        "where": "J. Am. Stat. Assoc. 63, 1379",
        "note": "Of the algae; from memory",
    },
    {
        "author": "Przyborowski, J.; Wilenski, H.",
        "year": 1940,
        "title": "Homogeneity of results in testing samples from Poisson series",
        "where": "Biometrika 31, 313",
        "note": "Of the losses; from memory",
    },
)


def blueprint() -> Blueprint:
    """The one operation."""
    blp = Blueprint("maturity", "maturity", url_prefix="/v1", description="How settled a system is.")

    @operation(
        blp,
        "GET",
        "/systems/<handle>/maturity",
        id="get_maturity",
        summary="How settled a system is",
        description=WORDS,
        roles=READERS,
        formats=("json", "csv"),
        returns=MATURITY,
        example=Example(path={"handle": "rill"}),
    )
    def of_system(call: Call, handle: str) -> Response:
        system = find(call.session, System, handle)
        end = call.now + 1
        look = Look(call.session, system, end - DAYS * DAY_MS, end, call.now, call.zone)
        found = judge_maturity(look)
        if call.format == "csv":
            rows = [{"verdict": found.verdict, **asdict(one)} for one in found.criteria]
            return as_csv(call, rows, CRITERION_COLUMNS)
        return reply(_shown(system, found))

    return blp


def _shown(system: System, found: Maturity) -> dict[str, Any]:
    age = found.age
    return {
        "system": system.handle,
        "verdict": found.verdict,
        "reasons": list(found.reasons),
        "set_up_on": None if age.set_up is None else age.set_up.day.isoformat(),
        "weeks_since_set_up": _weeks(age.weeks),
        "last_reset_on": None if age.reset is None else age.reset.day.isoformat(),
        "weeks_since_reset": _weeks(age.weeks_since_reset),
        "weeks_counted": _weeks(age.counted),
        "events": [_event(one) for one in age.events],
        "criteria": [asdict(one) for one in found.criteria],
        "missing": list(found.missing),
        "stages": [
            {"name": YOUNG, "from_weeks": 0},
            {"name": HALF_WAY, "from_weeks": number(age.half_way)},
            {"name": STEADY, "from_weeks": number(age.steady)},
        ],
        "assumptions": [{"text": text, "origin": "common practice"} for text in STAGES],
        "cautions": list(CAUTIONS),
        "sources": list(SOURCES),
    }


def _event(one: Event) -> dict[str, Any]:
    return {"on": one.day.isoformat(), "what": one.what, "words": one.words, "path": one.path}


def _weeks(weeks: float | None) -> int | float | None:
    return None if weeks is None else number(round(weeks, 1))
