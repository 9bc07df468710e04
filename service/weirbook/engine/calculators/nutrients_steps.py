"""The working of the balance of nutrients, term by term, as a person would do it with a pocket calculator."""

from __future__ import annotations

from dataclasses import dataclass

from weirbook.engine.calculators.nutrients_case import Balance, interval_of, running, stand_uptake
from weirbook.engine.calculators.nutrients_inputs import DRY, PlantStand
from weirbook.engine.relations.nitrogen import (
    AMMONIA_OF_FOOD,
    AMMONIA_OF_PROTEIN,
    BICARBONATE_MASS,
    EXCRETION_SPREAD,
    PROTEIN_PER_NITROGEN,
    WITHOUT_GROWTH,
    ammonia_made,
)
from weirbook.engine.relations.nutrients import KG_N_A_MOLE, KG_P_A_MOLE, Routine
from weirbook.engine.relations.plants import UPTAKE, Range
from weirbook.engine.shape import Step, show, six, step
from weirbook.engine.units import convert, to_si

CACO3_AN_EQUIVALENT = 1 / to_si(1000, "mg/L CaCO3", "alkalinity")
"""kg of CaCO3 for each equivalent of alkalinity."""


@dataclass(frozen=True)
class Element:
    """How nitrogen or phosphorus is told: as the element in the working, in the form of tests at the end."""

    name: str
    kind: str
    unit: str
    form: str
    kg_a_mole: float

    def show(self, held: float) -> str:
        """kg/m3 as mg/L of the element."""
        return show(held / self.kg_a_mole, self.kind, self.unit)

    def step(self, gives: str, formula: str, numbers: dict[str, str], held: float) -> Step:
        gives = f"{gives}, in {self.unit}"
        return step(gives, formula, numbers, held / self.kg_a_mole, self.kind, self.unit)

    def as_tested(self, what: str, held: float) -> Step:
        factor = six(convert(1.0, self.unit, self.form, self.kind))
        numbers = {what.replace(" ", "_"): self.show(held)}
        formula = f"{{{what.replace(' ', '_')}}} × {factor}"
        return step(f"{what}, in {self.form}", formula, numbers, held / self.kg_a_mole, self.kind, self.form)


NITROGEN = Element("nitrogen", "nitrate", "mg/L NO3-N", "mg/L NO3", KG_N_A_MOLE)
PHOSPHORUS = Element("phosphorus", "phosphate", "mg/L PO4-P", "mg/L PO4", KG_P_A_MOLE)


def daily(rate: float) -> str:
    return show(rate, "mass_flow", "mg/d")


def a_day(gives: str, formula: str, numbers: dict[str, str], rate: float) -> Step:
    return step(f"{gives}, in mg a day", formula, numbers, rate, "mass_flow", "mg/d")


def steps(found: Balance) -> list[Step]:
    return [
        *_made_steps(found),
        *_plant_steps(found),
        *_gain_steps(found, NITROGEN),
        *_settled_steps(found, NITROGEN),
        *_gain_steps(found, PHOSPHORUS),
        *_settled_steps(found, PHOSPHORUS),
        *_bacteria_steps(found),
        *_worst_steps(found),
        *_lever_steps(found),
    ]


def _made_steps(found: Balance) -> list[Step]:
    given = found.given
    numbers = {
        "food": show(given.feed, "mass_flow", "g/d"),
        "protein": show(given.protein, "fraction", "1"),
        "phosphorus": show(given.phosphorus, "fraction", "1"),
        "gone_with_solids": show(given.solids_removed, "fraction", "1"),
        "kept_by_fish": show(found.phosphorus_kept[1], "fraction", "1"),
    }
    everything = f"{{food}} × {{protein}} ÷ {PROTEIN_PER_NITROGEN} × (1 − {{gone_with_solids}}) × 1000"
    rule = f"{{food}} × {{protein}} × {AMMONIA_OF_PROTEIN} × 1000"
    by_rule = found.likely_nitrogen == given.feed * ammonia_made(1.0, given.protein)
    likely = rule if by_rule else everything
    told = [a_day("likely ammonia, as nitrogen", likely, numbers, found.likely_nitrogen)]
    told += _least_steps(found, numbers)
    name = "most ammonia (all nitrogen fed that stays), as nitrogen"
    told.append(a_day(name, everything, numbers, found.most_nitrogen))
    if found.phosphorus_kept[1] + given.solids_removed <= 1:
        formula = "{food} × {phosphorus} × (1 − {kept_by_fish} − {gone_with_solids}) × 1000"
        phosphorus = found.likely.made.phosphorus
        told.append(a_day("likely phosphate, as phosphorus", formula, numbers, phosphorus))
    return told


