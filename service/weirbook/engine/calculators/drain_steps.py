"""The working of drains: what each carries in each way, sums and margins. For `drain_capacity`."""

from __future__ import annotations

from collections.abc import Sequence

from weirbook.engine.calculators.drain_care import NeededStandby
from weirbook.engine.calculators.drain_parts import Carried
from weirbook.engine.relations.drains import EN_TURN, PLASTIC_N, SWMM_TURN
from weirbook.engine.relations.pipes import FITTINGS, friction_factor, valve_k
from weirbook.engine.shape import Step, show, step

FILM = "2.5e-4 × 1.25992 × {bore} × {bore} × {root_of_bore} × {root_of_bore}"
"""kb^(-1/6) is 1.25992 for kb of 0.25 mm; a power of 8/3 is the square times the square of the cube root."""


def drain_steps(one: Carried, fill: float, viscosity: float) -> list[Step]:
    """Bore and depth in mm, lengths in m, flows in L/h."""
    steps = [
        *_siphon_steps(one, viscosity),
        *_lip_steps(one),
        *film_steps(one.drain.name, one.drain.diameter, fill),
    ]
    if one.run is not None and one.drain.run_slope is not None:
        steps += _run_steps(one, one.run, one.drain.run_slope)
    known = one.counted.known
    if known is not None:
        numbers = {"that": show(known, "flow")}
        way = "running full" if one.drain.kind == "siphon" else "the least of lip, film and run"
        steps.append(step(f"{one.drain.name}: counted in L/h, {way}", "{that}", numbers, known, "flow"))
    return steps


def _siphon_steps(one: Carried, viscosity: float) -> list[Step]:
    drain, pipe, flow = one.drain, one.pipe, one.siphon
    if pipe is None or not flow or drain.drop is None:
        return []
    valve = 0.0 if drain.valve_opening is None else valve_k(drain.valve_opening)
    velocity = flow / pipe.area
    factor = friction_factor(pipe.reynolds(flow, viscosity), pipe.roughness / pipe.diameter)
    numbers = {
        "entry": f"{FITTINGS['entrance']:g}",
        "exit": f"{FITTINGS['exit']:g}",
        "elbows": str(drain.elbows),
        "valve": f"{valve:.6g}",
        "flow": show(flow, "flow"),
        "bore": show(pipe.diameter, "length", "mm"),
        "velocity": show(velocity, "velocity"),
        "friction_factor": f"{factor:.6g}",
        "length": show(pipe.length, "length", "m"),
        "fittings": f"{pipe.k:.6g}",
    }
    return [
        step(
            f"{drain.name}: K of its fittings",
            f"{{entry}} + {{exit}} + {FITTINGS['elbow']:g} × {{elbows}} + {{valve}}",
            numbers,
            pipe.k,
            "number",
        ),
        step(
            f"{drain.name}: velocity running full, cm/s",
            "{flow} ÷ 3.6 × 100 ÷ (π ÷ 4 × {bore} × {bore})",
            numbers,
            velocity,
            "velocity",
        ),
        step(
            f"{drain.name}: drop that this flow uses up, cm",
            "({friction_factor} × {length} × 1000 ÷ {bore} + {fittings}) × {velocity} × {velocity}"
            " ÷ (2 × 980.665)",
            numbers,
            drain.drop,
            "length",
        ),
    ]


def _lip_steps(one: Carried) -> list[Step]:
    drain, lip = one.drain, one.lip
    if lip is None or not drain.lip_depth:
        return []
    return [
        lip_step(drain.name, drain.diameter, drain.lip_depth, lip.value),
        _other_lip_step(drain.name, drain.diameter, drain.lip_depth, lip.low + lip.high - lip.value),
    ]


def lip_step(name: str, bore: float, depth: float, flow: float) -> Step:
    """What a mouth takes, by EN 12056-3."""
    numbers = {"bore": show(bore, "length", "mm"), "depth": show(depth, "length", "mm")}
    weir = depth <= EN_TURN * bore
    formula = (
        "{bore} × {depth} × sqrt({depth}) ÷ 7500 × 3600"
        if weir
        else "{bore} × {bore} × sqrt({depth}) ÷ 15000 × 3600"
    )
    kind = "weir" if weir else "orifice"
    return step(f"{name}: its lip as {kind} (EN 12056-3), L/h", formula, numbers, flow, "flow")


