"""What a pump point takes for granted and warns of, how far it reaches, and where it comes from."""

from __future__ import annotations

from weirbook.engine.calculators.pump_steps import UNSURE, Outcome, regime_of
from weirbook.engine.relations.pipes import PLASTIC_ROUGHNESS, hazen_williams_loss
from weirbook.engine.saying import near
from weirbook.engine.shape import Assumption, Caution, Source, show

HUMS, WEARS = 1.5, 2.0
"""m/s in a plastic line. Common practice, no source: stated, never judged by."""
NEAR_SHUT_OFF = 0.1
"""Share of the free flow below which a pump is called choked. Common practice, no source."""
NEAR_ITS_SPEED = (0.7, 1.2)
"""Ratios of speed within which the affinity laws are usually trusted. Common practice, no source."""
SLACK = 1e-9


def assumptions(out: Outcome, low: float, high: float) -> list[Assumption]:
    """What was taken for granted, as far as it touches this line."""
    given = out.given
    told = [
        Assumption(
            f"Water of {show(given.temperature, 'temperature')}: {out.density:.6g} kg/m3, kinematic viscosity"
            f" {out.viscosity:.4g} m2/s.",
            "default",
        ),
        Assumption(
            "The curve falls through its points without overshoot; straight on beyond the last.", "default"
        ),
    ]
    if given.speed_ratio != 1:
        words = "At another speed the flow changes in proportion, the head with its square (affinity laws)."
        told.append(Assumption(words, "default"))
    if given.pumps > 1:
        told.append(Assumption(f"All {given.pumps} pumps run; their flows add up at each head.", "given"))
    if any(one.roughness == PLASTIC_ROUGHNESS and one.length for one in given.pipe_pieces):
        told.append(Assumption("Smooth plastic pipe, 0.0015 mm, where no roughness is told.", "default"))
    if any(one.size is not None for one in given.pipe_pieces):
        words = "A nominal size has its outside diameter less twice the least wall; real bores are up to 2 % smaller."
        told.append(Assumption(words, "default"))
    if out.runs:
        told += _of_fittings(out, low, high)
    if len(out.branches) > 1:
        words = "Losses where the line parts count only as far as tees are told in the branches."
        told.append(Assumption(words, "default"))
    return told


def _of_fittings(out: Outcome, low: float, high: float) -> list[Assumption]:
    given = out.given
    words = (
        "Fittings by the table of EPANET 2.2, ball valves wide open 0.05, each open end "
        f"{given.outlet_k:g}. With Crane's K, larger in small bores, and throttled valves of half and twice the K,"
        f" the flow comes to {near(low, 'flow', 'L/h')} to {near(high, 'flow', 'L/h')}."
    )
    told = [Assumption(words, "default")]
    if any(run.throttled for run in out.runs):
        words = (
            "A throttled valve by handbook tables of its opening, at the bore of the first piece behind it: a"
            " factor of two in K either way."
        )
        told.append(Assumption(words, "default"))
    pipes = [run for run in out.runs if run.piece.length and out.flow_in(run)]
    if pipes:
        darcy = sum(abs(out.losses_in(run)[0]) for run in pipes)
        hazen = sum(
            hazen_williams_loss(abs(out.flow_in(run)), run.piece.diameter, run.piece.length) for run in pipes
        )
        words = (
            f"Friction of all pieces {near(darcy, 'length', 'm')} by Darcy-Weisbach and Colebrook; Hazen-Williams"
            f" with C 150, made for larger pipes, would say {near(hazen, 'length', 'm')}."
        )
        told.append(Assumption(words, "default"))
    return told


def cautions(out: Outcome) -> list[Caution]:
    """What to beware of at this point, on this line."""
    told = [*_of_the_pump(out), *_of_the_branches(out), *_of_the_pipes(out)]
    given = out.given
    if given.pumps > 1:
        words = (
            "Pumps side by side: if one stops, the others push water back through it. By common practice each has a"
            " check valve of its own."
        )
        told.append(Caution("side-by-side", words))
    least, most = NEAR_ITS_SPEED
    if not least <= given.speed_ratio <= most:
        words = (
            "So far from the speed of its curve a pump does less than the affinity laws say, as common practice goes:"
            " measure it."
        )
        told.append(Caution("far-from-its-speed", words, f"{least} to {most}"))
    return [*told, CLEAN_LINE, MAINS]


def _of_the_pump(out: Outcome) -> list[Caution]:
    told, duty, curve = [], out.duty, out.curve
    if duty.flow == 0:
        words = (
            "Nothing flows: the lift is more than the pump reaches, or every way is shut. A pump that runs against a"
            " closed line heats its water and itself: don't leave it so."
        )
        told.append(Caution("no-flow", words, show(curve.shut_off, "length", "m")))
    elif curve.free_flow and duty.flow < NEAR_SHUT_OFF * curve.free_flow:
        words = (
            "So near its shut-off head a pump moves little water, warms it and wears (common practice: stay above a"
            " tenth of the free flow). A small rise of the lift stops it."
        )
        told.append(Caution("near-shut-off", words, show(NEAR_SHUT_OFF * curve.free_flow, "flow")))
    if duty.static_head < 0:
        words = (
            "The outlet lies lower than the water that is drawn from: water runs by itself, with the pump off too, until"
            " the levels meet, the pump's side stands dry or air gets in. See that what it runs into holds all of it."
        )
        told.append(Caution("runs-by-itself", words))
    if duty.flow > curve.last_flow * (1 + SLACK):
        words = (
            "The flow lies beyond the last point of the curve, where it was drawn straight on: tell more of the curve,"
            " or measure."
        )
        told.append(Caution("beyond-the-curve", words, show(curve.last_flow, "flow")))
    first = curve.points[0][0]
    if first > 0:
        words = "The curve has no point without flow: its shut-off head was drawn straight on from its first points."
        told.append(Caution("shut-off-guessed", words, show(first, "flow")))
    return told


