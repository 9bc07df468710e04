"""How `settling_box` comes to its figures, step by step for a pocket calculator."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from weirbook.engine.relations.hydraulics import GRAVITY
from weirbook.engine.relations.settling import BED_FRICTION, SHIELDS, drag_parts
from weirbook.engine.shape import Step, show, step


def speed(velocity: float) -> str:
    return show(velocity, "velocity", "mm/s")


def size(diameter: float) -> str:
    return show(diameter, "length", "mm")


def excess_step(particle_density: float, water_density: float) -> Step:
    """By how much the particle is denser than the water, as a share of the water."""
    numbers = {
        "particle_density": show(particle_density, "density"),
        "water_density": show(water_density, "density"),
    }
    formula = "({particle_density} − {water_density}) ÷ {water_density}"
    excess = particle_density / water_density - 1
    return step("excess of the particle's density", formula, numbers, excess, "number")


def settling_steps(
    what: str, diameter: float, velocity: float, excess: float, kinematic_viscosity: float
) -> list[Step]:
    """Show that a sphere of `diameter` settles at `velocity`: both were found together, by trial."""
    reynolds = velocity * diameter / kinematic_viscosity
    viscous, wake = drag_parts(reynolds)
    numbers = {
        "size": size(diameter),
        "velocity": speed(velocity),
        "viscosity_in_mm2_per_s": show(kinematic_viscosity * 1e6, "number"),
        "reynolds_number": show(reynolds, "number"),
        "viscous_part": show(viscous, "number"),
        "that_many_times": show(viscous * reynolds / 24, "number"),
        "wake_part": show(wake, "number"),
        "drag_coefficient": show(viscous + wake, "number"),
        "excess": show(excess, "number"),
    }

    def number(gives: str, formula: str, value: float) -> Step:
        return step(f"{gives} of {what}", formula, numbers, value, "number")

    formula = f"sqrt(4 × {GRAVITY} × {{size}} ÷ 1000 × {{excess}} ÷ (3 × {{drag_coefficient}})) × 1000"
    return [
        number("Reynolds number", "{velocity} × {size} ÷ {viscosity_in_mm2_per_s}", reynolds),
        number(
            "logarithm of how much more than Stokes's drag the viscous part is",
            "0.43 × ln(1 + 0.27 × {reynolds_number})",
            0.43 * math.log1p(0.27 * reynolds),
        ),
        number("viscous part of the drag", "24 ÷ {reynolds_number} × {that_many_times}", viscous),
        number(
            "logarithm of the Reynolds number to the power of 0.38 over 25",
            "0.38 × ln({reynolds_number}) − ln(25)",
            0.38 * math.log(reynolds) - math.log(25),
        ),
        number(
            "the same power over 25 by the wake's part of the drag",
            "ln(1 ÷ (1 − {wake_part} ÷ 0.47))",
            math.pow(reynolds, 0.38) / 25,
        ),
        number("drag coefficient", "{viscous_part} + {wake_part}", viscous + wake),
        step(f"settling velocity of {what} in mm/s", formula, numbers, velocity, "velocity", "mm/s"),
    ]


def sizing_steps(values: Mapping[str, Any], flow: float, safety: float, width: float | None) -> list[Step]:
    """Floor and length that catch the particle."""
    numbers = {
        "flow": show(flow, "flow"),
        "safety_factor": show(safety, "number"),
        "settling_velocity": speed(values["settling_velocity"]),
        "area_needed": show(values["plan_area_needed"], "area", "m2"),
    }
    area = values["plan_area_needed"]
    formula = "{flow} ÷ 3600 × {safety_factor} ÷ {settling_velocity}"
    steps = [step("floor area needed in m2", formula, numbers, area, "area", "m2")]
    if width is not None:
        numbers["width"] = show(width, "length", "m")
        length = values["length_needed"]
        steps.append(step("length needed in m", "{area_needed} ÷ {width}", numbers, length, "length", "m"))
    return steps


def box_steps(
    values: Mapping[str, Any], flow: float, length: float | None, width: float | None, grade: int
) -> list[Step]:
    """What the box does with the particle, if there is one."""
    settles, overflow = values["settling_velocity"], values["overflow_velocity"]
    numbers = {
        "flow": show(flow, "flow"),
        "floor_area": show(values["plan_area"], "area", "m2"),
        "overflow_velocity": speed(overflow),
    }
    steps = []
    if length is not None and width is not None:
        numbers |= {"length": show(length, "length", "m"), "width": show(width, "length", "m")}
        area = values["plan_area"]
        steps.append(step("floor area in m2", "{length} × {width}", numbers, area, "area", "m2"))
    formula = "{flow} ÷ 3600 ÷ {floor_area}"
    steps.append(step("overflow velocity in mm/s", formula, numbers, overflow, "velocity", "mm/s"))
    if settles is None:
        return steps
    x = settles / overflow
    numbers |= {
        "settling_velocity": speed(settles),
        "x": show(x, "number"),
        "grade": str(grade),
        "left": show(math.exp(-x), "fraction", "1"),
    }
    formula = "{settling_velocity} ÷ {overflow_velocity}"
    steps.append(step("x, the ideal share caught where below 1", formula, numbers, x, "number"))
    hazen = "1 − 1" + " ÷ (1 + {x} ÷ {grade})" * grade
    steps.append(
        step("share caught by Hazen's grade", hazen, numbers, values["hazen_removal"], "fraction", "1")
    )
    if math.exp(-x) > 1e-300:
        words = "x by the share left where eddies mix the whole depth"
        steps.append(step(words, "ln(1 ÷ {left})", numbers, x, "number"))
    return steps


def water_steps(
    values: Mapping[str, Any],
    flow: float,
    told: tuple[float, float | None, float | None],
    particle: tuple[float, float] | None,
) -> list[Step]:
    """Speeds along the box; `told` is its width, its length if it has one and its depth; `particle` its diameter
    and excess of density."""
    width, length, depth = told
    numbers = {"flow": show(flow, "flow"), "width": show(width, "length", "m")}
    steps = []
    if depth is not None:
        numbers["depth"] = show(depth, "length", "m")
        formula = "{flow} ÷ 3600 ÷ ({width} × {depth})"
        forward = values["forward_velocity"]
        steps.append(step("forward velocity in mm/s", formula, numbers, forward, "velocity", "mm/s"))
        if length is not None:
            numbers["length"] = show(length, "length", "m")
            formula = "{length} × {width} × {depth} × 1000 ÷ {flow} × 60"
            steps.append(step("mean stay in min", formula, numbers, values["mean_stay"], "time", "min"))
    if particle is not None:
        scour = values["scour_velocity"]
        numbers |= {
            "particle_size": size(particle[0]),
            "excess": show(particle[1], "number"),
            "scour_velocity": speed(scour),
        }
        formula = (
            f"sqrt(8 × {SHIELDS} × {{excess}} × {GRAVITY} × {{particle_size}} ÷ 1000 ÷ {BED_FRICTION}) × 1000"
        )
        steps.append(step("scour velocity in mm/s", formula, numbers, scour, "velocity", "mm/s"))
        formula = "{flow} ÷ 3600 ÷ ({width} × {scour_velocity})"
        least = values["least_depth"]
        steps.append(
            step("depth at which the water goes so fast, in m", formula, numbers, least, "length", "m")
        )
    return steps
