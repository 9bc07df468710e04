"""What came before a trouble in one system: its losses, suspects ranked, readings that moved, what was quiet or unknown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import sqlalchemy as sa

from weirbook.actions.more_fish import more_fish, no_more_fish
from weirbook.actions.quiet import cannot_know, quiet
from weirbook.actions.rank_suspects import Suspect, rank
from weirbook.actions.readings_moved import Moved, readings_moved
from weirbook.actions.timeline import KINDS, timeline
from weirbook.actions.told import DAY_MS, Look, Told
from weirbook.actions.unusual import LEAST_DAYS, History
from weirbook.actions.what_to_look_at import says
from weirbook.record.feeds import Ration
from weirbook.record.fish import LOSS, MISSING
from weirbook.record.tasks import DONE, Completion, Task

YEAR_DAYS = 365
EXCURSIONS_DAYS = 91
"""How far back the usual is looked for: a year; of excursions thirteen weeks, which are read from the readings."""
SLOW = ("excursion", "silence", "alert")
"""Kinds that are worked out from readings."""
SEEN = ("observation", "note")


@dataclass(frozen=True)
class WhatChanged:
    """The answer. Losses and what was seen are facts; suspects are what came before, never causes."""

    look: Look
    says: Sequence[str]
    losses: Sequence[Told]
    seen: Sequence[Told]
    suspects: Sequence[Suspect]
    moved: Sequence[Moved]
    quiet: Sequence[str]
    unknown: Sequence[str]
    history_days: float


def what_changed(look: Look) -> WhatChanged:
    """Everything that came before the end of the look, weighed against the year before its start."""
    lines = timeline(look)
    earlier = _earlier(look, lines)
    losses = [one for one in lines if one.kind in (LOSS, MISSING)]
    days = _days_on_record(look, earlier)
    done = _done_before(look)
    history = History(
        look.start_ms, days, EXCURSIONS_DAYS, (look.end_ms - look.start_ms) / DAY_MS, look.end_ms, done
    )
    more = more_fish(lines)
    suspects, ordinary = rank(lines, earlier, losses, look.end_ms, history, more)
    heads = no_more_fish(look) if more is None else None
    moved, steady, unjudged = readings_moved(look)
    fed = _fed(look)
    unknown = [*cannot_know(look, lines, fed), *unjudged]
    if days < LEAST_DAYS:
        unknown.append(
            f"What is usual here: {round(days)} days before are on record, {LEAST_DAYS} would tell more."
        )
    return WhatChanged(
        look,
        list(says(look, suspects, losses, earlier)),
        losses,
        [one for one in lines if one.kind in SEEN],
        suspects,
        moved,
        [*ordinary, *([heads] if heads else []), *quiet(look, lines, fed, bool(done)), *steady],
        unknown,
        days,
    )


def _earlier(look: Look, lines: Sequence[Told]) -> list[Told]:
    """What began before the look, without what reaches into it."""
    here = {one.order for one in lines}
    year = replace(look, start_ms=look.start_ms - YEAR_DAYS * DAY_MS, end_ms=look.start_ms, kept={})
    weeks = replace(year, start_ms=look.start_ms - EXCURSIONS_DAYS * DAY_MS, kept={})
    quick = [kind for kind in KINDS if kind not in SLOW]
    found = [*timeline(year, quick), *timeline(weeks, ("excursion",))]
    return sorted((one for one in found if one.order not in here), key=lambda one: one.order)


def _days_on_record(look: Look, earlier: Sequence[Told]) -> float:
    """Days from the first line before the look to its start, a year at most."""
    first = min(
        (max(one.at_ms, look.start_ms - YEAR_DAYS * DAY_MS) for one in earlier), default=look.start_ms
    )
    return (look.start_ms - first) / DAY_MS


def _done_before(look: Look) -> Mapping[str, tuple[int, int]]:
    """By task about the system, in the year before the look: how often it was done, and told of at all."""
    column, task = Completion.__table__.c, Task.__table__.c
    asked = (
        sa.select(column.task_id, column.outcome, sa.func.count())
        .select_from(Completion.__table__)
        .join(Task.__table__, sa.and_(task.room_id == column.room_id, task.id == column.task_id))
        .where(
            column.room_id == look.room_id,
            column.undone_at_ms.is_(None),
            column.done_at_ms >= look.start_ms - YEAR_DAYS * DAY_MS,
            column.done_at_ms < look.start_ms,
            task.about_id.in_(look.places),
        )
        .group_by(column.task_id, column.outcome)
    )
    found: dict[str, tuple[int, int]] = {}
    for task_id, outcome, count in look.session.execute(asked):
        done, told = found.get(str(task_id), (0, 0))
        found[str(task_id)] = (done + (count if outcome == DONE else 0), told + count)
    return found


def _fed(look: Look) -> bool:
    """Whether a ration was in force of any of its tanks."""
    column = Ration.__table__.c
    asked = sa.select(sa.func.count()).where(
        column.room_id == look.room_id,
        column.tank_id.in_(look.places),
        column.valid_from_ms < look.end_ms,
    )
    return bool(look.session.scalar(asked))
