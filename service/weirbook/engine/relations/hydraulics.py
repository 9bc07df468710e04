"""How water moves. SI floats in and out."""

from __future__ import annotations

import math

GRAVITY = 9.80665
"""m/s2, standard acceleration of free fall (3rd CGPM, 1901; exact by definition)."""

JET_CONTRACTION = 0.61
"""Narrowest section of a jet behind a sharp edge over the opening. An orifice passes 0.59 to 0.67 of what
sqrt(2 g h) through its whole area would (Rossman 2017, SWMM reference manual II, with eq. 6-3); that nearly all
of the shortfall is the narrowing of the jet is from memory."""


def mean_velocity(flow: float, area: float) -> float:
    """Mean velocity of a flow through a section across it: v = Q / A.

    Shapes and units: flow in m3/s, free area in m2, result in m/s.
    Valid for: area > 0; water fills the area.
    Uncertainty: that of flow and area, in proportion. The water between dead corners, and the core of a jet, run
    faster than the mean.
    Source: continuity; any handbook of hydraulics.
    Not covered: how the velocity is spread over the area.
    """
    return flow / area


def surface_loading(flow: float, plan_area: float) -> float:
    """Flow over plan area, the sinking speed that a particle needs to reach the floor: Q / A.

    Shapes and units: flow in m3/s, plan area in m2, result in m/s (1 m/s is 86,400 m3/m2/d).
    Valid for: plan_area > 0, water spread over the whole section.
    Uncertainty: that of flow and area; short circuits make a real section poorer than this ideal.
    Source: Hazen (1904), On sedimentation, Trans. ASCE 53; Camp (1946), Trans. ASCE 111; from memory.
    Not covered: particles that swell, break or are stirred up again.
    """
    return flow / plan_area


def falling_speed(drop: float) -> float:
    """Speed at which water that falls freely strikes: v = sqrt(2 g h), the same for any width of the sheet.

    Shapes and units: drop from edge to water in m, result in m/s.
    Valid for: drop >= 0, a free sheet from an edge at which the water is nearly at rest.
    Uncertainty: the head on the edge is left out (1 cm over a drop of 10 cm adds 5 %); air slows a thin sheet.
    Source: Torricelli's law; any handbook of hydraulics.
    Not covered: how fast the jet fades under water.
    """
    return math.sqrt(2 * GRAVITY * drop)


def drop_for_speed(speed: float) -> float:
    """The drop in m from which water strikes at `speed` m/s: v2 / (2 g), the inverse of `falling_speed`."""
    return speed**2 / (2 * GRAVITY)


def hydraulic_diameter(area: float, wetted_perimeter: float) -> float:
    """Four times area over wetted perimeter, in m: the diameter itself for a full pipe.

    Shapes and units: area in m2, perimeter that water touches in m, result in m.
    Valid for: wetted_perimeter > 0. Source: definition; any handbook of hydraulics.
    """
    return 4 * area / wetted_perimeter


def reynolds_number(velocity: float, size: float, kinematic_viscosity: float) -> float:
    """Re = v D / nu.

    Shapes and units: velocity in m/s, size (a hydraulic diameter) in m, viscosity in m2/s, result a number.
    Valid for: kinematic_viscosity > 0. Source: definition; any handbook of hydraulics.
    """
    return velocity * size / kinematic_viscosity


_VISCOSITY_TERMS = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))


def water_viscosity(temperature: float, density: float) -> float:
    """Kinematic viscosity of liquid water at atmospheric pressure.

    Equation: mu = 1e-6 sum a (T / 300 K)^b in Pa s, with a, b = 280.68, -1.9; 511.45, -7.7; 61.131, -19.6;
    0.45903, -40; nu = mu / density.
    Shapes and units: temperature in K, density in kg/m3, result in m2/s.
    Valid for: fresh water of 0 to 50 degC (the correlation: 253.15 to 383.15 K at 0.1 MPa).
    Uncertainty: 1 % of mu, as published; 998.2 kg/m3 in place of the density proper is 0.3 % off at 30 degC,
    1 % at 50.
    Source: IAPWS SR6-08(2011), Revised supplementary release on properties of liquid water at 0.1 MPa (Patek et
    al., J. Phys. Chem. Ref. Data 38, 21, 2009); coefficients from memory, held to IAPWS-95 values in the tests.
    Not covered: salt water.
    """
    ratio = temperature / 300
    return 1e-6 * math.fsum(factor * ratio**power for factor, power in _VISCOSITY_TERMS) / density
