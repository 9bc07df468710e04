"""The latest reading of each gauge."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.read_latest import Latest, read_latest
from weirbook.engine.times import instant_text
from weirbook.engine.units import number, number_or_none
from weirbook.record.equipment import Gauge
from weirbook.record.names import find, find_place
from weirbook.record.whereabouts import whereabouts
from weirbook.web.access import READERS
from weirbook.web.fields import PlaceReference
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.series import qualifier
from weirbook.web.shapes import LATEST, LATEST_LIST
from weirbook.web.sheets import as_csv


class LatestQuery(Schema):
    place = PlaceReference(metadata={"description": "Only gauges at this place."})


LATEST_COLUMNS = (
    "gauge",
    "place",
    "parameter",
    "value",
    "as_taken",
    "unit",
    "qualifier",
    "at",
    "age_minutes",
    "target_low",
    "target_high",
    "in_target",
    "silent",
    "stuck",
    "implausible",
    "excluded",
)


def _latest(call: Call, gauges: Sequence[Gauge]) -> list[dict[str, Any]]:
    where = whereabouts(call.session, call.now)
    return [_state(call.now, one) for one in read_latest(call.session, gauges, where, call.now)]


def _state(now: int, one: Latest) -> dict[str, Any]:
    row = one.row
    return {
        "gauge": one.gauge.handle,
        "place": one.gauge.place.path,
        "parameter": one.gauge.parameter,
        "value": number_or_none(one.value),
        "as_taken": row and number(row.value),
        "unit": one.gauge.unit,
        "qualifier": row and qualifier(row.mark),
        "at": row and instant_text(row.at_ms),
        "age_minutes": None if row is None else round((now - row.at_ms) / 60_000, 1),
        "target_low": number_or_none(one.low),
        "target_high": number_or_none(one.high),
        "in_target": one.in_target,
        "silent": one.silent(now),
        "stuck": one.stuck,
        "implausible": one.implausible,
        "excluded": one.excluded,
    }


def add_routes(blp: Blueprint) -> None:
    """The latest of one gauge, and of all."""

    @operation(
        blp,
        "GET",
        "/gauges/<handle>/latest",
        id="get_latest_of_gauge",
        summary="A gauge's latest reading",
        description=(
            "With its age, whether it is inside its target now, and whether the gauge is silent. in_target is null where no "
            'target is in force, where the reading is implausible or excluded, and where it can\'t tell ("<5" against 3).'
        ),
        roles=READERS,
        returns=LATEST,
        example=Example(path={"handle": "nursery-temperature"}),
    )
    def latest_of_gauge(call: Call, handle: str) -> Response:
        return reply(_latest(call, [find(call.session, Gauge, handle)])[0])

    @operation(
        blp,
        "GET",
        "/latest",
        id="list_latest",
        summary="The latest reading of every gauge",
        description=(
            "Of the whole room or of one place, with age, in or out of target, silent or not. A "
            "gauge that never reported is listed too."
        ),
        roles=READERS,
        query=LatestQuery,
        formats=("json", "csv"),
        returns=LATEST_LIST,
        problems=(404, 413),
    )
    def latest(call: Call) -> Response:
        asked = sa.select(Gauge).where(Gauge.retired_at_ms.is_(None)).order_by(Gauge.id)
        if "place" in call.query:
            asked = asked.where(Gauge.place_id == find_place(call.session, call.query["place"]).id)
        rows = _latest(call, call.session.scalars(asked).unique().all())
        if call.format == "csv":
            return as_csv(call, rows, LATEST_COLUMNS)
        return reply({"items": rows})
