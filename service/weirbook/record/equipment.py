"""Pumps and gauges."""

from __future__ import annotations

from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, mapped_column

from weirbook.engine.units import Quantity
from weirbook.errors import Fault
from weirbook.record.base import ROUTINE, Base, Named, Span, key_to, points_to, room_key
from weirbook.record.columns import Parts, QuantityText
from weirbook.record.places import Place, Section, Sump, Tank


class PumpRunning(Span, Base):
    """Whether a pump ran, and when."""

    __tablename__ = "pump_running"
    subject_id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False)
    value: Mapped[bool] = mapped_column(sa.Boolean(create_constraint=False))

    __table_args__ = (key_to("pump", "subject_id", cascade=True),)


class Pump(Named, Base):
    """A pump and its return line.

    From a section or a tank to a tank, or by a side loop to a sump that stands alone. One that draws from the tank
    it feeds (neither section nor tank named) only circulates: it moves no net flow.
    """

    __tablename__ = "pump"
    NOUN = "pump"
    PLURAL = "pumps"
    COUNTER = "pump"
    REFERENCES = {"from_section": "section", "from_tank": "tank", "to_tank": "tank", "to_sump": "sump"}
    STATES = {"running": PumpRunning}
    PLACED_BY = "to_tank_id"

    from_section_id: Mapped[int | None] = mapped_column(sa.Integer)
    from_tank_id: Mapped[int | None] = mapped_column(sa.Integer)
    to_tank_id: Mapped[int | None] = mapped_column(sa.Integer)
    to_sump_id: Mapped[int | None] = mapped_column(sa.Integer)
    intake_height: Mapped[Quantity | None] = mapped_column(QuantityText("length"))
    line: Mapped[dict[str, Any] | None] = mapped_column(Parts)
    curve: Mapped[list[dict[str, Any]] | None] = mapped_column(Parts)
    rated_flow: Mapped[Quantity | None] = mapped_column(QuantityText("flow"))
    measured_flow: Mapped[Quantity | None] = mapped_column(QuantityText("flow"))
    measured_on: Mapped[date | None] = mapped_column(sa.Date)
    clean_flow: Mapped[Quantity | None] = mapped_column(QuantityText("flow"))
    cleaned_on: Mapped[date | None] = mapped_column(sa.Date)
    power: Mapped[Quantity | None] = mapped_column(QuantityText("power"))
    running: Mapped[bool] = mapped_column(sa.Boolean(create_constraint=False))

    from_section: Mapped[Section | None] = points_to("Pump.from_section_id", "Section")
    from_tank: Mapped[Tank | None] = points_to("Pump.from_tank_id", "Tank")
    to_tank: Mapped[Tank | None] = points_to("Pump.to_tank_id", "Tank")
    to_sump: Mapped[Sump | None] = points_to("Pump.to_sump_id", "Sump")

    __table_args__ = (
        sa.UniqueConstraint("room_id", "handle"),
        room_key(),
        key_to("section", "from_section_id"),
        key_to("tank", "from_tank_id"),
        key_to("tank", "to_tank_id"),
        key_to("sump", "to_sump_id"),
    )

    @property
    def circulates(self) -> bool:
        """Whether it only stirs the tank it stands in, and so moves no net flow."""
        return self.from_section_id is None and self.from_tank_id is None

    def faults(self) -> list[Fault]:
        found = [*self._way_faults(), *self._line_faults()]
        if (
            self.clean_flow is not None
            and self.measured_flow is not None
            and self.cleaned_on is not None
            and self.measured_on is not None
            and self.measured_on < self.cleaned_on
        ):
            found.append(
                Fault(
                    "/measured_on",
                    "The flow was measured before the last cleaning: measure it again, or null it.",
                )
            )
        if (self.measured_flow is None) != (self.measured_on is None):
            found.append(
                Fault("/measured_on", "A measured flow and the day it was measured belong together.")
            )
        if self.curve is not None and len(self.curve) < 2:
            found.append(
                Fault("/curve", "A curve needs two points or more: the shut-off head and the free flow, say.")
            )
        previous = None
        for index, point in enumerate(self.curve or []):
            head, flow = point["head"].si("length"), point["flow"].si("flow")
            if previous and not (head < previous[0] and flow > previous[1]):
                wanted = "Order the curve by falling head: each point needs less head and more flow than the one before."
                found.append(Fault(f"/curve/{index}", wanted))
            previous = (head, flow)
        return found

    def _way_faults(self) -> list[Fault]:
        """What is wrong with where it draws from and delivers to."""
        found = []
        if (self.to_tank_id is None) == (self.to_sump_id is None):
            found.append(
                Fault("/to_tank", "Say where it delivers: to_tank, or to_sump for a side loop, and not both.")
            )
        if self.from_section_id is not None and self.from_tank_id is not None:
            found.append(Fault("/from_tank", "It draws from a section or from a tank, not from both."))
        if self.circulates and self.to_sump_id is not None:
            found.append(
                Fault("/from_section", "A side loop draws from somewhere: name from_section or from_tank.")
            )
        if self.from_tank_id is not None and self.from_tank_id == self.to_tank_id:
            found.append(
                Fault(
                    "/from_tank", "A pump that draws from the tank it feeds circulates: leave from_tank out."
                )
            )
        if self.to_sump is not None and self.to_sump.drains_to_id is None:
            found.append(Fault("/to_sump", "A side loop's sump must drain back: set its drains_to first."))
        if self.from_section is not None and self.to_sump_id == self.from_section.sump_id:
            found.append(Fault("/to_sump", "It draws from this very sump: name the one that stands alone."))
        return found

    def _line_faults(self) -> list[Fault]:
        """What contradicts itself within the return line."""
        line = self.line or {}
        branches = [one["name"] for one in line.get("branches") or []]
        found = [
            Fault(f"/line/branches/{index}/name", "Another branch has this name already.")
            for index, name in enumerate(branches)
            if name in branches[:index]
        ]
        if branches:
            found += [
                Fault(f"/line/{name}", "With branches, each says its own: move this to them.")
                for name in ("outlet_level", "air_hole_level")
                if line.get(name) is not None
            ]
            if self.to_tank is not None and self.to_tank.handle not in [
                b.get("tank") for b in line["branches"]
            ]:
                found.append(
                    Fault("/line/branches", f"None of them leads to {self.to_tank.handle}, its to_tank.")
                )
            if self.to_sump_id is not None:
                found.append(Fault("/line/branches", "A side loop has one line without branches."))
            piped = {piece.get("branch") for piece in line.get("pieces") or []}
            found += [
                Fault(
                    f"/line/branches/{index}",
                    "No piece of pipe belongs to this branch: add one that names it.",
                )
                for index, name in enumerate(branches)
                if name not in piped
            ]
        found += [
            Fault(
                f"/line/pieces/{index}/branch",
                f"There is no branch of that name. Branches: {', '.join(branches) or 'none'}.",
            )
            for index, piece in enumerate(line.get("pieces") or [])
            if piece.get("branch") is not None and piece["branch"] not in branches
        ]
        for at, one in [
            ("/line", line),
            *((f"/line/branches/{i}", b) for i, b in enumerate(line.get("branches") or [])),
        ]:
            hole, outlet = one.get("air_hole_level"), one.get("outlet_level")
            if hole is not None and outlet is not None and hole.si("length") < outlet.si("length"):
                found.append(Fault(f"{at}/air_hole_level", "An air hole below the outlet breaks no siphon."))
        return found


