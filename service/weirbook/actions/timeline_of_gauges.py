"""Timeline: stretches outside target, contacts that tripped, gauges that were silent, and the alerts that went out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import sqlalchemy as sa

from weirbook.actions.list_excursions import list_excursions
from weirbook.actions.told import Look, Told, capital, lasting, parameter_name, plain, sentence
from weirbook.engine.inputs import bare
from weirbook.engine.relations.excursions import BELOW, Excursion
from weirbook.engine.relations.windows import Band
from weirbook.engine.units import Quantity, number
from weirbook.record import gauge_spans, gauging
from weirbook.record.alerts import Alert
from weirbook.record.equipment import Gauge
from weirbook.record.wanted import bands_over

TRIPPED = {"leak": 1.0, "lid_open": 1.0, "mains_present": 0.0, "pump_running": 0.0}
"""At which value these contacts tell of trouble. A contact of the keeper's own trips where it reads on."""
FLOAT = "float"
"""A float's trouble may be either side: only its target tells which."""
LOOK_BACK_HOURS = 48
READS = {
    "leak": "Water stood where none should",
    "lid_open": "The lid was open",
    "mains_present": "The mains supply was away",
    "pump_running": "The pump stood still",
}


def gauges_of(look: Look) -> Sequence[Gauge]:
    """Every gauge that ever stood in the system or in the room, as it is placed now."""
    if "timeline gauges" not in look.kept:
        asked = sa.select(Gauge).where(Gauge.place_id.in_(look.places)).order_by(Gauge.id)
        look.kept["timeline gauges"] = look.session.scalars(asked).unique().all()
    found: Sequence[Gauge] = look.kept["timeline gauges"]
    return found


def trips_at(gauge: Gauge) -> float | None:
    """At which value a contact tells of trouble; None where it is no contact, or either may be."""
    if gauge.kind != "contact" or gauge.parameter == FLOAT:
        return None
    return TRIPPED.get(gauge.parameter, 1.0)


def excursions(look: Look) -> Iterator[Told]:
    """Stretches outside target. Contacts are told by `contacts`."""
    gauges = [one for one in gauges_of(look) if trips_at(one) is None]
    left = _may_have_left(look, gauges)
    told = list_excursions(look.session, left, look.start_ms, look.end_ms, look.now)
    for gauge in left:
        for one in told.get(gauge.id, ()):
            if look.belongs.touched(gauge.place_id, one.start_ms, one.end_ms):
                yield _outside(look, gauge, one)


def _may_have_left(look: Look, gauges: Sequence[Gauge]) -> list[Gauge]:
    """Those whose lowest and highest hour don't show that they stayed inside: only these are read hour by hour.

    One is taken to have stayed inside if it also reported in the two days before, and was inside then, or never before.
    """
    wanted = bands_over(look.session, gauges, look.start_ms - LOOK_BACK_HOURS * 3_600_000, look.now)
    banded = [one for one in gauges if any(_has_ends(band) for band in wanted[one.id])]
    first, end = gauging.hour_range(look.start_ms, look.end_ms)
    spread = gauge_spans.extremes(look.session, [one.id for one in banded], first - LOOK_BACK_HOURS, end)
    return [
        gauge
        for gauge in banded
        if gauge.by_hand
        or gauge.id not in spread
        or (
            spread[gauge.id].first_ms >= look.start_ms
            and gauging.last_before(look.session, gauge.id, look.start_ms) is not None
        )
        or not all(_holds(band, spread[gauge.id]) for band in wanted[gauge.id])
    ]


def _has_ends(band: Band) -> bool:
    return band.low is not None or band.high is not None


def _holds(band: Band, spread: gauge_spans.Extremes) -> bool:
    return not spread.qualified and (
        (band.low is None or spread.low >= band.low + band.hysteresis)
        and (band.high is None or spread.high <= band.high - band.hysteresis)
    )


def _outside(look: Look, gauge: Gauge, one: Excursion) -> Told:
    side = "below" if one.side == BELOW else "above"
    ended = "and has not come back" if one.end_ms is None else f"for {lasting(one.end_ms - one.start_ms)}"
    worst = _figure(gauge, one.worst)
    words = (
        f"{capital(parameter_name(gauge.parameter))} {side} its target ({_band(gauge, one.band)}) {ended}; "
        f"the {'lowest' if one.side == BELOW else 'highest'} was {worst}"
    )
    return Told(
        one.start_ms,
        "excursion",
        look.paths[gauge.place_id],
        sentence(words),
        f"/v1/gauges/{gauge.handle}",
        "excursion",
        to_ms=one.end_ms,
        open=one.end_ms is None,
        about=f"{gauge.handle} {one.side}",
        facts={"parameter": gauge.parameter, "gauge": gauge.handle, "by_hand": gauge.by_hand},
    )


