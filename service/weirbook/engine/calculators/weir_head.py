"""How high water stands over a tank's overflow edge at a flow."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from weirbook.engine.calculators.weir_care import SOURCES, assumptions, cautions
from weirbook.engine.calculators.weir_steps import edge_steps, law_steps, span_steps
from weirbook.engine.relations.roots import root_between
from weirbook.engine.relations.weirs import Edge, flow_over, head_over
from weirbook.engine.shape import (
    TEXT,
    YES_NO,
    Calculator,
    Result,
    Step,
    Working,
    param,
    show,
    step,
)
from weirbook.errors import Fault, Invalid

AS_WEIRS, MAY_DROWN, DROWNED = "run as weirs", "may drown", "drowned"
NO_TEETH, UNTOLD = "no teeth", "height not told"
LONGEST_EDGE = 1e4
"""m. A wanted head that needs a longer edge is no real one."""


@dataclass(frozen=True)
class Inputs:
    flow: float = param(
        "flow", doc="Flow over the edge: all that the pumps bring into the tank.", gt=0, role="through_flow"
    )
    edge_length: float = param(
        "length",
        doc="Of the whole edge, its teeth included.",
        gt=0,
        le=LONGEST_EDGE,
        role="overflow.edge_length",
    )
    crest_height: float | None = param(
        "length",
        doc="Of the edge above the tank's inside base. Left out: the depth stays unknown.",
        gt=0,
        default=None,
        role="overflow.crest_height",
    )
    rim_height: float | None = param(
        "length",
        doc="Of the tank's rim above its inside base. Left out: the freeboard stays unknown.",
        gt=0,
        default=None,
        role="rim_height",
    )
    channel_width: float | None = param(
        "length",
        doc="Of the water before a plain edge narrower than it, whose ends narrow the sheet. Left out: walls at both"
        " ends, or water from all sides.",
        gt=0,
        default=None,
    )
    toothed: bool = param(YES_NO, doc="Whether the edge is a comb.", default=False, role="overflow.toothed")
    open_fraction: float | None = param(
        "fraction",
        doc="Open share of a toothed edge.",
        gt=0,
        le=1,
        default=None,
        role="overflow.open_fraction",
    )
    slot_width: float | None = param(
        "length",
        doc="Of one gap between the teeth.",
        unit="mm",
        gt=0,
        default=None,
        role="overflow.slot_width",
    )
    slot_height: float | None = param(
        "length",
        doc="Of the teeth, from the bottom of a slot to their tops. Left out: whether they drown stays unknown.",
        unit="mm",
        gt=0,
        default=None,
    )
    wanted_head: float | None = param(
        "length",
        doc="Head that is wanted at most; tells how long an edge keeps it.",
        unit="mm",
        gt=0,
        default=None,
    )


def solve(given: Inputs) -> Working:
    """Head over an overflow edge.

    Equations: a plain edge, Q = C (L + k) (h + 0.001)^1.5 after Kindsvater and Carter; a comb, each slot a weir
    after Francis, Q = 1.838 (w - 0.2 h) h^1.5; see `relations.weirs`. The head is found by Newton's steps and shown
    by the flow that it passes. depth = crest + head; freeboard = rim - depth.
    Shapes and units: SI, see `Inputs`.
    Valid for: heads from 30 mm, edges from 15 cm, still water before them and air behind the sheet.
    Uncertainty: 5 % between formulas at 30 mm; a third of the head below 20 mm; 25 % of flow over teeth.
    Raises: Invalid for a toothed edge of untold openness, teeth told of a plain one, an edge wider than its channel,
    a slot wider than what is open, a crest above the rim, a wanted head that no edge in the channel keeps.
    Source: see SOURCES.
    Not covered: edges out of level, broad edges (over a third of the head thick), water held back from behind.
    """
    _refuse_contradictions(given)
    edge = Edge(
        given.edge_length,
        math.inf if given.crest_height is None else given.crest_height,
        given.channel_width,
        given.slot_width if given.toothed else None,
        1.0 if given.open_fraction is None else given.open_fraction,
    )
    spread = head_over(given.flow, edge)
    depth = None if given.crest_height is None else given.crest_height + spread.value
    freeboard = None if given.rim_height is None or depth is None else given.rim_height - depth
    wanted = None if given.wanted_head is None else _edge_for(given, edge, given.wanted_head)
    slots = _slots(given, spread.value, spread.high)
    law, told = edge.central, edge.net_length
    steps = [
        *edge_steps(edge),
        *law_steps(f"head of {show(spread.value, 'length', 'mm')}", law, told, edge.slot_count, spread.value),
        *span_steps(edge, spread, given.flow),
        *_level_steps(given, spread.value, depth, freeboard),
    ]
    if wanted is not None and given.wanted_head is not None:
        longer = replace(edge, length=wanted)
        words = f"edge of {show(wanted, 'length')}"
        steps += edge_steps(longer)
        steps += law_steps(words, longer.central, longer.net_length, longer.slot_count, given.wanted_head)
    return Working(
        {
            "head": spread.value,
            "head_low": spread.low,
            "head_high": spread.high,
            "water_depth": depth,
            "freeboard": freeboard,
            "flow_per_metre": given.flow / given.edge_length,
            "formula": law.name,
            "slots": slots,
            "edge_for_wanted_head": wanted,
        },
        steps,
        assumptions(given.toothed, given.slot_width is not None, edge),
        cautions(edge, spread, freeboard, slots in (MAY_DROWN, DROWNED)),
    )


def _refuse_contradictions(given: Inputs) -> None:
    faults = []
    if given.toothed and given.open_fraction is None:
        words = "A toothed edge needs its open share, such as 60 %: measure a few teeth and gaps."
        faults.append(Fault("/open_fraction", words))
    for name in ("open_fraction", "slot_width", "slot_height"):
        if not given.toothed and getattr(given, name) is not None:
            faults.append(
                Fault(f"/{name}", "It belongs to a toothed edge: set toothed to true, or leave it out.")
            )
    if given.channel_width is not None and given.toothed:
        faults.append(
            Fault("/channel_width", "Of a toothed edge every tooth narrows the sheet: leave it out.")
        )
    elif given.channel_width is not None and given.channel_width < given.edge_length:
        words = f"The edge of {show(given.edge_length, 'length')} is longer than its channel is wide."
        faults.append(Fault("/channel_width", words))
    if given.slot_width is not None and given.open_fraction is not None:
        open_length = given.edge_length * given.open_fraction
        if given.slot_width > open_length * (1 + 1e-9):
            words = f"A slot is wider than all that is open, {show(open_length, 'length', 'mm')}."
            faults.append(Fault("/slot_width", words))
    if (
        given.crest_height is not None
        and given.rim_height is not None
        and given.crest_height > given.rim_height
    ):
        words = f"The edge lies above the rim, which is at {show(given.rim_height, 'length')}."
        faults.append(Fault("/crest_height", words))
    if faults:
        raise Invalid("The edge can't be as it is told.", faults=faults)


def _slots(given: Inputs, head: float, highest: float) -> str:
    """Whether the slots still run as weirs."""
    if not given.toothed:
        return NO_TEETH
    if given.slot_height is None:
        return UNTOLD
    if head > given.slot_height:
        return DROWNED
    return MAY_DROWN if highest > given.slot_height else AS_WEIRS


def _edge_for(given: Inputs, edge: Edge, head: float) -> float:
    """The shortest edge of this kind that keeps its head at `head`. Raises Invalid where none does."""
    longest = given.channel_width or LONGEST_EDGE
    if flow_over(head, replace(edge, length=longest)) < given.flow:
        words = f"No edge up to {show(longest, 'length')} keeps the head so low."
        raise Invalid("The wanted head can't be kept.", faults=[Fault("/wanted_head", words)])

    def excess(log_length: float) -> tuple[float, float]:
        longer = replace(edge, length=math.exp(log_length))
        return math.log(flow_over(head, longer) / given.flow), 1.0

    return min(longest, math.exp(root_between(excess, math.log(1e-9), math.log(longest))))


def _level_steps(given: Inputs, head: float, depth: float | None, freeboard: float | None) -> list[Step]:
    numbers = {
        "flow": show(given.flow, "flow"),
        "edge": show(given.edge_length, "length"),
        "head": show(head, "length"),
    }
    per_metre = given.flow / given.edge_length
    steps = [step("flow over each metre, L/h", "{flow} ÷ {edge} × 100", numbers, per_metre, "flow")]
    if given.crest_height is not None and depth is not None:
        numbers |= {"crest_height": show(given.crest_height, "length"), "depth": show(depth, "length")}
        steps.append(step("water depth in cm", "{crest_height} + {head}", numbers, depth, "length"))
    if given.rim_height is not None and freeboard is not None:
        numbers["rim_height"] = show(given.rim_height, "length")
        steps.append(step("freeboard in cm", "{rim_height} − {depth}", numbers, freeboard, "length"))
    return steps


WEIR_HEAD = Calculator(
    name="weir-head",
    title="Head over an overflow",
    doc=(
        "How high the water stands over a tank's overflow edge at a flow, plain or toothed, with walls at its ends or"
        " without: a value with the span that the published formulas leave, the depth of the tank's water and its"
        " freeboard, whether the slots of a comb still run as weirs, and how long an edge would keep a wanted head."
        " Below 30 mm, where nearly every overflow of a tank runs, the formulas disagree and the span is wide."
    ),
    inputs=Inputs,
    results=(
        Result("head", "length", "Of the water over the edge.", "mm"),
        Result("head_low", "length", "The least that it may be.", "mm"),
        Result("head_high", "length", "The most that it may be.", "mm"),
        Result("water_depth", "length", "Of the tank's water: the edge's height and the head."),
        Result("freeboard", "length", "From the water up to the rim; below zero it spills."),
        Result("flow_per_metre", "flow", "Flow over each metre of the edge."),
        Result("formula", TEXT, "The formula that the value comes from."),
        Result("slots", TEXT, f"{AS_WEIRS}, {MAY_DROWN}, {DROWNED}, {UNTOLD}, or {NO_TEETH}."),
        Result(
            "edge_for_wanted_head", "length", "The shortest edge of this kind that keeps the wanted head."
        ),
    ),
    limits=(
        "A level, clean, sharp edge with air behind the sheet. One end 2 mm low takes much of a head of 5 mm.",
        "No formula here was fitted below 30 mm; below 20 mm surface tension and clinging rule.",
        "Still water before the edge. Teeth have no standard: each slot is taken as a narrow weir.",
    ),
    sources=SOURCES,
    solve=solve,
    example={
        "flow": "3000 L/h",
        "edge_length": "60 cm",
        "crest_height": "52 cm",
        "rim_height": "56 cm",
        "toothed": True,
        "open_fraction": "60 %",
        "slot_width": "8 mm",
        "slot_height": "25 mm",
        "wanted_head": "10 mm",
    },
    doors=("tanks",),
)
