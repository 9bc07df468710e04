"""The sentences that stand first before a trouble: what to look at first, and whether the losses began earlier."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from weirbook.actions.more_fish import MORE_FISH
from weirbook.actions.rank_suspects import Suspect
from weirbook.actions.told import DAY_MS, Look, Told, lasting, parameter_name, times
from weirbook.engine.times import day_of, instant_text
from weirbook.record.fish import LOSS, MISSING

NEAR_START_DAYS = 7
"""A first loss so near the start of the look has too little before it. Our own choice."""
LONGEST_DAYS = 120
"""What can be asked for at once."""
ROUND_DAYS = 5


def says(
    look: Look, suspects: Sequence[Suspect], losses: Sequence[Told], earlier: Sequence[Told]
) -> Iterator[str]:
    """What to look at first, in a sentence; and how to ask where the first loss has too little before it."""
    if suspects:
        yield _first(look, suspects[0], losses)
    else:
        yield "Nothing in the record of these days is a suspect: see what is unknown."
    if losses:
        yield from _began(look, losses, earlier)


def _first(look: Look, one: Suspect, losses: Sequence[Told]) -> str:
    count = len(one.lines)
    total = sum(line.lasted_ms(look.now) for line in one.lines)
    of = f" of {parameter_name(one.last.facts['parameter'])}" if one.last.kind == "excursion" else ""
    parts = [f"{one.aspect}{of} at {one.last.place}"]
    parts.append(times(count) if count > 1 else look.clock(one.first.at_ms))
    if total:
        parts.append(f"{lasting(total)} in all" if count > 1 else f"for {lasting(total)}")
    if one.aspect == MORE_FISH:
        parts.append(f"heads from {one.first.facts['heads'][0]} to {one.last.facts['heads'][1]}")
    return f"First to look at: {', '.join(parts)}; {_before(one, losses)}."


def _before(one: Suspect, losses: Sequence[Told]) -> str:
    """Which losses it came before; of causes the record can't tell."""
    if not losses:
        return one.reasons[0]
    after = sum(loss.at_ms > one.first.at_ms for loss in losses)
    if not after:
        return "but it began only after the losses entered"
    if len(losses) == 1:
        return "it came before the loss entered"
    some = f"{after} of the {len(losses)}"
    every = "both" if after == 2 else f"all {after}"
    return f"it came before {every if after == len(losses) else some} losses entered"


def _began(look: Look, losses: Sequence[Told], earlier: Sequence[Told]) -> Iterator[str]:
    """Losses that follow each other by no more than the length of the look are taken for one trouble."""
    length = look.end_ms - look.start_ms
    first = losses[0].at_ms
    for one in reversed([line for line in earlier if line.kind in (LOSS, MISSING)]):
        if first - one.at_ms > length:
            break
        first = one.at_ms
    if first >= look.start_ms + NEAR_START_DAYS * DAY_MS:
        return
    day = day_of(first, look.zone).isoformat()
    began = (
        f"The losses began earlier ({day})"
        if first < look.start_ms
        else f"The first of the losses ({day}) lies near the start of these days"
    )
    wanted = (look.end_ms - first + length) / DAY_MS
    days = ROUND_DAYS * math.ceil(wanted / ROUND_DAYS)
    ask = f"days={days}" if days <= LONGEST_DAYS else f"before={instant_text(-(-first // 1000) * 1000)}"
    yield f"{began}: ask with {ask}."
