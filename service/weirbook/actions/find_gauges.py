"""Which gauge a reading goes to, and whether its sender may post there."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.create import create
from weirbook.actions.judge_reading import Refused, Sent, possible
from weirbook.engine.parameters import PARAMETERS, Parameter
from weirbook.engine.units import unit
from weirbook.errors import Invalid, Unknown
from weirbook.record import gauging
from weirbook.record.access import Role
from weirbook.record.equipment import Gauge
from weirbook.record.names import find_place
from weirbook.record.parameters import meant, parameters
from weirbook.record.places import Place


@dataclass(frozen=True)
class Taker:
    """Who posts: a sensor only to its listed gauges, a helper only to gauges read by hand."""

    role: Role
    name: str
    gauges: frozenset[int] = frozenset()


class Gauges:
    """The gauges that a batch names, found in one query, or made at first use for a test by hand."""

    def __init__(self, session: Session, taker: Taker, now: int) -> None:
        self.session, self.taker, self.now = session, taker, now
        self.made: list[str] = []
        self.by_handle: dict[str, Gauge] = {}
        self.by_place: dict[tuple[str, str], Gauge] = {}
        self.known: dict[str, Parameter] = {}

    def look_up(self, sent: Iterable[Sent]) -> None:
        """Find every gauge named by its handle, and what it measures."""
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
        """The gauge that a reading goes to, if it is in use and the taker may post to it. Raises Refused."""
        gauge = self._named(one) if one.gauge is not None else self._at_place(one)
        if gauge.retired_at_ms is not None:
            raise Refused(one, "retired-gauge", f"Gauge '{gauge.handle}' is retired.", "gauge")
        if self.taker.role is Role.SENSOR and gauge.id not in self.taker.gauges:
            raise Refused(one, "not-allowed", f"This sensor key may not post to '{gauge.handle}'.", "gauge")
        if self.taker.role is Role.HELPER and not gauge.by_hand:
            raise Refused(
                one,
                "not-allowed",
                f"A helper posts to gauges read by hand; '{gauge.handle}' is a sensor.",
                "gauge",
            )
        return gauge

    def _named(self, one: Sent) -> Gauge:
        if one.place is not None or one.parameter is not None:
            raise Refused(one, "bad-row", "Name a gauge, or a place and a parameter, not both.", "gauge")
        gauge = self.by_handle.get(one.gauge or "")
        if gauge is None:
            raise Refused(
                one,
                "unknown-gauge",
                f"There is no gauge '{one.gauge:.80}'. GET /v1/gauges lists them.",
                "gauge",
            )
        return gauge

    def _at_place(self, one: Sent) -> Gauge:
        if one.place is None or one.parameter is None:
            raise Refused(one, "bad-row", "Name a gauge, or a place and a parameter.", "gauge")
        key = (one.place, one.parameter)
        if key not in self.by_place:
            self.by_place[key] = self._find_or_make(one)
        return self.by_place[key]

    def _find_or_make(self, one: Sent) -> Gauge:
        """A value said by place and parameter was taken by hand: sensors name their gauge."""
        if self.taker.role is Role.SENSOR:
            raise Refused(one, "not-allowed", "A sensor key names its gauge.", "gauge")
        assert one.place is not None and one.parameter is not None
        try:
            place = find_place(self.session, one.place)
        except Unknown as trouble:
            raise Refused(one, "unknown-place", trouble.message, "place") from None
        self._know([one.parameter])
        if one.parameter not in self.known:
            alike = meant(one.parameter, {**PARAMETERS, **self.known})
            message = f"There is no parameter '{one.parameter:.60}'.{alike} GET /v1/parameters lists them."
            raise Refused(one, "unknown-parameter", message, "parameter")
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
            raise Refused(
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
            raise Refused(one, "retired-place", f"'{place.path}' is retired.", "place")
        unit_name = self._unit(one, known)
        possible(one, unit_name, known)  # a test that can't be taken leaves no gauge behind
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
        self.made.append(gauge.handle)
        return gauge

    def _unit(self, one: Sent, known: Parameter) -> str:
        """The unit said, if gauges of the parameter may have it; else the reading is converted to the usual one."""
        try:
            said = None if one.unit is None else unit(known.kind, one.unit).name
        except Invalid as trouble:
            raise Refused(one, "bad-unit", trouble.message, "unit") from None
        return said if said in known.units else known.units[0]
