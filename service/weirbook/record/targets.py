"""Targets: the band wanted for a parameter in a place, from an instant on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.orm import Mapped, Session, mapped_column

from weirbook.engine.relations.windows import Band
from weirbook.engine.units import Quantity, step_of
from weirbook.record.base import Base, Happening, key_to, points_to, room_key
from weirbook.record.columns import Parts, QuantityText
from weirbook.record.equipment import Gauge
from weirbook.record.places import Place


class Target(Happening, Base):
    """Low and high, either of which may be open; both open ends the target from that instant on."""

    __tablename__ = "target"
    NOUN = "target"
    PLURAL = "targets"
    REFERENCES = {"place": "place"}
    FIXED = ("place_id", "parameter", "valid_from_ms")
    SOUGHT = ("notes",)
    DATED_BY = "valid_from_ms"
    PLACED_BY = "place_id"

    place_id: Mapped[int] = mapped_column(sa.Integer)
    parameter: Mapped[str] = mapped_column(sa.String(60))
    low: Mapped[Quantity | None] = mapped_column(QuantityText("any"))
    high: Mapped[Quantity | None] = mapped_column(QuantityText("any"))
    hysteresis: Mapped[Quantity | None] = mapped_column(QuantityText("any"))
    least_duration: Mapped[Quantity | None] = mapped_column(QuantityText("time"))
    alarm: Mapped[dict[str, Any] | None] = mapped_column(Parts)
    valid_from_ms: Mapped[int] = mapped_column(sa.BigInteger)
    notes: Mapped[str | None] = mapped_column(sa.Text)

    place: Mapped[Place] = points_to("Target.place_id", "Place")

    __table_args__ = (
        room_key(),
        key_to("place", "place_id"),
        sa.UniqueConstraint("room_id", "place_id", "parameter", "valid_from_ms"),
    )


def bands(
    session: Session, gauges: Sequence[Gauge], chains: Mapping[int, Sequence[int]]
) -> dict[int, list[Band]]:
    """For each gauge the bands it was to stay within, oldest first, in the gauge's own unit.

    `chains` gives for each gauge the places whose targets count for it, nearest first; at every instant the
    nearest place with a target in force wins.
    """
    parameters = {gauge.parameter for gauge in gauges}
    asked = sa.select(Target).where(Target.parameter.in_(parameters)).order_by(Target.valid_from_ms)
    by_place: dict[tuple[int, str], list[Target]] = defaultdict(list)
    for target in session.scalars(asked):
        by_place[target.place_id, target.parameter].append(target)
    found = {}
    for gauge in gauges:
        levels = [
            by_place[place, gauge.parameter]
            for place in chains[gauge.id]
            if (place, gauge.parameter) in by_place
        ]
        instants = sorted({target.valid_from_ms for level in levels for target in level})
        found[gauge.id] = [_band(gauge, levels, instant) for instant in instants]
    return found


def _band(gauge: Gauge, levels: Sequence[Sequence[Target]], instant: int) -> Band:
    for level in levels:
        begun = [target for target in level if target.valid_from_ms <= instant]
        if begun and (begun[-1].low is not None or begun[-1].high is not None):
            return _band_of(gauge, begun[-1], instant)
    return Band(instant, None, None)


def _band_of(gauge: Gauge, target: Target, instant: int) -> Band:
    return Band(
        instant,
        _in_unit(gauge, target.low),
        _in_unit(gauge, target.high),
        0.0 if target.hysteresis is None else target.hysteresis.to(gauge.unit, step_of(gauge.kind)).value,
        0 if target.least_duration is None else round(target.least_duration.si("time") * 1000),
        target.id,
    )


def _in_unit(gauge: Gauge, bound: Quantity | None) -> float | None:
    return None if bound is None else bound.to(gauge.unit, gauge.kind).value
