"""What is asked and told of exposure: spans, ways, what befell the others, and the verdicts."""

from __future__ import annotations

from dataclasses import dataclass

from weirbook.actions.befallen import Befell
from weirbook.actions.fish_history import DAY_MS, Crossing, Fish
from weirbook.engine.relations.contacts import Water
from weirbook.engine.relations.exposure import BACKWARD, Exposure
from weirbook.record.ledger import Line

WITHIN_DAYS = 42
"""Common practice (no source): trouble after mixing healthy-looking groups tends to begin in two to three weeks and to run
for about two."""
FOUND, NONE_FOUND, NOT_KNOWN = "found", "none found", "unknown"
WATCH = "none before, some since"
SOME_LOST, NONE_ILL, NOBODY = "exposed, some lost", "exposed, none ill so far", "nobody exposed"
VERDICTS = (FOUND, NONE_FOUND, WATCH, NOT_KNOWN, SOME_LOST, NONE_ILL, NOBODY)


@dataclass(frozen=True)
class Asked:
    """What is asked: contacts from an instant to another, and how long waters and things stay a danger."""

    direction: str = BACKWARD
    from_ms: int | None = None
    to_ms: int | None = None
    residual_days: int = 0
    carry_days: int = WITHIN_DAYS
    within_days: int = WITHIN_DAYS


@dataclass(frozen=True)
class Traced:
    """One way between the group asked about and another."""

    other: Fish
    way: Exposure
    befell: Befell
    in_window: bool

    @property
    def watched_from(self) -> int:
        """From when what it may have brought is watched for: its coming, or what befell the other while they met."""
        return max(self.way.from_ms, self.befell.last_ms or self.way.from_ms)


@dataclass(frozen=True)
class NearMiss:
    """A group that had left a water before the one asked about came into it."""

    other: Fish
    water: Water
    left_ms: int
    came_ms: int


@dataclass(frozen=True)
class Since:
    """What came after the last loss, as far back as it is watched: its span, who is to be watched, and until when."""

    span: tuple[int, int]
    items: tuple[Traced, ...]
    own_arrivals: tuple[Line, ...]
    from_outside: tuple[Crossing, ...]

    @property
    def suspect(self) -> bool:
        return bool(self.items or self.own_arrivals or self.from_outside)

    def watched_until(self, within_days: int) -> int | None:
        """The last day of all that is to be watched."""
        began = [one.watched_from for one in self.items]
        began += [line.happened_at_ms for line in self.own_arrivals]
        began += [one.at_ms for one in self.from_outside]
        return max(began) + within_days * DAY_MS if began else None


@dataclass(frozen=True)
class Trace:
    """The answer. `window` is what the verdict looks at: some weeks before an instant (backward), or all since the first
    contact (forward); `since` what came after it, where it ends with a loss."""

    group: Fish
    asked: Asked
    window: tuple[int, int]
    why_window: str
    verdict: str
    says: tuple[str, ...]
    items: tuple[Traced, ...]
    own_arrivals: tuple[Line, ...]
    from_outside: tuple[Crossing, ...]
    near_misses: tuple[NearMiss, ...]
    since: Since | None = None
