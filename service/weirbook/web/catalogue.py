"""Units and parameters, as they are accepted."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from flask import Response
from flask_smorest import Blueprint

from weirbook.engine.parameters import PARAMETERS, Parameter
from weirbook.engine.units import KINDS, Quantity
from weirbook.record.equipment import OwnParameter
from weirbook.record.parameters import as_parameter, parameter
from weirbook.web.access import READERS
from weirbook.web.operations import Call, Example, operation, reply
from weirbook.web.shapes import PARAMETER, PARAMETER_LIST, UNIT_LIST


def blueprint() -> Blueprint:
    """What may be measured, and in which units."""
    blp = Blueprint(
        "catalogue", "catalogue", url_prefix="/v1", description="Units and parameters that are accepted."
    )

    @operation(
        blp,
        "GET",
        "/units",
        id="list_units",
        summary="Units",
        description=(
            "Every kind of quantity with the exact names of its units. Aliases (UCUM codes among "
            "them) are accepted and come back by name."
        ),
        roles=READERS,
        returns=UNIT_LIST,
    )
    def units(call: Call) -> Response:
        return reply(
            {
                "items": [
                    {
                        "kind": kind.name,
                        "words": kind.words,
                        "default": kind.default,
                        "units": [
                            {"name": u.name, "aliases": u.aliases, "words": u.words} for u in kind.units
                        ],
                    }
                    for kind in KINDS.values()
                ]
            }
        )

    @operation(
        blp,
        "GET",
        "/parameters",
        id="list_parameters",
        summary="Parameters",
        description=(
            "What a gauge can measure: the built-in catalogue and the keeper's own, with units, "
            "the possible range (outside it a reading is refused) and how readings join in time."
        ),
        roles=READERS,
        returns=PARAMETER_LIST,
    )
    def list_parameters(call: Call) -> Response:
        own = call.session.scalars(sa.select(OwnParameter).order_by(OwnParameter.handle)).all()
        shown = [_shown(one, own=False) for one in PARAMETERS.values()]
        return reply({"items": [*shown, *(_shown(as_parameter(row), own=True) for row in own)]})

    @operation(
        blp,
        "GET",
        "/parameters/<handle>",
        id="get_parameter",
        summary="One parameter",
        description="Built in or the keeper's own. An own one carries the ETag that its edits want.",
        roles=READERS,
        returns=PARAMETER,
        example=Example(path={"handle": "temperature"}),
    )
    def get_parameter(call: Call, handle: str) -> Response:
        known = parameter(call.session, handle)
        if handle in PARAMETERS:
            return reply(_shown(known, own=False))
        row = call.session.scalars(sa.select(OwnParameter).where(OwnParameter.handle == handle)).one()
        return reply(_shown(known, own=True), headers={"ETag": f'"{row.version}"'})

    return blp


def _shown(one: Parameter, *, own: bool) -> dict[str, Any]:
    def bound(si: float | None) -> Any:
        if si is None:
            return None
        return Quantity(si, KINDS[one.kind].si).to(one.units[0], one.kind).as_json()

    return {
        "handle": one.name,
        "name": one.words,
        "kind": one.kind,
        "units": list(one.units),
        "possible_low": bound(one.possible_low),
        "possible_high": bound(one.possible_high),
        "join": one.join,
        "own": own,
    }
