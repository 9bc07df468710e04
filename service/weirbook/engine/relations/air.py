"""The pressure of the air over the water. SI floats in and out."""

from __future__ import annotations

import math

ATMOSPHERE = 101325.0
"""Pa. Mean pressure of the air at the sea."""


def standard_pressure(altitude: float) -> float:
    """Mean pressure of the air at a height above the sea.

    Equation: p = 101325 (1 - 0.0065 h / 288.15)^5.25588.
    Shapes and units: m in, Pa out. Valid for: -500 m to 11 km.
    Uncertainty: weather moves the true pressure by 3 % either way; taking heights for geopotential ones 0.02 % at 3 km
    and 0.2 % at 9.
    Source: U.S. Standard Atmosphere, 1976. Not covered: weather.
    """
    return ATMOSPHERE * math.pow(1 - 0.0065 * altitude / 288.15, 5.25588)
