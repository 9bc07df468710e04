"""Food, told alike by what reckons with the ammonia that comes of it."""

from __future__ import annotations

from typing import Any

from weirbook.engine.relations.nitrogen import ammonia_made
from weirbook.engine.shape import param
from weirbook.errors import Fault, Invalid


def daily_feed(**said: Any) -> Any:
    return param("mass_flow", doc="Food a day, as it is fed.", ge=0, role="daily_feed", **said)


def feed_protein(**said: Any) -> Any:
    doc = "Protein in the food as fed, by its label."
    return param("fraction", doc=doc, gt=0, le=1, role="feed_protein", **said)


def nitrogen_made(told: float | None, words: str, feed: float | None, protein: float | None) -> float:
    """kg N/s as told, else of the food. Raises Invalid where neither is told; `words` say what was not: "the …"."""
    if told is not None:
        return told
    if feed is not None and protein is not None:
        return ammonia_made(feed, protein)
    faults = [
        Fault(f"/{name}", f"Say {name}, or {words}.")
        for name, one in (("feed", feed), ("protein", protein))
        if one is None
    ]
    raise Invalid(f"It takes food and its protein, or {words}.", faults=faults)
