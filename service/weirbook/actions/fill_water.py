"""What the record of a system's water says for a calculator's inputs: sources, exchanges, food, plants, media."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

import sqlalchemy as sa

from weirbook.actions.feed_days import Meal, moisture_share, phosphorus_share, share_of
from weirbook.actions.fill_named import plant_facts
from weirbook.actions.filling import Absent
from weirbook.actions.latest_of import MEASURED, latest_of
from weirbook.actions.plant_stands import PlantStands, stands_of
from weirbook.actions.system_facts import SystemFacts
from weirbook.actions.system_water import SystemWater
from weirbook.engine.inputs import six
from weirbook.engine.relations.plants import UPTAKE_FORM
from weirbook.engine.relations.structure import BED_POROSITY
from weirbook.engine.shape import Filled
from weirbook.engine.units import Quantity
from weirbook.record.names import find
from weirbook.record.places import ROOM_PLACE_ID, Section
from weirbook.record.planted import Cut, Kind
from weirbook.record.plants import PlantKind
from weirbook.record.targets import Target
from weirbook.record.waters import DRIP, TOP_OFF

DAY_MS = 86_400_000
HARVEST_DAYS = 28
"""Harvests of so many days tell how much is taken out a week. Our own choice."""
GROWTH_FORMS = {"planted-floating": "floating", "planted-rooted": "emergent"}
"""How the plants of a section grow, by its use."""


def water_of(facts: SystemFacts) -> SystemWater:
    """The system's water, gathered once for the same facts."""
    kept = facts.worked_out.get("water")
    if not isinstance(kept, SystemWater):
        kept = facts.worked_out["water"] = SystemWater(facts)
    return kept


def _source(facts: SystemFacts, parameter: str) -> Filled | Absent:
    water = water_of(facts)
    source = water.usual_source
    if source is None:
        return Absent(
            "Which water the system is filled from is not recorded: tell it with a water change or a standing exchange."
        )
    found = water.waters.value_of(source.handle, parameter, facts.at_ms)
    if isinstance(found, Absent):
        return found
    return Filled(found.value, "record", f"{found.note}; {source.why}")


def _exchanged(facts: SystemFacts, kind: str, parameter: str) -> Filled | Absent:
    """What the water of a drip or top-off holds of a parameter."""
    water = water_of(facts)
    running = water.running(kind)
    if running is None or running.source is None:
        return Absent(f"No {kind.replace('_', '-')} is recorded.")
    return water.waters.value_of(running.source.handle, parameter, facts.at_ms)


def _chloride(facts: SystemFacts) -> Filled | Absent:
    """As tested, else as the usual source water brings it: fish and food add little."""
    tested = latest_of(facts, "chloride")
    if isinstance(tested, Filled):
        return tested
    brought = _source(facts, "chloride")
    if isinstance(brought, Absent):
        return tested
    return Filled(brought.value, "record", f"not tested; {brought.note}")


def _most_wanted(facts: SystemFacts, parameter: str) -> Filled | Absent:
    """The upper end of the target in force: the lowest of the system's, its tanks' and the room's own."""
    where, water = facts.where, water_of(facts)
    places = {ROOM_PLACE_ID, *water.places}
    asked = (
        sa.select(Target)
        .where(
            Target.parameter == parameter,
            Target.place_id.in_(places),
            Target.valid_from_ms <= facts.at_ms,
        )
        .order_by(Target.valid_from_ms)
    )
    in_force = {one.place_id: one for one in facts.session.scalars(asked).unique()}
    nearest = [
        next((in_force[place] for place in where.chain(tank.id) if place in in_force), None)
        for tank in facts.tanks
    ]
    bounds = [one for one in nearest if one is not None and one.high is not None]
    if not bounds:
        return Absent(f"No target of {parameter} with an upper end is recorded.")
    kind = MEASURED[parameter]
    lowest = min(bounds, key=lambda one: one.high.si(kind) if one.high is not None else 0.0)
    return Filled(lowest.high, "record", f"target of {lowest.place.path}")


