"""What a pump lifts at a flow, from a few points of its curve. SI floats in and out."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from weirbook.engine.relations.roots import root_between


@dataclass(frozen=True)
class PumpCurve:
    """A pump's head over its flow, through its `points` (flow in m3/s, head in m) without overshoot.

    Equation: cubic pieces whose slopes at the points are weighted harmonic means of the slopes beside them, so that
    the curve falls wherever the points fall. Beyond the last point, and before the first where it is not at no flow,
    straight on as between the two points there.
    Shapes and units: at least two points in order, each next one with more flow and less head; flows from 0 on.
    Valid for: the flows between the first and the last point.
    Uncertainty: at the points none; between two points less than the drop from one to the next. A maker's curve
    itself is often 5 to 10 % off (common practice).
    Raises: ValueError for fewer than two points, a flow below 0, or points that cross.
    Source: Fritsch and Carlson (1980), SIAM J. Numer. Anal. 17, 238; the means by Fritsch and Butland (1984), SIAM
    J. Sci. Stat. Comput. 5, 300; from memory, held to SciPy's PchipInterpolator in the tests.
    Not covered: pumps whose curve rises before it falls; water that carries air.
    """

    points: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        if len(self.points) < 2 or self.points[0][0] < 0:
            raise ValueError("a pump curve needs two points or more, from no flow on")
        if (at := crossing(self.points)) is not None:
            raise ValueError(
                f"point {at} of the pump curve has not more flow and less head than the one before"
            )

    @cached_property
    def flows(self) -> tuple[float, ...]:
        return tuple(flow for flow, _ in self.points)

    @cached_property
    def heads(self) -> tuple[float, ...]:
        return tuple(head for _, head in self.points)

    @cached_property
    def slopes(self) -> tuple[float, ...]:
        """At each point, in m for 1 m3/s; never above 0."""
        steps = tuple(b - a for a, b in zip(self.flows, self.flows[1:], strict=False))
        chords = tuple((b - a) / s for a, b, s in zip(self.heads, self.heads[1:], steps, strict=False))
        if len(chords) == 1:
            return (chords[0], chords[0])
        inner = [
            3 * (left + right) / ((2 * right + left) / before + (right + 2 * left) / after)
            for left, right, before, after in zip(steps, steps[1:], chords, chords[1:], strict=False)
        ]
        first = _end_slope(steps[0], steps[1], chords[0], chords[1])
        last = _end_slope(steps[-1], steps[-2], chords[-1], chords[-2])
        return (first, *inner, last)

    @cached_property
    def shut_off(self) -> float:
        """Head at no flow, m."""
        return self.head(0.0)

    @property
    def last_flow(self) -> float:
        """Of the last point, m3/s: beyond it the curve is a guess."""
        return self.flows[-1]

    @cached_property
    def free_flow(self) -> float:
        """At no head, m3/s."""
        return self.flow(0.0)

    def head(self, flow: float) -> float:
        """What it lifts at a flow, m; below 0 where more is drawn through it than it pumps freely."""
        return self.head_and_slope(flow)[0]

    def head_and_slope(self, flow: float) -> tuple[float, float]:
        """Head in m at a flow in m3/s, and how it changes there, in m for 1 m3/s."""
        start, width, head, (a, b, c) = self.stretch(flow)
        t = (flow - start) / width
        return head + t * (a + t * (b + t * c)), (a + t * (2 * b + 3 * t * c)) / width

    def stretch(self, flow: float) -> tuple[float, float, float, tuple[float, float, float]]:
        """The stretch of the curve that a flow lies on: flow and head h at its start, its width w, and a, b, c.

        Along it the head is h + t (a + t (b + t c)), all in m, t being (flow - start) / w.
        """
        flows, heads = self.flows, self.heads
        if not flows[0] <= flow <= flows[-1]:
            at = 0 if flow < flows[0] else len(flows) - 1
            from_point = max(at - 1, 0)
            width = flows[from_point + 1] - flows[from_point]
            return flows[at], width, heads[at], (heads[from_point + 1] - heads[from_point], 0.0, 0.0)
        left = max(bisect_left(flows, flow) - 1, 0)
        width, drop = flows[left + 1] - flows[left], heads[left + 1] - heads[left]
        start, end = self.slopes[left] * width, self.slopes[left + 1] * width
        return flows[left], width, heads[left], (start, 3 * drop - 2 * start - end, start + end - 2 * drop)

    def flow(self, head: float) -> float:
        """The flow in m3/s at which it lifts `head` m; 0 where it does not reach so high."""
        if head >= self.shut_off:
            return 0.0
        heads, flows = self.heads, self.flows
        if head < heads[-1]:
            chord = (heads[-1] - heads[-2]) / (flows[-1] - flows[-2])
            return flows[-1] + (head - heads[-1]) / chord

        def short(flow: float) -> tuple[float, float]:
            lifted, slope = self.head_and_slope(flow)
            return head - lifted, -slope

        return root_between(short, 0.0, flows[-1])

    def at_speed(self, ratio: float) -> PumpCurve:
        """The curve at another speed: flow in proportion to the ratio, head to its square.

        Valid for: about 0.7 to 1.2 of the speed the curve holds for. Uncertainty: a few per cent, more for small
        pumps. Source: affinity laws, any handbook of pumps.
        """
        return PumpCurve(tuple((flow * ratio, head * ratio**2) for flow, head in self.points))

    def in_parallel(self, count: int) -> PumpCurve:
        """The curve of `count` equal pumps side by side on one line: the flows add up at each head."""
        return PumpCurve(tuple((flow * count, head) for flow, head in self.points))


def crossing(points: Sequence[tuple[float, float]]) -> int | None:
    """The first point (flow, head) that has not more flow and less head than the one before; None if all have."""
    for at, ((flow, head), (next_flow, next_head)) in enumerate(pairwise(points)):
        if not (next_flow > flow and next_head < head):
            return at + 1
    return None


def _end_slope(step: float, next_step: float, chord: float, next_chord: float) -> float:
    """Slope at an end, of three points, held to where it does not rise."""
    slope = ((2 * step + next_step) * chord - step * next_chord) / (step + next_step)
    return min(0.0, slope)
