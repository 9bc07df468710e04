"""Whether water goes where it should: pumps that have faded, drains that carry too little, what spills when something fails."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Set
from types import MappingProxyType
from typing import Any
from urllib.parse import quote

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.answer_for import answer_for
from weirbook.actions.check_flow import stop_check
from weirbook.actions.finding import About, Finding, Verdict
from weirbook.actions.flow_doubts import doubtful
from weirbook.actions.lay_plumbing import CIRCLE
from weirbook.actions.solve_flow import SystemFlow, WhatIf, solve_flow
from weirbook.actions.system_facts import SystemFacts, facts_of
from weirbook.engine.calculators.stop_care import NARROW
from weirbook.engine.calculators.sump_water import FITS_WITHIN
from weirbook.engine.catalogue import calculator
from weirbook.engine.inputs import six
from weirbook.engine.relations.plumbing import BARE, CLOSED, MEASURED, STOPPED, Brimmed, Filled, Lifted
from weirbook.engine.saying import more, near
from weirbook.engine.shape import Answer
from weirbook.engine.units import KINDS, Quantity
from weirbook.errors import Invalid
from weirbook.record.base import Named
from weirbook.record.places import System

UNBALANCED = 0.01
"""Of the flow through a sump: a surplus below that is rounding of measured flows. Our own choice."""
CLEAN = WhatIf(as_clean=True)
ONCE_CLEAN = "Once pump and line are clean again:"
NOTHING_SAID: Mapping[str, Any] = MappingProxyType({})
WORDS = {"ok": Verdict.OK, "watch": Verdict.WATCH, "over": Verdict.ACT, "unknown": Verdict.UNKNOWN}


def judge_flow(session: Session, now_ms: int, only: System | None = None) -> Iterator[Finding]:
    """Findings on the water of every system in use, or of one alone: each is solved for them."""
    asked = sa.select(System).where(System.retired_at_ms.is_(None)).order_by(System.id)
    if only is not None:
        asked = asked.where(System.id == only.id)
    for system in session.scalars(asked).unique():
        facts = facts_of(session, system, now_ms)
        flow = solve_flow(facts)
        doubted, clean = doubtful(flow), _when_clean(facts, flow)
        yield from _lost(flow)
        for lifted in flow.solved.lifted:
            yield from _faded(session, facts, flow, lifted)
        for brimmed in flow.solved.brimmed:
            if brimmed.name not in doubted:
                yield from _held(flow, brimmed)
            yield from _drained(session, facts, flow, brimmed, clean)
            yield from _blocked(session, facts, flow, brimmed)
        for filled in flow.solved.filled:
            yield from _unmoved(flow, filled)
            yield from _levels(flow, filled, doubted)
            yield from _stopped(session, facts, flow, filled, clean)


def _lost(flow: SystemFlow) -> Iterator[Finding]:
    """Lines and overflows that lead to what is no longer there."""
    for one in flow.missing:
        if any(words in one.what for words in ("not in use here", "is not one of this system", CIRCLE)):
            place = (
                one.of
                if "/" in one.of and not one.of.startswith("pumps/")
                else f"systems/{flow.system.handle}"
            )
            subject = one.of.split("/")[-1]
            words = f"Unknown where the water goes: {one.what.removeprefix('where its water goes: ')}."
            yield Finding(
                Verdict.UNKNOWN, About.FLOW, place, flow.system.handle, subject, words, f"/v1/{one.of}"
            )


def _unmoved(flow: SystemFlow, filled: Filled) -> Iterator[Finding]:
    """A sump whose water no recorded pump moves: a loop without a pump is stagnant, or its pump isn't recorded."""
    sump = flow.sumps[filled.name]
    inside = {filled.name, *(one.name for one in filled.sections)}
    moved = any(
        lift.drawn in inside or inside & {end.to for end in lift.outlets} for lift in flow.plumbing.lifts
    )
    if moved or not filled.sections or filled.inflow:
        return
    words = f"Unknown, because no pump is recorded that moves the water of {sump.handle}."
    yield Finding(
        Verdict.UNKNOWN, About.FLOW, sump.path, flow.system.handle, sump.handle, words, f"/v1/{sump.path}"
    )


