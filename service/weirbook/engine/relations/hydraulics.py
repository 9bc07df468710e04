"""How water moves and mixes. SI floats in and out."""

from __future__ import annotations

import math


def mixed_share(volume: float, flow: float, time: float, removal_per_pass: float = 1.0) -> float:
    """Share of what one well-mixed body of water carried that its filter has taken out after `time`.

    Equation: f = 1 - exp(-E Q t / V). With E = 1 this is also the share of the water that has passed the
    filter at least once.
    Shapes and units: volume V in m3, flow Q in m3/s, time t in s, removal per pass E and result as fractions.
    Valid for: V, Q > 0, t >= 0, 0 < E <= 1; filtered water comes back at once and nothing is added meanwhile.
    Uncertainty: exact for perfect mixing; dead corners and short circuits make real water slower.
    Source: the stirred tank of reactor engineering (Levenspiel, Chemical Reaction Engineering, 1999, chapter
    on the mixed flow reactor; from memory). Measured in a model pool: Alansari, Amburgey, Madding (2018).
    Not covered: several bodies joined by pipes, plug flow, a load that keeps coming.
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
