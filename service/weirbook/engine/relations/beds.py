"""Water through beds of grains: head lost, speed in the gaps, surface. SI floats in and out."""

from __future__ import annotations

from weirbook.engine.relations.hydraulics import GRAVITY

LARGEST_BED_REYNOLDS = 1000.0
"""Of Ergun's equation, by the speed over the whole cross-section, the grain and the share that is solid."""


def ergun_gradient(
    velocity: float, grain: float, porosity: float, density: float, viscosity_dynamic: float
) -> float:
    """Head lost in each metre of a bed of grains.

    Equation: dp/L = 150 mu (1 - e)2 v / (e3 d2) + 1.75 rho (1 - e) v2 / (e3 d); i = dp / (rho g L).
    Shapes and units: v over the whole cross-section of the bed in m/s, grain d (of other shapes than spheres the
    sphere of the same surface for its volume) in m, porosity e, rho in kg/m3, mu in Pa s; result m of head a m.
    Valid for: rho v d / (mu (1 - e)) of 0.2 to 1000, clean grains of one size that stay where they are.
    Uncertainty: 25 % for spheres of one size; porosity counts by its cube (0.38 for 0.40 is 25 % more), and
    growth between the grains may multiply the loss many times.
    Raises: nothing; velocity >= 0, grain, density and viscosity > 0, 0 < porosity < 1.
    Source: Ergun (1952), Fluid flow through packed columns, Chem. Eng. Prog. 48, 89; values computed with the
    library fluids 1.3.1 in packed_bed_pressure_drop.csv.
    Not covered: fibres, foam and brushes, open media above 0.8 porosity, beds that float up.
    """
    solid = 1 - porosity
    calm = 150 * viscosity_dynamic * solid**2 * velocity / (porosity**3 * grain**2)
    swirling = 1.75 * density * solid * velocity**2 / (porosity**3 * grain)
    return (calm + swirling) / (density * GRAVITY)


def bed_reynolds(
    velocity: float, grain: float, porosity: float, density: float, viscosity_dynamic: float
) -> float:
    """Reynolds number of a bed: rho v d / (mu (1 - e)), the number by which Ergun's range is told.

    Shapes and units: as `ergun_gradient`; result a number. Valid for: 0 < porosity < 1.
    Source: Ergun (1952).
    """
    return density * velocity * grain / (viscosity_dynamic * (1 - porosity))


def kozeny_conductivity(grain: float, porosity: float, density: float, viscosity_dynamic: float) -> float:
    """Hydraulic conductivity of clean grains where flow is calm: the first term of Ergun's equation alone.

    Equation: K = rho g e3 d2 / (150 mu (1 - e)2).
    Shapes and units: as `ergun_gradient`; result in m/s.
    Valid for: grain Reynolds number below about 10 (Blake and Kozeny; Carman's factor is 180 for 150).
    Uncertainty: 25 %; measured gravel differs by more (see porous_media_published.csv).
    Raises: nothing. Source: Blake (1922) and Kozeny (1927), as the laminar end of Ergun (1952); from memory.
    Not covered: growth, roots, fines.
    """
    return density * GRAVITY * porosity**3 * grain**2 / (150 * viscosity_dynamic * (1 - porosity) ** 2)


def darcy_gradient(velocity: float, conductivity: float) -> float:
    """Head lost in each metre of a bed of known conductivity, by Darcy's law: i = v / K.

    Shapes and units: speed over the whole cross-section and conductivity in m/s; result m of head a m.
    Valid for: conductivity > 0, grain Reynolds number below about 10.
    Uncertainty: that of the conductivity, which differs twofold between like gravels and falls as a bed clogs.
    Raises: nothing. Source: Darcy (1856); any handbook of hydraulics.
    Not covered: swirling flow between coarse stones.
    """
    return velocity / conductivity


def pore_velocity(velocity: float, porosity: float) -> float:
    """Mean speed in the gaps of a bed: the speed over its whole cross-section over its porosity.

    Shapes and units: m/s, porosity as a fraction; result in m/s. Valid for: 0 < porosity < 1.
    Uncertainty: that of both, in proportion; the way between the grains is longer than the bed by about a half.
    Source: continuity; any handbook of hydraulics.
    """
    return velocity / porosity


def sphere_surface(grain: float, porosity: float) -> float:
    """Surface of the grains in each m3 of a bed, were they smooth spheres: 6 (1 - e) / d, in m2/m3.

    Shapes and units: grain in m, porosity as a fraction. Valid for: grain > 0.
    Uncertainty: a lower bound; rough grains have several times as much, of which what is clogged serves nothing.
    Source: geometry. Not covered: the surface inside of porous grains.
    """
    return 6 * (1 - porosity) / grain