def _faded(session: Session, facts: SystemFacts, flow: SystemFlow, one: Lifted) -> Iterator[Finding]:
    """What clogging has taken of a pump's flow: only a measured flow can tell."""
    pump = flow.pumps[one.name]
    place = (pump.to_tank or pump.to_sump).path  # type: ignore[union-attr]
    if one.basis == STOPPED:
        return
    if one.basis != MEASURED:
        words = (
            f"Unknown, because no flow of {one.name} is measured: fill a bucket by the clock and record it."
        )
        yield Finding(
            Verdict.UNKNOWN, About.FLOW, place, flow.system.handle, one.name, words, f"/v1/pumps/{one.name}"
        )
        return
    answered = _asked(session, "flow-fade", pump, facts)
    about = (About.FLOW, place, flow.system.handle, one.name)
    if isinstance(answered, str):
        yield Finding(Verdict.UNKNOWN, *about, answered, f"/v1/pumps/{one.name}")
        return
    values = answered.values
    yield Finding(
        WORDS[values["verdict"]],
        *about,
        values["why"],
        f"/v1/pumps/{one.name}/answers/flow-fade",
        _shown(values["flow_now"], "flow"),
        _shown(values["least_flow"], "flow"),
    )


def _held(flow: SystemFlow, one: Brimmed) -> Iterator[Finding]:
    """A tank that can't hold its water while the pumps run: it empties, or stands above its rim."""
    tank = flow.tanks[one.name]
    origin = f"/v1/systems/{flow.system.handle}/flow"
    about = (About.LEVEL, tank.path, flow.system.handle, tank.handle)
    lacking = flow.solved.lacking(one)
    if lacking > UNBALANCED * one.inflow:
        words = (
            f"{near(lacking, 'flow', 'L/h')} more is pumped out of {tank.handle} than comes in: it empties, or a flow is not"
            " recorded."
        )
        yield Finding(Verdict.ACT, *about, words, origin, _shown(-lacking, "flow"))
    elif one.over_edge and one.freeboard is not None and one.freeboard < 0:
        words = (
            f"The water of {tank.handle} stands {near(-one.freeboard, 'length', 'cm')} above the rim while it runs: it"
            " spills. Run less flow, or lengthen or lower the overflow's edge."
        )
        yield Finding(Verdict.ACT, *about, words, origin, _shown(one.depth, "length"), tank.rim_height)


def _when_clean(facts: SystemFacts, flow: SystemFlow) -> SystemFlow | None:
    """The system as it will flow once what has faded is clean again; None where nothing is known to have faded."""
    faded = any(
        one.basis == MEASURED and one.duty is not None and one.flow is not None and one.duty.flow > one.flow
        for one in flow.solved.lifted
    )
    return solve_flow(facts, CLEAN) if faded else None


def _drained(
    session: Session, facts: SystemFacts, flow: SystemFlow, one: Brimmed, clean: SystemFlow | None
) -> Iterator[Finding]:
    """Whether its drains carry what comes, also with the largest blocked, and the standby alone."""
    tank = flow.tanks[one.name]
    if not (tank.overflow or {}).get("drains") or not one.over_edge:
        return
    about = (About.DRAIN, tank.path, flow.system.handle, tank.handle)
    answered = _asked(session, "drain-capacity", tank, facts)
    if isinstance(answered, str):
        yield Finding(Verdict.UNKNOWN, *about, answered, f"/v1/{tank.path}")
        return
    values, comes, when = answered.values, one.over_edge, None
    origin = f"/v1/{tank.path}/answers/drain-capacity"
    then = (
        0.0
        if clean is None
        else next(each.over_edge for each in clean.solved.brimmed if each.name == one.name)
    )
    if values["verdict"] == "ok" and then > comes:
        said = Quantity(then, "m3/s").to("L/h", "flow").text()
        again = _asked(session, "drain-capacity", tank, facts, {"flow": said})
        if not isinstance(again, str) and again.values["verdict"] != "ok":
            values, comes, when = again.values, then, ONCE_CLEAN
            origin = f"{origin}?flow={quote(said)}"
    parts = ("in_use", "standby", "blocked")
    over = next((part for part in parts if values[f"{part}_verdict"] == "over"), None)
    yield Finding(
        Verdict.WATCH if over == "blocked" or (over and when) else WORDS[values["verdict"]],
        *about,
        _joined(when, values["why"], values["mend"]),
        origin,
        _shown(values[f"{over or 'in_use'}_capacity"], "flow"),
        _shown(comes, "flow"),
    )


