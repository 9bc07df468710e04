"""/v1/plantings/outcomes: what has been tried with plants here, how often, and how it ended."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.compare_methods import compare_methods
from weirbook.actions.plant_outcomes import (
    BY,
    HELD_DAYS,
    USUAL_BY,
    Outcome,
    Try,
    alike,
    bounds_of,
    days_of,
    outcomes_of,
    tries_of,
)
from weirbook.engine.shape import Source
from weirbook.engine.times import instant_text
from weirbook.engine.units import number, number_or_none
from weirbook.errors import Invalid, Unknown
from weirbook.record.names import find, find_place
from weirbook.record.plants import GROWTH_FORMS, LOST, METHODS, MOVED, REMOVED, STANDS, UPROOTED, PlantKind
from weirbook.record.whereabouts import whereabouts
from weirbook.web.access import READERS
from weirbook.web.fields import Choice, Handle, PlaceReference, Words
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.outcome_shapes import OUTCOME_COLUMNS, OUTCOMES
from weirbook.web.sheets import as_csv, flat

WORDS = (
    "What has been tried with plants in this room, told apart by kind and method or as `by` says: how often, how it ended, how "
    "long it held. A try is one stretch of a planting at one spot by one method: a replanting or a move begins another. Lost "
    "and uprooted end it; what was moved, taken out on purpose or still stands counts as far as it was watched (Kaplan–Meier). "
    "Each row ends in a plain sentence; with fewer than five tries that gives counts and no rate. Where a kind was tried by "
    "several methods, `methods_compared` sets them side by side."
)

ASSUMPTIONS = (
    "A planting counts once, however many pieces it had.",
    "Spots are alike if their words are, but for capitals, spaces and a full stop.",
    "What was uprooted and then lost counts as lost, from the day it was uprooted.",
    "A loss counts from the instant it was told of: what is seldom looked at seems to hold longer.",
    "Tries of one planting, or in one tank at one time, are not independent: the intervals are then too narrow.",
    "What came before an end did not cause it: light, fish and seasons differ from try to try.",
)

SOURCES = (
    Source(
        "Kaplan, E. L., Meier, P.",
        1958,
        "Nonparametric estimation from incomplete observations",
        "J. Am. Stat. Assoc. 53, 457",
        "Limits by Greenwood's variance on the log-log scale; exact binomial where all or none ended.",
    ),
)


class OutcomeQuery(Schema):
    by = Words(
        cap=60,
        metadata={
            "description": f"What tries are told apart by, one or more of {', '.join(BY)}, with commas between; "
            f"{','.join(USUAL_BY)} if not said."
        },
    )
    kind = Handle(metadata={"description": "Only plants of this kind."})
    growth_form = Choice(GROWTH_FORMS, metadata={"description": "Only plants that grow so."})
    method = Choice(METHODS, metadata={"description": "Only those held so."})
    spot = Words(cap=200, metadata={"description": "Only those at spots whose words hold this."})
    place = PlaceReference(
        metadata={"description": "Only those in this place; of a system or sump: in any part of it."}
    )


def add_routes(blp: Blueprint) -> None:
    """The one operation."""

    @operation(
        blp,
        "GET",
        "/plantings/outcomes",
        id="list_planting_outcomes",
        summary="What has been tried with plants, and how it ended",
        description=WORDS,
        roles=READERS,
        query=OutcomeQuery,
        formats=("json", "csv"),
        returns=OUTCOMES,
        problems=(413,),
        example=Example(query={"by": "kind,method"}),
    )
    def outcomes(call: Call) -> Response:
        by = _by(call.query.get("by"))
        tries = _asked(call)
        rows = [_row(one) for one in outcomes_of(tries, by)]
        if call.format == "csv":
            return as_csv(call, [_line(row) for row in rows], OUTCOME_COLUMNS)
        return reply(
            {
                "by": list(by),
                "items": rows,
                "methods_compared": [asdict(one) for one in compare_methods(tries)],
                "assumptions": list(ASSUMPTIONS),
                "sources": [asdict(one) for one in SOURCES],
            }
        )


def _by(said: str | None) -> tuple[str, ...]:
    if said is None:
        return USUAL_BY
    words = [one.strip() for one in said.split(",")]
    if odd := [one for one in words if one not in BY]:
        raise Invalid(f"'{odd[0]:.20}' is not offered. Name one or more of: {', '.join(BY)}.", "/by")
    return tuple(name for name in BY if name in words)


def _asked(call: Call) -> list[Try]:
    """The tries that the query asks for. Raises Invalid for a kind or place that is not."""
    query, session = call.query, call.session
    found = tries_of(session, call.now)
    if "kind" in query:
        kind = _known("/kind", lambda: find(session, PlantKind, query["kind"])).handle
        found = [one for one in found if one.kind.handle == kind]
    if "place" in query:
        place = _known("/place", lambda: find_place(session, query["place"]))
        where = whereabouts(session, call.now)
        found = [one for one in found if place.id in where.chain(one.stay.place_id)]
    if "spot" in query:
        part = alike(query["spot"]) or ""
        found = [one for one in found if part in (alike(one.stay.spot) or "")]
    for name in ("growth_form", "method"):
        if name in query:
            found = [one for one in found if one.told_by(name) == query[name]]
    return found


def _known(pointer: str, ask: Any) -> Any:
    try:
        return ask()
    except Unknown as trouble:
        raise Invalid(trouble.message, pointer) from None


def _row(one: Outcome) -> dict[str, Any]:
    newest = one.tries[-1]
    told = {**{name: newest.told_by(name) for name in BY}, "spot": newest.stay.spot}
    return {
        **{name: told[name] if name in one.by else None for name in BY},
        "tried": len(one.tries),
        "plantings": one.plantings,
        **{outcome: one.counts[outcome] for outcome in (LOST, UPROOTED, MOVED, REMOVED, STANDS)},
        "failures_by": [{"by": by, "times": times} for by, times in one.failures_by],
        "first_at": instant_text(one.tries[0].stay.from_ms),
        "last_at": instant_text(newest.stay.from_ms),
        "oldest_standing_days": number_or_none(days_of(one.longest(STANDS))),
        "median_days": number_or_none(days_of(one.curve.median())),
        **{f"held_{days}": _held(one, days) for days in HELD_DAYS},
        "few": one.few,
        "words": one.words,
    }


def _held(one: Outcome, days: int) -> dict[str, Any] | None:
    told = one.held(days)
    if told is None:
        return None
    low, high = bounds_of(told)
    return {
        "share": number(round(told.survival, 2)),
        "low": number_or_none(low),
        "high": number_or_none(high),
        "watched": number_or_none(told.watched or None),
        "method": told.method,
    }


def _line(row: dict[str, Any]) -> dict[str, Any]:
    by = "; ".join(f"{one['by'] or 'unknown'} {one['times']}" for one in row["failures_by"])
    return {**flat(row), "failures_by": by}
