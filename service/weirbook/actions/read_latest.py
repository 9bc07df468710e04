"""The latest reading of each gauge, and what it says of the target in force."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from weirbook.actions.find_stuck import find_stuck
from weirbook.engine.relations.windows import Band
from weirbook.record import gauging
from weirbook.record.equipment import Gauge
from weirbook.record.gauging import Row
from weirbook.record.readings import ABOVE, BELOW, BETWEEN, IMPLAUSIBLE
from weirbook.record.targets import bands
from weirbook.record.whereabouts import Whereabouts


@dataclass(frozen=True)
class Latest:
    """A gauge's last reading as taken, the offset of its instant, and the band in force now, in the gauge's unit."""

    gauge: Gauge
    row: Row | None
    bounds: tuple[float, float] | None
    excluded: bool
    low: float | None
    high: float | None
    offset: float = 0.0
    stuck: bool | None = None
    """Whether it reports and never moves; None where that can't be told."""

    @property
    def value(self) -> float | None:
        """The corrected value: as taken, and its offset."""
        return None if self.row is None else self.row.value + self.offset

    @property
    def implausible(self) -> bool:
        return self.row is not None and bool(self.row.mark & IMPLAUSIBLE)

    @property
    def has_target(self) -> bool:
        return self.low is not None or self.high is not None

    @property
    def in_target(self) -> bool | None:
        """None: there is no target in force, no reading that counts, or one that can't tell ("<5" against 3)."""
        if self.row is None or not self.has_target or self.implausible or self.excluded:
            return None
        lowest, highest = self._reach(self.row)
        inside_low = None if self.low is None else _side(lowest, highest, self.low)
        inside_high = None if self.high is None else _side(-highest, -lowest, -self.high)
        told = [one for one in (inside_low, inside_high) if one is not None]
        if "outside" in told:
            return False
        return True if all(one == "inside" for one in told) else None

    def _reach(self, row: Row) -> tuple[float, float]:
        """The lowest and highest that the true value may be."""
        value = row.value + self.offset
        if row.mark & BELOW:
            return float("-inf"), value
        if row.mark & ABOVE:
            return value, float("inf")
        if row.mark & BETWEEN and self.bounds is not None:
            return self.bounds[0] + self.offset, self.bounds[1] + self.offset
        return value, value

    def silent(self, now: int) -> bool | None:
        """Whether it misses three expected readings; None where it reports at no fixed pace."""
        if self.gauge.gap_ms is None:
            return None
        return self.row is None or now - self.row.at_ms > self.gauge.gap_ms


def _side(lowest: float, highest: float, bound: float) -> str:
    """Where a value that lies between two ends stands to a lower bound."""
    if lowest >= bound:
        return "inside"
    return "outside" if highest < bound else "unknown"


def read_latest(session: Session, gauges: Sequence[Gauge], where: Whereabouts, now: int) -> list[Latest]:
    """The latest of each gauge, in their order."""
    wanted = bands(session, gauges, {gauge.id: where.chain(gauge.place_id) for gauge in gauges})
    ids = [gauge.id for gauge in gauges]
    instants, stuck = gauging.last_instants(session, ids), find_stuck(session, gauges, now)
    excluded, offsets = gauging.exclusions(session, ids), gauging.offsets(session, ids)
    found = []
    for gauge in gauges:
        at_ms = instants.get(gauge.id)
        row = None if at_ms is None else gauging.present(session, gauge.id, [at_ms])[at_ms]
        reach = gauging.bounds(session, gauge.id, [row.at_ms]) if row and row.mark & BETWEEN else {}
        band = _in_force(wanted[gauge.id], now)
        found.append(
            Latest(
                gauge,
                row,
                reach.get(row.at_ms) if row else None,
                row is not None
                and any(start <= row.at_ms < end for start, end in excluded.get(gauge.id, ())),
                None if band is None else band.low,
                None if band is None else band.high,
                0.0 if row is None else gauging.offset_at(offsets.get(gauge.id, ()), row.at_ms),
                stuck.get(gauge.id),
            )
        )
    return found


def _in_force(wanted: Sequence[Band], now: int) -> Band | None:
    return next((one for one in reversed(wanted) if one.from_ms <= now), None)
