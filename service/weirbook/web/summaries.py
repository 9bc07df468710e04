"""/v1/summaries/weekly: the week, for programs and for spreadsheets."""

from __future__ import annotations

from datetime import date

from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.summarise_living import STOCK_COLUMNS
from weirbook.actions.summarise_week import SUMMARY_COLUMNS, last_full_monday, summarise_week, week_of
from weirbook.engine.times import week_start
from weirbook.errors import Invalid
from weirbook.web.access import READERS
from weirbook.web.fields import Choice, Handle, Words
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.shapes import SUMMARY
from weirbook.web.sheets import as_csv

GAUGES, STOCK = "gauges", "stock"
TABLES = (GAUGES, STOCK)


class WeeklyQuery(Schema):
    week = Words(
        cap=10,
        metadata={
            "description": "ISO week of the room's zone, like 2026-W47; the last full week if not said."
        },
    )
    system = Handle(metadata={"description": "Only this system."})
    table = Choice(
        TABLES,
        metadata={
            "description": "Of CSV: gauges, one row a gauge, if not said; stock, one row a group of fish."
        },
    )


def blueprint() -> Blueprint:
    """The weekly summary."""
    blp = Blueprint("summaries", "summaries", url_prefix="/v1", description="The week at a glance.")

    @operation(
        blp,
        "GET",
        "/summaries/weekly",
        id="get_weekly_summary",
        summary="The week",
        description=(
            "One row a gauge, with its system, place and parameter: count, min, time-weighted mean, max, last, minutes "
            "outside the target of that time; the gauges that fell silent; the week's notes; tasks done, skipped and "
            "overdue; and the living side: fish that came, went and were lost by group, schools that are short, food by system, "
            "changes, open quarantines, plants lost. Gauges of unlike unit or target are never merged. As CSV the rows of the "
            "gauges, or of the fish with table=stock. Hand tests and scores have a plain mean (time_weighted false)."
        ),
        roles=READERS,
        query=WeeklyQuery,
        formats=("json", "csv"),
        returns=SUMMARY,
        problems=(404, 413),
        example=Example(query={"week": "2026-W47"}),
    )
    def weekly(call: Call) -> Response:
        monday = (
            last_full_monday(call.now, call.zone) if "week" not in call.query else _week(call.query["week"])
        )
        found = summarise_week(call.session, week_of(monday, call.zone, call.now), call.query.get("system"))
        if call.format == "csv" and call.query.get("table") == STOCK:
            return as_csv(call, found["living"]["stock"], STOCK_COLUMNS)
        if call.format == "csv":
            return as_csv(call, found["rows"], SUMMARY_COLUMNS)
        return reply(found)

    return blp


def _week(text: str) -> date:
    try:
        return week_start(text)
    except Invalid as trouble:
        raise Invalid(trouble.message, "/week") from None
