"""A solved system in words: names, numbers in the units the room prefers, captions, and the whole in sentences."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from weirbook.actions.finding import Finding, Verdict
from weirbook.actions.flow_doubts import doubtful, fed_by_unknown
from weirbook.actions.judge_flow import UNBALANCED
from weirbook.actions.section_pace import Pace, section_paces
from weirbook.actions.solve_flow import SystemFlow
from weirbook.engine.relations.plumbing import (
    BARE,
    CLOSED,
    GIVEN,
    MEASURED,
    STOPPED,
    Brimmed,
    Filled,
    Lifted,
    Passed,
    Trough,
)
from weirbook.engine.units import KINDS, from_si
from weirbook.record.equipment import Pump
from weirbook.record.places import FLOATING, ROOTED
from weirbook.web.flow_sheet import TIED, Said

NOTHING = 1e-9
"""m3/s: 0.004 L/h, no flow to a keeper."""
NO_DEPTH = 1e-6
"""m."""
MOST_MARKS = 3
MOST_MISSING = 8
USES = {FLOATING: "floating plants", ROOTED: "rooted plants"}
WAYS = {"along": "along", "up": "upwards", "down": "downwards"}
OVER = {
    "mean_velocity": ("mean velocity", "velocity"),
    "inlet_velocity": ("inlet velocity", "velocity"),
    "shortest_residence": ("water stays", "time"),
}


@dataclass(frozen=True)
class Mark:
    """A limit passed: "act" or "watch", and why."""

    verdict: str
    reason: str

    @property
    def words(self) -> str:
        return f"{self.verdict.upper()}: {self.reason}"


class Words:
    """What is said of each part of one system in flow."""

    def __init__(self, flow: SystemFlow, findings: Sequence[Finding], units: Mapping[str, str]) -> None:
        self.flow, self.units = flow, units
        self.doubtful = doubtful(flow)
        self.paces: dict[str, Pace] = {}
        for filled in flow.solved.filled:
            self.paces |= section_paces(flow, filled)
        self.marks = self._marks(findings)

    def name(self, place: str) -> str:
        """What the keeper calls a place (by its path) or a pump (by its handle); its path where it is none of these."""
        flow = self.flow
        for rows in (flow.tanks, flow.sumps, flow.sections, flow.pumps):
            if (row := rows.get(place)) is not None:
                return " ".join(str(row.name or row.handle).split())
        return place

    def amount(self, si: float | None, kind: str) -> str:
        """A quantity at three significant digits, "unknown" for nothing."""
        return "unknown" if si is None else f"{self.figure(si, kind)}{TIED}{self._unit(kind)}"

    def figure(self, si: float, kind: str, digits: int = 3) -> str:
        value = float(f"{from_si(si, self._unit(kind), kind):.{digits}g}")
        return f"{value:.0f}" if value.is_integer() else f"{value:.10f}".rstrip("0").rstrip(".")

    def _unit(self, kind: str) -> str:
        return self.units.get(kind) or ("min" if kind == "time" else KINDS[kind].default)

    def flow_at(self, place: str, si: float) -> str:
        """A flow through a place that a pump of unknown flow may feed."""
        known = self.amount(si, "flow")
        if place not in self.doubtful:
            return known
        return f"{known} and an unknown flow" if si > NOTHING else "unknown flow"

    def title(self) -> str:
        return f"{self.flow.system.name or self.flow.system.handle}: water in flow"

    def caption(self, place: str) -> Sequence[Said]:
        """The marks of a place as boxes."""
        marks = self.marks.get(place, ())
        shown = [Said(one.words, True, 7, one.verdict) for one in marks[:MOST_MARKS]]
        if len(marks) > MOST_MARKS:
            shown.append(Said(f"and {len(marks) - MOST_MARKS} more in the findings"))
        return shown

    def tank(self, one: Brimmed) -> Sequence[Said]:
        return [
            Said(self.name(one.name), True, 4),
            *(Said(words) for words in self._tank_facts(one)),
            *(Said(f"{name} stirs, moves no net flow") for name in self.stirring(one.name)),
            *self.caption(one.name),
        ]

    def _tank_facts(self, one: Brimmed) -> Iterator[str]:
        if one.drains_to is None or one.inflow - one.over_edge > NOTHING:
            yield f"{self.flow_at(one.name, one.inflow)} in"
        if one.drains_to is None:
            yield "where it drains to is unknown" if one.inflow > NOTHING else "drains nowhere"
        elif one.head is None:
            yield f"{self.flow_at(one.name, one.over_edge)} out"
        elif one.name in self.doubtful:
            yield f"{self.flow_at(one.name, one.over_edge)} over the edge, head unknown"
        else:
            low, head, high = (
                self.figure(end, "length", 2) for end in (one.head.low, one.head.value, one.head.high)
            )
            span = f" ({low}{TIED}to{TIED}{high})" if low != high else ""
            over = self.amount(one.over_edge, "flow")
            yield f"{over} over the edge, head {head}{TIED}{self._unit('length')}{span}"
        yield f"water {self.amount(one.depth, 'length')} deep"
        yield self._freeboard(one.freeboard)

    def _freeboard(self, freeboard: float | None) -> str:
        if freeboard is None:
            return "height of its rim unknown"
        if freeboard < 0:
            return f"{self.amount(-freeboard, 'length')} above the rim"
        return f"{self.amount(freeboard, 'length')} to the rim"

    def stirring(self, tank: str) -> Sequence[str]:
        """The pumps that only stir a tank and run."""
        return [
            str(pump.name or pump.handle)
            for pump in self.flow.circulating
            if pump.to_tank is not None and pump.to_tank.path == tank and self.flow.runs(pump)
        ]

    def sump(self, one: Filled) -> Sequence[Said]:
        return [
            Said(self.name(one.name), True, 4),
            *(Said(words, most_lines=6) for words in self._sump_facts(one)),
            *self.caption(one.name),
        ]

    def _sump_facts(self, one: Filled) -> Iterator[str]:
        known = self.amount(one.inflow, "flow")
        if fed_by_unknown(self.flow, one, self.doubtful):
            known = f"{known} and an unknown flow" if one.inflow > NOTHING else "unknown flow"
        yield f"{known} in"
        if one.why == CLOSED:
            yield "closed, stands full"
        elif one.why == BARE:
            yield "no sections recorded"
        elif one.why is not None:
            yield f"levels unknown: {self._named(one.why)}"
        if abs(one.left) > max(NOTHING, UNBALANCED * one.inflow) and not self._doubts(one):
            more = self.amount(abs(one.left), "flow")
            yield f"{more} more comes than is drawn" if one.left > 0 else f"{more} more is drawn than comes"

    def _doubts(self, one: Filled) -> bool:
        return one.name in self.doubtful or any(part.name in self.doubtful for part in one.sections)

    def section(self, one: Passed) -> Sequence[Said]:
        return [
            Said(self.name(one.name), True, 4),
            *(Said(words) for words in self._section_facts(one)),
            *self.caption(one.name),
        ]

    def _section_facts(self, one: Passed) -> Iterator[str]:
        flow, pace = self.flow, self.paces[one.name]
        use = flow.uses[one.name]
        yield f"{USES.get(use, use)}, {WAYS[flow.sections[one.name].direction]}"
        if one.flow < -NOTHING:
            yield f"short of {self.amount(-one.flow, 'flow')}: pumps draw more than comes"
            return
        through = self.flow_at(one.name, one.flow)
        if one.arrives - one.flow > NOTHING:
            through += f" of the {self.amount(one.arrives, 'flow')} that come"
        yield through
        if one.name in self.doubtful or pace.mean_velocity is None:
            yield "mean velocity unknown"
        else:
            yield f"mean velocity {self.amount(pace.mean_velocity, 'velocity')}"
        trough = self.trough_of(one.name)
        if trough.closed:
            return
        if one.depth is None:
            yield "level unknown"
            return
        by_record = one.stand is None or one.stand.surface is None
        yield f"water {self.amount(one.depth, 'length')} deep{', as recorded' if by_record else ''}"
        yield self._freeboard(trough.height - one.depth)

    def trough_of(self, section: str) -> Trough:
        return next(
            trough
            for trough in self.flow.plumbing.troughs
            if any(part.cell.name == section for part in trough.compartments)
        )

    def pump(self, one: Lifted) -> Sequence[Said]:
        return [
            Said(self.name(one.name), True, 4),
            *(Said(words) for words in self._pump_facts(one)),
            *self.caption(f"{Pump.PLURAL}/{one.name}"),
        ]

    def _pump_facts(self, one: Lifted) -> Iterator[str]:
        if one.basis == STOPPED:
            yield "off"
            return
        if one.flow is None:
            yield f"flow unknown: {self._named(one.why or 'none is recorded')}"
            return
        yield f"{self.amount(one.flow, 'flow')}, {one.basis}"
        if one.duty is not None:
            if one.basis in (MEASURED, GIVEN):
                yield f"curve and line come to {self.amount(one.duty.flow, 'flow')}"
            else:
                yield f"lifts {self.amount(one.duty.head, 'length')}"
        if not one.deliveries:
            yield f"how it parts is unknown: {self._named(one.why or 'not recorded')}"

    def _named(self, why: str) -> str:
        """A reason with the names of the places in it."""
        return " ".join(self.name(word) if "/" in word else word for word in why.split(" "))

    def delivery(self, pump: Lifted, to: Sequence[str]) -> Sequence[Said]:
        """What a line brings to a place, by the paths that lead there."""
        flows = [one.flow for one in pump.deliveries if one.to in to]
        total = sum(flows)
        if pump.flow is None or not flows:
            brought = "unknown flow"
        elif total < -NOTHING:
            brought = f"{self.amount(-total, 'flow')} runs back"
        else:
            brought = self.amount(total, "flow")
        return [Said(brought, most_lines=2), Said(f"by {self.name(pump.name)}", most_lines=2)]

    def draining(self, sources: Sequence[str], total: float) -> Sequence[Said]:
        """What comes down to a place from the vessels above it."""
        doubts = [self.flow_at(one, total) for one in sources if one in self.doubtful]
        brought = doubts[0] if doubts else self.amount(total, "flow")
        names = " and ".join(self.name(one) for one in sources)
        return [Said(brought, most_lines=2), Said(f"from {names}", most_lines=2)]

    def missing(self) -> Sequence[Said]:
        """What the record lacks, to stand below the drawing."""
        lacks = self.flow.missing
        shown = [
            Said(f"{self._of(one.of)}: {self._named(one.what)}", most_lines=2) for one in lacks[:MOST_MISSING]
        ]
        if len(lacks) > MOST_MISSING:
            shown.append(Said(f"and {len(lacks) - MOST_MISSING} more"))
        return [Said("Not recorded", True), *shown] if shown else []

    def assumed(self) -> Sequence[Said]:
        """What was taken because it is not recorded."""
        taken = [Said(one.text, most_lines=2) for one in self.flow.assumed if one.origin != "record"]
        return [Said("Assumed", True), *taken] if taken else []

    def _of(self, path: str) -> str:
        return self.name(path.removeprefix(f"{Pump.PLURAL}/"))

    def elsewhere(self) -> Sequence[Said]:
        """Marks of places that are not drawn, as the system itself."""
        solved = self.flow.solved
        drawn = {
            *(one.name for one in solved.brimmed),
            *(one.name for one in solved.filled),
            *(part.name for one in solved.filled for part in one.sections),
            *(f"{Pump.PLURAL}/{one.name}" for one in solved.lifted),
        }
        return [said for place in self.marks if place not in drawn for said in self.caption(place)]

    def _marks(self, findings: Sequence[Finding]) -> Mapping[str, Sequence[Mark]]:
        """By place: what was found, and what the solved levels and velocities pass where nothing was found."""
        found: dict[str, list[Mark]] = {}
        for one in findings:
            if one.verdict in (Verdict.ACT, Verdict.WATCH):
                found.setdefault(self._place_of(one), []).append(Mark(one.verdict.value, one.reason))
        for place, mark in self._seen():
            if place not in found or "rim" in mark.reason:
                found.setdefault(place, []).append(mark)
        return found

    def _place_of(self, one: Finding) -> str:
        """Where a mark stands: at the pump that it came from, else at its place."""
        for pump in self.flow.pumps:
            if one.origin.startswith((f"/v1/{Pump.PLURAL}/{pump}/", f"/v1/{Pump.PLURAL}/{pump}?")):
                return f"{Pump.PLURAL}/{pump}"
        return one.place

    def _seen(self) -> Iterator[tuple[str, Mark]]:
        for brimmed in self.flow.solved.brimmed:
            if brimmed.freeboard is not None and brimmed.freeboard < 0:
                yield brimmed.name, Mark("act", "water stands above the rim")
        for filled in self.flow.solved.filled:
            for one in filled.sections:
                if one.depth is not None and one.depth > self.trough_of(one.name).height + NO_DEPTH:
                    yield one.name, Mark("act", "water stands above the rim")
                for limit in self.paces[one.name].over_limits if one.flow > NOTHING else ():
                    yield one.name, Mark("act", self._over(one.name, limit))

    def _over(self, section: str, limit: str) -> str:
        words, kind = OVER[limit]
        name = "residence_time" if kind == "time" else limit
        value = self.amount(getattr(self.paces[section], name), kind)
        allowed = (self.flow.sections[section].limits or {})[limit].si(kind)
        return f"{words} {value}, limit {self.amount(allowed, kind)}"

    def whole(self) -> str:
        """The drawing in sentences, along the flow: pumps, tanks, edges, sections; then what is missing."""
        solved = self.flow.solved
        told = " ".join(
            [
                *(self._told(f"Pump {self._way(one)}", self.pump(one)[1:]) for one in solved.lifted),
                *(
                    self._told(f"Tank {self._drains(one.name, one.drains_to)}", self.tank(one)[1:])
                    for one in solved.brimmed
                ),
                *(sentence for one in solved.filled for sentence in self._sump_told(one)),
                *(f"{said.words.rstrip('.')}." for said in self.elsewhere()),
                *(f"Assumed: {said.words.rstrip('.')}." for said in self.assumed()[1:]),
                *(f"Not recorded: {said.words}." for said in self.missing()[1:]),
            ]
        )
        return told.replace(TIED, " ")

    def _way(self, one: Lifted) -> str:
        brought = {end.to: end.flow for end in one.deliveries}
        lift = next(lift for lift in self.flow.plumbing.lifts if lift.name == one.name)
        ends = " and ".join(
            f"{self.name(to)} ({self.amount(brought.get(to), 'flow')})"
            for to in dict.fromkeys(outlet.to for outlet in lift.outlets)
        )
        return f"{self.name(one.name)} from {self.name(one.drawn)} to {ends}"

    def _drains(self, place: str, to: str | None) -> str:
        return f"{self.name(place)}, draining to {self.name(to)}" if to else self.name(place)

    def _sump_told(self, one: Filled) -> Iterator[str]:
        trough = next(trough for trough in self.flow.plumbing.troughs if trough.name == one.name)
        yield self._told(f"Sump {self._drains(one.name, trough.drains_to)}", self.sump(one)[1:])
        for part in one.sections:
            yield self._told(f"Section {self.name(part.name)}", self.section(part)[1:])

    def _told(self, subject: str, caption: Sequence[Said]) -> str:
        said = [one.words for one in caption if not one.mark]
        marks = [f" {one.words.rstrip('.')}." for one in caption if one.mark]
        return f"{subject}: {'; '.join(said)}.{''.join(marks)}"
