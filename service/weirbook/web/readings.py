"""Readings in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

import msgspec
from flask import Request, Response
from flask_smorest import Blueprint
from marshmallow import Schema
from msgspec import UNSET, UnsetType

from weirbook.actions.find_gauges import Taker
from weirbook.actions.judge_reading import Refusal, Sent
from weirbook.actions.take_at_face_value import Plain, take_at_face_value
from weirbook.actions.take_readings import Taken, problem_of, refusal_of, take_readings
from weirbook.config import Config
from weirbook.errors import Forbidden, Invalid, Malformed, NotOffered, TooLarge
from weirbook.record.access import Role
from weirbook.tables import Row as SheetRow
from weirbook.tables import from_csv
from weirbook.web.access import READING_TAKERS
from weirbook.web.fields import Choice, Flag
from weirbook.web.operations import CSV, JSON, NDJSON, Body, Call, Example, json_object, operation, reply
from weirbook.web.reading_lines import LINE_CAP, REFUSALS_TOLD, ReadingLines
from weirbook.web.shapes import READING_LINES, READINGS_BODY, TAKEN

COLUMNS = ("gauge", "place", "parameter", "value", "unit", "at")
NAME_CAP = 120


class OneReading(msgspec.Struct, forbid_unknown_fields=True):
    """One reading in a JSON body."""

    value: float | str | bool
    gauge: str | None = None
    place: str | None = None
    parameter: str | None = None
    unit: str | None = None
    at: str | None = None


class PlainReading(msgspec.Struct, forbid_unknown_fields=True, gc=False):
    """One reading of the plainest form, as sensors send them: made straight from the text."""

    gauge: str
    value: float
    at: str | None = None
    unit: str | None = None


class PlainBody(msgspec.Struct, forbid_unknown_fields=True):
    """A body of such readings, or of a single one."""

    readings: list[PlainReading] | UnsetType = UNSET
    gauge: str | UnsetType = UNSET
    value: float | UnsetType = UNSET
    at: str | UnsetType = UNSET
    unit: str | UnsetType = UNSET


_PLAIN = msgspec.json.Decoder(PlainBody)


def plain_readings(text: bytes, cap: int) -> tuple[list[PlainReading], bool] | None:
    """The readings in a JSON body and whether it was a single one, if all are plain and no more than the cap."""
    try:
        body = _PLAIN.decode(text)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    gauge, value, at, unit = body.gauge, body.value, body.at, body.unit
    if body.readings is UNSET:
        if gauge is UNSET or value is UNSET:
            return None
        return [
            PlainReading(gauge, value, None if at is UNSET else at, None if unit is UNSET else unit)
        ], True
    beside = gauge is not UNSET or value is not UNSET or at is not UNSET or unit is not UNSET
    return None if beside or not 0 < len(body.readings) <= cap else (body.readings, False)


def read_readings(request: Request, config: Config) -> tuple[Sequence[Sent | Refusal | PlainReading], bool]:
    """The readings in a body, and whether it was a single one. Raises NotOffered, Malformed, Invalid, TooLarge."""
    if request.mimetype == CSV:
        return _from_csv(request, config), False
    if request.mimetype != JSON:
        raise NotOffered(f"Send readings as {JSON}, {NDJSON} or {CSV}, and say so in Content-Type.")
    if (plain := plain_readings(request.get_data(cache=True), config.batch_cap)) is not None:
        return plain
    body = json_object(request, config)
    if "readings" not in body:
        return [sent_reading(0, body)], True
    rows = body["readings"]
    if set(body) != {"readings"} or not isinstance(rows, list):
        raise Invalid('Send one reading, or {"readings": [...]} and nothing beside it.', "/readings")
    _refuse_too_many(len(rows), config)
    return [sent_reading(index, row) for index, row in enumerate(rows)], False


def sent_reading(index: int, row: Any) -> Sent | Refusal:
    """A reading of the form wanted, or why it is not: one bad row leaves the others alone."""
    try:
        one = msgspec.convert(row, OneReading)
    except msgspec.ValidationError as trouble:
        words, _, path = str(trouble).partition(" - at `$.")
        form = "A reading has: gauge, or place and parameter; value; unit and at if wanted."
        return Refusal(index, "bad-row", f"{words}. {form}", path.rstrip("`"))
    return _bounded(Sent(index, one.value, one.gauge, one.place, one.parameter, one.unit, one.at))


def _bounded(one: Sent) -> Sent | Refusal:
    for name in ("gauge", "place", "parameter", "unit", "at"):
        text = getattr(one, name)
        if text is not None and ("\x00" in text or len(text) > NAME_CAP):
            return Refusal(one.index, "bad-row", f"At most {NAME_CAP} characters, and no NUL.", name)
    return one


def _from_csv(request: Request, config: Config) -> list[Sent | Refusal]:
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


def _from_row(index: int, row: SheetRow, columns: Sequence[str]) -> Sent | Refusal:
    cells = {name: row[name].strip() or None for name in columns}
    try:
        value = row.plain("value")
    except Invalid as trouble:
        return Refusal(index, "bad-value", trouble.message, "value")
    names = ("gauge", "place", "parameter", "unit", "at")
    return _bounded(Sent(index, value, *(cells.get(name) for name in names)))


def _refuse_too_many(count: int, config: Config) -> None:
    if count > config.batch_cap:
        raise TooLarge(f"{count} readings at once; at most {config.batch_cap}. Send them in parts.")
    if count == 0:
        raise Invalid("There is no reading in it.", "/readings")


class TakeQuery(Schema):
    partial_ = Flag(
        data_key="partial",
        metadata={"in_query": True, "description": "true stores the good rows and lists the refused ones."},
    )
    on_conflict = Choice(
        ("refuse", "correct"),
        metadata={
            "description": "correct puts another value at the same instant in place and keeps the old one."
        },
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


def _is_plain(one: Sent | Refusal | PlainReading) -> bool:
    return isinstance(one, Sent) and type(one.value) is float and one.place is None and one.parameter is None


def _to_judge(index: int, one: Sent | Refusal | PlainReading) -> Sent | Refusal:
    if isinstance(one, PlainReading):
        return _bounded(Sent(index, one.value, one.gauge, unit=one.unit, at=one.at))
    return one


def _store(call: Call, sent: Sequence[Sent | Refusal | PlainReading], *, single: bool = False) -> Taken:
    """Store readings in the caller's name. Raises Forbidden of a sensor that would correct."""
    correct = call.query.get("on_conflict") == "correct"
    if correct and call.caller.role is Role.SENSOR:
        raise Forbidden(
            "A sensor key can't correct readings; a keeper or, on gauges read by hand, a helper can."
        )
    taker = Taker(call.caller.role, call.caller.name, call.caller.gauges)
    if isinstance(sent[0], PlainReading) or all(map(_is_plain, sent)):  # of those a body has all or none
        plain = cast(Sequence[Plain], sent)
        stored = take_at_face_value(call.session, taker, plain, now=call.now, stamp=single)
        if stored is not None:
            return Taken(stored, stored)
    judged = [_to_judge(index, one) for index, one in enumerate(sent)]
    return take_readings(call.session, taker, judged, now=call.now, correct=correct, stamp=single)


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
            f"bad row blocks it for ever.\n\nAs {NDJSON} there is one reading a line, `at` always said, and any number of "
            f"lines of up to {LINE_CAP} bytes; blank ones are skipped. (The server takes {Config.bodies_cap >> 20} MB at a "
            "time, as they travel; packed that is many millions of lines.) They are stored a few thousand at a time, and what is "
            "stored stays, whatever becomes of the rest: without partial=true the first such part with a refused line is "
            "not stored and ends it, and so does a body that breaks off (400) or a full queue (503). Every answer tells "
            "`stored_to_line`: go on from the line after it, or send the whole again, which is harmless; for that no "
            "Idempotency-Key is taken. A refused line is told by its `index`, the line's number less one, and its pointer "
            f"is as of a list; the first {REFUSALS_TOLD} are listed.\n\n"
            "Any form may come packed (Content-Encoding: gzip). What it unpacks to counts against the cap; lines have none."
        ),
        roles=READING_TAKERS,
        query=TakeQuery,
        body=Body(
            {JSON: READINGS_BODY, NDJSON: READING_LINES, CSV: {"type": "string"}},
            read_readings,
            in_parts={NDJSON: lambda request, config: ReadingLines(request, config, sent_reading, _store)},
        ),
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
        taken = _store(call, sent, single=single)
        if taken.refusals and not call.query.get("partial_", False):
            raise refusal_of(taken, single=single)
        return reply(_counts(taken))

    return blp
