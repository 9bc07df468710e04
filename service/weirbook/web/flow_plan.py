"""What stands where across a sheet that shows a system in flow, and which lines join it: a layout of our own.

Tanks, and sumps that stand alone, stand side by side above; the other sumps side by side below them. Water comes down
between the two rows on lanes, one for each section it ends in. Pumps stand below what they draw from; their lines go to
the right, up at the edge of the sheet, and back along the top, so that no line passes through words.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from weirbook.engine.relations.plumbing import Lifted, Pool, Trough
from weirbook.web.flow_pictures import SUMP_HEIGHT, TANK_HEIGHT, plan_width
from weirbook.web.flow_words import Words

MARGIN = 24.0
GAP = 30.0
LANE = 16.0
SLOT = 30.0
"""Beside the words of a column, for each pump that draws from it."""
EXIT = 34.0
"""Right of a vessel, for what it drains."""
ENTRY = 150.0
"""For the words beside a line that comes in from above."""
LABEL = 150.0
"""Left of a sump, for its own words."""
NARROWEST, WIDEST = 160.0, 300.0
METRE = 240.0
PUMP_WORDS = 240.0
RADIUS = 13.0
LEAST_SHEET = 740.0


@dataclass(eq=False)
class Column:
    """A tank or a section: what comes in from above, the pumps that draw from it, its place across the sheet."""

    place: str
    entries: list[str] = field(default_factory=list)
    """Handles of pumps; names of vessels; its own place, for all that comes down to it."""
    suctions: list[str] = field(default_factory=list)
    x: float = 0.0
    width: float = 0.0

    @property
    def gutter(self) -> float:
        return SLOT * len(self.suctions)

    def suction_x(self, pump: str) -> float:
        return self.x + 16 + SLOT * self.suctions.index(pump)


@dataclass(eq=False)
class Vessel:
    """A tank, or a sump with its sections; `picture` is the width of its drawn part."""

    source: Pool | Trough
    columns: list[Column]
    x: float = 0.0
    picture: float = 0.0

    @property
    def name(self) -> str:
        return self.source.name

    @property
    def picture_x(self) -> float:
        return self.x if isinstance(self.source, Pool) else self.x + LABEL

    @property
    def height(self) -> float:
        return TANK_HEIGHT if isinstance(self.source, Pool) else SUMP_HEIGHT

    @property
    def exit_x(self) -> float:
        return self.columns[-1].x + self.columns[-1].width + EXIT - 14


class Plan:
    """The vessels in two rows, the lines between them, and all that is known across the sheet.

    `down`: what comes down to each section of the lower row; `round`: vessels that drain to one of the upper row, by
    the edge of the sheet; `ends`: where each pump's line ends.
    """

    def __init__(self, words: Words) -> None:
        flow = words.flow
        self.words = words
        self.brimmed = {one.name: one for one in flow.solved.brimmed}
        self.filled = {one.name: one for one in flow.solved.filled}
        self.lifted = {one.name: one for one in flow.solved.lifted}
        troughs = flow.plumbing.troughs
        self.upper = [
            *(Vessel(one, [Column(one.name)]) for one in flow.plumbing.pools),
            *(_sump(one) for one in troughs if one.drains_to is not None),
        ]
        self.lower = [_sump(one) for one in troughs if one.drains_to is None]
        self.columns: dict[str, Column] = {}
        for vessel in (*self.upper, *self.lower):
            self.columns[vessel.name] = vessel.columns[0]
            self.columns |= {column.place: column for column in vessel.columns}
        self.down: dict[str, list[Vessel]] = {}
        self.round: list[Vessel] = []
        self.ends: dict[str, list[Column]] = {}
        self._join_vessels()
        self._join_pumps()
        self.entry_x: dict[tuple[str, str], float] = {}
        right = max(self._place(self.upper), self._place(self.lower))
        self.upper_pumps, self.lower_pumps = self._drawing_from(self.upper), self._drawing_from(self.lower)
        self.lower_pumps += [
            one for one in self.lifted.values() if one not in self.upper_pumps and one not in self.lower_pumps
        ]
        for one in self.lifted.values():
            right = max(right, self.pump_x(one) + RADIUS + 10 + PUMP_WORDS)
        self.risers = [
            *(one.name for one in self.upper_pumps if self.ends[one.name]),
            *(vessel.name for vessel in self.round),
            *(one.name for one in self.lower_pumps if self.ends[one.name]),
        ]
        self.riser_x = {name: right + 16 + index * LANE for index, name in enumerate(self.risers)}
        self.width = max(right + len(self.risers) * LANE + MARGIN, LEAST_SHEET)

    def _join_vessels(self) -> None:
        low = {column for vessel in self.lower for column in vessel.columns}
        for vessel in self.upper:
            end = self.columns.get(vessel.source.drains_to or "")
            if end in low and end is not None:
                self.down.setdefault(end.place, []).append(vessel)
            elif end is not None:
                self.round.append(vessel)
                end.entries.append(vessel.name)
        for place in self.down:
            self.columns[place].entries.append(place)

    def _join_pumps(self) -> None:
        for lift in self.words.flow.plumbing.lifts:
            found = [self.columns[one.to] for one in lift.outlets if one.to in self.columns]
            self.ends[lift.name] = list(dict.fromkeys(found))
            for column in self.ends[lift.name]:
                column.entries.append(lift.name)
            if lift.drawn in self.columns:
                self.columns[lift.drawn].suctions.append(lift.name)

    def _place(self, row: Sequence[Vessel]) -> float:
        """Set a row's vessels side by side; gives its right end."""
        x = MARGIN
        for vessel in row:
            vessel.x = x
            at = vessel.picture_x
            for column in vessel.columns:
                column.x, column.width = at, self._width(vessel, column)
                at += column.width
            vessel.picture = at - vessel.picture_x
            if isinstance(vessel.source, Pool):
                needed = ENTRY * max(len(vessel.columns[0].entries) - 1, 0) + 60.0
                vessel.picture = min(vessel.picture, max(self._plan_width(vessel), needed))
            x = at + GAP + (EXIT if vessel in self.upper else 0.0)
        exits = [vessel.exit_x for vessel in self.upper] if row is self.lower else []
        for column in (column for vessel in row for column in vessel.columns):
            entries = [column.x + 20 + ENTRY * index for index in range(len(column.entries))]
            while any(abs(one - other) < 9 for one in entries for other in exits):
                # A line that goes down must not run on in one that ends above it.
                entries = [one + 10 for one in entries]
            for entry, at in zip(column.entries, entries, strict=True):
                self.entry_x[entry, column.place] = at
        return x - GAP

    def _plan_width(self, vessel: Vessel) -> float:
        return plan_width(self.words.flow.tanks[vessel.name].surface_area_si, 160.0, WIDEST)

    def _width(self, vessel: Vessel, column: Column) -> float:
        least = max(ENTRY * len(column.entries) + 20, column.gutter + NARROWEST)
        if isinstance(vessel.source, Pool):
            return max(self._plan_width(vessel), least + 40)
        length = next(
            (part.cell.length for part in vessel.source.compartments if part.cell.name == column.place), 0.0
        )
        return max(min(METRE * length, WIDEST), least)

    def _drawing_from(self, row: Sequence[Vessel]) -> list[Lifted]:
        """From the right on: so the lines of the next ones pass left of the words of these."""
        columns = [column for vessel in row for column in vessel.columns]
        return [
            self.lifted[name]
            for column in sorted(columns, key=lambda one: -one.x)
            for name in reversed(column.suctions)
        ]

    def pump_x(self, pump: Lifted) -> float:
        column = self.columns.get(pump.drawn)
        return MARGIN + RADIUS if column is None else column.suction_x(pump.name)

    def leaving(self, vessel: Vessel) -> float:
        """What drains from a vessel, m3/s."""
        if vessel.name in self.brimmed:
            return self.brimmed[vessel.name].over_edge
        places = {column.place for column in vessel.columns}
        drawn = [end.flow for one in self.lifted.values() if one.drawn in places for end in one.deliveries]
        return self.filled[vessel.name].inflow - sum(drawn)


def _sump(trough: Trough) -> Vessel:
    names = [part.cell.name for part in trough.compartments] or [trough.name]
    return Vessel(trough, [Column(name) for name in names])
