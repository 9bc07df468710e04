"""/v1/losses: how many fish are lost where, how long they live, and what followed introductions."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.exposure_told import WITHIN_DAYS
from weirbook.actions.fish_history import history_of
from weirbook.actions.judge_introductions import Judged
from weirbook.actions.reckon_losses import (
    CAUTIONS,
    LIMITS,
    SOURCES,
    Asked,
    Losses,
    assumptions_of,
    reckon_losses,
)
from weirbook.engine.times import instant_text
from weirbook.errors import Invalid
from weirbook.record.fish import Group, Species
from weirbook.record.names import find, find_happening
from weirbook.record.places import System
from weirbook.web.access import READERS
from weirbook.web.fields import Flag, Handle, Identity, Instant, Whole
from weirbook.web.loss_shapes import LOSSES, RATE_COLUMNS, plain, rate_row, survival_row
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.sheets import as_csv

WORDS = (
    "Losses over fish-days by group, species, source, origin, tank, water, time since arrival and cause; survival since arrival "
    "or birth by Kaplan–Meier, with intervals, where fish that were here before the span or were moved in count from the age at "
    "which they came under watch; and each introduction into a water with the losses of the weeks after it held to the earlier "
    "rate there (conditional exact Poisson test, one-sided), which groups lost and which sharing the water did not. The table "
    "(CSV) holds the rates. What came before losses need not be their cause."
)


class LossQuery(Schema):
    from_ = Instant(
        data_key="from",
        metadata={"description": "From this instant on; from the ledger's first line if not said."},
    )
    to = Instant(metadata={"description": "Up to this instant; now if not said."})
    system = Handle(metadata={"description": "Only groups whose tank belongs to this system now."})
    species = Handle(metadata={"description": "Only groups of this species."})
    group = Identity(Group.PLURAL, metadata={"description": "Only this group."})
    within = Whole(
        1,
        3650,
        metadata={
            "in_query": True,
            "description": f"Days after an introduction whose losses are compared; {WITHIN_DAYS} if not said.",
        },
    )
    missing = Flag(metadata={"in_query": True, "description": "true: missing fish are taken for lost."})


def blueprint() -> Blueprint:
    """The one operation."""
    blp = Blueprint("losses", "losses", url_prefix="/v1", description="Losses and survival.")

    @operation(
        blp,
        "GET",
        "/losses",
        id="get_losses",
        summary="Loss rates, survival, and what followed introductions",
        description=WORDS,
        roles=READERS,
        query=LossQuery,
        formats=("json", "csv"),
        returns=LOSSES,
        problems=(404, 413, 422),
        example=Example(query={"species": "dwarf-rainbowfish"}),
    )
    def losses(call: Call) -> Response:
        found = reckon_losses(history_of(call.session, call.now), _asked(call))
        if call.format == "csv":
            return as_csv(call, [rate_row(one) for one in found.rates], RATE_COLUMNS)
        return reply(_shown(found))

    return blp


def _asked(call: Call) -> Asked:
    query = call.query
    from_ms, to_ms = query.get("from_"), query.get("to")
    if from_ms is not None and from_ms >= (call.now if to_ms is None else to_ms):
        raise Invalid("The end must come after the beginning.", "/to" if to_ms is not None else "/from")
    system, species, group = query.get("system"), query.get("species"), query.get("group")
    group_row: Any = None if group is None else find_happening(call.session, Group.NOUN, str(group))
    return Asked(
        from_ms,
        to_ms,
        None if system is None else find(call.session, System, system).id,
        None if species is None else find(call.session, Species, species).handle,
        None if group_row is None else group_row.id,
        query.get("within", WITHIN_DAYS),
        query.get("missing", False),
    )


def _shown(found: Losses) -> dict[str, Any]:
    return {
        "from": instant_text(found.scope.from_ms),
        "to": instant_text(found.scope.to_ms),
        "says": list(found.says),
        "rates": [rate_row(one) for one in found.rates],
        "survival": [survival_row(one) for one in found.survival],
        "alerts": sum(one.alert for one in found.introductions),
        "introductions": [_introduction(one) for one in found.introductions],
        "assumptions": [asdict(one) for one in assumptions_of(found)],
        "limits": list(LIMITS),
        "cautions": [asdict(one) for one in CAUTIONS],
        "sources": [asdict(one) for one in SOURCES],
    }


def _introduction(one: Judged) -> dict[str, Any]:
    compared = one.comparison
    return {
        "at": instant_text(one.at_ms),
        "water": one.water,
        "parts": [asdict(part) for part in one.parts],
        "alert": one.alert,
        "says": one.says,
        "until": instant_text(one.until_ms),
        "lost": one.lost,
        "fish_days": plain(one.fish_days),
        "earlier_lost": one.earlier_lost,
        "earlier_fish_days": plain(one.earlier_fish_days),
        "ratio": None if compared is None else plain(compared.ratio),
        "ratio_low": None if compared is None else plain(compared.low),
        "ratio_high": None if compared is None else plain(compared.high),
        "causes": [{"cause": cause, "lost": heads} for cause, heads in one.causes],
        "lost_in": [_in_water(each) for each in one.which_lost],
        "not_lost_in": [_in_water(each) for each in one.which_did_not],
    }


def _in_water(one: Any) -> dict[str, Any]:
    return {"group": str(one.group), "called": one.called, "lost": plain(one.lost), "heads": one.heads}
