"""What clogging and growth have taken of a flow, and when cleaning falls due."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.fade_care import SOURCES, assumptions, cautions
from weirbook.engine.calculators.fade_inputs import Inputs, refuse_contradictions
from weirbook.engine.relations.hydraulics import GRAVITY
from weirbook.engine.relations.pump_curves import PumpCurve
from weirbook.engine.saying import near
from weirbook.engine.shape import (
    TEXT,
    Assumption,
    Calculator,
    Result,
    Step,
    Working,
    show,
    six,
    step,
)

OK, WATCH, OVER = "ok", "watch", "over"
DAY, WEEK = 86_400.0, 604_800.0

Known = tuple[float, list[Step], list[Assumption]]
"""The flow now, how it came about, and what that rests on."""


@dataclass(frozen=True)
class Obstruction:
    """What the line costs more than when clean, at the flow now, m; the same as K; bore left as a share."""

    head: float
    k: float | None
    bore: float


def solve(given: Inputs) -> Working:
    """How much of a clean flow is left, how fast it fades, and how long until it is too little.

    Equations: share = flow now / clean flow; pace = share lost / time since clean; due after (share - least share) /
    pace. Flow from a drawdown: volume / time; from power: clean flow x (P - P0) / (Pc - P0), straight between the
    power at shut-off P0 and at the clean flow Pc. Obstruction: head of the pump at the flow now - lift - (head at the
    clean flow - lift) x share2, as K = h 2 g / v2, and as bore = (clean loss / loss now)^(1/5) at one flow.
    Shapes and units: SI, see `Inputs`.
    Valid for: both flows at the same levels, valves and speed.
    Uncertainty: that of the two flows, each 2 to 5 % by bucket; by power 10 % and more. The pace is no law: growth
    is slow at first, a leaf stops a strainer at once.
    Raises: Invalid for no flow now or two, a drawdown or powers half told, a power below that at shut-off, a clean
    flow that draws no more than shut-off, a curve that crosses itself.
    Source: see SOURCES.
    Not covered: what clogged, and wear of the pump, which fades a flow just so.
    """
    refuse_contradictions(given)
    flow, steps, told = _flow_now(given)
    share = flow / given.clean_flow
    lost = 1 - share
    numbers = {
        "flow_now": show(flow, "flow"),
        "clean_flow": show(given.clean_flow, "flow"),
        "least_share_in_%": show(given.least_share, "fraction", "1"),
    }
    least = given.least_share * given.clean_flow
    steps += [
        step("share of the clean flow in %", "{flow_now} ÷ {clean_flow} × 100", numbers, share, "fraction"),
        step("flow lost", "{clean_flow} − {flow_now}", numbers, given.clean_flow - flow, "flow"),
        Step(
            "least flow = clean flow × least share",
            f"{numbers['clean_flow']} × {numbers['least_share_in_%']}",
            least,
            "flow",
        ),
    ]
    pace = _pace(given, lost)
    due = _due(given, share, pace)
    if pace is not None and given.days_since_clean is not None:
        steps += _pace_steps(given, share, pace, due)
    obstruction, more = _obstruction(given, flow, share)
    verdict, why = _verdict(given, share, due)
    values: dict[str, Any] = {
        "flow_now": flow,
        "share": share,
        "lost_share": lost,
        "lost_flow": given.clean_flow - flow,
        "least_flow": least,
        "verdict": verdict,
        "why": why,
        "pace": None if pace is None else pace * WEEK,
        "time_until_due": due,
        "lost_head": obstruction and obstruction.head,
        "lost_as_k": obstruction and obstruction.k,
        "bore_left": obstruction and obstruction.bore,
    }
    return Working(
        values,
        [*steps, *more],
        [*told, *assumptions(given, pace is not None)],
        cautions(given, share, obstruction is not None),
    )


def _flow_now(given: Inputs) -> Known:
    if given.measured_flow is not None:
        return given.measured_flow, [], []
    if given.drawdown_volume is not None and given.drawdown_time is not None:
        flow = given.drawdown_volume / given.drawdown_time
        numbers = {
            "volume": show(given.drawdown_volume, "volume"),
            "time": show(given.drawdown_time, "time", "s"),
        }
        words = "Nothing ran into or out of that volume but what the pump moved."
        steps = [step("flow now", "{volume} ÷ {time} × 3600", numbers, flow, "flow")]
        return flow, steps, [Assumption(words, "given")]
    assert given.power_now is not None and given.power_clean is not None and given.power_shut_off is not None
    span = given.power_clean - given.power_shut_off
    flow = given.clean_flow * (given.power_now - given.power_shut_off) / span
    numbers = {
        "clean_flow": show(given.clean_flow, "flow"),
        "power_now": show(given.power_now, "power"),
        "power_at_shut_off": show(given.power_shut_off, "power"),
        "power_when_clean": show(given.power_clean, "power"),
    }
    formula = (
        "{clean_flow} × ({power_now} − {power_at_shut_off}) ÷ ({power_when_clean} − {power_at_shut_off})"
    )
    words = "Power rises straight from shut-off to the clean flow; no more than a hint."
    return flow, [step("flow now", formula, numbers, flow, "flow")], [Assumption(words, "common practice")]


def _pace(given: Inputs, lost: float) -> float | None:
    """Share of the clean flow lost in a second; None where no time is told, or nothing is lost."""
    if not given.days_since_clean or lost <= 0:
        return None
    return lost / given.days_since_clean


def _due(given: Inputs, share: float, pace: float | None) -> float | None:
    """From now until the least share is reached, s: 0 where it is passed, None where that can't be known."""
    if share < given.least_share:
        return 0.0
    if pace is None:
        return None
    return max(0.0, (share - given.least_share) / pace - given.days_since_measured)


