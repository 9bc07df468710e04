"""The working of an overflow edge, formula by formula. For `weir_head`."""

from __future__ import annotations

import math

from weirbook.engine.relations.weir_laws import HIGHEST_RATIO, NARROWEST, Law
from weirbook.engine.relations.weirs import Edge, Spread
from weirbook.engine.shape import Step, show, step

FADED = 0.003
"""m. From this head on the formula's lift counts whole, to the digits shown."""


def edge_steps(edge: Edge) -> list[Step]:
    """The open length of a toothed edge, and its slots."""
    if not edge.toothed:
        return []
    numbers = {
        "edge": show(edge.length, "length"),
        "open_share": f"{edge.open_fraction:.6g}",
        "open_length": show(edge.net_length, "length"),
    }
    steps = [step("open length in cm", "{edge} × {open_share}", numbers, edge.net_length, "length")]
    if edge.slot_width is not None and edge.slot_count is not None:
        numbers |= {"slot_width": show(edge.slot_width, "length"), "one_at_least": "1"}
        formula = "{open_length} ÷ {slot_width}" if edge.net_length > edge.slot_width else "{one_at_least}"
        steps.append(step("number of slots", formula, numbers, edge.slot_count, "number"))
    return steps


def law_steps(name: str, law: Law, told_length: float, slots: float | None, head: float) -> list[Step]:
    """A head by a formula, shown by the flow that it passes: lengths in cm, coefficients in m^0.5/s, flow in L/h."""
    flow, coefficient, width = law.flow(head), law.coefficient(head), law.width(head)
    raised = (flow / (coefficient * width)) ** (2 / 3)
    numbers = {
        "head": show(head, "length"),
        "head_as_reckoned": show(raised, "length"),
        "coefficient": f"{coefficient:.6g}",
        "length_as_reckoned": show(width, "length"),
    }
    formula = (
        "{coefficient} × {length_as_reckoned} × {head_as_reckoned} × sqrt({head_as_reckoned} ÷ 100) × 360"
    )
    return [
        _coefficient_step(name, law, head, coefficient),
        _width_step(name, law, told_length, slots, head, width),
        _raised_step(name, law, head, raised),
        step(f"{name}: flow that this passes, L/h", formula, numbers, flow, "flow"),
    ]


def _coefficient_step(name: str, law: Law, head: float, coefficient: float) -> Step:
    words = f"{name}: coefficient"
    numbers = {
        "head": show(head, "length"),
        "constant": f"{law.constant:.6g}",
        "slope": f"{abs(law.slope):.6g}",
    }
    if law.slope == 0 or math.isinf(law.crest_height):
        return step(words, "{constant}", numbers, coefficient, "number")
    numbers["crest_height"] = show(law.crest_height, "length")
    ratio = "{head} ÷ {crest_height}" if head < HIGHEST_RATIO * law.crest_height else f"{HIGHEST_RATIO:g}"
    sign = "+" if law.slope > 0 else "−"
    return step(words, f"{{constant}} {sign} {{slope}} × {ratio}", numbers, coefficient, "number")


def _width_step(
    name: str, law: Law, told_length: float, slots: float | None, head: float, width: float
) -> Step:
    words = f"{name}: length as reckoned, cm"
    numbers = {"length": show(told_length, "length"), "head": show(head, "length")}
    if law.narrowing:
        numbers["ends"] = f"{law.narrowing / 0.1:.6g}"
        held = law.length - law.narrowing * head < NARROWEST * law.length
        formula = f"{NARROWEST:g} × {{length}}" if held else "{length} − 0.1 × {ends} × {head}"
        return step(words, formula, numbers, width, "length")
    change = law.length - told_length
    numbers["adjustment"] = show(abs(change), "length")
    if not change:
        return step(words, "{length}", numbers, width, "length")
    sign = "+" if change > 0 else "−"
    return step(words, f"{{length}} {sign} {{adjustment}}", numbers, width, "length")


def _raised_step(name: str, law: Law, head: float, raised: float) -> Step:
    numbers = {"head": show(head, "length"), "lift": show(raised - head, "length")}
    if head < FADED:
        words = f"{name}: head as reckoned, cm, the lift of the formula fading towards the crest"
    else:
        words = f"{name}: head as reckoned, cm"
    formula = "{head} + {lift}" if law.lift else "{head}"
    return step(words, formula, numbers, raised, "length")


def span_steps(edge: Edge, spread: Spread, flow: float) -> list[Step]:
    """Where the ends of the span come from: another formula, or the value give or take a share."""
    steps = []
    for name, end in (("lowest head", spread.low), ("highest head", spread.high)):
        law = next((one for one in edge.others if one.head(flow) == end), None)
        if law is not None and end > 0:
            told = law.length if law.lift == 0 else edge.length
            steps += law_steps(f"{name}, by {law.name}", law, told, edge.slot_count, end)
            continue
        share = abs(end / spread.value - 1)
        numbers = {"head": show(spread.value, "length"), "doubt": f"{share:.6g}"}
        sign = "−" if end < spread.value else "+"
        steps.append(
            step(f"{name} in mm", f"{{head}} × (1 {sign} {{doubt}}) × 10", numbers, end, "length", "mm")
        )
    return steps
