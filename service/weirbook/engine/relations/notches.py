"""Water through a right-angled notch, by three published forms. SI floats in and out."""

from __future__ import annotations

import math

from weirbook.engine.relations.hydraulics import GRAVITY


def notch_iso(head: float) -> float:
    """Flow through a right-angled notch: Q = (8/15) 0.578 sqrt(2 g) (h + 0.00085)^2.5, after ISO 1438.

    Shapes and units: head in m above the point of the notch, result in m3/s; the lift of 0.85 mm fades to
    nothing at the point, as `Law` has it.
    Valid for: h from 50 mm (60 in some editions). Uncertainty: 1 % within; 15 % against White's at 20 mm.
    Source: Kindsvater and Shen; 0.578 from memory, 0.85 mm read. The library fluids 1.3.1 lacks (8/15) sqrt(2)
    here and must not be copied. Not covered: other angles.
    """
    raised = head - 0.00085 * math.expm1(-3 * head / 0.00085)
    return 0.0 if head <= 0 else 8 / 15 * 0.578 * math.sqrt(2 * GRAVITY) * raised**2.5


def notch_cone(head: float) -> float:
    """The same by Cone: Q = 2.49 h^2.48 in feet (read in Bureau of Reclamation text), from h of 60 mm."""
    return 0.0 if head <= 0 else float(2.49 * (head / 0.3048) ** 2.48 * 0.3048**3)


def notch_white(head: float, kinematic_viscosity: float, surface_tension_over_density: float) -> float:
    """The same by White for low heads: Cd = 0.44 + 0.9 (Re We)^(-1/6), Q = Cd sqrt(g) h^2.5.

    Shapes and units: head in m; viscosity in m2/s; surface tension over density in m3/s2; result in m3/s.
    Re = sqrt(g) h^1.5 / nu, We = g h^2 / (sigma / rho).
    Valid for: h up to 50 mm with Re and We above 300 each; beyond, the plain 0.44, which is 13 % less at once.
    Source: White, Fluid Mechanics, section on weirs, read in a reproduced extract.
    """
    if head <= 0:
        return 0.0
    reynolds = math.sqrt(GRAVITY) * head**1.5 / kinematic_viscosity
    weber = GRAVITY * head**2 / surface_tension_over_density
    cd = 0.44 + (0.9 * (reynolds * weber) ** (-1 / 6) if head <= 0.05 else 0.0)
    return float(cd * math.sqrt(GRAVITY) * head**2.5)
