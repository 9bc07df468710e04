"""A system's plumbing as it is told, and as it is when solved: tanks, sumps, pumps with their lines. SI floats."""

from __future__ import annotations

from dataclasses import dataclass, field

from weirbook.engine.relations.levels import Cell, Stand
from weirbook.engine.relations.pipes import Piece
from weirbook.engine.relations.pump_curves import PumpCurve
from weirbook.engine.relations.pump_lines import Duty
from weirbook.engine.relations.weirs import Edge, Spread

MEASURED, GIVEN, WORKED_OUT, RATED, STOPPED = "measured", "given", "worked out", "rated", "off"
"""How a pump's flow is known."""
CLOSED, BARE = "it is closed and stands full", "it has no sections"
"""Why a sump has no levels of its own."""


@dataclass(frozen=True)
class Pool:
    """A tank. Heights in m: `base` above the floor of the room, the others above its inside base."""

    name: str
    base: float | None
    depth: float
    rim: float | None
    crest: float | None
    edge: Edge | None
    drains_to: str | None


@dataclass(frozen=True)
class Outlet:
    """One end of a line: where it leads, its own pipes, its height against the recorded water there."""

    name: str
    to: str
    pieces: tuple[Piece, ...]
    level: float


@dataclass(frozen=True)
class Lift:
    """A pump that moves water from a section or tank to others. `drawn` and `to` name sections, tanks, sumps."""

    name: str
    drawn: str
    curve: PumpCurve | None
    trunk: tuple[Piece, ...]
    outlets: tuple[Outlet, ...]
    piped: bool
    holds: bool
    measured: float | None
    rated: float | None
    off: bool = False


@dataclass(frozen=True)
class Compartment:
    """A section in its sump: its cell (the flow in it is not looked at), share of the flow, depth as recorded."""

    cell: Cell
    share: float
    depth: float | None


@dataclass(frozen=True)
class Trough:
    """A sump. `last_depth` is the running depth of its last section; `drains_to` where one that stands alone ends."""

    name: str
    base: float | None
    height: float
    compartments: tuple[Compartment, ...]
    last_depth: float | None
    closed: bool
    drains_to: str | None


@dataclass(frozen=True)
class Plumbing:
    """All of one system. Names are unique over pools, troughs and compartments: paths serve."""

    pools: tuple[Pool, ...]
    troughs: tuple[Trough, ...]
    lifts: tuple[Lift, ...]
    temperature: float


@dataclass(frozen=True)
class Delivery:
    """What one end of a line brings; `loss` along its own pipes, None where none are recorded."""

    name: str
    to: str
    flow: float
    loss: float | None
    velocity: float | None


@dataclass(frozen=True)
class Lifted:
    """A pump at work. `flow` is what is reckoned with, by `basis`; `duty` what curve and line come to, if known."""

    name: str
    drawn: str
    flow: float | None
    basis: str | None
    duty: Duty | None
    deliveries: tuple[Delivery, ...]
    why: str | None


@dataclass(frozen=True)
class Brimmed:
    """A tank in flow: what comes in, what passes its edge, the head over its crest, its depth."""

    name: str
    inflow: float
    over_edge: float
    head: Spread | None
    depth: float
    freeboard: float | None
    drains_to: str | None


@dataclass(frozen=True)
class Passed:
    """A section in flow. `arrives` is the flow that reaches it, `flow` its share of that."""

    name: str
    arrives: float
    flow: float
    depth: float | None
    stand: Stand | None


@dataclass(frozen=True)
class Filled:
    """A sump in flow: its sections in flow order, and why levels are unknown, if they are.

    `left` is what arrives at its end and nothing draws: above zero it fills, below zero it is pumped out.
    """

    name: str
    inflow: float
    left: float
    sections: tuple[Passed, ...]
    why: str | None


@dataclass(frozen=True)
class Solved:
    """A system in flow. `settled` is False where the rounds ended before the flows stood still."""

    lifted: tuple[Lifted, ...]
    brimmed: tuple[Brimmed, ...]
    filled: tuple[Filled, ...]
    settled: bool
    missing: tuple[str, ...] = field(default=())

    def lacking(self, pool: Brimmed) -> float:
        """How much more is pumped out of a tank than comes in, m3/s; 0 where enough comes."""
        ends = (end for one in self.lifted if one.drawn == pool.name for end in one.deliveries)
        return max(sum(end.flow for end in ends) - pool.inflow, 0.0)
