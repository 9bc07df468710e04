"""The working of a way round a section, step by step. For `flow_split`."""

from __future__ import annotations

import math
from dataclasses import dataclass

from weirbook.engine.relations.bypasses import ENDS
from weirbook.engine.relations.hydraulics import GRAVITY, reynolds_number
from weirbook.engine.relations.pipes import FITTINGS, PLASTIC_ROUGHNESS, friction_factor
from weirbook.engine.shape import Step, show, step


@dataclass(frozen=True)
class Bypass:
    """A way round: the flow it carries at a drop, the bore of a pipe or the area of a slot that does. SI."""

    flow: float
    drop: float
    length: float
    elbows: int
    bore: float
    size: tuple[str, float] | None
    slot: float

    @property
    def velocity(self) -> float:
        """In the next standard size, else in the bore itself."""
        bore = self.bore if self.size is None else self.size[1]
        return self.flow / (math.pi * bore**2 / 4)


def bypass_steps(
    one: Bypass, flow: float, share: float, share_now: float, drop_now: float, viscosity: float
) -> list[Step]:
    """From the share to the bore and the slot. Flow in L/h, sizes in cm, speeds in cm/s.

    The bore is found by trying: at its friction factor the loss comes out as the drop.
    """
    speed = one.flow / (math.pi * one.bore**2 / 4)
    reynolds = reynolds_number(speed, one.bore, viscosity)
    friction = friction_factor(reynolds, PLASTIC_ROUGHNESS / one.bore)
    numbers = {
        "through_flow": show(flow, "flow"),
        "share_that_would_do": f"{share:.6g}",
        "share_now": f"{share_now:.6g}",
        "drop_now": show(drop_now, "length"),
        "flow_round": show(one.flow, "flow"),
        "drop_then": show(one.drop, "length"),
        "bore": show(one.bore, "length"),
        "length_of_pipe": show(one.length, "length"),
        "elbows": str(one.elbows),
        "velocity_in_pipe": show(speed, "velocity"),
        "viscosity_in_mm2_per_s": f"{viscosity * 1e6:.6g}",
        "friction_factor": f"{friction:.6g}",
    }
    heads = f"({{friction_factor}} × {{length_of_pipe}} ÷ {{bore}} + {ENDS:g} + {FITTINGS['elbow']:g} × {{elbows}})"
    lost = (
        (friction * one.length / one.bore + ENDS + one.elbows * FITTINGS["elbow"]) * speed**2 / (2 * GRAVITY)
    )
    steps = [
        (
            "flow that goes round, in L/h",
            "{through_flow} × (1 − {share_that_would_do})",
            one.flow,
            "flow",
            "L/h",
        ),
        (
            "drop that is left, in cm",
            "{drop_now} × ({share_that_would_do} ÷ {share_now}) × ({share_that_would_do} ÷ {share_now})",
            one.drop,
            "length",
            "cm",
        ),
        (
            "velocity in a pipe of that bore, in cm/s",
            "{flow_round} ÷ (π × {bore} × {bore} ÷ 4) ÷ 3.6",
            speed,
            "velocity",
            "cm/s",
        ),
        (
            "Reynolds number in it",
            "{velocity_in_pipe} × {bore} × 100 ÷ {viscosity_in_mm2_per_s}",
            reynolds,
            "number",
            None,
        ),
        (
            "loss in it, which is the drop, in cm",
            f"{heads} × {{velocity_in_pipe}} × {{velocity_in_pipe}} ÷ (2 × 980.665)",
            lost,
            "length",
            "cm",
        ),
        (
            "slot instead, in cm2",
            "{flow_round} ÷ 3.6 ÷ (0.61 × sqrt(2 × 980.665 × {drop_then}))",
            one.slot,
            "area",
            "cm2",
        ),
    ]
    return [step(gives, formula, numbers, value, kind, unit) for gives, formula, value, kind, unit in steps]
