"""A reading arrives: find its gauge, convert it, judge whether it can be, store it and its rollups."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.create import create
from weirbook.actions.read_value import Value, read_value
from weirbook.actions.roll_up import Rules, add_to_hours, recompute_hours, rules_of
from weirbook.engine.parameters import Parameter
from weirbook.engine.relations.rollups import HOUR_MS
from weirbook.engine.times import instant_ms
from weirbook.engine.units import convert, number, to_si, unit
from weirbook.errors import Invalid, Unknown
from weirbook.record import gauging
from weirbook.record.access import Role, uuid7
from weirbook.record.database import room_of
from weirbook.record.equipment import Gauge
from weirbook.record.gauging import Row
from weirbook.record.names import find_place
from weirbook.record.parameters import parameters
from weirbook.record.places import Place
from weirbook.record.readings import IMPLAUSIBLE, Correction

AHEAD_MS = 10 * 60 * 1000
"""A clock may run ahead this much; more is a wrong clock."""
OLDEST_MS = 946_684_800_000
"""2000-01-01: before it stands a clock that lost its time and began at its epoch again."""


@dataclass(frozen=True, slots=True)
class Sent:
    """One reading as it was sent; `index` is its place in what was sent."""

    index: int
    value: object
    gauge: str | None = None
    place: str | None = None
    parameter: str | None = None
    unit: str | None = None
    at: str | None = None


@dataclass(frozen=True, slots=True)
class Refusal:
    """A reading that can't be taken: a type that a program can test, and why."""

    index: int
    type: str
    message: str
    field: str = ""


@dataclass(frozen=True)
class Taker:
    """Who posts: a sensor only to its listed gauges, a helper only to gauges read by hand."""

    role: Role
    name: str
    gauges: frozenset[int] = frozenset()


@dataclass
class Taken:
    """What became of a batch: stored + repeated + refused = sent; flagged and corrected are part of stored."""

    sent: int
    stored: int = 0
    repeated: int = 0
    flagged: int = 0
    corrected: int = 0
    made_gauges: list[str] = field(default_factory=list)
    refusals: list[Refusal] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Judged:
    sent: Sent
    gauge: Gauge
    row: Row
    bounds: tuple[float, float] | None


def take_readings(
    session: Session,
    taker: Taker,
    rows: Sequence[Sent | Refusal],
    *,
    now: int,
    correct: bool = False,
    stamp: bool = False,
) -> Taken:
    """Store what can be stored and say what can't, rows refused before among them. The caller rolls back if
    nothing may be refused.

    With `stamp` a reading that doesn't say when is taken to be of now; of several each must say, or every
    retry would make them new readings.
    """
    sent = [row for row in rows if isinstance(row, Sent)]
    taken = Taken(len(rows), refusals=[row for row in rows if isinstance(row, Refusal)])
    gauges = _Gauges(session, taker, now, taken)
    gauges.look_up(sent)
    judged = []
    for one in sent:
        try:
            judged.append(_judge(gauges, one, now, stamp=stamp))
        except _Refused as refused:
            taken.refusals.append(refused.refusal)
    by_gauge: dict[int, list[_Judged]] = defaultdict(list)
    for each in judged:
        by_gauge[each.gauge.id].append(each)
    gauging.lock_gauges(session, by_gauge)
    rules = rules_of(session, by_gauge, *_whole_hours(judged))
    for gauge_id, its_rows in by_gauge.items():
        _store(session, taker, its_rows, taken, rules[gauge_id], now=now, correct=correct)
    taken.refusals.sort(key=lambda refusal: refusal.index)
    return taken


def _whole_hours(judged: Sequence[_Judged]) -> tuple[int, int]:
    """From the start of the first hour that readings fall in to the end of the last."""
    instants = [each.row.at_ms for each in judged] or [0]
    return min(instants) // HOUR_MS * HOUR_MS, (max(instants) // HOUR_MS + 1) * HOUR_MS


class _Refused(Exception):
    def __init__(self, one: Sent, type: str, message: str, field: str = "") -> None:
        self.refusal = Refusal(one.index, type, message, field)


