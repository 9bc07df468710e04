"""A reading arrives: find its gauge, judge it, store it and its rollups."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.find_gauges import Gauges, Taker
from weirbook.actions.judge_reading import Refusal, Refused, Sent, instant, plausible, possible
from weirbook.actions.roll_up import Rules, add_to_hours, recompute_hours, rules_of
from weirbook.engine.inputs import bare
from weirbook.engine.relations.rollups import HOUR_MS
from weirbook.engine.times import instant_text
from weirbook.engine.units import Quantity, number
from weirbook.errors import Conflict, Fault, Forbidden, Invalid, Trouble
from weirbook.record import gauging
from weirbook.record.access import uuid7
from weirbook.record.changes import tell
from weirbook.record.database import room_of
from weirbook.record.equipment import Gauge
from weirbook.record.gauging import Row
from weirbook.record.readings import IMPLAUSIBLE, Correction


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
    of: list[tuple[str, int]] = field(default_factory=list)
    """Gauge and instant of each that could be read, in the order sent."""
    repeats: set[int] = field(default_factory=set)
    flags: set[int] = field(default_factory=set)
    """Which were there already, and which were stored and flagged, by their index."""


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
    gauges = Gauges(session, taker, now)
    gauges.look_up(sent)
    judged = []
    for one in sent:
        try:
            judged.append(_judge(gauges, one, now, stamp=stamp))
        except Refused as refused:
            taken.refusals.append(refused.refusal)
    taken.made_gauges = gauges.made
    taken.of = [(each.gauge.handle, each.row.at_ms) for each in judged]
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


def _judge(gauges: Gauges, one: Sent, now: int, *, stamp: bool) -> _Judged:
    at_ms = instant(one, now, stamp=stamp)
    gauge = gauges.of(one)
    known = gauges.known[gauge.parameter]
    value = possible(one, gauge.unit, known)
    mark = value.mark | (0 if plausible(gauge, value.figure) else IMPLAUSIBLE)
    bounds = None if value.low is None or value.high is None else (value.low, value.high)
    return _Judged(one, gauge, Row(gauge.id, at_ms, value.figure, mark), bounds)


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
            taken.repeats.add(each.sent.index)
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
        if each.row.mark & IMPLAUSIBLE:
            taken.flagged += 1
            taken.flags.add(each.sent.index)
    stored = [fresh[at_ms] for at_ms in sorted(fresh)]
    if stored:
        gauging.add(session, [each.row for each in stored])
        if spans := [(gauge.id, each.row.at_ms, *each.bounds) for each in stored if each.bounds is not None]:
            gauging.add_bounds(session, spans)
        points = gauging.as_points((each.row for each in stored), (), rules.offsets)
        add_to_hours(session, gauge.id, points, rules)
        if gauge.by_hand:
            _tell(session, gauge, stored)
    for hour in sorted(mended):
        recompute_hours(session, gauge.id, hour, hour + 1, rules)


def _tell(session: Session, gauge: Gauge, stored: Sequence[_Judged]) -> None:
    """Tests by hand are what people did; the log has no readings of sensors."""
    last = stored[-1].row
    value = bare(Quantity(last.value, gauge.unit))
    words = value if len(stored) == 1 else f"{len(stored)} readings, the last {value}"
    tell(
        session,
        "taken",
        "reading",
        gauge.handle,
        place=gauge.place.path,
        words=words,
        origin=f"/v1/gauges/{gauge.handle}/latest",
        fields={
            "count": len(stored),
            "from": instant_text(stored[0].row.at_ms),
            "to": instant_text(last.at_ms),
        },
    )


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
        f"Gauge '{each.gauge.handle}' has {bare(Quantity(earlier.value, each.gauge.unit))} at that instant already. "
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


def refusal_of(taken: Taken, *, single: bool) -> Trouble:
    """What to raise for a body of which nothing may be refused: a conflict is never mistaken for anything else."""
    refused = taken.refusals
    conflict = all(one.type == "reading-conflict" for one in refused)
    denied = all(one.type == "not-allowed" for one in refused)
    kind = Conflict if conflict else Forbidden if denied else Invalid
    base = "" if single else "/readings/{}"
    faults = [
        Fault(base.format(one.index) + (f"/{one.field}" if one.field else ""), one.message)
        for one in refused[:100]
    ]
    message = (
        refused[0].message
        if len(refused) == 1
        else f"{len(refused)} of {taken.sent} readings can't be taken; nothing was stored."
    )
    return kind(
        message,
        faults=faults,
        slug=refused[0].type if len({one.type for one in refused}) == 1 else "readings-refused",
        more=None if single else {"refusals": problem_of(refused[:100])["refusals"]},
    )
