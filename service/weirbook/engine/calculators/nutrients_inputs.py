"""What the balance of nutrients must be told, and what contradicts itself in it."""

from __future__ import annotations

from dataclasses import dataclass

from weirbook.engine.calculators.food import daily_feed, feed_protein
from weirbook.engine.calculators.told import water_volume
from weirbook.engine.relations.plants import UPTAKE
from weirbook.engine.shape import CHOICE, COUNT, TEXT, param, parts, show
from weirbook.engine.units import to_si
from weirbook.errors import Fault, Invalid

USUAL_PHOSPHORUS = 0.012
"""Share of fish food. Common practice, no source."""
DRY = 0.08
"""Water in dry food, to which rules of thumb by the gram of food belong. Common practice, no source."""
USUAL_HOLD = to_si(20, "mg/L NO3", "nitrate")
USUAL_INTERVAL = to_si(7, "d", "time")


@dataclass(frozen=True)
class PlantStand:
    name: str = param(TEXT, doc="What the stand is called.")
    growth_form: str = param(
        CHOICE,
        doc="How it grows: floating; emergent (roots in the water, leaves in the air); submersed; other.",
        choices=tuple(UPTAKE),
    )
    area: float = param("area", doc="Of the place it may cover.", gt=0)
    cover: float = param("fraction", doc="How much of that area it covers.", ge=0, le=1, default=1.0)
    nitrogen_uptake: float | None = param(
        "areal_rate",
        doc="Your own figure for it at full cover, as nitrogen. Left out: the published range.",
        ge=0,
        default=None,
    )
    phosphorus_uptake: float | None = param(
        "areal_rate",
        doc="Your own figure for it at full cover, as phosphorus. Left out: the published range.",
        ge=0,
        default=None,
    )


@dataclass(frozen=True)
class Inputs:
    volume: float = water_volume()
    feed: float = daily_feed()
    protein: float = feed_protein()
    phosphorus: float = param(
        "fraction",
        doc="Phosphorus (as P) in the food as fed, by its label.",
        ge=0,
        le=0.1,
        default=USUAL_PHOSPHORUS,
        role="feed_phosphorus",
    )
    moisture: float | None = param(
        "fraction",
        doc="Water in the food as fed, by its label. Left out: that of dry food, 8 %.",
        ge=0,
        lt=1,
        default=None,
        role="feed_moisture",
    )
    nitrate: float | None = param(
        "nitrate", doc="The present nitrate, by a test.", ge=0, default=None, role="latest.nitrate"
    )
    phosphate: float | None = param(
        "phosphate", doc="The present phosphate, by a test.", ge=0, default=None, role="latest.phosphate"
    )
    source_nitrate: float | None = param(
        "nitrate",
        doc="In the water of changes. Left out: taken as none.",
        ge=0,
        default=None,
        role="source.nitrate",
    )
    source_phosphate: float | None = param(
        "phosphate",
        doc="In the water of changes. Left out: taken as none.",
        ge=0,
        default=None,
        role="source.phosphate",
    )
    change_volume: float | None = param(
        "volume", doc="Water replaced at each change.", ge=0, default=None, role="change_volume"
    )
    change_share: float | None = param(
        "fraction",
        doc="Share of the water replaced at each change; goes before change_volume.",
        ge=0,
        le=1,
        default=None,
    )
    change_interval: float | None = param(
        "time",
        doc="From one change to the next. Left out: a week.",
        unit="d",
        ge=3600,
        le=to_si(2, "year", "time"),
        default=None,
        role="change_interval",
    )
    drip_flow: float | None = param(
        "flow",
        doc="Fresh water that runs in all the time and pushes as much over the overflow.",
        unit="L/d",
        ge=0,
        default=None,
        role="drip_flow",
    )
    top_off_flow: float | None = param(
        "flow",
        doc="Fresh water that replaces what evaporates; what it carries stays.",
        unit="L/d",
        ge=0,
        default=None,
        role="top_off_flow",
    )
    drip_nitrate: float | None = param(
        "nitrate",
        doc="In the drip's water. Left out: as in the water of changes.",
        ge=0,
        default=None,
        role="drip.nitrate",
    )
    drip_phosphate: float | None = param(
        "phosphate",
        doc="In the drip's water. Left out: as in the water of changes.",
        ge=0,
        default=None,
        role="drip.phosphate",
    )
    top_off_nitrate: float | None = param(
        "nitrate",
        doc="In the top-off's water. Left out: as in the water of changes.",
        ge=0,
        default=None,
        role="top_off.nitrate",
    )
    top_off_phosphate: float | None = param(
        "phosphate",
        doc="In the top-off's water. Left out: as in the water of changes.",
        ge=0,
        default=None,
        role="top_off.phosphate",
    )
    stands: tuple[PlantStand, ...] = parts(
        PlantStand,
        doc="Plants that grow and are cropped, stand by stand.",
        role="plant_stands",
        key="name",
        may_add=True,
    )
    solids_removed: float = param(
        "fraction",
        doc="Share of the food's nitrogen and phosphorus that leaves with solids before it dissolves.",
        ge=0,
        lt=1,
        default=0.0,
    )
    phosphorus_kept: float | None = param(
        "fraction",
        doc="Share of the food's phosphorus that the fish build in. Left out: a usual range.",
        ge=0,
        le=1,
        default=None,
    )
    denitrification: float = param(
        "mass_flow",
        doc="Nitrogen a day that bacteria without oxygen turn into gas, if you know it.",
        unit="mg/d",
        ge=0,
        default=0.0,
    )
    nitrate_limit: float | None = param(
        "nitrate",
        doc="The most nitrate you want. Left out: a usual limit.",
        gt=0,
        default=None,
        role="most_wanted.nitrate",
    )
    phosphate_limit: float | None = param(
        "phosphate",
        doc="The most phosphate you want.",
        gt=0,
        default=None,
        role="most_wanted.phosphate",
    )
    hold_nitrate: float = param(
        "nitrate", doc="The nitrate to hold, for which each lever is worked out.", gt=0, default=USUAL_HOLD
    )
    added_form: str = param(
        CHOICE,
        doc="How the plants would grow that might be added.",
        choices=tuple(UPTAKE),
        default="floating",
    )
    weeks: int = param(COUNT, doc="How far to look ahead, in weeks.", ge=1, le=104, default=12)


def refuse_contradictions(given: Inputs) -> None:
    """Raises Invalid with a fault for each value that can't stand beside another."""
    faults = []
    if given.change_volume is not None and given.change_share is None and given.change_volume > given.volume:
        words = (
            f"A change of {show(given.change_volume, 'volume')} is more than the {show(given.volume, 'volume')} of"
            " water there are. Say one change; of several at once each is a change of its own."
        )
        faults.append(Fault("/change_volume", words))
    if given.solids_removed + (given.phosphorus_kept or 0) > 1:
        words = "What leaves with solids and what the fish keep are together more than was fed: lower one of them."
        faults.append(Fault("/phosphorus_kept", words))
    if given.protein + given.phosphorus > 1:
        faults.append(Fault("/protein", "Protein and phosphorus are together more than the whole food."))
    if faults:
        raise Invalid("The inputs contradict each other.", faults=faults)
