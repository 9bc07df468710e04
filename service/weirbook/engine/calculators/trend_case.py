"""A trend worked out once for its values, steps and words."""

from __future__ import annotations

from functools import cached_property

from weirbook.engine.calculators.trend_inputs import Inputs, days_of
from weirbook.engine.relations.trends import Trend, trend

VERDICTS = {1: "rising", -1: "falling", 0: "none found"}


class Case:
    """The values with their days, and the trend in them."""

    def __init__(self, given: Inputs) -> None:
        self.given = given
        self.days = days_of(given)
        self.values = [one.value for one in given.values]

    @cached_property
    def trend(self) -> Trend:
        return trend(self.days, self.values, persistent=not self.given.independent)

    @property
    def verdict(self) -> str:
        return VERDICTS[self.trend.direction]

    @property
    def alike(self) -> bool:
        """Whether all values are the same."""
        return min(self.values) == max(self.values)

    @cached_property
    def middle_pairs(self) -> list[tuple[int, int]]:
        """The one pair, or the two, whose slopes are the median of all."""
        count = len(self.values)
        pairs = sorted(
            ((first, second) for first in range(count) for second in range(first + 1, count)),
            key=lambda pair: self.slope_of(*pair),
        )
        half = len(pairs) // 2
        return pairs[half : half + 1] if len(pairs) % 2 else pairs[half - 1 : half + 1]

    def slope_of(self, first: int, second: int) -> float:
        return (self.values[second] - self.values[first]) / (self.days[second] - self.days[first])
