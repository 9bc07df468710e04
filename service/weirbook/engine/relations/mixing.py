"""How water mixes, and how what it carries spreads and is taken out. SI floats in and out."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

Matrix = list[list[float]]


def mixed_share(volume: float, flow: float, time: float, removal_per_pass: float = 1.0) -> float:
    """Share of what one well-mixed body of water carried that its filter has taken out after `time`.

    Equation: f = 1 - exp(-E Q t / V). With E = 1 this is also the share of the water that has passed the
    filter at least once.
    Shapes and units: volume V in m3, flow Q in m3/s, time t in s, removal per pass E and result as fractions.
    Valid for: V, Q > 0, t >= 0, 0 < E <= 1; filtered water comes back at once and nothing is added meanwhile.
    Uncertainty: exact for perfect mixing; dead corners and short circuits make real water slower.
    Source: the stirred tank of reactor engineering (Levenspiel, Chemical Reaction Engineering, 1999, chapter
    on the mixed flow reactor; from memory). Measured in a model pool: Alansari, Amburgey, Madding (2018).
    Not covered: several bodies joined by pipes (see `carried`), plug flow, a load that keeps coming.
    """
    return -math.expm1(-removal_per_pass * flow * time / volume)


def mixed_time(share: float, volume: float, flow: float, removal_per_pass: float = 1.0) -> float:
    """Time until a filter has taken out `share` of what one well-mixed body of water carried.

    Equation: t = -ln(1 - f) V / (Q E), the inverse of `mixed_share`, with the same limits and source.
    Shapes and units: share f, removal per pass E as fractions, volume V in m3, flow Q in m3/s, result in s.
    Valid for: 0 <= f < 1, V, Q > 0, 0 < E <= 1.
    Uncertainty: as `mixed_share`.
    Not covered: as `mixed_share`.
    """
    return -math.log1p(-share) * volume / (flow * removal_per_pass)


def steady_level(load: float, flow: float, removal_per_pass: float = 1.0) -> float:
    """Level at which a steady load settles that a filter alone takes out: C = P / (Q E).

    Shapes and units: load P in kg/s, flow Q in m3/s, removal per pass E as a fraction, result in kg/m3.
    Valid for: Q, E > 0; a load and a removal that stay the same, whatever the volume.
    Uncertainty: that of the three. Source: balance of mass. Not covered: what plants, air and floors take up.
    """
    return load / (flow * removal_per_pass)


def chain_share(tanks: int, passes: float) -> float:
    """Share of what entered a chain of equal mixed tanks at once that has left the last one again.

    Equation: F = 1 - exp(-x) sum x^k / k!, k = 0 to N - 1, x = N theta; also the share of new water in the outflow
    after the inflow has changed.
    Shapes and units: tanks N a whole number, passes theta = Q t / V with V the volume of all tanks; a fraction.
    Valid for: N >= 1, theta >= 0, each tank stirred, flow from the first to the last once.
    Uncertainty: exact for the model. Not below 1e-16, where the difference loses its digits.
    Source: tanks in series, Levenspiel, Chemical Reaction Engineering (1999); from memory.
    Not covered: unequal tanks, water that comes round again.
    """
    x = tanks * passes
    term = total = 1.0
    for k in range(1, tanks):
        term *= x / k
        total += term
    return max(0.0, 1 - math.exp(-x) * total)


def chain_passes(share: float, tanks: int) -> float:
    """Passes until `share` has left a chain of equal tanks, the inverse of `chain_share`, by bisection.

    Shapes and units, uncertainty, source, not covered: as `chain_share`. Valid for: 0 <= share < 1, 1 to 50 tanks.
    """
    low, high = 0.0, 1.0
    while chain_share(tanks, high) < share:
        low, high = high, 2 * high
    while (middle := (low + high) / 2) not in (low, high):
        low, high = (middle, high) if chain_share(tanks, middle) < share else (low, middle)
    return high


@dataclass(frozen=True)
class Stream:
    """A steady flow from one body of water to another, by their places in the list of bodies; m3/s."""

    source: int
    to: int
    flow: float


def inflows(bodies: int, streams: Sequence[Stream]) -> list[float]:
    """What flows into each body, m3/s."""
    return [math.fsum(one.flow for one in streams if one.to == place) for place in range(bodies)]


def outflows(bodies: int, streams: Sequence[Stream]) -> list[float]:
    """What flows out of each body, m3/s."""
    return [math.fsum(one.flow for one in streams if one.source == place) for place in range(bodies)]


def joined(bodies: int, streams: Sequence[Stream], start: int) -> set[int]:
    """The bodies that water from the body `start` comes to, itself among them."""
    reached, edge = {start}, [start]
    while edge:
        place = edge.pop()
        found = {one.to for one in streams if one.source == place and one.flow > 0} - reached
        reached |= found
        edge += found
    return reached


def exchange(volumes: Sequence[float], streams: Sequence[Stream], removals: Sequence[float]) -> Matrix:
    """Rates at which what bodies of water carry goes from one to another, or is taken out: dm/dt = A m.

    Equation: a stream Q from j to i adds (1 - E_j) Q / V_j to A_ij and E_j Q / V_j to the row of what is taken out;
    the diagonal takes what its column gives.
    Shapes and units: volumes V in m3, streams in m3/s, removals E (per pass, of what leaves a body) as fractions, all
    in the order of the bodies; result square, in 1/s, columns from, rows to, one more than there are bodies: the last
    holds what is taken out. A stream from a body to itself is a filter beside it.
    Valid for: volumes > 0, each body stirred and of steady volume (its streams balance).
    Uncertainty: exact for the model; dead corners make real water slower.
    Raises: OverflowError for rates beyond any size.
    Source: balance of mass, compartment model; any handbook of reactor engineering.
    Not covered: time in pipes, what sticks, breaks down or is taken up on the way.
    """
    bodies = len(volumes)
    rates = [[0.0] * (bodies + 1) for _ in range(bodies + 1)]
    for one in streams:
        rate = one.flow / volumes[one.source]
        if not math.isfinite(rate):
            raise OverflowError("a body is exchanged faster than floats can tell")
        rates[one.to][one.source] += (1 - removals[one.source]) * rate
        rates[bodies][one.source] += removals[one.source] * rate
    for place in range(bodies):
        rates[place][place] = -math.fsum(row[place] for at, row in enumerate(rates) if at != place)
    return rates


def carried(rates: Matrix, masses: Sequence[float], time: float) -> list[float]:
    """What each body carries after `time`: exp(A t) m.

    Equation: exp of a small step by its series, squared until the step is t. All shares are above zero, and each
    column is made to sum to one after each squaring: nothing is made or lost by rounding, however long the time.
    Shapes and units: rates by `exchange`, masses of the bodies in any unit, time in s; result as the masses.
    Valid for: time >= 0.
    Uncertainty: rounding alone, about 1e-12 of the sum.
    Source: scaling and squaring; Moler and Van Loan (1978), SIAM Review 20(4), 801; from memory.
    Not covered: loads that keep coming.
    """
    fastest = _fastest(rates)
    squarings = max(0, math.ceil(math.log2(max(fastest * time, 1e-300))) + _SMALL)
    shares = _first_step(rates, math.ldexp(time, -squarings))
    for _ in range(squarings):
        shares = _squared(shares)
    return _moved(shares, [*masses, 0.0])[:-1]


def time_until(
    rates: Matrix, masses: Sequence[float], reached: Callable[[Sequence[float]], bool]
) -> float | None:
    """The time at which `reached` comes to hold of what the bodies carry; None if it never does.

    Equation: as `carried`; steps are doubled until `reached` holds, then halved down to the first step.
    Shapes and units: as `carried`; result in s, to 1e-7 of the shortest stay in a body.
    Valid for: conditions that stay true once they are.
    Uncertainty, source, not covered: as `carried`.
    """
    fastest = _fastest(rates)
    if reached(masses):
        return 0.0
    if fastest == 0:
        return None
    slowest = min(-row[place] for place, row in enumerate(rates) if row[place])
    first, start = math.ldexp(1 / fastest, -_FINE), [*masses, 0.0]
    steps = [_first_step(rates, first)]
    now = _moved(steps[0], start)
    while not reached(now[:-1]):
        steps.append(_squared(steps[-1]))
        then = _moved(steps[-1], start)
        still = max(abs(a - b) for a, b in zip(now, then, strict=True)) <= 1e-15 * math.fsum(masses)
        if len(steps) > _MOST_STEPS or (still and math.ldexp(first, len(steps)) * slowest > 1):
            return None
        now = then
    time, now = 0.0, start
    for power in range(len(steps) - 2, -1, -1):
        then = _moved(steps[power], now)
        if not reached(then[:-1]):
            time, now = time + math.ldexp(first, power), then
    return time + first


_SMALL, _FINE, _MOST_STEPS = 10, 24, 150
"""Powers of two by which the first step is shorter than the shortest stay: to go to a time, to find one; and how
often it is doubled at most."""


def _fastest(rates: Matrix) -> float:
    return max(-row[place] for place, row in enumerate(rates))


def _first_step(rates: Matrix, time: float) -> Matrix:
    """exp(A t) by its series, for a step below a thousandth of the shortest stay: 7 terms leave 1e-22."""
    size = range(len(rates))
    total: Matrix = [[float(row == column) for column in size] for row in size]
    scaled = [[rate * time for rate in row] for row in rates]
    term = total
    for order in range(1, 8):
        term = [[value / order for value in row] for row in _product(scaled, term)]
        total = [[a + b for a, b in zip(*rows, strict=True)] for rows in zip(total, term, strict=True)]
    return total


def _squared(shares: Matrix) -> Matrix:
    raised = _product(shares, shares)
    sums = [math.fsum(column) for column in zip(*raised, strict=True)]
    return [[share / whole for share, whole in zip(row, sums, strict=True)] for row in raised]


def _moved(shares: Matrix, masses: Sequence[float]) -> list[float]:
    return [math.fsum(map(float.__mul__, row, masses)) for row in shares]


def _product(left: Matrix, right: Matrix) -> Matrix:
    columns = list(zip(*right, strict=True))
    return [[sum(map(float.__mul__, row, column)) for column in columns] for row in left]
