"""How long until water is exchanged or a dose has evened out: one tank, a chain, or bodies that share water."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.mixing_bodies import (
    MixingBody,
    MixingFlow,
    Spreading,
    spread_rows,
    spread_steps,
    spreading,
)
from weirbook.engine.relations.mixing import chain_passes, mixed_share, mixed_time, steady_level
from weirbook.engine.shape import (
    COUNT,
    TEXT,
    Assumption,
    Calculator,
    Caution,
    Result,
    Source,
    Step,
    Working,
    param,
    parts,
    show,
    step,
)
from weirbook.errors import Fault, Invalid

USUAL_SHARES = (0.5, 0.9, 0.95, 0.99)

FAR_ABOVE = 1.5
"""Times the even level, from which on a dose that has not spread yet is worth a word. Common practice."""

LONGEST = 100 * 365.25 * 86400.0
"""s. A century: longer than anything lives in a tank; it catches a wrong unit."""


@dataclass(frozen=True)
class MixingShare:
    share: float = param("fraction", doc="Share exchanged or taken out.", gt=0, le=0.999999)


@dataclass(frozen=True)
class Inputs:
    volume: float | None = param(
        "volume",
        doc="All water, taken as one body or as a chain of equal tanks.",
        gt=0,
        default=None,
        role="water_volume",
    )
    flow: float | None = param(
        "flow",
        doc="Flow through it: new water, or water through the filter.",
        gt=0,
        default=None,
        role="through_flow",
    )
    tanks_in_series: int = param(
        COUNT,
        doc="How many equal tanks the flow goes through one after another, once; they share the volume.",
        ge=1,
        le=50,
        default=1,
    )
    removal_per_pass: float = param(
        "fraction",
        doc="Share of what one tank's water carries that one pass takes out; 1 counts exchange alone.",
        unit="1",
        gt=0,
        le=1,
        default=1.0,
    )
    shares: tuple[MixingShare, ...] = parts(
        MixingShare, doc="Shares for which the time is asked. Left out: 50, 90, 95 and 99 %."
    )
    load: float | None = param(
        "mass_flow",
        doc="What keeps coming in, for the level at which it settles in one well-mixed tank.",
        ge=0,
        default=None,
    )
    bodies: tuple[MixingBody, ...] = parts(
        MixingBody,
        doc="Bodies of water that share flows: each tank, the sump or its sections.",
        role="mixing_bodies",
        key="name",
        rests_on=("volume", "flow"),
    )
    flows: tuple[MixingFlow, ...] = parts(
        MixingFlow,
        doc="Steady flows between the bodies; in each body what comes in must go out.",
        role="mixing_flows",
        rests_on=("volume", "flow"),
    )
    dosed_body: str | None = param(
        TEXT, doc="The body that the dose goes into. Left out: the first one.", default=None
    )
    even_within: float = param(
        "fraction",
        doc="How near all levels must be to the even level for the dose to count as spread.",
        ge=0.0001,
        lt=1,
        default=0.05,
    )
    after: float | None = param(
        "time",
        doc="Time after the dose for which the levels are asked.",
        unit="min",
        ge=0,
        le=LONGEST,
        default=None,
    )


def solve(given: Inputs) -> Working:
    """Times of exchange, of evening out and of removal.

    Equations: one tank t = -ln(1 - f) V / (Q E), `mixed_time`; N equal tanks in a chain, 1 - f = exp(-x) sum x^k/k!
    with x = N Q t / V, `chain_passes`; bodies that share water dm/dt = A m, `exchange`, `carried`, `time_until`; a
    steady load C = P / (Q E).
    Shapes and units: SI, see `Inputs`.
    Valid for: bodies each stirred and of steady volume, flows that stay.
    Uncertainty: that of flows and volumes, in proportion; dead corners make real water slower.
    Raises: Invalid where neither volume and flow nor bodies are told, for names that don't fit, bodies that share no
    water, a body whose flows don't balance within 1 %, a filter in a chain.
    Source: see SOURCES.
    Not covered: time in pipes, plug flow, what sticks, breaks down or is taken up.
    """
    _refuse_contradictions(given)
    shares = [one.share for one in given.shares] or list(USUAL_SHARES)
    spread = spreading(given.bodies, given.flows, given.dosed_body)
    if spread is None and given.volume is None:
        words = "is missing: say volume and flow, or bodies and the flows between them."
        faults = [Fault(f"/{name}", f"'{name}' {words}") for name in ("volume", "flow")]
        raise Invalid("There is no water to mix.", faults=faults)
    alone = [_alone_time(given, share) for share in shares]
    removed = [None if spread is None else spread.removal_time(share) for share in shares]
    even = None if spread is None else spread.even_time(given.even_within)
    values: dict[str, Any] = {
        "mean_stay": None,
        "times": [
            {"share": share, "time": time, "time_in_bodies": other}
            for share, time, other in zip(shares, alone, removed, strict=True)
        ],
        "steady_level": None,
        "even_time": even,
        "bodies": [] if spread is None else spread_rows(spread, given.after),
        "share_left": _share_left(given, spread),
    }
    steps: list[Step] = []
    if given.volume is not None and given.flow is not None:
        values["mean_stay"] = given.volume / given.flow
        if given.load is not None:
            values["steady_level"] = steady_level(given.load, given.flow, given.removal_per_pass)
        steps += _steps_alone(given, given.volume, given.flow, shares, values)
    if spread is not None:
        found = {share: time for share, time in zip(shares, removed, strict=True) if time is not None}
        steps += spread_steps(spread, given.even_within, even, found, given.after)
    return Working(values, steps, _assumptions(given, spread), _cautions(given, spread, even))


def _refuse_contradictions(given: Inputs) -> None:
    faults = []
    for name, other in (("volume", "flow"), ("flow", "volume")):
        if getattr(given, name) is None and getattr(given, other) is not None and not given.bodies:
            faults.append(Fault(f"/{name}", f"'{name}' is missing: it belongs to the {other}."))
    if given.tanks_in_series > 1 and given.removal_per_pass < 1:
        words = "Through a chain water goes once: leave removal_per_pass out, or tell the chain by bodies and flows."
        faults.append(Fault("/removal_per_pass", words))
    if given.load is not None and (given.tanks_in_series > 1 or given.flow is None or given.volume is None):
        words = (
            "The level of a steady load is that of one well-mixed tank: say volume and flow, and no chain."
        )
        faults.append(Fault("/load", words))
    if faults:
        raise Invalid("The inputs don't fit together.", faults=faults)


def _alone_time(given: Inputs, share: float) -> float | None:
    if given.volume is None or given.flow is None:
        return None
    if given.tanks_in_series > 1:
        return chain_passes(share, given.tanks_in_series) * given.volume / given.flow
    return mixed_time(share, given.volume, given.flow, given.removal_per_pass)


def _share_left(given: Inputs, spread: Spreading | None) -> float | None:
    """Of the dose, at the time that was asked for."""
    if given.after is None:
        return None
    if spread is not None:
        return sum(spread.after(given.after))
    if given.volume is None or given.flow is None or given.tanks_in_series > 1:
        return None
    return 1 - mixed_share(given.volume, given.flow, given.after, given.removal_per_pass)


def _steps_alone(
    given: Inputs, volume: float, flow: float, shares: Sequence[float], values: Mapping[str, Any]
) -> list[Step]:
    """Of one tank, or of a chain, whose times are found by trial and shown to be right."""
    numbers = {
        "volume": show(volume, "volume"),
        "flow": show(flow, "flow"),
        "mean_stay": show(volume / flow, "time", "min"),
        "removal_per_pass": show(given.removal_per_pass, "fraction", "1"),
        "tanks": str(given.tanks_in_series),
    }
    steps = [step("mean stay in min", "{volume} ÷ {flow} × 60", numbers, volume / flow, "time", "min")]
    for share, row in zip(shares, values["times"], strict=True):
        numbers |= {"share": show(share, "fraction", "1"), "time": show(row["time"], "time", "min")}
        words = show(share, "fraction")
        if given.tanks_in_series == 1:
            formula = "ln(1 ÷ (1 − {share})) × {mean_stay} ÷ {removal_per_pass}"
            steps.append(step(f"time to {words}", formula, numbers, row["time"], "time", "min"))
            continue
        x = given.tanks_in_series * row["time"] * flow / volume
        numbers["x"] = show(x, "number")
        found = f"x of {words} by the time found by trial"
        steps.append(step(found, "{tanks} × {time} ÷ {mean_stay}", numbers, x, "number"))
        formula = f"ln({_series(given.tanks_in_series)} ÷ (1 − {{share}}))"
        steps.append(step(f"x of {words} by the share, the same", formula, numbers, x, "number"))
    if given.load is not None:
        numbers["load"] = show(given.load, "mass_flow", "g/d")
        formula = "{load} × 1000 ÷ ({flow} × 24 × {removal_per_pass})"
        level = values["steady_level"]
        steps.append(
            step("level of the steady load in mg/L", formula, numbers, level, "concentration", "mg/L")
        )
    if given.after is not None and not given.bodies and values["share_left"]:
        numbers |= {"left": show(values["share_left"], "fraction", "1")}
        formula = "ln(1 ÷ {left}) × {mean_stay} ÷ {removal_per_pass}"
        gives = "time by the share of the dose left, in min"
        steps.append(step(gives, formula, numbers, given.after, "time", "min"))
    return steps


def _series(tanks: int) -> str:
    """The sum of x^k / k! for k below `tanks`, nested so that a pocket calculator can do it."""
    nested = "1"
    for k in range(tanks - 1, 0, -1):
        nested = f"(1 + {{x}} ÷ {k} × {nested})"
    return nested


def _assumptions(given: Inputs, spread: Spreading | None) -> list[Assumption]:
    told = [
        Assumption("Every body of water is well mixed and keeps its volume; flows are steady.", "default")
    ]
    if given.volume is not None and given.removal_per_pass == 1 and given.tanks_in_series == 1:
        words = "Of all water as one: whatever the flow has passed once counts as exchanged or taken out."
        told.append(Assumption(words, "default"))
    if spread is None:
        return told
    dosed = spread.bodies[spread.dosed].name
    told.append(
        Assumption(
            f"All of the dose goes into '{dosed}' at once.", "given" if given.dosed_body else "default"
        )
    )
    told.append(
        Assumption("Evening out is worked out with nothing taken out; pipes take no time.", "default")
    )
    if not spread.filters:
        words = "No body takes anything out on the way out, so there is no time of removal in the bodies."
        told.append(Assumption(words, "default"))
    return told


def _cautions(given: Inputs, spread: Spreading | None, even: float | None) -> list[Caution]:
    told = [
        Caution(
            "mixing-not-known",
            "Real water is slower than well-mixed water: corners stand still and inlets short-cut. A conductivity"
            " meter held in the slowest corner shows it.",
        )
    ]
    if spread is None:
        return told
    first = spread.volume / spread.bodies[spread.dosed].volume
    if first >= FAR_ABOVE:
        words = (
            f"Until it has spread, the dose stands at {first:.3g} times the even level in"
            f" '{spread.bodies[spread.dosed].name}'. If anything lives there, or a filter's bacteria do, give it"
            " little by little or in the largest body, and keep to the product's label."
        )
        told.append(Caution("strong-at-first", words, show(FAR_ABOVE, "number")))
    if even is None:
        words = (
            "The levels never come as near to each other as asked: the flows balance only roughly, or the water is"
            " exchanged too slowly. Mend the flows, or ask for a wider even_within."
        )
        told.append(Caution("never-even", words, show(given.even_within, "fraction")))
    return told


SOURCES = (
    Source(
        "Levenspiel, O.",
        1999,
        "Chemical Reaction Engineering, 3rd ed.",
        "mixed flow reactor; tanks in series; compartment models",
        "From memory; tested against exact solutions that another library computed.",
    ),
    Source(
        "Moler, C., Van Loan, C.",
        1978,
        "Nineteen dubious ways to compute the exponential of a matrix",
        "SIAM Review 20(4), 801: scaling and squaring",
        "From memory.",
    ),
    Source(
        "Alansari, A., Amburgey, J., Madding, N.",
        2018,
        "A quantitative analysis of swimming pool recirculation system efficiency",
        "Journal of Water and Health 16(3), 449, abstract",
        "Tracer in a 1:25 model pool: 63, 86 and 95 % gone after 1, 2 and 3 turnovers.",
    ),
)

MIXING = Calculator(
    name="mixing",
    title="Mixing",
    doc=(
        "How long until given shares of the water are exchanged, or of what it carries are taken out: in one"
        " well-mixed tank or a chain of equal ones (say volume and flow), and in bodies that share water, as tanks"
        " on one sump do (say bodies and the flows between them). Of bodies also how long a dose put into one of"
        " them takes to even out, how strong it stands there at first, and the levels after a time."
    ),
    inputs=Inputs,
    results=(
        Result("mean_stay", "time", "Volume over flow: one exchange, of which mixing makes 63.2 %.", "min"),
        Result(
            "times",
            "list",
            "Time to each share.",
            fields=(
                Result("share", "fraction", "Share exchanged or taken out."),
                Result(
                    "time",
                    "time",
                    "In all water as one body; of a chain, until that share of what entered has left it again.",
                    "min",
                ),
                Result(
                    "time_in_bodies",
                    "time",
                    "Until the filters of the bodies have taken out that share of the dose; none without filters.",
                    "min",
                ),
            ),
        ),
        Result("steady_level", "concentration", "Where a steady load settles; none if no load is told."),
        Result(
            "even_time",
            "time",
            "Until the dose stands within even_within of the even level in every body.",
            "min",
        ),
        Result(
            "bodies",
            "list",
            "Each body, with the dose's level by that to which it evens out.",
            fields=(
                Result("name", TEXT, "The body."),
                Result("volume", "volume", "Its water."),
                Result("flow", "flow", "What flows through it."),
                Result("mean_stay", "time", "Its water over its flow.", "min"),
                Result("first_level", "number", "When the dose has just gone in; 1 is the even level."),
                Result(
                    "level_after", "number", "After the time asked; 1 is the even level of the whole dose."
                ),
            ),
        ),
        Result("share_left", "fraction", "Of the dose, after the time asked; none if none is asked."),
    ),
    limits=(
        "Each body is stirred. Real water is slower where corners stand still or inlets short-cut.",
        "Flows in and out of each body must balance within 1 %; at most 12 bodies.",
        "A chain is of equal tanks that water goes through once; unequal ones are told as bodies.",
        "Nothing sticks, breaks down, is taken up or added on the way, but for the steady load.",
    ),
    sources=SOURCES,
    solve=solve,
    example={
        "volume": "620 L",
        "flow": "2400 L/h",
        "load": "3 g/d",
        "removal_per_pass": "40 %",
        "bodies": [
            {"name": "sump", "volume": "120 L", "removal_per_pass": "40 %"},
            {"name": "display", "volume": "400 L"},
            {"name": "nursery", "volume": "100 L"},
        ],
        "flows": [
            {"from_body": "sump", "to_body": "display", "flow": "1800 L/h"},
            {"from_body": "display", "to_body": "sump", "flow": "1800 L/h"},
            {"from_body": "sump", "to_body": "nursery", "flow": "600 L/h"},
            {"from_body": "nursery", "to_body": "sump", "flow": "600 L/h"},
        ],
        "after": "10 min",
    },
    doors=("systems",),
)
