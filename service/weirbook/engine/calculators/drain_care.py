"""What is said with the capacity of drains: why, what would mend it, assumptions, cautions, sources."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from weirbook.engine.calculators.chamber_verdicts import OK
from weirbook.engine.calculators.drain_parts import GRAVITY, RUN_FILL, SIPHON, STANDBY, Carried, Drain, Span
from weirbook.engine.relations.drains import PLASTIC_N, lip_depth_for, run_diameter, stack_diameter
from weirbook.engine.relations.pipes import SIZES
from weirbook.engine.saying import less, more, near
from weirbook.engine.shape import Assumption, Caution, Source

BLOCKED = "with the largest one blocked"
IN_USE, ALONE = "the drains in use", "the standby alone"


@dataclass(frozen=True)
class NeededStandby:
    """What a standby needs to carry a flow: a bore, the next sizes up, and how deep its mouth lies in the first."""

    bore: float
    sizes: tuple[str, ...]
    mouth: float
    lip_depth: float


def needed_standby(flow: float, fill: float, like: Drain | None) -> NeededStandby:
    """The least that would do; `like` is the standby there is, whose flat run it would share."""
    bore = stack_diameter(flow, fill)
    if like is not None and like.run_slope is not None:
        bore = max(bore, run_diameter(flow, RUN_FILL, like.run_slope))
    sizes = tuple(next_sizes(bore))
    mouth = SIZES[sizes[0]] if sizes else bore
    if like is not None and like.diameter >= bore:
        mouth = like.diameter
    return NeededStandby(bore, sizes, mouth, lip_depth_for(flow, mouth))


def next_sizes(bore: float) -> list[str]:
    """The next nominal sizes up from a bore, one by the inch and one metric where there is one."""
    found = []
    for inch in (True, False):
        fitting = [name for name, inside in SIZES.items() if inside >= bore and ("schedule" in name) == inch]
        found += sorted(fitting, key=lambda name: SIZES[name])[:1]
    return sorted(found, key=lambda name: SIZES[name])


def why_of(words: str, span: Span, flow: float, verdict: str, some: Sequence[Carried]) -> str:
    """One verdict in words."""
    if not some and words == ALONE:
        return "None of them is a standby."
    if verdict == "unknown":
        reasons = "; ".join(one.lacking for one in some if one.lacking)
        return f"Unknown {'' if words == BLOCKED else 'for '}{words}, because {reasons}."
    carries = _said(span.least) if span.known is not None else _bounded(span)
    start = {
        IN_USE: f"The drains in use carry {carries}",
        BLOCKED: f"With the largest one blocked the others carry {carries}",
        ALONE: f"The standby alone carries {carries}",
    }
    if words == BLOCKED and span.most == 0:
        return f"With the largest one blocked nothing is left for the {_said(flow)}."
    return f"{start[words]}, and {against(flow, verdict)}."


def against(flow: float, verdict: str) -> str:
    """What drains are held against, in words."""
    return f"{_said(flow)} {'come' if verdict == OK else 'would have to go'}"


def _said(flow: float) -> str:
    return near(flow, "flow", "L/h")


def _bounded(span: Span) -> str:
    if math.isinf(span.most):
        return f"at least {_said(span.least)}"
    return f"at most {_said(span.most)}" if span.least == 0 else f"{_said(span.least)} to {_said(span.most)}"


_MISSING = {IN_USE: "", BLOCKED: " when the largest one is blocked"}


def mend_of_the_set(words: str, span: Span, flow: float) -> str:
    start = f"Let no more than {less(span.most, 'flow', 'L/h')} come, or add" if span.most else "Add"
    return (
        f"{start} a drain for the {more(flow - span.most, 'flow', 'L/h')} that are missing{_MISSING[words]}."
    )


def mend_of_the_standby(needed: NeededStandby, flow: float, standbys: Sequence[Carried]) -> str:
    """Which pipe would do, and how deep its mouth would have to lie."""
    only = standbys[0].drain if len(standbys) == 1 else None
    depth = f"its mouth at least {math.ceil(needed.lip_depth * 1e3 - 1e-6)} mm below the edge"
    if only is not None and only.diameter >= needed.bore:
        valve = " and no valve in it" if only.valve_opening is not None else ""
        return f"The standby is wide enough: set {depth}{valve}."
    least = math.ceil(needed.bore * 1e4 - 1e-6) / 10
    sizes = [f"{name} ({SIZES[name] * 1000:.1f} mm)" for name in needed.sizes]
    pipes = (
        f"the next sizes up are {' and '.join(sizes)}"
        if sizes
        else "no listed size is so wide, so set several"
    )
    return f"Give the standby a bore of at least {least:g} mm ({pipes}) and {depth}."


def assumptions(some: Sequence[Carried], fill: float) -> list[Assumption]:
    told = [
        Assumption(
            "A gravity drain and a standby count as plain open drains: the least of what the lip takes and what the"
            f" upright pipe carries as a film, {fill * 100:.6g} % of its bore full. That one might start to run full"
            " is not counted on.",
            "common practice",
        ),
        Assumption(
            "The lip is taken by EN 12056-3, the more careful of two forms in print; lip_other gives the other.",
            "default",
        ),
    ]
    if any(one.siphon is not None for one in some):
        words = (
            "A siphon runs wholly full, its end under water, from a square entry through smooth plastic pipe, its"
            " ball valve by a table of handbooks."
        )
        told.append(Assumption(words, "default"))
        short = [one.drain.name for one in some if one.pipe is not None and one.drain.length is None]
        if short:
            words = f"The pipe of {', '.join(short)} is taken to be as long as its drop."
            told.append(Assumption(words, "default"))
    if any(one.run is not None for one in some):
        words = f"A lying run fills to {RUN_FILL * 100:g} % of its diameter, with Manning's n {PLASTIC_N:g} of plastic."
        told.append(Assumption(words, "common practice"))
    return told


def cautions(some: Sequence[Carried], standbys: Sequence[Carried]) -> list[Caution]:
    told = [
        Caution(
            "drain-can-stop",
            "A snail, a leaf or a fish stops a drain, and a screen or growth takes part of it. Stop the largest drain"
            " by hand and watch where the water goes before you trust a margin; keep sockets and leads out of its"
            " way.",
        )
    ]
    if any(one.drain.kind == SIPHON for one in some):
        words = (
            "A pipe that runs full has nothing to spare: it carries two to four times what it does with air in it,"
            " and loses that at the first gulp of air. Never go without a second drain beside it."
        )
        told.append(Caution("full-pipe-has-no-spare", words))
    if shallow := [one.drain.name for one in some if one.shallow]:
        words = (
            f"The mouth of {', '.join(shallow)} lies less than its own width below the edge: a whirl draws air, and it"
            " then carries no more than its lip takes (lip_capacity), not what it would carry full. Set it deeper."
        )
        told.append(Caution("shallow-siphon", words, "one diameter, common practice"))
    if any(one.lip is not None for one in some):
        words = (
            "What a lip takes is good to 30 %, and the two forms in print differ by 37 % while it is a weir. Halve it"
            " behind a strainer (common practice)."
        )
        told.append(Caution("lip-is-rough", words, "30 %"))
    if not standbys:
        words = "No standby is told. Provide one that carries the whole flow of the pump as a plain gravity drain."
        told.append(Caution("no-standby", words))
    valved = [one.drain.name for one in some if one.throttled and one.drain.kind in (GRAVITY, STANDBY)]
    if valved:
        words = f"A valve that is not fully open stands in {', '.join(valved)}: no valve belongs in an open drain."
        told.append(Caution("valve-in-open-drain", words))
    return told


SOURCES = (
    Source(
        "Wyly, R. S., Eaton, H. N.",
        1961,
        "Capacities of stacks in sanitary drainage systems for buildings, NBS Monograph 31",
        "annular flow at terminal velocity",
        "As EN 12056-3 writes it, 2.5e-4 kb^(-1/6) d^(8/3) f^(5/3); read in a page that quotes the standard.",
    ),
    Source(
        "CEN",
        2000,
        "EN 12056-3, Gravity drainage systems inside buildings: roof drainage",
        "capacity of outlets",
        "From memory: D h^1.5 / 7500 up to h = D / 2, D^2 h^0.5 / 15000 above.",
    ),
    Source(
        "Rossman, L. A.",
        2017,
        "Storm Water Management Model reference manual, volume II, EPA/600/R-17/111",
        "eq. 6-10 to 6-12, bottom orifice as a weir and full",
        "The other form of the lip: it turns at 0.36 D in place of D / 2.",
    ),
    Source(
        "Rossman, L. A. and others",
        2020,
        "EPANET 2.2 User Manual, EPA/600/R-20/133",
        "tables 3.2 and 3.3",
        "K of entry, exit and elbows, roughness and Manning's n of plastic; friction after Colebrook.",
    ),
)
