"""What a system in flow is asked besides: what its drains carry, and where the water goes when its pumps stop."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.answer_for import answer_for
from weirbook.actions.falling_water import falling_rows
from weirbook.actions.flow_doubts import doubtful
from weirbook.actions.solve_flow import RECORDED, SystemFlow, WhatIf, solve_flow
from weirbook.actions.system_facts import SystemFacts
from weirbook.engine.calculators.chamber_verdicts import OK, OVER, UNKNOWN
from weirbook.engine.calculators.drain_care import against
from weirbook.engine.catalogue import calculator
from weirbook.engine.saying import near
from weirbook.engine.shape import Answer, Caution
from weirbook.engine.units import Quantity
from weirbook.errors import Invalid
from weirbook.record.places import Sump, Tank


@dataclass(frozen=True)
class DrainCheck:
    """What the drains of a tank carry; with drain number `blocked` carrying nothing, whether the rest does, and where
    it doesn't, what then. Answers, or None and why not."""

    drains: Answer | None
    overflow: Answer | None
    blocked: int | None
    verdict: str
    why: str

    def carries_less_than(self, flow: float) -> bool:
        """Whether all its drains that are open together carry less; False where that isn't known."""
        carried = None if self.drains is None else self.drains.values["all_capacity"]
        return carried is not None and carried < flow


@dataclass(frozen=True)
class StopCheck:
    """Where the water of a sump's tanks goes when its pumps stop; the answer, or why there is none."""

    sump: str
    answer: Answer | None
    why: str | None


@dataclass(frozen=True)
class FlowChecks:
    """`stops` is None where the pumps were not said to stop."""

    drains: Mapping[str, DrainCheck]
    stops: Sequence[StopCheck] | None
    cautions: Sequence[Caution]


def check_flow(
    session: Session,
    facts: SystemFacts,
    flow: SystemFlow,
    what_if: WhatIf,
    *,
    tank: str | None = None,
    blocked: int | None = None,
    stopped: bool = False,
) -> FlowChecks:
    """The checks of a system as it was solved. `blocked` numbers a drain of `tank` that carries nothing.

    Raises Invalid where no such drain is recorded.
    """
    held = _tank_blocked(facts, tank) if blocked is not None else None
    drains = {
        one.path: _drain_check(session, facts, one, flow, what_if, blocked if one is held else None)
        for one in facts.tanks
        if (one.overflow or {}).get("drains")
    }
    stops = None
    if stopped:
        running = solve_flow(facts, dataclasses.replace(what_if, all_off=False, pumps_off=frozenset()))
        stops = [
            stop_check(session, facts, sump, running, what_if)
            for sump in facts.sumps
            if sump.drains_to_id is None and not sump.closed
        ]
    told = [] if stops is None else [one.answer for one in stops if one.answer is not None]
    cautions = {caution.code: caution for answered in told for caution in answered.cautions}
    cautions |= {one.code: one for one in (*_cautions(flow), *_where_it_spills(flow, drains))}
    return FlowChecks(drains, stops, tuple(cautions.values()))


def _cautions(flow: SystemFlow) -> Iterator[Caution]:
    """What to beware of in the flow itself."""
    back = [
        f"{one.name} ({end.name})" for one in flow.solved.lifted for end in one.deliveries if end.flow < 0
    ]
    if back:
        yield Caution(
            "runs-back",
            f"Water runs back through: {', '.join(back)}. With its valve shut or its head too low a line that parts"
            " joins its tanks: the higher one empties into the lower.",
        )
    depths = {passed.name: passed.depth for filled in flow.solved.filled for passed in filled.sections}
    for one in flow.solved.lifted:
        intake, depth = flow.pumps[one.name].intake_height, depths.get(one.drawn)
        if intake is not None and depth is not None and one.flow and depth <= intake.si("length"):
            yield Caution(
                "draws-air",
                f"The water stands no higher than the intake of {one.name}: it draws air, overheats, and sends less"
                " than is shown.",
                intake.text(),
            )


def _where_it_spills(flow: SystemFlow, drains: Mapping[str, DrainCheck]) -> Iterator[Caution]:
    """Where the levels that are shown can't last: steady flow knows neither a rim nor drains that are too small."""
    doubted = doubtful(flow)
    backed_up = [
        one.name
        for one in flow.solved.brimmed
        if one.name in drains
        and one.name not in doubted
        and drains[one.name].carries_less_than(one.over_edge)
    ]
    if backed_up:
        yield Caution(
            "drains-carry-less",
            f"More comes than all open drains carry: {', '.join(backed_up)}. Its water rises until it spills or the pump"
            " draws air; levels and flows are shown as if the drains carried it.",
        )
    tanks = [
        one.name
        for one in flow.solved.brimmed
        if one.freeboard is not None and one.freeboard < 0 and one.name not in doubted
    ]
    sections = [
        passed.name
        for filled in flow.solved.filled
        for passed in filled.sections
        if (passed.depth or 0.0) > flow.sumps[filled.name].height.si("length") and passed.name not in doubted
    ]
    if tanks or sections:
        yield Caution(
            "over-the-rim",
            f"The water would stand above the rim: {', '.join((*tanks, *sections))}. It spills; what is shown beyond"
            " that is only arithmetic.",
        )


