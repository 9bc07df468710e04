"""Losses soon after an arrival, judged as a laboratory judges a batch of test fish."""

from __future__ import annotations

from typing import Literal

REJECT_ABOVE = 0.10
ACCEPT_BELOW = 0.05
"""Shares of a batch lost in OBSERVED of acclimatisation: OECD Test Guideline 203 (1992, revised 2019), from memory."""

OBSERVED = 7 * 86400.0
"""s. The span in which the losses are counted."""

BatchVerdict = Literal["accept", "extend", "reject"]


def judge_batch(losses: int, fish: int) -> BatchVerdict:
    """What a laboratory does with a batch that lost so many within 7 days: accept it, watch it 7 days more, reject it.

    Equation: over 10 % reject, 5 to 10 % extend, under 5 % accept; exactly 10 % and exactly 5 % extend.
    Shapes and units: counts. Valid for: 0 <= losses <= fish, fish >= 1.
    Uncertainty: of few fish a single one decides: 1 of 20 is 5 %. Raises: ValueError for counts that can't be.
    Source: OECD Test Guideline 203, Fish, Acute Toxicity Test, acclimatisation; figures from memory, what holds at the
    bounds is our reading of the wording.
    Not covered: why fish were lost; whether the others are well.
    """
    if fish < 1 or not 0 <= losses <= fish:
        raise ValueError("of a batch of at least one fish none to all can be lost")
    if losses > most_extended(fish):
        return "reject"
    return "accept" if losses <= most_accepted(fish) else "extend"


def most_accepted(fish: int) -> int:
    """Losses up to which a batch of so many fish is accepted: the most below 5 %. See `judge_batch`."""
    return (
        fish * round(100 * ACCEPT_BELOW) - 1
    ) // 100  # in whole numbers, so that exactly 5 % is exactly that


def most_extended(fish: int) -> int:
    """Losses up to which it is not rejected: the most of at most 10 %. See `judge_batch`."""
    return fish * round(100 * REJECT_ABOVE) // 100
