"""The usual pressure of the air at an altitude: its working, and where it comes from."""

from __future__ import annotations

from weirbook.engine.relations.air import standard_pressure
from weirbook.engine.shape import Source, Step, show, step

STANDARD_ATMOSPHERE = Source(
    "U.S. Committee on Extension to the Standard Atmosphere",
    1976,
    "U.S. Standard Atmosphere, 1976",
    "pressure below 11 km",
    "Held to computed rows and a general library's figures.",
)


def pressure_step(altitude: float) -> Step:
    numbers = {"altitude": show(altitude, "length", "m")}
    words = "101.325 × (1 − 0.0065 × {altitude} ÷ 288.15) ^ 5.25588"
    if altitude < 0:
        numbers = {"depth": show(-altitude, "length", "m")}
        words = "101.325 × (1 + 0.0065 × {depth} ÷ 288.15) ^ 5.25588"
    pressure = standard_pressure(altitude)
    return step("usual pressure of the air, in kPa", words, numbers, pressure, "pressure", "kPa")