def _tanks_water(facts: SystemFacts) -> Filled | Absent:
    """The water in the tanks alone: once the pumps stop, that of the sump does not reach the fish."""
    if not facts.tanks:
        return Absent("The system has no tank.")
    total = sum(tank.net_volume_si for tank in facts.tanks)
    told = f"tanks net, without sumps ({', '.join(tank.handle for tank in facts.tanks)})"
    return Filled(Quantity(total, "m3").to("L", "volume"), "record", told)


def _altitude(facts: SystemFacts) -> Filled | Absent:
    altitude = water_of(facts).room.altitude
    return (
        Absent("The room's altitude is not recorded.")
        if altitude is None
        else Filled(altitude, "record", "the room's altitude")
    )


def _water_surface(facts: SystemFacts) -> Filled | Absent:
    if not facts.tanks:
        return Absent("The system has no tank.")
    area = sum(tank.surface_area_si for tank in facts.tanks)
    told = f"tanks' open water ({', '.join(tank.handle for tank in facts.tanks)}), sumps not counted"
    return Filled(Quantity(area, "m2"), "record", told)


def _average_meals(facts: SystemFacts) -> list[Meal] | Absent:
    """An average day's food of all tanks."""
    water = water_of(facts)
    untold = [tank.handle for tank in facts.tanks if water.feeding.ration(tank.id, water.today) is None]
    if not facts.tanks or len(untold) == len(facts.tanks):
        return Absent(f"No ration is recorded of any tank of {facts.system.handle}.")
    if untold:
        return Absent(
            f"No ration is recorded of: {', '.join(untold)} (one without feeds says that nothing is fed)."
        )
    return [meal for tank in facts.tanks for meal in water.feeding.average(tank.id, water.today)]


def _daily_feed(facts: SystemFacts) -> Filled | Absent:
    meals = _average_meals(facts)
    if isinstance(meals, Absent):
        return meals
    grams = sum(meal.mass for meal in meals) * 1000
    foods = ", ".join(sorted({meal.feed.handle for meal in meals})) or "nothing is fed"
    return Filled(Quantity(grams, "g/d"), "record", f"rations in force, mean of their turns: {foods}")


def _feed_share(facts: SystemFacts, nutrient: str) -> Filled | Absent:
    meals = _average_meals(facts)
    if isinstance(meals, Absent):
        return meals
    share = share_of(meals, nutrient)
    if isinstance(share, Absent):
        return share
    return Filled(Quantity(100 * share, "%"), "record", "labels of the feeds, by what is fed of each")


def _feed_phosphorus(facts: SystemFacts) -> Filled | Absent:
    """By the labels; a food whose label tells none counts as dry food of its dry matter does."""
    meals = _average_meals(facts)
    if isinstance(meals, Absent):
        return meals
    total = sum(meal.mass for meal in meals)
    if not total:
        return Absent("Nothing is fed.")
    share = sum(meal.mass * phosphorus_share(meal.feed) for meal in meals) / total
    untold = sorted({meal.feed.handle for meal in meals if meal.feed.phosphorus is None})
    note = "labels of the feeds, by what is fed of each"
    if untold:
        note += f"; of {', '.join(untold)} 1.2 % as of dry food: its label tells none"
    return Filled(Quantity(100 * share, "%"), "record", note)


def _feed_moisture(facts: SystemFacts) -> Filled | Absent:
    """By the labels; a food whose label tells none counts as dry."""
    meals = _average_meals(facts)
    if isinstance(meals, Absent):
        return meals
    total = sum(meal.mass for meal in meals)
    if not total:
        return Absent("Nothing is fed.")
    share = sum(meal.mass * moisture_share(meal.feed) for meal in meals) / total
    return Filled(Quantity(100 * share, "%"), "record", "labels of the feeds, by what is fed of each")


