"""What falls when a pump stops: from each tank, and out of each return pipe. For `stop_flow`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from weirbook.engine.shape import TEXT, YES_NO, Step, param, show, step


@dataclass(frozen=True)
class FallingTank:
    name: str = param(TEXT, doc="What the tank is called.")
    plan_area: float | None = param("area", doc="Of the water's surface.", gt=0, default=None)
    head: float | None = param(
        "length",
        doc="Of the running water over the crest of its overflow edge; 0 where it has no edge.",
        unit="mm",
        ge=0,
        default=None,
    )
    siphon_drop: float | None = param(
        "length",
        doc=(
            "From the crest (without an edge from the running water) down to the highest air hole of its return, or to"
            " the outlet if that is higher or there is no hole; 0 if none can siphon."
        ),
        unit="mm",
        ge=0,
        default=None,
    )
    siphon_drop_blocked: float | None = param(
        "length",
        doc="The same with that air hole clogged: down to the next one, or to the outlet.",
        unit="mm",
        ge=0,
        default=None,
    )
    box_area: float | None = param(
        "area",
        doc="Of the water in its overflow box. Left out: it has none.",
        unit="cm2",
        gt=0,
        default=None,
    )
    box_fall: float | None = param(
        "length", doc="By which the water in the box sinks when the flow stops.", ge=0, default=None
    )
    drain_diameter: float | None = param(
        "length",
        doc="Inside, of its drain pipe. Left out: its water is not counted.",
        unit="mm",
        gt=0,
        default=None,
    )
    drain_length: float | None = param("length", doc="Of the drain pipe.", gt=0, default=None)
    drain_fill: float = param(
        "fraction",
        doc="Share of the drain pipe that water fills while it runs. Left out: all of it.",
        unit="1",
        ge=0,
        le=1,
        default=1.0,
    )

    @property
    def from_head(self) -> float | None:
        return 0.0 if self.head == 0 else _product(self.plan_area, self.head)

    def drop(self, blocked: bool) -> float | None:
        return self.siphon_drop_blocked if blocked else self.siphon_drop

    def from_siphon(self, blocked: bool) -> float | None:
        drop = self.drop(blocked)
        return 0.0 if drop == 0 else _product(self.plan_area, drop)

    @property
    def from_box(self) -> float | None:
        return (
            0.0 if self.box_area is None and self.box_fall is None else _product(self.box_area, self.box_fall)
        )

    @property
    def from_drain(self) -> float | None:
        if self.drain_diameter is None and self.drain_length is None:
            return 0.0
        return _product(_bore(self.drain_diameter), self.drain_length, self.drain_fill)

    def over_the_edge(self) -> tuple[float | None, ...]:
        """What comes down by the overflow, part by part, whatever the return does."""
        return self.from_head, self.from_box, self.from_drain

    def falls(self, blocked: bool) -> float | None:
        """All that comes down, m3."""
        return _sum((*self.over_the_edge(), self.from_siphon(blocked)))

    def lacking(self, blocked: bool) -> list[str]:
        """What must be recorded before all that falls is known, in words."""
        siphons = self.drop(blocked) != 0
        wanted = (
            ("its plan area", self.plan_area is None and (siphons or self.head != 0)),
            ("the head over its crest", self.head is None),
            (
                "how deep its return can siphon with the air hole blocked",
                self.drop(blocked) is None and blocked,
            ),
            ("the level of its return's air hole", self.drop(blocked) is None and not blocked),
            ("the size of its overflow box", self.from_box is None),
            ("the size of its drain pipe", self.from_drain is None),
        )
        return [f"{self.name}: {words}" for words, lacks in wanted if lacks]


@dataclass(frozen=True)
class ReturnPipe:
    name: str = param(TEXT, doc="What the pipe is called.")
    diameter: float | None = param("length", doc="Inside.", unit="mm", gt=0, default=None)
    length: float | None = param(
        "length", doc="Of what runs empty above the sump's water.", gt=0, default=None
    )
    check_valve: bool = param(YES_NO, doc="Whether a check valve holds its water back.", default=False)

    @property
    def content(self) -> float | None:
        return _product(_bore(self.diameter), self.length)

    def falls(self, stuck: bool) -> float | None:
        return 0.0 if self.check_valve and not stuck else self.content

    def lacking(self, stuck: bool) -> list[str]:
        return [f"{self.name}: its diameter and length"] if self.falls(stuck) is None else []


def known(parts: Sequence[float | None]) -> float:
    """The sum of what is known."""
    return math.fsum(part for part in parts if part is not None)


def _sum(parts: Sequence[float | None]) -> float | None:
    return None if None in parts else known(parts)


def _bore(diameter: float | None) -> float | None:
    return None if diameter is None else math.pi * diameter**2 / 4


def _product(*factors: float | None) -> float | None:
    told = [factor for factor in factors if factor is not None]
    return math.prod(told) if len(told) == len(factors) else None


def tank_steps(tank: FallingTank) -> list[Step]:
    """What falls from a tank, part by part, as far as it is known. Volumes in L."""
    numbers = {
        name: show(value, kind, unit)
        for name, value, kind, unit in (
            ("plan_area", tank.plan_area, "area", "m2"),
            ("head", tank.head, "length", "mm"),
            ("siphon_drop", tank.siphon_drop, "length", "mm"),
            ("siphon_drop_when_blocked", tank.siphon_drop_blocked, "length", "mm"),
            ("box_area", tank.box_area, "area", "cm2"),
            ("box_fall", tank.box_fall, "length", "cm"),
            ("drain_diameter", tank.drain_diameter, "length", "mm"),
            ("drain_length", tank.drain_length, "length", "cm"),
            ("drain_fill", tank.drain_fill, "fraction", "1"),
        )
        if value is not None
    }
    pipe = "π × {drain_diameter} × {drain_diameter} ÷ 4 × {drain_length} × {drain_fill} ÷ 100000"
    told = (
        ("down to the crest", "{plan_area} × {head}", tank.from_head),
        ("by siphon", "{plan_area} × {siphon_drop}", tank.from_siphon(False)),
        ("by siphon, air hole blocked", "{plan_area} × {siphon_drop_when_blocked}", tank.from_siphon(True)),
        ("from its box", "{box_area} × {box_fall} ÷ 1000", tank.from_box),
        ("from its drain pipe", pipe, tank.from_drain),
    )
    return [
        step(f"{tank.name}: {words}, in L", formula, numbers, value, "volume", "L")
        for words, formula, value in told
        if value
    ]


def pipe_step(pipe: ReturnPipe) -> list[Step]:
    """What a return pipe holds, if it is known."""
    if pipe.content is None:
        return []
    numbers = {
        "diameter": show(pipe.diameter or 0.0, "length", "mm"),
        "length": show(pipe.length or 0.0, "length"),
    }
    formula = "π × {diameter} × {diameter} ÷ 4 × {length} ÷ 100000"
    return [step(f"{pipe.name}: water in it, in L", formula, numbers, pipe.content, "volume", "L")]
