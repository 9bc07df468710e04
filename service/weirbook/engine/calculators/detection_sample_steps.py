"""The working of `detection_sample`, for a pocket calculator."""

from __future__ import annotations

import math

from weirbook.engine.calculators.detection_sample_case import Detection, Inputs
from weirbook.engine.calculators.two_groups import MOST_TERMS, followed, ten
from weirbook.engine.relations.detection import chance_of_missing
from weirbook.engine.relations.distributions import hypergeometric_chance
from weirbook.engine.shape import Step, show, step


def steps_of(found: Detection) -> list[Step]:
    if found.given.population is None:
        return _of_very_many(found)
    return _of_a_population(found, found.given.population)


def _of_very_many(found: Detection) -> list[Step]:
    given = found.given
    shown = given.sensitivity * found.diseased
    steps = [_shown_ill(given.sensitivity, found.diseased, shown)]
    numbers = {"confidence": _plain(given.confidence), "shown_ill": _plain(shown)}
    if shown < 1:
        sample = math.log(1 - given.confidence) / math.log(1 - shown)
        words = "sample, to be rounded up"
        formula = "ln(1 − {confidence}) ÷ ln(1 − {shown_ill})"
        steps.append(step(words, formula, numbers, sample, "number"))
    if given.clean is not None:
        numbers = {
            "confidence": _plain(given.confidence),
            "clean": str(given.clean),
            "sensitivity": _plain(given.sensitivity),
        }
        value = (1 - (1 - given.confidence) ** (1 / given.clean)) / given.sensitivity
        formula = "(1 − (1 − {confidence})^(1 ÷ {clean})) ÷ {sensitivity}"
        words = "least share that the clean ones speak against (nothing, where it exceeds 1)"
        steps.append(step(words, formula, numbers, value, "number"))
    return steps


def _of_a_population(found: Detection, population: int) -> list[Step]:
    given, diseased = found.given, round(found.diseased)
    steps: list[Step | None] = []
    if given.prevalence is not None:
        numbers = {"fish": str(population), "prevalence": _plain(given.prevalence)}
        words = "ill fish, to the nearest whole one and at least one"
        steps.append(step(words, "{fish} × {prevalence}", numbers, population * given.prevalence, "number"))
    if found.sample is not None:
        steps.append(_approximate(given, diseased, population))
    for what, sample in (("the sample", found.sample), ("the clean ones", given.clean)):
        if sample is not None:
            steps.append(_missed(what, population, diseased, sample, given.sensitivity))
    return followed(steps)


def _approximate(given: Inputs, diseased: int, population: int) -> Step:
    numbers = {
        "confidence": _plain(given.confidence),
        "ill": str(diseased),
        "fish": str(population),
        "sensitivity": _plain(given.sensitivity),
    }
    formula = (
        "(1 − (1 − {confidence})^(1 ÷ {ill})) × ({fish} − ({sensitivity} × {ill} − 1) ÷ 2) ÷ {sensitivity}"
    )
    near = (1 - (1 - given.confidence) ** (1 / diseased)) * (
        population - (given.sensitivity * diseased - 1) / 2
    )
    words = "sample by the approximate formula of surveys, from which the exact one differs by a few fish"
    return step(words, formula, numbers, near / given.sensitivity, "number")


def _missed(what: str, population: int, diseased: int, sample: int, sensitivity: float) -> Step | None:
    """Chance of missing: a product of shares for a perfect test, a sum over fish in the sample for another."""
    if diseased > MOST_TERMS:
        return None
    value = chance_of_missing(population, diseased, sample, sensitivity)
    if sensitivity == 1:
        terms = " × ".join(f"{max(0, population - sample - i)} ÷ {population - i}" for i in range(diseased))
        words = f"chance that {what} ({sample} fish) miss it = that of each ill fish to be among the others, one after another"
        return Step(words, terms, value, "number")
    words = (
        f"chance that {what} ({sample} fish) miss it = sum over k of C(ill, k) × C(others, sample − k) ÷ C(fish, sample),"
        f" the chance of k ill ones in it, × (1 − sensitivity)^k"
    )
    held = [hypergeometric_chance(k, population, diseased, sample) for k in range(min(diseased, sample) + 1)]
    terms = " + ".join(f"{ten(one)} × {ten(1 - sensitivity)}^{k}" for k, one in enumerate(held))
    return Step(words, terms, value, "number")


def _shown_ill(sensitivity: float, prevalence: float, shown: float) -> Step:
    numbers = {"sensitivity": _plain(sensitivity), "prevalence": _plain(prevalence)}
    return step("share of fish shown to be ill", "{sensitivity} × {prevalence}", numbers, shown, "number")


def _plain(value: float) -> str:
    return show(value, "number")
