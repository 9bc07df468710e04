"""What a fading flow must be told, and what contradicts itself in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from weirbook.engine.calculators.pump_inputs import CurvePoint, curve_faults
from weirbook.engine.shape import param, parts, show
from weirbook.errors import Fault, Invalid

USUAL_LEAST = 0.8
"""Share of the clean flow at which many clean. Common practice, no source."""


@dataclass(frozen=True)
class Inputs:
    clean_flow: float = param(
        "flow",
        doc="Flow when pump, line and strainers were clean, measured the same way.",
        gt=0,
        role="clean_flow",
    )
    measured_flow: float | None = param(
        "flow",
        doc="Flow as measured. Or say a drawdown, or powers.",
        ge=0,
        default=None,
        role="measured_flow",
    )
    drawdown_volume: float | None = param(
        "volume",
        doc="That the pump moved in drawdown_time: a bucket filled, or a section emptied with its inflow shut.",
        gt=0,
        default=None,
    )
    drawdown_time: float | None = param("time", doc="It took for that.", unit="s", gt=0, default=None)
    power_now: float | None = param("power", doc="That the pump draws now.", gt=0, default=None)
    power_clean: float | None = param("power", doc="That it drew at the clean flow.", gt=0, default=None)
    power_shut_off: float | None = param(
        "power",
        doc="That it draws against a closed valve, tried for some seconds only.",
        gt=0,
        default=None,
    )
    least_share: float = param(
        "fraction",
        doc="Lowest share of the clean flow that its keeper allows. Left out: 80 %, common practice.",
        gt=0,
        lt=1,
        default=USUAL_LEAST,
    )
    days_since_clean: float | None = param(
        "time",
        doc="From the last cleaning to this measuring. Left out: the pace is unknown.",
        unit="d",
        ge=0,
        default=None,
        role="days_between",
    )
    days_since_measured: float = param(
        "time",
        doc="From this measuring until now.",
        unit="d",
        ge=0,
        default=0.0,
        role="days_since_measured",
    )
    pump_curve: tuple[CurvePoint, ...] = parts(
        CurvePoint,
        doc="Points of the pump's curve; with static_head the loss is told as head, K and bore.",
        role="pump_curve",
    )
    static_head: float | None = param("length", doc="Lift of its line.", unit="m", default=None)
    diameter: float | None = param(
        "length", doc="Inside, of the pipe that K shall be told for.", unit="mm", gt=0, le=10, default=None
    )


WAYS: Mapping[str, tuple[str, ...]] = {
    "measured_flow": ("measured_flow",),
    "drawdown_volume": ("drawdown_volume", "drawdown_time"),
    "power_now": ("power_now", "power_clean", "power_shut_off"),
}
"""The ways to tell the flow now, by the first input of each."""


def refuse_contradictions(given: Inputs) -> None:
    faults = curve_faults(given.pump_curve) if given.pump_curve else []
    begun = [way for way in WAYS.values() if any(getattr(given, name) is not None for name in way)]
    if not begun:
        words = "Say the flow now: measured_flow, drawdown_volume with drawdown_time, or the three powers."
        faults.append(Fault("/measured_flow", words))
    if len(begun) > 1:
        words = (
            f"Say the flow now once: either {' or '.join(way[0] for way in begun)}; send null for the others."
        )
        faults.append(Fault(f"/{begun[1][0]}", words))
    faults += [
        Fault(f"/{name}", f"'{name}' is missing: {' and '.join(way)} belong together.")
        for way in begun
        for name in way
        if getattr(given, name) is None
    ]
    least, now, clean = given.power_shut_off, given.power_now, given.power_clean
    if least is not None and clean is not None and clean <= least:
        words = (
            "By this the pump draws no more at the clean flow than against a closed valve: such a pump does not show"
            " its flow by its power."
        )
        faults.append(Fault("/power_clean", words))
    elif least is not None and now is not None and now < least:
        words = (
            f"It can't draw less than against a closed valve ({show(least, 'power')}): see whether it turns."
        )
        faults.append(Fault("/power_now", words))
    if faults:
        raise Invalid("The flows can't be used as they are.", faults=faults)
