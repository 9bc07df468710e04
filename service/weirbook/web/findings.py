"""/v1/findings: what stands well, what to watch, what to act on, and what nobody can know."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.find_findings import find_findings
from weirbook.actions.finding import About, Finding, Verdict
from weirbook.engine.inputs import six
from weirbook.engine.saying import speaking
from weirbook.engine.times import instant_text
from weirbook.engine.units import KINDS, Quantity
from weirbook.record.names import find
from weirbook.record.places import System
from weirbook.web.access import READERS
from weirbook.web.fields import Choice
from weirbook.web.finding_shapes import FINDING_COLUMNS, FINDINGS
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.sheets import as_csv, flat

WORDS = (
    "Verdicts: act, watch, unknown, ok, in this order. Judged are targets (out of target now, and targets that nothing "
    "measures), silent and stuck gauges, contacts that read leak or no mains, where the water goes (what spills when pumps stop "
    "or an air hole clogs, drains, levels, a tank whose drains stop, a pump that would draw air at the restart, flow that has "
    "faded), sections against their limits, the water by its latest tests (un-ionized ammonia, nitrite beside chloride, oxygen), "
    "where it is heading (alkalinity that sinks, beside what the food uses up; hardness that a top-off leaves behind; a planned "
    "water change that is too much at once, or past; surface for nitrifying bacteria), fish (schools under their number, water "
    "outside the range of a species, newcomers put straight in, quarantines, losses lately and after introductions), plants "
    "(tried again as they failed before, lying uprooted, lost in the last 28 days), overdue tasks, "
    "sensors never checked, and whether a notifier follows the log. Each names its value, limit, reason and the path it "
    "came from. Unknown is a verdict: it says what the record lacks. Nothing of this replaces looking."
)

WATER = (About.SPILL, About.DRAIN, About.LEVEL, About.OVERFLOW, About.RESTART, About.FLOW, About.SECTION)
"""Shown in the units that the room prefers; readings stay in their gauge's."""

WATER_UNITS = {
    one.name: kind for kind in ("flow", "length", "time", "velocity", "volume") for one in KINDS[kind].units
}


KIND_ABOUT = {
    About.AMMONIA: "ammonia",
    About.NITRITE: "nitrite",
    About.OXYGEN: "concentration",
    About.ALKALINITY: "alkalinity",
    About.HARDNESS: "hardness",
    About.NITRIFIERS: "area",
}
"""What these findings tell, in the unit that the room prefers: the one that their sentence speaks in."""


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
        return _answer(call, None)

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
        return _answer(call, find(call.session, System, handle))

    return blp


def _answer(call: Call, system: System | None) -> Response:
    units = call.room.preferred_units or {}
    with speaking(units):
        found = find_findings(call.session, call.zone, call.now, system)
    wanted = [
        one
        for one in found
        if call.query.get("verdict", one.verdict) == one.verdict
        and call.query.get("about", one.about) == one.about
    ]
    rows = [_row(one, units) for one in wanted]
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


def _row(one: Finding, units: Mapping[str, str]) -> dict[str, Any]:
    value, limit = one.value, one.limit
    if one.about in WATER:
        value, limit = (_shown(each, units, one.limit) for each in (one.value, one.limit))
    elif (kind := KIND_ABOUT.get(one.about, "")) in units:
        value, limit = (_preferred(each, kind, units[kind]) for each in (one.value, one.limit))
    return {
        "verdict": one.verdict,
        "about": one.about,
        "system": one.system,
        "place": one.place,
        "subject": one.subject,
        "value": None if value is None else value.as_json(),
        "limit": None if limit is None else limit.as_json(),
        "reason": one.reason,
        "since": None if one.since_ms is None else instant_text(one.since_ms),
        "origin": one.origin,
    }


def _preferred(one: Quantity | None, kind: str, unit: str) -> Quantity | None:
    if one is None or one.unit == unit:
        return one
    shown = one.to(unit, kind)
    return Quantity(six(shown.value), unit)


def _shown(one: Quantity | None, units: Mapping[str, str], limit: Quantity | None) -> Quantity | None:
    """In the unit that the room prefers, else in its limit's."""
    kind = None if one is None else WATER_UNITS.get(one.unit)
    if one is None or kind is None:
        return one
    beside = limit.unit if limit is not None and WATER_UNITS.get(limit.unit) == kind else one.unit
    shown = one.to(units.get(kind, beside), kind)
    return Quantity(six(shown.value), shown.unit)