def _of_the_branches(out: Outcome) -> list[Caution]:
    told = []
    flows = out.duty.branch_flows
    dry = [name for name, flow in flows.items() if flow == 0]
    if dry and len(flows) > 1 and out.duty.flow:
        words = (
            f"Nothing comes out of {', '.join(dry)}: shut, or higher than the pressure where the line parts."
        )
        told.append(Caution("branch-gets-nothing", words))
    back = [name for name, flow in flows.items() if flow < 0]
    if back:
        words = (
            f"Water runs back through {', '.join(back)} into the other branches: its outlet is under water higher than"
            " the pressure where the line parts. An air hole above the water ends it."
        )
        told.append(Caution("runs-back", words))
    if any(way.runs_back for way in out.ways.values()):
        words = (
            "An outlet under water without an air hole above it siphons the tank back when the pump stops: see that"
            " the sump holds what comes down, pump off, before you rely on it."
        )
        told.append(Caution("siphons-back", words))
    return told


def _of_the_pipes(out: Outcome) -> list[Caution]:
    told = []
    speeds = {run.name: abs(out.flow_in(run)) / run.piece.area for run in out.runs}
    fast = [name for name, speed in speeds.items() if speed > HUMS]
    if fast:
        words = (
            f"{', '.join(fast)}: faster than {HUMS} m/s, from where small lines are often heard, and above {WEARS} m/s"
            " worn (common practice, no source). A wider bore gives more flow for the same power."
        )
        told.append(Caution("fast-water", words, f"{HUMS} m/s"))
    unsure = [
        run.name
        for run in out.runs
        if run.piece.length and regime_of(run.piece.reynolds(out.flow_in(run), out.viscosity)) == UNSURE
    ]
    if unsure:
        words = (
            f"{', '.join(unsure)}: between calm and turbulent flow, where no formula is reliable and the friction may"
            " be 40 % off."
        )
        told.append(Caution("between-calm-and-turbulent", words, "Reynolds number 2040 to 4000"))
    if any(run.throttled for run in out.runs):
        words = "Throttle behind the pump, never before it, and set the valve by a measured flow: its opening tells little."
        told.append(Caution("throttled", words))
    return told


CLEAN_LINE = Caution(
    "clean-line",
    "This is a clean pump on a clean line. Growth, snails and a full strainer take flow away: time a bucket at the"
    " outlet now, and again when in doubt.",
)
MAINS = Caution(
    "mains-and-water",
    "Isolate the pump before hands go into the water; a residual-current device (GFCI) on its circuit, drip loops on its"
    " lead, and a licensed electrician for the wiring. It must not run dry.",
)

LIMITS = (
    "Full pipes, steady flow, clean water. Air that is drawn in takes more flow than any formula tells.",
    "Fittings as if far from each other and wide open; at low Reynolds numbers they cost more than is counted.",
    "Between Reynolds 2040 and 4000 the friction is drawn between the calm and the turbulent formula: unsure.",
    "Beyond the curve's last point straight on. Sudden changes of bore and the intake count only as K that is told.",
)

SOURCES = (
    Source(
        "Darcy, H.; Weisbach, J.; Colebrook, C.F.",
        1939,
        "Turbulent flow in pipes",
        "J. Institution of Civil Engineers 11, 133; losses of head in pipes",
        "From memory; held to cases computed with fluids 1.3.1.",
    ),
    Source(
        "Rossman, L.A. et al.",
        2020,
        "EPANET 2.2 User Manual (EPA/600/R-20/133)",
        "tables 3.1 (Hazen-Williams), 3.2 (roughness) and 3.3 (K of fittings)",
        "Ten networks and random ones were solved with it: within 0.5 % of flow.",
    ),
    Source(
        "Crane Co.",
        None,
        "Flow of fluids through valves, fittings and pipe, technical paper 410",
        "K as multiples of the turbulent friction factor",
        "Multipliers from memory; within 3 % of fluids 1.3.1. For the spread.",
    ),
    Source(
        "Handbook tables",
        None,
        "Loss coefficients of valves by opening",
        "ball or plug valves and gate valves, partly open",
        "Read in stored web tables that name no author; two such tables differ by a factor of two.",
    ),
    Source(
        "Fritsch, F.N.; Carlson, R.E.; Butland, J.",
        1980,
        "Monotone piecewise cubic interpolation",
        "SIAM J. Numerical Analysis 17, 238; SIAM J. Sci. Stat. Computing 5, 300",
        "From memory; held to SciPy's PchipInterpolator.",
    ),
    Source(
        "ASTM; CEN",
        None,
        "D1785 and EN ISO 1452-2: plastic pipe",
        "outside diameters and walls of the nominal sizes",
        "Inch sizes computed with fluids 1.3.1; metric ones from memory: say a measured bore where it matters.",
    ),
)
