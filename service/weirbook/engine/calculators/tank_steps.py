"""How `tank_volume` comes to its figures, step by step for a pocket calculator."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from weirbook.engine.calculators.tank_inputs import Inputs
from weirbook.engine.relations.structure import (
    LYING,
    SHAPES,
    segment_area,
    segment_half_angle,
    volume_below,
    wet_half_angle,
)
from weirbook.engine.shape import Step, show, step

AREAS = {
    "rectangle": "{length} × {width}",
    "arced_front": "{length} × {width} + {area_in_front}",
    "circle": "π × {diameter} × {diameter} ÷ 4",
    "quarter_circle": "π × {radius} × {radius} ÷ 4",
    "regular_polygon": "{sides} × {side} × {side} ÷ (4 × tan(180° ÷ {sides}))",
    "trapezoid": "({front} + {back}) ÷ 2 × {width}",
    "cut_corner": "{side} × {side} − {corner_cut} × {corner_cut} ÷ 2",
    "l_shape": "{width} × ({leg_a} + {leg_b} − {width})",
}
"""How each plan area is worked out by hand; `plan_area` computes it."""


def _m(length: float) -> str:
    return show(length, "length", "m")


def tank_steps(given: Inputs, depth: float, values: Mapping[str, Any], water_density: float) -> list[Step]:
    """From the measures to areas, volumes and masses; `depth` is that of the water."""
    steps = []
    if given.top_gap is not None and given.rim_height is not None:
        numbers = {"rim_height": _m(given.rim_height), "top_gap": _m(given.top_gap)}
        steps.append(step("water depth in m", "{rim_height} − {top_gap}", numbers, depth, "length", "m"))
    if given.shape != LYING:
        steps += _area_steps(given, values["plan_area"])
    steps += _held_steps(given, depth, values)
    return [*steps, *_net_steps(given, depth, values), *_mass_steps(given, values, water_density)]


def _area_steps(given: Inputs, area: float) -> list[Step]:
    numbers = {name: _m(getattr(given, name)) for name in SHAPES[given.shape] if name != "sides"}
    if given.shape == "regular_polygon":
        numbers["sides"] = str(given.sides)
    steps = []
    if given.length is not None and given.front_rise is not None:
        half = segment_half_angle(given.length, given.front_rise)
        segment = segment_area(given.length, given.front_rise)
        numbers |= {"half_angle": show(half, "angle", "rad"), "area_in_front": show(segment, "area", "m2")}
        arc = (
            "{length} × {length} ÷ 8 × (2 × {half_angle} − sin(2 × {half_angle}))"
            " ÷ sin({half_angle}) ÷ sin({half_angle})"
        )
        angle = "2 × atan(2 × {front_rise} ÷ {length})"
        steps = [
            step("half angle in radians", angle, numbers, half, "angle", "rad"),
            step("area in front of the side walls", arc, numbers, segment, "area", "m2"),
        ]
    return [*steps, step("plan area", AREAS[given.shape], numbers, area, "area", "m2")]


def _held_steps(given: Inputs, depth: float, values: Mapping[str, Any]) -> list[Step]:
    """What the empty vessel holds to the water line and to the rim, and to the top of the bed if it lies."""
    steps = _held(given, "gross volume", "water depth", depth, values["gross_volume"])
    if given.rim_height is not None:
        steps += _held(given, "rim volume", "rim height", given.rim_height, values["rim_volume"])
    if given.shape == LYING and given.length is not None and given.diameter is not None:
        numbers = {name: _m(value) for name, value in (("length", given.length), ("water_depth", depth))}
        numbers["diameter"] = _m(given.diameter)
        formula = "{length} × 2 × sqrt({water_depth} × ({diameter} − {water_depth}))"
        area = values["surface_area"]
        steps.append(step("area of the water's surface", formula, numbers, area, "area", "m2"))
        if given.substrate_depth > 0:
            bed = min(given.substrate_depth, depth)
            held = volume_below(LYING, given.dims, bed)
            steps += _held(given, "bed volume under water", "bed under water", bed, held)
    return steps


def _held(given: Inputs, gives: str, level_words: str, level: float, held: float) -> list[Step]:
    gives_in = f"{gives} in L"
    level_name = level_words.replace(" ", "_")
    numbers = {level_name: _m(level)}
    if given.shape != LYING or given.diameter is None or given.length is None:
        numbers["plan_area"] = show(held / level, "area", "m2")
        return [step(gives_in, f"{{plan_area}} × {{{level_name}}} × 1000", numbers, held, "volume", "L")]
    numbers |= {"diameter": _m(given.diameter), "length": _m(given.length)}
    if level == given.diameter:
        full = "π × {diameter} × {diameter} ÷ 4 × {length} × 1000"
        return [step(gives_in, full, numbers, held, "volume", "L")]
    half = wet_half_angle(given.diameter, level)
    numbers["half_angle"] = show(half, "angle", "rad")
    angle = f"2 × atan(sqrt({{{level_name}}} ÷ ({{diameter}} − {{{level_name}}})))"
    segment = "{length} × {diameter} × {diameter} ÷ 8 × (2 × {half_angle} − sin(2 × {half_angle})) × 1000"
    return [
        step(
            f"half angle of the wet arc to the {level_words}, in radians",
            angle,
            numbers,
            half,
            "angle",
            "rad",
        ),
        step(gives_in, segment, numbers, held, "volume", "L"),
    ]


def _net_steps(given: Inputs, depth: float, values: Mapping[str, Any]) -> list[Step]:
    numbers = {
        "porosity": show(given.porosity, "fraction", "1"),
        **{
            name: show(values[name], "volume", "L")
            for name in ("gross_volume", "substrate_displacement", "hardscape_displacement")
        },
    }
    formulas = {}
    if given.substrate_depth > 0:
        bed = min(given.substrate_depth, depth)
        if given.shape == LYING:
            numbers["bed_volume_under_water"] = show(volume_below(LYING, given.dims, bed), "volume", "L")
            formulas["substrate_displacement"] = "{bed_volume_under_water} × (1 − {porosity})"
        else:
            numbers |= {"plan_area": show(values["plan_area"], "area", "m2"), "bed_under_water": _m(bed)}
            formulas["substrate_displacement"] = "{plan_area} × {bed_under_water} × (1 − {porosity}) × 1000"
    if given.hardscape_mass is not None:
        numbers |= {
            "mass": show(given.hardscape_mass, "mass", "kg"),
            "density": show(given.rock_density, "density", "kg/m3"),
        }
        formulas["hardscape_displacement"] = "{mass} ÷ {density} × 1000"
    formulas["net_volume"] = "{gross_volume} − {substrate_displacement} − {hardscape_displacement}"
    return [
        step(f"{name.replace('_', ' ')} in L", formula, numbers, values[name], "volume", "L")
        for name, formula in formulas.items()
    ]


def _mass_steps(given: Inputs, values: Mapping[str, Any], water_density: float) -> list[Step]:
    numbers = {
        "net_volume": show(values["net_volume"], "volume", "L"),
        "density_of_water": show(water_density, "density", "kg/m3"),
        "hardscape_displacement": show(values["hardscape_displacement"], "volume", "L"),
        "density_of_hardscape": show(given.rock_density, "density", "kg/m3"),
        "density_of_grains": show(given.grain_density, "density", "kg/m3"),
        "porosity": show(given.porosity, "fraction", "1"),
        **{
            name: show(values[name], "mass", "kg")
            for name in ("water_mass", "substrate_mass", "hardscape_mass", "contents_mass")
        },
    }
    formulas = {"water_mass": "{net_volume} ÷ 1000 × {density_of_water}"}
    if given.substrate_depth > 0:
        bulk = volume_below(given.shape, given.dims, given.substrate_depth)
        numbers["bed_volume"] = show(bulk, "volume", "L")
        formulas["substrate_mass"] = "{bed_volume} × (1 − {porosity}) ÷ 1000 × {density_of_grains}"
    if given.hardscape_volume:
        formulas["hardscape_mass"] = "{hardscape_displacement} ÷ 1000 × {density_of_hardscape}"
    formulas["contents_mass"] = "{water_mass} + {substrate_mass} + {hardscape_mass}"
    if given.vessel_mass is not None:
        numbers["vessel_mass"] = show(given.vessel_mass, "mass", "kg")
        formulas["total_mass"] = "{contents_mass} + {vessel_mass}"
    return [
        step(f"{name.replace('_', ' ')} in kg", formula, numbers, values[name], "mass", "kg")
        for name, formula in formulas.items()
    ]
