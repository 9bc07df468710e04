"""How much a vessel of some shape holds below a level, and what stands in it. SI floats in and out."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from types import MappingProxyType

from weirbook.errors import Fault, Invalid

WATER_DENSITY = 998.2
"""kg/m3, fresh water at 20 degC and 101.325 kPa: IAPWS-95 (Wagner and Pruss, 2002), 998.207 rounded down."""

BED_POROSITY = 0.4
"""Share of a gravel or sand bed that is gaps. Common practice, no source; 0.35 to 0.45 is usual."""

STONE_DENSITY = 2650.0
"""kg/m3, quartz and granite. Common practice, no source; porous stone and wood are lighter."""

MOST_SIDES = 24
"""A regular polygon with more sides differs from a circle by about 1 % of its area: call it a circle."""

SHAPES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "rectangle": ("length", "width"),
        "arced_front": ("length", "width", "front_rise"),
        "circle": ("diameter",),
        "quarter_circle": ("radius",),
        "regular_polygon": ("sides", "side"),
        "trapezoid": ("front", "back", "width"),
        "cut_corner": ("side", "corner_cut"),
        "l_shape": ("leg_a", "leg_b", "width"),
        "lying_cylinder": ("length", "diameter"),
    }
)
"""Shapes and the inside dimensions each takes, all in m but `sides`, which is a count. All have upright walls but
the lying cylinder, a drum or pipe with flat ends and its axis level."""

LYING = "lying_cylinder"

UPRIGHT: tuple[str, ...] = tuple(shape for shape in SHAPES if shape != LYING)
"""Shapes whose area is the same at every level."""

DIMENSIONS: tuple[str, ...] = tuple(dict.fromkeys(name for names in SHAPES.values() for name in names))
"""Every dimension that some shape takes, once."""


def plan_area(shape: str, dims: Mapping[str, float | None]) -> float:
    """Inside plan area of a vessel with upright walls, the same at every level.

    Equations: rectangle l w; arced_front l w plus the circular segment of chord l and rise r; circle pi d2/4;
    quarter_circle pi r2/4; regular_polygon n s2 / (4 tan(pi/n)); trapezoid w (front + back)/2; cut_corner
    s2 - c2/2; l_shape w (leg_a + leg_b - w).
    Shapes and units: `dims` holds what `SHAPES[shape]` lists, inside measures in m (`sides` a whole number);
    a None counts as left out. Result in m2.
    Valid for: upright walls; front_rise at most half the length, corner_cut less than the side, l_shape's
    width less than either leg, 3 to 24 sides.
    Uncertainty: that of the measures; 1 mm in 300 mm is 0.3 % of an area.
    Raises: Invalid with a fault for each dimension that is missing, not of this shape or out of proportion,
    its pointer "/" and the dimension's name; at "/shape" for a lying cylinder, which has no one area.
    Source: plane geometry. Areas are checked against polygon sums in tank_volumes_prismatic.csv.
    Not covered: sloping walls, lying cylinders (see `volume_below`), braces and overflow boxes inside the walls.
    """
    given = _measures(shape, dims)
    if shape == LYING:
        words = "The area of a lying cylinder changes with the level: it has no plan area of its own."
        raise Invalid(words, "/shape")
    return _AREAS[shape](*(given[name] for name in SHAPES[shape]))


def volume_below(shape: str, dims: Mapping[str, float | None], depth: float) -> float:
    """What an empty vessel holds up to a level.

    Equations: upright walls A h, A by `plan_area`; lying cylinder l D2/8 (2 a - sin 2a), with half the angle of
    the wet arc a = 2 atan(sqrt(h / (D - h))).
    Shapes and units: `dims` as for `plan_area`; depth h above the lowest point inside, in m; result in m3.
    Valid for: depth >= 0; in a lying cylinder depth <= diameter.
    Uncertainty: that of the measures.
    Raises: Invalid as `plan_area`; at "/water_depth" for a level above the top of a lying cylinder.
    Source: plane geometry; tank_volumes_horizontal_cylinder.csv, another library's closed form.
    Not covered: sloping walls, bulging ends, a cylinder that is not level.
    """
    if shape != LYING:
        return plan_area(shape, dims) * depth
    length, diameter = _lying(dims, depth)
    if depth > diameter / 2:
        return length * (math.pi * diameter**2 / 4 - _segment_below(diameter, diameter - depth))
    return length * _segment_below(diameter, depth)


def surface_area(shape: str, dims: Mapping[str, float | None], depth: float) -> float:
    """Area of the water's surface at a level: the plan area, or l 2 sqrt(h (D - h)) in a lying cylinder.

    Shapes and units: as `volume_below`; result in m2. It is the rate at which `volume_below` grows with depth.
    Valid for, uncertainty, raises, source, not covered: as `volume_below`.
    """
    if shape != LYING:
        return plan_area(shape, dims)
    length, diameter = _lying(dims, depth)
    return length * 2 * math.sqrt(depth * (diameter - depth))


def top_of(shape: str, dims: Mapping[str, float | None]) -> float | None:
    """The highest level that the shape itself allows, m: a lying cylinder's diameter; upright walls have none."""
    return dims.get("diameter") if shape == LYING else None