def _other_lip_step(name: str, bore: float, depth: float, flow: float) -> Step:
    numbers = {"bore": show(bore, "length", "mm"), "depth": show(depth, "length", "mm")}
    weir = depth <= SWMM_TURN * bore
    formula = (
        "1.83845 × π × {bore} × {depth} × sqrt({depth} ÷ 1000) × 3.6"
        if weir
        else "0.6 × π ÷ 4 × {bore} × {bore} × sqrt(2 × 9.80665 × {depth} ÷ 1000) × 3.6"
    )
    kind = "weir" if weir else "orifice"
    return step(f"{name}: its lip as {kind} (storm water manual), L/h", formula, numbers, flow, "flow")


def film_steps(name: str, bore: float, fill: float) -> list[Step]:
    """What an upright pipe carries as a film, its cube roots shown by what they come to."""
    root = (bore * 1e3) ** (1 / 3)
    share = fill ** (1 / 3)
    flow = 2.5e-7 * 0.25 ** (-1 / 6) * (bore * 1e3) ** (8 / 3) * fill ** (5 / 3)
    numbers = {
        "bore": show(bore, "length", "mm"),
        "root_of_bore": f"{root:.6g}",
        "fill": f"{fill:.6g}",
        "root_of_fill": f"{share:.6g}",
    }
    cubed = "{root_of_bore} × {root_of_bore} × {root_of_bore}"
    filled = "{root_of_fill} × {root_of_fill} × {root_of_fill}"
    return [
        step(f"{name}: bore in mm by its cube root", cubed, numbers, bore, "length", "mm"),
        step(f"{name}: filled share by its cube root", filled, numbers, fill, "fraction", "1"),
        step(
            f"{name}: film along its wall, L/h",
            f"{FILM} × {{fill}} × {{root_of_fill}} × {{root_of_fill}} × 3600",
            numbers,
            flow,
            "flow",
        ),
    ]


def _run_steps(one: Carried, flow: float, slope: float) -> list[Step]:
    bore = one.drain.diameter
    root = (bore / 4) ** (1 / 3)
    numbers = {
        "bore": show(bore, "length", "mm"),
        "root_of_radius": f"{root:.6g}",
        "slope": f"{slope:.6g}",
        "n": f"{PLASTIC_N:g}",
    }
    return [
        step(
            f"{one.drain.name}: hydraulic radius of its run, half full, in mm, by the cube root of it in m",
            "{root_of_radius} × {root_of_radius} × {root_of_radius} × 1000",
            numbers,
            bore / 4,
            "length",
            "mm",
        ),
        step(
            f"{one.drain.name}: its run half full, L/h",
            "π ÷ 8 × {bore} × {bore} × {root_of_radius} × {root_of_radius} × sqrt({slope}) ÷ {n} × 3.6",
            numbers,
            flow,
            "flow",
        ),
    ]


def sum_step(words: str, some: Sequence[Carried], total: float) -> Step:
    """What several drains carry together; names are the keeper's own, so the words are not a formula."""
    names = " + ".join(one.drain.name for one in some) or "no drain"
    working = " + ".join(show(one.counted.least, "flow") for one in some) or "0"
    return Step(f"{words} in L/h = {names}", working, total, "flow")


def most_step(words: str, some: Sequence[Carried], total: float) -> Step:
    """The most that drains can carry together, where what they do carry is not known."""
    names = " + ".join(one.drain.name for one in some)
    working = " + ".join(show(one.counted.most, "flow") for one in some)
    return Step(f"{words} in L/h = {names}", working, total, "flow")


def margin_step(words: str, capacity: float, flow: float) -> Step:
    numbers = {"capacity": show(capacity, "flow"), "flow": show(flow, "flow")}
    return step(f"{words} in L/h", "{capacity} − {flow}", numbers, capacity - flow, "flow")


def needed_steps(needed: NeededStandby, flow: float, fill: float) -> list[Step]:
    """The bore that a standby needs and the depth of its mouth, by what they carry."""
    numbers = {"flow": show(flow, "flow")}
    return [
        *film_steps("standby of the least bore", needed.bore, fill),
        lip_step("standby with its mouth as deep as it needs", needed.mouth, needed.lip_depth, flow),
        step("flow that it has to carry, L/h", "{flow}", numbers, flow, "flow"),
    ]
