"""/v1/findings: what stands well, what to watch, what to act on, and what nobody can know."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.find_findings import find_findings
from weirbook.actions.finding import About, Finding, Verdict
from weirbook.engine.times import instant_text
from weirbook.record.names import find
from weirbook.record.places import System
from weirbook.web.access import READERS
from weirbook.web.fields import Choice
from weirbook.web.finding_shapes import FINDING_COLUMNS, FINDINGS
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.sheets import as_csv, flat

WORDS = (
    "Verdicts: act, watch, unknown, ok, in this order. Judged are targets (out of target now, and targets that nothing "
    "measures), silent and stuck gauges, contacts that read leak or no mains, sections against their limits, overdue tasks, "
    "sensors never checked, and whether a notifier follows the log. Each names its value, limit, reason and the path it "
    "came from. Unknown is a verdict: it says what the record lacks. Nothing of this replaces looking."
)


class FindingQuery(Schema):
    verdict = Choice(tuple(Verdict), metadata={"description": "Only these."})
    about = Choice(tuple(About), metadata={"description": "Only findings about this."})


def blueprint() -> Blueprint:
    """Findings on the room and on one system."""
    blp = Blueprint("findings", "findings", url_prefix="/v1", description="Verdicts, worst first.")

    @operation(
        blp,
        "GET",
        "/findings",
        id="list_findings",
        summary="Findings on the room, worst first",
        description=WORDS,
        roles=READERS,
        query=FindingQuery,
        formats=("json", "csv"),
        returns=FINDINGS,
        problems=(413,),
    )
    def of_room(call: Call) -> Response:
        return _answer(call, find_findings(call.session, call.zone, call.now))

    @operation(
        blp,
        "GET",
        "/systems/<handle>/findings",
        id="list_system_findings",
        summary="Findings on a system, worst first",
        description=WORDS,
        roles=READERS,
        query=FindingQuery,
        formats=("json", "csv"),
        returns=FINDINGS,
        problems=(413,),
        example=Example(path={"handle": "fern-pool"}),
    )
    def of_system(call: Call, handle: str) -> Response:
        system = find(call.session, System, handle)
        return _answer(call, find_findings(call.session, call.zone, call.now, system))

    return blp


def _answer(call: Call, found: Sequence[Finding]) -> Response:
    wanted = [
        one
        for one in found
        if call.query.get("verdict", one.verdict) == one.verdict
        and call.query.get("about", one.about) == one.about
    ]
    rows = [_row(one) for one in wanted]
    if call.format == "csv":
        return as_csv(call, [flat(row) for row in rows], FINDING_COLUMNS)
    counts = Counter(one.verdict for one in wanted)
    return reply(
        {
            "verdict": wanted[0].verdict if wanted else Verdict.UNKNOWN,
            "counts": {verdict.value: counts[verdict] for verdict in Verdict},
            "items": rows,
        }
    )


def _row(one: Finding) -> dict[str, Any]:
    return {
        "verdict": one.verdict,
        "about": one.about,
        "system": one.system,
        "place": one.place,
        "subject": one.subject,
        "value": None if one.value is None else one.value.as_json(),
        "limit": None if one.limit is None else one.limit.as_json(),
        "reason": one.reason,
        "since": None if one.since_ms is None else instant_text(one.since_ms),
        "origin": one.origin,
    }