def _lying(dims: Mapping[str, float | None], depth: float) -> tuple[float, float]:
    given = _measures(LYING, dims)
    if depth > given["diameter"]:
        raise Invalid("The level lies above the top of the cylinder, its diameter.", "/water_depth")
    return given["length"], given["diameter"]


def _segment_below(diameter: float, depth: float) -> float:
    """Area of a circle up to a level in its lower half."""
    return segment_area(2 * math.sqrt(depth * (diameter - depth)), depth)


def wet_half_angle(diameter: float, depth: float) -> float:
    """Half the angle, in rad, of the arc that water wets in a lying cylinder: 2 atan(sqrt(h / (D - h))).

    Valid for: 0 <= depth < diameter, both in m. Source: plane geometry. Not covered: a brim-full one (pi).
    """
    return 2 * math.atan(math.sqrt(depth / (diameter - depth)))


def _measures(shape: str, dims: Mapping[str, float | None]) -> dict[str, float]:
    """The dimensions that the shape takes, if they fit it."""
    if shape not in SHAPES:
        raise Invalid(f"There is no footprint of that name. Choose one of: {', '.join(SHAPES)}.", "/shape")
    given = {name: value for name, value in dims.items() if value is not None}
    faults = _misfits(shape, given)
    if not faults:
        faults = [
            Fault(f"/{name}", words) for name, words, wrong in _out_of_proportion(shape, given) if wrong
        ]
    if faults:
        raise Invalid(f"These are not the measures of {_named(shape)}.", faults=faults)
    return given


def _named(shape: str) -> str:
    words = shape.replace("_", " ").replace("l shape", "L shape")
    return f"{'an' if words[0] in 'aL' else 'a'} {words}"


def _misfits(shape: str, given: Mapping[str, float]) -> list[Fault]:
    takes = f"{_named(shape)} takes {', '.join(SHAPES[shape])}."
    faults = []
    for name in SHAPES[shape]:
        if name not in given:
            faults.append(Fault(f"/{name}", f"'{name}' is missing: {takes}"))
        elif not (math.isfinite(given[name]) and given[name] > 0):
            faults.append(Fault(f"/{name}", f"'{name}' must be more than zero."))
    for name in given:
        if name not in SHAPES[shape]:
            faults.append(Fault(f"/{name}", f"'{name}' belongs to another footprint: {takes} Leave it out."))
    return faults


def _out_of_proportion(shape: str, d: Mapping[str, float]) -> list[tuple[str, str, bool]]:
    """Dimension, what holds for it, and whether it is broken."""
    if shape == "arced_front":
        words = "The rise of the arc is at most half the length: beyond that it bulges past the side walls."
        return [("front_rise", words, d["front_rise"] > d["length"] / 2)]
    if shape == "regular_polygon":
        words = f"Give 3 to {MOST_SIDES} sides, a whole number; call a rounder plan a circle."
        return [("sides", words, not (3 <= d["sides"] <= MOST_SIDES and d["sides"] == int(d["sides"])))]
    if shape == "cut_corner":
        words = "The cut takes less than the whole side off each of its two walls."
        return [("corner_cut", words, d["corner_cut"] >= d["side"])]
    if shape == "l_shape":
        words = "Both legs, measured along the outer corner, are longer than the width of a leg."
        return [("width", words, d["width"] >= min(d["leg_a"], d["leg_b"]))]
    return []


