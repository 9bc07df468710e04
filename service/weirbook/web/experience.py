"""/v1/experience: how species have done here over the years, by source, species and water."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.fish_history import history_of
from weirbook.actions.species_experience import (
    BY,
    CAUTIONS,
    SOURCE,
    SPECIES,
    SYSTEM,
    Experience,
    assumptions_of,
    species_experience,
    whole_of,
)
from weirbook.engine.times import instant_text
from weirbook.record.fish import Species
from weirbook.record.names import find
from weirbook.web.access import READERS
from weirbook.web.fields import Choice
from weirbook.web.loss_shapes import plain, shared, survival_row
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.shapes import (
    COUNT,
    FLAG,
    INSTANT,
    NUMBER,
    TEXT,
    Shape,
    described,
    many,
    or_null,
    ref,
    thing,
)
from weirbook.web.sheets import as_csv

WORDS = (
    "How many were brought in and born, how many there are, survival to 7, 30, 90 and 365 days since arrival with intervals "
    "(Kaplan–Meier), the longest that any were kept and where, and losses by cause. Results differ by water and by source."
)
_ROW: dict[str, Shape] = {
    "by": described({"type": "string", "enum": list(BY)}, "What tells these fish apart"),
    "key": described(TEXT, "Handle, path or name of the part"),
    "called": described(TEXT, "What it is called"),
    "brought_in": described(COUNT, "Fish that arrived"),
    "born": described(COUNT, "Fish that were born here"),
    "batches": described(COUNT, "Arrivals, births and finds by a count"),
    "first_at": described(or_null(INSTANT), "When the first came"),
    "heads": described(COUNT, "Fish now"),
    "fish_days": described(NUMBER, "One fish watched for a day is one"),
    "lost": described(NUMBER, "Fish lost; a fraction where a loss is shared among batches"),
    "missing": described(NUMBER, "Fish gone missing"),
    "note": described(or_null(TEXT), "Where heads are fractions, why"),
    "per_1000_fish_days": described(or_null(NUMBER), "Losses in 1000 fish-days"),
    "longest_days": described(or_null(NUMBER), "The longest that any of a batch was kept, days"),
    "longest_in": described(or_null(TEXT), "Handle of the tank where those were longest"),
    "longest_lives": described(FLAG, "Whether any of those still live"),
    "survival": described(ref("Survival"), "Since arrival or birth"),
    "causes": described(many(thing({"cause": TEXT, "lost": NUMBER})), "Of losses, as told"),
    "says": described(TEXT, "In words"),
}
_FLAT = tuple(name for name in _ROW if name not in ("survival", "causes"))
_AGES = (7, 30, 90, 365)
COLUMNS = (*_FLAT[:-1], *(f"{name}_{day}" for day in _AGES for name in ("survival", "low", "high")), "says")
_ANSWER = {
    "assumptions": described(
        many(thing({"text": TEXT, "origin": TEXT})), "What was taken for granted, and on whose word"
    ),
    "cautions": described(
        many(thing({"code": TEXT, "text": TEXT, "limit": or_null(TEXT)})), "What to beware of"
    ),
}

SHAPES: dict[str, Shape] = {
    "Experience": thing(_ROW),
    "ExperienceList": thing({"items": described(many(ref("Experience")), "A row for each"), **_ANSWER}),
    "SpeciesExperience": thing(
        {
            "species": described(TEXT, "Its handle"),
            "whole": described(ref("Experience"), "All of it"),
            "by_source": described(many(ref("Experience")), "From whom"),
            "by_system": described(many(ref("Experience")), "In which water"),
            **_ANSWER,
        }
    ),
}
"""Shapes that the document names once, under components."""


class ExperienceQuery(Schema):
    by = Choice(BY, metadata={"description": "One row for each of these; species if not said."})


def blueprint() -> Blueprint:
    """The two operations."""
    blp = Blueprint("experience", "experience", url_prefix="/v1", description="How species have done here.")

    @operation(
        blp,
        "GET",
        "/experience",
        id="list_experience",
        summary="How fish have done here, by source, species or water",
        description=WORDS,
        roles=READERS,
        query=ExperienceQuery,
        formats=("json", "csv"),
        returns=ref("ExperienceList"),
        problems=(413,),
        example=Example(query={"by": SOURCE}),
    )
    def of_all(call: Call) -> Response:
        found = species_experience(history_of(call.session, call.now), call.query.get("by", SPECIES))
        return _answer(call, found, {"items": [_row(one) for one in found]})

    @operation(
        blp,
        "GET",
        "/species/<handle>/experience",
        id="get_species_experience",
        summary="How a species has done here",
        description=f"{WORDS} The table (CSV) holds all of it, then each source and each water.",
        roles=READERS,
        formats=("json", "csv"),
        returns=ref("SpeciesExperience"),
        problems=(413,),
        example=Example(path={"handle": "dwarf-rainbowfish"}),
    )
    def of_one(call: Call, handle: str) -> Response:
        species = find(call.session, Species, handle)
        history = history_of(call.session, call.now)
        whole = whole_of(history, species.handle, species.name)
        sources, systems = (
            species_experience(history, by, species=species.handle) for by in (SOURCE, SYSTEM)
        )
        shown = {
            "species": species.handle,
            "whole": _row(whole),
            "by_source": [_row(one) for one in sources],
            "by_system": [_row(one) for one in systems],
        }
        return _answer(call, [whole, *sources, *systems], shown)

    return blp


def _answer(call: Call, rows: list[Experience], shown: dict[str, Any]) -> Response:
    if call.format == "csv":
        return as_csv(call, [_line(one) for one in rows], COLUMNS)
    return reply(
        {
            **shown,
            "assumptions": [asdict(one) for one in assumptions_of()],
            "cautions": [asdict(one) for one in CAUTIONS],
        }
    )


def _row(one: Experience) -> dict[str, Any]:
    return {
        "by": one.by,
        "key": one.key,
        "called": one.called,
        "brought_in": one.brought_in,
        "born": one.born,
        "batches": one.batches,
        "first_at": None if one.first_ms is None else instant_text(one.first_ms),
        "heads": one.heads,
        "fish_days": plain(one.rate.fish_days),
        "lost": plain(one.rate.lost),
        "missing": plain(one.rate.missing),
        "note": shared(one.rate.lost, one.rate.missing),
        "per_1000_fish_days": plain(one.rate.rate),
        "longest_days": None if one.longest_days is None else plain(round(one.longest_days, 2)),
        "longest_in": one.longest_in,
        "longest_lives": one.living,
        "survival": survival_row(one.survival),
        "causes": [{"cause": cause, "lost": plain(heads)} for cause, heads in one.causes],
        "says": one.says,
    }


def _line(one: Experience) -> dict[str, Any]:
    row = _row(one)
    return row | {
        f"{name}_{each['day']}": each[name]
        for each in row["survival"]["at"]
        for name in ("survival", "low", "high")
    }