def _least_steps(found: Balance, numbers: dict[str, str]) -> list[Step]:
    """By the rule of thumb for a gram of dry food, or a third below the likely one, whichever is less."""
    given, told = found.given, []
    if found.least_nitrogen < found.dry_food * AMMONIA_OF_FOOD:
        numbers = {"likely": daily(found.likely_nitrogen)}
        formula = f"{{likely}} × (1 − {EXCRETION_SPREAD})"
        return [a_day("least ammonia, as nitrogen", formula, numbers, found.least_nitrogen)]
    if given.moisture is not None:
        numbers["moisture"] = show(given.moisture, "fraction", "1")
        formula = f"{{food}} × (1 − {{moisture}}) ÷ {1 - DRY:g}"
        told.append(
            step("food as dry food, in g a day", formula, numbers, found.dry_food, "mass_flow", "g/d")
        )
    numbers["dry_food"] = show(found.dry_food, "mass_flow", "g/d")
    formula = f"{{dry_food}} × {AMMONIA_OF_FOOD} × 1000"
    return [*told, a_day("least ammonia, as nitrogen", formula, numbers, found.least_nitrogen)]


def _plant_steps(found: Balance) -> list[Step]:
    told = []
    for stand in found.given.stands:
        nitrogen, phosphorus = stand_uptake(stand)
        rates = UPTAKE[stand.growth_form]
        told += _stand_steps(stand, "nitrogen", nitrogen, stand.nitrogen_uptake, rates.nitrogen)
        told += _stand_steps(stand, "phosphorus", phosphorus, stand.phosphorus_uptake, rates.phosphorus)
    return told


def _stand_steps(
    stand: PlantStand, element: str, taken: Range, own: float | None, published: Range
) -> list[Step]:
    numbers = {"area": show(stand.area, "area"), "cover": show(stand.cover, "fraction", "1")}
    formula = "{area} × {cover} × {rate} × 1000"

    def at(rate: float) -> dict[str, str]:
        return {**numbers, "rate": show(rate, "areal_rate", "g/m2/d")}

    what = f"{stand.name}: {element} taken up"
    if own is not None:
        return [a_day(what, formula, at(own), taken.low)]
    ends = {"least": daily(taken.low), "most": daily(taken.high)}
    return [
        a_day(f"{what}, least", formula, at(published.low), taken.low),
        a_day(f"{what}, most", formula, at(published.high), taken.high),
        a_day(f"{what}, likely", "sqrt({least} × {most})", ends, taken.middle),
    ]


def _of(found: Balance, element: Element) -> tuple[float, float, float, float]:
    """Likely, of that element: made, taken up by plants, held by the source, gained."""
    likely = found.likely
    pairs = (likely.made, likely.uptake, likely.source, likely.gain)
    of = "nitrogen" if element is NITROGEN else "phosphorus"
    made, taken, source, gain = (getattr(pair, of) for pair in pairs)
    return made, taken, source, gain


def _gain_steps(found: Balance, element: Element) -> list[Step]:
    """What gathers in a day besides changes: each term by its name, those that are none left out."""
    made, *_, gain = _of(found, element)
    numbers, terms, told = {"made": daily(made)}, ["{made}"], []
    for one in running(found.given):
        held = one.holds.nitrogen if element is NITROGEN else one.holds.phosphorus
        if not held:
            continue
        fresh = {"water": show(one.flow, "flow", "L/d"), "it_holds": element.show(held)}
        told.append(
            a_day(
                f"{element.name} that the {one.name} brings", "{water} × {it_holds}", fresh, one.flow * held
            )
        )
        word = f"by_the_{one.name.replace('-', '_')}"
        numbers[word] = daily(one.flow * held)
        terms.append(f" + {{{word}}}")
    for index, stand in enumerate(found.given.stands, 1):
        taken = stand_uptake(stand)[0 if element is NITROGEN else 1].middle
        word = "plants" if len(found.given.stands) == 1 else f"plants_of_stand_{index}"
        numbers[word] = daily(taken)
        terms.append(f" − {{{word}}}")
    if element is NITROGEN and found.given.denitrification:
        numbers["denitrified"] = daily(found.given.denitrification)
        terms.append(" − {denitrified}")
    return [*told, a_day(f"{element.name} that gathers, likely", "".join(terms), numbers, gain)]