class _Gauges:
    """The gauges that a batch names, found in one query, or made at first use for a test by hand."""

    def __init__(self, session: Session, taker: Taker, now: int, taken: Taken) -> None:
        self.session, self.taker, self.now, self.taken = session, taker, now, taken
        self.by_handle: dict[str, Gauge] = {}
        self.by_place: dict[tuple[str, str], Gauge] = {}
        self.known: dict[str, Parameter] = {}

    def look_up(self, sent: Iterable[Sent]) -> None:
        handles = {one.gauge for one in sent if one.gauge is not None}
        for start in range(0, len(handles), gauging.CHUNK):
            some = sorted(handles)[start : start + gauging.CHUNK]
            for gauge in self.session.scalars(sa.select(Gauge).where(Gauge.handle.in_(some))):
                self.by_handle[gauge.handle] = gauge
        self._know(gauge.parameter for gauge in self.by_handle.values())

    def _know(self, names: Iterable[str]) -> None:
        if missing := set(names) - self.known.keys():
            self.known |= parameters(self.session, missing)

    def of(self, one: Sent) -> Gauge:
        gauge = self._named(one) if one.gauge is not None else self._at_place(one)
        if gauge.retired_at_ms is not None:
            raise _Refused(one, "retired-gauge", f"Gauge '{gauge.handle}' is retired.", "gauge")
        if self.taker.role is Role.SENSOR and gauge.id not in self.taker.gauges:
            raise _Refused(one, "not-allowed", f"This sensor key may not post to '{gauge.handle}'.", "gauge")
        if self.taker.role is Role.HELPER and not gauge.by_hand:
            raise _Refused(
                one,
                "not-allowed",
                f"A helper posts to gauges read by hand; '{gauge.handle}' is a sensor.",
                "gauge",
            )
        return gauge

    def _named(self, one: Sent) -> Gauge:
        if one.place is not None or one.parameter is not None:
            raise _Refused(one, "bad-row", "Name a gauge, or a place and a parameter, not both.", "gauge")
        gauge = self.by_handle.get(one.gauge or "")
        if gauge is None:
            raise _Refused(
                one,
                "unknown-gauge",
                f"There is no gauge '{one.gauge:.80}'. GET /v1/gauges lists them.",
                "gauge",
            )
        return gauge

    def _at_place(self, one: Sent) -> Gauge:
        if one.place is None or one.parameter is None:
            raise _Refused(one, "bad-row", "Name a gauge, or a place and a parameter.", "gauge")
        key = (one.place, one.parameter)
        if key not in self.by_place:
            self.by_place[key] = self._find_or_make(one)
        return self.by_place[key]

    def _find_or_make(self, one: Sent) -> Gauge:
        """A value said by place and parameter was taken by hand: sensors name their gauge."""
        if self.taker.role is Role.SENSOR:
            raise _Refused(one, "not-allowed", "A sensor key names its gauge.", "gauge")
        assert one.place is not None and one.parameter is not None
        try:
            place = find_place(self.session, one.place)
        except Unknown as trouble:
            raise _Refused(one, "unknown-place", trouble.message, "place") from None
        self._know([one.parameter])
        if one.parameter not in self.known:
            message = f"There is no parameter '{one.parameter:.60}'. GET /v1/parameters lists them."
            raise _Refused(one, "unknown-parameter", message, "parameter")
        asked = sa.select(Gauge).where(
            Gauge.place_id == place.id,
            Gauge.parameter == one.parameter,
            Gauge.by_hand.is_(True),
            Gauge.retired_at_ms.is_(None),
        )
        found = self.session.scalars(asked).all()
        if not found:
            self._wait_for_others_at(place)
            found = self.session.scalars(asked).all()
        if len(found) > 1:
            names = ", ".join(gauge.handle for gauge in found)
            raise _Refused(
                one,
                "several-gauges",
                f"More than one gauge is read by hand there: name one of {names}.",
                "gauge",
            )
        return found[0] if found else self._make(one, place)

    def _wait_for_others_at(self, place: Place) -> None:
        """Of two first tests at one place the later finds the gauge that the earlier made. SQLite has one writer."""
        row = Place.__table__.c
        here = sa.select(row.id).where(row.room_id == place.room_id, row.id == place.id)
        self.session.execute(here.with_for_update(key_share=True))

    def _make(self, one: Sent, place: Place) -> Gauge:
        known = self.known[one.parameter or ""]
        if place.retired_at_ms is not None:
            raise _Refused(one, "retired-place", f"'{place.path}' is retired.", "place")
        unit_name = self._unit(one, known)
        _possible(one, unit_name, known)  # a test that can't be taken leaves no gauge behind
        values = {
            "name": f"{place.name} {known.name.replace('_', ' ')} by hand"[:120],
            "place": place.path,
            "parameter": known.name,
            "kind": known.kind,
            "join": known.join,
            "unit": unit_name,
            "by_hand": True,
        }
        gauge = create(self.session, Gauge, values, now=self.now)
        self.taken.made_gauges.append(gauge.handle)
        return gauge

    def _unit(self, one: Sent, known: Parameter) -> str:
        """The unit said, if gauges of the parameter may have it; else the reading is converted to the usual one."""
        try:
            said = None if one.unit is None else unit(known.kind, one.unit).name
        except Invalid as trouble:
            raise _Refused(one, "bad-unit", trouble.message, "unit") from None
        return said if said in known.units else known.units[0]


