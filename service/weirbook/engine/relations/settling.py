"""How particles sink in water, and which of them a section of flowing water keeps. SI floats in and out."""

from __future__ import annotations

import math

from weirbook.engine.relations.hydraulics import GRAVITY
from weirbook.errors import Invalid

SHIELDS = 0.05
"""Camp-Shields constant, 0.04 for single grains to 0.06 for sticky ones (Metcalf and Eddy; from memory)."""

BED_FRICTION = 0.025
"""Darcy friction factor of a bed of settled solids, 0.02 to 0.03 (Metcalf and Eddy; from memory)."""

LARGEST_REYNOLDS = 2e5
"""Particle Reynolds number up to which the drag law was fitted."""

_STEPS = 60


def drag_coefficient(reynolds: float) -> float:
    """Drag coefficient of a smooth sphere that moves steadily through a wide, still fluid.

    Equation: Cd = 24/Re (1 + 0.27 Re)^0.43 + 0.47 (1 - exp(-0.04 Re^0.38)).
    Shapes and units: Re = v d / nu, a number; result a number.
    Valid for: 0 < Re < 2e5. It falls to Stokes's 24/Re as Re goes to nothing.
    Uncertainty: 2 to 3 % of measured drag coefficients on the mean, over the whole range.
    Source: Cheng, N.-S. (2009), Comparison of formulas for drag coefficient and settling velocity of spherical
    particles, Powder Technology 189(3), 395; coefficients from memory, held to another library's velocities in
    the tests.
    Not covered: flakes, threads, swarms, walls nearby.
    """
    return sum(drag_parts(reynolds))


def drag_parts(reynolds: float) -> tuple[float, float]:
    """The two terms of `drag_coefficient`: of viscosity, and of the wake behind the sphere."""
    viscous = 24 / reynolds * math.pow(1 + 0.27 * reynolds, 0.43)
    return viscous, -0.47 * math.expm1(-0.04 * math.pow(reynolds, 0.38))


def stokes_velocity(
    diameter: float, particle_density: float, water_density: float, dynamic_viscosity: float
) -> float:
    """Settling velocity of a sphere so small that only viscosity holds it.

    Equation: v = g (rho_p - rho) d2 / (18 mu).
    Shapes and units: diameter in m, densities in kg/m3, viscosity in Pa s, result in m/s.
    Valid for: particle Reynolds number below about 0.1 (2 % too fast there); ever too fast above.
    Source: Stokes (1851); any handbook of fluid mechanics. Not covered: as `settling_velocity`.
    """
    return GRAVITY * (particle_density - water_density) * diameter**2 / (18 * dynamic_viscosity)


def settling_velocity(
    diameter: float, particle_density: float, water_density: float, dynamic_viscosity: float
) -> float:
    """Settling velocity of a smooth sphere in still water, its drag as `drag_coefficient` has it.

    Equation: Cd Re2 = 4/3 Ar, with Ar = g d3 rho (rho_p - rho) / mu2 and Re = v d rho / mu.
    Shapes and units: diameter in m, densities in kg/m3, dynamic viscosity in Pa s, result in m/s.
    Valid for: particle Reynolds number below 2e5; larger ones are answered by the same law.
    Uncertainty: 5 % for smooth spheres. Real faeces are irregular, hold water and break.
    Raises: Invalid, pointer "/particle_density", for a particle that does not sink; "/diameter" for no size.
    Source: balance of weight, buoyancy and drag; Cheng (2009) for the drag.
    Not covered: flocs, swarms that hinder each other, eddies.
    """
    _refuse_what_floats(particle_density, water_density)
    if diameter <= 0:
        raise Invalid("A particle needs a size above zero.", "/diameter")
    archimedes = (
        GRAVITY * diameter**3 * water_density * (particle_density - water_density) / dynamic_viscosity**2
    )
    wanted = 4 / 3 * archimedes
    # Cd Re rises with Re by a power of 0 to 1, so the geometric mean below at least halves the error each time.
    reynolds = archimedes / 18
    for _ in range(_STEPS):
        closer = math.sqrt(wanted / drag_coefficient(reynolds))
        settled = abs(closer - reynolds) <= 1e-14 * reynolds
        reynolds = closer
        if settled:
            break
    return reynolds * dynamic_viscosity / (water_density * diameter)


