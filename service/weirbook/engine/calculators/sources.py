"""Sources that several calculators rest on, each for a figure of its own."""

from __future__ import annotations

from weirbook.engine.shape import Source


def atomic_weights(note: str, where: str = "table of standard and conventional values") -> Source:
    commission = "IUPAC Commission on Isotopic Abundances and Atomic Weights"
    return Source(commission, 2021, "Standard atomic weights", where, note)


def recirculating_aquaculture(where: str, note: str = "From memory.") -> Source:
    return Source(
        "Timmons, M. B., Ebeling, J. M.", None, "Recirculating Aquaculture, 2nd to 4th ed.", where, note
    )
