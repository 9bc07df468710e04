"""One drain and what it carries, each figure known or bounded. For `drain_capacity`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from weirbook.engine.relations.drains import (
    drain_pieces,
    lip_capacity,
    part_full,
    siphon_capacity,
    stack_capacity,
)
from weirbook.engine.relations.pipes import PLASTIC_ROUGHNESS, Piece, valve_k
from weirbook.engine.relations.weirs import Spread
from weirbook.engine.shape import CHOICE, COUNT, TEXT, param, show
from weirbook.errors import Fault, Invalid

SIPHON, GRAVITY, STANDBY = "siphon", "gravity", "standby"
RUN_FILL = 0.5
"""Share of its diameter to which a lying pipe is let fill: common practice, so that air can pass over the water."""
MEASURED_WITHIN = 0.01
"""A pipe shorter than its drop by less is taken to be as long."""


@dataclass(frozen=True)
class Drain:
    name: str = param(TEXT, doc="What the drain is called.")
    kind: str = param(
        CHOICE,
        doc="Runs full (siphon), open with air in it (gravity), or waits for the others to fail (standby).",
        choices=(SIPHON, GRAVITY, STANDBY),
    )
    diameter: float = param("length", doc="Inside.", unit="mm", gt=0, le=1)
    drop: float | None = param(
        "length", doc="From its lip to its end, or to the water it ends under.", gt=0, default=None
    )
    length: float | None = param(
        "length",
        doc="Of its pipe. Left out: as long as its drop.",
        unit="m",
        gt=0,
        le=1e5,
        default=None,
    )
    lip_depth: float | None = param(
        "length",
        doc="How far its mouth lies below the overflow's edge: the head it has before the edge itself floods.",
        unit="mm",
        ge=0,
        default=None,
    )
    elbows: int = param(COUNT, doc="Of 90 degrees, on its way.", ge=0, le=1000, default=0)
    valve_opening: float | None = param(
        "fraction",
        doc="Of its ball valve: 0 shut, 1 open. Left out: there is none.",
        unit="%",
        ge=0,
        le=1,
        default=None,
    )
    run_slope: float | None = param(
        "fraction",
        doc="Fall over length of its flattest run. Left out: it has none, it goes straight down.",
        unit="%",
        gt=0,
        le=1,
        default=None,
    )


@dataclass(frozen=True)
class Span:
    """What is known of a capacity: it lies from `least` to `most`, equal where it is known."""

    least: float
    most: float

    @property
    def known(self) -> float | None:
        return self.least if self.least == self.most else None


@dataclass(frozen=True)
class Carried:
    """A drain with what it carries in each way, m3/s; None where what it takes is not told."""

    drain: Drain
    pipe: Piece | None
    siphon: float | None
    lip: Spread | None
    stack: float
    run: float | None

    @property
    def throttled(self) -> bool:
        """Whether a valve stands in the way of a drain that no valve belongs in."""
        return self.drain.valve_opening is not None and self.drain.valve_opening < 1

    @property
    def shallow(self) -> bool:
        """Whether a siphon's mouth is known to lie so near the surface that it draws air: less than its own width."""
        drain = self.drain
        return drain.kind == SIPHON and drain.lip_depth is not None and drain.lip_depth < drain.diameter

    @property
    def gravity(self) -> Span:
        """With air in it: the least of what lip, upright pipe and flat run take."""
        ways = [self.stack]
        if self.run is not None:
            ways.append(self.run)
        if self.lip is not None:
            ways.append(self.lip.value)
        most = 0.0 if self.drain.valve_opening == 0 else min(ways)
        return Span(0.0 if self.lip is None or self.throttled else most, most)

    @property
    def counted(self) -> Span:
        """What it carries in its kind of use. A standby counts as plain gravity drain, whatever it might do full."""
        if self.drain.kind != SIPHON:
            return self.gravity
        return Span(0.0, math.inf) if self.siphon is None else Span(self.siphon, self.siphon)

    @property
    def lacking(self) -> str | None:
        """Why what it carries is unknown, in words."""
        if self.counted.known is not None:
            return None
        if self.drain.kind == SIPHON:
            return f"the drop of {self.drain.name} is not told"
        if self.lip is None:
            return f"how far the mouth of {self.drain.name} lies below the edge is not told (lip_depth)"
        return f"what the part-shut valve leaves of {self.drain.name} is not known"


def carried(drain: Drain, fill: float, viscosity: float) -> Carried:
    """What one drain carries."""
    pipe = None
    if drain.drop is not None:
        valve = 0.0 if drain.valve_opening is None else valve_k(drain.valve_opening)
        length = drain.drop if drain.length is None else max(drain.length, drain.drop)
        [pipe] = drain_pieces(drain.diameter, length, drain.elbows, valve, PLASTIC_ROUGHNESS)
    return Carried(
        drain,
        pipe,
        None
        if pipe is None or drain.drop is None
        else siphon_capacity(pipe.diameter, drain.drop, pipe.length, pipe.k, pipe.roughness, viscosity),
        None if drain.lip_depth is None else lip_capacity(drain.diameter, drain.lip_depth),
        stack_capacity(drain.diameter, fill),
        None if drain.run_slope is None else part_full(drain.diameter, RUN_FILL, drain.run_slope).flow,
    )


def together(some: Sequence[Carried]) -> Span:
    """What drains carry side by side."""
    return Span(
        math.fsum(one.counted.least for one in some),
        math.fsum(one.counted.most for one in some),
    )


def with_the_largest_blocked(some: Sequence[Carried]) -> Span:
    """What is left of them when the one that carries most is stopped: the least that blocking one can leave."""
    rests = [together([*some[:at], *some[at + 1 :]]) for at in range(len(some))]
    return Span(min(rest.least for rest in rests), min(rest.most for rest in rests))


def refuse_what_cannot_be(drains: Sequence[Drain]) -> None:
    """Raises Invalid where there are no drains, or a pipe is shorter than its drop."""
    if not drains:
        raise Invalid("Name at least one drain.", "/drains")
    faults = [
        Fault(
            f"/drains/{at}/length",
            f"The pipe is shorter than its drop of {show(one.drop, 'length', 'm')}: measure one of them again.",
        )
        for at, one in enumerate(drains)
        if one.length is not None and one.drop is not None and one.length < one.drop * (1 - MEASURED_WITHIN)
    ]
    if faults:
        raise Invalid("The drains can't be as they are told.", faults=faults)
