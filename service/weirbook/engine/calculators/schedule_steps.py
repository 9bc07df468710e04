"""The working of a dosing schedule, as a person would do it with a pocket calculator."""

from __future__ import annotations

from weirbook.engine.calculators.dose_steps import compound_steps, label_steps
from weirbook.engine.calculators.schedule_plan import Plan
from weirbook.engine.relations.chemistry import DOSED
from weirbook.engine.shape import Step, show, step
from weirbook.engine.units import KINDS, unit


def steps_of(plan: Plan) -> list[Step]:
    return [
        *_share_step(plan),
        *_rise_steps(plan),
        *_unit_steps(plan),
        *_portion_steps(plan),
        *(_closed_steps(plan) if plan.in_step else ()),
    ]


def _shown(plan: Plan, value: float) -> str:
    return show(value, DOSED[plan.given.parameter])


def _share_step(plan: Plan) -> list[Step]:
    given = plan.given
    if given.change_volume is None:
        return []
    numbers = {"changed": show(given.change_volume, "volume"), "volume": show(given.volume, "volume")}
    return [
        step(
            "share of the water changed at a time",
            "{changed} ÷ {volume}",
            numbers,
            given.share,
            "fraction",
            "1",
        )
    ]


def _rise_steps(plan: Plan) -> list[Step]:
    given, kind = plan.given, DOSED[plan.given.parameter]
    numbers = {
        "uptake_a_day": _shown(plan, given.daily_uptake),
        "days_between_doses": str(given.days_between_doses),
        "share": show(given.share, "fraction", "1"),
        "wanted": _shown(plan, given.wanted),
        "source": _shown(plan, given.source_level),
        "days_between_changes": show(plan.change_days * 86400, "time", "d"),
        "present": _shown(plan, given.present or 0.0),
    }
    used = "{uptake_a_day} × {days_between_doses}"
    lost = "{share} × ({wanted} − {source})"
    more = "{share} × ({source} − {wanted})"
    spread = " × {days_between_doses} ÷ {days_between_changes}"
    steps = []
    if plan.lost >= 0:
        steps.append(step(f"rise of {given.parameter} by a dose", used, numbers, plan.dose, kind))
    elif plan.dose:
        steps.append(
            step(
                f"rise of {given.parameter} by a dose, less what new water brings",
                f"{used} − {more}{spread}",
                numbers,
                plan.dose,
                kind,
            )
        )
    if plan.change_dose:
        steps.append(step("rise to give after a water change", lost, numbers, plan.change_dose, kind))
    if plan.first:
        steps.append(step("rise to give at first, once", "{wanted} − {present}", numbers, plan.first, kind))
    if given.share and plan.even and plan.lost >= 0:
        words = "rise by the even dose, which makes good water changes too"
        steps.append(step(words, f"{used} + {lost}{spread}", numbers, plan.even, kind))
    return steps


def _one(plan: Plan) -> float:
    """A rise of one, in the unit the parameter is shown in."""
    kind = DOSED[plan.given.parameter]
    return unit(kind, KINDS[kind].default).factor


def _unit_steps(plan: Plan) -> list[Step]:
    """What a rise of one takes."""
    one = _one(plan)
    amount, liquid = plan.portion(one)
    if plan.compound is None:
        return label_steps(plan.given, one, liquid if amount is None else amount)
    return compound_steps(plan.given, plan.compound, one, amount)


def _portion_steps(plan: Plan) -> list[Step]:
    """Each dose from what a rise of one takes."""
    kind, one = DOSED[plan.given.parameter], _one(plan)
    dry = plan.portion(one)[0] is not None
    measure, in_unit = ("mass", "g") if dry else ("volume", "mL")
    steps = []
    for gives, rise in (
        ("a dose", plan.dose),
        ("after a water change", plan.change_dose),
        ("at first, once", plan.first),
        ("an even dose", plan.even),
        ("a week", plan.week),
    ):
        if not rise:
            continue
        amount, liquid = plan.portion(rise)
        total = amount if dry else liquid
        of_one = plan.portion(one)[0 if dry else 1]
        assert total is not None and of_one is not None
        if gives == "a week":
            steps.append(_week_step(plan))
        numbers = {"for_a_rise_of_one": show(of_one, measure, in_unit), "rise": show(rise, kind)}
        formula = "{for_a_rise_of_one} × {rise}"
        steps.append(step(f"{gives}, in {in_unit}", formula, numbers, total, measure, in_unit))
        if dry and liquid is not None:
            strength = plan.given.stock_strength
            assert strength is not None and amount is not None
            numbers = {
                "amount": show(amount, "mass", "g"),
                "strength": show(strength, "concentration", "g/L"),
            }
            formula = "{amount} ÷ {strength} × 1000"
            steps.append(step(f"{gives}, in mL of stock", formula, numbers, liquid, "volume", "mL"))
    return steps


def _week_step(plan: Plan) -> Step:
    numbers = {"dose": _shown(plan, plan.dose), "days_between_doses": str(plan.given.days_between_doses)}
    formula = "{dose} × 7 ÷ {days_between_doses}"
    if plan.change_dose:
        numbers |= {
            "after_a_change": _shown(plan, plan.change_dose),
            "days_between_changes": show(plan.change_days * 86400, "time", "d"),
        }
        formula += " + {after_a_change} × 7 ÷ {days_between_changes}"
    return step("rise by all doses of a week", formula, numbers, plan.week, DOSED[plan.given.parameter])


def _closed_steps(plan: Plan) -> list[Step]:
    """Where the judged dose settles, when changes come every so many doses."""
    if plan.steady is None or plan.most is None or not plan.judged:
        return []
    given, kind, dose = plan.given, DOSED[plan.given.parameter], plan.judged
    doses = given.change_hours // given.dose_hours
    gain = doses * dose - given.daily_uptake * plan.change_days
    before = given.source_level + gain / given.share
    after = before - gain
    last = after + doses * dose - (doses - 1) * plan.uptake
    numbers = {
        "days_between_changes": show(plan.change_days * 86400, "time", "d"),
        "days_between_doses": str(given.days_between_doses),
        "doses": str(doses),
        "dose": _shown(plan, dose),
        "uptake_a_day": _shown(plan, given.daily_uptake),
        "gain": _shown(plan, gain) if gain >= 0 else f"0 − {_shown(plan, -gain)}",
        "source": _shown(plan, given.source_level),
        "share": show(given.share, "fraction", "1"),
        "before": _shown(plan, before),
        "after": _shown(plan, after),
        "doses_less_one": str(doses - 1),
    }
    used_up = "{uptake_a_day} × {days_between_doses}"
    last_formula = f"{{after}} + {{doses}} × {{dose}} − {{doses_less_one}} × {used_up}"
    steps = [
        step(
            "doses between two changes",
            "{days_between_changes} ÷ {days_between_doses}",
            numbers,
            doses,
            "number",
        ),
        step(
            "gain between two changes",
            "{doses} × {dose} − {uptake_a_day} × {days_between_changes}",
            numbers,
            gain,
            kind,
        ),
        step("before a change, once settled", "{source} + ({gain}) ÷ {share}", numbers, before, kind),
        step("after a change, once settled", "{before} − ({gain})", numbers, after, kind),
        step("after the first dose", "{after} + {dose}", numbers, after + dose, kind),
    ]
    if doses > 1:
        steps.append(step("after the last dose", last_formula, numbers, last, kind))
    words = "the most it can reach, if nothing is used"
    formula = "{source} + {doses} × {dose} ÷ {share}"
    return [*steps, step(words, formula, numbers, plan.most, kind)]
