"""One way for a stop to go: as recorded, or with an air hole or a check valve that fails. For `stop_flow`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from weirbook.engine.calculators.chamber_verdicts import OK, OVER, SLACK, UNKNOWN
from weirbook.engine.calculators.stop_parts import FallingTank, ReturnPipe, known
from weirbook.engine.calculators.sump_water import RunningSump
from weirbook.engine.relations.basins import (
    JOINED,
    WALLED,
    Drawn,
    Rest,
    at_rest,
    drained,
    drawn,
    held,
    highest_that_holds,
    volume_below,
)
from weirbook.engine.saying import less, more, near

NO_WATER = 1e-9
"""m3. A thousandth of a millilitre is no water on the floor."""

RECORDED, BLOCKED, STUCK = "as recorded", "air hole blocked", "check valve stuck"
BOTH = f"{BLOCKED} and {STUCK}"


@dataclass(frozen=True)
class Stop:
    """The pump stops. What comes over the edge falls into the first section, what the return gives into the last."""

    name: str
    blocked: bool
    stuck: bool
    sump: RunningSump
    rim: float
    intake: float | None
    tanks: Sequence[FallingTank]
    pipes: Sequence[ReturnPipe]

    @cached_property
    def into_first(self) -> float:
        return known([part for tank in self.tanks for part in tank.over_the_edge()])

    @cached_property
    def siphoned(self) -> float:
        return known([tank.from_siphon(self.blocked) for tank in self.tanks])

    @cached_property
    def from_pipes(self) -> float:
        return known([pipe.falls(self.stuck) for pipe in self.pipes])

    @property
    def fallen(self) -> float:
        """All that is known to come down, m3."""
        return self.into_first + self.siphoned + self.from_pipes

    @cached_property
    def unknown_parts(self) -> tuple[str, ...]:
        """What must be recorded before all that falls is known."""
        tanks = [words for tank in self.tanks for words in tank.lacking(self.blocked)]
        return (*tanks, *(words for pipe in self.pipes for words in pipe.lacking(self.stuck)))

    @cached_property
    def running(self) -> tuple[float, ...] | None:
        return self.sump.known_levels(self.sump.running_depth)

    @cached_property
    def running_water(self) -> float | None:
        return None if self.running is None else held(self.sump.cells, self.running)

    @property
    def after(self) -> float | None:
        """All water that is in the sump or on the floor after the stop, m3."""
        return None if self.running_water is None else self.running_water + self.fallen

    def _settled(
        self, running: Sequence[float], rim: float, untold: float, siphoned: float | None = None
    ) -> Rest:
        cells = self.sump.cells
        volumes = [volume_below(cell, level) for cell, level in zip(cells, running, strict=True)]
        volumes[0] += self.into_first
        volumes[-1] += (self.siphoned if siphoned is None else siphoned) + self.from_pipes
        return at_rest(cells, volumes, rim, untold)

    @cached_property
    def at_best(self) -> Rest | None:
        """Where the water settles if gates that nobody recorded let it through."""
        return None if self.running is None else self._settled(self.running, self.rim, JOINED)

    @cached_property
    def at_worst(self) -> Rest | None:
        """Where it settles if they don't. The same where all gates are recorded."""
        if self.running is None or not self.sump.untold_gates:
            return self.at_best
        return self._settled(self.running, self.rim, WALLED)

    @cached_property
    def verdict(self) -> str:
        if self.at_best is None or self.at_worst is None:
            return UNKNOWN
        if self.at_best.spilled > NO_WATER:
            return OVER
        return OK if self.at_worst.spilled <= NO_WATER and not self.unknown_parts else UNKNOWN

    @property
    def rest(self) -> Rest | None:
        """Where the water settles; None unless all is known for it."""
        return None if self.unknown_parts or self.sump.untold_gates else self.at_best

    @property
    def spilled(self) -> float | None:
        """What goes on the floor, m3; None where it can't be known."""
        return None if self.rest is None else self.rest.spilled if self.rest.spilled > NO_WATER else 0.0

    @cached_property
    def level_between_walls(self) -> float | None:
        """The highest level there would be if the walls went on upward."""
        if self.rest is None or self.running is None:
            return None
        if self.rest.spilled <= NO_WATER:
            return self.rest.highest
        return self._settled(self.running, math.inf, JOINED).highest

    @property
    def margin(self) -> float | None:
        """From the highest level to the rim; negative: by how much the walls would have to be higher."""
        return None if self.level_between_walls is None else self.rim - self.level_between_walls

    def _holds(self, last_level: float) -> bool | None:
        running = self.sump.known_levels(last_level)
        if running is None:
            return None
        if max(running) > self.rim * (1 + SLACK):
            return False
        untold = WALLED if self.sump.untold_gates else JOINED
        return self._settled(running, self.rim, untold).spilled <= NO_WATER

    @property
    def _safe_is_known(self) -> bool:
        return not self.unknown_parts and self._holds(self.rim) is not None

    @cached_property
    def safe_level(self) -> float | None:
        """The highest running level of the return section at which nothing spills; None: unknown, or no level is."""
        return (
            highest_that_holds(lambda level: bool(self._holds(level)), self.rim)
            if self._safe_is_known
            else None
        )

    @property
    def no_level_is_safe(self) -> bool:
        return self._safe_is_known and self.safe_level is None

    @cached_property
    def siphon_shorter_by(self) -> float | None:
        """By how much less the returns may siphon, each alike, so that nothing spills; None: not needed or no help."""
        if self.rest is None or self.rest.spilled <= NO_WATER or self.running is None:
            return None
        drops = [(tank.plan_area or 0.0, tank.drop(self.blocked) or 0.0) for tank in self.tanks]
        left, raised = self.rest.spilled, 0.0
        for end in sorted({drop for _, drop in drops if drop}):
            area = math.fsum(area for area, drop in drops if drop >= end)
            if left <= area * (end - raised):
                raised += left / area
                siphons = math.fsum(area * max(0.0, drop - raised) for area, drop in drops)
                settled = self._settled(self.running, self.rim, JOINED, siphons)
                return raised if settled.spilled <= NO_WATER else None
            left -= area * (end - raised)
            raised = end
        return None

    @cached_property
    def drawn_at_restart(self) -> Drawn | None:
        """The sump when all that fell is up in the tanks again and nothing has come back yet."""
        return None if self.rest is None else drawn(self.sump.cells, self.rest, self.fallen)

    @cached_property
    def level_running_again(self) -> float | None:
        """Of the return section once the water goes round again: what spilled is missing there."""
        if self.rest is None or self.running_water is None or self.sump.running_depth is None:
            return None
        depth, left = self.sump.running_depth, self.running_water - self.rest.spilled
        if self.rest.spilled <= NO_WATER:
            return depth
        return highest_that_holds(lambda level: (self.sump.water(level) or 0.0) <= left, depth) or 0.0

    @cached_property
    def lowest_at_restart(self) -> float | None:
        """The lowest level of the return section while the tanks fill again, and after."""
        if self.drawn_at_restart is None or self.level_running_again is None:
            return None
        return min(self.drawn_at_restart.levels[-1], self.level_running_again)

    @cached_property
    def missing_at_restart(self) -> float | None:
        """Water to be added so that the return section stays at the intake, m3."""
        if self.rest is None or self.running_water is None or self.intake is None:
            return None
        cells, running = self.sump.cells, self.running_water - self.rest.spilled
        filling = held(cells, drained(cells, self.rest.levels, self.intake)) - (
            math.fsum(self.rest.volumes) - self.fallen
        )
        again = (self.sump.water(self.intake) or 0.0) - running
        return max(0.0, filling, again) if self.restart_verdict == OVER else 0.0

    @property
    def restart_verdict(self) -> str:
        if self.lowest_at_restart is None or self.intake is None:
            return UNKNOWN
        return OVER if self.lowest_at_restart < self.intake * (1 - SLACK) else OK

    @property
    def why(self) -> str:
        falls = near(self.fallen, "volume", "L")
        if self.verdict == OVER and self.at_best is not None:
            least = "" if self.rest is not None else "at least "
            gone = near(self.at_best.spilled, "volume", "L")
            words = f"{least}{falls} come down, and {least}{gone} go over the rim."
            return f"{words[:1].upper()}{words[1:]}"
        if self.verdict == OK:
            left = (
                ""
                if self.margin is None
                else f", and {near(self.margin, 'length', 'mm')} are left to the rim"
            )
            return f"{falls} come down{left}."
        known = (
            f"At least {falls} come down." if self.fallen > NO_WATER else "How much comes down is unknown."
        )
        return f"{known} Not recorded: {'; '.join(self.lacking)}."

    @property
    def lacking(self) -> tuple[str, ...]:
        """All that must be recorded before the stop is known, in words."""
        gates = (f"how water passes on from {name}" for name in self.sump.untold_gates)
        return (*self.unknown_parts, *self.sump.lacking, *gates)

    @property
    def mend(self) -> str | None:
        """What would keep all water in the sump, in words; None where nothing is known to spill."""
        if self.verdict != OVER:
            return None
        if self.rest is None:
            return f"It spills by what is known already. To say what mends it, record: {'; '.join(self.lacking)}."
        told = []
        if self.siphon_shorter_by is not None:
            by = more(self.siphon_shorter_by, "length", "mm")
            told.append(
                f"raise the ends of the returns by {by}, or drill a second air hole {by} above them"
                if self.blocked
                else f"raise the air hole by {by}"
            )
        depth, safe = self.sump.running_depth, self.safe_level
        if depth is not None and safe is not None and safe > (self.intake or 0.0):
            by, to = more(depth - safe, "length", "mm"), less(safe, "length", "cm")
            told.append(f"lower the running level of the return section by {by} to {to}")
        if not told:
            return (
                "Neither a lower running level nor a shorter siphon alone is enough: a larger sump, or both."
            )
        words = ", or ".join(told)
        return f"{words[:1].upper()}{words[1:]}."


def stops(
    sump: RunningSump,
    rim: float,
    intake: float | None,
    tanks: Sequence[FallingTank],
    pipes: Sequence[ReturnPipe],
) -> tuple[Stop, ...]:
    """The ways a stop can go: those with a stuck check valve only where there is one."""
    ways = [(RECORDED, False, False), (BLOCKED, True, False)]
    if any(pipe.check_valve for pipe in pipes):
        ways += [(STUCK, False, True), (BOTH, True, True)]
    return tuple(Stop(*way, sump, rim, intake, tanks, pipes) for way in ways)