class GaugeInterval(Span, Base):
    """The interval at which a gauge was expected to report (seconds; none = at no fixed pace), and when."""

    __tablename__ = "gauge_interval"
    subject_id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False)
    value: Mapped[float | None] = mapped_column(sa.Float)

    __table_args__ = (key_to("gauge", "subject_id", cascade=True),)


class GaugeOffset(Span, Base):
    """What was added to a gauge's readings to make them true, in its own unit, and when."""

    __tablename__ = "gauge_offset"
    subject_id: Mapped[int] = mapped_column(sa.Integer, primary_key=True, autoincrement=False)
    value: Mapped[float] = mapped_column(sa.Double)

    __table_args__ = (key_to("gauge", "subject_id", cascade=True),)


def gap_of(interval_s: float | None) -> int | None:
    """The longest gap that is bridged, in ms: three expected intervals; none = of any length."""
    return None if interval_s is None else round(interval_s * 3000)


class Gauge(Named, Base):
    """One stream of readings: a parameter, a unit, a place; a sensor, a test kit or the keeper's eye."""

    __tablename__ = "gauge"
    NOUN = "gauge"
    PLURAL = "gauges"
    COUNTER = "gauge"
    REFERENCES = {"place": "place"}
    UNTOLD = ROUTINE | {"kind", "join"}
    STATES = {"expected_interval_s": GaugeInterval, "offset_in_unit": GaugeOffset}
    PLACED_BY = "place_id"

    place_id: Mapped[int] = mapped_column(sa.Integer)
    parameter: Mapped[str] = mapped_column(sa.String(60))
    kind: Mapped[str] = mapped_column(sa.String(30))
    join: Mapped[str] = mapped_column(sa.String(5))
    unit: Mapped[str] = mapped_column(sa.String(30))
    by_hand: Mapped[bool] = mapped_column(sa.Boolean(create_constraint=False))
    resolution: Mapped[Quantity | None] = mapped_column(QuantityText("any"))
    plausible_low: Mapped[Quantity | None] = mapped_column(QuantityText("any"))
    plausible_high: Mapped[Quantity | None] = mapped_column(QuantityText("any"))
    expected_interval: Mapped[Quantity | None] = mapped_column(QuantityText("time"))
    checked_on: Mapped[date | None] = mapped_column(sa.Date)
    offset: Mapped[Quantity | None] = mapped_column(QuantityText("any"))
    alarm: Mapped[dict[str, Any] | None] = mapped_column(Parts)

    place: Mapped[Place] = points_to("Gauge.place_id", "Place")

    __table_args__ = (
        sa.UniqueConstraint("room_id", "handle"),
        room_key(),
        key_to("place", "place_id"),
        sa.Index(None, "room_id", "place_id", "parameter"),
    )

    def faults(self) -> list[Fault]:
        found = []
        low, high = self.plausible_low, self.plausible_high
        if low is not None and high is not None and low.si(self.kind) >= high.si(self.kind):
            found.append(Fault("/plausible_high", "The plausible range must end above its start."))
        if self.join == "line" and not self.by_hand and self.expected_interval is None:
            found.append(
                Fault(
                    "/expected_interval",
                    "A sensor needs the interval it reports at (600 s, say); or set by_hand to true.",
                )
            )
        return found

    @property
    def gap_ms(self) -> int | None:
        """The longest gap between readings that is bridged at the interval expected now."""
        return gap_of(self.expected_interval_s)

    @property
    def offset_in_unit(self) -> float:
        """What is added to its readings now, in its own unit."""
        return 0.0 if self.offset is None else self.offset.value

    @property
    def expected_interval_s(self) -> float | None:
        """The expected interval in seconds, as its spans keep it."""
        return None if self.expected_interval is None else self.expected_interval.si("time")


class OwnParameter(Named, Base):
    """A parameter that the keeper added to the built-in catalogue; its handle is its key."""

    __tablename__ = "parameter"
    NOUN = "parameter"
    PLURAL = "parameters"
    COUNTER = "parameter"
    FIXED = ("kind", "join")

    kind: Mapped[str] = mapped_column(sa.String(30))
    units: Mapped[list[str]] = mapped_column(Parts)
    possible_low: Mapped[Quantity | None] = mapped_column(QuantityText("any"))
    possible_high: Mapped[Quantity | None] = mapped_column(QuantityText("any"))
    join: Mapped[str] = mapped_column(sa.String(5))