def _figure(gauge: Gauge, value: float) -> str:
    return bare(Quantity(number(value), gauge.unit))


def _band(gauge: Gauge, band: Band) -> str:
    if band.low is not None and band.high is not None:
        return f"{number(band.low)} to {_figure(gauge, band.high)}"
    if band.low is not None:
        return f"at least {_figure(gauge, band.low)}"
    return "none" if band.high is None else f"at most {_figure(gauge, band.high)}"


def contacts(look: Look) -> Iterator[Told]:
    """Stretches in which a contact read what it should not."""
    for gauge in gauges_of(look):
        tripped = trips_at(gauge)
        if tripped is None:
            continue
        for start, end in _stretches(look, gauge, tripped):
            if not look.belongs.touched(gauge.place_id, start, end):
                continue
            name = READS.get(gauge.parameter, f"{capital(plain(gauge.parameter))} read on")
            still = "and, when last heard, was so still" if end is None else f"for {lasting(end - start)}"
            yield Told(
                start,
                "contact",
                look.paths[gauge.place_id],
                sentence(f"{name} {still}"),
                f"/v1/gauges/{gauge.handle}",
                "contact",
                to_ms=end,
                open=end is None,
                about=gauge.handle,
                facts={"parameter": gauge.parameter, "gauge": gauge.handle},
            )


def _stretches(look: Look, gauge: Gauge, tripped: float) -> Iterator[tuple[int, int | None]]:
    """From and to of each stretch at one value, that reaches into the look; told whole."""
    began: int | None = None
    before = gauge_spans.turned_before(look.session, gauge.id, look.start_ms, tripped)
    for at_ms, value in [*before, *gauge_spans.turns(look.session, gauge.id, look.start_ms, look.now + 1)]:
        if value == tripped and began is None:
            began = at_ms
            if began >= look.end_ms:
                return
        elif value != tripped and began is not None:
            yield began, at_ms
            began = None
    if began is not None:
        yield began, None


def silences(look: Look) -> Iterator[Told]:
    """Stretches in which a gauge that reports at a pace was not heard for three intervals or more."""
    for gauge in gauges_of(look):
        if gauge.gap_ms is None:
            continue
        until = min(look.end_ms, look.now, gauge.retired_at_ms or look.end_ms)
        for start, end in gauge_spans.gaps(look.session, gauge.id, look.start_ms, until, gauge.gap_ms):
            if look.belongs.touched(gauge.place_id, start, end):
                still = (
                    "no reading that counts since"
                    if end is None
                    else f"no reading that counts for {lasting(end - start)}"
                )
                words = (
                    f"{gauge.handle} gave {still}: nothing is known of {parameter_name(gauge.parameter)} then"
                )
                yield Told(
                    start,
                    "silence",
                    look.paths[gauge.place_id],
                    sentence(words),
                    f"/v1/gauges/{gauge.handle}/latest",
                    "gauge",
                    to_ms=end,
                    open=end is None,
                    about=gauge.handle,
                    facts={"parameter": gauge.parameter, "gauge": gauge.handle},
                )


def alerts(look: Look) -> Iterator[Told]:
    """What the keeper was woken for."""
    placed = {gauge.id: gauge for gauge in gauges_of(look)}
    column = Alert.__table__.c
    asked = sa.select(
        column.id,
        column.gauge_id,
        column.cause,
        column.reason,
        column.opened_at_ms,
        column.closed_at_ms,
        column.acknowledged_by,
    ).where(
        column.room_id == look.room_id,
        column.gauge_id.in_(placed),
        column.opened_at_ms < look.end_ms,
        sa.or_(column.closed_at_ms.is_(None), column.closed_at_ms > look.start_ms),
    )
    for number_, gauge_id, cause, reason, opened, closed, who in look.session.execute(asked):
        place_id = placed[gauge_id].place_id
        if look.belongs.touched(place_id, opened, closed):
            yield Told(
                opened,
                "alert",
                look.paths[place_id],
                sentence(f"Alert: {reason}"),
                f"/v1/alerts/{number_}",
                "alert",
                to_ms=closed,
                open=closed is None,
                who=who,
                about=cause,
            )
