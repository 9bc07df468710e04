"""What an answer on a blocked overflow takes for granted and warns of, and how far it reaches."""

from __future__ import annotations

from weirbook.engine.calculators.overflow_case import Blocked
from weirbook.engine.calculators.stop_care import NARROW, NARROW_MARGIN
from weirbook.engine.shape import Assumption, Caution, Source


def assumptions(found: Blocked) -> list[Assumption]:
    """What was taken for granted."""
    words = [
        "All that the pump can lift goes into this tank: of several tanks on one sump any one may be the one that"
        " doesn't drain, and the worst is that all goes there.",
        "The pump draws the last section down to its intake; the sections before it give what stands above their"
        " crests, or all where they are freely joined.",
    ]
    if found.box:
        words.append(
            "The overflow box runs empty into the sump: true if its edge is what is blocked. If its drain is, the box"
            " takes that water instead, and there is more room than is said here."
        )
    if found.sump.untold_gates:
        words.append("A gate that isn't recorded lets all water through: the most that may be lifted.")
    return [Assumption(text, "default") for text in words]


def cautions(found: Blocked) -> list[Caution]:
    """What to beware of."""
    narrow = found.margin is not None and 0 <= found.margin < NARROW
    return [*CAUTIONS, *([NARROW_MARGIN] if narrow else [])]


CAUTIONS = (
    Caution(
        "second-overflow",
        "One leaf or snail stops a drain. Give the tank a second, independent way out that carries the whole flow of"
        " the pump as a plain gravity drain, and keep it clear.",
    ),
    Caution(
        "top-off-adds-water",
        "As the return section falls, a float valve lets in what stands behind it, and the pump lifts that too: it is"
        " not counted here. Take its reservoir off the margin; on the mains it never ends.",
    ),
    Caution(
        "pump-runs-dry",
        "With the drains stopped the pump ends up drawing air, overheats, and what lives in the sump stands dry.",
    ),
    Caution(
        "test-it",
        "Test it before you trust it: close the drain, stay beside it, and switch the pump off in good time.",
    ),
    Caution(
        "flooding-and-electricity",
        "Water over a rim finds sockets and lamps: residual-current device (GFCI) on every circuit, drip loops, sockets out"
        " of the way of spray. Wiring is work for a licensed electrician.",
    ),
    Caution(
        "more-weight",
        "A tank filled to its rim weighs more than it was set up for: a litre is a kilogram on stand and floor.",
    ),
)

LIMITS = (
    "Upright walls between the tank's water and its rim; braces and hoods take some of that room.",
    "The pump draws from the last section. What a standby drain carries is not taken off.",
    "Water at rest: waves go over the rim sooner.",
)

SOURCES = (
    Source(
        "Geometry",
        None,
        "Volumes of boxes and sections; water is conserved",
        "any handbook",
        "Held to the running volumes of drain-down cases worked by hand.",
    ),
)
