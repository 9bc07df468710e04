"""The quick way in for readings that leave nothing to judge: plain numbers of sensors, where nothing stands yet.

Most of what ever arrives is so. Whatever else arrives, the whole body goes the careful way (take_readings.py), which
judges each reading and stores the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple, Protocol

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.find_gauges import Taker
from weirbook.actions.judge_reading import AHEAD_MS, OLDEST_MS, Refused, Sent, plausible, possible
from weirbook.actions.roll_up import NO_LIMIT_MS, Rules, rules_of
from weirbook.engine.parameters import Parameter
from weirbook.engine.relations.rollups import HOUR_MS, Figures, Hour, extend
from weirbook.engine.times import instant_ms
from weirbook.engine.units import from_si, unit
from weirbook.errors import Invalid
from weirbook.record import gauging
from weirbook.record.access import Role
from weirbook.record.database import room_of
from weirbook.record.equipment import Gauge
from weirbook.record.parameters import parameters
from weirbook.record.remembered import remembered

INSTANT_CAP = 40
"""Longer texts of an instant are judged with care."""
SPARSE = 100
"""Hours beyond those written to that may be read with them in one query."""


class Plain(Protocol):
    """A reading that names its gauge and says a number."""

    @property
    def gauge(self) -> str | None: ...
    @property
    def value(self) -> float: ...
    @property
    def unit(self) -> str | None: ...
    @property
    def at(self) -> str | None: ...


class Trusted(NamedTuple):
    """A sensor in use, what its numbers may be without being judged, and the names of its unit."""

    id: int
    low: float
    high: float
    units: frozenset[str]
    rules: Rules


Stored = tuple[int, int, int, float, int]
"""A row of `reading`: room, gauge, instant, value, mark."""


def take_at_face_value(
    session: Session, taker: Taker, sent: Sequence[Plain], *, now: int, stamp: bool
) -> int | None:
    """Store readings of which none has to be judged: how many, or None, having done nothing, where one has.

    `now` and `stamp` are as for `take_readings`.
    """
    trusted = trusted_gauges(session)
    rows = _rows(room_of(session), _allowed(trusted, taker, sent), sent, now if stamp else None, now)
    if not rows:
        return None
    rows.sort()
    rules = {trusted[one.gauge or ""].id: trusted[one.gauge or ""].rules for one in sent}
    gauging.lock_gauges(session, rules)
    if trusted_gauges(session) is not trusted:  # edited before the lock was ours
        return None
    hours = _hours(session, rows, rules)
    if hours is None:
        return None
    gauging.add_rows(session, rows)
    gauging.keep_hours_of_gauges(session, hours)
    return len(rows)


def trusted_gauges(session: Session) -> Mapping[str, Trusted]:
    """The room's gauges, by handle, whose numbers need no judging within bounds."""
    return remembered(session, ("trusted gauges", room_of(session)), _find_trusted)


def _find_trusted(session: Session) -> Mapping[str, Trusted]:
    asked = sa.select(Gauge).where(Gauge.retired_at_ms.is_(None), Gauge.by_hand.is_(False))
    gauges = session.scalars(asked).all()
    known = parameters(session, {gauge.parameter for gauge in gauges})
    rules = rules_of(session, [gauge.id for gauge in gauges], 0, NO_LIMIT_MS)
    return {
        gauge.handle: _trusted(gauge, known[gauge.parameter], rules[gauge.id])
        for gauge in gauges
        if not (known[gauge.parameter].contact or rules[gauge.id].offsets)
    }


def _trusted(gauge: Gauge, known: Parameter, rules: Rules) -> Trusted:
    low, high = gauge.plausible_low, gauge.plausible_high
    lows = [known.possible_low, None if low is None else low.si(gauge.kind)]
    highs = [known.possible_high, None if high is None else high.si(gauge.kind)]
    floor = max((from_si(one, gauge.unit, gauge.kind) for one in lows if one is not None), default=-1e12)
    ceiling = min((from_si(one, gauge.unit, gauge.kind) for one in highs if one is not None), default=1e12)
    named = unit(gauge.kind, gauge.unit)
    return Trusted(
        gauge.id,
        _within(gauge, known, floor, 1),
        _within(gauge, known, ceiling, -1),
        frozenset((named.name, *named.aliases)),
        rules,
    )