def _judge(gauges: _Gauges, one: Sent, now: int, *, stamp: bool) -> _Judged:
    at_ms = _instant(one, now, stamp=stamp)
    gauge = gauges.of(one)
    known = gauges.known[gauge.parameter]
    value = _possible(one, gauge.unit, known)
    mark = value.mark | (0 if _plausible(gauge, value.figure) else IMPLAUSIBLE)
    bounds = None if value.low is None or value.high is None else (value.low, value.high)
    return _Judged(one, gauge, Row(gauge.id, at_ms, value.figure, mark), bounds)


def _possible(one: Sent, unit_name: str, known: Parameter) -> Value:
    """The value in the gauge's unit, if it can be read and can be at all."""
    try:
        value = read_value(one.value, contact=known.contact)
    except Invalid as trouble:
        raise _Refused(one, "bad-value", trouble.message, "value") from None
    value = _in_unit(one, unit_name, known, value)
    _refuse_impossible(one, unit_name, known, value)
    return value


def _instant(one: Sent, now: int, *, stamp: bool) -> int:
    if one.at is None:
        if not stamp:
            raise _Refused(
                one, "time-missing", "Each reading of several says when it was taken: send `at`.", "at"
            )
        return now
    try:
        at_ms = instant_ms(one.at)
    except Invalid as trouble:
        raise _Refused(one, "bad-time", trouble.message, "at") from None
    if at_ms > now + AHEAD_MS:
        raise _Refused(one, "time-ahead", f"{one.at} lies ahead of now: set the clock of what sent it.", "at")
    if at_ms < OLDEST_MS:
        raise _Refused(one, "time-too-old", f"{one.at} lies before 2000: a clock that lost its time.", "at")
    return at_ms


def _in_unit(one: Sent, unit_name: str, known: Parameter, value: Value) -> Value:
    if one.unit is None or one.unit == unit_name:
        return value
    try:
        figure, low, high = (
            None if size is None else convert(size, one.unit, unit_name, known.kind)
            for size in (value.figure, value.low, value.high)
        )
    except Invalid as trouble:
        raise _Refused(one, "bad-unit", trouble.message, "unit") from None
    assert figure is not None
    return Value(figure, value.mark, low, high)


def _refuse_impossible(one: Sent, unit_name: str, known: Parameter, value: Value) -> None:
    for size in (value.figure, value.low, value.high):
        if size is None:
            continue
        si = to_si(size, unit_name, known.kind)
        low, high = known.possible_low, known.possible_high
        slack = 1e-9 * max(1.0, abs(si))
        if (low is not None and si < low - slack) or (high is not None and si > high + slack):
            message = f"{number(size)} {unit_name} is impossible for {known.name.replace('_', ' ')}. Check value and unit."
            raise _Refused(one, "impossible-value", message, "value")


def _plausible(gauge: Gauge, figure: float) -> bool:
    low, high = gauge.plausible_low, gauge.plausible_high
    if low is None and high is None:
        return True
    si = to_si(figure, gauge.unit, gauge.kind)
    return (low is None or si >= low.si(gauge.kind)) and (high is None or si <= high.si(gauge.kind))


