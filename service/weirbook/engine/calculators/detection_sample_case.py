"""The question of `detection_sample`, and what comes of it."""

from __future__ import annotations

from dataclasses import dataclass

from weirbook.engine.calculators.two_groups import confidence
from weirbook.engine.relations.detection import (
    chance_of_missing,
    diseased_fish,
    diseased_ruled_out,
    sample_to_detect,
    share_ruled_out,
)
from weirbook.engine.shape import COUNT, param, refuse
from weirbook.errors import Fault, Lack

LARGEST_POPULATION = 100_000
LEAST_SENSITIVITY = 0.05


@dataclass(frozen=True)
class Inputs:
    population: int | None = param(
        COUNT,
        doc="Fish that share the water, from which the sample is taken; none told: very many.",
        ge=1,
        le=LARGEST_POPULATION,
        default=None,
    )
    prevalence: float | None = param(
        "fraction",
        doc="Share of them that would be ill, if it is there at all. Or say diseased.",
        gt=0,
        le=1,
        default=None,
    )
    diseased: int | None = param(
        COUNT, doc="How many of them would be ill. Give it or prevalence.", ge=1, default=None
    )
    sensitivity: float = param(
        "fraction",
        doc="Of the look or test: the share of ill fish that it shows to be ill.",
        ge=LEAST_SENSITIVITY,
        le=1,
        default=1.0,
    )
    clean: int | None = param(
        COUNT,
        doc="How many were looked at and all found clean, to be told what that rules out.",
        ge=1,
        default=None,
    )
    confidence: float = confidence()


@dataclass(frozen=True)
class Detection:
    """What was asked, and what came of it."""

    given: Inputs
    diseased: float
    sample: int | None
    missed: float | None
    without_end: int | None
    ruled_out_fish: int | None
    ruled_out_share: float | None
    missed_by_clean: float | None


def refuse_contradictions(given: Inputs) -> None:
    """Raises Invalid for illness told twice or not at all, and for more fish than there are."""
    faults: list[Fault] = []
    if given.prevalence is not None and given.diseased is not None:
        faults.append(Fault("/diseased", "Say prevalence or diseased, not both."))
    elif given.prevalence is None and given.diseased is None:
        words = (
            "Say how much illness the sample must find: prevalence, as 10 %, or diseased, a number of fish."
        )
        faults.append(Lack("/prevalence", words))
    elif given.diseased is not None and given.population is None:
        words = "A number of diseased fish needs the population they belong to; without it say prevalence."
        faults.append(Lack("/population", words))
    for which, count in (("diseased", given.diseased), ("clean", given.clean)):
        if count is not None and given.population is not None and count > given.population:
            faults.append(Fault(f"/{which}", f"There are only {given.population} fish in the population."))
    refuse(faults)


def detected(given: Inputs) -> Detection:
    population, trust, shown = given.population, given.confidence, given.sensitivity
    diseased: float
    if given.diseased is not None:
        assert population is not None, "a number of fish is told of a population"
        diseased, share = given.diseased, given.diseased / population
    else:
        assert given.prevalence is not None
        share = given.prevalence
        diseased = share if population is None else diseased_fish(population, share)
    sample = sample_to_detect(population, diseased, trust, shown)
    fish = by_clean = least = None
    if given.clean is not None:
        by_clean = chance_of_missing(population, diseased, given.clean, shown)
        if population is None:
            least = share_ruled_out(given.clean, trust, shown)
            least = least if least < 1 else None
        else:
            fish = diseased_ruled_out(population, given.clean, trust, shown)
            least = None if fish is None else fish / population
    missed = None if sample is None else chance_of_missing(population, diseased, sample, shown)
    without_end = sample_to_detect(None, share, trust, shown)
    return Detection(given, diseased, sample, missed, without_end, fish, least, by_clean)