def _within(gauge: Gauge, known: Parameter, bound: float, inwards: int) -> float:
    """The bound itself if a judge takes it, which may fail by the rounding of its unit; else a hair inwards."""
    try:
        possible(Sent(0, bound), gauge.unit, known)
    except Refused:
        taken = False
    else:
        taken = plausible(gauge, bound)
    return bound if taken else bound + inwards * 1e-9 * max(1.0, abs(bound))


def _allowed(trusted: Mapping[str, Trusted], taker: Taker, sent: Sequence[Plain]) -> Mapping[str, Trusted]:
    """The gauges among those sent that the taker may post to: a helper to none, as all are sensors."""
    if taker.role is Role.KEEPER:
        return trusted
    if taker.role is Role.SENSOR:
        return {
            name: trusted[name]
            for name in {one.gauge for one in sent}
            if name is not None and name in trusted and trusted[name].id in taker.gauges
        }
    return {}


def _rows(
    room_id: int, gauges: Mapping[str, Trusted], sent: Sequence[Plain], unsaid: int | None, now: int
) -> list[Stored] | None:
    """What is to be stored; None where one reading has to be judged. `unsaid` is the instant of those without."""
    instants: dict[str | None, int] = {} if unsaid is None else {None: unsaid}
    rows: list[Stored] = []
    for one in sent:
        gauge = gauges.get(one.gauge)  # type: ignore[arg-type]
        value = one.value
        if gauge is None or not gauge.low <= value <= gauge.high:
            return None
        if one.unit is not None and one.unit not in gauge.units:
            return None
        at_ms = instants.get(one.at)
        if at_ms is None:
            at_ms = _instant(one.at, now)
            if at_ms is None:
                return None
            instants[one.at] = at_ms
        rows.append((room_id, gauge.id, at_ms, value, 0))
    return rows


def _instant(said: str | None, now: int) -> int | None:
    if said is None or len(said) > INSTANT_CAP:
        return None
    try:
        at_ms = instant_ms(said)
    except Invalid:
        return None
    return at_ms if OLDEST_MS <= at_ms <= now + AHEAD_MS else None


def _hours(
    session: Session, rows: Sequence[Stored], rules: Mapping[int, Rules]
) -> list[tuple[int, Hour]] | None:
    """The hours with the rows added, by gauge; None where a row may be there already or an hour must be made anew."""
    added = _by_hour(rows)
    if added is None:
        return None
    first, last = min(hour for _, hour, _ in added), max(hour for _, hour, _ in added)
    if (last - first + 1) * len(rules) > len(added) + SPARSE:
        return None
    held = gauging.hours_by_gauge(session, list(rules), first, last + 1)
    kept: list[tuple[int, Hour]] = []
    uncertain: set[int] = set()
    for gauge_id, number, figures in added:
        its, hour = rules[gauge_id], held.get((gauge_id, number))
        if its.leaves_out_of(number) or (hour is not None and hour.n and figures[0][0] <= hour.last_ms):
            return None
        if hour is not None and hour.implausible:
            uncertain.add(gauge_id)  # an hour doesn't tell when those were
        kept.append((gauge_id, extend(hour, figures, its.join, its.gap_in(number))))
    begin, end = first * HOUR_MS, (last + 1) * HOUR_MS
    if any(not _new(gauging.instants_between(session, one, begin, end), one, rows) for one in uncertain):
        return None
    return kept


def _new(there: set[int], gauge_id: int, rows: Sequence[Stored]) -> bool:
    return there.isdisjoint(at_ms for _, its, at_ms, _, _ in rows if its == gauge_id)


def _by_hour(rows: Sequence[Stored]) -> list[tuple[int, int, list[Figures]]] | None:
    """Sorted rows by gauge and hour; None where an instant is said twice."""
    found: list[tuple[int, int, list[Figures]]] = []
    inside: list[Figures] = []
    gauge, last, end = -1, -1, -1
    for _, gauge_id, at_ms, value, _ in rows:
        if gauge_id != gauge or at_ms >= end:
            hour = at_ms // HOUR_MS
            inside = []
            found.append((gauge_id, hour, inside))
            gauge, end = gauge_id, (hour + 1) * HOUR_MS
        elif at_ms == last:
            return None
        last = at_ms
        inside.append((at_ms, value, False, False))
    return found
