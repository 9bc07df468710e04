"""A settling section or box: the floor that a particle needs to come to rest, or the particle that a box catches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.settling_steps import (
    box_steps,
    excess_step,
    settling_steps,
    size,
    sizing_steps,
    speed,
    water_steps,
)
from weirbook.engine.relations.hydraulics import mean_velocity, surface_loading
from weirbook.engine.relations.settling import (
    LARGEST_REYNOLDS,
    hazen_removal,
    ideal_removal,
    particle_that_settles_at,
    scour_velocity,
    settling_velocity,
    turbulent_removal,
)
from weirbook.engine.relations.water import FREEZING, HOTTEST, density, dynamic_viscosity
from weirbook.engine.shape import (
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
)
from weirbook.errors import Fault, Invalid

WASTE_DENSITY = 1050.0
"""kg/m3, the lightest of 1050 to 1190 measured in solids of fish farms (see SOURCES): on the safe side."""

USUAL_SAFETY = 2.0
"""Floor over the ideal floor. Common practice, no source; 1.5 to 3 is usual."""

FINE = 20e-6
"""m. 40 to 70 % of the suspended mass in recirculating fish farms was finer (see SOURCES)."""

SHORTEST_BASIN_STAY = 15 * 60.0
"""s. Settling basins of hatcheries hold water 15 to 120 min (Piper et al. 1982)."""


def _side(name: str, doc: str) -> Any:
    return param("length", doc=doc, unit="m", gt=0, le=100, default=None, role=f"section.{name}")


@dataclass(frozen=True)
class Inputs:
    flow: float = param("flow", doc="Through the section or box.", gt=0, role="section_flow")
    particle_size: float | None = param(
        "length",
        doc="Diameter of the particle that should be caught. Give it or settling_velocity.",
        unit="mm",
        gt=0,
        le=0.1,
        default=None,
    )
    settling_velocity: float | None = param(
        "velocity",
        doc="How fast the particle sinks in still water, as timed in a tall glass. Give it or particle_size.",
        unit="mm/s",
        gt=0,
        le=1,
        default=None,
    )
    particle_density: float | None = param(
        "density",
        doc="Of the wet particle. Left out: 1050 kg/m3, the lightest measured in solids of fish farms.",
        gt=0,
        le=20000,
        default=None,
    )
    temperature: float = param(
        "temperature",
        doc="Of the water: the colder, the slower things sink.",
        ge=FREEZING,
        le=HOTTEST,
        default=298.15,
        role="water_temperature",
    )
    length: float | None = _side("length", "Inside, along the flow. Leave it out to have it worked out.")
    width: float | None = _side("width", "Inside, across the flow.")
    depth: float | None = _side("depth", "Of the water.")
    safety_factor: float = param(
        "number",
        doc="Floor taken by floor that an ideal box would need: 2 is common practice.",
        ge=1,
        le=20,
        default=USUAL_SAFETY,
    )
    hazen_grade: int = param(
        COUNT,
        doc="How well water spreads over the box: 1 very poor, 2 poor, 3 good, 5 and more very good.",
        ge=1,
        le=10,
        default=3,
    )

    @property
    def density(self) -> float:
        return WASTE_DENSITY if self.particle_density is None else self.particle_density


@dataclass(frozen=True)
class Water:
    density: float
    viscosity: float


def solve(given: Inputs) -> Working:
    """Floor needed, and what a floor catches.

    Equations: settling velocity v by `settling_velocity` (Cheng's drag on a sphere); floor needed A = S Q / v with
    the safety factor S; overflow velocity Q / A; share caught min(1, x), 1 - (1 + x/n)^-n and 1 - exp(-x) with
    x = v A / Q; smallest particle caught settles at Q / A, surely caught at S Q / A; scour by Camp and Shields.
    Shapes and units: SI, see `Inputs`.
    Valid for: water spread over the whole floor and depth, spheres, Reynolds number of the particle below 2e5.
    Uncertainty: 5 % for spheres; real faeces were measured at 0.7 to 6 cm/s; scour an order of magnitude.
    Raises: Invalid where neither a particle nor a box is told, for a particle told twice or that does not sink.
    Source: see SOURCES.
    Not covered: flocs, short circuits, sludge that fills the box, slanted plates.
    """
    _refuse_contradictions(given)
    water = Water(density(given.temperature), dynamic_viscosity(given.temperature))
    particle = _particle(given, water)
    values: dict[str, Any] = {
        "particle_size": None if particle is None else particle[0],
        "settling_velocity": None if particle is None else particle[1],
        "plan_area_needed": None,
        "length_needed": None,
    }
    if particle is not None:
        values["plan_area_needed"] = given.safety_factor * given.flow / particle[1]
        values["length_needed"] = given.width and values["plan_area_needed"] / given.width
    values |= _box(given, water, values)
    return Working(
        values, _steps(given, water, values), _assumptions(given, values), _cautions(given, water, values)
    )


def _refuse_contradictions(given: Inputs) -> None:
    faults = []
    if given.particle_size is not None and given.settling_velocity is not None:
        for name in ("particle_size", "settling_velocity"):
            faults.append(
                Fault(f"/{name}", "Say the particle by its size or by how fast it sinks, not both.")
            )
    if given.length is not None and given.width is None:
        faults.append(Fault("/width", "'width' is missing: a length makes a floor only with a width."))
    if given.particle_size is None and given.settling_velocity is None and given.length is None:
        words = "Say a particle (particle_size or settling_velocity), or a box (length and width), or both."
        faults.append(Fault("/particle_size", words))
    if faults:
        raise Invalid("There is no box to work out.", faults=faults)


def _particle(given: Inputs, water: Water) -> tuple[float, float] | None:
    """Diameter and settling velocity of the particle that was told; the one follows from the other."""
    if given.particle_size is not None:
        settles = settling_velocity(given.particle_size, given.density, water.density, water.viscosity)
        return given.particle_size, settles
    if given.settling_velocity is not None:
        sphere = particle_that_settles_at(
            given.settling_velocity, given.density, water.density, water.viscosity
        )
        return sphere, given.settling_velocity
    return None


def _box(given: Inputs, water: Water, values: Mapping[str, Any]) -> dict[str, Any]:
    """Of the box that was told, else of one with the floor that is needed."""
    width, depth, settles = given.width, given.depth, values["settling_velocity"]
    area = (
        given.length * width if given.length is not None and width is not None else values["plan_area_needed"]
    )
    overflow = surface_loading(given.flow, area)
    found: dict[str, Any] = {
        "plan_area": area,
        "overflow_velocity": overflow,
        "smallest_caught": _size_at(overflow, given, water),
        "surely_caught": _size_at(overflow * given.safety_factor, given, water),
        "ideal_removal": settles and ideal_removal(settles, overflow),
        "hazen_removal": settles and hazen_removal(settles, overflow, given.hazen_grade),
        "turbulent_removal": settles and turbulent_removal(settles, overflow),
        "forward_velocity": width and depth and mean_velocity(given.flow, width * depth),
        "mean_stay": depth and area * depth / given.flow,
        "scour_velocity": None,
        "least_depth": None,
    }
    if settles is not None:
        scour = scour_velocity(values["particle_size"], given.density / water.density)
        found["scour_velocity"] = scour
        found["least_depth"] = width and given.flow / (width * scour)
    return found


def _size_at(velocity: float, given: Inputs, water: Water) -> float:
    return particle_that_settles_at(velocity, given.density, water.density, water.viscosity)


def _steps(given: Inputs, water: Water, values: Mapping[str, Any]) -> list[Step]:
    excess, viscosity = given.density / water.density - 1, water.viscosity / water.density
    steps = [excess_step(given.density, water.density)]
    settles, overflow = values["settling_velocity"], values["overflow_velocity"]
    if settles is not None:
        steps += settling_steps("the particle", values["particle_size"], settles, excess, viscosity)
        steps += sizing_steps(values, given.flow, given.safety_factor, given.width)
    steps += box_steps(values, given.flow, given.length, given.width, given.hazen_grade)
    for what, name, velocity in (
        ("the smallest caught", "smallest_caught", overflow),
        ("the smallest surely caught", "surely_caught", overflow * given.safety_factor),
    ):
        steps += settling_steps(what, values[name], velocity, excess, viscosity)
    if given.width is not None:
        sphere = None if settles is None else (values["particle_size"], excess)
        length = given.length or values["length_needed"]
        steps += water_steps(values, given.flow, (given.width, length, given.depth), sphere)
    return steps


def _assumptions(given: Inputs, values: Mapping[str, Any]) -> list[Assumption]:
    told = [
        Assumption("Particles are smooth spheres that sink alone in still water.", "default"),
        Assumption(
            f"A floor {show(given.safety_factor, 'number')} times the ideal one is needed.",
            "common practice" if given.safety_factor == USUAL_SAFETY else "given",
        ),
    ]
    if given.particle_density is None:
        words = "Particles weigh 1050 kg/m3 wet: 1050 to 1190 were measured in solids of fish farms."
        told.append(Assumption(words, "default"))
    if given.settling_velocity is not None:
        words = f"What sinks so fast is like a sphere of {size(values['particle_size'])}."
        told.append(Assumption(words, "default"))
    if given.length is None:
        told.append(Assumption("No length is told: the box has the floor that is needed.", "default"))
    return told


def _cautions(given: Inputs, water: Water, values: Mapping[str, Any]) -> list[Caution]:
    told = [
        Caution(
            "faeces-are-no-spheres",
            "Real faeces are irregular, hold water and break up in pumps and falls: speeds from 0.7 to 6 cm/s were"
            " measured, and some stay afloat. Time some in a tall glass, and bring water to the box unpumped.",
        )
    ]
    if values["smallest_caught"] > FINE:
        words = (
            "In recirculating fish farms 40 to 70 % of the suspended mass was finer than 0.02 mm: settling does not"
            " take that out."
        )
        told.append(Caution("fines-pass", words, size(FINE)))
    needed, area = values["plan_area_needed"], values["plan_area"]
    if needed is not None and area < needed * (1 - 1e-9):
        words = "The box's floor is smaller than the particle needs with its safety factor."
        told.append(Caution("floor-too-small", words, show(needed, "area", "m2")))
    forward, scour = values["forward_velocity"], values["scour_velocity"]
    if forward is not None and scour is not None and forward > scour:
        words = (
            "Water goes through faster than the speed that stirs settled particles up: make it deeper or wider. The"
            " limit is an order of magnitude for soft solids; stay well below it."
        )
        told.append(Caution("stirred-up", words, speed(scour)))
    if values["mean_stay"] is not None and values["mean_stay"] < SHORTEST_BASIN_STAY:
        words = "Settling basins of hatcheries hold water 15 to 120 min. In a shorter stay eddies at the inlet count more."
        told.append(Caution("short-stay", words, show(SHORTEST_BASIN_STAY, "time", "min")))
    fastest = max(
        one * two for one, two in zip(*_sizes_and_speeds(given, values), strict=True) if one is not None
    )
    if fastest * water.density / water.viscosity > LARGEST_REYNOLDS:
        words = "Such large, fast particles lie beyond the drag law's range: take their speed as rough."
        told.append(Caution("beyond-the-drag-law", words, f"{LARGEST_REYNOLDS:.0f}"))
    return told


def _sizes_and_speeds(given: Inputs, values: Mapping[str, Any]) -> tuple[list[Any], list[Any]]:
    overflow = values["overflow_velocity"]
    sizes = [values[name] for name in ("particle_size", "smallest_caught", "surely_caught")]
    return sizes, [values["settling_velocity"], overflow, overflow * given.safety_factor]


SOURCES = (
    Source(
        "Cheng, N.-S.",
        2009,
        "Comparison of formulas for drag coefficient and settling velocity of spherical particles",
        "Powder Technology 189(3), 395: drag coefficient",
        "Coefficients from memory; tested against another library's velocities within 5 %.",
    ),
    Source(
        "Hazen, A.",
        1904,
        "On sedimentation",
        "Trans. ASCE 53, 45: overflow velocity, basins in series",
        "From memory, his grades of basins among it; the formulas are tested in closed form.",
    ),
    Source(
        "Camp, T. R.",
        1946,
        "Sedimentation and the design of settling tanks",
        "Trans. ASCE 111, 895: ideal basin, scour after Shields",
        "From memory; its constants 0.05 and 0.025 as in Metcalf and Eddy, from memory.",
    ),
    Source(
        "World Aquaculture Society",
        None,
        "Meeting abstract 165932",
        "densities, settling velocities and sizes of solids of fish farms",
        "Read; the author is not shown there.",
    ),
    Source(
        "Piper, R. G., and others",
        1982,
        "Fish Hatchery Management",
        "US Fish and Wildlife Service, settling basins: 15 to 120 min",
        "Read in a scanned text.",
    ),
    Source("Common practice", None, "Safety factor of 2 on the floor", "no source", "A trade rule."),
)

SETTLING_BOX = Calculator(
    name="settling-box",
    title="Settling box",
    doc=(
        "The floor that a settling section or stand-alone box needs for a flow and a particle, its length for a width,"
        " and what share it catches by three views; or of a given box the smallest particle that it catches. With a"
        " depth also the speed through it, against the speed that stirs settled solids up. The floor counts, not"
        " the depth."
    ),
    inputs=Inputs,
    results=(
        Result("particle_size", "length", "The particle, or the sphere that sinks as fast.", "mm"),
        Result("settling_velocity", "velocity", "How fast the particle sinks.", "mm/s"),
        Result("plan_area_needed", "area", "Floor that catches it, with the safety factor."),
        Result("length_needed", "length", "Length of that floor for the width told.", "m"),
        Result("plan_area", "area", "Floor of the box: as told, else as needed."),
        Result(
            "overflow_velocity", "velocity", "Flow over floor: what sinks slower may be carried out.", "mm/s"
        ),
        Result("smallest_caught", "length", "Smallest particle that all settles in an ideal box.", "mm"),
        Result("surely_caught", "length", "The same with the safety factor.", "mm"),
        Result("ideal_removal", "fraction", "Share of the particle caught in an ideal box."),
        Result("hazen_removal", "fraction", "Share caught in a box of the grade told."),
        Result("turbulent_removal", "fraction", "Share caught where eddies mix the whole depth."),
        Result("forward_velocity", "velocity", "Mean speed of the water through the box.", "mm/s"),
        Result("mean_stay", "time", "Water in the box over its flow.", "min"),
        Result(
            "scour_velocity", "velocity", "Speed along the floor that stirs the particle up again.", "mm/s"
        ),
        Result("least_depth", "length", "Depth at which the water goes at that speed; be well deeper.", "cm"),
    ),
    limits=(
        "Single smooth spheres. Real faeces break, swell and stick together.",
        "Water spread evenly over width and depth; a jet at the inlet spoils it.",
        "An empty box: sludge takes depth, and rots. Clean it before it does.",
        "Scour is an order of magnitude for soft solids.",
    ),
    sources=SOURCES,
    solve=solve,
    example={
        "flow": "1000 L/h",
        "particle_size": "0.5 mm",
        "particle_density": "1100 kg/m3",
        "width": "30 cm",
        "length": "45 cm",
        "depth": "25 cm",
    },
    asks={"particle_size": "0.5 mm"},
    doors=("sections",),
)