def _pace_steps(given: Inputs, share: float, pace: float, due: float | None) -> list[Step]:
    assert given.days_since_clean is not None
    numbers = {
        "share": show(share, "fraction", "1"),
        "least_share": show(given.least_share, "fraction", "1"),
        "time_since_clean": show(given.days_since_clean, "time", "d"),
        "share_lost_a_day": f"{pace * DAY:.6g}",
        "time_since_measured": show(given.days_since_measured, "time", "d"),
    }
    a_day = "(1 − {share}) ÷ {time_since_clean}"
    steps = [
        step("share lost a day", a_day, numbers, pace * DAY, "number"),
        step("share lost a week in %", "{share_lost_a_day} × 7 × 100", numbers, pace * WEEK, "fraction"),
    ]
    if due:
        still = share - given.least_share
        numbers["share_that_may_still_go"] = f"{still:.6g}"
        formula = "{share_that_may_still_go} ÷ {share_lost_a_day} − {time_since_measured}"
        steps += [
            step("share that may still go", "{share} − {least_share}", numbers, still, "number"),
            step("time until due in days", formula, numbers, due, "time", "d"),
        ]
    return steps


def _verdict(given: Inputs, share: float, due: float | None) -> tuple[str, str]:
    least = near(given.least_share, "fraction", "%")
    have = near(share, "fraction", "%")
    if share < given.least_share:
        return (
            OVER,
            f"{have} of the clean flow is left, less than the {least} allowed: clean pump, line and outlets.",
        )
    if due == 0:
        return (
            WATCH,
            f"{have} was left when measured; at the same pace it is below {least} by now: measure again.",
        )
    if 1 - share > (1 - given.least_share) / 2:
        return (
            WATCH,
            f"{have} of the clean flow is left: more than half of what may be lost is lost. Clean before long.",
        )
    return OK, f"{have} of the clean flow is left, and {least} is enough."


