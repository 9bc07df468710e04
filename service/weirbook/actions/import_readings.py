"""Readings of a keeper's sheet: told apart into what is new, what is there already and what can't be taken."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import cast

from sqlalchemy.orm import Session

from weirbook.actions.find_gauges import Taker
from weirbook.actions.import_rows import NEW, REFUSED, REPEATED, Verdict
from weirbook.actions.judge_reading import Refusal, Sent
from weirbook.actions.take_at_face_value import Plain, take_at_face_value
from weirbook.actions.take_readings import Taken, take_readings

AT_ONCE = 20_000
"""Readings judged together; more would only take memory."""
FLAGGED = "Outside what is plausible for this gauge: stored and counted, and left out of statistics."


@dataclass(frozen=True, slots=True)
class Found:
    """A reading that a sheet holds, by line and column, or why it is none."""

    line: int
    column: str
    sent: Sent | Refusal


@dataclass
class Imported:
    """What became of the readings of a sheet."""

    verdicts: list[Verdict] = field(default_factory=list)
    flagged: int = 0
    made_gauges: list[str] = field(default_factory=list)


def import_readings(session: Session, taker: Taker, found: Sequence[Found], *, now: int) -> Imported:
    """Store what can be stored; the caller takes all of it back where it is only tried."""
    done = Imported()
    for start in range(0, len(found), AT_ONCE):
        part = found[start : start + AT_ONCE]
        taken = _take(session, taker, part, now)
        why = {one.index: one for one in taken.refusals}
        done.flagged += taken.flagged
        done.made_gauges += taken.made_gauges
        done.verdicts += _verdicts(part, why, taken.repeats, taken.flags)
    return done


def _take(session: Session, taker: Taker, part: Sequence[Found], now: int) -> Taken:
    """Store a part, by the quick way where nothing in it has to be judged."""
    plain = [one.sent for one in part if _is_plain(one.sent)]
    if len(plain) == len(part):
        stored = take_at_face_value(session, taker, cast(Sequence[Plain], plain), now=now, stamp=False)
        if stored is not None:
            return Taken(stored, stored)
    rows = [replace(one.sent, index=index) for index, one in enumerate(part)]
    return take_readings(session, taker, rows, now=now)


def _is_plain(sent: Sent | Refusal) -> bool:
    return (
        isinstance(sent, Sent)
        and type(sent.value) is float
        and sent.gauge is not None
        and sent.at is not None
    )


def _verdicts(
    part: Sequence[Found], why: dict[int, Refusal], repeats: set[int], flags: set[int]
) -> Iterator[Verdict]:
    for index, one in enumerate(part):
        refusal = why.get(index)
        if refusal is not None:
            yield Verdict(one.line, REFUSED, None, one.column, refusal.type, refusal.message)
            continue
        assert isinstance(one.sent, Sent)
        said = {
            name: value
            for name in ("gauge", "place", "parameter", "value", "unit", "at")
            if (value := getattr(one.sent, name)) is not None
        }
        verdict = REPEATED if index in repeats else NEW
        yield Verdict(one.line, verdict, said, one.column, "", FLAGGED if index in flags else "")
