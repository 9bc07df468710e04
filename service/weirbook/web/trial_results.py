"""/v1/trials/{id}/result: what a trial shows, how sure that is, and what else it may have been."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import asdict
from datetime import timedelta
from typing import Any, cast

from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.changed_meanwhile import Happened
from weirbook.actions.trial_days import PhaseDays
from weirbook.actions.trial_result import SOURCES, Shown, TrialResult, trial_result
from weirbook.engine.inputs import six
from weirbook.engine.relations.resampling import Centre
from weirbook.engine.relations.trends import Trend
from weirbook.engine.relations.trials import Comparison, Summary
from weirbook.engine.times import instant_text
from weirbook.record.names import find_happening
from weirbook.record.trials import Trial
from weirbook.web.access import READERS
from weirbook.web.fields import Choice
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.sheets import as_csv
from weirbook.web.trial_result_shapes import RESULT_COLUMNS, TRIAL_RESULT
from weirbook.web.trials import TRIAL_KEY

WORDS = (
    "Daily means of each outcome's gauge by phase, the settle time left out: by how much phases differ, with a 90 % interval "
    "that allows for days that resemble the day before; whether a step at the change or a trend that runs through it fits "
    "better; whether it is flat, which is another thing than no difference found; and under which setting it was lowest or "
    "highest, if that can be told. Beside it stands what else happened in the same water, named in the reading where it fell "
    "between the days compared (settle time and gaps included) or within a week of them: the two can't be told apart then. "
    "What lasted and lies within one phase only is named, too. "
    "One place has no control: what came after a change was not "
    "thereby caused by it. A phase that still runs counts up to yesterday."
)


class ResultQuery(Schema):
    of = Choice(
        ("mean", "median"),
        metadata={
            "description": "What of each phase is compared; median is less swayed by odd days. mean if not said."
        },
    )


def blueprint() -> Blueprint:
    """The one operation."""
    blp = Blueprint("trial-results", "trial-results", url_prefix="/v1", description="What trials show.")

    @operation(
        blp,
        "GET",
        "/trials/<uuid:id>/result",
        id="get_trial_result",
        summary="What a trial shows",
        description=WORDS,
        roles=READERS,
        query=ResultQuery,
        formats=("json", "csv"),
        returns=TRIAL_RESULT,
        problems=(422,),
        example=Example(path={"id": TRIAL_KEY}),
    )
    def result(call: Call, id: uuid.UUID) -> Response:
        row = cast(Trial, find_happening(call.session, Trial.NOUN, str(id)))
        of: Centre = call.query.get("of", "mean")
        found = trial_result(call.session, row, call.zone, call.now, of)
        if call.format == "csv":
            return as_csv(call, _lines(found), RESULT_COLUMNS)
        return reply(_shown(found))

    return blp


def _shown(found: TrialResult) -> dict[str, Any]:
    return {
        "trial": str(found.row.id),
        "question": found.row.question,
        "varied": found.row.varied,
        "place": found.row.place.path,
        "of": found.of,
        "reading": found.reading(),
        "phases": [_phase(number, one) for number, one in enumerate(found.phases, 1)],
        "outcomes": [_outcome(one) for one in found.outcomes],
        "meanwhile": [_meanwhile(one) for one in found.meanwhile],
        "assumptions": [asdict(one) for one in found.assumptions()],
        "sources": [asdict(one) for one in SOURCES],
    }


def _phase(number: int, one: PhaseDays) -> dict[str, Any]:
    counts = one.end > one.first
    return {
        "phase": number,
        "setting": one.setting,
        "from": instant_text(one.from_ms),
        "to": None if one.to_ms is None else instant_text(one.to_ms),
        "first_day": one.first.isoformat() if counts else None,
        "last_day": (one.end - timedelta(days=1)).isoformat() if counts else None,
    }


def _outcome(one: Shown) -> dict[str, Any]:
    trial, (margin, origin) = one.trial, one.trial.margin
    return {
        "gauge": one.gauge.handle,
        "parameter": one.gauge.parameter,
        "place": one.gauge.place.path,
        "unit": one.gauge.unit,
        "reading": one.words.reading(),
        "matters": {"difference": None if origin == "unknown" else six(margin), "origin": origin},
        "phases": [_summary(one, number, each) for number, each in enumerate(trial.summaries, 1)],
        "comparisons": [_comparison(one, each) for each in (*trial.changes, *trial.against_first)],
        "whole": _trend(one, trial.whole),
        "kept": six(max(trial.persistence, 0.0)),
        "lowest": asdict(trial.extreme("lowest")),
        "highest": asdict(trial.extreme("highest")),
        "limits": one.limits(),
    }


def _summary(shown: Shown, number: int, one: Summary) -> dict[str, Any]:
    return {
        "phase": number,
        "setting": one.phase.setting,
        "days": one.n,
        **{
            name: _six(getattr(one, name))
            for name in ("mean", "median", "spread", "lowest", "highest", "worth")
        },
        **_trend(shown, one.trend),
    }


def _trend(shown: Shown, found: Trend | None) -> dict[str, Any]:
    sen = None if found is None else found.sen
    return {
        "trend_a_week": None if sen is None else six(7 * sen.slope),
        "trend_low": None if sen is None else six(7 * sen.low),
        "trend_high": None if sen is None else six(7 * sen.high),
        "trend": shown.words.trend(found),
    }


def _comparison(shown: Shown, one: Comparison) -> dict[str, Any]:
    found, shape = one.difference, one.shape
    return {
        "phase": one.second + 1,
        "beside": one.first + 1,
        "difference": None if found is None else six(found.value),
        "difference_low": None if found is None else six(found.low),
        "difference_high": None if found is None else six(found.high),
        "verdict": one.verdict,
        "shape": None if shape is None else shape.shape,
        "step_odds": None if shape is None else six(shape.odds),
        "step_low": None if shape is None else six(shape.step[0]),
        "step_high": None if shape is None else six(shape.step[1]),
        "slope_low": None if shape is None else six(7 * shape.slope[0]),
        "slope_high": None if shape is None else six(7 * shape.slope[1]),
        "words": shown.words.comparison(one),
    }


def _meanwhile(one: Happened) -> dict[str, Any]:
    return {
        "at": instant_text(one.told.at_ms),
        "day": one.day.isoformat(),
        "kind": one.told.kind,
        "place": one.told.place,
        "words": one.told.words,
        "path": one.told.path,
        "in_the_week_of": [place + 1 for place in one.phases],
        "during": None if one.during is None else one.during + 1,
        "routine": one.routine,
        "own": one.own,
    }


def _lines(found: TrialResult) -> list[Mapping[str, Any]]:
    phases = [_phase(number, one) for number, one in enumerate(found.phases, 1)]
    lines: list[Mapping[str, Any]] = []
    for shown in found.outcomes:
        before = {one.second: _comparison(shown, one) for one in shown.trial.changes}
        for place, one in enumerate(shown.trial.summaries):
            lines.append(
                {
                    "gauge": shown.gauge.handle,
                    "unit": shown.gauge.unit,
                    **phases[place],
                    **before.get(place, {}),
                    **_summary(shown, place + 1, one),
                }
            )
    return lines


def _six(value: float | None) -> float | None:
    return None if value is None else six(value)