def _obstruction(given: Inputs, flow: float, share: float) -> tuple[Obstruction | None, list[Step]]:
    """What the line costs more than clean, where curve and lift are told and fit the flows."""
    if not given.pump_curve or given.static_head is None or flow == 0:
        return None, []
    curve = PumpCurve(tuple((one.flow, one.head) for one in given.pump_curve))
    clean_loss = curve.head(given.clean_flow) - given.static_head
    loss_now = curve.head(flow) - given.static_head
    if not 0 < clean_loss * share**2 < loss_now:
        return None, []
    expected = clean_loss * share**2
    extra = loss_now - expected
    numbers = {
        "head_of_the_pump_at_the_clean_flow": show(curve.head(given.clean_flow), "length", "m"),
        "head_of_the_pump_now": show(curve.head(flow), "length", "m"),
        "lift": show(given.static_head, "length", "m"),
        "clean_loss": show(clean_loss, "length", "m"),
        "loss_now": show(loss_now, "length", "m"),
        "share": show(share, "fraction", "1"),
        "clean_line_at_this_flow": show(expected, "length", "m"),
        "lost_head": show(extra, "length", "m"),
    }
    steps = [
        step(name, formula, numbers, value, "length", "m")
        for name, formula, value in (
            ("clean loss", "{head_of_the_pump_at_the_clean_flow} − {lift}", clean_loss),
            ("loss now", "{head_of_the_pump_now} − {lift}", loss_now),
            ("loss of the clean line at the flow now", "{clean_loss} × {share} × {share}", expected),
            ("lost head", "{loss_now} − {clean_line_at_this_flow}", extra),
        )
    ]
    bore = (expected / loss_now) ** 0.2
    numbers["bore_left"] = str(six(bore))
    ratio, five_times = "{clean_line_at_this_flow} ÷ {loss_now}", " × ".join(["{bore_left}"] * 5)
    steps += [
        step("share of its bore left, five times by itself", ratio, numbers, bore**5, "number"),
        step("the same, checked", five_times, numbers, bore**5, "number"),
    ]
    k = None
    if given.diameter is not None:
        speed = flow / (math.pi * given.diameter**2 / 4)
        k = extra * 2 * GRAVITY / speed**2
        numbers |= {
            "flow_now": show(flow, "flow"),
            "bore": show(given.diameter, "length", "m"),
            "velocity": show(speed, "velocity", "m/s"),
        }
        area = "{flow_now} ÷ 3600000 ÷ (π × {bore} × {bore} ÷ 4)"
        steps.append(step("velocity", area, numbers, speed, "velocity", "m/s"))
        formula = f"{{lost_head}} × 2 × {GRAVITY} ÷ {{velocity}} ÷ {{velocity}}"
        steps.append(step("the same as K", formula, numbers, k, "number"))
    return Obstruction(extra, k, bore), steps


FLOW_FADE = Calculator(
    name="flow-fade",
    title="Flow fade",
    doc=(
        "How much of a pump's clean flow is left, and when cleaning falls due: ok, watch or over. The flow now is"
        " measured, or found from a volume and a time, or roughly from the pump's power. With the time since the last"
        " cleaning, the pace at which it fades and the time until the lowest share allowed; with the pump's curve and"
        " lift, what the line costs more than clean, as head, as K and as the bore that is left."
    ),
    inputs=Inputs,
    results=(
        Result("verdict", TEXT, "ok, watch (half of what may be lost is lost, or due by its pace), or over."),
        Result("why", TEXT, "The verdict in words."),
        Result("flow_now", "flow", "As measured or inferred."),
        Result("share", "fraction", "Of the clean flow that is left."),
        Result("lost_share", "fraction", "Of it that is lost; below nothing where more flows."),
        Result("lost_flow", "flow", "The same as a flow."),
        Result("least_flow", "flow", "That is allowed."),
        Result("pace", "fraction", "Of the clean flow lost in a week; none where that is unknown."),
        Result(
            "time_until_due",
            "time",
            "From now until the least flow at that pace: 0 if passed; none if not known.",
            "d",
        ),
        Result("lost_head", "length", "That the line costs more than clean, at the flow now.", "m"),
        Result("lost_as_k", "number", "The same in velocity heads of a pipe of that diameter."),
        Result("bore_left", "fraction", "Of the bore, if the whole line had narrowed alike."),
    ),
    limits=(
        "Both flows at the same levels, valves and speed. A pace is drawn straight through two points.",
        "By power: only pumps that draw more the more they move, and then roughly.",
        "Head, K and bore take turbulent flow and a pump that is as good as its curve.",
    ),
    sources=SOURCES,
    solve=solve,
    example={
        "clean_flow": "2400 L/h",
        "measured_flow": "2100 L/h",
        "days_since_clean": "60 d",
        "days_since_measured": "2 d",
        "pump_curve": [
            {"head": "3.6 m", "flow": "0 L/h"},
            {"head": "3.1 m", "flow": "1200 L/h"},
            {"head": "1.8 m", "flow": "2400 L/h"},
            {"head": "0 m", "flow": "3300 L/h"},
        ],
        "static_head": "1.1 m",
        "diameter": "26.6 mm",
    },
    doors=("pumps",),
)
