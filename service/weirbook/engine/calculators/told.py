"""Inputs that several calculators are told alike: declared once."""

from __future__ import annotations

from typing import Any

from weirbook.engine.relations.water import FREEZING, HOTTEST
from weirbook.engine.shape import param

USUAL_TEMPERATURE = 298.15
"""K. Of the water where none is told: a few degrees move flows and heads by less than measuring does."""


def water_temperature(doc: str) -> Any:
    return param(
        "temperature", doc=doc, ge=FREEZING, le=HOTTEST, default=USUAL_TEMPERATURE, role="water_temperature"
    )


def sump_length() -> Any:
    return _of_sump("Inside, of the whole sump: no section is longer.", "sump_length")


def sump_width() -> Any:
    return _of_sump("Inside, of the sump: the width of sections that tell none.", "sump_width")


def _of_sump(doc: str, role: str) -> Any:
    return param("length", doc=doc, gt=0, default=None, role=role)
