"""Inputs that several calculators are told alike: declared once."""

from __future__ import annotations

from typing import Any

from weirbook.engine.relations.limits import MOST_WATER
from weirbook.engine.relations.water import FREEZING, HOTTEST
from weirbook.engine.shape import param

SAME = 1e-9
"""Share of a value by which two readings of it may differ by conversion alone."""

USUAL_TEMPERATURE = 298.15
"""K. Of the water where none is told: a few degrees move flows and heads by less than measuring does."""


def water_temperature(doc: str) -> Any:
    return param(
        "temperature", doc=doc, ge=FREEZING, le=HOTTEST, default=USUAL_TEMPERATURE, role="water_temperature"
    )


def measured_temperature(hottest: float = HOTTEST) -> Any:
    """That of the water where no other serves in its place."""
    return param("temperature", doc="Of the water.", ge=FREEZING, le=hottest, role="water_temperature")


def water_volume(
    doc: str = "All water that mixes: tanks net of sand and rock, and the sump's.", **said: Any
) -> Any:
    return param("volume", doc=doc, gt=0, le=MOST_WATER, role="water_volume", **said)


def purity(what: str) -> Any:
    return param(
        "fraction", doc=f"Share of what is weighed that is {what}.", unit="1", gt=0, le=1, default=1.0
    )


def by_label(kind: str, doc: str, unit: str | None = None, told_by: str | None = None) -> Any:
    return param(kind, doc=f"By the label: {doc}", unit=unit, gt=0, default=None, told_by=told_by)


def product_mass() -> Any:
    return by_label("mass", "the dose of a dry product. Give it or product_volume.", told_by="product.mass")


def product_volume() -> Any:
    return by_label(
        "volume", "the dose of a liquid product. Give it or product_mass.", "mL", "product.volume"
    )


def product_treats() -> Any:
    return by_label("volume", "the water that this dose is for.", told_by="product.treats")


def sump_length() -> Any:
    return _of_sump("Inside, of the whole sump: no section is longer.", "sump_length")


def sump_width() -> Any:
    return _of_sump("Inside, of the sump: the width of sections that tell none.", "sump_width")


def _of_sump(doc: str, role: str) -> Any:
    return param("length", doc=doc, gt=0, default=None, role=role)
