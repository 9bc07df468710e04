"""A system's recorded feed, water and doses as days of the nutrient balance: likely, and at either end of what is known."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import Enum
from functools import cached_property

from weirbook.actions.feed_days import Meal, phosphorus_share
from weirbook.actions.fill_water import GROWTH_FORMS, section_cover
from weirbook.actions.filling import Absent
from weirbook.actions.name_values import moles_raised
from weirbook.actions.plant_stands import CARRIED_DAYS, FIRST_CUT_DAYS, Crop, stands_of
from weirbook.actions.system_water import SystemWater
from weirbook.engine.relations.chemistry import COMPOUNDS, DOSED, carried
from weirbook.engine.relations.nitrogen import (
    AMMONIA_OF_PROTEIN,
    EXCRETION_SPREAD,
    PHOSPHORUS_KEPT,
    PROTEIN_PER_NITROGEN,
)
from weirbook.engine.relations.nutrients import KG_N_A_MOLE, KG_P_A_MOLE, NO_WATER, NOTHING, Day, Inflow, Pair
from weirbook.engine.relations.plants import Range, uptake
from weirbook.engine.times import day_of
from weirbook.record.doses import Dose
from weirbook.record.places import Section
from weirbook.record.waters import DRIP, TOP_OFF, WaterChange

DAY = 86_400.0
NITROGEN = ("nitrate", "nitrite", "total_ammonia")
"""Parameters counted in moles of nitrogen that a filter turns into nitrate."""


class Case(Enum):
    """Which end of what is known is reckoned with."""

    LOW = 0
    LIKELY = 1
    HIGH = 2


@dataclass
class Told:
    """What the balance rests on besides the record's figures, and what the record lacks."""

    missing: dict[str, None] = field(default_factory=dict)
    assumed: dict[str, None] = field(default_factory=dict)

    def lacks(self, words: str) -> None:
        self.missing[words] = None

    def assumes(self, words: str) -> None:
        self.assumed[words] = None


@dataclass(frozen=True)
class DayFacts:
    """What the record says of one day, the same for every case; kg, m3, kg/m3."""

    day: date
    meals: Sequence[Meal]
    dosed: Pair
    changes: Sequence[Inflow]
    drip: Inflow
    top_off: Inflow
    stands: Sequence[tuple[str, float, float]]
    crops: Sequence[tuple[Range, Range]]
    """Nitrogen and phosphorus that plants took up this day as later cuts tell, or as the last ones did, kg."""

    @property
    def fed(self) -> float:
        return sum(meal.mass for meal in self.meals)

    @property
    def exchanged(self) -> float:
        """m3 of water that was replaced, by changes and by the drip."""
        return sum(one.volume for one in self.changes) + self.drip.volume


