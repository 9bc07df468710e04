"""Readings in and out, the latest of each gauge, excluded spans and corrections."""

from __future__ import annotations

import base64
import json
from collections.abc import Sequence
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

import msgspec
import sqlalchemy as sa
from flask import Request, Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.exclude import change_exclusion, exclude, readmit
from weirbook.actions.read_windows import read_windows
from weirbook.actions.take_readings import Sent, Taken, Taker, problem_of, take_readings
from weirbook.config import Config
from weirbook.engine.relations.rollups import HOUR_MS
from weirbook.engine.times import day_of, instant_text, midnight_ms
from weirbook.engine.units import number
from weirbook.errors import Conflict, Fault, Forbidden, Invalid, Malformed, NotOffered, TooLarge
from weirbook.record import gauging
from weirbook.record.access import Role
from weirbook.record.equipment import Gauge
from weirbook.record.gauging import Row
from weirbook.record.names import find, find_place
from weirbook.record.readings import ABOVE, BELOW, BETWEEN, IMPLAUSIBLE, Correction, Exclusion
from weirbook.record.targets import bands
from weirbook.record.whereabouts import whereabouts
from weirbook.tables import Row as SheetRow
from weirbook.tables import from_csv
from weirbook.web.access import READERS, READING_TAKERS, gauges_of
from weirbook.web.fields import Choice, Figure, Flag, Handle, Instant, PlaceReference, Reference, Whole, Words
from weirbook.web.operations import CSV, JSON, Body, Call, Example, json_object, operation, reply
from weirbook.web.resource import Filter, HappeningSchema, Resource, as_csv
from weirbook.web.shapes import LATEST, LATEST_LIST, READINGS_BODY, READINGS_PAGE, TAKEN

PAGE, PAGE_CAP = 1000, 10_000
BUCKETS_CAP = 20_000
QUALIFIERS = {BELOW: "below", ABOVE: "above", BETWEEN: "between"}
COLUMNS = ("gauge", "place", "parameter", "value", "unit", "at")


class OneReading(msgspec.Struct, forbid_unknown_fields=True):
    """One reading in a JSON body."""

    value: float | str | bool
    gauge: str | None = None
    place: str | None = None
    parameter: str | None = None
    unit: str | None = None
    at: str | None = None


_ONE = msgspec.json.Decoder(OneReading)


def read_readings(request: Request, config: Config) -> tuple[list[Sent], bool]:
    """The readings in a body, and whether it was a single one. Raises NotOffered, Malformed, Invalid, TooLarge."""
    if request.mimetype == CSV:
        return _from_csv(request, config), False
    if request.mimetype != JSON:
        raise NotOffered(f"Send readings as {JSON} or {CSV}, and say so in Content-Type.")
    body = json_object(request, config)
    if "readings" not in body:
        return [_sent(0, body, "")], True
    rows = body["readings"]
    if set(body) != {"readings"} or not isinstance(rows, list):
        raise Invalid('Send one reading, or {"readings": [...]} and nothing beside it.', "/readings")
    _refuse_too_many(len(rows), config)
    return [_sent(index, row, f"/readings/{index}") for index, row in enumerate(rows)], False


def _sent(index: int, row: Any, at: str) -> Sent:
    try:
        one = msgspec.convert(row, OneReading)
    except msgspec.ValidationError as trouble:
        raise Invalid(
            "A reading is not of the form wanted.",
            f"{at}{_field(str(trouble))}",
            faults=[Fault(f"{at}{_field(str(trouble))}", _plain(str(trouble)))],
        ) from None
    for text in (one.gauge, one.place, one.parameter, one.unit, one.at):
        if text is not None and ("\x00" in text or len(text) > 120):
            raise Invalid("A name or unit here is too long or holds a NUL character.", at)
    return Sent(index, one.value, one.gauge, one.place, one.parameter, one.unit, one.at)


def _field(message: str) -> str:
    _, found, path = message.partition(" - at `$.")
    return f"/{path.rstrip('`')}" if found else ""


