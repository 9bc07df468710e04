"""Whether anybody is told of alerts: a room that nobody follows calls in vain."""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa
from sqlalchemy.orm import Session

from weirbook.actions.finding import About, Finding, Verdict
from weirbook.actions.judge_gauges import Now
from weirbook.record.changes import Follower
from weirbook.record.equipment import Gauge

QUIET_MS = 5 * 60_000
"""A follower is heard at least every minute; after this long nobody would be woken."""
FORGOTTEN_MS = 30 * 86_400_000
"""One not heard for so long was put away, if another is heard."""


def judge_followers(session: Session, now: Now) -> Iterator[Finding]:
    """One finding a follower, or one that there is none, where there is anything to be told of."""
    followers = session.scalars(sa.select(Follower).order_by(Follower.heard_at_ms.desc())).all()
    if not followers:
        if session.scalar(sa.select(Gauge.id).where(Gauge.retired_at_ms.is_(None)).limit(1)) is not None:
            reason = (
                "Nobody is told of alerts: no notifier ever followed the log. Run openapi/clients/notify.py on a machine that "
                "stays on. Silence is not safety."
            )
            yield _finding("notifier", Verdict.WATCH, reason, None)
        return
    heard = now.ms - followers[0].heard_at_ms <= QUIET_MS
    for one in followers:
        quiet_ms = now.ms - one.heard_at_ms
        if quiet_ms > FORGOTTEN_MS and heard:
            continue
        if quiet_ms <= QUIET_MS:
            yield _finding(one.name, Verdict.OK, f"{one.name} follows the log.", one.heard_at_ms)
        else:
            reason = f"{one.name} has not followed the log since {now.clock(one.heard_at_ms)}" + (
                ": another does."
                if heard
                else ": nobody is told of alerts. Start it again; silence is not safety."
            )
            yield _finding(one.name, Verdict.WATCH if heard else Verdict.ACT, reason, one.heard_at_ms)


def _finding(name: str, verdict: Verdict, reason: str, since_ms: int | None) -> Finding:
    return Finding(verdict, About.FOLLOWER, "room", None, name, reason, "/v1/followers", since_ms=since_ms)
