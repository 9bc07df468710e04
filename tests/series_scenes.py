"""Simulated rooms: daily values that keep a known share of the day before, with a known effect on top."""

from collections.abc import Callable, Iterator

import numpy as np

from weirbook.engine.relations.differences import Stretch

SETTLE = 3
Effect = Callable[[int], float]


def rooms(seed: int, count: int, days: int, rho: float) -> Iterator[list[float]]:
    """First-order processes of standard deviation 1, each of so many days."""
    generator = np.random.default_rng(seed)
    noise = generator.standard_normal((count, days))
    kept = np.empty_like(noise)
    kept[:, 0] = noise[:, 0]
    for day in range(1, days):
        kept[:, day] = rho * kept[:, day - 1] + np.sqrt(1 - rho * rho) * noise[:, day]
    yield from kept.tolist()


def two_phases(values: list[float], first: int, effect: Effect = lambda day: 0.0) -> tuple[Stretch, Stretch]:
    """Cut at day `first`, some days of settling left out after it."""
    moved = [value + effect(day) for day, value in enumerate(values)]
    since = first + SETTLE
    return (
        Stretch(tuple(range(first)), tuple(moved[:first])),
        Stretch(tuple(range(since, len(values))), tuple(moved[since:])),
    )