def _blocked(session: Session, facts: SystemFacts, flow: SystemFlow, one: Brimmed) -> Iterator[Finding]:
    """Whether a tank keeps what its pump lifts while its drains are stopped: pressing where there is but one drain."""
    tank = flow.tanks[one.name]
    spare = len((tank.overflow or {}).get("drains") or []) != 1
    if not tank.overflow or not one.over_edge:
        return
    about = (About.OVERFLOW, tank.path, flow.system.handle, tank.handle)
    answered = _asked(session, "overflow-blocked", tank, facts)
    if isinstance(answered, str):
        yield Finding(Verdict.UNKNOWN, *about, answered, f"/v1/{tank.path}")
        return
    values = answered.values
    yield Finding(
        Verdict.WATCH if values["verdict"] == "over" and spare else WORDS[values["verdict"]],
        *about,
        _joined(values["why"], values["mend"]),
        f"/v1/{tank.path}/answers/overflow-blocked",
        _shown(values["rise"], "length"),
        _shown(one.freeboard, "length"),
    )


def _levels(flow: SystemFlow, filled: Filled, doubted: Set[str]) -> Iterator[Finding]:
    """Whether a sump's water stays between its rims, and as much comes as is drawn."""
    sump = flow.sumps[filled.name]
    origin = f"/v1/systems/{flow.system.handle}/flow"
    about = (About.LEVEL, sump.path, flow.system.handle, sump.handle)
    if not doubted.isdisjoint((filled.name, *(one.name for one in filled.sections))):
        words = "Unknown, because the flow of a pump that feeds or empties it is not known."
        yield Finding(Verdict.UNKNOWN, *about, words, origin)
        return
    if (not filled.inflow and not filled.left) or filled.why in (CLOSED, BARE):
        return
    if (covered := _covered(flow, filled)) > 1 + FITS_WITHIN:
        words = (
            f"The sections of {sump.handle} cover {near(covered - 1, 'fraction', '%')} more than its floor: a length or"
            " width is wrong, and with it levels and volumes."
        )
        yield Finding(Verdict.UNKNOWN, *about, words, f"/v1/{sump.path}")
        return
    if abs(filled.left) > UNBALANCED * max(filled.inflow, abs(filled.left)):
        words = (
            f"{near(filled.left, 'flow', 'L/h')} more comes down than is pumped: it fills until it spills, or a flow is not"
            " recorded."
            if filled.left > 0
            else f"{near(-filled.left, 'flow', 'L/h')} more is pumped than comes down: it runs dry, or where a tank drains to"
            " is not recorded."
        )
        yield Finding(Verdict.ACT, *about, words, origin, _shown(filled.left, "flow"))
        return
    if filled.why is not None:
        yield Finding(Verdict.UNKNOWN, *about, f"Unknown, because {filled.why}.", origin)
        return
    height = sump.height.si("length")
    known = [one for one in filled.sections if one.stand is not None and one.stand.surface is not None]
    if len(known) < len(filled.sections):
        lacking = ", ".join(flow.sections[one.name].handle for one in filled.sections if one not in known)
        words = f"Unknown for {lacking}, because how water passes on (baffle) is not recorded all the way."
        yield Finding(Verdict.UNKNOWN, *about, words, origin)
        return
    highest = max(known, key=lambda one: one.depth or 0.0)
    depth, section = highest.depth or 0.0, flow.sections[highest.name]
    over, near_it = depth > height, height - depth < NARROW
    words = f"The water of {section.handle} stands {near(abs(height - depth), 'length', 'cm')} " + (
        "above the rim while it runs: it spills. Widen or lower the baffle after it, or run less flow."
        if over
        else "below the rim while it runs."
    )
    yield Finding(
        Verdict.ACT if over else Verdict.WATCH if near_it else Verdict.OK,
        *about,
        words,
        origin,
        _shown(depth, "length"),
        _shown(height, "length"),
    )