def _plain(message: str) -> str:
    words = message.split(" - at ")[0]
    return f"{words}. A reading has: gauge, or place and parameter; value; unit and at if wanted."


def _from_csv(request: Request, config: Config) -> list[Sent]:
    try:
        text = request.get_data(cache=True).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise Malformed("The CSV is not UTF-8. Save it as UTF-8 and send it again.") from None
    sheet = from_csv(text)
    if unknown := [name for name in sheet.columns if name not in COLUMNS]:
        raise Invalid(f"There is no column '{unknown[0]:.40}'. Columns: {', '.join(COLUMNS)}.", "/readings")
    if "value" not in sheet.columns:
        raise Invalid("A column 'value' is missing.", "/readings")
    _refuse_too_many(len(sheet.rows), config)
    return [_from_row(index, row, sheet.columns) for index, row in enumerate(sheet.rows)]


def _from_row(index: int, row: SheetRow, columns: Sequence[str]) -> Sent:
    cells = {name: row[name].strip() or None for name in columns}
    for name in ("gauge", "place", "parameter", "unit", "at"):
        if len(cells.get(name) or "") > 120:
            raise Invalid(f"Line {row.line}: {name} is too long.", f"/readings/{index}/{name}")
    return Sent(
        index,
        row.plain("value"),
        cells.get("gauge"),
        cells.get("place"),
        cells.get("parameter"),
        cells.get("unit"),
        cells.get("at"),
    )


def _refuse_too_many(count: int, config: Config) -> None:
    if count > config.batch_cap:
        raise TooLarge(f"{count} readings at once; at most {config.batch_cap}. Send them in parts.")
    if count == 0:
        raise Invalid("There is no reading in it.", "/readings")


class TakeQuery(Schema):
    partial = Flag(
        metadata={"in_query": True, "description": "true stores the good rows and lists the refused ones."}
    )
    on_conflict = Choice(
        ("refuse", "correct"),
        metadata={
            "description": "correct puts another value at the same instant in place and keeps the old one."
        },
    )


class ReadQuery(Schema):
    gauge = Handle(metadata={"description": "One gauge."})
    place = PlaceReference(metadata={"description": "With parameter: every gauge of it at this place."})
    parameter = Words(cap=60)
    from_ = Instant(
        data_key="from", metadata={"description": "From this instant on; a day before `to` if not said."}
    )
    to = Instant(metadata={"description": "Up to, but without, this instant; now if not said."})
    every = Choice(
        ("1h", "1d", "1w"),
        metadata={"description": "Count, min, time-weighted mean and max of each hour, day or week."},
    )
    limit = Whole(
        1, PAGE_CAP, metadata={"in_query": True, "description": f"Readings a page, {PAGE} if not said."}
    )
    cursor = Words(cap=200, metadata={"description": "The `next` of the page before."})


class LatestQuery(Schema):
    place = PlaceReference(metadata={"description": "Only gauges at this place."})


