"""What an answer on a fading flow takes for granted and warns of, and where it comes from."""

from __future__ import annotations

from weirbook.engine.calculators.fade_inputs import USUAL_LEAST, Inputs
from weirbook.engine.shape import Assumption, Caution, Source, show

MEASURED_WITHIN = 0.05
"""A bucket and a watch are seldom nearer: less than this lost may be no loss. Common practice, no source."""


def assumptions(given: Inputs, paced: bool) -> list[Assumption]:
    words = "Levels, valves and speed were the same when it was clean."
    told = [Assumption(words, "default")]
    if given.least_share == USUAL_LEAST:
        words = "Cleaning is due below 80 % of the clean flow: common practice, no source."
        told.append(Assumption(words, "common practice"))
    words = "Half of what may be lost is the mark from which to watch it: common practice, no source."
    told.append(Assumption(words, "common practice"))
    if paced:
        told.append(Assumption("The flow goes on fading at the same pace.", "default"))
    if given.pump_curve and given.static_head is not None:
        words = (
            "All losses rise with the square of the flow. The bore left is that of a whole line narrowed alike; its"
            " loss goes with the fifth power of the bore."
        )
        told.append(Assumption(words, "default"))
    return told


def cautions(given: Inputs, share: float, obstructed: bool) -> list[Caution]:
    told = []
    if share > 1 + MEASURED_WITHIN:
        words = (
            "More flows than when it was clean: see whether levels, valves or the way of measuring changed."
        )
        told.append(Caution("more-than-clean", words, show(given.clean_flow, "flow")))
    elif 1 - share < MEASURED_WITHIN:
        words = (
            "So small a loss is within what two measurements differ by (common practice: 5 %): trust neither it nor a"
            " pace that rests on it."
        )
        told.append(Caution("within-measuring", words, show(MEASURED_WITHIN, "fraction")))
    if given.power_now is not None:
        words = (
            "Power tells a flow only roughly, and with some pumps not at all: dirt in the impeller raises it, worn"
            " blades and air lower it. Time a bucket before you act on it."
        )
        told.append(Caution("power-is-a-hint", words))
    if given.pump_curve and given.static_head is not None and not obstructed:
        words = (
            "Curve and lift don't fit these flows, so what the line costs more can't be told: a worn pump, another"
            " lift, or nothing lost."
        )
        told.append(Caution("curve-does-not-fit", words))
    return [*told, OTHER_CAUSES, BEFORE_CLEANING]


OTHER_CAUSES = Caution(
    "other-causes",
    "A lower level at the intake, a half-shut valve, a worn impeller or air fade a flow as clogging does: look before"
    " you clean. A strainer or leaf can stop it at once, whatever the pace says.",
)
BEFORE_CLEANING = Caution(
    "before-cleaning",
    "Isolate the pump before hands go into the water, with a residual-current device (GFCI) on its circuit. After it stood for"
    " hours, rinse a canister or pipe before water from it goes back to the animals, and look for leaks after.",
)

SOURCES = (
    Source(
        "Elementary hydraulics",
        None,
        "Continuity; losses of a pipe in turbulent flow with the square of the flow",
        "any handbook of hydraulics",
        "With a constant friction factor the loss goes with the fifth power of the bore (Darcy and Weisbach).",
    ),
    Source(
        "Common practice",
        None,
        "When to clean a pump line",
        "no source",
        "80 % of the clean flow, power as a straight measure of the flow, 5 % of measuring: none has a source.",
    ),
)