def particle_that_settles_at(
    velocity: float, particle_density: float, water_density: float, dynamic_viscosity: float
) -> float:
    """Diameter of the sphere that settles at `velocity`, the inverse of `settling_velocity`.

    Equation: d = 3/4 Cd v2 rho / (g (rho_p - rho)), Cd at Re = v d rho / mu.
    Shapes and units: velocity in m/s, densities in kg/m3, dynamic viscosity in Pa s, result in m.
    Valid for, uncertainty, source, not covered: as `settling_velocity`; a velocity 5 % off is a diameter 2.5 to
    10 % off.
    Raises: Invalid, pointer "/particle_density", for a particle that does not sink; "/velocity" for no velocity.
    """
    _refuse_what_floats(particle_density, water_density)
    if velocity <= 0:
        raise Invalid("A settling velocity must be above zero.", "/velocity")
    without_drag = 0.75 * velocity**2 * water_density / (GRAVITY * (particle_density - water_density))
    reynolds_of_one_metre = velocity * water_density / dynamic_viscosity
    diameter = math.sqrt(24 * without_drag / reynolds_of_one_metre)
    for _ in range(_STEPS):
        # Cd falls with the diameter by a power of 1 to 0: the geometric mean closes in as above.
        closer = math.sqrt(diameter * without_drag * drag_coefficient(reynolds_of_one_metre * diameter))
        settled = abs(closer - diameter) <= 1e-14 * diameter
        diameter = closer
        if settled:
            break
    return diameter


def _refuse_what_floats(particle_density: float, water_density: float) -> None:
    if particle_density <= water_density:
        raise Invalid(
            "A particle no denser than water does not sink: no settling section catches it.",
            "/particle_density",
        )


def scour_velocity(
    diameter: float, specific_gravity: float, shields: float = SHIELDS, friction: float = BED_FRICTION
) -> float:
    """Mean velocity of the water along a bed that stirs up settled particles again.

    Equation: v = sqrt(8 k (s - 1) g d / f).
    Shapes and units: diameter d in m, specific gravity s (density over that of water), constant k and Darcy
    friction factor f as numbers, result in m/s.
    Valid for: s >= 1, grains on a smooth floor.
    Uncertainty: an order of magnitude for soft, flaky solids; stay well below it.
    Source: Camp (1946), Sedimentation and the design of settling tanks, Trans. ASCE 111, 895, after Shields
    (1936); constants as in Metcalf and Eddy, from memory.
    Not covered: jets, plants and animals that stir the bed.
    """
    return math.sqrt(8 * shields * (specific_gravity - 1) * GRAVITY * diameter / friction)


def ideal_removal(settling_velocity: float, overflow_velocity: float) -> float:
    """Share of particles of one settling velocity that an ideal basin keeps: min(1, vs / (Q/A)).

    Shapes and units: both velocities in m/s, result a fraction.
    Valid for: overflow_velocity > 0; even flow over the whole section, no eddies, no stirring up.
    Uncertainty: an upper bound; real sections keep less: see `hazen_removal` and `turbulent_removal`.
    Source: Hazen (1904), On sedimentation, Trans. ASCE 53, 45; Camp (1946), Trans. ASCE 111, 895; from memory.
    Not covered: as in "Valid for".
    """
    return min(1.0, settling_velocity / overflow_velocity)


def hazen_removal(settling_velocity: float, overflow_velocity: float, n: float) -> float:
    """The share kept by a basin as good as `n` mixed ones in a row: 1 - (1 + vs / (n Q/A))^-n.

    Shapes and units: velocities in m/s, n a number (1 very poor, 2 poor, 3 good, 5 and more very good: Hazen's
    grades, from memory), result a fraction.
    Valid for: overflow_velocity > 0, n >= 1.
    Uncertainty: that of n. Source: Hazen (1904), Trans. ASCE 53, 45. Not covered: stirring up.
    """
    return -math.expm1(-n * math.log1p(settling_velocity / (n * overflow_velocity)))


def turbulent_removal(settling_velocity: float, overflow_velocity: float) -> float:
    """The share kept where eddies mix the whole depth all along: 1 - exp(-vs / (Q/A)).

    Shapes and units: velocities in m/s, result a fraction. Valid for: overflow_velocity > 0.
    Uncertainty: a lower bound for a section without short circuits.
    Source: the limit of Hazen's series for many basins; any handbook of particle separation.
    Not covered: short circuits, stirring up.
    """
    return -math.expm1(-settling_velocity / overflow_velocity)
