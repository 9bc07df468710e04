"""What sinks in a settling section, and whether the water stirs it up again. For `chamber_flow`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from weirbook.engine.calculators.chamber_verdicts import Judged
from weirbook.engine.relations.chambers import ALONG
from weirbook.engine.relations.settling import (
    BED_FRICTION,
    SHIELDS,
    drag_coefficient,
    particle_that_settles_at,
    scour_velocity,
)
from weirbook.engine.shape import YES_NO, Assumption, Caution, Result, Source, Step, show, step

SETTLING = "settling"
PARTICLE_DENSITY = 1050.0
"""kg/m3, of waste from fish as it settles. Common practice, no source; 1010 to 1190 is found in print."""

SETTLING_RESULTS = (
    Result("overflow_rate", "velocity", "Surface overflow rate of a settling section.", "m/d"),
    Result("smallest_particle", "length", "Diameter of the smallest grain that it keeps.", "mm"),
    Result("scour_velocity", "velocity", "Of the water along its floor, at which such grains stir again."),
    Result("stirs_up", YES_NO, "Whether its mean velocity is above that."),
)


def settling_of(one: Judged, particle_density: float, density: float, viscosity: float) -> dict[str, Any]:
    """The results on settling; each None for a section of another use, or where nothing flows."""
    found: dict[str, Any] = dict.fromkeys(result.name for result in SETTLING_RESULTS)
    chamber = one.chamber
    if one.use != SETTLING or not chamber.flow:
        return found
    found["overflow_rate"] = chamber.surface_loading
    smallest = particle_that_settles_at(chamber.surface_loading, particle_density, density, viscosity)
    found["smallest_particle"] = smallest
    if chamber.direction == ALONG:
        found["scour_velocity"] = scour_velocity(smallest, particle_density / density)
        if chamber.mean_velocity is not None:
            found["stirs_up"] = chamber.mean_velocity > found["scour_velocity"]
    return found


def settling_steps(one: Judged, particle_density: float, density: float, viscosity: float) -> list[Step]:
    """The working of those. The grain is found by trying: its settling velocity comes out as the overflow rate."""
    found = settling_of(one, particle_density, density, viscosity)
    smallest, rate = found["smallest_particle"], found["overflow_rate"]
    if smallest is None:
        return []
    reynolds = rate * smallest * density / viscosity
    drag, excess = drag_coefficient(reynolds), particle_density / density - 1
    numbers = {
        "flow": show(one.chamber.flow, "flow"),
        "length": show(one.chamber.length, "length"),
        "width": show(one.chamber.width, "length"),
        "grain": show(smallest, "length", "mm"),
        "overflow_rate": show(rate, "velocity", "mm/s"),
        "viscosity_in_mm2_per_s": f"{viscosity / density * 1e6:.6g}",
        "density_of_grains": show(particle_density, "density"),
        "density_of_water": show(density, "density"),
        "excess_density": f"{excess:.6g}",
        "drag_coefficient": f"{drag:.6g}",
    }
    name = one.name
    steps = [
        step(
            f"{name}: overflow rate in m/d",
            "{flow} × 24 × 10 ÷ ({length} × {width})",
            numbers,
            rate,
            "velocity",
            "m/d",
        ),
        step(
            f"{name}: excess density of the grains, a share",
            "{density_of_grains} ÷ {density_of_water} − 1",
            numbers,
            excess,
            "number",
        ),
        step(
            f"{name}: Reynolds number of the smallest grain kept",
            "{overflow_rate} × {grain} ÷ {viscosity_in_mm2_per_s}",
            numbers,
            reynolds,
            "number",
        ),
        step(
            f"{name}: settling velocity of that grain in mm/s",
            "sqrt(4 ÷ 3 × 9806.65 × {grain} × {excess_density} ÷ {drag_coefficient})",
            numbers,
            math.sqrt(4 / 3 * 9.80665 * smallest * excess / drag),
            "velocity",
            "mm/s",
        ),
    ]
    if found["scour_velocity"] is not None:
        words = f"sqrt(8 × {SHIELDS} × {{excess_density}} × 980.665 × ({{grain}} ÷ 10) ÷ {BED_FRICTION})"
        scour = found["scour_velocity"]
        steps.append(step(f"{name}: scour velocity in cm/s", words, numbers, scour, "velocity", "cm/s"))
    return steps


def settling_assumptions(rows: Sequence[dict[str, Any]], particle_density: float) -> list[Assumption]:
    """What is taken for granted of what settles, where something does."""
    if not any(row["smallest_particle"] is not None for row in rows):
        return []
    words = (
        f"What settles are smooth spheres of {show(particle_density, 'density')} in even flow. Real waste is"
        " irregular and breaks: by common practice count on half of such a section's promise."
    )
    return [Assumption(words, "common practice")]


def settling_cautions(rows: Sequence[dict[str, Any]]) -> list[Caution]:
    """A word on each section whose water stirs up what has settled."""
    return [
        Caution(
            "stirs-up",
            f"In {row['name']} the water runs at {show(row['mean_velocity'], 'velocity')}, above the scour velocity"
            f" of the smallest grains it keeps: they don't stay. A deeper or wider section, or less flow, helps.",
            show(row["scour_velocity"], "velocity"),
        )
        for row in rows
        if row["stirs_up"]
    ]


SETTLING_SOURCES = (
    Source(
        "Cheng, N.-S.",
        2009,
        "Comparison of formulas for drag coefficient and settling velocity of spherical particles",
        "Powder Technology 189(3), 395",
        "Coefficients from memory; held to another library's velocities.",
    ),
    Source(
        "Camp, T.R.",
        1946,
        "Sedimentation and the design of settling tanks",
        "Trans. ASCE 111, 895: scour velocity after Shields",
        "Constants 0.05 and 0.025 from memory.",
    ),
)