def segment_half_angle(chord: float, rise: float) -> float:
    """Half the angle, in rad, that a circular arc of that chord and rise (m) spans: 2 atan(2 r / l).

    Valid for: chord > 0, rise >= 0. Source: plane geometry. Not covered: arcs of other curves.
    """
    return 2 * math.atan(2 * rise / chord)


def segment_area(chord: float, rise: float) -> float:
    """Area between a chord and its circular arc.

    Equation: l2/8 (2 a - sin 2a) / sin2 a, with a = `segment_half_angle`; below a rise of a ten-thousandth of
    the chord its limit, two thirds of l r, because the difference in the bracket loses its digits there.
    Shapes and units: chord l and rise r in m, result in m2.
    Valid for: chord > 0, 0 <= rise <= chord/2.
    Uncertainty: 1e-8 of the area.
    Source: plane geometry.
    Not covered: segments of more than half a circle.
    """
    if rise <= chord * 1e-4:
        return 2 * chord * rise / 3
    half = segment_half_angle(chord, rise)
    return chord**2 / 8 * (2 * half - math.sin(2 * half)) / math.sin(half) ** 2


def _regular_polygon(sides: float, side: float) -> float:
    return sides * side**2 / (4 * math.tan(math.pi / sides))


_AREAS: Mapping[str, Callable[..., float]] = {
    "rectangle": lambda length, width: length * width,
    "arced_front": lambda length, width, front_rise: length * width + segment_area(length, front_rise),
    "circle": lambda diameter: math.pi * diameter**2 / 4,
    "quarter_circle": lambda radius: math.pi * radius**2 / 4,
    "regular_polygon": _regular_polygon,
    "trapezoid": lambda front, back, width: (front + back) / 2 * width,
    "cut_corner": lambda side, corner_cut: side**2 - corner_cut**2 / 2,
    "l_shape": lambda leg_a, leg_b, width: width * (leg_a + leg_b - width),
}


def grains_under_water(
    shape: str,
    dims: Mapping[str, float | None],
    bed_depth: float,
    water_depth: float,
    porosity: float = BED_POROSITY,
) -> float:
    """Water that a level bed of sand or gravel over the whole floor pushes aside, in a vessel of any shape.

    Equation: V(min(h_bed, h_water)) (1 - porosity), V by `volume_below`: only grains under water count, and water
    fills the gaps.
    Shapes and units: as `volume_below`; depths in m, porosity as a fraction, result in m3.
    Valid for: depths >= 0, 0 <= porosity < 1.
    Uncertainty: that of the porosity; 0.35 or 0.45 in place of 0.4 is 8 % of the displacement.
    Raises: as `volume_below`.
    Source: definition of porosity; displacement_worked.csv.
    Not covered: pores within the grains, a sloping bed (take its mean depth).
    """
    return volume_below(shape, dims, min(bed_depth, water_depth)) * (1 - porosity)


def water_volume(
    shape: str,
    dims: Mapping[str, float | None],
    water_depth: float,
    bed_depth: float = 0.0,
    porosity: float = BED_POROSITY,
    hardscape: float = 0.0,
) -> float:
    """Water that is really in a vessel: `volume_below` less `grains_under_water` less its hardscape.

    Shapes and units: as `volume_below`; depths in m, porosity as a fraction, hardscape (rock, wood, boxes) and
    result in m3.
    Valid for: hardscape wholly under water and resting on the bed, not in it.
    Uncertainty: that of the measures and the porosity.
    Raises: Invalid where bed and hardscape would leave no water; else as `volume_below`.
    Source: balance of volumes.
    Not covered: animals, plants, water held in pipes.
    """
    held = volume_below(shape, dims, water_depth)
    net = held - grains_under_water(shape, dims, bed_depth, water_depth, porosity) - hardscape
    if not net > 0:
        raise Invalid(
            "Bed and hardscape would fill the whole water: no room is left for any. Check their sizes.",
            "/substrate_depth",
        )
    return net
