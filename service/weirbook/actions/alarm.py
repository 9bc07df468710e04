"""How an alert calls: whom, how often, and who next when nobody answers."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from weirbook.engine.units import Quantity
from weirbook.errors import Fault, Invalid, Unknown
from weirbook.record.names import find
from weirbook.record.tasks import Helper

REPEAT_MS = 60 * 60_000
"""How often an alert of a sensor calls again until somebody acknowledges it. Common practice, no source."""


@dataclass(frozen=True)
class Step:
    """Who is told when an alert has stood unacknowledged for so long."""

    after_ms: int
    to: str


@dataclass(frozen=True)
class Alarm:
    """The rules of one target, or of one gauge, as an alert keeps them from its opening on."""

    calls: bool
    owner: str | None
    repeat_ms: int | None
    steps: Sequence[Step]

    def told(self, owner: str | None, step: int) -> list[str]:
        """Everybody told so far, the owner first; nobody named means whoever the notifier tells by default."""
        return [*dict.fromkeys([*([owner] if owner else []), *(one.to for one in self.steps[:step])])]

    def next_ms(self, opened_ms: int, told_ms: int, step: int) -> int | None:
        """When it calls next: the next step, or the repeat, whichever comes first."""
        due = [] if self.repeat_ms is None else [told_ms + self.repeat_ms]
        if step < len(self.steps):
            due.append(opened_ms + self.steps[step].after_ms)
        return min(due, default=None)


def alarm_of(said: Mapping[str, Any] | None, *, by_hand: bool) -> Alarm:
    """The rules as recorded, with what is usual for what they leave out: a test by hand calls once."""
    said = said or {}
    repeat = said.get("repeat")
    usual = None if by_hand else REPEAT_MS
    return Alarm(
        said.get("calls", True),
        said.get("owner"),
        usual if repeat is None else _ms(repeat),
        [Step(_ms(one["after"]), one["to"]) for one in said.get("escalate", ())],
    )


def check_alarm(session: Session, said: Mapping[str, Any] | None) -> None:
    """Raise Invalid, each at its pointer, for helpers that are not there and steps out of order."""
    if said is None:
        return
    faults = []
    names = [("/alarm/owner", said.get("owner"))]
    names += [
        (f"/alarm/escalate/{index}/to", one["to"]) for index, one in enumerate(said.get("escalate", ()))
    ]
    for pointer, handle in names:
        if handle is not None and (message := _missing(session, handle)):
            faults.append(Fault(pointer, message))
    waits = [_ms(one["after"]) for one in said.get("escalate", ())]
    for index, (one, following) in enumerate(itertools.pairwise(waits)):
        if following <= one:
            message = "Each step comes later than the one before: order them by `after`."
            faults.append(Fault(f"/alarm/escalate/{index + 1}/after", message))
    if faults:
        raise Invalid("The alarm can't stand as it is.", faults=faults)


def _missing(session: Session, handle: str) -> str | None:
    try:
        helper = find(session, Helper, handle)
    except Unknown as trouble:
        return trouble.message
    return f"'{handle}' is retired: name a helper in use." if helper.retired_at_ms is not None else None


def _ms(time: Quantity) -> int:
    return round(time.si("time") * 1000)
