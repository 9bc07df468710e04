"""The working of a treatment by label, step by step, as a person would do it with a pocket calculator."""

from __future__ import annotations

from weirbook.engine.calculators.treatment_case import Treatment
from weirbook.engine.relations.treatments import FORMALIN_PER_OXYGEN
from weirbook.engine.shape import Step, show, six, step

GALLON = "3.78541"
"""Litres to a US gallon."""


def steps(found: Treatment) -> list[Step]:
    """From the label's dose to the amount, the strength it makes, and what stays."""
    return [
        *_amount(found),
        *_other_measure(found),
        *_strength(found),
        *_other_reading(found),
        *_oxygen(found),
        *_course(found),
    ]


def _mg(concentration: float) -> str:
    return show(concentration, "concentration")


def _grams(mass: float) -> str:
    return show(mass, "mass", "g")


def _mL(volume: float) -> str:  # noqa: N802
    return show(volume, "volume", "mL")


def _amount(found: Treatment) -> list[Step]:
    """The product by the label's dose, in the measure that the label leads to."""
    given = found.given
    water = {"water": show(given.water, "volume")}
    treats = {"labelled_water": show(given.product_treats or 1.0, "volume")}
    share = {"active_share": show(found.share, "fraction", "1")}
    per_share = " ÷ {active_share}" if found.share != 1 else ""
    grams, liquid = "product in g", "product in mL"
    if given.label_concentration is not None:
        numbers = {"label's_dose": _mg(given.label_concentration), **water, **share}
        formula = "{label's_dose} × {water}" + per_share + " ÷ 1000"
        return [step(grams, formula, numbers, found.amount or 0.0, "mass", "g")]
    if given.label_by_weight is not None:
        numbers = {"label's_dose": show(given.label_by_weight, "salinity", "mg/kg"), **water, **share}
        formula = "{label's_dose} × {water} × 1 kg/L" + per_share + " ÷ 1000"
        return [step(grams, formula, numbers, found.amount or 0.0, "mass", "g")]
    if given.product_mass is not None:
        numbers = {"labelled_amount": _grams(given.product_mass), **water, **treats}
        formula = "{labelled_amount} × {water} ÷ {labelled_water}"
        return [step(grams, formula, numbers, found.amount or 0.0, "mass", "g")]
    if given.label_dilution is not None:
        numbers = {"label's_dose": show(given.label_dilution, "dilution", "uL/L"), **water}
        formula = "{label's_dose} × {water} ÷ 1000"
    elif given.product_volume is not None:
        numbers = {"labelled_amount": _mL(given.product_volume), **water, **treats}
        formula = "{labelled_amount} × {water} ÷ {labelled_water}"
    else:
        numbers = {"drops": str(given.product_drops), "drop": _mL(given.drop_volume), **water, **treats}
        formula = "{drops} × {drop} × {water} ÷ {labelled_water}"
    return [step(liquid, formula, numbers, found.liquid_volume or 0.0, "volume", "mL")]


def _other_measure(found: Treatment) -> list[Step]:
    """The mass of a liquid, or the volume that a mass makes; and its drops."""
    given, dense, mass, liquid = found.given, found.in_a_litre, found.amount, found.liquid_volume
    made: list[Step] = []
    if dense is not None and mass is not None and liquid is not None:
        stock = given.strength is not None
        name, shown = (
            ("strength", show(dense, "concentration", "g/L"))
            if stock
            else ("density", show(dense, "density", "g/L"))
        )
        numbers = {name: shown, "g": _grams(mass), "mL": _mL(liquid)}
        if given.form in ("label_concentration", "label_by_weight", "product_mass"):
            words = "stock solution in mL" if stock else "product in mL"
            formula = f"{{g}} × 1000 ÷ {{{name}}}"
            made.append(step(words, formula, numbers, liquid, "volume", "mL"))
        else:
            formula = f"{{mL}} × {{{name}}} ÷ 1000"
            made.append(step("product in g", formula, numbers, mass, "mass", "g"))
    if liquid is not None:
        numbers = {"mL": _mL(liquid), "drop": _mL(given.drop_volume)}
        made.append(step("the same in drops", "{mL} ÷ {drop}", numbers, liquid / given.drop_volume, "number"))
    return made


