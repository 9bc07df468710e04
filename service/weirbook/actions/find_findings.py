"""All that there is to say of the room, or of one system, just now: worst first."""

from __future__ import annotations

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from weirbook.actions.finding import RANKS, About, Finding
from weirbook.actions.group_facts import stock_of
from weirbook.actions.judge_fish import judge_fish
from weirbook.actions.judge_flow import judge_flow
from weirbook.actions.judge_followers import judge_followers
from weirbook.actions.judge_gauges import Now, judge_gauges
from weirbook.actions.judge_losses import judge_losses
from weirbook.actions.judge_plants import judge_plants
from weirbook.actions.judge_sections import judge_sections
from weirbook.actions.judge_tasks import judge_tasks
from weirbook.actions.judge_water import judge_water
from weirbook.record.places import System
from weirbook.record.whereabouts import whereabouts

ORDER = {about: rank for rank, about in enumerate(About)}


def find_findings(
    session: Session, zone: ZoneInfo, now_ms: int, system: System | None = None
) -> Sequence[Finding]:
    """Every verdict on the room as it stands, or on one system; worst first, then the most pressing."""
    now, where = Now(now_ms, zone), whereabouts(session, now_ms)
    found = [
        *judge_gauges(session, where, now),
        *judge_flow(session, now_ms, system),
        *judge_sections(session, now_ms),
        *judge_water(session, now_ms, system),
        *judge_fish(session, where, now),
        *judge_losses(session, where, now, stock_of(session, now_ms)),
        *judge_followers(session, now),
        *judge_plants(session, where, now),
        *judge_tasks(session, where, now),
    ]
    return sorted(
        (one for one in found if system is None or one.system == system.handle),
        key=lambda one: (RANKS[one.verdict], ORDER[one.about], one.system or "", one.place, one.subject),
    )
