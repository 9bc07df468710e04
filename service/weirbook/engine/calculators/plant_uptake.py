"""How large an area of plants takes up a share of the nitrogen that the food makes, by their form of growth."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from weirbook.engine.calculators.food import daily_feed, feed_protein, nitrogen_made
from weirbook.engine.calculators.plants_care import (
    FULL_COVER,
    FULL_COVER_CAUTION,
    KEIZER_VLEK,
    PLANTS,
    POLPRASERT,
    REDDY,
    STEWARD,
    of_forms,
)
from weirbook.engine.calculators.sources import recirculating_aquaculture
from weirbook.engine.relations.nitrogen import AMMONIA_OF_PROTEIN
from weirbook.engine.relations.plants import DRY_SHARE, TISSUE_NITROGEN, UPTAKE, Range, carried_off
from weirbook.engine.saying import near
from weirbook.engine.shape import (
    CHOICE,
    TEXT,
    Assumption,
    Calculator,
    Caution,
    Origin,
    Result,
    Step,
    Working,
    param,
    show,
    step,
)


@dataclass(frozen=True)
class Inputs:
    growth_form: str = param(
        CHOICE,
        doc="How the plants grow: floating; emergent (roots in the water, leaves in the air); submersed; other.",
        choices=tuple(UPTAKE),
    )
    share: float = param(
        "fraction", doc="Of the nitrogen made a day, what the plants are to take up.", gt=0, le=1
    )
    feed: float | None = daily_feed(default=None)
    protein: float | None = feed_protein(default=None)
    nitrogen: float | None = param(
        "mass_flow",
        doc="Nitrogen a day to reckon with (ammonia made, or nitrate that gathers), if you know it; goes before food.",
        unit="mg/d",
        ge=0,
        default=None,
    )
    cover: float = param(
        "fraction", doc="How much of the area the plants will cover.", gt=0, le=1, default=1.0
    )
    nitrogen_uptake: float | None = param(
        "areal_rate",
        doc="Your own figure at full cover, as nitrogen. Left out: the published range.",
        gt=0,
        default=None,
    )
    area: float | None = param(
        "area", doc="Open water or bed that plants could have.", gt=0, default=None, role="water_surface"
    )
    cropped: float | None = param(
        "mass_flow",
        doc="Plants carried out a day on average, fresh and drained, if you weigh them.",
        unit="g/d",
        ge=0,
        default=None,
    )


@dataclass(frozen=True)
class Planted:
    """The areas that it takes, and what the area there could do."""

    given: Inputs

    @cached_property
    def made(self) -> float:
        """kg N/s. Raises Invalid where neither it nor the food is told."""
        given = self.given
        return nitrogen_made(given.nitrogen, "the nitrogen a day", given.feed, given.protein)

    @property
    def wanted(self) -> float:
        return self.made * self.given.share

    def rates(self, form: str) -> Range:
        own = self.given.nitrogen_uptake
        if own is None or form != self.given.growth_form:
            return UPTAKE[form].nitrogen
        return Range(own, own)

    def area(self, form: str) -> Range:
        rates = self.rates(form)
        return Range(self.wanted / rates.high / self.given.cover, self.wanted / rates.low / self.given.cover)

    @property
    def needed(self) -> Range:
        return self.area(self.given.growth_form)

    @property
    def taken(self) -> Range | None:
        """kg N/s by plants on the whole area told."""
        if self.given.area is None:
            return None
        return self.rates(self.given.growth_form) * (self.given.area * self.given.cover)

    @property
    def cropped(self) -> Range | None:
        """kg N/s that leave with the plants carried out."""
        if self.given.cropped is None:
            return None
        return carried_off(self.given.cropped, self.dry, TISSUE_NITROGEN)

    @property
    def dry(self) -> Range:
        return DRY_SHARE[self.given.growth_form]

    @property
    def verdict(self) -> tuple[str, str]:
        needed, area = self.needed, self.given.area
        low, high = near(needed.low, "area", "m2"), near(needed.high, "area", "m2")
        span = low if needed.low == needed.high else f"{low} to {high}"
        if area is None:
            return "unknown", f"It takes {span} of plants; how much room there is is not told."
        room = near(area, "area", "m2")
        if area >= needed.high:
            return "ok", f"It takes {span} of plants, and there are {room}."
        if area >= needed.low:
            words = "enough for plants that grow as in a rich pond, too little for slow ones"
            return "watch", f"It takes {span} of plants, and there are {room}: {words}."
        return "over", f"It takes {span} of plants, more than the {room} there are."


def solve(given: Inputs) -> Working:
    """The area of plants for a share of the nitrogen, by form of growth, and what the area there would take up.

    Equations: nitrogen = food x protein x 0.092, unless told; area = nitrogen x share / (rate x cover), the least by the
    highest rate; taken up = area x cover x rate; carried out = fresh mass x dry share x nitrogen in it.
    Shapes and units: SI, see `Inputs`; nitrogen whatever its form.
    Valid for: growing stands that are cropped. Published rates are of rich ponds in full sun.
    Uncertainty: up to twenty times from end to end; under a lamp below the least.
    Raises: Invalid where neither nitrogen nor food and protein are told.
    Source: see SOURCES. Rates from memory.
    Not covered: light, phosphorus and potassium that may lack, which form of nitrogen is taken, seasons.
    """
    found = Planted(given)
    level, why = found.verdict
    needed, taken, cropped, made = found.needed, found.taken, found.cropped, found.made
    values: dict[str, Any] = {
        "verdict": level,
        "why": why,
        "nitrogen_made": made,
        "nitrogen_to_take_up": found.wanted,
        "area_low": needed.low,
        "area_high": needed.high,
        "taken_up_low": taken and taken.low,
        "taken_up_high": taken and taken.high,
        "share_low": taken.low / made if taken and made else None,
        "share_high": taken.high / made if taken and made else None,
        "carried_out_low": cropped and cropped.low,
        "carried_out_high": cropped and cropped.high,
        "forms": [
            {
                "growth_form": form,
                "figures": one.words,
                "area_low": found.area(form).low,
                "area_high": found.area(form).high,
            }
            for form, one in UPTAKE.items()
        ],
    }
    return Working(values, _steps(found), _assumptions(found), _cautions(found))


def _steps(found: Planted) -> list[Step]:
    given, told = found.given, []
    if given.nitrogen is None:
        assert given.feed is not None and given.protein is not None
        numbers = {
            "food": show(given.feed, "mass_flow", "g/d"),
            "protein": show(given.protein, "fraction", "1"),
        }
        formula = f"{{food}} × {{protein}} × {AMMONIA_OF_PROTEIN} × 1000"
        told.append(
            step("ammonia made, as nitrogen, in mg a day", formula, numbers, found.made, "mass_flow", "mg/d")
        )
    numbers = {
        "made": show(found.made, "mass_flow", "mg/d"),
        "share": show(given.share, "fraction", "1"),
        "to_take_up": show(found.wanted, "mass_flow", "mg/d"),
        "cover": show(given.cover, "fraction", "1"),
    }
    told.append(
        step("to take up, in mg a day", "{made} × {share}", numbers, found.wanted, "mass_flow", "mg/d")
    )
    rates, needed = found.rates(given.growth_form), found.needed
    for end, rate, area in (("least", rates.high, needed.low), ("most", rates.low, needed.high)):
        numbers["rate"] = show(rate, "areal_rate", "mg/m2/d")
        told.append(
            step(f"{end} area, in m2", "{to_take_up} ÷ {rate} ÷ {cover}", numbers, area, "area", "m2")
        )
    return [*told, *_taken_steps(found, rates), *_cropped_steps(found)]


def _taken_steps(found: Planted, rates: Range) -> list[Step]:
    given, taken = found.given, found.taken
    if given.area is None or taken is None:
        return []
    numbers = {"area": show(given.area, "area", "m2"), "cover": show(given.cover, "fraction", "1")}
    return [
        step(
            f"{end} that the area there takes up, in mg a day",
            "{area} × {cover} × {rate}",
            {**numbers, "rate": show(rate, "areal_rate", "mg/m2/d")},
            value,
            "mass_flow",
            "mg/d",
        )
        for end, rate, value in (("least", rates.low, taken.low), ("most", rates.high, taken.high))
    ]


def _cropped_steps(found: Planted) -> list[Step]:
    given, cropped = found.given, found.cropped
    if given.cropped is None or cropped is None:
        return []
    fresh = show(given.cropped, "mass_flow", "mg/d")
    return [
        step(
            f"{end} nitrogen carried out, in mg a day",
            "{cropped} × {dry_share} × {nitrogen_in_it}",
            {
                "cropped": fresh,
                "dry_share": show(dry, "fraction", "1"),
                "nitrogen_in_it": show(nitrogen, "fraction", "1"),
            },
            value,
            "mass_flow",
            "mg/d",
        )
        for end, dry, nitrogen, value in (
            ("least", found.dry.low, TISSUE_NITROGEN.low, cropped.low),
            ("most", found.dry.high, TISSUE_NITROGEN.high, cropped.high),
        )
    ]


def _assumptions(found: Planted) -> list[Assumption]:
    given, told = found.given, []
    if given.nitrogen is None:
        words = "Ammonia is 0.092 of the protein fed; fish differ by 30 % either way."
        told.append(Assumption(words, "default"))
    else:
        told.append(Assumption("Nitrogen as told; food and protein are not asked.", "given"))
    if given.nitrogen_uptake is None:
        words = f"Uptake by {given.growth_form} plants, {UPTAKE[given.growth_form].words}."
        published = UPTAKE[given.growth_form].published
        origin: Origin = "default" if published else "common practice"
        told.append(Assumption(words, origin))
    told.append(Assumption("Nitrogen is counted as such, in ammonia as in nitrate.", "default"))
    if given.cropped is not None:
        dry, nitrogen = (
            f"{100 * one.low:.3g} to {100 * one.high:.3g} %" for one in (found.dry, TISSUE_NITROGEN)
        )
        words = f"Fresh drained plants are {dry} dry matter, and that {nitrogen} nitrogen. Dry and weigh a sample for your own."
        told.append(Assumption(words, "default"))
    return told


def _cautions(found: Planted) -> list[Caution]:
    given = found.given
    told = [*of_forms([given.growth_form] if given.nitrogen_uptake is None else []), *PLANTS]
    if given.growth_form == "floating" and given.cover >= FULL_COVER:
        told.append(FULL_COVER_CAUTION)
    if found.cropped is not None and given.area is not None:
        taken = found.taken
        assert taken is not None
        if found.cropped.low > taken.high:
            words = "More nitrogen is carried out than the area could take up: see the weight (drained?) and the area."
            told.append(Caution("crop-too-large", words))
    return told


PLANT_UPTAKE = Calculator(
    name="plant-uptake",
    title="Plants for the nitrogen",
    doc=(
        "How large an area of plants takes up a chosen share of the nitrogen that the food makes each day, by their form"
        " of growth, always from least to most; what the area there would take up; and, if the plants carried out are"
        " weighed, how much nitrogen leaves with them, which is the only sure figure."
    ),
    inputs=Inputs,
    results=(
        Result("verdict", TEXT, "ok, watch, over or unknown, by the area there."),
        Result("why", TEXT, "The verdict in words."),
        Result("nitrogen_made", "mass_flow", "That the food makes a day, or as told.", "mg/d"),
        Result("nitrogen_to_take_up", "mass_flow", "The share of it that is wanted.", "mg/d"),
        Result("area_low", "area", "Of plants, at the highest rate."),
        Result("area_high", "area", "Of plants, at the lowest rate."),
        Result("taken_up_low", "mass_flow", "By plants on the area there, at least.", "mg/d"),
        Result("taken_up_high", "mass_flow", "By plants on the area there, at most.", "mg/d"),
        Result("share_low", "fraction", "Of the nitrogen made, at least; more than all: plants will starve."),
        Result("share_high", "fraction", "Of the nitrogen made, at most."),
        Result("carried_out_low", "mass_flow", "Nitrogen in the plants carried out, at least.", "mg/d"),
        Result("carried_out_high", "mass_flow", "The same, at most.", "mg/d"),
        Result(
            "forms",
            "list",
            "The same share by each form of growth.",
            fields=(
                Result("growth_form", TEXT, "How they grow."),
                Result("figures", TEXT, "Which plants its figures are of."),
                Result("area_low", "area", "At the highest rate."),
                Result("area_high", "area", "At the lowest rate."),
            ),
        ),
    ),
    limits=(
        "Growing plants that are cropped. Light, potassium or iron that lack keep them below the least figure.",
        "Nitrogen alone; phosphorus goes along at a third to a tenth of it.",
    ),
    sources=(
        REDDY,
        KEIZER_VLEK,
        recirculating_aquaculture("ammonia = food x protein x 0.092"),
        POLPRASERT,
        STEWARD,
    ),
    solve=solve,
    example={
        "growth_form": "floating",
        "share": "50 %",
        "feed": "6 g/d",
        "protein": "42 %",
        "cover": "70 %",
        "area": "0.6 m2",
        "cropped": "20 g/d",
    },
    asks={"growth_form": "floating", "share": "50 %"},
    doors=("systems",),
)
