"""One line of a system's timeline, and the look at a stretch of time that its sources share."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.engine.times import clock_at
from weirbook.record.belonging import Belonging, belonging, paths
from weirbook.record.database import fetch, room_of
from weirbook.record.fish import Group, Species
from weirbook.record.places import System

MINUTE_MS, HOUR_MS, DAY_MS = 60_000, 3_600_000, 86_400_000
WORDS_CAP = 400
"""Of a keeper's own words so much stands in a line; the record has them whole."""


@dataclass(frozen=True, slots=True)
class Told:
    """Something that happened: an instant, or a stretch with its end (`open`: it goes on).

    `about` groups lines of one kind that are of one thing; `facts` are what the ranking of suspects looks at.
    """

    at_ms: int
    kind: str
    place: str
    words: str
    path: str
    noun: str
    to_ms: int | None = None
    open: bool = False
    who: str | None = None
    about: str = ""
    facts: Mapping[str, Any] = field(default_factory=dict)

    @property
    def order(self) -> tuple[int, str, str]:
        """Where it stands in the timeline."""
        return self.at_ms, self.kind, self.path

    def lasted_ms(self, now: int) -> int:
        """From its start to its end, or to an instant while it goes on; 0 for what has no length."""
        if self.to_ms is None and not self.open:
            return 0
        return (now if self.to_ms is None else min(self.to_ms, now)) - self.at_ms


@dataclass
class Look:
    """A look at a system from start up to but without end; what its sources share is read once."""

    session: Session
    system: System
    start_ms: int
    end_ms: int
    now: int
    zone: ZoneInfo
    kept: dict[str, Any] = field(default_factory=dict)
    """What one source has read and others want too."""

    @cached_property
    def belongs(self) -> Belonging:
        return belonging(self.session, self.system.id)

    @property
    def places(self) -> list[int]:
        """Every place that ever was part of the system, and the room."""
        return self.belongs.places

    @cached_property
    def paths(self) -> Mapping[int, str]:
        return paths(self.session)

    @property
    def room_id(self) -> int:
        return room_of(self.session)

    def inside(self, at_ms: int) -> bool:
        """Whether an instant is looked at."""
        return self.start_ms <= at_ms < self.end_ms

    def clock(self, at_ms: int) -> str:
        """By the room's clock."""
        return f"{clock_at(at_ms, self.zone):%Y-%m-%d %H:%M}"

    def handles(self, table: str) -> Mapping[int, str]:
        """Handles of a noun's records by number. `table` is one of our own."""
        rows = fetch(self.session, f"SELECT id, handle FROM {table} WHERE room_id = ?", (self.room_id,))
        return dict(tuple(row) for row in rows)

    def names(self, table: str) -> Mapping[int, str]:
        """Names of a noun's records by number. `table` is one of our own."""
        rows = fetch(self.session, f"SELECT id, name FROM {table} WHERE room_id = ?", (self.room_id,))
        return dict(tuple(row) for row in rows)

    @cached_property
    def groups(self) -> Mapping[Any, tuple[str, int]]:
        """What each group of fish is called, and its tank."""
        group, species = Group.__table__.c, Species.__table__.c
        asked = (
            sa.select(group.id, group.name, species.name, group.tank_id)
            .join(
                Species.__table__,
                sa.and_(species.room_id == group.room_id, species.id == group.species_id),
            )
            .where(group.room_id == self.room_id)
        )
        return {
            number: (kind if name is None else f"of {name}", tank)
            for number, name, kind, tank in self.session.execute(asked)
        }


def rows_within(look: Look, model: Any, at: str, names: Iterable[str], *conditions: Any) -> Iterable[Any]:
    """Some columns of a table's rows that happened within the look, without ORM objects, in no order."""
    columns = model.__table__.c
    asked = sa.select(*(columns[name] for name in names)).where(
        columns.room_id == look.room_id,
        columns[at] >= look.start_ms,
        columns[at] < look.end_ms,
        *conditions,
    )
    return look.session.execute(asked)


def sentence(*parts: str | None) -> str:
    """Parts as sentences behind each other, each with its full stop; a long text is cut."""
    told = [part.strip() for part in parts if part and part.strip()]
    ended = [part if part[-1] in ".!?…" else f"{part}." for part in (_cut(part) for part in told)]
    return " ".join(ended)


def _cut(words: str) -> str:
    return words if len(words) <= WORDS_CAP else words[: WORDS_CAP - 1].rstrip() + "…"


def lasting(ms: int) -> str:
    """A length of time as people say it: 40 min, 3 h 20 min, 2 d 4 h."""
    minutes = round(ms / MINUTE_MS)
    if minutes < 60:
        return f"{max(minutes, 1)} min" if ms else "0 min"
    if minutes < 10 * 60:
        hours, rest = divmod(minutes, 60)
        return f"{hours} h" + (f" {rest} min" if rest else "")
    if minutes < 48 * 60:
        return f"{round(minutes / 60)} h"
    if minutes < 10 * 24 * 60:
        days, rest = divmod(round(minutes / 60), 24)
        return f"{days} d" + (f" {rest} h" if rest else "")
    return f"{round(minutes / 1440)} d"


def heads(number: int, called: str) -> str:
    """So many of a group, by its species or its own name: no plural is made of a species' name."""
    return f"{number} {called}" if called.startswith("of ") else f"{number} × {called}"


def times(count: int) -> str:
    """How often, as people say it."""
    return {0: "never", 1: "once", 2: "twice"}.get(count, f"{count} times")


def plain(name: str) -> str:
    """A word of the record as people write it."""
    return name.replace("_", " ")


def capital(words: str) -> str:
    """With a capital letter first; pH keeps its own."""
    return words if words.startswith("pH") else words[:1].upper() + words[1:]


def parameter_name(parameter: str) -> str:
    """A parameter inside a sentence."""
    return "pH" if parameter == "ph" else plain(parameter)
