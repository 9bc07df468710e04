"""Stretches outside target over a span of time, by the targets and plumbing of their time."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from sqlalchemy.orm import Session

from weirbook.actions.roll_up import join_of
from weirbook.engine.relations.excursions import Excursion, Seen, excursions
from weirbook.engine.relations.rollups import HOUR_MS, Hour
from weirbook.engine.relations.windows import Band
from weirbook.record import gauging
from weirbook.record.equipment import Gauge
from weirbook.record.gauging import Row
from weirbook.record.readings import ABOVE, BELOW, BETWEEN, IMPLAUSIBLE

LOOK_BACK_HOURS = 48
"""How far back it is looked first for how things stood at the start; each further look goes four times as far."""


def read_excursions(
    session: Session,
    gauges: Sequence[Gauge],
    bands: Mapping[int, Sequence[Band]],
    start_ms: int,
    end_ms: int,
) -> dict[int, list[Excursion]]:
    """For each gauge with a target, the excursions that touch [start_ms, end_ms), oldest first.

    One that began before the start is told whole. Readings from `end_ms` on are not looked at.
    """
    wanted = [gauge for gauge in gauges if any(_has_ends(band) for band in bands[gauge.id])]
    ids = [gauge.id for gauge in wanted]
    first, end = gauging.hour_range(start_ms, end_ms)
    hours = gauging.hours(session, ids, first - LOOK_BACK_HOURS, end)
    excluded, offsets = gauging.exclusions(session, ids), gauging.offsets(session, ids)
    found = {}
    for gauge in wanted:
        rows = _from_a_settled_hour(session, gauge, bands[gauge.id], hours.get(gauge.id, []), start_ms)
        raw = seen_hours(session, gauge, excluded.get(gauge.id, []), offsets.get(gauge.id, ()))
        told = excursions(rows, bands[gauge.id], end_ms, join_of(gauge), gauge.gap_ms, raw)
        found[gauge.id] = [one for one in told if one.end_ms is None or one.end_ms > start_ms]
    return found


def seen_hours(
    session: Session, gauge: Gauge, excluded: Sequence[tuple[int, int]], offsets: gauging.Offsets
) -> Callable[[int], Sequence[Seen]]:
    """Gives the readings of one epoch hour that can tell of a target."""

    def raw(hour: int) -> Sequence[Seen]:
        rows = gauging.between(session, gauge.id, hour * HOUR_MS, (hour + 1) * HOUR_MS)
        spans = gauging.bounds(session, gauge.id, [row.at_ms for row in rows if row.mark & BETWEEN])
        return [
            seen(row, spans.get(row.at_ms), gauging.offset_at(offsets, row.at_ms))
            for row in rows
            if not row.mark & IMPLAUSIBLE
            and not any(from_ms <= row.at_ms < to_ms for from_ms, to_ms in excluded)
        ]

    return raw


def seen(row: Row, span: tuple[float, float] | None, offset: float) -> Seen:
    """A stored reading with the ends between which the true value lies."""
    value = row.value + offset
    if row.mark & BELOW:
        return Seen(row.at_ms, value, float("-inf"), value)
    if row.mark & ABOVE:
        return Seen(row.at_ms, value, value, float("inf"))
    if span is not None:
        return Seen(row.at_ms, value, span[0] + offset, span[1] + offset)
    return Seen(row.at_ms, value, value, value)


def _from_a_settled_hour(
    session: Session, gauge: Gauge, bands: Sequence[Band], hours: Sequence[Hour], start_ms: int
) -> Sequence[Hour]:
    """The hours from the last one before the start at whose end nothing was open, however far back it lies."""
    back = LOOK_BACK_HOURS
    while True:
        before = [
            index for index, hour in enumerate(hours) if hour.last_ms < start_ms and _settled(hour, bands)
        ]
        if before:
            return hours[before[-1] :]
        earliest = hours[0].hour if hours else start_ms // HOUR_MS - back
        back *= 4
        earlier = gauging.hours(session, [gauge.id], earliest - back, earliest).get(gauge.id, [])
        if not earlier and earliest - back < 0:
            return hours
        hours = [*earlier, *hours]


def _settled(hour: Hour, bands: Sequence[Band]) -> bool:
    """Whether an hour's last reading lies inside the target of its time, hysteresis and all."""
    if not hour.n or hour.qualified:
        return False
    band = next((one for one in reversed(bands) if one.from_ms <= hour.last_ms), None)
    if band is None:
        return True
    return (band.low is None or hour.last >= band.low + band.hysteresis) and (
        band.high is None or hour.last <= band.high - band.hysteresis
    )


def _has_ends(band: Band) -> bool:
    return band.low is not None or band.high is not None
