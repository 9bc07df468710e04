"""How much water a vessel holds: brim-full, to its water line, and net of what stands in it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from weirbook.engine.calculators.tank_inputs import Inputs, water_line
from weirbook.engine.calculators.tank_steps import tank_steps
from weirbook.engine.relations.structure import (
    LYING,
    grains_under_water,
    plan_area,
    surface_area,
    volume_below,
    water_volume,
)
from weirbook.engine.relations.water import density
from weirbook.engine.shape import (
    Assumption,
    Calculator,
    Caution,
    Result,
    Source,
    Working,
    show,
)

HEAVY = 0.1
"""m3. From about here on water weighs more than people lift or a shelf is made for. Common practice."""


def solve(given: Inputs) -> Working:
    """Volumes of a vessel with upright walls or a lying cylinder, and the mass of what it holds.

    Equations: V(h) = A h, or `volume_below` in a lying cylinder; gross = V(h); net = V(h) - V(min(bed, h))(1 -
    porosity) - hardscape; hardscape = its volume, or mass / density; brim-full = V(rim); h = rim - gap where the
    gap is told; mass = net x density of water + grains x their density + hardscape + vessel.
    Shapes and units: SI, see `Inputs`.
    Valid for: upright walls or a level cylinder, level water, hardscape wholly under water, resting on the bed.
    Uncertainty: that of the measures: 1 cm in a depth of 50 cm is 2 %; porosity 0.05 off is 8 % of the bed.
    Raises: Invalid for dimensions of another shape, water or bed above the rim, hardscape or water line told
    twice, or contents that leave no water.
    Source: see SOURCES.
    Not covered: sloping walls, overflow boxes and braces, animals and plants, stand, lid and equipment.
    """
    depth = water_line(given)
    shape, dims, bed, porosity = given.shape, given.dims, given.substrate_depth, given.porosity
    rock = given.rock_volume
    water_density = density(given.temperature)
    net = water_volume(shape, dims, depth, bed, porosity, rock)
    masses = {
        "water_mass": net * water_density,
        "substrate_mass": volume_below(shape, dims, bed) * (1 - porosity) * given.grain_density,
        "hardscape_mass": rock * given.rock_density,
    }
    contents = sum(masses.values())
    values = {
        "plan_area": None if shape == LYING else plan_area(shape, dims),
        "surface_area": surface_area(shape, dims, depth),
        "rim_volume": None if given.rim_height is None else volume_below(shape, dims, given.rim_height),
        "gross_volume": volume_below(shape, dims, depth),
        "substrate_displacement": grains_under_water(shape, dims, bed, depth, porosity),
        "hardscape_displacement": rock,
        "net_volume": net,
        **masses,
        "contents_mass": contents,
        "total_mass": None if given.vessel_mass is None else contents + given.vessel_mass,
    }
    steps = tank_steps(given, depth, values, water_density)
    return Working(values, steps, _assumptions(given, water_density), _cautions(given, depth, values))


def _assumptions(given: Inputs, water_density: float) -> list[Assumption]:
    walls = "between flat ends, the axis level" if given.shape == LYING else "between upright walls"
    weight, warmth = show(water_density, "density"), show(given.temperature, "temperature")
    told = [
        Assumption(f"Measures are taken inside, {walls}.", "default"),
        Assumption(f"Water weighs {weight}: fresh, at {warmth}.", "default"),
    ]
    if given.substrate_depth > 0 and given.substrate_porosity is None:
        words = "0.4 of the bed is gaps, as in loose gravel or sand; 0.35 to 0.45 is usual."
        told.append(Assumption(words, "common practice"))
    if given.substrate_depth > 0 and given.substrate_density is None:
        words = "The bed's grains weigh 2650 kg/m3, as quartz does; burnt clay and soil weigh far less."
        told.append(Assumption(words, "common practice"))
    if given.rock_volume and given.hardscape_density is None:
        words = "The hardscape weighs 2650 kg/m3, as quartz and granite do; wood and porous stone weigh less."
        told.append(Assumption(words, "common practice"))
    if given.rock_volume:
        told.append(
            Assumption("The hardscape is wholly under water and rests on the bed, not in it.", "default")
        )
    if given.vessel_mass is None:
        words = "What the empty vessel weighs is not told, so the mass of the whole is left open."
        told.append(Assumption(words, "default"))
    return told


def _cautions(given: Inputs, depth: float, values: Mapping[str, Any]) -> list[Caution]:
    told = []
    level = show(depth, "length", "m")
    if given.substrate_depth > depth:
        words = "The bed rises above the water: only what lies under water pushes water aside."
        told.append(Caution("bed-above-water", words, level))
    if given.rim_height == depth:
        words = "The water stands at the rim: waves, hands or water draining back will spill."
        told.append(Caution("no-freeboard", words, level))
    if values["gross_volume"] >= HEAVY:
        if values["total_mass"] is None:
            whole = f"Water, bed and rock weigh about {values['contents_mass']:.0f} kg; vessel and"
        else:
            whole = f"Vessel, water, bed and rock weigh about {values['total_mass']:.0f} kg; lid, lamps and"
        words = (
            f"The water alone weighs about {values['water_mass']:.0f} kg. {whole} stand come on top. Ask a"
            " structural engineer whether floor and stand carry it. Drain and clear it before it is moved, lift"
            " with enough hands, and mind the glass edges."
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
        "Water in a vessel with upright walls, of any of the footprints listed, or in a lying cylinder:"
        " brim-full, to the water line with nothing else in it, and net of sand, gravel, rock and wood. Also"
        " what water, bed, rock and vessel weigh. Give the shape, the measures that this shape takes, and the"
        " water depth or the gap left under the rim."
    ),
    inputs=Inputs,
    results=(
        Result(
            "plan_area",
            "area",
            "Inside area of the floor; none for a lying cylinder, whose area changes with the level.",
        ),
        Result("surface_area", "area", "Area of the water's surface at the water line."),
        Result("rim_volume", "volume", "Brim-full and empty of anything else; none without a rim height."),
        Result("gross_volume", "volume", "To the water line, empty of anything else."),
        Result("substrate_displacement", "volume", "Water that the grains of the bed push aside."),
        Result("hardscape_displacement", "volume", "Water that rock, wood and boxes push aside."),
        Result("net_volume", "volume", "Water that is really there: the figure for a dose or a turnover."),
        Result("water_mass", "mass", "Mass of the net water, without vessel, bed or rock.", "kg"),
        Result("substrate_mass", "mass", "Mass of the bed's grains, dry.", "kg"),
        Result("hardscape_mass", "mass", "Mass of rock, wood and boxes.", "kg"),
        Result("contents_mass", "mass", "Water, grains and hardscape together.", "kg"),
        Result("total_mass", "mass", "Contents and the empty vessel; none without the vessel's mass.", "kg"),
    ),
    limits=(
        "Upright walls and a level floor, or a level cylinder with flat ends: a sloping wall or a bulging end"
        " needs another formula.",
        "Inside measures. Taken outside, walls of 10 mm make a width of 280 mm 7 % too wide.",
        "Overflow boxes and braces are not taken off: count them as hardscape.",
        "Masses leave out stand, lid, lamps, pumps, animals and the people who lean on it.",
        "Front rise at most half the length; corner cut less than the side; legs longer than their width.",
    ),
    sources=(
        Source(
            "Kell, G. S.",
            1975,
            "Density, thermal expansivity, and compressibility of liquid water from 0 to 150 °C",
            "J. Chem. Eng. Data 20(1), 97, eq. 16: density at 101.325 kPa",
            "Coefficients from memory, tested against IAPWS-95 as two independent libraries compute it.",
        ),
        Source(
            "Plane geometry",
            None,
            "Areas of plane figures, the circular segment among them; porosity as gaps over bulk",
            "any handbook of mathematics",
            "Areas are tested against polygon sums with up to 200,000 chords, the lying cylinder against another"
            " library.",
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
        "vessel_mass": "68 kg",
    },
    doors=("tanks",),
)
