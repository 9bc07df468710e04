"""Readings back out, as they were posted or by the hour, day or week."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from dateutil.relativedelta import relativedelta
from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.read_windows import read_windows
from weirbook.engine.relations.rollups import HOUR_MS
from weirbook.engine.times import day_of, instant_text, midnight_ms
from weirbook.engine.units import number, number_or_none
from weirbook.errors import Invalid, TooLarge, Unknown
from weirbook.record import gauging
from weirbook.record.equipment import Gauge
from weirbook.record.gauging import Row
from weirbook.record.names import find, find_place
from weirbook.record.parameters import parameter
from weirbook.record.readings import ABOVE, BELOW, BETWEEN, IMPLAUSIBLE
from weirbook.web.access import READERS
from weirbook.web.fields import Choice, Handle, Instant, PlaceReference, Whole, Words
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.pages import cursor_at, position
from weirbook.web.shapes import READINGS_PAGE
from weirbook.web.sheets import as_csv

PAGE, PAGE_CAP = 1000, 10_000


BUCKETS_CAP = 20_000
STEP_HOURS = {"1h": 1, "1d": 24, "1w": 168, "1mo": 672}
"""At least so long is each step."""


QUALIFIERS = {BELOW: "below", ABOVE: "above", BETWEEN: "between"}


class ReadQuery(Schema):
    gauge = Handle(metadata={"description": "One gauge."})
    place = PlaceReference(metadata={"description": "With parameter: every gauge of it at this place."})
    parameter = Words(cap=60, metadata={"description": "One of /v1/parameters."})
    from_ = Instant(
        data_key="from", metadata={"description": "From this instant on; a day before `to` if not said."}
    )
    to = Instant(metadata={"description": "Up to, but without, this instant; now if not said."})
    every = Choice(
        ("1h", "1d", "1w", "1mo"),
        metadata={
            "description": "Count, min, time-weighted mean and max of each hour, day, week or calendar month."
        },
    )
    limit = Whole(
        1, PAGE_CAP, metadata={"in_query": True, "description": f"Readings a page, {PAGE} if not said."}
    )
    cursor = Words(cap=200, metadata={"description": "The `next` of the page before."})


def _asked_gauges(call: Call) -> Sequence[Gauge]:
    if "gauge" in call.query:
        if "place" in call.query or "parameter" in call.query:
            raise Invalid("Ask by gauge, or by place and parameter, not both.", "/gauge")
        return [find(call.session, Gauge, call.query["gauge"])]
    if "place" not in call.query or "parameter" not in call.query:
        raise Invalid("Say which: gauge=HANDLE, or place=… and parameter=….", "/gauge")
    place = find_place(call.session, call.query["place"])
    try:
        known = parameter(call.session, call.query["parameter"])
    except Unknown as trouble:
        raise Invalid(trouble.message, "/parameter") from None
    asked = sa.select(Gauge).where(Gauge.place_id == place.id, Gauge.parameter == known.name)
    return call.session.scalars(asked.order_by(Gauge.id)).unique().all()


READING_COLUMNS = (
    "gauge",
    "at",
    "value",
    "as_taken",
    "unit",
    "qualifier",
    "low",
    "high",
    "implausible",
    "excluded",
)


STATISTIC_COLUMNS = (
    "gauge",
    "from",
    "to",
    "unit",
    "count",
    "min",
    "mean",
    "max",
    "last",
    "time_weighted",
    "covered_percent",
    "qualified",
    "implausible",
)


def _page(call: Call, gauges: Sequence[Gauge], start: int, end: int) -> Response:
    csv = call.format == "csv"
    cap = call.config.csv_cap if csv else call.query.get("limit", PAGE)
    first_gauge, first_ms = position(call.query["cursor"], (int, int)) if "cursor" in call.query else (0, 0)
    excluded = gauging.exclusions(call.session, [gauge.id for gauge in gauges])
    offsets = gauging.offsets(call.session, [gauge.id for gauge in gauges])
    items: list[dict[str, Any]] = []
    following = None
    for gauge in gauges:
        if gauge.id < first_gauge:
            continue
        begin = max(start, first_ms) if gauge.id == first_gauge else start
        rows = gauging.between(call.session, gauge.id, begin, end, limit=cap + 1 - len(items))
        spans = gauging.bounds(call.session, gauge.id, [row.at_ms for row in rows if row.mark & BETWEEN])
        for row in rows:
            if len(items) == cap:
                following = cursor_at([gauge.id, row.at_ms])
                break
            offset = gauging.offset_at(offsets.get(gauge.id, ()), row.at_ms)
            items.append(_reading(gauge, row, spans.get(row.at_ms), excluded.get(gauge.id, []), offset))
        if following:
            break
    if not csv:
        return reply({"items": items, "next": following})
    if following:
        raise TooLarge(f"More than {cap} readings: ask for a shorter span, or every=1h.")
    return as_csv(call, items, READING_COLUMNS)


def _reading(
    gauge: Gauge,
    row: Row,
    span: tuple[float, float] | None,
    excluded: Sequence[tuple[int, int]],
    offset: float,
) -> dict[str, Any]:
    return {
        "gauge": gauge.handle,
        "at": instant_text(row.at_ms),
        "value": number(row.value + offset),
        "as_taken": number(row.value),
        "unit": gauge.unit,
        "qualifier": qualifier(row.mark),
        "low": span and number(span[0] + offset),
        "high": span and number(span[1] + offset),
        "implausible": bool(row.mark & IMPLAUSIBLE),
        "excluded": any(from_ms <= row.at_ms < to_ms for from_ms, to_ms in excluded),
    }


def qualifier(mark: int) -> str | None:
    """below, above or between, if the reading said so."""
    return next((word for bit, word in QUALIFIERS.items() if mark & bit), None)


def _statistics(call: Call, gauges: Sequence[Gauge], start: int, end: int, every: str) -> Response:
    edges = _edges(start, min(end, max(call.now, start + 1)), every, call.zone)
    items = []
    for gauge_id, stretch in read_windows(call.session, gauges, edges).items():
        gauge = next(one for one in gauges if one.id == gauge_id)
        for index, stats in enumerate(stretch.stats):
            from_ms, to_ms = edges[index], edges[index + 1]
            items.append(
                {
                    "gauge": gauge.handle,
                    "from": instant_text(from_ms),
                    "to": instant_text(to_ms),
                    "unit": gauge.unit,
                    "count": stats.n,
                    "min": number_or_none(stats.low),
                    "mean": number_or_none(stats.mean),
                    "max": number_or_none(stats.high),
                    "last": number_or_none(stats.last),
                    "time_weighted": stats.weighted,
                    "covered_percent": round(100 * stats.covered_ms / (to_ms - from_ms), 1)
                    if stats.weighted
                    else None,
                    "qualified": stats.qualified,
                    "implausible": stats.implausible,
                }
            )
    if call.format == "csv":
        return as_csv(call, items, STATISTIC_COLUMNS)
    return reply({"items": items, "next": None})


def _edges(start: int, end: int, every: str, zone: ZoneInfo) -> list[int]:
    """Edges of whole hours, or of the room's days, weeks or months, from the one that holds `start` on; the last is `end`."""
    if (end - start) / HOUR_MS > BUCKETS_CAP * STEP_HOURS[every]:
        raise Invalid(
            f"That is more than {BUCKETS_CAP} steps: ask for a shorter span or longer steps.", "/every"
        )
    if every == "1h":
        first = start // HOUR_MS * HOUR_MS
        return [*range(first, end, HOUR_MS), end]
    day = day_of(start, zone)
    if every == "1w":
        day -= timedelta(days=day.weekday())
    if every == "1mo":
        day = day.replace(day=1)
    edges = []
    while (edge := midnight_ms(day, zone)) < end:
        edges.append(edge)
        day += relativedelta(months=1) if every == "1mo" else timedelta(days=1 if every == "1d" else 7)
    return [*edges, end]


def add_routes(blp: Blueprint) -> None:
    """Reading back."""

    @operation(
        blp,
        "GET",
        "/readings",
        id="list_readings",
        summary="Read back readings",
        description=(
            "By gauge, or by place and parameter; each reading as it was posted (`as_taken`) and with the gauge's offset of "
            "that time (`value`), oldest first, gauge by gauge. With `every` the statistics of each hour, day, week or "
            "month of the room's zone instead, means weighted by time."
        ),
        roles=READERS,
        query=ReadQuery,
        formats=("json", "csv"),
        returns=READINGS_PAGE,
        problems=(404, 413),
        example=Example(
            query={
                "gauge": "nursery-temperature",
                "from": "2026-11-16T00:00:00Z",
                "to": "2026-11-17T00:00:00Z",
                "every": "1h",
            }
        ),
    )
    def read_back(call: Call) -> Response:
        gauges = _asked_gauges(call)
        end = call.query.get("to", call.now)
        start = call.query.get("from_", end - 24 * HOUR_MS)
        if start >= end:
            raise Invalid("`from` must lie before `to`.", "/from")
        if "every" in call.query:
            return _statistics(call, gauges, start, end, call.query["every"])
        return _page(call, gauges, start, end)
