"""The working of a dechlorination, step by step, as a person would do it with a pocket calculator."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from weirbook.engine.calculators.dechlorinate_inputs import Inputs
from weirbook.engine.relations.ammonia import PKA_BASE, PKA_SLOPE, pka
from weirbook.engine.relations.chemistry import molar_mass
from weirbook.engine.relations.dechlorination import (
    AGENTS,
    CHLORINE,
    THIOSULFATE_ENDS,
)
from weirbook.engine.shape import Step, show, six, step
from weirbook.engine.units import ATOMIC_WEIGHTS

CL2 = six(CHLORINE * 1000)
NITROGEN = six(ATOMIC_WEIGHTS["N"])


def steps(given: Inputs, values: Mapping[str, Any]) -> list[Step]:
    """From the tap's chlorine to the dose, and from its chloramine to un-ionized ammonia."""
    return [
        *_chlorine(given, values),
        *(_product(given, values) if given.is_product else _compound(given, values)),
        *_ammonia(given, values),
        *_un_ionized(given, values),
    ]


def _mg(concentration: float) -> str:
    return show(concentration, "concentration")


def _chlorine(given: Inputs, values: Mapping[str, Any]) -> list[Step]:
    found: list[Step] = []
    if given.total is None:
        return found
    if given.total_chlorine is not None and given.chlorine is not None:
        numbers = {"total_chlorine": _mg(given.total_chlorine), "free_chlorine": _mg(given.chlorine)}
        combined = given.combined or 0.0
        formula = "{total_chlorine} − {free_chlorine}"
        found.append(step("chloramine in mg/L, as Cl2", formula, numbers, combined, "concentration"))
    elif given.chlorine is not None and given.chloramine is not None:
        numbers = {"free_chlorine": _mg(given.chlorine), "chloramine": _mg(given.chloramine)}
        formula = "{free_chlorine} + {chloramine}"
        found.append(step("chlorine in all, in mg/L", formula, numbers, given.total, "concentration"))
    numbers = {"chlorine": _mg(given.total), "new_water": show(given.new_water, "volume")}
    words = "chlorine in the new water, in mg"
    return [*found, step(words, "{chlorine} × {new_water}", numbers, values["chlorine_mass"], "mass", "mg")]


def _compound(given: Inputs, values: Mapping[str, Any]) -> list[Step]:
    agent, found = AGENTS[given.agent], []
    if given.agent_ratio is None:
        moles = THIOSULFATE_ENDS[given.thiosulfate_ends_as] if agent.is_thiosulfate else agent.moles
        numbers = {
            "moles_of_it_for_one_of_chlorine": str(six(moles)),
            "molar_mass": str(six(molar_mass(agent.formula) * 1000)),
        }
        gives = f"mg of {agent.name} ({agent.formula}) for a mg of chlorine"
        formula = f"{{moles_of_it_for_one_of_chlorine}} × {{molar_mass}} ÷ {CL2}"
        found.append(step(gives, formula, numbers, values["ratio"], "number"))
    numbers = {
        "chlorine": show(values["chlorine_mass"], "mass", "mg"),
        "mg_for_a_mg": str(six(values["ratio"])),
        "excess": str(six(given.reserve)),
        "purity": show(given.purity, "fraction", "1"),
    }
    formula = "{chlorine} × {mg_for_a_mg} × (1 + {excess}) ÷ {purity} ÷ 1000"
    found.append(step(f"{agent.name} in g", formula, numbers, values["amount"], "mass", "g"))
    if given.stock_strength is not None:
        numbers = {
            "amount": show(values["amount"], "mass", "g"),
            "strength": show(given.stock_strength, "concentration", "g/L"),
        }
        formula = "{amount} × 1000 ÷ {strength}"
        found.append(step("stock solution in mL", formula, numbers, values["liquid_volume"], "volume", "mL"))
    return found


