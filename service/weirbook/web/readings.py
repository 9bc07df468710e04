"""Readings in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import msgspec
from flask import Request, Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.find_gauges import Taker
from weirbook.actions.judge_reading import Refusal, Sent
from weirbook.actions.take_readings import Taken, problem_of, refusal_of, take_readings
from weirbook.config import Config
from weirbook.errors import Forbidden, Invalid, Malformed, NotOffered, TooLarge
from weirbook.record.access import Role
from weirbook.tables import Row as SheetRow
from weirbook.tables import from_csv
from weirbook.web.access import READING_TAKERS
from weirbook.web.fields import Choice, Flag
from weirbook.web.operations import CSV, JSON, Body, Call, Example, json_object, operation, reply
from weirbook.web.shapes import READINGS_BODY, TAKEN

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


def read_readings(request: Request, config: Config) -> tuple[list[Sent | Refusal], bool]:
    """The readings in a body, and whether it was a single one. Raises NotOffered, Malformed, Invalid, TooLarge."""
    if request.mimetype == CSV:
        return _from_csv(request, config), False
    if request.mimetype != JSON:
        raise NotOffered(f"Send readings as {JSON} or {CSV}, and say so in Content-Type.")
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
        partial, correct = call.query.get("partial_", False), call.query.get("on_conflict") == "correct"
        if correct and call.caller.role is Role.SENSOR:
            raise Forbidden(
                "A sensor key can't correct readings; a keeper or, on gauges read by hand, a helper can."
            )
        taker = Taker(call.caller.role, call.caller.name, call.caller.gauges)
        taken = take_readings(call.session, taker, sent, now=call.now, correct=correct, stamp=single)
        if taken.refusals and not partial:
            raise refusal_of(taken, single=single)
        return reply(_counts(taken))

    return blp
