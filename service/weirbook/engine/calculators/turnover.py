"""How often the water of a system goes round, and how long until most of it has been through the filter."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from weirbook.engine.relations.mixing import mixed_time
from weirbook.engine.shape import (
    TEXT,
    Assumption,
    Calculator,
    Caution,
    Result,
    Source,
    Step,
    Working,
    param,
    parts,
    show,
    step,
)
from weirbook.errors import Fault, Invalid

SHARES = (63, 95, 99)
"""Per cent of the water, for which the time is given."""

MEASURED_WITHIN = 0.01
"""Parts that miss their whole by less are taken to add up. Common practice: flows are seldom read closer."""


@dataclass(frozen=True)
class TurnoverTank:
    name: str = param(TEXT, doc="What the tank is called.")
    volume: float = param("volume", doc="Water in this tank, net of sand and rock.", gt=0)
    flow: float = param("flow", doc="Flow that this tank gets and gives back.", gt=0)


@dataclass(frozen=True)
class Inputs:
    volume: float = param(
        "volume",
        doc="All water that goes round: tanks net of sand and rock, sump sections at running depth.",
        gt=0,
        role="water_volume",
    )
    flow: float = param(
        "flow",
        doc="Flow through the filter: measured if it can be, else the rated flow of the pumps.",
        gt=0,
        role="through_flow",
    )
    removal_per_pass: float = param(
        "fraction",
        doc="Share of what the filter is meant to take out that one pass takes out; 1 counts passing alone.",
        unit="1",
        gt=0,
        le=1,
        default=1.0,
    )
    tanks: tuple[TurnoverTank, ...] = parts(
        TurnoverTank,
        doc="Tanks that share the flow side by side, each with its own part of it.",
        role="tank_shares",
        rests_on=("volume", "flow"),
    )


def solve(given: Inputs) -> Working:
    """Turnovers and dilution of one circulation.

    Equations: n = Q / V; time a turnover = V / Q; time until a share f is through, `mixed_time`,
    t = -ln(1 - f) V / (Q E) with f exactly 0.63, 0.95 and 0.99; the first two again for each tank.
    Shapes and units: SI, see `Inputs`.
    Valid for: one well-mixed body, a filter that returns its water at once and nothing new coming in.
    Uncertainty: that of flow and volume, in proportion; a rated flow is a pump at no head, the real one less.
    Raises: Invalid at /tanks where the tanks' flows or volumes add up to more than the whole.
    Source: see SOURCES.
    Not covered: tanks fed one after another, dead corners, a load that keeps coming.
    """
    _refuse_more_than_the_whole(given)
    assumptions, cautions = _assumptions(given), [*CAUTIONS]
    rate, period = given.flow / given.volume, given.volume / given.flow
    numbers = {
        "flow": show(given.flow, "flow"),
        "volume": show(given.volume, "volume"),
        "minutes_per_turnover": show(period, "time", "min"),
        "removal_per_pass": show(given.removal_per_pass, "fraction", "1"),
    }
    steps = [
        step("turnovers per hour", "{flow} ÷ {volume}", numbers, rate, "rate"),
        step("minutes per turnover", "{volume} ÷ {flow} × 60", numbers, period, "time", "min"),
    ]
    values: dict[str, Any] = {"turnovers_per_hour": rate, "minutes_per_turnover": period}
    for percent in SHARES:
        time = mixed_time(percent / 100, given.volume, given.flow, given.removal_per_pass)
        formula = f"ln(1 ÷ (1 − {percent / 100})) × {{minutes_per_turnover}} ÷ {{removal_per_pass}}"
        values[f"time_to_{percent}"] = time
        steps.append(step(f"time to {percent} %", formula, numbers, time, "time", "min"))
    values["tanks"] = [_row(tank, given.flow) for tank in given.tanks]
    for tank in given.tanks:
        steps += _tank_steps(tank, given.flow)
    if len(given.tanks) > 1:
        cautions.append(NOT_ONE_BODY)
    return Working(values, steps, assumptions, cautions)


def _row(tank: TurnoverTank, flow: float) -> dict[str, Any]:
    return {
        "name": tank.name,
        "volume": tank.volume,
        "flow": tank.flow,
        "share_of_flow": tank.flow / flow,
        "turnovers_per_hour": tank.flow / tank.volume,
        "minutes_per_turnover": tank.volume / tank.flow,
    }


def _tank_steps(tank: TurnoverTank, whole: float) -> list[Step]:
    row = _row(tank, whole)
    numbers = {
        "its_flow": show(tank.flow, "flow"),
        "its_volume": show(tank.volume, "volume"),
        "whole_flow": show(whole, "flow"),
    }
    return [
        step(
            f"{tank.name}: share of flow in %",
            "{its_flow} ÷ {whole_flow} × 100",
            numbers,
            row["share_of_flow"],
            "fraction",
        ),
        step(
            f"{tank.name}: turnovers per hour",
            "{its_flow} ÷ {its_volume}",
            numbers,
            row["turnovers_per_hour"],
            "rate",
        ),
        step(
            f"{tank.name}: minutes per turnover",
            "{its_volume} ÷ {its_flow} × 60",
            numbers,
            row["minutes_per_turnover"],
            "time",
            "min",
        ),
    ]


def _summed(tanks: Sequence[TurnoverTank]) -> tuple[float, float]:
    return math.fsum(tank.flow for tank in tanks), math.fsum(tank.volume for tank in tanks)


def _refuse_more_than_the_whole(given: Inputs) -> None:
    flow, volume = _summed(given.tanks)
    faults = []
    if flow > given.flow * (1 + MEASURED_WITHIN):
        faults.append(
            Fault(
                "/tanks",
                f"The tanks' flows add up to {show(flow, 'flow')}, more than the whole"
                f" {show(given.flow, 'flow')}. Tanks side by side share the flow; of tanks fed one after"
                " another name one at a time.",
            )
        )
    if volume > given.volume * (1 + MEASURED_WITHIN):
        faults.append(
            Fault(
                "/tanks",
                f"The tanks hold {show(volume, 'volume')} together, more than the whole "
                f"{show(given.volume, 'volume')}. The volume is that of all tanks and the sump.",
            )
        )
    if faults:
        raise Invalid("The tanks are more than the whole.", faults=faults)


def _assumptions(given: Inputs) -> list[Assumption]:
    told = [
        Assumption("All water is one well-mixed body; filtered water comes back at once.", "default"),
        Assumption("Nothing new comes in while the water is being filtered.", "default"),
    ]
    if given.removal_per_pass == 1:
        words = "Water that has passed the filter once counts, whatever the filter took out of it."
        told.append(Assumption(words, "default"))
    flow, _ = _summed(given.tanks)
    rest = given.flow - flow
    if given.tanks and rest > given.flow * MEASURED_WITHIN:
        words = f"{show(rest, 'flow')} of the flow goes elsewhere, to no tank that was named."
        told.append(Assumption(words, "given"))
    return told


CAUTIONS = (
    Caution(
        "mixing-not-known",
        "Turnover is a common-practice measure. It says nothing of dead corners, of where the inlets point,"
        " or of whether the filter removes anything.",
    ),
    Caution(
        "flow-fades",
        "A rated flow holds at no head, and a flow measured with a clean filter fades as it clogs. Time a"
        " bucket at the return before you trust the figures.",
    ),
)

NOT_ONE_BODY = Caution(
    "not-one-body",
    "Several tanks are not one body: one with fewer turnovers than the rest may lag behind the times given.",
)

SOURCES = (
    Source(
        "Alansari, A., Amburgey, J., Madding, N.",
        2018,
        "A quantitative analysis of swimming pool recirculation system efficiency",
        "Journal of Water and Health 16(3), 449, abstract",
        "Tracer in a 1:25 model pool: 63, 86 and 95 % gone after 1, 2 and 3 turnovers.",
    ),
    Source(
        "Levenspiel, O.",
        1999,
        "Chemical Reaction Engineering, 3rd ed.",
        "mixed flow reactor, washout of a tracer",
        "From memory; the closed form is the exact solution of one stirred tank.",
    ),
)

TURNOVER = Calculator(
    name="turnover",
    title="Turnover",
    doc=(
        "How often the water goes round each hour, and how long until 63, 95 and 99 % of it has passed the"
        " filter at least once. With a removal per pass below 1 the times are until that much of what the"
        " water carried has been taken out. One turnover passes 63.2 %, not all, because filtered water mixes"
        " with the rest. With several tanks on one sump, also each tank's share and its own turnover."
    ),
    inputs=Inputs,
    results=(
        Result(
            "turnovers_per_hour", "rate", "Times an hour that a flow equal to the whole volume goes through."
        ),
        Result("minutes_per_turnover", "time", "Time for a flow equal to the whole volume.", "min"),
        Result(
            "time_to_63", "time", "Time until 63 % of the water (or of what it carried) is through.", "min"
        ),
        Result(
            "time_to_95", "time", "Time until 95 % of the water (or of what it carried) is through.", "min"
        ),
        Result(
            "time_to_99", "time", "Time until 99 % of the water (or of what it carried) is through.", "min"
        ),
        Result(
            "tanks",
            "list",
            "Each tank that was named, with its share of the flow.",
            fields=(
                Result("name", TEXT, "The tank."),
                Result("volume", "volume", "Its water."),
                Result("flow", "flow", "Its flow."),
                Result("share_of_flow", "fraction", "Its part of the whole flow."),
                Result("turnovers_per_hour", "rate", "Its flow over its volume."),
                Result("minutes_per_turnover", "time", "Its volume over its flow.", "min"),
            ),
        ),
    ),
    limits=(
        "One well-mixed body of water. Real water is slower where corners stand still or inlets short-cut.",
        "Tanks side by side. Of tanks fed one after another each gets the whole flow: ask one at a time.",
        "No new load while the filter works. Under a load that keeps coming, the water settles at a level.",
    ),
    sources=SOURCES,
    solve=solve,
    example={
        "volume": "800 L",
        "flow": "900 gal/h",
        "tanks": [
            {"name": "left", "volume": "400 L", "flow": "2000 L/h"},
            {"name": "right", "volume": "250 L", "flow": "1200 L/h"},
        ],
    },
    doors=("systems", "tanks", "sumps"),
)
