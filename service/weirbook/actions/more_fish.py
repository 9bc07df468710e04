"""Whether more fish came to live in a system's water in the days before a trouble: births, arrivals and moves in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from weirbook.actions.fish_days import ledger_lines
from weirbook.actions.suspect_weights import PLAIN, UNCOMMON
from weirbook.actions.told import Look, Told
from weirbook.actions.unusual import Verdict
from weirbook.record.fish import ARRIVAL, BIRTH, MOVE

MORE_FISH = "more fish"
MANY_MORE = 1.25
"""Times the heads of before: that many more breathe and foul the same water. Our own choice."""


@dataclass(frozen=True)
class MoreFish:
    """The lines by which heads rose, from how many to how many, and the same in words."""

    lines: Sequence[Told]
    before: int
    after: int

    @property
    def words(self) -> str:
        """One line as it stands; of several from how many to how many, and the last."""
        if len(self.lines) == 1:
            return self.lines[0].words
        rose = f"Heads of the system from {self.before} to {self.after}"
        return f"{rose}, by {len(self.lines)} lines of the ledger; the last: {self.lines[-1].words}"

    @property
    def verdict(self) -> Verdict:
        """Out of the way where they are many more than before; the first fish of a system are not."""
        if not self.before:
            return Verdict(PLAIN, "no fish lived there before")
        ratio = self.after / self.before
        return Verdict(UNCOMMON if ratio >= MANY_MORE else PLAIN, f"{ratio:.2g} times the heads of before")


def more_fish(lines: Sequence[Told]) -> MoreFish | None:
    """The births, arrivals and moves in of these days, where after the last there were more heads than before the first."""
    gains = [
        one
        for one in lines
        if one.kind in (ARRIVAL, BIRTH) or (one.kind == MOVE and one.facts["way"] == "in")
    ]
    if not gains:
        return None
    before, after = gains[0].facts["heads"][0], gains[-1].facts["heads"][1]
    return MoreFish(gains, before, after) if after > before else None


def no_more_fish(look: Look) -> str | None:
    """That heads did not rise, where there is a ledger to tell."""
    groups = {number: tank for number, (_, tank) in look.groups.items() if tank in look.belongs.spans}
    known = any(line.happened_at_ms < look.end_ms for line in ledger_lines(look, groups))
    return "Heads of the system did not rise, by its ledger." if known else None