def _tank_blocked(facts: SystemFacts, handle: str | None) -> Tank:
    drained = [one for one in facts.tanks if (one.overflow or {}).get("drains")]
    if not drained:
        raise Invalid(
            f"No tank of {facts.system.handle} has drains recorded: record them in its overflow.", "/drain"
        )
    offered = ", ".join(one.handle for one in drained)
    if handle is None:
        if len(drained) == 1:
            return drained[0]
        raise Invalid(f"Say which tank's drain is meant: tank=… out of {offered}.", "/tank")
    for one in drained:
        if one.handle == handle:
            return one
    raise Invalid(
        f"'{handle}' has no drains recorded in {facts.system.handle}. There are: {offered}.", "/tank"
    )


def _drain_check(
    session: Session,
    facts: SystemFacts,
    tank: Tank,
    flow: SystemFlow,
    what_if: WhatIf,
    blocked: int | None,
) -> DrainCheck:
    told = (tank.overflow or {})["drains"]
    if blocked is not None and blocked > len(told):
        raise Invalid(f"{tank.handle} has {len(told)} drains recorded: 1 to {len(told)}.", "/drain")
    passes = next(one.over_edge for one in flow.solved.brimmed if one.name == tank.path)
    if not passes:
        return DrainCheck(None, None, blocked, OK, "Nothing comes over the edge.")
    said: dict[str, Any] = {"flow": Quantity(passes, "m3/s").text()}
    if blocked is not None:
        said["drains"] = [{"name": f"drain {blocked}", "valve_opening": "0 %"}]
    try:
        answered = answer_for(session, calculator("drain-capacity"), tank, said, at_ms=facts.at_ms)
        rest = answered.values["all_capacity"]
        if blocked is None or rest is None:
            return DrainCheck(answered, None, blocked, answered.values["verdict"], answered.values["why"])
        verdict = OK if rest >= passes else OVER
        carries = (
            f"the others carry {near(rest, 'flow', 'L/h')}" if rest else "none of the others carries anything"
        )
        why = f"With drain {blocked} blocked {carries}, and {against(passes, verdict)}."
        if verdict == OK:
            return DrainCheck(answered, None, blocked, verdict, why)
        overflow = answer_for(
            session,
            calculator("overflow-blocked"),
            tank,
            _of_its_sump(flow, tank, what_if),
            at_ms=facts.at_ms,
        )
        return DrainCheck(answered, overflow, blocked, verdict, why)
    except Invalid as trouble:
        return DrainCheck(None, None, blocked, UNKNOWN, _first(trouble))


def _of_its_sump(flow: SystemFlow, tank: Tank, what_if: WhatIf) -> dict[str, Any]:
    """What a what-if says otherwise of the sump that feeds a tank."""
    if what_if == RECORDED:
        return {}
    for lifted in flow.solved.lifted:
        if any(end.to == tank.path for end in lifted.deliveries):
            for filled in flow.solved.filled:
                last = filled.sections[-1] if filled.sections else None
                if (
                    last is not None
                    and last.name == lifted.drawn
                    and last.depth is not None
                    and filled.inflow > 0
                ):
                    return {
                        "return_depth": Quantity(last.depth, "m").text(),
                        "sump_flow": Quantity(filled.inflow, "m3/s").text(),
                    }
    return {}


def _first(trouble: Invalid) -> str:
    return trouble.faults[0].message if trouble.faults else trouble.message


def stop_check(
    session: Session, facts: SystemFacts, sump: Sump, running: SystemFlow, what_if: WhatIf
) -> StopCheck:
    """Where the water of a sump goes when its pumps stop, out of the `running` system of that what-if."""
    filled = next(one for one in running.solved.filled if one.name == sump.path)
    said: dict[str, Any] = {}
    if what_if.levels and filled.sections and filled.sections[-1].depth is not None:
        said["return_depth"] = Quantity(filled.sections[-1].depth, "m").text()
    if (what_if.flows or what_if.openings or what_if.as_clean) and filled.inflow > 0:
        said["flow"] = Quantity(filled.inflow, "m3/s").text()
        rows = falling_rows(running, sump)
        said["tanks"] = [{"name": row["name"], "head": row["head"].text()} for row in rows if "head" in row]
    try:
        answered = answer_for(session, calculator("stop-flow"), sump, said, at_ms=facts.at_ms)
    except Invalid as trouble:
        return StopCheck(sump.path, None, _first(trouble))
    return StopCheck(sump.path, answered, None)
