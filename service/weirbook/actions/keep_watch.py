"""The watch over a room: what opened, what closed, who is to be told, held to the readings as they stand.

Each round asks the readings themselves and compares with what was said before, so that a restart, a late buffer or
a corrected reading neither repeats nor misses anything; alerts close by themselves.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.alarm import Alarm, alarm_of
from weirbook.actions.judge_gauges import CALLS
from weirbook.actions.plan_task import room_zone
from weirbook.actions.read_excursions import read_excursions
from weirbook.engine.inputs import bare
from weirbook.engine.relations.excursions import BELOW, Excursion
from weirbook.engine.relations.rollups import HOUR_MS
from weirbook.engine.relations.windows import Band
from weirbook.engine.times import clock_at
from weirbook.engine.units import Quantity, number
from weirbook.record import gauging
from weirbook.record.access import uuid7
from weirbook.record.alerts import CONTACT, EXCURSION, SILENCE, Alert, GaugeWatch
from weirbook.record.changes import name_it, tell
from weirbook.record.database import room_of, take_next
from weirbook.record.equipment import Gauge
from weirbook.record.names import find
from weirbook.record.readings import IMPLAUSIBLE
from weirbook.record.targets import Target, bands
from weirbook.record.tasks import Helper
from weirbook.record.whereabouts import whereabouts

BEHIND_MS = 3_600_000
"""How far the judged instant may lag in the record before it is written down for nothing else."""
CONTACT_MOVES = 500
"""Moves of one contact told one by one in a round; a float that flutters more is told by its last ones."""

Move = Callable[[Session], None]


def keep_watch(session: Session, now: int, *, heard_since: int = 0) -> int:
    """Do what is due in this room; how many moves that was. The session must be one that writes.

    `heard_since`: since when readings could arrive at all, as no gauge is silent for what nobody heard.
    """
    take_next(session, "watch")  # of two watchers at once the second waits, and then sees what the first did
    moves = find_moves(session, now, heard_since=heard_since)
    for move in moves:
        move(session)
    return len(moves)


def find_moves(session: Session, now: int, *, heard_since: int = 0) -> list[Move]:
    """What there is to do just now, nothing of it done yet."""
    room = _Room.look(session, now, heard_since)
    moves: list[Move] = []
    for gauge in room.gauges:
        moves += _Gauge(room, gauge).moves()
    in_use = {gauge.id for gauge in room.gauges}
    for alert in room.alerts:
        moves += _calls(alert, now) if alert.gauge_id in in_use else [_let_go(alert, now)]
    return moves


@dataclass
class _Room:
    """What a round reads once for all gauges."""

    session: Session
    now: int
    heard_since: int
    gauges: Sequence[Gauge]
    bands: Mapping[int, Sequence[Band]]
    last: Mapping[int, int]
    watches: Mapping[int, GaugeWatch]
    alerts: Sequence[Alert]
    excursions: Mapping[int, Sequence[Excursion]] = field(default_factory=dict)

    @classmethod
    def look(cls, session: Session, now: int, heard_since: int) -> _Room:
        alerts = session.scalars(sa.select(Alert).where(Alert.closed_at_ms.is_(None))).unique().all()
        in_use = sa.select(Gauge).where(Gauge.retired_at_ms.is_(None)).order_by(Gauge.id)
        gauges = session.scalars(in_use).unique().all()
        where = whereabouts(session, now)
        wanted = bands(session, gauges, {gauge.id: where.chain(gauge.place_id) for gauge in gauges})
        for gauge in gauges:
            if not _in_force(wanted[gauge.id], now) and gauge.parameter in CALLS:
                wanted[gauge.id] = [*wanted[gauge.id], _calling_band(gauge, wanted[gauge.id])]
        ids = [gauge.id for gauge in gauges]
        watches = {one.gauge_id: one for one in session.scalars(sa.select(GaugeWatch))}
        room = cls(
            session, now, heard_since, gauges, wanted, gauging.last_instants(session, ids), watches, alerts
        )
        room.excursions = room.find_excursions()
        return room

    def find_excursions(self) -> dict[int, list[Excursion]]:
        """Of all gauges, read in a few groups: those that report, those read by hand, and each that fell behind."""
        groups: dict[object, list[Gauge]] = defaultdict(list)
        for gauge in self.gauges:
            behind = self.now - self.start_of(gauge) > 2 * BEHIND_MS + HOUR_MS
            groups["by hand" if gauge.by_hand else gauge.id if behind else "reporting"].append(gauge)
        found: dict[int, list[Excursion]] = {}
        for some in groups.values():
            start = min(self.start_of(gauge) for gauge in some)
            found |= read_excursions(self.session, some, self.bands, start, self.end)
        return found

    def start_of(self, gauge: Gauge) -> int:
        """From where on its readings are looked at: the last one judged, or where what is open began."""
        watch = self.watches.get(gauge.id)
        if watch is None:
            return self.first_look(gauge) // HOUR_MS * HOUR_MS
        began = [watch.began_ms] if watch.began_ms is not None else []
        return min([watch.judged_ms, *began]) // HOUR_MS * HOUR_MS

    @property
    def end(self) -> int:
        """Up to where readings are looked at: past now, as they may have come since it was taken, or from a clock that
        runs ahead; what is passed over here would never be told."""
        return max([self.now, *self.last.values()]) + 1

    def first_look(self, gauge: Gauge) -> int:
        """Of a gauge never watched before the last hour is told, not its whole history."""
        return min(self.last.get(gauge.id, self.now) - 1, self.now - HOUR_MS)


@dataclass
class _Gauge:
    """One gauge's part of a round."""

    room: _Room
    gauge: Gauge

    def __post_init__(self) -> None:
        known = self.room.watches.get(self.gauge.id)
        self.last = self.room.last.get(self.gauge.id)
        self.judged = self.room.first_look(self.gauge) if known is None else known.judged_ms
        self.silent = False if known is None else known.silent
        self.contact = None if known is None else known.contact
        self.side = None if known is None else known.side
        self.began = None if known is None else known.began_ms
        self.cause = CONTACT if self.gauge.parameter in CALLS else EXCURSION
        self.known = known

    def moves(self) -> list[Move]:
        found = [*self._contacts(), *self._excursions(), *self._silence()]
        judged = self.judged if self.last is None else max(self.judged, self.last)
        lags = self.known is None or judged - self.known.judged_ms > BEHIND_MS
        if found or lags:
            found.append(self._remember(judged))
        return found

    def _remember(self, judged: int) -> Move:
        values = {
            "judged_ms": judged,
            "silent": self.silent,
            "contact": self.contact,
            "side": self.side,
            "began_ms": self.began,
        }
        gauge_id = self.gauge.id

        def remember(session: Session) -> None:
            session.merge(GaugeWatch(room_id=room_of(session), gauge_id=gauge_id, **values))

        return remember

    def _contacts(self) -> Iterator[Move]:
        """Every change of a contact since it was last judged."""
        if self.gauge.kind != "contact" or self.last is None or self.last <= self.judged:
            return
        rows = gauging.between(self.room.session, self.gauge.id, self.judged + 1, self.room.end)
        moved: list[tuple[int, float]] = []
        for row in rows:
            if not row.mark & IMPLAUSIBLE and row.value != self.contact:
                self.contact = row.value
                moved.append((row.at_ms, row.value))
        for at_ms, value in moved[-CONTACT_MOVES:]:
            word = "on" if value else "off"
            yield self._say(word, "contact", f"{self._name()} reads {word}, {self._clock(at_ms)}.")

    def _excursions(self) -> Iterator[Move]:
        for one in self.room.excursions.get(self.gauge.id, ()):
            if self.side == one.side and (one.end_ms is None or one.end_ms > (self.began or 0)):
                if one.end_ms is not None:
                    yield from self._close(one)
                else:
                    yield from self._worse(one)
            elif one.end_ms is None or one.end_ms > self.judged:
                if self.side is not None:
                    yield from self._close(None)
                yield from self._open(one)
        if self.side is not None and not self._still_open():
            yield from self._close(None)

    def _still_open(self) -> bool:
        found = self.room.excursions.get(self.gauge.id, ())
        return any(one.end_ms is None and one.side == self.side for one in found)

    def _open(self, one: Excursion) -> Iterator[Move]:
        self.side, self.began = one.side, one.start_ms
        reason = self._reason(one)
        yield self._say("opened", "excursion", reason)
        yield self._open_alert(self.cause, reason, one.start_ms, one, self._alarm(one.band))
        if one.end_ms is not None:
            yield from self._close(one)

    def _close(self, one: Excursion | None) -> Iterator[Move]:
        """End what is open: by the excursion's end, or because its readings or target were changed."""
        self.side = self.began = None
        if one is None:
            why = "Taken back: a reading, an exclusion or the target was changed."
        else:
            assert one.end_ms is not None
            self.judged = max(self.judged, one.end_ms)
            why = f"{self._back()}, {self._clock(one.end_ms)}."
            if self.gauge.kind != "contact":
                why += f" The worst was {self._figure(one.worst)}."
        yield self._say("closed", "excursion", why)
        yield self._close_alerts(self.cause, why, one)

    def _worse(self, one: Excursion) -> Iterator[Move]:
        for alert in self._alerts(self.cause):
            if alert.worst != one.worst:
                yield _set(alert, worst=one.worst, worst_at_ms=one.worst_ms)

    def _silence(self) -> Iterator[Move]:
        gap = self.gauge.gap_ms
        if gap is None:
            if self.silent:
                yield from self._heard("It is no longer expected to report at a fixed pace.")
            return
        since = max(self.last or self.gauge.created_at_ms, self.room.heard_since)
        silent = self.room.now - since > gap
        if silent and not self.silent:
            self.silent = True
            heard = "It never reported." if self.last is None else f"Last heard {self._clock(self.last)}."
            reason = f"{self.gauge.handle} is silent: nothing can be known of its {self._name()}. {heard}"
            yield self._say("silent", "gauge", reason)
            if self._watched():
                began = self.last or self.gauge.created_at_ms
                band = _in_force(self.room.bands[self.gauge.id], self.room.now)
                yield self._open_alert(SILENCE, reason, began, None, self._alarm(band))
        elif self.silent and not silent:
            yield from self._heard(f"{self.gauge.handle} is not silent any more, {self._clock(since)}.")

    def _heard(self, why: str) -> Iterator[Move]:
        self.silent = False
        yield self._say("heard", "gauge", why)
        yield self._close_alerts(SILENCE, why, None)

    def _watched(self) -> bool:
        return _in_force(self.room.bands[self.gauge.id], self.room.now) is not None

    def _alarm(self, band: Band | None) -> tuple[Mapping[str, Any] | None, Alarm]:
        """The rules as recorded and as they are followed: the target's, else the gauge's."""
        target = None
        if band is not None and band.target is not None:
            target = self.room.session.get(Target, (room_of(self.room.session), band.target))
        said = (target and target.alarm) or self.gauge.alarm
        return said, alarm_of(said, by_hand=self.gauge.by_hand)

    def _open_alert(
        self,
        cause: str,
        reason: str,
        began: int,
        one: Excursion | None,
        rules: tuple[Mapping[str, Any] | None, Alarm],
    ) -> Move:
        said, alarm = rules
        now = self.room.now
        values: dict[str, Any] = {
            "cause": cause,
            "gauge_id": self.gauge.id,
            "side": one and one.side,
            "reason": reason,
            "began_ms": began,
            "opened_at_ms": now,
            "low": one and one.band.low,
            "high": one and one.band.high,
            "worst": one and one.worst,
            "worst_at_ms": one and one.worst_ms,
            "alarm": dict(said or {}),
            "tell_step": 0,
            "told_at_ms": now,
            "next_tell_ms": alarm.next_ms(now, now, 0),
        }

        def open_alert(session: Session) -> None:
            if not alarm.calls:
                return
            owner = None if alarm.owner is None else find(session, Helper, alarm.owner)
            alert = Alert(room_id=room_of(session), id=uuid7(now), version=1, **values)
            alert.created_at_ms = alert.updated_at_ms = now
            alert.owner_id = None if owner is None else owner.id
            session.add(alert)
            session.flush()
            session.refresh(alert)
            name_it(session, alert, "opened", words=reason, to=alarm.told(alert.owner_handle, 0))

        return open_alert

    def _close_alerts(self, cause: str, why: str, one: Excursion | None) -> Move:
        gauge_id, now = self.gauge.id, self.room.now

        def close_alerts(session: Session) -> None:
            asked = sa.select(Alert).where(
                Alert.closed_at_ms.is_(None), Alert.gauge_id == gauge_id, Alert.cause == cause
            )
            for alert in session.scalars(asked).unique().all():
                if one is not None:
                    alert.worst, alert.worst_at_ms = one.worst, one.worst_ms
                close(session, alert, why, now=now, ended_ms=now if one is None else one.end_ms)

        return close_alerts

    def _alerts(self, cause: str) -> Iterator[Alert]:
        for alert in self.room.alerts:
            if alert.gauge_id == self.gauge.id and alert.cause == cause:
                yield alert

    def _say(self, what: str, noun: str, words: str) -> Move:
        handle, place = self.gauge.handle, self.gauge.place.path

        def say(session: Session) -> None:
            tell(session, what, noun, handle, place=place, words=words, origin=f"/v1/gauges/{handle}/latest")

        return say

    def _reason(self, one: Excursion) -> str:
        if self.gauge.parameter in CALLS and one.band.target is None:
            return f"The contact for {self._name()} {CALLS[self.gauge.parameter][1]} Since {self._clock(one.start_ms)}."
        if self.gauge.kind == "contact":
            reads = "on" if one.worst else "off"
            return f"The contact for {self._name()} reads {reads}, against its target, since {self._clock(one.start_ms)}."
        side = "below" if one.side == BELOW else "above"
        return (
            f"The {self._name()} is {self._figure(one.worst)}, {side} its target ({self._band(one.band)}), "
            f"since {self._clock(one.start_ms)}."
        )

    def _back(self) -> str:
        if self.gauge.kind == "contact":
            return f"The contact for {self._name()} does not call any more"
        return f"The {self._name()} is back within its target"

    def _band(self, band: Band) -> str:
        if band.low is not None and band.high is not None:
            return f"{number(band.low)} to {self._figure(band.high)}"
        if band.low is not None:
            return f"at least {self._figure(band.low)}"
        assert band.high is not None
        return f"at most {self._figure(band.high)}"

    def _figure(self, value: float) -> str:
        return bare(Quantity(value, self.gauge.unit))

    def _name(self) -> str:
        return self.gauge.parameter.replace("_", " ")

    def _clock(self, ms: int) -> str:
        return f"{clock_at(ms, room_zone(self.room.session)):%Y-%m-%d %H:%M}"


