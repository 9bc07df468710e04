"""A system's water in flow, solved from its record as one: what moves where, how high it stands, what is not known."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from weirbook.actions.lay_plumbing import Missing, ends_of, lay_plumbing, line_of
from weirbook.actions.system_facts import SystemFacts
from weirbook.engine.relations.plumbing import (
    CLOSED,
    GIVEN,
    MEASURED,
    RATED,
    WORKED_OUT,
    Lift,
    Plumbing,
    Solved,
    Trough,
)
from weirbook.engine.relations.steady_flow import STILL_FLOW, heights_of, recorded_heights, solve
from weirbook.engine.saying import near
from weirbook.engine.shape import Assumption
from weirbook.errors import Invalid
from weirbook.record.equipment import Pump
from weirbook.record.places import Section, Sump, System, Tank


@dataclass(frozen=True)
class WhatIf:
    """What to reckon with instead of the record. Pumps by handle, sections by handle, SI."""

    pumps_off: frozenset[str] = frozenset()
    all_off: bool = False
    levels: Mapping[str, float] = field(default_factory=dict)
    flows: Mapping[str, float] = field(default_factory=dict)
    openings: Mapping[str, float] = field(default_factory=dict)
    temperature: float | None = None
    as_clean: bool = False
    """Work flows out from curves and lines, whatever was measured."""


RECORDED = WhatIf()
SAID_TEMPERATURE = Assumption("The water's temperature as said.", "given")


@dataclass(frozen=True)
class SystemFlow:
    """A system solved. `plumbing` names places by their path and pumps by handle, as `solved` does."""

    system: System
    plumbing: Plumbing
    solved: Solved
    tanks: Mapping[str, Tank]
    sumps: Mapping[str, Sump]
    sections: Mapping[str, Section]
    pumps: Mapping[str, Pump]
    circulating: tuple[Pump, ...]
    running: Mapping[int, bool]
    uses: Mapping[str, str]
    assumed: tuple[Assumption, ...]
    missing: tuple[Missing, ...]

    def runs(self, pump: Pump) -> bool:
        return self.running.get(pump.id, False)

    def ends(self, pump: Pump) -> Sequence[str]:
        """The places that a pump's line leads to."""
        return ends_of(pump)

    @property
    def heights(self) -> Mapping[str, float]:
        """Of the water in flow above the floor of the room, m, by place, where it is known."""
        return heights_of(self.plumbing, self.solved)

    @property
    def recorded_heights(self) -> Mapping[str, float]:
        """The same as the record has it."""
        return recorded_heights(self.plumbing)


def solve_flow(facts: SystemFacts, what_if: WhatIf = RECORDED) -> SystemFlow:
    """The system's flows and levels at the facts' instant; as recorded solved once for the same facts.

    Raises Invalid for a what-if that fits nothing.
    """
    if what_if != RECORDED:
        return _solved(facts, what_if)
    if (kept := facts.worked_out.get(SystemFlow)) is None:
        kept = facts.worked_out[SystemFlow] = _solved(facts, RECORDED)
    assert isinstance(kept, SystemFlow)
    return kept


def _solved(facts: SystemFacts, what_if: WhatIf) -> SystemFlow:
    _refuse_strangers(facts, what_if)
    laid = lay_plumbing(facts)
    plumbing = _with(laid.plumbing, facts, what_if)
    solved = _as_given(solve(plumbing), what_if)
    told = list(_rests_on(facts, what_if, solved))
    return SystemFlow(
        facts.system,
        plumbing,
        solved,
        {tank.path: tank for tank in facts.tanks},
        {sump.path: sump for sump in facts.sumps},
        {one.path: one for one in facts.sections},
        {pump.handle: pump for pump in facts.pumps},
        tuple(pump for pump in facts.pumps if pump.circulates),
        facts.running,
        {one.path: facts.uses.get(one.id, one.use) for one in facts.sections},
        (
            laid.temperature if what_if.temperature is None else SAID_TEMPERATURE,
            *(one for one in told if isinstance(one, Assumption)),
        ),
        (*laid.missing, *(one for one in told if isinstance(one, Missing))),
    )


def _as_given(solved: Solved, what_if: WhatIf) -> Solved:
    """What was said instead of the record counts as a measured flow does, and is named for what it is."""
    return dataclasses.replace(
        solved,
        lifted=tuple(
            dataclasses.replace(one, basis=GIVEN)
            if one.basis == MEASURED and one.name in what_if.flows
            else one
            for one in solved.lifted
        ),
    )


