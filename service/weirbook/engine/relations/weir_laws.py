"""Formulas for the flow over a straight edge, each one `Law`. SI floats in and out.

Q = (c0 + c1 h/P) L_e h_e^1.5, h being the head on the crest and P the crest's height above the floor before it.
They differ in their coefficients, in what they add to the head (the lift) and in how much each end of an edge
narrows the sheet.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from weirbook.engine.relations.hydraulics import GRAVITY

FEET_ROOT = math.sqrt(0.3048)
"""A weir coefficient in ft^0.5/s, times this, is one in m^0.5/s."""
POLENI = 2 / 3 * math.sqrt(2 * GRAVITY)
"""What multiplies the plain number Cd in Q = Cd (2/3) sqrt(2 g) L h^1.5."""

FRANCIS = 3.33 * FEET_ROOT
PLAIN_CD = 0.62
LIFT = 0.001
"""m that Kindsvater and Carter add to the head."""
FULL_WIDTH = -0.001
"""m that they add to the length of an edge as wide as its channel (ISO 1438 says 0.9 mm)."""

LOWEST_HEAD = 0.03
"""m. No formula here was fitted below."""
CLINGING_HEAD = 0.02
"""m. Below, surface tension and the clinging of the sheet to its edge rule."""
HIGHEST_RATIO = 2.0
"""Of head to crest height, up to which the formulas were fitted."""
SHORTEST_EDGE = 0.15
"""m, down to which they were fitted."""
NARROWEST = 0.6
"""Share of a slot that its sheet keeps at least: a jet through a slit contracts to about 0.61 of it."""


@dataclass(frozen=True)
class Law:
    """One formula for the flow over an edge: Q = (constant + slope h/P) (length - narrowing h) h_e^1.5.

    Equation: h_e = h + lift, beyond what print covers with three extensions that keep the flow smooth, zero at
    zero head, and never falling as the head rises: the lift fades below a millimetre as 1 - exp(-3 h / lift)
    (at 3 mm the printed formula stands within 0.05 %); h/P counts as 2 at most, which is the careful side, for
    more flow passes in truth; the sheet keeps at least 0.6 of its length.
    Shapes and units: heads, lengths and P in m, constant and slope in m^0.5/s, flow in m3/s.
    Valid for: see the function that makes it.
    """

    name: str
    constant: float
    slope: float
    length: float
    crest_height: float = math.inf
    lift: float = 0.0
    narrowing: float = 0.0

    def flow(self, head: float) -> float:
        """Flow at a head; none at or below the crest."""
        if head <= 0:
            return 0.0
        raised = self._raised(head)
        return self.coefficient(head) * self.width(head) * raised * math.sqrt(raised)

    def coefficient(self, head: float) -> float:
        if self.slope == 0 or math.isinf(self.crest_height):
            return self.constant
        return self.constant + self.slope * self._ratio(head)

    def width(self, head: float) -> float:
        """What the ends leave of the length."""
        return max(self.length - self.narrowing * head, NARROWEST * self.length)

    def head(self, flow: float) -> float:
        """The head that makes a flow, to 12 digits: Newton on flow^(2/3), which is nearly straight in head."""
        if flow <= 0:
            return 0.0
        wanted: float = flow ** (2 / 3)
        head: float = wanted / (self.constant * self.length) ** (2 / 3)
        for _ in range(60):
            reached, rise = self._two_thirds(head)
            closer = head - (reached - wanted) / rise
            if closer <= 0:
                closer = head / 8
            if abs(closer - head) <= 1e-14 * head:
                return closer
            head = closer
        return head

    def _raised(self, head: float) -> float:
        if self.lift == 0:
            return head
        return head - self.lift * math.expm1(-3 * head / self.lift)

    def _ratio(self, head: float) -> float:
        return HIGHEST_RATIO if head >= HIGHEST_RATIO * self.crest_height else head / self.crest_height

    def _two_thirds(self, head: float) -> tuple[float, float]:
        """flow^(2/3) at a head, and its slope."""
        coefficient, width, raised = self.coefficient(head), self.width(head), self._raised(head)
        steeper = 0.0
        if self.slope and head < HIGHEST_RATIO * self.crest_height and not math.isinf(self.crest_height):
            steeper += self.slope / self.crest_height / coefficient
        if width > NARROWEST * self.length:
            steeper -= self.narrowing / width
        fading = 3 * math.exp(-3 * head / self.lift) if self.lift else 0.0
        reached = (coefficient * width) ** (2 / 3) * raised
        return reached, reached * ((1 + fading) / raised + 2 / 3 * steeper)


_LENGTH_SHARES = (0.2, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
_SLOPES = (-0.0087, 0.0317, 0.0612, 0.0995, 0.1602, 0.2376, 0.3447, 0.4)
_CONSTANTS = (3.152, 3.164, 3.173, 3.178, 3.182, 3.189, 3.205, 3.22)
_ADJUSTED_SHARES = (0.2, 0.4, 0.5, 0.6, 0.8, 1.0)
_ADJUSTMENTS = (0.0024, 0.0027, 0.003, 0.0037, 0.0042, FULL_WIDTH)


def kindsvater_carter(length: float, crest_height: float, channel_width: float | None = None) -> Law:
    """Flow over a sharp edge as wide as its channel, or narrower.

    Equation: Q = C_e (L + k) (h + 0.001)^1.5. As wide: C_e = (2/3) sqrt(2 g) (0.602 + 0.075 h/P), k = -0.001.
    Narrower: C_e = c1 h/P + c2 with c1, c2 by L / B between the rows of the table, k 0.0024 to 0.0042 by L / B.
    Shapes and units: edge L, crest height P above the floor, channel width B in m.
    Valid for: h >= 30 mm, L >= 15 cm, P >= 10 cm, h/P < 2. Shorter edges take k in proportion.
    Uncertainty: 1 to 2 % within; see `head_over` below.
    Source: Kindsvater and Carter (1957), ASCE J. Hydraulics Div. 83 HY6; coefficients of the narrower edge read
    in Rossman (2017), SWMM reference manual II, table 6-2; k from memory of ISO 1438.
    Not covered: water that comes in fast, a sheet without air behind it, a crest that is not level.
    """
    if channel_width is None or channel_width <= length:
        name = "Kindsvater and Carter, as wide as its channel"
        constant, slope, adjustment = 0.602 * POLENI, 0.075 * POLENI, FULL_WIDTH
    else:
        name = "Kindsvater and Carter, narrower than its channel"
        share = length / channel_width
        constant = between(share, _LENGTH_SHARES, _CONSTANTS) * FEET_ROOT
        slope = between(share, _LENGTH_SHARES, _SLOPES) * FEET_ROOT
        adjustment = between(share, _ADJUSTED_SHARES, _ADJUSTMENTS)
    adjusted = length + adjustment * min(1.0, length / SHORTEST_EDGE)
    return Law(name, constant, slope, adjusted, crest_height, LIFT)


def francis(length: float, contractions: float = 0) -> Law:
    """Francis (1883): Q = 3.33 (L - 0.1 n h) h^1.5 in feet, n being the ends that narrow the sheet.

    Valid for: h from 61 mm (from memory), no more than a third of the length between two such ends.
    Source: read in Rossman (2017), eq. 6-22. Uncertainty: 5 % against the others from 30 mm on.
    """
    return Law("Francis", FRANCIS, 0.0, length, narrowing=0.1 * contractions)


def rehbock(length: float, crest_height: float) -> Law:
    """Rehbock (1929): Cd = 0.602 + 0.0832 h/P on h + 1.25 mm, an edge as wide as its channel.

    Valid for: h 30 to 750 mm, L and P at least 30 cm, h/P < 1. Source: Trans. ASCE 93, as given by Blevins (1984)
    and read in the documentation of the library fluids.
    """
    return Law("Rehbock", 0.602 * POLENI, 0.0832 * POLENI, length, crest_height, 0.00125)


def ackers(length: float, crest_height: float) -> Law:
    """Ackers and others (1978): Q = 0.564 (1 + 0.150 h/P) sqrt(g) L (h + 0.001)^1.5, as wide as its channel.

    Valid for: h from 20 mm, P at least 15 cm, h/P < 2.2. Source: Weirs and flumes for flow measurement, as given
    in the documentation of the library fluids; from memory, held to its values in the tests.
    """
    root = math.sqrt(GRAVITY)
    return Law("Ackers", 0.564 * root, 0.564 * 0.150 * root, length, crest_height, LIFT)


def plain_cd(length: float) -> Law:
    """The plain textbook weir: Q = 0.62 (2/3) sqrt(2 g) L h^1.5. Common practice."""
    return Law("plain weir, Cd 0.62", PLAIN_CD * POLENI, 0.0, length)


def between(at: float, knots: Sequence[float], values: Sequence[float]) -> float:
    """Straight between the knots, level beyond them."""
    if at <= knots[0]:
        return values[0]
    if at >= knots[-1]:
        return values[-1]
    right = bisect_right(knots, at)
    share = (at - knots[right - 1]) / (knots[right] - knots[right - 1])
    return values[right - 1] + share * (values[right] - values[right - 1])
