"""Write a journal entry, with the scored readings taken along and its links looked up."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from weirbook.actions.create import create, named, refuse_faults, set_values
from weirbook.actions.edit import edit
from weirbook.actions.find_gauges import Taker
from weirbook.actions.judge_reading import Sent
from weirbook.actions.take_readings import problem_of, refusal_of, take_readings
from weirbook.engine.times import instant_text
from weirbook.errors import Fault, Invalid, Unknown
from weirbook.record.database import room_of
from weirbook.record.journal import JournalEntry
from weirbook.record.links import find_linked


def enter_journal(
    session: Session,
    model: type[JournalEntry],
    values: Mapping[str, Any],
    *,
    now: int,
    effective_ms: int | None = None,
    chosen_id: uuid.UUID | None = None,
) -> JournalEntry:
    """A new entry; its scores are stored as readings by hand of its place and instant, or nothing is. Raises Invalid."""
    told = dict(values)
    taker = told.pop("taker")
    check_links(session, told.get("links"))
    scores = told.get("scores")
    told["scores"] = scores or None
    if scores:
        _take(session, taker, told, now)
    return create(session, model, told, now=now, chosen_id=chosen_id)


class ManyEntries:
    """New entries by the thousand: places are looked up once, and all are written by one flush."""

    def __init__(self, session: Session) -> None:
        self._session = session
        self._places: dict[str, Any] = {}

    def add(self, values: Mapping[str, Any], *, now: int, chosen_id: uuid.UUID) -> None:
        """Take in an entry without scores, to be written by the next flush. Raises Invalid, leaving nothing of it."""
        told = {name: value for name, value in values.items() if name != "taker"}
        check_links(self._session, told.get("links"))
        row = JournalEntry()
        row.room_id, row.id = room_of(self._session), chosen_id
        row.version, row.created_at_ms, row.updated_at_ms = 1, now, now
        set_values(self._session, row, told, self._place)
        refuse_faults(row)
        self._session.add(row)

    def _place(self, session: Session, noun: str, written: str, pointer: str) -> Any:
        if written not in self._places:
            self._places[written] = named(session, noun, written, pointer)
        return self._places[written]


def edit_journal(
    session: Session, row: JournalEntry, values: Mapping[str, Any], *, now: int, effective_ms: None = None
) -> bool:
    """Change an entry; whether anything changed. Where and when its scores were taken stays. Raises Invalid."""
    told = dict(values)
    told.pop("taker", None)
    if told.get("scores") is not None and _sent(told["scores"]) == _sent(row.scores or []):
        told["scores"] = row.scores
    if told.get("links") != row.links:
        check_links(session, told.get("links"), own=f"{row.PLURAL}/{row.id}")
    if row.scores:
        faults = [
            Fault(
                f"/{name}",
                "Its scores were taken there and then: write another entry, and exclude the readings.",
            )
            for name, present in (("place", row.place.path), ("happened_at_ms", row.happened_at_ms))
            if told.get(name) != present
        ]
        if faults:
            raise Invalid("Some of this can't be changed.", faults=[_named(one) for one in faults])
    return edit(session, row, told, now=now)


def _named(fault: Fault) -> Fault:
    return Fault(fault.pointer.removesuffix("_ms"), fault.message)


def _sent(scores: Any) -> list[tuple[object, ...]]:
    return [tuple(one.get(name) for name in ("parameter", "value", "unit")) for one in scores]


def check_links(session: Session, links: Any, own: str = "") -> None:
    """Raise Invalid at each link that leads to nothing, or to the record `own` itself."""
    faults = []
    for index, path in enumerate(links or ()):
        if path == own:
            faults.append(Fault(f"/links/{index}", "A record does not link to itself."))
            continue
        try:
            find_linked(session, path)
        except Unknown as trouble:
            faults.append(Fault(f"/links/{index}", trouble.message))
    if faults:
        raise Invalid("Some links lead to nothing.", faults=faults)


def _take(session: Session, taker: Taker, told: Mapping[str, Any], now: int) -> None:
    """Store the scores as readings. Raises Invalid, Conflict."""
    rows = [
        Sent(
            index=index,
            value=one["value"],
            place=told["place"],
            parameter=one["parameter"],
            unit=one.get("unit"),
            at=instant_text(told["happened_at_ms"]),
        )
        for index, one in enumerate(told["scores"])
    ]
    taken = take_readings(session, taker, rows, now=now)
    if taken.refusals:
        trouble = refusal_of(taken, single=False)
        trouble.faults = tuple(Fault(_of_score(one.pointer), one.message) for one in trouble.faults)
        listed = problem_of(taken.refusals[:100])["refusals"]
        trouble.more = {
            "refusals": [{**one, "pointer": _of_score(one["pointer"])} for one in listed],
        }
        raise trouble


def _of_score(pointer: str) -> str:
    return pointer.replace("/readings", "/scores", 1)
