"""Several salts toward several targets at once: amounts, none of them negative, that come nearest to all.

The solver is written out here, small as such problems are, because the general library that has one takes more
memory in a serving process than all the rest; tests hold it to that library. Columns are plain lists.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

Vector = Sequence[float]

CLOSE = 1e-13
"""Share of a column and of what is wanted by which a gain may be rounding alone."""
DEPENDENT = 1e-9
"""Share of a column's length that must be left beside the others for it to count as one more direction."""
PULL = 5e-4
"""Weight of the burden beside the fit, once it is known what can be reached: it decides between recipes that reach it.
A tenth of it left one in fifty of random recipes with more burden than a linear programme finds."""


def dot(a: Vector, b: Vector) -> float:
    return math.fsum(x * y for x, y in zip(a, b, strict=True))


def less(a: Vector, times: float, b: Vector) -> list[float]:
    """a - times b."""
    return [x - times * y for x, y in zip(a, b, strict=True)]


def least_squares(columns: Sequence[Vector], wanted: Vector) -> list[float] | None:
    """The amounts of each column whose sum comes nearest to `wanted`; None where the columns depend on each other.

    Equation: minimise |A x - b|, by orthogonal directions taken from one column after another (modified
    Gram-Schmidt, with b as the last column), which keeps the digits that normal equations lose.
    Shapes and units: columns each as long as `wanted`, no more of them than that; one amount a column.
    Valid for: independent columns. Uncertainty: rounding. Source: Björck, BIT 7, 1 (1967), from memory; tests hold it
    to a general library.
    """
    directions: list[list[float]] = []
    upper: list[list[float]] = []
    for column in columns:
        rest, shares = list(column), []
        for direction in directions:
            shares.append(dot(direction, rest))
            rest = less(rest, shares[-1], direction)
        length = math.sqrt(dot(rest, rest))
        if length <= DEPENDENT * math.sqrt(dot(column, column)):
            return None
        directions.append([x / length for x in rest])
        upper.append([*shares, length])
    left, along = list(wanted), []
    for direction in directions:
        along.append(dot(direction, left))
        left = less(left, along[-1], direction)
    found = [0.0] * len(upper)
    for place in reversed(range(len(upper))):
        later = math.fsum(upper[other][place] * found[other] for other in range(place + 1, len(upper)))
        found[place] = (along[place] - later) / upper[place][place]
    return found


def non_negative(columns: Sequence[Vector], wanted: Vector) -> list[float]:
    """The amounts of each column, none below 0, whose sum comes nearest to `wanted`.

    Equation: minimise |A x - b| with x >= 0, by Lawson and Hanson's active set: columns join one by one, that with the
    steepest gain first; whenever the best sum of those that joined would need a negative amount, the way towards it
    is stopped where the first amount comes to 0, and that column leaves.
    Shapes and units: as `least_squares`; columns may be many and may depend on each other, then the amounts of no more
    than are independent differ from 0.
    Valid for: finite figures. Columns of zeros get 0.
    Uncertainty: rounding; where several answers fit alike one of them.
    Raises: ArithmeticError where rounding keeps it from an end, which no case is known to do.
    Source: Lawson, Hanson, Solving Least Squares Problems (1974), chapter 23, from memory.
    """
    lengths = [math.sqrt(dot(column, column)) for column in columns]
    size = math.sqrt(dot(wanted, wanted))
    found = [0.0] * len(columns)
    joined: list[int] = []
    left, barred = list(wanted), set[int]()
    for _ in range(30 * len(columns) + 1):
        gains = {
            place: dot(column, left) / lengths[place]
            for place, column in enumerate(columns)
            if lengths[place] and place not in joined and place not in barred
        }
        best = max(gains, key=gains.__getitem__, default=None)
        if best is None or gains[best] <= CLOSE * size:
            return found
        trial = least_squares([columns[place] for place in (*joined, best)], wanted)
        if trial is None or trial[-1] <= 0:
            barred.add(best)  # a gain of rounding alone
            continue
        joined.append(best)
        barred.clear()
        while trial and min(trial) <= 0:
            _go_towards(found, joined, trial)
            joined = [place for place in joined if found[place] > 0]
            again = least_squares([columns[place] for place in joined], wanted)
            assert again is not None, "fewer of independent columns are independent"
            trial = again
        for place in range(len(columns)):
            found[place] = trial[joined.index(place)] if place in joined else 0.0
        left = list(wanted)
        for place in joined:
            left = less(left, found[place], columns[place])
    raise ArithmeticError("no end of the search for a recipe")


def _go_towards(found: list[float], joined: Sequence[int], trial: Vector) -> None:
    """Move the amounts towards the trial's until the first of them comes to 0."""
    step, first = min(
        (found[place] / (found[place] - one), place)
        for place, one in zip(joined, trial, strict=True)
        if one <= 0
    )
    for place, one in zip(joined, trial, strict=True):
        found[place] += step * (one - found[place])
    found[first] = 0.0


def summed(columns: Sequence[Vector], amounts: Vector, length: int) -> list[float]:
    """Amounts of columns added up."""
    return [
        math.fsum(amount * column[place] for column, amount in zip(columns, amounts, strict=True))
        for place in range(length)
    ]


def blend(brings: Sequence[Vector], rises: Vector, sizes: Vector, burdens: Vector) -> list[float]:
    """How much of each salt comes nearest to the wanted rises; of recipes that fit alike, the least burdensome.

    Equation: first the sum over targets of ((brought - rise) / size)^2 is made least, amounts >= 0. What that reaches is
    then aimed at with, beside it, the small weight PULL^2 on (sum of amount x burden)^2; those that take part are
    fitted once more without it.
    Shapes and units: brings[j][t] of target t by one of salt j; rises and sizes (> 0) by target; burdens (> 0) by salt;
    an amount for each salt (mol/m3, with `chemistry.carried` for brings).
    Valid for: salts that dissolve wholly. Uncertainty: rounding, 1e-9 of each size where the targets can be reached.
    Raises: ArithmeticError as `non_negative`. Source: least squares; the choice of weights is our own.
    Not covered: precipitation, and amounts too small to weigh.
    """
    columns = [[one / size for one, size in zip(row, sizes, strict=True)] for row in brings]
    lengths = [math.sqrt(dot(column, column)) for column in columns]
    wanted = [rise / size for rise, size in zip(rises, sizes, strict=True)]
    taken = [place for place, length in enumerate(lengths) if length]
    heaviest = max((burdens[place] / lengths[place] for place in taken), default=1.0)
    units = [[one / lengths[place] for one in columns[place]] for place in taken]
    pulls = [PULL * burdens[place] / lengths[place] / heaviest for place in taken]
    pulled = [[*unit, pull] for unit, pull in zip(units, pulls, strict=True)]
    reached = summed(units, non_negative(units, wanted), len(wanted))
    amounts = non_negative(pulled, [*reached, 0.0])
    used = [place for place, amount in enumerate(amounts) if amount]
    exact = least_squares([units[place] for place in used], reached) if used else []
    if exact is None or min(exact, default=1.0) <= 0:
        # Salts that make up for each other at the same burden: any of them serve.
        exact = non_negative([units[place] for place in used], reached)
    for place, amount in zip(used, exact, strict=True):
        amounts[place] = amount
    found = [0.0] * len(columns)
    for place, amount in zip(taken, amounts, strict=True):
        found[place] = amount / lengths[place]
    return found
