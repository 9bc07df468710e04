"""/v1/systems/{handle}/flow: a system's water solved as one, as JSON and drawn, with what-ifs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Response
from flask_smorest import Blueprint
from marshmallow import RAISE, Schema

from weirbook.actions.check_flow import FlowChecks, check_flow
from weirbook.actions.find_findings import find_findings
from weirbook.actions.finding import About, Verdict
from weirbook.actions.solve_flow import RECORDED, SystemFlow, WhatIf, solve_flow
from weirbook.actions.system_facts import SystemFacts
from weirbook.engine.saying import speaking
from weirbook.engine.times import instant_text
from weirbook.errors import Fault, Invalid
from weirbook.record.equipment import Pump
from weirbook.record.names import find
from weirbook.record.places import Section, System
from weirbook.web.access import READERS
from weirbook.web.fields import Choice, Flag, Handle, Instant, QuantityField, Whole, Words
from weirbook.web.flow_drawing import draw
from weirbook.web.flow_rows import Row, Shower, flow_row
from weirbook.web.flow_shapes import FLOW, SWEEP
from weirbook.web.operations import JSON, SVG, Body, Call, Example, json_object, load, operation, reply
from weirbook.web.places import LONGEST
from weirbook.web.shapes import Shape

MOST_VARIANTS = 100
POLICY = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"
"""Of a drawing, which says of itself that it fits the page's width."""
ALL = "off"
OF_WATER = frozenset(
    {
        About.CONTACT,
        About.SPILL,
        About.DRAIN,
        About.LEVEL,
        About.OVERFLOW,
        About.RESTART,
        About.FLOW,
        About.SECTION,
    }
)
"""What a drawing of the water marks."""

WORDS = (
    "Pumps, return lines, overflow edges and the sections of the sumps, solved together: a pump's duty by its curve and "
    "line, the head over each edge, the level and pace in each section. A measured flow stands where there is one; "
    "clean_flow beside it says what curve and line come to. Each part names the answer that shows it step by step. What "
    "the record lacks is listed, and stays unknown. Nothing is stored."
)
WHAT_IFS = "pump, drain, level, flow, valve_opening, temperature and clean are what-ifs over the record."


class WhatIfQuery(Schema):
    pump = Words(
        cap=60,
        metadata={"description": f"Which pump stands still: {ALL} for all of them, or its handle."},
    )
    drain = Whole(
        1,
        20,
        metadata={"in_query": True, "description": "With blocked=true: which drain of the tank, 1 first."},
    )
    blocked = Flag(metadata={"in_query": True, "description": "Whether that drain is blocked."})
    tank = Handle(
        metadata={"description": "The tank whose drain it is; its only tank with drains if not said."}
    )
    level = QuantityField(
        "length", gt=0, le=LONGEST, metadata={"description": "Running depth of the return section."}
    )
    section = Handle(
        metadata={
            "description": "The section that level is of: the last of a sump; its only one if not said."
        }
    )
    flow = QuantityField("flow", ge=0, le=10, metadata={"description": "What a pump sends."})
    valve_opening = QuantityField(
        "fraction", ge=0, le=1, metadata={"description": "Open share of the valve in a pump's line."}
    )
    line = Handle(
        metadata={"description": "The pump that flow or valve_opening is of; its only one if not said."}
    )
    temperature = QuantityField(
        "temperature", ge=273.15, le=323.15, metadata={"description": "Of the water."}
    )
    clean = Flag(
        metadata={
            "in_query": True,
            "description": "true: work flows out from curves and lines, whatever was measured.",
        }
    )
    at = Instant(metadata={"description": "Ask with the plumbing of this instant; now if not said."})


VARIED = ("level", "flow", "valve_opening", "temperature", "pump", "drain")


class SweepSchema(WhatIfQuery):
    """One what-if varied, the others held."""

    vary = Choice(VARIED, required=True, metadata={"description": "Which what-if takes the values in turn"})


