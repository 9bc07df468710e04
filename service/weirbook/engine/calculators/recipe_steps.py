"""The working of a recipe: what is wanted, what is weighed, and what it brings, so that a keeper can add it up."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from weirbook.engine.calculators.dose_steps import molar_mass_step
from weirbook.engine.calculators.recipe_inputs import CALCIUM, MAGNESIUM, Target, split_hardness
from weirbook.engine.calculators.recipe_outcome import Outcome, Portion
from weirbook.engine.relations.chemistry import IONS, carried, is_counted
from weirbook.engine.shape import Step, show, six, step
from weirbook.engine.units import KINDS, unit

AMPLE = 0.1
"""Share of a rise that a salt must bring, so that its amount follows from figures of six digits."""


def steps_of(found: Outcome) -> list[Step]:
    return [
        *_ratio_steps(found),
        *(_rise_step(target) for target in found.targets),
        *_amount_steps(found),
        *(one for portion in found.used for one in _weighing(found, portion)),
        *(one for target in found.targets for one in _adding_up(found, target)),
        *_ion_steps(found),
        *_day_steps(found),
    ]


def _ratio_steps(found: Outcome) -> list[Step]:
    given = found.given
    if given.wanted_ratio is None or given.wanted_hardness is None:
        return []
    calcium, magnesium = split_hardness(given.wanted_hardness, given.wanted_ratio)
    by_number = given.wanted_ratio * MAGNESIUM / CALCIUM
    in_mmol = show(given.wanted_hardness, "hardness", "mmol/L")
    weights = f"{six(MAGNESIUM * 1000)} ÷ {six(CALCIUM * 1000)}"
    magnesium_formula = f"{{hardness}} ÷ (1 + {{calcium_to_one_of_magnesium}}) × {six(MAGNESIUM * 1000)}"
    calcium_formula = f"({{hardness}} − {{magnesium}} ÷ {six(MAGNESIUM * 1000)}) × {six(CALCIUM * 1000)}"
    factor = six(unit("hardness", "dGH").factor / unit("hardness", "mmol/L").factor)
    numbers = {
        "ratio": str(six(given.wanted_ratio)),
        "wanted_hardness": show(given.wanted_hardness, "hardness"),
        "hardness": in_mmol,
        "calcium_to_one_of_magnesium": str(six(by_number)),
        "magnesium": show(magnesium, "concentration"),
    }
    hardness = given.wanted_hardness
    return [
        step(
            "hardness wanted, in mmol/L",
            f"{{wanted_hardness}} × {factor}",
            numbers,
            hardness,
            "hardness",
            "mmol/L",
        ),
        step(
            "calcium to one of magnesium, by number", f"{{ratio}} × {weights}", numbers, by_number, "number"
        ),
        step("magnesium wanted, in mg/L", magnesium_formula, numbers, magnesium, "concentration"),
        step("calcium wanted, in mg/L", calcium_formula, numbers, calcium, "concentration"),
    ]


def _rise_step(target: Target) -> Step:
    kind = target.kind
    numbers = {"wanted": show(target.wanted, kind), "present": show(target.present, kind)}
    return step(f"rise of {target.name} wanted", "{wanted} − {present}", numbers, target.rise, kind)


def _amount_steps(found: Outcome) -> list[Step]:
    """mmol of each salt: what one wanted value alone decides, then what the next leaves, as far as that goes.

    A salt that no value leaves alone is told as the fit has it, and the others follow from it.
    """
    known: list[Portion] = []
    left = list(found.used)
    steps = []
    while left:
        decided = min(_decided(found, left), key=lambda one: len(_bringing(one[0], known)), default=None)
        portion = left[0] if decided is None else decided[1]
        steps.append(_by_fit(portion) if decided is None else _by_difference(found, known, *decided))
        left.remove(portion)
        known.append(portion)
    return steps


def _bringing(target: Target, portions: Sequence[Portion]) -> list[Portion]:
    return [one for one in portions if carried(one.made_of, target.name)]


def _decided(found: Outcome, left: Sequence[Portion]) -> Iterator[tuple[Target, Portion]]:
    """Values that are reached, with the one salt among those left that brings any of it, and no mere trace."""
    for target in found.targets:
        bringing = _bringing(target, left)
        if len(bringing) != 1 or not math.isclose(found.brought(target.name), target.rise, rel_tol=1e-9):
            continue
        if bringing[0].moles * carried(bringing[0].made_of, target.name) >= AMPLE * target.rise:
            yield target, bringing[0]


def _by_difference(found: Outcome, known: Sequence[Portion], target: Target, portion: Portion) -> Step:
    name, kind = target.name, target.kind
    counted = is_counted(name)
    formula, numbers = f"{{rise_of_{name}}}", {f"rise_of_{name}": show(target.rise, kind)}
    if counted:
        one = unit(kind, "meq/L" if kind == "alkalinity" else "mmol/L").factor
        formula += f" ÷ {six(one / unit(kind, KINDS[kind].default).factor)}"
    times = 1 if counted else 1000
    for other in known:
        if share := carried(other.made_of, name) * times:
            numbers[other.salt.compound] = str(six(other.moles))
            formula += f" − {{{other.salt.compound}}}" + (f" × {six(share)}" if share != 1 else "")
    share = carried(portion.made_of, name) * times
    if share != 1:
        formula = f"({formula}) ÷ {six(share)}" if " " in formula else f"{formula} ÷ {six(share)}"
    gives = f"mmol/L of {portion.made_of.called}, which {name} decides"
    return step(gives, formula, numbers, portion.moles, "number")


def _by_fit(portion: Portion) -> Step:
    words = (
        f"mmol/L of {portion.made_of.called} = as the fit to all wanted values has it, see the assumptions"
    )
    return Step(words, str(six(portion.moles)), portion.moles, "number")


def _weighing(found: Outcome, portion: Portion) -> list[Step]:
    name, compound = portion.made_of.called, portion.made_of
    numbers = {
        "mmol_a_litre": str(six(portion.moles)),
        "molar_mass": str(six(compound.molar_mass * 1000)),
        "volume": show(found.given.volume, "volume"),
        "purity": show(portion.salt.purity, "fraction", "1"),
    }
    formula = "{mmol_a_litre} × {molar_mass} × {volume} ÷ 1000 ÷ {purity}"
    mass = portion.strength * found.given.volume
    return [molar_mass_step(compound), step(f"{name} in all, in g", formula, numbers, mass, "mass", "g")]


def _sum_of(portions: Sequence[Portion], shares: Sequence[float]) -> tuple[str, dict[str, str]]:
    """The words of a sum over salts, mmol of each by what one brings, and its numbers."""
    terms = [(portion, share) for portion, share in zip(portions, shares, strict=True) if share]
    numbers = {one.salt.compound: str(six(one.moles)) for one, _ in terms}
    formula = " + ".join(f"{{{one.salt.compound}}} × {six(share)}" for one, share in terms)
    return formula or "0 × 1", numbers


def _adding_up(found: Outcome, target: Target) -> list[Step]:
    """What the salts bring of a target, and what it then stands at."""
    name, kind = target.name, target.kind
    counted = is_counted(name)
    in_unit = ("meq/L" if kind == "alkalinity" else "mmol/L") if counted else "mg/L"
    shares = [carried(one.made_of, name) * (1 if counted else 1000) for one in found.used]
    formula, numbers = _sum_of(found.used, shares)
    brought = found.brought(name)
    shown = unit(kind, KINDS[kind].default)
    factor = unit(kind, in_unit).factor / shown.factor
    reached = {"present": show(target.present, kind), "brought": show(brought, kind, in_unit)}
    sum_formula = "{present} + {brought}" + (f" × {six(factor)}" if counted else "")
    return [
        step(f"{name} brought, in {in_unit}", formula, numbers, brought, kind, in_unit),
        step(f"{name} then, in {shown.name}", sum_formula, reached, target.present + brought, kind),
    ]


def _ion_steps(found: Outcome) -> list[Step]:
    steps = []
    for ion in ("Na", "Cl", "SO4"):
        weight = IONS[ion].molar_mass
        shares = [one.made_of.ions.get(ion, 0) * weight * 1000 for one in found.used]
        if any(shares):
            formula, numbers = _sum_of(found.used, shares)
            gives = f"{IONS[ion].name} brought, in mg/L"
            steps.append(step(gives, formula, numbers, found.ion_rise(ion), "concentration"))
    return steps


def _day_steps(found: Outcome) -> list[Step]:
    steps = []
    for name in ("alkalinity", "hardness") if found.given.animals else ():
        brought, largest = found.brought(name), getattr(found.given, f"{name}_a_day")
        if brought > 0:
            numbers = {"brought": show(brought, name), "largest_in_a_day": show(largest, name)}
            gives = f"days for the rise of {name} where animals live, then rounded up"
            steps.append(step(gives, "{brought} ÷ {largest_in_a_day}", numbers, brought / largest, "number"))
    return steps
