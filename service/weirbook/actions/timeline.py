"""Everything of one system in the order of time, gathered from the record family by family."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from weirbook.actions.timeline_of_equipment import edits, pumps_switched, tanks_moved, targets, uses_changed
from weirbook.actions.timeline_of_fish import quarantines, samples, stock_entries, transfers
from weirbook.actions.timeline_of_food import feeding_responses, feedings, rations
from weirbook.actions.timeline_of_gauges import alerts, contacts, excursions, silences
from weirbook.actions.timeline_of_notes import journal, trial_phases
from weirbook.actions.timeline_of_plants import planting_events, plantings
from weirbook.actions.timeline_of_tasks import completions, overdue
from weirbook.actions.timeline_of_water import doses, standing_exchanges, water_changes, water_reports
from weirbook.actions.told import Look, Told
from weirbook.record.changes import MADE
from weirbook.record.database import fetch
from weirbook.record.journal import KINDS as JOURNAL_KINDS

Source = Callable[[Look], Iterable[Told]]

SOURCES: tuple[tuple[Source, tuple[str, ...]], ...] = (
    (journal, JOURNAL_KINDS),
    (trial_phases, ("trial",)),
    (doses, ("dose",)),
    (water_changes, ("water_change",)),
    (standing_exchanges, ("standing_exchange",)),
    (water_reports, ("water_report",)),
    (rations, ("ration",)),
    (feedings, ("feeding",)),
    (feeding_responses, ("feeding_response",)),
    (stock_entries, ("arrival", "birth", "move", "loss", "missing", "departure", "count")),
    (samples, ("sample",)),
    (quarantines, ("quarantine",)),
    (transfers, ("transfer",)),
    (plantings, ("planting",)),
    (planting_events, ("planting_event",)),
    (excursions, ("excursion",)),
    (contacts, ("contact",)),
    (silences, ("silence",)),
    (alerts, ("alert",)),
    (completions, ("task_skipped", "task_late")),
    (overdue, ("task_open",)),
    (tanks_moved, ("plumbing",)),
    (pumps_switched, ("plumbing",)),
    (uses_changed, ("plumbing",)),
    (targets, ("target",)),
    (edits, ("edit", "entered")),
)
"""Each source with the kinds of line it gives. A new noun of the record is one more source."""
KINDS = tuple(dict.fromkeys(kind for _, kinds in SOURCES for kind in kinds))
CHUNK = 400


def timeline(look: Look, kinds: Sequence[str] = KINDS) -> list[Told]:
    """The lines of these kinds, oldest first. Stretches that reach into the look are told whole."""
    found = [
        one
        for source, gives in SOURCES
        if any(kind in kinds for kind in gives)
        for one in source(look)
        if one.kind in kinds
    ]
    return sorted(found, key=lambda one: one.order)


def with_authors(look: Look, lines: Sequence[Told]) -> list[Told]:
    """The lines with who entered each, by the log of changes, where the record itself doesn't say."""
    wanted = [_subject(one) for one in lines if one.who is None and one.noun in ENTERED]
    who: dict[tuple[str, str], str] = {}
    for start in range(0, len(wanted), CHUNK):
        some = wanted[start : start + CHUNK]
        rows = fetch(
            look.session,
            "SELECT noun, subject, who FROM change WHERE room_id = ? AND what = ? "
            f"AND noun IN ({', '.join('?' * len(ENTERED))}) AND subject IN ({', '.join('?' * len(some))})",
            (look.room_id, MADE, *ENTERED, *some),
        )
        who.update({(noun, subject): author for noun, subject, author in rows})
    return [
        one if one.who is not None else replace(one, who=who.get((one.noun, _subject(one)))) for one in lines
    ]


def _subject(one: Told) -> str:
    """Its id, as the log of changes names it."""
    return one.path.rsplit("/", 1)[-1]


ENTERED = (
    "dose",
    "water change",
    "standing exchange",
    "water report",
    "ration",
    "feeding",
    "feeding response",
    "group sample",
    "quarantine",
    "transfer",
    "planting",
    "planting event",
    "trial",
    "target",
)
"""Happenings that don't keep who entered them: the log of changes does."""
