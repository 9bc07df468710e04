"""What a dosing schedule takes for granted, what to beware of, and where its figures come from."""

from __future__ import annotations

from weirbook.engine.calculators.dose_amounts import ions_of, moles_a_litre
from weirbook.engine.calculators.dose_care import (
    APART,
    FALLS_OUT,
    GRADE,
    LABEL,
    LIGHTEST,
    assumptions_of,
    cautions_of,
    cautions_of_stock,
    named,
    side_ions,
    too_little_to_weigh,
    two_forms,
)
from weirbook.engine.calculators.dose_care import SOURCES as DOSE_SOURCES
from weirbook.engine.calculators.schedule_plan import SHOWN_DAYS, Plan
from weirbook.engine.relations.limits import LIMITS as LIMITS_OF_WATER
from weirbook.engine.relations.limits import PRACTICE
from weirbook.engine.shape import Assumption, Caution, Source, show


def assumptions(plan: Plan) -> list[Assumption]:
    given = plan.given
    told = [
        Assumption(
            "The wanted level is that just before a dose; where both fall on one day the water is changed first, then all"
            " is dosed at once.",
            "default",
        ),
        Assumption("Uptake is the same every day, whatever the level.", "default"),
        Assumption("Doses and new water mix with all water at once.", "default"),
    ]
    if given.source is None and given.share:
        words = f"Nothing was told of {given.parameter} in the new water: taken as none."
        told.append(Assumption(words, "default"))
    if given.share:
        words = f"In the {SHOWN_DAYS} days the first dose comes at once, the first water change one interval later."
        told.append(Assumption(words, "default"))
    if given.share and not plan.in_step:
        words = (
            "Doses and changes don't keep step: the swing is that of their common cycle, added up dose by dose, and the level"
            " before a dose wavers about the wanted one."
        )
        told.append(Assumption(words, "default"))
    if given.highest is None and plan.highest is not None:
        limit = LIMITS_OF_WATER["nitrate_high"]
        told.append(
            Assumption(f"The highest allowed is {show(limit.value, limit.kind, limit.unit)}.", limit.origin)
        )
    if plan.compound is None:
        told.append(Assumption("The product does what its label says, in proportion.", "given"))
        return told
    return [*told, *assumptions_of(plan.compound, given.purity)]


def cautions(plan: Plan) -> list[Caution]:
    given, compound = plan.given, plan.compound
    told = [WEEKLY, *_of_the_level(plan), *cautions_of(given.parameter, given.compound, compound)]
    told += two_forms(given.parameter, given.wanted)
    if compound is None:
        return [*told, LABEL]
    ions = ions_of(compound, moles_a_litre(given, compound, plan.week))
    told += [named(one, "each week") for one in side_ions(ions, {given.parameter})]
    if compound.ions.keys() & FALLS_OUT:
        told.append(APART)
    amount = plan.portion(plan.dose)[0]
    if given.stock_strength is None and amount is not None and 0 < amount < LIGHTEST:
        told.append(too_little_to_weigh(compound.name))
    if given.stock_strength is not None:
        told += cautions_of_stock(compound, given.stock_strength, given.stock_temperature)
    return [*told, GRADE]


def _of_the_level(plan: Plan) -> list[Caution]:
    given, told = plan.given, []
    if plan.most is not None and plan.judged > 0:
        words = (
            f"Plants use less after pruning, in weak light or where something else is short. If they used none, water"
            f" changes would still hold it below {plan.said(plan.most)}."
        )
        told.append(Caution("may-build-up", words, plan.said(plan.most)))
    if plan.judged > 0 and not given.share:
        words = "Without water changes nothing takes out what is not used: it builds up without end."
        told.append(Caution("may-build-up", words))
    if plan.runs_out:
        words = f"By {plan.which.lower()} the level runs out: nothing is told of where it settles, for plants then use less."
        told.append(Caution("runs-out", words))
    if given.share and given.source_level > given.wanted:
        words = "The new water holds more of it than is wanted: no dose is needed after a change, and none can lower it."
        told.append(Caution("source-holds-more", words, plan.said(given.source_level)))
    if given.present is not None and given.present > given.wanted + plan.uptake:
        words = "It stands higher than is wanted: doses are left out or made smaller until it has fallen."
        told.append(Caution("stands-higher", words, plan.said(given.wanted)))
    limit = LIMITS_OF_WATER.get(f"{given.parameter}_a_day")
    largest = max(plan.first, plan.dose + plan.change_dose, plan.judged)
    if limit is not None and largest > limit.value:
        words = (
            f"The largest of these doses raises {given.parameter} by more than is usual in a day: split it."
        )
        told.append(Caution("large-dose", words, show(limit.value, limit.kind, limit.unit)))
    if plan.first > 0:
        words = f"At first {plan.said(plan.first)} is lacking, here given at once: ask dose to spread it over days."
        told.append(Caution("first-dose", words))
    return told


WEEKLY = Caution(
    "test-weekly",
    "Test every week, just before a dose, and set the uptake anew: it changes with growth, light and season. Stop dosing"
    " while animals look unwell or algae spread.",
)

LIMITS = (
    "One well-mixed body of water, and an uptake that does not depend on the level. Feed and fish, which bring nitrate"
    " and phosphate, count as less uptake.",
    "Precipitation, evaporation and the change of pH are not computed.",
    "A settled level is told only where it stays above nothing.",
)

SOURCES = (
    Source(
        "Balance of mass",
        None,
        "A level under doses, uptake and partial water changes",
        "geometric series, any textbook of reaction engineering",
        "Held to published steady levels and to the same reckoned hour by hour.",
    ),
    *DOSE_SOURCES,
    PRACTICE,
)