def _strength(found: Treatment) -> list[Step]:
    given, made = found.given, []
    water = show(given.water, "volume")
    if found.concentration is not None and found.amount is not None:
        numbers = {"g": _grams(found.amount), "water": water}
        formula = "{g} × 1000 ÷ {water}"
        words = "product in the water, in mg/L"
        made.append(step(words, formula, numbers, found.concentration, "concentration"))
        numbers = {"mg_a_litre": _mg(found.concentration)}
        formula = f"{{mg_a_litre}} × {GALLON} ÷ 1000"
        words = "product for each US gallon, in g"
        made.append(step(words, formula, numbers, found.concentration, "concentration", "g/gal"))
    if found.active_concentration is not None and found.concentration is not None:
        numbers = {
            "product": _mg(found.concentration),
            "active_share": show(given.active_share or 0.0, "fraction", "1"),
        }
        words = "active ingredient in the water, in mg/L"
        formula = "{product} × {active_share}"
        made.append(step(words, formula, numbers, found.active_concentration, "concentration"))
    if found.liquid_volume is not None and found.rates[1] is not None:
        numbers = {"mL": _mL(found.liquid_volume), "water": water}
        words = "liquid in the water, in uL/L"
        made.append(step(words, "{mL} × 1000 ÷ {water}", numbers, found.rates[1], "dilution", "uL/L"))
    return made


def _other_reading(found: Treatment) -> list[Step]:
    given, other, differ = found.given, found.other_reading, found.readings_differ
    if other is None or differ is None or found.in_a_litre is None:
        return []
    density = show(found.in_a_litre, "density", "kg/L")
    numbers = {"water": show(given.water, "volume"), "density": density}
    if given.label_dilution is not None:
        numbers["figure"] = str(six(given.label_dilution * 1e6))
        formula, words = (
            "{figure} × {water} ÷ 1000 ÷ {density}",
            "product in mL, if the label means by weight",
        )
    else:
        by_weight = given.label_by_weight
        figure = by_weight * 1e6 if by_weight is not None else (given.label_concentration or 0.0) * 1000
        numbers["figure"] = str(six(figure))
        formula, words = "{figure} × {water} ÷ 1000", "product in mL, if the label means by volume"
    return [
        step(words, formula, numbers, other, "volume", "mL"),
        step(
            "by volume is more than by weight, as a share",
            "{density} − 1",
            {"density": density},
            differ,
            "fraction",
            "1",
        ),
    ]


def _oxygen(found: Treatment) -> list[Step]:
    given, taken, left = found.given, found.oxygen_taken, found.oxygen_left
    if taken is None or found.concentration is None:
        return []
    numbers = {"formalin": _mg(found.concentration)}
    formula = f"{{formalin}} ÷ {six(FORMALIN_PER_OXYGEN)}"
    made = [step("oxygen taken in 30 to 36 hours, in mg/L", formula, numbers, taken, "concentration")]
    if left:
        numbers = {"oxygen": _mg(given.dissolved_oxygen or 0.0), "taken": _mg(taken)}
        words = "oxygen left without aeration, in mg/L"
        made.append(step(words, "{oxygen} − {taken}", numbers, left, "concentration"))
    return made


def _course(found: Treatment) -> list[Step]:
    given, made = found.given, []
    change = show(found.change, "fraction", "1")
    if given.treatments > 1 and not given.is_bath:
        numbers = {"changed": change, "doses": str(given.treatments)}
        words = "label's doses in the water after the last of them"
        formula = "(1 − (1 − {changed}) ^ {doses}) ÷ {changed}" if found.change else "{doses} × 1"
        made.append(step(words, formula, numbers, found.peak, "number"))
    if given.change_between is not None:
        for total, kind, unit in ((found.amount, "mass", "g"), (found.liquid_volume, "volume", "mL")):
            if total is not None:
                numbers = {"dose": show(total, kind, unit), "changed": change}
                words = f"taken out by a change, to bring back one dose, in {unit}"
                made.append(step(words, "{dose} × {changed}", numbers, total * found.change, kind, unit))
    if found.contact_over is not None and given.contact_time is not None:
        numbers = {
            "doses": str(given.treatments),
            "interval": show(given.interval or 0.0, "time"),
            "contact": show(given.contact_time, "time"),
        }
        formula = "({doses} − 1) × {interval} + {contact}" if given.treatments > 1 else "{contact} × 1"
        words = "hours from the first dose until the last contact is over"
        made.append(step(words, formula, numbers, found.contact_over, "time", "h"))
    return made
