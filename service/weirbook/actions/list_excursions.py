"""Excursions of gauges over a span of the past, told whole."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy.orm import Session

from weirbook.actions.read_excursions import read_excursions
from weirbook.engine.relations.excursions import Excursion
from weirbook.record.equipment import Gauge
from weirbook.record.wanted import bands_over

AHEAD_MS = 48 * 3_600_000
"""How far beyond a span its last excursion is first followed to its end; each further look goes four times as far."""


def list_excursions(
    session: Session, gauges: Sequence[Gauge], start_ms: int, end_ms: int, now: int
) -> dict[int, list[Excursion]]:
    """By gauge, the excursions that touch [start_ms, end_ms), oldest first; the last is followed to its end."""
    wanted = bands_over(session, gauges, start_ms, now)
    found = read_excursions(session, gauges, wanted, start_ms, end_ms)
    ahead, reached = AHEAD_MS, end_ms
    while reached < now and (open_ones := [gauge for gauge in gauges if _is_open(found.get(gauge.id))]):
        reached = min(now, end_ms + ahead)
        ahead *= 4
        for gauge_id, told in read_excursions(session, open_ones, wanted, start_ms, reached).items():
            found[gauge_id] = [one for one in told if one.start_ms < end_ms]
    return found


def _is_open(told: Sequence[Excursion] | None) -> bool:
    return told is not None and len(told) > 0 and told[-1].end_ms is None
