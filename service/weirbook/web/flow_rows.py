"""A solved system as the JSON that shows it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Set
from typing import Any
from urllib.parse import quote

from weirbook.actions.check_flow import DrainCheck, FlowChecks, StopCheck
from weirbook.actions.flow_doubts import doubtful
from weirbook.actions.section_pace import Pace, section_paces
from weirbook.actions.solve_flow import SystemFlow
from weirbook.engine.relations.plumbing import Brimmed, Filled, Lifted, Passed
from weirbook.engine.units import KINDS, Quantity

Row = dict[str, Any]

NO_FLOW = 1e-9
"""Of what comes: less than that is rounding."""


Show = Callable[[float | None, str], Row | None]


class Shower:
    """Turns SI floats into quantities in the units that the room prefers."""

    def __init__(self, units: Mapping[str, str]) -> None:
        self.units = units

    def __call__(self, si: float | None, kind: str) -> Row | None:
        if si is None:
            return None
        unit = self.units.get(kind) or ("min" if kind == "time" else KINDS[kind].default)
        return Quantity(si, KINDS[kind].si).to(unit, kind).as_json()


def _unknown(si: float | None, kind: str) -> Row | None:
    """Shows nothing: what rests on a pump whose flow nobody knows."""
    return None


def flow_row(flow: SystemFlow, checks: FlowChecks, what_if: Mapping[str, Any], at: str, show: Shower) -> Row:
    """The whole of it. What rests on a pump whose flow is unknown is null."""
    doubted = doubtful(flow)
    return {
        "system": flow.system.handle,
        "at": at,
        "what_if": dict(what_if),
        "temperature": show(flow.plumbing.temperature, "temperature"),
        "pumps": [_pump(flow, one, show) for one in flow.solved.lifted],
        "circulation": [
            {"pump": pump.handle, "tank": pump.to_tank.path, "running": flow.runs(pump)}
            for pump in flow.circulating
            if pump.to_tank is not None
        ],
        "tanks": [
            _tank(flow, one, checks.drains.get(one.name), _unknown if one.name in doubted else show, show)
            for one in flow.solved.brimmed
        ],
        "sumps": [_sump(flow, one, doubted, show) for one in flow.solved.filled],
        "stopped": None if checks.stops is None else [_stopped(one, show) for one in checks.stops],
        "assumptions": [{"text": one.text, "origin": one.origin} for one in flow.assumed],
        "missing": [{"of": one.of, "what": one.what} for one in flow.missing],
        "cautions": [{"code": one.code, "text": one.text, "limit": one.limit} for one in checks.cautions],
    }


def answer_path(place: str, calculator: str, said: Iterable[tuple[str, str]] = ()) -> str:
    """Where an answer stands, with what-ifs as they were said."""
    query = "&".join(f"{name}={quote(value)}" for name, value in said)
    return f"/v1/{place}/answers/{calculator}" + (f"?{query}" if query else "")


def _pump(flow: SystemFlow, one: Lifted, show: Shower) -> Row:
    duty = one.duty
    curve = next(lift.curve for lift in flow.plumbing.lifts if lift.name == one.name)
    return {
        "pump": one.name,
        "from": one.drawn,
        "flow": show(one.flow, "flow"),
        "basis": one.basis,
        "clean_flow": show(None if duty is None else duty.flow, "flow"),
        "head": show(None if duty is None else duty.head, "length"),
        "static_head": show(None if duty is None else duty.static_head, "length"),
        "share_of_shut_off_head": show(
            None if duty is None or curve is None else duty.head / curve.shut_off, "fraction"
        ),
        "outlets": [
            {
                "name": end.name,
                "to": end.to,
                "flow": show(end.flow, "flow"),
                "velocity": show(end.velocity, "velocity"),
                "loss": show(end.loss, "length"),
            }
            for end in one.deliveries
        ],
        "why": one.why,
        "answer": answer_path(f"pumps/{one.name}", "pump-point") if duty is not None else None,
    }


def _tank(flow: SystemFlow, one: Brimmed, drains: DrainCheck | None, sure: Show, show: Shower) -> Row:
    head, tank = one.head, flow.tanks[one.name]
    told = [] if sure is _unknown else [("flow", Quantity(one.over_edge, "m3/s").to("L/h", "flow").text())]
    answers = [answer_path(one.name, "weir-head", told)] if tank.overflow else []
    if drains is not None:
        answers.append(answer_path(one.name, "drain-capacity", told))
    return {
        "tank": one.name,
        "inflow": sure(one.inflow, "flow"),
        "over_edge": sure(one.over_edge, "flow"),
        "head": sure(None if head is None else head.value, "length"),
        "head_low": sure(None if head is None else head.low, "length"),
        "head_high": sure(None if head is None else head.high, "length"),
        "water_depth": sure(one.depth, "length"),
        "freeboard": sure(one.freeboard, "length"),
        "drains_to": one.drains_to,
        "drains": None if drains is None else _drains(drains, show),
        "answers": answers,
    }


def _drains(one: DrainCheck, show: Shower) -> Row:
    values = {} if one.drains is None else one.drains.values
    spill = None if one.overflow is None else one.overflow.values
    return {
        "verdict": one.verdict,
        **{
            name: show(values.get(name), "flow")
            for name in ("in_use_capacity", "blocked_capacity", "standby_capacity", "all_capacity")
        },
        "blocked": one.blocked,
        "overflow": None
        if spill is None
        else {
            "verdict": spill["verdict"],
            "rise": show(spill["rise"], "length"),
            "margin": show(spill["margin"], "length"),
            "spilled": show(spill["spilled"], "volume"),
        },
        "why": one.why,
    }


def _sump(flow: SystemFlow, one: Filled, doubted: Set[str], show: Shower) -> Row:
    paces = section_paces(flow, one)
    sure: Show = show if doubted.isdisjoint((one.name, *(each.name for each in one.sections))) else _unknown
    height = flow.sumps[one.name].height.si("length")
    return {
        "sump": one.name,
        "inflow": sure(one.inflow, "flow"),
        "surplus": sure(one.left if abs(one.left) > NO_FLOW * one.inflow else 0.0, "flow"),
        "why": one.why,
        "sections": [
            _section(flow, passed, paces[passed.name], height, _unknown if passed.name in doubted else show)
            for passed in one.sections
        ],
        "answers": [answer_path(one.name, name) for name in ("baffle-levels", "chamber-flow", "stop-flow")],
    }


def _section(flow: SystemFlow, one: Passed, pace: Pace, height: float, show: Show) -> Row:
    section, stand = flow.sections[one.name], one.stand
    known = stand is not None and stand.surface is not None
    return {
        "section": one.name,
        "use": flow.uses[one.name],
        "direction": section.direction,
        "arrives": show(one.arrives, "flow"),
        "flow": show(one.flow, "flow"),
        "depth": show(one.depth, "length"),
        "recorded_depth": None if section.running_depth is None else section.running_depth.as_json(),
        "freeboard": show(None if one.depth is None else height - one.depth, "length"),
        "gate_loss": show(stand.gate_loss if known and stand else None, "length"),
        "bed_loss": show(stand.bed_loss if known and stand else None, "length"),
        "passing": stand.passing if known and stand else None,
        "one_with_next": stand.one_with_next if known and stand else None,
        "mean_velocity": show(pace.mean_velocity, "velocity"),
        "inlet_velocity": show(pace.inlet_velocity, "velocity"),
        "residence_time": show(pace.residence_time, "time"),
        "over_limits": list(pace.over_limits),
    }


def _stopped(one: StopCheck, show: Shower) -> Row:
    values = {} if one.answer is None else one.answer.values
    cases = values.get("cases", [])
    return {
        "sump": one.sump,
        "verdict": values.get("verdict", "unknown"),
        "worst_case": values.get("worst_case"),
        "highest_safe_depth": show(values.get("highest_safe_level"), "length"),
        "restart_verdict": values.get("restart_verdict", "unknown"),
        "cases": [
            {
                "case": case["name"],
                "verdict": case["verdict"],
                "falls": show(case["falls"], "volume"),
                "margin": show(case["margin"], "length"),
                "spilled": show(case["spilled"], "volume"),
            }
            for case in cases
        ],
        "levels": [
            {"section": row["section"], "level": show(row["level"], "length")}
            for row in values.get("levels", [])
            if row["case"] == cases[0]["name"]
        ],
        "why": one.why,
        "answer": answer_path(one.sump, "stop-flow") if one.why is None else None,
    }