def _flow_of(facts: SystemFacts, kind: str) -> Filled | Absent:
    running = water_of(facts).running(kind)
    if running is None:
        return Absent(f"No {kind.replace('_', '-')} is recorded.")
    source = "" if running.source is None else f" of {running.source.handle}"
    return Filled(running.flow, "record", f"standing {kind.replace('_', '-')}{source}")


def _change_volume(facts: SystemFacts) -> Filled | Absent:
    usual = water_of(facts).usual_change
    if usual is None:
        return Absent("Fewer than three water changes are recorded within 120 days.")
    return Filled(
        Quantity(usual[0], "m3").to("L", "volume"), "record", "the middle one of the last water changes"
    )


def _change_interval(facts: SystemFacts) -> Filled | Absent:
    usual = water_of(facts).usual_change
    if usual is None:
        return Absent("Fewer than three water changes are recorded within 120 days.")
    return Filled(
        Quantity(usual[1], "s").to("d", "time"), "record", "the middle time between the last water changes"
    )


def section_cover(plants: PlantStands, section: Section, at_ms: int) -> float | None:
    """Share of a planted section that plants cover: by the newest that was told of it, else as the section says."""
    told = plants.cover(section.id, at_ms)
    if told is not None:
        return told.share
    return None if section.plant_coverage is None else section.plant_coverage.si("fraction")


def _plant_stands(facts: SystemFacts) -> Filled | Absent:
    """The planted sections and the plants in tanks: their area, and how much of it they cover."""
    rows: list[Mapping[str, Any]] = []
    plants = stands_of(facts)
    for section in facts.sections:
        form = GROWTH_FORMS.get(facts.uses.get(section.id, ""))
        if form is None:
            continue
        width = section.width or section.sump.width
        area = section.length.si("length") * width.si("length")
        row: dict[str, Any] = {"name": section.handle, "growth_form": form, "area": Quantity(area, "m2")}
        told = plants.cover(section.id, facts.at_ms)
        if told is not None:
            row["cover"] = Quantity(six(100 * told.share), "%")
        elif section.plant_coverage is not None:
            row["cover"] = section.plant_coverage
        rows.append(row)
    note = "planted sections, by their use, area and cover"
    for tank in facts.tanks:
        for one in plants.in_tank(tank, facts.at_ms)[0]:
            cover = Quantity(six(100 * one.cover), "%")
            surface = Quantity(one.area, "m2")
            rows.append({"name": one.name, "growth_form": one.form, "area": surface, "cover": cover})
            note = "planted sections and plantings in tanks, by how they grow, area and cover"
    rows = [row for row in rows if "cover" not in row or row["cover"].value]
    if not rows:
        return Absent("No planted section is recorded.")
    return Filled(rows, "record", note)


def _late_cuts(facts: SystemFacts) -> Sequence[tuple[Cut, Kind]]:
    since = facts.at_ms - HARVEST_DAYS * DAY_MS
    return [(cut, kind) for cut, kind in stands_of(facts).cuts if cut.at_ms > since]


def _harvested_plants(facts: SystemFacts, fact: str) -> Filled | Absent:
    """How what was taken out of late grew, and its own shares: of one kind what its record tells, of several no shares."""
    kinds = {kind.handle: kind for _, kind in _late_cuts(facts)}
    if not kinds:
        return Absent(f"No harvest of the last {HARVEST_DAYS} days is recorded with what it weighed.")
    if len(kinds) == 1:
        found = plant_facts(find(facts.session, PlantKind, next(iter(kinds))))[fact]()
        if isinstance(found, Absent):
            return found
        words = f"{found.note}: all that was cut in the last {HARVEST_DAYS} days is of it"
        return dataclasses.replace(found, note=words)
    told = f"several kinds were cut in the last {HARVEST_DAYS} days ({', '.join(sorted(kinds))})"
    if fact != "growth_form":
        return Absent(f"It is not one: {told}.")
    forms = {UPTAKE_FORM[kind.growth_form] for kind in kinds.values()}
    form = forms.pop() if len(forms) == 1 else "other"
    return Filled(form, "record", f"{told}: their own shares are not used, name one by plant to have them")


