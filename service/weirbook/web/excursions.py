"""/v1/excursions: the stretches outside target, worked out from the readings as they stand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.list_excursions import list_excursions
from weirbook.engine.relations.excursions import Excursion
from weirbook.engine.times import instant_text
from weirbook.engine.units import number, number_or_none
from weirbook.errors import Invalid, TooLarge
from weirbook.record.equipment import Gauge
from weirbook.record.names import find, find_place
from weirbook.record.places import System
from weirbook.record.whereabouts import Whereabouts, whereabouts
from weirbook.web.access import READERS
from weirbook.web.excursion_shapes import EXCURSION_COLUMNS, EXCURSIONS
from weirbook.web.fields import Handle, Instant, PlaceReference, Words
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.sheets import as_csv

DAY_MS = 86_400_000
SPAN_CAP_MS = 400 * DAY_MS


class ExcursionQuery(Schema):
    gauge = Handle(metadata={"description": "Only of this gauge."})
    place = PlaceReference(metadata={"description": "Only of gauges at this place."})
    system = Handle(metadata={"description": "Only of gauges in this system."})
    parameter = Words(cap=60, metadata={"description": "Only of this parameter."})
    from_ = Instant(
        data_key="from", metadata={"description": "From this instant on; a week before `to` if not said."}
    )
    to = Instant(metadata={"description": "Up to, but without, this instant; now if not said."})


def blueprint() -> Blueprint:
    """What was outside its target."""
    blp = Blueprint("excursions", "excursions", url_prefix="/v1", description="Stretches outside target.")

    @operation(
        blp,
        "GET",
        "/excursions",
        id="list_excursions",
        summary="Stretches of time outside target",
        description=(
            "Each with start, end, worst value and minutes, newest first, by the targets and plumbing of their time and the "
            "readings as they stand now: corrected, excluded spans left out. A stretch begins where the value crosses its "
            "target and ends where it has come back by the target's hysteresis; shorter ones than its least duration are "
            "left out. Silence ends none: `end` is null while no reading says that it is over. Stretches that reach into "
            "the span asked for are told whole."
        ),
        roles=READERS,
        query=ExcursionQuery,
        formats=("json", "csv"),
        returns=EXCURSIONS,
        problems=(404, 413),
        example=Example(
            query={"parameter": "temperature", "from": "2026-11-16T00:00:00Z", "to": "2026-11-23T00:00:00Z"}
        ),
    )
    def excursions(call: Call) -> Response:
        end = min(call.query.get("to", call.now), call.now)
        start = call.query.get("from_", end - 7 * DAY_MS)
        if start >= end:
            raise Invalid("`from` must lie before `to`, and before now.", "/from")
        if end - start > SPAN_CAP_MS:
            raise TooLarge("More than 400 days: ask for a shorter span.")
        where = whereabouts(call.session, end - 1)
        gauges = {gauge.id: gauge for gauge in _asked_gauges(call, where)}
        told = list_excursions(call.session, list(gauges.values()), start, end, call.now)
        rows = [_row(call, gauges[gauge_id], where, one) for gauge_id, found in told.items() for one in found]
        rows.sort(key=lambda row: (row["start"], row["gauge"]), reverse=True)
        if call.format == "csv":
            return as_csv(call, rows, EXCURSION_COLUMNS)
        if len(rows) > call.config.csv_cap:
            raise TooLarge("Too many stretches for one answer: ask for a shorter span.")
        return reply({"items": rows})

    return blp


def _asked_gauges(call: Call, where: Whereabouts) -> Sequence[Gauge]:
    asked = sa.select(Gauge).order_by(Gauge.id)
    if "gauge" in call.query:
        asked = asked.where(Gauge.id == find(call.session, Gauge, call.query["gauge"]).id)
    if "place" in call.query:
        asked = asked.where(Gauge.place_id == find_place(call.session, call.query["place"]).id)
    if "parameter" in call.query:
        asked = asked.where(Gauge.parameter == call.query["parameter"])
    found = call.session.scalars(asked).unique().all()
    if "system" in call.query:
        system = find(call.session, System, call.query["system"])
        return [gauge for gauge in found if where.system_of(gauge.place_id) == system.id]
    return found


def _row(call: Call, gauge: Gauge, where: Whereabouts, one: Excursion) -> dict[str, Any]:
    system = where.system_of(gauge.place_id)
    return {
        "gauge": gauge.handle,
        "system": None if system is None else where.systems[system],
        "place": gauge.place.path,
        "parameter": gauge.parameter,
        "unit": gauge.unit,
        "side": one.side,
        "start": instant_text(one.start_ms),
        "end": None if one.end_ms is None else instant_text(one.end_ms),
        "worst": number(one.worst),
        "worst_at": instant_text(one.worst_ms),
        "minutes": None if one.outside_ms is None else round(one.outside_ms / 60_000, 1),
        "lasted_minutes": round(one.lasted_ms(call.now) / 60_000, 1),
        "last_seen": instant_text(one.last_ms),
        "target_low": number_or_none(one.band.low),
        "target_high": number_or_none(one.band.high),
        "target": None if one.band.target is None else str(one.band.target),
    }