class NutrientDays:
    """The days of one system, and what had to be taken for granted on the way."""

    def __init__(self, water: SystemWater, volume: float) -> None:
        self.water, self.volume, self.told = water, volume, Told()
        self.plants = stands_of(water.facts)

    @cached_property
    def _crops_by_day(self) -> Mapping[date, list[tuple[int, Range, Range]]]:
        """What each cut took out, spread evenly over the days in which it grew: place, nitrogen, phosphorus."""
        found: dict[date, list[tuple[int, Range, Range]]] = defaultdict(list)
        for crop in self.plants.crops:
            days, ended = self._grown(crop)
            daily = crop.place_id, crop.nitrogen * (1 / days), crop.phosphorus * (1 / days)
            for back in range(days):
                found[ended - timedelta(days=back)].append(daily)
        return found

    @cached_property
    def _carried_by_day(self) -> Mapping[date, list[tuple[int, Range, Range]]]:
        """What plantings go on taking up after their last cut, as long as they stand there: place, nitrogen, phosphorus."""
        found: dict[date, list[tuple[int, Range, Range]]] = defaultdict(list)
        for crop, until_ms in self.plants.carried:
            days, ended = self._grown(crop)
            daily = crop.place_id, crop.nitrogen * (1 / days), crop.phosphorus * (1 / days)
            for ahead in range(1, CARRIED_DAYS + 1):
                day = ended + timedelta(days=ahead)
                if until_ms is not None and self.water.noon_ms(day) >= until_ms:
                    break
                found[day].append(daily)
        return found

    def _grown(self, crop: Crop) -> tuple[int, date]:
        """In how many days a crop grew, and the last of them."""
        begun, ended = (day_of(at, self.water.zone) for at in (crop.since_ms, crop.at_ms))
        return max(1, (ended - begun).days), ended

    def facts(self, first: date, last: date) -> list[DayFacts]:
        """Every day from the first to the last."""
        if self.plants.too_soon:
            self.told.assumes(
                f"What was cut within {FIRST_CUT_DAYS} days of planting is not counted: most of it grew elsewhere."
            )
        return [self._day(first + timedelta(days=one)) for one in range((last - first).days + 1)]

    def _day(self, day: date) -> DayFacts:
        water, noon = self.water, self.water.noon_ms(day)
        carried = self._carried_by_day.get(day, ())
        crops = [*self._crops_by_day.get(day, ()), *carried]
        for path in sorted({self.plants.paths[place] for place, _, _ in crops}):
            self.told.assumes(
                f"What was cut and weighed in {path} had grown evenly since the cut before it, or since it was planted, and"
                " tells all that plants take up there in that time: the published rates are not counted besides."
            )
        for path in sorted({self.plants.paths[place] for place, _, _ in carried}):
            self.told.assumes(
                f"After the last cut in {path} its plants are taken to grow on as they did before it (over {FIRST_CUT_DAYS} days"
                f" or more), for {CARRIED_DAYS} days at most; then the published rates count again, until the next cut."
            )
        meals: list[Meal] = []
        for tank in water.facts.tanks:
            if not water.feeding.told(tank.id, day):
                self.told.lacks(f"what {tank.handle} was fed (a ration without feeds says: nothing)")
            meals += water.feeding.meals(tank.id, day)
        return DayFacts(
            day=day,
            meals=meals,
            dosed=_added(self._dosed(one) for one in water.doses_by_day.get(day, ())),
            changes=[
                inflow for change in water.changes_by_day.get(day, ()) if (inflow := self._change(change))
            ],
            drip=self._running(DRIP, noon),
            top_off=self._running(TOP_OFF, noon),
            stands=list(self._stands(noon, {place for place, _, _ in crops})),
            crops=[(nitrogen, phosphorus) for _, nitrogen, phosphorus in crops],
        )

    def _stands(self, at_ms: int, measured: Collection[int]) -> Iterator[tuple[str, float, float]]:
        """Form, area and cover of what grows where no cut tells what it takes up."""
        facts = self.water.facts
        for section in facts.sections:
            if section.id not in measured and (stand := self._stand(section, at_ms)) is not None:
                yield stand
        for tank in facts.tanks:
            if tank.id in measured:
                continue
            stands, untold = self.plants.in_tank(tank, at_ms)
            for kind in sorted(set(untold)):
                self.told.assumes(
                    f"Plantings of {kind} in {tank.path} that don't tell what they cover are counted as taking up nothing."
                )
            yield from ((one.form, one.area, one.cover) for one in stands)

    def _holds(self, handle: str | None, at_ms: int) -> Pair:
        """What a water holds, kg/m3; nothing where it isn't known, which is told."""
        if handle is None:
            self.told.lacks("which water the system is filled from")
            return NOTHING
        found = []
        for parameter, kg_a_mole in (("nitrate", KG_N_A_MOLE), ("phosphate", KG_P_A_MOLE)):
            value = self.water.waters.value_of(handle, parameter, at_ms)
            if isinstance(value, Absent):
                self.told.lacks(f"the {parameter} of the water {handle}")
                found.append(0.0)
            else:
                found.append(value.value.si(parameter) * kg_a_mole)
        return Pair(*found)

    def _change(self, change: WaterChange) -> Inflow | None:
        volume = change.volume_si
        if volume is None:
            return None
        if volume > self.volume * (1 + 1e-9):
            day = day_of(change.changed_at_ms, self.water.zone)
            self.told.assumes(
                f"The change of {day} was of more water than the system now holds: counted as all of it."
            )
        return Inflow(
            min(volume, self.volume), self._holds(self.water.source_of(change), change.changed_at_ms)
        )

    def _running(self, kind: str, at_ms: int) -> Inflow:
        running = self.water.exchange(kind, at_ms)
        if running is None:
            return NO_WATER
        source = None if running.source is None else running.source.handle
        return Inflow(running.flow.si("flow") * DAY, self._holds(source, at_ms))

    def _stand(self, section: Section, at_ms: int) -> tuple[str, float, float] | None:
        form = GROWTH_FORMS.get(self.water.use_of(section.id, at_ms) or "")
        if form is None:
            return None
        share = section_cover(self.plants, section, at_ms)
        if share is None:
            self.told.assumes(f"Plants cover all of {section.handle}: no cover is recorded.")
        width = section.width or section.sump.width
        return (
            form,
            section.length.si("length") * width.si("length"),
            1.0 if share is None else share,
        )

    def _dosed(self, dose: Dose) -> Pair:
        """kg of nitrogen and phosphorus that a dose brought."""
        if dose.compound is not None:
            if dose.mass is not None:
                mass = dose.mass.si("mass")
            else:
                assert dose.volume is not None and dose.strength is not None
                mass = dose.volume.si("volume") * dose.strength.si("concentration")
            compound = COMPOUNDS[dose.compound]
            moles = mass / compound.molar_mass
            nitrogen = sum(moles * carried(compound, name) for name in NITROGEN if name in DOSED)
            return Pair(nitrogen * KG_N_A_MOLE, moles * carried(compound, "phosphate") * KG_P_A_MOLE)
        product = dose.product
        assert product is not None
        label = product.volume if product.liquid else product.mass
        amount = dose.volume if product.liquid else dose.mass
        if product.treats is None or label is None or amount is None:
            self.told.lacks(f"what a dose of {product.handle} raises (its label, counted as it was dosed)")
            return NOTHING
        kind = "volume" if product.liquid else "mass"
        treated = amount.si(kind) / label.si(kind) * product.treats.si("volume")
        moles_of = moles_raised(product.effects or ())
        nitrogen = sum(moles_of.get(name, 0.0) for name in NITROGEN)
        return Pair(treated * nitrogen * KG_N_A_MOLE, treated * moles_of.get("phosphate", 0.0) * KG_P_A_MOLE)

    def made(self, meals: Iterable[Meal], case: Case) -> Pair:
        """kg of nitrogen and phosphorus that food leaves in the water."""
        factor = AMMONIA_OF_PROTEIN * (1 + EXCRETION_SPREAD * (case.value - 1))
        kept = PHOSPHORUS_KEPT[2 - case.value]
        nitrogen = phosphorus = 0.0
        for meal in meals:
            protein = meal.feed.protein
            if protein is None:
                self.told.lacks(f"the protein of the feed {meal.feed.handle}")
            else:
                nitrogen += meal.mass * protein.si("fraction") * min(factor, 1 / PROTEIN_PER_NITROGEN)
            phosphorus += meal.mass * self._phosphorus(meal) * (1 - kept)
        return Pair(nitrogen, phosphorus)

    def _phosphorus(self, meal: Meal) -> float:
        if meal.feed.phosphorus is None:
            self.told.assumes(
                f"{meal.feed.handle} holds 1.2 % phosphorus by what it weighs dried to 8 % water: its label tells none."
            )
        return phosphorus_share(meal.feed)

    def days(
        self, facts: Sequence[DayFacts], case: Case, *, solids: float = 0.0, denitrified: float = 0.0
    ) -> Iterator[Day]:
        """The days of the balance in one case; `solids` a share of what is made, `denitrified` kg N a day."""
        for one in facts:
            made = self.made(one.meals, case)
            yield Day(
                made=made,
                in_solids=Pair(made.nitrogen * solids, made.phosphorus * solids),
                dosed=one.dosed,
                changes=one.changes,
                drip=one.drip,
                top_off=one.top_off,
                uptake=_taken_up(one.stands, case),
                cropped=_cropped(one.crops, case),
                denitrified=denitrified,
            )


_PICK = {Case.LOW: "high", Case.LIKELY: "middle", Case.HIGH: "low"}
"""The low case of what is left in the water is the high one of what plants take."""


def _cropped(crops: Iterable[tuple[Range, Range]], case: Case) -> Pair:
    """kg a day."""
    return _added(
        Pair(getattr(nitrogen, _PICK[case]), getattr(phosphorus, _PICK[case]))
        for nitrogen, phosphorus in crops
    )


def _taken_up(stands: Iterable[tuple[str, float, float]], case: Case) -> Pair:
    """kg a day."""
    nitrogen = phosphorus = 0.0
    for form, area, cover in stands:
        of_nitrogen, of_phosphorus = uptake(form, area, cover)
        nitrogen += getattr(of_nitrogen, _PICK[case]) * DAY
        phosphorus += getattr(of_phosphorus, _PICK[case]) * DAY
    return Pair(nitrogen, phosphorus)


def _added(pairs: Iterable[Pair]) -> Pair:
    nitrogen = phosphorus = 0.0
    for one in pairs:
        nitrogen += one.nitrogen
        phosphorus += one.phosphorus
    return Pair(nitrogen, phosphorus)
