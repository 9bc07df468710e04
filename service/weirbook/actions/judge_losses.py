"""Whether fish were lost lately, and where to look before more are brought in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.finding import About, Finding, Verdict
from weirbook.actions.fish_history import history_of
from weirbook.actions.group_facts import Stock
from weirbook.actions.judge_gauges import Now
from weirbook.actions.reckon_losses import Asked, reckon_losses
from weirbook.record.fish import LOSS, MISSING, Group
from weirbook.record.ledger import Line, heads_of
from weirbook.record.quarantines import DAY_MS
from weirbook.record.whereabouts import Whereabouts

LATELY_DAYS, WINDOW_DAYS = 28, 42
EXPLAINED = frozenset({"old_age", "predation", "handling"})
"""Losses whose cause is known and done with: they ask for no search."""
HASTE_DAYS, HASTE_SHARE, HASTE_FEWEST = 7, 0.1, 2
"""Over a tenth in a week: at such losses laboratories reject a batch of fish (OECD test guideline 203, from memory)."""


def judge_losses(session: Session, where: Whereabouts, now: Now, stock: Stock) -> Iterator[Finding]:
    """A finding on each group that lost fish lately, and on each introduction that losses followed."""
    for group in session.scalars(sa.select(Group).order_by(Group.id)).unique():
        since = now.ms - LATELY_DAYS * DAY_MS
        lost = [
            line
            for line in stock.lines
            if line.group_id == group.id
            and line.kind in (LOSS, MISSING)
            and line.happened_at_ms >= since
            and line.cause not in EXPLAINED
        ]
        if lost:
            yield _of_group(group, lost, stock, where, now)
    yield from _after_introductions(session, where, now)


def _of_group(group: Group, lost: Sequence[Line], stock: Stock, where: Whereabouts, now: Now) -> Finding:
    system_id = where.system_of(group.tank_id)
    system = None if system_id is None else where.systems[system_id]
    started = lost[0].happened_at_ms
    had = heads_of([line for line in stock.lines if line.order < lost[0].order]).get(group.id, 0)
    dead = sum(line.number for line in lost if line.kind == LOSS)
    missing = sum(line.number for line in lost if line.kind == MISSING)
    parts = [f"lost {dead}"] if dead else []
    parts += [f"misses {missing}"] if missing else []
    causes = sorted({(line.cause or "unknown").replace("_", " ") for line in lost if line.kind == LOSS})
    told = f" (cause: {', '.join(causes)})" if causes else ""
    days = -(-(now.ms - started) // DAY_MS) + 21
    look = "" if system is None else f" ask /v1/systems/{system}/what-changed?days={days} and"
    reason = (
        f"{group.called} {' and '.join(parts)} of {had} since {now.clock(started)[:10]}{told}. Before more are brought in,{look} "
        f"/v1/groups/{group.id}/exposure: what came before, and who shared its water."
    )
    verdict = Verdict.ACT if _hasty(lost, had, now) else Verdict.WATCH
    origin = f"/v1/stock-entries?group={group.id}"
    return Finding(
        verdict, About.LOSSES, group.tank.path, system, str(group.id), reason, origin, since_ms=started
    )


def _hasty(lost: Sequence[Line], had: int, now: Now) -> bool:
    week = sum(line.number for line in lost if line.happened_at_ms >= now.ms - HASTE_DAYS * DAY_MS)
    return week >= HASTE_FEWEST and week > HASTE_SHARE * had


def _after_introductions(session: Session, where: Whereabouts, now: Now) -> Iterator[Finding]:
    """Introductions of the last weeks after which more were lost than before."""
    since = now.ms - WINDOW_DAYS * DAY_MS
    for one in reckon_losses(history_of(session, now.ms), Asked(within_days=WINDOW_DAYS)).introductions:
        if not one.alert or one.at_ms < since:
            continue
        system = one.water.removeprefix("systems/") if one.water.startswith("systems/") else None
        yield Finding(
            Verdict.ACT,
            About.LOSSES,
            one.water,
            system,
            one.parts[0].record,
            one.says,
            "/v1/losses" if system is None else f"/v1/losses?system={system}",
            since_ms=one.at_ms,
        )
