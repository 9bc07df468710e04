"""Reckon losses: rates, survival, and what followed introductions, with what all of it rests on."""

from __future__ import annotations

import uuid
from dataclasses import dataclass

from weirbook.actions.exposure_told import WITHIN_DAYS
from weirbook.actions.fish_history import History
from weirbook.actions.judge_introductions import EARLIER_DAYS, LEVEL, METHOD, Judged, judge_introductions
from weirbook.actions.rate_losses import Rate, Scope, Survival, rates_of, survivals_of
from weirbook.engine.shape import Assumption, Caution, Source


@dataclass(frozen=True)
class Asked:
    """Which fish, over which span, and for how many days after an introduction losses are compared."""

    from_ms: int | None = None
    to_ms: int | None = None
    system_id: int | None = None
    species: str | None = None
    group: uuid.UUID | None = None
    within_days: int = WITHIN_DAYS
    missing_is_lost: bool = False


@dataclass(frozen=True)
class Losses:
    """The answer."""

    scope: Scope
    asked: Asked
    says: tuple[str, ...]
    rates: tuple[Rate, ...]
    survival: tuple[Survival, ...]
    introductions: tuple[Judged, ...]


def reckon_losses(history: History, asked: Asked) -> Losses:
    """Rates by what tells fish apart, survival with late entry and intervals, and alerts after introductions."""
    scope = scope_of(history, asked)
    rates = rates_of(history, scope)
    judged = judge_introductions(history, scope, asked.within_days)
    return Losses(
        scope,
        asked,
        tuple(_says(rates[0], judged)),
        tuple(rates),
        tuple(survivals_of(history, scope)),
        tuple(judged),
    )


def scope_of(history: History, asked: Asked) -> Scope:
    """The groups and the span that are asked about; from the first line of the ledger to now if not said."""
    to_ms = history.now_ms if asked.to_ms is None else min(asked.to_ms, history.now_ms)
    first = history.lines[0].happened_at_ms if history.lines else to_ms
    groups = frozenset(
        one.id
        for one in history.groups.values()
        if asked.group in (None, one.id)
        and asked.species in (None, one.species)
        and (
            asked.system_id is None or history.water_of(one.id, history.now_ms) == ("system", asked.system_id)
        )
    )
    return Scope(groups, first if asked.from_ms is None else asked.from_ms, to_ms, asked.missing_is_lost)


def _says(whole: Rate, judged: list[Judged]) -> list[str]:
    if whole.rate is None:
        return ["Unknown, because no fish were watched in that time."]
    says = [
        f"{whole.lost:.0f} lost in {whole.fish_days:.0f} fish-days: {whole.rate:.3g} in 1000 fish-days"
        f" (95 % interval {whole.low:.3g} to {whole.high:.3g}); {whole.missing:.0f} missing."
    ]
    alerts = [one for one in judged if one.alert]
    says += [one.says for one in alerts]
    compared = [one for one in judged if one.comparison is not None and one.comparison.unknown is None]
    if judged and not alerts:
        says.append(
            f"Of {len(judged)} introductions {len(compared)} could be compared with the time before; after none of these were"
            " fish lost at a rate beyond the earlier one that chance alone would not bring."
            if compared
            else "No introduction could be compared with the time before it."
        )
    return says


def assumptions_of(found: Losses) -> list[Assumption]:
    tested = sum(one.comparison is not None for one in found.introductions)
    missing = (
        "counted as lost"
        if found.scope.missing_is_lost
        else "not counted as lost, and out of sight from then on"
    )
    return [
        Assumption(
            "Losses of other causes than old age that name no batch are shared among the batches of the group by their heads:"
            " true on average where they die alike; a difference between sources or ages in one group comes out smaller"
            " than it is.",
            "default",
        ),
        Assumption(
            "Losses of old age that name no batch are of those that came or were born first, fish that a count found from"
            " that day on: how old fish were when they came is not recorded. Name the batch where others died.",
            "default",
        ),
        Assumption(f"Missing fish are {missing}. A count of fewer than the ledger makes missing.", "given"),
        Assumption(
            "Fish that a count found have no known age: they are in rates, and not in survival.", "default"
        ),
        Assumption("An arrival without a source is taken to come from its group's origin.", "default"),
        Assumption(
            "Fish that left, or live, are taken to go on as those that are watched; those that were here before the span, or"
            " were moved in, count from the age at which they came under watch.",
            "default",
        ),
        Assumption(
            f"Introductions are arrivals, moves from another water, transfers that were not disinfected, and tanks"
            " that joined with fish in them. The rate of the"
            f" {found.asked.within_days} days after is held to that of at most {EARLIER_DAYS} days before in the same water:"
            f" {METHOD}, alert below {LEVEL:g}. {tested} were tested: by chance alone about {tested * LEVEL:.1f} alerts at most.",
            "common practice" if found.asked.within_days == WITHIN_DAYS else "given",
        ),
    ]


CAUTIONS = (
    Caution(
        "not-independent",
        "Fish of one water die together of one cause: intervals and tests, which take each fish by itself, are then too narrow.",
    ),
    Caution("came-before", "What came before losses need not be their cause: look at what else changed."),
    Caution(
        "ask-why",
        "If fish are dying now, test the water, keep it apart, and ask a veterinarian before treating; gloves where hands have"
        " cuts, as some fish diseases infect skin.",
    ),
)
LIMITS = (
    "Rates compare fish of unlike ages: look at time since arrival too.",
    "Survival is told no further than fish of known age were watched without a gap.",
    "Introductions close to each other share their days: an alert on one is an alert on its neighbours.",
    "An outbreak within the year before an introduction raises the rate that is compared with: more losses then go unremarked.",
)
SOURCES = (
    Source(
        "Kaplan, E. L. and Meier, P.",
        1958,
        "Nonparametric Estimation from Incomplete Observations",
        "J. Am. Stat. Assoc. 53, 457",
        "From memory.",
    ),
    Source(
        "Garwood, F.",
        1936,
        "Fiducial Limits for the Poisson Distribution",
        "Biometrika 28, 437",
        "From memory.",
    ),
    Source(
        "Przyborowski, J. and Wilenski, H.",
        1940,
        "Homogeneity of Results in Testing Samples from Poisson Series",
        "Biometrika 31, 313",
        "From memory.",
    ),
)