def _settled_steps(found: Balance, element: Element) -> list[Step]:
    *_, source, gain = _of(found, element)
    settled = found.likely.nitrogen_swing if element is NITROGEN else found.likely.phosphorus_swing
    if settled is None:
        return []
    routine = found.likely.routine(source)
    before, after = settled
    numbers = {
        "gathers": daily(gain),
        "volume": show(routine.volume, "volume", "L"),
        "source": element.show(source),
        "days": str(six(routine.interval / to_si(1, "d", "time"))),
        "drip": show(routine.drip, "flow", "L/d"),
        "share": show(routine.share, "fraction", "1"),
        "before": element.show(before),
    }
    told = []
    if element is NITROGEN:
        told += routine_steps(found, routine, numbers)
    if before:
        name = f"{element.kind} in the long run, before a change"
        told.append(element.step(name, _settled_formula(routine), {**numbers, **_kept(routine)}, before))
        told.append(
            element.as_tested("nitrate before" if element is NITROGEN else "phosphate before", before)
        )
    if routine.share:
        name = f"{element.kind} in the long run, after a change"
        formula = "{before} × (1 − {share}) + {share} × {source}"
        told.append(element.step(name, formula, numbers, after))
        told.append(element.as_tested("nitrate after" if element is NITROGEN else "phosphate after", after))
    return told


def _settled_formula(routine: Routine) -> str:
    if not routine.drip:
        return "{source} + {gathers} × {days} ÷ {volume} ÷ {share}"
    if not routine.share:
        return "{gathers} ÷ {drip}"
    return "({share} × {source} × {kept} + {gathers} × {gathered_days} ÷ {volume}) ÷ (1 − (1 − {share}) × {kept})"


def _kept(routine: Routine) -> dict[str, str]:
    return {
        "kept": str(six(routine.kept)),
        "gathered_days": str(six(routine.gathered / to_si(1, "d", "time"))),
    }


def routine_steps(found: Balance, routine: Routine, numbers: dict[str, str]) -> list[Step]:
    """The share of a change, and what a drip leaves of an interval."""
    told = []
    if routine.share and found.given.change_share is None:
        of = {"changed": show(routine.share * routine.volume, "volume", "L"), "volume": numbers["volume"]}
        told.append(step("share changed", "{changed} ÷ {volume}", of, routine.share, "fraction", "1"))
    if routine.share and routine.drip:
        day = to_si(1, "d", "time")
        told.append(
            step(
                "share that the drip leaves from one change to the next (kept)",
                "exp(0 − {days} × {drip} ÷ {volume})",
                numbers,
                routine.kept,
                "number",
            )
        )
        told.append(
            step(
                "days of gain that are left of them (gathered days)",
                "(1 − {kept}) × {volume} ÷ {drip}",
                {**numbers, **_kept(routine)},
                routine.gathered / day,
                "number",
            )
        )
    return told


def _bacteria_steps(found: Balance) -> list[Step]:
    made = found.likely_nitrogen
    used = made * WITHOUT_GROWTH.alkalinity
    numbers = {
        "ammonia": daily(made),
        "alkalinity": show(used * CACO3_AN_EQUIVALENT, "mass_flow", "mg/d"),
        "volume": show(found.given.volume, "volume", "L"),
    }
    # Six digits of what stands as a bare factor in a step.
    a_dkh = six(convert(1.0, "dKH", "mg/L CaCO3", "alkalinity"))
    by_caco3 = six(WITHOUT_GROWTH.alkalinity * CACO3_AN_EQUIVALENT)
    by_bicarbonate = six(WITHOUT_GROWTH.alkalinity * BICARBONATE_MASS)
    return [
        a_day(
            "alkalinity that bacteria use, as CaCO3",
            f"{{ammonia}} × {by_caco3}",
            numbers,
            used * CACO3_AN_EQUIVALENT,
        ),
        step(
            "by which it sinks in a day, in dKH",
            f"{{alkalinity}} ÷ {{volume}} ÷ {a_dkh}",
            numbers,
            used * to_si(1, "d", "time") / found.given.volume,
            "alkalinity",
            "dKH",
        ),
        a_day(
            "sodium bicarbonate that replaces it",
            f"{{ammonia}} × {by_bicarbonate}",
            numbers,
            made * WITHOUT_GROWTH.bicarbonate,
        ),
        a_day(
            "oxygen that bacteria use",
            f"{{ammonia}} × {six(WITHOUT_GROWTH.oxygen)}",
            numbers,
            made * WITHOUT_GROWTH.oxygen,
        ),
    ]


