"""What the media of a section do to its water: speed, loss, contact, surface. For `chamber_flow`."""

from __future__ import annotations

from typing import Any

from weirbook.engine.calculators.baffle_steps import bed_steps
from weirbook.engine.calculators.chamber_levels import Standing
from weirbook.engine.calculators.chamber_verdicts import PLANTED
from weirbook.engine.relations.beds import pore_velocity, sphere_surface
from weirbook.engine.relations.hydraulics import surface_loading
from weirbook.engine.shape import Result, Step, show, step

MEDIA_RESULTS = (
    Result(
        "hydraulic_loading",
        "velocity",
        "Flow over plan area, of a section with media or plants.",
        "m/d",
    ),
    Result("darcy_velocity", "velocity", "Flow over the whole cross-section of its media, gaps and solids."),
    Result("pore_velocity", "velocity", "That over the porosity: the mean speed in the gaps."),
    Result(
        "bed_loss", "length", "Head lost in its media, clean; none without grain size and porosity.", "mm"
    ),
    Result("media_contact_time", "time", "Water in the gaps of its media over the flow.", "min"),
    Result("media_surface", "area", "At least that of its grains, were they smooth spheres."),
)


def media_of(one: Standing) -> dict[str, Any]:
    """The results on a section's media; each None where it has none, or too little of them is told."""
    found: dict[str, Any] = dict.fromkeys(result.name for result in MEDIA_RESULTS)
    cell, section = one.cell, one.section
    if cell.media_volume or section.use in PLANTED:
        found["hydraulic_loading"] = surface_loading(cell.flow, cell.plan_area)
    if not cell.media_volume:
        return found
    speed = cell.bed_velocity()
    found["darcy_velocity"] = speed
    found["pore_velocity"] = pore_velocity(speed, cell.media_porosity)
    if cell.flow:
        found["media_contact_time"] = cell.media_volume * cell.media_porosity / cell.flow
    if cell.grain is not None:
        found["bed_loss"] = one.bed_loss
        found["media_surface"] = sphere_surface(cell.grain, cell.media_porosity) * cell.media_volume
    return found


def media_steps(one: Standing, density: float, viscosity: float, bed_is_shown: bool) -> list[Step]:
    """The working of those; of the loss in its bed unless the levels show it. Flow in L/h, sizes in cm, cm/s, min."""
    cell, name, found = one.cell, one.section.name, media_of(one)
    numbers = {
        "flow": show(cell.flow, "flow"),
        "length": show(cell.length, "length"),
        "width": show(cell.width, "length"),
        "porosity": f"{cell.media_porosity:.6g}",
        "media": show(cell.media_volume, "volume"),
        "grain": show(cell.grain or 0.0, "length"),
        "darcy_velocity": show(found["darcy_velocity"] or 0.0, "velocity"),
    }
    bed = bed_steps(one, density, viscosity)
    steps = [] if bed_is_shown else [*bed]
    if cell.media_volume and not bed:
        across = "({media} × 1000 ÷ {length})" if cell.direction == "along" else "({length} × {width})"
        words, speed = f"{name}: velocity over the whole bed in cm/s", found["darcy_velocity"]
        steps.append(step(words, f"{{flow}} ÷ {across} ÷ 3.6", numbers, speed, "velocity", "cm/s"))
    for result, words, formula, kind, unit in (
        (
            "pore_velocity",
            "velocity in the gaps in cm/s",
            "{darcy_velocity} ÷ {porosity}",
            "velocity",
            "cm/s",
        ),
        (
            "media_contact_time",
            "contact with the media in min",
            "{media} × {porosity} ÷ {flow} × 60",
            "time",
            "min",
        ),
        (
            "media_surface",
            "surface of its media in m2",
            "6 × (1 − {porosity}) ÷ {grain} × {media} ÷ 10",
            "area",
            "m2",
        ),
        (
            "hydraulic_loading",
            "hydraulic loading in m/d",
            "{flow} × 24 × 10 ÷ ({length} × {width})",
            "velocity",
            "m/d",
        ),
    ):
        if found[result] is not None:
            steps.append(step(f"{name}: {words}", formula, numbers, found[result], kind, unit))
    return steps