def close(session: Session, alert: Alert, why: str, *, now: int, ended_ms: int | None) -> None:
    """Close an alert, telling everybody who was told of it."""
    to = alarm_of(alert.alarm, by_hand=False).told(alert.owner_handle, alert.tell_step)
    alert.closed_at_ms, alert.ended_ms, alert.closed_because = now, ended_ms, why
    alert.next_tell_ms = None
    alert.version += 1
    alert.updated_at_ms = now
    name_it(session, alert, "closed", words=why, to=to)


def _calls(alert: Alert, now: int) -> Iterator[Move]:
    """Call again, or call the next, where nobody has acknowledged an alert in time."""
    if alert.acknowledged or alert.next_tell_ms is None or alert.next_tell_ms > now:
        return
    if alert.mute_until_ms is not None and alert.mute_until_ms > now:
        return
    alert_id = alert.id

    def call(session: Session) -> None:
        row = session.get_one(Alert, (room_of(session), alert_id))
        if row.closed_at_ms is not None:
            return  # closed in this very round
        alarm = alarm_of(row.alarm, by_hand=row.gauge.by_hand)
        steps = [one for one in alarm.steps[row.tell_step :] if row.opened_at_ms + one.after_ms <= now]
        row.tell_step += len(steps)
        row.told_at_ms = now
        row.next_tell_ms = alarm.next_ms(row.opened_at_ms, now, row.tell_step)
        to = alarm.told(row.owner_handle, row.tell_step)
        handed = ", ".join(one.to for one in steps)
        words = f"Nobody has acknowledged it; now told to {handed} too. {row.reason}" if steps else row.reason
        subject = str(row.id)
        tell(
            session,
            "escalated" if steps else "repeated",
            "alert",
            subject,
            place=row.gauge.place.path,
            words=words,
            origin=f"/v1/alerts/{subject}",
            to=to,
        )

    yield call


def _let_go(alert: Alert, now: int) -> Move:
    alert_id = alert.id

    def let_go(session: Session) -> None:
        row = session.get_one(Alert, (room_of(session), alert_id))
        close(session, row, "Its gauge was retired.", now=now, ended_ms=now)

    return let_go


def _set(row: Alert, **values: Any) -> Move:
    row_id = row.id

    def change(session: Session) -> None:
        found = session.get_one(Alert, (room_of(session), row_id))
        for name, value in values.items():
            setattr(found, name, value)

    return change


def _in_force(wanted: Sequence[Band], now: int) -> Band | None:
    found = next((one for one in reversed(wanted) if one.from_ms <= now), None)
    return None if found is None or (found.low is None and found.high is None) else found


def _calling_band(gauge: Gauge, wanted: Sequence[Band]) -> Band:
    """A contact that calls whatever the targets is outside a band of the other value."""
    since = wanted[-1].from_ms + 1 if wanted else 0
    calling = CALLS[gauge.parameter][0]
    return Band(since, None, 0.0) if calling else Band(since, 1.0, None)