def _product(given: Inputs, values: Mapping[str, Any]) -> list[Step]:
    assert given.product_treats is not None
    kind, unit = ("mass", "g") if given.product_mass is not None else ("volume", "mL")
    labelled = given.product_mass if given.product_mass is not None else given.product_volume
    total = values["amount"] if kind == "mass" else values["liquid_volume"]
    assert labelled is not None
    found, mixed = [], given.mixed_total or 0.0
    numbers = {
        "labelled_amount": show(labelled, kind, unit),
        "volume": show(given.treated, "volume"),
        "labelled_volume": show(given.product_treats, "volume"),
    }
    formula = "{labelled_amount} × {volume} ÷ {labelled_volume}"
    if given.product_neutralises is not None and given.treated != given.new_water:
        waters = {
            "chlorine": show(values["chlorine_mass"], "mass", "mg"),
            "system": show(given.treated, "volume"),
        }
        gives = "chlorine once mixed into the system, in mg/L"
        found.append(step(gives, "{chlorine} ÷ {system}", waters, mixed, "concentration"))
    if given.product_neutralises is not None and given.beyond_the_label:
        numbers["chlorine"] = _mg(mixed)
        numbers["labelled_chlorine"] = _mg(given.product_neutralises)
        formula += " × {chlorine} ÷ {labelled_chlorine}"
    return [*found, step(f"product in {unit}", formula, numbers, total, kind, unit)] if total else []


def _ammonia(given: Inputs, values: Mapping[str, Any]) -> list[Step]:
    freed, rise, after = (values[name] for name in ("ammonia_set_free", "ammonia_rise", "ammonia_after"))
    found: list[Step] = []
    if freed is None or given.combined is None:
        return found
    numbers = {"chloramine": _mg(given.combined)}
    gives = "ammonia set free in the new water, at most, in mg/L as N"
    found.append(step(gives, f"{{chloramine}} × {NITROGEN} ÷ {CL2}", numbers, freed, "ammonia"))
    if rise is None or given.system_volume is None:
        return found
    numbers = {
        "set_free": show(freed, "ammonia"),
        "new_water": show(given.new_water, "volume"),
        "system": show(given.system_volume, "volume"),
        "present": show(given.ammonia_present or 0.0, "ammonia"),
        "rise": show(rise, "ammonia"),
    }
    formula = "{set_free} × {new_water} ÷ {system}"
    found.append(step("rise in the whole system, in mg/L as N", formula, numbers, rise, "ammonia"))
    if given.ammonia_present:
        formula = "{present} × ({system} − {new_water}) ÷ {system} + {rise}"
        found.append(step("total ammonia afterwards, in mg/L as N", formula, numbers, after, "ammonia"))
    return found


def _un_ionized(given: Inputs, values: Mapping[str, Any]) -> list[Step]:
    share, toxic = values["un_ionized_share"], values["un_ionized_after"]
    if given.ph is None or given.temperature is None:
        return []
    half = pka(given.temperature)
    numbers = {
        "kelvin": str(six(given.temperature)),
        "pKa": str(six(half)),
        "pH": str(six(given.ph)),
    }
    found = [
        step("pKa", f"{PKA_BASE} + {PKA_SLOPE} ÷ {{kelvin}}", numbers, half, "number"),
        step("un-ionized share", "1 ÷ (1 + 10 ^ ({pKa} − {pH}))", numbers, share, "fraction", "1"),
    ]
    if toxic is None:
        return found
    numbers = {
        "total": show(values["ammonia_after"], "ammonia"),
        "share": str(six(share)),
        "un_ionized": show(toxic, "ammonia"),
    }
    nh3 = six(molar_mass("NH3") * 1000)
    return [
        *found,
        step("un-ionized ammonia in mg/L as N", "{total} × {share}", numbers, toxic, "ammonia"),
        step(
            "the same in mg/L as NH3",
            f"{{un_ionized}} × {nh3} ÷ {NITROGEN}",
            numbers,
            toxic,
            "ammonia",
            "mg/L NH3",
        ),
    ]
