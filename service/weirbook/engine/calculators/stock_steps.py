"""The working of a stock solution, as a person would do it with a pocket calculator."""

from __future__ import annotations

from weirbook.engine.calculators.dose_steps import molar_mass_step, stock_steps
from weirbook.engine.calculators.stock_inputs import Bottle, Content, brought
from weirbook.engine.relations.chemistry import DOSED, carried, is_counted
from weirbook.engine.shape import Step, show, six, step
from weirbook.engine.units import KINDS, unit


def steps_of(found: Bottle) -> list[Step]:
    bringing = [one for one in found.contents if carried(one.made_of, found.given.parameter)]
    return [
        *(molar_mass_step(one.made_of) for one in bringing),
        *_rise_steps(found),
        *(_dose_steps(found) if found.given.dose_volume is None else _strength_steps(found)),
        *(_mass_step(found, one) for one in found.contents),
        *_lasting_steps(found),
        *(one for content in found.contents for one in _solubility_steps(content)),
    ]


def _counted(found: Bottle) -> str:
    """The unit in which salts are added up: moles, or charges of alkalinity, or mg."""
    parameter = found.given.parameter
    if not is_counted(parameter):
        return "mg/L"
    return "meq/L" if parameter == "alkalinity" else "mmol/L"


def _in_one(found: Bottle, one: Content) -> float:
    """In one mmol of a salt: meq, mmol or mg of the parameter."""
    parameter = found.given.parameter
    return carried(one.made_of, parameter) * (1 if is_counted(parameter) else 1000)


def _times(found: Bottle) -> float:
    """From SI to the unit in which salts are added up."""
    return 1 / unit(DOSED[found.given.parameter], _counted(found)).factor


def _rise_steps(found: Bottle) -> list[Step]:
    parameter = found.given.parameter
    if not is_counted(parameter):
        return []
    kind, counted = DOSED[parameter], _counted(found)
    factor = unit(kind, KINDS[kind].default).factor / unit(kind, counted).factor
    numbers = {"rise": show(found.given.rise, kind)}
    words = f"rise of {parameter} in {counted}"
    return [step(words, f"{{rise}} × {six(factor)}", numbers, found.given.rise, kind, counted)]


def _part(found: Bottle, one: Content) -> tuple[str, dict[str, str]]:
    """What a litre of stock holds of the parameter out of one salt: formula and numbers."""
    word = one.word
    numbers = {
        f"{word}_in_g/L": show(one.strength, "concentration", "g/L"),
        f"purity_of_{word}": show(one.purity, "fraction", "1"),
    }
    weight, share = six(one.made_of.molar_mass * 1000), six(_in_one(found, one))
    formula = f"{{{word}_in_g/L}} × {{purity_of_{word}}} ÷ {weight} × 1000 × {share}"
    return formula, numbers


def _sum(found: Bottle, contents: list[Content]) -> tuple[str, dict[str, str]]:
    formulas: list[str] = []
    numbers: dict[str, str] = {}
    for one in contents:
        if carried(one.made_of, found.given.parameter):
            formula, more = _part(found, one)
            formulas.append(formula)
            numbers |= more
    return " + ".join(formulas), numbers


def _dose_steps(found: Bottle) -> list[Step]:
    given, counted = found.given, _counted(found)
    formula, numbers = _sum(found, [*found.contents])
    a_litre = brought(found.contents, given.parameter) * _times(found)
    kind = DOSED[given.parameter]
    numbers_of_dose = {
        "rise": show(given.rise, kind, counted),
        "volume": show(given.volume, "volume"),
        "in_a_litre_of_stock": str(six(a_litre)),
    }
    return [
        step(f"in a litre of stock, in {counted}", formula, numbers, a_litre, "number"),
        step(
            "one dose, in mL",
            "{rise} × {volume} ÷ {in_a_litre_of_stock} × 1000",
            numbers_of_dose,
            found.dose,
            "volume",
            "mL",
        ),
    ]


def _strength_steps(found: Bottle) -> list[Step]:
    given, counted = found.given, _counted(found)
    kind = DOSED[given.parameter]
    needed = given.rise * given.volume / found.dose * _times(found)
    numbers = {
        "rise": show(given.rise, kind, counted),
        "volume": show(given.volume, "volume"),
        "dose": show(found.dose, "volume", "mL"),
        "needed": str(six(needed)),
        "purity": show(found.main.purity, "fraction", "1"),
        "molar_mass": str(six(found.main.made_of.molar_mass * 1000)),
        f"{given.parameter}_in_one": str(six(_in_one(found, found.main))),
    }
    steps = [
        step(
            f"needed in a litre of stock, in {counted}",
            "{rise} × {volume} ÷ {dose} × 1000",
            numbers,
            needed,
            "number",
        )
    ]
    lacks = "{needed}"
    sums, of_others = _sum(found, [*found.others])
    if sums:
        held = brought(found.others, given.parameter) * _times(found)
        steps.append(step(f"of that from the other salts, in {counted}", sums, of_others, held, "number"))
        numbers["from_others"] = str(six(held))
        lacks = "({needed} − {from_others})"
    formula = f"{lacks} ÷ {{{given.parameter}_in_one}} × {{molar_mass}} ÷ 1000 ÷ {{purity}}"
    name = found.main.made_of.name
    steps.append(step(f"{name} in g/L", formula, numbers, found.main.strength, "concentration", "g/L"))
    return steps


def _mass_step(found: Bottle, one: Content) -> Step:
    numbers = {
        "strength": show(one.strength, "concentration", "g/L"),
        "bottle": show(found.given.bottle, "volume"),
    }
    mass = one.strength * found.given.bottle
    return step(
        f"{one.made_of.name} in the bottle, in g", "{strength} × {bottle}", numbers, mass, "mass", "g"
    )


def _lasting_steps(found: Bottle) -> list[Step]:
    given = found.given
    numbers = {
        "bottle": show(given.bottle, "volume", "mL"),
        "dose": show(found.dose, "volume", "mL"),
        "whole_doses": str(found.doses),
        "days_between": show(given.dose_interval, "time", "d"),
    }
    exact = given.bottle / found.dose
    gives = f"doses in the bottle, rounded down to {found.doses}"
    return [
        step(gives, "{bottle} ÷ {dose}", numbers, exact, "number"),
        step("days it lasts", "{whole_doses} × {days_between}", numbers, found.lasts, "time", "d"),
    ]


def _solubility_steps(one: Content) -> list[Step]:
    if one.bounds is None or one.share is None:
        return []
    numbers = {
        "strength": show(one.strength, "concentration", "g/L"),
        "surely_dissolves": show(one.bounds[0], "concentration", "g/L"),
    }
    share = step(
        f"{one.made_of.name}, share of what surely dissolves",
        "{strength} ÷ {surely_dissolves}",
        numbers,
        one.share,
        "number",
    )
    return [*stock_steps(one.made_of, one.bounds), share]
