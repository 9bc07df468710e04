"""What the gauges say: out of target, silent, a contact that calls, never checked, and what nothing measures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.finding import About, Finding, Verdict
from weirbook.actions.read_latest import Latest, read_latest
from weirbook.engine.inputs import bare
from weirbook.engine.times import clock_at, day_of
from weirbook.engine.units import Quantity, number
from weirbook.record.equipment import Gauge
from weirbook.record.places import ROOM_PLACE_ID, Tank
from weirbook.record.targets import Target
from weirbook.record.whereabouts import Whereabouts

CALLS = {
    "leak": (1.0, "reads on: water stands where none should."),
    "mains_present": (0.0, "reads off: the mains supply is away."),
}
"""Contacts that call for the keeper whatever the targets: at which value, and what it means."""
STALE_DAYS = 30
CHECKED_DAYS = 365
"""How long a test by hand tells of now, and how long a check of a sensor holds. Common practice, no source."""
DAY_MS = 86_400_000


@dataclass(frozen=True)
class Now:
    """The instant that is judged, and the room's clock."""

    ms: int
    zone: ZoneInfo

    @property
    def today(self) -> date:
        return day_of(self.ms, self.zone)

    def clock(self, ms: int) -> str:
        return f"{clock_at(ms, self.zone):%Y-%m-%d %H:%M}"


def judge_gauges(session: Session, where: Whereabouts, now: Now) -> Iterator[Finding]:
    """Findings on every gauge in use, and on every target that nothing measures."""
    asked = sa.select(Gauge).where(Gauge.retired_at_ms.is_(None)).order_by(Gauge.id)
    gauges = session.scalars(asked).unique().all()
    for one in read_latest(session, gauges, where, now.ms):
        system = _system(where, one.gauge.place_id)
        yield from _contact(one, system, now)
        yield from _target(one, system, now)
        yield from _silence(one, system, now)
        yield from _stuck(one, system, now)
        yield from _check(one.gauge, system, now)
    yield from _unmeasured(session, gauges, where, now)


def _system(where: Whereabouts, place_id: int) -> str | None:
    system_id = where.system_of(place_id)
    return None if system_id is None else where.systems[system_id]


def _finding(
    one: Gauge, system: str | None, about: About, verdict: Verdict, reason: str, **said: object
) -> Finding:
    origin = f"/v1/gauges/{one.handle}" + ("" if about is About.CHECK else "/latest")
    return Finding(verdict, about, one.place.path, system, one.handle, reason, origin, **said)  # type: ignore[arg-type]


def _contact(one: Latest, system: str | None, now: Now) -> Iterator[Finding]:
    rule = CALLS.get(one.gauge.parameter)
    if rule is None:
        return
    calling, words = rule
    name = one.gauge.parameter.replace("_", " ")
    if one.row is None:
        reason = f"Unknown, because {one.gauge.handle} has never reported. Trip it once by hand to see that it does."
        yield _finding(one.gauge, system, About.CONTACT, Verdict.UNKNOWN, reason)
    elif one.row.value == calling:
        yield _finding(
            one.gauge,
            system,
            About.CONTACT,
            Verdict.ACT,
            f"The contact for {name} {words}",
            value=Quantity(one.row.value, one.gauge.unit),
            since_ms=one.row.at_ms,
        )
    elif one.silent(now.ms):
        reason = f"Unknown, because the contact for {name} should report and is silent since {now.clock(one.row.at_ms)}."
        yield _finding(one.gauge, system, About.CONTACT, Verdict.UNKNOWN, reason, since_ms=one.row.at_ms)
    else:
        reason = f"The contact for {name} did not call when last heard, {now.clock(one.row.at_ms)}."
        value = Quantity(one.row.value, one.gauge.unit)
        yield _finding(
            one.gauge, system, About.CONTACT, Verdict.OK, reason, value=value, since_ms=one.row.at_ms
        )


def _target(one: Latest, system: str | None, now: Now) -> Iterator[Finding]:
    """Whether a gauge with a target in force is within it now."""
    if not one.has_target or one.gauge.parameter in CALLS:
        return
    gauge, row = one.gauge, one.row
    name = gauge.parameter.replace("_", " ")
    if row is None:
        reason = f"Unknown, because {gauge.handle} has never reported its {name}."
        yield _finding(gauge, system, About.TARGET, Verdict.UNKNOWN, reason)
        return
    assert one.value is not None
    value, inside = Quantity(one.value, gauge.unit), one.in_target
    told = {"value": value, "limit": _limit(one), "since_ms": row.at_ms}
    if one.silent(now.ms) or (gauge.gap_ms is None and now.ms - row.at_ms > STALE_DAYS * DAY_MS):
        reason = (
            f"Unknown, because the last {name} ({bare(value)}) is of {now.clock(row.at_ms)}: too long ago to tell "
            "of now. Test again."
        )
        yield _finding(gauge, system, About.TARGET, Verdict.UNKNOWN, reason, **told)
    elif inside is None:
        yield _finding(gauge, system, About.TARGET, Verdict.UNKNOWN, _why_not_told(one, value), **told)
    elif inside:
        reason = f"The {name} is within its target ({_band(one)}) at {bare(value)}."
        yield _finding(gauge, system, About.TARGET, Verdict.OK, reason, **told)
    else:
        reason = (
            f"The {name} is {bare(value)}, outside its target ({_band(one)}), as of {now.clock(row.at_ms)}."
        )
        yield _finding(gauge, system, About.TARGET, Verdict.ACT, reason, **told)


