"""Losses in the week after an arrival, by the yardstick that laboratories hold batches of test fish to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from weirbook.engine.calculators.two_groups import confidence
from weirbook.engine.calculators.two_shares_steps import wilson_steps
from weirbook.engine.relations.arrival_losses import (
    ACCEPT_BELOW,
    OBSERVED,
    REJECT_ABOVE,
    judge_batch,
    most_accepted,
    most_extended,
)
from weirbook.engine.relations.shares import Share, share_of
from weirbook.engine.saying import interval, near
from weirbook.engine.shape import (
    COUNT,
    TEXT,
    Assumption,
    Calculator,
    Caution,
    Result,
    Source,
    Step,
    Working,
    param,
    refuse,
    show,
    step,
)
from weirbook.errors import Fault

FEW = 20
"""Fish below which a single loss is 5 % or more, so that none or a bad word is all that the rule can give."""


@dataclass(frozen=True)
class Inputs:
    fish: int = param(COUNT, doc="Fish that arrived, alive when counting begins.", ge=1)
    losses: int = param(COUNT, doc="Of them, lost within the days watched.", ge=0)
    watched: float = param(
        "time",
        doc="How long they have been watched, up to the 7 days of the rule.",
        unit="d",
        gt=0,
        le=OBSERVED,
        default=OBSERVED,
    )
    confidence: float = confidence()


def solve(given: Inputs) -> Working:
    """What a laboratory would do with a batch that lost so many in its first week.

    Equation: share = losses / fish; over 10 % reject, 5 to 10 % extend by 7 days, under 5 % accept: `judge_batch`;
    Wilson's interval of the share.
    Shapes and units: counts, shares of one.
    Valid for: one batch that arrived together. Before 7 days are over only a rejection is certain.
    Uncertainty: the interval; of fewer than 20 fish a single loss is 5 % or more.
    Raises: Invalid for more losses than fish.
    Source: OECD Test Guideline 203, figures from memory. Not covered: causes, and when quarantine ends.
    """
    if given.losses > given.fish:
        words = f"More were lost than arrived, {given.fish}: count only fish of this batch."
        refuse([Fault("/losses", words)])
    share = share_of(given.losses, given.fish, given.confidence)
    said: str = judge_batch(given.losses, given.fish)
    if given.watched < OBSERVED and said != "reject":
        said = "unknown"  # what is still to come can only make it worse
    return Working(_values(given, share, said), _steps(given, share), _ASSUMPTIONS, _cautions(given, share))


def _values(given: Inputs, share: Share, verdict: str) -> dict[str, Any]:
    return {
        "verdict": verdict,
        "reading": _reading(given, share, verdict),
        "share": share.share,
        "share_low": share.low,
        "share_high": share.high,
        "most_accepted": most_accepted(given.fish),
        "rejected_from": most_extended(given.fish) + 1,
    }


def _reading(given: Inputs, share: Share, verdict: str) -> str:
    ends = [near(one, "fraction", "%") for one in (share.low, share.high)]
    within = interval(share.confidence, *ends)
    days = near(given.watched, "time", "d")
    were = "was" if given.losses == 1 else "were"
    lost = (
        f"{given.losses} of {given.fish} {were} lost in {days}, {near(share.share, 'fraction', '%')} ({within} for fish"
        " of that kind and origin)."
    )
    judged = {
        "accept": "A laboratory would accept the batch, under 5 % being lost",
        "extend": "A laboratory would watch the batch for another 7 days, 5 to 10 % being lost",
        "reject": "A laboratory would reject the batch, over 10 % being lost",
        "unknown": "Unknown as yet, because the rule counts 7 days and fewer have been watched",
    }[verdict]
    after = (
        f" It would reject the batch from {most_extended(given.fish) + 1} losses on."
        if verdict == "unknown"
        else ""
    )
    return f"{lost} {judged}.{after} It is a rule for test fish, used here as a yardstick."


def _steps(given: Inputs, share: Share) -> list[Step]:
    steps = wilson_steps("share lost", share)
    for words, threshold in (("losses that are 5 %", ACCEPT_BELOW), ("losses that are 10 %", REJECT_ABOVE)):
        numbers = {"fish": str(given.fish), "threshold": show(threshold, "number")}
        steps.append(step(words, "{fish} × {threshold}", numbers, given.fish * threshold, "number"))
    return steps


_ASSUMPTIONS = (
    Assumption(
        "Exactly 5 % and exactly 10 % count as between: our reading of the guideline, whose figures are from memory.",
        "default",
    ),
    Assumption(
        "Counting begins when the fish have settled in, in laboratories after two days (from memory): what dies of the"
        " journey is counted apart.",
        "default",
    ),
)


def _cautions(given: Inputs, share: Share) -> list[Caution]:
    told = [
        Caution(
            "laboratory-rule",
            "The rule picks fish for tests. It says neither why fish were lost nor that the others are well.",
            "5 % and 10 %",
        ),
        Caution(
            "no-end-of-quarantine",
            "An accepted batch stays in quarantine for its whole time: trouble after mixing healthy-looking fish tends"
            " to begin two to three weeks later (common practice).",
        ),
        Caution(
            "reject-means-look",
            "Where many are lost, keep the batch apart with nets and hands of its own, test ammonia, nitrite and"
            " oxygen now, and ask a veterinarian who knows fish before anything is dosed.",
        ),
    ]
    if given.fish < FEW:
        told.append(
            Caution(
                "few-fish",
                f"Of so few fish one loss is {near(1 / given.fish, 'fraction', '%')} already: look at the interval,"
                f" which reaches to {near(share.high, 'fraction', '%')}.",
                str(FEW),
            )
        )
    return told


ARRIVAL_LOSSES = Calculator(
    name="arrival-losses",
    title="Losses after an arrival",
    doc=(
        "Losses of a batch within 7 days of its arrival, held to the rule by which laboratories take fish for tests: over"
        " 10 % reject, 5 to 10 % watch for 7 days more, under 5 % accept; with the interval that so few fish leave."
    ),
    inputs=Inputs,
    results=(
        Result("verdict", TEXT, "accept, extend (watch 7 days more), reject, unknown (7 days are not over)."),
        Result("reading", TEXT, "The answer in words."),
        Result("share", "fraction", "Of the batch that was lost."),
        Result("share_low", "fraction", "Low end of its interval by Wilson."),
        Result("share_high", "fraction", "High end of its interval by Wilson."),
        Result("most_accepted", COUNT, "Losses up to which such a batch would be accepted."),
        Result("rejected_from", COUNT, "Losses from which on it would be rejected."),
    ),
    limits=(
        "A laboratory's rule for test fish, used as a yardstick: no law and no diagnosis.",
        "One batch that came together, and 7 days.",
        "Fish of which nobody knows whether they live are best counted as lost.",
    ),
    sources=(
        Source(
            "OECD",
            2019,
            "Test Guideline 203, Fish, Acute Toxicity Test",
            "acclimatisation",
            "First in 1992; figures from memory, only its summary page was read.",
        ),
        Source(
            "Wilson, E. B.",
            1927,
            "Probable inference, the law of succession, and statistical inference",
            "JASA 22, 209",
            "Interval of a share; held to statsmodels.",
        ),
    ),
    solve=solve,
    example={"fish": 40, "losses": 3},
)
