"""Bodies of water that share flows: what `mixing` is told of them, and how a dose spreads in them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from weirbook.engine.relations.mixing import (
    Matrix,
    Stream,
    carried,
    exchange,
    inflows,
    joined,
    outflows,
    time_until,
)
from weirbook.engine.shape import TEXT, Step, param, show, step
from weirbook.errors import Fault, Invalid

MOST_BODIES = 12
"""More make the working too long to answer at once; bodies that mix fast can be told as one."""

BALANCED_WITHIN = 0.01
"""Flows in and out of a body that differ by less are taken to balance. Common practice: flows are seldom read
closer."""


@dataclass(frozen=True)
class MixingBody:
    name: str = param(TEXT, doc="What the body of water is called: a tank, a sump, a section.")
    volume: float = param("volume", doc="Water in it, net of sand, rock and media.", gt=0)
    removal_per_pass: float = param(
        "fraction",
        doc="Share of what the water carries that a filter on its way out takes out; none if left out.",
        unit="1",
        ge=0,
        le=1,
        default=0.0,
    )


@dataclass(frozen=True)
class MixingFlow:
    from_body: str = param(TEXT, doc="The body that the water leaves.")
    to_body: str = param(TEXT, doc="The body that it comes to.")
    flow: float = param("flow", doc="Steady flow from the one to the other.", gt=0)


@dataclass(frozen=True)
class Spreading:
    """A dose in bodies of water: all of it (1) in one body at first, levels by the level it evens out to."""

    bodies: Sequence[MixingBody]
    through: Sequence[float]
    dosed: int
    still: Matrix
    filtered: Matrix

    @property
    def volume(self) -> float:
        return math.fsum(body.volume for body in self.bodies)

    @property
    def start(self) -> list[float]:
        return [float(place == self.dosed) for place in range(len(self.bodies))]

    @property
    def filters(self) -> bool:
        return any(body.removal_per_pass for body in self.bodies)

    def levels(self, masses: Sequence[float]) -> list[float]:
        return [
            max(0.0, mass) * self.volume / body.volume for mass, body in zip(masses, self.bodies, strict=True)
        ]

    def apart(self, masses: Sequence[float]) -> float:
        """How far the level that is furthest from even is off, as a share of the even level."""
        return max(abs(level - 1) for level in self.levels(masses))

    def even_time(self, within: float) -> float | None:
        """Until all levels stand within that share of the even level; nothing taken out. None: they never do."""
        return time_until(self.still, self.start, lambda masses: self.apart(masses) <= within)

    def removal_time(self, share: float) -> float | None:
        """Until filters have taken out that share of the dose; None where nothing is taken out."""
        if not self.filters:
            return None
        return time_until(self.filtered, self.start, lambda masses: math.fsum(masses) <= 1 - share)

    def after(self, time: float) -> list[float]:
        """What each body carries after a time, filters and all."""
        return [max(0.0, mass) for mass in carried(self.filtered, self.start, time)]


def spreading(
    bodies: Sequence[MixingBody], flows: Sequence[MixingFlow], dosed_body: str | None
) -> Spreading | None:
    """The bodies as they exchange water; None where no two are told.

    Raises Invalid at /bodies, /flows or /dosed_body for names that don't fit, bodies that share no water with the
    dosed one, and a body whose flows don't balance.
    """
    if len(bodies) < 2 and not flows:
        if dosed_body is not None and dosed_body not in [body.name for body in bodies]:
            raise Invalid("There is no such body: name bodies and the flows between them.", "/dosed_body")
        return None
    places = {body.name: place for place, body in enumerate(bodies)}
    _refuse_what_does_not_fit(bodies, flows, dosed_body, places)
    streams = [Stream(places[one.from_body], places[one.to_body], one.flow) for one in flows]
    dosed = 0 if dosed_body is None else places[dosed_body]
    through = _balanced(bodies, streams)
    _refuse_apart(bodies, streams, dosed)
    volumes = [body.volume for body in bodies]
    removals = [body.removal_per_pass for body in bodies]
    still = exchange(volumes, streams, [0.0] * len(bodies))
    return Spreading(bodies, through, dosed, still, exchange(volumes, streams, removals))


def _refuse_what_does_not_fit(
    bodies: Sequence[MixingBody],
    flows: Sequence[MixingFlow],
    dosed_body: str | None,
    places: Mapping[str, int],
) -> None:
    faults = []
    if len(bodies) < 2:
        faults.append(Fault("/bodies", "Flows go between bodies: name at least two, or say volume and flow."))
    if len(bodies) > MOST_BODIES:
        words = f"Name at most {MOST_BODIES} bodies: tell those that mix fast with each other as one."
        faults.append(Fault("/bodies", words))
    known = ", ".join(places)
    for index, one in enumerate(flows):
        for end in ("from_body", "to_body"):
            if getattr(one, end) not in places:
                faults.append(Fault(f"/flows/{index}/{end}", f"There is no such body. There are: {known}."))
        if one.from_body == one.to_body:
            words = "Water that comes back to the body it left moves nothing: leave this flow out."
            faults.append(Fault(f"/flows/{index}/to_body", words))
    if dosed_body is not None and dosed_body not in places:
        faults.append(Fault("/dosed_body", f"There is no such body. There are: {known}."))
    if faults:
        raise Invalid("Bodies and flows don't fit together.", faults=faults)


def _balanced(bodies: Sequence[MixingBody], streams: Sequence[Stream]) -> list[float]:
    """What flows through each body. Raises Invalid naming each one that would fill up or run dry."""
    ins, outs = inflows(len(bodies), streams), outflows(len(bodies), streams)
    faults = []
    for body, gets, gives in zip(bodies, ins, outs, strict=True):
        if abs(gets - gives) > BALANCED_WITHIN * max(gets, gives):
            ends = "fill up" if gets > gives else "run dry"
            words = (
                f"'{body.name}' gets {show(gets, 'flow')} and gives {show(gives, 'flow')}: it would {ends}."
                " Flows in and out of each body must be the same; name those that are missing."
            )
            faults.append(Fault("/flows", words))
    if faults:
        raise Invalid("The flows don't balance.", faults=faults)
    return outs


def _refuse_apart(bodies: Sequence[MixingBody], streams: Sequence[Stream], dosed: int) -> None:
    reached = joined(len(bodies), streams, dosed)
    faults = [
        Fault("/flows", f"No water comes from '{bodies[dosed].name}' to '{body.name}': they don't mix.")
        for place, body in enumerate(bodies)
        if place not in reached
    ]
    if faults:
        raise Invalid("The bodies share no water.", faults=faults)


def spread_rows(one: Spreading, after: float | None) -> list[dict[str, Any]]:
    """A row for each body; `level_after` only where a time is asked."""
    first = one.levels(one.start)
    then = None if after is None else one.levels(one.after(after))
    return [
        {
            "name": body.name,
            "volume": body.volume,
            "flow": through,
            "mean_stay": body.volume / through,
            "first_level": first[place],
            "level_after": None if then is None else then[place],
        }
        for place, (body, through) in enumerate(zip(one.bodies, one.through, strict=True))
    ]


def spread_steps(
    one: Spreading,
    within: float,
    even_time: float | None,
    removed: Mapping[float, float],
    after: float | None,
) -> list[Step]:
    """Sums that a reader can follow; times are found by trial, and shown to be right by what holds at them."""
    names = _volume_names(one.bodies)
    told = {name: show(body.volume, "volume", "L") for name, body in zip(names, one.bodies, strict=True)}
    steps = [step("all water in L", " + ".join(f"{{{n}}}" for n in told), told, one.volume, "volume", "L")]
    for name, body, through in zip(names, one.bodies, one.through, strict=True):
        numbers = {"flow": show(through, "flow"), name: told[name]}
        stay = body.volume / through
        steps.append(
            step(
                f"mean stay in {body.name}, in min",
                f"{{{name}}} ÷ {{flow}} × 60",
                numbers,
                stay,
                "time",
                "min",
            )
        )
    dosed = names[one.dosed]
    numbers = {"all_water": show(one.volume, "volume", "L"), dosed: told[dosed]}
    first = one.volume / one.bodies[one.dosed].volume
    steps.append(
        step("first level where the dose goes in", f"{{all_water}} ÷ {{{dosed}}}", numbers, first, "number")
    )
    if even_time is not None:
        masses = carried(one.still, one.start, even_time)
        at = show(even_time, "time", "min")
        steps.append(_sum_step(one, names, told, masses, f"even levels at {at}, found by trial"))
        furthest = max(one.levels(masses), key=lambda level: abs(level - 1))
        parts = {"highest": show(max(furthest, 1.0), "number"), "lowest": show(min(furthest, 1.0), "number")}
        off = abs(furthest - 1)
        words = f"furthest level from even at {at}, to be at most {show(within, 'fraction', '1')}"
        steps.append(step(words, "{highest} − {lowest}", parts, off, "fraction", "1"))
    for share, time in removed.items():
        at = f"{show(share, 'fraction')} taken out at {show(time, 'time', 'min')}, found by trial"
        steps.append(_sum_step(one, names, told, one.after(time), at))
    if after is not None:
        steps.append(
            _sum_step(one, names, told, one.after(after), f"levels after {show(after, 'time', 'min')}")
        )
    return steps


def _sum_step(
    one: Spreading, names: Sequence[str], told: Mapping[str, str], masses: Sequence[float], words: str
) -> Step:
    """Levels times volumes over all water: the share of the dose that is there."""
    levels = {
        name.replace("volume", "level", 1): show(level, "number")
        for name, level in zip(names, one.levels(masses), strict=True)
    }
    terms = " + ".join(f"{{{level}}} × {{{name}}}" for level, name in zip(levels, names, strict=True))
    numbers = {**told, **levels, "all_water": show(one.volume, "volume", "L")}
    return step(
        f"share of the dose left, {words}",
        f"({terms}) ÷ {{all_water}}",
        numbers,
        math.fsum(masses),
        "fraction",
        "1",
    )


def _volume_names(bodies: Sequence[MixingBody]) -> list[str]:
    """What the bodies' volumes are called in formulas, each by another name."""
    words = ["".join(sign if sign.isalnum() else "_" for sign in body.name) for body in bodies]
    if len(set(words)) < len(words):
        words = [f"{word}_{place}" for place, word in enumerate(words, 1)]
    return [f"volume_of_{word}" for word in words]