def _why_not_told(one: Latest, value: Quantity) -> str:
    if one.excluded:
        return "Unknown, because the last reading lies in a span kept out of statistics."
    if one.implausible:
        return f"Unknown, because the last reading ({bare(value)}) is implausible for this gauge: look at the sensor."
    return (
        f"Unknown, because a test that ends at {bare(value)} can't tell on which side of the target it lies."
    )


def _limit(one: Latest) -> Quantity | None:
    """The end of the band that the value is beyond, or the one there is."""
    assert one.value is not None
    if one.low is not None and (one.high is None or one.value < one.low):
        return Quantity(one.low, one.gauge.unit)
    return None if one.high is None else Quantity(one.high, one.gauge.unit)


def _band(one: Latest) -> str:
    unit = one.gauge.unit
    if one.low is not None and one.high is not None:
        return f"{number(one.low)} to {bare(Quantity(one.high, unit))}"
    if one.low is not None:
        return f"at least {bare(Quantity(one.low, unit))}"
    assert one.high is not None
    return f"at most {bare(Quantity(one.high, unit))}"


def _silence(one: Latest, system: str | None, now: Now) -> Iterator[Finding]:
    """Silence is not safety: a gauge that should report and doesn't, first where something is watched by it."""
    silent = one.silent(now.ms)
    if silent is None:
        return
    if one.row is None:
        reason = f"Unknown, because {one.gauge.handle} has never reported."
        yield _finding(one.gauge, system, About.SILENCE, Verdict.UNKNOWN, reason)
        return
    heard = f"last heard {now.clock(one.row.at_ms)}"
    if not silent:
        yield _finding(one.gauge, system, About.SILENCE, Verdict.OK, f"It reports, {heard}.")
        return
    watched = one.has_target or one.gauge.parameter in CALLS
    yield _finding(
        one.gauge,
        system,
        About.SILENCE,
        Verdict.ACT if watched else Verdict.WATCH,
        f"{one.gauge.handle} is silent, {heard}{': no alarm can come from it' if watched else ''}.",
        since_ms=one.row.at_ms,
    )


def _stuck(one: Latest, system: str | None, now: Now) -> Iterator[Finding]:
    """A sensor that shows the same for a day may be dead: then no alarm comes from it either."""
    if not one.stuck or one.value is None:
        return
    value = Quantity(one.value, one.gauge.unit)
    step = "" if one.gauge.resolution is None else f" by more than its {bare(one.gauge.resolution)}"
    reason = (
        f"{one.gauge.handle} has shown {bare(value)} for a day and not moved{step}: it may be stuck. Hold it against "
        "another instrument."
    )
    yield _finding(one.gauge, system, About.STUCK, Verdict.WATCH, reason, value=value)


def _check(gauge: Gauge, system: str | None, now: Now) -> Iterator[Finding]:
    """Whether a sensor was held against another instrument within a year."""
    if gauge.by_hand or gauge.kind == "contact":
        return
    if gauge.checked_on is None:
        reason = (
            "Unknown whether it reads true, because no check is recorded. Hold it against another instrument and set its "
            "checked_on."
        )
        yield _finding(gauge, system, About.CHECK, Verdict.UNKNOWN, reason)
        return
    days = (now.today - gauge.checked_on).days
    late = days > CHECKED_DAYS
    reason = f"Last checked on {gauge.checked_on}, {days} days ago" + (
        ": a yearly check is common practice." if late else "."
    )
    yield _finding(gauge, system, About.CHECK, Verdict.WATCH if late else Verdict.OK, reason)


def _unmeasured(session: Session, gauges: Sequence[Gauge], where: Whereabouts, now: Now) -> Iterator[Finding]:
    """Targets in force that no gauge in use can tell of. One of the room is wanted in every system with a tank."""
    kept = {where.system_of(one) for one in _tanks_in_use(session)} - {None}
    for target in _in_force(session, now.ms):
        own = [gauge for gauge in gauges if gauge.parameter == target.parameter]
        if target.place_id == ROOM_PLACE_ID and not any(gauge.place_id == ROOM_PLACE_ID for gauge in own):
            measured = {where.system_of(gauge.place_id) for gauge in own}
            for system_id in sorted(one for one in kept - measured if one is not None):
                handle = where.systems[system_id]
                yield _unmeasured_target(target, f"systems/{handle}", handle)
        elif not any(target.place_id in where.chain(gauge.place_id) for gauge in own):
            yield _unmeasured_target(target, target.place.path, _system(where, target.place_id))


def _unmeasured_target(target: Target, place: str, system: str | None) -> Finding:
    name = target.parameter.replace("_", " ")
    mend = "Fit a contact." if target.parameter in CALLS else "A test by hand is enough."
    return Finding(
        Verdict.UNKNOWN,
        About.TARGET,
        place,
        system,
        target.parameter,
        f"Unknown, because there is a target for {name} and nothing measures it here. {mend}",
        f"/v1/targets/{target.id}",
    )


def _tanks_in_use(session: Session) -> Sequence[int]:
    return session.scalars(sa.select(Tank.id).where(Tank.retired_at_ms.is_(None))).all()


def _in_force(session: Session, at_ms: int) -> Sequence[Target]:
    """Of each place and parameter the target that holds, where it has an end at all."""
    newest: dict[tuple[int, str], Target] = {}
    asked = sa.select(Target).where(Target.valid_from_ms <= at_ms).order_by(Target.valid_from_ms)
    for target in session.scalars(asked).unique():
        newest[target.place_id, target.parameter] = target
    return [
        one
        for one in newest.values()
        if (one.low is not None or one.high is not None) and one.place.retired_at_ms is None
    ]