def blueprint() -> Blueprint:
    """The flow of a system: asked, drawn, and swept over one what-if."""
    blp = Blueprint("flow", "flow", url_prefix="/v1", description="A system's water, solved as one.")

    @operation(
        blp,
        "GET",
        "/systems/<handle>/flow",
        id="get_system_flow",
        summary="A system's water in flow",
        description=f"{WORDS} {WHAT_IFS}",
        roles=READERS,
        query=WhatIfQuery,
        returns=FLOW,
        example=Example(path={"handle": "fern-pool"}, query={"pump": "off"}),
    )
    def get(call: Call, handle: str) -> Response:
        system = find(call.session, System, handle)
        return reply(_answered(call, system, call.query))

    @operation(
        blp,
        "GET",
        "/systems/<handle>/flow.svg",
        id="get_system_flow_drawing",
        summary="A system's water in flow, drawn",
        description=(
            f"{WORDS} Drawn for print and for screen readers; what passes a limit is marked in words. {WHAT_IFS} Marks are "
            "those of the record, whatever was said instead."
        ),
        roles=READERS,
        query=WhatIfQuery,
        formats=("svg",),
        example=Example(path={"handle": "fern-pool"}),
    )
    def drawing(call: Call, handle: str) -> Response:
        system = find(call.session, System, handle)
        flow, _ = _solved(call, SystemFacts(call.session, system, _then(call, call.query)), call.query)
        units = call.room.preferred_units or {}
        with speaking(units):
            found = find_findings(call.session, call.zone, call.now, system)
        marks = [
            one for one in found if one.verdict in (Verdict.ACT, Verdict.WATCH) and one.about in OF_WATER
        ]
        drawn = draw(flow, marks, units)
        return Response(
            drawn, content_type=f"{SVG}; charset=utf-8", headers={"Content-Security-Policy": POLICY}
        )

    @operation(
        blp,
        "POST",
        "/systems/<handle>/flow/sweep",
        id="answer_flow_sweep",
        summary="A system's water over a row of what-ifs",
        description=(
            f"One what-if takes up to {MOST_VARIANTS} values in turn, the others stay as said; the answer has a system in "
            "flow for each, or why that value can't be. Nothing is stored."
        ),
        roles=READERS,
        body=Body({JSON: _sweep_shape()}, json_object),
        returns=SWEEP,
        writes=False,
        example=Example(
            path={"handle": "fern-pool"}, body={"vary": "level", "values": ["24 cm", "30 cm", "36 cm"]}
        ),
    )
    def sweep(call: Call, handle: str) -> Response:
        system = find(call.session, System, handle)
        sent = dict(call.body)
        values = sent.pop("values", None)
        if not isinstance(values, list) or not 1 <= len(values) <= MOST_VARIANTS:
            raise Invalid(f"Send a list of 1 to {MOST_VARIANTS} values.", "/values")
        held = load(SweepSchema(unknown=RAISE), sent)
        vary = held.pop("vary")
        if vary in held:
            raise Invalid(f"'{vary}' is varied: say it in values alone.", f"/{vary}")
        facts = SystemFacts(call.session, system, _then(call, held))
        items = [
            _variant(call, facts, held, vary, value, f"/values/{index}") for index, value in enumerate(values)
        ]
        return reply({"system": system.handle, "vary": vary, "items": items})

    return blp


def _answered(call: Call, system: System, said: Mapping[str, Any]) -> Row:
    facts = SystemFacts(call.session, system, _then(call, said))
    flow, checks = _solved(call, facts, said)
    return _row(call, facts, flow, checks, said)


def _row(
    call: Call, facts: SystemFacts, flow: SystemFlow, checks: FlowChecks, said: Mapping[str, Any]
) -> Row:
    shown = {name: value for name, value in WhatIfQuery().dump(said).items() if value is not None}
    return flow_row(flow, checks, shown, instant_text(facts.at_ms), Shower(call.room.preferred_units or {}))


