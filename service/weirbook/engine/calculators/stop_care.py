"""What an answer on a stop takes for granted and warns of, how far it reaches, and where it comes from."""

from __future__ import annotations

from collections.abc import Sequence

from weirbook.engine.calculators.chamber_verdicts import OVER
from weirbook.engine.calculators.stop_cases import Stop
from weirbook.engine.shape import Assumption, Caution, Source, show

NARROW = 0.025
"""m. Less margin than this leaves nothing for waves, a level misread and growth: common practice, no source."""

LOW_HEAD = 0.03
"""m. Below it no formula of a weir is in its range (see the hydraulics sources)."""

TEST_IT = Caution(
    "test-it",
    "Test it before you trust a margin: switch the pump off at the highest running level, stay and watch until the"
    " levels no longer move. Have a bucket and a second pair of hands ready the first time.",
)
SOCKETS = Caution(
    "flooding-and-electricity",
    "Water on the floor finds sockets: keep them above and beside any spray, give every lead a drip loop and every"
    " circuit a residual-current device (GFCI), and isolate before hands go in. Wiring is work for a licensed electrician.",
)
VALVES = Caution(
    "check-valve",
    "A check valve is a convenience, never the only protection: a snail or a grain of sand holds it open. The cases"
    " with the valve stuck must hold too.",
)
AIR_HOLES = Caution(
    "air-hole",
    "Air holes clog with algae and scale. Look at them with the routine work, and drill a second one: the case with the"
    " air hole blocked must hold too.",
)
NARROW_MARGIN = Caution(
    "narrow-margin",
    "It holds narrowly. Waves, a level read a little too low or more water topped up take such a margin away.",
    f"{NARROW * 1000:g} mm, common practice",
)
LOW_HEADS = Caution(
    "low-head",
    "A head below 30 mm that was worked out, not measured, is uncertain by a third or more.",
    "30 mm",
)
DRY_PUMP = Caution(
    "pump-runs-dry",
    "When the pump starts again the return section falls below its intake: it draws air and may overheat. Add the water"
    " that is missing, or switch it on by hand and watch.",
)
SPILT_IS_GONE = Caution(
    "spilt-water-is-missing",
    "What goes on the floor is missing when the pump starts again: the levels after the restart count with that.",
)

LIMITS = (
    "Upright walls, sections down to one base, water at rest. Waves and the time it takes are not worked out.",
    "The pump draws from the last section, and the tanks drain into the first.",
    "What heaters, pumps and hands push aside in the sump is not counted: leave room for it.",
    "A siphon is taken to run until air gets in, however slowly.",
    "Cautions inform. Local codes and a licensed plumber or electrician decide.",
)

SOURCES = (
    Source(
        "Geometry",
        None,
        "Volumes of boxes, pipes and sections; water is conserved",
        "any handbook",
        "The whole working is held to ten cases of drain-down worked by hand.",
    ),
    Source(
        "Rossman, L.A.",
        2017,
        "Storm Water Management Model Reference Manual II, Hydraulics (EPA/600/R-17/111)",
        "weirs and orifices, chapter 6",
        "For the levels while it runs, where they are worked out and not measured: see baffle-levels.",
    ),
)


def assumptions(cases: Sequence[Stop]) -> list[Assumption]:
    """What was taken for granted, as far as it touches these tanks and this sump."""
    stop = cases[0]
    words = [
        "What comes over the edges, out of boxes and drains falls into the first section; what the returns give, into"
        " the last.",
        "A siphon counts in full whether or not there is a check valve, and a valve that holds keeps back its pipe's"
        " water alone.",
        "Of a section's depth as measured and its level as worked out the higher one counts.",
        "Where water spills, the levels are those at the rim. The margin then says by how much the walls would have to"
        " be higher.",
        "When the pump starts again nothing comes back until the tanks, boxes and pipes are full as before, and the"
        " sections keep what stands below their crests.",
    ]
    told = [Assumption(text, "default") for text in words]
    if stop.sump.flow is None:
        told.append(Assumption("No flow is known: sections stand as deep as was measured.", "default"))
    for text, names in (
        (
            "has no overflow box, as far as is told",
            [t.name for t in stop.tanks if not t.box_area and not t.box_fall],
        ),
        ("has no drain pipe whose water counts, as far as is told", _without_drain(stop)),
    ):
        if names:
            told.append(Assumption(f"Each of these {text}: {', '.join(names)}.", "default"))
    if not stop.pipes:
        told.append(Assumption("No return pipe is told, so no water falls out of one.", "default"))
    if any(s.media_volume is not None and s.media_porosity is None for s in stop.sump.sections):
        text = "0.4 of the media's bulk is gaps, as in loose gravel; many open media have 0.8 and more."
        told.append(Assumption(text, "common practice"))
    return told


def _without_drain(stop: Stop) -> list[str]:
    return [tank.name for tank in stop.tanks if tank.drain_diameter is None and tank.drain_length is None]


def cautions(cases: Sequence[Stop]) -> list[Caution]:
    """What to beware of."""
    told = [TEST_IT, SOCKETS]
    if any(tank.drop(case.blocked) for case in cases for tank in case.tanks):
        told.append(AIR_HOLES)
    if any(pipe.check_valve for pipe in cases[0].pipes):
        told.append(VALVES)
    if any(case.margin is not None and 0 <= case.margin < NARROW for case in cases):
        told.append(NARROW_MARGIN)
    if any(tank.head is not None and 0 < tank.head < LOW_HEAD for tank in cases[0].tanks):
        told.append(LOW_HEADS)
    if any(case.restart_verdict == OVER for case in cases):
        told.append(DRY_PUMP)
    if any(case.spilled for case in cases):
        told.append(SPILT_IS_GONE)
    if by_name := [case for case in cases if case.no_level_is_safe]:
        told.append(
            Caution(
                "no-level-is-safe",
                f"At no running level does the sump hold all that comes down ({', '.join(c.name for c in by_name)}).",
                show(by_name[0].rim, "length"),
            )
        )
    return told
