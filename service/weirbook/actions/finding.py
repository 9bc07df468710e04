"""A finding: one verdict on something that is kept, why, and what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from weirbook.engine.units import Quantity


class Verdict(StrEnum):
    """Worst first."""

    ACT = "act"
    WATCH = "watch"
    UNKNOWN = "unknown"
    OK = "ok"


RANKS = {verdict: rank for rank, verdict in enumerate(Verdict)}


class About(StrEnum):
    """What a finding is about, the most pressing first."""

    CONTACT = "contact"
    AMMONIA = "ammonia"
    NITRITE = "nitrite"
    OXYGEN = "oxygen"
    LOSSES = "losses"
    SPILL = "spill"
    OVERFLOW = "overflow"
    DRAIN = "drain"
    LEVEL = "level"
    TARGET = "target"
    FISH = "fish"
    QUARANTINE = "quarantine"
    RESTART = "restart"
    FLOW = "flow"
    SECTION = "section"
    CHANGE = "change"
    ALKALINITY = "alkalinity"
    HARDNESS = "hardness"
    NITRIFIERS = "nitrifiers"
    SCHOOL = "school"
    PLANT = "plant"
    SILENCE = "silence"
    STUCK = "stuck"
    FOLLOWER = "follower"
    TASK = "task"
    CHECK = "check"


@dataclass(frozen=True)
class Finding:
    """One verdict. `subject` names the gauge, section, target or task; `origin` is the path it came from."""

    verdict: Verdict
    about: About
    place: str
    system: str | None
    subject: str
    reason: str
    origin: str
    value: Quantity | None = None
    limit: Quantity | None = None
    since_ms: int | None = None