def _refuse_strangers(facts: SystemFacts, asked: WhatIf) -> None:
    """Raise Invalid for pumps and sections of a what-if that the system doesn't have."""
    pumps = [pump.handle for pump in facts.pumps if not pump.circulates]
    lasts = [rows[-1].handle for sump in facts.sumps if (rows := facts.sections_of(sump))]
    for at, said, known, words in (
        ("/pump", asked.pumps_off, pumps, "a pump that moves water in"),
        ("/line", {*asked.flows, *asked.openings}, pumps, "a pump that moves water in"),
        ("/section", asked.levels, lasts, "the last section of a sump of"),
    ):
        for name in said:
            if name not in known:
                offered = ", ".join(known) or "none"
                raise Invalid(f"'{name}' is not {words} {facts.system.handle}. There are: {offered}.", at)


def _with(plumbing: Plumbing, facts: SystemFacts, what_if: WhatIf) -> Plumbing:
    """The plumbing with what was said in place of the record."""
    if what_if == RECORDED:
        return plumbing
    pumps = {pump.handle: pump for pump in facts.pumps}
    levels = {f"{Section.PLURAL}/{handle}": depth for handle, depth in what_if.levels.items()}
    temperature = plumbing.temperature if what_if.temperature is None else what_if.temperature
    return dataclasses.replace(
        plumbing,
        troughs=tuple(_trough_with(one, levels) for one in plumbing.troughs),
        lifts=tuple(_lift_with(one, pumps[one.name], what_if) for one in plumbing.lifts),
        temperature=temperature,
    )


def _trough_with(trough: Trough, levels: Mapping[str, float]) -> Trough:
    if not trough.compartments or (depth := levels.get(trough.compartments[-1].cell.name)) is None:
        return trough
    if depth > trough.height:
        raise Invalid(
            f"The rim of {trough.name} stands at {near(trough.height, 'length', 'cm')}: no level is above that.",
            "/level",
        )
    last = dataclasses.replace(trough.compartments[-1], depth=depth)
    return dataclasses.replace(trough, compartments=(*trough.compartments[:-1], last), last_depth=depth)


def _lift_with(lift: Lift, pump: Pump, what_if: WhatIf) -> Lift:
    opening = what_if.openings.get(lift.name)
    if opening is not None:
        if lift.curve is None:
            raise Invalid(
                f"What a valve does to {lift.name} can't be worked out: record its curve, or say flow=… instead.",
                "/valve_opening",
            )
        trunk, outlets = line_of(pump, opening)
        lift = dataclasses.replace(lift, trunk=trunk, outlets=outlets, measured=None)
    if what_if.as_clean and lift.curve is not None and lift.piped:
        lift = dataclasses.replace(lift, measured=None)
    return dataclasses.replace(
        lift,
        measured=what_if.flows.get(lift.name, lift.measured),
        off=lift.off or what_if.all_off or lift.name in what_if.pumps_off,
    )


def _rests_on(facts: SystemFacts, what_if: WhatIf, solved: Solved) -> Iterator[Assumption | Missing]:
    """What the flows rest on, and what was not recorded to work them out."""
    pumps = {pump.handle: pump for pump in facts.pumps}
    for one in solved.lifted:
        pump = pumps[one.name]
        if one.basis == MEASURED:
            yield Assumption(f"{one.name}: measured {pump.measured_on}.", "record")
        elif one.basis == WORKED_OUT:
            yield Assumption(f"{one.name}: worked out from its curve and line.", "record")
        elif one.basis == RATED:
            words = f"{one.name}: rated, not measured nor worked out; real flow is less."
            yield Assumption(words, "record")
        elif one.basis is None:
            yield Missing(f"pumps/{one.name}", f"its flow: none is measured or rated, and {one.why}")
        if one.why is not None and one.basis in (MEASURED, GIVEN, RATED):
            yield Missing(f"pumps/{one.name}", f"what its clean flow would be worked out from: {one.why}")
        if one.flow is not None and not one.deliveries:
            yield Missing(f"pumps/{one.name}", f"how its flow parts: {one.why}")
    for brimmed in solved.brimmed:
        if (lacking := solved.lacking(brimmed)) > STILL_FLOW:
            words = f"what fills it: {near(lacking, 'flow', 'L/h')} more is pumped out of it than comes in"
            yield Missing(brimmed.name, words)
    for filled in solved.filled:
        if filled.why not in (None, CLOSED) and filled.inflow:
            yield Missing(filled.name, f"its levels: {filled.why}")
    if not solved.settled:
        yield Assumption(
            "The flows had not come to rest after 40 rounds; the last round is shown.", "default"
        )
