"""What plants that are carried out take along of nitrogen and phosphorus, and how much a week holds nitrate."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from weirbook.engine.calculators.food import daily_feed, feed_protein, nitrogen_made
from weirbook.engine.calculators.plants_care import IN_PLANTS, PLANTS
from weirbook.engine.calculators.sources import recirculating_aquaculture
from weirbook.engine.relations.nitrogen import AMMONIA_OF_PROTEIN
from weirbook.engine.relations.nutrients import KG_N_A_MOLE, KG_P_A_MOLE
from weirbook.engine.relations.plants import (
    DRY_SHARE,
    TISSUE_NITROGEN,
    TISSUE_PHOSPHORUS,
    Range,
    carried_off,
    crop_for,
    exact,
)
from weirbook.engine.saying import near
from weirbook.engine.shape import (
    CHOICE,
    TEXT,
    Assumption,
    Calculator,
    Caution,
    Result,
    Step,
    Working,
    param,
    refuse,
    show,
    step,
)
from weirbook.engine.units import KINDS, to_si
from weirbook.errors import Lack

WEEK = 7 * 86_400.0
AS_TESTED = {"nitrate": ("nitrogen", KG_N_A_MOLE), "phosphate": ("phosphorus", KG_P_A_MOLE)}


@dataclass(frozen=True)
class Inputs:
    wet_mass: float | None = param(
        "mass",
        doc="Plants taken out of the water, fresh and drained.",
        gt=0,
        default=None,
        role="harvested",
    )
    period: float | None = param(
        "time",
        doc="Time in which that was taken out; needed to hold it against what a week asks for.",
        unit="d",
        gt=0,
        default=None,
        role="harvest_period",
    )
    growth_form: str = param(
        CHOICE,
        doc="How the plants grow: floating; emergent (leaves in the air); submersed; other (any of them).",
        choices=tuple(DRY_SHARE),
        default="other",
        role="harvested.growth_form",
        told_by="plant.growth_form",
    )
    dry_share: float | None = param(
        "fraction",
        doc="Dry matter in the fresh plants, if you dried a sample. Left out: the published range.",
        gt=0,
        le=1,
        default=None,
        role="harvested.dry_matter",
        told_by="plant.dry_matter",
        rests_on=("growth_form",),
    )
    nitrogen_share: float | None = param(
        "fraction",
        doc="Nitrogen in the dry matter, if you know it. Left out: the published range.",
        gt=0,
        le=1,
        default=None,
        role="harvested.nitrogen",
        told_by="plant.nitrogen",
        rests_on=("growth_form",),
    )
    phosphorus_share: float | None = param(
        "fraction",
        doc="Phosphorus in the dry matter, if you know it. Left out: the published range.",
        gt=0,
        le=1,
        default=None,
        role="harvested.phosphorus",
        told_by="plant.phosphorus",
        rests_on=("growth_form",),
    )
    water_volume: float | None = param(
        "volume", doc="All water that mixes: to tell it as nitrate.", gt=0, default=None, role="water_volume"
    )
    feed: float | None = daily_feed(default=None)
    protein: float | None = feed_protein(default=None)
    nitrogen: float | None = param(
        "mass_flow",
        doc="Nitrogen a day that gathers, if you know it; goes before food.",
        unit="mg/d",
        ge=0,
        default=None,
    )
    share: float = param(
        "fraction",
        doc="Of that nitrogen, what the plants are to carry off; the rest is left to water changes.",
        gt=0,
        le=1,
        default=1.0,
    )


@dataclass(frozen=True)
class Harvest:
    """What was taken out, and what a week asks for. Masses in kg."""

    given: Inputs

    @cached_property
    def dry(self) -> Range:
        own = self.given.dry_share
        return DRY_SHARE[self.given.growth_form] if own is None else exact(own)

    @cached_property
    def shares(self) -> dict[str, Range]:
        own = (self.given.nitrogen_share, self.given.phosphorus_share)
        usual = (TISSUE_NITROGEN, TISSUE_PHOSPHORUS)
        names = ("nitrogen", "phosphorus")
        return {
            name: published if told is None else exact(told)
            for name, told, published in zip(names, own, usual, strict=True)
        }

    @property
    def asks_for_food(self) -> bool:
        given = self.given
        return given.nitrogen is not None or (given.feed is not None and given.protein is not None)

    @cached_property
    def made(self) -> float | None:
        """kg N/s; None where neither it nor the food is told."""
        given = self.given
        if not self.asks_for_food:
            return None
        return nitrogen_made(given.nitrogen, "the nitrogen a day", given.feed, given.protein)

    def off(self, element: str) -> Range | None:
        """kg carried off."""
        mass = self.given.wet_mass
        return None if mass is None else carried_off(mass, self.dry, self.shares[element])

    def as_tested(self, parameter: str) -> Range | None:
        """mol/m3 by which the water would be higher, had it stayed in."""
        element, kg_a_mole = AS_TESTED[parameter]
        volume, off = self.given.water_volume, self.off(element)
        return None if volume is None or off is None else off * (1 / volume / kg_a_mole)

    @cached_property
    def weekly(self) -> Range | None:
        """kg of fresh plants a week that carry off what gathers."""
        if self.made is None:
            return None
        return crop_for(self.made * WEEK * self.given.share, self.dry, self.shares["nitrogen"])

    @property
    def weekly_done(self) -> float | None:
        given = self.given
        if given.wet_mass is None or given.period is None:
            return None
        return given.wet_mass * WEEK / given.period

    @property
    def lasts(self) -> Range | None:
        """s of food whose nitrogen was carried off."""
        off = self.off("nitrogen")
        return None if off is None or not self.made else off * (1 / self.made)

    @property
    def verdict(self) -> tuple[str, str]:
        needed, done = self.weekly, self.weekly_done
        if needed is None:
            return "unknown", "What gathers is not told: say the food and its protein, or the nitrogen a day."
        low, high = (near(one, "mass", "g") for one in (needed.low, needed.high))
        span = low if needed.low == needed.high else f"{low} (rich plants) to {high} (lean ones)"
        asked = f"It takes {span} of fresh plants a week"
        if done is None:
            return "unknown", f"{asked}; how much is taken out in what time is not told."
        told = f"{asked}, and {near(done, 'mass', 'g')} are taken out"
        if done >= needed.high:
            return "ok", f"{told}: enough, even of lean plants."
        if done >= needed.low:
            return "watch", f"{told}: enough of rich plants only. Dry and weigh a sample, and test the water."
        return (
            "over",
            f"{told}: more gathers than they carry off; water changes, or other plants, take the rest.",
        )


def solve(given: Inputs) -> Working:
    """Nitrogen and phosphorus in plants carried out, and the fresh mass a week that holds nitrate.

    Equations: carried off = fresh mass x dry share x share of the element in dry matter; as nitrate = nitrogen /
    (nitrogen in nitrate) / water; a week's crop = nitrogen made a day x 7 x share / dry share / nitrogen share, with
    nitrogen made = food x protein x 0.092, unless told.
    Shapes and units: SI, see `Inputs`; shares that are not told are ranges, and so are the results.
    Valid for: growing plants whose nutrients came out of this water, weighed drained.
    Uncertainty: the range, up to fourteen times from end to end where nothing is told; a quarter with own shares.
    Raises: Invalid where neither plants nor what gathers are told.
    Source: see SOURCES.
    Not covered: what roots take from rich ground, nitrogen that leaves as gas, solids taken out, what rots meanwhile.
    """
    found = Harvest(given)
    if given.wet_mass is None and not found.asks_for_food:
        words = "Say how much was taken out, or the food a day and its protein (or the nitrogen)."
        refuse([Lack("/wet_mass", words)])
    level, why = found.verdict
    values: dict[str, Any] = {"verdict": level, "why": why}
    mass = given.wet_mass
    ranges = {
        "dry_mass": None if mass is None else found.dry * mass,
        "nitrogen": found.off("nitrogen"),
        "phosphorus": found.off("phosphorus"),
        "nitrate": found.as_tested("nitrate"),
        "phosphate": found.as_tested("phosphate"),
        "weekly": found.weekly,
        "food_lasts": found.lasts,
    }
    for name, one in ranges.items():
        values[f"{name}_low"], values[f"{name}_high"] = (None, None) if one is None else (one.low, one.high)
    values |= {"nitrogen_made": found.made, "weekly_done": found.weekly_done}
    return Working(values, _steps(found), _assumptions(found), _cautions(found))


def _ends(found: Harvest, element: str) -> list[tuple[str, float, float]]:
    """Least and most, with the shares that make them; once where both are known."""
    dry, share = found.dry, found.shares[element]
    ends = [("least", dry.low, share.low), ("most", dry.high, share.high)]
    return ends[:1] if dry.low == dry.high and share.low == share.high else ends


def _steps(found: Harvest) -> list[Step]:
    return [*_off_steps(found), *_food_steps(found)]


def _off_steps(found: Harvest) -> list[Step]:
    mass = found.given.wet_mass
    steps: list[Step] = []
    if mass is None:
        return steps
    for parameter, (element, _) in AS_TESTED.items():
        for end, dry, share in _ends(found, element):
            off = mass * dry * share
            numbers = {
                "fresh": show(mass, "mass", "mg"),
                "dry_share": show(dry, "fraction", "1"),
                f"{element}_in_it": show(share, "fraction", "1"),
            }
            formula = f"{{fresh}} × {{dry_share}} × {{{element}_in_it}}"
            steps.append(step(f"{end} {element} carried off, in mg", formula, numbers, off, "mass", "mg"))
            steps += _tested_steps(found, parameter, end, off)
    return steps


def _tested_steps(found: Harvest, parameter: str, end: str, off: float) -> list[Step]:
    volume = found.given.water_volume
    if volume is None:
        return []
    element, kg_a_mole = AS_TESTED[parameter]
    unit = KINDS[parameter].default
    numbers = {
        "off": show(off, "mass", "mg"),
        f"mg_of_{element}_in_a_mg_as_tested": f"{to_si(1.0, unit, parameter) * kg_a_mole * 1000:.6g}",
        "water": show(volume, "volume"),
    }
    formula = f"{{off}} ÷ {{mg_of_{element}_in_a_mg_as_tested}} ÷ {{water}}"
    return [step(f"that as {parameter}, {end}", formula, numbers, off / volume / kg_a_mole, parameter, unit)]


def _food_steps(found: Harvest) -> list[Step]:
    given, made = found.given, found.made
    steps: list[Step] = []
    if made is None:
        return steps
    if given.nitrogen is None:
        assert given.feed is not None and given.protein is not None
        numbers = {
            "food": show(given.feed, "mass_flow", "g/d"),
            "protein": show(given.protein, "fraction", "1"),
        }
        formula = f"{{food}} × {{protein}} × {AMMONIA_OF_PROTEIN} × 1000"
        steps.append(step("nitrogen made, in mg a day", formula, numbers, made, "mass_flow", "mg/d"))
    for end, dry, share in reversed(_ends(found, "nitrogen")):
        crop = made * WEEK * given.share / dry / share
        numbers = {
            "made": show(made, "mass_flow", "mg/d"),
            "share": show(given.share, "fraction", "1"),
            "dry_share": show(dry, "fraction", "1"),
            "nitrogen_in_it": show(share, "fraction", "1"),
        }
        formula = "{made} × 7 × {share} ÷ {dry_share} ÷ {nitrogen_in_it} ÷ 1000"
        words = "least" if end == "most" else "most"
        steps.append(step(f"{words} fresh plants a week, in g", formula, numbers, crop, "mass", "g"))
    if found.weekly_done is not None:
        assert given.wet_mass is not None and given.period is not None
        numbers = {"fresh": show(given.wet_mass, "mass", "g"), "days": show(given.period, "time", "d")}
        steps.append(
            step("taken out a week, in g", "{fresh} × 7 ÷ {days}", numbers, found.weekly_done, "mass", "g")
        )
    return [*steps, *_lasting_steps(found, made)]


def _lasting_steps(found: Harvest, made: float) -> list[Step]:
    mass = found.given.wet_mass
    if mass is None or not made:
        return []
    return [
        step(
            f"days of food whose nitrogen was carried off, {end}",
            "{off} ÷ {made}",
            {"off": show(mass * dry * share, "mass", "mg"), "made": show(made, "mass_flow", "mg/d")},
            mass * dry * share / made,
            "time",
            "d",
        )
        for end, dry, share in _ends(found, "nitrogen")
    ]


def _assumptions(found: Harvest) -> list[Assumption]:
    given, told = found.given, []
    which = "(unknown or several kinds of)" if given.growth_form == "other" else given.growth_form
    usual = (
        (given.dry_share, found.dry, f"dry matter in fresh {which} plants"),
        (given.nitrogen_share, found.shares["nitrogen"], "nitrogen in their dry matter"),
        (given.phosphorus_share, found.shares["phosphorus"], "phosphorus in their dry matter"),
    )
    for own, one, words in usual:
        if own is None:
            told.append(Assumption(f"{100 * one.low:.3g} to {100 * one.high:.3g} % {words}.", "default"))
    if found.made is not None and given.nitrogen is None:
        told.append(
            Assumption("Ammonia is 0.092 of the protein fed; fish differ by 30 % either way.", "default")
        )
    told.append(Assumption("What the plants hold came out of this water, not out of rich ground.", "default"))
    if found.made is not None:
        told.append(Assumption("The stand that is left stays as it was: only what grew is taken.", "default"))
    return told


def _cautions(found: Harvest) -> list[Caution]:
    given = found.given
    told = [
        Caution(
            "weigh-drained",
            "Water that clings can weigh as much as the plants: let them drain, always alike, before you weigh them.",
        ),
        Caution(
            "thin-out",
            "Thin out rather than clear: a bed cut bare takes up little until it has grown again, and ammonia may rise.",
        ),
    ]
    if given.nitrogen_share is None or given.dry_share is None:
        told.append(
            Caution(
                "published-shares",
                "Plants in thin water hold less than those in rich water: reckon with the low end until a sample was dried.",
            )
        )
    return [*told, *PLANTS]


HARVEST = Calculator(
    name="harvest",
    title="Harvest of plants",
    doc=(
        "Nitrogen and phosphorus that leave with plants taken out of the water, and what that comes to as nitrate and"
        " phosphate; how many days' food it makes up for; and how much must be taken out a week so that nitrate holds at a"
        " given food. Shares that you don't know are published ranges, and so are the answers then."
    ),
    inputs=Inputs,
    results=(
        Result("verdict", TEXT, "ok, watch, over (more gathers than is carried off) or unknown."),
        Result("why", TEXT, "The verdict in words."),
        Result("dry_mass_low", "mass", "Dry matter taken out, at least.", "g"),
        Result("dry_mass_high", "mass", "The same, at most.", "g"),
        Result("nitrogen_low", "mass", "Nitrogen carried off, at least.", "mg"),
        Result("nitrogen_high", "mass", "The same, at most.", "mg"),
        Result("phosphorus_low", "mass", "Phosphorus carried off, at least.", "mg"),
        Result("phosphorus_high", "mass", "The same, at most.", "mg"),
        Result("nitrate_low", "nitrate", "By which nitrate would be higher with it left in, at least."),
        Result("nitrate_high", "nitrate", "The same, at most."),
        Result("phosphate_low", "phosphate", "By which phosphate would be higher with it left in, at least."),
        Result("phosphate_high", "phosphate", "The same, at most."),
        Result("nitrogen_made", "mass_flow", "That gathers a day, of the food or as told.", "mg/d"),
        Result("weekly_low", "mass", "Fresh plants to take out a week, if they are rich.", "g"),
        Result("weekly_high", "mass", "The same, if they are lean.", "g"),
        Result("weekly_done", "mass", "Fresh plants that are taken out a week.", "g"),
        Result("food_lasts_low", "time", "Days of food whose nitrogen was carried off, at least.", "d"),
        Result("food_lasts_high", "time", "The same, at most.", "d"),
    ),
    limits=(
        "Growing plants that feed on this water; rooted ones take part of it from the ground.",
        "A crop can't take more than grows: see plant-uptake for how large a stand must be.",
    ),
    sources=(
        *IN_PLANTS,
        recirculating_aquaculture("ammonia = food x protein x 0.092"),
    ),
    solve=solve,
    example={
        "wet_mass": "250 g",
        "period": "7 d",
        "growth_form": "floating",
        "water_volume": "400 L",
        "feed": "4 g/d",
        "protein": "42 %",
        "share": "50 %",
    },
    doors=("systems",),
)
