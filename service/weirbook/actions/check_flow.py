"""What a system in flow is asked besides: what its drains carry, and where the water goes when its pumps stop."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.answer_for import answer_for
from weirbook.actions.solve_flow import SystemFlow, WhatIf, solve_flow
from weirbook.actions.system_facts import SystemFacts
from weirbook.engine.catalogue import calculator
from weirbook.engine.shape import Answer, Caution
from weirbook.engine.units import Quantity
from weirbook.errors import Invalid
from weirbook.record.places import Sump, Tank


@dataclass(frozen=True)
class DrainCheck:
    """What the drains of a tank carry, with drain number `blocked` carrying nothing; and, where it is too little, what
    then. Answers, or None and why not."""

    drains: Answer | None
    overflow: Answer | None
    blocked: int | None
    why: str | None


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
        one.path: _drain_check(session, facts, one, flow, blocked if one is held else None)
        for one in facts.tanks
        if (one.overflow or {}).get("drains")
    }
    stops = None
    if stopped:
        running = solve_flow(facts, dataclasses.replace(what_if, all_off=False, pumps_off=frozenset()))
        stops = [
            _stop_check(session, facts, sump, running, what_if)
            for sump in facts.sumps
            if sump.drains_to_id is None and not sump.closed
        ]
    told = [] if stops is None else [one.answer for one in stops if one.answer is not None]
    cautions = {caution.code: caution for answered in told for caution in answered.cautions}
    return FlowChecks(drains, stops, tuple(cautions.values()))


def _tank_blocked(facts: SystemFacts, handle: str | None) -> Tank:
    drained = [one for one in facts.tanks if (one.overflow or {}).get("drains")]
    offered = ", ".join(one.handle for one in drained) or "none"
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
    session: Session, facts: SystemFacts, tank: Tank, flow: SystemFlow, blocked: int | None
) -> DrainCheck:
    told = (tank.overflow or {})["drains"]
    if blocked is not None and blocked > len(told):
        raise Invalid(f"{tank.handle} has {len(told)} drains recorded: 1 to {len(told)}.", "/drain")
    passes = next(one.over_edge for one in flow.solved.brimmed if one.name == tank.path)
    if not passes:
        return DrainCheck(None, None, blocked, "Nothing comes over the edge.")
    said: dict[str, Any] = {"flow": Quantity(passes, "m3/s").text()}
    if blocked is not None:
        said["drains"] = [{"name": f"drain {blocked}", "valve_opening": "0 %"}]
    try:
        answered = answer_for(session, calculator("drain-capacity"), tank, said, at_ms=facts.at_ms)
        if blocked is None or answered.values["all_capacity"] is None:
            return DrainCheck(answered, None, blocked, None)
        if answered.values["all_capacity"] >= passes:
            return DrainCheck(answered, None, blocked, None)
        overflow = answer_for(session, calculator("overflow-blocked"), tank, {}, at_ms=facts.at_ms)
        return DrainCheck(answered, overflow, blocked, None)
    except Invalid as trouble:
        return DrainCheck(None, None, blocked, _first(trouble))


def _first(trouble: Invalid) -> str:
    return trouble.faults[0].message if trouble.faults else trouble.message


def _stop_check(
    session: Session, facts: SystemFacts, sump: Sump, running: SystemFlow, what_if: WhatIf
) -> StopCheck:
    filled = next(one for one in running.solved.filled if one.name == sump.path)
    said: dict[str, Any] = {}
    if what_if.levels and filled.sections and filled.sections[-1].depth is not None:
        said["return_depth"] = Quantity(filled.sections[-1].depth, "m").text()
    if what_if.flows and filled.inflow > 0:
        said["flow"] = Quantity(filled.inflow, "m3/s").text()
    try:
        answered = answer_for(session, calculator("stop-flow"), sump, said, at_ms=facts.at_ms)
    except Invalid as trouble:
        return StopCheck(sump.path, None, _first(trouble))
    return StopCheck(sump.path, answered, None)
