"""Getting animals used to other water in their bag: portions of tank water, drips, floating. SI floats in and out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from weirbook.engine.relations.changes import ROUNDING


@dataclass(frozen=True)
class Mixing:
    """How a difference is taken down: a portion as a share of the bag's first water, how many, what is left at the end
    of the difference (a share of it) and what may be left at most."""

    portion: float
    count: int
    left: float
    allowed: float


def first_step_allowed(bag: float, tank: float, step: float) -> float:
    """Share of the difference that the first portion may move: s B / |T - B|.

    Shapes and units: both waters' values in one unit, step s a share of what the water in the bag then has; a share.
    Valid for: B, T > 0, B other than T. Source: common practice; the arithmetic is exact.
    """
    return step * bag / abs(tank - bag)


def left_allowed(bag: float, tank: float, step: float) -> float:
    """Share of the difference that may still be there when the animal is moved over, which is the last step.

    Equation: the value N then has |T - N| = s N, so N = T / (1 + s) where it rises and T / (1 - s) where it falls;
    left = s T / ((1 + s) |T - B|), or with 1 - s.
    Shapes and units, valid for, source: as `first_step_allowed`; s < 1.
    """
    return step * tank / ((1 + step if tank > bag else 1 - step) * abs(tank - bag))


def left_after(portion: float, count: int) -> float:
    """Share of the first difference still there after equal portions, nothing poured off: 1 / (1 + n p).

    Shapes and units: portion p as a share of the first water, n a whole number; a share of one.
    Valid for: p >= 0, complete mixing. Source: balance of mass.
    """
    return 1 / (1 + portion * count)


def mixing(bag: float, tank: float, step: float, largest: float) -> Mixing:
    """Equal portions of tank water so that no step, the last one into the tank among them, passes the share `step`.

    Equations: the first portion moves p / (1 + p) of the difference and is the largest step, in itself and against
    the value that it moves, so p = r / (1 - r) with r of `first_step_allowed`, at most `largest`;
    n = (1 / left - 1) / p, rounded up, with `left_allowed`; n = 0 where nothing needs mixing.
    Shapes and units: values in one unit, step and largest as shares; see `Mixing`.
    Valid for: B, T > 0, 0 < s < 1; what mixes in proportion (conductivity nearly).
    Uncertainty: that of the tests. Source: balance of mass; the step itself is common practice.
    Not covered: what the animal gives off meanwhile, gas that leaves.
    """
    if abs(tank - bag) <= step * bag * (1 + ROUNDING):
        return Mixing(0.0, 0, 1.0, 1.0)
    first = first_step_allowed(bag, tank, step)
    portion = min(largest, first / (1 - first))
    allowed = left_allowed(bag, tank, step)
    count = max(1, math.ceil((1 / allowed - 1) / portion - ROUNDING))
    return Mixing(portion, count, left_after(portion, count), allowed)


def evening_time(difference: float, within: float, constant: float) -> float:
    """Time until a floated bag stands no farther than `within` from the tank: t = T ln(D / d), 0 if it does already.

    Shapes and units: differences in K, the bag's time constant T in s (it has moved 63 % of the way by then); s out.
    Valid for: D >= 0, d, T > 0; a tank so large that the bag doesn't move it. Uncertainty: that of T, which nobody
    knows but by measuring. Source: Newton's law of cooling. Not covered: insulation, a bag half in air.
    """
    return constant * math.log(difference / within) if difference > within else 0.0
