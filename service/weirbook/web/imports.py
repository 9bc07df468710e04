"""CSV in: a keeper's years in spreadsheets, tried first and stored when told."""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import time
from typing import Any

from flask import Request, Response
from flask_smorest import Blueprint
from marshmallow import Schema, ValidationError

from weirbook.actions.import_rows import tried
from weirbook.config import Config
from weirbook.errors import Malformed, NotOffered
from weirbook.spreadsheets.columns import Column, Manner, Table
from weirbook.spreadsheets.dates import ORDERS
from weirbook.spreadsheets.figures import SIGNS
from weirbook.spreadsheets.sheet import SEPARATORS, Sheet, read_sheet
from weirbook.spreadsheets.texts import ENCODINGS
from weirbook.web import import_kinds, import_readings
from weirbook.web.access import KEEPER, READERS
from weirbook.web.fields import Choice, Flag, PlaceReference, Words
from weirbook.web.import_answers import (
    NOON,
    OTHERS_LISTED,
    REFUSED_LISTED,
    Outcome,
    as_stored,
    refusal_of,
    refused_of,
    told_of,
    verdict_table,
)
from weirbook.web.import_columns import service_columns
from weirbook.web.import_records import RecordSheet, import_records
from weirbook.web.import_shapes import IMPORT, IMPORT_COLUMNS
from weirbook.web.operations import CSV, Body, BodyReader, Call, Example, operation, reply
from weirbook.web.sheets import as_csv

READINGS_CAP, RECORDS_CAP, ONE_BY_ONE_CAP = 100_000, 10_000, 1_000
"""Rows of one file: what is stored in some seconds, in which nobody else can write."""
CLOCK = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])")


@dataclass(frozen=True)
class Kind:
    """One kind of sheet: its word in the path, its columns, and what does it."""

    word: str
    id: str
    words: str
    columns: Sequence[Column]
    ignored: Mapping[str, str]
    most_rows: int
    do: Callable[[Call], Outcome]
    example: str
    placed: bool = False


