"""A planned sheet laid out from the top down: words, pictures, pumps, and the lines between them."""

from __future__ import annotations

from collections.abc import Sequence

from weirbook.engine.relations.plumbing import Lifted, Pool
from weirbook.web.flow_pictures import (
    baffle_picture,
    pump_picture,
    section_picture,
    stirring_picture,
    sump_wall,
    tank_picture,
)
from weirbook.web.flow_plan import ENTRY, LABEL, LANE, MARGIN, PUMP_WORDS, RADIUS, Column, Plan, Vessel
from weirbook.web.flow_sheet import Line, Pipes, Point, Rect, Said, Sheet, Text, width_of, write
from weirbook.web.flow_words import NOTHING, Words

ENTRY_WORDS = ENTRY - 26
LEGEND = (
    ("pumped", "pumped"),
    ("gravity", "by gravity"),
    ("still", "stands still"),
    ("pumped-unknown", "dashed: unknown"),
    ("media", "media"),
)
PUMPS = {"pumped": "pump", "pumped-unknown": "pump-unknown", "still": "pump-off"}
"""Looks of pumps by those of their lines."""


def lay_out(words: Words) -> Sheet:
    """The whole sheet of a solved system."""
    return _Layout(Plan(words)).laid()


class _Layout:
    """Gathers, on the way down, at what heights the lines begin, turn and end."""

    def __init__(self, plan: Plan) -> None:
        self.plan, self.words = plan, plan.words
        self.sheet = Sheet(width=plan.width)
        self.tip_y: dict[Column, float] = {}
        self.floor_y: dict[Column, float] = {}
        self.leaves_at: dict[Vessel, Point] = {}
        self.pump_y: dict[str, float] = {}
        self.top_lane: dict[str, float] = {}
        self.round_lane: dict[Vessel, float] = {}
        self.low_lane: dict[str, float] = {}

    def laid(self) -> Sheet:
        plan = self.plan
        y = self._head()
        count = len(plan.risers)
        self.top_lane = {name: y + (count - index) * LANE for index, name in enumerate(plan.risers)}
        y = self._row(plan.upper, y + (count + 1) * LANE)
        y = self._pump_rows(plan.upper_pumps, y)
        for vessel in plan.round:
            y += LANE
            self.round_lane[vessel] = y
        for place in self._low_ends():
            y += LANE
            self.low_lane[place] = y
        y = self._row(plan.lower, y + LANE)
        y = self._pump_rows(plan.lower_pumps, y)
        self._draw_lines()
        self.sheet.height = self._foot(y + 16) + MARGIN
        return self.sheet

    def _low_ends(self) -> Sequence[str]:
        """Sections of the lower row that water comes to, from vessels or by pumps."""
        columns = [column for vessel in self.plan.lower for column in vessel.columns]
        return [column.place for column in columns if column.entries]

    def _head(self) -> float:
        room = self.sheet.width - 2 * MARGIN
        y = write(self.sheet, MARGIN, 14, room, [Said(self.words.title(), True, 2, size=18)])
        said = list(self.words.elsewhere())
        if not self.plan.columns:
            said.append(Said("Nothing is recorded here that holds water."))
        return write(self.sheet, MARGIN, y + 4, min(room, 640.0), said)

    def _row(self, row: Sequence[Vessel], y: float) -> float:
        """What comes in, pictures standing on one floor, captions below; gives where it ends."""
        if not row:
            return y
        entries = {
            (entry, column): self._entry_words(entry, column)
            for vessel in row
            for column in vessel.columns
            for entry in column.entries
        }
        zone = max((write(Sheet(), 0, 0, ENTRY_WORDS, said) for said in entries.values()), default=0.0)
        for (entry, column), said in entries.items():
            write(self.sheet, self.plan.entry_x[entry, column.place] + 9, y, ENTRY_WORDS, said)
        floor = y + zone + 22 + max(vessel.height for vessel in row)
        return max(self._vessel(vessel, floor) for vessel in row) + 10

    def _entry_words(self, entry: str, column: Column) -> Sequence[Said]:
        plan = self.plan
        if entry in plan.lifted:
            lift = next(one for one in self.words.flow.plumbing.lifts if one.name == entry)
            to = [one.to for one in lift.outlets if plan.columns.get(one.to) is column]
            return self.words.delivery(plan.lifted[entry], to)
        sources = self._sources(entry)
        return self.words.draining([one.name for one in sources], sum(plan.leaving(one) for one in sources))

    def _sources(self, entry: str) -> Sequence[Vessel]:
        return self.plan.down.get(entry) or [one for one in self.plan.round if one.name == entry]

    def _vessel(self, vessel: Vessel, floor: float) -> float:
        """One vessel standing on `floor` with its caption below; gives where that ends."""
        top = floor - vessel.height
        for column in vessel.columns:
            self.tip_y[column], self.floor_y[column] = top + 12, floor
        return (
            self._tank(vessel, top, floor)
            if isinstance(vessel.source, Pool)
            else self._sump(vessel, top, floor)
        )

    def _tank(self, vessel: Vessel, top: float, floor: float) -> float:
        column, pool = vessel.columns[0], vessel.source
        assert isinstance(pool, Pool)
        one = self.plan.brimmed[vessel.name]
        certain = vessel.name not in self.words.doubtful
        edge = tank_picture(self.sheet, vessel.x, top, vessel.picture, pool, one, certain)
        for index in range(len(self.words.stirring(vessel.name))):
            stirring_picture(self.sheet, vessel.x + 24 + 44 * index, floor - 28)
        self.leaves_at[vessel] = (vessel.x + vessel.picture, edge)
        room = column.width - column.gutter - 6
        return write(self.sheet, column.x + column.gutter, floor + 4, room, self.words.tank(one))

    def _sump(self, vessel: Vessel, top: float, floor: float) -> float:
        trough, filled, sheet = vessel.source, self.plan.filled[vessel.name], self.sheet
        assert not isinstance(trough, Pool)
        ends = [write(sheet, vessel.x, top - 6, LABEL - 16, self.words.sump(filled))]
        water = top + 20.0
        for column, part, one in zip(vessel.columns, trough.compartments, filled.sections, strict=False):
            use = self.words.flow.uses[one.name]
            water = section_picture(sheet, column.x, top, column.width, trough, part, one, use)
            x = column.x + max(column.gutter, 6.0)
            room = column.width - max(column.gutter, 6.0) - 8
            ends.append(write(sheet, x, floor + 4, room, self.words.section(one)))
        for part, after in zip(trough.compartments, vessel.columns[1:], strict=False):
            baffle_picture(sheet, after.x, top, trough, part.cell.gate)
        sump_wall(sheet, vessel.picture_x, top, vessel.picture, trough.closed)
        self.leaves_at[vessel] = (vessel.picture_x + vessel.picture, water)
        return max(ends)

    def _pump_rows(self, pumps: Sequence[Lifted], y: float) -> float:
        """Each pump in a row of its own, its line to the right above its words."""
        for one in pumps:
            middle = y + 10 + RADIUS
            self.pump_y[one.name] = middle
            x, column = self.plan.pump_x(one), self.plan.columns.get(one.drawn)
            room = PUMP_WORDS
            if column is not None and one in self.plan.upper_pumps:
                room = column.x + column.width - x - RADIUS - 10
            y = (
                max(
                    write(self.sheet, x + RADIUS + 8, middle + 2, room, self.words.pump(one)), middle + RADIUS
                )
                + 6
            )
        return y

    def _draw_lines(self) -> None:
        """Lines that others pass over first, pumps last."""
        for place in self._low_ends():
            self._collector(self.plan.columns[place])
        for vessel in self.plan.round:
            self._round(vessel)
        for one in reversed((*self.plan.upper_pumps, *self.plan.lower_pumps)):
            self._pump_line(one)

    def _collector(self, column: Column) -> None:
        """What comes down from vessels to a section, on one lane."""
        sources = self.plan.down.get(column.place, [])
        if not sources:
            return
        lane, x = self.low_lane[column.place], self.plan.entry_x[column.place, column.place]
        lines = []
        for vessel in sources:
            lines.append(Line((*self._out_of(vessel, lane), (x, lane)), self._drain_look([vessel])))
        lines.append(Line(((x, lane), (x, self.tip_y[column])), self._drain_look(sources), True))
        self.sheet.shapes.append(Pipes(tuple(lines)))

    def _out_of(self, vessel: Vessel, lane: float) -> tuple[Point, ...]:
        x, y = self.leaves_at[vessel]
        return (x, y), (vessel.exit_x, y), (vessel.exit_x, lane)

    def _drain_look(self, vessels: Sequence[Vessel]) -> str:
        if any(self._doubted(vessel) for vessel in vessels):
            return "gravity-unknown"
        return "gravity" if sum(self.plan.leaving(one) for one in vessels) > NOTHING else "still"

    def _doubted(self, vessel: Vessel) -> bool:
        return not self.words.doubtful.isdisjoint({vessel.name, vessel.columns[-1].place})

    def _round(self, vessel: Vessel) -> None:
        """From a vessel of the upper row to another of it, by the edge of the sheet."""
        end = self.plan.columns[vessel.source.drains_to or ""]
        lane, riser = self.round_lane[vessel], self.plan.riser_x[vessel.name]
        over, x = self.top_lane[vessel.name], self.plan.entry_x[vessel.name, end.place]
        way = (*self._out_of(vessel, lane), (riser, lane), (riser, over), (x, over), (x, self.tip_y[end]))
        self.sheet.shapes.append(Pipes((Line(way, self._drain_look([vessel]), True),)))

    def _pump_line(self, one: Lifted) -> None:
        plan, x, y = self.plan, self.plan.pump_x(one), self.pump_y[one.name]
        look = "pumped" if one.flow else "still"
        if one.flow is None or not one.deliveries:
            look = "pumped-unknown"
        lines = []
        if (column := plan.columns.get(one.drawn)) is not None:
            lines.append(Line(((x, self.floor_y[column] + 1.5), (x, y - RADIUS)), look))
        for end in plan.ends[one.name]:
            riser, entry = plan.riser_x[one.name], plan.entry_x[one.name, end.place]
            lane = self.low_lane.get(end.place, self.top_lane[one.name])
            if look == "pumped":
                half = (y + lane) / 2
                lines.append(Line(((riser, half + 12), (riser, half)), look, True))
            way = ((x + RADIUS, y), (riser, y), (riser, lane), (entry, lane), (entry, self.tip_y[end]))
            lines.append(Line(way, look, True))
        self.sheet.shapes.append(Pipes(tuple(lines)))
        pump_picture(self.sheet, x, y, RADIUS, PUMPS[look])

    def _foot(self, y: float) -> float:
        """What the lines mean, and what the record lacks."""
        sheet, x = self.sheet, MARGIN
        for look, words in LEGEND:
            if look == "media":
                sheet.shapes.append(Rect(x, y - 10, 36, 12, look))
            else:
                sheet.shapes.append(Line(((x, y - 4), (x + 36, y - 4)), look))
            sheet.texts.append(Text(x + 44, y, words))
            x += 44 + width_of(words, 12.0) + 24
        notes = [*self.words.assumed(), *self.words.missing()]
        return write(sheet, MARGIN, y + 8, min(sheet.width - 2 * MARGIN, 900.0), notes)