def _variant(call: Call, facts: SystemFacts, held: Mapping[str, Any], vary: str, value: Any, at: str) -> Row:
    """One value's answer. Raises Invalid where the value is none of its kind; what can't be with it is said in words."""
    try:
        one = load(WhatIfQuery(unknown=RAISE), {vary: value})
    except Invalid as trouble:
        raise Invalid(trouble.message, faults=[Fault(at, f.message) for f in trouble.faults]) from None
    said = {**held, **one, **({"blocked": True} if vary == "drain" else {})}
    shown = str(WhatIfQuery().dump(one)[vary]) if vary in ("pump", "drain") else one[vary].text()
    try:
        flow, checks = _solved(call, facts, said)
    except Invalid as trouble:
        return {"value": shown, "flow": None, "refused": trouble.message}
    return {"value": shown, "flow": _row(call, facts, flow, checks, said), "refused": None}


def _then(call: Call, said: Mapping[str, Any]) -> int:
    return min(said.get("at") or call.now, call.now)


def _solved(call: Call, facts: SystemFacts, said: Mapping[str, Any]) -> tuple[SystemFlow, FlowChecks]:
    what_if = _what_if(facts, said)
    if (said.get("drain") is None) != (said.get("blocked") is None):
        raise Invalid("drain and blocked go together: drain=1&blocked=true.", "/drain")
    blocked = said.get("drain") if said.get("blocked") else None
    with speaking(call.room.preferred_units or {}):
        flow = solve_flow(facts, what_if)
        checks = check_flow(
            call.session,
            facts,
            flow,
            what_if,
            tank=said.get("tank"),
            blocked=blocked,
            stopped=said.get("pump") == ALL,
        )
    return flow, checks


def _what_if(facts: SystemFacts, said: Mapping[str, Any]) -> WhatIf:
    """The what-ifs as the solver takes them. Raises Invalid where one does not say of what."""
    if not said:
        return RECORDED
    pumps = [pump for pump in facts.pumps if not pump.circulates and facts.running.get(pump.id)]
    lasts = [
        rows[-1] for sump in facts.sumps if sump.drains_to_id is None and (rows := facts.sections_of(sump))
    ]
    level, flow, opening = said.get("level"), said.get("flow"), said.get("valve_opening")
    pump = said.get("pump")
    of = None
    if flow is not None or opening is not None:
        of = said.get("line") or _only(pumps, "/line", Pump)
    section = None
    if level is not None:
        section = said.get("section") or _only(lasts, "/section", Section)
    return WhatIf(
        pumps_off=frozenset() if pump in (None, ALL) else frozenset({pump}),
        all_off=pump == ALL,
        levels={} if level is None or section is None else {section: level.si("length")},
        flows={} if flow is None or of is None else {of: flow.si("flow")},
        openings={} if opening is None or of is None else {of: opening.si("fraction")},
        temperature=None if said.get("temperature") is None else said["temperature"].si("temperature"),
        as_clean=bool(said.get("clean")),
    )


def _only(rows: Any, pointer: str, model: Any) -> str:
    """The handle of the only one there is. Raises Invalid naming those there are."""
    if len(rows) == 1:
        return str(rows[0].handle)
    offered = ", ".join(row.handle for row in rows) or "none"
    raise Invalid(f"Say which {model.NOUN} is meant: {pointer[1:]}=… out of {offered}.", pointer)


def _sweep_shape() -> Shape:
    text = {"type": "string"}
    whole = {"type": "integer"}
    sizes: dict[str, Shape] = {
        name: {"type": ["string", "object"], "description": one.metadata.get("description", "")}
        for name, one in WhatIfQuery().fields.items()
        if isinstance(one, QuantityField)
    }
    return {
        "type": "object",
        "properties": {
            "vary": {**text, "enum": list(VARIED), "description": "Which what-if takes the values in turn"},
            "values": {
                "type": "array",
                "minItems": 1,
                "maxItems": MOST_VARIANTS,
                "items": {"type": ["string", "integer", "object"]},
                "description": "The values it takes",
            },
            **sizes,
            "pump": text,
            "drain": whole,
            "blocked": {"type": "boolean"},
            "tank": text,
            "section": text,
            "line": text,
            "clean": {"type": "boolean"},
            "at": {"type": "string", "format": "date-time"},
        },
        "required": ["vary", "values"],
        "additionalProperties": False,
    }
