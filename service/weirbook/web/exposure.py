"""/v1/groups/{id}/exposure: which groups shared water with which, from when, and what befell them."""

from __future__ import annotations

import uuid
from dataclasses import asdict
from typing import Any

from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.exposure_told import FOUND, NONE_FOUND, WITHIN_DAYS, Asked, Since, Trace, Traced
from weirbook.actions.exposure_words import CAUTIONS, SOURCES, assumptions_of, record_of, walk_words
from weirbook.actions.fish_history import History, history_of
from weirbook.actions.trace_exposure import trace_exposure
from weirbook.engine.relations.exposure import BACKWARD, DIRECTIONS
from weirbook.engine.times import instant_text
from weirbook.errors import Invalid
from weirbook.record.fish import Group
from weirbook.record.names import find_happening
from weirbook.web.access import READERS
from weirbook.web.exposure_shapes import EXPOSURE, ROW_COLUMNS
from weirbook.web.fields import Choice, Instant, Whole
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.sheets import as_csv

WORDS = (
    "Follows fish, shared waters and what was carried over, in the order of time: groups in one tank, in tanks of one system "
    "while they belonged to it, fish that were moved from group to group with all they had met before, media, plants, water, "
    "nets and hands that went from one water to another and were not disinfected. Each row is one way to another group with the "
    "date it begins, how many steps removed it is, and the record behind it. `says` tells in sentences whether any of those "
    "groups was brought in or lost fish to disease or unknown causes within the weeks before, while what they had could still "
    "come over, and what came since the last loss, with the day until which to look closely; `from` leaves out contacts before "
    "it. What nobody wrote down is not in it: an exposure that is not found is no proof that there was none."
)


class ExposureQuery(Schema):
    direction = Choice(
        DIRECTIONS,
        metadata={
            "description": "backward: who may have exposed it (if not said); forward: whom it may have exposed."
        },
    )
    from_ = Instant(
        data_key="from",
        metadata={"description": "Only contacts at or after; from the beginning if not said."},
    )
    to = Instant(
        metadata={"description": "Only contacts before; now if not said. The window then ends here."}
    )
    residual = Whole(
        0,
        3650,
        metadata={
            "in_query": True,
            "description": "Days for which a water counts as shared after its last fish left it; 0 if not said.",
        },
    )
    carry = Whole(
        0,
        3650,
        metadata={
            "in_query": True,
            "description": (
                "Days for which what is carried from a water without fish still counts, and for which it waits in one; "
                f"{WITHIN_DAYS} if not said."
            ),
        },
    )
    within = Whole(
        1,
        3650,
        metadata={
            "in_query": True,
            "description": f"Days that the verdict looks back; {WITHIN_DAYS} if not said.",
        },
    )


def blueprint() -> Blueprint:
    """The one operation."""
    blp = Blueprint("exposure", "exposure", url_prefix="/v1", description="Who shared water with whom.")

    @operation(
        blp,
        "GET",
        "/groups/<uuid:id>/exposure",
        id="get_group_exposure",
        summary="Who may have exposed a group, or whom it may have exposed",
        description=WORDS,
        roles=READERS,
        query=ExposureQuery,
        formats=("json", "csv"),
        returns=EXPOSURE,
        problems=(413, 422),
        example=Example(path={"id": "01936c5e-8f00-7000-8000-0000000000c1"}),
    )
    def exposure(call: Call, id: uuid.UUID) -> Response:
        group: Any = find_happening(call.session, Group.NOUN, str(id))
        history = history_of(call.session, call.now)
        trace = trace_exposure(history, group.id, _asked(call.query))
        rows = [_row(history, one) for one in trace.items]
        if call.format == "csv":
            return as_csv(call, rows, ROW_COLUMNS)
        return reply(_shown(history, trace, rows))

    return blp


def _asked(query: dict[str, Any]) -> Asked:
    from_ms, to_ms = query.get("from_"), query.get("to")
    if from_ms is not None and to_ms is not None and from_ms >= to_ms:
        raise Invalid("The end must come after the beginning.", "/to")
    return Asked(
        query.get("direction", BACKWARD),
        from_ms,
        to_ms,
        query.get("residual", 0),
        query.get("carry", WITHIN_DAYS),
        query.get("within", WITHIN_DAYS),
    )


def _row(history: History, one: Traced) -> dict[str, Any]:
    way, befell = one.way, one.befell
    last = way.walk[-1]
    return {
        "group": str(one.other.id),
        "called": one.other.called,
        "species": one.other.species,
        "tank": one.other.tank,
        "way": way.way,
        "steps": way.steps,
        "first_from": instant_text(way.from_ms),
        "to": None if way.to_ms is None else instant_text(way.to_ms),
        "times": way.times,
        "water": history.water_name(last.water),
        "record": record_of(history, last),
        "walk": walk_words(history, way.walk),
        "in_window": one.in_window,
        "brought_in": instant_text(befell.brought_in[-1].happened_at_ms) if befell.brought_in else None,
        "straight_in": befell.straight_in,
        "lost_to_disease": befell.lost_to_disease,
        "lost_unknown": befell.lost_unknown,
        "missing": befell.missing,
    }


def _shown(history: History, trace: Trace, rows: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "group": str(trace.group.id),
        "called": trace.group.called,
        "direction": trace.asked.direction,
        "verdict": trace.verdict,
        "says": list(trace.says),
        "window_from": instant_text(trace.window[0])
        if trace.items or trace.asked.direction == BACKWARD
        else None,
        "window_to": instant_text(trace.window[1]),
        "why_window": trace.why_window,
        "since": None if trace.since is None else _since(trace.since, trace.asked.within_days),
        "items": rows,
        "dates": _dates(trace),
        "own_arrivals": [
            {
                "entry": str(line.id),
                "at": instant_text(line.happened_at_ms),
                "number": line.number,
                "source": line.source,
                "straight_in": line.straight_in,
            }
            for line in trace.own_arrivals
        ],
        "from_outside": [
            {
                "transfer": str(one.id),
                "at": instant_text(one.at_ms),
                "what": one.what,
                "water": history.water_name(one.to_water),
            }
            for one in trace.from_outside
        ],
        "near_misses": [
            {
                "group": str(one.other.id),
                "called": one.other.called,
                "water": history.water_name(one.water),
                "left_at": instant_text(one.left_ms),
                "came_at": instant_text(one.came_ms),
            }
            for one in trace.near_misses
        ],
        "assumptions": [asdict(one) for one in assumptions_of(trace)],
        "cautions": [asdict(one) for one in CAUTIONS],
        "sources": [asdict(one) for one in SOURCES],
    }


def _since(since: Since, within_days: int) -> dict[str, Any]:
    until = since.watched_until(within_days)
    return {
        "from": instant_text(since.span[0]),
        "to": instant_text(since.span[1]),
        "verdict": FOUND if since.suspect else NONE_FOUND,
        "groups": [str(one.other.id) for one in since.items],
        "watch_until": None if until is None else instant_text(until),
    }


def _dates(trace: Trace) -> list[dict[str, Any]]:
    told = [(one.way.from_ms, "began", one) for one in trace.items]
    told += [(one.way.to_ms, "ended", one) for one in trace.items if one.way.to_ms is not None]
    return [
        {
            "at": instant_text(at_ms),
            "what": what,
            "group": str(one.other.id),
            "called": one.other.called,
            "way": one.way.way,
        }
        for at_ms, what, one in sorted(told, key=lambda one: one[:2])
    ]