def blueprint() -> Blueprint:
    """Readings in and out."""
    blp = Blueprint("readings", "readings", url_prefix="/v1", description="What gauges read.")

    @operation(
        blp,
        "POST",
        "/readings",
        id="take_readings",
        summary="Post readings",
        description=(
            'One reading, {"readings": [...]}, or CSV with the columns '
            + ", ".join(COLUMNS)
            + ". Each names a gauge, or "
            "a place and a parameter: then it was taken by hand, and a gauge for it is made at first use. The value is a "
            'number, "<0.05", ">160", "10..20", or on and off. Repeating a reading (gauge and instant) is harmless: it is '
            "counted, not stored twice; another value at the same instant is a conflict (409 reading-conflict). A reading "
            "without `at` is stamped by the service, so it is not safe to repeat without an Idempotency-Key; only a single "
            "one may leave it out. A client that buffers sends `at` and partial=true, and sets refused rows aside, or one "
            "bad row blocks it for ever."
        ),
        roles=READING_TAKERS,
        query=TakeQuery,
        body=Body({JSON: READINGS_BODY, CSV: {"type": "string"}}, read_readings),
        returns=TAKEN,
        example=Example(
            body={
                "readings": [
                    {"gauge": "nursery-temperature", "value": 24.6, "at": "2026-11-24T18:00:00Z"},
                    {
                        "place": "tanks/nursery",
                        "parameter": "nitrate",
                        "value": "<5",
                        "at": "2026-11-24T18:05:00Z",
                    },
                ]
            }
        ),
    )
    def take(call: Call) -> Response:
        sent, single = call.body
        partial, correct = call.query.get("partial", False), call.query.get("on_conflict") == "correct"
        if correct and call.caller.role is Role.SENSOR:
            raise Forbidden(
                "A sensor key can't correct readings; a keeper or, on gauges read by hand, a helper can."
            )
        if not single:
            sent = _without_stamp(sent, partial)
        gauges = gauges_of(call.session, call.caller) if call.caller.role is Role.SENSOR else frozenset()
        taker = Taker(call.caller.role, call.caller.name, gauges)
        taken = take_readings(call.session, taker, sent, now=call.now, correct=correct)
        if taken.refusals and not partial:
            _refuse(taken, single)
        return reply(_counts(taken))

    @operation(
        blp,
        "GET",
        "/readings",
        id="list_readings",
        summary="Read back readings",
        description=(
            "By gauge, or by place and parameter; each reading as it was posted, oldest first, gauge by gauge. With "
            "`every` the statistics of each hour, day or week of the room's zone instead, means weighted by time."
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

    @operation(
        blp,
        "GET",
        "/gauges/<handle>/latest",
        id="get_latest_of_gauge",
        summary="A gauge's latest reading",
        description="With its age, whether it is inside its target now, and whether the gauge is silent.",
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
        description="Of the whole room or of one place, with age, in or out of target, silent or not. A gauge that never reported is listed too.",
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

    return blp


def _without_stamp(sent: Sequence[Sent], partial: bool) -> Sequence[Sent]:
    """Rows of a batch must say when: a missing stamp would make every retry a new reading."""
    if missing := [one.index for one in sent if one.at is None]:
        wanted = "Each reading of several says when it was taken: send `at`."
        if not partial:
            raise Invalid(wanted, faults=[Fault(f"/readings/{index}/at", wanted) for index in missing[:100]])
        raise Invalid(f"{wanted} The first without it is number {missing[0]}.", f"/readings/{missing[0]}/at")
    return sent


def _refuse(taken: Taken, single: bool) -> None:
    """Raise for a body of which nothing may be refused: a conflict is never mistaken for anything else."""
    refused = taken.refusals
    conflict = all(one.type == "reading-conflict" for one in refused)
    denied = all(one.type == "not-allowed" for one in refused)
    kind = Conflict if conflict else Forbidden if denied else Invalid
    base = "" if single else "/readings/{}"
    faults = [
        Fault(base.format(one.index) + (f"/{one.field}" if one.field else ""), one.message)
        for one in refused[:100]
    ]
    slug = refused[0].type if len({one.type for one in refused}) == 1 else "readings-refused"
    message = (
        refused[0].message
        if len(refused) == 1
        else f"{len(refused)} of {taken.sent} readings can't be taken; nothing was stored."
    )
    raise kind(
        message,
        faults=faults,
        slug=slug,
        more={"refusals": problem_of(refused[:100])["refusals"]} if not single else None,
    )


def _counts(taken: Taken) -> dict[str, Any]:
    return {
        "sent": taken.sent,
        "stored": taken.stored,
        "repeated": taken.repeated,
        "refused": len(taken.refusals),
        "flagged": taken.flagged,
        "corrected": taken.corrected,
        "made_gauges": taken.made_gauges,
        **problem_of(taken.refusals),
    }


def _asked_gauges(call: Call) -> Sequence[Gauge]:
    if "gauge" in call.query:
        if "place" in call.query or "parameter" in call.query:
            raise Invalid("Ask by gauge, or by place and parameter, not both.", "/gauge")
        return [find(call.session, Gauge, call.query["gauge"])]
    if "place" not in call.query or "parameter" not in call.query:
        raise Invalid("Say which: gauge=HANDLE, or place=… and parameter=….", "/gauge")
    place = find_place(call.session, call.query["place"])
    asked = sa.select(Gauge).where(Gauge.place_id == place.id, Gauge.parameter == call.query["parameter"])
    return call.session.scalars(asked.order_by(Gauge.id)).unique().all()


READING_COLUMNS = ("gauge", "at", "value", "unit", "qualifier", "low", "high", "implausible", "excluded")
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
LATEST_COLUMNS = (
    "gauge",
    "place",
    "parameter",
    "value",
    "unit",
    "qualifier",
    "at",
    "age_minutes",
    "target_low",
    "target_high",
    "in_target",
    "silent",
    "implausible",
)


def _page(call: Call, gauges: Sequence[Gauge], start: int, end: int) -> Response:
    csv = call.format == "csv"
    cap = call.config.csv_cap if csv else call.query.get("limit", PAGE)
    first_gauge, first_ms = _position(call.query.get("cursor"))
    excluded = gauging.exclusions(call.session, [gauge.id for gauge in gauges])
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
                following = _cursor(gauge.id, row.at_ms)
                break
            items.append(_reading(gauge, row, spans.get(row.at_ms), excluded.get(gauge.id, [])))
        if following:
            break
    if not csv:
        return reply({"items": items, "next": following})
    if following:
        raise TooLarge(f"More than {cap} readings: ask for a shorter span, or every=1h.")
    return as_csv(call, items, READING_COLUMNS)


def _reading(
    gauge: Gauge, row: Row, span: tuple[float, float] | None, excluded: Sequence[tuple[int, int]]
) -> dict[str, Any]:
    return {
        "gauge": gauge.handle,
        "at": instant_text(row.at_ms),
        "value": number(row.value),
        "unit": gauge.unit,
        "qualifier": _qualifier(row.mark),
        "low": span and number(span[0]),
        "high": span and number(span[1]),
        "implausible": bool(row.mark & IMPLAUSIBLE),
        "excluded": any(from_ms <= row.at_ms < to_ms for from_ms, to_ms in excluded),
    }


def _qualifier(mark: int) -> str | None:
    return next((word for bit, word in QUALIFIERS.items() if mark & bit), None)


def _cursor(gauge_id: int, at_ms: int) -> str:
    return base64.urlsafe_b64encode(json.dumps([gauge_id, at_ms]).encode()).decode().rstrip("=")


def _position(cursor: str | None) -> tuple[int, int]:
    if cursor is None:
        return 0, 0
    try:
        gauge_id, at_ms = json.loads(base64.urlsafe_b64decode(cursor.encode() + b"=="))
        if type(gauge_id) is not int or type(at_ms) is not int or not 0 <= at_ms < 2**53:
            raise ValueError
        return gauge_id, at_ms
    except (ValueError, TypeError, RecursionError):
        raise Invalid(
            "This cursor was not made here. Take `next` from the page before, as it is.", "/cursor"
        ) from None


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
                    "min": _figure(stats.low),
                    "mean": _figure(stats.mean),
                    "max": _figure(stats.high),
                    "last": _figure(stats.last),
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


def _figure(value: float | None) -> int | float | None:
    return None if value is None else number(value)


def _edges(start: int, end: int, every: str, zone: ZoneInfo) -> list[int]:
    """Edges of whole hours, or of the room's days or weeks, from the one that holds `start` on; the last is `end`."""
    if (end - start) / HOUR_MS > BUCKETS_CAP * {"1h": 1, "1d": 24, "1w": 168}[every]:
        raise Invalid(
            f"That is more than {BUCKETS_CAP} steps: ask for a shorter span or longer steps.", "/every"
        )
    if every == "1h":
        first = start // HOUR_MS * HOUR_MS
        return [*range(first, end, HOUR_MS), end]
    day = day_of(start, zone)
    if every == "1w":
        day -= timedelta(days=day.weekday())
    edges = []
    while (edge := midnight_ms(day, zone)) < end:
        edges.append(edge)
        day += timedelta(days=1 if every == "1d" else 7)
    return [*edges, end]


def _latest(call: Call, gauges: Sequence[Gauge]) -> list[dict[str, Any]]:
    where = whereabouts(call.session, call.now)
    wanted = bands(call.session, gauges, {gauge.id: where.chain(gauge.place_id) for gauge in gauges})
    instants = gauging.last_instants(call.session, [gauge.id for gauge in gauges])
    found = []
    for gauge in gauges:
        at_ms = instants.get(gauge.id)
        row = None if at_ms is None else gauging.present(call.session, gauge.id, [at_ms])[at_ms]
        found.append(_state(call, gauge, row, wanted[gauge.id]))
    return found


def _state(call: Call, gauge: Gauge, row: Row | None, wanted: Sequence[Any]) -> dict[str, Any]:
    band = next((one for one in reversed(wanted) if one.from_ms <= call.now), None)
    low, high = (band.low, band.high) if band else (None, None)
    age = None if row is None else call.now - row.at_ms
    inside = None
    if row is not None and (low is not None or high is not None):
        inside = (low is None or row.value >= low) and (high is None or row.value <= high)
    return {
        "gauge": gauge.handle,
        "place": gauge.place.path,
        "parameter": gauge.parameter,
        "value": row and number(row.value),
        "unit": gauge.unit,
        "qualifier": row and _qualifier(row.mark),
        "at": row and instant_text(row.at_ms),
        "age_minutes": None if age is None else round(age / 60_000, 1),
        "target_low": _figure(low),
        "target_high": _figure(high),
        "in_target": inside,
        "silent": None if gauge.gap_ms is None else age is None or age > gauge.gap_ms,
        "implausible": bool(row and row.mark & IMPLAUSIBLE),
    }


class ExclusionSchema(HappeningSchema):
    gauge = Reference(required=True)
    from_ = Instant(data_key="from", required=True, attribute="from_ms")
    to = Instant(required=True, attribute="to_ms", metadata={"description": "Not itself excluded"})
    reason = Words(cap=500, required=True)


class CorrectionSchema(HappeningSchema):
    """The value a reading had before it was corrected."""

    gauge = Reference(dump_only=True)
    at = Instant(dump_only=True, attribute="at_ms")
    old_value = Figure(dump_only=True)
    old_low = Figure(dump_only=True)
    old_high = Figure(dump_only=True)
    new_value = Figure(dump_only=True)
    corrected_by = Words(dump_only=True)


def of_gauge(model: Any) -> Filter:
    return Filter(
        Handle(metadata={"description": "Only those of this gauge."}),
        lambda session, handle: model.gauge_id == find(session, Gauge, handle).id,
    )


EXCLUSIONS = Resource(
    model=Exclusion,
    schema=ExclusionSchema,
    words="A stretch of a gauge's readings kept out of statistics, and why. The readings stay.",
    example={
        "gauge": "nursery-temperature",
        "from": "2026-11-17T09:00:00Z",
        "to": "2026-11-17T09:40:00Z",
        "reason": "Sensor lifted out while the glass was cleaned.",
    },
    example_key="01936c5e-8f00-7000-8000-000000000003",
    example_patch={"reason": "Sensor lifted out for the water change."},
    filters={"gauge": of_gauge(Exclusion)},
    verbs=("list", "create", "put", "get", "patch", "delete"),
    create=exclude,
    edit=change_exclusion,
    remove=readmit,
)
CORRECTIONS = Resource(
    model=Correction,
    schema=CorrectionSchema,
    words="The values that readings had before they were corrected.",
    example={},
    example_key="",
    example_patch={},
    filters={"gauge": of_gauge(Correction)},
    verbs=("list",),
)