def _harvested(facts: SystemFacts) -> Filled | Absent:
    """What was taken out and weighed of late."""
    cuts = _late_cuts(facts)
    if not cuts:
        return Absent(f"No harvest of the last {HARVEST_DAYS} days is recorded with what it weighed.")
    total = Quantity(sum(one.mass for one, _ in cuts), "kg").to("g", "mass")
    times = "once" if len(cuts) == 1 else f"{len(cuts)} times"
    return Filled(
        Quantity(six(total.value), "g"), "record", f"cut and weighed {times} in the last {HARVEST_DAYS} days"
    )


def _harvest_period(facts: SystemFacts) -> Filled | Absent:
    found = _harvested(facts)
    if isinstance(found, Absent):
        return found
    return Filled(Quantity(HARVEST_DAYS, "d"), "record", "in which that was cut")


def _nitrifier_media(facts: SystemFacts) -> Filled | Absent:
    """The sections that hold media under water and whose surface is recorded or follows from its grains."""
    rows: list[Mapping[str, Any]] = []
    reckoned, untold = [], []
    for section in facts.sections:
        if section.media is None:
            continue
        surface = section.media.get("specific_surface")
        if surface is None and section.media.get("grain_size") is not None:
            surface = _of_grains(section.media)
            reckoned.append(section.handle)
        if surface is None:
            untold.append(section.handle)
            continue
        volume = section.media_under_water or section.media["volume"]
        rows.append({"name": section.handle, "media_volume": volume, "specific_surface": surface})
    if not rows:
        what = f"No specific surface or grain size is recorded of the media in {', '.join(untold)}."
        return Absent(what if untold else "No section with media is recorded.")
    told = "sections' media, as far as it stands under water"
    if reckoned:
        told += f"; of {', '.join(reckoned)} the surface of spheres of its grain size"
    if untold:
        told += f"; not counted, no surface is recorded: {', '.join(untold)}"
    return Filled(rows, "record", told)


def _of_grains(media: Mapping[str, Any]) -> Quantity:
    """The surface of a bulk volume of grains taken for spheres: 6 (1 - porosity) / size."""
    porosity = media.get("porosity")
    solid = 1 - (BED_POROSITY if porosity is None else porosity.si("fraction"))
    return Quantity(round(6 * solid / media["grain_size"].si("length"), 6), "m2/m3")


ROLES: Mapping[str, Callable[[SystemFacts], Filled | Absent]] = {
    "altitude": _altitude,
    "water_surface": _water_surface,
    "daily_feed": _daily_feed,
    "feed_protein": partial(_feed_share, nutrient="protein"),
    "feed_phosphorus": _feed_phosphorus,
    "feed_moisture": _feed_moisture,
    "chloride": _chloride,
    "tanks_water": _tanks_water,
    "drip_flow": partial(_flow_of, kind=DRIP),
    "top_off_flow": partial(_flow_of, kind=TOP_OFF),
    "change_volume": _change_volume,
    "change_interval": _change_interval,
    "plant_stands": _plant_stands,
    "harvested": _harvested,
    "harvest_period": _harvest_period,
    "nitrifier_media": _nitrifier_media,
    **{
        f"harvested.{name}": partial(_harvested_plants, fact=name)
        for name in ("growth_form", "dry_matter", "nitrogen", "phosphorus")
    },
    **{f"drip.{name}": partial(_exchanged, kind=DRIP, parameter=name) for name in ("nitrate", "phosphate")},
    **{
        f"top_off.{name}": partial(_exchanged, kind=TOP_OFF, parameter=name)
        for name in ("nitrate", "phosphate")
    },
    **{f"most_wanted.{name}": partial(_most_wanted, parameter=name) for name in MEASURED},
    **{f"source.{name}": partial(_source, parameter=name) for name in MEASURED},
}
