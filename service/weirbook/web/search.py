"""/v1/search: everything recorded in words, found by them."""

from __future__ import annotations

from typing import Any

from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.search_record import Found, search_record
from weirbook.engine.searching import SHORTEST_BEGINNING, TERMS_CAP, read_question
from weirbook.engine.times import instant_text
from weirbook.errors import Invalid, Unknown
from weirbook.record.full_text import CANDIDATES, Narrowing
from weirbook.record.names import find, find_place
from weirbook.record.places import System
from weirbook.record.search import sought_models
from weirbook.record.whereabouts import whereabouts
from weirbook.web.access import READERS
from weirbook.web.fields import Handle, Instant, PlaceReference, Whole, Words
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.search_shapes import FOUND_COLUMNS, SEARCH
from weirbook.web.sheets import as_csv

PAGE, CAP = 20, 100


class SearchQuery(Schema):
    q = Words(required=True, metadata={"description": "What to look for, in plain words."})
    noun = Words(
        cap=200,
        metadata={"description": "Only these kinds of record, by comma, like journal entry,task."},
    )
    place = PlaceReference(metadata={"description": "Only of this place."})
    system = Handle(metadata={"description": "Only of this system and of the places that now belong to it."})
    from_ = Instant(data_key="from", metadata={"description": "From this instant on."})
    to = Instant(metadata={"description": "Up to, but without, this instant."})
    limit = Whole(1, CAP, metadata={"in_query": True, "description": f"At most so many, {PAGE} if not said."})


def blueprint() -> Blueprint:
    """Search over the room's record."""
    blp = Blueprint("search", "search", url_prefix="/v1", description="Find records by their words.")

    @operation(
        blp,
        "GET",
        "/search",
        id="list_found",
        summary="Find records by words",
        description=(
            "Looks through the journal, tasks and what was said when they were done, the names and notes of everything "
            "named, and the words of feedings, doses, water changes, targets, alerts and the like; not through readings. "
            "What was chosen from a list is found too (`jumped`, `on wood`), a planting by its kind, a group by its species. "
            'All words must be there, in any order; `"on wood"` in a row; `-stone` leaves out what has that word. The '
            f"last word, from {SHORTEST_BEGINNING} letters on, is also taken as the beginning of a longer one. Case, accents and "
            f"punctuation don't matter, and nothing else has a meaning: no question is wrong. At most {TERMS_CAP} words and "
            "phrases count.\n\nThe best come first: where the words stand in the name or title, often, and in a short text; "
            "of equally good ones the newest. There is no cursor: `more` says that the limit left some out. Of words "
            f"that are in more than {CANDIDATES} records, the newest and those with them in the title are weighed."
        ),
        roles=READERS,
        query=SearchQuery,
        formats=("json", "csv"),
        returns=SEARCH,
        problems=(413,),
        example=Example(query={"q": "filter"}),
    )
    def found(call: Call) -> Response:
        question = read_question(call.query["q"])
        items, more = search_record(call.session, question, _narrowing(call), call.query.get("limit", PAGE))
        rows = [_row(one) for one in items]
        if call.format == "csv":
            return as_csv(call, rows, FOUND_COLUMNS)
        return reply(
            {
                "items": rows,
                "more": more,
                "looked_for": [term.text() for term in question.wanted],
                "left_out": [term.text() for term in question.unwanted],
                "ignored": question.ignored,
            }
        )

    return blp


def _narrowing(call: Call) -> Narrowing:
    """What the answers are narrowed by. Raises Invalid for a kind, place or system that is not."""
    nouns = {one.strip() for one in call.query.get("noun", "").split(",")} - {""}
    if strange := nouns - sought_models().keys():
        raise Invalid(
            f"'{min(strange)}' is not a kind of record that is searched. Those are: {', '.join(sought_models())}.",
            "/noun",
        )
    return Narrowing(nouns, _places(call), call.query.get("from_"), call.query.get("to"))


def _places(call: Call) -> set[int] | None:
    """The numbers of the places asked for; None: all."""
    wanted: set[int] | None = None
    if "system" in call.query:
        try:
            system = find(call.session, System, call.query["system"])
        except Unknown as trouble:
            raise Invalid(trouble.message, "/system") from None
        where = whereabouts(call.session, call.now)
        everywhere = {system.id, *where.system_of_vessel, *where.sump_of_section}
        wanted = set(where.inside(system.id, everywhere))
    if "place" in call.query:
        try:
            place = find_place(call.session, call.query["place"])
        except Unknown as trouble:
            raise Invalid(trouble.message, "/place") from None
        wanted = {place.id} if wanted is None else wanted & {place.id}
    return wanted


def _row(one: Found) -> dict[str, Any]:
    told = dict(vars(one))
    told["at"] = instant_text(told.pop("at_ms"))
    return told