def _store(
    session: Session,
    taker: Taker,
    rows: Sequence[_Judged],
    taken: Taken,
    rules: Rules,
    *,
    now: int,
    correct: bool,
) -> None:
    """Store the judged readings of one gauge, repeats and conflicts judged in the order they were sent."""
    gauge = rows[0].gauge
    instants = sorted({each.row.at_ms for each in rows})
    there = gauging.present(session, gauge.id, instants)
    ranges = gauging.bounds(session, gauge.id, [at for at, row in there.items()])
    fresh: dict[int, _Judged] = {}
    mended: set[int] = set()
    for each in rows:
        at_ms = each.row.at_ms
        earlier = fresh[at_ms].row if at_ms in fresh else there.get(at_ms)
        span = fresh[at_ms].bounds if at_ms in fresh else ranges.get(at_ms)
        if earlier is None:
            fresh[at_ms] = each
        elif _same(earlier, span, each):
            taken.repeated += 1
            continue
        elif correct and at_ms not in fresh:
            _correct(session, taker, earlier, span, each, now)
            there[at_ms], mended = each.row, mended | {at_ms // HOUR_MS}
            ranges.pop(at_ms, None)
            if each.bounds is not None:
                ranges[at_ms] = each.bounds
            taken.corrected += 1
        else:
            taken.refusals.append(_conflict(each, earlier))
            continue
        taken.stored += 1
        taken.flagged += bool(each.row.mark & IMPLAUSIBLE)
    stored = [fresh[at_ms] for at_ms in sorted(fresh)]
    if stored:
        gauging.add(session, [each.row for each in stored])
        if spans := [(gauge.id, each.row.at_ms, *each.bounds) for each in stored if each.bounds is not None]:
            gauging.add_bounds(session, spans)
        add_to_hours(session, gauge.id, gauging.as_points(each.row for each in stored), rules)
    for hour in sorted(mended):
        recompute_hours(session, gauge.id, hour, hour + 1, rules)


def _same(earlier: Row, span: tuple[float, float] | None, each: _Judged) -> bool:
    """Equal at 12 significant digits, and said the same way."""
    figures = [(earlier.value, each.row.value), *zip(span or (), each.bounds or (), strict=False)]
    return (
        (earlier.mark ^ each.row.mark) & ~IMPLAUSIBLE == 0
        and (span is None) == (each.bounds is None)
        and all(number(one) == number(other) for one, other in figures)
    )


def _conflict(each: _Judged, earlier: Row) -> Refusal:
    return Refusal(
        each.sent.index,
        "reading-conflict",
        f"Gauge '{each.gauge.handle}' has {number(earlier.value)} {each.gauge.unit} at that instant already. "
        "Send it with on_conflict=correct if this one is right.",
        "value",
    )


def _correct(
    session: Session, taker: Taker, earlier: Row, span: tuple[float, float] | None, each: _Judged, now: int
) -> None:
    """Put the new value in place and keep the old one in a correction record."""
    session.add(
        Correction(
            room_id=room_of(session),
            id=uuid7(now),
            version=1,
            created_at_ms=now,
            updated_at_ms=now,
            gauge_id=earlier.gauge_id,
            at_ms=earlier.at_ms,
            old_value=earlier.value,
            old_mark=earlier.mark,
            old_low=span and span[0],
            old_high=span and span[1],
            new_value=each.row.value,
            new_mark=each.row.mark,
            corrected_by=taker.name,
        )
    )
    session.flush()
    gauging.replace(session, each.row)
    if each.bounds is not None:
        gauging.add_bounds(session, [(each.gauge.id, each.row.at_ms, *each.bounds)])


def problem_of(refusals: Sequence[Refusal]) -> Mapping[str, Any]:
    """The refused rows as an answer lists them."""
    return {
        "refusals": [
            {
                "index": r.index,
                "type": r.type,
                "pointer": f"/readings/{r.index}" + (f"/{r.field}" if r.field else ""),
                "message": r.message,
            }
            for r in refusals
        ]
    }