class ClockText(Words):
    """A time of day in a query: 12:00."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        found = CLOCK.fullmatch(value) if isinstance(value, str) else None
        if found is None:
            raise ValidationError("Write a time of day like 12:00.")
        return time(int(found[1]), int(found[2]))


def _said(words: str) -> dict[str, Any]:
    return {"in_query": True, "description": words}


class ImportQuery(Schema):
    dry_run = Flag(
        metadata=_said(
            "true, also where nothing is said: only tell what would become of each row. false: store."
        )
    )
    partial_ = Flag(
        data_key="partial",
        metadata=_said(
            "true: store the good rows and list the refused ones; else one refused row stops all."
        ),
    )
    encoding = Choice(tuple(ENCODINGS), metadata={"description": "Of the file, if it is recognised wrongly."})
    separator = Choice(
        tuple(SEPARATORS), metadata={"description": "What parts the columns, if recognised wrongly."}
    )
    decimal = Choice(
        tuple(SIGNS), metadata={"description": "The decimal sign of all numbers, if the file leaves it open."}
    )
    date_order = Choice(
        tuple(ORDERS),
        metadata={"description": "Whether dates begin with day, month or year, if they leave it open."},
    )
    time_of_day = ClockText(
        cap=5,
        metadata={
            "description": "When a day without a time is taken to be, by the room's clock; 12:00 if not said."
        },
    )


class PlacedQuery(ImportQuery):
    place = PlaceReference(metadata={"description": "Where rows that name no place belong."})


def _reader(most_rows: int) -> BodyReader:
    """Reads the sheet before any transaction is opened; the query was checked before it."""

    def read(request: Request, config: Config) -> Sheet:
        if request.mimetype != CSV:
            raise NotOffered(f"Send the sheet as {CSV}, and say so in Content-Type.")
        return read_sheet(
            request.get_data(cache=True),
            encoding=request.args.get("encoding") or _charset(request),
            separator=request.args.get("separator"),
            most_rows=most_rows,
        )

    return read


def _charset(request: Request) -> str | None:
    """The encoding that the Content-Type says; UTF-8 is said by many programs without a look, so that it tells nothing."""
    said = request.mimetype_params.get("charset")
    if said is None:
        return None
    try:
        name = codecs.lookup(said).name
    except (LookupError, ValueError):
        name = ""
    if name in ("utf-8", "ascii"):
        return None
    found = next((own for own, python in ENCODINGS.items() if codecs.lookup(python).name == name), None)
    if found is None:
        raise Malformed(
            f"The charset '{said[:40]}' is not taken. Leave it out, or say one of {', '.join(ENCODINGS)}."
        )
    return found


def _manner(call: Call) -> Manner:
    query = call.query
    return Manner(query.get("decimal"), query.get("date_order"), query.get("time_of_day", NOON))


def _do_readings(call: Call) -> Outcome:
    sheet = import_readings.ReadingSheet(call, call.body, _manner(call))
    done = import_readings.imported(call, sheet)
    return Outcome(sheet.table, done.verdicts, done.flagged, done.made_gauges, sheet.notes, of_values=True)


def _do_records(kind: RecordSheet) -> Callable[[Call], Outcome]:
    ignored = service_columns(kind.resource)

    def do(call: Call) -> Outcome:
        table = Table(call.body, kind.columns, _manner(call), call.zone, ignored)
        return Outcome(table, import_records(call, kind, table))

    return do


def _kind_of_records(
    kind: RecordSheet, word: str, words: str, most_rows: int, example: str, *, placed: bool = False
) -> Kind:
    ignored = service_columns(kind.resource)
    return Kind(
        word,
        f"import_{word.replace('-', '_')}",
        words,
        kind.columns,
        ignored,
        most_rows,
        _do_records(kind),
        example,
        placed,
    )


KINDS = (
    Kind(
        "readings",
        "import_readings",
        "Readings: one a row, in a column `value`; or a row an occasion, with a column for each parameter (`Temperature "
        "(°C)`, `pH`, `NO3 (mg/L)`) or gauge. A row names a gauge, or a place and a parameter: then it was taken by hand. "
        "Cells and rows without a value are passed over. A reading is known again by its gauge and instant.",
        import_readings.COLUMNS,
        import_readings.IGNORED,
        READINGS_CAP,
        _do_readings,
        "Date;Tank;Temperature (°C);NO3 (mg/L)\r\n24.11.2026 18:00;Nursery;24,6;12\r\n25.11.2026 07:30;Nursery;24,4;\r\n",
        placed=True,
    ),
    _kind_of_records(
        import_kinds.JOURNAL_SHEET,
        "journal",
        "Journal entries.",
        RECORDS_CAP,
        "date,time,tank,note\r\n2026-11-24,18:00,Nursery,Fry off the bottom\r\n2026-11-25,,Nursery,All feeding\r\n",
        placed=True,
    ),
    _kind_of_records(
        import_kinds.SPECIES_SHEET,
        "species",
        "Species, each known again by its handle, else by its name in any case.",
        ONE_BY_ONE_CAP,
        "name,scientific name,adult size (cm),school size,notes\r\nCherry barb,Puntius titteya,5,8,Shy at first\r\n",
    ),
    _kind_of_records(
        import_kinds.STOCK_SHEET,
        "stock-entries",
        "Lines of the ledger of heads, entered the oldest first whatever the order of the file (lines of one instant as the "
        "file has them, from below where it lists the newest first), each checked against the ledger as it then is. A group "
        "is named by its id or name, or by species and tank; an arrival, birth or count makes one where there is none.",
        ONE_BY_ONE_CAP,
        "date,kind,species,tank,number,cause,notes\r\n2026-11-23,loss,Guppy,teen-tank,1,unknown,Thin since it came\r\n"
        "2026-11-22,arrival,Guppy,teen-tank,12,,From a friend\r\n",
    ),
)


def blueprint() -> Blueprint:
    """Sheets in."""
    blp = Blueprint(
        "imports",
        "imports",
        url_prefix="/v1",
        description="CSV in: years in spreadsheets. What their columns are called: GET.",
    )
    for kind in KINDS:
        _post(blp, kind)
        _columns(blp, kind)
    return blp


def _post(blp: Blueprint, kind: Kind) -> None:
    @operation(
        blp,
        "POST",
        f"/imports/{kind.word}",
        id=kind.id,
        summary=f"Bring in {kind.word.replace('-', ' ')} from a spreadsheet",
        description=_description(kind),
        roles=KEEPER,
        query=PlacedQuery if kind.placed else ImportQuery,
        body=Body({CSV: {"type": "string", "example": kind.example}}, _reader(kind.most_rows)),
        formats=("json", "csv"),
        returns=IMPORT,
        example=Example(body=kind.example, headers={"Content-Type": CSV}),
    )
    def view(call: Call) -> Response:
        return _imported(call, kind)


def _description(kind: Kind) -> str:
    required = ", ".join(f"`{one.name}`" for one in kind.columns if one.required)
    names = ", ".join(f"`{one.name}`" for one in kind.columns)
    return (
        f"{kind.words}\n\nA dry run unless `dry_run=false` is said: each row's verdict is told and nothing stored. A real run "
        "stores all or nothing in one transaction, or with `partial=true` the good rows. Sending a file again is harmless: "
        "what is there already is `repeated`. What a dry run calls `new` a real run calls `stored`.\n\n"
        f"Columns, in any order and case: {names}. Needed: {required}. A unit may stand in brackets behind a column's name, or "
        "behind a number. GET the same path for what each holds, as CSV for a file to begin with. What our own CSV out gives "
        "can be sent back as it is.\n\n"
        "Recognised and said in the answer: the encoding (UTF-8 and UTF-16 with or without a mark; else Windows-1252), the "
        "separator, the decimal sign of each column, and whether dates begin with the day or the month. What the file leaves "
        "open or contradicts is refused, and the query key that decides it is named. A date without a time is taken at "
        "`time_of_day`, noon if not said; times without an offset are by the room's clock (where clocks skip a time, by the "
        "offset before; where they repeat one, the first). Years of two digits are 2000 to 2099.\n\n"
        f"At most {kind.most_rows:,} rows (413 beyond). As JSON the first {REFUSED_LISTED:,} refused rows are listed and "
        f"{OTHERS_LISTED} each of the others; as CSV (`Accept: text/csv`) all."
    )


def _columns(blp: Blueprint, kind: Kind) -> None:
    @operation(
        blp,
        "GET",
        f"/imports/{kind.word}",
        id=f"list_{kind.id}_columns",
        summary=f"Columns of a sheet of {kind.word.replace('-', ' ')}",
        description="What a sheet may hold. As CSV: a file to begin with, its header and one example row.",
        roles=READERS,
        formats=("json", "csv"),
        returns=IMPORT_COLUMNS,
    )
    def view(call: Call) -> Response:
        if call.format == "csv":
            names = [one.name for one in kind.columns]
            row = {one.name: one.example for one in kind.columns}
            return as_csv(call, [row], names)
        return reply(
            {
                "kind": kind.word,
                "most_rows": kind.most_rows,
                "columns": [
                    {
                        "name": one.name,
                        "words": one.words,
                        "example": one.example,
                        "also": list(one.also),
                        "required": one.required,
                    }
                    for one in kind.columns
                ],
                "ignored": list(kind.ignored),
            }
        )


def _imported(call: Call, kind: Kind) -> Response:
    """Try or store a sheet. Raises Invalid where rows are refused and nothing may be."""
    dry_run, partial = call.query.get("dry_run", True), call.query.get("partial_", False)
    outcome: Outcome | None = None
    with tried(
        call.session, lambda: not dry_run and outcome is not None and (partial or not refused_of(outcome))
    ):
        outcome = kind.do(call)
    assert outcome is not None
    refused = refused_of(outcome)
    if not dry_run and (partial or not refused):
        outcome = as_stored(outcome)
    told = told_of(call, outcome, dry_run=dry_run)
    if not dry_run and not partial and refused:
        raise refusal_of(refused, told)
    if call.format == "csv":
        return Response(verdict_table(outcome.verdicts), content_type=f"{CSV}; charset=utf-8")
    return reply(told)
