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
    # In whole numbers, so that exactly 10 % is exactly that.
    if 100 * losses > round(100 * REJECT_ABOVE) * fish:
        return "reject"
    return "accept" if 100 * losses < round(100 * ACCEPT_BELOW) * fish else "extend"
