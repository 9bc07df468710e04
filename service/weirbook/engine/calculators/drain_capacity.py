"""What a tank's drains carry, one by one and together, with one blocked, and the standby alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.chamber_verdicts import OK, OVER, SLACK, UNKNOWN, worst
from weirbook.engine.calculators.drain_care import (
    ALONE,
    BLOCKED,
    IN_USE,
    SOURCES,
    assumptions,
    cautions,
    mend_of_the_set,
    mend_of_the_standby,
    needed_standby,
    why_of,
)
from weirbook.engine.calculators.drain_parts import (
    SIPHON,
    STANDBY,
    Carried,
    Drain,
    Span,
    carried,
    refuse_what_cannot_be,
    together,
    with_the_largest_blocked,
)
from weirbook.engine.calculators.drain_steps import (
    drain_steps,
    margin_step,
    most_step,
    needed_steps,
    sum_step,
)
from weirbook.engine.calculators.told import water_temperature
from weirbook.engine.relations.drains import STACK_FULL
from weirbook.engine.relations.water import kinematic_viscosity
from weirbook.engine.shape import TEXT, Calculator, Result, Step, Working, param, parts


@dataclass(frozen=True)
class Inputs:
    flow: float = param(
        "flow",
        doc="Flow that the drains have to carry: all that the pumps bring into the tank.",
        gt=0,
        role="through_flow",
    )
    drains: tuple[Drain, ...] = parts(
        Drain, doc="The tank's drains.", role="drains", key="name", may_add=True, required=True
    )
    stack_fill: float = param(
        "fraction",
        doc="Share of an upright pipe that water may fill beside its air: a third at most, a quarter to be careful.",
        unit="1",
        gt=0,
        le=STACK_FULL,
        default=STACK_FULL,
    )
    temperature: float = water_temperature("Of the water; it bears on friction.")


def solve(given: Inputs) -> Working:
    """Capacity of drains against a flow.

    Equations: running full by energy balance, drop = (f L / D + K) v^2 / (2 g); with air in it the least of lip
    (EN 12056-3), film along the upright pipe (Wyly and Eaton) and flat run half full (Manning). A siphon counts as
    running full, a gravity drain and a standby as open. Then sums: of those in use, of all, of all but the one that
    carries most, of the standbys.
    Shapes and units: SI, see `Inputs`. What is not told leaves a span from least to most, and a verdict is given
    where both ends agree.
    Valid for: clean, round pipes; a film of a third at most; a mouth with water all around it.
    Uncertainty: lip 30 %, running full 20 %, a half-open valve a third.
    Raises: Invalid for no drains, and for a pipe shorter than its drop.
    Source: see SOURCES.
    Not covered: screens, growth, air drawn into a siphon, whirls, several drains joined into one pipe.
    """
    refuse_what_cannot_be(given.drains)
    viscosity = kinematic_viscosity(given.temperature)
    all_of_them = [carried(one, given.stack_fill, viscosity) for one in given.drains]
    in_use = [one for one in all_of_them if one.drain.kind != STANDBY]
    standbys = [one for one in all_of_them if one.drain.kind == STANDBY]
    spans = {
        IN_USE: together(in_use),
        BLOCKED: with_the_largest_blocked(all_of_them),
        ALONE: together(standbys),
    }
    verdicts = {words: judge(span, given.flow) for words, span in spans.items()}
    if not standbys:
        verdicts[ALONE] = UNKNOWN
    counting = [IN_USE, BLOCKED, *([ALONE] if standbys else [])]
    whole = together(all_of_them)
    only = standbys[0].drain if len(standbys) == 1 else None
    needed = needed_standby(given.flow, given.stack_fill, only)
    rows = {IN_USE: in_use, BLOCKED: all_of_them, ALONE: standbys}
    mends = [
        mend_of_the_standby(needed, given.flow, standbys)
        if words == ALONE
        else mend_of_the_set(words, spans[words], given.flow)
        for words in counting
        if verdicts[words] == OVER
    ]
    largest = _largest(all_of_them)
    values: dict[str, Any] = {
        "verdict": worst(verdicts[words] for words in counting),
        "why": " ".join(
            why_of(words, spans[words], given.flow, verdicts[words], rows[words])
            for words in sorted(rows, key=lambda words: verdicts[words] != OVER)
        ),
        "mend": " ".join(mends) or None,
        **_figures("in_use", spans[IN_USE], given.flow, verdicts[IN_USE]),
        "all_capacity": whole.known,
        "largest": None if largest is None else largest.drain.name,
        **_figures("blocked", spans[BLOCKED], given.flow, verdicts[BLOCKED]),
        **_figures("standby", spans[ALONE] if standbys else None, given.flow, verdicts[ALONE]),
        "standby_at_most": spans[ALONE].most if standbys else None,
        "standby_bore": needed.bore,
        "standby_size": next(iter(needed.sizes), None),
        "standby_lip_depth": needed.lip_depth,
        "drains": [_row(one) for one in all_of_them],
    }
    steps = [made for one in all_of_them for made in drain_steps(one, given.stack_fill, viscosity)]
    steps += _sums(in_use, all_of_them, largest, standbys, given.flow)
    steps += needed_steps(needed, given.flow, given.stack_fill)
    return Working(values, steps, assumptions(all_of_them, given.stack_fill), cautions(all_of_them, standbys))


def judge(span: Span, flow: float) -> str:
    """Whether what is known of a capacity carries a flow, fails to, or leaves it open."""
    if span.least >= flow * (1 - SLACK):
        return OK
    return OVER if span.most < flow * (1 - SLACK) else UNKNOWN


def _figures(name: str, span: Span | None, flow: float, verdict: str) -> dict[str, Any]:
    known = None if span is None else span.known
    return {
        f"{name}_capacity": known,
        f"{name}_margin": None if known is None else known - flow,
        f"{name}_verdict": verdict,
    }


def _largest(some: Sequence[Carried]) -> Carried | None:
    """The drain that carries most, where all are known."""
    if any(one.counted.known is None for one in some):
        return None
    return max(some, key=lambda one: one.counted.least)


def _sums(
    in_use: Sequence[Carried],
    all_of_them: Sequence[Carried],
    largest: Carried | None,
    standbys: Sequence[Carried],
    flow: float,
) -> list[Step]:
    sets = [("in use, capacity", in_use), ("all, capacity", all_of_them)]
    if largest is not None:
        rest = [one for one in all_of_them if one is not largest]
        sets.append((f"with {largest.drain.name} blocked, capacity", rest))
    if standbys:
        sets.append(("standby alone, capacity", standbys))
    steps = []
    for words, some in sets:
        total = together(some).known
        if total is None and some is standbys:
            most = together(some).most
            steps.append(most_step("standby alone, at most", some, most))
        elif total is not None:
            steps += [
                sum_step(words, some, total),
                margin_step(words.replace("capacity", "margin"), total, flow),
            ]
    return steps


def _row(one: Carried) -> dict[str, Any]:
    most = one.counted.most
    return {
        "name": one.drain.name,
        "kind": one.drain.kind,
        "counted_capacity": one.counted.known,
        "counted_at_most": None if one.drain.kind == SIPHON and one.siphon is None else most,
        "siphon_capacity": one.siphon,
        "siphon_velocity": None if one.siphon is None or one.pipe is None else one.siphon / one.pipe.area,
        "lip_capacity": None if one.lip is None else one.lip.value,
        "lip_other": None if one.lip is None else one.lip.low + one.lip.high - one.lip.value,
        "film_capacity": one.stack,
        "run_capacity": one.run,
        "unknown_because": one.lacking,
    }


DRAIN_CAPACITY = Calculator(
    name="drain-capacity",
    title="Drain capacity",
    doc=(
        "What each drain of a tank carries running full, at its lip, and open with air in its middle; what those in"
        " use carry together, what is left with the largest one blocked, and whether the standby alone carries all"
        " that the pumps bring, as a plain gravity drain. Says ok, over or unknown for each, why, and which bore the"
        " standby would need. Where a depth or a drop is not told, it still judges as far as the bore alone allows."
    ),
    inputs=Inputs,
    results=(
        Result("verdict", TEXT, "The worst of those that follow: ok, over or unknown."),
        Result("why", TEXT, "The verdicts in words."),
        Result("mend", TEXT, "What would do; none where nothing is over."),
        Result("in_use_capacity", "flow", "Of siphons and gravity drains together, without the standby."),
        Result("in_use_margin", "flow", "That, less the flow; below zero it is too little."),
        Result("in_use_verdict", TEXT, "Whether the drains in use carry the flow."),
        Result("all_capacity", "flow", "Of all drains at once, the standby too."),
        Result("largest", TEXT, "The drain that carries most; none while one is unknown."),
        Result("blocked_capacity", "flow", "Of all drains with the largest one blocked."),
        Result("blocked_margin", "flow", "That, less the flow."),
        Result("blocked_verdict", TEXT, "Whether the rest then carry the flow."),
        Result("standby_capacity", "flow", "Of the standby alone, as a plain gravity drain."),
        Result(
            "standby_at_most", "flow", "The most that it can carry, by what is told; its capacity if all is."
        ),
        Result("standby_margin", "flow", "Its capacity, less the flow."),
        Result(
            "standby_verdict", TEXT, "Whether the standby alone carries the flow; unknown if there is none."
        ),
        Result("standby_bore", "length", "Least inside diameter that a standby needs for the flow.", "mm"),
        Result("standby_size", TEXT, "The next nominal size up; none where no listed pipe is so wide."),
        Result(
            "standby_lip_depth",
            "length",
            "How far its mouth then has to lie below the overflow's edge.",
            "mm",
        ),
        Result(
            "drains",
            "list",
            "Each drain.",
            fields=(
                Result("name", TEXT, "The drain."),
                Result("kind", TEXT, "What it is for."),
                Result("counted_capacity", "flow", "What it counts for in its kind; none while unknown."),
                Result("counted_at_most", "flow", "The most that can be, by what is told."),
                Result("siphon_capacity", "flow", "Running full, its valve as it stands."),
                Result("siphon_velocity", "velocity", "Of the water then."),
                Result("lip_capacity", "flow", "What its mouth takes, by EN 12056-3."),
                Result("lip_other", "flow", "The same by the storm water manual."),
                Result("film_capacity", "flow", "What it carries upright, with air in its middle."),
                Result("run_capacity", "flow", "What its flattest run carries half full."),
                Result("unknown_because", TEXT, "What is not told; none where it is known."),
            ),
        ),
    ),
    limits=(
        "Clean, round pipes of their own all the way; drains joined into one pipe carry less.",
        "A mouth with open water all around and nothing over it. A strainer or a near wall takes part of it.",
        "An upright pipe vented at its top. Where the pipe bends to lie flat, tell run_slope.",
        "A standby that happens to run full carries more; that is not counted on.",
    ),
    sources=SOURCES,
    solve=solve,
    example={
        "flow": "3000 L/h",
        "drains": [
            {
                "name": "main",
                "kind": "siphon",
                "diameter": "40.894 mm",
                "length": "1.1 m",
                "drop": "80 cm",
                "elbows": 3,
                "valve_opening": "60 %",
                "lip_depth": "120 mm",
            },
            {
                "name": "open",
                "kind": "gravity",
                "diameter": "40.894 mm",
                "lip_depth": "30 mm",
                "run_slope": "2 %",
            },
            {"name": "spare", "kind": "standby", "diameter": "26.6446 mm", "lip_depth": "15 mm"},
        ],
    },
    doors=("tanks",),
)
