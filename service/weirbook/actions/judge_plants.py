"""What of the plants is worth a look: tried again as it failed before, lying uprooted, lost of late."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

from sqlalchemy.orm import Session

from weirbook.actions.finding import About, Finding, Verdict
from weirbook.actions.judge_gauges import Now
from weirbook.actions.plant_outcomes import DAY_MS, METHOD_WORDS, Try, in_days, outcomes_of, tries_of
from weirbook.engine.times import day_of
from weirbook.record.plants import LOST, UPROOTED
from weirbook.record.whereabouts import Whereabouts

HELD_DAYS = 90
"""What has held so long holds. Our own choice."""
WORTH_DAYS = 30
"""A method that held so long without a failure is worth a word. Our own choice."""
FAILED_HERE, FAILED_ANYWHERE = 2, 3
"""So many failures in one place, or in the room, and none that held, are worth a word. Our own choice."""
LATELY_DAYS = 28
NAMED = 5
ORIGIN = "/v1/plantings"


def judge_plants(session: Session, where: Whereabouts, now: Now) -> Iterator[Finding]:
    """Findings on plantings, all to be watched: few enough to be read."""
    tries = tries_of(session, now.ms)
    yield from _again(tries, where, now)
    yield from _uprooted(tries, where, now)
    yield from _lost(tries, where, now)


def _again(tries: Sequence[Try], where: Whereabouts, now: Now) -> Iterator[Finding]:
    """What was put in just as it failed before and never held; of several alike the newest."""
    alike: dict[tuple[str, str], list[Try]] = defaultdict(list)
    for one in tries:
        alike[one.kind.handle, one.stay.method].append(one)
    told = set()
    for one in sorted(tries, key=lambda one: -one.stay.from_ms):
        key = (one.kind.handle, one.stay.method, one.path)
        if one.stay.to_ms is not None or one.days >= HELD_DAYS or key in told:
            continue
        others = [other for other in alike[key[:2]] if other is not one]
        here = [other for other in others if other.path == one.path]
        for some, least, place in (
            (here, FAILED_HERE, f"in {one.path}"),
            (others, FAILED_ANYWHERE, "in this room"),
        ):
            ended = [other for other in some if (other.stay.to_ms or now.ms + 1) <= one.stay.from_ms]
            failed = [other for other in ended if other.failed]
            if len(failed) >= least and all(other.days < HELD_DAYS for other in some):
                told.add(key)
                yield _finding(
                    one, where, _as_before(one, failed, ended, place, tries, now), one.stay.from_ms
                )
                break


def _as_before(
    one: Try, failed: Sequence[Try], ended: Sequence[Try], place: str, tries: Sequence[Try], now: Now
) -> str:
    days = sorted(other.days for other in failed)
    first, last = in_days(days[0]), in_days(days[-1])
    after = f"after {first}" if first == last else f"after {first.removesuffix(' days')} to {last}"
    lost = sum(other.outcome == LOST for other in failed)
    how = "lost" if lost == len(failed) else "uprooted" if not lost else "lost or uprooted"
    words = (
        f"{_called(one)} was {how} {len(failed)} of {len(ended)} times {place}, {after}, and is tried the same way"
        f" again since {day_of(one.stay.from_ms, now.zone)}."
    )
    same_kind = [other for other in tries if other.kind == one.kind]
    better = [
        outcome
        for outcome in outcomes_of(same_kind, ("method",))
        if max(other.days for other in outcome.tries) >= WORTH_DAYS
        and not any(other.failed for other in outcome.tries)
    ]
    if better:
        words += f" {better[0].called}: {better[0].ended}."
    return words


def _uprooted(tries: Sequence[Try], where: Whereabouts, now: Now) -> Iterator[Finding]:
    for one in tries:
        if one.life.state == UPROOTED and one.stay is one.life.last and one.stay.to_ms is not None:
            by = f" ({one.stay.by})" if one.stay.by else ""
            words = (
                f"{_called(one)} lies uprooted since {now.clock(one.stay.to_ms)}{by}: put it back and tell that it was"
                " replanted, or that it was removed or lost."
            )
            yield _finding(one, where, words, one.stay.to_ms)


def _lost(tries: Sequence[Try], where: Whereabouts, now: Now) -> Iterator[Finding]:
    """Losses of the last weeks, one finding a system."""
    by_system: dict[int | None, list[Try]] = defaultdict(list)
    for one in tries:
        life = one.life
        if (
            life.state == LOST
            and one.stay is life.last
            and now.ms - (life.ended_ms or 0) <= LATELY_DAYS * DAY_MS
        ):
            by_system[where.system_of(one.stay.place_id)].append(one)
    for some in by_system.values():
        some.sort(key=lambda one: -(one.life.ended_ms or 0))
        told = [_loss(one, now) for one in some[:NAMED]]
        more = f"; and {len(some) - NAMED} more" if len(some) > NAMED else ""
        words = f"Lost in the last {LATELY_DAYS} days: {'; '.join(told)}{more}."
        yield _finding(some[0], where, words, some[-1].life.ended_ms)


def _loss(one: Try, now: Now) -> str:
    by = f", {one.stay.by}" if one.stay.by else ""
    return f"{_called(one)} ({one.path}, {day_of(one.life.ended_ms or now.ms, now.zone)}{by})"


def _called(one: Try) -> str:
    return f"{one.kind.name} {METHOD_WORDS[one.stay.method]}"


def _finding(one: Try, where: Whereabouts, words: str, since_ms: int | None) -> Finding:
    system = where.system_of(one.stay.place_id)
    return Finding(
        Verdict.WATCH,
        About.PLANT,
        one.path,
        None if system is None else where.systems[system],
        one.planting,
        words,
        f"{ORIGIN}/{one.planting}",
        since_ms=since_ms,
    )