def _covered(flow: SystemFlow, filled: Filled) -> float:
    """How much of a sump's floor its sections take up; more than all can't be."""
    sump = flow.sumps[filled.name]
    trough = next(one for one in flow.plumbing.troughs if one.name == filled.name)
    floor = sump.length.si("length") * sump.width.si("length")
    return sum(one.cell.plan_area for one in trough.compartments) / floor


def _stopped(
    session: Session, facts: SystemFacts, flow: SystemFlow, filled: Filled, clean: SystemFlow | None
) -> Iterator[Finding]:
    """Whether a sump keeps what comes down when its pumps stop, also with an air hole clogged or a check valve stuck."""
    sump = flow.sumps[filled.name]
    sending = {lift.drawn for lift in flow.solved.lifted if lift.flow != 0}
    if (
        sending.isdisjoint(one.name for one in filled.sections)
        or sump.drains_to_id is not None
        or sump.closed
    ):
        return
    about = (About.SPILL, sump.path, flow.system.handle, sump.handle)
    answered = _asked(session, "stop-flow", sump, facts)
    if isinstance(answered, str):
        yield Finding(Verdict.UNKNOWN, *about, answered, f"/v1/{sump.path}")
        return
    values, origin, when = answered.values, f"/v1/{sump.path}/answers/stop-flow", None
    if values["verdict"] == "ok" and clean is not None:
        later = stop_check(session, facts, sump, clean, CLEAN).answer
        if later is not None and later.values["verdict"] == "over":
            values, when = later.values, ONCE_CLEAN
            origin = f"/v1/systems/{flow.system.handle}/flow?pump=off&clean=true"
    worst = next(case for case in values["cases"] if case["name"] == values["worst_case"])
    spills = values["verdict"] == "over"
    narrow = values["verdict"] == "ok" and values["least_margin"] < NARROW
    yield Finding(
        Verdict.WATCH if narrow or when else WORDS[values["verdict"]],
        *about,
        _joined(
            when, f"{_capital(worst['name'])}: {worst['why'][:1].lower()}{worst['why'][1:]}", worst["mend"]
        ),
        origin,
        _shown(values["most_spilled"], "volume") if spills else _shown(values["least_margin"], "length"),
        _shown(0.0, "volume") if spills else None,
    )
    recorded = values["cases"][0]
    if recorded["restart_verdict"] == "over":
        words = (
            "When the pump starts again the return section falls below its intake before the tanks are full: it draws"
            f" air. {more(recorded['missing_at_restart'], 'volume', 'L')} are missing: run it fuller, or lower the intake."
        )
        yield Finding(
            Verdict.WATCH,
            About.RESTART,
            *about[1:],
            words,
            origin,
            _shown(recorded["lowest_return_level"], "length"),
        )


def _asked(
    session: Session, name: str, subject: Named, facts: SystemFacts, said: Mapping[str, Any] = NOTHING_SAID
) -> Answer | str:
    """The answer of a calculator from the record, or what it lacks."""
    try:
        return answer_for(session, calculator(name), subject, said, at_ms=facts.at_ms)
    except Invalid as trouble:
        return " ".join(fault.message for fault in trouble.faults[:3]) or trouble.message


def _joined(*words: str | None) -> str:
    return " ".join(one for one in words if one)


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _shown(si: Any, kind: str) -> Quantity | None:
    if si is None:
        return None
    shown = Quantity(float(si), KINDS[kind].si).to(KINDS[kind].default, kind)
    return Quantity(six(shown.value), shown.unit)
