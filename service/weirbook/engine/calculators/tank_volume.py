"""How much water a vessel holds: brim-full, to its water line, and net of what stands in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from weirbook.engine.relations.structure import (
    BED_POROSITY,
    DIMENSIONS,
    MOST_SIDES,
    SHAPES,
    STONE_DENSITY,
    WATER_DENSITY,
    bed_displacement,
    net_volume,
    plan_area,
    segment_area,
    segment_half_angle,
)
from weirbook.engine.shape import (
    CHOICE,
    COUNT,
    Assumption,
    Calculator,
    Caution,
    Result,
    Source,
    Step,
    Working,
    param,
    show,
    step,
)
from weirbook.errors import Fault, Invalid

LONGEST = 100.0
"""m. Longer than any tank in a room; it catches a wrong unit."""

HEAVY = 0.1
"""m3. From about here on water weighs more than people lift or a shelf is made for. Common practice."""


def _measure(doc: str, role: str, **said: Any) -> Any:
    return param("length", doc=doc, unit="m", le=LONGEST, role=role, **said)


def _dimension(name: str, doc: str) -> Any:
    shapes = ", ".join(shape for shape, takes in SHAPES.items() if name in takes)
    return _measure(f"{doc} For: {shapes}.", f"footprint.{name}", gt=0, default=None)


@dataclass(frozen=True)
class Inputs:
    shape: str = param(
        CHOICE,
        doc="Footprint seen from above.",
        choices=tuple(SHAPES),
        role="footprint.shape",
    )
    water_depth: float = _measure("From the floor of the vessel to the water line.", "water_depth", gt=0)
    length: float | None = _dimension("length", "Inside, along the straight back.")
    width: float | None = _dimension(
        "width",
        "Inside, from front to back: with an arced front, of the side walls alone; of an L, of its legs.",
    )
    front_rise: float | None = _dimension("front_rise", "How far the front stands out beyond the side walls.")
    diameter: float | None = _dimension("diameter", "Inside, across.")
    radius: float | None = _dimension("radius", "Inside, along each straight wall.")
    sides: int | None = param(
        COUNT,
        doc="How many equal sides. For: regular_polygon.",
        ge=3,
        le=MOST_SIDES,
        default=None,
        role="footprint.sides",
    )
    side: float | None = _dimension(
        "side", "Inside length of one side (with a cut corner, of an uncut wall)."
    )
    front: float | None = _dimension("front", "Inside length of the front wall.")
    back: float | None = _dimension("back", "Inside length of the back wall, parallel to the front.")
    corner_cut: float | None = _dimension(
        "corner_cut", "What the cut takes off each of the two walls it joins."
    )
    leg_a: float | None = _dimension("leg_a", "One leg, inside, from the outer corner to the end of the leg.")
    leg_b: float | None = _dimension("leg_b", "The other leg, inside, from the outer corner to its end.")
    rim_height: float | None = _measure("From the floor to the lowest rim.", "rim_height", gt=0, default=None)
    substrate_depth: float = _measure("Mean depth of sand or gravel.", "substrate_depth", ge=0, default=0.0)
    substrate_porosity: float | None = param(
        "fraction",
        doc="Share of the bed that is gaps, filled with water. Left out: 0.4, common practice.",
        unit="1",
        ge=0,
        lt=1,
        default=None,
        role="substrate_porosity",
    )
    hardscape_volume: float | None = param(
        "volume",
        doc="Rock, wood and boxes under water, by volume. Give it or the mass, not both.",
        ge=0,
        default=None,
        role="hardscape_volume",
    )
    hardscape_mass: float | None = param(
        "mass",
        doc="Rock under water, by mass. Give it or the volume, not both.",
        unit="kg",
        ge=0,
        default=None,
        role="hardscape_mass",
    )
    hardscape_density: float | None = param(
        "density",
        doc="Of the hardscape whose mass is given; what is lighter than water floats. Left out: 2650 kg/m3.",
        ge=1000,
        default=None,
        role="hardscape_density",
    )


def solve(given: Inputs) -> Working:
    """Volumes of an upright vessel and the mass of its water.

    Equations: gross = A h; net = A h - A min(bed, h)(1 - porosity) - hardscape; hardscape = its volume, or
    mass / density; brim-full = A rim; mass of water = net x 998.2 kg/m3. A by `plan_area`.
    Shapes and units: SI, see `Inputs`.
    Valid for: upright walls, level water, hardscape wholly under water and resting on the bed.
    Uncertainty: that of the measures: 1 cm in a depth of 50 cm is 2 %; porosity 0.05 off is 8 % of the bed.
    Raises: Invalid for dimensions of another footprint, water or bed above the rim, hardscape told twice, or
    contents that leave no water.
    Source: see SOURCES.
    Not covered: sloping walls, lying cylinders, overflow boxes and braces, animals and plants.
    """
    _refuse_contradictions(given)
    area = plan_area(given.shape, {name: getattr(given, name) for name in DIMENSIONS})
    porosity = BED_POROSITY if given.substrate_porosity is None else given.substrate_porosity
    density = STONE_DENSITY if given.hardscape_density is None else given.hardscape_density
    hardscape = given.hardscape_volume or 0.0
    if given.hardscape_mass is not None:
        hardscape = given.hardscape_mass / density
    bed = bed_displacement(area, given.substrate_depth, given.water_depth, porosity)
    net = net_volume(area, given.water_depth, given.substrate_depth, porosity, hardscape)
    values = {
        "plan_area": area,
        "rim_volume": None if given.rim_height is None else area * given.rim_height,
        "gross_volume": area * given.water_depth,
        "substrate_displacement": bed,
        "hardscape_displacement": hardscape,
        "net_volume": net,
        "water_mass": net * WATER_DENSITY,
    }
    steps = [*_area_steps(given, area), *_volume_steps(given, values, porosity, density)]
    return Working(values, steps, _assumptions(given), _cautions(given, values))


def _refuse_contradictions(given: Inputs) -> None:
    faults = []
    if given.rim_height is not None:
        for name, what in (("water_depth", "Water"), ("substrate_depth", "Substrate")):
            if getattr(given, name) > given.rim_height:
                words = f"{what} can't stand above the rim, which is at {_m(given.rim_height)}."
                faults.append(Fault(f"/{name}", words))
    if given.hardscape_volume is not None and given.hardscape_mass is not None:
        for name in ("hardscape_volume", "hardscape_mass"):
            faults.append(Fault(f"/{name}", "Say the hardscape by volume or by mass, not both."))
    if given.hardscape_density is not None and given.hardscape_mass is None:
        faults.append(
            Fault("/hardscape_density", "A density needs the mass it belongs to: add hardscape_mass.")
        )
    if faults:
        raise Invalid("The inputs contradict each other.", faults=faults)


def _m(length: float) -> str:
    return show(length, "length", "m")


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
        steps = [
            step(
                "half angle in radians",
                "2 × atan(2 × {front_rise} ÷ {length})",
                numbers,
                half,
                "angle",
                "rad",
            ),
            step("area in front of the side walls", arc, numbers, segment, "area", "m2"),
        ]
    return [*steps, step("plan area", AREAS[given.shape], numbers, area, "area", "m2")]


def _volume_steps(given: Inputs, values: Mapping[str, Any], porosity: float, density: float) -> list[Step]:
    numbers = {
        "plan_area": show(values["plan_area"], "area", "m2"),
        "water_depth": _m(given.water_depth),
        "bed_under_water": _m(min(given.substrate_depth, given.water_depth)),
        "porosity": show(porosity, "fraction", "1"),
        "density": show(density, "density", "kg/m3"),
        **{
            name: show(values[name], "volume", "L")
            for name in ("gross_volume", "substrate_displacement", "hardscape_displacement", "net_volume")
        },
    }
    formulas = {"gross_volume": "{plan_area} × {water_depth} × 1000"}
    if given.rim_height is not None:
        numbers["rim_height"] = _m(given.rim_height)
        formulas["rim_volume"] = "{plan_area} × {rim_height} × 1000"
    if given.substrate_depth > 0:
        formulas["substrate_displacement"] = "{plan_area} × {bed_under_water} × (1 − {porosity}) × 1000"
    if given.hardscape_mass is not None:
        numbers["mass"] = show(given.hardscape_mass, "mass", "kg")
        formulas["hardscape_displacement"] = "{mass} ÷ {density} × 1000"
    formulas["net_volume"] = "{gross_volume} − {substrate_displacement} − {hardscape_displacement}"
    weight = f"{{net_volume}} × {WATER_DENSITY / 1000:g}"
    return [
        *(
            step(f"{name.replace('_', ' ')} in L", formula, numbers, values[name], "volume", "L")
            for name, formula in formulas.items()
        ),
        step("water mass in kg", weight, numbers, values["water_mass"], "mass", "kg"),
    ]


def _assumptions(given: Inputs) -> list[Assumption]:
    told = [
        Assumption("Measures are taken inside, between upright walls.", "default"),
        Assumption("Water weighs 998.2 kg/m3: fresh, at 20 °C. At 30 °C it weighs 0.3 % less.", "default"),
    ]
    if given.substrate_depth > 0 and given.substrate_porosity is None:
        words = "0.4 of the bed is gaps, as in loose gravel or sand; 0.35 to 0.45 is usual."
        told.append(Assumption(words, "common practice"))
    if given.hardscape_mass and given.hardscape_density is None:
        words = "The hardscape weighs 2650 kg/m3, as quartz and granite do; wood and porous stone weigh less."
        told.append(Assumption(words, "common practice"))
    if given.hardscape_mass or given.hardscape_volume:
        told.append(
            Assumption("The hardscape is wholly under water and rests on the bed, not in it.", "default")
        )
    return told


def _cautions(given: Inputs, values: Mapping[str, Any]) -> list[Caution]:
    told = []
    if given.substrate_depth > given.water_depth:
        words = "The bed rises above the water: only what lies under water pushes water aside."
        told.append(Caution("bed-above-water", words, _m(given.water_depth)))
    if given.rim_height == given.water_depth:
        words = "The water stands at the rim: waves, hands or water draining back will spill."
        told.append(Caution("no-freeboard", words, _m(given.water_depth)))
    if values["gross_volume"] >= HEAVY:
        words = (
            f"The water alone weighs about {values['water_mass']:.0f} kg; vessel, sand, rock and stand come"
            " on top. Ask a structural engineer whether floor and stand carry it. Drain and clear it before"
            " it is moved, lift with enough hands, and mind the glass edges."
        )
        told.append(Caution("heavy", words, show(HEAVY, "volume", "L")))
    told.append(
        Caution(
            "one-vessel", "This is one vessel. For a dose, count the sump and the other tanks on it as well."
        )
    )
    return told


TANK_VOLUME = Calculator(
    name="tank-volume",
    title="Tank volume",
    doc=(
        "Water in a vessel with upright walls, of any of the footprints listed: brim-full, to the water line"
        " with nothing else in it, and net of sand, gravel, rock and wood. Also what the water weighs. Give"
        " the shape, the measures that this shape takes and the water depth."
    ),
    inputs=Inputs,
    results=(
        Result("plan_area", "area", "Inside area of the floor."),
        Result("rim_volume", "volume", "Brim-full and empty of anything else; none without a rim height."),
        Result("gross_volume", "volume", "To the water line, empty of anything else."),
        Result("substrate_displacement", "volume", "Water that the grains of the bed push aside."),
        Result("hardscape_displacement", "volume", "Water that rock, wood and boxes push aside."),
        Result("net_volume", "volume", "Water that is really there: the figure for a dose or a turnover."),
        Result("water_mass", "mass", "Mass of the net water, without vessel, bed or rock.", "kg"),
    ),
    limits=(
        "Upright walls and a level floor: a sloping wall or a lying cylinder needs another formula.",
        "Inside measures. Taken outside, walls of 10 mm make a width of 280 mm 7 % too wide.",
        "Overflow boxes and braces are not taken off: count them as hardscape.",
        "Front rise at most half the length; corner cut less than the side; legs longer than their width.",
    ),
    sources=(
        Source(
            "Wagner, W., Pruss, A.",
            2002,
            "The IAPWS formulation 1995 for the thermodynamic properties of ordinary water substance",
            "J. Phys. Chem. Ref. Data 31(2), 387: density at 20 °C, 101.325 kPa",
            "Computed with two independent libraries, 998.207 kg/m3.",
        ),
        Source(
            "Plane geometry",
            None,
            "Areas of plane figures, the circular segment among them; porosity as gaps over bulk",
            "any handbook of mathematics",
            "Areas are tested against polygon sums with up to 200,000 chords.",
        ),
    ),
    solve=solve,
    example={
        "shape": "rectangle",
        "length": "120 cm",
        "width": "50 cm",
        "water_depth": "50 cm",
        "rim_height": "55 cm",
        "substrate_depth": "8 cm",
        "substrate_porosity": "38 %",
        "hardscape_mass": "25 kg",
    },
    doors=("tanks",),
)
