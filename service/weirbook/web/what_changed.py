"""/v1/systems/{handle}/what-changed: what came before a trouble, ranked as suspects."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.more_fish import MANY_MORE
from weirbook.actions.rank_suspects import Suspect
from weirbook.actions.readings_moved import HISTORY_DAYS, LEAST_DAYS, LEAST_TESTS, Moved
from weirbook.actions.suspect_weights import AFTER, ALWAYS, FITS, NEVER, PLAIN, UNCOMMON, UNKNOWN, WEIGHTS
from weirbook.actions.timeline import with_authors
from weirbook.actions.told import DAY_MS, Look, Told
from weirbook.actions.what_changed import WhatChanged, what_changed
from weirbook.actions.what_to_look_at import LONGEST_DAYS
from weirbook.engine.inputs import six
from weirbook.engine.relations.usual import FAR
from weirbook.engine.times import instant_text
from weirbook.engine.units import Quantity, number
from weirbook.errors import Invalid
from weirbook.record.names import find
from weirbook.record.places import System
from weirbook.web.access import READERS
from weirbook.web.fields import Instant, Whole
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.sheets import as_csv
from weirbook.web.timeline import line_as_json
from weirbook.web.what_changed_shapes import COLUMNS, WHAT_CHANGED

DAYS, DAYS_CAP = 21, LONGEST_DAYS

WORDS = (
    "What came before a trouble, the first to look at first: by what kind of thing it is, how unusual it is in this system "
    "beside its own year before, and how near it lies. `says` tells in a sentence what to look at first, and how to "
    "ask where the losses began earlier. Losses of these days and what the journal saw follow, as facts; "
    "then come suspects with their reasons, the readings that moved, what was looked at and found quiet, and what the record "
    "can't tell. Nothing here is a cause: it came before. The weights are common practice, without a source, and stand in the "
    "answer. What happened in other systems is left out; what the record keeps of the whole room is in."
)
ASSUMPTIONS = (
    f"Score = weight × unusual × near × fits × order. unusual: {ALWAYS} as always (it stands under quiet), {PLAIN:g} not out "
    f"of the way, {UNKNOWN} too little history, {UNCOMMON:g} out of the way, {NEVER:g} never before. near: 1 within the days of "
    "its weight before the time asked for or a loss of these days, whichever comes sooner after it; then halved for each such "
    "length of time.",
    f"fits: {FITS} where a cause recorded for these losses goes with it. order: {AFTER} where it began only after the losses.",
    f"more fish: heads after the last birth, arrival or move in beside those before the first; {MANY_MORE:g} times as many are "
    "out of the way. Losses that follow each other within as many days as were asked for count as one trouble.",
    f"A reading moved if a test, or two days of a sensor, lie {FAR} spreads or more from the middle of the {HISTORY_DAYS} days "
    f"before (tests: a year); below {LEAST_DAYS} days or {LEAST_TESTS} tests nothing is called usual.",
)
CAUTIONS = (
    {
        "code": "before-is-not-because",
        "text": "Came before is all that a record can say. Look at fish, water and equipment before you act, and change one "
        "thing at a time.",
        "limit": None,
    },
    {
        "code": "not-recorded",
        "text": "What nobody wrote down and no gauge saw is not here. A short list is no proof that nothing happened.",
        "limit": None,
    },
    {
        "code": "sick-fish",
        "text": "Where fish die of what may be disease, ask a veterinarian; keep nets, water and hands of this system to itself.",
        "limit": None,
    },
)
SOURCES = (
    {
        "author": "Quandt, R. E.",
        "year": 1960,
        "title": "Tests of the hypothesis that a linear regression system obeys two separate regimes",
        "where": "Journal of the American Statistical Association 55, 324",
        "note": "Of the day on which a sensor's level moved",
    },
    {
        "author": "Iglewicz, B.; Hoaglin, D. C.",
        "year": 1993,
        "title": "How to Detect and Handle Outliers",
        "where": "modified z-score, limit 3.5",
        "note": "From memory; of readings that moved, and of amounts much larger than usual",
    },
    {
        "author": "Common practice",
        "year": None,
        "title": "Weights of suspects",
        "where": "",
        "note": "No source; they stand in the answer",
    },
)


class WhatChangedQuery(Schema):
    before = Instant(metadata={"description": "The time of the trouble, itself looked at; now if not said."})
    days = Whole(
        1,
        DAYS_CAP,
        metadata={"in_query": True, "description": f"How many days to look back; {DAYS} if not said."},
    )


def blueprint() -> Blueprint:
    """The one operation."""
    blp = Blueprint(
        "what-changed", "what-changed", url_prefix="/v1", description="What came before a trouble."
    )

    @operation(
        blp,
        "GET",
        "/systems/<handle>/what-changed",
        id="get_what_changed",
        summary="What came before a trouble, ranked",
        description=WORDS,
        roles=READERS,
        query=WhatChangedQuery,
        formats=("json", "csv"),
        returns=WHAT_CHANGED,
        problems=(413,),
        example=Example(path={"handle": "killi-shelf"}),
    )
    def of_system(call: Call, handle: str) -> Response:
        system = find(call.session, System, handle)
        before = call.query.get("before", call.now)
        if before > call.now:
            raise Invalid("That lies ahead of now: say when the trouble was seen.", "/before")
        end = before + 1
        look = Look(
            call.session,
            system,
            end - call.query.get("days", DAYS) * DAY_MS,
            end,
            call.now,
            call.zone,
        )
        found = what_changed(look)
        if call.format == "csv":
            return as_csv(call, list(_rows(found)), COLUMNS)
        return reply(_shown(found, before))

    return blp


def _shown(found: WhatChanged, before: int) -> dict[str, Any]:
    return {
        "system": found.look.system.handle,
        "from": instant_text(found.look.start_ms),
        "before": instant_text(before),
        "history_days": six(float(f"{found.history_days:.1f}")),
        "says": list(found.says),
        "losses": [line_as_json(one) for one in with_authors(found.look, found.losses)],
        "seen": [line_as_json(one) for one in found.seen],
        "suspects": _suspects(found),
        "moved": [_moved(found, one) for one in found.moved],
        "quiet": list(found.quiet),
        "unknown": list(found.unknown),
        "weights": [
            {"aspect": aspect, "weight": one.weight, "days": one.days, "causes": list(one.causes)}
            for aspect, one in WEIGHTS.items()
        ],
        "assumptions": [{"text": text, "origin": "common practice"} for text in ASSUMPTIONS],
        "cautions": list(CAUTIONS),
        "sources": list(SOURCES),
    }


def _suspects(found: WhatChanged) -> list[dict[str, Any]]:
    told = with_authors(found.look, [one.last for one in found.suspects])
    return [
        _suspect(rank, one, last)
        for rank, (one, last) in enumerate(zip(found.suspects, told, strict=True), start=1)
    ]


def _suspect(rank: int, one: Suspect, last: Told) -> dict[str, Any]:
    end = last.to_ms if last.to_ms is not None or last.open else last.at_ms
    return {
        "rank": rank,
        "score": three(one.score),
        "aspect": one.aspect,
        "at": instant_text(one.first.at_ms),
        "to": None if end is None else instant_text(end),
        "times": len(one.lines),
        "kind": last.kind,
        "place": last.place,
        "words": one.words,
        "reasons": list(one.reasons),
        "factors": {
            name: three(getattr(one, name)) for name in ("weight", "unusual", "near", "fits", "order")
        },
        "path": last.path,
        "noun": last.noun,
        "who": last.who,
    }


def three(value: float) -> int | float:
    """At three significant digits."""
    return number(float(f"{value:.3g}"))


def _moved(found: WhatChanged, one: Moved) -> dict[str, Any]:
    def shown(value: float) -> dict[str, Any]:
        return Quantity(number(float(f"{value:.4g}")), one.gauge.unit).as_json()

    return {
        "gauge": one.gauge.handle,
        "parameter": one.gauge.parameter,
        "place": found.look.paths[one.gauge.place_id],
        "what": one.feature,
        "usual": shown(one.usual.middle),
        "spread": shown(one.usual.spread),
        "usual_of": one.usual.n,
        "recent": shown(one.recent),
        "far": None if one.far is None else three(one.far),
        "since": instant_text(one.since_ms),
        "times": one.n,
        "level_moved_at": None if one.level is None else instant_text(one.level.at_ms),
        "level_moved_by": None if one.level is None else [three(one.level.low), three(one.level.high)],
        "words": one.words,
    }


def _rows(found: WhatChanged) -> Any:
    """One row a fact, suspect, move or sentence."""
    for words in found.says:
        yield {"section": "says", "words": words}
    for section, lines in (("loss", found.losses), ("seen", found.seen)):
        for line in with_authors(found.look, lines):
            yield {"section": section, **line_as_json(line)}
    for one in _suspects(found):
        yield {"section": "suspect", **one, "reasons": "; ".join(one["reasons"])}
    for each in found.moved:
        row: Mapping[str, Any] = _moved(found, each)
        path = f"/v1/gauges/{row['gauge']}"
        yield {
            "section": "moved",
            "at": row["since"],
            "place": row["place"],
            "words": row["words"],
            "score": row["far"],
            "path": path,
            "noun": "gauge",
        }
    for section, sentences in (("quiet", found.quiet), ("unknown", found.unknown)):
        for words in sentences:
            yield {"section": section, "words": words}
