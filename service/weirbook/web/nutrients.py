"""/v1/systems/{handle}/nutrients: nitrate and phosphate as predicted from the record and as measured, week by week."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from flask import Response
from flask_smorest import Blueprint
from marshmallow import Schema

from weirbook.actions.compare_nutrients import (
    FLOWS,
    Asked,
    Balance,
    Comparison,
    Week,
    compare_nutrients,
)
from weirbook.actions.fill_fish import Fed, fed_of
from weirbook.actions.fill_system import ROLES
from weirbook.actions.filling import Absent
from weirbook.actions.nutrient_steps import CAUTIONS, SOURCES, assumptions_of, steps_of
from weirbook.actions.system_facts import facts_of
from weirbook.engine.inputs import six
from weirbook.engine.saying import speaking
from weirbook.engine.shape import steps_as_json
from weirbook.engine.times import instant_text
from weirbook.engine.units import KINDS, Quantity
from weirbook.errors import Invalid
from weirbook.record.names import find
from weirbook.record.places import System
from weirbook.web.access import READERS
from weirbook.web.fields import QuantityField, Whole
from weirbook.web.nutrient_shapes import NUTRIENTS, WEEK_COLUMNS
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.sheets import as_csv, flat

WORDS = (
    "Follows the nitrogen and phosphorus of a system day by day through the record: rations and feedings, doses, water "
    "changes, drip and top-off with what their water holds, and what planted sections and plantings take up: by published "
    "rates (`plants`) or, where they were cut and weighed, by what the cuts carried off (`harvested`; after the last cut at the "
    "same rate, for 60 days at most), never both. It begins "
    "with the first test within the weeks asked for and never looks at later ones; the band between low and high comes of how "
    "far excretion and plants are known. Beside it stands what was measured; a test taken before a day's first water change or "
    "dose tells of the evening before. `unexplained` is what a test rose by beyond what the days since "
    "the test before it account for. What each lever would do is answered by /v1/systems/{handle}/answers/nutrients."
)


class NutrientQuery(Schema):
    weeks = Whole(
        1, 104, metadata={"in_query": True, "description": "How many weeks to look back; 13 if not said."}
    )
    solids_removed = QuantityField(
        "fraction",
        ge=0,
        lt=1,
        metadata={
            "description": "Share of what food leaves that is taken out with solids before it dissolves; none if not said."
        },
    )
    denitrification = QuantityField(
        "mass_flow",
        ge=0,
        le=0.01,
        metadata={"description": "Nitrogen a day that leaves as gas, if you know it; none if not said."},
    )


def blueprint() -> Blueprint:
    """The one operation."""
    blp = Blueprint(
        "nutrients", "nutrients", url_prefix="/v1", description="Nutrients predicted and measured."
    )

    @operation(
        blp,
        "GET",
        "/systems/<handle>/nutrients",
        id="get_nutrients",
        summary="Nitrate and phosphate, predicted against measured",
        description=WORDS,
        roles=READERS,
        query=NutrientQuery,
        formats=("json", "csv"),
        returns=NUTRIENTS,
        problems=(422,),
        example=Example(path={"handle": "sunny-trough"}),
    )
    def nutrients(call: Call, handle: str) -> Response:
        units = call.room.preferred_units or {}
        facts = facts_of(call.session, find(call.session, System, handle), call.now)
        volume = ROLES["water_volume"](facts)
        if isinstance(volume, Absent):
            raise Invalid(f"Unknown how much water there is. {volume.why}", slug="not-recorded")
        with speaking(units):
            found = compare_nutrients(facts, volume.value.si("volume"), _asked(call.query))
            if call.format == "csv":
                return as_csv(call, _lines(found, units), WEEK_COLUMNS)
            return reply({**_shown(found, units), "fish": _fish(fed_of(facts))})

    return blp


def _asked(query: Mapping[str, Any]) -> Asked:
    solids, gas = query.get("solids_removed"), query.get("denitrification")
    return Asked(
        weeks=query.get("weeks", 13),
        solids=0.0 if solids is None else solids.si("fraction"),
        denitrified=0.0 if gas is None else gas.si("mass_flow") * 86_400,
    )


def _quantity(si: float, kind: str, unit: str) -> dict[str, Any]:
    shown = Quantity(si, KINDS[kind].si).to(unit, kind)
    return Quantity(six(shown.value), shown.unit).as_json()


def _fish(fed: Fed) -> dict[str, Any]:
    return {
        "mass": None if fed.mass is None else _quantity(fed.mass, "mass", "g"),
        "feed": None if fed.feed is None else _quantity(fed.feed / 86_400, "mass_flow", "g/d"),
        "share": None if fed.share is None else _quantity(fed.share, "fraction", "%"),
        "words": fed.words,
    }


def _shown(found: Comparison, units: Mapping[str, str]) -> dict[str, Any]:
    return {
        "system": found.system,
        "from": found.first.isoformat(),
        "to": found.last.isoformat(),
        "volume": _quantity(found.volume, "volume", units.get("volume", "L")),
        **{
            name: _balance(balance, units) if (balance := found.balances.get(name)) else None
            for name in ("nitrate", "phosphate")
        },
        "unknown": list(found.unknown.values()),
        "missing": list(found.missing),
        "steps": steps_as_json(list(steps_of(found))),
        "assumptions": [asdict(one) for one in assumptions_of(found)],
        "cautions": [asdict(one) for one in CAUTIONS],
        "sources": [asdict(one) for one in SOURCES],
    }


def _balance(balance: Balance, units: Mapping[str, str]) -> dict[str, Any]:
    unit = units.get(balance.parameter, KINDS[balance.parameter].default)
    return {
        "fits": balance.fits,
        "suggests": balance.suggests,
        "what_changed": balance.moved,
        "start": {
            "measured": _quantity(balance.start.value, balance.parameter, unit),
            "measured_at": instant_text(balance.start.at_ms),
            "gauge": balance.start.gauge,
        },
        "whole": {name: _quantity(balance.whole[name], "mass", "g") for name in FLOWS},
        "change": _quantity(balance.change, "mass", "g"),
        "weeks": [_week(balance.parameter, one, unit, units.get("volume", "L")) for one in balance.weeks],
    }


def _week(parameter: str, one: Week, unit: str, volume_unit: str) -> dict[str, Any]:
    low, likely, high = (_quantity(value, parameter, unit) for value in one.predicted)
    return {
        "week": one.week,
        "from": one.first.isoformat(),
        "to": one.last.isoformat(),
        "fed": _quantity(one.fed, "mass", "g"),
        "water_changed": _quantity(one.exchanged, "volume", volume_unit),
        **{name: _quantity(one.terms[name], "mass", "g") for name in FLOWS},
        "predicted_low": low,
        "predicted": likely,
        "predicted_high": high,
        "measured": None if one.measured is None else _quantity(one.measured.value, parameter, unit),
        "measured_at": None if one.measured is None else instant_text(one.measured.at_ms),
        "qualifier": None if one.measured is None else one.measured.qualifier,
        "unexplained": None if one.unexplained is None else _quantity(one.unexplained, parameter, unit),
        "in_band": one.in_band,
    }


def _lines(found: Comparison, units: Mapping[str, str]) -> list[dict[str, Any]]:
    return [
        flat(
            {
                "parameter": name,
                **_week(name, one, units.get(name, KINDS[name].default), units.get("volume", "L")),
            }
        )
        for name, balance in found.balances.items()
        for one in balance.weeks
    ]
