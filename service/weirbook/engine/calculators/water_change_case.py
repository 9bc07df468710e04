"""A water change worked out: its share, its series, its days, and the verdict on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.water_change_inputs import Inputs
from weirbook.engine.relations.changes import (
    ROUNDING,
    Day,
    changes_needed,
    days_within,
    drip_to_reach,
    mixed,
    share_to_reach,
    shares_within,
)
from weirbook.engine.relations.mixing import mixed_share
from weirbook.engine.saying import less, near, said
from weirbook.errors import Fault, Invalid

DAY = 86_400.0

MOST = 366
"""Changes, or days, beyond which nobody keeps up."""

SHOWN = 10
"""Changes that are shown where no value is wanted."""

HELD_BY = {
    "size": "the largest single change",
    "hardness": "hardness",
    "alkalinity": "alkalinity",
    "ph": "pH",
    "temperature": "temperature",
}
LIMIT_OF = {
    "size": "size_limit",
    "hardness": "hardness_a_day",
    "alkalinity": "alkalinity_a_day",
    "ph": "ph_a_day",
    "temperature": "temperature_step",
}

URGENT = {
    "nitrite": " If it makes fish suffer, taking it out outweighs these habits: change more, warmed and dechlorinated.",
    "total_ammonia": " If it makes fish suffer, taking it out outweighs these habits, as long as pH doesn't rise with it.",
}
"""What is said besides of a poison, which the pace of habits would leave in the water for days."""


@dataclass(frozen=True)
class Change:
    """What follows from the inputs, each reckoned once."""

    given: Inputs

    @cached_property
    def share(self) -> float:
        """Of the water that one change to the wanted value replaces; of the usual change where none is wanted."""
        given = self.given
        if given.wanted is None:
            assert given.usual_share is not None
            return given.usual_share
        if given.wanted == given.present:
            return 0.0
        return share_to_reach(given.present, given.source, given.wanted)

    @property
    def value_after(self) -> float:
        given = self.given
        return mixed(given.present, given.source, self.share) if given.wanted is None else given.wanted

    @cached_property
    def changes(self) -> int | None:
        """Usual changes until the wanted value is reached or passed. Raises Invalid where they have no end."""
        share = self.given.usual_share
        if self.given.wanted is None or share is None:
            return None
        count = changes_needed(self.share, share)
        if count > MOST:
            by = "change_share" if self.given.change_share is not None else "change_volume"
            words = f"So small a change would be needed more than {MOST} times: take a larger one."
            raise Invalid("The inputs contradict each other.", faults=[Fault(f"/{by}", words)])
        return count

    @property
    def drip_water(self) -> float:
        """That has to drip through to reach what one change does."""
        return drip_to_reach(self.share, self.given.volume)

    @cached_property
    def bounds(self) -> dict[str, float]:
        """The largest share today by each thing that can be judged."""
        return shares_within(self.given.tank, self.given.new_water, self.given.pace)

    @property
    def held_by(self) -> str:
        return min(self.bounds, key=lambda name: self.bounds[name])

    @property
    def largest(self) -> float:
        return self.bounds[self.held_by]

    @property
    def at_once(self) -> bool:
        return self.share <= self.largest * (1 + ROUNDING)

    @cached_property
    def days(self) -> Sequence[Day]:
        """One change a day. Raises Invalid where the pace is too slow to end."""
        found: list[Day] = []
        for day in days_within(self.given.tank, self.given.new_water, self.given.pace, self.share):
            if len(found) == MOST:
                by = LIMIT_OF[self.held_by]
                words = f"Within this limit the change would take more than {MOST} days: allow more, or want less."
                raise Invalid("The inputs contradict each other.", faults=[Fault(f"/{by}", words)])
            found.append(day)
        return found

    @cached_property
    def days_with_drift(self) -> Sequence[float] | None:
        """The value after each day's change, the drift going on from day to day; None where none is told."""
        given = self.given
        if given.drift is None or given.drift_time is None:
            return None
        found, value, a_day = [], given.present, given.drift / given.drift_time * DAY
        for day in self.days:
            value = mixed(value, given.source, day.share)
            found.append(value)
            value = max(value + a_day, 0.0)
        return found

    @property
    def usual_is_too_large(self) -> bool:
        usual = self.given.usual_share
        return usual is not None and usual > self.largest * (1 + ROUNDING)

    @property
    def dripped_a_day(self) -> float | None:
        """Share of the water that a day's dripping replaces."""
        flow = self.given.drip_flow
        return None if flow is None else mixed_share(self.given.volume, flow, DAY)

    @property
    def unjudged(self) -> Sequence[str]:
        """What might jump without anybody's knowing."""
        return [HELD_BY[name] for name in ("hardness", "alkalinity", "ph") if name not in self.bounds]

    @property
    def verdict(self) -> str:
        if not self.share:
            return "ok"
        if not self.at_once:
            return "watch"
        return "ok" if {"hardness", "alkalinity"} <= self.bounds.keys() else "unknown"

    @property
    def why(self) -> str:
        given = self.given
        if not self.share:
            return (
                f"{_name(given).capitalize()} stands at the wanted {said(given.present, given.kind)} already."
            )
        water = near(self.share * given.volume, "volume", "L")
        moves = (
            f"{_name(given)} from {said(given.present, given.kind)} to {said(self.value_after, given.kind)}"
        )
        one = f"One change of {water} ({near(self.share, 'fraction', '%')}) brings {moves}"
        if not self.at_once:
            first = less(self.largest * given.volume, "volume", "L")
            held = HELD_BY[self.held_by]
            return (
                f"{one}, but {held} lets no more than {first} be changed today: spread it over {len(self.days)} days, as"
                f" the schedule says.{URGENT.get(given.parameter, '')}"
            )
        if self.verdict == "unknown":
            return (
                f"{one}. Whether fish bear the jump isn't known: {_listed(self.unjudged)} can't be compared."
            )
        if "ph" not in self.bounds:
            return f"{one}, and keeps hardness and alkalinity within their daily limits; pH can't be judged."
        return f"{one}, and keeps hardness, alkalinity and pH within their daily limits."

    @property
    def time_back(self) -> float | None:
        """Until the drift has brought the value back to where it stands now; None where it doesn't lead there."""
        given = self.given
        if given.drift is None or given.drift_time is None:
            return None
        way = given.present - self.value_after
        return way / given.drift * given.drift_time if way * given.drift > 0 else None

    @property
    def settles_at(self) -> float | None:
        """Where a standing drip holds the value against its drift: S + D V / (t Q)."""
        given = self.given
        if given.drift is None or given.drift_time is None or given.drip_flow is None:
            return None
        level = given.source + given.drift / given.drift_time * given.volume / given.drip_flow
        return level if level >= 0 else None


def _name(given: Inputs) -> str:
    return "the value" if given.parameter == "other" else given.parameter.replace("_", " ")


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