def _worst_steps(found: Balance) -> list[Step]:
    """Where nitrate settles at worst, and with half the food: the likely case's way with other gains."""
    told = []
    for words, case in (
        ("at worst", found.most),
        ("with half the food", found.half_fed.likely),
    ):
        settled = case.nitrogen_swing
        if settled is None or not settled[0]:
            continue
        routine = case.routine(case.source.nitrogen)
        others = case.gain.nitrogen - case.made.nitrogen
        numbers = {
            "made": daily(case.made.nitrogen),
            "brought": daily(case.brought.nitrogen),
            "taken": daily(case.brought.nitrogen - others),
        }
        told.append(
            a_day(
                f"nitrogen that gathers {words}", "{made} + {brought} − {taken}", numbers, case.gain.nitrogen
            )
        )
        numbers = {
            "gathers": daily(case.gain.nitrogen),
            "volume": show(routine.volume, "volume", "L"),
            "source": NITROGEN.show(routine.source),
            "days": str(six(routine.interval / to_si(1, "d", "time"))),
            "drip": show(routine.drip, "flow", "L/d"),
            "share": show(routine.share, "fraction", "1"),
            **_kept(routine),
        }
        name = f"nitrate {words}, before a change"
        told.append(NITROGEN.step(name, _settled_formula(routine), numbers, settled[0]))
        told.append(NITROGEN.as_tested(f"nitrate {words}", settled[0]))
    return told


def _lever_steps(found: Balance) -> list[Step]:
    likely, given = found.likely, found.given
    routine = likely.routine(likely.source.nitrogen)
    allowed, gain = found.gain_allowed, likely.gain.nitrogen
    numbers = {
        "hold": NITROGEN.show(found.held),
        "source": NITROGEN.show(routine.source),
        "volume": show(routine.volume, "volume", "L"),
        "days": str(six(interval_of(given) / to_si(1, "d", "time"))),
        "share": show(routine.share, "fraction", "1"),
        "gathers": daily(gain),
        "may_gather": daily(allowed),
        "made": daily(found.likely_nitrogen),
        **_kept(routine),
    }
    formula = "({hold} − {source}) × {share} × {volume} ÷ {days}"
    if routine.drip:
        formula = "({hold} × (1 − (1 − {share}) × {kept}) − {share} × {source} × {kept}) × {volume} ÷ {gathered_days}"
    told = [
        a_day("nitrogen that may gather to hold the wanted nitrate (may gather)", formula, numbers, allowed)
    ]
    if (feed := found.feed_to_hold) is not None:
        numbers["made_of_a_gram_of_food"] = show(found.nitrogen_of_food * 1000, "number")
        told.append(
            step(
                "food that holds it, in g a day",
                "({made} + {may_gather} − {gathers}) ÷ {made_of_a_gram_of_food}",
                numbers,
                feed,
                "mass_flow",
                "g/d",
            )
        )
    if gain > allowed:
        told += _area_steps(found, numbers)
    if (share := found.share_to_hold) is not None and share:
        formula = "{gathers} × {days} ÷ ({hold} − {source})"
        if routine.drip:
            formula = (
                "({hold} × ({kept} − 1) + {gathers} × {gathered_days} ÷ {volume})"
                " ÷ (({hold} − {source}) × {kept}) × {volume}"
            )
        told.append(
            step(
                "water to change each time to hold it, in L",
                formula,
                numbers,
                share * given.volume,
                "volume",
                "L",
            )
        )
    return told


def _area_steps(found: Balance, numbers: dict[str, str]) -> list[Step]:
    rates = UPTAKE[found.given.added_form].nitrogen
    area = found.area_to_hold
    return [
        step(
            f"{found.given.added_form} plants that hold it, {end}, in m2",
            "({gathers} − {may_gather}) ÷ {rate}",
            {**numbers, "rate": show(rate, "areal_rate", "mg/m2/d")},
            value,
            "area",
        )
        for end, rate, value in (
            ("at the most they take up", rates.high, area.low),
            ("likely", rates.middle, found.likely_area_to_hold),
            ("at the least they take up", rates.low, area.high),
        )
    ]
